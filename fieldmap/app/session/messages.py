"""What a page says at its head, and what it says when this program fails."""

from __future__ import annotations

import contextlib
import functools
import logging
import re
from typing import TYPE_CHECKING

import streamlit as st
from filelock import Timeout

from fieldmap.errors import InputError, Problem

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from typing import Any


LOG = logging.getLogger("fieldmap")


def plain(text: str) -> str:
    """Text that Markdown shows as it is written."""
    return re.sub(r"([\\`*_{}\[\]<>()#+\-.!|~$:])", r"\\\1", text)


BROKEN = Problem(
    "this program",
    "it failed on the plan as it stands",
    "a map",
    "Take the last answer back; the log says why",
)

WENT_WRONG = (
    "Something went wrong here that is not your doing. What was saved stays saved; open the page again, or take the "
    "last answer back. The log says what it was."
)


@contextlib.contextmanager
def faults_told() -> Iterator[None]:
    """Keep a fault of this program from the page: the log has it, the page says so in words of its own.

    Streamlit's own control flow is no Exception. Whatever it runs by itself, pages, fragments and callbacks, goes
    through here, for what reaches Streamlit is shown on its own page in place of ours.
    """
    try:
        yield
    except Exception:
        LOG.exception("a page could not be drawn")
        st.error(WENT_WRONG)


def callback(function: Callable[..., None]) -> Callable[..., None]:
    """A function that Streamlit calls before it draws a page: where it fails the page says so."""

    @functools.wraps(function)
    def guarded(*args: Any) -> None:
        try:
            function(*args)
        except Exception:
            LOG.exception("an answer could not be taken in")
            tell([], [WENT_WRONG])

    return guarded


def tell(said: list[str], refused: list[str]) -> None:
    """Keep what is to be said at the head of the page when it is drawn next."""
    st.session_state["told"] = said, refused


def show_told() -> bool:
    """Say what was kept to be said; whether something was taken in."""
    said, refused = st.session_state.pop("told", ([], []))
    if said:
        st.success("  \n".join(plain(text) for text in said))
    for text in refused:
        st.error(plain(text))
    return bool(said)


def save(write: Callable[[], None], what: str = "") -> None:
    """Write something down; where that cannot be done it is said, and the old content stands."""
    try:
        write()
    except InputError as error:
        tell([], [f"{what}{problem}" for problem in error.problems])
    except (OSError, Timeout) as error:
        why = f"The place where plans are kept cannot be written ({error}): free it and try again."
        tell([], [f"{what or 'This was not saved. '}{why}"])
