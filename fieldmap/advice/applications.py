"""What to know about several applications, and why the season splits them so."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fieldmap.advice.season import reason_text
from fieldmap.budget import sidedress, soil_c_from
from fieldmap.season import organic, uptake
from fieldmap.units import mass_text, rate_text

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Sequence

    from fieldmap.budget import Application, BlockSeason, Share
    from fieldmap.field import Field
    from fieldmap.plan import ApplicationSection, Plan
    from fieldmap.season import Course
    from fieldmap.units import UnitSystem
    from fieldmap.verdict import ApplicationMap


METHODS = {
    "broadcast before planting": "broadcast before planting",
    "band": "in a band",
    "side-dress": "side-dressed",
    "through drip": "through drip",
}
MADE_UP = (
    "Each application after the first aims at what the earlier ones, rounded to the rate step and held within the "
    "machine's limits, leave missing: together they aim at the whole."
)
LEAFY = (
    "granules that lodge in leaves and heads burn them (common practice, no source): side-dress beside the row, on "
    "dry leaves"
)


STANDING = (
    "an organic meal on a standing crop is banded beside the row and hoed in (common practice, no source): left on "
    "the surface it acts late or not at all."
)
BULKY = (
    "manure, compost and pellets go before planting, on a standing crop only meals, banded and hoed in (common "
    "practice, no source): choose a meal, or spread it earlier."
)


def objections(plan: Plan, field: Field) -> dict[int, tuple[str, ...]]:
    """What speaks against the day and the method of each dated application, by its number."""
    found = {}
    for number, one in enumerate(plan.application, start=1):
        if one.date is None:
            continue
        product, told = one.product_of(plan.spreader), []
        if one.through_drip and product.organic:
            told.append(
                f"{product.name} goes through drip, and only what dissolves does not clog the lines (common "
                "practice, no source): choose a product that does."
            )
        if one.method == "side-dress" and product.organic:
            told.append(STANDING if product.origin == "other" else BULKY)
        for block in field.blocks:
            told += _of_block(one, one.date, block.name, plan)
        found[number] = tuple(dict.fromkeys(told))
    return found


def application_warnings(plan: Plan, field: Field) -> tuple[str, ...]:
    """The same as notes, each with its application."""
    return tuple(
        f"Application {number} of {plan.application[number - 1].date}: {text}"
        for number, texts in objections(plan, field).items()
        for text in texts
    )


def lead_warnings(
    plan: Plan, field: Field, applications: Sequence[Application], courses: Sequence[Course | None]
) -> tuple[str, ...]:
    """An organic product that goes out too late to release most of what it does before the crop is done."""
    found = []
    for one in applications:
        if one.product.release is None or one.date is None:
            continue
        for block, course in zip(field.blocks, courses, strict=True):
            crop = plan.crop_of(block.name)
            useful = uptake.last_useful_day(crop.planted, crop.harvested, crop.entry)
            lead_d = organic.lead_days(one.product, soil_c_from(one.date, course))
            left_d = (useful - one.date).days
            if lead_d > left_d:
                found.append(
                    f"Application {one.number} of {one.date}: {one.product.name} needs about {lead_d:.0f} days in "
                    f"this soil to release most of what it does in 12 weeks, and {crop.name} in {block.name} has "
                    f"{left_d} until {useful}: spread it earlier."
                )
    return tuple(found)


def late_test_warnings(plan: Plan, calls: Sequence[sidedress.SidedressCall]) -> tuple[str, ...]:
    """A nitrate test after the last application calls for what has been spread already."""
    if not plan.application or any(one.date is None for one in plan.application):
        return ()
    days = [one.date for one in plan.application]
    late = sorted({call.sampled for call in calls if not sidedress.following(call, days)})
    return tuple(
        f"The nitrate test of {day} is later than every application: the whole need is spread by then, and what the "
        "test calls for would come on top. A test soon after spreading reads what was spread (common practice, no "
        "source). Hold an application back for it, or leave the test out."
        for day in late
    )


def _of_block(one: ApplicationSection, date: dt.date, block: str, plan: Plan) -> list[str]:
    crop = plan.crop_of(block)
    found = []
    if date < plan.cover_crop_of(block).terminated:
        found.append(
            f"the cover crop in {block} still stands, until {plan.cover_crop_of(block).terminated}: it takes up what "
            "is spread on it."
        )
    if one.method == "broadcast before planting" and date > crop.planted:
        stands = f"{crop.name} in {block} stands since {crop.planted}"
        found.append(
            f"{stands}, and {LEAFY}." if crop.entry.leafy else f"{stands}: check the dates, or side-dress."
        )
    last = uptake.last_dressing_day(crop.planted, crop.harvested, crop.entry)
    if one.follows_planting and date > last:
        words = f" ({crop.entry.dressing.last_dressing})" if crop.entry.dressing else ""
        found.append(
            f"the last sensible dressing of {crop.name} in {block} is on {last}{words}: later nitrogen does little "
            "and may stay in the soil (common practice, no source)."
        )
    if crop.plastic_laid is not None and date >= crop.plastic_laid and one.method != "through drip":
        found.append(
            f"plastic covers the beds of {block} since {crop.plastic_laid}, and what is spread then lies on it or "
            "between them: spread before it is laid, or give the nitrogen through drip."
        )
    return found


LEFT_SAID_N_KG = 0.5  # a pinch over the whole field is not worth a word


def left_warnings(
    applications: Sequence[ApplicationMap], shares: Sequence[Share], units: UnitSystem
) -> tuple[str, ...]:
    """What steps and limits leave of each application for those after it; nothing where none after it makes it up."""
    makes_up = any(
        k not in share.tested for share in shares for k in range(1, len(applications)) if share.shares[k] > 0
    )
    left = [
        f"Application {one.application.number} spreads {mass_text(abs(one.left_n_kg), units)} of nitrogen "
        f"{'less' if one.left_n_kg > 0 else 'more'} than its share."
        for one in applications[:-1]
        if abs(one.left_n_kg) >= LEFT_SAID_N_KG
    ]
    return (" ".join((MADE_UP, *left)),) if makes_up else ()


def split_text(share: Share, seasons: Sequence[BlockSeason], units: UnitSystem) -> str:
    """Why the season splits a block's nitrogen so; empty where the plan gives the shares."""
    if not share.by_season:
        return ""
    season = next(one for one in seasons if one.block == share.block)
    if season.supplemental_kg_ha <= 0 or len(share.by_season) == len(share.shares) == 2:
        return reason_text(season, units)
    listed = ", ".join(f"{rate_text(kg_ha, units)} on {date}" for date, kg_ha in share.by_season if kg_ha > 0)
    first = f"From {season.short_from} the crop is short" if season.short_from else "The crop is never short"
    return f"{first}: {listed}."
