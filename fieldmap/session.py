"""The app's memory: which plan is open, what was worked out for it, and how an answer is written down.

The plan folder is the truth. Session state holds the name of the open plan and what widgets show; what was computed
is kept by the content of the plan and its files, so that it can be shared by tabs and never be out of date.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import functools
import logging
import re
import tempfile
import threading
from collections import OrderedDict
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import streamlit as st
from filelock import Timeout

from fieldmap.draft import Draft, average_text, look_over
from fieldmap.errors import InputError, Problem
from fieldmap.export import files_of
from fieldmap.export.html import map_page
from fieldmap.overlays import Pixels, map_pixels
from fieldmap.pipeline import Result, run
from fieldmap.read.plan import file_digests, read_plan
from fieldmap.stand import survey
from fieldmap.units import comma_hint, parse_quantity, shown_quantity
from fieldmap.workspace import change_plan, list_plans, plan_files, plan_folder, workspace_folder, zip_files

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from fieldmap.form import Question
    from fieldmap.plan import Plan
    from fieldmap.stand import Stand
    from fieldmap.units import UnitSystem

LOG = logging.getLogger("fieldmap")
LAST_OPEN, CAUTIONS_READ = ".last-open", ".cautions-read"
KEPT_RESULTS, KEPT_AVERAGES, KEPT_FILES = 2, 8, 40

Place = tuple[str | int, ...]


def workspace() -> Path:
    """The workspace of whoever uses the app: where people sign in, each has a workspace of their own."""
    who = st.user.to_dict()
    return workspace_folder(f"{who['iss']} {who['sub']}" if who.get("is_logged_in") else None)


def open_plan(folder: Path) -> None:
    """Make a plan the open one, here and after a restart."""
    st.session_state["plan"] = folder.name
    (workspace() / LAST_OPEN).write_text(folder.name, encoding="utf-8")


def close_plan() -> None:
    """No plan is open."""
    st.session_state.pop("plan", None)
    st.query_params.pop("plan", None)
    (workspace() / LAST_OPEN).unlink(missing_ok=True)


def the_open_plan() -> Path | None:
    """The open plan: this tab's; in a new tab the one in its address, else the last that was open."""
    root = workspace()
    last = root / LAST_OPEN
    named = [
        st.session_state.get("plan"),
        st.query_params.get("plan"),
        last.read_text(encoding="utf-8") if last.is_file() else None,
    ]
    found = next((folder for name in named if name and (folder := plan_folder(root, name))), None)
    if found is not None:
        st.session_state["plan"] = found.name
        st.query_params["plan"] = found.name
    return found


def need_open_plan() -> Path:
    """The open plan; where there is none the page says what to do and ends."""
    folder = the_open_plan()
    if folder is None:
        st.info("No plan is open. Open one, start a new one, or open the demo.")
        if st.button("Go to plans", type="primary"):
            go_to("plans")
        st.stop()
    return folder


def go_to(page: str) -> None:
    """Turn to another page."""
    st.switch_page(st.session_state["pages"][page])


def plans() -> Any:
    """Every plan of this workspace, last changed first."""
    return list_plans(workspace())


# What was worked out, kept by the content it was worked out from.


def _content(folder: Path) -> tuple[tuple[str, int, int], ...]:
    """Changes whenever a file of the plan does: each is replaced as a whole."""
    stats = [(file.name, file.stat()) for file in plan_files(folder)]
    return tuple((name, stat.st_mtime_ns, stat.st_size) for name, stat in stats)


def draft_of(folder: Path) -> Draft:
    """The plan under work, looked over."""
    return _draft(str(folder), _content(folder))


class Kept:
    """What was worked out last, by what it was worked out from.

    Streamlit's own caches cannot show how far a computation is. One is done at a time, of whatever kind, for each
    takes both memory and cores; what is there already is not kept waiting by it.
    """

    _working = threading.RLock()  # a result works out its stand on the way

    def __init__(self, most: int) -> None:
        self._most = most
        self._found: OrderedDict[str, Any] = OrderedDict()
        self._looking = threading.Lock()

    def of(self, key: str, work_out: Callable[[], Any]) -> Any:
        """What is kept under a key; worked out where nothing is."""
        if (found := self._look(key)) is not None:
            return found
        with self._working:
            if (found := self._look(key)) is not None:  # another tab has just done it
                return found
            found = work_out()
            with self._looking:
                self._found[key] = found
                while len(self._found) > self._most:
                    self._found.popitem(last=False)
            return found

    def _look(self, key: str) -> Any:
        with self._looking:
            if key in self._found:
                self._found.move_to_end(key)
            return self._found.get(key)


