"""The field: its blocks in the zone's metres, the one grid that every raster is on, and its true area."""

from fieldmap.field.field import Field, build_field, latitude, per_block
from fieldmap.field.grid import Grid, burn, lookup
from fieldmap.field.projection import WGS84, to_lonlat, true_area_ha

__all__ = [
    "WGS84",
    "Field",
    "Grid",
    "build_field",
    "burn",
    "latitude",
    "lookup",
    "per_block",
    "to_lonlat",
    "true_area_ha",
]
