"""Questions laid out: in rows, in lists of entries, and block by block."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

import streamlit as st

from fieldmap.app.plans.plan_file import add_entry, remove_entry
from fieldmap.app.session.answers import ask, value_at
from fieldmap.app.session.messages import plain, save

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from fieldmap.app.plans.draft import Draft
    from fieldmap.app.plans.questions import Question, Told
    from fieldmap.app.session.answers import Place


def ask_all(folder: Path, draft: Draft, questions: Sequence[Question], at: Place = ()) -> None:
    """Questions two in a row, those that apply."""
    applying = []
    for question in questions:
        place = (*at, question.key) if at else (question.section, question.key)
        section = value_at(draft.told, place[:-1]) or {}
        if at[:1] == ("block",):
            section = {**draft.told.get(question.section, {}), **section}
        if question.when(section):
            applying.append((question, place))
    for start in range(0, len(applying), 2):
        for column, (question, place) in zip(st.columns(2), applying[start : start + 2], strict=False):
            with column:
                ask(
                    folder,
                    draft.told,
                    question,
                    place,
                    options=draft.blocks if question.key == "block" else None,
                )


def ask_per_block(folder: Path, draft: Draft, section: str, questions: Sequence[Question]) -> None:
    """What a block has of its own; what is left open is as above."""
    if len(draft.blocks) < 2:
        return
    st.markdown("**Where a block differs**")
    for tab, block in zip(st.tabs([plain(name) for name in draft.blocks]), draft.blocks, strict=True):
        with tab:
            ask_all(folder, draft, questions, ("block", block, section))


def ask_entries(
    folder: Path,
    draft: Draft,
    section: str,
    title: Callable[[int, Told], str],
    asked: Callable[[Told], Sequence[Question]],
) -> None:
    """What a plan has several of: each with its questions, and a way to take it out."""
    told = draft.told.get(section, [])
    if not (isinstance(told, list) and all(isinstance(entry, dict) for entry in told)):
        st.caption(f"[{section}] stands in the plan as text.")
        return
    for number, entry in enumerate(told):
        with st.container(border=True):
            head, button = st.columns([3, 1], vertical_alignment="center")
            head.markdown(f"**{plain(title(number, entry))}**")
            if button.button("Remove", key=f"remove {section} {number}"):
                save(partial(remove_entry, folder, section, number, entry))
                st.rerun()
            ask_all(folder, draft, asked(entry), (section, number))


def add_button(folder: Path, section: str, entry: Told, label: str, *, disabled: bool = False) -> None:
    """A button that adds such an entry to the plan."""
    if st.button(label, disabled=disabled):
        save(partial(add_entry, folder, section, entry))
        st.rerun()
