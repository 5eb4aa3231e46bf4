"""The tables for a spreadsheet: zones, loads, drip and season."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd
import shapely

from fieldmap.export.rows import MASS_DECIMALS, RATE_DECIMALS, part_rows, table_row
from fieldmap.field import to_lonlat
from fieldmap.units import KG_HA_PER_LB_AC, KG_PER_LB

if TYPE_CHECKING:
    from pathlib import Path

    from fieldmap.pipeline import Result
    from fieldmap.spreader import Load
    from fieldmap.verdict import ApplicationMap


# Text that a spreadsheet would run as a formula is written with an apostrophe before it.
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n")


def write_zones_csv(result: Result, one: ApplicationMap, path: Path) -> None:
    """zones.csv: one row a polygon, the same rows as zones.geojson; UTF-8, RFC 4180."""
    frame = pd.DataFrame(part_rows(one, result.plan.units))
    for column in frame.columns:
        if not pd.api.types.is_numeric_dtype(frame[column]):
            frame[column] = [defused(value) if isinstance(value, str) else value for value in frame[column]]
    frame.to_csv(path, index=False, lineterminator="\r\n", encoding="utf-8")


def write_loads_csv(result: Result, one: ApplicationMap, path: Path) -> None:
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
        for load in one.spread.loads
    ]
    columns = ["load", "pass_from", "pass_to", "easting", "northing", "product_kg", "longitude", "latitude"]
    if result.plan.units == "us":
        columns.append("product_lb")
        for row, load in zip(rows, one.spread.loads, strict=True):
            row["product_lb"] = round(load.product_kg / KG_PER_LB, MASS_DECIMALS)
    pd.DataFrame(rows, columns=columns).to_csv(path, index=False, lineterminator="\r\n", encoding="utf-8")


def write_drip_csv(result: Result, one: ApplicationMap, path: Path) -> None:
    """drip.csv: nitrogen and product of each block and zone, and the block's means for valves that serve it whole."""
    units = result.plan.units
    rows = []
    for zone in one.spread.zone_map.rows:
        entry = table_row(zone, zone.area_ha, zone.product_kg, units)
        own = [other for other in one.spread.zone_map.rows if other.block == zone.block]
        area_ha = sum(other.area_ha for other in own)
        row = {name: entry[name] for name in ("block", "zone", "strip", "crop", "area_ha", "rate_n_kg_ha")}
        row["n_kg"] = round(entry["rate_n_kg_ha"] * entry["area_ha"], MASS_DECIMALS)
        row |= {name: entry[name] for name in ("product", "product_kg_ha", "product_kg")}
        for name in ("rate_n_kg_ha", "product_kg_ha"):
            mean = sum(getattr(other, name) * other.area_ha for other in own) / area_ha
            row[f"block_{name}"] = round(mean, RATE_DECIMALS)
        if units == "us":
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


def write_season_csv(result: Result, _one: ApplicationMap, path: Path) -> None:
    """season.csv: released, taken up, short and spare nitrogen by week from planting; no rows without weather."""
    flows = ("released", "uptake", "short", "spare")
    columns = ["week", "date", *(f"{name}_kg_ha" for name in flows), "block"]
    per_unit = {"kg_ha": 1.0}
    if result.plan.units == "us":
        columns += [f"{name}_lb_ac" for name in flows]
        per_unit["lb_ac"] = KG_HA_PER_LB_AC
    rows = [
        {
            "week": int(weeks.week[k]),
            "date": str(weeks.date[k]),
            **{
                f"{name}_{unit}": round(float(getattr(weeks, f"{name}_kg_ha")[k]) / kg_ha, RATE_DECIMALS)
                + 0.0
                for name in flows
                for unit, kg_ha in per_unit.items()
            },
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
