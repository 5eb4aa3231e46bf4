"""Sample tables: where each sample was clipped and what it weighed, from CSV or a layer of points."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS

from fieldmap.errors import Counted, InputError, Problem, counted_problem
from fieldmap.read.columns import (
    COLUMNS,
    DATES,
    NUMBERS,
    POSITIONS,
    SHORT_NAMES,
    TEXTS,
    nearest_columns,
)
from fieldmap.read.delimited import (
    DATE_WANTED,
    TextTable,
    ignored_columns,
    is_empty,
    parse_date,
    read_delimited,
    to_numbers,
)
from fieldmap.read.files import WGS84, check_file, known_crs, names, quoted, raise_all, text_of
from fieldmap.read.headers import Understood, understand
from fieldmap.read.layers.checks import position_fault
from fieldmap.read.layers.layers import ACCEPTED, read_layer

if TYPE_CHECKING:
    import datetime as dt
    from pathlib import Path
    from typing import Any


_HIGHEST = {"nitrogen_pct": 10.0, "legume_pct": 100.0, "weed_pct": 100.0}
_SUBSAMPLE = ("subsample_fresh_g", "subsample_dry_g")
_SETS = (
    "dry_kg_ha, or dry_lb_ac, or frame_m2 (or frame_ft2) with either dry_g (or dry_lb) "
    "or fresh_g (or fresh_lb), subsample_fresh_g and subsample_dry_g"
)

_RIVALS = (
    ("dry_kg_ha", "dry_lb_ac"),
    ("frame_m2", "frame_ft2"),
    ("dry_g", "dry_lb"),
    ("fresh_g", "fresh_lb"),
)


@dataclass(frozen=True)
class SampleTable:
    """Samples as they were written down, checked cell by cell but not against each other.

    Parameters
    ----------
    file
        Name of the file, without its folder.
    place
        What the index of `frame` counts: ``"row"`` as a spreadsheet shows it (the header is row 1), or
        ``"feature"`` from 1.
    frame
        One point a sample in `frame.crs`, with every column of `COLUMNS`: numbers as float64 (NaN where empty
        or absent), dates as datetime64 (NaT where empty or absent), text as str (empty where empty or absent).
    warnings
        What was read in a way the user should know of.
    """

    file: str
    place: Counted
    frame: gpd.GeoDataFrame
    warnings: tuple[str, ...]

    def problem(self, number: int, found: str, expected: str, action: str) -> Problem:
        """Problem in one row or feature."""
        return counted_problem(self.file, self.place, number, found, expected, action)


def read_samples(path: Path, *, crs: str | CRS | None = None) -> SampleTable:
    """Read samples from CSV, or from any layer of points that `read_layer` reads.

    Parameters
    ----------
    path
        The file.
    crs
        Coordinate reference system of easting and northing in a CSV, such as ``"EPSG:26918"``.

    Raises
    ------
    InputError
        With every problem of the columns and cells: no position or no weighing, two sets of units, a name
        close to a known one, text where a number is due, a number or position that cannot be.
    """
    if path.suffix.lower() in ACCEPTED:
        table, points, problems = _from_layer(path)
        understood = understand(table, COLUMNS)
        table = understood.table
    elif path.suffix.lower() in {".csv", ".txt", ".tsv", ".xlsx"}:
        understood = understand(read_delimited(path, known={*COLUMNS, *POSITIONS}))
        table = understood.table
        points, problems = _points(table, crs)
    else:
        check_file(path, limit=None)
        found = f"samples in files ending in {quoted(path.suffix)} are not read"
        expected = f"CSV (.csv), a workbook (.xlsx) or a layer of points ({', '.join(ACCEPTED)}) is expected"
        raise InputError(Problem(path.name, found, expected, "Save the samples in one of these"))
    problems += [*table.problems, *_weighing_problems(table), *dict.fromkeys(understood.unclear.values())]
    near, ignored = _unknown_columns(table, understood)
    problems += near
    columns: dict[str, pd.Series[Any] | str] = {
        name: table.cells[name].map(text_of).astype("str") if name in table.cells else "" for name in TEXTS
    }
    for name in DATES:
        columns[name], wrong = _dates(table, name)
        problems += wrong
    for name, unit in NUMBERS.items():
        if name in table.cells:
            columns[name], wrong = to_numbers(table, name, unit, high=_HIGHEST.get(name, np.inf))
            problems += wrong
        else:
            columns[name] = pd.Series(np.nan, index=table.cells.index)
    raise_all(table.file, sorted(problems, key=_reading_order))
    said = tuple(f"{table.file}: {one}." for one in understood.taken)
    frame = gpd.GeoDataFrame(pd.DataFrame(columns, index=table.cells.index), geometry=points)
    return SampleTable(table.file, table.place, frame, (*table.warnings, *said, *ignored))


def _dates(table: TextTable, column: str) -> tuple[pd.Series[Any], list[Problem]]:
    """Dates of one column (NaT where empty or wrong), and the problem of each cell that is none."""
    problems = []
    found: list[dt.date | None] = [None] * len(table.cells)
    for position, (number, text) in enumerate(table.column(column) if column in table.cells else ()):
        if is_empty(text):
            continue
        found[position] = parse_date(text.removesuffix(" 00:00:00"))  # as layers write a date
        if found[position] is None:
            wrong = f"{column} is {quoted(text)}"
            problems.append(table.problem(number, wrong, f"{DATE_WANTED} is expected", "Correct the cell"))
    days = np.array(found, dtype="datetime64[D]")
    return pd.Series(days.astype("datetime64[s]"), index=table.cells.index, name=column), problems


def _reading_order(problem: Problem) -> int:
    """Whole file first, then row by row."""
    return problem.row or problem.feature or 0


def _points(table: TextTable, crs: str | CRS | None) -> tuple[gpd.GeoSeries, list[Problem]]:
    """Positions of a CSV's rows, and what is wrong with them."""
    degrees = {"longitude", "latitude"} & set(table.cells)
    metres = {"easting", "northing"} & set(table.cells)
    nowhere = gpd.GeoSeries(np.full(len(table.cells), None), index=table.cells.index, crs=WGS84)
    if len(degrees) == 2 and len(metres) == 2:
        found = "both longitude, latitude and easting, northing are there"
        expected, action = "one of the two pairs is expected", "Delete the other pair"
        return nowhere, [Problem(table.file, found, expected, action)]
    if len(degrees) < 2 and len(metres) < 2:
        found = f"the columns are {names(list(table.cells.columns))}"
        expected = "longitude and latitude (or easting and northing) are expected"
        return nowhere, [Problem(table.file, found, expected, "Add where each sample was clipped")]
    if len(degrees) == 2:
        return _read_points(table, "longitude", "latitude", WGS84)
    if crs is None:
        found = "positions are easting, northing, but [samples] crs is missing in plan.toml"
        expected = 'the code of their reference system, such as crs = "EPSG:26918", is expected'
        return nowhere, [Problem(table.file, found, expected, "Add it, or give longitude and latitude")]
    system = known_crs(crs) if isinstance(crs, str) else crs
    if system is None or not system.is_projected:
        shown = crs if isinstance(crs, str) else crs.name
        found = f"[samples] crs in plan.toml is {quoted(shown)}"
        expected = 'the code of a projected reference system, such as "EPSG:26918", is expected'
        return nowhere, [Problem(table.file, found, expected, "Correct it in plan.toml")]
    return _read_points(table, "easting", "northing", system)


