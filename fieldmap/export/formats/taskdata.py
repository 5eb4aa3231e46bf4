"""taskdata_grid.zip and taskdata_zones.zip: ISO 11783-10 task data for the machine's terminal.

Rates are of product (DDI 6, mg/m²: 1 kg/ha is 100), never of nitrogen. Grid rows run from south to north.
The default, position-lost and out-of-field zones all carry the plan's `outside_rate`, zero unless set.
Written with the standard library; whether a given terminal takes them is untested.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING
from xml.etree import ElementTree as ET

import numpy as np
import pyproj
import shapely
from shapely.geometry import Polygon

from fieldmap.export.formats.geojson import cut_at_180
from fieldmap.export.reproducible import versions, write_zip
from fieldmap.export.rows import RATE_DECIMALS, part_rows
from fieldmap.field import WGS84, to_lonlat
from fieldmap.units import KG_HA_PER_LB_AC, rate_unit

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from fieldmap.field import Field
    from fieldmap.pipeline import Result
    from fieldmap.verdict import ApplicationMap


DDI_MASS_PER_AREA = "0006"  # setpoint mass per area application rate, mg/m²
MG_M2_PER_KG_HA = 100
OUTSIDE, NO_SPREAD = 0, 254  # codes of treatment zones; the zones of the map stand between
CODES_MAX = 254
NAME_LENGTH = 32
TREATMENT, BOUNDARY, OUTER, INNER, POINT = "2", "1", "1", "2", "2"


def write_grid(result: Result, one: ApplicationMap, path: Path) -> None:
    """Write version 3.3 with a type 1 grid of cells at most half a swath wide."""
    root, task = _task(result, one, major="3", minor="3")
    rates = sorted({round(zone.product_kg_ha, RATE_DECIMALS) for zone in one.spread.zone_map.rows})
    codes, south, west, height, width = _grid_codes(one, rates, result.field)
    for code, rate in [*enumerate(rates, start=1), (NO_SPREAD, 0.0)]:
        if (codes == code).any():
            _zone(task, code, rate, name="no spread" if code == NO_SPREAD else _named(one, rate))
    rows, columns = codes.shape
    ET.SubElement(
        task,
        "GRD",
        A=_degrees(south),
        B=_degrees(west),
        C=_degrees(height),
        D=_degrees(width),
        E=str(columns),
        F=str(rows),
        G="GRD00001",
        H=str(codes.size),
        I="1",
    )
    write_zip(path, {"TASKDATA/TASKDATA.XML": _xml(root), "TASKDATA/GRD00001.BIN": codes.tobytes()})


def _named(one: ApplicationMap, rate_kg_ha: float) -> str:
    """The zone or check strip of a rate, as tables and maps number it; several where they share the rate."""
    same = [row for row in one.spread.zone_map.rows if round(row.product_kg_ha, RATE_DECIMALS) == rate_kg_ha]
    return ", ".join(dict.fromkeys(f"{'strip' if row.strip else 'zone'} {row.zone}" for row in same))


def write_polygons(result: Result, one: ApplicationMap, path: Path) -> None:
    """Write version 4.3 with one treatment zone a polygon."""
    root, task = _task(result, one, major="4", minor="3")
    code = 0
    for row, part in zip(part_rows(one, result.plan.units), one.spread.parts, strict=True):
        for shape in shapely.get_parts(cut_at_180(to_lonlat(part.geometry, result.field.crs))):
            code += 1
            kind = "strip" if row["strip"] else "zone"
            zone = _zone(task, code, row["product_kg_ha"], name=f"{kind} {row['zone']}")
            _polygon(zone, shape, TREATMENT)
    # Ground that stays empty has zones of its own: else it would get what is meant for outside the field.
    for block in result.field.blocks:
        empty = to_lonlat(block.geometry.difference(block.spread), result.field.crs)
        for shape in shapely.get_parts(cut_at_180(empty)) if not empty.is_empty else ():
            if isinstance(shape, Polygon):
                code += 1
                _polygon(_zone(task, code, 0.0, name="no spread"), shape, TREATMENT)
    if code > CODES_MAX:
        raise RuntimeError(f"task data holds at most {CODES_MAX} polygons; choose a larger zone_min")
    write_zip(path, {"TASKDATA/TASKDATA.XML": _xml(root)})


def _task(result: Result, one: ApplicationMap, *, major: str, minor: str) -> tuple[ET.Element, ET.Element]:
    """The file's frame: customer, farm, field with its boundary, unit, product, and an empty task."""
    plan, field = result.plan, result.field
    us = plan.units == "us"
    root = ET.Element(
        "ISO11783_TaskData",
        VersionMajor=major,
        VersionMinor=minor,
        ManagementSoftwareManufacturer="fieldmap",
        ManagementSoftwareVersion=versions()["fieldmap"],
        DataTransferOrigin="1",
    )
    name = _name(plan.name)
    ET.SubElement(root, "CTR", A="CTR1", B=_name(plan.customer or plan.name))
    ET.SubElement(root, "FRM", A="FRM1", B=_name(plan.farm or plan.name), I="CTR1")
    partfield = ET.SubElement(
        root, "PFD", A="PFD1", C=name, D=str(round(field.area_ha * 10_000)), E="CTR1", F="FRM1"
    )
    for block in field.blocks:
        for shape in shapely.get_parts(cut_at_180(to_lonlat(block.geometry, field.crs))):
            _polygon(partfield, shape, BOUNDARY)
    scale = 1 / MG_M2_PER_KG_HA / (KG_HA_PER_LB_AC if us else 1.0)
    ET.SubElement(root, "VPN", A="VPN1", B="0", C=f"{scale:.9f}", D="1", E=rate_unit(plan.units))
    product = _name(one.application.product.name)
    ET.SubElement(root, "PDT", A="PDT1", B=product, D="VPN1", E=DDI_MASS_PER_AREA)
    outside, name = str(OUTSIDE), _task_name(one, plan.name)
    task = ET.SubElement(
        root,
        "TSK",
        A="TSK1",
        B=name,
        C="CTR1",
        D="FRM1",
        E="PFD1",
        G="1",
        H=outside,
        I=outside,
        J=outside,
    )
    _zone(task, OUTSIDE, one.application.spreader.outside_rate_kg_ha, name="outside")
    return root, task


