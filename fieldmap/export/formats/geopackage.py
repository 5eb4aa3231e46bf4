"""zones.gpkg: zones, strips, samples, boundary, no-spread areas as layers, and a table that says what they are."""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import pandas as pd
import pyogrio
import shapely
from shapely.geometry import MultiPolygon, Polygon

from fieldmap.advice import verdict_text
from fieldmap.export.reproducible import now
from fieldmap.export.rows import part_rows, sample_rows, strip_entries
from fieldmap.report import summary

if TYPE_CHECKING:
    from pathlib import Path
    from typing import Any

    from shapely.geometry.base import BaseGeometry

    from fieldmap.pipeline import Result
    from fieldmap.verdict import ApplicationMap


def write_geopackage(result: Result, one: ApplicationMap, path: Path) -> None:
    """Write the layers in the field's CRS, and the table ``about`` (key, value).

    With SOURCE_DATE_EPOCH set, the same run gives the same bytes.
    """
    field = result.field
    blocks = [
        {
            "block": block.name,
            "crop": result.plan.crop_of(block.name).name,
            "area_ha": round(block.area_ha, 4),
        }
        for block in field.blocks
    ]
    layers: dict[str, tuple[list[dict[str, Any]], list[BaseGeometry]]] = {
        "zones": (
            [{"part": row.pop("id"), **row} for row in part_rows(one, result.plan.units)],
            [MultiPolygon([part.geometry]) for part in one.spread.parts],
        ),
        "strips": (
            strip_entries(one, result.plan.units),
            [MultiPolygon([strip.row.parts[0].geometry]) for strip in one.spread.strips],
        ),
        "samples": (sample_rows(result), list(gpd.points_from_xy(*result.stand.samples.coords_m.T))),
        "boundary": (blocks, [_multi(block.geometry) for block in field.blocks]),
        "no_spread": ([{"what": "no-spread areas with their setbacks"}], [_multi(field.no_spread)]),
    }
    about = {
        "name": result.plan.name,
        "plan_hash": result.plan_hash,
        "rates": "rate_n_kg_ha is nitrogen, product_kg_ha is the product spread",
        "verdict": verdict_text(result.verdict, result.plan.units),
        "caution": result.cautions[0],
    }
    if one.application.of > 1:
        about["application"] = summary.application_title(one)
    # The file is moved into place when whole, so that SQLite need not wait for the disk at every layer.
    options = {"OGR_CURRENT_DATE": now().strftime("%Y-%m-%dT%H:%M:%S.000Z"), "OGR_SQLITE_SYNCHRONOUS": "OFF"}
    pyogrio.set_gdal_config_options(options)
    try:
        for name, (rows, shapes) in layers.items():
            present = [k for k, shape in enumerate(shapes) if not shape.is_empty]
            if present:
                frame = gpd.GeoDataFrame(
                    [rows[k] for k in present], geometry=[shapes[k] for k in present], crs=field.crs
                )
                _write(frame, path, name)
        _write(pd.DataFrame({"key": list(about), "value": list(about.values())}), path, "about")
    finally:
        pyogrio.set_gdal_config_options(dict.fromkeys(options))


def _write(frame: pd.DataFrame, path: Path, layer: str) -> None:
    options = {} if path.exists() else {"dataset_options": {"ADD_GPKG_OGR_CONTENTS": "NO"}}
    pyogrio.write_dataframe(frame, path, layer=layer, driver="GPKG", **options)


def _multi(shape: BaseGeometry) -> MultiPolygon:
    return MultiPolygon([part for part in shapely.get_parts(shape) if isinstance(part, Polygon)])
