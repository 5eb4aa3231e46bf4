"""The straight line: read → field, samples → surface → credit → need → supplemental → zones → verdict."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fieldmap.advice import climate_warnings, date_warnings, refuse_impossible_dates
from fieldmap.cautions import cautions
from fieldmap.course import InTime, credits_in_time, follow_blocks, tested_warnings, timed
from fieldmap.credit import CreditMap, credit_rule, draw_credit, map_credit
from fieldmap.delivery import Delivery, delivery_warnings, drive
from fieldmap.drawing import draw_zones, zone_loss
from fieldmap.errors import InputError, Problem
from fieldmap.field import Field, build_field
from fieldmap.flat import FlatRate, flat_rates
from fieldmap.interpolate import (
    Surface,
    cover_strata,
    map_biomass,
    map_nitrogen,
    prepare_covariates,
    where_next,
)
from fieldmap.limits import Limits, limit_warnings, machine_limits
from fieldmap.need import BlockNeed, LedgerLine, block_need, ledger, missing_kg_ha
from fieldmap.nitrogen import SampleNitrogen, nitrogen_of_samples
from fieldmap.nutrients import Along, nutrient_warnings, nutrients_along
from fieldmap.offer import Offer, offer_other_map, offer_text
from fieldmap.outcomes import ground_drawn
from fieldmap.pan_test import pan_test_warnings
from fieldmap.passes import Load, Pass, passes_over, split_loads
from fieldmap.rates import Part, ZoneMap, area_numbers, rate_zones
from fieldmap.read.inputs import read_covariates, read_inputs
from fieldmap.read.plan import PLAN_FILE, file_digests
from fieldmap.response import response_warnings
from fieldmap.samples import Samples, place_samples
from fieldmap.season import (
    BlockSeason,
    block_seasons,
    credits_of,
    season_warnings,
    tied_up_warnings,
    timing_text,
)
from fieldmap.sidedress import SidedressCall, sidedress_calls
from fieldmap.spreader import throw_m
from fieldmap.stages import SOURCES as STAGE_SOURCES
from fieldmap.stages import StageCourse, stage_courses
from fieldmap.strip_findings import StripFindings, follow_strips, strip_warnings
from fieldmap.strips import place_strips
from fieldmap.thin_ground import thin_ground_text
from fieldmap.trend import Growth, Sampling, follow_samplings, grown, growth_since, trend_warnings
from fieldmap.verdict import Verdict, judge

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from fieldmap.credit import CreditRule
    from fieldmap.plan import Plan
    from fieldmap.width import Width
    from fieldmap.zones import LevelSet


@dataclass(frozen=True)
class Result:
    """Everything a run finds; `fieldmap.export` writes it. Rasters are on the field's grid."""

    plan: Plan
    plan_hash: str
    field: Field
    samples: Samples
    nitrogen: SampleNitrogen
    biomass: Surface
    nitrogen_pct: Surface
    next_samples_m: NDArray[np.float64]
    credit: CreditMap
    supplemental_kg_ha: NDArray[np.float64]
    level_sets: tuple[LevelSet, ...]
    width: Width
    zone_map: ZoneMap
    passes: tuple[Pass, ...]
    loads: tuple[Load, ...]
    strips: tuple[StripFindings, ...]
    limits: Limits
    delivery: Delivery
    offer: Offer | None
    flat: FlatRate
    verdict: Verdict
    ledger: tuple[LedgerLine, ...]
    along: tuple[Along, ...]
    seasons: tuple[BlockSeason, ...]
    samplings: tuple[Sampling, ...]
    growths: dict[str, Growth | None]
    stages: tuple[StageCourse, ...]
    sidedress: tuple[SidedressCall, ...]
    timing: str
    warnings: tuple[str, ...]
    cautions: tuple[str, ...]
    sources: tuple[str, ...]

    @property
    def parts(self) -> tuple[Part, ...]:
        """Every polygon of every zone and check strip, in the order of all files."""
        return tuple(part for row in self.zone_map.rows for part in row.parts)


