"""Rasters that may track biomass, on the field's grid and at the samples."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.ndimage import distance_transform_edt

from fieldmap.geostatistics import covariate, spread_within

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fieldmap.field import Field
    from fieldmap.stand.samples import Samples
    from fieldmap.stand.strata import Strata


COVARIATE_GAPS_MAX = 0.2  # of the field; a wider gap would be filled from too far away


@dataclass(frozen=True)
class Covariates:
    """Rasters that may track biomass, on the field's grid and at the window chosen for each.

    `rasters` is (rows, columns, covariates) without gaps inside the field; `scales_m` the windows they are
    averaged over.
    """

    rasters: NDArray[np.float64]
    scales_m: tuple[float, ...]
    warnings: tuple[str, ...]


def prepare_covariates(
    named: dict[str, NDArray[np.float64]], samples: Samples, field: Field, strata: Strata
) -> Covariates:
    """Choose for each covariate the window that predicts left-out samples best, and fill its gaps.

    One that is unknown over much of the field, or the same at all samples, is left out with a warning.
    """
    inside = field.inside
    kept, scales, warnings = [], [], []
    for name, raster in named.items():
        missing = float(np.isnan(raster[inside]).mean())
        if missing > COVARIATE_GAPS_MAX:
            warnings.append(f"{name} is unknown over {missing * 100:.0f} % of the field: it is left out.")
            continue
        whole = _filled(raster)
        versions = [
            covariate.smooth(whole, cell_m=field.grid.cell_m, scale_m=scale_m)
            for scale_m in covariate.SCALES_M
        ]
        at_samples = np.column_stack([covariates_at_samples(version, samples, field) for version in versions])
        stratum = np.zeros(len(samples), dtype=np.intp) if strata.of_samples is None else strata.of_samples
        if not spread_within(stratum, at_samples).any():
            each = "" if strata.of_samples is None else " of each cover crop"
            warnings.append(f"{name} has the same value at all samples{each}: it is left out.")
            continue
        chosen = covariate.choose_scale(
            samples.coords_m, samples.dry_kg_ha, at_samples, strata=strata.of_samples
        )
        kept.append(versions[chosen])
        scales.append(covariate.SCALES_M[chosen] or field.grid.cell_m)
    rasters = np.stack(kept, axis=-1) if kept else np.empty((*field.grid.shape, 0))
    return Covariates(rasters, tuple(scales), tuple(warnings))


def _filled(raster: NDArray[np.float64]) -> NDArray[np.float64]:
    """Unknown cells take the value of the nearest known one."""
    nearest = distance_transform_edt(np.isnan(raster), return_distances=False, return_indices=True)
    return np.asarray(raster[tuple(nearest)])


def covariates_at_samples(raster: NDArray[np.float64], samples: Samples, field: Field) -> NDArray[np.float64]:
    """Values at the samples; one just off the grid takes the nearest cell's."""
    grid = field.grid
    half = grid.cell_m / 2
    east = np.clip(
        samples.coords_m[:, 0], grid.west_m + half, grid.west_m + grid.columns * grid.cell_m - half
    )
    north = np.clip(
        samples.coords_m[:, 1], grid.north_m - grid.rows * grid.cell_m + half, grid.north_m - half
    )
    return grid.values_at(np.column_stack([east, north]), raster)
