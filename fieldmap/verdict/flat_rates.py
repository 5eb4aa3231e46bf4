"""One rate a block, as it would be spread without a map: what zones are compared with."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum
from typing import TYPE_CHECKING

import numpy as np

from fieldmap.budget import missing_kg_ha
from fieldmap.spreader import nearest_rate_kg_ha, nitrogen_rate_kg_ha, product_rate_kg_ha, product_rates_kg_ha
from fieldmap.zones import MoneyLoss

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from fieldmap.budget import BlockNeed
    from fieldmap.field import Field
    from fieldmap.plan import Spreader
    from fieldmap.zones import Loss, ZoneMap

    Floats = NDArray[np.float64]


class Way(StrEnum):
    """A way to come to one rate a block."""

    LESS_CREDIT = "need less the mean credit"
    LEAST_MONEY = "the one rate that loses least money"
    SAME_TOTAL = "the zones' total"
    COVER_IGNORED = "need with the cover crop ignored"


@dataclass(frozen=True)
class FlatRate:
    """One rate for each block, in the order of the field's blocks: of product, and of the nitrogen in it."""

    way: Way
    rate_n_kg_ha: tuple[float, ...]
    product_kg_ha: tuple[float, ...]
    product_kg: float
    mean_rate_n_kg_ha: float


def flat_rates(
    zone_map: ZoneMap,
    loss: Loss,
    needs: Sequence[BlockNeed],
    field: Field,
    spreader: Spreader,
    *,
    given_n_kg_ha: Mapping[Way, Sequence[float]] | None = None,
) -> tuple[FlatRate, ...]:
    """The flat rates that zones are compared with; the first is the best that can be had without a map.

    `given_n_kg_ha` is what earlier applications would have spread of each, by its way and block: who spreads one
    rate did so before.
    """

    def after_its_own(way: Way) -> list[BlockNeed]:
        if given_n_kg_ha is None:
            return list(needs)
        pairs = zip(needs, given_n_kg_ha[way], strict=True)
        return [replace(need, given_n_kg_ha=given) for need, given in pairs]

    flats = (
        flat_rate(zone_map.credit_used_kg_ha, after_its_own(Way.LESS_CREDIT), field, spreader),
        same_total(zone_map, field, spreader),
        cover_ignored(zone_map.credit_used_kg_ha, after_its_own(Way.COVER_IGNORED), field, spreader),
    )
    return (least_loss(loss, field, spreader), *flats) if isinstance(loss, MoneyLoss) else flats


def flat_rate(
    credit_used_kg_ha: Floats,
    needs: Sequence[BlockNeed],
    field: Field,
    spreader: Spreader,
    *,
    way: Way = Way.LESS_CREDIT,
) -> FlatRate:
    """What each block needs less its mean credit, on the product step.

    `credit_used_kg_ha` is the raster of the credit, as cautious as the zones', NaN where nothing is spread.
    """
    missing = missing_kg_ha(needs, credit_used_kg_ha, field)
    wanted_n = np.array(
        [max(0.0, _mean(missing[field.block_index == number])) for number in range(len(field.blocks))]
    )
    allowed = product_rates_kg_ha(spreader)
    wanted = product_rate_kg_ha(wanted_n, spreader.product_entry)
    return _flat(way, [nearest_rate_kg_ha(float(rate), allowed) for rate in wanted], field, spreader)


def cover_ignored(
    credit_used_kg_ha: Floats, needs: Sequence[BlockNeed], field: Field, spreader: Spreader
) -> FlatRate:
    """The need less the other credits: what many would spread who do not credit the cover crop."""
    no_credit = np.where(np.isfinite(credit_used_kg_ha), 0.0, np.nan)
    return flat_rate(no_credit, needs, field, spreader, way=Way.COVER_IGNORED)


def same_total(zone_map: ZoneMap, field: Field, spreader: Spreader) -> FlatRate:
    """The product of each block's zones, spread evenly over it; on no step, so that the total is the same."""
    zones = {block.name: [z for z in zone_map.zones if z.block == block.name] for block in field.blocks}
    areas_ha = [sum(zone.area_ha for zone in own) for own in zones.values()]
    totals_kg = [sum(zone.product_kg for zone in own) for own in zones.values()]
    rates = [kg / ha if ha > 0 else 0.0 for kg, ha in zip(totals_kg, areas_ha, strict=True)]
    return _flat(Way.SAME_TOTAL, rates, field, spreader)


def least_loss(loss: Loss, field: Field, spreader: Spreader) -> FlatRate:
    """The one rate of each block that loses least."""
    allowed = product_rates_kg_ha(spreader)
    costs = loss.of_groups(field.spread_index.astype(np.int64), len(field.blocks), allowed)
    return _flat(Way.LEAST_MONEY, allowed[costs.argmin(axis=1)].tolist(), field, spreader)


def _flat(way: Way, product_kg_ha: list[float], field: Field, spreader: Spreader) -> FlatRate:
    rate_n_kg_ha = nitrogen_rate_kg_ha(np.array(product_kg_ha), spreader.product_entry)
    areas_ha = np.array([block.spread_ha for block in field.blocks])
    return FlatRate(
        way,
        tuple(rate_n_kg_ha.tolist()),
        tuple(product_kg_ha),
        float(np.array(product_kg_ha) @ areas_ha),
        float(np.average(rate_n_kg_ha, weights=areas_ha)),
    )


def _mean(values: Floats) -> float:
    """Mean of what is spread; 0 for a block without a cell to spread."""
    finite = values[np.isfinite(values)]
    return float(finite.mean()) if finite.size else 0.0
