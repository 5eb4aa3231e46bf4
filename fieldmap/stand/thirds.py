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
    for number, edges in enumerate(third_edges_kg_ha(biomass_kg_ha, field)):
        if edges is not None:
            own = field.block_index == number
            third[own] = np.searchsorted(edges, biomass_kg_ha[own], side="left")
    return third


def third_edges_kg_ha(
    biomass_kg_ha: NDArray[np.float64], field: Field
) -> tuple[tuple[float, float] | None, ...]:
    """Dry biomass below which each block's ground is thin, and above which it is thick, kg/ha; None of an even stand.

    As `thirds_of_stand` takes and refuses it.
    """
    found: list[tuple[float, float] | None] = []
    for number in range(len(field.blocks)):
        spread = biomass_kg_ha[field.spread_index == number]
        low, high = np.quantile(spread, [1 / 3, 2 / 3]).tolist() if spread.size else (0.0, 0.0)
        found.append((low, high) if high - low >= EVEN_KG_HA else None)
    return tuple(found)
