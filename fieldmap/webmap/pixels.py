"""Surfaces as pictures over the map: warped to its projection, in steps of the palette."""

from __future__ import annotations

import base64
import io
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, cast

import numpy as np
import pyproj
import shapely
from PIL import Image
from scipy.ndimage import distance_transform_edt, map_coordinates

from fieldmap.field import WGS84, Grid, burn, to_lonlat
from fieldmap.report import palette
from fieldmap.units import shown_rate, whole

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from shapely import MultiPolygon, Polygon

    from fieldmap.field import Field
    from fieldmap.units import UnitSystem


PIXELS_A_CELL, PIXELS_MAX = 3, 900  # class borders come out smooth, files small
EARTH_RADIUS_M = 6_378_137.0  # of EPSG:3857


@dataclass(frozen=True)
class Swatch:
    """A row of a legend: one colour, or several side by side where zones share the row."""

    colours: tuple[str, ...]
    text: str


@dataclass(frozen=True)
class Picture:
    """A PNG as a data URI, in Web Mercator, and its corners (south, west), (north, east) in degrees."""

    uri: str
    corners: tuple[tuple[float, float], tuple[float, float]]


@dataclass(frozen=True)
class Pixels:
    """Where the pixels of a field's pictures lie: Web Mercator, north up.

    `painted` (rows, columns) are those inside the field, `row` and `column` (painted,) their places on the field's
    grid, in cells; `corners` as of a `Picture`.
    """

    painted: NDArray[np.bool_]
    row: NDArray[np.float64]
    column: NDArray[np.float64]
    corners: tuple[tuple[float, float], tuple[float, float]]


def map_pixels(field: Field) -> Pixels:
    """Lay pixels over a field: three a cell along its longer side, at most `PIXELS_MAX`."""
    outline = shapely.transform(to_lonlat(field.outline, field.crs), _mercator)
    west, south, east, north = outline.bounds
    fine = max(field.grid.shape) * PIXELS_A_CELL
    pixel_m = max(east - west, north - south) / min(fine, PIXELS_MAX)
    rows, columns = math.ceil((north - south) / pixel_m), math.ceil((east - west) / pixel_m)
    pixels = Grid(west, north, pixel_m, rows, columns)
    south_west, north_east = _degrees(
        np.array([[west, north - rows * pixel_m], [west + columns * pixel_m, north]])
    ).tolist()
    painted = burn([cast("Polygon | MultiPolygon", outline)], pixels) >= 0
    lonlat = _degrees(pixels.centres(painted))
    forward = pyproj.Transformer.from_crs(WGS84, field.crs, always_xy=True)
    easting, northing = forward.transform(lonlat[:, 0], lonlat[:, 1])
    grid = field.grid
    return Pixels(
        painted,
        (grid.north_m - northing) / grid.cell_m - 0.5,
        (easting - grid.west_m) / grid.cell_m - 0.5,
        ((south_west[1], south_west[0]), (north_east[1], north_east[0])),
    )


def paint_values(
    raster_kg_ha: NDArray[np.float64], colormap: str, *, pixels: Pixels, units: UnitSystem
) -> tuple[tuple[Swatch, ...], Picture]:
    """Legend and PNG of a raster, in classes with round borders in the user's unit."""
    outside = np.isnan(raster_kg_ha)
    nearest = distance_transform_edt(outside, return_distances=False, return_indices=True)
    filled = raster_kg_ha[tuple(nearest)] * shown_rate(1.0, units)
    values = map_coordinates(filled, [pixels.row, pixels.column], order=1, mode="nearest")
    borders, colours = palette.classes(raster_kg_ha, colormap, units)
    index = np.zeros(pixels.painted.shape, dtype=np.uint8)  # 0 is clear
    index[pixels.painted] = np.clip(np.digitize(values, borders), 1, len(colours))
    legend = tuple(
        Swatch((colour,), f"{whole(low)} to {whole(high)}")
        for colour, low, high in zip(colours, borders[:-1], borders[1:], strict=True)
    )
    return legend, Picture(_png(index, colours), pixels.corners)


def _png(index: NDArray[np.uint8], colours: tuple[str, ...]) -> str:
    image = Image.fromarray(index)
    image.putpalette(bytes.fromhex("ffffff" + "".join(colour[1:] for colour in colours)))
    buffer = io.BytesIO()
    image.save(buffer, format="PNG", transparency=0, compress_level=6)
    return "data:image/png;base64," + base64.b64encode(buffer.getvalue()).decode("ascii")


def _mercator(lonlat: NDArray[np.float64]) -> NDArray[np.float64]:
    """Degrees to metres of EPSG:3857; longitudes may run on past 180°."""
    radians = np.radians(lonlat)
    metres: NDArray[np.float64] = EARTH_RADIUS_M * np.column_stack(
        [radians[:, 0], np.arcsinh(np.tan(radians[:, 1]))]
    )
    return metres


def _degrees(mercator_m: NDArray[np.float64]) -> NDArray[np.float64]:
    scaled = mercator_m / EARTH_RADIUS_M
    degrees: NDArray[np.float64] = np.degrees(
        np.column_stack([scaled[:, 0], np.arctan(np.sinh(scaled[:, 1]))])
    )
    return degrees