def _read_points(table: TextTable, x: str, y: str, crs: CRS) -> tuple[gpd.GeoSeries, list[Problem]]:
    across, problems = to_numbers(table, x, POSITIONS[x], low=-np.inf)
    up, more = to_numbers(table, y, POSITIONS[y], low=-np.inf)
    problems += more
    for column in (x, y):
        problems += [
            table.problem(
                number, f"{column} is empty", "a position is expected", "Fill it in or delete the row"
            )
            for number, text in table.column(column)
            if is_empty(text)
        ]
    points = gpd.GeoSeries.from_xy(across, up, index=table.cells.index, crs=crs)
    return points, [*problems, *_misplaced(table, points)]


def _misplaced(table: TextTable, points: gpd.GeoSeries) -> list[Problem]:
    """Positions off the globe."""
    crs = CRS(points.crs)
    x, y = shapely.get_x(points.to_numpy()), shapely.get_y(points.to_numpy())  # NaN where there is no point
    expected = "longitude -180 to 180 and latitude -90 to 90 are expected"
    problems = []
    for position in np.flatnonzero(np.isfinite(x) & np.isfinite(y)).tolist():
        if fault := position_fault(x[position], y[position], crs):
            # Swapped ones are said without their numbers, so that all such rows are one problem.
            found = "longitude and latitude look swapped" if fault.swapped else fault.found
            action = "Swap the two" if fault.swapped else "Correct the position"
            problems.append(table.problem(int(points.index[position]), found, expected, action))
    return problems


