"""The agronomic tables: cover crops, vegetables, products, and the source of every number.

Loaded once from the TOML files in this folder and checked as they load: an unknown source key, a missing
number or a duplicated name is an error of ours, raised at import time of the table.
"""

from __future__ import annotations

import difflib
import functools
import tomllib
from dataclasses import dataclass
from importlib.resources import files
from typing import Any, Literal, TypeVar

Mark = Literal["published", "common practice", "from memory", "your value"]
_MARKS: tuple[Mark, ...] = ("published", "your value", "common practice", "from memory")  # weakest last

LEGUME_STAGES = ("vegetative", "bud", "early bloom", "full bloom", "seed set")
GRASS_STAGES = ("tillering", "jointing", "boot", "anthesis", "ripe")
# A grass in a mixture whose stage is given for the legume only; from memory (grass_stage_with_legume).
GRASS_STAGE_WITH_LEGUME = dict(
    zip(LEGUME_STAGES, ("jointing", "boot", "anthesis", "anthesis", "ripe"), strict=True)
)
WEED_NITROGEN_PCT = 2.0  # weed_memory


@dataclass(frozen=True)
class Source:
    """Where a number comes from, and how much weight it bears."""

    key: str
    mark: Mark
    citation: str


@dataclass(frozen=True)
class CoverCropEntry:
    """A cover crop: shoot nitrogen (% of dry matter) by growth stage."""

    name: str
    aliases: tuple[str, ...]
    kind: Literal["legume", "grass"]
    nitrogen_pct: dict[str, float]
    source: str

    @property
    def stages(self) -> tuple[str, ...]:
        """The growth stages that serve this cover crop."""
        return LEGUME_STAGES if self.kind == "legume" else GRASS_STAGES


@dataclass(frozen=True)
class CropEntry:
    """A vegetable: the range of guide rates, lb N/ac, as its sources print them."""

    name: str
    aliases: tuple[str, ...]
    need_lb_ac: tuple[float, float]
    sources: tuple[str, ...]


@dataclass(frozen=True)
class Product:
    """A product to spread. `available` is the share of its nitrogen that serves this season."""

    name: str
    aliases: tuple[str, ...]
    nitrogen_pct: float
    p2o5_pct: float
    k2o_pct: float
    available: float
    bulk_density_kg_m3: float | None
    organic: bool
    cautions: tuple[str, ...]
    sources: tuple[str, ...]

    @property
    def nitrogen_fraction(self) -> float:
        """Kilograms of nitrogen that serve this season in a kilogram of product."""
        return self.nitrogen_pct / 100.0 * self.available


Entry = TypeVar("Entry", CoverCropEntry, CropEntry, Product)


def _rows(name: str) -> dict[str, Any]:
    return tomllib.loads((files("fieldmap.tables") / f"{name}.toml").read_text(encoding="utf-8"))


def _tuples(row: dict[str, Any]) -> dict[str, Any]:
    return {key: tuple(value) if isinstance(value, list) else value for key, value in row.items()}


@functools.cache
def sources() -> dict[str, Source]:
    """Every source by its key."""
    found = {key: Source(key, **row) for key, row in _rows("sources").items()}
    bad = [key for key, source in found.items() if source.mark not in _MARKS]
    if bad:
        raise ValueError(f"sources.toml: unknown mark at {bad}")
    return found


def _names(entry: CoverCropEntry | CropEntry | Product) -> tuple[str, ...]:
    return (entry.name, *entry.aliases)


def _checked(entries: tuple[Entry, ...]) -> tuple[Entry, ...]:
    names = [name for entry in entries for name in _names(entry)]
    if len(set(names)) != len(names):
        raise ValueError(f"a name stands twice in the tables: {sorted(names)}")
    for entry in entries:
        keys = (entry.source,) if isinstance(entry, CoverCropEntry) else entry.sources
        missing = set(keys) - sources().keys()
        if missing or not keys:
            raise ValueError(f"{entry.name}: sources {sorted(missing)} are not in sources.toml")
    return entries


@functools.cache
def cover_crops() -> tuple[CoverCropEntry, ...]:
    """All cover crops."""
    entries = _checked(tuple(CoverCropEntry(**_tuples(row)) for row in _rows("cover_crops")["cover_crop"]))
    for entry in entries:
        if tuple(entry.nitrogen_pct) != entry.stages:
            raise ValueError(f"{entry.name}: stages must be {entry.stages}")
    return entries


@functools.cache
def crops() -> tuple[CropEntry, ...]:
    """All vegetables."""
    return _checked(tuple(CropEntry(**_tuples(row)) for row in _rows("crops")["crop"]))


@functools.cache
def products() -> tuple[Product, ...]:
    """All products."""
    return _checked(tuple(Product(**_tuples(row)) for row in _rows("products")["product"]))


def find(name: str, entries: tuple[Entry, ...]) -> Entry | None:
    """The entry of that name or alias, whatever the case; None where there is none."""
    wanted = name.strip().lower()
    return next((entry for entry in entries if wanted in _names(entry)), None)


def nearest(name: str, entries: tuple[Entry, ...]) -> str:
    """What to say of a name that is not in a table: the nearest known one, and all of them."""
    known = {alias: entry.name for entry in entries for alias in _names(entry)}
    close = difflib.get_close_matches(name.strip().lower(), known, n=1)
    listed = ", ".join(entry.name for entry in entries)
    return (
        f'the nearest known is "{known[close[0]]}" ' if close else "one of the table is expected "
    ) + f"({listed})"


def weakest_mark(keys: tuple[str, ...]) -> Mark:
    """The weakest mark among the sources of a number's ingredients."""
    return max((sources()[key].mark for key in keys), key=_MARKS.index)
