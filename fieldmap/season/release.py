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
from fieldmap.credit import CLIMATE_DAYS, surface_factor

if TYPE_CHECKING:
    import datetime as dt
    from typing import Literal

    from numpy.typing import ArrayLike, NDArray

    from fieldmap.season.scenarios import DailySoil


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
    rain_unknown_d: float
    rain_unknown_kept: float
    rain_unknown_kept_sd: float
    soil_test_kg_ha: float

    def soil_test_is_due(self, at_risk_kg_ha: float, before_kg_ha: float) -> bool:
        """Whether drainage makes a soil nitrate test worth its cost.

        `at_risk_kg_ha` may be carried off after planting, `before_kg_ha` was released too early to count on.
        """
        return at_risk_kg_ha + before_kg_ha >= self.soil_test_kg_ha


RELEASE = ReleaseModel(**agronomy.values_of("release"))

SOURCES = (
    "katterer1998",
    "moisture2010",
    "pnw636",
    "release_fit",
    "kuo1998",
)


@dataclass(frozen=True)
class Residue:
    """What lies in or on the ground.

    `nitrogen_pct` of its dry matter, mixed by dry weight; `tilled_share` of the ground where it is
    strip-tilled; `surface_factor` what the surface gives against residue tilled in.
    """

    nitrogen_pct: float
    placement: Literal["incorporated", "surface", "strip-tilled"]
    tilled_share: float | None = None
    chopped: bool = False
    surface_factor: float = surface_factor("unknown")[0]


