"""Other nitrogen and what is known of it: credits, the nitrate test, weather, the soil."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from fieldmap.app.parts.asking import add_button, ask_all, ask_entries
from fieldmap.app.parts.files import TABLE_KINDS, file_line, replace_file
from fieldmap.app.plans import questions as form
from fieldmap.app.session.answers import value_at
from fieldmap.plan import credit_kinds

if TYPE_CHECKING:
    from pathlib import Path
    from typing import Any

    from fieldmap.app.plans.draft import Draft


def _ground(test: dict[str, Any]) -> str:
    return f", {test['ground']} ground" if test.get("ground") else ""


def ask_other(folder: Path, draft: Draft) -> None:
    """Each credit and test with its questions, then weather and soil."""
    ask_entries(
        folder,
        draft,
        "other_credits",
        lambda _, credit: str(credit.get("source")),
        lambda credit: (
            form.credit_questions(credit["source"])
            if credit.get("source") in credit_kinds.CREDIT_KINDS
            else ()
        ),
    )
    chosen, button = st.columns([3, 1], vertical_alignment="bottom")
    source = chosen.selectbox(
        "Another credit", list(credit_kinds.CREDIT_KINDS), index=None, placeholder="choose its source"
    )
    with button:
        add_button(folder, "other_credits", {"source": source}, "Add", disabled=source is None)
    st.markdown("**Nitrate test before side-dressing**")
    ask_entries(
        folder,
        draft,
        "sidedress_test",
        lambda _, test: f"Test of {test.get('block') or 'every block'}" + _ground(test),
        lambda _: form.SIDEDRESS,
    )
    add_button(folder, "sidedress_test", {}, "Add a test")
    st.markdown("**When it comes: weather**")
    file_line(folder, draft, ("weather", "file"), "Daily weather")
    replace_file(folder, "weather", "Daily weather: date, tmin_c, tmax_c, rain_mm (CSV)", TABLE_KINDS)
    by_file = bool(value_at(draft.told, ("weather", "file")))
    ask_all(folder, draft, form.WEATHER[-2:] if by_file else form.WEATHER)
    st.markdown("**The soil**")
    ask_all(folder, draft, form.SOIL)
