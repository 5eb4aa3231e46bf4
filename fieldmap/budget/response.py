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

    from fieldmap.agronomy import Product
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
        """The supply that pays best, where the last kg of nitrogen just earns its price.

        Not where supply is uncertain: then being short costs more than being over, see `short_for`.

        Parameters
        ----------
        recovery
            Share of what is spread that reaches the crop, above 0 to 1.

        Returns
        -------
        float
            kg N/ha; below zero where nitrogen costs more than it can earn.

        References
        ----------
        Mathematics (the derivative of the quadratic is the price ratio); quadratic with plateau: Cerrato & Blackmer
        1990, Agron. J. 82:138-143.

        Examples
        --------
        Yield 10 + 0.10 N - 0.00025 N² t/ha has its top at 0.10 / 0.0005 = 200 kg N/ha. With the crop at 400 a tonne
        and nitrogen at 1.20 a kg, 1.20 / (2 × 0.25 × 0.40) = 6 kg less pays best. An invented curve, no vegetable's.

        >>> money = Economics(200.0, curvature_kg=0.25, crop_price=0.40, nitrogen_price=1.20, currency="USD")
        >>> round(money.best_supply_kg_ha(), 6), round(money.best_supply_kg_ha(recovery=0.5), 6)
        (194.0, 188.0)
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

        Returns
        -------
        NDArray
            Money/ha, 0 or more, of the broadcast shape; NaN where an input is NaN.

        References
        ----------
        Mathematics, as `best_supply_kg_ha`.

        Examples
        --------
        With 100 kg N/ha there, 94 pay best. 84 leave 16 short in place of 6: 0.1 × (256 - 36) - 12 = 10 are lost.

        >>> money = Economics(200.0, curvature_kg=0.25, crop_price=0.40, nitrogen_price=1.20, currency="USD")
        >>> money.lost_ha(np.array([100.0, 100.0]), np.array([94.0, 84.0]), np.array(1.0)).round(6).tolist()
        [0.0, 10.0]
        """
        to_plateau = self.plateau_n_kg_ha - supply
        to_best = to_plateau - self.nitrogen_price / recovery / (2.0 * self.curvature_money)
        below = np.maximum(to_plateau - recovery * rate_n_kg_ha, 0.0) ** 2
        unspread = np.maximum(to_plateau, 0.0) ** 2 - np.maximum(to_best, 0.0) ** 2
        lost = self.curvature_money * (below - unspread) + self.nitrogen_price * rate_n_kg_ha
        return np.asarray(np.maximum(lost, 0.0))


def economics(plan: Plan, product: Product) -> Economics | None:
    """The plan's response and prices.

    Not for several vegetables, several product prices, or after a nitrate test: rates follow the need then.

    Parameters
    ----------
    plan
        Its [response] and [prices].
    product
        What the price is of, as it acts.

    Returns
    -------
    Economics or None
        None unless the curve and both prices are there and fit every block.

    References
    ----------
    The curve is the user's own; no vegetable's coefficients are in the tables, none were found.
    """
    response, prices = plan.response, plan.prices
    if response is None or prices.product is None or prices.crop is None or not_for_money(plan):
        return None
    return Economics(
        plateau_n_kg_ha=response.plateau_n_kg_ha,
        curvature_kg=-response.c * 1000.0,
        crop_price=prices.crop.amount,
        nitrogen_price=prices.product.amount / product.nitrogen_fraction,
        currency=prices.crop.currency,
    )


def target_kg_ha(need: BlockNeed, money: Economics | None) -> float:
    """Supply that a block's rates aim at: its need, or what pays best where money is followed.

    Not the rate: credits come off it, and recovery and caution come in between.

    Parameters
    ----------
    need
        Of the block.
    money
        Curve and prices; None where the need is followed.

    Returns
    -------
    float
        kg N/ha.

    References
    ----------
    As `Economics.best_supply_kg_ha`.

    Examples
    --------
    >>> from fieldmap.budget.need import BlockNeed
    >>> need = BlockNeed("north", "sweet corn", need_kg_ha=168.0, credits=(), recovery=1.0)
    >>> money = Economics(200.0, curvature_kg=0.25, crop_price=0.40, nitrogen_price=1.20, currency="USD")
    >>> target_kg_ha(need, None), round(target_kg_ha(need, money), 6)
    (168.0, 194.0)
    """
    return need.need_kg_ha if money is None else money.best_supply_kg_ha(need.recovery)