@st.cache_resource
def _kept(what: str, most: int) -> Kept:  # noqa: ARG001 - one of each kind
    return Kept(most)


def place_bar(key: str) -> None:
    """Keep a place for the bar that says how far a computation is: always the same, so that nothing else moves.

    A fragment keeps a place of its own, for Streamlit lets it write into no other when it alone is drawn anew.
    """
    st.session_state["bar"] = st.container(key=f"working-{key}").empty()


@contextlib.contextmanager
def _told_how_far(steps: int) -> Iterator[Callable[[str], None]]:
    """Say what is being done; gone when it is done."""
    bar, done = st.session_state.get("bar"), 0  # none where a file is asked for: that is beside every page

    def step(doing: str) -> None:
        nonlocal done
        if bar is not None:
            bar.progress(min(done / steps, 1.0), text=doing[:1].upper() + doing[1:])
        done += 1

    try:
        yield step
    finally:
        if bar is not None:
            bar.empty()


@st.cache_resource(max_entries=8, show_spinner=False)
def _draft(folder: str, content: Any) -> Draft:  # noqa: ARG001 - content is the key
    return look_over(Path(folder))


def average_of(folder: Path, draft: Draft) -> str:
    """The field's average in words; raises InputError where a part is not ready."""

    def work_out() -> str:
        with _told_how_far(2) as step:
            return average_text(folder, draft.told, progress=step)

    text: str = _kept("averages", KEPT_AVERAGES).of(f"{folder} {_content(folder)}", work_out)
    return text


def stand_key(plan: Plan, digests: dict[str, str]) -> str:
    """What a stand depends on: everything but need, caution and the size and number of zones."""
    same = {"need_kg_ha": 1.0}
    crop = plan.crop.model_copy(update=same)
    blocks = [block.model_copy(update={"crop": block.crop.model_copy(update=same)}) for block in plan.block]
    spreader = plan.spreader.model_copy(update={"zones_max": 1, "zone_min_m2": 1.0})
    credit = plan.credit.model_copy(update={"confidence": 0.5})
    without = {"crop": crop, "block": tuple(blocks), "spreader": spreader, "credit": credit}
    return plan.model_copy(update=without).hash(digests)


@st.cache_resource(max_entries=KEPT_RESULTS, show_spinner=False)
def _pixels(key: str, _stand: Stand) -> Pixels:  # noqa: ARG001
    return map_pixels(_stand.field)


def result_of(folder: Path) -> Result:
    """The whole run of the plan as it stands; only what a change touches is worked out anew.

    Raises
    ------
    InputError
        With everything that is wrong with the plan.
    """
    return _result_of(folder, read_plan(folder))


def _result_of(folder: Path, plan: Plan) -> Result:
    digests = file_digests(plan)

    def work_out() -> Result:
        with _told_how_far(3 + 2 * len(plan.applications)) as step:
            stand = _kept("stands", KEPT_RESULTS).of(
                stand_key(plan, digests), lambda: survey(plan, progress=step)
            )
            return run(plan, stand=stand, progress=step)

    result: Result = _kept("results", KEPT_RESULTS).of(f"{folder} {plan.hash(digests)}", work_out)
    return result


def last_result(folder: Path) -> Result | None:
    """The run of the plan as it last could be run; None where that was not seen here."""
    # Not the result itself: what a closed tab leaves behind should be small.
    plan = st.session_state.get("last plan")
    return _result_of(folder, plan) if plan is not None and plan.folder == folder else None


def try_result(folder: Path) -> Result | tuple[Problem, ...]:
    """The run of a plan, or everything that is wrong with it, a fault of this program included."""
    draft = draft_of(folder)
    if not draft.ready:
        parts = (one for part in draft.parts for one in part.problems)
        return InputError(*parts, *draft.other_problems).problems
    try:
        result = result_of(folder)
    except InputError as error:
        return error.problems
    except Exception:
        LOG.exception("a plan could not be worked out")
        return (BROKEN,)
    st.session_state["last plan"] = result.plan
    return result


