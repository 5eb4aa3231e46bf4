"""GeoJSON (RFC 7946), read without GDAL: parsed, checked type by type, built with shapely.

GDAL would choose a driver by the content of the file and could be led to read other files or addresses.
"""

from __future__ import annotations

import json
import math
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from shapely.errors import ShapelyError

from fieldmap.errors import InputError, Problem
from fieldmap.read.files import (
    MAX_COLUMNS,
    MAX_FEATURES,
    MAX_POSITIONS,
    MAX_TEXT_BYTES,
    WGS84,
    known_crs,
    quoted,
    raise_all,
    read_bytes,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path
    from typing import Any

    from pyproj import CRS
    from shapely.geometry.base import BaseGeometry


class GeometryError(ValueError):
    """What was found in a geometry that cannot be built, worded for a message."""


def read_geojson(path: Path) -> gpd.GeoDataFrame:
    """Read a FeatureCollection, a Feature or a bare geometry; the third coordinate is dropped.

    Raises
    ------
    InputError
        Not GeoJSON, a geometry that is not well formed (every such feature is named), or a `crs` member that
        names no known coordinate reference system.
    """
    document = _parse(path)
    features = _features(path, document)
    crs = _crs(path, document)
    geometries: list[BaseGeometry | None] = []
    properties: list[dict[str, Any]] = []
    problems: list[Problem] = []
    for number, feature in enumerate(features, start=1):
        try:
            geometries.append(_feature_geometry(feature))
            properties.append(_feature_properties(feature))
        except GeometryError as error:
            problems.append(
                Problem(path.name, str(error), "RFC 7946 GeoJSON is expected",
                        "Export the layer again as GeoJSON", feature=number)
            )  # fmt: skip
    raise_all(path.name, problems)
    return build_layer(path, geometries, properties, crs)


def build_layer(
    path: Path,
    geometries: Sequence[BaseGeometry | None],
    properties: Sequence[dict[str, Any]],
    crs: CRS,
) -> gpd.GeoDataFrame:
    """Layer of features counted from 1; columns in the order in which they first appear."""
    columns = list(dict.fromkeys(name for row in properties for name in row))
    if len(columns) > MAX_COLUMNS:
        found = f"the features have {len(columns)} different properties"
        raise InputError(
            Problem(path.name, found, f"at most {MAX_COLUMNS} are expected", "Remove those not needed")
        )
    index = pd.RangeIndex(1, len(geometries) + 1, name="feature")
    data = {name: [row.get(name) for row in properties] for name in columns}
    return gpd.GeoDataFrame(data, index=index, geometry=np.array(geometries, dtype=object), crs=crs)


def _parse(path: Path) -> dict[str, Any]:
    content = read_bytes(path, limit=MAX_TEXT_BYTES)
    expected, action = "RFC 7946 GeoJSON is expected", "Export the layer again as GeoJSON"
    try:
        # NaN and Infinity are no JSON, yet some programs write them for a missing value.
        document = json.loads(content.decode("utf-8-sig"), parse_constant=lambda _: None)
    except (ValueError, RecursionError) as error:
        part = f"line {error.lineno}" if isinstance(error, json.JSONDecodeError) else ""
        raise InputError(Problem(path.name, "this is not JSON", expected, action, part=part)) from error
    if not isinstance(document, dict) or not isinstance(document.get("type"), str):
        raise InputError(Problem(path.name, "this JSON is not GeoJSON: it has no type", expected, action))
    return document


def _features(path: Path, document: dict[str, Any]) -> list[Any]:
    kind = document["type"]
    if kind == "Feature":
        return [document]
    if kind in _BUILD or kind == "GeometryCollection":
        return [{"type": "Feature", "geometry": document, "properties": None}]
    features = document.get("features")
    if kind != "FeatureCollection" or not isinstance(features, list):
        found = (
            f"the type is {quoted(kind)}" if kind != "FeatureCollection" else "there is no list of features"
        )
        expected = "a FeatureCollection, Feature or geometry is expected"
        raise InputError(Problem(path.name, found, expected, "Export the layer again as GeoJSON"))
    if len(features) > MAX_FEATURES:
        found = f"there are {len(features)} features"
        raise InputError(
            Problem(path.name, found, f"at most {MAX_FEATURES} are expected", "Keep only this field")
        )
    return features


def _crs(path: Path, document: dict[str, Any]) -> CRS:
    """WGS 84, unless the `crs` member of the older GeoJSON names another system."""
    if "crs" not in document:
        return WGS84
    member = document["crs"]
    properties = member.get("properties") if isinstance(member, dict) else None
    name = properties.get("name") if isinstance(properties, dict) else None
    crs = known_crs(name) if isinstance(name, str) else None
    if crs is None:
        found = (
            f"crs is {quoted(name)}" if isinstance(name, str) else "crs names no coordinate reference system"
        )
        expected = "no crs member (then it is WGS 84), or a name such as EPSG:26918, is expected"
        raise InputError(Problem(path.name, found, expected, "Save the layer in WGS 84 (EPSG:4326)"))
    return crs


def _feature_geometry(feature: object) -> BaseGeometry | None:
    if not isinstance(feature, dict) or feature.get("type") != "Feature":
        raise GeometryError("this is not a Feature")
    geometry = feature.get("geometry")
    return None if geometry is None else _geometry(geometry)


def _feature_properties(feature: dict[str, Any]) -> dict[str, Any]:
    properties = feature.get("properties")
    if properties is None:
        return {}
    if not isinstance(properties, dict):
        raise GeometryError("properties is not an object")
    # A property called geometry would take the place of the geometry itself.
    return {name: _scalar(value) for name, value in properties.items() if name != "geometry"}


def _scalar(value: object) -> object:
    if isinstance(value, list | dict):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, int) and not isinstance(value, bool) and abs(value) >= 2**63:
        return str(value)
    return value


