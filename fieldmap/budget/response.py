"""What nitrogen earns: the yield response in the plan, with the prices of crop and product.

The curve's axis is the crop's total supply: what the cover crop and the other credits give, and what is
spread of it that reaches the crop. Zero on it is the soil as the plan's need takes it, so that need and curve
share one axis.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import ndtr

from fieldmap.budget.need import missing_kg_ha
from fieldmap.field import per_block

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from fieldmap.budget.need import BlockNeed
    from fieldmap.field import Field
    from fieldmap.plan import Plan

    Floats = NDArray[np.float64]


_SD_MIN = 1e-9  # a standard error of zero, where something is divided by it


@dataclass(frozen=True)
class Economics:
    """Yield response, quadratic with plateau, and what crop and nitrogen are worth.

    Parameters
    ----------
    plateau_n_kg_ha
        Supply from which more nitrogen adds no yield: the top of the quadratic.
    curvature_kg
        Yield lost below the plateau, kg/ha for each (kg N/ha)² short of it.
    crop_price
        Money for a kg of crop.
    nitrogen_price
        Money for a kg of nitrogen that serves this season, from the product's price.
    currency
        ISO 4217.
    """

    plateau_n_kg_ha: float
    curvature_kg: float
    crop_price: float
    nitrogen_price: float
    currency: str

    @property
    def curvature_money(self) -> float:
        """Money lost below the plateau, a hectare for each (kg N/ha)²."""
        return self.curvature_kg * self.crop_price

    def best_supply_kg_ha(self, recovery: float = 1.0) -> float:
        """The supply that pays best, where the last kg of nitrogen just earns its price, kg N/ha.

        `recovery` is the share of what is spread that reaches the crop.
        """
        return self.plateau_n_kg_ha - self.nitrogen_price / recovery / (2.0 * self.curvature_money)

    def lost_ha(self, supply: Floats, rate_n_kg_ha: Floats, recovery: Floats) -> Floats:
        """Money lost a hectare against the rate that pays best, were the supply known; arrays broadcast.

        Parameters
        ----------
        supply
            What the crop has before anything is spread, kg N/ha.
        rate_n_kg_ha
            What is spread.
        recovery
            Share of it that reaches the crop.
        """
        to_plateau = self.plateau_n_kg_ha - supply
        to_best = to_plateau - self.nitrogen_price / recovery / (2.0 * self.curvature_money)
        below = np.maximum(to_plateau - recovery * rate_n_kg_ha, 0.0) ** 2
        unspread = np.maximum(to_plateau, 0.0) ** 2 - np.maximum(to_best, 0.0) ** 2
        lost = self.curvature_money * (below - unspread) + self.nitrogen_price * rate_n_kg_ha
        return np.asarray(np.maximum(lost, 0.0))


def economics(plan: Plan) -> Economics | None:
    """The plan's response and prices; None unless the curve and both prices are there and fit every block."""
    response, prices = plan.response, plan.prices
    if response is None or prices.product is None or prices.crop is None or not_for_money(plan):
        return None
    return Economics(
        plateau_n_kg_ha=response.plateau_n_kg_ha,
        curvature_kg=-response.c * 1000.0,
        crop_price=prices.crop.amount,
        nitrogen_price=prices.product.amount / plan.spreader.product_entry.nitrogen_fraction,
        currency=prices.crop.currency,
    )


def target_kg_ha(need: BlockNeed, money: Economics | None) -> float:
    """Supply that a block's rates aim at, kg N/ha: its need, or what pays best where money is followed."""
    return need.need_kg_ha if money is None else money.best_supply_kg_ha(need.recovery)


def due_kg_ha(
    credit_kg_ha: Floats, needs: Sequence[BlockNeed], field: Field, money: Economics | None
) -> Floats:
    """Nitrogen to spread on each cell to reach what is aimed at with some credit; never below zero, raster."""
    above_need = per_block(field, [target_kg_ha(need, money) - need.need_kg_ha for need in needs])
    credit_per_n = per_block(field, [need.credit_per_n for need in needs])
    return np.maximum(missing_kg_ha(needs, credit_kg_ha, field) + above_need / credit_per_n, 0.0)


def not_for_money(plan: Plan) -> str:
    """Why rates cannot follow the curve and the prices; empty where they can."""
    others = sorted({block.crop.name for block in plan.block} - {plan.crop.name})
    if others:
        return f"it is for {plan.crop.name}, and a block grows {' and '.join(others)}"
    if any(one.product is not None for one in plan.application):
        return "[prices] has the price of one product, and an application has its own"
    if plan.sidedress_test and any(one.date for one in plan.application):
        return "what a nitrate test calls for stands in its place"
    return ""


def mean_shortfall(short: Floats, sd: Floats) -> Floats:
    """Expected shortfall, E[max(0, short + sd·e)] with e standard normal; any unit, arrays broadcast."""
    ratio = short / np.maximum(sd, _SD_MIN)
    return np.asarray(short * ndtr(ratio) + sd * _density(ratio))


def mean_squared_shortfall(short: Floats, sd: Floats) -> Floats:
    """Expected squared shortfall, E[max(0, short + sd·e)²] with e standard normal: exact, no quadrature."""
    ratio = short / np.maximum(sd, _SD_MIN)
    return np.asarray((short**2 + sd**2) * ndtr(ratio) + short * sd * _density(ratio))


def _density(ratio: Floats) -> Floats:
    """Of the standard normal distribution."""
    return np.asarray(np.exp(-0.5 * np.minimum(ratio**2, 1400.0)) / np.sqrt(2.0 * np.pi))


# Expected shortfall in standard errors, by the mean shortfall in standard errors; rises throughout.
_RATIOS = np.linspace(-6.0, 8.0, 7001)
_SHORTFALLS = mean_shortfall(_RATIOS, np.ones(1))


def short_for(expected: Floats, sd: Floats) -> Floats:
    """The mean shortfall at which the expected one comes to `expected` (above zero): `mean_shortfall` reversed."""
    wanted = expected / np.maximum(sd, _SD_MIN)
    ratio = np.interp(wanted, _SHORTFALLS, _RATIOS)
    return np.where(wanted >= _SHORTFALLS[-1], expected, ratio * sd)
