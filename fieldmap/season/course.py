"""How a block's credit comes: its release through the weather, and what of it comes in time for the crop."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from fieldmap.credit import CLIMATE_DAYS, SHARE_INCORPORATED, credit_rule, tilled_share
from fieldmap.field import latitude
from fieldmap.season.release import (
    RELEASE,
    Residue,
    SeasonSplit,
    as_of_a_cool_season,
    daily_release,
    split_season,
)
from fieldmap.season.soil import AnnualSine, DailySoil, season_soil
from fieldmap.season.uptake import last_useful_day

if TYPE_CHECKING:
    import datetime as dt

    import pandas as pd

    from fieldmap.credit import CreditRule
    from fieldmap.field import Field
    from fieldmap.plan import CoverCrop, Plan
    from fieldmap.season.release import DailyRelease
    from fieldmap.stand import Surface


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
        """Relative standard deviation of that share between the scenarios."""
        return float(self.split.useful.std() / self.useful) if self.useful > 0 else 0.0


@dataclass(frozen=True)
class Course:
    """How a block's credit comes: its daily release, and what of it comes in time.

    `tested` is the day of a soil nitrate test after the cover crop ended, None without one.
    """

    soil: DailySoil
    release: DailyRelease
    in_time: InTime
    tested: dt.date | None

    @property
    def soil_c(self) -> float:
        """Mean soil temperature of the ten weeks from termination, °C."""
        return float(self.soil.temperature_c[:, :CLIMATE_DAYS].mean())


def follow_blocks(
    plan: Plan, field: Field, daily: pd.DataFrame | None, biomass: Surface, nitrogen_pct: Surface
) -> dict[str, Course]:
    """The course of every block's credit through the plan's weather, by block; empty without weather."""
    latitude_deg = latitude(field)
    courses = {}
    for number, block in enumerate(field.blocks):
        mean_pct = _mean_nitrogen_pct(number, field, biomass, nitrogen_pct)
        course = follow_release(plan, block.name, mean_pct, daily, latitude_deg=latitude_deg)
        if course is not None:
            courses[block.name] = course
    return courses


def follow_release(
    plan: Plan, block: str, nitrogen_pct: float, daily: pd.DataFrame | None, *, latitude_deg: float
) -> Course | None:
    """Follow a block's residue through the plan's weather; None where the plan gives none.

    Raises
    ------
    InputError
        Where the weather record starts after the cover crop ended, or ends too early.
    """
    weather, cover, crop = plan.weather, plan.cover_crop_of(block), plan.crop_of(block)
    if weather is None:
        return None
    sine = None
    if weather.mean_c is not None and weather.amplitude_c is not None and weather.coldest is not None:
        sine = AnnualSine(weather.mean_c, weather.amplitude_c, weather.coldest)
    soil = season_soil(
        cover.terminated,
        crop.harvested,
        daily=daily,
        sine=sine,
        latitude_deg=latitude_deg,
        irrigated=weather.irrigated,
        tarped_d=cover.tarped_d,
        file=weather.file or "[weather]",
    )
    release = daily_release(soil, residue_of(cover, nitrogen_pct))
    course = _course(plan, block, soil, release)
    rule = credit_rule(plan, block, soil_c=course.soil_c)
    if rule.climate != "cool":
        return course
    tilled = tilled_share(cover) * SHARE_INCORPORATED * plan.credit.correction / rule.factor
    return _course(plan, block, soil, as_of_a_cool_season(release, tilled))


def _course(plan: Plan, block: str, soil: DailySoil, release: DailyRelease) -> Course:
    crop, tested = plan.crop_of(block), tested_after(plan, block)
    last_useful = last_useful_day(crop.planted, crop.harvested, crop.entry)
    split = split_season(release, planted=crop.planted, last_useful=last_useful, tested=tested)
    curve = (crop.entry.source_of[name] for name in ("half_uptake_share", "uptake_steepness"))
    keys = tuple(dict.fromkeys((*release.sources, *curve)))
    return Course(soil, release, InTime(split, keys), tested)


def residue_of(cover: CoverCrop, nitrogen_pct: float) -> Residue:
    """What lies in or on the ground after this cover crop."""
    return Residue(nitrogen_pct, cover.placement, cover.tilled_share, cover.residue == "chopped")


def tested_after(plan: Plan, block: str) -> dt.date | None:
    """The day of the last soil nitrate test of a block after its cover crop ended; None without one."""
    ended = plan.cover_crop_of(block).terminated
    days = (
        one.sampled
        for one in plan.other_credits
        if one.kind.is_soil_test and one.sampled and one.block in (None, block)
    )
    return max((day for day in days if day >= ended), default=None)


def credits_in_time(
    plan: Plan, field: Field, courses: dict[str, Course], biomass: Surface, nitrogen_pct: Surface
) -> dict[str, InTime]:
    """What of every block's credit comes in time, by block.

    Without weather the whole does, but for what a soil nitrate test has measured already: release up to the test is
    then taken at the reference temperature.
    """
    if courses:
        return {block: course.in_time for block, course in courses.items()}
    found = {}
    for number, block in enumerate(field.blocks):
        tested, cover = tested_after(plan, block.name), plan.cover_crop_of(block.name)
        if tested is not None:
            pct = _mean_nitrogen_pct(number, field, biomass, nitrogen_pct)
            soil = at_reference(cover.terminated, tested)
            release = daily_release(soil, residue_of(cover, pct))
            share = release.counted[:, -1]
            nothing = np.zeros_like(share)
            split = SeasonSplit(nothing, nothing, 1.0 - share, nothing, share)
            found[block.name] = InTime(split, release.sources)
    return found


def at_reference(first: dt.date, last: dt.date) -> DailySoil:
    """A soil at the reference temperature and at field capacity."""
    days = np.arange(np.datetime64(first, "D"), np.datetime64(last, "D") + 1)
    level = np.ones((1, len(days)))
    return DailySoil(days, RELEASE.reference_c * level, level, 0.0 * level, "sine", None, ())


def _mean_nitrogen_pct(number: int, field: Field, biomass: Surface, nitrogen_pct: Surface) -> float:
    """%N of a block's residue, mixed by dry weight."""
    cells = field.block_index == number
    return float(np.average(nitrogen_pct.mean[cells], weights=np.maximum(biomass.mean[cells], 1.0)))


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
