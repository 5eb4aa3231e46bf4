"""The list of what to do, for the pages that begin with it, and what of it is done by a button."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

import streamlit as st

from fieldmap.app.plans.plan_file import add_entry
from fieldmap.app.plans.two_goes import two_goes_of
from fieldmap.app.session.messages import callback, plain, save

if TYPE_CHECKING:
    from pathlib import Path

    from fieldmap.pipeline import Result


def actions_text(result: Result) -> str:
    """The list in Markdown: when in bold, then what, why, and what would change it."""
    return "\n".join(
        f"- **{plain(one.when)}** {plain(' '.join(filter(None, (one.what, one.why, one.change))))}"
        for one in result.action_texts
    )


def offer_two_goes(folder: Path, result: Result | None) -> None:
    """A button that makes two goes of one, where the list says that they serve better.

    `result` is None where the plan as it stands cannot be run.
    """
    with st.container():  # there even when empty, so that the boxes below keep what is being typed
        goes = two_goes_of(result) if result else ()
        if not goes:
            return
        st.button(
            "Spread it in two goes",
            on_click=callback(lambda: save(partial(add_entry, folder, "application", *goes, entries_seen=0))),
        )
        early, late = (one["date"] for one in goes)
        st.caption(plain(f"On {early} and beside the row on {late}, in all blocks; the season splits it."))
