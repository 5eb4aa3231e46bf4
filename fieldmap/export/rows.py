"""The checked table that every file is written from, and the CSV files."""

from __future__ import annotations

import math
from dataclasses import asdict
from typing import TYPE_CHECKING

import shapely

from fieldmap.field import to_lonlat
from fieldmap.units import HA_PER_ACRE, KG_HA_PER_LB_AC, KG_PER_LB

if TYPE_CHECKING:
    from typing import Any

    from fieldmap.pipeline import Result
    from fieldmap.units import UnitSystem
    from fieldmap.verdict import ApplicationMap
    from fieldmap.zones import Zone


RATE_DECIMALS = 2  # 0.01 kg/ha, what the machines' data dictionary resolves
AREA_DECIMALS = 4
MASS_DECIMALS = 2


def zone_entries(one: ApplicationMap, units: UnitSystem) -> list[dict[str, Any]]:
    """One row a zone and block, rounded as every file shows it."""
    return [table_row(zone, zone.area_ha, zone.product_kg, units) for zone in one.spread.zone_map.zones]


def strip_entries(one: ApplicationMap, units: UnitSystem) -> list[dict[str, Any]]:
    """One row a check strip, as a zone's, with what its middle gets and the yield at stake."""
    rows = []
    for strip in one.spread.strips:
        row = table_row(strip.row, strip.row.area_ha, strip.row.product_kg, units)
        row["level"] = strip.level
        row["middle_received_kg_ha"] = round(strip.middle_received_kg_ha, RATE_DECIMALS)
        row["middle_at_rate_percent"] = round(100 * strip.middle_at_rate, 1)
        if strip.yield_at_stake_kg is not None:
            row["yield_at_stake_kg"] = round(strip.yield_at_stake_kg, MASS_DECIMALS)
        rows.append(row)
    return rows


def part_rows(one: ApplicationMap, units: UnitSystem) -> list[dict[str, Any]]:
    """One row a polygon, with its own ``id``, area and product; the order of the polygons in every file."""
    parts = [(zone, part) for zone in one.spread.zone_map.rows for part in zone.parts]
    return [
        {"id": number, **table_row(zone, part.area_ha, part.product_kg, units)}
        for number, (zone, part) in enumerate(parts, start=1)
    ]


def table_row(zone: Zone, area_ha: float, product_kg: float, units: UnitSystem) -> dict[str, Any]:
    """One zone or part as a row of the tables."""
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
    } | (asdict(zone.brought) if zone.brought else {})
    row: dict[str, Any] = {"zone": zone.zone, "block": zone.block, "crop": zone.crop}
    row["area_ha"] = round(area_ha, AREA_DECIMALS)
    for name, kg_ha in rates.items():
        if name == "product_kg_ha":
            row["product"] = zone.product
        row[name] = round(kg_ha, RATE_DECIMALS) + 0.0  # no minus before zero
    row["product_kg"] = round(product_kg, MASS_DECIMALS)
    row["strip"] = zone.strip
    if units == "us":
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
