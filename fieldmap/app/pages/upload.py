"""Upload: files, the sample table, and the plan, in the order in which a person works."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

import streamlit as st
from streamlit_folium import st_folium

from fieldmap import agronomy
from fieldmap.app.plans import questions as form
from fieldmap.app.plans.draft import BOUNDARY, CROP, OTHER, PARTS, SAMPLES, SPREADER, STAND, whereabouts
from fieldmap.app.plans.intake import (
    ROLES,
    TEMPLATE,
    UNUSED,
    edit_rows,
    former_of,
    put_back,
    rename_column,
    start_rows,
    take_in,
)
from fieldmap.app.plans.plan_file import add_entry, change_plan, plan_text, remove_entry, write_plan_text
from fieldmap.app.session.answers import ask, ask_confidence, units_of, value_at
from fieldmap.app.session.messages import callback, plain, save, show_told, tell
from fieldmap.app.session.open_plan import go_to, need_open_plan
from fieldmap.app.session.results import average_of, draft_of
from fieldmap.app.sketch import build_sketch, drawn_geojson
from fieldmap.errors import InputError
from fieldmap.plan import credit_kinds
from fieldmap.read import columns
from fieldmap.units import KG_HA_PER_LB_AC, rate_unit, shown_rate

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path
    from typing import Any

    import pandas as pd

    from fieldmap.app.plans.draft import Draft, Part
    from fieldmap.app.plans.questions import Question, Told
    from fieldmap.app.session.answers import Place
    from fieldmap.errors import Problem


SHAPES = {"empty": "○", "needs a look": "△", "ready": "●"}

LAYER_KINDS, TABLE_KINDS, RASTER_KINDS = (
    ["geojson", "json", "gpkg", "zip", "kml"],
    ["csv", "txt", "tsv"],
    ["tif", "tiff"],
)

WHAT_TO_DO = {
    BOUNDARY: "Drop the field outline above, or draw it on the map.",
    SAMPLES: "Drop the clipped samples above, or type them into the table.",
    STAND: "Say what was grown, how far it was, and how it was ended.",
    CROP: "Say what is planted next, when, and how much nitrogen it needs.",
    OTHER: "Nothing else is credited unless you say so here.",
    SPREADER: "Say what is spread and what the machine can do.",
}

MAP_HEIGHT = 430
ROWS_NAMED = 8


def page() -> None:
    """Draw the page."""
    folder = need_open_plan()
    draft = draft_of(folder)
    # Containers are there even when empty, so that nothing below moves and loses what is being typed.
    with st.container():
        for problem in draft.other_problems:
            st.warning(plain(str(problem)))
    if not draft.told:
        _as_text(folder, draft)
        return
    arrived = _drop(folder)
    parts, beside = st.columns([3, 2], gap="large")
    with beside:
        _sketch(folder, draft)
        _average(folder, draft)
    with parts:
        asks = (_boundary, _samples, _stand, _crop, _other, _spreader)
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
            _as_text(folder, draft)


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


def _drop(folder: Path) -> bool:
    """Files of any kind together; each says as what it was read. Returns whether some have just arrived."""
    turn = st.session_state.setdefault("drops", 0)
    files = st.file_uploader(
        "Drop files here: boundary, samples, no-spread areas, covariate raster, weather",
        type=[*LAYER_KINDS, *TABLE_KINDS, *RASTER_KINDS],
        accept_multiple_files=True,
        key=f"drop {turn}",
        help="GeoJSON, GeoPackage, zipped shapefile, KML, CSV or GeoTIFF. Each is saved in the plan at once.",
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


def _questions(folder: Path, draft: Draft, questions: Sequence[Question], at: Place = ()) -> None:
    """Questions two in a row, those that apply."""
    applying = []
    for question in questions:
        place = (*at, question.key) if at else (question.section, question.key)
        section = value_at(draft.told, place[:-1]) or {}
        if at[:1] == ("block",):
            section = {**draft.told.get(question.section, {}), **section}
        if question.when(section):
            applying.append((question, place))
    for start in range(0, len(applying), 2):
        for column, (question, place) in zip(st.columns(2), applying[start : start + 2], strict=False):
            with column:
                ask(
                    folder,
                    draft.told,
                    question,
                    place,
                    options=draft.blocks if question.key == "block" else None,
                )


def _entries(
    folder: Path,
    draft: Draft,
    section: str,
    title: Callable[[int, Told], str],
    asked: Callable[[Told], Sequence[Question]],
) -> None:
    """What a plan has several of: each with its questions, and a way to take it out."""
    told = draft.told.get(section, [])
    if not (isinstance(told, list) and all(isinstance(entry, dict) for entry in told)):
        st.caption(f"[{section}] stands in the plan as text.")
        return
    for number, entry in enumerate(told):
        with st.container(border=True):
            head, button = st.columns([3, 1], vertical_alignment="center")
            head.markdown(f"**{plain(title(number, entry))}**")
            if button.button("Remove", key=f"remove {section} {number}"):
                save(partial(remove_entry, folder, section, number, entry))
                st.rerun()
            _questions(folder, draft, asked(entry), (section, number))


def _add(folder: Path, section: str, entry: Told, label: str, *, disabled: bool = False) -> None:
    if st.button(label, disabled=disabled):
        save(partial(add_entry, folder, section, entry))
        st.rerun()


def _replace(folder: Path, role: Any, label: str, kinds: list[str]) -> None:
    """Give a part its file, whatever the file looks like."""
    turn = st.session_state.setdefault(f"turn {role}", 0)
    file = st.file_uploader(label, type=kinds, key=f"{role} {turn}")
    _former(folder, role)
    if file is not None:
        st.session_state[f"turn {role}"] = turn + 1
        _take_in(folder, file.name, file.getvalue(), role)
        st.rerun()


def _take_in(folder: Path, name: str, content: bytes, role: Any) -> None:
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


def _file_line(folder: Path, draft: Draft, place: Place, what: str) -> None:
    """A file that the plan names, and a way to leave it out again."""
    named = value_at(draft.told, place)
    if not named:
        return
    text, button = st.columns([3, 1], vertical_alignment="center")
    text.write(f"{what}: {plain(', '.join(map(str, named)) if isinstance(named, list) else str(named))}")
    if button.button("Leave it out", key=f"out {place}"):
        change_plan(folder, [(place, None)])
        st.rerun()


def _boundary(folder: Path, draft: Draft) -> None:
    if draft.boundary is not None:
        st.write(
            f"Blocks: {plain(', '.join(draft.blocks))}. {plain(whereabouts(draft.boundary, units_of(draft.told)))}"
        )
    _file_line(folder, draft, ("field", "boundary"), "Boundary")
    _replace(folder, "boundary", "The field outline", LAYER_KINDS)
    _file_line(folder, draft, ("field", "no_spread"), "No-spread areas")
    _replace(
        folder, "no-spread areas", "No-spread areas: wells, water, what their setback covers", LAYER_KINDS
    )
    st.caption("A column block names the blocks; a column setback_m widens a no-spread area, in metres.")


def _samples(folder: Path, draft: Draft) -> None:
    st.download_button("Template (CSV)", TEMPLATE, "samples.csv", "text/csv", on_click="ignore")
    _replace(folder, "samples", "The clipped samples", [*TABLE_KINDS, *LAYER_KINDS])
    if draft.rows is None:
        _file_line(folder, draft, ("samples", "file"), "Samples")
        if st.button("Type them in"):
            start_rows(folder)
            st.rerun()
        return
    _sample_table(folder, draft)
    _columns(folder, draft)
    if "easting" in draft.rows:
        ask(folder, draft.told, form.CRS)
    _questions(folder, draft, form.SAMPLES)
    _file_line(folder, draft, ("samples", "covariate"), "Covariate raster")
    _replace(
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


def _stand(folder: Path, draft: Draft) -> None:
    species = value_at(draft.told, ("cover_crop", "species")) or []
    ask(folder, draft.told, form.STAND[0])
    ask(folder, draft.told, form.STAGE, options=form.stages_of(species))
    _questions(folder, draft, form.STAND[1:])
    st.markdown("**How it is credited**")
    _questions(folder, draft, form.CREDIT)
    ask_confidence(folder, draft.told)
    _per_block(folder, draft, "cover_crop", (form.STAND[0], *form.STAND[1:4]))


def _crop(folder: Path, draft: Draft) -> None:
    _questions(folder, draft, form.CROP)
    name = value_at(draft.told, ("crop", "name"))
    entry = agronomy.find(name, agronomy.crops()) if isinstance(name, str) else None
    units = units_of(draft.told)
    if entry is not None:
        low, high = (shown_rate(rate_lb_ac * KG_HA_PER_LB_AC, units) for rate_lb_ac in entry.need_lb_ac)
        sources = "; ".join(
            f"{agronomy.sources()[key].citation} ({agronomy.sources()[key].mark})" for key in entry.sources
        )
        st.caption(
            plain(
                f"For {entry.name} the table has a need of {low:.0f} to {high:.0f} {rate_unit(units)}. {sources}"
            )
        )
    _per_block(folder, draft, "crop", form.CROP[:4])


def _per_block(folder: Path, draft: Draft, section: str, questions: Sequence[Question]) -> None:
    """What a block has of its own; what is left open is as above."""
    if len(draft.blocks) < 2:
        return
    st.markdown("**Where a block differs**")
    for tab, block in zip(st.tabs([plain(name) for name in draft.blocks]), draft.blocks, strict=True):
        with tab:
            _questions(folder, draft, questions, ("block", block, section))


def _other(folder: Path, draft: Draft) -> None:
    _entries(
        folder,
        draft,
        "other_credits",
        lambda _, credit: str(credit.get("source")),
        lambda credit: (
            form.credit_questions(credit["source"])
            if credit.get("source") in credit_kinds.CREDIT_KINDS
            else ()
        ),
    )
    chosen, button = st.columns([3, 1], vertical_alignment="bottom")
    source = chosen.selectbox(
        "Another credit", list(credit_kinds.CREDIT_KINDS), index=None, placeholder="choose its source"
    )
    with button:
        _add(folder, "other_credits", {"source": source}, "Add", disabled=source is None)
    st.markdown("**Nitrate test before side-dressing**")
    _entries(
        folder,
        draft,
        "sidedress_test",
        lambda _, test: f"Test of {test.get('block') or 'every block'}",
        lambda _: form.SIDEDRESS,
    )
    _add(folder, "sidedress_test", {}, "Add a test")
    st.markdown("**When it comes: weather**")
    _file_line(folder, draft, ("weather", "file"), "Daily weather")
    _replace(folder, "weather", "Daily weather: date, tmin_c, tmax_c, rain_mm (CSV)", TABLE_KINDS)
    by_file = bool(value_at(draft.told, ("weather", "file")))
    _questions(folder, draft, form.WEATHER[-1:] if by_file else form.WEATHER)
    st.markdown("**Phosphorus and potassium**")
    _questions(folder, draft, form.SOIL)


def _spreader(folder: Path, draft: Draft) -> None:
    _questions(folder, draft, form.SPREADER)
    st.markdown("**Prices**")
    _questions(folder, draft, form.PRICES)
    st.markdown("**In several applications**")
    st.caption(
        "Left out, all goes out at once. With several each has its day, its share and files of its own."
    )
    _entries(
        folder,
        draft,
        "application",
        lambda number, _: f"Application {number + 1}",
        lambda _: form.APPLICATION,
    )
    _add(folder, "application", {"share": "auto"}, "Add an application")
    for title, questions in (
        ("Check strips", form.STRIPS),
        ("Thin ground", form.THIN_GROUND),
        ("Zones by money: a yield response", form.RESPONSE),
    ):
        st.markdown(f"**{title}**")
        _questions(folder, draft, questions)


def _as_text(folder: Path, draft: Draft) -> None:
    """plan.toml itself: everything that has no question of its own.

    A text that was typed is never thrown away: where the plan changed meanwhile that is said, and it stays.
    """
    key, base = f"typed {folder.name}", f"base {folder.name}"
    now = plan_text(folder)
    if st.session_state.get(key) == st.session_state.get(base):  # nothing typed yet
        st.session_state[key] = st.session_state[base] = now
    st.caption("plan.toml, as the command line reads it. `fieldmap tables keys` lists every key.")
    edited = st.text_area("plan.toml", key=key, height=420, label_visibility="collapsed")
    save_it, drop_it, _ = st.columns([1, 2, 3])
    if save_it.button("Save") and edited != st.session_state[base]:
        if now != st.session_state[base]:
            st.error(
                "The plan was changed in another place since this text was shown, so your text was not saved. "
                "Copy what you changed, show the plan as it stands, and change it there."
            )
        else:
            try:
                write_plan_text(folder, edited)
            except InputError as error:
                st.error(plain(str(error)))
            else:
                st.session_state[base] = edited
                st.rerun()
    if edited != now:
        drop_it.button("Show the plan as it stands", on_click=callback(_forget), args=(key, base))
    for problem in (*draft.other_problems, *(one for part in draft.parts for one in part.problems)):
        st.warning(plain(str(problem)))


def _forget(*keys: str) -> None:
    for key in keys:
        st.session_state.pop(key, None)


def _sketch(folder: Path, draft: Draft) -> None:
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
    _take_in(folder, name, drawn_geojson(drawings), role)
    st.session_state["drawings"] = st.session_state.get("drawings", 0) + 1
    st.rerun()


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
