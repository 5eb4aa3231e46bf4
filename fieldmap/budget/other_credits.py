"""Nitrogen from elsewhere: soil, water, organic matter, manure, earlier legumes; each once, and none twice.

Which kinds there are, and what holds for each, stands in `fieldmap.plan`; here is how those that are measured come to
nitrogen.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from fieldmap import agronomy
from fieldmap.errors import InputError, Problem
from fieldmap.field import latitude
from fieldmap.season import water_use_mm
from fieldmap.units import KG_HA_PER_LB_AC

if TYPE_CHECKING:
    from collections.abc import Callable

    import pandas as pd

    from fieldmap.field import Field
    from fieldmap.plan import CoverCrop, Crop, OtherCredit, Plan


def credits_of(plan: Plan, block: str, field: Field, daily: pd.DataFrame | None) -> tuple[Credit, ...]:
    """The other credits of a block, irrigation water up to what the weather lets the crop use.

    Parameters
    ----------
    plan, block
        The plan and the block's name.
    field
        For its latitude.
    daily
        Weather by day, None without a file: water is then credited whole, and a note says so.

    Returns
    -------
    tuple of Credit
        kg N/ha each, as `other_credits`.

    Raises
    ------
    InputError
        As `other_credits`.
    """
    crop = plan.crop_of(block)
    use_mm = water_use_mm(daily, crop.planted, crop.harvested, latitude(field))
    return other_credits(plan, block, water_use_mm=use_mm)


_LIMITS = agronomy.values_of("other_credits")
NITRATE_TO_N, BULK_DENSITY_KG_M3 = _LIMITS["nitrate_to_n"], _LIMITS["bulk_density_kg_m3"]
ORGANIC_MATTER_KG_HA_PCT = _LIMITS["organic_matter_lb_ac_pct"] * KG_HA_PER_LB_AC
COMPOST_SHARE, ONE_SEASON_D = _LIMITS["compost_share"], _LIMITS["one_season_d"]
RAW_DAYS, RAW_DAYS_OFF_SOIL = _LIMITS["raw_manure_d"], _LIMITS["raw_manure_off_soil_d"]


class Doubt(StrEnum):
    """What a person should know of a credit; `fieldmap.advice` words it."""

    WATER_USE_NOT_KNOWN = "water use not known"
    WATER_BEYOND_USE = "water beyond the crop's use"
    STANDS_IN_COVER = "stands in the cover crop"
    TESTED_UNDER_COVER = "tested under the cover crop"


@dataclass(frozen=True)
class Note:
    """One doubt of a credit, with the day it is about or the water credited, mm; None where it has neither."""

    doubt: Doubt
    on: dt.date | None = None
    water_mm: float | None = None


@dataclass(frozen=True)
class Credit:
    """One credit of a block, kg N/ha, with the keys of its sources and what a person should know."""

    name: str
    kg_ha: float
    sources: tuple[str, ...]
    notes: tuple[Note, ...] = ()


@dataclass(frozen=True)
class Setting:
    """What a credit is reckoned with, besides what it says: `water_use_mm` is None where it is not known."""

    cover: CoverCrop
    water_use_mm: float | None


def other_credits(plan: Plan, block: str, *, water_use_mm: float | None) -> tuple[Credit, ...]:
    """Every other credit of a block; what `need_allows_for` names is left out.

    Parameters
    ----------
    plan, block
        The plan and the block's name.
    water_use_mm
        What the crop uses in its season, mm, from the weather; None where it is not known.

    Returns
    -------
    tuple of Credit
        kg N/ha each, in the order of the plan.

    Raises
    ------
    InputError
        For raw manure too near harvest, and for this cover crop credited as a previous legume.

    References
    ----------
    Of each kind its own (soil_nitrate, uc_anr, grubinger, hartz_compost); raw manure: 7 CFR 205.203 (cfr205).
    """
    crop, cover = plan.crop_of(block), plan.cover_crop_of(block)
    own = [one for one in plan.other_credits if one.block in (None, block)]
    _refuse_wrong(own, crop, cover)
    setting = Setting(cover, water_use_mm)
    return tuple(_credit(one, setting) for one in own if one.kind.counted_as not in crop.need_allows_for)


def soil_nitrate_kg_ha(nitrate_n_ppm: float, depth_m: float, bulk_density_kg_m3: float) -> float:
    """Nitrate-N in a layer of soil: ppm × bulk density (g/cm³) × depth (cm) × 0.1.

    Not for a laboratory's figure in ppm nitrate: that is × 0.226 first. Not after heavy rain: it may have left.

    Parameters
    ----------
    nitrate_n_ppm
        Nitrate-N, mg/kg of dry soil.
    depth_m
        Depth of the layer sampled, metres.
    bulk_density_kg_m3
        Dry soil, kg/m³.

    Returns
    -------
    float
        kg N/ha.

    References
    ----------
    Geisseler & Horwath, California guidelines, CDFA (soil_nitrate): 10 ppm in the top foot are about 35 lb N/ac.

    Examples
    --------
    10 ppm in a foot of soil at 1.3 g/cm³: 10 × 1.3 × 30.48 × 0.1 = 39.62 kg/ha, the published 35 lb/ac.

    >>> found = soil_nitrate_kg_ha(10.0, 0.3048, 1300.0)
    >>> round(found, 2), round(found / KG_HA_PER_LB_AC)
    (39.62, 35)
    """
    return nitrate_n_ppm * bulk_density_kg_m3 / 1000.0 * depth_m * 100.0 * 0.1


def water_nitrogen_kg_ha(nitrate_n_ppm: float, water_mm: float) -> float:
    """Nitrogen in irrigation water: ppm nitrate-N × mm × 0.01.

    Not for more water than the crop uses: what drains takes its nitrogen along.

    Parameters
    ----------
    nitrate_n_ppm
        Nitrate-N, mg/l; a figure in ppm nitrate is × 0.226 first.
    water_mm
        Depth of water, mm.

    Returns
    -------
    float
        kg N/ha.

    References
    ----------
    UC ANR (uc_anr): 0.227 lb/ac for each ppm nitrate-N and acre-inch.

    Examples
    --------
    20 ppm in 24 inches (609.6 mm): 121.9 kg/ha, the published 109 lb/ac.

    >>> found = water_nitrogen_kg_ha(20.0, 24 * 25.4)
    >>> round(found, 1), round(found / KG_HA_PER_LB_AC)
    (121.9, 109)
    """
    return nitrate_n_ppm * water_mm * 0.01


def _credit(one: OtherCredit, setting: Setting) -> Credit:
    if one.nitrogen_kg_ha is not None:
        return Credit(one.source, one.nitrogen_kg_ha, ("your_value",))
    if one.source not in RECKONED:
        known = ", ".join(map(repr, RECKONED))
        raise ValueError(f"credit {one.source!r} has no function that reckons it; there are those of {known}")
    return RECKONED[one.source](one, setting)


def measured_nitrate_kg_ha(one: OtherCredit) -> float | None:
    """Nitrate-N of the layer of soil that a credit's test sampled; None where the plan has none."""
    if one.depth_m is None or (one.nitrate_n_ppm is None and one.nitrate_ppm is None):
        return None
    return soil_nitrate_kg_ha(_nitrate_n(one), one.depth_m, one.bulk_density_kg_m3 or BULK_DENSITY_KG_M3)


