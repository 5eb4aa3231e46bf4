"""What the machine's limits cost: needs below its least rate, and needs above its greatest."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fieldmap.budget import response
from fieldmap.spreader import nitrogen_rate_kg_ha, product_rates_kg_ha, products_that_carry

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from fieldmap.budget import BlockNeed
    from fieldmap.field import Field
    from fieldmap.plan import Spreader
    from fieldmap.zones import ZoneMap

    Floats = NDArray[np.float64]


@dataclass(frozen=True)
class ShortZone:
    """A zone that needs more than `rate_max` carries.

    `passes` is how many would carry its mean need, `products` what of the same kind would in one pass.
    """

    zone: int
    n_short_kg: float
    n_short_kg_ha: float
    passes: int
    products: tuple[str, ...]


@dataclass(frozen=True)
class Limits:
    """What the limits cost, kg of nitrogen over the whole field.

    Parameters
    ----------
    starter
        Whether every zone gets a starter, so that none stays at zero.
    left_short_kg
        Nitrogen that ground set to 0 still needs.
    raised_over_kg
        Nitrogen beyond its need that ground at the least rate gets.
    short
        Zones that need more than the greatest rate.
    """

    starter: bool
    left_short_kg: float
    raised_over_kg: float
    short: tuple[ShortZone, ...]


def machine_limits(
    zone_map: ZoneMap,
    needs: Sequence[BlockNeed],
    field: Field,
    spreader: Spreader,
    money: response.Economics | None,
) -> Limits:
    """Count what the machine's limits leave short and over."""
    fraction = spreader.product_entry.nitrogen_fraction
    due_n = response.due_kg_ha(zone_map.credit_used_kg_ha, needs, field, money)
    zoned = np.isfinite(zone_map.product_kg_ha) & ~zone_map.in_strip
    cell_ha = field.area_ha / float(field.inside.sum())
    rates = product_rates_kg_ha(spreader)
    least = float(rates[rates > 0][0])
    given_n = nitrogen_rate_kg_ha(zone_map.product_kg_ha, spreader.product_entry)
    below = zoned & (due_n < least * fraction)
    at_zero, at_least = (below & (zone_map.product_kg_ha == rate) for rate in (0.0, least))
    return Limits(
        starter=spreader.rate_n_min_kg_ha > 0,
        left_short_kg=float(due_n[at_zero].sum() * cell_ha),
        raised_over_kg=float((given_n - due_n)[at_least].sum() * cell_ha),
        short=_short_zones(zone_map, due_n, given_n, cell_ha, float(rates[-1]), spreader),
    )


def _short_zones(
    zone_map: ZoneMap, due_n: Floats, given_n: Floats, cell_ha: float, most_kg_ha: float, spreader: Spreader
) -> tuple[ShortZone, ...]:
    """Zones at the greatest rate that still miss more than a step, on average."""
    product = spreader.product_entry
    found = []
    for number in sorted({zone.zone for zone in zone_map.zones if zone.product_kg_ha >= most_kg_ha}):
        rate = next(zone.product_kg_ha for zone in zone_map.zones if zone.zone == number)
        cells = (zone_map.product_kg_ha == rate) & ~zone_map.in_strip
        missed = (due_n - given_n)[cells]
        if not missed.size or missed.mean() <= spreader.rate_step_kg_ha * product.nitrogen_fraction:
            continue
        mean_due = float(due_n[cells].mean())
        serving = products_that_carry(mean_due, spreader)
        short_kg = float(np.maximum(missed, 0.0).sum() * cell_ha)
        passes = math.ceil(mean_due / (most_kg_ha * product.nitrogen_fraction) - 1e-9)
        found.append(ShortZone(number, short_kg, float(missed.mean()), passes, serving))
    return tuple(found)