def need_result(folder: Path) -> Result:
    """The run of a plan that is ready; else the page says what is missing and ends."""
    found = try_result(folder)
    if isinstance(found, Result):
        return found
    draft, problems = draft_of(folder), found
    waiting = [part.title for part in draft.parts if part.state == "empty" and part.problems]
    st.info(
        "This page fills once the plan is complete"
        + (f"; still empty: {', '.join(waiting).lower()}." if waiting else "; something needs a look.")
    )
    for problem in problems:
        if not waiting or problem.where.count("]") != 1 or not problem.where.endswith("]"):
            st.warning(str(problem))
    if st.button("Go to upload", type="primary"):
        go_to("upload")
    st.stop()
    return None


@st.cache_resource(max_entries=KEPT_RESULTS, show_spinner=False)
def _map(key: str, _result: Result, _pixels: Pixels) -> str:  # noqa: ARG001
    return map_page(_result, framed=True, pixels=_pixels)


def map_of(folder: Path, result: Result) -> str:
    """The map of a run as a page to frame."""
    pixels = _pixels(stand_key(result.plan, file_digests(result.plan)), result.stand)
    return _map(f"{folder} {result.plan_hash}", result, pixels)


@st.cache_resource(max_entries=KEPT_FILES, show_spinner=False)
def _file(key: str, name: str, _result: Result) -> bytes:  # noqa: ARG001
    with tempfile.TemporaryDirectory(prefix="fieldmap-") as beside:
        path = Path(beside, Path(name).name)
        files_of(_result)[name](path)
        return path.read_bytes()


def file_of(folder: Path, result: Result, name: str) -> bytes:
    """One file of a run, by its path in the output folder, as the command line writes it."""
    return _file(f"{folder} {result.plan_hash}", name, result)


def prepare_files(folder: Path, result: Result) -> None:
    """Write every file of a run beforehand, with a bar that says how far it is."""
    bar = st.progress(0.0, text="Writing the files")
    names = list(files_of(result))
    for number, name in enumerate(names, start=1):
        file_of(folder, result, name)
        bar.progress(number / len(names), text=f"Writing the files: {name}")
    bar.empty()


def file_to_hand_out(folder: Path, name: str) -> bytes:
    """One file of the plan as it stands when it is asked for."""
    return file_of(folder, _result_to_hand_out(folder), name)


def all_files(folder: Path) -> bytes:
    """Every file of the plan as it stands when it is asked for, in one zip."""
    result = _result_to_hand_out(folder)
    return zip_files([(name, file_of(folder, result, name)) for name in files_of(result)])


def _result_to_hand_out(folder: Path) -> Result:
    """The run of the plan now, which another tab may have changed since the page was drawn."""
    result = result_of(folder)
    if not cautions_read(folder, result):
        text = "the plan was changed meanwhile, and cautions came with it"
        raise InputError(Problem(folder.name, "", text, "they are to be read first", "Open the page again"))
    return result


def cautions_read(folder: Path, result: Result) -> bool:
    """Whether the cautions of this plan were confirmed; one that has come since, as with another product, was not."""
    file = folder / CAUTIONS_READ
    confirmed = file.read_text(encoding="utf-8").splitlines() if file.is_file() else []
    return {*result.cautions} <= {*confirmed}


def confirm_cautions(folder: Path, result: Result) -> None:
    """Remember which cautions were read."""
    (folder / CAUTIONS_READ).write_text("\n".join(result.cautions), encoding="utf-8")


def heading_of(folder: Path) -> str:
    """The plan's name, fit for a heading that reads Markdown."""
    name = str(draft_of(folder).told.get("name") or folder.name)
    return plain(name)


def plain(text: str) -> str:
    """Text that Markdown shows as it is written."""
    return re.sub(r"([\\`*_{}\[\]<>()#+\-.!|~$:])", r"\\\1", text)


BROKEN = Problem(
    "this program",
    "",
    "it failed on the plan as it stands",
    "a map",
    "Take the last answer back; the log says why",
)
WENT_WRONG = (
    "Something went wrong here that is not your doing. What was saved stays saved; open the page again, or take the "
    "last answer back. The log says what it was."
)


