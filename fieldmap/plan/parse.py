"""A plan out of the content of plan.toml, and what is wrong with it worded for the person who wrote it."""

from __future__ import annotations

import copy
import difflib
import json
from dataclasses import replace
from typing import TYPE_CHECKING

from pydantic import BaseModel, ValidationError

from fieldmap import agronomy, units
from fieldmap.errors import InputError, Problem
from fieldmap.plan.keys import model_in, plan_keys, shown_as_list, wrong_value
from fieldmap.plan.model import Plan

if TYPE_CHECKING:
    from pathlib import Path
    from typing import Any

    from pydantic.fields import FieldInfo


PLAN_FILE = "plan.toml"


def changed(told: dict[str, Any], changes: dict[str, Any]) -> dict[str, Any]:
    """The content of a plan.toml with other values; None leaves a key out.

    A name is a key that only one section has, or that of a section, whose value then holds its keys.

    Raises
    ------
    InputError
        For a name that is no key, or a key of several sections.
    """
    found = copy.deepcopy(told)
    problems = []
    for name, value in changes.items():
        if name in {field.alias or key for key, field in Plan.model_fields.items()} - {"folder"}:
            _set(found, name, {**found[name], **value} if _is_table(found.get(name), value) else value)
            continue
        sections = sorted({key.section for key in plan_keys() if key.key == name and not key.several})
        if len(sections) == 1:
            if isinstance(changes.get(sections[0]), dict) and name in changes[sections[0]]:
                text = f"{name} is given twice, once in {sections[0]}={{…}}"
                problems.append(Problem(PLAN_FILE, text, "it is expected once", "Leave one out", key=name))
            _set(found.setdefault(sections[0], {}), name, value)
        elif sections:
            text = f"{name} stands in {' and '.join(f'[{section}]' for section in sections)}"
            action = f"Write {sections[0]}={{{name!r}: …}}"
            problems.append(Problem(PLAN_FILE, text, "one section is expected", action, key=name))
        else:
            known = sorted({key.key for key in plan_keys()})
            close = difflib.get_close_matches(name, known, n=1, cutoff=0.5)
            guess = f'the nearest known key is "{close[0]}"' if close else "fieldmap tables keys lists all"
            problems.append(Problem(PLAN_FILE, "this key is not known", guess, "Correct it", key=name))
    if problems:
        raise InputError(*problems)
    return found


def _is_table(now: Any, value: Any) -> bool:
    return isinstance(now, dict) and isinstance(value, dict)


def _set(table: dict[str, Any], key: str, value: Any) -> None:
    if value is None:
        table.pop(key, None)
    else:
        table[key] = value


def parse_plan(told: dict[str, Any], folder: Path) -> Plan:
    """Check the content of plan.toml.

    Raises
    ------
    InputError
        With one problem for every key that is wrong.
    """
    merged, problems = _with_whole_blocks(told)
    try:
        plan = Plan.of(merged, folder, told=told)
    except ValidationError as error:
        raise InputError(*problems, *_worded(error, told)) from None
    if problems:
        raise InputError(*problems)
    return plan


def _with_whole_blocks(told: dict[str, Any]) -> tuple[dict[str, Any], list[Problem]]:
    """Complete each [[block]] with the keys of [crop] and [cover_crop] that it does not give itself."""
    problems = []
    blocks = told.get("block")
    if not isinstance(blocks, list):
        return told, []
    whole = []
    for number, block in enumerate(blocks, start=1):
        if not isinstance(block, dict):
            return told, []
        own = dict(block)
        for key in ("crop", "cover_crop"):
            base, given = told.get(key, {}), block.get(key, {})
            if isinstance(base, dict) and isinstance(given, dict):
                own[key] = {**base, **given}
                if key == "crop" and given.get("name", base.get("name")) != base.get("name"):
                    problems += [
                        Problem(
                            PLAN_FILE,
                            f"this block grows {given['name']} but has no {missing} of its own",
                            f"a block with another vegetable needs its own {missing}",
                            f"Write {missing} into this block's crop",
                            section="block",
                            entry=number,
                            block=str(block.get("block", "")),
                            table=key,
                            key=missing,
                        )
                        for missing in ("planted", "harvested", "need")
                        if missing not in given
                    ]
        whole.append(own)
    return {**told, "block": whole}, problems


def _worded(error: ValidationError, told: dict[str, Any]) -> list[Problem]:
    """Pydantic's findings in the words of `Problem`; what a block inherits is said once, at its origin."""
    found = error.errors(include_url=False)
    at_origin = {item["loc"][:1] for item in found}
    return [
        _one_problem(item)
        for item in found
        if not (item["loc"][0] == "block" and item["loc"][2:3] in at_origin and not _own(item["loc"], told))
    ]


