"""The agronomic tables: cover crops, vegetables, products, the season's figures, and the source of each number.

Loaded once from the TOML files in this folder and checked as they load: an unknown source key, a number
without a source or a name that stands twice is an error of ours, raised when the table is first used.
"""

from __future__ import annotations

import difflib
import functools
import tomllib
from dataclasses import dataclass, field, fields
from importlib.resources import files
from typing import Any, Literal, TypeVar

Mark = Literal["published", "common practice", "from memory", "your value"]
_MARKS: tuple[Mark, ...] = ("published", "your value", "common practice", "from memory")  # weakest last

LEGUME_STAGES = ("vegetative", "bud", "early bloom", "full bloom", "seed set")  # broadleaves share them
GRASS_STAGES = ("tillering", "jointing", "boot", "anthesis", "ripe")
# A grass in a mixture whose stage is given for the legume only; from memory (grass_stage_with_legume).
GRASS_STAGE_WITH_LEGUME = dict(
    zip(LEGUME_STAGES, ("jointing", "boot", "anthesis", "anthesis", "ripe"), strict=True)
)
WEED_NITROGEN_PCT = 2.0  # weed_memory

Range = tuple[float, float]


@dataclass(frozen=True)
class Source:
    """Where a number comes from, and how much weight it bears."""

    key: str
    mark: Mark
    citation: str


@dataclass(frozen=True)
class CoverCropEntry:
    """A cover crop: shoot nitrogen (% of dry matter) by growth stage, and what else a grower asks of it.

    `carbon_nitrogen` is the C:N of its shoots at the stages where a source gives one, `dry_matter_fraction` the
    usual range of dry over fresh weight, `inoculant` the rhizobium group of a legume, `source` the key of
    %N and `source_of` the key of every figure by its name.
    """

    name: str
    aliases: tuple[str, ...]
    kind: Literal["legume", "grass", "broadleaf"]
    winter_killed: Literal["no", "in cold winters", "by frost"]
    nitrogen_pct: dict[str, float]
    source_of: dict[str, str]
    carbon_nitrogen: dict[str, float] = field(default_factory=dict)
    dry_matter_fraction: Range | None = None
    inoculant: str | None = None

    @property
    def source(self) -> str:
        """The source of its shoot nitrogen."""
        return self.source_of["nitrogen_pct"]

    @property
    def stages(self) -> tuple[str, ...]:
        """The growth stages that serve this cover crop."""
        return GRASS_STAGES if self.kind == "grass" else LEGUME_STAGES


@dataclass(frozen=True)
class GuideRate:
    """A range of nitrogen rates, lb N/ac, that one source gives for one region."""

    low: float
    high: float
    region: str
    source: str


@dataclass(frozen=True)
class CropEntry:
    """A vegetable. Guide rates (fertiliser, average soil supply already in them) and crop uptake stay apart.

    `uptake_lb_ac` is what a whole crop holds, lb N/ac; `half_uptake_share` the share of the season, planting to
    harvest, at half of its uptake and `uptake_steepness` the logistic rate times the season's length;
    `sidedress_nitrate_mg_kg` the soil nitrate-N (top 30 cm) above which a side-dressing is left out;
    `sidedress_rates` the rate of N, lb/ac, up to each soil nitrate, after manure and without; `removal_*` what the
    harvest carries away. None where no source gives it.
    """

    name: str
    aliases: tuple[str, ...]
    guide_rates: tuple[GuideRate, ...]
    half_uptake_share: float
    uptake_steepness: float
    leafy: bool
    source_of: dict[str, str]
    uptake_lb_ac: Range | None = None
    sidedress_nitrate_mg_kg: float | None = None
    sidedress_rates: dict[str, list[Range]] | None = None
    removal_p2o5_lb_ac: float | None = None
    removal_k2o_lb_ac: float | None = None

    @property
    def need_lb_ac(self) -> Range:
        """The lowest and the highest guide rate of all regions, lb N/ac."""
        return min(rate.low for rate in self.guide_rates), max(rate.high for rate in self.guide_rates)

    @property
    def sources(self) -> tuple[str, ...]:
        """The sources of its guide rates."""
        return tuple(dict.fromkeys(rate.source for rate in self.guide_rates))

    def sidedress_rate_lb_ac(self, nitrate_mg_kg: float, *, manured: bool) -> float | None:
        """The rate that a pre-side-dress test calls for, by the crop's rate table; None where it has none.

        The table's classes are whole mg/kg of nitrate-N.
        """
        if self.sidedress_rates is None:
            return None
        rates = self.sidedress_rates["manured" if manured else "unmanured"]
        return next((rate for most, rate in rates if round(nitrate_mg_kg) <= most), 0.0)


