"""The nitrogen budget: what each place has, what each block's crop needs and when, and what is missing."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fieldmap.course import Course, InTime, credits_in_time, follow_blocks, timed
from fieldmap.credit import CreditMap, CreditRule, credit_rule, map_credit
from fieldmap.need import BlockNeed, LedgerLine, block_need, ledger, missing_kg_ha
from fieldmap.season import BlockSeason, block_seasons, credits_of
from fieldmap.sidedress import SidedressCall, sidedress_calls
from fieldmap.stages import StageCourse, stage_courses
from fieldmap.trend import grown

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fieldmap.plan import Plan
    from fieldmap.stand import Stand


@dataclass(frozen=True)
class Budget:
    """Credits, needs and what is left, by block and on the field's grid.

    `rules` turn biomass into the credit that comes in time, `whole_rules` into the whole season's; `credit` and
    `whole` are the maps of the two. Lists are in the order of the field's blocks.
    """

    courses: dict[str, Course]
    in_time: dict[str, InTime]
    rules: list[CreditRule]
    needs: list[BlockNeed]
    credit: CreditMap
    whole: CreditMap
    supplemental_kg_ha: NDArray[np.float64]
    seasons: tuple[BlockSeason, ...]
    stages: tuple[StageCourse, ...]
    sidedress: tuple[SidedressCall, ...]


def reckon(plan: Plan, stand: Stand) -> Budget:
    """Set the stand's nitrogen against the need of the crop.

    Raises
    ------
    InputError
        For tests, needs and products that cannot be right.
    """
    field = stand.field
    biomass, nitrogen_pct = stand.biomass, stand.nitrogen_pct
    sidedress = sidedress_calls(plan, field)
    courses = follow_blocks(plan, field, stand.weather, biomass, nitrogen_pct)
    in_time = credits_in_time(plan, field, courses, biomass, nitrogen_pct)
    names = [block.name for block in field.blocks]
    soils = [courses[name].soil_c if courses else None for name in names]
    whole_rules = [
        grown(credit_rule(plan, name, soil_c=soil_c), stand.growths[name])
        for name, soil_c in zip(names, soils, strict=True)
    ]
    rules = [timed(rule, in_time.get(name)) for rule, name in zip(whole_rules, names, strict=True)]
    needs = [block_need(plan, name, credits_of(plan, name, field, stand.weather)) for name in names]
    credit = map_credit(biomass, nitrogen_pct, block_index=field.block_index, rules=rules)
    whole = map_credit(biomass, nitrogen_pct, block_index=field.block_index, rules=whole_rules)
    supplemental_kg_ha = np.maximum(missing_kg_ha(needs, credit.credit_kg_ha, field), 0.0)
    return Budget(
        courses=courses,
        in_time=in_time,
        rules=rules,
        needs=needs,
        credit=credit,
        whole=whole,
        supplemental_kg_ha=supplemental_kg_ha,
        seasons=block_seasons(plan, needs, courses, whole, supplemental_kg_ha, field),
        stages=stage_courses(plan, field, stand.samples, biomass, nitrogen_pct, whole_rules),
        sidedress=sidedress,
    )


def ledgers(budget: Budget, stand: Stand, credit_used_kg_ha: NDArray[np.float64]) -> tuple[LedgerLine, ...]:
    """The ledger of every block over the cells that are spread; caution is the credit less what was used of it."""
    lines: list[LedgerLine] = []
    for number, (need, rule) in enumerate(zip(budget.needs, budget.rules, strict=True)):
        cells = (stand.field.block_index == number) & np.isfinite(credit_used_kg_ha)
        caution_kg_ha = float((budget.credit.credit_kg_ha[cells] - credit_used_kg_ha[cells]).mean())
        keys = tuple(dict.fromkeys((*rule.sources, *stand.nitrogen.sources)))
        share = budget.in_time.get(need.block)
        split = share.split if share else None
        lines += ledger(need, budget.whole.credit_kg_ha[cells], split, caution_kg_ha, credit_sources=keys)
    return tuple(lines)
