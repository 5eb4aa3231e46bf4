"""Every file of a run by its name, and the function that writes it."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from fieldmap.export.formats.csv import write_drip_csv, write_loads_csv, write_season_csv, write_zones_csv
from fieldmap.export.formats.geojson import write_zones_geojson
from fieldmap.export.formats.geopackage import write_geopackage
from fieldmap.export.formats.geotiff import write_surface
from fieldmap.export.formats.gpx import write_gpx
from fieldmap.export.formats.result_json import write_figures
from fieldmap.export.formats.shapefile import write_shapefile
from fieldmap.export.formats.taskdata import write_grid, write_polygons

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from fieldmap.budget import Application
    from fieldmap.pipeline import Result
    from fieldmap.plan import ApplicationSection, Plan
    from fieldmap.verdict import ApplicationMap


def _write_map(result: Result, _one: ApplicationMap, path: Path) -> None:
    from fieldmap.webmap import page

    page.write_map(result, path)


def _write_report(result: Result, one: ApplicationMap, path: Path) -> None:
    from fieldmap.export.formats.pages import write_report

    write_report(result, one, path)


def _write_card(result: Result, one: ApplicationMap, path: Path) -> None:
    from fieldmap.export.formats.pages import write_card

    write_card(result, one, path)


PAGES: dict[str, Callable[[Result, ApplicationMap, Path], None]] = {
    "map.html": _write_map,
    "report.pdf": _write_report,
    "card.pdf": _write_card,
}

WRITERS: dict[str, Callable[[Result, ApplicationMap, Path], None]] = {
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
        name: partial(write, result, result.applications[0])
        for name, write in WRITERS.items()
        if not (data_only and name in PAGES)
    }
    for one in result.applications if len(result.applications) > 1 else ():
        for name in application_files(one.application):
            write = write_drip_csv if name == DRIP else WRITERS[name]
            files[f"application-{one.application.number}/{name}"] = partial(write, result, one)
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


def application_files(one: Application | ApplicationSection) -> tuple[str, ...]:
    """The files that one of several applications has in its own folder."""
    return (*OF_AN_APPLICATION, *((DRIP,) if one.through_drip else FOR_A_SPREADER))
