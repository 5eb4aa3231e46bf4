"""The one grid of a field, and what is burnt into it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from affine import Affine
from rasterio.features import rasterize

if TYPE_CHECKING:
    from collections.abc import Sequence
    from typing import Any

    from numpy.typing import NDArray
    from shapely.geometry import MultiPolygon, Polygon


@dataclass(frozen=True)
class Grid:
    """A north-up grid of square cells in a projected CRS; row 0 is the northernmost.

    Parameters
    ----------
    west_m, north_m
        Easting and northing of the outer corner of cell (0, 0), metres.
    cell_m
        Side of a cell, metres.
    rows, columns
        Shape of every raster on this grid.
    """

    west_m: float
    north_m: float
    cell_m: float
    rows: int
    columns: int

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return self.rows, self.columns

    @property
    def transform(self) -> Affine:
        """From (column, row) to (easting, northing)."""
        return Affine(self.cell_m, 0.0, self.west_m, 0.0, -self.cell_m, self.north_m)

    def eastings(self) -> NDArray[np.float64]:
        """Eastings of the cell centres, west to east, shape (columns,)."""
        return self.west_m + (np.arange(self.columns, dtype=np.float64) + 0.5) * self.cell_m

    def northings(self) -> NDArray[np.float64]:
        """Northings of the cell centres, north to south, shape (rows,)."""
        return self.north_m - (np.arange(self.rows, dtype=np.float64) + 0.5) * self.cell_m

    def centres(self, mask: NDArray[np.bool_]) -> NDArray[np.float64]:
        """Easting and northing of the centres of the cells in `mask`, row by row, shape (cells, 2)."""
        row, column = np.nonzero(mask)
        return np.column_stack([self.eastings()[column], self.northings()[row]])

    def values_at(self, coords_m: NDArray[np.float64], raster: NDArray[np.float64]) -> NDArray[np.float64]:
        """Values of the cells that points (n, 2) lie in, NaN off the grid."""
        column = np.floor((coords_m[:, 0] - self.west_m) / self.cell_m).astype(int)
        row = np.floor((self.north_m - coords_m[:, 1]) / self.cell_m).astype(int)
        on = (row >= 0) & (row < self.rows) & (column >= 0) & (column < self.columns)
        values = np.full(len(coords_m), np.nan)
        values[on] = raster[row[on], column[on]]
        return values


def burn(shapes: Sequence[Polygon | MultiPolygon], grid: Grid) -> NDArray[np.int16]:
    """The number of the shape that holds each cell's centre, -1 where none does."""
    numbered = [(shape, number) for number, shape in enumerate(shapes) if not shape.is_empty]
    if not numbered:
        return np.full(grid.shape, -1, dtype=np.int16)
    burnt: NDArray[np.int16] = rasterize(
        numbered, out_shape=grid.shape, fill=-1, transform=grid.transform, dtype="int16"
    )
    return burnt


def lookup(
    values: Sequence[float], index: NDArray[np.integer[Any]], *, outside: float = np.nan
) -> NDArray[Any]:
    """The value of each cell by its number, shape that of `index`; `outside` where the number is -1."""
    found: NDArray[Any] = np.array([*values, outside])[index]  # the last serves -1
    return found
