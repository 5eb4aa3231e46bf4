"""Product: what goes into the hopper for a nitrogen rate, and what the machine can be set to."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fieldmap import agronomy
from fieldmap.errors import InputError, Problem
from fieldmap.season import organic
from fieldmap.spreader.pan_test import reach_of_trays_m, share_of_rate

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fieldmap.agronomy import Product
    from fieldmap.plan import Spreader

    Floats = NDArray[np.float64]


def reach_m(spreader: Spreader) -> float:
    """How far from its pass a spreader throws.

    Not what its edges give: most of the throw is within half a swath.

    Parameters
    ----------
    spreader
        Swath and pattern, or its pan test.

    Returns
    -------
    float
        Metres, measured from the pass to one side.

    References
    ----------
    Geometry of the two patterns, which are at half at half the swath (Ohio State Bulletin 817).
    """
    if spreader.pan_test is not None:
        return reach_of_trays_m(spreader.pan_test)
    return spreader.swath_m * {"trapezoid": 0.75, "triangle": 1.0}[spreader.pattern]


def share_at(distance_m: NDArray[np.float64], spreader: Spreader) -> NDArray[np.float64]:
    """Rate at a distance from the pass, as a share of the rate asked for.

    As the pan test found it, where the plan has one. Else both patterns fall to half at half the swath, which
    is what makes it the effective swath, and neighbouring passes add up to one everywhere. Not with border
    spreading, which cuts the throw off at the boundary.

    Parameters
    ----------
    distance_m
        Metres from the pass, 0 or more, any shape.
    spreader
        Swath and pattern, or its pan test.

    Returns
    -------
    NDArray
        0 or more, of the shape of `distance_m`; NaN where that is NaN.

    References
    ----------
    Ohio State Bulletin 817: the effective swath is twice the distance at which the rate is half that of the centre.
    """
    if spreader.pan_test is not None:
        return share_of_rate(spreader.pan_test, distance_m, spreader.swath_m)
    flat_m = spreader.swath_m * {"trapezoid": 0.25, "triangle": 0.0}[spreader.pattern]
    reach = reach_m(spreader)
    return np.clip((reach - distance_m) / (reach - flat_m), 0.0, 1.0)


def throw_m(spreader: Spreader) -> float:
    """How far beyond the edge of its swath product still lands.

    Not a setback that rules ask for near water: that stands in the no-spread layer's `setback_m`.

    Parameters
    ----------
    spreader
        Swath and pattern, or its pan test; whether it has a border device.

    Returns
    -------
    float
        Metres, 0 with border spreading.

    References
    ----------
    Geometry, see `reach_m`.
    """
    return 0.0 if spreader.border_spreading else max(0.0, reach_m(spreader) - spreader.swath_m / 2)


def product_rate_kg_ha(rate_n_kg_ha: NDArray[np.float64], product: Product) -> NDArray[np.float64]:
    """Product that carries a nitrogen rate: N / (%N / 100 × available).

    Not for a product without nitrogen.

    Parameters
    ----------
    rate_n_kg_ha
        Nitrogen that is to serve this season, kg N/ha, any shape.
    product
        Its %N and the share of it that is available this season.

    Returns
    -------
    NDArray
        kg/ha of product, of the same shape; NaN where `rate_n_kg_ha` is NaN.

    References
    ----------
    By definition; %N and availability from the table of products, with the source of each.

    Examples
    --------
    Urea holds 46 %N, all of it available: 60 of N are 60 / 0.46 = 130.4 of urea, in lb/ac as in kg/ha. Feather meal
    of 12 %N, 64.4 % of it available after 12 weeks at 20 °C, takes 60 / (0.12 × 0.644) = 776.

    >>> from fieldmap import agronomy
    >>> from fieldmap.season import organic
    >>> urea = agronomy.find("urea", agronomy.products())
    >>> feather = organic.compared(agronomy.find("feather meal", agronomy.products()))
    >>> [round(float(product_rate_kg_ha(np.array(60.0), product)), 1) for product in (urea, feather)]
    [130.4, 776.4]
    """
    return rate_n_kg_ha / product.nitrogen_fraction


def nitrogen_rate_kg_ha(product_kg_ha: NDArray[np.float64], product: Product) -> NDArray[np.float64]:
    """Nitrogen that serves this season in a product rate.

    Not its total nitrogen: of an organic product a part comes later or never.

    Parameters
    ----------
    product_kg_ha
        kg/ha of product, any shape.
    product
        Its %N and the share of it that is available this season.

    Returns
    -------
    NDArray
        kg N/ha, of the same shape; NaN where `product_kg_ha` is NaN.

    References
    ----------
    By definition, see `product_rate_kg_ha`.

    Examples
    --------
    >>> from fieldmap import agronomy
    >>> urea = agronomy.find("urea", agronomy.products())
    >>> nitrogen_rate_kg_ha(np.array([0.0, 100.0]), urea).tolist()
    [0.0, 46.0]
    """
    return product_kg_ha * product.nitrogen_fraction


def products_that_carry(rate_n_kg_ha: float, spreader: Spreader) -> tuple[str, ...]:
    """Products of the table, mineral or organic as the spreader's, that carry a nitrogen rate in one pass.

    Not a choice of product: price, phosphorus and rules are not looked at. Organic products are compared worked in,
    after 12 weeks at 20 °C; a colder or shorter season makes less of them.

    Parameters
    ----------
    rate_n_kg_ha
        Nitrogen that is to serve this season.
    spreader
        Its product and its greatest rate.

    Returns
    -------
    tuple of str
        At most two, those with the least nitrogen first; empty where none does.

    References
    ----------
    As `fieldmap.season.organic.available_share`.
    """
    others = sorted(
        (organic.compared(other) for other in agronomy.products()), key=lambda other: other.nitrogen_fraction
    )
    return tuple(
        other.name
        for other in others
        if other.organic == spreader.product_entry.organic
        and rate_n_kg_ha <= spreader.rate_max_kg_ha * other.nitrogen_fraction
    )[:2]


def product_rates_kg_ha(spreader: Spreader) -> NDArray[np.float64]:
    """Every product rate the machine may be set to, ascending: 0 and the steps within its limits.

    With a starter (`rate_n_min`) only the rates that carry it. Not for what goes through drip, which keeps the step
    and no other limit.

    Parameters
    ----------
    spreader
        Step, least and greatest rate, starter, product.

    Returns
    -------
    NDArray
        kg/ha of product, (rates,).

    Raises
    ------
    InputError
        If no rate lies between the limits, too many do, or none carries the starter.

    References
    ----------
    Arithmetic, see `rate_steps`.
    """
    starter_kg_ha = spreader.rate_n_min_kg_ha / spreader.product_entry.nitrogen_fraction
    if starter_kg_ha > spreader.rate_max_kg_ha:
        raise InputError(
            Problem(
                "plan.toml",
                f"rate_n_min needs {starter_kg_ha:.0f} kg/ha of {spreader.product_entry.name}, more than rate_max "
                f"({spreader.rate_max_kg_ha:.0f} kg/ha)",
                "a starter that the machine can spread is expected",
                "Lower rate_n_min, raise rate_max or choose a product with more available nitrogen",
                section="spreader",
                key="rate_n_min",
            )
        )
    try:
        return rate_steps(
            step_kg_ha=spreader.rate_step_kg_ha,
            rate_min_kg_ha=spreader.rate_min_kg_ha,
            rate_max_kg_ha=spreader.rate_max_kg_ha,
            floor_kg_ha=starter_kg_ha,
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
    """The settable rate nearest to a wanted one; of two equally near, the higher.

    Not for a whole zone with prices, where the rate that loses least need not be the nearest.

    Parameters
    ----------
    product_kg_ha
        Wanted, kg/ha of product.
    rates_kg_ha
        What the machine can be set to, kg/ha of product, (rates,), ascending.

    Returns
    -------
    float
        One of `rates_kg_ha`.

    References
    ----------
    Arithmetic; the higher of two equally near is judgement.

    Examples
    --------
    >>> [nearest_rate_kg_ha(wanted, np.array([0.0, 40.0, 50.0])) for wanted in (18.0, 45.0, 70.0)]
    [0.0, 50.0, 50.0]
    """
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

    References
    ----------
    Arithmetic: whole steps, counted from zero.

    Examples
    --------
    Steps of 20 from 50 to 110 kg/ha: 60, 80 and 100, and zero. With a starter of 70 nothing below it, zero included.

    >>> rate_steps(step_kg_ha=20.0, rate_min_kg_ha=50.0, rate_max_kg_ha=110.0).tolist()
    [0.0, 60.0, 80.0, 100.0]
    >>> rate_steps(step_kg_ha=20.0, rate_min_kg_ha=50.0, rate_max_kg_ha=110.0, floor_kg_ha=70.0).tolist()
    [80.0, 100.0]
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
