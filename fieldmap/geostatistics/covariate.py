"""Rasters that may track the stand: over how wide a window to average them.

A sensor's noise averages out over a window and the place of a clipping is not known to the metre, so the
finest raster is seldom the best covariate. Which window is best is asked of the samples.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.ndimage import uniform_filter

from fieldmap.geostatistics.covariance import distance_matrix, positions, sample_values
from fieldmap.geostatistics.drift import drift_at_samples, spread_within
from fieldmap.geostatistics.likelihood import LEAST_SAMPLES, LEAST_SPARE, RANGES, decompose, spatial_models
from fieldmap.geostatistics.tiles import one_blas_thread

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from fieldmap.geostatistics.covariance import Floats


SCALES_M = (0.0, 10.0, 20.0, 40.0)  # sides of the windows to try; 0 is the cell itself


def smooth(raster: Floats, *, cell_m: float, scale_m: float) -> Floats:
    """Mean of the known cells in a square window around each cell.

    Parameters
    ----------
    raster
        (rows, columns), NaN where unknown.
    cell_m
        Side of a cell, metres.
    scale_m
        Side of the window, metres; rounded to an odd number of cells, so that it is centred.

    Returns
    -------
    raster
        Same shape; NaN where the window holds no known cell.
    """
    side = 2 * round((scale_m / cell_m - 1) / 2) + 1
    if side <= 1:
        return raster.copy()
    known = np.isfinite(raster)
    centre = float(raster[known].mean()) if known.any() else 0.0  # keeps the running sums small
    share = uniform_filter(known.astype(np.float64), side, mode="constant")
    total = uniform_filter(np.where(known, raster - centre, 0.0), side, mode="constant")
    enough = share > 0.5 / side**2
    return np.where(enough, centre + total / np.where(enough, share, 1.0), np.nan)


def choose_scale(
    coords: ArrayLike, values: ArrayLike, candidates: ArrayLike, *, strata: ArrayLike | None = None
) -> int:
    """Which of several versions of one covariate predicts left-out samples best.

    Parameters
    ----------
    coords, values, strata
        Samples, as for `fieldmap.surface.fit_surface`.
    candidates
        The covariate at the samples, (n, k), one column a version; finest first.

    Returns
    -------
    index
        Column with the highest leave-one-out log score of kriging with it; columns constant in each stratum
        are passed over. The first that is not with too few samples to tell.

    Raises
    ------
    ValueError
        If shapes disagree, a number is not finite, or every version is constant at the samples.
    """
    points = positions("coords", coords)
    z = sample_values(values, len(points))
    versions = np.asarray(candidates, dtype=np.float64)
    labels = np.zeros(len(z)) if strata is None else np.asarray(strata)
    varied = np.flatnonzero(spread_within(np.unique(labels, return_inverse=True)[1], versions))
    if not len(varied):
        each = "" if strata is None else " of each stratum"
        raise ValueError(
            f"the covariate has the same value at all samples{each} at every scale; leave it out"
        )
    if len(z) < LEAST_SAMPLES or z.std() == 0:
        return int(varied[0])
    with one_blas_thread():
        distance = distance_matrix(points, points)
        ranges = decompose(distance, RANGES * (distance.max() or 1.0))
        scores = []
        for version in varied:
            drift, rows = drift_at_samples(len(z), versions[:, version], strata)
            if len(z) - rows.shape[1] < LEAST_SPARE:
                return int(varied[0])
            columns = tuple(range(rows.shape[1]))
            models = spatial_models(ranges, (z - z.mean()) / z.std(), rows, columns, len(drift.strata))
            scores.append(models.leave_one_out.score)
    return int(varied[np.argmax(scores)])