@dataclass(frozen=True)
class Product:
    """A product to spread. `available` is the share of its nitrogen that serves this season.

    `organic` says that its nutrients come from plants or animals; `organic_rules` how the rules of organic
    farming take it; `raw_manure` that days must pass between spreading and harvest.
    """

    name: str
    aliases: tuple[str, ...]
    nitrogen_pct: float
    p2o5_pct: float
    k2o_pct: float
    available: float
    organic: bool
    cautions: tuple[str, ...]
    sources: tuple[str, ...]
    bulk_density_kg_m3: float | None = None
    organic_rules: Literal["allowed", "restricted", "prohibited", "ask the certifier"] = "ask the certifier"
    raw_manure: bool = False
    source_of: dict[str, str] = field(default_factory=dict)

    @property
    def nitrogen_fraction(self) -> float:
        """Kilograms of nitrogen that serve this season in a kilogram of product."""
        return self.nitrogen_pct / 100.0 * self.available


@dataclass(frozen=True)
class Growth:
    """How a stand grows: dry matter at each stage against the first, and the days from one stage to the next."""

    name: str
    dry_matter: dict[str, float]
    stage_days: float
    source_of: dict[str, str]


@dataclass(frozen=True)
class Figure:
    """One figure of the season's models, with its unit and source."""

    name: str
    value: float
    unit: str
    meaning: str
    source: str


Entry = TypeVar("Entry", CoverCropEntry, CropEntry, Product)
Model = Literal["soil", "release", "uptake"]

# Statements that are not numbers and yet need someone to answer for them.
_STATED = {"inoculant", "winter_killed", "leafy", "organic_rules"}


def _rows(name: str) -> dict[str, Any]:
    return tomllib.loads((files("fieldmap.tables") / f"{name}.toml").read_text(encoding="utf-8"))


@functools.cache
def sources() -> dict[str, Source]:
    """Every source by its key."""
    found = {key: Source(key, **row) for key, row in _rows("sources").items()}
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


def _check_sources(where: str, row: dict[str, Any], source_of: dict[str, str]) -> None:
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


def _read(kind: type[Entry], table: str) -> tuple[Entry, ...]:
    """Every row of a table as an entry, its numbers checked for a source."""
    known = {each.name for each in fields(kind)}
    entries = []
    for row in _rows(f"{table}s")[table]:
        where = f"{table}s.toml, {row.get('name', 'a row without a name')}"
        source_of = row.pop("sources", {})
        if row.keys() - known:
            raise ValueError(f"{where}: unknown {sorted(row.keys() - known)}")
        _check_sources(where, row, source_of)
        values: dict[str, Any] = {
            key: tuple(value) if isinstance(value, list) else value for key, value in row.items()
        }
        if kind is Product:
            values["sources"] = tuple(dict.fromkeys(source_of.values()))
        if kind is CropEntry:
            values["guide_rates"] = tuple(_guide_rate(where, rate) for rate in row.get("guide_rates", ()))
        try:
            entries.append(kind(**values, source_of=source_of))
        except TypeError as error:
            raise ValueError(f"{where}: {error}") from None
    names = [name for entry in entries for name in _names(entry)]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise ValueError(f"{table}s.toml: {', '.join(twice)} stands twice")
    return tuple(entries)


