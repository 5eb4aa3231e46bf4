"""Crop uptake against release: what is short and what is spare in each week, and when to spread the rest.

Uptake is a logistic curve over the season, scaled to the plan's need on its own base. The balance is daily: what
the soil holds at planting and what is released since, less what the crop takes up.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fieldmap import tables
from fieldmap.release import RELEASE, held_in_soil
from fieldmap.units import rate_text, water_text

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import ArrayLike, NDArray

    from fieldmap.release import DailyRelease, ReleaseModel
    from fieldmap.tables import CropEntry
    from fieldmap.units import UnitSystem


@dataclass(frozen=True)
class UptakeModel:
    """The figures of uptake; `fieldmap/tables/season.toml` says what each means."""

    last_useful_share: float
    rapid_from_share: float
    least_pass_kg_ha: float
    short_from_kg_ha: float


UPTAKE = UptakeModel(**tables.season_values("uptake"))
SOURCES = ("curve_memory", *tables.season_sources("uptake"))


# --- the curve -------------------------------------------------------------------------------------------------


def uptake_share(season_share: ArrayLike, crop: CropEntry) -> NDArray[np.float64]:
    """Share of its uptake that the crop has taken up by a share of its season, planting 0 to harvest 1.

    A logistic curve, 1 / (1 + exp(-steepness (x - half))), cut to the season: 0 at planting, 1 at harvest, so that
    a crop cut in full growth does not flatten before it. Shape: agronomic table, from memory.
    """

    def logistic(x: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.asarray(1.0 / (1.0 + np.exp(-crop.uptake_steepness * (x - crop.half_uptake_share))))

    low, high = logistic(np.array(0.0)), logistic(np.array(1.0))
    grown = logistic(np.clip(np.asarray(season_share, dtype=float), 0.0, 1.0))
    return np.asarray((grown - low) / (high - low))


def _share_by_day(planted: dt.date, harvested: dt.date, crop: CropEntry) -> NDArray[np.float64]:
    """Uptake share by the evening of each day, planting to harvest."""
    days = (harvested - planted).days
    return uptake_share(np.arange(1, days + 2) / (days + 1), crop)


def date_of_share(share: float, planted: dt.date, harvested: dt.date, crop: CropEntry) -> dt.date:
    """The day on which the crop has taken up this share."""
    by_day = _share_by_day(planted, harvested, crop)
    return planted + dt.timedelta(days=int(np.searchsorted(by_day, share - 1e-12)))


def last_useful_day(
    planted: dt.date, harvested: dt.date, crop: CropEntry, *, model: UptakeModel = UPTAKE
) -> dt.date:
    """The day after which release comes too late for this crop: 95 % of uptake is in."""
    return date_of_share(model.last_useful_share, planted, harvested, crop)


# --- the balance -----------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Balance:
    """Release against uptake, kg N/ha, from the end of the cover crop to harvest.

    `dates` (days,); the others (..., days), the leading shape that of the credits: `released` and `uptake` of
    the day, `short` what the crop wanted and did not find, `spare` what lies in the soil in the evening.
    `released_low` and `released_high` are the least and the most that any scenario of the weather has released by
    then. `at_risk` (...) is what drainage may carry below the top soil after planting; it is not subtracted.
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
    on_hand_kg_ha: ArrayLike = 0.0,
    tested: dt.date | None = None,
    model: ReleaseModel = RELEASE,
) -> Balance:
    """Release against uptake by day.

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
    on_hand_kg_ha
        What else lies ready at planting: soil nitrate, a starter, scalar or (zones,).
    tested
        Day of a soil nitrate test that is part of `on_hand_kg_ha`.
    """
    credit = np.asarray(credit_kg_ha, dtype=float)[..., np.newaxis]
    need = np.asarray(need_kg_ha, dtype=float)[..., np.newaxis]
    days = release.day(harvested) + 1
    planting = min(max(release.day(planted), 0), days)
    counted = release.counted[:, :days]
    freed = np.diff(counted, axis=-1, prepend=0.0).mean(axis=0)
    tied = np.diff(release.tied_up[:, :days], axis=-1, prepend=0.0).mean(axis=0)
    released = credit * np.where(credit > 0, freed, tied)
    by_day = np.cumsum(released, axis=-1)
    held = held_in_soil(release, planted, tested=tested, model=model).mean(axis=0)
    before = credit * np.where(credit > 0, held, np.cumsum(tied)[:planting])

    on_hand = np.asarray(on_hand_kg_ha, dtype=float) + (before[..., -1] if planting else 0.0)
    not_in_test = np.arange(days) > (-1 if tested is None else release.day(tested))
    supply = np.where(not_in_test, released, 0.0)[..., planting:]
    missed = max(0, -release.day(planted))  # days of growth before the cover crop ended
    demand = need * np.diff(_share_by_day(planted, harvested, crop), prepend=0.0)[missed:]
    leached = release.leached[:, planting:days].mean(axis=0)
    short, spare, at_risk = _march(on_hand, supply, demand, leached)

    def from_the_start(values: NDArray[np.float64], first: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.concatenate([np.broadcast_to(first, (*values.shape[:-1], planting)), values], axis=-1)

    nothing = np.zeros(planting)
    return Balance(
        dates=release.dates[:days],
        planted=planted,
        released=released,
        released_low=np.where(credit > 0, credit * counted.min(axis=0), by_day),
        released_high=np.where(credit > 0, credit * counted.max(axis=0), by_day),
        uptake=from_the_start(np.broadcast_to(demand, short.shape), nothing),
        short=from_the_start(short, nothing),
        spare=from_the_start(spare, np.maximum(before, 0.0)),
        at_risk=at_risk,
    )


def _march(
    on_hand: NDArray[np.float64],
    supply: NDArray[np.float64],
    demand: NDArray[np.float64],
    leached: NDArray[np.float64],
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """What is short and spare on each day from planting, and what drainage may carry off in all.

    `on_hand` (...), `supply` and `demand` (..., days), `leached` (days,).
    """
    shape = np.broadcast_shapes(supply.shape, demand.shape, (*on_hand.shape, 1))
    short, spare, at_risk = np.zeros(shape), np.zeros(shape), np.zeros(shape[:-1])
    pool = drained = np.broadcast_to(on_hand, shape[:-1])  # `drained` loses what drainage carries off
    for day in range(shape[-1]):
        gain = supply[..., day] - demand[..., day]
        short[..., day] = np.maximum(-(pool + gain), 0.0)
        pool, drained = np.maximum(pool + gain, 0.0), np.maximum(drained + gain, 0.0)
        spare[..., day] = pool
        at_risk += drained * leached[day]
        drained = drained * (1.0 - leached[day])
    return short, spare, at_risk


def short_from(found: Balance, *, model: UptakeModel = UPTAKE) -> NDArray[np.datetime64]:
    """The date from which the crop is short, shape that of the credits; NaT where it never is."""
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
    """The balance by week, in weeks that start on the day of planting."""
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


# --- when to spread the rest -----------------------------------------------------------------------------------


@dataclass(frozen=True)
class Timing:
    """How to split the supplemental nitrogen: at planting and at side-dressing, with the reason in a sentence."""

    at_planting_share: float
    sidedress: dt.date
    reason: str


def time_supplemental(
    found: Balance,
    supplemental_kg_ha: float,
    crop: CropEntry,
    *,
    harvested: dt.date,
    units: UnitSystem,
    sidedress: dt.date | None = None,
    model: UptakeModel = UPTAKE,
) -> Timing:
    """Split a block's supplemental nitrogen between planting and side-dressing.

    At planting goes what the crop would miss before the side-dressing, which is at the start of rapid uptake
    unless a date is given; amounts too small for a pass of their own join the other.

    Parameters
    ----------
    found
        The block's balance for its mean credit; shapes (days,).
    supplemental_kg_ha
        Mean nitrogen to spread.
    crop, harvested
        The vegetable and its harvest.
    units
        In which the reason is worded.
    sidedress
        The day of side-dressing, where the plan gives it.
    """
    day = sidedress or date_of_share(model.rapid_from_share, found.planted, harvested, crop)
    first = short_from(found, model=model)[()]
    tied = "Poor residue ties nitrogen up when the crop is planted. " if found.released.sum() < 0 else ""
    whole = rate_text(supplemental_kg_ha, units)
    if supplemental_kg_ha <= 0:
        return Timing(0.0, day, "Nothing is left to spread.")
    if np.isnat(first):
        reason = f"On average the crop is never short: {whole} for the thin places can wait for {day}."
        return Timing(0.0, day, reason)
    at_planting, rest = split_by_season(found, supplemental_kg_ha, (found.planted, day), model=model)
    if at_planting == 0:
        reason = f"What is released carries the crop to {first}: all {whole} can wait for the side-dressing on {day}."
        return Timing(0.0, day, tied + reason)
    if rest == 0:
        reason = (
            f"From {first} the crop is short, and too little would be left for a pass on {day}: all {whole} at "
            "planting."
        )
        return Timing(1.0, day, tied + reason)
    reason = (
        f"From {first} the crop is short: {rate_text(at_planting, units)} at planting carry it to the side-dressing "
        f"on {day}, and {rate_text(rest, units)} follow then."
    )
    return Timing(at_planting / supplemental_kg_ha, day, tied + reason)


def split_by_season(
    found: Balance, supplemental_kg_ha: float, dates: Sequence[dt.date], *, model: UptakeModel = UPTAKE
) -> tuple[float, ...]:
    """Split a block's supplemental nitrogen over the days of its applications, kg N/ha for each.

    Each carries the crop to the next: it brings what the crop would miss by then and has not been given. Amounts too
    small for a pass of their own join another; a crop that is never short on average gets all with the second,
    when it is known how the thin places fare.

    Parameters
    ----------
    found
        The block's balance for its mean credit; shapes (days,).
    supplemental_kg_ha
        Mean nitrogen to spread in all of them.
    dates
        Of the applications, two at least, in their order; what is missing before the second is the first's.
    """
    short_kg_ha = float(found.short.sum())
    if short_kg_ha < model.short_from_kg_ha:
        return (0.0, supplemental_kg_ha, *(0.0 for _ in dates[2:]))
    scale = supplemental_kg_ha / short_kg_ha
    amounts: list[float] = []
    left = supplemental_kg_ha
    for following in dates[1:]:
        missed = float(found.short[found.dates < np.datetime64(following, "D")].sum())
        due = missed * scale - (supplemental_kg_ha - left)
        amount = 0.0 if due < model.short_from_kg_ha * scale else max(due, model.least_pass_kg_ha)
        if amount and left - amount < model.least_pass_kg_ha:
            amount = left
        amounts.append(amount)
        left -= amount
    return (*amounts, left)


def call_for_soil_test(
    at_risk_kg_ha: float,
    before_kg_ha: float,
    drainage_mm: float,
    *,
    units: UnitSystem,
    model: ReleaseModel = RELEASE,
) -> str | None:
    """The call for a soil nitrate test, where drainage makes it worth one; None otherwise.

    Parameters
    ----------
    at_risk_kg_ha, before_kg_ha
        Nitrogen that drainage may carry off after planting, and that was released too early to count on.
    drainage_mm
        From the end of the cover crop to harvest.
    """
    if at_risk_kg_ha + before_kg_ha < model.soil_test_kg_ha:
        return None
    top = "foot" if units == "us" else "30 cm"
    return (
        f"{rate_text(before_kg_ha, units)} of the cover crop's nitrogen comes too early to count on, and drainage "
        f"({water_text(drainage_mm, units)} over the season) may carry {rate_text(at_risk_kg_ha, units)} more below "
        f"the top {top}: test the soil nitrate before the side-dressing."
    )
