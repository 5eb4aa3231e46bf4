"""The boundary and the no-spread areas: their files, or drawn on the map of what has arrived."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st
from streamlit_folium import st_folium

from fieldmap.app.parts.files import LAYER_KINDS, file_line, replace_file, take_in_as
from fieldmap.app.plans.draft import whereabouts
from fieldmap.app.plans.intake import ROLES
from fieldmap.app.session.answers import units_of
from fieldmap.app.session.messages import plain
from fieldmap.app.sketch import build_sketch, drawn_geojson

if TYPE_CHECKING:
    from pathlib import Path
    from typing import Any

    from fieldmap.app.plans.draft import Draft


MAP_HEIGHT = 430


def ask_boundary(folder: Path, draft: Draft) -> None:
    """The outline and what is not spread on, each with its file."""
    if draft.boundary is not None:
        st.write(
            f"Blocks: {plain(', '.join(draft.blocks))}. {plain(whereabouts(draft.boundary, units_of(draft.told)))}"
        )
    file_line(folder, draft, ("field", "boundary"), "Boundary")
    replace_file(folder, "boundary", "The field outline", LAYER_KINDS)
    file_line(folder, draft, ("field", "no_spread"), "No-spread areas")
    replace_file(
        folder, "no-spread areas", "No-spread areas: wells, water, what their setback covers", LAYER_KINDS
    )
    st.caption("A column block names the blocks; a column setback_m widens a no-spread area, in metres.")


def draw_on_map(folder: Path, draft: Draft) -> None:
    """The map of what has arrived, and the tool to draw with."""
    background = st.toggle(
        "Online background",
        key="background",
        help="Fetches map pictures from openstreetmap.org; off, nothing leaves.",
    )
    centre = None
    if draft.boundary is None and draft.rows is None:
        latitude, longitude = st.columns(2)
        at = (
            latitude.number_input("Latitude of the field", -89.0, 89.0, value=None, format="%g"),
            longitude.number_input("Longitude", -180.0, 180.0, value=None, format="%g"),
        )
        centre = (at[0], at[1]) if at[0] is not None and at[1] is not None else None
    found = st_folium(
        build_sketch(draft, background=background, centre=centre),
        key=f"sketch {folder.name} {st.session_state.get('drawings', 0)}",
        height=MAP_HEIGHT,
        use_container_width=True,
        returned_objects=["all_drawings"],
    )
    drawings = (found or {}).get("all_drawings") or []
    areas = [one for one in drawings if one["geometry"]["type"] == "Polygon"]
    if drawings:
        first, second = st.columns(2)
        if areas and first.button("Use it as the boundary"):
            _keep_drawing(folder, "boundary", areas)
        if second.button("Use it as no-spread areas"):
            _keep_drawing(folder, "no-spread areas", drawings)
    elif draft.boundary is None:
        st.caption(
            "The pentagon at the map's left draws an outline, corner by corner; its first corner closes it."
        )


def _keep_drawing(folder: Path, role: Any, drawings: list[dict[str, Any]]) -> None:
    name = "boundary.geojson" if role == ROLES[0] else "no_spread.geojson"
    take_in_as(folder, name, drawn_geojson(drawings), role)
    st.session_state["drawings"] = st.session_state.get("drawings", 0) + 1
    st.rerun()