@contextlib.contextmanager
def faults_told() -> Iterator[None]:
    """Keep a fault of this program from the page: the log has it, the page says so in words of its own.

    Streamlit's own control flow is no Exception. Whatever it runs by itself, pages, fragments and callbacks, goes
    through here, for what reaches Streamlit is shown on its own page in place of ours.
    """
    try:
        yield
    except Exception:
        LOG.exception("a page could not be drawn")
        st.error(WENT_WRONG)


def callback(function: Callable[..., None]) -> Callable[..., None]:
    """A function that Streamlit calls before it draws a page: where it fails the page says so."""

    @functools.wraps(function)
    def guarded(*args: Any) -> None:
        try:
            function(*args)
        except Exception:
            LOG.exception("an answer could not be taken in")
            tell([], [WENT_WRONG])

    return guarded


def tell(said: list[str], refused: list[str]) -> None:
    """Keep what is to be said at the head of the page when it is drawn next."""
    st.session_state["told"] = said, refused


def show_told() -> bool:
    """Say what was kept to be said; whether something was taken in."""
    said, refused = st.session_state.pop("told", ([], []))
    if said:
        st.success("  \n".join(plain(text) for text in said))
    for text in refused:
        st.error(plain(text))
    return bool(said)


def save(write: Callable[[], None], what: str = "") -> None:
    """Write something down; where that cannot be done it is said, and the old content stands."""
    try:
        write()
    except InputError as error:
        tell([], [f"{what}{problem}" for problem in error.problems])
    except (OSError, Timeout) as error:
        why = f"The place where plans are kept cannot be written ({error}): free it and try again."
        tell([], [f"{what or 'This was not saved. '}{why}"])


def change_units(folder: Path) -> None:
    """Metric or US, at any time, for every number of the plan."""
    told = draft_of(folder).told
    if not told:  # plan.toml is to be mended first
        return
    names = {"metric": "Metric", "us": "US"}
    saved = value_at(told, ("units",))
    saved = saved if saved in names else None
    box = _box(
        f"{folder.name} units",
        saved,
        lambda chosen: save(lambda: change_plan(folder, [(("units",), chosen or "metric")])),
    )
    st.segmented_control(
        "Units",
        list(names),
        default=saved,
        format_func=names.__getitem__,
        label_visibility="collapsed",
        **_watched(box),
    )


# Answers: shown in the unit that is chosen, written down as soon as they change.


def ask(
    folder: Path,
    told: dict[str, Any],
    question: Question,
    place: Place | None = None,
    *,
    options: list[str] | None = None,
) -> None:
    """One question of the plan, with what the plan says now.

    `place` is where the answer stands if not in the question's own section, as in a block; `options` are those that
    the plan itself decides.
    """
    place = place or (question.section, question.key)
    units = units_of(told)
    value = value_at(told, place)
    options = question.options if options is None else options
    if not _fits_a_box(question, value):
        st.caption(f"{question.label}: it stands in the plan as text.")
        return
    if question.takes in ("choice", "choices"):  # one that is not known is shown, and told as a problem
        options = [*options, *(one for one in _listed(value) if one not in options)]
    saved = _shown(question, value, units)
    entries = {str(place[0]): len(told[str(place[0])])} if isinstance(place[1], int) else {}
    box = _box(
        f"{folder.name} {place}",
        saved,
        lambda answer: _write_down(folder, place, _read(answer, question, units), question, entries),
    )
    common: dict[str, Any] = {
        "label": _label(question, units, of_block=place[0] == "block"),
        "help": question.help or None,
        **_watched(box),
    }
    open_text = (
        "as for the field" if place[0] == "block" else question.left_open or _default_text(question, units)
    )
    if question.takes == "date":
        st.date_input(**common, value=saved, format="YYYY-MM-DD")
        if saved is not None and (place[0] == "block" or not question.needed):
            # A date that is there cannot be emptied in its box.
            st.button(
                "As for the field" if place[0] == "block" else "Leave it open",
                key=f"open {box.key}",
                type="tertiary",
                on_click=callback(_write_down),
                args=(folder, place, None, question, entries),
            )
    elif question.takes == "flag":
        st.checkbox(**common, value=saved)
    elif question.takes == "choices":
        st.multiselect(**common, options=options, default=saved, placeholder=open_text or "choose")
    elif question.takes == "choice":
        st.selectbox(
            **common,
            options=["", *options],
            index=options.index(saved) + 1 if saved else 0,
            format_func=lambda option: option or open_text or "choose",
        )
    else:
        st.text_input(**common, value=saved, placeholder=open_text or None)
    if box.refused:
        st.error(plain(f"{question.label}: {box.refused}. {_standing(box)} Type another."))