def _task_name(one: ApplicationMap, name: str) -> str:
    """The field's name; of several applications with number and day before it, for they stand in one list."""
    told = one.application
    return _name(name if told.of == 1 else f"{told.number} {told.date} {name}")


def _zone(task: ET.Element, code: int, product_kg_ha: float, *, name: str) -> ET.Element:
    zone = ET.SubElement(task, "TZN", A=str(code), B=_name(name))
    value = str(round(product_kg_ha * MG_M2_PER_KG_HA))
    ET.SubElement(zone, "PDV", A=DDI_MASS_PER_AREA, B=value, C="PDT1", E="VPN1")
    return zone


def _polygon(parent: ET.Element, shape: Polygon, kind: str) -> None:
    polygon = ET.SubElement(parent, "PLN", A=kind)
    for number, ring in enumerate((shape.exterior, *shape.interiors)):
        line = ET.SubElement(polygon, "LSG", A=OUTER if number == 0 else INNER)
        for longitude, latitude in ring.coords:
            ET.SubElement(line, "PNT", A=POINT, C=_degrees(latitude), D=_degrees(longitude))


def _grid_codes(
    one: ApplicationMap, rates: list[float], field: Field
) -> tuple[NDArray[np.uint8], float, float, float, float]:
    """Zone codes (rows from the south, columns from the west), south and west edge, cell height and width."""
    swath_m = one.application.spreader.swath_m
    outline: BaseGeometry = to_lonlat(field.outline, field.crs)
    west, south, east, north = outline.bounds
    geod = pyproj.Geod(ellps="WGS84")
    middle = (south + north) / 2
    columns = math.ceil(geod.inv(west, middle, east, middle)[2] / (swath_m / 2)) + 1
    rows = math.ceil(geod.inv(west, south, west, north)[2] / (swath_m / 2)) + 1
    width, height = (east - west) / columns, (north - south) / rows
    longitude, latitude = np.meshgrid(
        west + (np.arange(columns) + 0.5) * width, south + (np.arange(rows) + 0.5) * height
    )
    to_field = pyproj.Transformer.from_crs(WGS84, field.crs, always_xy=True)
    coords_m = np.column_stack(to_field.transform(longitude.ravel(), latitude.ravel()))
    rate = np.round(field.grid.values_at(coords_m, one.spread.zone_map.product_kg_ha), RATE_DECIMALS)
    within = field.grid.values_at(coords_m, field.inside.astype(np.float64)) == 1.0
    codes = np.where(within, NO_SPREAD, OUTSIDE)
    spread = np.isfinite(rate)
    codes[spread] = np.searchsorted(rates, rate[spread]) + 1
    # A cell that only touches a no-spread area stays empty: the machine knows no finer border than the cell's.
    if not field.no_spread.is_empty:
        left, below = longitude.ravel() - width / 2, latitude.ravel() - height / 2
        cells = shapely.box(left, below, left + width, below + height)
        touched = shapely.intersects(to_lonlat(field.no_spread, field.crs), cells)
        codes[(codes != OUTSIDE) & touched] = NO_SPREAD
    return codes.reshape(rows, columns).astype(np.uint8), south, west, height, width


def _degrees(value: float) -> str:
    return f"{value:.9f}"


def _name(text: str) -> str:
    return text.strip()[:NAME_LENGTH] or "field"


def _xml(root: ET.Element) -> bytes:
    ET.indent(root)
    text: bytes = ET.tostring(root, encoding="utf-8", xml_declaration=True)
    return text
