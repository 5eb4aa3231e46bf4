"""Entries by the names that growers use, and the nearest names where there is none."""

from __future__ import annotations

import difflib
from typing import TYPE_CHECKING

from fieldmap.agronomy.entries import CoverCropEntry, CropEntry, Product
from fieldmap.agronomy.sources import sources, table_rows, weakest_mark

if TYPE_CHECKING:
    from fieldmap.agronomy.entries import Entry
    from fieldmap.agronomy.sources import Mark


_TABLES: dict[type, str] = {CoverCropEntry: "cover_crops", CropEntry: "crops", Product: "products"}


def known_names(entry: CoverCropEntry | CropEntry | Product) -> tuple[str, ...]:
    """The name of an entry and its aliases."""
    return (entry.name, *entry.aliases)


def find(name: str, entries: tuple[Entry, ...]) -> Entry | None:
    """The entry of that name or alias, whatever the case; None where there is none."""
    wanted = name.strip().lower()
    return next((entry for entry in entries if wanted in known_names(entry)), None)


def nearest(name: str, entries: tuple[Entry, ...]) -> str:
    """What to say of a name that is not in a table: those it fits, or the nearest."""
    wanted = name.strip().lower()
    table = _TABLES[type(entries[0])]
    told = next((row["says"] for row in table_rows(table).get("asked", ()) if wanted in row["names"]), "")
    if told:
        return str(told)
    fits = [entry.name for entry in entries if any(wanted in known.split() for known in known_names(entry))]
    if len(fits) > 1:
        return f"it fits several: {_either(fits)} is expected"
    known = {alias: entry.name for entry in entries for alias in known_names(entry)}
    close = fits or [known[each] for each in difflib.get_close_matches(wanted, known, n=3)]
    all_of = f"fieldmap tables {table} lists all {len(entries)}"
    if not close:
        return f"a name of the table is expected ({all_of})"
    return f"the nearest known is {_either(list(dict.fromkeys(close)))} ({all_of})"


def _either(names: list[str]) -> str:
    """``"a"``, ``"a" or "b"``, ``"a", "b" or "c"``."""
    *others, last = (f'"{name}"' for name in names)
    return f"{', '.join(others)} or {last}" if others else last


def mark_of(entry: CoverCropEntry | CropEntry | Product, figure: str) -> Mark:
    """The mark of one figure of an entry, such as ``"bulk_density_kg_m3"``.

    What was written out in a plan has one source for all of its figures.
    """
    if isinstance(entry, Product) and not entry.source_of:
        return weakest_mark(entry.sources)
    return sources()[entry.source_of[figure]].mark
