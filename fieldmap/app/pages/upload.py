"""Upload: files, the sample table, and the plan, in the order in which a person works."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from fieldmap.app.parts.boundary import ask_boundary, draw_on_map
from fieldmap.app.parts.crops import ask_crop, ask_stand
from fieldmap.app.parts.files import drop_files
from fieldmap.app.parts.other_nitrogen import ask_other
from fieldmap.app.parts.samples import ask_samples
from fieldmap.app.parts.spreading import ask_spreader
from fieldmap.app.parts.text import show_text
from fieldmap.app.plans import questions as form
from fieldmap.app.plans.draft import BOUNDARY, CROP, OTHER, PARTS, SAMPLES, SPREADER, STAND
from fieldmap.app.session.messages import plain
from fieldmap.app.session.open_plan import go_to, need_open_plan
from fieldmap.app.session.results import average_of, draft_of
from fieldmap.errors import InputError

if TYPE_CHECKING:
    from pathlib import Path

    from fieldmap.app.plans.draft import Draft, Part
    from fieldmap.errors import Problem


SHAPES = {"empty": "○", "needs a look": "△", "ready": "●"}

WHAT_TO_DO = {
    BOUNDARY: "Drop the field outline above, or draw it on the map.",
    SAMPLES: "Drop the clipped samples above, or type them into the table.",
    STAND: "Say what was grown, how far it was, and how it was ended.",
    CROP: "Say what is planted next, when, and how much nitrogen it needs.",
    OTHER: "Nothing else is credited unless you say so here.",
    SPREADER: "Say what is spread and what the machine can do.",
}


def page() -> None:
    """Draw the page."""
    folder = need_open_plan()
    draft = draft_of(folder)
    # Containers are there even when empty, so that nothing below moves and loses what is being typed.
    with st.container():
        for problem in draft.other_problems:
            st.warning(plain(str(problem)))
    if not draft.told:
        show_text(folder, draft)
        return
    arrived = drop_files(folder)
    parts, beside = st.columns([3, 2], gap="large")
    with beside:
        draw_on_map(folder, draft)
        _average(folder, draft)
    with parts:
        asks = (ask_boundary, ask_samples, ask_stand, ask_crop, ask_other, ask_spreader)
        to_do = [part.title for part in draft.parts if part.state != "ready" and part.title != OTHER]
        for part, ask_part in zip(draft.parts, asks, strict=True):
            key = f"part {part.title} {folder.name}"
            if arrived or key not in st.session_state:  # files that arrive open what is next
                st.session_state[key] = part.title in to_do[:1] or (
                    arrived and st.session_state.get(key, False)
                )
            with st.container(border=True):
                _head(part, key)
                if st.session_state[key]:
                    with st.container():
                        _problems(part, draft)
                    ask_part(folder, draft)
        with st.expander("The plan as text", key=f"text {folder.name}", on_change="rerun"):
            show_text(folder, draft)


def _head(part: Part, key: str) -> None:
    """Title and state of a part; a click opens or closes it.

    Not an expander: Streamlit takes one whose label has changed for another, and closes it under the hands of whoever
    is filling it in.
    """

    def turn() -> None:
        st.session_state[key] = not st.session_state[key]

    st.button(
        f"{SHAPES[part.state]} **{part.title}** · {part.state}",
        key=f"head {key}",
        icon=":material/expand_more:" if st.session_state[key] else ":material/chevron_right:",
        type="tertiary",
        width="stretch",
        on_click=turn,
    )


def _problems(part: Part, draft: Draft) -> None:
    """What is wrong, in the words of the command line, what is only open in a line; an empty part says what to do."""
    if part.state == "empty":
        st.write(WHAT_TO_DO[part.title])
        return
    open_boxes = []
    for problem in part.problems:
        if part.title == SAMPLES and problem.row is not None:  # those stand beside their rows
            continue
        box = _box_of(problem, draft)
        if box and problem.missing:
            open_boxes.append(box)
        else:
            st.warning(plain(f"{box}: {problem}" if box else str(problem)))
    if open_boxes:
        st.warning(plain(f"Still to answer: {', '.join(dict.fromkeys(open_boxes))}."))


def _box_of(problem: Problem, draft: Draft) -> str:
    """The name of the box that a problem is about, with its block; empty where it is not about one."""
    of_block = problem.section == "block"  # its tables hold the keys of the sections of their names
    if problem.table and not of_block:
        return ""
    place = (problem.table if of_block else problem.section, problem.key)
    label = next((one.label for one in form.QUESTIONS if place == (one.section, one.key)), "")
    if not (label and of_block and problem.entry):
        return label
    return f"{label}, {problem.block or draft.told['block'][problem.entry - 1].get('block', '')}"


def _average(folder: Path, draft: Draft) -> None:
    """As soon as the first four parts are ready, what the field comes to on average."""
    ready = {part.title for part in draft.parts if part.state == "ready"}
    sound = draft.ready
    if {*PARTS[:4]} <= ready:
        try:
            text = average_of(folder, draft)
        except InputError as error:
            if sound:
                st.warning(plain(str(error)))
            else:  # it is told where it is asked
                st.caption("The field's average comes once what needs a look is in order.")
            sound = False
        else:
            st.markdown("**On average** (90 % interval in brackets)")
            for line in text.splitlines():
                st.write(plain(line) + ".")
    if sound:
        st.success("The plan is complete.")
        if st.button("See the map", type="primary"):
            go_to("map")


page()
