"""Rasters: a covariate averaged onto the field's grid, piece by piece, opened by one driver only."""

from __future__ import annotations

import math
import warnings
from typing import TYPE_CHECKING

import numpy as np
import rasterio
from pyproj import CRS, Transformer
from pyproj.exceptions import ProjError
from rasterio.enums import MaskFlags, Resampling
from rasterio.errors import NotGeoreferencedWarning, RasterioError
from rasterio.warp import reproject

from fieldmap.errors import InputError, Problem
from fieldmap.read.files import check_file

if TYPE_CHECKING:
    from pathlib import Path
    from typing import Final

    from affine import Affine
    from numpy.typing import NDArray


MAX_BLOCK_BYTES: Final = 128 * 2**20  # one tile or strip, unpacked: it is held in memory whole
WARP_MB: Final = 64
MAX_WINDOW_PIXELS: Final = 4 * 10**9  # 40 ha at 1 cm
_ACTION = "Export it again as a plain GeoTIFF with its coordinate reference system"
# Tags by which even a plain GeoTIFF makes GDAL open a file or an address of its choice.
_POINTERS = {"OVERVIEWS", "PROXYOVERVIEWREQUEST", "GEOLOCATION"}
# No side files: GDAL would open an .ovr or follow an .aux.xml by its content.
_ENVIRONMENT = {
    "GDAL_DISABLE_READDIR_ON_OPEN": "EMPTY_DIR",
    "GDAL_PAM_ENABLED": "NO",
    "GDAL_CACHEMAX": 64 * 2**20,
}


def read_covariate(
    path: Path, *, crs: CRS | str, transform: Affine, shape: tuple[int, int]
) -> NDArray[np.float64]:
    """Average the first band of a GeoTIFF onto a grid.

    Every cell takes the mean of the pixels in it; where pixels are larger than cells, it is interpolated
    between their centres. The file is read piece by piece and only around the grid.

    Parameters
    ----------
    path
        GeoTIFF of any size, resolution, data type and projection; turned ones too. Bands after the first are
        not read. Scale and offset of the band are applied.
    crs
        Coordinate reference system of the grid.
    transform
        From (column, row) of the grid to its coordinates.
    shape
        Rows and columns of the grid.

    Returns
    -------
    numpy.ndarray
        float64, `shape`, NaN where the raster has no data.

    Raises
    ------
    InputError
        Not a GeoTIFF, no CRS or position, nothing of it on the grid, or no data there.
    """
    check_file(path, limit=None)
    with path.open("rb") as stream:
        magic = stream.read(4)
    if magic not in (b"II*\x00", b"MM\x00*", b"II+\x00", b"MM\x00+"):
        raise _refusal(path, "this is not a GeoTIFF", "a GeoTIFF is expected")
    with rasterio.Env(**_ENVIRONMENT), warnings.catch_warnings():
        warnings.simplefilter("ignore", NotGeoreferencedWarning)  # checked below, in our words
        try:
            with rasterio.open(path, driver="GTiff") as source:
                _check_source(path, source)
                pixels_a_cell = _check_overlap(path, source, CRS(crs), transform, shape)
                values = _warp(source, CRS(crs), transform, shape, average=pixels_a_cell >= 1)
        except RasterioError as error:
            raise _refusal(path, "the GeoTIFF cannot be read", "a sound GeoTIFF is expected") from error
    if np.isnan(values).all():
        raise _refusal(path, "there are no data on the field", "values within the boundary are expected")
    return values


def _refusal(path: Path, found: str, expected: str, action: str = _ACTION) -> InputError:
    return InputError(Problem(path.name, found, expected, action))


def _check_source(path: Path, source: rasterio.DatasetReader) -> None:
    if source.count == 0:
        raise _refusal(path, "there is no band", "a raster with at least one band is expected")
    if source.crs is None or source.transform.is_identity:
        found = "there is no coordinate reference system" if source.crs is None else "there is no position"
        raise _refusal(path, found, "a georeferenced raster is expected")
    if source.transform.is_degenerate:
        raise _refusal(path, "the pixels have no size", "a georeferenced raster is expected")
    if np.issubdtype(np.dtype(source.dtypes[0]), np.complexfloating):
        raise _refusal(path, "the values are complex numbers", "one real number a pixel is expected")
    rows, columns = source.block_shapes[0]
    bands = source.count if source.interleaving is not None and source.interleaving.name == "pixel" else 1
    if rows * columns * bands * np.dtype(source.dtypes[0]).itemsize > MAX_BLOCK_BYTES:
        found = f"it is stored in blocks of {rows} by {columns} pixels"
        action = "Save it with tiles of 256 or 512 pixels"
        raise _refusal(path, found, "tiles or strips that fit in memory are expected", action)
    if _POINTERS & {namespace.upper() for namespace in source.tag_namespaces()}:
        raise _refusal(path, "its tags point to another file", "a single file is expected")


def _check_overlap(
    path: Path, source: rasterio.DatasetReader, crs: CRS, transform: Affine, shape: tuple[int, int]
) -> float:
    """Refuse a raster beside the grid or far too fine for it; returns the pixels in one cell."""
    rows, columns = shape
    row, column = (part.ravel() for part in np.mgrid[0:rows:21j, 0:columns:21j])
    x, y = transform @ (column, row)
    try:
        to_source = Transformer.from_crs(crs, CRS.from_wkt(source.crs.to_wkt()), always_xy=True)
        x, y = to_source.transform(x, y)
    except ProjError as error:
        found = "its coordinate reference system cannot be related to the field's"
        raise _refusal(path, found, "one that is tied to the earth is expected") from error
    across, down = ~source.transform @ (np.asarray(x), np.asarray(y))
    usable = np.isfinite(across) & np.isfinite(down)
    if not usable.any():
        raise _refusal(path, "it does not reach the field", "a raster over the field is expected")
    left, right = across[usable].min(), across[usable].max()
    top, bottom = down[usable].min(), down[usable].max()
    if right <= 0 or bottom <= 0 or left >= source.width or top >= source.height:
        action = "Choose the raster of this field"
        raise _refusal(path, "it does not reach the field", "a raster over the field is expected", action)
    span = (min(right, source.width) - max(left, 0)) * (min(bottom, source.height) - max(top, 0))
    if span > MAX_WINDOW_PIXELS:
        found = f"it has {span:.2g} pixels over the field"
        expected = f"at most {MAX_WINDOW_PIXELS:.0e} are expected"
        raise _refusal(path, found, expected, "Resample it to a tenth of the cell or so")
    return float((right - left) * (bottom - top) / (rows * columns))


def _warp(
    source: rasterio.DatasetReader, crs: CRS, transform: Affine, shape: tuple[int, int], *, average: bool
) -> NDArray[np.float64]:
    nodata = source.nodata
    floating = np.issubdtype(np.dtype(source.dtypes[0]), np.floating)
    if floating and MaskFlags.all_valid in source.mask_flag_enums[0]:
        nodata = math.nan  # pixels may be NaN without the file saying so
    values = np.full(shape, np.nan)
    reproject(
        rasterio.band(source, 1),  # a band, not its pixels: GDAL takes what fits in warp_mem_limit at a time
        values,
        src_nodata=nodata,
        dst_crs=crs.to_wkt(),
        dst_transform=transform,
        dst_nodata=math.nan,
        resampling=Resampling.average if average else Resampling.bilinear,
        warp_mem_limit=WARP_MB,
    )
    values = values * source.scales[0] + source.offsets[0]
    return np.where(np.isfinite(values), values, np.nan)
