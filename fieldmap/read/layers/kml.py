"""KML, read without GDAL: Placemarks with their geometry, name and extended data. Nothing is followed."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING
from xml.etree.ElementTree import ParseError

import shapely
from defusedxml import DefusedXmlException
from defusedxml.ElementTree import fromstring
from shapely.errors import ShapelyError

from fieldmap.errors import InputError, Problem
from fieldmap.read.files import MAX_FEATURES, MAX_TEXT_BYTES, WGS84, quoted, raise_all, read_bytes
from fieldmap.read.layers.geojson import GeometryError, build_layer, line, polygon

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path
    from typing import Any
    from xml.etree.ElementTree import Element

    import geopandas as gpd
    from shapely.geometry.base import BaseGeometry


# Geometries inside geometries: deeper than any program writes, far from Python's recursion limit.
_MAX_DEPTH = 20

_SEVERAL: dict[str, Callable[[Any], BaseGeometry]] = {
    "Point": shapely.MultiPoint,
    "LineString": shapely.MultiLineString,
    "Polygon": shapely.MultiPolygon,
}


def read_kml(path: Path) -> gpd.GeoDataFrame:
    """Read the Placemarks of a KML file, in WGS 84; altitude is dropped.

    Columns are `name` and whatever ExtendedData holds. Network links, overlays and tracks are not read.

    Raises
    ------
    InputError
        Not KML, a document type definition, no Placemark, or a geometry that is not well formed.
    """
    root = _parse(path)
    placemarks = [element for element in root.iter() if _local(element) == "Placemark"]
    if not placemarks or len(placemarks) > MAX_FEATURES:
        found = "there is no Placemark" if not placemarks else f"there are {len(placemarks)} Placemarks"
        expected = f"1 to {MAX_FEATURES} are expected"
        raise InputError(
            Problem(path.name, found, expected, "Export the field itself, not a link to it, as KML")
        )
    geometries: list[BaseGeometry | None] = []
    properties: list[dict[str, Any]] = []
    problems: list[Problem] = []
    for number, placemark in enumerate(placemarks, start=1):
        try:
            geometries.append(_geometry_of(placemark))
            properties.append(_properties_of(placemark))
        except (GeometryError, ShapelyError) as error:
            found = str(error) if isinstance(error, GeometryError) else "the geometry cannot be built"
            expected = "KML coordinates longitude,latitude are expected"
            problems.append(
                Problem(path.name, found, expected, "Draw it again or export it again", feature=number)
            )
    raise_all(path.name, problems)
    return build_layer(path, geometries, properties, WGS84)


def _parse(path: Path) -> Element:
    content = read_bytes(path, limit=MAX_TEXT_BYTES)
    expected, action = "KML is expected", "Export the field again as KML"
    try:
        root: Element = fromstring(content, forbid_dtd=True)
    except DefusedXmlException as error:
        found = "the file has a document type definition, which could make it read other files"
        raise InputError(Problem(path.name, found, "plain KML is expected", action)) from error
    except (ParseError, ValueError, LookupError) as error:  # LookupError: an encoding nobody knows
        raise InputError(Problem(path.name, "this is not XML", expected, action)) from error
    if _local(root) != "kml":
        found = f"the root element is {quoted(_local(root))}"
        raise InputError(Problem(path.name, found, expected, action))
    return root


def _local(element: Element) -> str:
    """Name without its namespace: programs differ in which one they write."""
    return element.tag.rpartition("}")[2] if isinstance(element.tag, str) else ""


def _children(element: Element, name: str) -> Iterator[Element]:
    return (child for child in element if _local(child) == name)


def _text(element: Element, name: str) -> str:
    return next((child.text or "" for child in _children(element, name)), "").strip()


def _properties_of(placemark: Element) -> dict[str, Any]:
    properties: dict[str, Any] = {"name": _text(placemark, "name")}
    for extended in _children(placemark, "ExtendedData"):
        for data in _children(extended, "Data"):
            properties[data.get("name", "")] = _text(data, "value")
        for schema in _children(extended, "SchemaData"):
            for simple in _children(schema, "SimpleData"):
                properties[simple.get("name", "")] = (simple.text or "").strip()
    return {name: value for name, value in properties.items() if name not in {"", "geometry"}}


def _geometry_of(placemark: Element) -> BaseGeometry | None:
    parts = [part for child in placemark for part in _parts(child, depth=0)]
    if len(parts) <= 1:
        return parts[0] if parts else None
    kinds = {part.geom_type for part in parts}
    return _SEVERAL[kinds.pop()](parts) if len(kinds) == 1 else shapely.GeometryCollection(parts)


def _parts(element: Element, *, depth: int) -> Iterator[BaseGeometry]:
    if depth > _MAX_DEPTH:
        raise GeometryError("geometries are nested too deeply")
    kind = _local(element)
    if kind == "Point":
        positions = _positions(element)
        if len(positions) != 1:
            raise GeometryError(f"a Point has {len(positions)} positions")
        yield shapely.Point(positions[0])
    elif kind == "LineString":
        yield line(_positions(element))
    elif kind == "Polygon":
        outer = [_ring(boundary) for boundary in _children(element, "outerBoundaryIs")]
        if len(outer) != 1:
            raise GeometryError(f"a Polygon has {len(outer)} outer boundaries")
        yield polygon(outer + [_ring(boundary) for boundary in _children(element, "innerBoundaryIs")])
    elif kind == "MultiGeometry":
        for child in element:
            yield from _parts(child, depth=depth + 1)


def _ring(boundary: Element) -> list[tuple[float, float]]:
    ring = next(_children(boundary, "LinearRing"), None)
    if ring is None:
        raise GeometryError("a Polygon's boundary has no LinearRing")
    return _positions(ring)


def _positions(element: Element) -> list[tuple[float, float]]:
    positions = []
    for text in _text(element, "coordinates").split():
        try:
            x, y = (float(number) for number in text.split(",")[:2])
        except ValueError as error:
            raise GeometryError(f"a position is {quoted(text)}") from error
        if not (math.isfinite(x) and math.isfinite(y)):
            raise GeometryError(f"a position is {quoted(text)}")
        positions.append((x, y))
    return positions
