"""The map that the machine can deliver, where it cannot deliver the one drawn: fewer zones, or larger ones."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fieldmap.field import burn, lookup
from fieldmap.spreader import DELIVERABLE, drive
from fieldmap.zones import draw_zones

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from fieldmap.field import Field
    from fieldmap.plan import Spreader
    from fieldmap.spreader import Delivery, Pass
    from fieldmap.zones import DrawnZones, Loss

    Floats = NDArray[np.float64]


SHORT_RUNS = (
    0.1  # so much of the way in runs shorter than a rate change is more than a map should ask; judgement
)
LARGER = (2.0, 4.0)  # times zone_min


@dataclass(frozen=True)
class DrivenMap:
    """A map as the machine would deliver it.

    Parameters
    ----------
    zones
        Number of rates.
    zone_min_ha
        Least area of a zone's part.
    loss
        Mean loss of what the ground receives, in the unit that zones are drawn by.
    within_tenth
        Share of the area (0 to 1) that receives what this map means, within 10 %.
    short_runs
        Share of the way that lies in runs shorter than a rate change takes.
    """

    zones: int
    zone_min_ha: float
    loss: float
    within_tenth: float
    short_runs: float


@dataclass(frozen=True)
class Offer:
    """What the drawn map comes to when driven, and what the others that were tried do.

    `best` is the one that loses least; the drawn one where none does better.
    """

    drawn: DrivenMap
    others: tuple[DrivenMap, ...]

    @property
    def best(self) -> DrivenMap:
        """Least loss on the ground; of equals the drawn map, then the fewest zones."""
        return min((self.drawn, *self.others), key=lambda one: one.loss)


def offer_other_map(
    delivery: Delivery,
    loss: Loss,
    zones: DrawnZones,
    passes: Sequence[Pass],
    field: Field,
    spreader: Spreader,
) -> Offer | None:
    """Try fewer and larger zones where the machine cannot deliver the map; None where it can.

    Parameters
    ----------
    delivery
        The map as it is driven.
    loss, zones
        What it is drawn by, and the zones drawn.
    passes, field, spreader
        The passes that will be driven, the field, the machine.
    """
    if delivery.within_tenth >= DELIVERABLE and delivery.short_runs <= SHORT_RUNS:
        return None

    def driven(drawn: DrawnZones, zone_min_m2: float) -> DrivenMap:
        received = drive(passes, meant_kg_ha(drawn, field), field, spreader=spreader)
        return DrivenMap(
            zones=np.unique([shape.zone for shape in drawn.shapes]).size,
            zone_min_ha=zone_min_m2 / 10_000.0,
            loss=loss.mean_at(received.received_kg_ha),
            within_tenth=received.within_tenth,
            short_runs=received.short_runs,
        )

    own_m2 = spreader.zone_min_m2
    number = zones.levels_kg_ha.size
    tried = [
        driven(draw_zones(loss, field, spreader, passes, number=fewer), own_m2) for fewer in range(1, number)
    ]
    for factor in LARGER:
        larger = draw_zones(loss, field, spreader, passes, number=number, zone_min_m2=factor * own_m2)
        tried.append(driven(larger, factor * own_m2))
    return Offer(driven(zones, own_m2), tuple(tried))


def meant_kg_ha(zones: DrawnZones, field: Field) -> Floats:
    """Product rate of each cell, NaN where nothing is spread."""
    index = burn([shape.geometry for shape in zones.shapes], field.grid)
    return lookup([zones.levels_kg_ha[shape.zone] for shape in zones.shapes], index)
