"""The samples: their file or what is typed, the table with what is wrong, and how columns were read."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from fieldmap.app.parts.asking import ask_all
from fieldmap.app.parts.files import LAYER_KINDS, RASTER_KINDS, TABLE_KINDS, file_line, replace_file
from fieldmap.app.plans import questions as form
from fieldmap.app.plans.intake import TEMPLATE, UNUSED, edit_rows, rename_column, start_rows
from fieldmap.app.session.answers import ask
from fieldmap.app.session.messages import callback, plain, save
from fieldmap.read import columns

if TYPE_CHECKING:
    from pathlib import Path

    import pandas as pd

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
    shown = draft.rows.reset_index(drop=True)
    if draft.row_problems:
        notes = [
            f"△ row {row}: {draft.row_problems[row]}" if row in draft.row_problems else ""
            for row in draft.rows.index
        ]
        shown.insert(0, "needs a look", notes)
    units = {**columns.NUMBERS, **columns.POSITIONS}
    # Named after what it shows, so that an edit is never taken for one of another table.
    key = f"rows {folder.name} {hash(draft.rows.to_csv())}"
    st.data_editor(
        shown,
        num_rows="dynamic",
        hide_index=True,
        key=key,
        on_change=callback(_edit_rows),
        args=(folder, draft.told["samples"]["file"], key, draft.rows),
        disabled=["needs a look"],
        column_config={
            "needs a look": st.column_config.TextColumn(width="large"),
            **{name: st.column_config.TextColumn(help=units.get(name)) for name in draft.rows.columns},
        },
    )
    rows_of: dict[str, list[int]] = {}
    for row, text in draft.row_problems.items():
        rows_of.setdefault(text, []).append(row)
    for text, rows in rows_of.items():
        named = ", ".join(map(str, rows[:ROWS_NAMED])) + (" and more" if len(rows) > ROWS_NAMED else "")
        st.warning(plain(f"{draft.told['samples']['file']}, row{'s' * (len(rows) > 1)} {named}: {text}"))


def _edit_rows(folder: Path, file: str, key: str, seen: pd.DataFrame) -> None:
    """Save an edit as soon as it is made; a row that is being added counts once it holds something."""
    state = st.session_state[key]
    edits = {
        "edited_rows": dict(state["edited_rows"]),
        "added_rows": [dict(row) for row in state["added_rows"] if any(row.values())],
        "deleted_rows": list(state["deleted_rows"]),
    }
    if any(edits.values()):
        save(lambda: edit_rows(folder, file, seen, edits))


def _columns(folder: Path, draft: Draft) -> None:
    """How each column was read, to be corrected by hand."""
    assert draft.rows is not None  # noqa: S101 - the caller looked
    units = {**columns.NUMBERS, **columns.POSITIONS}
    known = [*columns.COLUMNS, *columns.POSITIONS]
    odd = [name for name in draft.rows if name not in known and not str(name).startswith(UNUSED)]
    with st.popover("How the columns were read" + (f": {len(odd)} not known" if odd else "")):
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
