"""Crop need, other credits, supplemental: what is still to spread, and the ledger that shows why."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fieldmap.field import per_block

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from fieldmap.budget.other_credits import Credit
    from fieldmap.field import Field
    from fieldmap.plan import Crop


@dataclass(frozen=True)
class BlockNeed:
    """What a block's crop needs and what it gets besides the cover crop, kg N/ha of field.

    `recovery` is the share of spread nitrogen that reaches the crop: 1 for a guide rate, which is a rate of
    fertiliser already. Where the plan has several applications the rest is of one of them: `given_n_kg_ha` is what
    earlier ones spread (a number, or a raster of the field), `share` the share of what is still missing then that
    this one spreads, and `tested_n_kg_ha` what a nitrate test calls for in place of what need and credits leave, a
    raster of the field where tests tell grounds apart.
    `removal_*` is what the harvest takes with it, None where not known.
    """

    block: str
    crop: str
    need_kg_ha: float
    credits: tuple[Credit, ...]
    recovery: float
    share: float = 1.0
    given_n_kg_ha: float | NDArray[np.float64] = 0.0
    tested_n_kg_ha: float | NDArray[np.float64] | None = None
    removal_p2o5_kg_ha: float | None = None
    removal_k2o_kg_ha: float | None = None

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


def block_need(crop: Crop, block: str, credits: tuple[Credit, ...]) -> BlockNeed:  # noqa: A002
    """Need of the crop of a block, and its other credits."""
    recovery = crop.recovery if crop.need_is == "crop uptake" and crop.recovery is not None else 1.0
    p2o5, k2o = (crop.entry.removal_kg_ha(nutrient, crop.yield_t_ha) for nutrient in ("p2o5", "k2o"))
    return BlockNeed(
        block,
        crop.name,
        crop.need_field_kg_ha,
        credits,
        recovery,
        removal_p2o5_kg_ha=p2o5,
        removal_k2o_kg_ha=k2o,
    )


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