def due_kg_ha(
    credit_kg_ha: Floats, needs: Sequence[BlockNeed], field: Field, money: Economics | None
) -> Floats:
    """Nitrogen to spread on each cell to reach what is aimed at with some credit.

    Not what the zones get: their rates are whole steps of the machine, for the mean of the zone.

    Parameters
    ----------
    credit_kg_ha
        Credit of each cell that the crop can use, kg N/ha, raster.
    needs
        Of every block, in the order of the field's.
    field
        Its grid and blocks.
    money
        Curve and prices; None where the need is followed.

    Returns
    -------
    NDArray
        kg N/ha, raster, never below zero; NaN outside the field.

    References
    ----------
    (aim - other credits - credit) / recovery, arithmetic; docs/method.md, "Need and ledger".
    """
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
    """Expected shortfall, E[max(0, short + sd·e)] with e standard normal.

    Not for a skewed doubt: the errors are taken as normal.

    Parameters
    ----------
    short
        Mean shortfall, in any unit, any shape; negative where supply is above the plateau.
    sd
        Its standard error, same unit, 0 or more; broadcasts against `short`.

    Returns
    -------
    NDArray
        In the same unit, 0 or more, of the broadcast shape; NaN where an input is NaN.

    References
    ----------
    Mathematics: the mean of a normal distribution cut at zero, s Φ(s/σ) + σ φ(s/σ).

    Examples
    --------
    With a mean shortfall of 0 and a standard error of 20, 20 / √(2π) = 7.98 is missing on average. Without doubt a
    shortfall of 30 is 30.

    >>> mean_shortfall(np.array([0.0, 30.0]), np.array([20.0, 0.0])).round(2).tolist()
    [7.98, 30.0]
    """
    ratio = short / np.maximum(sd, _SD_MIN)
    return np.asarray(short * ndtr(ratio) + sd * _density(ratio))


def mean_squared_shortfall(short: Floats, sd: Floats) -> Floats:
    """Expected squared shortfall, E[max(0, short + sd·e)²] with e standard normal: exact, no quadrature.

    Not for a skewed doubt: the errors are taken as normal.

    Parameters
    ----------
    short, sd
        As for `mean_shortfall`.

    Returns
    -------
    NDArray
        In the unit squared, 0 or more, of the broadcast shape; NaN where an input is NaN.

    References
    ----------
    Mathematics: (s² + σ²) Φ(s/σ) + s σ φ(s/σ), docs/method.md, "Money".

    Examples
    --------
    Half of a doubt of 20 about zero counts: 20² / 2 = 200. Short by 30 and over by 30 add up to the whole, 30² + 20².

    >>> both = mean_squared_shortfall(np.array([0.0, 30.0, -30.0]), np.array(20.0))
    >>> round(float(both[0]), 6), round(float(both[1] + both[2]), 6)
    (200.0, 1300.0)
    """
    ratio = short / np.maximum(sd, _SD_MIN)
    return np.asarray((short**2 + sd**2) * ndtr(ratio) + short * sd * _density(ratio))


def _density(ratio: Floats) -> Floats:
    """Of the standard normal distribution."""
    return np.asarray(np.exp(-0.5 * np.minimum(ratio**2, 1400.0)) / np.sqrt(2.0 * np.pi))


# Expected shortfall in standard errors, by the mean shortfall in standard errors; rises throughout.
_RATIOS = np.linspace(-6.0, 8.0, 7001)
_SHORTFALLS = mean_shortfall(_RATIOS, np.ones(1))


def short_for(expected: Floats, sd: Floats) -> Floats:
    """The mean shortfall at which the expected one comes to `expected`: `mean_shortfall` reversed.

    Not for expected shortfalls of nothing at all, which no mean gives.

    Parameters
    ----------
    expected
        Expected shortfall, above zero, in any unit, any shape.
    sd
        Standard error, same unit, 0 or more; broadcasts against it.

    Returns
    -------
    NDArray
        Mean shortfall in the same unit, negative where supply has to be above the plateau.

    References
    ----------
    Mathematics; interpolated in a table of `mean_shortfall`, from 6 standard errors above the plateau to 8 below.

    Examples
    --------
    7.98 is expected where the mean is 0 and the error 20 (20 / √(2π)). Where only 2 may be missing, supply has to be
    18.05 above the plateau.

    >>> short_for(np.array([20.0 / np.sqrt(2.0 * np.pi), 2.0]), np.array(20.0)).round(2).tolist()
    [0.0, -18.05]
    """
    wanted = expected / np.maximum(sd, _SD_MIN)
    ratio = np.interp(wanted, _SHORTFALLS, _RATIOS)
    return np.where(wanted >= _SHORTFALLS[-1], expected, ratio * sd)
