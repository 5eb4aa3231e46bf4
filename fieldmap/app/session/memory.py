"""What was worked out last, by what it was worked out from, and the bar that says how far it is."""

from __future__ import annotations

import contextlib
import threading
from collections import OrderedDict
from typing import TYPE_CHECKING

import streamlit as st

from fieldmap.app.plans.workspace import plan_files

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path
    from typing import Any


KEPT_RESULTS, KEPT_DRAFTS, KEPT_AVERAGES, KEPT_FILES = 2, 8, 8, 40


def content_of(folder: Path) -> tuple[tuple[str, int, int], ...]:
    """Changes whenever a file of the plan does: each is replaced as a whole."""
    stats = [(file.name, file.stat()) for file in plan_files(folder)]
    return tuple((name, stat.st_mtime_ns, stat.st_size) for name, stat in stats)


class Kept:
    """What was worked out last, by what it was worked out from.

    Streamlit's own caches cannot show how far a computation is. One is done at a time, of whatever kind, for each
    takes both memory and cores; what is there already is not kept waiting by it.
    """

    _working = threading.RLock()  # a result works out its stand on the way

    def __init__(self, most: int) -> None:
        self._most = most
        self._found: OrderedDict[str, Any] = OrderedDict()
        self._looking = threading.Lock()

    def of(self, key: str, work_out: Callable[[], Any]) -> Any:
        """What is kept under a key; worked out where nothing is."""
        if (found := self._look(key)) is not None:
            return found
        with self._working:
            if (found := self._look(key)) is not None:  # another tab has just done it
                return found
            found = work_out()
            with self._looking:
                self._found[key] = found
                while len(self._found) > self._most:
                    self._found.popitem(last=False)
            return found

    def _look(self, key: str) -> Any:
        with self._looking:
            if key in self._found:
                self._found.move_to_end(key)
            return self._found.get(key)


@st.cache_resource
def kept(what: str, most: int) -> Kept:  # noqa: ARG001 - one of each kind
    """What is kept of a kind, for every tab."""
    return Kept(most)


def place_bar(key: str) -> None:
    """Keep a place for the bar that says how far a computation is: always the same, so that nothing else moves.

    A fragment keeps a place of its own, for Streamlit lets it write into no other when it alone is drawn anew.
    """
    st.session_state["bar"] = st.container(key=f"working-{key}").empty()


@contextlib.contextmanager
def told_how_far(steps: int) -> Iterator[Callable[[str], None]]:
    """Say what is being done; gone when it is done."""
    bar, done = st.session_state.get("bar"), 0  # none where a file is asked for: that is beside every page

    def step(doing: str) -> None:
        nonlocal done
        if bar is not None:
            bar.progress(min(done / steps, 1.0), text=doing[:1].upper() + doing[1:])
        done += 1

    try:
        yield step
    finally:
        if bar is not None:
            bar.empty()
