"""The nitrogen budget: what each place has, what each block's crop needs and when, and what is missing."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fieldmap.budget import (
    Budget,
    block_need,
    block_seasons,
    credits_of,
    ledger,
    missing_kg_ha,
    sidedress_calls,
)
from fieldmap.credit import credit_rule, grown, map_credit, stage_courses
from fieldmap.season import credits_in_time, follow_blocks, timed

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fieldmap.budget import LedgerLine
    from fieldmap.plan import Plan
    from fieldmap.stand import Stand


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
