"""Crop need, other credits, supplemental: what is still to spread, and the ledger that shows why."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fieldmap import tables
from fieldmap.field import per_block

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from fieldmap.field import Field
    from fieldmap.plan import Plan

# A credit that the guide's rate already counts is not credited again.
COUNTED_BY_GUIDE = {
    "organic matter": "soil organic matter",
    "soil nitrate": "soil nitrate",
    "previous legume": "previous legume",
}


@dataclass(frozen=True)
class LedgerLine:
    """One line of a block's nitrogen ledger, kg N/ha; a credit is negative."""

    block: str
    line: str
    kg_ha: float
    source: str
    mark: tables.Mark


@dataclass(frozen=True)
class BlockNeed:
    """What a block's crop needs and what it gets besides the cover crop, kg N/ha of field.

    `recovery` is the share of spread nitrogen that reaches the crop: 1 for a guide rate, which is a rate of
    fertiliser already.
    """

    block: str
    crop: str
    need_kg_ha: float
    other_credits: tuple[tuple[str, float], ...]
    recovery: float

    @property
    def other_credits_kg_ha(self) -> float:
        """All other credits together."""
        return sum(kg_ha for _, kg_ha in self.other_credits)


def block_need(plan: Plan, block: str) -> BlockNeed:
    """Need and other credits of one block."""
    crop = plan.crop_of(block)
    counted = {COUNTED_BY_GUIDE[item] for item in crop.need_allows_for}
    credits_kg_ha = tuple(
        (other.source, other.nitrogen_kg_ha)
        for other in plan.other_credits
        if other.block in (None, block) and other.source not in counted
    )
    recovery = crop.recovery if crop.need_is == "crop uptake" and crop.recovery is not None else 1.0
    return BlockNeed(block, crop.name, crop.need_field_kg_ha, credits_kg_ha, recovery)


def missing_kg_ha(
    needs: Sequence[BlockNeed], credit_kg_ha: NDArray[np.float64], field: Field
) -> NDArray[np.float64]:
    """Nitrogen to spread before it is floored at zero, raster; negative where credits exceed the need.

    Supplemental is this and never less than zero. `needs` follow the field's blocks.
    """
    need = per_block(field, [block.need_kg_ha - block.other_credits_kg_ha for block in needs])
    return (need - credit_kg_ha) / per_block(field, [block.recovery for block in needs])


def ledger(
    need: BlockNeed,
    credit_kg_ha: NDArray[np.float64],
    caution_kg_ha: float,
    *,
    credit_sources: tuple[str, ...],
) -> tuple[LedgerLine, ...]:
    """The lines of a block; they add up to its mean supplemental before that is floored at zero.

    Parameters
    ----------
    need
        The block's need and other credits.
    credit_kg_ha
        Expected credit of each of its cells, shape (cells,); negative where nitrogen is tied up.
    caution_kg_ha
        Expected credit less the credit used, mean of the block.
    credit_sources
        Keys of the credit's sources.
    """

    def line(name: str, kg_ha: float, keys: tuple[str, ...]) -> LedgerLine:
        citations = " ".join(tables.sources()[key].citation for key in keys)
        return LedgerLine(need.block, name, float(kg_ha), citations, tables.weakest_mark(keys))

    yours = ("your_value",)
    lines = [
        line("need", need.need_kg_ha, yours),
        line("cover crop", -np.maximum(credit_kg_ha, 0.0).mean(), credit_sources),
    ]
    tied_up = -np.minimum(credit_kg_ha, 0.0).mean()
    if tied_up > 0:
        lines.append(line("tied up", tied_up, credit_sources))
    lines += [line(name, -kg_ha, yours) for name, kg_ha in need.other_credits]
    if caution_kg_ha != 0:
        lines.append(line("caution", caution_kg_ha, ("release_memory", *credit_sources)))
    if need.recovery < 1:
        short = sum(entry.kg_ha for entry in lines)
        lines.append(line("not recovered", short * (1.0 / need.recovery - 1.0), yours))
    return tuple(lines)
