"""Zoning a million cells: levels, patches and polygons within a second in all."""

from __future__ import annotations

from time import perf_counter

import numpy as np
import pytest
import shapely
from rasterio import features
from scipy import ndimage

from fieldmap.field.grid import Grid
from fieldmap.spreader.passes import Pass
from fieldmap.spreader.rates import rate_steps
from fieldmap.zones.levels import best_levels
from fieldmap.zones.loss import MoneyLoss, SquaredLoss
from fieldmap.zones.polygons import zone_polygons
from fieldmap.zones.shapes import shape_zones
from fieldmap.zones.width import widen

pytestmark = pytest.mark.benchmark

CELL_M = 0.45
GRID = Grid(500_000.0, 4_300_000.0, CELL_M, 1000, 1000)
CORNER = np.array([GRID.west_m, GRID.north_m])
FIELD = shapely.Polygon(
    np.array([(10, -20), (435, -8), (442, -430), (190, -442), (25, -410)]) + CORNER,
    [np.array([(200, -200), (230, -200), (230, -240), (200, -240)]) + CORNER],
)

SWATH_M, MINIMUM_M2 = 18.0, 2000.0
HEADING = shapely.LineString([CORNER + (200, -400), CORNER + (260, -10)])


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


def drawn(desired, make_loss):
    """Levels and patches of five zones, with the clock at each step."""
    block_index = features.rasterize(
        [(FIELD, 0)], out_shape=GRID.shape, transform=GRID.transform, fill=-1, dtype="int16"
    )
    desired = np.where(block_index >= 0, desired, np.nan)
    allowed = rate_steps(step_kg_ha=11.2, rate_min_kg_ha=44.8, rate_max_kg_ha=448.0)
    clock = [perf_counter()]
    loss = make_loss(desired)
    levels = best_levels(loss, step_kg_ha=11.2, allowed=allowed, zones_max=5)[-1]
    clock.append(perf_counter())
    zone_index = shape_zones(
        loss, block_index, levels.levels, cell_m=CELL_M, swath_m=SWATH_M, minimum_area_m2=MINIMUM_M2
    )
    clock.append(perf_counter())
    assert levels.zones == 5
    return loss, block_index, levels, zone_index, clock


def outlined(zone_index, block_index):
    return zone_polygons(
        zone_index, block_index, [FIELD], GRID, minimum_area_m2=MINIMUM_M2, tolerance_m=3 * CELL_M
    )


@pytest.mark.parametrize("make_loss", [SquaredLoss, money_loss])
@pytest.mark.parametrize("texture", [0.0, 0.5])
def test_million_cells(texture, make_loss, bench):
    loss, block_index, levels, zone_index, clock = drawn(desired_rate(texture), make_loss)
    parts = outlined(zone_index, block_index)
    clock.append(perf_counter())
    taken_s = np.diff(clock)
    shaped = np.trace(loss.of_groups(zone_index.astype(int), 5, levels.levels)) / (block_index >= 0).sum()
    bench(
        f"five zones, {(block_index >= 0).sum():,} cells, texture {texture:g}, {make_loss.__name__}",
        taken_s.sum(),
        measured=f"{taken_s.sum():.2f} s; {len(parts)} parts, loss {levels.loss:.4g}, as shaped {shaped:.4g}",
        limit="1 s",
    )
    assert taken_s[1] < 0.5
    assert taken_s.sum() < 1.0
    check(parts)


@pytest.mark.parametrize("runs", [True, False])
@pytest.mark.parametrize("make_loss", [SquaredLoss, money_loss])
def test_million_cells_a_swath_wide(make_loss, runs, bench, monkeypatch):
    if not runs:
        monkeypatch.setattr("fieldmap.zones.width.cut_into_runs", lambda *_, **__: None)
    loss, block_index, levels, zone_index, clock = drawn(desired_rate(0.5), make_loss)
    zone_index, width = widen(
        zone_index,
        loss,
        block_index,
        levels.levels,
        grid=GRID,
        passes=[Pass(1, HEADING, headland=False)],
        swath_m=SWATH_M,
        minimum_area_m2=MINIMUM_M2,
    )
    clock.append(perf_counter())
    parts = outlined(zone_index, block_index)
    clock.append(perf_counter())
    taken_s, thin = np.diff(clock), thin_share(parts)
    bench(
        f"the same a swath wide, {make_loss.__name__}, {'runs tried' if runs else 'opening alone'}",
        taken_s.sum(),
        measured=f"{taken_s.sum():.2f} s; {width.method}, {thin:.1%} thin",
        limit="2.5 s",
    )
    assert taken_s.sum() < 2.5
    assert thin <= 0.02 or width.method == "runs along the heading"
    check(parts)


def thin_share(parts):
    """Share of the area out of reach of every circle of one swath inside its part, measured on the polygons."""
    roomy = FIELD.buffer(-SWATH_M / 2).buffer(SWATH_M / 2)
    thin = 0.0
    for part in parts:
        reached = part.geometry.buffer(-SWATH_M / 2).buffer(SWATH_M / 2 + 0.01)
        thin += part.geometry.intersection(roomy).difference(reached).area
    return thin / FIELD.area


def check(parts):
    areas = np.array([part.geometry.area for part in parts])
    assert areas.sum() == pytest.approx(FIELD.area, rel=5e-4)
    assert areas.min() >= MINIMUM_M2 - 1e-6
    assert shapely.coverage_is_valid([part.geometry for part in parts])
