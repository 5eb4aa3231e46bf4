"""What to know about several applications, and when the crop runs short."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fieldmap.advice.season import timing_text
from fieldmap.budget import METHODS, following
from fieldmap.plan import product_entry
from fieldmap.units import mass_text, rate_text

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Sequence

    from fieldmap.budget import Budget, Share, SidedressCall
    from fieldmap.field import Field
    from fieldmap.plan import Application, Plan
    from fieldmap.verdict import ApplicationMap


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
        product = plan.spreader.product_entry if one.product is None else product_entry(one.product)
        if one.through_drip and product.organic:
            found.append(
                f"Application {number} of {one.date}: {product.name} goes through drip, and only what dissolves "
                "does not clog the lines (common practice, no source): choose a product that does."
            )
        name = f"Application {number} of {one.date}"
        for block in field.blocks:
            found += [f"{name}: {text}" for text in _of_block(one, one.date, block.name, plan)]
    return tuple(dict.fromkeys(found))


def late_test_warnings(plan: Plan, calls: Sequence[SidedressCall]) -> tuple[str, ...]:
    """A nitrate test after the last application calls for what has been spread already."""
    if not plan.application or any(one.date is None for one in plan.application):
        return ()
    late = sorted({call.sampled for call in calls if not following(plan, call)})
    return tuple(
        f"The nitrate test of {day} is later than every application: the whole need is spread by then, and what the "
        "test calls for would come on top. A test soon after spreading reads what was spread (common practice, no "
        "source). Hold an application back for it, or leave the test out."
        for day in late
    )


def _of_block(one: Application, date: dt.date, block: str, plan: Plan) -> list[str]:
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
    if crop.plastic_laid is not None and date >= crop.plastic_laid and one.method != "through drip":
        found.append(
            f"plastic covers the beds of {block} since {crop.plastic_laid}, and what is spread then lies on it or "
            "between them: spread before it is laid, or give the nitrogen through drip."
        )
    return found


LEFT_SAID_N_KG = 0.5  # a pinch over the whole field is not worth a word


def left_warnings(applications: Sequence[ApplicationMap], shares: Sequence[Share]) -> tuple[str, ...]:
    """What steps and limits leave of each application for those after it; nothing where none after it makes it up."""
    makes_up = any(
        k not in share.tested for share in shares for k in range(1, len(applications)) if share.shares[k] > 0
    )
    units = applications[0].plan.units
    left = [
        f"Application {one.number} spreads {mass_text(abs(one.left_n_kg), units)} of nitrogen "
        f"{'less' if one.left_n_kg > 0 else 'more'} than its share."
        for one in applications[:-1]
        if abs(one.left_n_kg) >= LEFT_SAID_N_KG
    ]
    return (" ".join((MADE_UP, *left)),) if makes_up else ()


def when_text(
    plan: Plan, budget: Budget, applications: Sequence[ApplicationMap], shares: Sequence[Share]
) -> str:
    """What goes out on which day, then what the season says of it; of one application the season alone."""
    season = timing_text(budget.seasons, plan, budget.sidedress)
    if len(applications) == 1:
        return season
    reasons = [share.reason for share in shares if share.reason]
    if len(applications) > 2 and reasons:
        blocks = (f"{share.block}: {share.reason}" for share in shares)
        season = " ".join(blocks) if len(shares) > 1 else reasons[0]
    if budget.seasons and not budget.sidedress:
        season = f"{'The season splits it so' if reasons else 'By the season alone'}: {season}"
    return f"{'; '.join(map(_told, applications))}. {season[:1].upper()}{season[1:]}"


def _told(one: ApplicationMap) -> str:
    """``2026-05-20, 45 lb/ac of nitrogen on average as urea, broadcast before planting``."""
    rows = one.spread.zone_map.rows
    area_ha = sum(row.area_ha for row in rows)
    mean_n_kg_ha = sum(row.rate_n_kg_ha * row.area_ha for row in rows) / area_ha if area_ha else 0.0
    return (
        f"{one.told.date}, {rate_text(mean_n_kg_ha, one.plan.units)} of nitrogen on average as "
        f"{one.plan.spreader.product_entry.name}, {METHODS[one.told.method]}"
    )
