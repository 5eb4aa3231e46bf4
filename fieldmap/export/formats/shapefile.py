"""zones_shapefile.zip: single parts in WGS 84, ten-character capitals, no empty cell."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

import geopandas as gpd
import pyogrio
import shapely

from fieldmap.export.formats.geojson import cut_at_180
from fieldmap.export.reproducible import write_zip
from fieldmap.export.rows import AREA_DECIMALS, part_rows
from fieldmap.field import WGS84, to_lonlat
from fieldmap.units import rate_unit

if TYPE_CHECKING:
    from fieldmap.pipeline import Result
    from fieldmap.verdict import ApplicationMap


def write_shapefile(result: Result, one: ApplicationMap, path: Path) -> None:
    """Write one shape a polygon; RATE is the product rate in UNIT and equals that of the task data."""
    units = result.plan.units
    rate = "product_lb_ac" if units == "us" else "product_kg_ha"
    rows, shapes = [], []
    for row, part in zip(part_rows(one, units), one.spread.parts, strict=True):
        pieces = shapely.get_parts(cut_at_180(to_lonlat(part.geometry, result.field.crs)))
        for shape in pieces:
            shapes.append(shape)
            rows.append(
                {
                    "ZONE": row["zone"],
                    "RATE": row[rate],
                    "UNIT": rate_unit(units),
                    "N_KGHA": row["rate_n_kg_ha"],
                    "PRODUCT": row["product"],
                    "AREA_HA": round(row["area_ha"] * shape.area / shapely.area(pieces).sum(), AREA_DECIMALS),
                }
            )
    with tempfile.TemporaryDirectory() as folder:
        pyogrio.write_dataframe(
            gpd.GeoDataFrame(rows, geometry=shapes, crs=WGS84),
            Path(folder, "zones.shp"),
            driver="ESRI Shapefile",
            layer_options={"ENCODING": "UTF-8", "DBF_DATE_LAST_UPDATE": "1980-01-01"},
        )
        write_zip(path, {file.name: file.read_bytes() for file in sorted(Path(folder).iterdir())})
