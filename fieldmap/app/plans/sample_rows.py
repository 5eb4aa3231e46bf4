"""The sample table as a person edits it: typed, pasted, deleted and put back, and saved without a loss."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pandas as pd

from fieldmap.app.plans import column_memory
from fieldmap.app.plans.plan_file import change_plan, save_file, write_atomically
from fieldmap.errors import InputError, Problem
from fieldmap.read import columns, read_delimited

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path


UNUSED = "unused"
FIRST_ROWS = 8
SAMPLES_FILE = "samples.csv"
DELETED_FILE = ".deleted-samples.json"
TEMPLATE = (
    "sample,longitude,latitude,frame_m2,fresh_g,subsample_fresh_g,subsample_dry_g,"
    "nitrogen_pct,legume_pct,weed_pct,note\n"
)


def read_rows(folder: Path, file: str) -> pd.DataFrame:
    """The sample table of a plan as text; the index is the row as a spreadsheet shows it.

    Raises
    ------
    InputError
        Where it is no table; one with a header only is a table without rows.
    """
    known = {*columns.COLUMNS, *columns.POSITIONS}
    return read_delimited(folder / file, known=known, rows_needed=False).cells


def whole_rows(rows: pd.DataFrame) -> pd.DataFrame:
    """The table with its blank rows in their places, but none at the end; positions from 0."""
    filled = rows.fillna("").astype(str)
    if len(filled):
        filled = filled.reindex(range(filled.index.min(), filled.index.max() + 1), fill_value="")
    held = (filled != "").any(axis=1).to_numpy().nonzero()[0]
    return filled.iloc[: held[-1] + 1 if len(held) else 0].reset_index(drop=True)


def same_rows(one: pd.DataFrame, other: pd.DataFrame) -> bool:
    """Whether two tables hold the same, blank rows at the end apart."""
    one, other = whole_rows(one), whole_rows(other)
    return list(one) == list(other) and one.to_numpy().tolist() == other.to_numpy().tolist()


def write_rows(folder: Path, rows: pd.DataFrame) -> None:
    """Save the sample table as a person edited it; a blank row keeps its place."""
    save_file(folder, SAMPLES_FILE, whole_rows(rows).to_csv(index=False).encode())
    change_plan(folder, [(("samples", "file"), SAMPLES_FILE)])


def start_rows(folder: Path) -> None:
    """A table to type samples into, with a few numbered rows."""
    names = TEMPLATE.strip().split(",")
    rows = pd.DataFrame({name: [""] * FIRST_ROWS for name in names})
    rows["sample"] = [str(number) for number in range(1, FIRST_ROWS + 1)]
    forget_deleted(folder)
    column_memory.forget_columns(folder)
    write_rows(folder, rows)


def save_rows(folder: Path, file: str, seen: pd.DataFrame, wanted: pd.DataFrame) -> None:
    """Save what a person made of the rows they saw; cells that were changed in another place meanwhile stay so.

    Raises
    ------
    InputError
        Where rows came or went meanwhile, so that a position may mean another row; nothing is changed then.
    """
    now, seen = whole_rows(read_rows(folder, file)), whole_rows(seen)
    if not same_rows(now, seen):
        wanted = whole_rows(wanted)
        if not (now.shape == seen.shape == wanted.shape and list(now) == list(seen) == list(wanted)):
            raise InputError(
                Problem(file, "the table was changed in another place meanwhile", "an edit of the table "
                        "as it stands is expected", "Look at the rows that are shown now and edit again")
            )  # fmt: skip
        wanted = now.where(wanted == seen, wanted)
    write_rows(folder, wanted)


def deleted_rows(folder: Path) -> list[tuple[int, list[str]]]:
    """Rows that were deleted and can be put back, the last one last: the position each had, and its cells."""
    file = folder / DELETED_FILE
    if not file.is_file():
        return []
    return [(position, cells) for position, cells in json.loads(file.read_text("utf-8"))]


def keep_deleted(folder: Path, rows: Sequence[tuple[int, list[str]]]) -> None:
    """Keep the rows that were deleted and can be put back."""
    write_atomically(folder / DELETED_FILE, json.dumps(rows).encode())


def forget_deleted(folder: Path) -> None:
    """Another table has come: what was deleted from the last is not of it."""
    (folder / DELETED_FILE).unlink(missing_ok=True)


def rename_column(folder: Path, file: str, old: str, new: str) -> None:
    """Say what a column of the sample table is, this time and for the next file like it; `UNUSED` is not read."""
    name = f"{UNUSED}_{old.removeprefix(f'{UNUSED}_')}" if new == UNUSED else new
    write_rows(folder, whole_rows(read_rows(folder, file)).rename(columns={old: name}))
    column_memory.remember(folder, old, name)
