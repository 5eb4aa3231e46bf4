"""The app's memory: which plan is open, what was worked out for it, and how an answer is written down.

The plan folder is the truth. Session state holds the name of the open plan and what widgets show; what was computed
is kept by the content of the plan and its files, so that it can be shared by tabs and never be out of date.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import re
import tempfile
import threading
from collections import OrderedDict
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
from fieldmap.units import parse_quantity, shown_quantity
from fieldmap.workspace import change_plan, list_plans, plan_files, plan_folder, workspace_folder, zip_files

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from fieldmap.form import Question
    from fieldmap.plan import Plan
    from fieldmap.stand import Stand
    from fieldmap.units import UnitSystem

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


@contextlib.contextmanager
def _told_how_far(key: str, steps: int) -> Iterator[Callable[[str], None]]:
    """A bar at the head of the page that says what is being done; gone when it is done."""
    bar, done = st.container(key=f"working {key}").empty(), 0

    def step(doing: str) -> None:
        nonlocal done
        bar.progress(min(done / steps, 1.0), text=doing[:1].upper() + doing[1:])
        done += 1

    yield step
    bar.empty()


@st.cache_resource(max_entries=8, show_spinner=False)
def _draft(folder: str, content: Any) -> Draft:  # noqa: ARG001 - content is the key
    return look_over(Path(folder))


def average_of(folder: Path, draft: Draft) -> str:
    """The field's average in words; raises InputError where a part is not ready."""

    def work_out() -> str:
        with _told_how_far("average", 2) as step:
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
        with _told_how_far("result", 3 + 2 * len(plan.applications)) as step:
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
    """The run of a plan, or everything that is wrong with it."""
    draft = draft_of(folder)
    if not draft.ready:
        parts = (one for part in draft.parts for one in part.problems)
        return InputError(*parts, *draft.other_problems).problems
    try:
        result = result_of(folder)
    except InputError as error:
        return error.problems
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


def all_files(folder: Path, result: Result) -> bytes:
    """Every file of a run in one zip."""
    return zip_files([(name, file_of(folder, result, name)) for name in files_of(result)])


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


def save(write: Callable[[], None]) -> None:
    """Write something down; where that cannot be done it is said, and the old content stands."""
    try:
        write()
    except InputError as error:
        tell([], [str(problem) for problem in error.problems])
    except (OSError, Timeout) as error:
        tell([], [f"This was not saved ({error}). Free the place where plans are kept and try again."])


def change_units(folder: Path) -> None:
    """Metric or US, at any time, for every number of the plan."""
    told = draft_of(folder).told
    if not told:  # plan.toml is to be mended first
        return
    names = {"metric": "Metric", "us": "US"}
    saved = value_at(told, ("units",))
    saved = saved if saved in names else None
    key = _box(f"{folder.name} units", saved)
    st.segmented_control(
        "Units",
        list(names),
        default=saved,
        format_func=names.__getitem__,
        key=key,
        label_visibility="collapsed",
        on_change=lambda: save(
            lambda: change_plan(folder, [(("units",), st.session_state[key] or "metric")])
        ),
    )


# Answers: shown in the unit that is chosen, written down as soon as they change.


