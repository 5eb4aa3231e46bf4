"""What residue does to the crop after it, and what a stand does to stock that is fed with it."""

from __future__ import annotations

import functools
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from fieldmap.agronomy.sources import check_sources, sources, table_rows

if TYPE_CHECKING:
    from collections.abc import Sequence
    from typing import Any

    from fieldmap.agronomy.sources import Mark


@dataclass(frozen=True)
class Hazard:
    """Something to know where a crop follows residue within so many days; empty `crops` or `covers` mean all."""

    name: str
    placement: Literal["incorporated", "surface"]
    within_d: float
    says: str
    source_of: dict[str, str]
    crops: tuple[str, ...] = ()
    covers: tuple[str, ...] = ()
    starts: Literal["seeded", "transplanted"] | None = None

    @property
    def mark(self) -> Mark:
        """Of what it says."""
        return sources()[self.source_of["says"]].mark


@functools.cache
def hazards() -> tuple[Hazard, ...]:
    """All of them, in the order of their table."""
    found = []
    for row in table_rows("hazards")["hazard"]:
        where, source_of = f"hazards.toml, {row['name']}", row.pop("sources", {})
        check_sources(where, row, source_of)
        values: dict[str, Any] = {
            key: tuple(value) if isinstance(value, list) else value for key, value in row.items()
        }
        found.append(Hazard(**values, source_of=source_of))
    return tuple(found)


@functools.cache
def fodder_harms() -> dict[str, tuple[str, str]]:
    """What a cover crop does to stock that is fed with it, with the key of its source, by cover crop."""
    found = {}
    for row in table_rows("hazards")["fodder"]:
        source_of = row.pop("sources", {})
        check_sources(f"hazards.toml, {row['cover']}", row, source_of)
        found[row["cover"]] = (row["harm"], source_of["harm"])
    return found


def hazards_of(
    crop: str, covers: Sequence[str], *, placement: str, started: str, days: int
) -> tuple[Hazard, ...]:
    """What to know where a crop is planted so many days after the cover crop ended.

    Parameters
    ----------
    crop, covers
        The vegetable, and the species that stood before it.
    placement, started
        Where the residue lies; whether the crop is seeded or transplanted.
    days
        From the end of the cover crop to planting; below 0 nothing is said.
    """
    return tuple(
        one
        for one in hazards()
        if one.placement == placement
        and 0 <= days < one.within_d
        and (not one.crops or crop in one.crops)
        and (not one.covers or set(one.covers) & set(covers))
        and one.starts in (None, started)
    )