@dataclass(frozen=True)
class DailyRelease:
    """Release of one block's residue by day, as shares of the season's credit; arrays (scenarios, days).

    `released` is the share released by the evening of each day, after a warm season more than 1; `to_come` what
    the residue still holds of its net nitrogen, so that the two add up to `potential` on every day;
    `residue_left` the share of the residue's own nitrogen that is still in it (gross loss, never a credit);
    `tied_up` the share of what poor residue ties up that is tied by then; `drainage_mm` the day's drainage and
    `rain_known` (days,) whether it rests on rain that is known.
    """

    dates: NDArray[np.datetime64]
    released: NDArray[np.float64]
    to_come: NDArray[np.float64]
    potential: float
    residue_left: NDArray[np.float64]
    tied_up: NDArray[np.float64]
    drainage_mm: NDArray[np.float64]
    rain_known: NDArray[np.bool_]
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

    Not below 5 °C as a measured thing: what happens outside 5 to 35 °C is from memory.

    Parameters
    ----------
    temperature_c
        Soil temperature, °C, any shape.
    model
        Q10, reference temperature and limits.

    Returns
    -------
    NDArray
        Rate at that temperature over the rate at the reference, of the same shape; NaN where `temperature_c` is NaN.

    References
    ----------
    Katterer et al. 1998 (katterer1998): Q10 = 2 from 5 to 35 °C. The reference of 20 °C and the fall to nothing at
    0 °C are from memory (release_fit).

    Examples
    --------
    Twice as fast for ten degrees more; above 35 °C no faster; half-way from 5 to 0 °C half of the rate at 5.

    >>> temperature_factor([0.0, 2.5, 5.0, 10.0, 20.0, 30.0, 35.0, 40.0]).round(3).tolist()
    [0.0, 0.177, 0.354, 0.5, 1.0, 2.0, 2.828, 2.828]
    """
    temperature = np.asarray(temperature_c, dtype=float)
    within = np.clip(temperature, model.q10_from_c, model.q10_to_c)
    cold = np.clip((temperature - model.stops_c) / (model.q10_from_c - model.stops_c), 0.0, 1.0)
    return np.asarray(cold * model.q10 ** ((within - model.reference_c) / 10.0))


def reference_days(
    soil: DailySoil, *, chopped: bool = False, model: ReleaseModel = RELEASE
) -> NDArray[np.float64]:
    """Days at the reference temperature and field capacity that have passed by each evening.

    Not calendar days: a cold or dry week counts as a day or two.

    Parameters
    ----------
    soil
        Temperature, °C, and moisture, 0 to 1, (scenarios, days).
    chopped
        Whether the residue was chopped, which puts it ahead for two days.
    model
        As for `temperature_factor`, and how far chopped residue is ahead.

    Returns
    -------
    NDArray
        Reference days since the cover crop ended, (scenarios, days), never falling.

    References
    ----------
    Temperature: Katterer et al. 1998 (katterer1998). In proportion to water between air-dry and field capacity
    (moisture2010). Chopped, for two days: Angers & Recous 1997 (angers1997); twice the rate is from memory
    (chopped_memory).

    Examples
    --------
    Three days at 10 °C and half of the water: each counts 0.5 × 0.5 = 0.25 days; chopped, the first two count twice.

    >>> from fieldmap.season.scenarios import DailySoil
    >>> dates = np.datetime64("2026-05-04") + np.arange(3)
    >>> shape = (1, 3)
    >>> soil = DailySoil(dates, np.full(shape, 10.0), np.full(shape, 0.5), *np.zeros((2, *shape)), "record", None, ())
    >>> reference_days(soil).tolist(), reference_days(soil, chopped=True).tolist()
    ([[0.25, 0.5, 0.75]], [[0.5, 1.0, 1.25]])
    """
    passed = temperature_factor(soil.temperature_c, model=model) * np.clip(soil.moisture, 0.0, 1.0)
    if chopped:
        ahead = np.arange(passed.shape[-1]) < model.chopped_d
        passed = passed * np.where(ahead, model.chopped_rate, 1.0)
    return np.cumsum(passed, axis=-1)


def fast_share(nitrogen_pct: ArrayLike, *, model: ReleaseModel = RELEASE) -> NDArray[np.float64]:
    """Share of the residue's nitrogen in the fast pool: the richer, the more.

    Not measured for your residue: two legumes and rye are behind it.

    Parameters
    ----------
    nitrogen_pct
        %N of dry matter, any shape.
    model
        Where the share starts, its slope and its limit.

    Returns
    -------
    NDArray
        0 to 0.95, of the same shape; NaN where `nitrogen_pct` is NaN.

    References
    ----------
    Fitted by fieldmap to published end points, from memory (release_fit).

    Examples
    --------
    0.43 × (%N - 1.1): nothing for ripe rye, half for 2.3 %N, at most 0.95.

    >>> fast_share([1.0, 2.3, 3.5, 4.5]).round(3).tolist()
    [0.0, 0.516, 0.95, 0.95]
    """
    above = np.asarray(nitrogen_pct, dtype=float) - model.fast_share_from_pct
    return np.asarray(np.clip(model.fast_share_per_pct * above, 0.0, model.fast_share_max))


def nitrogen_left(
    days: NDArray[np.float64], nitrogen_pct: float, *, rate: float = 1.0, model: ReleaseModel = RELEASE
) -> NDArray[np.float64]:
    """Share of the residue's own nitrogen still in it after so many reference days; gross, never a credit.

    Not 1 less a credit: of what leaves the residue a crop gets a part only.

    Parameters
    ----------
    days
        Days at the reference temperature and field capacity, see `reference_days`; any shape.
    nitrogen_pct
        %N of dry matter.
    rate
        Slows both pools down: 1 tilled in, 0.6 on the surface.
    model
        Rates and shares of the two pools.

    Returns
    -------
    NDArray
        1 falling to 0, of the shape of `days`.

    References
    ----------
    Two pools of first order: their rates, 0.05 and 0.009 a day, and shares are fitted to published end points, from
    memory (release_fit); 0.6 on the surface is from memory (surface_memory).

    Examples
    --------
    Rich residue, 95 % of it fast: after 70 days 0.95 e^-3.5 + 0.05 e^-0.63 = 0.055 are left. Of rye at 1.1 %N, all
    of it slow, e^-0.63 = 0.533 are.

    >>> [round(float(nitrogen_left(np.array(70.0), pct)), 3) for pct in (3.5, 1.1)]
    [0.055, 0.533]
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

    What lies on the surface gives less (its credit is scaled by `credit.surface_factor`) and later; under
    strip tillage the two are weighed by what each gives to the credit. Not for roots or for manure.

    Parameters
    ----------
    soil
        From the day the cover crop ended, (scenarios, days).
    residue
        Its %N, where it lies, whether it was chopped.
    model
        Rates, pools and the reference.

    Returns
    -------
    DailyRelease
        Shares of the season's credit, (scenarios, days).

    Raises
    ------
    ValueError
        If strip-tilled residue comes without `tilled_share`.

    References
    ----------
    The credit is ten weeks at the reference, PNW 636 (pnw636); see `reference_days` and `nitrogen_left`. What poor
    residue ties up is tied first, Kuo & Sainju 1998 (kuo1998).

    Examples
    --------
    Tilled-in residue of 3.5 %N in moist soil at 20 °C, where a day counts as a day: after ten weeks the credit is
    released whole. After three 0.374 of the residue's own is left, and (1 - 0.374) / (1 - 0.055) = 0.663 released.

    >>> from fieldmap.season.scenarios import DailySoil
    >>> dates = np.datetime64("2026-05-04") + np.arange(70)
    >>> shape = (1, 70)
    >>> soil = DailySoil(dates, np.full(shape, 20.0), np.ones(shape), *np.zeros((2, *shape)), "record", None, ())
    >>> release = daily_release(soil, Residue(3.5, "incorporated"))
    >>> release.released[0, [20, 69]].round(3).tolist(), float(release.residue_left[0, 20].round(3))
    ([0.663, 1.0], 0.374)
    """
    days = reference_days(soil, chopped=residue.chopped, model=model)
    whole = np.array(model.reference_d)
    parts = _parts(residue, model)
    left, released, to_come = (np.zeros_like(days) for _ in range(3))
    credit = potential = 0.0
    for share, rate in parts:
        of_part = nitrogen_left(days, residue.nitrogen_pct, rate=rate, model=model)
        by_reference = 1.0 - float(nitrogen_left(whole, residue.nitrogen_pct, rate=rate, model=model))
        weight = share * (1.0 if rate == 1.0 else residue.surface_factor)
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
        drainage_mm=soil.drainage_mm,
        rain_known=np.asarray(np.isfinite(soil.rain_mm).all(axis=0)),
        sources=tuple(dict.fromkeys(sources)),
    )


def as_of_a_cool_season(release: DailyRelease, tilled: float) -> DailyRelease:
    """The release of a credit whose share on the surface is that of a cool climate.

    That share is what a cool season gives: ten weeks of this weather release it whole. To measure it against ten
    weeks at the reference temperature would count the cold twice. Not for the share of a warm climate, nor for the
    quality relation.

    Parameters
    ----------
    release
        As from `daily_release`; with fewer than ten weeks it comes back as it is.
    tilled
        Part of the credit that is tilled in, 0 to 1, for which the reference stands.

    Returns
    -------
    DailyRelease
        With `released`, `to_come` and `potential` raised by one factor.

    References
    ----------
    UC Santa Cruz manual (ucsc) for the share; that it is of ten weeks of the season's own weather is judgement.
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
