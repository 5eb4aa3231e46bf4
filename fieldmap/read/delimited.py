"""Text tables: bytes to rows of text cells whose row numbers are those a spreadsheet shows."""

from __future__ import annotations

import csv
import datetime as dt
import io
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from fieldmap.errors import Counted, InputError, Problem, counted_problem
from fieldmap.read.files import (
    MAX_COLUMNS,
    MAX_FEATURES,
    MAX_TEXT_BYTES,
    names,
    quoted,
    raise_all,
    read_bytes,
)
from fieldmap.read.workbook import workbook_records

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence
    from pathlib import Path
    from typing import Final


DELIMITERS: Final = {",": "comma", ";": "semicolon", "\t": "tab"}
FIRST_YEAR, LAST_YEAR = 1900, 2100
DATE_WANTED: Final = f"a date such as 2026-05-04, from {FIRST_YEAR} to {LAST_YEAR},"
_DATE = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
_POINT = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d{1,3})?", re.IGNORECASE | re.ASCII)
_COMMA = re.compile(r"[+-]?(\d+,\d*|,\d+)(e[+-]?\d{1,3})?", re.IGNORECASE | re.ASCII)
_THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2},\d{3}", re.ASCII)


@dataclass(frozen=True)
class TextTable:
    """Cells as text, before any of them is understood.

    Parameters
    ----------
    file
        Name of the file, without its folder.
    place
        What the index counts: ``"row"`` as a spreadsheet shows it, or ``"feature"`` from 1.
    cells
        Text cells, trimmed; columns in lower case and trimmed, each once; index is the row number.
    decimal_comma
        Whether a comma is the decimal sign.
    warnings
        What was read in a way the user should know of.
    problems
        What is wrong with the table's shape; to be raised together with what is wrong in its cells.
    """

    file: str
    place: Counted
    cells: pd.DataFrame
    decimal_comma: bool = False
    warnings: tuple[str, ...] = ()
    problems: tuple[Problem, ...] = ()

    def column(self, name: str) -> list[tuple[int, str]]:
        """Row or feature number and text of each cell in one column."""
        return list(zip(self.cells.index.tolist(), self.cells[name].tolist(), strict=True))

    def problem(self, number: int, found: str, expected: str, action: str) -> Problem:
        """Problem in one row or feature."""
        return counted_problem(self.file, self.place, number, found, expected, action)


def read_delimited(path: Path, *, known: Collection[str], rows_needed: bool = True) -> TextTable:
    """Read a comma, semicolon or tab separated file, or the first sheet of a workbook (.xlsx), as text.

    The separator is the one under which the header holds most of the `known` columns. Blank rows are skipped,
    but still counted. In a file separated by semicolons or tabs a comma may be the decimal sign.

    Raises
    ------
    InputError
        The file is not a text table, or has no rows where some are needed.
    """
    if path.suffix.lower() == ".xlsx":
        warnings: tuple[str, ...] = ()
        records, delimiter = workbook_records(path), ""
    else:
        text, warnings = _decode(path)
        delimiter = _delimiter(text, known)
        records = _records(path, text, delimiter)
    if not records:
        raise InputError(
            Problem(path.name, "the file is blank", "a header and rows are expected", "Fill in the table")
        )
    header_row, header = records[0]
    width = max((position + 1 for position, name in enumerate(header) if name), default=0)
    columns = [name.lower() for name in header[:width]]
    problems = _header_problems(path.name, header_row, columns)
    rows: dict[int, list[str]] = {}
    for number, record in records[1:]:
        if any(record[width:]):
            problems.append(_too_many_cells(path.name, number, len(record), width, delimiter))
        rows[number] = (record + [""] * width)[:width]
    cells = pd.DataFrame.from_dict(rows, orient="index", columns=columns, dtype="str")
    cells.index.name = "row"
    cells = cells.loc[:, [bool(name) for name in columns]]
    cells = cells.loc[:, ~cells.columns.duplicated()]
    if rows_needed and not rows:
        raise_all(
            path.name,
            [
                *problems,
                Problem(path.name, "there are no rows below the header", "a row for each is expected",
                        "Fill in the table"),
            ],
        )  # fmt: skip
    decimal_comma = delimiter != "," and _uses_decimal_comma(cells)
    return TextTable(path.name, "row", cells, decimal_comma, warnings, tuple(problems))


def is_empty(text: str) -> bool:
    """Whether a cell holds nothing, or says so."""
    return text.strip().lower() in {"", "na", "n/a"}


def parse_number(text: str, *, decimal_comma: bool = False) -> float | None:
    """Value of a cell: NaN if empty (or ``NA``), infinite if spelt so, None if it is not a number.

    Thousands separators, units and digits of other scripts are not accepted.
    """
    text = text.strip().replace("−", "-")
    if is_empty(text):
        return float("nan")
    if _POINT.fullmatch(text):
        return float(text)
    if decimal_comma and _COMMA.fullmatch(text):
        return float(text.replace(",", "."))
    if text.lower().lstrip("+-") in {"inf", "infinity"}:
        return float("inf")
    return None


def parse_date(text: str) -> dt.date | None:
    """The date of a cell such as ``2026-05-04``; None for anything else, another order of day and month included."""
    if not _DATE.fullmatch(text):
        return None
    try:
        date = dt.date.fromisoformat(text)
    except ValueError:
        return None
    return date if FIRST_YEAR <= date.year <= LAST_YEAR else None


