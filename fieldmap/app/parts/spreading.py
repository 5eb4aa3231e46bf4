"""What is spread and how: the machine, prices, several applications, strips, thin ground."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from fieldmap.app.parts.asking import add_button, ask_all, ask_entries
from fieldmap.app.plans import questions as form

if TYPE_CHECKING:
    from pathlib import Path

    from fieldmap.app.plans.draft import Draft


def ask_spreader(folder: Path, draft: Draft) -> None:
    """The machine first, then what else decides the rates."""
    ask_all(folder, draft, form.SPREADER)
    st.markdown("**Prices**")
    ask_all(folder, draft, form.PRICES)
    st.markdown("**In several applications**")
    st.caption(
        "Left out, all goes out at once. With several each has its day, its share and files of its own."
    )
    ask_entries(
        folder,
        draft,
        "application",
        lambda number, _: f"Application {number + 1}",
        lambda _: form.APPLICATION,
    )
    add_button(folder, "application", {"share": "auto"}, "Add an application")
    for title, questions in (
        ("Check strips", form.STRIPS),
        ("Thin ground", form.THIN_GROUND),
        ("Zones by money: a yield response", form.RESPONSE),
    ):
        st.markdown(f"**{title}**")
        ask_all(folder, draft, questions)
