"""When the cover crop's nitrogen comes: daily release, and what of the season's credit the crop can use.

Residue decays in two first-order pools on thermal time: each day counts as so many days at the reference
temperature and field capacity (Q10 = 2, moisture). Net release runs in step with it and is scaled so that ten
weeks at the reference are the whole season's credit. What is left of the residue's own nitrogen is a curve
apart: that is gross loss, of which the crop gets a part only, and never a credit.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from fieldmap import agronomy
from fieldmap.credit import CLIMATE_DAYS, SURFACE_FACTOR
from fieldmap.season.soil import leached_share

if TYPE_CHECKING:
    import datetime as dt
    from typing import Literal

    from numpy.typing import ArrayLike, NDArray

    from fieldmap.season.soil import DailySoil


@dataclass(frozen=True)
class ReleaseModel:
    """The figures of release; `fieldmap/agronomy/season.toml` says what each means."""

    q10: float
    reference_c: float
    reference_d: float
    q10_from_c: float
    q10_to_c: float
    stops_c: float
    fast_rate_d: float
    slow_rate_d: float
    fast_share_from_pct: float
    fast_share_per_pct: float
    fast_share_max: float
    surface_rate: float
    chopped_d: float
    chopped_rate: float
    held_d: float
    soil_test_kg_ha: float


RELEASE = ReleaseModel(**agronomy.season_values("release"))

SOURCES = (
    "katterer1998",
    "moisture2010",
    "pnw636",
    "neitsch2011",
    "release_fit",
    "kuo1998",
    "held_practice",
    "leaching_memory",
)


@dataclass(frozen=True)
class Residue:
    """What lies in or on the ground.

    `nitrogen_pct` of its dry matter, mixed by dry weight; `tilled_share` of the ground where it is
    strip-tilled.
    """

    nitrogen_pct: float
    placement: Literal["incorporated", "surface", "strip-tilled"]
    tilled_share: float | None = None
    chopped: bool = False


@dataclass(frozen=True)
class DailyRelease:
    """Release of one block's residue by day, as shares of the season's credit; arrays (scenarios, days).

    `released` is the share released by the evening of each day, after a warm season more than 1; `to_come` what
    the residue still holds of its net nitrogen, so that the two add up to `potential` on every day;
    `residue_left` the share of the residue's own nitrogen that is still in it (gross loss, never a credit);
    `tied_up` the share of what poor residue ties up that is tied by then; `leached` the share of the top soil's
    nitrate that the day's drainage carries off.
    """

    dates: NDArray[np.datetime64]
    released: NDArray[np.float64]
    to_come: NDArray[np.float64]
    potential: float
    residue_left: NDArray[np.float64]
    tied_up: NDArray[np.float64]
    leached: NDArray[np.float64]
    drainage_mm: NDArray[np.float64]
    sources: tuple[str, ...]

    @property
    def counted(self) -> NDArray[np.float64]:
        """The share released by each day that counts: never more than the season's credit itself."""
        return np.minimum(self.released, 1.0)

    def day(self, date: dt.date) -> int:
        """The position of a date; before the first it is negative."""
        return int((np.datetime64(date, "D") - self.dates[0]).astype(int))


def temperature_factor(temperature_c: ArrayLike, *, model: ReleaseModel = RELEASE) -> NDArray[np.float64]:
    """Rate against the reference temperature: Q10 from 5 to 35 °C, straight to nothing below, level above.

    Katterer et al. 1998 for 5 to 35 °C; what happens outside is from memory.
    """
    temperature = np.asarray(temperature_c, dtype=float)
    within = np.clip(temperature, model.q10_from_c, model.q10_to_c)
    cold = np.clip((temperature - model.stops_c) / (model.q10_from_c - model.stops_c), 0.0, 1.0)
    return np.asarray(cold * model.q10 ** ((within - model.reference_c) / 10.0))


def reference_days(
    soil: DailySoil, *, chopped: bool = False, model: ReleaseModel = RELEASE
) -> NDArray[np.float64]:
    """Days at the reference temperature and field capacity that have passed by each evening, (scenarios, days)."""
    passed = temperature_factor(soil.temperature_c, model=model) * np.clip(soil.moisture, 0.0, 1.0)
    if chopped:
        ahead = np.arange(passed.shape[-1]) < model.chopped_d
        passed = passed * np.where(ahead, model.chopped_rate, 1.0)
    return np.cumsum(passed, axis=-1)


def fast_share(nitrogen_pct: ArrayLike, *, model: ReleaseModel = RELEASE) -> NDArray[np.float64]:
    """Share of the residue's nitrogen in the fast pool: the richer, the more."""
    above = np.asarray(nitrogen_pct, dtype=float) - model.fast_share_from_pct
    return np.asarray(np.clip(model.fast_share_per_pct * above, 0.0, model.fast_share_max))


def nitrogen_left(
    days: NDArray[np.float64], nitrogen_pct: float, *, rate: float = 1.0, model: ReleaseModel = RELEASE
) -> NDArray[np.float64]:
    """Share of the residue's own nitrogen still in it after so many reference days; gross, never a credit.

    `rate` slows both pools down, as on the surface.
    """
    fast = fast_share(nitrogen_pct, model=model)
    return np.asarray(
        fast * np.exp(-model.fast_rate_d * rate * days)
        + (1.0 - fast) * np.exp(-model.slow_rate_d * rate * days)
    )


def _parts(residue: Residue, model: ReleaseModel) -> tuple[tuple[float, float], ...]:
    """Share of the residue and rate, for what is tilled in and what lies on the surface."""
    tilled = {"incorporated": 1.0, "surface": 0.0}.get(residue.placement, residue.tilled_share)
    if tilled is None:
        raise ValueError("strip-tilled residue needs tilled_share")
    return tuple(part for part in ((tilled, 1.0), (1.0 - tilled, model.surface_rate)) if part[0] > 0)


