"""plan.toml as the app changes it: key by key, under a lock, whole or not at all."""

from __future__ import annotations

import contextlib
import os
import re
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

import tomlkit
from filelock import FileLock
from tomlkit.exceptions import TOMLKitError

from fieldmap.errors import InputError, Problem
from fieldmap.read import PLAN_FILE, not_toml

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from typing import Any


LOCK_SECONDS = 10
Path_ = tuple[str | int, ...]


def read_told(folder: Path) -> dict[str, Any]:
    """What plan.toml says, unchecked.

    Raises
    ------
    InputError
        Where it is not TOML.
    """
    return _parse((folder / PLAN_FILE).read_text(encoding="utf-8-sig")).unwrap()


def plan_text(folder: Path) -> str:
    """plan.toml as it stands."""
    return (folder / PLAN_FILE).read_text(encoding="utf-8-sig")


def write_plan_text(folder: Path, text: str) -> None:
    """Replace plan.toml by a text that is valid TOML.

    Raises
    ------
    InputError
        Where it is not; nothing is written then.
    """
    _parse(text)
    with _turn(folder):
        write_atomically(folder / PLAN_FILE, text.encode())


def change_plan(
    folder: Path, edits: Sequence[tuple[Path_, Any]], *, entries_seen: Mapping[str, int] | None = None
) -> None:
    """Set keys of plan.toml, or remove those whose value is None; all others keep what stands on disk now.

    A path names sections and keys; ``("block", "west", "crop", "need")`` is a key of the [[block]] of that name,
    ``("other_credits", 0, "water")`` of the first [[other_credits]].

    Raises
    ------
    InputError
        Where a section has fewer entries than `entries_seen`, so that a number may mean another by now.
    """
    with _turn(folder):
        file = folder / PLAN_FILE
        document = _parse(file.read_text(encoding="utf-8-sig"))
        for section, count in (entries_seen or {}).items():
            if len(document.get(section, [])) < count:
                raise InputError(_moved_on(section))
        for path, value in edits:
            _set(document, path, value)
        write_atomically(file, tomlkit.dumps(document).encode())


def add_entry(folder: Path, section: str, *entries: dict[str, Any], entries_seen: int | None = None) -> None:
    """Add tables to those of a section, such as one more [[other_credits]].

    Raises
    ------
    InputError
        Where the section has other than `entries_seen` by now, if that is given; nothing is written then.
    """
    with _turn(folder):
        file = folder / PLAN_FILE
        document = _parse(file.read_text(encoding="utf-8-sig"))
        if entries_seen is not None and len(document.get(section, [])) != entries_seen:
            raise InputError(_moved_on(section))
        if section not in document:
            document[section] = tomlkit.aot()
        for entry in entries:
            document[section].append(tomlkit.item(entry))
        write_atomically(file, tomlkit.dumps(document).encode())


def remove_entry(folder: Path, section: str, number: int, seen: dict[str, Any]) -> None:
    """Remove the table of that number, if it still is the one that was seen.

    Raises
    ------
    InputError
        Where it was changed or removed meanwhile; nothing is written then.
    """
    with _turn(folder):
        file = folder / PLAN_FILE
        document = _parse(file.read_text(encoding="utf-8-sig"))
        entries = document.get(section, [])
        if number >= len(entries) or entries[number].unwrap() != seen:
            raise InputError(_moved_on(section))
        del entries[number]
        if not entries:
            del document[section]
        write_atomically(file, tomlkit.dumps(document).encode())


def _moved_on(section: str) -> Problem:
    return Problem(
        PLAN_FILE,
        "an entry was added, changed or removed in another place meanwhile",
        "the entries as they were shown are expected",
        "Look at it again",
        section=section,
        several=True,
    )


def _set(document: Any, path: Path_, value: Any) -> None:
    *parents, key = path
    at = document
    for depth, part in enumerate(parents):
        if depth == 1 and parents[0] == "block":
            at = _block(at, str(part), make=value is not None)
        elif isinstance(part, int) and part >= len(at):
            raise InputError(_moved_on(str(parents[0])))
        elif isinstance(part, int) or part in at:
            at = at[part]
        elif value is None:
            return
        else:
            at[part] = (
                tomlkit.aot()
                if part == "block"
                else tomlkit.table()
                if at is document
                else tomlkit.inline_table()
            )
            at = at[part]
        if at is None:
            return
    if value is None:
        if isinstance(key, int) or key in at:
            del at[key]
            if len(parents) == 3 and parents[0] == "block" and not at:
                del document["block"][_block_number(document["block"], str(parents[1]))][parents[2]]
            elif len(parents) == 1 and not at.as_string().strip():  # nor a comment in it
                del document[parents[0]]
    else:
        at[key] = value


def _block_number(blocks: Any, name: str) -> int | None:
    return next((number for number, block in enumerate(blocks) if block.get("block") == name), None)


def _block(blocks: Any, name: str, *, make: bool) -> Any:
    number = _block_number(blocks, name)
    if number is None:
        if not make:
            return None
        block = tomlkit.table()
        block["block"] = name
        blocks.append(block)
        number = len(blocks) - 1
    return blocks[number]


def _parse(text: str) -> tomlkit.TOMLDocument:
    try:
        return tomlkit.parse(text)
    except TOMLKitError as error:
        raise InputError(not_toml(error)) from None


def save_file(folder: Path, name: str, content: bytes) -> str:
    """Write an input file into a plan folder, whole or not at all; the name it was given."""
    name = safe_name(name)
    with _turn(folder):
        write_atomically(folder / name, content)
    return name


def safe_name(name: str) -> str:
    """A file name that any system takes and that leads nowhere else: letters, digits, dot, dash, underscore."""
    plain = re.sub(r"[^\w.-]+", "_", Path(name.replace("\\", "/")).name).lstrip("._")[-80:]
    return plain or "file"


@contextlib.contextmanager
def _turn(folder: Path) -> Iterator[None]:
    """Wait for whoever is writing in this folder: another tab, or another server."""
    with FileLock(folder / ".lock", timeout=LOCK_SECONDS):
        yield


def write_atomically(file: Path, content: bytes) -> None:
    """The old content or the new, never half of either, whatever happens meanwhile."""
    descriptor, beside = tempfile.mkstemp(prefix=".new-", dir=file.parent)
    try:
        with os.fdopen(descriptor, "wb") as stream:
            stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())
        Path(beside).replace(file)
    except BaseException:
        Path(beside).unlink(missing_ok=True)
        raise
