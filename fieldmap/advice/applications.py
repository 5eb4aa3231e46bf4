"""What to know about several applications, and when the crop runs short."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fieldmap.advice.season import reason_text, timing_text
from fieldmap.budget import sidedress
from fieldmap.season import uptake
from fieldmap.units import mass_text, rate_text

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Sequence

    from fieldmap.budget import BlockSeason, Budget, Share
    from fieldmap.field import Field
    from fieldmap.plan import ApplicationSection, Plan
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


def application_warnings(plan: Plan, field: Field) -> tuple[str, ...]:
    """What the day and the method of each application call to mind, block by block."""
    found = []
    for number, one in enumerate(plan.application, start=1):
        if one.date is None:
            continue
        product = one.product_of(plan.spreader)
        if one.through_drip and product.organic:
            found.append(
                f"Application {number} of {one.date}: {product.name} goes through drip, and only what dissolves "
                "does not clog the lines (common practice, no source): choose a product that does."
            )
        name = f"Application {number} of {one.date}"
        for block in field.blocks:
            found += [f"{name}: {text}" for text in _of_block(one, one.date, block.name, plan)]
    return tuple(dict.fromkeys(found))


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


def when_text(
    plan: Plan, budget: Budget, applications: Sequence[ApplicationMap], shares: Sequence[Share]
) -> str:
    """What goes out on which day, then what the season says of it; of one application the season alone."""
    days = [one.application.date for one in applications]
    season = timing_text(budget.seasons, plan, budget.sidedress, days=days)
    if len(applications) == 1:
        return season
    reasons = [split_text(share, budget.seasons, plan.units) for share in shares]
    if len(applications) > 2 and any(reasons):
        blocks = (f"{share.block}: {reason}" for share, reason in zip(shares, reasons, strict=True))
        season = " ".join(blocks) if len(shares) > 1 else reasons[0]
    if budget.seasons and not budget.sidedress:
        season = f"{'The season splits it so' if any(reasons) else 'By the season alone'}: {season}"
    told = "; ".join(_told(one, plan.units) for one in applications)
    return f"{told}. {season[:1].upper()}{season[1:]}"


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


def _told(one: ApplicationMap, units: UnitSystem) -> str:
    """``2026-05-20, 45 lb/ac of nitrogen on average as urea, broadcast before planting``."""
    rows = one.spread.zone_map.rows
    area_ha = sum(row.area_ha for row in rows)
    mean_n_kg_ha = sum(row.rate_n_kg_ha * row.area_ha for row in rows) / area_ha if area_ha else 0.0
    return (
        f"{one.application.date}, {rate_text(mean_n_kg_ha, units)} of nitrogen on average as "
        f"{one.application.product.name}, {METHODS[one.application.method]}"
    )
