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


UPTAKE = UptakeModel(**agronomy.season_values("uptake"))
SOURCES = ("curve_memory", *dict.fromkeys(figure.source for figure in agronomy.season()["uptake"]))


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


def share_by_day(planted: dt.date, harvested: dt.date, crop: CropEntry) -> NDArray[np.float64]:
    """Uptake share by the evening of each day, planting to harvest."""
    days = (harvested - planted).days
    return uptake_share(np.arange(1, days + 2) / (days + 1), crop)


def date_of_share(share: float, planted: dt.date, harvested: dt.date, crop: CropEntry) -> dt.date:
    """The day on which the crop has taken up this share."""
    by_day = share_by_day(planted, harvested, crop)
    return planted + dt.timedelta(days=int(np.searchsorted(by_day, share - 1e-12)))


def last_useful_day(
    planted: dt.date, harvested: dt.date, crop: CropEntry, *, model: UptakeModel = UPTAKE
) -> dt.date:
    """The day after which release comes too late for this crop: 95 % of uptake is in."""
    return date_of_share(model.last_useful_share, planted, harvested, crop)
