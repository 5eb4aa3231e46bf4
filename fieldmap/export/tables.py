"""The checked table that every file is written from, and the CSV files."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import pandas as pd
import shapely

from fieldmap.field import to_lonlat
from fieldmap.units import HA_PER_ACRE, KG_HA_PER_LB_AC, KG_PER_LB

if TYPE_CHECKING:
    from pathlib import Path

    from fieldmap.passes import Load
    from fieldmap.pipeline import Result
    from fieldmap.rates import Zone

RATE_DECIMALS = 2  # 0.01 kg/ha, what the machines' data dictionary resolves
AREA_DECIMALS = 4
MASS_DECIMALS = 2
# Text that a spreadsheet would run as a formula is written with an apostrophe before it.
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n")


def zone_entries(result: Result) -> list[dict[str, Any]]:
    """One row a zone and block, rounded as every file shows it."""
    return [_row(zone, zone.area_ha, zone.product_kg, result) for zone in result.spread.zone_map.zones]


def strip_entries(result: Result) -> list[dict[str, Any]]:
    """One row a check strip, as a zone's, with what its middle gets and the yield at stake."""
    rows = []
    for one in result.spread.strips:
        row = _row(one.row, one.row.area_ha, one.row.product_kg, result)
        row["level"] = one.level
        row["middle_received_kg_ha"] = round(one.middle_received_kg_ha, RATE_DECIMALS)
        row["middle_at_rate_percent"] = round(100 * one.middle_at_rate, 1)
        if one.yield_at_stake_kg is not None:
            row["yield_at_stake_kg"] = round(one.yield_at_stake_kg, MASS_DECIMALS)
        rows.append(row)
    return rows


def part_rows(result: Result) -> list[dict[str, Any]]:
    """One row a polygon, with its own ``id``, area and product; the order of the polygons in every file."""
    parts = [(zone, part) for zone in result.spread.zone_map.rows for part in zone.parts]
    return [
        {"id": number, **_row(zone, part.area_ha, part.product_kg, result)}
        for number, (zone, part) in enumerate(parts, start=1)
    ]


def _row(zone: Zone, area_ha: float, product_kg: float, result: Result) -> dict[str, Any]:
    rates = {
        "need_kg_ha": zone.need_kg_ha,
        "credit_kg_ha": zone.credit_kg_ha,
        "credit_low_kg_ha": zone.credit_low_kg_ha,
        "credit_high_kg_ha": zone.credit_high_kg_ha,
        "credit_low_sampling_kg_ha": zone.credit_low_sampling_kg_ha,
        "credit_high_sampling_kg_ha": zone.credit_high_sampling_kg_ha,
        "credit_used_kg_ha": zone.credit_used_kg_ha,
        "other_credits_kg_ha": zone.other_credits_kg_ha,
        "rate_n_kg_ha": zone.rate_n_kg_ha,
        "product_kg_ha": zone.product_kg_ha,
    }
    row: dict[str, Any] = {"zone": zone.zone, "block": zone.block, "crop": zone.crop}
    row["area_ha"] = round(area_ha, AREA_DECIMALS)
    for name, kg_ha in rates.items():
        if name == "product_kg_ha":
            row["product"] = zone.product
        row[name] = round(kg_ha, RATE_DECIMALS) + 0.0  # no minus before zero
    row["product_kg"] = round(product_kg, MASS_DECIMALS)
    row["strip"] = zone.strip
    if result.plan.units == "us":
        row["product_lb"] = round(product_kg / KG_PER_LB, MASS_DECIMALS)
        row["area_ac"] = round(area_ha / HA_PER_ACRE, AREA_DECIMALS)
        for name, kg_ha in rates.items():
            row[name.replace("_kg_ha", "_lb_ac")] = round(kg_ha / KG_HA_PER_LB_AC, RATE_DECIMALS) + 0.0
    _refuse_not_a_number(row)
    return row


def sample_rows(result: Result) -> list[dict[str, Any]]:
    """One row a sample, as every file shows it."""
    samples, field = result.stand.samples, result.field
    degrees = shapely.get_coordinates(to_lonlat(shapely.MultiPoint(samples.coords_m), field.crs))
    return [
        {
            "sample": samples.label[k],
            "block": field.blocks[samples.block[k]].name,
            "longitude": round((longitude + 180.0) % 360.0 - 180.0, 7),
            "latitude": round(latitude, 7),
            "dry_kg_ha": round(float(samples.dry_kg_ha[k]), 1),
            "nitrogen_pct": round(float(result.stand.nitrogen.nitrogen_pct[k]), 3),
        }
        for k, (longitude, latitude) in enumerate(degrees.tolist())
    ]


