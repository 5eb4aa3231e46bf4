"""The ground that nitrate moves in: textures, drainage classes, and the roots and water use of crops."""

from __future__ import annotations

import functools
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fieldmap.agronomy.sources import check_sources, table_rows

if TYPE_CHECKING:
    from typing import Any


@dataclass(frozen=True)
class Texture:
    """What a soil holds: water at field capacity and at the wilting point, m³/m³.

    `bypass_sd` is the standard error of the share that drains, for cracks and worm holes.
    """

    name: str
    field_capacity: float
    wilting_point: float
    bypass_sd: float
    source_of: dict[str, str]


@dataclass(frozen=True)
class Drainage:
    """A drainage class, and the share of a season's nitrate that is lost as gas there, least and most."""

    name: str
    denitrified: tuple[float, float]
    source_of: dict[str, str]


@dataclass(frozen=True)
class Roots:
    """How deep crops root in their rapid growth, m, and what water they use.

    `kc` is water use over reference evapotranspiration: young, in full growth, at the end.
    """

    name: str
    crops: tuple[str, ...]
    depth_m: float
    kc: tuple[float, float, float]
    source_of: dict[str, str]


@dataclass(frozen=True)
class Ground:
    """The three tables, each by name."""

    textures: dict[str, Texture]
    drainage: dict[str, Drainage]
    roots: dict[str, Roots]

    def roots_of(self, crop: str) -> Roots:
        """The row that a crop stands in; "other" where it is in none."""
        return next((row for row in self.roots.values() if crop in row.crops), self.roots["other"])


@functools.cache
def ground() -> Ground:
    """All of ground.toml, every number checked for a source."""
    tables = table_rows("ground")
    found = Ground(
        {row["name"]: Texture(**row) for row in _rows(tables, "texture")},
        {row["name"]: Drainage(**row) for row in _rows(tables, "drainage")},
        {row["name"]: Roots(**row) for row in _rows(tables, "roots")},
    )
    for texture in found.textures.values():
        if not 0 < texture.wilting_point < texture.field_capacity < 1:
            raise ValueError(f"ground.toml, {texture.name}: a wilting point below field capacity is expected")
    named = [crop for row in found.roots.values() for crop in row.crops]
    if len(named) != len(set(named)):
        raise ValueError("ground.toml: a crop stands in two rows of roots")
    return found


def _rows(tables: dict[str, Any], table: str) -> list[dict[str, Any]]:
    rows = []
    for row in tables[table]:
        source_of = row.pop("sources", {})
        check_sources(f"ground.toml, {row['name']}", row, source_of)
        rows.append({key: tuple(value) if isinstance(value, list) else value for key, value in row.items()})
        rows[-1]["source_of"] = source_of
    return rows
