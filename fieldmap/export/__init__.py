"""Files out, all or nothing: written beside the output folder, then moved into its place."""

from __future__ import annotations

import os
import shutil
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from fieldmap.errors import OutputExistsError, Problem
from fieldmap.export.figures import write_figures
from fieldmap.export.geojson import write_zones_geojson
from fieldmap.export.geopackage import write_geopackage
from fieldmap.export.gpx import write_gpx
from fieldmap.export.raster import write_surface
from fieldmap.export.shapefile import write_shapefile
from fieldmap.export.tables import write_loads_csv, write_season_csv, write_zones_csv
from fieldmap.export.taskdata import write_grid, write_polygons

if TYPE_CHECKING:
    from collections.abc import Callable

    from fieldmap.pipeline import Result


def _write_map(result: Result, path: Path) -> None:
    from fieldmap.export.html import write_map  # folium and matplotlib take a second: for pages alone

    write_map(result, path)


def _write_report(result: Result, path: Path) -> None:
    from fieldmap.export.pdf import write_report

    write_report(result, path)


def _write_card(result: Result, path: Path) -> None:
    from fieldmap.export.pdf import write_card

    write_card(result, path)


PAGES: dict[str, Callable[[Result, Path], None]] = {
    "map.html": _write_map,
    "report.pdf": _write_report,
    "card.pdf": _write_card,
}
WRITERS: dict[str, Callable[[Result, Path], None]] = {
    "zones.geojson": write_zones_geojson,
    "zones.gpkg": write_geopackage,
    "zones_shapefile.zip": write_shapefile,
    "taskdata_grid.zip": write_grid,
    "taskdata_zones.zip": write_polygons,
    "samples.gpx": write_gpx,
    "zones.csv": write_zones_csv,
    "loads.csv": write_loads_csv,
    "season.csv": write_season_csv,
    "surface.tif": write_surface,
    **PAGES,
    "result.json": write_figures,
}


def files_of(*, data_only: bool) -> tuple[str, ...]:
    """Names of the files that a run writes; the pages for people are left out with `data_only`."""
    return tuple(name for name in WRITERS if not (data_only and name in PAGES))


def refuse_existing(folder: Path, *, overwrite: bool) -> None:
    """Refuse an output folder that is there already; replace only one that an earlier run wrote.

    Raises
    ------
    OutputExistsError
        Before anything is computed or written.
    """
    if not folder.exists() and not folder.is_symlink():
        _refuse_unwritable(folder)
        return
    ours = folder.is_dir() and not folder.is_symlink()
    ours = ours and {entry.name for entry in folder.iterdir()} <= {*WRITERS}
    if overwrite and ours:
        return
    found, action = (
        (
            "it holds files that fieldmap did not write" if folder.is_dir() else "it is not a folder",
            "Name another folder",
        )
        if not ours
        else ("it is already there", "Name another folder, or replace it with --overwrite")
    )
    raise OutputExistsError(
        Problem(str(folder), "", found, "a folder that is not there yet is expected for the output", action)
    )


def _refuse_unwritable(folder: Path) -> None:
    """The nearest folder above that exists must be one, and must let us write."""
    above = next(parent for parent in folder.absolute().parents if parent.exists() or parent.is_symlink())
    if above.is_dir() and os.access(above, os.W_OK):
        return
    reason = "writing there is not allowed" if above.is_dir() else f"{above.name} is a file"
    raise OutputExistsError(_not_writable(folder, reason))


def _not_writable(folder: Path, reason: str) -> Problem:
    expected = "a folder in a place that may be written is expected"
    return Problem(str(folder), "", f"it cannot be written ({reason})", expected, "Name another folder")


def write_folder(result: Result, folder: Path, *, overwrite: bool = False, data_only: bool = False) -> None:
    """Write the files of a run into `folder`; where one fails, the folder is left as it was.

    With `data_only` the pages for people (report, card, map) are left out.

    Raises
    ------
    OutputExistsError
        Where the folder exists, unless `overwrite` is set and an earlier run wrote it.
    """
    refuse_existing(folder, overwrite=overwrite)
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputExistsError(_not_writable(folder, str(error.strerror))) from None
    with tempfile.TemporaryDirectory(prefix=f".{folder.name}-", dir=folder.parent) as beside:
        fresh, old = Path(beside, "new"), Path(beside, "old")
        fresh.mkdir()
        for name in files_of(data_only=data_only):
            WRITERS[name](result, fresh / name)
        if folder.exists():
            folder.rename(old)
        try:
            fresh.rename(folder)
        except OSError:
            if old.exists():
                shutil.move(old, folder)
            raise
