"""What waiting for a later growth stage costs or brings."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from fieldmap.units import rate_text

if TYPE_CHECKING:
    from fieldmap.credit import Stage, StageCourse
    from fieldmap.units import UnitSystem


MATTERS_KG_HA = 1.0  # less than this is neither a cost nor a gain
ROLLS_FROM = ("full bloom", "seed set", "anthesis", "ripe")  # common practice: younger stands grow again


def waiting_text(course: StageCourse, *, planted: dt.date, units: UnitSystem) -> str:
    """What waiting for a later stage costs or brings, in a few sentences computed from the plan.

    `planted` is the day on which the first crop of its blocks is planted.
    """
    cover, stages = course.cover, course.stages
    here, later = stages[course.now], stages[course.now + 1 :]
    stand = f"the mean stand of {' and '.join(cover.species)} holds {rate_text(here.total_kg_ha, units)} of nitrogen"
    parts = [f"At {here.stage} {stand}; {_available(here, units)} over the season."]
    for stage in later[:1]:
        when = cover.terminated + dt.timedelta(days=round(stage.days))
        change = gain_text(stage.available_kg_ha - here.available_kg_ha, units)
        planting = (
            f", after the planting of {planted}: that would have to wait too" if when >= planted else ""
        )
        parts.append(f"Waiting for {stage.stage}, about {stage.days:.0f} days ({when}), {change}{planting}.")
    parts += [
        f"By {stage.stage} it {gain_text(stage.available_kg_ha - here.available_kg_ha, units)}."
        for stage in later[1:]
    ]
    if cover.ended_by == "rolled" and here.stage not in ROLLS_FROM:
        rolls = next(stage.stage for stage in stages if stage.stage in ROLLS_FROM)
        parts.append(
            f"A stand rolled at {here.stage} grows again: to roll it, wait for {rolls} (common practice, no source)."
        )
    young, old = stages[0], stages[-1]
    parts.append(
        f"For the same dry weight it would be {rate_text(young.same_biomass_kg_ha, units)} at {young.stage} and "
        f"{rate_text(old.same_biomass_kg_ha, units)} at {old.stage}: only growth makes up for the falling %N (stages "
        "and growth from memory, shaped to published trials)."
    )
    return " ".join(parts)


def _available(stage: Stage, units: UnitSystem) -> str:
    if stage.available_kg_ha < 0:
        return f"none becomes available and {rate_text(-stage.available_kg_ha, units)} more are tied up"
    return f"{rate_text(stage.available_kg_ha, units)} become available"


def gain_text(change_kg_ha: float, units: UnitSystem) -> str:
    """``brings 8 kg/ha more``, ``costs 8 kg/ha``."""
    if abs(change_kg_ha) < MATTERS_KG_HA:
        return "changes next to nothing"
    amount = rate_text(abs(change_kg_ha), units)
    return f"brings {amount} more" if change_kg_ha > 0 else f"costs {amount}"
