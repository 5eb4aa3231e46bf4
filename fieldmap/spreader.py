"""Product: what goes into the hopper for a nitrogen rate, and what the machine can be set to."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fieldmap.errors import InputError, Problem
from fieldmap.pan_test import reach_of_trays_m, share_of_rate
from fieldmap.zones import rate_steps

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fieldmap.plan import Spreader
    from fieldmap.tables import Product


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
                "[spreader] rate_step",
                str(error),
                "at least one rate to spread is expected",
                "Correct rate_step, rate_min or rate_max",
            )
        ) from None


def nearest_rate_kg_ha(product_kg_ha: float, rates_kg_ha: NDArray[np.float64]) -> float:
    """The settable rate nearest to a wanted one; of two equally near, the higher."""
    distance = np.abs(rates_kg_ha - product_kg_ha)
    return float(rates_kg_ha[distance <= distance.min() + 1e-9 * rates_kg_ha[-1]].max())
