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
    from fieldmap.other_credits import Credit
    from fieldmap.plan import Plan
    from fieldmap.release import SeasonSplit


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
    fertiliser already. Where the plan has several applications the rest is of one of them: `given_n_kg_ha` is what
    earlier ones spread (a number, or a raster of the field), `share` the share of what is still missing then that
    this one spreads, and `tested_n_kg_ha` what a nitrate test calls for in place of what need and credits leave.
    """

    block: str
    crop: str
    need_kg_ha: float
    credits: tuple[Credit, ...]
    recovery: float
    share: float = 1.0
    given_n_kg_ha: float | NDArray[np.float64] = 0.0
    tested_n_kg_ha: float | None = None

    @property
    def credit_per_n(self) -> float:
        """Credit, kg N/ha, that one kg N/ha spread now makes up for; infinite where no rate rests on the credit."""
        if self.tested_n_kg_ha is not None or self.share == 0:
            return float("inf")
        return self.recovery / self.share

    @property
    def other_credits_kg_ha(self) -> float:
        """All other credits together."""
        return sum(one.kg_ha for one in self.credits)


def block_need(plan: Plan, block: str, credits: tuple[Credit, ...]) -> BlockNeed:  # noqa: A002
    """Need and other credits of one block."""
    crop = plan.crop_of(block)
    recovery = crop.recovery if crop.need_is == "crop uptake" and crop.recovery is not None else 1.0
    return BlockNeed(block, crop.name, crop.need_field_kg_ha, credits, recovery)


def missing_kg_ha(
    needs: Sequence[BlockNeed], credit_kg_ha: NDArray[np.float64], field: Field
) -> NDArray[np.float64]:
    """Nitrogen to spread before it is floored at zero, raster; negative where credits exceed the need.

    Supplemental is this and never less than zero. `needs` follow the field's blocks. Of several applications it is
    what this one is to spread: its share of what the earlier ones leave missing.
    """
    need = per_block(field, [block.need_kg_ha - block.other_credits_kg_ha for block in needs])
    missing = (need - credit_kg_ha) / per_block(field, [block.recovery for block in needs])
    for number, block in enumerate(needs):
        if block.tested_n_kg_ha is not None:
            missing = np.where(field.block_index == number, block.tested_n_kg_ha + 0.0 * missing, missing)
    return per_block(field, [block.share for block in needs]) * (missing - given_kg_ha(needs, field))


def given_kg_ha(needs: Sequence[BlockNeed], field: Field) -> NDArray[np.float64]:
    """Nitrogen that earlier applications spread, raster."""
    given = np.zeros(field.block_index.shape)
    for number, block in enumerate(needs):
        given = np.where(field.block_index == number, block.given_n_kg_ha, given)
    return given


def ledger(
    need: BlockNeed,
    whole_credit_kg_ha: NDArray[np.float64],
    split: SeasonSplit | None,
    caution_kg_ha: float,
    *,
    credit_sources: tuple[str, ...],
) -> tuple[LedgerLine, ...]:
    """The lines of a block; they add up to its mean supplemental before that is floored at zero.

    Parameters
    ----------
    need
        The block's need and other credits.
    whole_credit_kg_ha
        Expected credit of the whole season in each of its cells, shape (cells,); negative where nitrogen is
        tied up.
    split
        Which shares of it come before and after the crop, or stand in a soil test; None where timing was not
        considered.
    caution_kg_ha
        Expected credit less the credit used, mean of the block.
    credit_sources
        Keys of the credit's sources.
    """

    def line(name: str, kg_ha: float, keys: tuple[str, ...]) -> LedgerLine:
        citations = " ".join(tables.sources()[key].citation for key in keys)
        return LedgerLine(need.block, name, float(kg_ha), citations, tables.weakest_mark(keys))

    whole = float(np.maximum(whole_credit_kg_ha, 0.0).mean())
    lines = [line("need", need.need_kg_ha, ("your_value",)), line("cover crop", -whole, credit_sources)]
    if split is not None:
        lines += [
            line("before the crop", whole * float(split.before.mean()), credit_sources),
            line("after the crop", whole * float(split.after.mean()), credit_sources),
        ]
        if split.tested.any():
            lines.append(line("in the soil test", whole * float(split.tested.mean()), credit_sources))
    tied_up = -float(np.minimum(whole_credit_kg_ha, 0.0).mean())
    if tied_up > 0:
        lines.append(line("tied up", tied_up, credit_sources))
    lines += [line(one.name, -one.kg_ha, one.sources) for one in need.credits]
    if caution_kg_ha != 0:
        lines.append(line("caution", caution_kg_ha, credit_sources))
    if need.recovery < 1:
        short = sum(entry.kg_ha for entry in lines)
        lines.append(line("not recovered", short * (1.0 / need.recovery - 1.0), ("your_value",)))
    return tuple(lines)
