"""What the season says: timing, tests, nitrogen tied up."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fieldmap.budget import TESTED, following
from fieldmap.season import RELEASE, call_for_soil_test, tested_after
from fieldmap.units import rate_text, temperature_text

if TYPE_CHECKING:
    from fieldmap.budget import BlockSeason, LedgerLine, SidedressCall
    from fieldmap.field import Field
    from fieldmap.plan import Plan
    from fieldmap.season import Course


def tested_warnings(plan: Plan, field: Field) -> tuple[str, ...]:
    """Where a soil nitrate test after the cover crop ended meets no weather: what was taken for its release."""
    tested = [block.name for block in field.blocks if tested_after(plan, block.name)]
    if plan.weather is not None or not tested:
        return ()
    warm = temperature_text(RELEASE.reference_c, plan.units)
    note = (
        f"Block {' and '.join(tested)}: the soil nitrate test holds what the cover crop had released by then; "
        f"without weather that is taken for soil at {warm}, more than in a cool spring, and not credited again."
    )
    return (note,)


TIED_UP_SAID_KG_HA = 3.0
NOT_CONSIDERED = "timing was not considered: the plan has no weather, and the whole season's credit is taken"


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


STANDS = f"{TESTED}, and nothing is subtracted from it. The zone files were drawn from the ledger and do not hold it."


def stands_text(calls: tuple[SidedressCall, ...], plan: Plan) -> str:
    """What becomes of what the tests call for: which zone files hold it, or that none does."""
    numbers = sorted({k + 1 for call in calls for k in following(plan, call)})
    if not numbers:
        return STANDS
    which = f"application{'s' if len(numbers) > 1 else ''} {' and '.join(map(str, numbers))}"
    return f"{TESTED}, and nothing is subtracted from it. The zone files of {which} follow it."
