"""Files of a plan: dropped in, replaced, put back, left out."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from fieldmap.app.plans.intake import former_of, put_back, take_in
from fieldmap.app.plans.plan_file import change_plan
from fieldmap.app.session.answers import value_at
from fieldmap.app.session.messages import plain, show_told, tell
from fieldmap.errors import InputError

if TYPE_CHECKING:
    from pathlib import Path
    from typing import Any

    from fieldmap.app.plans.draft import Draft
    from fieldmap.app.session.answers import Place


LAYER_KINDS, TABLE_KINDS, RASTER_KINDS = (
    ["geojson", "json", "gpkg", "zip", "kml"],
    ["csv", "txt", "tsv", "xlsx"],
    ["tif", "tiff"],
)


def drop_files(folder: Path) -> bool:
    """Files of any kind together; each says as what it was read. Returns whether some have just arrived."""
    turn = st.session_state.setdefault("drops", 0)
    files = st.file_uploader(
        "Drop files here: boundary, samples, no-spread areas, covariate raster, weather",
        type=[*LAYER_KINDS, *TABLE_KINDS, *RASTER_KINDS],
        accept_multiple_files=True,
        key=f"drop {turn}",
        help="GeoJSON, GeoPackage, zipped shapefile, KML, CSV, .xlsx or GeoTIFF. Each is saved in the plan at once.",
    )
    if files:
        said, refused = [], []
        # Polygons first: what a second layer of polygons is depends on whether there is a boundary.
        for file in sorted(files, key=lambda one: "spread" in one.name.lower()):
            try:
                said.append(take_in(folder, file.name, file.getvalue()).said)
            except InputError as error:
                refused += [str(problem) for problem in error.problems]
        st.session_state["drops"] = turn + 1
        tell(said, refused)
        st.rerun()
    with st.container():
        return show_told()


def replace_file(folder: Path, role: Any, label: str, kinds: list[str]) -> None:
    """Give a part its file, whatever the file looks like."""
    turn = st.session_state.setdefault(f"turn {role}", 0)
    file = st.file_uploader(label, type=kinds, key=f"{role} {turn}")
    with st.container():
        _former(folder, role)
    if file is not None:
        st.session_state[f"turn {role}"] = turn + 1
        take_in_as(folder, file.name, file.getvalue(), role)
        st.rerun()


def take_in_as(folder: Path, name: str, content: bytes, role: Any) -> None:
    """Save a file as what it is said to be, and tell what came of it."""
    try:
        tell([take_in(folder, name, content, role=role).said], [])
    except InputError as error:
        tell([], [str(problem) for problem in error.problems])


def _former(folder: Path, role: Any) -> None:
    """The way back to the file that the last one replaced."""
    former = former_of(folder, role)
    if former is not None and st.button(f"Put back the former {role}", key=f"back {role}"):
        put_back(folder, role)
        st.rerun()


def file_line(folder: Path, draft: Draft, place: Place, what: str) -> None:
    """A file that the plan names, and a way to leave it out again."""
    named = value_at(draft.told, place)
    if not named:
        return
    text, button = st.columns([3, 1], vertical_alignment="center")
    text.write(f"{what}: {plain(', '.join(map(str, named)) if isinstance(named, list) else str(named))}")
    if button.button("Leave it out", key=f"out {place}"):
        change_plan(folder, [(place, None)])
        st.rerun()