@dataclass
class Box:
    """A box on a page: what it is known to show, what an answer does, and why the last one was refused.

    No box that stands is ever told what to show, for a redraw still under way would then take back what is being
    typed in it; and none starts empty, for a redraw that was cut short would then leave it so. Where it has come to
    show something else than what is saved, a new box takes its turn.
    """

    place: str
    shown: Any
    write: Callable[[Any], None]
    turn: int = 0
    refused: str = ""

    @property
    def key(self) -> str:
        """What Streamlit knows it by."""
        return f"{self.place} {self.turn}"


def _box(place: str, saved: Any, write: Callable[[Any], None]) -> Box:
    """The box of a place, which starts with what is saved; `write` raises ValueError for what cannot be read."""
    boxes: dict[str, Box] = st.session_state.setdefault("boxes", {})
    box = boxes.setdefault(place, Box(place, saved, write))
    box.write = write
    if box.key not in st.session_state:  # its page was left: it is drawn anew
        box.refused = ""
    if not box.refused:
        box.turn += st.session_state.get(box.key, saved) != saved
        box.shown = saved
    return box


def _standing(box: Box) -> str:
    return f"The old answer, {box.shown}, stands." if box.shown else "It was not saved."


def _watched(box: Box) -> dict[str, Any]:
    return {"key": box.key, "on_change": _save_answer, "args": (box,)}


def _save_answer(box: Box) -> None:
    """Save what a box has come to show; Streamlit may also report one that nobody has touched."""
    answer = st.session_state.get(box.key, box.shown)
    if answer == box.shown:
        box.refused = ""
        return
    try:
        box.write(answer)
    except ValueError as error:
        box.refused = str(error)
    except Exception:
        LOG.exception("an answer could not be saved")
        box.refused = "this program failed on it, and the log says why"
    else:
        box.shown, box.refused = answer, ""


def save_answers() -> None:
    """Save every answer that is not saved yet, before anything is drawn.

    Streamlit calls `on_change` for the last answers only where several come while a page is being drawn.
    """
    for box in st.session_state.get("boxes", {}).values():
        _save_answer(box)


def _fits_a_box(question: Question, value: Any) -> bool:
    """Whether what the plan says can be shown as an answer; a product written out, say, has no box."""
    if value is None:
        return True
    if question.takes == "choices":
        return all(isinstance(one, str) for one in _listed(value))
    kinds = {"date": dt.date, "flag": bool, "choice": str}
    return isinstance(value, kinds.get(question.takes, str | int | float))


def _listed(value: Any) -> list[Any]:
    return list(value) if isinstance(value, list) else [] if value is None else [value]


def _shown(question: Question, value: Any, units: UnitSystem) -> Any:
    """What a box shows of what the plan says; a quantity that cannot be read as it is written."""
    if question.takes == "date":
        return value.date() if isinstance(value, dt.datetime) else value
    if question.takes == "flag":
        return bool(question.default if value is None else value)
    if question.takes == "choices":
        return _listed(value)
    if question.kind is not None and value is not None:
        with contextlib.suppress(ValueError):
            return f"{shown_quantity(value, question.kind, units):.10g}"
    return f"{value:g}" if isinstance(value, float) else "" if value is None else str(value)


def _label(question: Question, units: UnitSystem, *, of_block: bool) -> str:
    unit = "" if question.kind is None else question.kind.unit_in(units)
    unit = {"deg": "°", "degC": "°C", "degF": "°F", "delta_degC": "°C", "delta_degF": "°F", "d": "days"}.get(
        unit, unit
    )
    needed = " *" if question.needed and not of_block else ""
    return question.label + (f", {unit}" if unit else "") + needed


def _default_text(question: Question, units: UnitSystem) -> str:
    default = question.default
    if default is None or question.takes in ("date", "flag", "choices"):
        return ""
    if question.kind is not None:
        default = f"{shown_quantity(f'{default} {question.kind.unit}', question.kind, units):.3g}"
    elif question.takes == "number":
        default = f"{default:g}"
    return f"{default} (default)"


