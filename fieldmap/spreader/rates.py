"""Product: what goes into the hopper for a nitrogen rate, and what the machine can be set to."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fieldmap.errors import InputError, Problem
from fieldmap.spreader.pan_test import reach_of_trays_m, share_of_rate

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fieldmap.agronomy import Product
    from fieldmap.plan import Spreader

    Floats = NDArray[np.float64]


def reach_m(spreader: Spreader) -> float:
    """How far from its pass a spreader throws."""
    if spreader.pan_test is not None:
        return reach_of_trays_m(spreader.pan_test)
    return spreader.swath_m * {"trapezoid": 0.75, "triangle": 1.0}[spreader.pattern]


def share_at(distance_m: NDArray[np.float64], spreader: Spreader) -> NDArray[np.float64]:
    """Rate at a distance from the pass, as a share of the rate asked for.

    As the pan test found it, where the plan has one. Else both patterns fall to half at half the swath, which
    is what makes it the effective swath (twice the distance at which the rate is half that of the centre, Ohio
    State Bulletin 817), and neighbouring passes add up to one everywhere.
    """
    if spreader.pan_test is not None:
        return share_of_rate(spreader.pan_test, distance_m, spreader.swath_m)
    flat_m = spreader.swath_m * {"trapezoid": 0.25, "triangle": 0.0}[spreader.pattern]
    reach = reach_m(spreader)
    return np.clip((reach - distance_m) / (reach - flat_m), 0.0, 1.0)


def throw_m(spreader: Spreader) -> float:
    """How far beyond the edge of its swath product still lands; nothing with border spreading."""
    return 0.0 if spreader.border_spreading else max(0.0, reach_m(spreader) - spreader.swath_m / 2)


def product_rate_kg_ha(rate_n_kg_ha: NDArray[np.float64], product: Product) -> NDArray[np.float64]:
    """Product that carries a nitrogen rate: N / (%N × available). 60 lb N as urea is 130.4 lb."""
    return rate_n_kg_ha / product.nitrogen_fraction


def nitrogen_rate_kg_ha(product_kg_ha: NDArray[np.float64], product: Product) -> NDArray[np.float64]:
    """Nitrogen that serves this season in a product rate."""
    return product_kg_ha * product.nitrogen_fraction


def product_rates_kg_ha(spreader: Spreader) -> NDArray[np.float64]:
    """Every product rate the machine may be set to, ascending: 0 and the steps within its limits.

    With a starter (`rate_n_min`) only the rates that carry it.
    """
    try:
        return rate_steps(
            step_kg_ha=spreader.rate_step_kg_ha,
            rate_min_kg_ha=spreader.rate_min_kg_ha,
            rate_max_kg_ha=spreader.rate_max_kg_ha,
            floor_kg_ha=spreader.rate_n_min_kg_ha / spreader.product_entry.nitrogen_fraction,
        )
    except ValueError as error:
        raise InputError(
            Problem(
                "plan.toml",
                str(error),
                "at least one rate to spread is expected",
                "Correct rate_step, rate_min or rate_max",
                section="spreader",
                key="rate_step",
            )
        ) from None


def nearest_rate_kg_ha(product_kg_ha: float, rates_kg_ha: NDArray[np.float64]) -> float:
    """The settable rate nearest to a wanted one; of two equally near, the higher."""
    distance = np.abs(rates_kg_ha - product_kg_ha)
    return float(rates_kg_ha[distance <= distance.min() + 1e-9 * rates_kg_ha[-1]].max())


RATES_MAX = 2_000
STEP_TOLERANCE = 1e-6  # of a step: a rate this close to a multiple, converted from lb/ac, is that multiple


def rate_steps(
    *, step_kg_ha: float, rate_min_kg_ha: float, rate_max_kg_ha: float, floor_kg_ha: float = 0.0
) -> Floats:
    """List the product rates a spreader can be set to: zero, and whole steps from its least to its greatest.

    Parameters
    ----------
    step_kg_ha
        Step between settings, kg/ha of product.
    rate_min_kg_ha, rate_max_kg_ha
        Least and greatest rate of a running spreader, kg/ha of product.
    floor_kg_ha
        What every zone gets at least (a starter), kg/ha of product. Above zero, nothing below it is allowed,
        zero included.

    Returns
    -------
    NDArray
        Allowed rates, kg/ha of product, ascending.

    Raises
    ------
    ValueError
        If a rate is out of order, or no step lies between the limits.
    """
    if not (np.isfinite(step_kg_ha) and step_kg_ha > 0):
        raise ValueError(f"the rate step is {step_kg_ha:g} kg/ha; it must be greater than 0")
    if not 0 <= rate_min_kg_ha <= rate_max_kg_ha < np.inf:
        raise ValueError(
            f"the rates run from {rate_min_kg_ha:g} to {rate_max_kg_ha:g} kg/ha; "
            "the least must be 0 or more and no greater than the greatest"
        )
    if not 0 <= floor_kg_ha < np.inf:
        raise ValueError(f"the floor is {floor_kg_ha:g} kg/ha; it must be 0 or more")
    least = max(rate_min_kg_ha, floor_kg_ha)
    first = max(int(np.ceil(least / step_kg_ha - STEP_TOLERANCE)), 1)
    last = int(np.floor(rate_max_kg_ha / step_kg_ha + STEP_TOLERANCE))
    if last - first >= RATES_MAX:
        raise ValueError(
            f"the rate step, {step_kg_ha:g} kg/ha, gives {last - first + 1:,} rates between the limits; "
            f"at most {RATES_MAX:,} are expected: take a larger step"
        )
    if first > last:
        raise ValueError(
            f"no multiple of the rate step, {step_kg_ha:g} kg/ha, lies between {least:g} and "
            f"{rate_max_kg_ha:g} kg/ha; take a smaller step or wider limits"
        )
    steps = np.arange(first, last + 1, dtype=np.float64) * step_kg_ha
    return steps if floor_kg_ha > 0 else np.concatenate([[0.0], steps])
