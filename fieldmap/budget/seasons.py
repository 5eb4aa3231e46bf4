"""When the credit comes, block by block: what the crop can use of it, and where it runs short."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fieldmap.plan import credit_kinds
from fieldmap.season import balance, short_from, time_supplemental, weekly

if TYPE_CHECKING:
    from fieldmap.budget.need import BlockNeed
    from fieldmap.plan import Crop
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
    least_first_share: float


def block_season(
    crop: Crop,
    need: BlockNeed,
    course: Course,
    whole_credit_kg_ha: float,
    supplemental_kg_ha: float,
    *,
    sidedress: dt.date | None,
) -> BlockSeason:
    """Weekly balance of a block for its mean credit of the whole season, and the split of what is to spread.

    `sidedress` is the day of side-dressing, where the plan gives it.
    """
    entry = crop.entry
    with_growth = sum(
        one.kg_ha for one in need.credits if credit_kinds.credit_kind(one.name).comes_with_growth
    )
    at_hand = need.other_credits_kg_ha - with_growth
    found = balance(
        course.release,
        whole_credit_kg_ha,
        need.need_kg_ha - with_growth,
        entry,
        planted=crop.planted,
        harvested=crop.harvested,
        roots=course.roots,
        on_hand_kg_ha=at_hand,
        tested=course.tested,
    )
    timing = time_supplemental(
        found,
        supplemental_kg_ha,
        entry,
        harvested=crop.harvested,
        sidedress=sidedress,
    )
    first = short_from(found).item()
    return BlockSeason(
        need.block,
        found,
        weekly(found),
        timing,
        first if isinstance(first, dt.date) else None,
        supplemental_kg_ha,
        entry.least_share_before_planting,
    )
