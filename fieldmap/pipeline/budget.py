"""The nitrogen budget: what each place has, what each block's crop needs and when, and what is missing."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fieldmap.budget import (
    Budget,
    block_need,
    block_season,
    ledger,
    missing_kg_ha,
    other_credits,
    response,
    sidedress,
)
from fieldmap.credit import credit_rule, map_credit, rules_of_stand, stage_courses
from fieldmap.field import latitude
from fieldmap.season import follow_release, released_by, timed
from fieldmap.stand import thirds

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fieldmap.budget import BlockNeed, BlockSeason
    from fieldmap.credit import CreditMap, CreditRule
    from fieldmap.plan import Plan
    from fieldmap.season import Course, InTime
    from fieldmap.stand import Stand


def reckon(
    plan: Plan,
    stand: Stand,
    courses: tuple[Course | None, ...],
    *,
    money: response.Economics | None = None,
) -> Budget:
    """Set the stand's nitrogen against the need of the crop.

    `courses` are from `courses_of`; `money` is what the rates follow, None where they follow the need.

    Raises
    ------
    InputError
        For tests, needs, weather and products that cannot be right.
    """
    field, biomass, nitrogen_pct = stand.field, stand.biomass, stand.nitrogen_pct
    names = [block.name for block in field.blocks]
    covers, crops = plan.covers(names), plan.crops_of(names)
    calls = sidedress.sidedress_calls(plan, field)
    in_time = _in_time(plan, stand, courses)
    whole_rules = _whole_rules(plan, stand, courses)
    rules = tuple(timed(rule, share) for rule, share in zip(whole_rules, in_time, strict=True))
    needs = tuple(
        block_need(crop, name, other_credits.credits_of(plan, name, field, stand.weather))
        for name, crop in zip(names, crops, strict=True)
    )
    credit = map_credit(biomass, nitrogen_pct, block_index=field.block_index, rules=rules)
    whole = map_credit(biomass, nitrogen_pct, block_index=field.block_index, rules=whole_rules)
    supplemental_kg_ha = np.maximum(missing_kg_ha(needs, credit.credit_kg_ha, field), 0.0)
    return Budget(
        courses=courses,
        in_time=in_time,
        rules=rules,
        whole_rules=tuple(whole_rules),
        needs=needs,
        credit=credit,
        whole=whole,
        supplemental_kg_ha=supplemental_kg_ha,
        seasons=_seasons(plan, stand, needs, courses, whole, supplemental_kg_ha),
        stages=stage_courses(covers, field, stand.samples, biomass, nitrogen_pct, whole_rules),
        sidedress=calls,
        third=thirds.thirds_of_stand(biomass.mean, field),
        third_edges_kg_ha=thirds.third_edges_kg_ha(biomass.mean, field),
        money=money,
    )


def _whole_rules(plan: Plan, stand: Stand, courses: tuple[Course | None, ...]) -> list[CreditRule]:
    """The rule of each block for the whole season's credit, whenever it comes."""
    field = stand.field
    rules = [
        credit_rule(
            plan.cover_crop_of(block.name),
            plan.credit,
            soil_c=course.soil_c if course else None,
            wetting=course.wetting if course else "unknown",
            on_bed_share=plan.crop_of(block.name).on_bed_share,
        )
        for block, course in zip(field.blocks, courses, strict=True)
    ]
    return rules_of_stand(
        rules, stand.growths, stand.biomass, stand.nitrogen_pct, block_index=field.block_index
    )


def courses_of(plan: Plan, stand: Stand) -> tuple[Course | None, ...]:
    """How each block's credit comes through the plan's weather; None for all without weather."""
    if plan.weather is None:
        return (None,) * len(stand.field.blocks)
    latitude_deg = latitude(stand.field)
    return tuple(
        follow_release(
            plan.cover_crop_of(block.name),
            plan.crop_of(block.name),
            stand.mean_nitrogen_pct(number),
            stand.weather,
            weather=plan.weather,
            texture=plan.soil.texture,
            drainage=plan.soil.drainage,
            credit=plan.credit,
            tested=plan.tested_after_cover(block.name),
            latitude_deg=latitude_deg,
        )
        for number, block in enumerate(stand.field.blocks)
    )


def _in_time(plan: Plan, stand: Stand, courses: tuple[Course | None, ...]) -> tuple[InTime | None, ...]:
    """What of each block's credit comes in time; None where all of it does."""
    found: list[InTime | None] = []
    for number, (block, course) in enumerate(zip(stand.field.blocks, courses, strict=True)):
        tested = plan.tested_after_cover(block.name)
        if course is not None:
            found.append(course.in_time)
        elif tested is not None:
            found.append(released_by(tested, plan.cover_crop_of(block.name), stand.mean_nitrogen_pct(number)))
        else:
            found.append(None)
    return tuple(found)


def _seasons(
    plan: Plan,
    stand: Stand,
    needs: tuple[BlockNeed, ...],
    courses: tuple[Course | None, ...],
    whole: CreditMap,
    supplemental_kg_ha: NDArray[np.float64],
) -> tuple[BlockSeason, ...]:
    """The season of every block that has a course, for its mean credit of the whole season."""
    told = next((one.date for one in plan.application[1:] if one.follows_planting), None)
    found = []
    for number, (need, course) in enumerate(zip(needs, courses, strict=True)):
        if course is None:
            continue
        cells = stand.field.block_index == number
        credit_kg_ha = float(whole.credit_kg_ha[cells].mean())
        missing_kg_ha = float(supplemental_kg_ha[cells].mean())
        crop = plan.crop_of(need.block)
        found.append(block_season(crop, need, course, credit_kg_ha, missing_kg_ha, sidedress=told))
    return tuple(found)


def block_means(budget: Budget, stand: Stand) -> list[float]:
    """Mean supplemental nitrogen of each block, kg N/ha."""
    blocks = range(len(stand.field.blocks))
    return [float(budget.supplemental_kg_ha[stand.field.block_index == number].mean()) for number in blocks]


def ledgers(
    budget: Budget, stand: Stand, credit_used_kg_ha: NDArray[np.float64]
) -> tuple[ledger.LedgerLine, ...]:
    """The ledger of every block over the cells that are spread; caution is the credit less what was used of it."""
    lines: list[ledger.LedgerLine] = []
    for number, (need, rule, share) in enumerate(
        zip(budget.needs, budget.whole_rules, budget.in_time, strict=True)
    ):
        cells = (stand.field.block_index == number) & np.isfinite(credit_used_kg_ha)
        caution_kg_ha = float((budget.credit.credit_kg_ha[cells] - credit_used_kg_ha[cells]).mean())
        keys = tuple(dict.fromkeys((*rule.sources, *stand.nitrogen.sources)))
        lines += ledger.block_ledger(
            need,
            budget.whole.credit_kg_ha[cells],
            share.split if share else None,
            caution_kg_ha,
            credit_sources=keys,
            timing_sources=share.sources if share else (),
        )
    return tuple(lines)
