"""Field: blocks, projected CRS, cell grid, inside mask, true area."""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import shapely
from shapely.geometry import MultiPolygon, Polygon

from fieldmap.errors import InputError, Problem
from fieldmap.field.grid import Grid, burn, lookup
from fieldmap.field.projection import WGS84, project_shapes, to_lonlat, true_area_ha, unwrapped, utm_crs

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy as np
    import pyproj
    from geopandas import GeoDataFrame
    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry


AREA_MIN_HA, AREA_MAX_HA = 0.02, 5_000.0
CELLS_MAX = 4_000_000
NO_SPREAD_FAR_M = 1_000.0
QUAD_SEGMENTS = 64  # of a quarter circle: a setback of 100 m is then kept to within a centimetre
# The finest of these cells that gives the field no more than some ten thousand of them is chosen: finer ones
# would only repeat what a few dozen samples can say.
CELL_CHOICES_M = (1.0, 2.0, 2.5, 4.0, 5.0, 10.0)
CELLS_WANTED = 60_000


@dataclass(frozen=True)
class Block:
    """A part of the field with its own crop and cover crop.

    `geometry` is in the field's CRS; `spread` is the same less the no-spread areas and what a spreader at their
    edge would throw into them; `area_ha` and `spread_ha` are their true areas.
    """

    name: str
    geometry: Polygon | MultiPolygon
    spread: Polygon | MultiPolygon
    area_ha: float
    spread_ha: float


@dataclass(frozen=True)
class Field:
    """The field on its grid.

    `block_index` (rows, columns) is the number of the block that holds a cell's centre, -1 outside;
    `no_spread` holds the no-spread areas with their setbacks (empty where there are none).
    """

    crs: pyproj.CRS
    blocks: tuple[Block, ...]
    grid: Grid
    block_index: NDArray[np.int16]
    no_spread: BaseGeometry

    @property
    def inside(self) -> NDArray[np.bool_]:
        """Cells whose centre is in a block."""
        return self.block_index >= 0

    @functools.cached_property
    def in_no_spread(self) -> NDArray[np.bool_]:
        """Cells of the field whose centre is in a no-spread area."""
        return self.inside & (burn([_polygons_of(self.no_spread)], self.grid) >= 0)

    @functools.cached_property
    def spread_index(self) -> NDArray[np.int16]:
        """As `block_index`, -1 also in no-spread areas."""
        return burn([block.spread for block in self.blocks], self.grid)

    @property
    def area_ha(self) -> float:
        """True area of all blocks, hectares."""
        return sum(block.area_ha for block in self.blocks)

    @functools.cached_property
    def outline(self) -> BaseGeometry:
        """All blocks together, in the field's CRS."""
        return shapely.union_all([block.geometry for block in self.blocks], grid_size=1e-6)


def build_field(
    boundary: GeoDataFrame,
    no_spread: GeoDataFrame | None,
    *,
    cell_m: float | None,
    throw_m: float = 0.0,
    file: str,
    no_spread_file: str = "no_spread",
) -> Field:
    """Lay a grid over the blocks of a boundary.

    Parameters
    ----------
    boundary
        Polygons with a column ``block``, in any CRS.
    no_spread
        Points, lines or polygons with a column ``setback_m``, or None.
    cell_m
        Side of a cell; None lets the field's size choose.
    throw_m
        How far beyond the edge of what is spread product still lands; the zones stay this much further from
        no-spread areas.
    file
        Name of the boundary's file, for messages; `no_spread_file` likewise.

    Raises
    ------
    InputError
        For a field of impossible size or place, and for a cell that does not fit it.
    """
    lonlat = unwrapped(boundary.to_crs(WGS84).geometry.to_numpy())
    crs = utm_crs(lonlat, file=file)
    shapes = [_joined(shape) for shape in project_shapes(lonlat, crs)]
    area_ha = sum(true_area_ha(shape, crs) for shape in shapes)
    if not AREA_MIN_HA <= area_ha <= AREA_MAX_HA:
        raise InputError(
            Problem(
                file,
                f"the boundary encloses {area_ha:,.4g} ha",
                f"a field of {AREA_MIN_HA} to {AREA_MAX_HA:,.0f} ha is expected",
                "Check the coordinates and the coordinate reference system of the file",
            )
        )
    kept_out = _setbacks(no_spread, crs, shapes, no_spread_file)
    grid = _grid_over(shapes, cell_m or _cell_for(area_ha), file=file)
    blocks = tuple(
        _block(str(name), shape, kept_out.buffer(throw_m, quad_segs=QUAD_SEGMENTS), crs)
        for name, shape in zip(boundary["block"], shapes, strict=True)
    )
    block_index = burn(shapes, grid)
    for number, block in enumerate(blocks):
        if not (block_index == number).any():
            raise InputError(
                Problem(
                    file,
                    f"no cell of {grid.cell_m:g} m has its centre in this block ({block.area_ha:.4f} ha)",
                    "a block of at least a few cells is expected",
                    "Choose a smaller [field] cell or join the block to its neighbour",
                    block=block.name,
                )
            )
    field = Field(crs, blocks, grid, block_index, kept_out)
    if not (field.spread_index >= 0).any():
        raise InputError(
            Problem(
                no_spread_file if no_spread is not None else file,
                "the no-spread areas with their setbacks cover the whole field",
                "some ground to spread is expected",
                "Check the setbacks",
            )
        )
    return field


