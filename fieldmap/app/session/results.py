"""What was worked out for the open plan: averages, runs, maps and files."""

from __future__ import annotations

import tempfile
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import streamlit as st

from fieldmap.app.plans.draft import average_text, look_over, survey_and_reckon
from fieldmap.app.plans.workspace import zip_files
from fieldmap.app.session.memory import (
    KEPT_AVERAGES,
    KEPT_DRAFTS,
    KEPT_FILES,
    KEPT_RESULTS,
    content_of,
    kept,
    told_how_far,
)
from fieldmap.app.session.messages import BROKEN, LOG
from fieldmap.app.session.open_plan import CAUTIONS_READ, go_to
from fieldmap.errors import InputError, Problem
from fieldmap.export import registry
from fieldmap.pipeline import Result, run, stand_key, survey
from fieldmap.read import file_digests, read_plan
from fieldmap.webmap import page, pixels

if TYPE_CHECKING:
    from fieldmap.app.plans.draft import Draft
    from fieldmap.plan import Plan
    from fieldmap.stand import Stand


def draft_of(folder: Path) -> Draft:
    """The plan under work, looked over, with all that a run of it would refuse."""
    draft: Draft = kept("drafts", KEPT_DRAFTS).of(
        f"{folder} {content_of(folder)}", lambda: look_over(folder, running=partial(_run_kept, folder))
    )
    return draft


def _run_kept(folder: Path, plan: Plan) -> Result:
    """A run that is kept; a fault of this program is told as a problem, so that the last answer can be taken back."""
    try:
        return _result_of(folder, plan)
    except InputError:
        raise
    except Exception:
        LOG.exception("a plan could not be worked out")
        raise InputError(BROKEN) from None


def average_of(folder: Path, draft: Draft) -> str:
    """The field's average in words; raises InputError where a part is not ready."""

    def work_out() -> str:
        if draft.plan is not None:
            result = _result_of(folder, draft.plan)
            return average_text(result.stand, result.budget, draft.plan.units, drawn=result.spread)
        with told_how_far(2) as step:
            plan, stand, budget = survey_and_reckon(folder, draft.told, progress=step)
        return average_text(stand, budget, plan.units)

    text: str = kept("averages", KEPT_AVERAGES).of(f"{folder} {content_of(folder)}", work_out)
    return text


@st.cache_resource(max_entries=KEPT_RESULTS, show_spinner=False)
def _pixels(key: str, _stand: Stand) -> pixels.Pixels:  # noqa: ARG001
    return pixels.map_pixels(_stand.field)


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
        with told_how_far(3 + 2 * len(plan.applications)) as step:
            stand = kept("stands", KEPT_RESULTS).of(
                stand_key(plan, digests), lambda: survey(plan, progress=step)
            )
            return run(plan, stand=stand, progress=step)

    result: Result = kept("results", KEPT_RESULTS).of(f"{folder} {plan.computed_hash(digests)}", work_out)
    return result.shown_as(plan, digests)


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
        result = _run_kept(folder, read_plan(folder))
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
        if not (waiting and problem.missing and not problem.key):  # an empty part is said above
            st.warning(str(problem))
    if st.button("Go to upload", type="primary"):
        go_to("upload")
    st.stop()
    return None


@st.cache_resource(max_entries=KEPT_RESULTS, show_spinner=False)
def _map(key: str, _result: Result, _pixels: pixels.Pixels) -> str:  # noqa: ARG001
    return page.map_page(_result, framed=True, pixels=_pixels)


def map_of(folder: Path, result: Result) -> str:
    """The map of a run as a page to frame."""
    grid = _pixels(result.stand.key, result.stand)
    return _map(f"{folder} {result.plan_hash}", result, grid)


@st.cache_resource(max_entries=KEPT_FILES, show_spinner=False)
def _file(key: str, name: str, _result: Result) -> bytes:  # noqa: ARG001
    with tempfile.TemporaryDirectory(prefix="fieldmap-") as beside:
        path = Path(beside, Path(name).name)
        registry.write_file(_result, name, path)
        return path.read_bytes()


def file_of(folder: Path, result: Result, name: str) -> bytes:
    """One file of a run, by its path in the output folder, as the command line writes it."""
    return _file(f"{folder} {result.plan_hash}", name, result)


def prepare_files(folder: Path, result: Result) -> None:
    """Write every file of a run beforehand, with a bar that says how far it is."""
    bar = st.progress(0.0, text="Writing the files")
    names = list(registry.files_of(result))
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
    return zip_files([(name, file_of(folder, result, name)) for name in registry.files_of(result)])


def _result_to_hand_out(folder: Path) -> Result:
    """The run of the plan now, which another tab may have changed since the page was drawn."""
    result = result_of(folder)
    if not cautions_read(folder, result):
        text = "the plan was changed meanwhile, and cautions came with it"
        raise InputError(Problem(folder.name, text, "they are to be read first", "Open the page again"))
    return result


def cautions_read(folder: Path, result: Result) -> bool:
    """Whether the cautions of this plan were confirmed; one that has come since, as with another product, was not."""
    file = folder / CAUTIONS_READ
    confirmed = file.read_text(encoding="utf-8").splitlines() if file.is_file() else []
    return {*result.cautions} <= {*confirmed}


def confirm_cautions(folder: Path, result: Result) -> None:
    """Remember which cautions were read."""
    (folder / CAUTIONS_READ).write_text("\n".join(result.cautions), encoding="utf-8")
