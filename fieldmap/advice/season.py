"""What the season says: timing, tests, nitrogen tied up, and what the other credits leave open."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fieldmap import agronomy
from fieldmap.budget import ledger, other_credits, sidedress
from fieldmap.season import RELEASE, uptake
from fieldmap.units import rate_text, temperature_text, water_text

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterable, Sequence

    from fieldmap.budget import BlockSeason, Budget
    from fieldmap.field import Field
    from fieldmap.plan import Plan
    from fieldmap.season import Course
    from fieldmap.stand import Stand
    from fieldmap.units import UnitSystem


def tested_warnings(plan: Plan, field: Field) -> tuple[str, ...]:
    """Where a soil nitrate test after the cover crop ended meets no weather: what was taken for its release."""
    tested = [block.name for block in field.blocks if plan.tested_after_cover(block.name)]
    if plan.weather is not None or not tested:
        return ()
    warm = temperature_text(RELEASE.reference_c, plan.units)
    note = (
        f"Block {' and '.join(tested)}: the soil nitrate test holds what the cover crop had released by then; "
        f"without weather that is taken for soil at {warm}, more than in a cool spring, and not credited again."
    )
    return (note,)


TESTED = "What a test calls for stands in place of what the ledger leaves for the side-dressing"
TIED_UP_SAID_KG_HA = agronomy.values_of("verdict")["tied_up_said_kg_ha"]
SAID_KG_HA = 0.5  # less rounds to nothing


def reason_text(season: BlockSeason, units: UnitSystem) -> str:
    """How a block's supplemental nitrogen is split between planting and side-dressing, and why."""
    whole_kg_ha, first, day = season.supplemental_kg_ha, season.short_from, season.timing.sidedress
    whole = rate_text(whole_kg_ha, units)
    if whole_kg_ha < SAID_KG_HA:
        return "Nothing is left to spread."
    early_kg_ha = season.timing.at_planting_share * whole_kg_ha
    late_kg_ha = whole_kg_ha - early_kg_ha
    early, late = rate_text(early_kg_ha, units), rate_text(late_kg_ha, units)
    if first is None and late_kg_ha < SAID_KG_HA:
        return f"On average the crop is never short: all {whole} go out at planting as a starter."
    if first is None:
        now = f"{early} at planting are a starter, and " if early_kg_ha > 0 else ""
        return f"On average the crop is never short: {now}{late} for the thin places can wait for {day}."
    tied = ""
    if season.balance.released.sum() < 0:
        tied = "Poor residue ties nitrogen up when the crop is planted. "
    if early_kg_ha == 0:
        wait = f"all {whole} can wait for the side-dressing on {day}."
        return f"{tied}What is released carries the crop to {first}: {wait}"
    if season.timing.at_planting_share == 1:
        return (
            f"{tied}From {first} the crop is short, and too little would be left for a pass on {day}: all {whole} at "
            "planting."
        )
    if first > day:
        return (
            f"{tied}What is released carries the crop to {first}: {early} at planting are a starter, and {late} can "
            f"wait for the side-dressing on {day}."
        )
    return (
        f"{tied}From {first} the crop is short: {early} at planting carry it to the side-dressing on {day}, and "
        f"{late} follow then."
    )


def season_warnings(
    courses: Sequence[Course | None], seasons: Sequence[BlockSeason], field: Field, units: UnitSystem
) -> tuple[str, ...]:
    """What stands behind the days that are still to come, and calls for a soil test."""
    found = []
    for course in courses:
        if course is None:
            continue
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
            found.append("The season follows the mean of the year, rain unknown.")
    if any(course is not None and _rain_mattered(course) for course in courses):
        found.append(_RAIN_UNKNOWN)
    of_block = {block.name: course for block, course in zip(field.blocks, courses, strict=True)}
    for season in seasons:
        course = of_block[season.block]
        if course is not None:
            found += _call_for_soil_test(season, course, units)
    return tuple(dict.fromkeys(found))


_RAIN_UNKNOWN = (
    f"Rain before planting is not known: of what is released more than {RELEASE.rain_unknown_d:.0f} days before it, "
    f"{RELEASE.rain_unknown_kept * 100:.0f} % is counted, give or take {RELEASE.rain_unknown_kept_sd * 100:.0f} "
    "(common practice, no source). Weather with rain, or a soil nitrate test, would settle it."
)


