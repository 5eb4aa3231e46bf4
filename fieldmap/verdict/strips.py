"""What check strips will show: the rate that their middle gets, and the yield at stake where it is short."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fieldmap.budget import response
from fieldmap.field import burn

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from fieldmap.budget import BlockNeed
    from fieldmap.credit import CreditMap
    from fieldmap.field import Field
    from fieldmap.plan import Response
    from fieldmap.spreader import Delivery
    from fieldmap.zones import Strip, Zone, ZoneMap

    Floats = NDArray[np.float64]


AT_RATE = (
    0.10  # received within so much of the strip's rate, or of the field's mean where the strip gets none
)


@dataclass(frozen=True)
class StripFindings:
    """A check strip as it will be spread.

    Parameters
    ----------
    row
        Its row beside the zones.
    level
        Share of the whole need that it gets.
    middle_received_kg_ha
        Product that its middle receives, mean.
    middle_at_rate
        Share of the middle (0 to 1) that receives the strip's rate within 10 %.
    yield_at_stake_kg
        Yield that the strip is expected to lose against the zones' own rates; None without a response curve for
        its crop, and with several applications.
    """

    row: Zone
    level: float
    middle_received_kg_ha: float
    middle_at_rate: float
    yield_at_stake_kg: float | None


def follow_strips(
    strips: Sequence[Strip],
    zone_map: ZoneMap,
    delivery: Delivery,
    credit: CreditMap,
    needs: Sequence[BlockNeed],
    field: Field,
    *,
    curve: Response | None,
    crop: str,
) -> tuple[StripFindings, ...]:
    """What the map, driven, gives each strip; strips and `zone_map.strips` are in the same order.

    `curve` is the yield response of `crop`, where a yield at stake can be told.
    """
    found = []
    for strip, row in zip(strips, zone_map.strips, strict=True):
        received = delivery.received_kg_ha[burn([strip.middle], field.grid) >= 0]
        near = AT_RATE * (row.product_kg_ha or float(np.nanmean(zone_map.product_kg_ha)))
        own = burn([strip.geometry], field.grid) >= 0
        stake = _at_stake_kg(
            own, row, zone_map, credit, needs[strip.block], curve if row.crop == crop else None
        )
        at_rate = np.abs(received - row.product_kg_ha) <= near
        mean = float(received.mean()) if received.size else float("nan")
        found.append(
            StripFindings(row, strip.level, mean, float(at_rate.mean()) if received.size else 0.0, stake)
        )
    return tuple(found)


def _at_stake_kg(
    own: NDArray[np.bool_],
    row: Zone,
    zone_map: ZoneMap,
    credit: CreditMap,
    need: BlockNeed,
    curve: Response | None,
) -> float | None:
    """Expected yield lost on a strip against the rates of the zones it is cut from, kg, over its whole doubt."""
    if curve is None:
        return None
    supply = credit.credit_kg_ha[own] + need.other_credits_kg_ha
    lost = [
        response.mean_squared_shortfall(
            curve.plateau_n_kg_ha - supply - need.recovery * rate, credit.se_kg_ha[own]
        ).mean()
        for rate in (row.rate_n_kg_ha, zone_map.zone_rate_n_kg_ha[own])
    ]
    return max(0.0, -curve.c * 1000.0 * float(lost[0] - lost[1]) * row.area_ha)
