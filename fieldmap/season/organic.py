"""What of an organic product's nitrogen becomes available, by the days, the warmth of the soil, and where it lies.

Two pools of organic nitrogen are released in step with thermal time, as the cover crop's; ammonium is there at once,
less what is lost to the air until it is worked in.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from fieldmap import agronomy
from fieldmap.season.release import temperature_factor

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from fieldmap.agronomy import Product

NEVER = float("inf")  # days on the surface of what is not worked in


@dataclass(frozen=True)
class OrganicModel:
    """The figures of placement and lead time; `fieldmap/agronomy/season.toml` says what each means."""

    kept_at_once: float
    kept_after_1_d: float
    kept_after_2_d: float
    kept_on_surface: float
    surface_from_d: float
    surface_to_d: float
    reference_d: float
    lead_share: float


ORGANIC = OrganicModel(**agronomy.values_of("organic"))
SOURCES = (
    "katterer1998",
    *dict.fromkeys(figure.source for figure in agronomy.figures("season")["organic"][:6]),
)


def warm_days(temperature_c: ArrayLike) -> NDArray[np.float64]:
    """Days at 20 °C that the days of a season count for: the sum of 2^((T - 20)/10).

    Not for dry soil, in which release is slower than by its warmth.

    Parameters
    ----------
    temperature_c
        Soil temperature of each day, °C, shape (..., days).

    Returns
    -------
    NDArray
        Days, shape (...); NaN where a temperature is NaN.

    References
    ----------
    As `fieldmap.season.release.temperature_factor` (katterer1998). Gale & Gilmour 1986 (litter_fit) found 2.05 times
    the rate for ten degrees more in poultry litter.

    Examples
    --------
    Sixty days at 20 °C count as sixty, at 10 °C as thirty.

    >>> warm_days([[20.0] * 60, [10.0] * 60]).tolist()
    [60.0, 30.0]
    """
    return np.asarray(temperature_factor(temperature_c).sum(axis=-1))


def released_share(product: Product, warm_d: ArrayLike, *, rapid_kept: float = 1.0) -> NDArray[np.float64]:
    """Share of the organic nitrogen that is mineral after some days: f(1-e^(-kf D)) + s(1-e^(-ks D)).

    Fitted to 16 weeks at most, in moist soil. Not for a heap, nor for what lies dry on the surface.

    Parameters
    ----------
    product
        An organic product, with the figures of its two pools.
    warm_d
        Days at 20 °C, any shape.
    rapid_kept
        Share of the rapid pool that is not lost to the air.

    Returns
    -------
    NDArray
        0 to 1, of the shape of `warm_d`. Its error is the product's `release.sd_points`, in points (%).

    References
    ----------
    Of each product its own, in the table of products; poultry litter: litter_fit, meals: hartz2006, li2014.

    Examples
    --------
    Feather meal in 8 weeks at 10 and 25 °C, Hartz & Johnstone 2006: group means 56 and 66 %.

    >>> from fieldmap import agronomy
    >>> feather = agronomy.find("feather meal", agronomy.products())
    >>> released_share(feather, [warm_days([temperature] * 56) for temperature in (10.0, 25.0)]).round(2).tolist()
    [0.56, 0.63]
    """
    release = product.release
    days = np.asarray(warm_d, dtype=float)
    if release is None:
        return np.ones_like(days)
    rapid, slow = (-np.expm1(-rate * days) for rate in (release.rapid_rate_d, release.slow_rate_d))
    return np.asarray(rapid_kept * release.rapid * rapid + release.slow * slow)


def ammonium_kept(on_surface_d: float, *, model: OrganicModel = ORGANIC) -> float:
    """Share of an organic product's NH4-N that is not lost to the air before it is worked in.

    Not for urea or other mineral products, and not in rain: about 12 mm of rain or irrigation carries ammonium into
    the soil as working it in does (common practice, no source).

    Parameters
    ----------
    on_surface_d
        Days from spreading to working in; 0 at once, infinite for never.
    model
        What is kept at once, after one and two days, and on the surface.

    Returns
    -------
    float
        Between what is kept on the surface and at once; straight lines between the days.

    References
    ----------
    By days from memory (ammonium_memory); on the surface about 40 % is lost (ammonium_rb209, published), which is
    taken for the most that is.

    Examples
    --------
    >>> [ammonium_kept(days) for days in (0.0, 1.0, 2.0, 4.0, NEVER)]
    [0.95, 0.85, 0.65, 0.6, 0.6]
    """
    by_day = (model.kept_at_once, model.kept_after_1_d, model.kept_after_2_d)
    kept = float(np.interp(on_surface_d, (0.0, 1.0, 2.0), by_day))
    return kept if on_surface_d <= 2.0 else model.kept_on_surface


def available_share(
    product: Product, warm_d: ArrayLike, *, on_surface_d: float = 0.0, model: OrganicModel = ORGANIC
) -> NDArray[np.float64]:
    """Share of a product's total nitrogen that becomes available: m a + (1 - m) [f(1-e^(-kf D)) + s(1-e^(-ks D))].

    m is its share of NH4-N, a what is kept of that; what is never worked in also loses of the rapid pool where it
    holds uric acid. Not for a crop's recovery of it: what is available can still leach.

    Parameters
    ----------
    product
        From the table, or with an analysis of its own; a mineral product is all available.
    warm_d
        Days at 20 °C from spreading to the crop's last useful day, any shape.
    on_surface_d
        Days from spreading to working in; infinite for never.
    model
        As for `ammonium_kept`, and between which days the rapid pool is lost.

    Returns
    -------
    NDArray
        0 to 1, of the shape of `warm_d`.

    References
    ----------
    As `released_share` and `ammonium_kept`; rapid pool on the surface: from memory (organic_surface_memory).

    Examples
    --------
    RB209: poultry manure ploughed in within a day gives 40 to 50 % of its nitrogen to the next crop, left on the
    surface 30 to 35 %. Here over 16 weeks at 12 °C.

    >>> from fieldmap import agronomy
    >>> litter = agronomy.find("poultry litter", agronomy.products())
    >>> days = warm_days([12.0] * 112)
    >>> [round(float(available_share(litter, days, on_surface_d=left)), 2) for left in (1.0, NEVER)]
    [0.49, 0.34]
    """
    release = product.release
    if release is None:
        return np.ones_like(np.asarray(warm_d, dtype=float))
    span = (model.surface_from_d, model.surface_to_d)
    rapid_kept = float(
        np.interp(min(on_surface_d, model.surface_to_d), span, (1.0, release.rapid_on_surface))
    )
    organic = released_share(product, warm_d, rapid_kept=rapid_kept)
    return np.asarray(
        release.nh4_share * ammonium_kept(on_surface_d, model=model) + (1.0 - release.nh4_share) * organic
    )


def acting(product: Product, warm_d: ArrayLike, *, on_surface_d: float = 0.0) -> Product:
    """A product with the share of its nitrogen that serves the crop, and the error of that.

    One that is all available, and one whose share the plan gives, stay as they are.

    Parameters
    ----------
    product
        From the table, or with an analysis of its own.
    warm_d
        Days at 20 °C from spreading to the crop's last useful day, one or one a weather scenario: their mean counts.
    on_surface_d
        As for `available_share`.

    Returns
    -------
    Product
        With `available`, and with `available_error`: the standard deviation of what is released, the product's own
        and that of the weather together, as a share of what is available.

    References
    ----------
    As `available_share`; the error of what is released is from memory (organic_sd_memory).

    Examples
    --------
    Poultry litter, worked in at once, gives half of its nitrogen in 60 days at 20 °C, give or take a fifth.

    >>> from fieldmap import agronomy
    >>> litter = agronomy.find("poultry litter", agronomy.products())
    >>> here = acting(litter, 60.0)
    >>> round(here.available, 2), round(here.available_error, 2), round(here.nitrogen_fraction, 4)
    (0.5, 0.2, 0.0141)
    """
    if product.available is not None or product.release is None:
        return product
    shares = np.atleast_1d(available_share(product, warm_d, on_surface_d=on_surface_d))
    available = float(shares.mean())
    sd = float(np.hypot(product.release.sd_points / 100.0 * (1.0 - product.release.nh4_share), shares.std()))
    keys = tuple(dict.fromkeys((*product.sources, *SOURCES)))
    return replace(
        product, available=available, available_error=sd / available if available else 0.0, sources=keys
    )


def compared(product: Product, *, model: OrganicModel = ORGANIC) -> Product:
    """A product as products are compared with one another: worked in at once, 12 weeks at 20 °C."""
    return acting(product, model.reference_d)


def lead_days(product: Product, soil_c: float, *, model: OrganicModel = ORGANIC) -> float:
    """Days that an organic product needs ahead of the crop's demand: to 80 % of what it releases in 12 weeks.

    Not the time to all of it; its ammonium is there at once. Nothing for a product whose
    release is not known, as a mineral one.

    Parameters
    ----------
    product
        From the table, or with an analysis of its own.
    soil_c
        Mean soil temperature of those weeks, °C.
    model
        The weeks, and the share of their release.

    Returns
    -------
    float
        Days, 0 to those of the 12 weeks; all of these in frozen soil.

    References
    ----------
    Common practice, no source (lead_definition), by each product's release.

    Examples
    --------
    Blood meal needs two weeks at 10 °C, less than one at 25 °C.

    >>> from fieldmap import agronomy
    >>> blood = agronomy.find("blood meal", agronomy.products())
    >>> [round(lead_days(blood, soil_c)) for soil_c in (10.0, 25.0)]
    [14, 6]
    """
    if product.release is None:
        return 0.0
    days = np.linspace(0.0, model.reference_d, 2 * int(model.reference_d) + 1)
    released = released_share(product, days * float(temperature_factor(soil_c)))
    if released[-1] <= 0:
        return model.reference_d
    return float(np.interp(model.lead_share * released[-1], released, days))
