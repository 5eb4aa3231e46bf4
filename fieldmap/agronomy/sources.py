"""Where each figure comes from, with the mark that is shown beside it."""

from __future__ import annotations

import functools
import tomllib
from dataclasses import dataclass
from importlib.resources import files
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from typing import Any


Mark = Literal["published", "common practice", "from memory", "your value"]
_MARKS: tuple[Mark, ...] = ("published", "your value", "common practice", "from memory")  # weakest last


@dataclass(frozen=True)
class Source:
    """Where a number comes from, and how much weight it bears; `error` says that it stands behind an error alone."""

    key: str
    mark: Mark
    citation: str
    error: bool = False


# Statements that are not numbers and yet need someone to answer for them.
_STATED = {
    "inoculant", "winter_killed", "leafy", "organic_rules", "started", "tested", "curve_like", "dressings",
    "last_dressing", "says", "harm",
}  # fmt: skip


def table_rows(name: str) -> dict[str, Any]:
    """One of the tables as it is written."""
    return tomllib.loads((files("fieldmap.agronomy") / f"{name}.toml").read_text(encoding="utf-8"))


@functools.cache
def sources() -> dict[str, Source]:
    """Every source by its key."""
    found = {key: Source(key, **row) for key, row in table_rows("sources").items()}
    bad = [key for key, source in found.items() if source.mark not in _MARKS]
    if bad:
        raise ValueError(f"sources.toml: unknown mark at {bad}")
    return found


def _holds_numbers(value: object) -> bool:
    if isinstance(value, dict):
        return all(_holds_numbers(item) for item in value.values())
    if isinstance(value, list):
        return bool(value) and all(_holds_numbers(item) for item in value)
    return isinstance(value, int | float) and not isinstance(value, bool)


def check_sources(where: str, row: dict[str, Any], source_of: dict[str, str]) -> None:
    """Every number of a row has its source, and every source named is known and used."""
    due = {key for key, value in row.items() if key in _STATED or _holds_numbers(value)}
    if due - source_of.keys():
        raise ValueError(f"{where}: no source for {sorted(due - source_of.keys())}")
    if source_of.keys() - due:
        raise ValueError(
            f"{where}: a source for {sorted(source_of.keys() - due)}, which the row does not hold"
        )
    unknown = set(source_of.values()) - sources().keys()
    if unknown:
        raise ValueError(f"{where}: sources {sorted(unknown)} are not in sources.toml")


def of_value(keys: tuple[str, ...]) -> tuple[str, ...]:
    """The sources that act on a value; those of its error alone say nothing of what it rests on."""
    return tuple(key for key in keys if not sources()[key].error)


def weakest_mark(keys: tuple[str, ...]) -> Mark:
    """The weakest mark among the sources of a number's ingredients."""
    return max((sources()[key].mark for key in keys), key=_MARKS.index)
