"""The samples: their file or what is typed, the table with what is wrong, and how columns were read."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from fieldmap.app.parts.asking import ask_all
from fieldmap.app.parts.files import LAYER_KINDS, RASTER_KINDS, TABLE_KINDS, file_line, replace_file
from fieldmap.app.plans import questions as form
from fieldmap.app.plans.column_memory import columns_said
from fieldmap.app.plans.sample_rows import TEMPLATE, UNUSED, rename_column, start_rows
from fieldmap.app.session.answers import ask
from fieldmap.app.session.messages import plain
from fieldmap.app.session.sheet import show_rows
from fieldmap.read import columns

if TYPE_CHECKING:
    from pathlib import Path

    from fieldmap.app.plans.draft import Draft


ROWS_NAMED = 8


def ask_samples(folder: Path, draft: Draft) -> None:
    """The file or the table, and what else the samples need."""
    st.download_button("Template (CSV)", TEMPLATE, "samples.csv", "text/csv", on_click="ignore")
    replace_file(folder, "samples", "The clipped samples", [*TABLE_KINDS, *LAYER_KINDS])
    if draft.rows is None:
        file_line(folder, draft, ("samples", "file"), "Samples")
        if st.button("Type them in"):
            start_rows(folder)
            st.rerun()
        return
    _sample_table(folder, draft)
    _columns(folder, draft)
    if "easting" in draft.rows:
        ask(folder, draft.told, form.CRS)
    ask_all(folder, draft, form.SAMPLES)
    file_line(folder, draft, ("samples", "covariate"), "Covariate raster")
    replace_file(
        folder,
        "covariate",
        "A raster that may track biomass, such as a vegetation index (optional)",
        RASTER_KINDS,
    )


def _sample_table(folder: Path, draft: Draft) -> None:
    """The rows with what is wrong beside each; every edit is saved."""
    assert draft.rows is not None  # noqa: S101 - the caller looked
    file = draft.told["samples"]["file"]
    units = {**columns.NUMBERS, **columns.POSITIONS}
    notes = {row: f"△ {text}" for row, text in draft.row_problems.items()}
    show_rows(folder, file, draft.rows, says=units, notes=notes)
    with st.container():
        if said := columns_said(folder):
            st.caption(plain(f"How the columns were read: {'; '.join(said)}."))
        _row_problems(draft, file)


def _row_problems(draft: Draft, file: str) -> None:
    """What is wrong with which rows, by their numbers in the table."""
    rows_of: dict[str, list[int]] = {}
    for row, text in draft.row_problems.items():
        rows_of.setdefault(text, []).append(row)
    for text, rows in rows_of.items():
        named = ", ".join(map(str, rows[:ROWS_NAMED])) + (" and more" if len(rows) > ROWS_NAMED else "")
        st.warning(plain(f"{file}, row{'s' * (len(rows) > 1)} {named}: {text}"))


def _columns(folder: Path, draft: Draft) -> None:
    """How each column was read, to be corrected by hand."""
    assert draft.rows is not None  # noqa: S101 - the caller looked
    units = {**columns.NUMBERS, **columns.POSITIONS}
    known = [*columns.COLUMNS, *columns.POSITIONS]
    odd = [name for name in draft.rows if name not in known and not str(name).startswith(UNUSED)]
    with st.popover("What each column is" + (f": {len(odd)} not known" if odd else "")):
        for name in map(str, draft.rows.columns):
            options = [UNUSED, *(each for each in known if each == name or each not in draft.rows)]
            chosen = st.selectbox(
                name,
                options,
                index=options.index(name) if name in options else 0,
                format_func=lambda each: f"{each} ({units[each]})" if each in units else each,
                key=f"column {folder.name} {name}",
            )
            if chosen != name and not (chosen == UNUSED and (name.startswith(UNUSED) or name in odd)):
                rename_column(folder, draft.told["samples"]["file"], name, chosen)
                st.rerun()
