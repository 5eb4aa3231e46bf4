"""Several applications: which share goes out on which day, and what of it each block's rates aim at.

An application after the first aims at its share of what the earlier ones, as zoned and rounded, leave missing, and
the last at all of it: so what rounding and the machine's limits leave short or over is made up for, and all together
aim at the supplemental nitrogen.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from fieldmap.budget.sidedress import following
from fieldmap.plan import NEED_MAX_KG_HA, product_entry
from fieldmap.season import split_by_season
from fieldmap.spreader import RATES_MAX
from fieldmap.units import rate_text

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from fieldmap import agronomy
    from fieldmap.budget.need import BlockNeed
    from fieldmap.budget.seasons import BlockSeason
    from fieldmap.budget.sidedress import SidedressCall
    from fieldmap.plan import Plan

    Floats = NDArray[np.float64]


METHODS = {
    "broadcast before planting": "broadcast before planting",
    "band": "in a band",
    "side-dress": "side-dressed",
    "through drip": "through drip",
}


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


def products_of(plan: Plan) -> tuple[agronomy.Product, ...]:
    """Every product that the plan spreads, each once."""
    spread = (
        plan.spreader.product_entry if one.product is None else product_entry(one.product)
        for one in plan.applications
    )
    return tuple({product.name: product for product in spread}.values())
