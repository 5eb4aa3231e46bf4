"""Phosphorus and potassium that a product brings along with its nitrogen."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fieldmap import tables
from fieldmap.units import KG_HA_PER_LB_AC, rate_text

if TYPE_CHECKING:
    from fieldmap.plan import Plan
    from fieldmap.rates import ZoneMap


@dataclass(frozen=True)
class Along:
    """P2O5 and K2O of one zone within a block, kg/ha; removal by the crop's harvest, None where not known."""

    zone: int
    block: str
    p2o5_kg_ha: float
    k2o_kg_ha: float
    removal_p2o5_kg_ha: float | None
    removal_k2o_kg_ha: float | None


def nutrients_along(zone_map: ZoneMap, plan: Plan) -> tuple[Along, ...]:
    """What each zone and check strip gets besides nitrogen; empty for a product with nitrogen alone."""
    product = plan.spreader.product_entry
    if product.p2o5_pct == 0 and product.k2o_pct == 0:
        return ()
    found = []
    for zone in zone_map.rows:
        crop = tables.find(zone.crop, tables.crops())
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


def nutrient_warnings(along: tuple[Along, ...], zone_map: ZoneMap, plan: Plan) -> tuple[str, ...]:
    """Total nitrogen where only part of it serves this season, and what builds up in the soil."""
    found = []
    product = plan.spreader.product_entry
    highest = max((zone.product_kg_ha for zone in zone_map.zones), default=0.0)
    in_all = rate_text(highest * product.nitrogen_pct / 100, plan.units)
    if product.available < 1 and highest > 0:
        found.append(
            f"Nitrogen rates are of the nitrogen that serves this season, {product.available * 100:.0f} % of what "
            f"{product.name} holds: at the highest rate {in_all} of nitrogen are spread in all."
        )
    for name, element, rating, pairs in (
        (
            "P2O5",
            "phosphorus",
            plan.soil_test.phosphorus,
            [(one.p2o5_kg_ha, one.removal_p2o5_kg_ha) for one in along],
        ),
        (
            "K2O",
            "potassium",
            plan.soil_test.potassium,
            [(one.k2o_kg_ha, one.removal_k2o_kg_ha) for one in along],
        ),
    ):
        most = max((amount for amount, _ in pairs), default=0.0)
        if rating == "high" and most > 0:
            found.append(
                f"The soil test is already high in {element}, and {product.name} brings up to "
                f"{rate_text(most, plan.units)} of {name} more: a product with nitrogen alone leaves it as it is."
            )
        over = [(amount, removal) for amount, removal in pairs if removal is not None and amount > removal]
        if not over:
            continue
        amount, removal = max(over, key=lambda pair: pair[0] - pair[1])
        share = min(removal / amount for amount, removal in over)
        found.append(
            f"{plan.spreader.product_entry.name} brings up to {rate_text(amount, plan.units)} of {name}, more than "
            f"the {rate_text(removal, plan.units)} that the harvest takes away (from memory): it builds up. Within "
            f"removal, about {share * 100:.0f} % of the nitrogen could come from this product: look at the soil test."
        )
    return tuple(found)
