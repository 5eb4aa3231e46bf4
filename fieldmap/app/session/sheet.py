"""The sample table while it stands on a page: what is typed in it is saved, and it is never built anew for that."""

from __future__ import annotations

import secrets
import threading
from dataclasses import dataclass, field
from importlib.resources import files
from typing import TYPE_CHECKING

import pandas as pd
import streamlit as st

from fieldmap.app.plans.sample_rows import (
    SAMPLES_FILE,
    deleted_rows,
    keep_deleted,
    read_rows,
    same_rows,
    save_rows,
    whole_rows,
)
from fieldmap.app.session.messages import callback, save
from fieldmap.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path
    from typing import Any


@dataclass
class Sheet:
    """A table on a page, and what of it is saved.

    The browser keeps what is typed, and tells all of it after each change. It is told to draw other rows only with
    a new turn, which comes where the file has come to hold something that was not typed here. Streamlit starts a
    redraw before it has ended the last one, so that two may save at once: what is told is numbered, one saves at a
    time, and what was told earlier than what is saved is left alone.
    """

    folder: Path
    file: str
    saved: pd.DataFrame
    turn: str
    number: int = 0
    saving: threading.Lock = field(default_factory=threading.Lock)

    @property
    def key(self) -> str:
        """What Streamlit knows it by."""
        return f"samples of {self.folder.name}"


def show_rows(
    folder: Path, file: str, rows: pd.DataFrame, *, says: Mapping[str, str], notes: Mapping[int, str]
) -> None:
    """The table to type in, with what each column holds and what is wrong beside each row (numbered as in a file)."""
    sheets: dict[str, Sheet] = st.session_state.setdefault("sheets", {})
    sheet, now = sheets.get(folder.name), whole_rows(rows)
    if sheet is None or not _stands(sheet, file, now):
        sheet = sheets[folder.name] = Sheet(folder, file, now, secrets.token_hex(4))
    _component()(
        key=sheet.key,
        data={
            "turn": sheet.turn,
            "columns": [{"name": name, "says": says.get(name, "")} for name in map(str, now.columns)],
            "rows": sheet.saved.to_numpy().tolist(),
            "deleted": deleted_rows(folder),
            "notes": {str(row): text for row, text in notes.items()},
        },
        on_table_change=callback(save_sheets),
    )


def _stands(sheet: Sheet, file: str, now: pd.DataFrame) -> bool:
    """Whether a file holds what was saved last; one that was looked at before the last save is looked at again."""
    with sheet.saving:
        if sheet.file == file and same_rows(sheet.saved, now):
            return True
        try:
            return sheet.file == file and same_rows(sheet.saved, whole_rows(read_rows(sheet.folder, file)))
        except InputError:
            return False


def _component() -> Any:
    """The table in the browser; registered with the server that runs now, once."""
    css, js = (
        (files("fieldmap") / "assets" / f"sample_table.{kind}").read_text("utf-8") for kind in ("css", "js")
    )
    return st.components.v2.component(
        "fieldmap_sample_table", html='<div class="sample-table"></div>', css=css, js=js
    )


def save_sheets() -> None:
    """Save what was typed in every table and is not saved yet, before anything is drawn."""
    for sheet in st.session_state.get("sheets", {}).values():
        state = st.session_state.get(sheet.key)
        told = state.get("table") if state is not None else None
        if told is not None and told["turn"] == sheet.turn:
            with sheet.saving:
                _save_sheet(sheet, told)


def _save_sheet(sheet: Sheet, told: Mapping[str, Any]) -> None:
    if told["number"] <= sheet.number:
        return
    wanted = pd.DataFrame([[*cells] for cells in told["rows"]], columns=sheet.saved.columns, dtype="str")
    deleted = [(int(position), [*cells]) for position, cells in told["deleted"]]

    def write() -> None:
        if deleted != deleted_rows(sheet.folder):
            keep_deleted(sheet.folder, deleted)
        if not same_rows(wanted, sheet.saved):
            save_rows(sheet.folder, sheet.file, sheet.saved, wanted)
            sheet.saved, sheet.file = whole_rows(wanted), SAMPLES_FILE
        sheet.number = told["number"]

    save(write)
