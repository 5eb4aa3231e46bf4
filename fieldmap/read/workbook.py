"""Spreadsheet workbooks (.xlsx): the first sheet's values as rows of text, within the bounds of every reader."""

from __future__ import annotations

import datetime as dt
import warnings
import zipfile
from typing import TYPE_CHECKING

from fieldmap.errors import InputError, Problem
from fieldmap.read.archives import DAMAGED, Limits, UnsafeZipError, safe_members
from fieldmap.read.files import MAX_COLUMNS, MAX_FEATURES, MAX_TEXT_BYTES, check_file, text_of

if TYPE_CHECKING:
    from pathlib import Path


_LIMITS = Limits(members=1000, unpacked_bytes=8 * MAX_TEXT_BYTES, ratio=200)
# What openpyxl raises for parts that are missing, no XML, or hold what they should not.
_UNREADABLE = (*DAMAGED, KeyError, ValueError, TypeError, AttributeError, IndexError, SyntaxError)


def workbook_records(path: Path) -> list[tuple[int, list[str]]]:
    """Rows of the first sheet that hold anything, each with its number; formulas as what they last came to.

    Raises
    ------
    InputError
        The file is no workbook, unpacks to too much, or holds too many rows or columns.
    """
    import openpyxl  # a third of a second: only when a workbook is read

    check_file(path, limit=MAX_TEXT_BYTES)
    records: list[tuple[int, list[str]]] = []
    try:
        with zipfile.ZipFile(path) as archive:
            safe_members(archive, _LIMITS)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of styles and validations, which are not read
            book = openpyxl.load_workbook(path, read_only=True, data_only=True, keep_links=False)
            try:
                sheet = book.worksheets[0]
                sheet.reset_dimensions()  # what the file says of its size need not be so
                for number, row in enumerate(sheet.iter_rows(values_only=True), start=1):
                    cells = [_text(value) for value in row]
                    while cells and not cells[-1]:
                        cells.pop()
                    if cells:
                        records.append((number, cells))
                    if len(cells) > MAX_COLUMNS or number > MAX_FEATURES:
                        found = f"there are more than {MAX_COLUMNS} columns or {MAX_FEATURES} rows"
                        expected = "one row a sample or a day is expected"
                        raise InputError(
                            Problem(path.name, found, expected, "Keep only this field", row=number)
                        )
            finally:
                book.close()
    except UnsafeZipError as error:
        raise InputError(_no_workbook(path)) from error
    except _UNREADABLE as error:
        raise InputError(_no_workbook(path)) from error
    return records


def _text(value: object) -> str:
    """A cell as text; a day as ``2026-05-04``."""
    if isinstance(value, dt.datetime):
        return value.date().isoformat() if value.time() == dt.time() else value.isoformat(" ", "seconds")
    return f"{value:.12g}" if isinstance(value, float) and value == value else text_of(value)


def _no_workbook(path: Path) -> Problem:
    return Problem(
        path.name,
        "this workbook cannot be read",
        "an .xlsx workbook with the table on its first sheet is expected",
        "Save the sheet as CSV (UTF-8)",
    )
