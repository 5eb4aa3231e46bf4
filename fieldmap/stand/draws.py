"""Joint draws of a surface."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.linalg.blas import dtrmm

from fieldmap.geostatistics import joint, one_blas_thread

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fieldmap.field import Grid
    from fieldmap.stand.surfaces import Surface


def draw(
    surface: Surface,
    row: NDArray[np.int64],
    column: NDArray[np.int64],
    grid: Grid,
    *,
    draws: int,
    seed: int,
    target_strata: NDArray[np.int64] | None,
) -> NDArray[np.float64]:
    """Joint draws of the latent surface at cells, (points, draws), never negative."""
    rng = np.random.default_rng(seed)
    shared = surface.shared_se * rng.standard_normal(draws)
    if surface.fit is None:
        return np.maximum(surface.mean[row, column][:, None] + shared, 0.0)
    coords_m = np.column_stack([grid.eastings()[column], grid.northings()[row]])
    at_points = surface.covariates[row, column] if surface.covariates.shape[-1] else None
    mean, covariance = joint(surface.fit, coords_m, target_covariates=at_points, target_strata=target_strata)
    with one_blas_thread():  # small matrices: more threads only wait for each other
        # Half the work of @: the root is triangular. BLAS counts by columns, so all of it is transposed.
        normal = rng.standard_normal((len(mean), draws))
        drawn = np.asarray(dtrmm(1.0, _root(covariance).T, normal.T, side=1).T)
    drawn += mean[:, None]
    drawn += shared
    positive: NDArray[np.float64] = np.maximum(drawn, 0.0, out=drawn)
    return positive


def _root(covariance: NDArray[np.float64]) -> NDArray[np.float64]:
    """A lower-triangular root; points close together are nearly equal, so a trace of independent noise is added."""
    largest = float(covariance.diagonal().max())
    if largest <= 0.0:
        return np.zeros_like(covariance)
    noise = 1e-8 * largest * np.eye(len(covariance))
    return np.asarray(np.linalg.cholesky(covariance + noise), dtype=np.float64)