def ask(
    folder: Path, told: dict[str, Any], question: Question, place: Place | None = None, **shown: Any
) -> None:
    """One question of the plan, with what the plan says now.

    `place` is where the answer stands if not in the question's own section, as in a block; `shown` overrides what the
    widget is given, such as its options.
    """
    place = place or (question.section, question.key)
    units = units_of(told)
    options = shown.get("options", question.options)
    saved = _shown(question, value_at(told, place), units, options)
    key = _box(f"{folder.name} {place}", saved)
    common: dict[str, Any] = {
        "label": _label(question, units, of_block=place[0] == "block"),
        "help": question.help or None,
        "key": key,
        "on_change": _write_down,
        "args": (folder, place, key, question, units),
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
                key=f"open {key}",
                type="tertiary",
                on_click=_leave_open,
                args=(folder, place),
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
    if key in st.session_state["refused"]:
        st.error(plain(st.session_state["refused"][key]))


def _box(place: str, saved: Any) -> str:
    """The key of a box that starts with what is saved: a new box where the old one has come to show something else.

    No box that stands is ever told what to show, for a redraw still under way would then take back what is being
    typed in it; and none starts empty, for a redraw that was cut short would then leave it so.
    """
    turns = st.session_state.setdefault("boxes", {})
    refused = st.session_state.setdefault("refused", {})
    key = f"{place} {turns.setdefault(place, 0)}"
    if key not in st.session_state:
        refused.pop(key, None)
    if key in refused or st.session_state.get(key, saved) == saved:
        return key
    turns[place] += 1
    return f"{place} {turns[place]}"


def _shown(question: Question, value: Any, units: UnitSystem, options: list[str]) -> Any:
    """What a box shows of what the plan says; nothing where that cannot be shown, which is told as a problem."""
    takes = question.takes
    if takes == "date":
        return value if isinstance(value, dt.date) else None
    if takes == "flag":
        return bool(question.default if value is None else value)
    if takes == "choices":
        named = [value] if isinstance(value, str) else list(value or [])
        return [each for each in named if each in options]
    if takes == "choice":
        return value if value in options else ""
    if question.kind is not None and value is not None:
        try:
            return f"{shown_quantity(value, question.kind, units):.10g}"
        except ValueError:
            return ""
    return "" if value is None else str(value)


def _label(question: Question, units: UnitSystem, *, of_block: bool) -> str:
    unit = "" if question.kind is None else question.kind.unit_in(units)
    unit = {"deg": "°", "degC": "°C", "degF": "°F", "delta_degC": "°C", "d": "days"}.get(unit, unit)
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


def _write_down(folder: Path, place: Place, key: str, question: Question, units: UnitSystem) -> None:
    """Save an answer; an empty one removes the key, and one that cannot be read is told beside its box."""
    refused = st.session_state["refused"]
    refused.pop(key, None)
    try:
        answer = _read(st.session_state[key], question, units)
    except ValueError as error:
        refused[key] = f"{question.label}: {error}. The old answer stands; type another."
        return
    edits: list[tuple[Place, Any]] = [(place, answer)]
    if question.key == "species":
        edits.append(((*place[:-1], "stage"), None))  # the stages of another species
    save(lambda: change_plan(folder, edits))


def _leave_open(folder: Path, place: Place) -> None:
    save(lambda: change_plan(folder, [(place, None)]))


_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)")


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
    if question.takes in ("number", "whole number") and answer not in question.options:
        whole = question.takes == "whole number"
        if not _NUMBER.fullmatch(answer) or (whole and not answer.lstrip("+").isdecimal()):
            words = "".join(f" or {word}" for word in question.options)
            raise ValueError(f'found "{answer}"; a {question.takes}{words} is expected')
        return int(answer) if whole else float(answer)
    if question.key == "species" and len(answer) == 1:
        return answer[0]
    return answer


def need_places(draft: Draft) -> list[tuple[str, Place]]:
    """Where each need stands, in the order of the blocks: a block's own, and the one that the others share."""
    own = [block["block"] for block in draft.told.get("block", []) if "need" in block.get("crop", {})]
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
    saved = float(value_at(told, ("credit", "confidence")) or CAUTION_STEPS[0])
    key = _box(f"{folder.name} confidence", saved)
    st.select_slider(
        "How cautiously to credit",
        sorted({*CAUTION_STEPS, saved}),
        value=saved,
        key=key,
        format_func=lambda step: "as expected" if step == CAUTION_STEPS[0] else f"{step * 100:g} % sure",
        help="More cautious credits less and spreads more nitrogen: a zone's credit is then at least so much with "
        "the chance that is set.",
        on_change=lambda: save(
            lambda: change_plan(folder, [(("credit", "confidence"), st.session_state[key])])
        ),
    )
