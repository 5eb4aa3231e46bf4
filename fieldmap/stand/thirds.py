"""Thin, middle and thick ground: the thirds of a block by the stand that grew there."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fieldmap.field import Field


EVEN_KG_HA = 1.0  # of dry biomass: thirds that lie no further apart are none


def thirds_of_stand(biomass_kg_ha: NDArray[np.float64], field: Field) -> NDArray[np.int8]:
    """The third of its block, by the stand's biomass, in which each cell lies.

    Not a sign of how sure the thirds are: they follow the expected surface, whatever its error.

    Parameters
    ----------
    biomass_kg_ha
        Dry biomass, kg/ha, raster (rows, columns).
    field
        Its grid, its blocks, and where they are spread.

    Returns
    -------
    NDArray
        Raster (rows, columns): 0 thin, 1 middle, 2 thick; -1 outside the field, and in a block whose stand is too
        even to tell thirds apart.

    References
    ----------
    Terciles of the cells that are spread, arithmetic; docs/method.md, "Nitrate test before side-dressing".
    """
    third = np.full(biomass_kg_ha.shape, -1, dtype=np.int8)
    for number in range(len(field.blocks)):
        spread = field.spread_index == number
        if not spread.any():
            continue
        low, high = np.quantile(biomass_kg_ha[spread], [1 / 3, 2 / 3])
        if high - low < EVEN_KG_HA:
            continue
        own = field.block_index == number
        third[own] = np.searchsorted([low, high], biomass_kg_ha[own], side="left")
    return third
