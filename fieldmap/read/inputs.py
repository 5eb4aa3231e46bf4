"""Every input file of a plan, read together, so that all that is wrong is said at once."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeVar

from fieldmap.errors import InputError
from fieldmap.read.layers.layers import read_boundary, read_no_spread
from fieldmap.read.raster import read_covariate
from fieldmap.read.samples import read_samples
from fieldmap.read.weather import read_weather

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    import numpy as np
    import pandas as pd
    from affine import Affine
    from geopandas import GeoDataFrame
    from numpy.typing import NDArray
    from pyproj import CRS

    from fieldmap.errors import Problem
    from fieldmap.read.samples import SampleTable


Read = TypeVar("Read")


@dataclass(frozen=True)
class Inputs:
    """What the files of a plan hold; None for a file that the plan does not name."""

    boundary: GeoDataFrame
    no_spread: GeoDataFrame | None
    samples: SampleTable
    weather: pd.DataFrame | None
    warnings: tuple[str, ...]


def read_inputs(
    folder: Path,
    *,
    boundary: str,
    samples: str,
    crs: str | None = None,
    no_spread: str | None = None,
    weather: str | None = None,
) -> Inputs:
    """Read the named files of a plan folder.

    Raises
    ------
    InputError
        With the problems of all files together.
    """
    problems: list[Problem] = []
    outline = _collected(lambda: read_boundary(folder / boundary), problems)
    table = _collected(lambda: read_samples(folder / samples, crs=crs), problems)
    kept_out = _collected(lambda: read_no_spread(folder / no_spread), problems) if no_spread else None
    days = _collected(lambda: read_weather(folder / weather), problems) if weather else None
    if outline is None or table is None or problems:
        raise InputError(*problems)
    daily, warnings = days or (None, ())
    return Inputs(outline, kept_out, table, daily, warnings)


def read_covariates(
    folder: Path, names: Sequence[str], *, crs: CRS, transform: Affine, shape: tuple[int, int]
) -> dict[str, NDArray[np.float64]]:
    """Covariate rasters on a grid, by file name.

    Raises
    ------
    InputError
        With the problems of all rasters together.
    """
    problems: list[Problem] = []
    found = {}
    for name in names:
        try:
            found[name] = read_covariate(folder / name, crs=crs, transform=transform, shape=shape)
        except InputError as error:
            problems.extend(error.places)
    if problems:
        raise InputError(*problems)
    return found


def _collected(read: Callable[[], Read], problems: list[Problem]) -> Read | None:
    try:
        return read()
    except InputError as error:
        problems.extend(error.places)
        return None
