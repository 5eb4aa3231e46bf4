"""Phosphorus and potassium that a product brings along with its nitrogen."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from fieldmap.field import burn

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fieldmap import agronomy
    from fieldmap.budget import BlockNeed
    from fieldmap.field import Field
    from fieldmap.zones import ZoneMap


@dataclass(frozen=True)
class Along:
    """P2O5 and K2O of one zone within a block, kg/ha; removal by the crop's harvest, None where not known."""

    zone: int
    block: str
    p2o5_kg_ha: float
    k2o_kg_ha: float
    removal_p2o5_kg_ha: float | None
    removal_k2o_kg_ha: float | None


def nutrients_along(
    zone_map: ZoneMap, product: agronomy.Product, needs: Sequence[BlockNeed]
) -> tuple[Along, ...]:
    """What each zone and check strip gets besides nitrogen; empty for a product with nitrogen alone.

    `needs` of the blocks say what the harvest takes.
    """
    if product.p2o5_pct == 0 and product.k2o_pct == 0:
        return ()
    removals = {need.block: (need.removal_p2o5_kg_ha, need.removal_k2o_kg_ha) for need in needs}
    return tuple(
        Along(
            zone.zone,
            zone.block,
            zone.product_kg_ha * product.p2o5_pct / 100.0,
            zone.product_kg_ha * product.k2o_pct / 100.0,
            *removals[zone.block],
        )
        for zone in zone_map.rows
    )


def nutrients_together(
    maps: Sequence[tuple[ZoneMap, agronomy.Product]], field: Field, along: Sequence[Along]
) -> tuple[Along, ...]:
    """What each zone and check strip of the first map gets besides nitrogen in all applications, means.

    `maps` are those of the applications, each with its product; `along` what each of them brings.
    """
    first = maps[0][0]
    removals = {one.block: one for one in along}
    p2o5, k2o = (
        sum(zone_map.product_kg_ha * getattr(product, share) / 100.0 for zone_map, product in maps)
        for share in ("p2o5_pct", "k2o_pct")
    )
    found = []
    for zone in first.rows if removals else ():
        own = burn([part.geometry for part in zone.parts], field.grid) >= 0
        cells = own & np.isfinite(p2o5)
        if cells.any():
            mean_p2o5, mean_k2o = (float(each[cells].mean()) for each in (p2o5, k2o))
            removal = removals[zone.block]
            found.append(replace(removal, zone=zone.zone, p2o5_kg_ha=mean_p2o5, k2o_kg_ha=mean_k2o))
    return tuple(found)