def _rain_mattered(course: Course) -> bool:
    """Whether some of the credit is in doubt because rain before planting is not known."""
    return not bool(course.release.rain_known.all()) and bool(course.in_time.split.before.any())


def _call_for_soil_test(season: BlockSeason, course: Course, units: UnitSystem) -> list[str]:
    """The call for a soil nitrate test, where drainage makes it worth one."""
    before_kg_ha = max(0.0, float(course.in_time.split.before.mean()) * float(season.balance.released.sum()))
    at_risk_kg_ha = float(season.balance.at_risk)
    if not RELEASE.soil_test_is_due(at_risk_kg_ha, before_kg_ha):
        return []
    drained_mm = float(course.soil.drainage_mm.sum(axis=-1).mean())
    text = (
        f"Block {season.block}: {rate_text(before_kg_ha, units)} of the cover crop's nitrogen is out of the roots' "
        f"reach by planting or may be, and drainage ({water_text(drained_mm, units)} over the season) may carry "
        f"{rate_text(at_risk_kg_ha, units)} more below them: test the soil nitrate before the side-dressing."
    )
    return [text]


def tied_up_warnings(lines: tuple[ledger.LedgerLine, ...], plan: Plan) -> tuple[str, ...]:
    """Blocks in which the residue holds nitrogen back from the crop."""
    return tuple(
        f"Block {line.block}: the residue is poor in nitrogen and ties up {rate_text(line.kg_ha, plan.units)} when "
        "the crop is young, which is spread on top of the need: spread that part at planting, and look at the stand "
        "again before trusting the map."
        for line in lines
        if line.line == ledger.LineKind.TIED_UP and line.kg_ha >= TIED_UP_SAID_KG_HA
    )


STANDS = f"{TESTED}, and nothing is subtracted from it. The zone files were drawn from the ledger and do not hold it."


def sidedress_text(call: sidedress.SidedressCall, days: Sequence[dt.date | None], units: UnitSystem) -> str:
    """What a nitrate test calls for, and which zone files hold it. `days` are those of the applications."""
    return f"{call_text(call, units)} {_stands(call, days)}"


def _stands(call: sidedress.SidedressCall, days: Sequence[dt.date | None]) -> str:
    numbers = [k + 1 for k in sidedress.following(call, days)]
    if not numbers:
        return STANDS
    which = f"application{'s' if len(numbers) > 1 else ''} {' and '.join(map(str, numbers))}"
    return f"{TESTED}, and nothing is subtracted from it. The zone files of {which} follow it."


def call_text(call: sidedress.SidedressCall, units: UnitSystem) -> str:
    """What a nitrate test calls for, and what that rests on."""
    amount = f"{rate_text(call.rate_n_kg_ha, units)} of nitrogen" if call.rate_n_kg_ha > 0 else "nothing"
    if call.threshold_ppm is None:
        basis = f"rate table, ground {'with' if call.manured else 'without'} manure"
    elif call.nitrate_n_ppm >= call.threshold_ppm:
        basis = f"the threshold is {call.threshold_ppm:g} ppm"
    elif call.scheme == "steps":
        basis = f"steps of humid, rain-fed ground below the threshold of {call.threshold_ppm:g} ppm"
    else:
        basis = f"enough to bring the top 30 cm to the threshold of {call.threshold_ppm:g} ppm"
    where = f"{call.block}, {call.ground} ground" if call.ground else call.block
    return (
        f"{where} ({call.crop}): the test of {call.sampled} found {call.nitrate_n_ppm:.3g} ppm nitrate-N: "
        f"side-dress {amount}, good to {rate_text(call.error_kg_ha, units)} either way ({basis})."
    )


def nitrate_test_warnings(plan: Plan, stand: Stand, budget: Budget) -> tuple[str, ...]:
    """What speaks against a nitrate test: water that drained, what was spread, poor residue, what was assumed."""
    found: list[str] = []
    of_block = {block.name: number for number, block in enumerate(stand.field.blocks)}
    for call in budget.sidedress:
        number = of_block[call.block]
        course = budget.courses[number]
        found += _spread_before(call, plan)
        found += [] if course is None else _drained(call, course, plan)
        found += _poor_residue(call, plan, stand.mean_nitrogen_pct(number))
        if call.assumed and call.rate_n_kg_ha > 0:
            found.append(
                f"The plan does not say whether {call.block} is irrigated, so the test of {call.sampled} is followed "
                f"by {'the rate table of humid ground' if call.scheme == 'rate table' else 'filling the soil up'}: "
                'give [weather] irrigated, or rate = "fill up" or "steps" in [sidedress_test].'
            )
    if any(call.strip for call in budget.sidedress):
        found.append(
            "A nitrate strip is good to 20 % (from memory): send one sample in three to a laboratory too, and see "
            "how far the strips are off."
        )
    return tuple(dict.fromkeys(found))


