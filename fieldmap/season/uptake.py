"""What a crop has taken up by a day."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fieldmap import agronomy

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from fieldmap.agronomy import CropEntry


@dataclass(frozen=True)
class UptakeModel:
    """The figures of uptake; `fieldmap/agronomy/season.toml` says what each means."""

    last_useful_share: float
    rapid_from_share: float
    least_pass_kg_ha: float
    short_from_kg_ha: float
    starter_kg_ha: float
    starter_if_waits: float
    starter_enough_ppm: float


UPTAKE = UptakeModel(**agronomy.values_of("uptake"))
SOURCES = ("curve_memory", *dict.fromkeys(figure.source for figure in agronomy.figures("season")["uptake"]))


def uptake_share(season_share: ArrayLike, crop: CropEntry) -> NDArray[np.float64]:
    """Share of its uptake that the crop has taken up by a share of its season, planting 0 to harvest 1.

    A logistic curve, 1 / (1 + exp(-steepness (x - half))), cut to the season: 0 at planting, 1 at harvest, so that
    a crop cut in full growth does not flatten before it. Not for a stand that was held up by cold or drought: the
    curve knows dates, not weather.

    Parameters
    ----------
    season_share
        Share of the days from planting to harvest, any shape; below 0 and above 1 it counts as 0 and 1.
    crop
        Its steepness and the share of the season by which the logistic is half-way.

    Returns
    -------
    NDArray
        0 to 1, of the same shape; NaN where `season_share` is NaN.

    References
    ----------
    Shapes by crop are from memory, shaped to published time courses (curve_memory).

    Examples
    --------
    Sweet corn takes up late: 9 % in the first third of its season, 28 % by the middle.

    >>> from fieldmap import agronomy
    >>> corn = agronomy.find("sweet corn", agronomy.crops())
    >>> uptake_share([0.0, 1 / 3, 0.5, 1.0], corn).round(2).tolist()
    [0.0, 0.09, 0.28, 1.0]
    """

    def logistic(x: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.asarray(1.0 / (1.0 + np.exp(-crop.uptake_steepness * (x - crop.half_uptake_share))))

    low, high = logistic(np.array(0.0)), logistic(np.array(1.0))
    grown = logistic(np.clip(np.asarray(season_share, dtype=float), 0.0, 1.0))
    return np.asarray((grown - low) / (high - low))


def share_by_day(planted: dt.date, harvested: dt.date, crop: CropEntry) -> NDArray[np.float64]:
    """Uptake share by the evening of each day, planting to harvest.

    Parameters
    ----------
    planted, harvested
        First and last day of the crop.
    crop
        Its curve, as for `uptake_share`.

    Returns
    -------
    NDArray
        (days from planting to harvest, both counted,), rising to 1.

    References
    ----------
    As `uptake_share` (curve_memory).
    """
    days = (harvested - planted).days
    return uptake_share(np.arange(1, days + 2) / (days + 1), crop)


def date_of_share(share: float, planted: dt.date, harvested: dt.date, crop: CropEntry) -> dt.date:
    """The day on which the crop has taken up this share.

    Not for a stand that was held up by cold or drought, see `uptake_share`.

    Parameters
    ----------
    share
        0 to 1.
    planted, harvested
        First and last day of the crop.
    crop
        Its curve, as for `uptake_share`.

    Returns
    -------
    datetime.date
        The first day by whose evening the share is reached; the harvest for 1.

    References
    ----------
    As `uptake_share` (curve_memory).

    Examples
    --------
    Sweet corn of 83 days starts its rapid growth, 15 % taken up, five weeks after planting.

    >>> from fieldmap import agronomy
    >>> corn = agronomy.find("sweet corn", agronomy.crops())
    >>> date_of_share(0.15, dt.date(2026, 5, 24), dt.date(2026, 8, 14), corn)
    datetime.date(2026, 6, 26)
    """
    by_day = share_by_day(planted, harvested, crop)
    return planted + dt.timedelta(days=int(np.searchsorted(by_day, share - 1e-12)))


_DRESSING = agronomy.values_of("dressing")


def last_dressing_day(planted: dt.date, harvested: dt.date, crop: CropEntry) -> dt.date:
    """The last sensible day to dress a crop with mineral nitrogen.

    The earlier of 70 % of uptake and 21 days before harvest, or what the vegetable's own row says in days or as a
    share of the season. Not for ammonium and organic products, which need time of their own before it.

    Parameters
    ----------
    planted, harvested
        First and last day of the crop.
    crop
        Its curve, and its dressings where the table has them.

    Returns
    -------
    datetime.date
        Not before planting.

    References
    ----------
    Common practice, no source (last_dressing_practice, dressing_practice); the curve as for `uptake_share`.

    Examples
    --------
    Sweet corn of 82 days: before the tassel shows, 40 days before harvest. Lettuce: three weeks before.

    >>> from fieldmap import agronomy
    >>> corn, lettuce = (agronomy.find(name, agronomy.crops()) for name in ("sweet corn", "lettuce"))
    >>> last_dressing_day(dt.date(2026, 5, 24), dt.date(2026, 8, 14), corn)
    datetime.date(2026, 7, 5)
    >>> last_dressing_day(dt.date(2026, 5, 1), dt.date(2026, 7, 7), lettuce)
    datetime.date(2026, 6, 16)
    """
    own = crop.dressing
    before_d = _DRESSING["before_harvest_d"]
    if own is not None and own.before_harvest_d is not None:
        before_d = own.before_harvest_d
    days = [
        date_of_share(_DRESSING["last_uptake_share"], planted, harvested, crop),
        harvested - dt.timedelta(days=before_d),
    ]
    if own is not None and own.season_share is not None:
        days.append(planted + (harvested - planted) * own.season_share)
    return max(planted, min(days))


def last_useful_day(
    planted: dt.date, harvested: dt.date, crop: CropEntry, *, model: UptakeModel = UPTAKE
) -> dt.date:
    """The day after which release comes too late for this crop: 95 % of uptake is in.

    Not for a crop that stands on after harvest, such as one cut for a second flush.

    Parameters
    ----------
    planted, harvested
        First and last day of the crop.
    crop
        Its curve, as for `uptake_share`.
    model
        The share of uptake that counts as all.

    Returns
    -------
    datetime.date
        Between planting and harvest.

    References
    ----------
    95 %: judgement, from memory (uptake_memory); the curve: from memory (curve_memory).

    Examples
    --------
    The same corn has 95 % in a week before harvest.

    >>> from fieldmap import agronomy
    >>> corn = agronomy.find("sweet corn", agronomy.crops())
    >>> last_useful_day(dt.date(2026, 5, 24), dt.date(2026, 8, 14), corn)
    datetime.date(2026, 8, 7)
    """
    return date_of_share(model.last_useful_share, planted, harvested, crop)
