"""When a crop runs short, and what of the season's credit comes before, for and after it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fieldmap import agronomy
from fieldmap.season.uptake import UPTAKE, date_of_share, last_dressing_day

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Sequence

    from fieldmap.agronomy import CropEntry
    from fieldmap.season.balance import Balance
    from fieldmap.season.uptake import UptakeModel


# Nitrate-N of the depth that is sampled, kg/ha for each ppm: 10,000 m²/ha of soil, a millionth of it (definition).
KG_HA_PER_PPM = (
    agronomy.values_of("nitrate_test")["depth_m"]
    * agronomy.values_of("other_credits")["bulk_density_kg_m3"]
    * 10_000
    / 1e6
)


@dataclass(frozen=True)
class Timing:
    """How to split the supplemental nitrogen: the share at planting, and the day of the side-dressing."""

    at_planting_share: float
    sidedress: dt.date


def time_supplemental(
    found: Balance,
    supplemental_kg_ha: float,
    crop: CropEntry,
    *,
    harvested: dt.date,
    sidedress: dt.date | None = None,
    model: UptakeModel = UPTAKE,
) -> Timing:
    """Split a block's supplemental nitrogen between planting and side-dressing.

    At planting goes what the crop would miss before the side-dressing, which is at the start of rapid uptake
    unless a date is given, and no later than a dressing still makes sense; amounts too small for a pass of their own
    join the other.

    Parameters
    ----------
    found
        The block's balance for its mean credit; shapes (days,).
    supplemental_kg_ha
        Mean nitrogen to spread.
    crop, harvested
        The vegetable and its harvest.
    sidedress
        The day of side-dressing, where the plan gives it.
    """
    rapid = date_of_share(model.rapid_from_share, found.planted, harvested, crop)
    day = sidedress or min(rapid, last_dressing_day(found.planted, harvested, crop))
    if supplemental_kg_ha <= 0:
        return Timing(0.0, day)
    at_planting, rest = split_by_season(
        found,
        supplemental_kg_ha,
        (found.planted, day),
        least_share=crop.least_share_before_planting,
        model=model,
    )
    return Timing(at_planting / supplemental_kg_ha if rest > 0 else 1.0, day)


def split_by_season(
    found: Balance,
    supplemental_kg_ha: float,
    dates: Sequence[dt.date],
    *,
    least_share: float = 0.0,
    model: UptakeModel = UPTAKE,
) -> tuple[float, ...]:
    """Split a block's supplemental nitrogen over the days of its applications, kg N/ha for each.

    Each carries the crop to the next: it brings what the crop would miss by then and has not been given. Amounts too
    small for a pass of their own join another; a crop that is never short on average gets what is not the starter
    with the second, when it is known how the thin places fare. Where most of it waits, the first brings a starter
    all the same, unless the soil holds enough at planting.

    Parameters
    ----------
    found
        The block's balance for its mean credit; shapes (days,).
    supplemental_kg_ha
        Mean nitrogen to spread in all of them.
    dates
        Of the applications, two at least, in their order; what is missing before the second is the first's.
    least_share
        Share that the first brings of a crop that most would wait for, where the soil holds little at planting.
    """
    short_kg_ha = float(found.short.sum())
    if short_kg_ha < model.short_from_kg_ha:
        first = _starter(0.0, supplemental_kg_ha, found, least_share, model)
        return (first, supplemental_kg_ha - first, *(0.0 for _ in dates[2:]))
    scale = supplemental_kg_ha / short_kg_ha
    amounts: list[float] = []
    left = supplemental_kg_ha
    for following in dates[1:]:
        missed = float(found.short[found.dates < np.datetime64(following, "D")].sum())
        due = missed * scale - (supplemental_kg_ha - left)
        amount = 0.0 if due < model.short_from_kg_ha * scale else max(due, model.least_pass_kg_ha)
        if not amounts:
            amount = _starter(amount, supplemental_kg_ha, found, least_share, model)
        if amount and left - amount < model.least_pass_kg_ha:
            amount = left
        amounts.append(amount)
        left -= amount
    return (*amounts, left)


def _starter(
    amount_kg_ha: float, supplemental_kg_ha: float, found: Balance, least_share: float, model: UptakeModel
) -> float:
    """The first amount, at least a starter where most would wait and the soil holds little at planting."""
    if supplemental_kg_ha - amount_kg_ha < model.starter_if_waits * supplemental_kg_ha:
        return amount_kg_ha
    planting = int(np.searchsorted(found.dates, np.datetime64(found.planted, "D")))
    enough_kg_ha = model.starter_enough_ppm * KG_HA_PER_PPM
    if planting < found.dates.size and float(found.spare[planting]) >= enough_kg_ha:
        return amount_kg_ha
    return min(max(amount_kg_ha, model.starter_kg_ha, least_share * supplemental_kg_ha), supplemental_kg_ha)