def _spread_before(call: sidedress.SidedressCall, plan: Plan) -> list[str]:
    """Nitrogen, compost or manure that was spread shortly before the test, as the plan tells it."""
    days = [(one.date, "nitrogen") for one in plan.application if one.date is not None]
    days += [
        (one.applied, one.source)
        for one in plan.other_credits
        if one.applied is not None and one.block in (None, call.block)
    ]
    within = [
        (day, what) for day, what in days if 0 <= (call.sampled - day).days <= sidedress.TEST["disturbed_d"]
    ]
    return [
        f"The test of {call.sampled} in {call.block} comes {(call.sampled - day).days} days after {what} was spread "
        f"on {day}: within three weeks it reads what lies in clods and bands (published). Sample again later, away "
        "from bands."
        for day, what in within
    ]


def _drained(call: sidedress.SidedressCall, course: Course, plan: Plan) -> list[str]:
    """Drainage from the test to the dressing that follows it, as far as the weather is recorded."""
    if course.soil.basis == "sine":
        return []
    crop = plan.crop_of(call.block)
    dressed = [one.date for one in plan.application if one.date and one.date >= call.sampled]
    last = min([*dressed, uptake.last_dressing_day(crop.planted, crop.harvested, crop.entry)])
    last = min(last, course.soil.recorded_to or last)
    days = (course.soil.dates > np.datetime64(call.sampled, "D")) & (
        course.soil.dates <= np.datetime64(last, "D")
    )
    drained_mm = float(course.soil.drainage_mm.mean(axis=0)[days].sum())
    if drained_mm <= sidedress.TEST["drained_mm"]:
        return []
    drained, most = (water_text(each, plan.units) for each in (drained_mm, sidedress.TEST["drained_mm"]))
    text = (
        f"Some {drained} drained in {call.block} from the test of {call.sampled} to {last}: after more than {most} "
        "it no longer holds (common practice, no source). Sample again."
    )
    return [text]


def _poor_residue(call: sidedress.SidedressCall, plan: Plan, nitrogen_pct: float) -> list[str]:
    cover = plan.cover_crop_of(call.block)
    days = (call.sampled - cover.terminated).days
    poor = nitrogen_pct < sidedress.TEST["poor_residue_pct"] and cover.placement != "surface"
    if not poor or days >= sidedress.TEST["disturbed_d"]:
        return []
    text = (
        f"The residue in {call.block} has {nitrogen_pct:.1f} %N and was incorporated {days} days before the test of "
        f"{call.sampled}: it still ties nitrogen up that comes back later (common practice, no source). Sample again."
    )
    return [text]


def credit_warnings(found: Iterable[other_credits.Credit], units: UnitSystem) -> tuple[str, ...]:
    """A sentence for each note of the credits, in their order."""
    return tuple(_note_text(credit, note, units) for credit in found for note in credit.notes)


def _note_text(credit: other_credits.Credit, note: other_credits.Note, units: UnitSystem) -> str:
    match note.doubt:
        case other_credits.Doubt.WATER_USE_NOT_KNOWN:
            return "Irrigation water is credited whole: without weather the crop's use of water is not known."
        case other_credits.Doubt.WATER_BEYOND_USE:
            used = water_text(note.water_mm or 0.0, units)
            return f"Irrigation water is credited up to what the crop uses, {used}."
        case other_credits.Doubt.STANDS_IN_COVER:
            return (
                f"The {credit.name} of {note.on} was spread before the cover crop: its nitrogen already stands in it "
                "and is credited zero. Set confirmed = true to credit it all the same."
            )
        case other_credits.Doubt.TESTED_UNDER_COVER:
            return (
                f"The soil nitrate test of {note.on} was taken while the cover crop stood: it may since have taken "
                "that nitrate up."
            )
