"""What can be wrong with shapes: missing, misplaced, crossing themselves or overlapping one another."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import shapely
from pyproj import CRS, Transformer
from pyproj.exceptions import ProjError
from shapely.geometry.base import BaseGeometry

from fieldmap.errors import Problem
from fieldmap.read.files import MAX_PROBLEMS, WGS84, quoted

if TYPE_CHECKING:
    from typing import Final

    import geopandas as gpd


FARTHEST: Final = 1e9  # no coordinate on the earth is larger, in metres, feet or degrees
SLIVER_SHARE: Final = 0.01  # overlap of two blocks, as a share of the smaller, that drawing by hand leaves


def is_a(shape: object, kind: str) -> bool:
    """Whether a geometry is a `kind`, several of them, or None for no geometry."""
    return isinstance(shape, BaseGeometry) and shape.geom_type in {kind, f"Multi{kind}"}


def shape_problems(file: str, layer: gpd.GeoDataFrame, *, polygons_only: bool) -> list[Problem]:
    """Missing, crossing or misplaced geometries, each with its feature number."""
    problems = []
    crs = CRS(layer.crs)
    for number, shape in zip(layer.index.tolist(), layer.geometry, strict=True):
        if shape is None or shape.is_empty:
            found, expected, action = (
                "there is no geometry",
                "a shape is expected",
                "Draw it or remove the feature",
            )
        elif polygons_only and not is_a(shape, "Polygon"):
            found, expected = f"this is a {shape.geom_type}", "a polygon is expected"
            action = "Draw it as a closed area or remove it"
        elif fault := _misplaced(shape, crs):
            found, expected, action = fault
        elif not shape.is_valid:
            found, expected = _crossing(shape, crs), "an outline that does not cross itself is expected"
            action = "Move the corner there and save again"
        else:
            continue
        problems.append(Problem(file, found, expected, action, feature=number))
    return problems


def overlaps(file: str, blocks: gpd.GeoDataFrame) -> list[Problem]:
    """Pairs of blocks that share more than a sliver; shares of area hold in degrees as well."""
    shapes, area = blocks.geometry.to_numpy(), shapely.area(blocks.geometry.to_numpy())
    first, second = blocks.sindex.query(shapes, predicate="intersects")
    problems = []
    for one, other in zip(first.tolist(), second.tolist(), strict=True):
        if one >= other:
            continue
        share = shapely.area(shapely.intersection(shapes[one], shapes[other])) / min(area[one], area[other])
        if share > SLIVER_SHARE:
            names = f"blocks {quoted(blocks['block'][one])} and {quoted(blocks['block'][other])}"
            found = f"{names} overlap by {share:.0%} of the smaller"
            expected = "every spot in one block only is expected"
            problems.append(Problem(file, found, expected, "Redraw the line between them"))
        if len(problems) > MAX_PROBLEMS:  # enough said; each pair takes time
            break
    return problems


class PositionFault(NamedTuple):
    """What is wrong with a longitude and latitude, in words, and whether each would do as the other."""

    found: str
    swapped: bool


def position_fault(x: float, y: float, crs: CRS) -> PositionFault | None:
    """What is wrong with a longitude and latitude; None if nothing is, or if `crs` is projected."""
    if not crs.is_geographic or (abs(x) <= 180 and abs(y) <= 90):
        return None
    if abs(x) <= 90 < abs(y) <= 180:
        return PositionFault(f"longitude {x:.7g}, latitude {y:.7g} look swapped", swapped=True)
    return PositionFault(f"longitude {x:.7g}, latitude {y:.7g} are not degrees on the globe", swapped=False)


def _misplaced(shape: BaseGeometry, crs: CRS) -> tuple[str, str, str] | None:
    """What was found, is expected and is to be done, for a shape that cannot lie where it says."""
    coordinates = shapely.get_coordinates(shape)
    if not (np.abs(coordinates) < FARTHEST).all():
        found, expected = "a coordinate is not finite or far too large", "a place on the earth is expected"
        return found, expected, "Draw it again or export it again"
    west, south, east, north = shape.bounds
    if fault := position_fault(west, south, crs) or position_fault(east, north, crs):
        action = "Write longitude first" if fault.swapped else "Save the layer in WGS 84 (EPSG:4326)"
        return fault.found, "longitude -180 to 180 and latitude -90 to 90 are expected", action
    try:
        to_degrees = Transformer.from_crs(crs, WGS84, always_xy=True)
        placed = bool(np.isfinite(to_degrees.transform([west, east], [south, north])).all())
    except ProjError:
        placed = False
    if placed:
        return None
    found = f"x {west:.7g}, y {south:.7g} lie nowhere in {crs.name}"
    return found, "coordinates of the layer's own reference system are expected", "Check which one it is in"


def _crossing(shape: BaseGeometry, crs: CRS) -> str:
    """Word GEOS's reason, such as ``Self-intersection[-77.1 39.2]``, with its place."""
    reason = shapely.is_valid_reason(shape)
    match = re.fullmatch(r"(?P<what>[^\[]+)\[(?P<x>\S+) (?P<y>\S+)\]", reason)
    if match is None:
        return f"the shape is not valid ({reason})"
    x, y = ("longitude", "latitude") if crs.is_geographic else ("x", "y")
    digits = 7 if crs.is_geographic else 2
    place = f"{x} {float(match['x']):.{digits}f}, {y} {float(match['y']):.{digits}f}"
    if "intersection" in match["what"].lower():
        return f"the outline crosses or touches itself at {place}"
    return f"the shape is not valid ({match['what'].lower()}) at {place}"