def _guide_rate(where: str, row: dict[str, Any]) -> GuideRate:
    rate = GuideRate(**row)
    _check_sources(where, {"low": rate.low, "high": rate.high}, dict.fromkeys(("low", "high"), rate.source))
    if not 0 < rate.low <= rate.high:
        raise ValueError(f"{where}: the guide rate {rate.low} to {rate.high} is not a range")
    return rate


def _names(entry: CoverCropEntry | CropEntry | Product) -> tuple[str, ...]:
    return (entry.name, *entry.aliases)


def _check_share(where: str, name: str, value: float) -> None:
    if not 0 < value <= 1:
        raise ValueError(f"{where}: {name} is {value}; a share above 0 and up to 1 is expected")


@functools.cache
def cover_crops() -> tuple[CoverCropEntry, ...]:
    """All cover crops."""
    entries = _read(CoverCropEntry, "cover_crop")
    for entry in entries:
        where = f"cover_crops.toml, {entry.name}"
        if tuple(entry.nitrogen_pct) != entry.stages:
            raise ValueError(f"{where}: stages must be {entry.stages}")
        if entry.carbon_nitrogen.keys() - set(entry.stages):
            raise ValueError(f"{where}: C:N is given at a stage that is not among {entry.stages}")
        if (entry.inoculant is not None) != (entry.kind == "legume"):
            raise ValueError(f"{where}: an inoculant group is expected for a legume, and for no other")
        for share in entry.dry_matter_fraction or ():
            _check_share(where, "dry_matter_fraction", share)
    return entries


@functools.cache
def crops() -> tuple[CropEntry, ...]:
    """All vegetables."""
    entries = _read(CropEntry, "crop")
    for entry in entries:
        where = f"crops.toml, {entry.name}"
        _check_share(where, "half_uptake_share", entry.half_uptake_share)
        if not entry.guide_rates:
            raise ValueError(f"{where}: no guide rate")
    return entries


@functools.cache
def products() -> tuple[Product, ...]:
    """All products."""
    entries = _read(Product, "product")
    for entry in entries:
        _check_share(f"products.toml, {entry.name}", "available", entry.available)
    return entries


@functools.cache
def growth() -> tuple[Growth, ...]:
    """How stands grow: single species, then each kind."""
    found = []
    for row in _rows("growth")["growth"]:
        where, source_of = f"growth.toml, {row['name']}", row.pop("sources", {})
        _check_sources(where, row, source_of)
        one = Growth(**row, source_of=source_of)
        if tuple(one.dry_matter) not in (LEGUME_STAGES, GRASS_STAGES):
            raise ValueError(f"{where}: the stages of legumes or of grasses, in order, are expected")
        found.append(one)
    return tuple(found)


def growth_of(entry: CoverCropEntry) -> Growth:
    """How a cover crop grows: its own row, else that of its kind."""
    named = {one.name: one for one in growth()}
    return named.get(entry.name) or named[entry.kind]


@functools.cache
def season() -> dict[Model, tuple[Figure, ...]]:
    """The figures of the season's models: soil, release, uptake."""
    found: dict[Model, tuple[Figure, ...]] = {}
    for model, rows in _rows("season").items():
        figures = tuple(Figure(name, **row) for name, row in rows.items())
        for figure in figures:
            _check_sources(
                f"season.toml, {model}.{figure.name}", {"value": figure.value}, {"value": figure.source}
            )
        found[model] = figures  # type: ignore[index]
    return found


def season_values(model: Model) -> dict[str, float]:
    """The figures of one model by name, for the dataclass that holds them."""
    return {figure.name: figure.value for figure in season()[model]}


def season_sources(model: Model) -> tuple[str, ...]:
    """The keys of the sources of one model's figures."""
    return tuple(dict.fromkeys(figure.source for figure in season()[model]))


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


def mark_of(entry: CoverCropEntry | CropEntry | Product, figure: str) -> Mark:
    """The mark of one figure of an entry, such as ``"bulk_density_kg_m3"``.

    What was written out in a plan has one source for all of its figures.
    """
    if isinstance(entry, Product) and not entry.source_of:
        return weakest_mark(entry.sources)
    return sources()[entry.source_of[figure]].mark
