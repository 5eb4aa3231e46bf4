"""The zone with the highest rate: where its stand is thin it may be held at the flat rate.

Most is not always thin: where grass or weeds are many, the heaviest stand gives least or ties nitrogen up.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fieldmap.budget import response
from fieldmap.spreader import nearest_rate_kg_ha, nitrogen_rate_kg_ha, product_rate_kg_ha, product_rates_kg_ha

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from fieldmap.budget import BlockNeed
    from fieldmap.field import Field
    from fieldmap.plan import Spreader

    Floats = NDArray[np.float64]


@dataclass(frozen=True)
class HighestZone:
    """The zone with the highest rate, and what was decided of it.

    Parameters
    ----------
    rate_n_kg_ha
        Nitrogen that its stand leaves missing.
    flat_rate_n_kg_ha
        What one rate a block would give its ground, on average.
    thin
        Whether its stand is lighter than that of the blocks it lies in.
    capped
        Whether it is held at the flat rate.
    block
        The one block whose stand lies in the zone, where the zone as a whole is not above the flat rate: then
        it cannot be held without starving the others. Empty where the zone as a whole is meant.
    """

    rate_n_kg_ha: float
    flat_rate_n_kg_ha: float
    thin: bool
    capped: bool
    block: str = ""


def hold_back(
    rate_kg_ha: Floats,
    level: NDArray[np.int64],
    credit_used_kg_ha: Floats,
    biomass_kg_ha: Floats,
    needs: Sequence[BlockNeed],
    field: Field,
    *,
    spreader: Spreader,
    cap: bool,
    money: response.Economics | None,
) -> tuple[Floats, HighestZone | None]:
    """Cap the highest-rate zone at the flat rate, where that is asked for and its stand is thin.

    Parameters
    ----------
    rate_kg_ha
        Product rate of each level, shape (levels,).
    level
        Level of each cell, -1 where nothing is spread, raster.
    credit_used_kg_ha
        Credit as the zones use it, raster, NaN where nothing is spread.
    biomass_kg_ha
        Dry biomass of the stand, raster.
    needs, field, spreader
        The need of each block, the field, the machine.
    cap
        Whether it is capped.
    money
        What rates follow in place of the need, where they do.

    Returns
    -------
    rates, highest
        The rates, and what there is to say; None where no zone lies above the flat rate.
    """
    used = np.unique(level[level >= 0])
    highest = float(rate_kg_ha[used].max())
    product = spreader.product_entry
    due = response.due_kg_ha(credit_used_kg_ha, needs, field, money)
    of_block = np.array([_mean(due[field.spread_index == k]) for k in range(len(needs))])
    here = np.isin(level, used[rate_kg_ha[used] == highest])
    wanted = product_rate_kg_ha(of_block[field.block_index[here]].mean(), product)
    flat_kg_ha = nearest_rate_kg_ha(float(wanted), product_rates_kg_ha(spreader))
    if flat_kg_ha >= highest:
        return rate_kg_ha, _of_one_block(highest, of_block, here, biomass_kg_ha, field, spreader)
    asked_n, flat_n = nitrogen_rate_kg_ha(np.array([highest, flat_kg_ha]), product).tolist()
    thin = _is_thin(here, biomass_kg_ha, field)
    capped = cap and thin
    held = np.where(rate_kg_ha == highest, flat_kg_ha, rate_kg_ha) if capped else rate_kg_ha
    return held, HighestZone(asked_n, flat_n, thin, capped)


def _of_one_block(
    highest_kg_ha: float,
    due_n_kg_ha: Floats,
    here: NDArray[np.bool_],
    biomass_kg_ha: Floats,
    field: Field,
    spreader: Spreader,
) -> HighestZone | None:
    """The block that the zone gives most above its own flat rate; `due_n_kg_ha` (blocks,) is nitrogen, as due."""
    product = spreader.product_entry
    rates = product_rates_kg_ha(spreader)
    inside = np.unique(field.block_index[here])
    flats = [nearest_rate_kg_ha(float(product_rate_kg_ha(due_n_kg_ha[k], product)), rates) for k in inside]
    flat_kg_ha, block = min(zip(flats, inside.tolist(), strict=True))
    if flat_kg_ha >= highest_kg_ha:
        return None
    asked_n, flat_n = nitrogen_rate_kg_ha(np.array([highest_kg_ha, flat_kg_ha]), product).tolist()
    thin = _is_thin(here & (field.block_index == block), biomass_kg_ha, field)
    return HighestZone(asked_n, flat_n, thin, capped=False, block=field.blocks[block].name)


def _is_thin(here: NDArray[np.bool_], biomass_kg_ha: Floats, field: Field) -> bool:
    """Whether the stand of these cells is lighter than that of their blocks, each block counted as it lies here."""
    of_block = np.array([_mean(biomass_kg_ha[field.spread_index == k]) for k in range(len(field.blocks))])
    return bool(biomass_kg_ha[here].mean() < of_block[field.block_index[here]].mean())


def _mean(values: Floats) -> float:
    finite = values[np.isfinite(values)]
    return float(finite.mean()) if finite.size else 0.0
