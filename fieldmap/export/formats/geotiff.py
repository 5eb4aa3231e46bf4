"""surface.tif: every raster of the run as bands of one cloud-optimised GeoTIFF."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import rasterio
import rasterio.shutil
from rasterio.io import MemoryFile

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    from fieldmap.pipeline import Result
    from fieldmap.verdict import ApplicationMap


NODATA = -9999.0
OVERVIEWS_ABOVE = 512  # rows or columns; below, readers take the whole as soon as an overview


@dataclass(frozen=True)
class Band:
    """One raster of a run on the field's grid, NaN outside."""

    title: str
    unit: str
    raster: NDArray[np.float64]


def bands_of(result: Result, one: ApplicationMap) -> dict[str, Band]:
    """Every raster of a run by its name; the last two are of one application, as zoned."""
    stand, budget, zone_map = result.stand, result.budget, one.spread.zone_map
    return {
        "biomass_kg_ha": Band("dry biomass of the stand", "kg/ha", stand.biomass.mean),
        "biomass_se_kg_ha": Band("standard error of the biomass", "kg/ha", stand.biomass.se),
        "nitrogen_pct": Band("nitrogen in the dry matter of the stand", "%", stand.nitrogen_pct.mean),
        "nitrogen_se_pct": Band("standard error of that", "%", stand.nitrogen_pct.se),
        "credit_kg_ha": Band("nitrogen credit from the stand", "kg/ha", budget.credit.credit_kg_ha),
        "credit_se_kg_ha": Band("standard error of the credit", "kg/ha", budget.credit.se_kg_ha),
        "supplemental_kg_ha": Band("nitrogen still to spread", "kg/ha", budget.supplemental_kg_ha),
        "rate_n_kg_ha": Band("nitrogen spread, as zoned", "kg/ha", zone_map.rate_n_kg_ha),
        "product_kg_ha": Band("product spread, as zoned", "kg/ha", zone_map.product_kg_ha),
    }


def write_surface(result: Result, one: ApplicationMap, path: Path) -> None:
    """Write float32 bands, each with its unit, on the field's grid, nodata -9999 outside."""
    bands = bands_of(result, one)
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
            for number, (name, band) in enumerate(bands.items(), start=1):
                values = band.raster
                tif.write(np.where(np.isfinite(values), values, NODATA).astype(np.float32), number)
                tif.set_band_description(number, name)
                tif.set_band_unit(number, band.unit)
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
