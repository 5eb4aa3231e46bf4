"""Small fields to test with: metres from a corner, turned into the files of a plan folder."""

from dataclasses import replace

import numpy as np
import pyproj
import shapely
from shapely.geometry import box, mapping

PLAN = """
name = "Test field"
units = "metric"

[field]
boundary = "boundary.geojson"
cell = "5 m"

[samples]
file = "samples.csv"

[cover_crop]
species = "hairy vetch"
stage = "bud"
terminated = 2026-05-04
placement = "incorporated"

[crop]
name = "sweet corn"
planted = 2026-05-24
harvested = 2026-08-14
need = "220 kg/ha"

[spreader]
product = "urea"
swath = "15 m"
rate_step = "10 kg/ha"
rate_min = "20 kg/ha"
rate_max = "600 kg/ha"
zones_max = 4
zone_min = "0.2 ha"
"""
EPSG = 32632
WEST_M, SOUTH_M = 450_000.0, 5_461_000.0
TO_DEGREES = pyproj.Transformer.from_crs(EPSG, 4326, always_xy=True)


def lonlat(shape, *, shift_m=(0.0, 0.0)):
    """A shape in metres from the test field's south-west corner, as longitude and latitude."""
    origin = np.array([WEST_M, SOUTH_M]) + shift_m
    return shapely.transform(shape, lambda xy: np.column_stack(TO_DEGREES.transform(*(xy + origin).T)))


def boundary_geojson(blocks, *, shift_m=(0.0, 0.0)):
    return {
        "type": "FeatureCollection",
        "features": [
            {
                "type": "Feature",
                "properties": {"block": name},
                "geometry": mapping(lonlat(shape, shift_m=shift_m)),
            }
            for name, shape in blocks.items()
        ],
    }


def samples_csv(xy, dry_kg_ha, *, shift_m=(0.0, 0.0), **columns):
    """CSV text of samples at metres from the corner."""
    points = lonlat(shapely.points(np.asarray(xy, dtype=float)), shift_m=shift_m)
    lines = [",".join(("longitude", "latitude", "dry_kg_ha", *columns))]
    for k, point in enumerate(points):
        extra = [str(values[k]) for values in columns.values()]
        lines.append(",".join((f"{point.x:.9f}", f"{point.y:.9f}", repr(float(dry_kg_ha[k])), *extra)))
    return "\n".join(lines) + "\n"


def random_places(number, seed, *, width_m=300.0, height_m=200.0):
    """Places at least 20 m apart in the test field."""
    rng = np.random.default_rng(seed)
    chosen = []
    while len(chosen) < number:
        point = rng.uniform((6.0, 6.0), (width_m - 6.0, height_m - 6.0))
        if all(np.hypot(*(point - other)) > 20.0 for other in chosen):
            chosen.append(point)
    return np.array(chosen)


DEFAULT_BLOCKS = {"field": box(0, 0, 300, 200)}


def trend(xy):
    """A stand that a map must see: 2 to 7 Mg/ha from west to east, with a wave across."""
    x, y = np.asarray(xy).T
    return 2000.0 + 5000.0 * x / 300.0 + 400.0 * np.sin(y / 40.0)


def with_zone_map(result, zone_map):
    """A result whose first application has another zone map."""
    first, *others = result.applications
    spread = replace(first.spread, zone_map=zone_map)
    return replace(result, applications=(replace(first, spread=spread), *others))