def _from_soil_nitrate(one: OtherCredit, setting: Setting) -> Credit:
    kg_ha = measured_nitrate_kg_ha(one) or 0.0
    return Credit(one.source, kg_ha, ("your_value", "soil_nitrate"), _test_notes(one, setting.cover))


def _from_organic_matter(one: OtherCredit, _: Setting) -> Credit:
    kg_ha = ORGANIC_MATTER_KG_HA_PCT * (one.organic_matter_pct or 0.0)
    return Credit(one.source, kg_ha, ("your_value", "grubinger"))


def _nitrate_n(one: OtherCredit) -> float:
    return one.nitrate_n_ppm if one.nitrate_n_ppm is not None else NITRATE_TO_N * (one.nitrate_ppm or 0.0)


def _from_water(one: OtherCredit, setting: Setting) -> Credit:
    """Only water that the crop uses brings it nitrogen; the rest drains with it."""
    water_mm, use_mm = one.water_mm or 0.0, setting.water_use_mm
    used_mm = water_mm if use_mm is None else min(water_mm, use_mm)
    notes: tuple[Note, ...] = ()
    if use_mm is None:
        notes = (Note(Doubt.WATER_USE_NOT_KNOWN),)
    elif used_mm < water_mm:
        notes = (Note(Doubt.WATER_BEYOND_USE, water_mm=used_mm),)
    kg_ha = water_nitrogen_kg_ha(_nitrate_n(one), used_mm)
    return Credit(one.source, kg_ha, ("your_value", "uc_anr"), notes)


