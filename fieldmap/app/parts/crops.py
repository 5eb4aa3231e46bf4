"""The two crops: the stand that is credited, and the vegetable that needs it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from fieldmap import agronomy
from fieldmap.app.parts.asking import ask_all, ask_per_block
from fieldmap.app.plans import questions as form
from fieldmap.app.session.answers import ask, ask_confidence, units_of, value_at
from fieldmap.app.session.messages import plain
from fieldmap.units import KG_HA_PER_LB_AC, rate_range_text

if TYPE_CHECKING:
    from pathlib import Path

    from fieldmap.app.plans.draft import Draft


def ask_stand(folder: Path, draft: Draft) -> None:
    """What was grown, how it was ended, and how it is credited."""
    species = value_at(draft.told, ("cover_crop", "species")) or []
    ask(folder, draft.told, form.STAND[0])
    ask(folder, draft.told, form.STAGE, options=form.stages_of(species))
    ask_all(folder, draft, form.STAND[1:])
    st.markdown("**How it is credited**")
    ask_all(folder, draft, form.CREDIT)
    ask_confidence(folder, draft.told)
    ask_per_block(folder, draft, "cover_crop", (form.STAND[0], *form.STAND[2:5]))


def ask_crop(folder: Path, draft: Draft) -> None:
    """What is planted next and what it needs, with what the table says of it."""
    ask_all(folder, draft, form.CROP)
    name = value_at(draft.told, ("crop", "name"))
    entry = agronomy.find(name, agronomy.crops()) if isinstance(name, str) else None
    units = units_of(draft.told)
    if entry is not None and entry.need_lb_ac is not None:
        low, high = (rate_lb_ac * KG_HA_PER_LB_AC for rate_lb_ac in entry.need_lb_ac)
        sources = "; ".join(
            f"{agronomy.sources()[key].citation} ({agronomy.sources()[key].mark})" for key in entry.sources
        )
        st.caption(
            plain(f"For {entry.name} the table has a need of {rate_range_text(low, high, units)}. {sources}")
        )
    ask_per_block(folder, draft, "crop", (form.CROP[0], *form.CROP[2:5]))
