"""What a stand brings against what the crop needs, before anything is zoned."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from fieldmap.budget.need import BlockNeed
    from fieldmap.budget.response import Economics
    from fieldmap.budget.seasons import BlockSeason
    from fieldmap.budget.sidedress import SidedressCall
    from fieldmap.credit import CreditMap, CreditRule, StageCourse
    from fieldmap.season import Course, InTime


@dataclass(frozen=True)
class Budget:
    """Credits, needs and what is left, by block and on the field's grid.

    `rules` turn biomass into the credit that comes in time; `credit` is its map, `whole` that of the whole season's,
    which `whole_rules` give.
    What is one a block is in the order of the field's blocks: `courses` and `in_time` are None where timing plays no
    part. `third` says which ground tests by ground take a cell for, `third_edges_kg_ha` between which dry biomass a
    block's ground is middle, None of an even stand. `money` is what rates follow in place of the need, None where
    they follow the need.
    """

    courses: tuple[Course | None, ...]
    in_time: tuple[InTime | None, ...]
    rules: tuple[CreditRule, ...]
    whole_rules: tuple[CreditRule, ...]
    needs: tuple[BlockNeed, ...]
    credit: CreditMap
    whole: CreditMap
    supplemental_kg_ha: NDArray[np.float64]
    seasons: tuple[BlockSeason, ...]
    stages: tuple[StageCourse, ...]
    sidedress: tuple[SidedressCall, ...]
    third: NDArray[np.int8]
    third_edges_kg_ha: tuple[tuple[float, float] | None, ...]
    money: Economics | None