def _own(path: tuple[int | str, ...], told: dict[str, Any]) -> bool:
    """Whether the [[block]] itself gives the key at `path`."""
    section = told["block"][path[1]].get(path[2], {})
    return not isinstance(section, dict) or (bool(section) if len(path) == 3 else path[3] in section)


def _one_problem(finding: Any) -> Problem:
    path = [part for part in finding["loc"] if part not in ("str", "OwnProduct")]
    if finding["type"] == "extra_forbidden":
        known = sorted(_known_keys(path[:-1]))
        close = difflib.get_close_matches(str(path[-1]), known, n=1, cutoff=0.5)
        guess = f'the nearest known key is "{close[0]}"' if close else "known keys: " + ", ".join(known)
        return _at(path, "this key is not known", guess, "Correct or remove it")
    if finding["type"] == "missing":
        hint = _required_hint(str(path[-1]), finding["input"])
        return replace(_at(path, "this key is missing", hint, "Add it to plan.toml"), missing=True)
    fault = wrong_value(finding)
    if fault is not None:
        return _at(path, fault.found, fault.expected or "the two must agree")
    value = finding.get("input")
    written = json.dumps(value, default=str, ensure_ascii=False)
    found = "this value does not do" if isinstance(value, dict | BaseModel) else f"found {written}"
    return _at(path, found, finding["msg"].replace("Input should be", "it should be"))


def _at(path: list[Any], found: str, expected: str, action: str = "Correct plan.toml") -> Problem:
    """A problem at a path of pydantic's: a section, the number of its entry, and the keys below."""
    head, *rest = path
    field = _field(Plan, head)
    if field is not None and model_in(field.annotation) is None:
        return Problem(PLAN_FILE, found, expected, action, key=".".join(str(part) for part in path))
    entry = rest.pop(0) + 1 if rest and isinstance(rest[0], int) else None
    below = _field(_section_at([head]), rest[0]) if len(rest) > 1 else None
    table = str(rest.pop(0)) if below is not None and model_in(below.annotation) else ""
    return Problem(
        PLAN_FILE,
        found,
        expected,
        action,
        section=head,
        several=shown_as_list(head),
        entry=entry,
        table=table,
        key=".".join(str(part) for part in rest),
    )


def _field(section: type[BaseModel], key: Any) -> FieldInfo | None:
    return next((field for name, field in section.model_fields.items() if key in (name, field.alias)), None)


def _section_at(path: list[Any]) -> type[BaseModel]:
    section: type[BaseModel] = Plan
    for part in path:
        if isinstance(part, int):
            continue
        field = _field(section, part)
        nested = model_in(field.annotation) if field else None
        if nested is None:
            return section
        section = nested
    return section


def _known_keys(path: list[Any]) -> set[str]:
    return {field.alias or name for name, field in _section_at(path).model_fields.items()} - {"folder"}


def _required_hint(key: str, section: Any) -> str:
    """What a missing key should hold; for a crop's need, the table's range with its marks."""
    if key == "need":
        return (
            "the vegetable's nitrogen need from the local guide or laboratory is expected, such as "
            f'need = "150 lb/ac"{_need_range(section)}'
        )
    hints = {
        "boundary": 'the file of the field outline is expected, such as "boundary.geojson"',
        "file": 'the file of the samples is expected, such as "samples.csv"',
        "species": 'the cover crop is expected, such as "hairy vetch"',
        "product": 'what is spread is expected, such as "urea"',
        "swath": units.LENGTH.wanted,
        "zone_min": units.AREA.wanted,
        "zones_max": "the largest number of zones is expected, such as 5",
        "units": '"metric" or "us" is expected',
    }
    fallback = units.RATE.wanted if key.startswith("rate") else "a value for it is expected"
    return hints.get(key, fallback)


def _need_range(crop: Any) -> str:
    name = crop.get("name") if isinstance(crop, dict) else None
    entry = agronomy.find(name, agronomy.crops()) if isinstance(name, str) else None
    if entry is None:
        return ""
    if entry.need_lb_ac is None:
        demand = entry.demand_kg_ha()
        if demand is None:
            return ""
        source = agronomy.sources()[entry.source_of["demand_n_kg_ha"]]
        return (
            f" (for {entry.name} the table has no guide rate, but a demand of {demand:.0f} kg/ha at "
            f"{entry.yield_t_ha:g} t/ha, in which what the soil holds at planting is contained [{source.mark}])"
        )
    low, high = entry.need_lb_ac
    marks = ", ".join(
        f"{agronomy.sources()[key].citation} [{agronomy.sources()[key].mark}]" for key in entry.sources
    )
    return f" (for {entry.name} the table has {low:.0f} to {high:.0f} lb/ac: {marks.rstrip('.')})"
