"""What the map can show, one thing at a time: its picture or colours, its legend, and what it says in words.

On every view darker means more. Colours are matplotlib's cividis, viridis and greys: in order of lightness, so
that they survive colour blindness and a grey printer.
"""

from __future__ import annotations

import base64
import io
import math
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, cast

import matplotlib as mpl
import numpy as np
import pyproj
import shapely
from matplotlib.colors import to_hex
from PIL import Image
from scipy.ndimage import distance_transform_edt, map_coordinates

from fieldmap.field import WGS84, Grid, burn, to_lonlat
from fieldmap.findings import (
    biomass_doubt_says,
    biomass_says,
    credit_says,
    doubt_says,
    received_says,
    supplemental_says,
    zones_say,
)
from fieldmap.summary import application_title
from fieldmap.units import rate_unit, shown_rate, whole

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray
    from shapely.geometry import MultiPolygon, Polygon
    from shapely.geometry.base import BaseGeometry

    from fieldmap.field import Field
    from fieldmap.pipeline import Result
    from fieldmap.units import UnitSystem

CLASSES_MAX = 6  # rows of a legend that a phone still has room for
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
class View:
    """One thing the map can show.

    `finding` says what it shows, in a sentence; `picture` is None for the zones, which are drawn as polygons: those
    of the application at position `application` among all.
    """

    key: str
    label: str
    finding: str
    legend_title: str
    legend: tuple[Swatch, ...]
    picture: Picture | None = None
    application: int = 0


def map_views(result: Result, pixels: Pixels | None = None) -> tuple[View, ...]:
    """Zones first, then from what the ground receives back to the stand, in the user's unit.

    `pixels` are the field's from `map_pixels`, where they are kept; else they are laid anew.
    """
    unit = rate_unit(result.plan.units)
    paint = partial(_paint, pixels=pixels or map_pixels(result.field), units=result.plan.units)
    credit, biomass = result.budget.credit, result.stand.biomass
    return (
        *_zone_views(result),
        View(
            "received",
            "Received",
            received_says(result),
            f"Nitrogen that the ground receives when the map is driven, {unit}",
            *paint(received_n_kg_ha(result), "cividis_r"),
        ),
        View(
            "supplemental",
            "Supplemental",
            supplemental_says(result),
            f"Nitrogen still to spread, place by place, {unit}",
            *paint(result.budget.supplemental_kg_ha, "cividis_r"),
        ),
        View(
            "credit",
            "Credit",
            credit_says(result),
            f"Nitrogen credit from the stand, {unit}",
            *paint(credit.credit_kg_ha, "viridis_r"),
        ),
        View(
            "doubt",
            "Credit’s doubt",
            doubt_says(result),
            f"Doubt in the credit (one standard error), {unit}",
            *paint(credit.se_kg_ha, "Greys"),
        ),
        View(
            "biomass",
            "Biomass",
            biomass_says(result),
            f"Dry biomass of the stand, {unit}",
            *paint(biomass.mean, "viridis_r"),
        ),
        View(
            "biomass_doubt",
            "Biomass’s doubt",
            biomass_doubt_says(result),
            f"Doubt in the biomass (one standard error), {unit}",
            *paint(biomass.se, "Greys"),
        ),
    )


def _zone_views(result: Result) -> Iterator[View]:
    """The zones of every application, the first's first."""
    unit, several = rate_unit(result.plan.units), len(result.applications) > 1
    for position, one in enumerate(result.applications):
        own = result.alone(one)
        rates = {
            zone.zone: whole(shown_rate(zone.rate_n_kg_ha, own.plan.units))
            for zone in own.spread.zone_map.zones
        }
        yield View(
            "zones" if position == 0 else f"zones_{one.number}",
            f"Zones {one.number}" if several else "Zones",
            f"{one.told.date}: {zones_say(own)}" if several else zones_say(own),
            f"{application_title(one)}. Nitrogen rate, {unit}" if several else f"Nitrogen rate, {unit}",
            _zone_legend(zone_colours(own), rates),
            application=position,
        )