def _geometry(geometry: object) -> BaseGeometry | None:
    kind = geometry.get("type") if isinstance(geometry, dict) else None
    if not isinstance(geometry, dict) or not isinstance(kind, str):
        raise GeometryError("the geometry has no type")
    if kind == "GeometryCollection":
        return _collection(geometry.get("geometries"))
    if kind not in _BUILD:
        raise GeometryError(f"the geometry's type is {quoted(kind)}")
    coordinates = geometry.get("coordinates")
    if not isinstance(coordinates, list):
        raise GeometryError(f"the {kind} has no coordinates")
    if not coordinates:
        return None
    try:
        return _BUILD[kind](coordinates)
    except ShapelyError as error:
        raise GeometryError(f"the {kind} cannot be built") from error


def _collection(members: object) -> BaseGeometry | None:
    if not isinstance(members, list):
        raise GeometryError("the GeometryCollection has no geometries")
    if any(isinstance(member, dict) and member.get("type") == "GeometryCollection" for member in members):
        raise GeometryError("a GeometryCollection holds another")
    built = [part for member in members if (part := _geometry(member)) is not None]
    return shapely.GeometryCollection(built) if built else None


def _position(value: object) -> tuple[float, float]:
    if not isinstance(value, list) or len(value) < 2:
        raise GeometryError("a position has fewer than two numbers")
    for number in value:
        if isinstance(number, bool) or not isinstance(number, int | float):
            raise GeometryError(f"a coordinate is {quoted(json.dumps(number)[:100])}")
    try:
        x, y = float(value[0]), float(value[1])
    except OverflowError as error:
        raise GeometryError("a coordinate is not finite") from error
    if not (math.isfinite(x) and math.isfinite(y)):
        raise GeometryError("a coordinate is not finite")
    return x, y


def _positions(value: object) -> list[tuple[float, float]]:
    if not isinstance(value, list):
        raise GeometryError("coordinates are nested wrongly")
    if len(value) > MAX_POSITIONS:
        raise GeometryError(f"a line or ring has more than {MAX_POSITIONS} positions")
    return [_position(item) for item in value]


def line(positions: list[tuple[float, float]]) -> shapely.LineString:
    """Line through at least two positions."""
    if len(positions) < 2:
        raise GeometryError("a line has fewer than two positions")
    return shapely.LineString(positions)


def polygon(rings: Sequence[list[tuple[float, float]]]) -> shapely.Polygon:
    """Polygon of closed rings, the outer one first."""
    for ring in rings:
        if len(ring) < 4:
            raise GeometryError("a ring has fewer than four positions")
        if ring[0] != ring[-1]:
            raise GeometryError("a ring is not closed: its first and last position differ")
    return shapely.Polygon(rings[0], rings[1:])


def _polygon(coordinates: object) -> shapely.Polygon:
    if not isinstance(coordinates, list) or not coordinates:
        raise GeometryError("a polygon has no ring")
    return polygon([_positions(ring) for ring in coordinates])


_BUILD: dict[str, Callable[[list[Any]], BaseGeometry]] = {
    "Point": lambda value: shapely.Point(_position(value)),
    "LineString": lambda value: line(_positions(value)),
    "Polygon": _polygon,
    "MultiPoint": lambda value: shapely.MultiPoint(_positions(value)),
    "MultiLineString": lambda value: shapely.MultiLineString([line(_positions(part)) for part in value]),
    "MultiPolygon": lambda value: shapely.MultiPolygon([_polygon(part) for part in value]),
}
