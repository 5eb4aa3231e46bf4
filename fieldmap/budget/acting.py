"""What of a product's nitrogen serves the crops of a field: from its day of spreading to their last useful day."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from fieldmap import agronomy
from fieldmap.season import RELEASE, last_useful_day, organic
from fieldmap.units import KG_HA_PER_LB_AC

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Sequence

    from numpy.typing import ArrayLike

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
    As `season.organic.available_share` and `season.last_useful_day`.
    """
    product = section.product_of(plan.spreader)
    if product.available is not None:
        return product
    acting = []
    for block, course in zip(field.blocks, courses, strict=True):
        cover, crop = plan.cover_crop_of(block.name), plan.crop_of(block.name)
        first = max(section.date or crop.planted, cover.terminated)
        last = last_useful_day(crop.planted, crop.harvested, crop.entry)
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


def removed_kg_ha(crop: str) -> tuple[float | None, float | None]:
    """P2O5 and K2O that a vegetable's harvest takes away, kg/ha; None where the table has none."""
    entry = agronomy.find(crop, agronomy.crops())
    both = (entry.removal_p2o5_lb_ac, entry.removal_k2o_lb_ac) if entry else (None, None)
    p2o5, k2o = (None if each is None else each * KG_HA_PER_LB_AC for each in both)
    return p2o5, k2o


def phosphorus_share(product: agronomy.Product, crop: str, supplemental_kg_ha: float) -> float:
    """Share of the supplemental nitrogen that a product may bring until its P2O5 is what the harvest takes away.

    Not a plan for ground that is rich in phosphorus, where less or none is due: look at the soil test.

    Parameters
    ----------
    product
        As it acts, with P2O5.
    crop
        The vegetable.
    supplemental_kg_ha
        Nitrogen to spread, mean of the block.

    Returns
    -------
    float
        0 to 1; 0 where nothing is to be spread, or where the table has no removal.

    References
    ----------
    What a harvest takes away: from memory (removal_memory). The rule itself, organic products up to the phosphorus
    removed and the rest from nitrogen alone, is common practice, no source.

    Examples
    --------
    Sweet corn takes 18 lb of P2O5 an acre away, 20.2 kg/ha. 761 kg of litter bring it, with 10.7 kg of available
    nitrogen where half of its 2.8 % acts: 11 % of 100 kg.

    >>> from fieldmap.season import organic
    >>> litter = organic.acting(agronomy.find("poultry litter", agronomy.products()), 60.0)
    >>> round(phosphorus_share(litter, "sweet corn", 100.0), 2)
    0.11
    """
    removed, _ = removed_kg_ha(crop)
    if supplemental_kg_ha <= 0 or removed is None:
        return 0.0
    brings_n_kg_ha = removed / (product.p2o5_pct / 100.0) * product.nitrogen_fraction
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
