"""Vector layers: field boundary, no-spread areas and any other layer of points, lines or polygons.

GDAL chooses a driver by content and can be led to read other files, so it opens only what has been checked to
be a GeoPackage or a shapefile, under a name of our own. GeoJSON and KML are read without it.
"""

from __future__ import annotations

import tempfile
import warnings
from pathlib import Path
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pyogrio.errors
import shapely
from pyproj.exceptions import ProjError
from shapely.errors import ShapelyError

from fieldmap.errors import InputError, Problem
from fieldmap.read.delimited import parse_number
from fieldmap.read.files import (
    MAX_COLUMNS,
    MAX_FEATURES,
    MAX_POSITIONS,
    check_file,
    quoted,
    raise_all,
    text_of,
)
from fieldmap.read.layers.checks import is_a, overlaps, shape_problems
from fieldmap.read.layers.geojson import read_geojson
from fieldmap.read.layers.geopackage import copy_geopackage
from fieldmap.read.layers.kml import read_kml
from fieldmap.read.layers.shapefile import unpack_shapefile

if TYPE_CHECKING:
    from typing import Any

    from pyproj import CRS


ACCEPTED = {
    ".geojson": "GeoJSON",
    ".json": "GeoJSON",
    ".gpkg": "GeoPackage",
    ".zip": "zipped shapefile",
    ".kml": "KML",
}

MAX_BLOCKS = 500
MAX_NO_SPREAD = 10_000

_GDAL_ERRORS = (
    pyogrio.errors.DataSourceError,
    pyogrio.errors.DataLayerError,
    pyogrio.errors.CRSError,
    pyogrio.errors.FeatureError,
    pyogrio.errors.FieldError,
    pyogrio.errors.GeometryError,
    ShapelyError,
    ProjError,
    ValueError,
    UnboundLocalError,  # pyogrio 0.13 on a reference system whose text is not UTF-8
)


def read_layer(path: Path, *, layer: str | None = None) -> gpd.GeoDataFrame:
    """Read a layer from GeoJSON, GeoPackage, zipped shapefile or KML.

    Parameters
    ----------
    path
        File whose extension says its format.
    layer
        Name of the layer, for a GeoPackage with several.

    Returns
    -------
    geopandas.GeoDataFrame
        Features counted from 1 in the index, two-dimensional geometry (or None), a geographic or projected
        CRS that is always set.

    Raises
    ------
    InputError
        The file is not what its extension says, is too large or unsafe, has no CRS, or holds a geometry that
        is not well formed.
    """
    kind = ACCEPTED.get(path.suffix.lower())
    if kind is None:
        accepted = ", ".join(f"{name} ({suffix})" for suffix, name in ACCEPTED.items() if suffix != ".json")
        found = f"files ending in {quoted(path.suffix)} are not read"
        expected = f"one of these is expected: {accepted}"
        raise InputError(Problem(path.name, found, expected, "Export the layer in one of these"))
    check_file(path, limit=None)
    if layer is not None and kind != "GeoPackage":
        found = f"layer {quoted(layer)} was asked for"
        expected = "only a GeoPackage has layers to choose from"
        raise InputError(Problem(path.name, found, expected, "Leave the layer out"))
    if kind == "GeoJSON":
        frame = read_geojson(path)
    elif kind == "KML":
        frame = read_kml(path)
    else:
        frame = _read_with_gdal(path, kind, layer)
    _check_crs(path, frame.crs)
    if len(frame) == 0:
        found, expected = "the layer is empty", "at least one feature is expected"
        raise InputError(Problem(path.name, found, expected, "Draw it again or export it again"))
    positions = int(shapely.get_num_coordinates(frame.geometry.to_numpy()).sum())
    _check_count(path, positions, MAX_POSITIONS, "positions")
    return frame


def read_boundary(path: Path) -> gpd.GeoDataFrame:
    """Read the field boundary: one or more polygons, the blocks.

    A column `block`, else `name`, names them (any case); polygons of one name are one block. Points in the
    file (labels) are passed over.

    Returns
    -------
    geopandas.GeoDataFrame
        Columns `block` (text, not empty, unique) and `geometry` (valid Polygon or MultiPolygon), in the
        file's CRS and in the order of the file.

    Raises
    ------
    InputError
        No polygon; a line, an empty or self-crossing polygon; a position that cannot be right; a polygon
        without a name beside named ones; or blocks that overlap by more than 1 % of the smaller.
    """
    layer = read_layer(path)
    shapes = layer[[not is_a(shape, "Point") for shape in layer.geometry]]
    if not any(is_a(shape, "Polygon") for shape in shapes.geometry):
        found = f"there is no polygon among {len(layer)} features"
        expected = "the field outline as one or more polygons is expected"
        raise InputError(Problem(path.name, found, expected, "Draw the outline as a closed area"))
    _check_count(path, len(shapes), MAX_BLOCKS, "polygons")
    problems = shape_problems(path.name, shapes, polygons_only=True)
    blocks, naming = _block_names(path, shapes)
    raise_all(path.name, [*problems, *naming])
    merged = gpd.GeoDataFrame(
        {"block": blocks.to_numpy()}, geometry=shapes.geometry.to_numpy(), crs=layer.crs
    )
    if not blocks.is_unique:
        merged = merged.dissolve(by="block", sort=False).reset_index()[["block", "geometry"]]
    raise_all(path.name, overlaps(path.name, merged))
    return merged