def to_numbers(
    table: TextTable, column: str, unit: str, *, low: float = 0.0, high: float = np.inf
) -> tuple[pd.Series[float], list[Problem]]:
    """Numbers of one column (NaN where empty or wrong) and the problem of each cell outside [low, high]."""
    problems: list[Problem] = []
    values = np.full(len(table.cells), np.nan)
    for position, (number, text) in enumerate(table.column(column)):
        value = parse_number(text, decimal_comma=table.decimal_comma)
        if value is None or np.isinf(value):
            expected, action = f"a number in {unit} is expected", "Correct the cell"
            if table.place == "row" and _COMMA.fullmatch(text) and not table.decimal_comma:
                action = "Write the number with a decimal point and without thousands separator"
            problems.append(table.problem(number, f"{column} is {quoted(text)}", expected, action))
        elif value < low or value > high:
            span = f"{low:g} or more" if np.isinf(high) else f"{low:g} to {high:g}"
            found, expected = f"{column} is {quoted(text)}", f"{span} ({unit}) is expected"
            problems.append(table.problem(number, found, expected, "Correct the cell"))
        else:
            values[position] = value
    return pd.Series(values, index=table.cells.index, name=column), problems


def _decode(path: Path) -> tuple[str, tuple[str, ...]]:
    content = read_bytes(path, limit=MAX_TEXT_BYTES)
    expected, action = "a text table is expected", "Save it as CSV (UTF-8)"
    if content.startswith(b"PK\x03\x04"):
        raise InputError(Problem(path.name, "this is a spreadsheet workbook or a zip", expected, action))
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise InputError(Problem(path.name, "the text is UTF-16", "UTF-8 text is expected", action))
    if b"\x00" in content:
        raise InputError(Problem(path.name, "this is not text", expected, action))
    try:
        return content.decode("utf-8-sig"), ()
    except UnicodeDecodeError:
        pass
    try:
        text = content.decode("cp1252")
    except UnicodeDecodeError as error:
        raise InputError(Problem(path.name, "this is not text", expected, action)) from error
    note = (
        f"{path.name}: the text is not UTF-8 and was read as Windows-1252; check accents in names and notes."
    )
    return text, (note,)


def _delimiter(text: str, known: Collection[str]) -> str:
    header = next((line for line in text.splitlines() if line.strip()), "")[:100_000]

    def score(delimiter: str) -> tuple[int, int]:
        try:
            columns = next(csv.reader([header], delimiter=delimiter), [])
        except csv.Error:
            return 0, 0
        return len({column.strip().lower() for column in columns} & set(known)), len(columns)

    return max(DELIMITERS, key=score)


def _records(path: Path, text: str, delimiter: str) -> list[tuple[int, list[str]]]:
    """Rows that hold anything, with the number a spreadsheet shows for each."""
    records: list[tuple[int, list[str]]] = []
    number = 0
    try:
        for number, record in enumerate(
            csv.reader(io.StringIO(text, newline=""), delimiter=delimiter), start=1
        ):
            cells = [cell.strip() for cell in record]
            if not any(cells):
                continue
            records.append((number, cells))
            if len(cells) > MAX_COLUMNS or len(records) > MAX_FEATURES:
                found = f"there are more than {MAX_COLUMNS} columns or {MAX_FEATURES} rows"
                expected = "one row a sample or a day is expected"
                raise InputError(Problem(path.name, found, expected, "Keep only this field", row=number))
    except csv.Error as error:
        found, expected = "the row cannot be split into cells", "cells of ordinary length are expected"
        raise InputError(
            Problem(path.name, found, expected, "Look for a quote that is not closed", row=number + 1)
        ) from error
    return records


def _header_problems(file: str, row: int, columns: Sequence[str]) -> list[Problem]:
    twice = sorted({name for name in columns if name and columns.count(name) > 1})
    return [
        Problem(file, f"column {quoted(name)} is there {columns.count(name)} times",
                "each column once is expected", "Keep one and rename or delete the others", row=row)
        for name in twice
    ]  # fmt: skip


def _too_many_cells(file: str, number: int, cells: int, width: int, delimiter: str) -> Problem:
    expected = f"one cell a column, separated by {DELIMITERS[delimiter]}, is expected" if delimiter else ""
    action = "Put text that holds the separator in quotes"
    if not delimiter:
        expected, action = (
            "one cell a column is expected",
            "Name the column, or empty the cells beside the table",
        )
    elif delimiter == ",":
        action = "Write numbers with a decimal point, and put text that holds a comma in quotes"
    return Problem(
        file,
        f"there are {cells} cells under {width} column names",
        expected,
        action,
        row=number,
    )


def _uses_decimal_comma(cells: pd.DataFrame) -> bool:
    """Whether commas can only be decimal signs: no number has a point, and not all look like ``1,234``."""
    texts = [text for text in cells.to_numpy().ravel().tolist() if "." in text or "," in text]
    if any("." in text and _POINT.fullmatch(text) for text in texts):
        return False
    return any(_COMMA.fullmatch(text) and not _THOUSANDS.fullmatch(text) for text in texts)


def ignored_columns(file: str, columns: Sequence[str]) -> tuple[str, ...]:
    """Return the warning that names columns nobody asked for; none if there are none."""
    if not columns:
        return ()
    which = "column" if len(columns) == 1 else "columns"
    return (f"{file}: {which} not used: {names(columns)}.",)
