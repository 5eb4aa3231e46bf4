"""The plan as text, to be read and changed as it is written."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from fieldmap.app.plans.plan_file import plan_text, write_plan_text
from fieldmap.app.session.messages import callback, plain
from fieldmap.errors import InputError

if TYPE_CHECKING:
    from pathlib import Path

    from fieldmap.app.plans.draft import Draft


def show_text(folder: Path, draft: Draft) -> None:
    """plan.toml itself: everything that has no question of its own.

    A text that was typed is never thrown away: where the plan changed meanwhile that is said, and it stays.
    """
    key, base = f"typed {folder.name}", f"base {folder.name}"
    now = plan_text(folder)
    if st.session_state.get(key) == st.session_state.get(base):  # nothing typed yet
        st.session_state[key] = st.session_state[base] = now
    st.caption("plan.toml, as the command line reads it. `fieldmap tables keys` lists every key.")
    edited = st.text_area("plan.toml", key=key, height=420, label_visibility="collapsed")
    save_it, drop_it, _ = st.columns([1, 2, 3])
    if save_it.button("Save") and edited != st.session_state[base]:
        if now != st.session_state[base]:
            st.error(
                "The plan was changed in another place since this text was shown, so your text was not saved. "
                "Copy what you changed, show the plan as it stands, and change it there."
            )
        else:
            try:
                write_plan_text(folder, edited)
            except InputError as error:
                st.error(plain(str(error)))
            else:
                st.session_state[base] = edited
                st.rerun()
    if edited != now:
        drop_it.button("Show the plan as it stands", on_click=callback(_forget), args=(key, base))
    for problem in (*draft.other_problems, *(one for part in draft.parts for one in part.problems)):
        st.warning(plain(str(problem)))


def _forget(*keys: str) -> None:
    for key in keys:
        st.session_state.pop(key, None)
