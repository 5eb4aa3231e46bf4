"""Map: zones and what is behind them, with the controls that matter beside it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd
import streamlit as st

from fieldmap.advice import change_text
from fieldmap.app.parts.actions import actions_text, offer_two_goes
from fieldmap.app.plans import questions as form
from fieldmap.app.session.answers import ask, ask_confidence, need_places, save_answers
from fieldmap.app.session.memory import place_bar
from fieldmap.app.session.messages import faults_told, plain, show_told
from fieldmap.app.session.open_plan import need_open_plan
from fieldmap.app.session.results import draft_of, last_result, map_of, need_result, try_result
from fieldmap.pipeline import Result
from fieldmap.report import findings, palette, pictures, summary

if TYPE_CHECKING:
    from pathlib import Path


MAP_HEIGHT = 770  # until the map has said how high it is
PICTURE_IN = (5.2, 4.0)


@st.fragment
def bench(folder: Path) -> None:
    """Map, numbers and controls: a control that moves redraws these and nothing else."""
    with faults_told():
        place_bar("map")
        _bench(folder)


def _bench(folder: Path) -> None:
    save_answers()
    notes = st.container()  # there even when empty, so that nothing below moves and loses what is being typed
    draft = draft_of(folder)
    found = try_result(folder)
    result = found if isinstance(found, Result) else last_result(folder) or need_result(folder)
    with notes:
        show_told()
        if not isinstance(found, Result):
            # The controls stay, so that the one that was moved too far can be moved back.
            st.error("The map is of the plan before the last change, which cannot be:")
            for problem in found:
                st.warning(plain(str(problem)))
    wide, beside = st.columns([5, 2], gap="large")
    with wide:
        st.iframe(map_of(folder, result), height=MAP_HEIGHT)
        _zone_table(result)
    with beside:
        st.markdown(f"**What to do**\n\n{actions_text(result)}")
        offer_two_goes(folder, found if isinstance(found, Result) else None)
        for line in summary.main_numbers(result):
            st.markdown(f"**{line.title}**  \n{plain(line.text[:1].upper() + line.text[1:])}")
        st.divider()
        ask_confidence(folder, draft.told)
        for question in (form.ZONES_MAX, form.ZONE_MIN):
            ask(folder, draft.told, question)
        for block, place in need_places(draft):
            ask(folder, draft.told, form.need_of(block), place)
    _behind(result)


def _zone_table(result: Result) -> None:
    units = result.plan.units
    for one in result.applications:
        if len(result.applications) > 1:
            st.markdown(f"**{plain(summary.application_title(one))}**")
        zones = one.spread.zone_map.rows
        table = pd.DataFrame(
            [summary.zone_cells(zone, units) for zone in zones],
            columns=list(summary.zone_columns(units, zones)),
        )
        # Rates first: on a phone the rest is reached by pushing the table aside.
        st.dataframe(
            table,
            hide_index=True,
            column_order=[
                table.columns[k] for k in (0, 1, 8, 9, 10, *range(11, table.shape[1]), 4, 5, 6, 7, 3, 2)
            ],
        )
    st.caption(
        "Credit with its 90 % interval in brackets. N is nitrogen; product is what is spread. "
        f"{plain(summary.reckoned_text(result))} {plain(summary.cost_text(result))}"
    )


def _behind(result: Result) -> None:
    """What a person looks for when the map is not enough."""
    for warning in result.warnings:
        st.warning(plain(warning))
    for title, show in (
        ("Why this surface", _diagnostics),
        ("The ledger", _ledger),
        ("Loads and what the ground receives", _loads),
        ("One rate against several", _one_rate),
    ):
        # What is closed is not drawn: a control that moves should not wait for charts nobody looks at.
        with st.expander(title, key=title, on_change="rerun") as below:
            if below.open:
                show(result)


def _ledger(result: Result) -> None:
    st.dataframe(
        pd.DataFrame(summary.ledger_rows(result), columns=list(summary.ledger_columns(result.plan.units))),
        hide_index=True,
    )
    st.caption("A credit is negative; the lines of a block add up to what is still to spread on average.")


def _loads(result: Result) -> None:
    st.dataframe(
        pd.DataFrame(
            summary.load_rows(result.applications[0], result.plan.units), columns=list(summary.LOAD_COLUMNS)
        ),
        hide_index=True,
    )
    first, units = result.applications[0], result.plan.units
    above = findings.received_above_says(first, result.field, units)
    st.write(plain(f"Driven on paper: {summary.driven_text(first, units)}. {above}"))


def _one_rate(result: Result) -> None:
    by_number = summary.by_number_text(result.applications[0], result.plan.units, result.verdict.currency)
    st.write(plain(change_text(result.verdict)))
    st.write(plain(f"By number of zones: {by_number}."))
    st.pyplot(pictures.loss_picture(result, width_in=PICTURE_IN[0], height_in=2.6), width=520)


def _diagnostics(result: Result) -> None:
    width, height = PICTURE_IN
    fit = result.stand.biomass.fit
    st.write(
        plain(f"The surface is by {result.stand.biomass.method}, from {len(result.stand.samples)} samples.")
    )
    drawn = [
        (
            "Each sample against what the others say of it",
            pictures.leave_one_out_picture(result, width_in=width, height_in=height),
        ),
        (
            "Heavier (dark) or lighter (open) than the others say; + where the next samples help most",
            pictures.residual_picture(result, width_in=width, height_in=height),
        ),
        (
            "How unlike samples are by distance, and the fits over it",
            pictures.variogram_picture(result, width_in=width, height_in=height),
        ),
        (
            "Standard error of the biomass",
            pictures.surface_picture(
                result,
                result.stand.biomass.se,
                label="standard error",
                colormap=palette.DOUBT,
                width_in=width,
                height_in=height,
            ),
        ),
    ]
    assert fit is not None  # noqa: S101 - biomass is always mapped from a fit
    for column, (caption, figure) in zip(2 * st.columns(2), drawn, strict=True):
        with column:
            st.pyplot(figure)
            st.caption(caption)


def page() -> None:
    """Draw the page."""
    bench(need_open_plan())


page()
