"""What of a product's nitrogen serves the crops of a field: from its day of spreading to their last useful day."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from fieldmap.season import RELEASE, last_useful_day, organic

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