def daily_release(soil: DailySoil, residue: Residue, *, model: ReleaseModel = RELEASE) -> DailyRelease:
    """Release of residue in this soil, from the day the cover crop ended.

    What lies on the surface gives less (its credit is scaled by `credit.SURFACE_FACTOR`) and later; under
    strip tillage the two are weighed by what each gives to the credit.
    """
    days = reference_days(soil, chopped=residue.chopped, model=model)
    whole = np.array(model.reference_d)
    parts = _parts(residue, model)
    left, released, to_come = (np.zeros_like(days) for _ in range(3))
    credit = potential = 0.0
    for share, rate in parts:
        of_part = nitrogen_left(days, residue.nitrogen_pct, rate=rate, model=model)
        by_reference = 1.0 - float(nitrogen_left(whole, residue.nitrogen_pct, rate=rate, model=model))
        weight = share * (1.0 if rate == 1.0 else SURFACE_FACTOR)
        left += share * of_part
        released += weight * (1.0 - of_part) / by_reference
        to_come += weight * of_part / by_reference
        potential += weight / by_reference
        credit += weight
    slowest = min(rate for _, rate in parts)
    sources = (
        *soil.sources,
        *SOURCES,
        *(("surface_memory",) if slowest < 1 else ()),
        *(("angers1997", "chopped_memory") if residue.chopped else ()),
    )
    return DailyRelease(
        dates=soil.dates,
        released=released / credit,
        to_come=to_come / credit,
        potential=potential / credit,
        residue_left=left,
        tied_up=-np.expm1(-model.fast_rate_d * slowest * days),
        leached=leached_share(soil.drainage_mm),
        drainage_mm=soil.drainage_mm,
        sources=tuple(dict.fromkeys(sources)),
    )


def as_of_a_cool_season(release: DailyRelease, tilled: float) -> DailyRelease:
    """The release of a credit whose share on the surface is that of a cool climate.

    That share is what a cool season gives: ten weeks of this weather release it whole. To measure it against ten
    weeks at the reference temperature would count the cold twice. `tilled` is the part of the credit that is tilled
    in, for which the reference stands.
    """
    if release.released.shape[-1] < CLIMATE_DAYS:
        return release
    given = release.released[:, CLIMATE_DAYS - 1].mean()
    raised = tilled + (1.0 - tilled) / float(given)
    return replace(
        release,
        released=release.released * raised,
        to_come=release.to_come * raised,
        potential=release.potential * raised,
    )


@dataclass(frozen=True)
class SeasonSplit:
    """The season's credit by when it comes, as shares that add up to 1, each (scenarios,).

    `before` is released before planting and not there any more (or not to be counted on); `held` released before
    planting and still in the soil then; `during` released between planting and the crop's last useful uptake;
    `after` later than that. `tested` is what a soil nitrate test has measured already, 0 without one: it must
    not be credited again.
    """

    before: NDArray[np.float64]
    held: NDArray[np.float64]
    during: NDArray[np.float64]
    after: NDArray[np.float64]
    tested: NDArray[np.float64]

    @property
    def useful(self) -> NDArray[np.float64]:
        """What the crop can use: held at planting, and released while it takes up."""
        return self.held + self.during


def held_in_soil(
    release: DailyRelease, planted: dt.date, *, tested: dt.date | None = None, model: ReleaseModel = RELEASE
) -> NDArray[np.float64]:
    """Share of the credit that the soil holds on the evening of each day before planting, (scenarios, days).

    Drainage takes from it. What is released more than three weeks before planting is not counted unless a
    test shows it, and what a test (`tested`, its day) has measured is not counted here again.
    """
    planting = release.day(planted)
    counted = release.counted
    daily = np.diff(counted, axis=-1, prepend=0.0)
    from_day = max(planting - int(model.held_d), 0 if tested is None else release.day(tested) + 1)
    held = np.zeros((counted.shape[0], max(planting, 0)))
    pool = np.zeros(counted.shape[0])
    for day in range(max(from_day, 0), planting):
        pool = (pool + daily[:, day]) * (1.0 - release.leached[:, day])
        held[:, day] = pool
    return held


def split_season(
    release: DailyRelease,
    *,
    planted: dt.date,
    last_useful: dt.date,
    tested: dt.date | None = None,
    model: ReleaseModel = RELEASE,
) -> SeasonSplit:
    """Split the season's credit by when it comes.

    Parameters
    ----------
    release
        Of the block, over the whole season.
    planted, last_useful
        Planting, and the last day on which the crop still makes use of what is released.
    tested
        Day of a soil nitrate test, where there is one: what was released by then stands in the test.

    Notes
    -----
    A warm season may release more than the reference credit; what exceeds it is not counted, so the shares add
    up to 1.
    """
    counted = release.counted

    def by(day: int) -> NDArray[np.float64]:
        """The share released by the evening of a day."""
        return counted[:, min(day, counted.shape[1] - 1)] if day >= 0 else np.zeros(counted.shape[0])

    in_test = by(release.day(tested)) if tested is not None else np.zeros(counted.shape[0])
    at_planting, at_last = by(release.day(planted) - 1), by(release.day(last_useful))
    held = held_in_soil(release, planted, tested=tested, model=model)
    still = held[:, -1] if held.shape[1] else np.zeros(counted.shape[0])
    before = np.maximum(at_planting - in_test, 0.0) - still
    during = np.maximum(at_last - np.maximum(at_planting, in_test), 0.0)
    after = 1.0 - np.maximum(at_last, in_test)
    return SeasonSplit(before, still, during, after, in_test)
