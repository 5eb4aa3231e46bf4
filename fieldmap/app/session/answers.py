"""Answers: shown in the unit that is chosen, written down as soon as they change."""

from __future__ import annotations

import contextlib
import datetime as dt
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

import streamlit as st

from fieldmap.app.plans.draft import told_of
from fieldmap.app.plans.plan_file import change_plan
from fieldmap.app.session.messages import LOG, callback, plain, save
from fieldmap.errors import WrongValueError
from fieldmap.units import comma_hint, parse_quantity, shown_quantity

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path
    from typing import Any

    from fieldmap.app.plans.draft import Draft
    from fieldmap.app.plans.questions import Question
    from fieldmap.units import UnitSystem


Place = tuple[str | int, ...]


def change_units(folder: Path) -> None:
    """Metric or US, at any time, for every number of the plan."""
    told = told_of(folder)
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
    if not _fits_a_box(question, value):
        st.caption(f"{question.label}: it stands in the plan as text.")
        return
    entries = {str(place[0]): len(told[str(place[0])])} if isinstance(place[1], int) else {}
    saved = _shown(question, value, units)
    box = _box(
        f"{folder.name} {place}",
        saved,
        lambda answer: _write_down(folder, place, _read(answer, question, units), question, entries),
    )
    of_block = place[0] == "block"
    asked = _Asked(
        saved,
        _offered(question.options if options is None else options, question, value),
        "as for the field" if of_block else question.left_open or _default_text(question, units),
        {
            "label": _label(question, units, of_block=of_block),
            "help": question.help or None,
            **_watched(box),
        },
    )
    _WIDGETS.get(question.takes, _ask_line)(asked)
    if question.takes == "date" and saved is not None and (of_block or not question.needed):
        # A date that is there cannot be emptied in its box.
        st.button(
            "As for the field" if of_block else "Leave it open",
            key=f"open {box.key}",
            type="tertiary",
            on_click=callback(_write_down),
            args=(folder, place, None, question, entries),
        )
    if box.refused:
        st.error(plain(f"{question.label}: {box.refused}. {_standing(box)} Type another."))


@dataclass(frozen=True)
class _Asked:
    """What a widget is drawn from: the saved answer, the options, what an open one means, and what all have."""

    saved: Any
    options: Sequence[str]
    open_text: str
    common: dict[str, Any]


def _ask_date(asked: _Asked) -> None:
    st.date_input(**asked.common, value=asked.saved, format="YYYY-MM-DD")


def _ask_flag(asked: _Asked) -> None:
    st.checkbox(**asked.common, value=asked.saved)


def _ask_choices(asked: _Asked) -> None:
    st.multiselect(
        **asked.common,
        options=asked.options,
        default=asked.saved,
        placeholder=asked.open_text or "choose",
    )


def _ask_choice(asked: _Asked) -> None:
    st.selectbox(
        **asked.common,
        options=["", *asked.options],
        index=asked.options.index(asked.saved) + 1 if asked.saved else 0,
        format_func=lambda option: option or asked.open_text or "choose",
    )


def _ask_line(asked: _Asked) -> None:
    st.text_input(**asked.common, value=asked.saved, placeholder=asked.open_text or None)


_WIDGETS = {"date": _ask_date, "flag": _ask_flag, "choices": _ask_choices, "choice": _ask_choice}


def _offered(options: Sequence[str], question: Question, value: Any) -> Sequence[str]:
    """The options; a choice that is not known is offered too, and told as a problem."""
    if question.takes not in ("choice", "choices"):
        return options
    return [*options, *(one for one in _listed(value) if one not in options)]


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
    """The box of a place, which starts with what is saved; `write` raises WrongValueError for what cannot be read."""
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
    except WrongValueError as error:
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
        with contextlib.suppress(WrongValueError):
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
        default = f"{shown_quantity(default, question.kind, units):.3g}"
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
            raise WrongValueError(
                f'found "{answer}"', f"a {question.takes}{words} is expected{comma_hint(answer)}"
            )
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
