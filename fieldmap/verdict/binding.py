"""What keeps a map from gaining more: the stand, the limit, the step, the zones, or the machine."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

import numpy as np

from fieldmap.spreader import product_rates_kg_ha
from fieldmap.verdict.deliverable import meant_kg_ha

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fieldmap.field import Field
    from fieldmap.plan import Spreader
    from fieldmap.spreader import Delivery
    from fieldmap.zones import DrawnZones, Loss, ZoneMap

    Floats = NDArray[np.float64]


class Bind(StrEnum):
    """What takes most of what a map could gain over one rate."""

    CREDIT = "credit"
    STAND = "stand"
    RATE_MAX = "rate_max"
    RATE_STEP = "rate_step"
    ZONES_MAX = "zones_max"
    ZONE_MIN = "zone_min"
    MACHINE = "machine"


@dataclass(frozen=True)
class Binding:
    """Mean loss as a map is held to one thing after the other, money/ha or (kg N/ha)².

    `one_rate` is lost by the best single rate. Each of `lost` is what its thing adds: every cell at its own rate up
    to the greatest, on the step, on the levels drawn, as shaped, and as received. `nothing_due` says that the credit
    leaves next to no cell short.
    """

    one_rate: float
    lost: dict[Bind, float]
    nothing_due: bool

    def most(self, matters: float) -> Bind:
        """The thing that would change the answer: what leaves too little to gain, else what takes most of it.

        `matters` is the least gain worth a map, in the same unit.
        """
        if self.nothing_due:
            return Bind.CREDIT
        if self.one_rate < matters:
            return Bind.STAND
        return max(self.lost, key=lambda bind: self.lost[bind])


def binding(
    loss: Loss,
    zones: DrawnZones,
    zone_map: ZoneMap,
    delivery: Delivery,
    spreader: Spreader,
    field: Field,
    *,
    scale: float,
) -> Binding:
    """Hold every cell's own rate to one thing after the other.

    Parameters
    ----------
    loss, zones, zone_map, delivery
        What zones are drawn by, the zones before caution, the map, and the map as driven.
    spreader, field
        The machine's rates, and the ground.
    scale
        From the unit of `loss` to that of the answer: money/ha, or (kg N/ha)².

    Returns
    -------
    Binding
        Caution and check strips are left out: they are asked for.
    """
    drawn_kg_ha = meant_kg_ha(zones, field)
    desired, allowed = loss.desired, product_rates_kg_ha(spreader)

    def on(rates: Floats) -> Floats:
        return np.where(np.isfinite(desired), rates[loss.nearest(desired, rates)], np.nan)

    driven = drawn_kg_ha + np.nan_to_num(delivery.received_kg_ha - zone_map.product_kg_ha)
    held = {
        Bind.RATE_MAX: np.minimum(desired, allowed[-1]),
        Bind.RATE_STEP: on(allowed),
        Bind.ZONES_MAX: on(zones.levels_kg_ha),
        Bind.ZONE_MIN: drawn_kg_ha,
        Bind.MACHINE: driven,
    }
    losses = [scale * loss.mean_at(rates) for rates in held.values()]
    return Binding(
        one_rate=scale * loss.mean_at(np.full_like(desired, zones.level_sets[0].levels[0])),
        lost=dict(zip(held, np.diff(losses, prepend=0.0).tolist(), strict=True)),
        nothing_due=bool(np.nanmean(desired) < allowed[allowed > 0][0] / 2),
    )
