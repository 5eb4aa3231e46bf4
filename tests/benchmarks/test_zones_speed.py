"""Zoning a million cells: levels, patches and polygons within a second in all."""

from __future__ import annotations

from time import perf_counter

import numpy as np
import pytest
import shapely
from rasterio import features
from scipy import ndimage

from fieldmap.coverage import zone_polygons
from fieldmap.field import Grid
from fieldmap.loss import MoneyLoss, SquaredLoss
from fieldmap.zones import best_levels, rate_steps, shape_zones

pytestmark = pytest.mark.benchmark

CELL_M = 0.45
GRID = Grid(500_000.0, 4_300_000.0, CELL_M, 1000, 1000)
CORNER = np.array([GRID.west_m, GRID.north_m])
FIELD = shapely.Polygon(
    np.array([(10, -20), (435, -8), (442, -430), (190, -442), (25, -410)]) + CORNER,
    [np.array([(200, -200), (230, -200), (230, -240), (200, -240)]) + CORNER],
)


def desired_rate(texture):
    """Broad swings as of a kriged surface, and a share of 12 m texture; kg/ha of product."""
    rng = np.random.default_rng(1)
    broad, fine = (ndimage.gaussian_filter(rng.standard_normal(GRID.shape), reach) for reach in (120, 27))
    field = broad / broad.std() + texture * fine / fine.std()
    return np.clip(150 + 50 * field, 0, None)


def money_loss(desired):
    """As of urea at 552 USD/t, a crop at 400 USD/t and doubt of 20 to 60 kg/ha of product."""
    sd = 40 + 20 * np.sin(np.linspace(0, 6, GRID.rows))[:, None] * np.ones(GRID.columns)
    return MoneyLoss.from_rasters(
        desired + 13.0, sd, np.full(GRID.shape, 0.1 * 0.46**2), price=0.552, step_kg_ha=11.2
    )


@pytest.mark.parametrize("make_loss", [SquaredLoss, money_loss])
@pytest.mark.parametrize("texture", [0.0, 0.5])
def test_million_cells(texture, make_loss, capsys):
    block_index = features.rasterize(
        [(FIELD, 0)], out_shape=GRID.shape, transform=GRID.transform, fill=-1, dtype="int16"
    )
    inside = block_index >= 0
    desired = np.where(inside, desired_rate(texture), np.nan)
    allowed = rate_steps(step_kg_ha=11.2, rate_min_kg_ha=44.8, rate_max_kg_ha=448.0)

    clock = [perf_counter()]
    loss = make_loss(desired)
    levels = best_levels(loss, step_kg_ha=11.2, allowed=allowed, zones_max=5)[-1]
    clock.append(perf_counter())
    zone_index = shape_zones(
        loss, block_index, levels.levels, cell_m=CELL_M, swath_m=18, minimum_area_m2=2000
    )
    clock.append(perf_counter())
    parts = zone_polygons(zone_index, block_index, [FIELD], GRID, minimum_area_m2=2000, tolerance_m=3)
    clock.append(perf_counter())

    taken_s = np.diff(clock)
    shaped = ((desired[inside] - levels.levels[zone_index[inside]]) ** 2).mean()
    with capsys.disabled():
        print(  # noqa: T201
            f"\n{inside.sum()} cells, texture {texture}, {make_loss.__name__}: levels {taken_s[0]:.3f} s, patches {taken_s[1]:.3f} s, "
            f"polygons {taken_s[2]:.3f} s; {len(parts)} parts; "
            f"loss of the levels {levels.loss:.1f}, as shaped {shaped:.1f} (kg/ha)²"
        )
    assert levels.zones == 5
    assert taken_s[0] < 0.4
    assert taken_s[1] < 0.5
    assert taken_s.sum() < 1.0
