"""The agronomic tables: cover crops, vegetables, products, the season's figures, the limits, and the source of each.

Loaded once from the TOML files in this folder and checked as they load: an unknown source key, a number
without a source or a name that stands twice is an error of ours, raised when the table is first used.
"""

from __future__ import annotations

import functools
from dataclasses import fields
from typing import TYPE_CHECKING, Literal

from fieldmap.agronomy.entries import (
    STAGES,
    CoverCropEntry,
    CropEntry,
    Curve,
    Dilution,
    Dressing,
    Figure,
    Growth,
    GuideRate,
    OrganicRelease,
    Product,
    Uptake,
)
from fieldmap.agronomy.lookup import known_names
from fieldmap.agronomy.sources import check_sources, table_rows

if TYPE_CHECKING:
    from typing import Any

    from fieldmap.agronomy.entries import Entry

_STARTS = ("seeded", "transplanted")


def _read(kind: type[Entry], table: str) -> tuple[Entry, ...]:
    """Every row of a table as an entry, its numbers checked for a source."""
    known = {each.name for each in fields(kind)}
    if kind is Product:
        known = (known | _RELEASE) - {"available", "available_error", "release"}
    entries = []
    rows = table_rows(f"{table}s")[table]
    for row in rows:
        where = f"{table}s.toml, {row.get('name', 'a row without a name')}"
        source_of = dict(row.pop("sources", {}))
        if row.keys() - known - {"curve_like"}:
            raise ValueError(f"{where}: unknown {sorted(row.keys() - known - {'curve_like'})}")
        check_sources(where, row, source_of)
        values: dict[str, Any] = {
            key: tuple(value) if isinstance(value, list) else value for key, value in row.items()
        }
        try:
            if kind is Product:
                values |= _acting(where, values)
                values["sources"] = tuple(dict.fromkeys(source_of.values()))
            if kind is CropEntry:
                values = _crop_values(where, values, source_of, rows)
            entries.append(kind(**values, source_of=source_of))
        except TypeError as error:
            raise ValueError(f"{where}: {error}") from None
    names = [name for entry in entries for name in known_names(entry)]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise ValueError(f"{table}s.toml: {', '.join(twice)} stands twice")
    return tuple(entries)


def _crop_values(
    where: str, row: dict[str, Any], source_of: dict[str, str], rows: list[dict[str, Any]]
) -> dict[str, Any]:
    """A vegetable's row with its guide rates, uptakes and curves as what they are; adds the sources of its curve."""
    values = {key: value for key, value in row.items() if key != "curve_like"}
    values["guide_rates"] = tuple(_guide_rate(where, rate) for rate in row.get("guide_rates", ()))
    values["uptake"] = tuple(_uptake(where, one) for one in row.get("uptake", ()))
    if "dilution" in row:
        values["dilution"] = Dilution(**row["dilution"])
    if "curve_like" in row:
        like: dict[str, Any] = next((one for one in rows if one["name"] == row["curve_like"]), {})
        curves = {start: like[start][:2] for start in _STARTS if start in like}
        values["started"] = like.get("started", next(iter(curves), ""))
        source_of.update(dict.fromkeys(curves, source_of["curve_like"]))
    else:
        curves = {start: row[start] for start in _STARTS if start in row}
        values["started"] = row.get("started", next(iter(curves), ""))
    if values["started"] not in curves:
        raise ValueError(f"{where}: an uptake curve, seeded or transplanted, is expected")
    values |= {start: Curve(*curve) for start, curve in curves.items()}
    usual = values[values["started"]]
    values["half_uptake_share"], values["uptake_steepness"] = usual.half_uptake_share, usual.steepness
    for name in ("half_uptake_share", "uptake_steepness"):
        source_of[name] = source_of[values["started"]]
    values["dressing"] = next((one for one in dressings() if row["name"] in one.crops), None)
    return values


def _uptake(where: str, row: dict[str, Any]) -> Uptake:
    uptake = Uptake(**row)
    check_sources(where, {"n_kg_ha": uptake.n_kg_ha}, {"n_kg_ha": uptake.source})
    return uptake


@functools.cache
def dressings() -> tuple[Dressing, ...]:
    """When nitrogen goes out, by groups of vegetables."""
    found = []
    for row in table_rows("dressings")["dressing"]:
        where, source_of = f"dressings.toml, {row['name']}", row.pop("sources", {})
        check_sources(
            where, {key: value for key, value in row.items() if key not in ("name", "crops")}, source_of
        )
        values: dict[str, Any] = {
            key: tuple(value) if isinstance(value, list) else value for key, value in row.items()
        }
        found.append(Dressing(**values, source_of=source_of))
    return tuple(found)


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
        strangers = {name for one in dressings() for name in one.crops} - {one.name for one in entries}
        if strangers:
            raise ValueError(f"dressings.toml: {sorted(strangers)} are not in crops.toml")
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
def figures(table: Literal["season", "limits"]) -> dict[str, tuple[Figure, ...]]:
    """The figures of the season's models, or of what is refused, warned of and taken where nothing is told."""
    found = {}
    for group, rows in table_rows(table).items():
        found[group] = tuple(Figure(name, **row) for name, row in rows.items())
        for figure in found[group]:
            check_sources(
                f"{table}.toml, {group}.{figure.name}", {"value": figure.value}, {"value": figure.source}
            )
    return found


def values_of(group: str) -> dict[str, float]:
    """The figures of one model or matter by name."""
    found = {**figures("season"), **figures("limits")}[group]
    return {figure.name: figure.value for figure in found}
