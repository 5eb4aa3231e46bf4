"""Plans: the demo, a new plan, and those that are there."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from fieldmap.app.plans.workspace import (
    NAME_MAX,
    copy_for_next_season,
    copy_plan,
    new_plan,
    open_plan_zip,
    plan_folder,
    remove_plan,
)
from fieldmap.app.session.messages import plain, tell
from fieldmap.app.session.open_plan import close_plan, go_to, open_plan, plans, the_open_plan, workspace
from fieldmap.demo import sample_farm
from fieldmap.errors import InputError

if TYPE_CHECKING:
    from pathlib import Path

    from fieldmap.app.plans.workspace import Listed


NEXT_SEASON = (
    "Carried over: boundary, no-spread areas, cover crop, crops with their needs, spreader, prices, yield response: "
    "look at each once more. To be given again: samples, stage, laboratory %N, nodules, dates, weather, other "
    "credits, several applications (without them all goes out at once), nitrate test, check strips, thin ground."
)


def page() -> None:
    """Draw the page."""
    st.write("From clipped cover-crop samples to a nitrogen credit, zones and a map for the spreader.")
    demo, new, taken = st.columns(3, gap="large")
    with demo:
        st.subheader("See how it works", anchor=False)
        st.write("An invented farm with samples, weather and a spreader.")
        if st.button("Open the demo", type="primary"):
            try:
                _turn_to(_demo(), "map")
            except InputError as error:
                st.error(plain(str(error)))
    with new:
        st.subheader("Start a plan", anchor=False)
        with st.form("new", border=False):
            name = st.text_input("Name of the field")
            units = st.radio(
                "Units", ["metric", "us"], format_func={"metric": "Metric", "us": "US"}.get, horizontal=True
            )
            if st.form_submit_button("Start"):
                if not name.strip():
                    st.error("The name is empty; type what you call this field.")
                elif len(name.strip()) > NAME_MAX:
                    st.error(
                        f"The name has {len(name.strip())} letters; at most {NAME_MAX} are expected. Shorten it."
                    )
                else:
                    _turn_to(new_plan(workspace(), name, units=units), "upload")
    with taken:
        st.subheader("Bring one along", anchor=False)
        brought = st.file_uploader("A plan folder that was downloaded (zip)", type=["zip"])
        if brought is not None and st.button("Open it"):
            try:
                _turn_to(open_plan_zip(workspace(), brought.getvalue(), brought.name), "upload")
            except InputError as error:
                st.error(str(error))
    st.subheader("Your plans", anchor=False)
    found = plans()
    if not found:
        st.info("None yet. Every plan you start is kept here, on this computer, as you go.")
    for listed in found:
        _row(listed)


def _row(listed: Listed) -> None:
    is_open = listed.folder == the_open_plan()
    with st.container(border=True):
        name, opened, copied, removed = st.columns([5, 1.2, 2.2, 1.4], vertical_alignment="center")
        note = " · open now" if is_open else ""
        name.markdown(f"**{plain(listed.name)}**  \nlast changed {listed.changed:%d %B %Y, %H:%M}{note}")
        if opened.button("Open", key=f"open {listed.folder.name}"):
            _turn_to(listed.folder, "upload")
        if copied.button("Copy for next season", key=f"copy {listed.folder.name}"):
            copied_to = copy_for_next_season(workspace(), listed.folder)
            tell([NEXT_SEASON], [])
            _turn_to(copied_to, "upload")
        with removed.popover("Remove"):
            st.write(f"Remove {plain(listed.name)} with all its files? This cannot be undone.")
            if st.button("Yes, remove it", key=f"remove {listed.folder.name}"):
                if is_open:
                    close_plan()
                remove_plan(listed.folder)
                st.rerun()


def _demo() -> Path:
    """The demo as it was left; a fresh copy where there is none."""
    source = sample_farm()[0]
    return plan_folder(workspace(), f"demo-{source.name}") or copy_plan(
        workspace(), source, key=f"demo-{source.name}"
    )


def _turn_to(folder: Path, page_name: str) -> None:
    open_plan(folder)
    go_to(page_name)


page()
