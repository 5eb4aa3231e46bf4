"""A spreader and a plain field for it to drive."""

from shapely.geometry import box

from fieldmap.field.field import Block, Field
from fieldmap.field.grid import Grid, burn
from fieldmap.plan.spreader import Spreader

BASE = {
    "product": "urea", "swath": "20 m", "rate_step": "10 kg/ha", "rate_min": "10 kg/ha", "rate_max": "400 kg/ha",
    "zones_max": 4, "zone_min": "0.2 ha",
}  # fmt: skip


def spreader(**keys):
    return Spreader.model_validate({**BASE, **keys})


def field(shape=None, *, spread=None, cell_m=2.0):
    """A field in metres, no map projection: areas are plane."""
    shape = shape or box(0, 0, 400, 200)
    spread = spread or shape
    west, south, east, north = shape.bounds
    grid = Grid(west, north, cell_m, int((north - south) / cell_m), int((east - west) / cell_m))
    block = Block("field", shape, spread, shape.area / 1e4, spread.area / 1e4)
    no_spread = shape.difference(spread)
    return Field(None, (block,), grid, burn([shape], grid), no_spread)
