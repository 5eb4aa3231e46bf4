"""What to know about the stand: dates, growth, thin ground, climate."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fieldmap import agronomy
from fieldmap.advice.refusals import DATES, season_of_blocks
from fieldmap.budget import soil_index
from fieldmap.credit import CREDIT, Wetting, surface_factor, surface_share
from fieldmap.units import length_text, rate_text, temperature_text

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fieldmap.advice.refusals import BlockSeason
    from fieldmap.credit import CreditRule
    from fieldmap.field import Field
    from fieldmap.plan import Plan, ThinGround
    from fieldmap.season import Course
    from fieldmap.stand import Growth, Samples, Sampling, Stand
    from fieldmap.units import UnitSystem
    from fieldmap.zones import HighestZone


def trend_warnings(
    samplings: tuple[Sampling, ...], growths: tuple[Growth | None, ...], field: Field, units: UnitSystem
) -> tuple[str, ...]:
    """How the stand grew from sampling to sampling, and what the credit makes of it."""
    if not samplings:
        return ()
    before, last = samplings[-2:]
    told = "; ".join(
        f"{one.sampled}: {rate_text(one.biomass_kg_ha, units)} dry"
        f"{_with_nitrogen(one, units)} ({one.samples} samples)"
        for one in samplings
    )
    change = last.biomass_kg_ha - before.biomass_kg_ha
    days = (last.sampled - before.sampled).days
    pace = f"{'gained' if change >= 0 else 'lost'} {rate_text(abs(change), units)} in the last {days} days"
    found = [f"The stand over the spring, mean of each sampling: {told}. It {pace}; the map shows the last."]
    for block, growth in zip(field.blocks, growths, strict=True):
        if growth is None or growth.days <= 0:
            continue
        grew = f"{(growth.biomass - 1) * 100:+.0f} % of dry weight"
        thinned = f"{(growth.nitrogen_pct - 1) * 100:+.0f} % of its %N"
        if before.total_n_kg_ha is None:
            thinned += " (the sampling before has none, so that the credit is likely too high)"
        found.append(
            f"Block {block.name}: the credit is of the stand {growth.days} days after the last sampling, at the pace "
            f"of the last two samplings {grew} and {thinned}."
        )
    return tuple(found)


def _with_nitrogen(one: Sampling, units: UnitSystem) -> str:
    return "" if one.total_n_kg_ha is None else f" with {rate_text(one.total_n_kg_ha, units)} of nitrogen"


def highest_zone_text(highest: HighestZone | None, told: ThinGround, units: UnitSystem) -> str:
    """What the zone with the highest rate is, and what was chosen for it; empty where there is nothing to choose."""
    if highest is None:
        return ""
    asked, flat = (rate_text(each, units) for each in (highest.rate_n_kg_ha, highest.flat_rate_n_kg_ha))
    if not highest.thin:
        return _heavy_but_poor(highest, told, asked, flat)
    why = "its cause is unknown" if told.cause == "unknown" else f"its cause is given as {told.cause}"
    if highest.block:
        return (
            f"In block {highest.block} the thinnest stand gets {asked} of nitrogen, where one rate would give "
            f"{flat}, and {why}: look, dig and test there before spreading more."
            + (" It is not held back: the rest of its zone would go short." if told.cap else "")
        )
    if highest.capped:
        return (
            f"The thinnest stand is held at the flat rate, {flat} of nitrogen instead of {asked}: {why}, and may "
            "hold the vegetable back too."
        )
    if not told.may_limit_the_crop:
        return (
            f"The thinnest stand gets {asked} of nitrogen: {why}, which should not hold the vegetable back."
        )
    return (
        f"The thinnest stand gets {asked} of nitrogen, and {why}: look, dig and test there, or hold it at the flat "
        f"rate, {flat}, with [thin_ground] cap = true."
    )


def _heavy_but_poor(highest: HighestZone, told: ThinGround, asked: str, flat: str) -> str:
    """Most nitrogen goes where the stand is not thin: its residue is poor."""
    where = f"In block {highest.block} the highest rate" if highest.block else "The highest rate"
    return (
        f"{where}, {asked} of nitrogen where one rate would give {flat}, is not for a thin stand: what stands there "
        "is as heavy as elsewhere and poorer in nitrogen, so it gives less or ties nitrogen up."
        + (" It is not held back: [thin_ground] cap is for thin ground." if told.cap else "")
    )


TARP_DAYS, EARLY_DAYS, SEEDLING_DAYS = (DATES[name] for name in ("tarp_d", "early_d", "seedling_d"))
GROWTH_DAYS = DATES["growth_d"]
UPTAKE_FAR = agronomy.values_of("crop")["uptake_far"]
RESEED_DAYS = 56  # common practice, no source
_RESEED = (
    "with eight weeks and more to planting reseed something quick (buckwheat, oats with peas, cowpea in soil above "
    "18 °C); else "
)
PATCHY_CV, PATCHY_SAMPLES = (
    0.5,
    5,
)  # from memory: more than 50 % in poor stands; fewer samples say nothing of it
ROLLED_TOO_YOUNG = ("vegetative", "bud", "early bloom", "tillering", "jointing", "boot")  # common practice


def date_warnings(plan: Plan, field: Field, samples: Samples) -> tuple[str, ...]:
    """What a person should think of, each once."""
    found = [rule(one) for one in season_of_blocks(plan, field, samples) for rule in _RULES]
    return tuple(text for text in dict.fromkeys(found) if text)


def _grew_after_sampling(one: BlockSeason) -> str:
    if not one.sampled or one.plan.samples.growth is not None:
        return ""
    days = (one.cover.terminated - one.sampled).days
    if days <= GROWTH_DAYS:
        return ""
    return (
        f"The samples were clipped {days} days before the cover crop ended. A stand "
        "can gain a lot in that time (39 to 61 % of dry matter in about two weeks, Wagger 1989): sample again, "
        "or take the credit as a lower bound."
    )


def _rolled_too_young(one: BlockSeason) -> str:
    too_young = set(one.cover.stage or ()) & set(ROLLED_TOO_YOUNG)
    if one.cover.ended_by != "rolled" or not too_young:
        return ""
    return (
        f"A stand rolled at {' and '.join(sorted(too_young))} grows again: rollers kill legumes from full bloom "
        "and cereals from anthesis on (common practice, no source). What grows again holds on to its nitrogen."
    )


def _tarped_too_briefly(one: BlockSeason) -> str:
    if one.cover.ended_by != "tarped" or one.cover.tarped_d >= TARP_DAYS:
        return ""
    return (
        f"{one.cover.tarped_d:.0f} days under a tarp may not kill the stand: three weeks are needed (published "
        "trials). What grows again holds on to its nitrogen."
    )


def _killed_by_frost(one: BlockSeason) -> str:
    if one.cover.ended_by != "frost" or _own_share(one):
        return ""
    return (
        "A stand that frost has killed keeps little of its nitrogen until spring: a quarter of the credit is taken "
        "after a legume, nothing after others (DüV, annex 4: 10 against 40 kg/ha, 0 against 20). A soil nitrate test "
        "before planting shows what is there."
    )


def _own_share(one: BlockSeason) -> bool:
    return one.plan.credit.method == "share" and one.plan.credit.share is not None


def _taken_off(one: BlockSeason) -> str:
    if one.cover.ended_by != "removed" or _own_share(one):
        return ""
    return (
        "The stand was taken off, and stubble and roots are credited with a quarter of what it would have given "
        "(DüV, annex 4: 10 against 40 kg/ha). It carries phosphate and potash away as well: test the soil for them."
    )


def _alleys_count(one: BlockSeason) -> str:
    crop = one.crop
    if crop.on_bed_share is not None or (crop.plastic_laid is None and crop.need_per != "bed"):
        return ""
    beds = ""
    if crop.bed_width_m is not None and crop.bed_spacing_m is not None:
        share = crop.bed_width_m / crop.bed_spacing_m
        beds = (
            f" Beds are {share * 100:.0f} % of the ground: with nothing thrown on them that is {share:.2f}."
        )
    return (
        f"{crop.name} grows on beds, and the residue of the whole ground is credited to it. What lies in the alleys "
        "serves it little (common practice, no source): give [crop] on_bed_share, the share of the residue that lies "
        f"or is thrown on the beds.{beds}"
    )


def _ended_early(one: BlockSeason) -> str:
    days = _days_to_planting(one)
    if one.plan.weather is not None or days <= EARLY_DAYS:
        return ""
    return (
        f"{one.crop.name} is planted {days} days after the cover crop ended: most of its nitrogen is released within "
        "four to six weeks (PNW 636), and what the crop cannot take yet may be lost. Without weather the whole "
        "is credited, likely too much: give [weather], or a soil nitrate test."
    )


def _guide_rate_counts_the_soil(one: BlockSeason) -> str:
    soil_credits = [
        other.source
        for other in one.plan.other_credits
        if other.block in (None, one.block) and other.kind.counted_as not in ("", *one.crop.need_allows_for)
    ]
    if one.crop.need_is != "guide rate" or not soil_credits:
        return ""
    return (
        f"The need of {one.crop.name} is a guide rate, which usually contains what an average soil supplies, and "
        f"{' and '.join(dict.fromkeys(soil_credits))} is credited beside it: look whether the guide counts that "
        "already, and name it in need_allows_for if it does."
    )


def _uptake_is_far_from_the_tables(one: BlockSeason) -> str:
    """A need given as crop uptake beside what the table has at the yield."""
    crop = one.crop
    known = crop.entry.uptake_kg_ha(crop.yield_t_ha) if crop.need_is == "crop uptake" else None
    if known is None or abs(crop.need_field_kg_ha / known - 1.0) <= UPTAKE_FAR:
        return ""
    given, of_table = (rate_text(each, one.plan.units) for each in (crop.need_field_kg_ha, known))
    return (
        f"The uptake of {crop.name} in {one.block} is given as {given}; at {crop.yield_t_ha:g} t/ha the table has "
        f"{of_table}: check the figure, or give the yield you expect."
    )


def _by_soil_index(one: BlockSeason) -> str:
    """A second opinion on need and soil nitrate together, where a soil was sampled before planting."""
    units = one.plan.units
    for other in one.plan.other_credits:
        found = soil_index.rate_by_index(one.crop, other) if other.block in (None, one.block) else None
        if found is not None and other.kind.is_soil_test and one.crop.need_is == "guide rate":
            depth = length_text(found.depth_m, units)
            return (
                f"The soil test of {one.block} comes to {rate_text(found.mineral_n_kg_ha, units)} of nitrogen in "
                f"{depth}, index {found.index}, for which RB209 gives {one.crop.name} "
                f"{rate_text(found.rate_n_kg_ha, units)} in all (published), cover crop and manure not counted: "
                "compare it with your need."
            )
    return ""


def _tilled_in_before_seedlings(one: BlockSeason) -> str:
    days = _days_to_planting(one)
    if one.cover.placement != "incorporated" or not 0 <= days < SEEDLING_DAYS:
        return ""
    return (
        f"{one.crop.name} is planted {days} days after the cover crop was tilled in: within two weeks decay can "
        "damage seedlings (common practice, no source)."
    )


def _planted_before_the_end(one: BlockSeason) -> str:
    if _days_to_planting(one) >= 0:
        return ""
    return f"{one.crop.name} is planted before the cover crop ends: check the dates."


def _days_to_planting(one: BlockSeason) -> int:
    return (one.crop.planted - one.cover.terminated).days


_RULES = (
    _grew_after_sampling,
    _rolled_too_young,
    _tarped_too_briefly,
    _killed_by_frost,
    _taken_off,
    _alleys_count,
    _ended_early,
    _guide_rate_counts_the_soil,
    _by_soil_index,
    _uptake_is_far_from_the_tables,
    _tilled_in_before_seedlings,
    _planted_before_the_end,
)


def stand_warnings(rules: Sequence[CreditRule], stand: Stand, plan: Plan) -> tuple[str, ...]:
    """Blocks whose stand has failed or is patchy, and what to do there."""
    found = []
    for number, (block, rule) in enumerate(zip(stand.field.blocks, rules, strict=True)):
        if rule.failed:
            days = (plan.crop_of(block.name).planted - plan.cover_crop_of(block.name).terminated).days
            found.append(_failed_text(number, block.name, stand, plan, reseed=days >= RESEED_DAYS))
            continue
        dry_kg_ha = stand.samples.dry_kg_ha[stand.samples.block == number]
        if dry_kg_ha.size >= PATCHY_SAMPLES and dry_kg_ha.std(ddof=1) > PATCHY_CV * dry_kg_ha.mean():
            found.append(
                f"Block {block.name}: the stand is patchy, its samples vary by "
                f"{dry_kg_ha.std(ddof=1) / dry_kg_ha.mean() * 100:.0f} % (above 50 % a stand is poor, from memory): "
                "clip thin and thick parts apart, as blocks of their own, or give the thin part one full rate."
            )
    return tuple(found)


def _failed_text(number: int, name: str, stand: Stand, plan: Plan, *, reseed: bool) -> str:
    cells = stand.field.block_index == number
    biomass_kg_ha, nitrogen_pct = stand.biomass.mean[cells], stand.nitrogen_pct.mean[cells]
    mass, total = (
        rate_text(float(each.mean()), plan.units)
        for each in (biomass_kg_ha, biomass_kg_ha * nitrogen_pct / 100.0)
    )
    return (
        f"Block {name}: the stand has failed, {mass} of dry matter with {total} of nitrogen. Nothing is credited, "
        f"and no map is worth paying for: {_RESEED if reseed else ''}spread a starter, test the soil nitrate, and "
        "give the full rate (common practice, no source)."
    )


def climate_warnings(
    rules: Sequence[CreditRule], courses: Sequence[Course | None], field: Field, units: UnitSystem
) -> tuple[str, ...]:
    """Which climate the default share on the surface was taken for, and why."""
    if not any(rule.climate for rule in rules):
        return ()
    border = temperature_text(CREDIT.warm_from_c, units)
    if not any(courses):
        unknown = (
            "The share on the surface is that of a warm climate (0.40 of total nitrogen), because the plan has no "
            f"weather; in a cool one, soil below {border} over the ten weeks from termination, it would be 0.25."
        )
        return (unknown,)
    found = []
    for block, rule, course in zip(field.blocks, rules, courses, strict=True):
        if rule.climate and course is not None:
            share = surface_share(course.soil_c)[0]
            found.append(
                f"Block {block.name}: the soil averages {temperature_text(course.soil_c, units)} over the ten weeks "
                f"from termination, so the share on the surface is that of a {rule.climate} climate, {share:.2f} of "
                f"total nitrogen (border {border}, from memory)."
            )
    return tuple(found)


_SURFACE_IS: dict[Wetting, str] = {
    "wet": "its surface is kept wet",
    "dry": "its surface stays dry",
    "unknown": "its surface is neither wet nor dry, or that is not known: weather with rain, or irrigated_by, would "
    "tell",
}


def placement_warnings(
    rules: Sequence[CreditRule], courses: Sequence[Course | None], field: Field
) -> tuple[str, ...]:
    """What residue on the surface counts against residue tilled in, and by what that was chosen."""
    blocks: dict[Wetting, list[str]] = {}
    for block, rule, course in zip(field.blocks, rules, courses, strict=True):
        if rule.method == "quality" and rule.of_tilled < 1.0 and not rule.failed:
            blocks.setdefault(course.wetting if course else "unknown", []).append(block.name)
    return tuple(
        f"Block {' and '.join(names)}: residue on the surface counts {surface_factor(wetting)[0]:.2f} ± "
        f"{surface_factor(wetting)[1]:.2f} of the same tilled in, for {_SURFACE_IS[wetting]} (published 0.40 to "
        "1.0; the choice by wetness is from memory)."
        for wetting, names in blocks.items()
    )