def _from_layer(path: Path) -> tuple[TextTable, gpd.GeoSeries, list[Problem]]:
    """Attributes of a layer of points as text cells, the points, and what is wrong with either."""
    layer = read_layer(path)
    cells, problems, warnings = {}, [], []
    for column in layer.columns.drop("geometry"):
        name = str(column).strip().lower()
        if path.suffix.lower() == ".zip" and name in SHORT_NAMES:
            warnings.append(f"{path.name}: column {name} was read as {SHORT_NAMES[name]}.")
            name = SHORT_NAMES[name]
        if name in cells:
            found, expected = f"column {quoted(name)} is there twice", "each column once is expected"
            problems.append(Problem(path.name, found, expected, "Rename or delete one"))
        cells[name] = layer[column].map(text_of).astype("str")
    table = TextTable(path.name, "feature", pd.DataFrame(cells, index=layer.index), warnings=tuple(warnings))
    single = np.array([_single_point(shape) for shape in layer.geometry], dtype=object)
    points = gpd.GeoSeries(single, index=layer.index, crs=layer.crs)
    for number, shape in zip(layer.index.tolist(), layer.geometry, strict=True):
        if _single_point(shape) is None:
            found = "there is no geometry" if shape is None else f"this is a {shape.geom_type}"
            expected, action = "one point is expected", "Give the sample its point or remove it"
            problems.append(table.problem(number, found, expected, action))
    return table, points, [*problems, *_misplaced(table, points)]


def _single_point(shape: object) -> shapely.Point | None:
    if isinstance(shape, shapely.MultiPoint) and len(shape.geoms) == 1:
        shape = shape.geoms[0]
    return shape if isinstance(shape, shapely.Point) and not shape.is_empty else None


def _weighing_problems(table: TextTable) -> list[Problem]:
    """Columns that are needed to get at dry weight an area; a column without any entry counts as absent."""
    used = {name for name in table.cells if name in NUMBERS and not table.cells[name].map(is_empty).all()}
    rivals = [pair for pair in _RIVALS if used.issuperset(pair)]
    by_area = sorted(used & {"dry_kg_ha", "dry_lb_ac"})
    by_frame = sorted(used & {"frame_m2", "frame_ft2"})
    if by_area and by_frame:
        rivals.append((by_area[0], by_frame[0]))
    problems = [
        Problem(table.file, f"both {one} and {other} are filled in", "one of the two is expected",
                "Keep the one that was measured")
        for one, other in rivals
    ]  # fmt: skip
    dry = used & {"dry_g", "dry_lb"}
    fresh = used & {"fresh_g", "fresh_lb"} and used.issuperset(_SUBSAMPLE)
    if not by_area and not (by_frame and (dry or fresh)):
        weighing = [name for name in NUMBERS if name in used and not name.endswith("_pct")]
        found = (
            f"of the weighing only {', '.join(weighing)} is filled in"
            if weighing
            else "no weighing is filled in"
        )
        problems.append(
            Problem(table.file, found, f"{_SETS} is expected", "Add the columns that are missing")
        )
    return problems


def _unknown_columns(table: TextTable, understood: Understood) -> tuple[list[Problem], tuple[str, ...]]:
    """Refuse columns whose name is close to a known one; warn of the other unknown ones."""
    known = (*COLUMNS, *POSITIONS) if table.place == "row" else COLUMNS
    problems, ignored = [], []
    for name in table.cells.columns:
        if name in known or name in understood.unclear:
            continue
        nearest = nearest_columns(name, [column for column in known if column not in table.cells])
        if not nearest:
            ignored.append(name)
            continue
        units = {**NUMBERS, **POSITIONS}
        meant = ", ".join(f"{column} ({units[column]})" if column in units else column for column in nearest)
        expected = f"the nearest known {'name is' if len(nearest) == 1 else 'names are'} {meant}"
        action = "Rename it if it is that, or delete it"
        if len(name) == 10 and set(SHORT_NAMES.values()).issuperset(nearest):
            action = (
                f"A shapefile cuts names at ten letters: write {', '.join(SHORT_NAMES)}, or use a GeoPackage"
            )
        problems.append(Problem(table.file, f"column {quoted(name)} is not known", expected, action))
    return problems, ignored_columns(table.file, ignored)