def units_of(told: dict[str, Any]) -> UnitSystem:
    """The units that a plan is shown in."""
    return "us" if told.get("units") == "us" else "metric"


def value_at(told: dict[str, Any], place: Place) -> Any:
    """What the plan says at a place; None where it says nothing."""
    at: Any = told
    for depth, part in enumerate(place):
        if depth == 1 and place[0] == "block":
            at = next((block for block in at if block.get("block") == part), {})
        elif isinstance(part, int):
            at = at[part] if isinstance(at, list) and part < len(at) else {}
        else:
            at = at.get(part, {} if depth < len(place) - 1 else None) if isinstance(at, dict) else None
    return at


def _write_down(folder: Path, place: Place, answer: Any, question: Question, entries: dict[str, int]) -> None:
    """Save an answer as plan.toml holds it; None removes the key. `entries` are those that were shown, by section."""
    edits: list[tuple[Place, Any]] = [(place, answer)]
    if question.key == "species":
        edits.append(((*place[:-1], "stage"), None))  # the stages of another species
    save(
        lambda: change_plan(folder, edits, entries_seen=entries),
        f"{question.label}, {'left open' if answer is None else answer}, was not saved. ",
    )


_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")


def _read(answer: Any, question: Question, units: UnitSystem) -> Any:
    """An answer as plan.toml holds it; None for an empty one. A bare number has the unit that stands at its box."""
    if isinstance(answer, str):
        answer = answer.strip()
    if question.takes == "flag":
        return None if answer == bool(question.default) else answer
    if answer in ("", [], None):
        return None
    if question.kind is not None:
        text = f"{answer} {question.kind.unit_in(units)}" if _NUMBER.fullmatch(answer) else answer
        parse_quantity(text, question.kind)
        return text
    if question.takes == "number" and answer.lower() in question.options:
        return answer.lower()
    if question.takes in ("number", "whole number"):
        whole = question.takes == "whole number"
        if not _NUMBER.fullmatch(answer) or (whole and not answer.lstrip("+-").isdecimal()):
            words = "".join(f" or {word}" for word in question.options)
            raise ValueError(f'found "{answer}"; a {question.takes}{words} is expected{comma_hint(answer)}')
        return int(answer) if whole else float(answer)
    if question.key == "species" and len(answer) == 1:
        return answer[0]
    return answer


def need_places(draft: Draft) -> list[tuple[str, Place]]:
    """Where each need stands, in the order of the blocks: a block's own, and the one that the others share."""
    # A crop of its own has a need of its own, given or still to be given.
    own = [
        block["block"] for block in draft.told.get("block", []) if {"need", "name"} & {*block.get("crop", {})}
    ]
    others = [name for name in draft.blocks if name not in own]
    places: dict[str, Place] = {}
    for name in draft.blocks:
        if name in own:
            places[name] = ("block", name, "crop", "need")
        else:
            places[", ".join(others)] = ("crop", "need")
    return list(places.items())


CAUTION_STEPS = (0.5, 0.6, 0.7, 0.8, 0.9, 0.95)


def ask_confidence(folder: Path, told: dict[str, Any]) -> None:
    """How cautiously to credit, as a slider in words."""
    value = value_at(told, ("credit", "confidence")) or CAUTION_STEPS[0]
    if not isinstance(value, int | float):
        st.caption("How cautiously to credit: it stands in the plan as text.")
        return
    saved = float(value)
    box = _box(
        f"{folder.name} confidence",
        saved,
        lambda step: save(lambda: change_plan(folder, [(("credit", "confidence"), step)])),
    )
    st.select_slider(
        "How cautiously to credit",
        sorted({*CAUTION_STEPS, saved}),
        value=saved,
        format_func=lambda step: "as expected" if step == CAUTION_STEPS[0] else f"{step * 100:g} % sure",
        help="More cautious credits less and spreads more nitrogen: a zone's credit is then at least so much with "
        "the chance that is set. With a yield response it stays as expected: that prices the risk already.",
        disabled=bool(told.get("response")) and saved == CAUTION_STEPS[0],
        **_watched(box),
    )
