"""A list of plan folders: a CSV, a pattern or a folder of them, on this machine or anywhere fsspec reaches."""

from __future__ import annotations

import contextlib
import csv
import io
import posixpath
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import fsspec
from fsspec.implementations.local import LocalFileSystem

from fieldmap.errors import InputError, Problem
from fieldmap.read import PLAN_FILE, files, named_files

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from typing import Any

    from fsspec import AbstractFileSystem


COLUMN = "plan"  # of a CSV: the plan folder, from where the CSV stands


@dataclass(frozen=True)
class PlanFolder:
    """Where one field's plan is: a path of this machine or a URL that fsspec opens."""

    name: str
    address: str


def list_plans(told: str) -> tuple[PlanFolder, ...]:
    """The plan folders that a list names, by name.

    Parameters
    ----------
    told
        A CSV with a column ``plan``, a pattern with ``*`` for plan folders, or a folder of them. A path or any
        URL of fsspec.

    Raises
    ------
    InputError
        Nothing is there, no plan folder is among it, or two have the same name.
    """
    system, path = _opened(told)
    path = path.rstrip("/") or path
    if "*" in path:
        addresses = [_folder(place) for place in system.glob(path) if _is_plan(system, _folder(place))]
    elif system.isdir(path):
        addresses = [path] if _is_plan(system, path) else []
        addresses += [_folder(place) for place in system.glob(f"{path}/*/{PLAN_FILE}")]
    elif system.isfile(path):
        addresses = _addresses_of_csv(system, path)
    else:
        found, action = "there is nothing of this name", "Check the name"
        raise InputError(Problem(told, found, _EXPECTED, action))
    if not addresses:
        found, action = "it names no plan folder", f"Name a place whose folders hold {PLAN_FILE}"
        raise InputError(Problem(told, found, _EXPECTED, action))
    # In a CSV an address may be a URL of its own, another system's too.
    here = isinstance(system, LocalFileSystem)
    whole = [
        one if here or "://" in one else system.unstrip_protocol(one) for one in dict.fromkeys(addresses)
    ]
    plans = [PlanFolder(posixpath.basename(one.rstrip("/")), one) for one in whole]
    _refuse_same_name(told, plans)
    return tuple(sorted(plans, key=lambda plan: plan.name))


_EXPECTED = f"a CSV with a column {COLUMN}, a pattern such as farm/*, or a folder of plan folders is expected"


@contextlib.contextmanager
def at_hand(address: str) -> Iterator[Path]:
    """The plan folder on this machine: itself where it is here, else a copy of the files that its plan names."""
    system, path = _opened(address)
    if isinstance(system, LocalFileSystem):
        yield Path(path)
        return
    with tempfile.TemporaryDirectory(prefix="plan-") as copy:
        _fetch(system, f"{path}/{PLAN_FILE}", Path(copy, PLAN_FILE))
        for name in named_files(Path(copy)):
            _fetch(system, f"{path}/{name}", Path(copy, name))
        yield Path(copy)


def _fetch(system: AbstractFileSystem, path: str, to: Path) -> None:
    """Copy a file; one that is not there is left for `read_plan` to say."""
    to.parent.mkdir(parents=True, exist_ok=True)
    with contextlib.suppress(FileNotFoundError):
        system.get_file(path, str(to))


def _opened(address: str) -> tuple[Any, str]:
    try:
        system, path = fsspec.core.url_to_fs(address)
    except (ImportError, ValueError) as error:
        expected = "a path, or a URL whose protocol fsspec knows and whose library is installed, is expected"
        raise InputError(
            Problem(address, f"it cannot be opened ({error})", expected, "Install the library it names")
        ) from None
    return system, path


def _is_plan(system: AbstractFileSystem, path: str) -> bool:
    return bool(system.isfile(f"{path}/{PLAN_FILE}"))


def _folder(place: str) -> str:
    """A plan folder, from itself or from the plan.toml in it."""
    place = place.rstrip("/")
    return posixpath.dirname(place) if posixpath.basename(place) == PLAN_FILE else place


def _addresses_of_csv(system: AbstractFileSystem, path: str) -> list[str]:
    file = posixpath.basename(path)
    if system.size(path) > files.MAX_TEXT_BYTES:
        found, action = "it is larger than a list of fields can be", "Name the list of plan folders"
        raise InputError(Problem(file, found, _EXPECTED, action))
    try:
        rows = list(csv.DictReader(io.StringIO(system.cat_file(path).decode("utf-8-sig"))))
    except (UnicodeDecodeError, csv.Error) as error:
        found, action = f"it cannot be read as a CSV ({error})", "Save it as CSV, UTF-8"
        raise InputError(Problem(file, found, _EXPECTED, action)) from None
    if rows and COLUMN not in rows[0]:
        found, action = (
            f"its columns are {files.names([str(key) for key in rows[0]])}",
            f"Name the column {COLUMN}",
        )
        raise InputError(Problem(file, found, f"a column {COLUMN} is expected", action, row=1))
    told = [(row[COLUMN] or "").strip() for row in rows]
    here = posixpath.dirname(path)
    return [
        _folder(place) if "://" in place or place.startswith("/") else _folder(posixpath.join(here, place))
        for place in told
        if place
    ]


def _refuse_same_name(told: str, plans: Sequence[PlanFolder]) -> None:
    """Every field writes a folder named after its plan folder, also where capitals count for nothing."""
    known: dict[str, PlanFolder] = {}
    problems = []
    for plan in plans:
        other = known.setdefault(plan.name.casefold(), plan)
        if other is not plan:
            found = f"{other.address} and {plan.address} have the same name"
            expected = "plan folders of different names are expected: each field's files stand under its name"
            problems.append(Problem(told, found, expected, "Rename one of the two"))
    if problems:
        raise InputError(*problems)