def _joined(shape: BaseGeometry) -> Polygon | MultiPolygon:
    """A block in whole: the two halves of one cut at 180° meet again; vertices to a micrometre."""
    return _polygons_of(shapely.union_all([shape], grid_size=1e-6))


def _polygons_of(shape: BaseGeometry) -> Polygon | MultiPolygon:
    """The polygons of a geometry; lines and points that an overlay leaves behind are dropped."""
    if isinstance(shape, Polygon | MultiPolygon):
        return shape
    return MultiPolygon([part for part in shapely.get_parts(shape) if isinstance(part, Polygon)])


def _block(name: str, shape: Polygon | MultiPolygon, kept_out: BaseGeometry, crs: pyproj.CRS) -> Block:
    spread = _polygons_of(shape.difference(kept_out)) if kept_out.intersects(shape) else shape
    return Block(name, shape, spread, true_area_ha(shape, crs), true_area_ha(spread, crs))


def _refuse_empty(
    shapes: Sequence[BaseGeometry], no_spread: GeoDataFrame, field_shapes: Sequence[BaseGeometry], file: str
) -> None:
    """A no-spread feature that keeps nothing free, or lies far from the field, is a mistake worth stopping for."""
    field = shapely.union_all(list(field_shapes))
    problems = []
    for number, shape, setback_m in zip(no_spread.index, shapes, no_spread["setback_m"], strict=True):
        if shape.area == 0 and setback_m == 0:
            found = f"a {shape.geom_type.lower()} has no setback, so it keeps nothing free"
            expected = "setback_m above 0 is expected for points and lines"
            problems.append(Problem(file, found, expected, "Give its setback_m in metres", feature=number))
        elif shape.distance(field) > NO_SPREAD_FAR_M:
            found = f"it lies {shape.distance(field) / 1000:,.1f} km from the field"
            expected = "no-spread areas in or beside the field are expected"
            problems.append(
                Problem(file, found, expected, "Correct its position or remove it", feature=number)
            )
    if problems:
        raise InputError(*problems)


def _setbacks(
    no_spread: GeoDataFrame | None, crs: pyproj.CRS, field_shapes: Sequence[BaseGeometry], file: str
) -> BaseGeometry:
    if no_spread is None or no_spread.empty:
        return Polygon()
    shapes = project_shapes(unwrapped(no_spread.to_crs(WGS84).geometry.to_numpy()), crs)
    _refuse_empty(shapes, no_spread, field_shapes, file)
    return shapely.union_all(
        shapely.buffer(shapes, no_spread["setback_m"].to_numpy(float), quad_segs=QUAD_SEGMENTS)
    )


def _cell_for(area_ha: float) -> float:
    fitting = (cell for cell in CELL_CHOICES_M if area_ha * 10_000.0 / cell**2 <= CELLS_WANTED)
    return next(fitting, CELL_CHOICES_M[-1])


def _grid_over(shapes: list[Polygon | MultiPolygon], cell_m: float, *, file: str) -> Grid:
    """The smallest grid on whole multiples of the cell that holds every shape."""
    west, south, east, north = shapely.total_bounds(shapes) / cell_m
    hair = 1e-6  # a boundary that lies on a cell's edge but for rounding gets no further column
    first_column, last_column = math.floor(west + hair), math.ceil(east - hair)
    first_row, last_row = math.floor(south + hair), math.ceil(north - hair)
    rows, columns = last_row - first_row, last_column - first_column
    if rows * columns > CELLS_MAX:
        raise InputError(
            Problem(
                file,
                f"cells of {cell_m:g} m give {rows * columns:,} of them",
                f"at most {CELLS_MAX:,} are expected",
                "Choose a larger [field] cell",
            )
        )
    return Grid(first_column * cell_m, last_row * cell_m, cell_m, rows, columns)


def per_block(field: Field, values: Sequence[float]) -> NDArray[np.float64]:
    """A raster of one value a block, NaN outside."""
    return lookup(values, field.block_index)


def latitude(field: Field) -> float:
    """Of the field's middle, degrees."""
    _, south, _, north = to_lonlat(field.outline, field.crs).bounds
    return (south + north) / 2.0
