"""The agronomic tables: cover crops, vegetables, products, the season's figures, and the source of each number.

Loaded once from the TOML files in this folder and checked as they load: an unknown source key, a number
without a source or a name that stands twice is an error of ours, raised when the table is first used.
"""

from __future__ import annotations

import functools
from dataclasses import fields
from typing import TYPE_CHECKING

from fieldmap.agronomy.entries import (
    STAGES,
    CoverCropEntry,
    CropEntry,
    Figure,
    Growth,
    GuideRate,
    OrganicRelease,
    Product,
)
from fieldmap.agronomy.lookup import known_names
from fieldmap.agronomy.sources import check_sources, table_rows

if TYPE_CHECKING:
    from typing import Any

    from fieldmap.agronomy.entries import Entry, Model


def _read(kind: type[Entry], table: str) -> tuple[Entry, ...]:
    """Every row of a table as an entry, its numbers checked for a source."""
    known = {each.name for each in fields(kind)}
    if kind is Product:
        known = (known | _RELEASE) - {"available", "available_error", "release"}
    entries = []
    for row in table_rows(f"{table}s")[table]:
        where = f"{table}s.toml, {row.get('name', 'a row without a name')}"
        source_of = row.pop("sources", {})
        if row.keys() - known:
            raise ValueError(f"{where}: unknown {sorted(row.keys() - known)}")
        check_sources(where, row, source_of)
        values: dict[str, Any] = {
            key: tuple(value) if isinstance(value, list) else value for key, value in row.items()
        }
        try:
            if kind is Product:
                values |= _acting(where, values)
                values["sources"] = tuple(dict.fromkeys(source_of.values()))
            if kind is CropEntry:
                values["guide_rates"] = tuple(_guide_rate(where, rate) for rate in row.get("guide_rates", ()))
            entries.append(kind(**values, source_of=source_of))
        except TypeError as error:
            raise ValueError(f"{where}: {error}") from None
    names = [name for entry in entries for name in known_names(entry)]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise ValueError(f"{table}s.toml: {', '.join(twice)} stands twice")
    return tuple(entries)


_RELEASE = {each.name for each in fields(OrganicRelease)}


def _acting(where: str, values: dict[str, Any]) -> dict[str, Any]:
    """Takes the figures of release out of a row: an organic product has them, a mineral one is all available."""
    told = {key: values.pop(key) for key in _RELEASE & values.keys()}
    if not values.get("organic"):
        if told:
            raise ValueError(f"{where}: {sorted(told)} in a product that is not organic")
        return {"available": 1.0}
    release = OrganicRelease(**told)
    shares = (release.nh4_share, release.rapid, release.slow, release.rapid + release.slow)
    if not all(0 <= share <= 1 for share in (*shares, release.rapid_on_surface)):
        raise ValueError(f"{where}: shares of nitrogen from 0 to 1 are expected, rapid and slow together too")
    return {"release": release}


def _guide_rate(where: str, row: dict[str, Any]) -> GuideRate:
    rate = GuideRate(**row)
    check_sources(where, {"low": rate.low, "high": rate.high}, dict.fromkeys(("low", "high"), rate.source))
    if not 0 < rate.low <= rate.high:
        raise ValueError(f"{where}: the guide rate {rate.low} to {rate.high} is not a range")
    return rate


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
    return _read(Product, "product")


@functools.cache
def growth() -> tuple[Growth, ...]:
    """How stands grow: single species, then each kind."""
    found = []
    for row in table_rows("growth")["growth"]:
        where, source_of = f"growth.toml, {row['name']}", row.pop("sources", {})
        check_sources(where, row, source_of)
        one = Growth(**row, source_of=source_of)
        if tuple(one.dry_matter) not in STAGES.values():
            raise ValueError(f"{where}: the stages of legumes or of grasses, in order, are expected")
        found.append(one)
    return tuple(found)


def growth_of(entry: CoverCropEntry) -> Growth:
    """How a cover crop grows: its own row, else that of its kind."""
    named = {one.name: one for one in growth()}
    return named.get(entry.name) or named[entry.kind]


@functools.cache
def season() -> dict[Model, tuple[Figure, ...]]:
    """The figures of the season's models: soil, release, organic products, uptake."""
    found: dict[Model, tuple[Figure, ...]] = {}
    for model, rows in table_rows("season").items():
        figures = tuple(Figure(name, **row) for name, row in rows.items())
        for figure in figures:
            check_sources(
                f"season.toml, {model}.{figure.name}", {"value": figure.value}, {"value": figure.source}
            )
        found[model] = figures  # type: ignore[index]
    return found


def season_values(model: Model) -> dict[str, float]:
    """The figures of one model by name, for the dataclass that holds them."""
    return {figure.name: figure.value for figure in season()[model]}
