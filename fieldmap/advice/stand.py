"""What to know about the stand: dates, growth, thin ground, climate."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from fieldmap import agronomy
from fieldmap.advice.refusals import DATES, GROWTH_DAYS, SHARE, season_of_blocks
from fieldmap.budget import soil_index
from fieldmap.credit import WARM_FROM_C, surface_share
from fieldmap.geostatistics import LEAST_SAMPLES
from fieldmap.units import length_text, rate_text, temperature_text

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fieldmap.advice.refusals import BlockSeason
    from fieldmap.credit import CreditRule
    from fieldmap.field import Field
    from fieldmap.geostatistics import SurfaceFit
    from fieldmap.plan import Plan, ThinGround
    from fieldmap.season import Course
    from fieldmap.stand import Growth, Samples, Sampling, Stand
    from fieldmap.units import UnitSystem
    from fieldmap.zones import ThinZone


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


def thin_ground_text(thin: ThinZone | None, told: ThinGround, units: UnitSystem) -> str:
    """What was chosen for the highest-rate zone, and why; empty where there is nothing to choose."""
    if thin is None:
        return ""
    asked, flat = (rate_text(each, units) for each in (thin.rate_n_kg_ha, thin.flat_rate_n_kg_ha))
    why = "its cause is unknown" if told.cause == "unknown" else f"its cause is given as {told.cause}"
    if thin.block:
        return (
            f"In block {thin.block} the thinnest stand gets {asked} of nitrogen, where one rate would give {flat}, "
            f"and {why}: look, dig and test there before spreading more."
            + (" It is not held back: the rest of its zone would go short." if told.cap else "")
        )
    if thin.capped:
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


TARP_DAYS, EARLY_DAYS, SEEDLING_DAYS = (DATES[name] for name in ("tarp_d", "early_d", "seedling_d"))
UPTAKE_FAR = agronomy.limits_of("crop")["uptake_far"]
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
    if one.cover.ended_by != "frost":
        return ""
    return (
        "A stand that frost has killed loses nitrogen before spring: without a soil nitrate test the credit is "
        "likely too high."
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
    _ended_early,
    _guide_rate_counts_the_soil,
    _by_soil_index,
    _uptake_is_far_from_the_tables,
    _tilled_in_before_seedlings,
    _planted_before_the_end,
)


def climate_warnings(
    rules: Sequence[CreditRule], courses: Sequence[Course | None], field: Field, units: UnitSystem
) -> tuple[str, ...]:
    """Which climate the default share on the surface was taken for, and why."""
    if not any(rule.climate for rule in rules):
        return ()
    border = temperature_text(WARM_FROM_C, units)
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


def share_warnings(plan: Plan, stand: Stand) -> tuple[str, ...]:
    """Where a fixed share of the stand's nitrogen is likely more than comes of it."""
    if plan.credit.method != "share":
        return ()
    found = []
    for number, block in enumerate(stand.field.blocks):
        pct = stand.mean_nitrogen_pct(number)
        if pct < SHARE["doubtful_below_pct"]:
            found.append(
                f"Block {block.name}: residue of {pct:.1f} %N gives little nitrogen at first and may tie some up, "
                "and a "
                'fixed share of it is credited all the same: method = "quality" follows its %N.'
            )
    return tuple(found)


def no_pattern_text(fit: SurfaceFit, unit: str, *, per_unit: float = 1.0) -> str:
    """Say why the surface is the field mean; empty when it is not.

    Parameters
    ----------
    fit
        From `fit_surface`.
    unit
        Unit to show, such as ``"kg/ha"``.
    per_unit
        What one of the fit's own units is in `unit`.
    """
    if fit.method != "field mean":
        return ""
    mean, se, loo, mean_only = (
        _figure(value * per_unit) for value in (fit.mean, fit.mean_se, fit.loo_rmse, fit.mean_only_rmse)
    )
    average = "field average" if len(fit.drift.strata) == 1 else "average of each block or species, overall"
    more = "another covariate" if len(fit.drift.covariate_mean) else "a covariate"
    if fit.n < LEAST_SAMPLES:
        reason = f"With {fit.n} samples, fewer than {LEAST_SAMPLES}, only a mean is given."
    else:
        reason = (
            f"These {fit.n} samples do not show a spatial pattern that improves on the field average "
            f"(leave-one-out error {loo} vs {mean_only} {unit})."
        )
    return (
        f"{reason} The map is the {average} {mean} ± {se} {unit}. This does not show that the field is uniform: "
        f"with {fit.n} samples a real pattern would often go undetected. More samples or {more} would help."
    )


def _figure(value: float) -> str:
    """Three figures, but never fewer than all before the decimal point."""
    decimals = 0 if value == 0 else max(0, 2 - math.floor(math.log10(abs(value))))
    return f"{value:.{decimals}f}"