def received_n_kg_ha(result: Result) -> NDArray[np.float64]:
    """Nitrogen that the ground receives when the map is driven, on the field's grid."""
    product = result.plan.spreader.product_entry
    return result.spread.delivery.received_kg_ha * product.nitrogen_fraction


def zone_colours(result: Result) -> dict[int, str]:
    """The colour of each zone number: even steps of cividis, the highest rate darkest."""
    number = max((zone.zone for zone in result.spread.zone_map.zones), default=0)
    return dict(zip(range(1, number + 1), _steps("cividis_r", number), strict=True))


def lonlat_bounds(field: Field) -> tuple[float, float, float, float]:
    """West, south, east, north of the field, degrees; across 180° the east runs on past it."""
    west, south, east, north = to_lonlat(field.outline, field.crs).bounds
    return west, south, east, north


def to_map(shape: BaseGeometry, field: Field) -> BaseGeometry:
    """From the field's CRS to degrees; what lies beyond 180° follows the field past it."""
    west = lonlat_bounds(field)[0]

    def follow(lonlat: NDArray[np.float64]) -> NDArray[np.float64]:
        beyond = lonlat[:, 0] < west - 180.0
        return np.column_stack([lonlat[:, 0] + 360.0 * beyond, lonlat[:, 1]])

    moved: BaseGeometry = shapely.transform(to_lonlat(shape, field.crs), follow)
    return moved


def _steps(colormap: str, number: int) -> tuple[str, ...]:
    """Colours from light to dark; the ends, too near to white and to the boundary line, are left out."""
    places = np.linspace(0.08, 0.86, number) if number > 1 else np.array([0.35])
    return tuple(to_hex(colour) for colour in mpl.colormaps[colormap](places))


def _zone_legend(colours: dict[int, str], rates: dict[int, str]) -> tuple[Swatch, ...]:
    numbers = list(colours)
    share = -(-len(numbers) // CLASSES_MAX)  # zones a row
    rows = [numbers[start : start + share] for start in range(0, len(numbers), share or 1)]
    return tuple(
        Swatch(
            tuple(colours[number] for number in row),
            f"zone {row[0]}: {rates[row[0]]}"
            if len(row) == 1
            else f"zones {row[0]} to {row[-1]}: {rates[row[0]]} to {rates[row[-1]]}",
        )
        for row in rows
    )


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


def _paint(
    raster_kg_ha: NDArray[np.float64], colormap: str, *, pixels: Pixels, units: UnitSystem
) -> tuple[tuple[Swatch, ...], Picture]:
    """Legend and PNG of a raster, in classes with round borders in the user's unit."""
    outside = np.isnan(raster_kg_ha)
    nearest = distance_transform_edt(outside, return_distances=False, return_indices=True)
    filled = raster_kg_ha[tuple(nearest)] * shown_rate(1.0, units)
    values = map_coordinates(filled, [pixels.row, pixels.column], order=1, mode="nearest")
    borders = round_borders(float(values.min()), float(values.max()))
    colours = _steps(colormap, len(borders) - 1)
    index = np.zeros(pixels.painted.shape, dtype=np.uint8)  # 0 is clear
    index[pixels.painted] = np.clip(np.digitize(values, borders), 1, len(colours))
    legend = tuple(
        Swatch((colour,), f"{whole(low)} to {whole(high)}")
        for colour, low, high in zip(colours, borders[:-1], borders[1:], strict=True)
    )
    return legend, Picture(_png(index, colours), pixels.corners)


def round_borders(low: float, high: float) -> list[float]:
    """Borders of at most six classes from `low` to `high`, on whole steps such as 1, 2, 5, 10, 15, 20, 25."""
    steps = (base * 10.0**power for power in range(7) for base in (1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0))
    for step in steps:
        first, last = np.floor(low / step), np.floor(high / step) + 1.0
        if step.is_integer() and last - first <= CLASSES_MAX:
            return [float(border) for border in np.arange(first, last + 1.0) * step]
    return [low, high]


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