def _from_manure(one: OtherCredit, setting: Setting) -> Credit:
    """Compost or manure by its first-year share; spread before the cover crop, it already stands in it."""
    cover = setting.cover
    share = one.share or COMPOST_SHARE
    sources = ("your_value",) if one.share else ("your_value", "hartz_compost")
    before = one.applied is not None and one.applied < (cover.sown or cover.terminated)
    if before and not one.confirmed:
        return Credit(one.source, 0.0, sources, (Note(Doubt.STANDS_IN_COVER, on=one.applied),))
    return Credit(one.source, (one.total_n_kg_ha or 0.0) * share, sources)


# How a kind that is measured comes to nitrogen: one function for each kind of the plan that `is_reckoned`.
RECKONED: dict[str, Callable[[OtherCredit, Setting], Credit]] = {
    "irrigation water": _from_water,
    "soil nitrate": _from_soil_nitrate,
    "soil organic matter": _from_organic_matter,
    "compost": _from_manure,
    "manure": _from_manure,
}


def _test_notes(one: OtherCredit, cover: CoverCrop) -> tuple[Note, ...]:
    if one.sampled is None or not (cover.sown or one.sampled) <= one.sampled < cover.terminated:
        return ()
    return (Note(Doubt.TESTED_UNDER_COVER, on=one.sampled),)


def _is_this_stand(crop: str, ended: dt.date, cover: CoverCrop) -> bool:
    """Whether a previous legume is the cover crop itself: its species, in the ground since the cover was sown."""
    entry = agronomy.find(crop, agronomy.cover_crops())
    since = cover.sown or cover.terminated - dt.timedelta(days=ONE_SEASON_D)
    name = crop.strip().lower()  # "vetch" alone may be any of several, and so this one
    same = (
        entry.name in cover.species if entry else any(name in each.lower().split() for each in cover.species)
    )
    return same and ended > since


def _refuse_wrong(own: list[OtherCredit], crop: Crop, cover: CoverCrop) -> None:
    problems = []
    for one in own:
        if one.raw and one.applied is not None:
            needed = RAW_DAYS if one.touches_soil else RAW_DAYS_OFF_SOIL
            days = (crop.harvested - one.applied).days
            if days < needed:
                problems.append(
                    Problem(
                        "plan.toml",
                        f"raw manure applied {one.applied} is {days} days before the harvest of {crop.harvested}",
                        f"at least {needed} days are expected (7 CFR 205.203; 120 where the edible part touches the "
                        "soil, 90 elsewhere)",
                        "Spread composted manure, or grow another crop there",
                        section="other_credits",
                        several=True,
                        part=one.source,
                    )
                )
        if one.crop and one.ended and _is_this_stand(one.crop, one.ended, cover):
            problems.append(
                Problem(
                    "plan.toml",
                    f"{one.crop}, ended {one.ended}, is this cover crop",
                    "the cover crop's credit is worked out from its samples",
                    "Remove this credit",
                    section="other_credits",
                    several=True,
                    part=one.source,
                )
            )
    if problems:
        raise InputError(*problems)