def _refuse_not_a_number(row: dict[str, Any]) -> None:
    """NaN or infinity in a rate must never reach a machine."""
    bad = [name for name, value in row.items() if isinstance(value, float) and not math.isfinite(value)]
    if bad:
        raise RuntimeError(f"zone {row['zone']} of block {row['block']}: {', '.join(bad)} is not a number")


def write_zones_csv(result: Result, path: Path) -> None:
    """zones.csv: one row a polygon, the same rows as zones.geojson; UTF-8, RFC 4180."""
    frame = pd.DataFrame(part_rows(result))
    for column in frame.columns:
        if not pd.api.types.is_numeric_dtype(frame[column]):
            frame[column] = [defused(value) if isinstance(value, str) else value for value in frame[column]]
    frame.to_csv(path, index=False, lineterminator="\r\n", encoding="utf-8")


def write_loads_csv(result: Result, path: Path) -> None:
    """loads.csv: which passes each hopper load serves, and where (field's CRS, metres) it runs out."""
    rows = [
        {
            "load": load.number,
            "pass_from": load.pass_from,
            "pass_to": load.pass_to,
            "easting": round(load.easting_m, 1),
            "northing": round(load.northing_m, 1),
            **_degrees(load, result),
            "product_kg": round(load.product_kg, MASS_DECIMALS),
        }
        for load in result.spread.loads
    ]
    columns = ["load", "pass_from", "pass_to", "easting", "northing", "product_kg", "longitude", "latitude"]
    pd.DataFrame(rows, columns=columns).to_csv(path, index=False, lineterminator="\r\n", encoding="utf-8")


def write_drip_csv(result: Result, path: Path) -> None:
    """drip.csv: nitrogen and product of each block and zone, and the block's means for valves that serve it whole."""
    us = result.plan.units == "us"
    rows = []
    for zone in result.spread.zone_map.rows:
        entry = _row(zone, zone.area_ha, zone.product_kg, result)
        own = [other for other in result.spread.zone_map.rows if other.block == zone.block]
        area_ha = sum(other.area_ha for other in own)
        row = {name: entry[name] for name in ("block", "zone", "strip", "crop", "area_ha", "rate_n_kg_ha")}
        row["n_kg"] = round(entry["rate_n_kg_ha"] * entry["area_ha"], MASS_DECIMALS)
        row |= {name: entry[name] for name in ("product", "product_kg_ha", "product_kg")}
        for name in ("rate_n_kg_ha", "product_kg_ha"):
            mean = sum(getattr(other, name) * other.area_ha for other in own) / area_ha
            row[f"block_{name}"] = round(mean, RATE_DECIMALS)
        if us:
            row |= {name: entry[name] for name in ("area_ac", "rate_n_lb_ac", "product_lb_ac", "product_lb")}
            row["n_lb"] = round(row["n_kg"] / KG_PER_LB, MASS_DECIMALS)
            for name in ("rate_n", "product"):
                row[f"block_{name}_lb_ac"] = round(
                    row[f"block_{name}_kg_ha"] / KG_HA_PER_LB_AC, RATE_DECIMALS
                )
        rows.append(
            {name: defused(value) if isinstance(value, str) else value for name, value in row.items()}
        )
    pd.DataFrame(rows).to_csv(path, index=False, lineterminator="\r\n", encoding="utf-8")


def _degrees(load: Load, result: Result) -> dict[str, float]:
    """Where a load runs out, WGS 84."""
    point = to_lonlat(shapely.Point(load.easting_m, load.northing_m), result.field.crs)
    (longitude, latitude), *_ = shapely.get_coordinates(point)
    return {
        "longitude": round((float(longitude) + 180.0) % 360.0 - 180.0, 7),
        "latitude": round(float(latitude), 7),
    }


def write_season_csv(result: Result, path: Path) -> None:
    """season.csv: released, taken up, short and spare nitrogen by week from planting; no rows without weather."""
    columns = ["week", "date", "released_kg_ha", "uptake_kg_ha", "short_kg_ha", "spare_kg_ha", "block"]
    rows = [
        {
            "week": int(weeks.week[k]),
            "date": str(weeks.date[k]),
            **{name: round(float(getattr(weeks, name)[k]), RATE_DECIMALS) + 0.0 for name in columns[2:6]},
            "block": defused(season.block),
        }
        for season in result.budget.seasons
        for weeks in [season.weeks]
        for k in range(len(weeks.week))
    ]
    pd.DataFrame(rows, columns=columns).to_csv(path, index=False, lineterminator="\r\n", encoding="utf-8")


def defused(text: str) -> str:
    """Text that no spreadsheet runs as a formula."""
    return f"'{text}" if text.startswith(_FORMULA_STARTS) else text
