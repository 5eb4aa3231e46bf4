"""Crop uptake against release: what is short and what is spare in each week, and when to spread the rest.

Uptake is a logistic curve over the season, scaled to the plan's need on its own base. The balance is daily: what
the soil holds at planting and what is released since, less what the crop takes up.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fieldmap.season.split import held_in_soil
from fieldmap.season.uptake import UPTAKE, share_by_day
from fieldmap.season.water import passed_on

if TYPE_CHECKING:
    import datetime as dt

    from numpy.typing import ArrayLike, NDArray

    from fieldmap.agronomy import CropEntry
    from fieldmap.season.release import DailyRelease
    from fieldmap.season.uptake import UptakeModel
    from fieldmap.season.water import RootZone


_NOTHING_KG_HA = 1e-9  # where something is divided by what may be nothing


@dataclass(frozen=True)
class Balance:
    """Release against uptake, kg N/ha, from the end of the cover crop to harvest.

    `dates` (days,); the others (..., days), the leading shape that of the credits: `released` and `uptake` of
    the day, `short` what the crop wanted and did not find, `spare` what lies in the soil in the evening.
    `released_low` and `released_high` are the least and the most that any scenario of the weather has released by
    then. `at_risk` (...) is what drainage may carry below the roots after planting; it is not subtracted.
    """

    dates: NDArray[np.datetime64]
    planted: dt.date
    released: NDArray[np.float64]
    released_low: NDArray[np.float64]
    released_high: NDArray[np.float64]
    uptake: NDArray[np.float64]
    short: NDArray[np.float64]
    spare: NDArray[np.float64]
    at_risk: NDArray[np.float64]


def balance(
    release: DailyRelease,
    credit_kg_ha: ArrayLike,
    need_kg_ha: ArrayLike,
    crop: CropEntry,
    *,
    planted: dt.date,
    harvested: dt.date,
    roots: RootZone,
    on_hand_kg_ha: ArrayLike = 0.0,
    tested: dt.date | None = None,
) -> Balance:
    """Release against uptake by day.

    Not a rate: what is short here is before any nitrogen is spread, and by day rather than in all.

    Parameters
    ----------
    release
        Of the block, from the end of the cover crop at least to harvest.
    credit_kg_ha
        The whole season's credit, scalar or (zones,); negative where nitrogen is tied up: all that is tied up by
        planting stands against the crop then.
    need_kg_ha
        What the uptake curve is scaled to, scalar or (zones,): the plan's need on its own base, less credits that
        come along with the crop's growth (irrigation water, soil organic matter).
    crop, planted, harvested
        The vegetable and its season.
    roots
        The layers down to its rooting depth, and the share lost as gas.
    on_hand_kg_ha
        What else lies ready at planting: soil nitrate, a starter, scalar or (zones,).
    tested
        Day of a soil nitrate test that is part of `on_hand_kg_ha`.

    Returns
    -------
    Balance
        kg N/ha by day, (..., days) with the leading shape of the credits; never NaN for finite input.

    References
    ----------
    Arithmetic: held at planting and released since, less uptake. Release as in `daily_release` (pnw636, release_fit),
    uptake as in `uptake_share` (curve_memory). What drainage may carry off is told and not subtracted.
    """
    credit = np.asarray(credit_kg_ha, dtype=float)[..., np.newaxis]
    need = np.asarray(need_kg_ha, dtype=float)[..., np.newaxis]
    days = release.day(harvested) + 1
    planting = min(max(release.day(planted), 0), days)
    counted = release.counted[:, :days]
    kept = 1.0 - roots.denitrified
    freed = kept * np.diff(counted, axis=-1, prepend=0.0).mean(axis=0)
    tied = np.diff(release.tied_up[:, :days], axis=-1, prepend=0.0).mean(axis=0)
    released = credit * np.where(credit > 0, freed, tied)
    by_day = np.cumsum(released, axis=-1)
    held = held_in_soil(release, planted, roots, tested=tested)
    before = credit * np.where(credit > 0, kept * held.by_day.mean(axis=0), np.cumsum(tied)[:planting])
    at_planting = before[..., -1] if planting else np.zeros(credit.shape[:-1])
    on_hand = np.asarray(on_hand_kg_ha, dtype=float)
    not_in_test = np.arange(days) > (-1 if tested is None else release.day(tested))
    supply = np.where(not_in_test, released, 0.0)[..., planting:]
    missed = max(0, -release.day(planted))  # days of growth before the cover crop ended
    demand = need * np.diff(share_by_day(planted, harvested, crop), prepend=0.0)[missed:]
    short, spare = _march(on_hand + at_planting, supply, demand)
    by_layer = np.maximum(credit, 0.0) * kept * held.by_layer.mean(axis=0)
    by_layer = by_layer + on_hand[..., np.newaxis] * (np.arange(roots.layers) == 0)
    shares = passed_on(release.drainage_mm[:, planting:days], roots).mean(axis=0)
    at_risk = np.maximum(_drained(by_layer, np.maximum(supply, 0.0), demand, shares), 0.0)  # of rounding

    def from_the_start(values: NDArray[np.float64], first: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.concatenate([np.broadcast_to(first, (*values.shape[:-1], planting)), values], axis=-1)

    nothing = np.zeros(planting)
    return Balance(
        dates=release.dates[:days],
        planted=planted,
        released=released,
        released_low=np.where(credit > 0, credit * kept * counted.min(axis=0), by_day),
        released_high=np.where(credit > 0, credit * kept * counted.max(axis=0), by_day),
        uptake=from_the_start(np.broadcast_to(demand, short.shape), nothing),
        short=from_the_start(short, nothing),
        spare=from_the_start(spare, np.maximum(before, 0.0)),
        at_risk=at_risk,
    )


def _march(
    on_hand: NDArray[np.float64], supply: NDArray[np.float64], demand: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """What is short and spare on each day from planting. `on_hand` (...), `supply` and `demand` (..., days)."""
    shape = np.broadcast_shapes(supply.shape, demand.shape, (*on_hand.shape, 1))
    short, spare = np.zeros(shape), np.zeros(shape)
    pool = np.broadcast_to(on_hand, shape[:-1])
    for day in range(shape[-1]):
        gain = supply[..., day] - demand[..., day]
        short[..., day] = np.maximum(-(pool + gain), 0.0)
        pool = np.maximum(pool + gain, 0.0)
        spare[..., day] = pool
    return short, spare


def _drained(
    by_layer: NDArray[np.float64],
    supply: NDArray[np.float64],
    demand: NDArray[np.float64],
    shares: NDArray[np.float64],
) -> NDArray[np.float64]:
    """What drainage may carry below the roots after planting, (...).

    `by_layer` (..., layers) lies there at planting, `supply` and `demand` are (..., days), `shares` (days, layers).
    The crop takes from all layers alike.
    """
    shape = np.broadcast_shapes(supply.shape, demand.shape, (*by_layer.shape[:-1], 1))
    layers, days = by_layer.shape[-1], shape[-1]
    by_day = (
        np.broadcast_to(supply, shape).reshape(-1, days),
        np.broadcast_to(demand, shape).reshape(-1, days),
    )
    supply_t, demand_t = (np.ascontiguousarray(each.T) for each in by_day)
    pool = np.broadcast_to(by_layer, (*shape[:-1], layers)).reshape(-1, layers).T.copy()
    step = np.arange(layers)[:, np.newaxis] - np.arange(layers)
    down = np.where(step >= 0, shares[:, np.maximum(step, 0)], 0.0)  # from layer (columns) to layer (rows)
    lost = np.zeros(pool.shape[1])
    for day in range(days):
        pool[0] += supply_t[day]
        there = pool.sum(axis=0)
        left = np.maximum(there - demand_t[day], 0.0)
        pool *= left / np.maximum(there, _NOTHING_KG_HA)
        if shares[day, 0] < 1.0:
            pool = down[day] @ pool
            lost += left - pool.sum(axis=0)
    return lost.reshape(shape[:-1])


def short_from(found: Balance, *, model: UptakeModel = UPTAKE) -> NDArray[np.datetime64]:
    """The date from which the crop is short.

    Not the day to spread: nitrogen has to be there before it is missed.

    Parameters
    ----------
    found
        As from `balance`.
    model
        How much must be missing, kg N/ha, until the crop counts as short.

    Returns
    -------
    NDArray
        datetime64[D], of the shape of the credits; NaT where the crop is never short.

    References
    ----------
    1 kg/ha: judgement, from memory (uptake_memory).
    """
    missing = np.cumsum(found.short, axis=-1) >= model.short_from_kg_ha
    first = found.dates[np.argmax(missing, axis=-1)]
    return np.where(missing.any(axis=-1), first, np.datetime64("NaT"))


@dataclass(frozen=True)
class Weeks:
    """The weekly table: `week` (weeks,) counts from planting, 1 the first, and `date` is its first day.

    The rest is (..., weeks), kg N/ha: sums over the week, and for `spare` what is left at its end.
    """

    week: NDArray[np.int64]
    date: NDArray[np.datetime64]
    released_kg_ha: NDArray[np.float64]
    uptake_kg_ha: NDArray[np.float64]
    short_kg_ha: NDArray[np.float64]
    spare_kg_ha: NDArray[np.float64]


def weekly(found: Balance) -> Weeks:
    """The balance by week, in weeks that start on the day of planting.

    The first and the last may have fewer than seven days, so their sums do not compare with the others.

    Parameters
    ----------
    found
        As from `balance`.

    Returns
    -------
    Weeks
        (..., weeks), kg N/ha; weeks before planting have numbers below 1.

    References
    ----------
    Sums of the days (arithmetic).

    Examples
    --------
    Nine days from planting, each short of 2 kg/ha: 14 in week 1, 4 in the two days of week 2.

    >>> import datetime as dt
    >>> dates, nothing = np.datetime64("2026-05-24") + np.arange(9), np.zeros(9)
    >>> days = Balance(
    ...     dates, dt.date(2026, 5, 24), nothing, nothing, nothing, nothing, np.full(9, 2.0), nothing, np.zeros(())
    ... )
    >>> weekly(days).week.tolist(), weekly(days).short_kg_ha.tolist()
    ([1, 2], [14.0, 4.0])
    """
    offset = (found.dates - np.datetime64(found.planted, "D")).astype(int)
    week_of_day = np.floor_divide(offset, 7) + 1
    week, first = np.unique(week_of_day, return_index=True)
    last = np.append(first[1:], len(offset)) - 1

    def total(values: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.asarray(np.add.reduceat(values, first, axis=-1))

    return Weeks(
        week=week,
        date=found.dates[first],
        released_kg_ha=total(found.released),
        uptake_kg_ha=total(found.uptake),
        short_kg_ha=total(found.short),
        spare_kg_ha=found.spare[..., last],
    )
