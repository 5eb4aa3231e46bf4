"""zones.geojson, to the letter of RFC 7946."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import numpy as np
import shapely
from shapely.affinity import translate
from shapely.geometry import MultiPolygon, Polygon, box

from fieldmap.export.rows import part_rows
from fieldmap.field import to_lonlat

if TYPE_CHECKING:
    from pathlib import Path
    from typing import Any

    import pyproj
    from shapely.geometry.base import BaseGeometry

    from fieldmap.pipeline import Result
    from fieldmap.verdict import ApplicationMap


DECIMALS = 7  # about a centimetre


def write_zones_geojson(result: Result, one: ApplicationMap, path: Path) -> None:
    """Write one Feature a polygon; its properties are the rows of zones.csv, its ``id`` their first column."""
    features = []
    for row, part in zip(part_rows(one, result.plan.units), one.spread.parts, strict=True):
        number = row.pop("id")
        features.append(
            {
                "type": "Feature",
                "id": number,
                "geometry": geometry(part.geometry, result.field.crs),
                "properties": row,
            }
        )
    collection = {"type": "FeatureCollection", "features": features}
    path.write_text(json.dumps(collection, ensure_ascii=False, allow_nan=False), encoding="utf-8")


def geometry(shape: BaseGeometry, crs: pyproj.CRS) -> dict[str, Any]:
    """A polygon of the field as RFC 7946 wants it: degrees, outer rings anticlockwise, cut at 180°."""
    return shapely.geometry.mapping(_rounded(cut_at_180(to_lonlat(shape, crs))))


def cut_at_180(shape: BaseGeometry) -> BaseGeometry:
    """Longitudes that run on past 180° are cut there and the far part given its own, from -180°."""
    if shape.bounds[2] <= 180.0:
        return shape
    near = shape.intersection(box(-180.0, -90.0, 180.0, 90.0))
    far = translate(shape.intersection(box(180.0, -90.0, 540.0, 90.0)), xoff=-360.0)
    polygons = [part for side in (near, far) for part in shapely.get_parts(side) if isinstance(part, Polygon)]
    return polygons[0] if len(polygons) == 1 else MultiPolygon(polygons)


def _rounded(shape: BaseGeometry) -> BaseGeometry:
    """Seven decimals, without the repeated vertices that rounding leaves; rounded first, oriented then."""
    rounded = shapely.transform(shape, lambda xy: np.round(xy, DECIMALS) + 0.0)
    valid = shapely.make_valid(shapely.remove_repeated_points(rounded))
    return shapely.orient_polygons(valid, exterior_cw=False)
