"""Every file of a run: one entry a format, from which all else that lists files is taken."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Literal, get_args

from fieldmap.budget import Application
from fieldmap.export import contents
from fieldmap.export.formats.csv import write_drip_csv, write_loads_csv, write_season_csv, write_zones_csv
from fieldmap.export.formats.geojson import write_zones_geojson
from fieldmap.export.formats.geopackage import write_geopackage
from fieldmap.export.formats.geotiff import write_surface
from fieldmap.export.formats.gpx import write_gpx
from fieldmap.export.formats.ics import write_calendar
from fieldmap.export.formats.result_json import write_figures
from fieldmap.export.formats.shapefile import write_shapefile
from fieldmap.export.formats.taskdata import write_grid, write_polygons
from fieldmap.export.reproducible import now

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from pathlib import Path

    from fieldmap.pipeline import Result
    from fieldmap.plan import ApplicationSection, Plan
    from fieldmap.verdict import ApplicationMap


Reader = Literal["spreader", "office", "grower"]
# The output folder itself; and the folder of each of several applications, by what carries it out.
Folder = Literal["run", "spread", "drip"]


@dataclass(frozen=True)
class Format:
    """One file of a run.

    Parameters
    ----------
    name
        The file's name.
    write
        Writes it for a run, or for one of its applications; what takes long to import is imported there.
    media_type
        For whoever downloads it.
    reader
        Who reads it.
    says
        What it is, what opens it, what to check first: one line, shown beside it.
    describe
        Says in a sentence what such a file holds; raises `contents.AnotherFileError` for one of another kind
        with the same ending.
    folders
        Where it stands: in the output folder, in that of an application by spreader, of one through drip.
    page
        Whether it is for people to look at: what is for machines only does without.
    """

    name: str
    write: Callable[[Result, ApplicationMap, Path], None]
    media_type: str
    reader: Reader
    says: str
    describe: Callable[[Path], str]
    folders: tuple[Folder, ...] = ("run",)
    page: bool = False

    def __post_init__(self) -> None:
        for what, found, known in (
            ("reader", (self.reader,), get_args(Reader)),
            ("folder", self.folders, get_args(Folder)),
        ):
            for each in found:
                if each not in known:
                    raise ValueError(f"{what} of {self.name} is {each!r}; expected one of {_listed(known)}")


# folium, reportlab and matplotlib take longer to import than all data files to write.
def _write_map(result: Result, _one: ApplicationMap, path: Path) -> None:
    from fieldmap.webmap import page

    page.write_map(result, path)


def _write_report(result: Result, _one: ApplicationMap, path: Path) -> None:
    from fieldmap.report import pdf

    path.write_bytes(pdf.build_report(result, date=now().date()))


def _write_card(result: Result, _one: ApplicationMap, path: Path) -> None:
    from fieldmap.report import pdf

    path.write_bytes(pdf.build_card(result, date=now().date()))


# In the order in which a person is offered them.
FORMATS: tuple[Format, ...] = (
    Format(
        "taskdata_grid.zip", write_grid, "application/zip", "spreader",
        "Task data by ISO 11783-10 as a grid. Check the rate shown in one zone.",
        contents.taskdata, folders=("run", "spread"),
    ),
    Format(
        "taskdata_zones.zip", write_polygons, "application/zip", "spreader",
        "The same as polygons, for terminals that draw zones. Check the rate in one zone.",
        contents.taskdata, folders=("run", "spread"),
    ),
    Format(
        "zones_shapefile.zip", write_shapefile, "application/zip", "spreader",
        "Zones as a shapefile: RATE is of product, in UNIT. Check the column that is read.",
        contents.shapefile, folders=("run", "spread"),
    ),
    Format(
        "loads.csv", write_loads_csv, "text/csv", "spreader",
        "Where each load runs out. Any spreadsheet opens it.",
        contents.loads_csv, folders=("run", "spread"),
    ),
    Format(
        "zones.geojson", write_zones_geojson, "application/geo+json", "office",
        "Zones with every figure, by RFC 7946. rate_n is nitrogen, product what is spread.",
        contents.geojson, folders=("run", "spread", "drip"),
    ),
    Format(
        "zones.gpkg", write_geopackage, "application/geopackage+sqlite3", "office",
        "Zones, samples, boundary and strips as layers of one GeoPackage, for a GIS.",
        contents.geopackage, folders=("run", "spread", "drip"),
    ),
    Format(
        "surface.tif", write_surface, "image/tiff", "office",
        "Biomass, credit, what is missing and the rates as bands of a GeoTIFF, for a GIS.",
        contents.geotiff, folders=("run", "spread", "drip"),
    ),
    Format(
        "zones.csv", write_zones_csv, "text/csv", "office",
        "The zone table. Any spreadsheet opens it.",
        contents.zones_csv, folders=("run", "spread", "drip"),
    ),
    Format(
        "drip.csv", write_drip_csv, "text/csv", "office",
        "What goes through drip, by block and zone, and by block. Any spreadsheet opens it.",
        contents.drip_csv, folders=("drip",),
    ),
    Format(
        "season.csv", write_season_csv, "text/csv", "office",
        "Week by week: released, taken up, short, spare. Any spreadsheet opens it.",
        contents.season_csv,
    ),
    Format(
        "result.json", write_figures, "application/json", "office",
        "Every figure with its source, for a machine to read.",
        contents.figures_json,
    ),
    Format(
        "report.pdf", _write_report, "application/pdf", "grower",
        "Four pages to keep: map, tables, how sure, sources and cautions. Act on page 1.",
        contents.pdf, page=True,
    ),
    Format(
        "card.pdf", _write_card, "application/pdf", "grower",
        "One page for phone or clipboard.",
        contents.pdf, page=True,
    ),
    Format(
        "map.html", _write_map, "text/html", "grower",
        "The map as one file: opens in any browser without a network, on a phone too.",
        contents.web_page, page=True,
    ),
    Format(
        "samples.gpx", write_gpx, "application/gpx+xml", "grower",
        "The samples as waypoints for a handheld.",
        contents.gpx,
    ),
    Format(
        "actions.ics", write_calendar, "text/calendar", "grower",
        "What to do, as all-day events for a phone's calendar.",
        contents.calendar,
    ),
)  # fmt: skip


def formats_offered() -> tuple[Format, ...]:
    """Every format, in the order in which a person is offered them."""
    return FORMATS


def formats_in(folder: Folder, *, data_only: bool = False) -> tuple[Format, ...]:
    """The formats whose files stand in such a folder; `data_only` leaves the pages out."""
    return tuple(one for one in FORMATS if folder in one.folders and not (data_only and one.page))


def formats_at_top(*, several: bool, data_only: bool = False) -> tuple[Format, ...]:
    """The formats of the run as a whole: of several applications none that each has of its own."""
    whole = formats_in("run", data_only=data_only)
    return tuple(one for one in whole if not (several and "spread" in one.folders))


def formats_of_application(one: Application | ApplicationSection) -> tuple[Format, ...]:
    """The formats that one of several applications has in its own folder; drip has no files for a spreader."""
    return formats_in("drip" if one.through_drip else "spread")


def files_of(result: Result, *, data_only: bool = False) -> dict[str, Callable[[Path], None]]:
    """Every file of a run by its path in the output folder, with what writes it; `data_only` leaves the pages out."""
    files: dict[str, Callable[[Path], None]] = {
        one.name: partial(one.write, result, result.applications[0])
        for one in formats_at_top(several=len(result.applications) > 1, data_only=data_only)
    }
    for application in result.applications if len(result.applications) > 1 else ():
        for one in formats_of_application(application.application):
            name = f"{Application.folder_of(application.application.number)}/{one.name}"
            files[name] = partial(one.write, result, application)
    return files


def file_names(plan: Plan, *, data_only: bool = False) -> tuple[str, ...]:
    """What `files_of` a run of a plan will name, before it is run."""
    top = tuple(one.name for one in formats_at_top(several=len(plan.applications) > 1, data_only=data_only))
    several = plan.applications if len(plan.applications) > 1 else ()
    own = (
        f"{Application.folder_of(number)}/{one.name}"
        for number, application in enumerate(several, start=1)
        for one in formats_of_application(application)
    )
    return (*top, *own)


def write_file(result: Result, name: str, path: Path) -> None:
    """Write one file of a run, by its path in the output folder.

    Raises
    ------
    ValueError
        For a file that a run of this plan does not have.
    """
    files = files_of(result)
    if name not in files:
        raise ValueError(f"{name!r} is no file of this run; expected one of {_listed(files)}")
    files[name](path)


def _listed(names: Iterable[object]) -> str:
    return ", ".join(map(repr, names))
