"""Nitrogen from elsewhere: soil, water, organic matter, manure, earlier legumes; each once, and none twice."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fieldmap import agronomy
from fieldmap.errors import InputError, Problem
from fieldmap.field import latitude
from fieldmap.season import water_use_mm
from fieldmap.units import KG_HA_PER_LB_AC, water_text

if TYPE_CHECKING:
    import pandas as pd

    from fieldmap.field import Field
    from fieldmap.plan import CoverCrop, Crop, OtherCredit, OtherSource, Plan


def credits_of(plan: Plan, block: str, field: Field, daily: pd.DataFrame | None) -> tuple[Credit, ...]:
    """The other credits of a block, irrigation water up to what the weather lets the crop use."""
    crop = plan.crop_of(block)
    use_mm = water_use_mm(daily, crop.planted, crop.harvested, latitude(field))
    return other_credits(plan, block, water_use_mm=use_mm)


NITRATE_TO_N = 0.226  # uc_anr: 1 ppm nitrate is 0.226 ppm nitrate-N
BULK_DENSITY_KG_M3 = 1300.0  # definition of the published 35 lb/ac for 10 ppm in a foot
ORGANIC_MATTER_KG_HA_PCT = 10.0 * KG_HA_PER_LB_AC  # grubinger: 10 lb/ac for each 1 %, conservative
COMPOST_SHARE = 0.075  # hartz_compost: 5 to 10 % of total N in the first year
ONE_SEASON_D = 270  # no winter cover crop stands longer; where its sowing is not told
RAW_DAYS, RAW_DAYS_OFF_SOIL = 120, 90  # 7 CFR 205.203
# What a guide's rate already counts is not credited again.
COUNTED_BY_GUIDE = {
    "organic matter": "soil organic matter",
    "soil nitrate": "soil nitrate",
    "previous legume": "previous legume",
}


@dataclass(frozen=True)
class Credit:
    """One credit of a block, kg N/ha, with the keys of its sources and what a person should know."""

    name: OtherSource
    kg_ha: float
    sources: tuple[str, ...]
    notes: tuple[str, ...] = ()


def other_credits(plan: Plan, block: str, *, water_use_mm: float | None) -> tuple[Credit, ...]:
    """Every other credit of a block; what `need_allows_for` names is left out.

    Parameters
    ----------
    plan, block
        The plan and the block's name.
    water_use_mm
        What the crop uses in its season, from the weather; None where it is not known.

    Raises
    ------
    InputError
        For raw manure too near harvest, and for this cover crop credited as a previous legume.
    """
    crop, cover = plan.crop_of(block), plan.cover_crop_of(block)
    counted = {COUNTED_BY_GUIDE[item] for item in crop.need_allows_for}
    own = [one for one in plan.other_credits if one.block in (None, block)]
    _refuse_wrong(own, crop, cover)
    return tuple(_credit(one, plan, cover, water_use_mm) for one in own if one.source not in counted)


def soil_nitrate_kg_ha(nitrate_n_ppm: float, depth_m: float, bulk_density_kg_m3: float) -> float:
    """Nitrate-N in a layer of soil: ppm × bulk density (g/cm³) × depth (cm) × 0.1."""
    return nitrate_n_ppm * bulk_density_kg_m3 / 1000.0 * depth_m * 100.0 * 0.1


def water_nitrogen_kg_ha(nitrate_n_ppm: float, water_mm: float) -> float:
    """Nitrogen in irrigation water: ppm nitrate-N × mm × 0.01."""
    return nitrate_n_ppm * water_mm * 0.01


def _credit(one: OtherCredit, plan: Plan, cover: CoverCrop, water_use_mm: float | None) -> Credit:
    if one.nitrogen_kg_ha is not None:
        return Credit(one.source, one.nitrogen_kg_ha, ("your_value",))
    nitrate_n_ppm = _nitrate_n(one)
    if one.source == "irrigation water":
        return _from_water(nitrate_n_ppm, one.water_mm or 0.0, water_use_mm, plan)
    if one.source == "soil nitrate":
        density = one.bulk_density_kg_m3 or BULK_DENSITY_KG_M3
        kg_ha = soil_nitrate_kg_ha(nitrate_n_ppm, one.depth_m or 0.0, density)
        return Credit(one.source, kg_ha, ("your_value", "soil_nitrate"), _test_notes(one, cover))
    if one.source == "soil organic matter":
        kg_ha = ORGANIC_MATTER_KG_HA_PCT * (one.organic_matter_pct or 0.0)
        return Credit(one.source, kg_ha, ("your_value", "grubinger"))
    return _from_manure(one, cover)


def _nitrate_n(one: OtherCredit) -> float:
    return one.nitrate_n_ppm if one.nitrate_n_ppm is not None else NITRATE_TO_N * (one.nitrate_ppm or 0.0)


def _from_water(nitrate_n_ppm: float, water_mm: float, use_mm: float | None, plan: Plan) -> Credit:
    """Only water that the crop uses brings it nitrogen; the rest drains with it."""
    used_mm = water_mm if use_mm is None else min(water_mm, use_mm)
    if use_mm is None:
        note = "Irrigation water is credited whole: without weather the crop's use of water is not known."
    elif used_mm < water_mm:
        used = water_text(used_mm, plan.units)
        note = f"Irrigation water is credited up to what the crop uses, {used}."
    else:
        note = ""
    sources = ("your_value", "uc_anr")
    return Credit(
        "irrigation water", water_nitrogen_kg_ha(nitrate_n_ppm, used_mm), sources, (note,) if note else ()
    )


def _from_manure(one: OtherCredit, cover: CoverCrop) -> Credit:
    """Compost or manure by its first-year share; spread before the cover crop, it already stands in it."""
    share = one.share or COMPOST_SHARE
    sources = ("your_value",) if one.share else ("your_value", "hartz_compost")
    before = one.applied is not None and one.applied < (cover.sown or cover.terminated)
    if before and not one.confirmed:
        note = (
            f"The {one.source} of {one.applied} was spread before the cover crop: its nitrogen already stands in it "
            "and is credited zero. Set confirmed = true to credit it all the same."
        )
        return Credit(one.source, 0.0, sources, (note,))
    return Credit(one.source, (one.total_n_kg_ha or 0.0) * share, sources)


def _test_notes(one: OtherCredit, cover: CoverCrop) -> tuple[str, ...]:
    if one.sampled is None or not (cover.sown or one.sampled) <= one.sampled < cover.terminated:
        return ()
    note = (
        f"The soil nitrate test of {one.sampled} was taken while the cover crop stood: it may since have taken that "
        "nitrate up."
    )
    return (note,)


def _is_this_stand(crop: str, ended: dt.date, cover: CoverCrop) -> bool:
    """Whether a previous legume is the cover crop itself: its species, in the ground since the cover was sown."""
    entry = agronomy.find(crop, agronomy.cover_crops())
    since = cover.sown or cover.terminated - dt.timedelta(days=ONE_SEASON_D)
    return entry is not None and entry.name in cover.species and ended > since


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
