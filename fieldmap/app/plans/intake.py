"""Files that are dropped into the app: which is which, and how each column was read."""

from __future__ import annotations

import shutil
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import pandas as pd

from fieldmap.app.plans import column_memory
from fieldmap.app.plans.plan_file import change_plan, read_told, safe_name, save_file
from fieldmap.app.plans.sample_rows import SAMPLES_FILE, forget_deleted
from fieldmap.app.plans.workspace import UPLOAD_MAX_BYTES
from fieldmap.errors import InputError, Problem
from fieldmap.read import columns, files, headers, layers, read_delimited

if TYPE_CHECKING:
    import geopandas as gpd


Role = Literal["boundary", "no-spread areas", "samples", "covariate", "weather"]
ROLES: tuple[Role, ...] = ("boundary", "no-spread areas", "samples", "covariate", "weather")

KEYS: dict[Role, tuple[str, str]] = {
    "boundary": ("field", "boundary"),
    "no-spread areas": ("field", "no_spread"),
    "samples": ("samples", "file"),
    "covariate": ("samples", "covariate"),
    "weather": ("weather", "file"),
}

TABLES, RASTERS = (".csv", ".txt", ".tsv", ".xlsx"), (".tif", ".tiff")
WEATHER_COLUMNS = ("tmin_c", "tmax_c", "rain_mm")
WEIGHING_WORDS = ("dry", "fresh", "frame", "weight", "mass", "yield", "kg", "lb")


@dataclass(frozen=True)
class Arrival:
    """A file that came in: as what it was kept, under which name, and what was done with its columns."""

    file: str
    role: Role
    said: str


def take_in(folder: Path, name: str, content: bytes, *, role: Role | None = None) -> Arrival:
    """Keep an uploaded file in a plan folder and name it in the plan; what it replaces can be put back.

    Parameters
    ----------
    folder
        The plan folder.
    name, content
        The file as it came.
    role
        What it is; None to find out from what it holds.

    Raises
    ------
    InputError
        Where it cannot be read as anything a plan has; nothing is kept then.
    """
    if len(content) > UPLOAD_MAX_BYTES:
        raise InputError(
            Problem(name, "it is larger than 200 MB", "a smaller file is expected",
                    "Cut it to this field; a large raster can be put into the plan folder by hand")
        )  # fmt: skip
    name = safe_name(name)
    with tempfile.TemporaryDirectory(prefix="fieldmap-") as beside:
        path = Path(beside, name)
        path.write_bytes(content)
        role = role or find_role(path, has_boundary="boundary" in read_told(folder).get("field", {}))
        said = f"{name} was read as {role}."
        if role == "samples":
            table, read = _known_to_persons(folder, *samples_table(path))
            content, name = table.to_csv(index=False).encode(), SAMPLES_FILE
            if read:
                said += f" {'; '.join(read)}."
    former = _file_as(folder, role)
    if former is not None:
        save_former(folder, role, former)
        said += f" It takes the place of {former.name}, which can be put back below."
    kept = save_file(folder, name, content)
    change_plan(folder, [(KEYS[role], kept)])
    if role == "samples":
        forget_deleted(folder)
    return Arrival(kept, role, said)


def _file_as(folder: Path, role: Role) -> Path | None:
    """The one file that the plan names for a role, where it is there."""
    section, key = KEYS[role]
    name = read_told(folder).get(section, {}).get(key)
    return folder / name if isinstance(name, str) and (folder / name).is_file() else None


def save_former(folder: Path, role: Role, former: Path) -> None:
    """Set a file aside before another takes its place; one for each role."""
    for old in folder.glob(f"{_former(role)}*"):
        old.unlink()
    shutil.copyfile(former, folder / f"{_former(role)}{former.name}")


def _former(role: Role) -> str:
    """How the name of a file begins that is kept to be put back."""
    return f".former-{'-'.join(map(str, KEYS[role]))}-"


def former_of(folder: Path, role: Role) -> Path | None:
    """The file that was in a role before; None where none was replaced."""
    return next(iter(folder.glob(f"{_former(role)}*")), None)


def put_back(folder: Path, role: Role) -> None:
    """Change the file of a role with the one that was there before."""
    former = former_of(folder, role)
    assert former is not None  # noqa: S101 - only offered where there is one
    name, content = former.name.removeprefix(_former(role)), former.read_bytes()
    present = _file_as(folder, role)
    if present is not None:
        save_former(folder, role, present)
    else:
        former.unlink()
    if role == "samples":
        column_memory.forget_columns(folder)
    change_plan(folder, [(KEYS[role], save_file(folder, name, content))])
    if role == "samples":
        forget_deleted(folder)


