"""Phosphorus and potassium that a product brings along with its nitrogen."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from fieldmap import agronomy
from fieldmap.field import burn
from fieldmap.units import KG_HA_PER_LB_AC

if TYPE_CHECKING:
    from collections.abc import Sequence

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


def nutrients_along(zone_map: ZoneMap, product: agronomy.Product) -> tuple[Along, ...]:
    """What each zone and check strip gets besides nitrogen; empty for a product with nitrogen alone."""
    if product.p2o5_pct == 0 and product.k2o_pct == 0:
        return ()
    found = []
    for zone in zone_map.rows:
        crop = agronomy.find(zone.crop, agronomy.crops())
        removal = (crop.removal_p2o5_lb_ac, crop.removal_k2o_lb_ac) if crop else (None, None)
        p2o5_removal, k2o_removal = (None if each is None else each * KG_HA_PER_LB_AC for each in removal)
        found.append(
            Along(
                zone.zone,
                zone.block,
                zone.product_kg_ha * product.p2o5_pct / 100.0,
                zone.product_kg_ha * product.k2o_pct / 100.0,
                p2o5_removal,
                k2o_removal,
            )
        )
    return tuple(found)


def nutrients_together(maps: Sequence[tuple[ZoneMap, agronomy.Product]], field: Field) -> tuple[Along, ...]:
    """What each zone and check strip of the first map gets besides nitrogen in all applications, means.

    `maps` are those of the applications, each with its product.
    """
    first = maps[0][0]
    removals = {one.block: one for zone_map, product in maps for one in nutrients_along(zone_map, product)}
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