def run(plan: Plan, *, progress: Callable[[str], None] = lambda _: None) -> Result:
    """Compute a plan.

    Parameters
    ----------
    plan
        From `fieldmap.read_plan`.
    progress
        Is told what is being done.

    Raises
    ------
    InputError
        With every problem of the input.
    """
    progress("reading the field and its samples")
    inputs = read_inputs(**plan.inputs())
    field = build_field(
        inputs.boundary,
        inputs.no_spread,
        cell_m=plan.field.cell_m,
        throw_m=throw_m(plan.spreader),
        file=plan.field.boundary,
        no_spread_file=plan.field.no_spread or "",
    )
    refuse_unknown_blocks(plan, field)
    samples = place_samples(inputs.samples, field)
    refuse_impossible_dates(plan, field, samples)
    nitrogen = nitrogen_of_samples(samples, plan, field)
    samplings = follow_samplings(samples, nitrogen, plan, field)
    sidedress = sidedress_calls(plan, field)
    growths = {block.name: growth_since(samplings, plan, block.name) for block in field.blocks}

    progress("mapping the stand")
    strata = cover_strata(plan, field, samples)
    covariates = prepare_covariates(covariates_of(plan, field), samples, field, strata)
    biomass = map_biomass(samples, field, strata, covariates)
    nitrogen_pct = map_nitrogen(samples, nitrogen, field, strata)

    progress("working out credit and need")
    courses = follow_blocks(plan, field, inputs.weather, biomass, nitrogen_pct)
    in_time = credits_in_time(plan, field, courses, biomass, nitrogen_pct)
    climates = [courses[block.name].soil_c if courses else None for block in field.blocks]
    whole_rules = [
        grown(credit_rule(plan, block.name, soil_c=soil_c), growths[block.name])
        for block, soil_c in zip(field.blocks, climates, strict=True)
    ]
    rules = [
        timed(rule, in_time.get(block.name)) for rule, block in zip(whole_rules, field.blocks, strict=True)
    ]
    needs = [
        block_need(plan, block.name, credits_of(plan, block.name, field, inputs.weather))
        for block in field.blocks
    ]
    credit = map_credit(biomass, nitrogen_pct, block_index=field.block_index, rules=rules)
    supplemental = np.maximum(missing_kg_ha(needs, credit.credit_kg_ha, field), 0.0)

    progress("drawing zones")
    loss = zone_loss(credit, needs, field, plan)
    passes = passes_over(field, plan.spreader)
    zones = draw_zones(loss, field, plan, passes)
    draws = draw_credit(
        biomass, nitrogen_pct, area_numbers(zones, field), field=field, rules=rules, strata=strata
    )
    laid = place_strips(zones, credit.se_kg_ha, needs=needs, passes=passes, field=field, plan=plan)
    zone_map = rate_zones(zones, credit, draws, laid, field=field, needs=needs, plan=plan)

    progress("driving the map on paper")
    order_kg = sum(row.product_kg for row in zone_map.rows)
    loads = split_loads(
        passes, zone_map.product_at(field.grid), plan.spreader, order_kg=order_kg, step_m=field.grid.cell_m
    )
    delivery = drive(passes, zone_map.product_kg_ha, field, spreader=plan.spreader)

    strips = follow_strips(laid, zone_map, delivery, credit, needs, field, plan)
    offer = offer_other_map(delivery, loss, zones, passes, field, plan)
    limits = machine_limits(zone_map, needs, field, plan)

    progress("comparing with one rate")
    flats = flat_rates(zone_map, loss, needs, field, plan)
    verdict = judge(
        ground_drawn(zone_map, draws, credit.release_error, field=field, needs=needs, plan=plan),
        flats,
        plan,
        pattern=biomass.has_pattern or nitrogen_pct.has_pattern,
        unmixed=nitrogen.unmixed,
    )
    whole = map_credit(biomass, nitrogen_pct, block_index=field.block_index, rules=whole_rules)
    along = nutrients_along(zone_map, plan)
    lines = ledgers(needs, rules, nitrogen, in_time, credit, whole, zone_map, field)
    seasons = block_seasons(plan, needs, courses, whole, supplemental, field)
    stages = stage_courses(plan, field, samples, biomass, nitrogen_pct, whole_rules)
    return Result(
        plan=plan,
        plan_hash=plan.hash(file_digests(plan)),
        field=field,
        samples=samples,
        nitrogen=nitrogen,
        biomass=biomass,
        nitrogen_pct=nitrogen_pct,
        next_samples_m=where_next(biomass, field, strata),
        credit=credit,
        supplemental_kg_ha=supplemental,
        level_sets=zones.level_sets,
        width=zones.width,
        zone_map=zone_map,
        passes=passes,
        loads=loads,
        strips=strips,
        limits=limits,
        delivery=delivery,
        offer=offer,
        flat=flats[0],
        verdict=verdict,
        ledger=lines,
        along=along,
        seasons=seasons,
        samplings=samplings,
        growths=growths,
        stages=stages,
        sidedress=sidedress,
        timing=timing_text(seasons, plan, sidedress),
        warnings=(
            *delivery_warnings(delivery, plan),
            *limit_warnings(limits, plan),
            *(text for text in (offer_text(offer, delivery, plan),) if text),
            *inputs.warnings,
            *samples.warnings,
            *nitrogen.warnings,
            *date_warnings(plan, field, samples),
            *trend_warnings(samplings, growths, plan),
            *tested_warnings(plan, field),
            *climate_warnings(rules, courses, plan),
            *season_warnings(courses, seasons, plan),
            *tied_up_warnings(lines, plan),
            *(note for need in needs for one in need.credits for note in one.notes),
            *strata.warnings,
            *covariates.warnings,
            *(message for message in (biomass.message,) if message),
            *nutrient_warnings(along, zone_map, plan),
            *pan_test_warnings(plan),
            *response_warnings(plan),
            *strip_warnings(strips, plan),
            *(text for text in (thin_ground_text(zone_map.thin, plan),) if text),
            *not_used(plan),
        ),
        cautions=cautions(plan),
        sources=tuple(
            dict.fromkeys(
                (
                    *nitrogen.sources,
                    *(key for rule in rules for key in rule.sources),
                    *(key for need in needs for one in need.credits for key in one.sources),
                    *(STAGE_SOURCES if stages else ()),
                    *plan.spreader.product_entry.sources,
                    *(key for call in sidedress for key in call.sources),
                )
            )
        ),
    )


