"""The ledger of a block: need, credits, and what is left, line by line with sources."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

import numpy as np

from fieldmap import agronomy

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fieldmap.budget.need import BlockNeed
    from fieldmap.season import SeasonSplit


class LineKind(StrEnum):
    """The lines that every ledger may have; other credits stand under their own names."""

    NEED = "need"
    COVER_CROP = "cover crop"
    BEFORE = "before the crop"
    AFTER = "after the crop"
    TESTED = "in the soil test"
    GAS = "lost as gas"
    TIED_UP = "tied up"
    CAUTION = "caution"
    NOT_RECOVERED = "not recovered"


@dataclass(frozen=True)
class LedgerLine:
    """One line of a block's nitrogen ledger, kg N/ha; a credit is negative."""

    block: str
    line: LineKind | str
    kg_ha: float
    source: str
    mark: agronomy.Mark


def block_ledger(
    need: BlockNeed,
    whole_credit_kg_ha: NDArray[np.float64],
    split: SeasonSplit | None,
    caution_kg_ha: float,
    *,
    credit_sources: tuple[str, ...],
    timing_sources: tuple[str, ...] = (),
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
    credit_sources, timing_sources
        Keys of the sources of the whole season's credit, and of what splits it. Those of errors alone count for the
        caution, which follows from the error, and for no other line.
    """

    def line(name: LineKind | str, kg_ha: float, keys: tuple[str, ...]) -> LedgerLine:
        citations = " ".join(agronomy.sources()[key].citation for key in keys)
        return LedgerLine(need.block, name, float(kg_ha), citations, agronomy.weakest_mark(keys))

    value_sources = agronomy.of_value(credit_sources)
    split_sources = tuple(dict.fromkeys((*value_sources, *agronomy.of_value(timing_sources))))
    whole = float(np.maximum(whole_credit_kg_ha, 0.0).mean())
    lines = [
        line(LineKind.NEED, need.need_kg_ha, ("your_value",)),
        line(LineKind.COVER_CROP, -whole, value_sources),
    ]
    if split is not None:
        lines += [
            line(LineKind.BEFORE, whole * float(split.before.mean()), split_sources),
            line(LineKind.AFTER, whole * float(split.after.mean()), split_sources),
        ]
        if split.tested.any():
            lines.append(line(LineKind.TESTED, whole * float(split.tested.mean()), split_sources))
        if split.denitrified.any():
            lines.append(line(LineKind.GAS, whole * float(split.denitrified.mean()), split_sources))
    tied_up = -float(np.minimum(whole_credit_kg_ha, 0.0).mean())
    if tied_up > 0:
        lines.append(line(LineKind.TIED_UP, tied_up, value_sources))
    lines += [line(one.name, -one.kg_ha, one.sources) for one in need.credits]
    if caution_kg_ha != 0:
        lines.append(
            line(LineKind.CAUTION, caution_kg_ha, tuple(dict.fromkeys((*credit_sources, *timing_sources))))
        )
    if need.recovery < 1:
        short = sum(entry.kg_ha for entry in lines)
        lines.append(line(LineKind.NOT_RECOVERED, short * (1.0 / need.recovery - 1.0), ("your_value",)))
    return tuple(lines)
