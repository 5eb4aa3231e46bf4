"""What of a product's nitrogen serves the crops of a field: from its day of spreading to their last useful day."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from fieldmap.season import RELEASE, organic, uptake

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Sequence

    from numpy.typing import ArrayLike

    from fieldmap import agronomy
    from fieldmap.field import Field
    from fieldmap.plan import ApplicationSection, Plan
    from fieldmap.season import Course


def product_acting(
    section: ApplicationSection, plan: Plan, field: Field, courses: Sequence[Course | None]
) -> agronomy.Product:
    """The product of an application as it acts in this field, mean of its blocks by their area.

    An organic product counts from its day of spreading, without one from planting, and never from before the day the
    cover crop ended: what it releases earlier goes into the cover crop, which is sampled. It counts to the day on
    which 95 % of the vegetable's uptake is in.

    Parameters
    ----------
    section
        The application, with its day, its method and when it is worked in.
    plan, field
        Crops, cover crops and blocks.
    courses
        Of the blocks, with the soil of their season; where one is None the soil is taken at 20 °C.

    Returns
    -------
    agronomy.Product
        As `season.organic.acting` makes it; a mineral product as it is.

    References
    ----------
    As `season.organic.available_share` and `season.uptake.last_useful_day`.
    """
    product = section.product_of(plan.spreader)
    if product.available is not None:
        return product
    acting = []
    for block, course in zip(field.blocks, courses, strict=True):
        cover, crop = plan.cover_crop_of(block.name), plan.crop_of(block.name)
        first = max(section.date or crop.planted, cover.terminated)
        last = uptake.last_useful_day(crop.planted, crop.harvested, crop.entry)
        tilled = cover.placement == "incorporated"
        acting.append(
            organic.acting(
                product,
                warm_days_between(first, last, course),
                on_surface_d=section.on_surface_d(tilled=tilled),
            )
        )
    weights = [block.area_ha for block in field.blocks]
    shares = np.array([one.available for one in acting], dtype=float)
    errors = np.array([one.available_error for one in acting])
    available = float(np.average(shares, weights=weights))
    sd = float(np.average(shares * errors, weights=weights))
    return replace(acting[0], available=available, available_error=sd / available if available else 0.0)


def phosphorus_share(
    product: agronomy.Product, removed_p2o5_kg_ha: float | None, supplemental_kg_ha: float
) -> float:
    """Share of the supplemental nitrogen that a product may bring until its P2O5 is what the harvest takes away.

    Not a plan for ground that is rich in phosphorus, where less or none is due: look at the soil test.

    Parameters
    ----------
    product
        As it acts, with P2O5.
    removed_p2o5_kg_ha
        What the harvest takes away; None where it is not known.
    supplemental_kg_ha
        Nitrogen to spread, mean of the block.

    Returns
    -------
    float
        0 to 1; 0 where nothing is to be spread, or where the removal is not known.

    References
    ----------
    The rule, organic products up to the phosphorus
    removed and the rest from nitrogen alone, is common practice, no source.

    Examples
    --------
    Where 20.2 kg/ha (18 lb/ac) of P2O5 go with the harvest, 761 kg of litter bring it, with 10.7 kg of available
    nitrogen where half of its 2.8 % acts: 11 % of 100 kg.

    >>> from fieldmap import agronomy
    >>> from fieldmap.season import organic
    >>> litter = organic.acting(agronomy.find("poultry litter", agronomy.products()), 60.0)
    >>> round(phosphorus_share(litter, 20.2, 100.0), 2)
    0.11
    """
    if supplemental_kg_ha <= 0 or removed_p2o5_kg_ha is None:
        return 0.0
    brings_n_kg_ha = removed_p2o5_kg_ha / (product.p2o5_pct / 100.0) * product.nitrogen_fraction
    return min(1.0, brings_n_kg_ha / supplemental_kg_ha)


def soil_c_from(first: dt.date, course: Course | None) -> float:
    """Mean soil temperature of the 12 weeks from a day on, °C; 20 °C without weather, or where it does not reach."""
    if course is not None:
        start = max(int((np.datetime64(first, "D") - course.soil.dates[0]).astype(int)), 0)
        days = course.soil.temperature_c[:, start : start + int(organic.ORGANIC.reference_d)]
        if days.size:
            return float(days.mean())
    return RELEASE.reference_c


def warm_days_between(first: dt.date, last: dt.date, course: Course | None) -> ArrayLike:
    """Days at 20 °C from one day to another, both counted, for each weather scenario; by date without weather."""
    days = (last - first).days + 1
    if course is None:
        return float(max(days, 0))
    start = int((np.datetime64(first, "D") - course.soil.dates[0]).astype(int))
    return organic.warm_days(course.soil.temperature_c[:, start : max(start + days, start)])
