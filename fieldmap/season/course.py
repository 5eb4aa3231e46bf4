"""How a block's credit comes: its release through the weather, and what of it comes in time for the crop."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from fieldmap.credit import CLIMATE_DAYS, credit_rule, surface_factor, surface_wetting, tilled_share
from fieldmap.season.release import (
    RELEASE,
    Residue,
    as_of_a_cool_season,
    daily_release,
)
from fieldmap.season.scenarios import DailySoil, season_soil
from fieldmap.season.soil import AnnualSine, soil_of
from fieldmap.season.split import SeasonSplit, split_season
from fieldmap.season.uptake import last_useful_day
from fieldmap.season.water import WATER, crop_coefficients, root_zone

if TYPE_CHECKING:
    import datetime as dt

    import pandas as pd
    from numpy.typing import NDArray

    from fieldmap.credit import CreditRule, Wetting
    from fieldmap.plan import CoverCrop, CreditSection, Crop, Weather
    from fieldmap.season.release import DailyRelease
    from fieldmap.season.water import RootZone


@dataclass(frozen=True)
class InTime:
    """What of a block's credit comes in time: the shares before, for and after the crop, with their sources."""

    split: SeasonSplit
    sources: tuple[str, ...]

    @property
    def useful(self) -> float:
        """Share of the season's credit that the crop can use, mean of the weather scenarios."""
        return float(self.split.useful.mean())

    @property
    def useful_error(self) -> float:
        """Relative standard error of that share: between the scenarios, and of water that is not known."""
        if self.useful <= 0:
            return 0.0
        return float(np.hypot(self.split.useful.std(), self.split.useful_sd.mean()) / self.useful)


@dataclass(frozen=True)
class Course:
    """How a block's credit comes: its daily release, and what of it comes in time.

    `tested` is the day of a soil nitrate test after the cover crop ended, None without one; `wetting` says how wet
    residue on the surface is kept, `roots` how far nitrate may drain.
    """

    soil: DailySoil
    release: DailyRelease
    in_time: InTime
    tested: dt.date | None
    wetting: Wetting
    roots: RootZone

    @property
    def soil_c(self) -> float:
        """Mean soil temperature of the ten weeks from termination, °C."""
        return float(self.soil.temperature_c[:, :CLIMATE_DAYS].mean())


def follow_release(
    cover: CoverCrop,
    crop: Crop,
    nitrogen_pct: float,
    daily: pd.DataFrame | None,
    *,
    weather: Weather,
    texture: str | None,
    drainage: str | None,
    credit: CreditSection,
    tested: dt.date | None,
    latitude_deg: float,
) -> Course:
    """Follow a block's residue through the weather.

    Parameters
    ----------
    cover, crop
        What stood there and what is planted next.
    nitrogen_pct
        Mean %N of its residue.
    daily
        The weather record; None where the mean of the year is all that is known.
    weather, credit
        Those sections of the plan.
    texture, drainage
        Of the soil, as in [soil].
    tested
        The day of a soil nitrate test after the cover crop ended; None without one.
    latitude_deg
        Of the field.

    Raises
    ------
    InputError
        Where the weather record starts after the cover crop ended, or ends too early.
    """
    sine = None
    if weather.mean_c is not None and weather.amplitude_c is not None and weather.coldest is not None:
        sine = AnnualSine(weather.mean_c, weather.amplitude_c, weather.coldest)
    model = soil_of(texture)
    soil = season_soil(
        cover.terminated,
        crop.harvested,
        daily=daily,
        sine=sine,
        latitude_deg=latitude_deg,
        irrigated=weather.irrigated,
        efficiency=WATER.efficiency(weather.irrigated_by),
        water_use=_water_use(cover, crop),
        tarped_d=cover.tarped_d,
        file=weather.file or "[weather]",
        model=model,
    )
    roots = root_zone(crop.name, soil=model, drainage=drainage)
    irrigated = weather.irrigated or (daily is not None and "irrigation_mm" in daily)
    wetting = surface_wetting(rain_mm_week(soil), irrigated=irrigated, irrigated_by=weather.irrigated_by)
    release = daily_release(soil, residue_of(cover, nitrogen_pct, wetting))
    course = _course(crop, tested, soil, release, wetting, roots)
    rule = credit_rule(cover, credit, soil_c=course.soil_c, wetting=wetting)
    if rule.climate != "cool":
        return course
    return _course(crop, tested, soil, as_of_a_cool_season(release, rule.of_tilled), wetting, roots)


