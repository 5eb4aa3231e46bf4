"""Zones on fifty random fields, from the loss to the polygons: a coverage, off the setbacks, the raster's total."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely import affinity
from support.machines import spreader
from support.zone_cases import SIDE_M, check_parts, random_blocks, smooth_field

from fieldmap.field.field import Block, Field
from fieldmap.field.grid import Grid, burn
from fieldmap.spreader.passes import passes_over
from fieldmap.spreader.rates import throw_m
from fieldmap.zones.draw import PLANE_AREA_MARGIN, draw_zones
from fieldmap.zones.loss import MoneyLoss, SquaredLoss


def random_field(rng, machine):
    """Blocks with holes and necks, a well and a ditch with their setbacks kept off by the throw."""
    cell_m = float(rng.choice([3.0, 5.0]))
    cells = round(SIDE_M / cell_m)
    grid = Grid(500_000.0, 4_000_000.0, cell_m, cells, cells)
    shapes = [affinity.translate(each, grid.west_m, grid.north_m - SIDE_M) for each in random_blocks(rng)]
    well = shapely.Point(rng.uniform(50, 250, 2)).buffer(rng.uniform(5, 20))
    ditch = shapely.LineString(rng.uniform(0, 300, (2, 2))).buffer(rng.uniform(2, 8))
    no_spread = affinity.translate(shapely.union(well, ditch), grid.west_m, grid.north_m - SIDE_M)
    kept_off = no_spread.buffer(throw_m(machine))
    blocks = tuple(
        Block(str(k), shape, polygons(shape - kept_off), shape.area / 1e4, (shape - kept_off).area / 1e4)
        for k, shape in enumerate(shapes)
    )
    return Field(None, blocks, grid, burn(shapes, grid), no_spread)


def polygons(shape):
    return shapely.MultiPolygon([each for each in shapely.get_parts(shape) if each.geom_type == "Polygon"])


@pytest.mark.parametrize("seed", range(50))
def test_random_fields(seed):
    rng = np.random.default_rng(seed)
    machine = spreader(swath="10 m", zone_min="0.08 ha", border_spreading=bool(seed % 5 == 0))
    field = random_field(rng, machine)
    spread = field.spread_index >= 0
    wanted = np.where(spread, smooth_field(rng, field.grid.shape, rng.uniform(2, 15)), np.nan)
    loss = SquaredLoss(wanted)
    if seed % 2:
        doubt = np.full(wanted.shape, 40.0)
        loss = MoneyLoss.from_rasters(wanted, doubt, np.full(wanted.shape, 0.02), price=0.5, step_kg_ha=10.0)
    drawn = draw_zones(loss, field, machine, passes_over(field, machine))
    blocks = [block.spread for block in field.blocks]
    check_parts(drawn.shapes, blocks, 800 * PLANE_AREA_MARGIN)
    for shape in drawn.shapes:
        assert shape.geometry.intersection(field.no_spread).area < 1e-6
        assert shape.geometry.distance(field.no_spread) > throw_m(machine) - 0.05
    parts_kg = sum(drawn.levels_kg_ha[shape.zone] * shape.geometry.area / 1e4 for shape in drawn.shapes)
    index = burn([shape.geometry for shape in drawn.shapes], field.grid)
    rates = np.array([*(drawn.levels_kg_ha[shape.zone] for shape in drawn.shapes), 0.0])
    raster_kg = rates[index].sum() * field.grid.cell_m**2 / 1e4
    assert raster_kg == pytest.approx(parts_kg, rel=0.05)  # under 4 ha, cells of 3 to 5 m, by their centres
