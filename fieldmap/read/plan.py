"""plan.toml: open it, check it, and word what is wrong for the person who wrote it."""

from __future__ import annotations

import difflib
import functools
import hashlib
import json
import tomllib
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from pydantic import BaseModel, ValidationError

from fieldmap import agronomy, units
from fieldmap.errors import InputError, Problem
from fieldmap.plan import Plan, keys

if TYPE_CHECKING:
    from typing import Any

    from pydantic.fields import FieldInfo


PLAN_FILE = "plan.toml"
REMEMBERED_BYTES = 32 * 2**20  # of larger files the digest is kept while their size and time stay the same


def read_plan(path: str | Path) -> Plan:
    """Read a plan folder, or the plan.toml in it.

    Raises
    ------
    InputError
        With one problem for every key that is wrong and every named file that is not there.
    """
    told, folder = _told(Path(path))
    plan = parse_plan(told, folder)
    missing = [_no_such_file(name) for name in plan.file_names() if not (plan.folder / name).is_file()]
    if missing:
        raise InputError(*missing)
    return plan


def inputs_told(path: str | Path) -> dict[str, Any] | None:
    """Boundary and samples of a plan that could not be read in whole; None where they are not told or not there."""
    try:
        told, folder = _told(Path(path))
    except InputError:
        return None
    sections = told.get("field"), told.get("samples")
    if not all(isinstance(section, dict) for section in sections):
        return None
    field, samples = (dict(section) for section in sections if isinstance(section, dict))
    names = field.get("boundary"), samples.get("file")
    if not all(
        isinstance(name, str) and Path(name).name == name and (folder / name).is_file() for name in names
    ):
        return None
    crs = samples.get("crs")
    return {
        "folder": folder,
        "boundary": names[0],
        "samples": names[1],
        "crs": crs if isinstance(crs, str) else None,
    }


def named_files(path: str | Path) -> tuple[str, ...]:
    """Every input file that a plan folder's plan.toml names, there or not.

    Raises
    ------
    InputError
        As `read_plan`, but for files that are not there.
    """
    return parse_plan(*_told(Path(path))).file_names()


def _told(path: Path) -> tuple[dict[str, Any], Path]:
    """The content of a plan.toml as TOML has it, and its folder."""
    file = path / PLAN_FILE if path.is_dir() else path
    if not file.is_file():
        raise InputError(
            Problem(
                str(path),
                "no plan.toml was found here",
                "a plan folder, or the plan.toml in it, is expected",
                "Name the folder that holds plan.toml",
            )
        )
    try:
        return tomllib.loads(file.read_text(encoding="utf-8-sig")), file.parent
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise InputError(not_toml(error)) from None


def not_toml(error: Exception) -> Problem:
    """A plan.toml that cannot be parsed."""
    return Problem(
        PLAN_FILE,
        f"this is not valid TOML ({error})",
        "key = value lines are expected",
        "Correct the line; text values stand in quotes",
    )


def _no_such_file(name: str) -> Problem:
    return Problem(
        PLAN_FILE,
        f'the file "{name}" is not in the plan folder',
        "every file that the plan names is expected beside plan.toml",
        "Put the file there or correct its name",
    )


def file_digests(plan: Plan) -> dict[str, str]:
    """The sha256 of every input file of a plan, by its name."""
    return {name: _digest((plan.folder / name).resolve()) for name in plan.file_names()}


def _digest(path: Path) -> str:
    about = path.stat()
    if about.st_size < REMEMBERED_BYTES:
        return _sha256(path)
    return _digest_of_large(path, about.st_size, about.st_mtime_ns)


@functools.lru_cache(maxsize=64)
def _digest_of_large(path: Path, _size: int, _changed_ns: int) -> str:
    """A mosaic that the plans of many fields link to is read once, as long as it stays the same."""
    return _sha256(path)


def _sha256(path: Path) -> str:
    with path.open("rb") as file:  # in pieces: a covariate may be gigabytes
        return hashlib.file_digest(file, "sha256").hexdigest()


def parse_plan(told: dict[str, Any], folder: Path) -> Plan:
    """Check the content of plan.toml.

    Raises
    ------
    InputError
        With one problem for every key that is wrong.
    """
    merged, problems = _with_whole_blocks(told)
    try:
        plan = Plan.model_validate({**merged, "folder": folder})
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
    fault = keys.wrong_value(finding)
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
    if field is not None and keys.model_in(field.annotation) is None:
        return Problem(PLAN_FILE, found, expected, action, key=".".join(str(part) for part in path))
    entry = rest.pop(0) + 1 if rest and isinstance(rest[0], int) else None
    below = _field(_section_at([head]), rest[0]) if len(rest) > 1 else None
    table = str(rest.pop(0)) if below is not None and keys.model_in(below.annotation) else ""
    return Problem(
        PLAN_FILE,
        found,
        expected,
        action,
        section=head,
        several=keys.shown_as_list(head),
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
        nested = keys.model_in(field.annotation) if field else None
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
    low, high = entry.need_lb_ac
    marks = ", ".join(
        f"{agronomy.sources()[key].citation} [{agronomy.sources()[key].mark}]" for key in entry.sources
    )
    return f" (for {entry.name} the table has {low:.0f} to {high:.0f} lb/ac: {marks.rstrip('.')})"