def rain_mm_week(soil: DailySoil) -> float | None:
    """Rain of a week, mm, mean of the ten weeks from termination and of the scenarios; None where it is not known."""
    rain_mm = soil.rain_mm[:, :CLIMATE_DAYS]
    return None if np.isnan(rain_mm).any() else 7.0 * float(rain_mm.mean())


def _water_use(cover: CoverCrop, crop: Crop) -> NDArray[np.float64]:
    """What the ground uses of the reference evapotranspiration, end of the cover crop to harvest, (days,)."""
    days = (crop.harvested - cover.terminated).days + 1
    bare = max((crop.planted - cover.terminated).days, 0)
    mulched = 1.0 - tilled_share(cover)
    of_bare = 1.0 - mulched * (1.0 - WATER.mulched_evaporation)
    grown = crop_coefficients(crop.planted, crop.harvested, crop.entry)[-(days - bare) :]
    return np.concatenate([np.full(bare, of_bare), grown])


def _course(
    crop: Crop,
    tested: dt.date | None,
    soil: DailySoil,
    release: DailyRelease,
    wetting: Wetting,
    roots: RootZone,
) -> Course:
    last_useful = last_useful_day(crop.planted, crop.harvested, crop.entry)
    split = split_season(release, planted=crop.planted, last_useful=last_useful, roots=roots, tested=tested)
    curve = (crop.entry.source_of[name] for name in ("half_uptake_share", "uptake_steepness"))
    unknown = () if release.rain_known.all() else ("held_practice",)
    keys = tuple(dict.fromkeys((*release.sources, *roots.sources, *unknown, *curve)))
    return Course(soil, release, InTime(split, keys), tested, wetting, roots)


def residue_of(cover: CoverCrop, nitrogen_pct: float, wetting: Wetting = "unknown") -> Residue:
    """What lies in or on the ground after this cover crop."""
    return Residue(
        nitrogen_pct,
        cover.placement,
        cover.tilled_share,
        cover.residue == "chopped",
        surface_factor(wetting)[0],
    )


def released_by(tested: dt.date, cover: CoverCrop, nitrogen_pct: float) -> InTime:
    """Without weather the whole credit comes in time, but for what a soil nitrate test has measured already.

    Release up to the test is then taken at the reference temperature.
    """
    release = daily_release(at_reference(cover.terminated, tested), residue_of(cover, nitrogen_pct))
    share = release.counted[:, -1]
    nothing = np.zeros_like(share)
    split = SeasonSplit(nothing, nothing, 1.0 - share, nothing, share, nothing, nothing)
    return InTime(split, release.sources)


def at_reference(first: dt.date, last: dt.date) -> DailySoil:
    """A soil at the reference temperature and at field capacity."""
    days = np.arange(np.datetime64(first, "D"), np.datetime64(last, "D") + 1)
    level = np.ones((1, len(days)))
    unknown = np.full_like(level, np.nan)
    return DailySoil(days, RELEASE.reference_c * level, level, 0.0 * level, unknown, "sine", None, ())


def timed(rule: CreditRule, in_time: InTime | None) -> CreditRule:
    """The credit rule of a block, of which only what comes in time counts."""
    if in_time is None:
        return rule
    return replace(
        rule,
        useful=in_time.useful,
        release_error=float(np.hypot(rule.release_error, in_time.useful_error)),
        sources=tuple(dict.fromkeys((*rule.sources, *in_time.sources))),
    )
