"""Files out, all or nothing: written beside the output folder, then moved into its place."""

from __future__ import annotations

import os
import re
import shutil
import tempfile
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from fieldmap.errors import OutputExistsError, Problem
from fieldmap.export.figures import write_figures
from fieldmap.export.geojson import write_zones_geojson
from fieldmap.export.geopackage import write_geopackage
from fieldmap.export.gpx import write_gpx
from fieldmap.export.raster import write_surface
from fieldmap.export.shapefile import write_shapefile
from fieldmap.export.tables import write_drip_csv, write_loads_csv, write_season_csv, write_zones_csv
from fieldmap.export.taskdata import write_grid, write_polygons

if TYPE_CHECKING:
    from collections.abc import Callable

    from fieldmap.pipeline import Result
    from fieldmap.plan import Application, Plan


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
# What each of several applications has in a folder of its own; what goes through drip has no files for a spreader.
OF_AN_APPLICATION = ("zones.geojson", "zones.gpkg", "zones.csv", "surface.tif")
FOR_A_SPREADER = ("zones_shapefile.zip", "taskdata_grid.zip", "taskdata_zones.zip", "loads.csv")
DRIP = "drip.csv"


def files_of(result: Result, *, data_only: bool = False) -> dict[str, Callable[[Path], None]]:
    """Every file of a run by its path in the output folder, with what writes it; `data_only` leaves the pages out."""
    files: dict[str, Callable[[Path], None]] = {
        name: partial(write, result) for name, write in WRITERS.items() if not (data_only and name in PAGES)
    }
    for one in result.applications if len(result.applications) > 1 else ():
        for name in application_files(one.told):
            write = write_drip_csv if name == DRIP else WRITERS[name]
            files[f"application-{one.number}/{name}"] = partial(write, result.alone(one))
    return files


def file_names(plan: Plan, *, data_only: bool = False) -> tuple[str, ...]:
    """What `files_of` a run of a plan will name, before it is run."""
    top = tuple(name for name in WRITERS if not (data_only and name in PAGES))
    several = plan.applications if len(plan.applications) > 1 else ()
    own = (
        f"application-{number}/{name}"
        for number, one in enumerate(several, start=1)
        for name in application_files(one)
    )
    return (*top, *own)


def application_files(one: Application) -> tuple[str, ...]:
    """The files that one of several applications has in its own folder."""
    return (*OF_AN_APPLICATION, *((DRIP,) if one.through_drip else FOR_A_SPREADER))


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
    ours = folder.is_dir() and not folder.is_symlink() and all(map(_is_ours, folder.iterdir()))
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


def _is_ours(entry: Path) -> bool:
    """Whether a run writes such a file, or such a folder of an application with nothing else in it."""
    if not re.fullmatch(r"application-\d", entry.name) or entry.is_symlink() or not entry.is_dir():
        return entry.name in WRITERS
    return {file.name for file in entry.iterdir()} <= {*OF_AN_APPLICATION, *FOR_A_SPREADER, DRIP}


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
        for name, write in files_of(result, data_only=data_only).items():
            (fresh / name).parent.mkdir(exist_ok=True)
            write(fresh / name)
        if folder.exists():
            folder.rename(old)
        try:
            fresh.rename(folder)
        except OSError:
            if old.exists():
                shutil.move(old, folder)
            raise