def find_role(path: Path, *, has_boundary: bool) -> Role:
    """What a file is, from what it holds.

    Raises
    ------
    InputError
        Where it cannot be read, or holds nothing a plan has.
    """
    suffix = path.suffix.lower()
    if suffix in RASTERS:
        return "covariate"
    if suffix in TABLES:
        table = read_delimited(path, known={*columns.COLUMNS, *columns.POSITIONS, *WEATHER_COLUMNS})
        named = {str(column) for column in table.cells}
        if named & {*WEATHER_COLUMNS}:
            return "weather"
        if _weighed(named):
            return "samples"
        raise InputError(_neither(path, named))
    if suffix not in layers.ACCEPTED:
        raise InputError(
            Problem(path.name, f'files ending in "{suffix}" are not read',
                    "GeoJSON, GeoPackage, zipped shapefile, KML, CSV, .xlsx or GeoTIFF is expected",
                    "Export it in one of these")
        )  # fmt: skip
    layer = layers.read_layer(path)
    named = {str(column).strip().lower() for column in layer.columns}
    kept_out = any("setback" in column for column in named)
    if any(layers.is_a(shape, "Polygon") for shape in layer.geometry):
        kept_out = kept_out or "spread" in path.stem.lower()
        return "no-spread areas" if kept_out or (has_boundary and _is_small(layer)) else "boundary"
    if _weighed(named):
        return "samples"
    if kept_out or any(layers.is_a(shape, "LineString") for shape in layer.geometry):
        return "no-spread areas"
    raise InputError(_neither(path, named - {"geometry"}))


def _weighed(named: set[str]) -> bool:
    """Whether a column may hold a weighing, under whatever name."""
    return any(word in column for column in named for word in WEIGHING_WORDS)


def _neither(path: Path, named: set[str]) -> Problem:
    found = f"its columns are {files.names(sorted(named))}" if named else "it has no columns"
    weather = any(column.startswith(("tmin", "tmax", "rain", "temp")) for column in named)
    expected = (
        "daily weather with date, tmin_c, tmax_c (degrees Celsius) and rain_mm is expected"
        if weather
        else "samples with a weighing, or no-spread areas with a column setback_m, are expected"
    )
    action = "Rename and convert the columns" if weather else "Give the file to its own part of the page"
    return Problem(path.name, found, expected, action)


def _is_small(layer: gpd.GeoDataFrame) -> bool:
    """Less than a tenth of a hectare in all: a pond or a wellhead rather than a field."""
    return float(layer.to_crs(layer.estimate_utm_crs()).area.sum()) < 1_000.0


def samples_table(path: Path) -> tuple[pd.DataFrame, tuple[headers.Taken, ...]]:
    """Samples as rows of text, and what was taken for what.

    A layer of points becomes a table with longitude and latitude. Headers are understood as the command line
    understands them, numbers converted; what could be two things is left for a person to say.
    """
    if path.suffix.lower() in TABLES:
        table = read_delimited(path, known={*columns.COLUMNS, *columns.POSITIONS})
        understood, decimal_comma = headers.understand(table), table.decimal_comma
    else:
        layer = layers.read_layer(path)
        cut = columns.SHORT_NAMES if path.suffix.lower() == ".zip" else {}
        named = {name: str(name).strip().lower() for name in layer.columns.drop("geometry")}
        cells = pd.DataFrame(
            {cut.get(name, name): layer[column].map(files.text_of) for column, name in named.items()}
        )
        points = layer.geometry.to_crs(files.WGS84)
        cells["longitude"], cells["latitude"] = points.x.map("{:.7f}".format), points.y.map("{:.7f}".format)
        understood, decimal_comma = headers.understand_layer(path.name, cells), False
    cells = understood.table.cells.reset_index(drop=True)
    if decimal_comma:
        numbers = [str(name) for name in cells if name not in columns.TEXTS]
        cells[numbers] = cells[numbers].apply(lambda column: column.str.replace(",", "."))
    return cells, understood.taken


def _known_to_persons(
    folder: Path, cells: pd.DataFrame, taken: tuple[headers.Taken, ...]
) -> tuple[pd.DataFrame, list[str]]:
    """The table with what a person once said of a file with the same headers, and how each column was read."""
    came_as = {one.column: one.header for one in taken}
    now = {came_as.get(str(name), str(name)): str(name) for name in cells}
    said = {one.header: str(one) for one in taken}
    for header, column in column_memory.remembered(folder, list(now)).items():
        if now[header] != column and column not in now.values():
            cells = cells.rename(columns={now[header]: column})
            now[header] = column
            said[header] = (
                f'column "{header}" is {column}, as you said of an earlier file with the same headers'
            )
    column_memory.note_columns(folder, list(now), now, said.values())
    return cells, list(said.values())
