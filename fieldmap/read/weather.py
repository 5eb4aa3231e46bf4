"""Daily weather: temperatures and rain by date, complete from the first day to the last."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from fieldmap.errors import Problem
from fieldmap.read.delimited import DATE_WANTED, ignored_columns, parse_date, read_delimited, to_numbers
from fieldmap.read.files import names, quoted, raise_all

if TYPE_CHECKING:
    import datetime as dt
    from pathlib import Path
    from typing import Final

    from fieldmap.read.delimited import TextTable


LONGEST_GAP_D: Final = 3

_COLUMNS = {  # unit, lowest and highest value that is believed (common practice, no source)
    "tmin_c": ("degrees Celsius", -60.0, 60.0),
    "tmax_c": ("degrees Celsius", -60.0, 60.0),
    "rain_mm": ("millimetres", 0.0, 600.0),
}
_IRRIGATION = "irrigation_mm"  # may be left out; an empty cell is a day without
_WATER = {"rain_mm", _IRRIGATION}


def read_weather(path: Path) -> tuple[pd.DataFrame, tuple[str, ...]]:
    """Read daily weather from CSV with columns date, tmin_c, tmax_c and rain_mm, and irrigation_mm where it is told.

    Gaps of up to three days are filled, temperatures by linear interpolation and rain with 0, and named in a
    warning.

    Returns
    -------
    tuple
        Frame of float64 columns `tmin_c`, `tmax_c` (°C), `rain_mm` and, where the file has it, `irrigation_mm` (mm a
        day), indexed by day, ascending and without gaps; and the warnings.

    Raises
    ------
    InputError
        With every problem: a column is missing, a date or number that cannot be, a day given twice, tmin_c
        above tmax_c, or a longer gap.
    """
    table = read_delimited(path, known={"date", *_COLUMNS, _IRRIGATION})
    raise_all(table.file, [*table.problems, *_column_problems(table)])
    dates, problems = _dates(table)
    days = pd.DataFrame(index=table.cells.index)
    told = {_IRRIGATION: _COLUMNS["rain_mm"]} if _IRRIGATION in table.cells else {}
    for name, (unit, low, high) in {**_COLUMNS, **told}.items():
        days[name], wrong = to_numbers(table, name, unit, low=low, high=high)
        problems += wrong
    for number, low, high in zip(days.index.tolist(), days["tmin_c"], days["tmax_c"], strict=True):
        if low > high:
            found, expected = (
                f"tmin_c {low:g} is above tmax_c {high:g}",
                "the day's low is expected in tmin_c",
            )
            problems.append(table.problem(number, found, expected, "Swap the two or correct them"))
    raise_all(table.file, problems)
    days.index = pd.DatetimeIndex(dates, name="date")
    days = days.sort_index()
    problems, filled = _gaps(table.file, days)
    raise_all(table.file, problems)
    others = [name for name in table.cells.columns if name not in {"date", *_COLUMNS, _IRRIGATION}]
    return _fill(days), (*table.warnings, *ignored_columns(table.file, others), *filled)


def _column_problems(table: TextTable) -> list[Problem]:
    missing = [name for name in ("date", *_COLUMNS) if name not in table.cells]
    if not missing:
        return []
    found = f"there is no column {', '.join(missing)} among {names(list(table.cells.columns))}"
    expected = "date, tmin_c and tmax_c (°C) and rain_mm (mm) are expected; units are not guessed"
    return [Problem(table.file, found, expected, "Rename the columns, and convert °F or inches first")]


def _dates(table: TextTable) -> tuple[list[dt.date | None], list[Problem]]:
    dates: list[dt.date | None] = []
    problems = []
    rows: dict[dt.date, int] = {}
    for number, text in table.column("date"):
        date = parse_date(text)
        dates.append(date)
        if date is None:
            found = f"date is {quoted(text)}"
            expected = f"{DATE_WANTED} is expected"
            problems.append(table.problem(number, found, expected, "Write year-month-day"))
        elif date in rows:
            found, expected = f"{date} is already in row {rows[date]}", "each day once is expected"
            problems.append(table.problem(number, found, expected, "Delete one of the two rows"))
        else:
            rows[date] = number
    return dates, problems


def _gaps(file: str, days: pd.DataFrame) -> tuple[list[Problem], list[str]]:
    """Days without an entry: what is too long to fill, and the words on what will be filled."""
    problems, filled = [], []
    spans: dict[tuple[dt.date, dt.date], list[str]] = {}
    first, last = days.index[0], days.index[-1]
    for name in _COLUMNS:
        entered = days.index[days[name].notna()]
        edges = [first - pd.Timedelta(days=1), *entered, last + pd.Timedelta(days=1)]
        for before, after in pairwise(edges):
            if (after - before).days > 1:
                gap = ((before + pd.Timedelta(days=1)).date(), (after - pd.Timedelta(days=1)).date())
                spans.setdefault(gap, []).append(name)
    for (start, end), columns in sorted(spans.items()):
        length = (end - start).days + 1
        span = f"{start}" if length == 1 else f"{start} to {end}"
        where = f"there is no {', '.join(columns)} for {span}"
        at_edge = (start == first.date() or end == last.date()) and columns != ["rain_mm"]
        if length > LONGEST_GAP_D or at_edge:
            expected = f"gaps of at most {LONGEST_GAP_D} days between days with an entry are expected"
            problems.append(Problem(file, f"{where} ({length} d)", expected, "Add these days"))
        else:
            how = [("temperature from the days around", {"tmin_c", "tmax_c"}), ("rain as 0 mm", {"rain_mm"})]
            taken = " and ".join(words for words, which in how if which & set(columns))
            filled.append(f"{file}: {where}; filled in ({taken}).")
    return problems, filled


def _fill(days: pd.DataFrame) -> pd.DataFrame:
    """Every day from the first to the last, with short gaps filled."""
    daily = days.reindex(pd.date_range(days.index[0], days.index[-1], freq="D", name="date"))
    given = daily.notna()
    for name in _WATER & {*daily.columns}:
        daily[name] = daily[name].fillna(0.0)
    daily[["tmin_c", "tmax_c"]] = daily[["tmin_c", "tmax_c"]].interpolate("linear")
    # A filled low must stay below a measured high, and the other way round.
    daily["tmin_c"] = daily["tmin_c"].where(given["tmin_c"], np.minimum(daily["tmin_c"], daily["tmax_c"]))
    daily["tmax_c"] = daily["tmax_c"].where(given["tmax_c"], np.maximum(daily["tmin_c"], daily["tmax_c"]))
    return daily.astype("float64")