def read_no_spread(path: Path) -> gpd.GeoDataFrame:
    """Read the areas where nothing may be spread: points, lines or polygons.

    Returns
    -------
    geopandas.GeoDataFrame
        Columns `setback_m` (float64, metres, 0 where absent) and `geometry`, in the file's CRS; index is the
        feature number.

    Raises
    ------
    InputError
        A setback that is not a number of metres from 0 up, an empty or self-crossing geometry, or a position
        that cannot be right.
    """
    layer = read_layer(path)
    _check_count(path, len(layer), MAX_NO_SPREAD, "features")
    setback_m, problems = _setbacks(path, layer)
    raise_all(path.name, [*problems, *shape_problems(path.name, layer, polygons_only=False)])
    return gpd.GeoDataFrame(
        {"setback_m": setback_m}, index=layer.index, geometry=layer.geometry, crs=layer.crs
    )


def _read_with_gdal(path: Path, kind: str, layer: str | None) -> gpd.GeoDataFrame:
    with tempfile.TemporaryDirectory(prefix="fieldmap-") as name:
        folder = Path(name)
        if kind == "GeoPackage":
            copy, layer = copy_geopackage(path, folder, layer=layer)
            source = f"GPKG:{copy}"  # the prefix pins the driver
        else:
            source, layer = str(unpack_shapefile(path, folder)), "layer"
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")  # GDAL's own words; what matters is checked below
                frame = pyogrio.read_dataframe(source, layer=layer, max_features=MAX_FEATURES + 1)
        except _GDAL_ERRORS as error:
            found, expected = f"the {kind} cannot be read", f"a sound {kind} is expected"
            raise InputError(Problem(path.name, found, expected, "Export the layer again")) from error
    _check_count(path, len(frame), MAX_FEATURES, "features")
    _check_count(path, len(frame.columns), MAX_COLUMNS, "columns")
    twice = frame.columns[frame.columns.duplicated()]
    if len(twice):
        found, expected = f"column {quoted(str(twice[0]))} is there twice", "each column once is expected"
        raise InputError(Problem(path.name, found, expected, "Rename or delete one"))
    if not isinstance(frame, gpd.GeoDataFrame):
        found, expected = "the layer has no geometry", "points, lines or polygons are expected"
        raise InputError(Problem(path.name, found, expected, "Export the layer with its geometry"))
    frame = frame.set_geometry(shapely.force_2d(frame.geometry.to_numpy()), crs=frame.crs)
    frame.index = pd.RangeIndex(1, len(frame) + 1, name="feature")
    return frame


def _check_count(path: Path, found: int, most: int, what: str) -> None:
    if found > most:
        expected = f"at most {most} are expected"
        raise InputError(
            Problem(path.name, f"there are more than {most} {what}", expected, "Keep only this field")
        )


def _check_crs(path: Path, crs: CRS | None) -> None:
    found = None
    if crs is None or crs.name.lower().startswith("undefined"):
        found = "the layer has no coordinate reference system"
    elif not (crs.is_geographic or crs.is_projected):
        found = f"the coordinate reference system is {quoted(crs.name)}"
    if found:
        expected = "one that is tied to the earth is expected"
        raise InputError(Problem(path.name, found, expected, "Set it and export again, best as WGS 84"))


def _column(layer: gpd.GeoDataFrame, wanted: str) -> list[str]:
    return [name for name in layer.columns.drop("geometry") if str(name).strip().lower() == wanted]


def _block_names(path: Path, shapes: gpd.GeoDataFrame) -> tuple[pd.Series[str], list[Problem]]:
    """Name of each polygon's block, and the problems in naming them."""
    for wanted in ("block", "name"):
        columns = _column(shapes, wanted)
        if len(columns) > 1:
            found = f"there are {len(columns)} columns called {wanted}"
            return shapes.index.astype(str).to_series(), [
                Problem(path.name, found, "one is expected", "Rename or delete the others")
            ]
        if columns:
            given = shapes[columns[0]].map(text_of).astype("str")
            if (given != "").any():
                return given, [
                    Problem(path.name, f"{columns[0]} is empty",
                            "a name for every polygon is expected", "Name its block", feature=number)
                    for number in given.index[given == ""]
                ]  # fmt: skip
    counted = ["field"] if len(shapes) == 1 else [f"block {number}" for number in range(1, len(shapes) + 1)]
    return pd.Series(counted, index=shapes.index, dtype="str"), []


def _setbacks(
    path: Path, layer: gpd.GeoDataFrame
) -> tuple[np.ndarray[Any, np.dtype[np.float64]], list[Problem]]:
    setback_m = np.zeros(len(layer))
    expected = "one column setback_m, in metres, is expected"
    columns = [name for name in layer.columns.drop("geometry") if "setback" in str(name).lower()]
    odd = [name for name in columns if str(name).strip().lower() != "setback_m"]
    if odd or len(columns) > 1:
        listed = ", ".join(quoted(str(name)) for name in columns)
        return setback_m, [
            Problem(path.name, f"the setback stands in {listed}", expected, "Rename or delete columns")
        ]
    problems = []
    rows = zip(layer.index.tolist(), layer[columns[0]], strict=True) if columns else ()
    for position, (number, value) in enumerate(rows):
        metres = parse_number(text_of(value))
        if metres is None or metres < 0 or np.isinf(metres):
            found = f"setback_m is {quoted(text_of(value))}"
            problems.append(
                Problem(path.name, found, "metres from 0 up are expected", "Correct it", feature=number)
            )
        elif not np.isnan(metres):
            setback_m[position] = metres
    return setback_m, problems
