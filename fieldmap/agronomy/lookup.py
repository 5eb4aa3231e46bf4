"""Entries by the names that growers use, and the nearest names where there is none."""

from __future__ import annotations

import difflib
from typing import TYPE_CHECKING

from fieldmap.agronomy.entries import Product
from fieldmap.agronomy.sources import sources, weakest_mark

if TYPE_CHECKING:
    from fieldmap.agronomy.entries import CoverCropEntry, CropEntry, Entry
    from fieldmap.agronomy.sources import Mark


def known_names(entry: CoverCropEntry | CropEntry | Product) -> tuple[str, ...]:
    """The name of an entry and its aliases."""
    return (entry.name, *entry.aliases)


def find(name: str, entries: tuple[Entry, ...]) -> Entry | None:
    """The entry of that name or alias, whatever the case; None where there is none."""
    wanted = name.strip().lower()
    return next((entry for entry in entries if wanted in known_names(entry)), None)


def nearest(name: str, entries: tuple[Entry, ...]) -> str:
    """What to say of a name that is not in a table: the nearest known one, and all of them."""
    known = {alias: entry.name for entry in entries for alias in known_names(entry)}
    close = difflib.get_close_matches(name.strip().lower(), known, n=1)
    listed = ", ".join(entry.name for entry in entries)
    return (
        f'the nearest known is "{known[close[0]]}" ' if close else "one of the table is expected "
    ) + f"({listed})"


def mark_of(entry: CoverCropEntry | CropEntry | Product, figure: str) -> Mark:
    """The mark of one figure of an entry, such as ``"bulk_density_kg_m3"``.

    What was written out in a plan has one source for all of its figures.
    """
    if isinstance(entry, Product) and not entry.source_of:
        return weakest_mark(entry.sources)
    return sources()[entry.source_of[figure]].mark
