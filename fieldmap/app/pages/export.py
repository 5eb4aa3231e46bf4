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
from fieldmap.export import DRIP, WRITERS, application_files
from fieldmap.report import summary

if TYPE_CHECKING:
    from pathlib import Path

    from fieldmap.pipeline import Result


# Who reads it; name; what it is, what opens it, what to check first.
GROUPS = {
    "For the spreader": {
        "taskdata_grid.zip": "Task data by ISO 11783-10 as a grid. Check the rate shown in one zone.",
        "taskdata_zones.zip": "The same as polygons, for terminals that draw zones. Check the rate in one zone.",
        "zones_shapefile.zip": "Zones as a shapefile: RATE is of product, in UNIT. Check the column that is read.",
        "loads.csv": "Where each load runs out. Any spreadsheet opens it.",
    },
    "For the office": {
        "zones.geojson": "Zones with every figure, by RFC 7946. rate_n is nitrogen, product what is spread.",
        "zones.gpkg": "Zones, samples, boundary and strips as layers of one GeoPackage, for a GIS.",
        "surface.tif": "Biomass, credit, what is missing and the rates as bands of a GeoTIFF, for a GIS.",
        "zones.csv": "The zone table. Any spreadsheet opens it.",
        "season.csv": "Week by week: released, taken up, short, spare. Any spreadsheet opens it.",
        "result.json": "Every figure with its source, for a machine to read.",
    },
    "For the grower": {
        "report.pdf": "Four pages to keep: map, tables, how sure, sources and cautions. Act on page 1.",
        "card.pdf": "One page for phone or clipboard.",
        "map.html": "The map as one file: opens in any browser without a network, on a phone too.",
        "samples.gpx": "The samples as waypoints for a handheld.",
    },
}

DRIP_TABLE = "What goes through drip, by block and zone, and by block. Any spreadsheet opens it."

MIME = {
    "csv": "text/csv",
    "geojson": "application/geo+json",
    "gpkg": "application/geopackage+sqlite3",
    "gpx": "application/gpx+xml",
    "html": "text/html",
    "json": "application/json",
    "pdf": "application/pdf",
    "tif": "image/tiff",
    "zip": "application/zip",
}


def groups_of(result: Result) -> dict[str, dict[str, str]]:
    """The files by who reads them; of several applications each has its own after them."""
    if len(result.applications) == 1:
        return GROUPS
    what = {DRIP: DRIP_TABLE} | {name: text for files in GROUPS.values() for name, text in files.items()}
    own = {
        summary.application_title(one): {
            f"application-{one.application.number}/{name}": what[name]
            for name in application_files(one.application)
        }
        for one in result.applications
    }
    return GROUPS | own


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
        "Download all files", partial(all_files, folder), f"{folder.name}.zip", MIME["zip"], type="primary",
        on_click="ignore", key="all files",
    )  # fmt: skip
    plan.download_button(
        "The plan folder", partial(plan_zip, folder), f"{folder.name}-plan.zip", MIME["zip"], on_click="ignore",
        help="Plan and inputs, to be opened on another computer or by the command line.",
    )  # fmt: skip
    st.caption(
        "Files are of the plan as it stands when you click. If one does not come, the plan was changed in another "
        "place: open this page again."
    )
    for group, files in groups_of(result).items():
        st.subheader(group, anchor=False)
        for name, what in files.items():
            button, text = st.columns([1, 3], vertical_alignment="center")
            button.download_button(
                name, partial(file_to_hand_out, folder, name), name.replace("/", "-"),
                MIME[name.rpartition(".")[2]], on_click="ignore", key=name,
            )  # fmt: skip
            text.write(plain(what))
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
    downloads(folder, result)
    preview(folder, result)


assert {name for files in GROUPS.values() for name in files} == {*WRITERS}  # noqa: S101 - each file is explained


page()
