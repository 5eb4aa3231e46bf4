"""Export: every file, who reads it, and what to check first."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

import pypdfium2
import streamlit as st

from fieldmap.app.plans.workspace import plan_zip
from fieldmap.app.session.messages import callback, faults_told, plain
from fieldmap.app.session.open_plan import need_open_plan
from fieldmap.app.session.results import (
    all_files,
    cautions_read,
    confirm_cautions,
    file_of,
    file_to_hand_out,
    need_result,
    prepare_files,
)
from fieldmap.budget import Application
from fieldmap.export import registry
from fieldmap.report import findings, summary

if TYPE_CHECKING:
    from pathlib import Path

    from fieldmap.pipeline import Result


ZIP = "application/zip"
GROUPS = {"spreader": "For the spreader", "office": "For the office", "grower": "For the grower"}


def groups_of(result: Result) -> dict[str, dict[str, registry.Format]]:
    """The files by who reads them, each by its path; of several applications each has a group of its own, first."""
    several = len(result.applications) > 1
    groups = {
        f"{summary.application_title(one_map)}: {summary.application_amount(one_map, result.plan.units)}": {
            f"{Application.folder_of(one_map.application.number)}/{one.name}": one
            for one in registry.formats_of_application(one_map.application)
        }
        for one_map in (result.applications if several else ())
    }
    top = registry.formats_at_top(several=several)
    for reader, title in GROUPS.items():
        groups[title] = {one.name: one for one in top if one.reader == reader}
    return {title: files for title, files in groups.items() if files}


def name_to_save(result: Result, name: str) -> str:
    """The name a file is saved under: one of an application says which and of what day."""
    dates = {
        Application.folder_of(one.application.number): one.application.date for one in result.applications
    }
    folder, _, file = name.rpartition("/")
    return f"{folder}-{dates[folder]}-{file}" if folder else file


@st.fragment
def downloads(folder: Path, result: Result) -> None:
    """Cautions, confirmed once for a plan, then every file."""
    with faults_told():
        _downloads(folder, result)


def _downloads(folder: Path, result: Result) -> None:
    if not cautions_read(folder, result):
        st.subheader("Before you spread", anchor=False)
        for caution in result.cautions:
            st.markdown(f"- {plain(caution)}")
        st.checkbox("I have read the cautions", on_change=callback(confirm_cautions), args=(folder, result))
        st.caption("The files can be downloaded once this is ticked; it is asked once for a plan.")
        return
    prepare_files(folder, result)
    everything, plan = st.columns([1, 3])
    everything.download_button(
        "Download all files", partial(all_files, folder), f"{folder.name}.zip", ZIP, type="primary",
        on_click="ignore", key="all files",
    )  # fmt: skip
    plan.download_button(
        "The plan folder", partial(plan_zip, folder), f"{folder.name}-plan.zip", ZIP, on_click="ignore",
        help="Plan and inputs, to be opened on another computer or by the command line.",
    )  # fmt: skip
    st.caption(
        "Files are of the plan as it stands when you click. If one does not come, the plan was changed in another "
        "place: open this page again."
    )
    for group, files in groups_of(result).items():
        st.subheader(group, anchor=False)
        for name, one in files.items():
            button, text = st.columns([1, 3], vertical_alignment="center")
            button.download_button(
                name, partial(file_to_hand_out, folder, name), name_to_save(result, name),
                one.media_type, on_click="ignore", key=name,
            )  # fmt: skip
            text.write(plain(one.says))
    with st.expander("All cautions"):
        for caution in result.cautions:
            st.markdown(f"- {plain(caution)}")


@st.fragment
def preview(folder: Path, result: Result) -> None:
    """The report's pages as pictures."""
    with faults_told():
        _preview(folder, result)


def _preview(folder: Path, result: Result) -> None:
    if st.toggle("Show the report"):
        with st.spinner("Drawing the report"):
            report = pypdfium2.PdfDocument(file_of(folder, result, "report.pdf"))
            pages = [page.render(scale=1.5).to_pil() for page in report]
        for number, (column, picture) in enumerate(
            zip(st.columns(2) * len(pages), pages, strict=False), start=1
        ):
            column.image(picture, caption=f"Page {number}")


def page() -> None:
    """Draw the page."""
    folder = need_open_plan()
    result = need_result(folder)
    if one_rate := findings.one_rate_says(result):
        st.info(plain(f"{one_rate}. Those who want zones all the same have them in the files."))
    downloads(folder, result)
    preview(folder, result)


page()
