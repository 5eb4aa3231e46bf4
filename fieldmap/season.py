"""When the credit comes, block by block: what the crop can use of it, and where it runs short."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING

import pandas as pd

from fieldmap.course import latitude
from fieldmap.other_credits import other_credits
from fieldmap.sidedress import stands_text
from fieldmap.soil import reference_et_mm
from fieldmap.units import rate_text
from fieldmap.uptake import (
    balance,
    call_for_soil_test,
    short_from,
    time_supplemental,
    weekly,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy as np
    from numpy.typing import NDArray

    from fieldmap.course import Course
    from fieldmap.credit import CreditMap
    from fieldmap.field import Field
    from fieldmap.need import BlockNeed, LedgerLine
    from fieldmap.other_credits import Credit
    from fieldmap.plan import Plan
    from fieldmap.sidedress import SidedressCall
    from fieldmap.uptake import Balance, Timing, Weeks


TIED_UP_SAID_KG_HA = 3.0
COMES_WITH_GROWTH = ("irrigation water", "soil organic matter")
NOT_CONSIDERED = "timing was not considered: the plan has no weather, and the whole season's credit is taken"


@dataclass(frozen=True)
class BlockSeason:
    """A block's season for its mean credit: by day, by week, and when to spread."""

    block: str
    balance: Balance
    weeks: Weeks
    timing: Timing
    short_from: dt.date | None
    supplemental_kg_ha: float


def block_seasons(
    plan: Plan,
    needs: Sequence[BlockNeed],
    courses: dict[str, Course],
    whole: CreditMap,
    supplemental_kg_ha: NDArray[np.float64],
    field: Field,
) -> tuple[BlockSeason, ...]:
    """The season of every block that has a course, for its mean credit of the whole season."""
    return tuple(
        block_season(
            plan,
            need,
            courses[need.block],
            float(whole.credit_kg_ha[field.block_index == number].mean()),
            float(supplemental_kg_ha[field.block_index == number].mean()),
        )
        for number, need in enumerate(needs)
        if need.block in courses
    )


def credits_of(plan: Plan, block: str, field: Field, daily: pd.DataFrame | None) -> tuple[Credit, ...]:
    """The other credits of a block, irrigation water up to what the weather lets the crop use."""
    crop = plan.crop_of(block)
    use_mm = water_use_mm(daily, crop.planted, crop.harvested, latitude(field))
    return other_credits(plan, block, water_use_mm=use_mm)


def timing_text(
    seasons: tuple[BlockSeason, ...], plan: Plan, sidedress: tuple[SidedressCall, ...] = ()
) -> str:
    """When the crop runs short, and what to hold back for side-dressing.

    Where the crop was tested before the side-dressing, what the test calls for stands in place of it.
    """
    if sidedress:
        tested = {call.block for call in sidedress}
        rest = tuple(season for season in seasons if season.block not in tested)
        others = (timing_text(rest, plan),) if rest else ()
        return " ".join((*(call.text for call in sidedress), stands_text(sidedress, plan), *others))
    if not seasons:
        return NOT_CONSIDERED
    if len(seasons) == 1:
        return seasons[0].timing.reason
    return "; ".join(
        f"{season.block} ({plan.crop_of(season.block).name}) {_brief(season, plan)}" for season in seasons
    )


def _brief(season: BlockSeason, plan: Plan) -> str:
    """``short from 2026-07-06: 20 lb/ac at planting, 59 lb/ac on 2026-06-22``."""
    timing = season.timing
    early = timing.at_planting_share * season.supplemental_kg_ha
    late = season.supplemental_kg_ha - early
    if season.supplemental_kg_ha <= 0:
        return "needs nothing more"
    amounts = [
        f"{rate_text(kg_ha, plan.units)} {when}"
        for kg_ha, when in ((early, "at planting"), (late, f"on {timing.sidedress}"))
        if kg_ha > 0
    ]
    when = f"short from {season.short_from}" if season.short_from else "not short on average"
    return f"{when}: {', '.join(amounts)}"


def block_season(
    plan: Plan, need: BlockNeed, course: Course, whole_credit_kg_ha: float, supplemental_kg_ha: float
) -> BlockSeason:
    """Weekly balance of a block for its mean credit of the whole season, and the split of what is to spread."""
    crop, entry = plan.crop_of(need.block), plan.crop_of(need.block).entry
    with_growth = sum(one.kg_ha for one in need.credits if one.name in COMES_WITH_GROWTH)
    at_hand = need.other_credits_kg_ha - with_growth
    found = balance(
        course.release,
        whole_credit_kg_ha,
        need.need_kg_ha - with_growth,
        entry,
        planted=crop.planted,
        harvested=crop.harvested,
        on_hand_kg_ha=at_hand,
        tested=course.tested,
    )
    timing = time_supplemental(
        found,
        supplemental_kg_ha,
        entry,
        harvested=crop.harvested,
        units=plan.units,
        sidedress=next((one.date for one in plan.application[1:] if one.follows_planting), None),
    )
    first = short_from(found).item()
    return BlockSeason(
        need.block,
        found,
        weekly(found),
        timing,
        first if isinstance(first, dt.date) else None,
        supplemental_kg_ha,
    )


def water_use_mm(
    daily: pd.DataFrame | None, planted: dt.date, harvested: dt.date, latitude_deg: float
) -> float | None:
    """Reference evapotranspiration from planting to harvest; None where the record does not cover it."""
    if daily is None:
        return None
    days = daily.loc[str(planted) : str(harvested)]
    if len(days) < (harvested - planted).days + 1:
        return None
    each = reference_et_mm(
        days["tmin_c"].to_numpy(),
        days["tmax_c"].to_numpy(),
        pd.DatetimeIndex(days.index).day_of_year.to_numpy(),
        latitude_deg,
    )
    return float(each.sum())


def season_warnings(
    courses: dict[str, Course], seasons: tuple[BlockSeason, ...], plan: Plan
) -> tuple[str, ...]:
    """What stands behind the days that are still to come, and calls for a soil test."""
    found = []
    for course in courses.values():
        if course.soil.basis == "earlier years":
            found.append(
                f"The weather is known to {course.soil.recorded_to}; the days after it are those of earlier years."
            )
        elif course.soil.basis == "sine" and course.soil.recorded_to:
            found.append(
                f"The weather is known to {course.soil.recorded_to}; the days after it follow the mean of the year, "
                "rain unknown."
            )
        elif course.soil.basis == "sine":
            found.append(
                "The season follows the mean of the year; rain is unknown, so drainage is not considered."
            )
    for season in seasons:
        course = courses[season.block]
        before = float(course.in_time.split.before.mean()) * float(season.balance.released.sum())
        drained = float(course.soil.drainage_mm.sum(axis=-1).mean())
        call = call_for_soil_test(float(season.balance.at_risk), max(0.0, before), drained, units=plan.units)
        if call:
            found.append(f"Block {season.block}: {call}")
    return tuple(dict.fromkeys(found))


def tied_up_warnings(lines: tuple[LedgerLine, ...], plan: Plan) -> tuple[str, ...]:
    """Blocks in which the residue holds nitrogen back from the crop."""
    return tuple(
        f"Block {line.block}: the residue is poor in nitrogen and ties up {rate_text(line.kg_ha, plan.units)} when "
        "the crop is young, which is spread on top of the need: spread that part at planting, and look at the stand "
        "again before trusting the map."
        for line in lines
        if line.line == "tied up" and line.kg_ha >= TIED_UP_SAID_KG_HA
    )
