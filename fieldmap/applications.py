"""Several applications: which share goes out on which day, and what of it each block's rates aim at.

An application after the first aims at its share of what the earlier ones, as zoned and rounded, leave missing, and
the last at all of it: so what rounding and the machine's limits leave short or over is made up for, and all together
aim at the supplemental nitrogen.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from fieldmap.plan import NEED_MAX_KG_HA, product_entry
from fieldmap.sidedress import following
from fieldmap.units import rate_text
from fieldmap.uptake import split_by_season
from fieldmap.zones import RATES_MAX

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from fieldmap import tables
    from fieldmap.field import Field
    from fieldmap.need import BlockNeed
    from fieldmap.plan import Application, Plan
    from fieldmap.season import BlockSeason
    from fieldmap.sidedress import SidedressCall

    Floats = NDArray[np.float64]

MADE_UP = (
    "Each application after the first aims at what the earlier ones, rounded to the rate step and held within the "
    "machine's limits, leave missing: together they aim at the whole."
)
METHODS = {
    "broadcast before planting": "broadcast before planting",
    "band": "in a band",
    "side-dress": "side-dressed",
    "through drip": "through drip",
}
LEAFY = (
    "granules that lodge in leaves and heads burn them (common practice, no source): side-dress beside the row, on "
    "dry leaves"
)


@dataclass(frozen=True)
class Share:
    """A block's part in the applications of a plan, in their order.

    `shares` are of the supplemental nitrogen and add up to one; `tested` are the positions of those that follow a
    nitrate test in its place, `tested_n_kg_ha` what it calls for in all of these; `reason` says why the season splits
    so, empty where the plan gives the shares.
    """

    block: str
    shares: tuple[float, ...]
    tested: tuple[int, ...]
    tested_n_kg_ha: float
    reason: str

    @property
    def by_ledger(self) -> float:
        """Share of the supplemental that goes out by the ledger, not by a test."""
        return 1.0 if not self.tested else 1.0 - sum(self.shares[k] for k in self.tested)

    def before(self, position: int) -> tuple[int, ...]:
        """The earlier applications that count for one: of those by a test the earlier ones by it."""
        if position in self.tested:
            return tuple(k for k in self.tested if k < position)
        return tuple(range(position))

    def need(self, position: int, need: BlockNeed, given_n_kg_ha: float | Floats) -> BlockNeed:
        """What an application is to bring, where those that count for it have brought `given_n_kg_ha`."""
        tested = position in self.tested
        together = self.tested if tested else tuple(range(len(self.shares)))
        left = sum(self.shares[k] for k in together if k >= position)
        share = self.shares[position] / left if left > 0 else 0.0
        if tested and not any(self.shares[k] for k in together):  # the ledger left it nothing, the test may
            share = float(position == together[0])
        return replace(
            need,
            share=share,
            given_n_kg_ha=given_n_kg_ha,
            tested_n_kg_ha=self.tested_n_kg_ha if tested else None,
        )


def shares_of(
    plan: Plan, needs: Sequence[BlockNeed], seasons: Sequence[BlockSeason], calls: Sequence[SidedressCall]
) -> tuple[Share, ...]:
    """The part of every block in the plan's applications."""
    return tuple(
        _share(
            plan,
            need.block,
            next((one for one in seasons if one.block == need.block), None),
            next((one for one in calls if one.block == need.block), None),
        )
        for need in needs
    )


def _share(plan: Plan, block: str, season: BlockSeason | None, call: SidedressCall | None) -> Share:
    applications = plan.applications
    told = np.array([0.0 if isinstance(one.share, str) else float(one.share) for one in applications])
    unknown = [k for k, one in enumerate(applications) if isinstance(one.share, str)]
    rest, reason = 1.0 - float(told.sum()), ""
    if len(unknown) == 1:
        told[unknown] = rest
    elif unknown:
        dates = [one.date for one in applications if isinstance(one.share, str) and one.date is not None]
        assert season is not None  # noqa: S101 - the plan has weather, checked as it was read
        of_season, reason = _by_season(season, rest, dates, plan)
        told[unknown] = rest * of_season
    tested = following(plan, call) if call is not None else ()
    shares = tuple((told / told.sum()).tolist())
    return Share(block, shares, tested, call.rate_n_kg_ha if call is not None and tested else 0.0, reason)


def _by_season(season: BlockSeason, rest: float, dates: Sequence[dt.date], plan: Plan) -> tuple[Floats, str]:
    """Shares of the dates in what is left to them, a share `rest` of the whole, and why."""
    whole = season.supplemental_kg_ha
    if whole <= 0:
        return np.array([0.0, 1.0, *(0.0 for _ in dates[2:])]), season.timing.reason
    amounts = np.array(split_by_season(season.balance, whole, dates))
    if len(dates) == len(plan.applications) == 2:
        return amounts / whole, season.timing.reason
    listed = ", ".join(
        f"{rate_text(kg_ha, plan.units)} on {date}"
        for kg_ha, date in zip((rest * amounts).tolist(), dates, strict=True)
        if kg_ha > 0
    )
    first = f"From {season.short_from} the crop is short" if season.short_from else "The crop is never short"
    return amounts / whole, f"{first}: {listed}."


def plan_of(plan: Plan, position: int) -> Plan:
    """The plan with the product and the limits of one application.

    The starter that every zone gets is the first's. A drip line knows no least and greatest rate of a spreader: only
    the rate step is kept.
    """
    if position == 0:
        return plan
    told, spreader = plan.applications[position], plan.spreader
    changes: dict[str, object] = {"rate_n_min_kg_ha": 0.0}
    if told.product is not None:
        changes["product"] = told.product
    if told.method == "through drip":
        most_n_kg_ha = NEED_MAX_KG_HA / min(crop.recovery or 1.0 for crop in plan.crops)
        most_kg_ha = most_n_kg_ha / product_entry(told.product or spreader.product).nitrogen_fraction
        changes["rate_min_kg_ha"] = 0.0
        changes["rate_max_kg_ha"] = min(most_kg_ha, RATES_MAX * spreader.rate_step_kg_ha)
    return plan.model_copy(update={"spreader": spreader.model_copy(update=changes)})


def products_of(plan: Plan) -> tuple[tables.Product, ...]:
    """Every product that the plan spreads, each once."""
    spread = (
        plan.spreader.product_entry if one.product is None else product_entry(one.product)
        for one in plan.applications
    )
    return tuple({product.name: product for product in spread}.values())


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
