"""Workbooks: the first sheet's values, as a CSV of them would be read; nothing else of what they may hold."""

import datetime as dt
import zipfile

import openpyxl
import pytest

from fieldmap.errors import InputError
from fieldmap.read.samples import read_samples

HEADER = ["Sample no.", "Lat", "Lon", "Dry matter (kg/ha)", "Sampling date", "Comments"]


def workbook(tmp_path, *rows, name="s.xlsx"):
    book = openpyxl.Workbook()
    for row in rows:
        book.active.append(row)
    book.create_sheet("other").append(["not", "read"])
    book.save(tmp_path / name)
    return tmp_path / name


def test_the_first_sheet_is_read_with_numbers_days_and_rows_as_a_spreadsheet_shows_them(tmp_path):
    path = workbook(
        tmp_path,
        HEADER,
        [1, 44.9862, 9.8725, 4000, dt.datetime(2026, 5, 4), "wet,\nlow"],  # noqa: DTZ001
        [],
        ["2", "44.9863", 9.8726, 3999.5, None, None],
    )
    frame = read_samples(path).frame
    assert frame.index.tolist() == [2, 4]
    assert frame["sample"].tolist() == ["1", "2"]
    assert frame["dry_kg_ha"].tolist() == [4000.0, 3999.5]
    assert (frame.geometry.x.tolist(), frame.geometry.y.tolist()) == ([9.8725, 9.8726], [44.9862, 44.9863])
    assert frame["sampled"].dt.strftime("%Y-%m-%d").tolist()[0] == "2026-05-04"
    assert frame["note"].tolist() == ["wet, low", ""]


def test_a_formula_is_what_it_last_came_to_and_none_is_worked_out(tmp_path):
    path = workbook(
        tmp_path, HEADER[:4], [1, 44.9, 9.8, "=2000*2"]
    )  # never opened in a spreadsheet: no value
    with pytest.raises(InputError, match="no weighing is filled in"):
        read_samples(path)


def problem(path):
    with pytest.raises(InputError) as caught:
        read_samples(path)
    return str(caught.value)


def test_a_note_beside_the_table_is_told(tmp_path):
    told = problem(workbook(tmp_path, HEADER[:4], [1, 44.9, 9.8, 4000, "beside"]))
    assert told == (
        "s.xlsx, row 2: there are 5 cells under 4 column names; one cell a column is expected. "
        "Name the column, or empty the cells beside the table."
    )


CANNOT = (
    "s.xlsx: this workbook cannot be read; an .xlsx workbook with the table on its first sheet is expected. "
    "Save the sheet as CSV (UTF-8)."
)


def test_what_is_no_workbook_or_unpacks_to_too_much_is_refused(tmp_path):
    path = tmp_path / "s.xlsx"
    path.write_bytes(b"sample,latitude\n")
    assert problem(path) == CANNOT
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("readme.txt", "x")
    assert problem(path) == CANNOT
    workbook(tmp_path, HEADER[:4], [1, 44.9, 9.8, 4000])
    with zipfile.ZipFile(path, "a", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/media/large.bin", b"0" * 200_000_000)
    assert problem(path) == CANNOT


def test_too_many_columns_are_refused_whatever_the_sheet_says_of_its_size(tmp_path):
    path = workbook(tmp_path, HEADER[:4], [1, 44.9, 9.8, 4000, *[None] * 400, "far"])
    assert "row 2: there are more than 300 columns or 100000 rows" in problem(path)