def covariates_of(plan: Plan, field: Field) -> dict[str, NDArray[np.float64]]:
    """The plan's covariate rasters on the field's grid."""
    grid = field.grid
    return read_covariates(
        plan.folder, plan.samples.covariate, crs=field.crs, transform=grid.transform, shape=grid.shape
    )


def refuse_unknown_blocks(plan: Plan, field: Field) -> None:
    """Every block that the plan names must be in the boundary."""
    known = [block.name for block in field.blocks]
    named = [("[[block]] block", own.block) for own in plan.block]
    named += [("[[other_credits]] block", other.block) for other in plan.other_credits if other.block]
    named += [("[sidedress_test] block", test.block) for test in plan.sidedress_test if test.block]
    problems = [
        Problem(
            PLAN_FILE,
            where,
            f'found "{name}"',
            f"a block of the boundary is expected: {', '.join(known)}",
            "Correct the name, or name the block in the boundary's column block",
        )
        for where, name in named
        if name not in known
    ]
    if problems:
        raise InputError(*problems)


def ledgers(
    needs: list[BlockNeed],
    rules: list[CreditRule],
    nitrogen: SampleNitrogen,
    in_time: dict[str, InTime],
    credit: CreditMap,
    whole: CreditMap,
    zone_map: ZoneMap,
    field: Field,
) -> tuple[LedgerLine, ...]:
    """The ledger of every block, over the cells that are spread."""
    lines: list[LedgerLine] = []
    for number, (need, rule) in enumerate(zip(needs, rules, strict=True)):
        cells = (field.block_index == number) & np.isfinite(zone_map.credit_used_kg_ha)
        caution_kg_ha = float((credit.credit_kg_ha[cells] - zone_map.credit_used_kg_ha[cells]).mean())
        keys = tuple(dict.fromkeys((*rule.sources, *nitrogen.sources)))
        share = in_time.get(need.block)
        split = share.split if share else None
        lines += ledger(need, whole.credit_kg_ha[cells], split, caution_kg_ha, credit_sources=keys)
    return tuple(lines)


def not_used(plan: Plan) -> tuple[str, ...]:
    """What the plan gives and this version does not act on yet; said rather than passed over."""
    given = {
        "[prices] crop": plan.prices.crop is not None and plan.response is None,
    }
    named = [key for key, present in given.items() if present]
    return (f"Read and checked, but not acted on by this version: {', '.join(named)}.",) if named else ()
