"""Zones drawn: from what every rate costs every cell to levels, patches and polygons."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from fieldmap.budget import given_kg_ha, missing_kg_ha
from fieldmap.field import per_block
from fieldmap.spreader import product_rate_kg_ha, product_rates_kg_ha
from fieldmap.zones.levels import best_levels, choose_levels
from fieldmap.zones.loss import MoneyLoss, SquaredLoss
from fieldmap.zones.polygons import zone_polygons
from fieldmap.zones.shapes import shape_zones
from fieldmap.zones.width import widen

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from fieldmap.budget import BlockNeed, response
    from fieldmap.credit import CreditMap
    from fieldmap.field import Field
    from fieldmap.plan import Spreader
    from fieldmap.spreader import Pass
    from fieldmap.zones.levels import LevelSet
    from fieldmap.zones.loss import Loss
    from fieldmap.zones.polygons import ZonePart
    from fieldmap.zones.width import Width

    Floats = NDArray[np.float64]


_SHARE_MIN = 1e-6  # a share of zero, where something is divided by it
SIMPLIFY_CELLS = 3.0  # zone borders are smoothed by this many cells, so that no staircase is left
PLANE_AREA_MARGIN = 1.003  # UTM shows an area up to 0.2 % too large


@dataclass(frozen=True)
class DrawnZones:
    """Zones before caution: the chosen levels, product rate kg/ha (levels,), and polygons on them.

    `level_sets` are the best levels for 1, 2, … zones; `width` says how they came to be wide enough.
    """

    levels_kg_ha: Floats
    level_sets: tuple[LevelSet, ...]
    shapes: tuple[ZonePart, ...]
    width: Width


def zone_loss(
    credit: CreditMap,
    needs: Sequence[BlockNeed],
    field: Field,
    spreader: Spreader,
    money: response.Economics | None,
) -> Loss:
    """What every product rate costs every cell that is spread.

    Money where it is followed; else the squared difference from what the need leaves to spread.
    """
    spread = field.spread_index >= 0
    if money is None:
        return _squared_loss(np.where(spread, credit.credit_kg_ha, np.nan), needs, field, spreader)
    fraction = spreader.product_entry.nitrogen_fraction
    reaches_crop = fraction * per_block(field, [need.recovery for need in needs])
    others = per_block(field, [need.other_credits_kg_ha for need in needs])
    supply = np.where(spread, credit.credit_kg_ha + others, np.nan)
    # Of several applications each bears its share of what is lost, as if the later ones kept step with it.
    share = per_block(field, [max(need.share, _SHARE_MIN) for need in needs])
    given = product_rate_kg_ha(given_kg_ha(needs, field), spreader.product_entry)
    return MoneyLoss.from_rasters(
        share * ((money.plateau_n_kg_ha - supply) / reaches_crop - given),
        share * credit.se_kg_ha / reaches_crop,
        money.curvature_money * reaches_crop**2 / share,
        price=money.nitrogen_price * fraction,
        step_kg_ha=spreader.rate_step_kg_ha,
    )


def _squared_loss(
    credit_kg_ha: Floats, needs: Sequence[BlockNeed], field: Field, spreader: Spreader
) -> SquaredLoss:
    supplemental = np.maximum(missing_kg_ha(needs, credit_kg_ha, field), 0.0)
    return SquaredLoss(product_rate_kg_ha(supplemental, spreader.product_entry))


def draw_zones(
    loss: Loss,
    field: Field,
    spreader: Spreader,
    passes: Sequence[Pass],
    *,
    number: int | None = None,
    zone_min_m2: float | None = None,
) -> DrawnZones:
    """Levels on the product step, patches, width, polygons, from what every rate costs every cell (rasters).

    Parameters
    ----------
    loss, field, spreader, passes
        What zones are drawn by, the field, the machine with its limits, and the passes that will be driven.
    number
        How many levels at most; by default the fewest that serve nearly as well as `zones_max`.
    zone_min_m2
        Least area of a zone's part, m²; by default the spreader's `zone_min`.
    """
    minimum_area_m2 = (zone_min_m2 or spreader.zone_min_m2) * PLANE_AREA_MARGIN
    block_index = field.spread_index
    step_kg_ha = spreader.rate_step_kg_ha
    level_sets = best_levels(
        loss,
        step_kg_ha=step_kg_ha,
        allowed=product_rates_kg_ha(spreader),
        zones_max=spreader.zones_max,
    )
    chosen = choose_levels(level_sets, rounding=loss.of_rounding(step_kg_ha))
    levels_kg_ha = (level_sets[number - 1] if number else chosen).levels
    level = shape_zones(
        loss,
        block_index,
        levels_kg_ha,
        cell_m=field.grid.cell_m,
        swath_m=spreader.swath_m,
        minimum_area_m2=minimum_area_m2,
    )
    level, width = widen(
        level,
        loss,
        block_index,
        levels_kg_ha,
        grid=field.grid,
        passes=passes,
        swath_m=spreader.swath_m,
        minimum_area_m2=minimum_area_m2,
    )
    shapes = zone_polygons(
        level,
        block_index,
        [block.spread for block in field.blocks],
        field.grid,
        minimum_area_m2=minimum_area_m2,
        tolerance_m=SIMPLIFY_CELLS * field.grid.cell_m,
    )
    return DrawnZones(levels_kg_ha, _told(level_sets, loss), shapes, width)


def _told(level_sets: Sequence[LevelSet], loss: Loss) -> tuple[LevelSet, ...]:
    """Level sets as they are shown: squared difference from the best rates, and money where that is known."""
    if not isinstance(loss, MoneyLoss):
        return tuple(level_sets)
    return tuple(replace(each, loss=loss.squared(each.levels), money_ha=each.loss) for each in level_sets)
