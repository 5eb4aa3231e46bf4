"""surface.tif: every raster of the run as bands of one cloud-optimised GeoTIFF."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import rasterio
import rasterio.shutil
from rasterio.io import MemoryFile

if TYPE_CHECKING:
    from pathlib import Path

    from fieldmap.pipeline import Result
    from fieldmap.verdict import ApplicationMap


NODATA = -9999.0
OVERVIEWS_ABOVE = 512  # rows or columns; below, readers take the whole as soon as an overview


def write_surface(result: Result, one: ApplicationMap, path: Path) -> None:
    """Write float32 bands in kg/ha on the field's grid, nodata -9999 outside; nitrogen and product apart."""
    bands = {
        "biomass_kg_ha": result.stand.biomass.mean,
        "biomass_se_kg_ha": result.stand.biomass.se,
        "credit_kg_ha": result.budget.credit.credit_kg_ha,
        "credit_se_kg_ha": result.budget.credit.se_kg_ha,
        "supplemental_kg_ha": result.budget.supplemental_kg_ha,
        "rate_n_kg_ha": one.spread.zone_map.rate_n_kg_ha,
        "product_kg_ha": one.spread.zone_map.product_kg_ha,
    }
    grid = result.field.grid
    profile = {
        "driver": "GTiff",
        "height": grid.rows,
        "width": grid.columns,
        "count": len(bands),
        "dtype": "float32",
        "crs": rasterio.CRS.from_epsg(result.field.crs.to_epsg()),
        "transform": grid.transform,
        "nodata": NODATA,
    }
    with MemoryFile() as memory:
        with memory.open(**profile) as tif:
            for number, (name, values) in enumerate(bands.items(), start=1):
                tif.write(np.where(np.isfinite(values), values, NODATA).astype(np.float32), number)
                tif.set_band_description(number, name)
                tif.set_band_unit(number, "kg/ha")
        with memory.open() as tif:
            rasterio.shutil.copy(
                tif,
                path,
                driver="COG",
                compress="DEFLATE",
                predictor="YES",
                level=1,  # after the predictor, higher levels take longer and gain nothing
                blocksize=256,
                overviews="AUTO" if max(grid.shape) > OVERVIEWS_ABOVE else "NONE",
                overview_resampling="average",
            )
