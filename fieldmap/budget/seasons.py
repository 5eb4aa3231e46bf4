"""When the credit comes, block by block: what the crop can use of it, and where it runs short."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fieldmap.plan import credit_kind
from fieldmap.season import balance, short_from, time_supplemental, weekly

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy as np
    from numpy.typing import NDArray

    from fieldmap.budget.need import BlockNeed
    from fieldmap.credit import CreditMap
    from fieldmap.field import Field
    from fieldmap.plan import Plan
    from fieldmap.season import Balance, Course, Timing, Weeks


@dataclass(frozen=True)
class BlockSeason:
    """A block's season for its mean credit: by day, by week, and when to spread."""

    block: str
    balance: Balance
    weeks: Weeks
    timing: Timing
    short_from: dt.date | None
    supplemental_kg_ha: float


def block_seasons(
    plan: Plan,
    needs: Sequence[BlockNeed],
    courses: dict[str, Course],
    whole: CreditMap,
    supplemental_kg_ha: NDArray[np.float64],
    field: Field,
) -> tuple[BlockSeason, ...]:
    """The season of every block that has a course, for its mean credit of the whole season."""
    return tuple(
        block_season(
            plan,
            need,
            courses[need.block],
            float(whole.credit_kg_ha[field.block_index == number].mean()),
            float(supplemental_kg_ha[field.block_index == number].mean()),
        )
        for number, need in enumerate(needs)
        if need.block in courses
    )


def block_season(
    plan: Plan, need: BlockNeed, course: Course, whole_credit_kg_ha: float, supplemental_kg_ha: float
) -> BlockSeason:
    """Weekly balance of a block for its mean credit of the whole season, and the split of what is to spread."""
    crop, entry = plan.crop_of(need.block), plan.crop_of(need.block).entry
    with_growth = sum(one.kg_ha for one in need.credits if credit_kind(one.name).comes_with_growth)
    at_hand = need.other_credits_kg_ha - with_growth
    found = balance(
        course.release,
        whole_credit_kg_ha,
        need.need_kg_ha - with_growth,
        entry,
        planted=crop.planted,
        harvested=crop.harvested,
        on_hand_kg_ha=at_hand,
        tested=course.tested,
    )
    timing = time_supplemental(
        found,
        supplemental_kg_ha,
        entry,
        harvested=crop.harvested,
        units=plan.units,
        sidedress=next((one.date for one in plan.application[1:] if one.follows_planting), None),
    )
    first = short_from(found).item()
    return BlockSeason(
        need.block,
        found,
        weekly(found),
        timing,
        first if isinstance(first, dt.date) else None,
        supplemental_kg_ha,
    )
