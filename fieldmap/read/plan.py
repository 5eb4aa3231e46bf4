"""plan.toml and the files it names: open the one, look for the others."""

from __future__ import annotations

import functools
import hashlib
import tomllib
from pathlib import Path
from typing import TYPE_CHECKING

from fieldmap.errors import InputError, Problem
from fieldmap.plan import parse

if TYPE_CHECKING:
    from typing import Any

    from fieldmap.plan import Plan


PLAN_FILE = parse.PLAN_FILE
REMEMBERED_BYTES = 32 * 2**20  # of larger files the digest is kept while their size and time stay the same


def read_plan(path: str | Path) -> Plan:
    """Read a plan folder, or the plan.toml in it.

    Raises
    ------
    InputError
        With one problem for every key that is wrong and every named file that is not there.
    """
    told, folder = _told(Path(path))
    plan = parse.parse_plan(told, folder)
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
    return parse.parse_plan(*_told(Path(path))).file_names()


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
