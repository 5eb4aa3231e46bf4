"""What a consultant looks at before trusting a surface: variogram, and where more samples would help."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fieldmap.geostatistics.covariance import (
    MAP_MODEL,
    correlation,
    distance_matrix,
    positions,
    sample_values,
)
from fieldmap.geostatistics.likelihood import LEAST_WEIGHT

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from fieldmap.geostatistics.covariance import Floats
    from fieldmap.geostatistics.surface import SurfaceFit


@dataclass(frozen=True)
class Variogram:
    """Half the mean squared difference of pairs of samples, by distance class; each (classes,).

    Parameters
    ----------
    distance_m
        Mean distance of the pairs in the class, metres.
    semivariance
        Squared units of the values.
    pairs
        Number of pairs; a class with fewer than about 30 says little.
    """

    distance_m: Floats
    semivariance: Floats
    pairs: NDArray[np.int64]


def empirical_variogram(
    coords: ArrayLike, values: ArrayLike, *, classes: int = 15, cutoff_m: float | None = None
) -> Variogram:
    """Empirical variogram (Matheron), in equal distance classes up to the cutoff; empty classes left out.

    Parameters
    ----------
    coords, values
        Samples, (n, 2) in metres and (n,); n at least 2. With strata or a covariate, give residuals.
    classes
        Number of distance classes.
    cutoff_m
        Largest distance looked at, metres; a third of the diagonal of the samples' bounding box if not
        given, as gstat does.

    References
    ----------
    Matheron (1963), Economic Geology 58, 1246-1266, doi:10.2113/gsecongeo.58.8.1246.
    """
    points = positions("coords", coords)
    z = sample_values(values, len(points))
    first, second = np.triu_indices(len(points), 1)
    distance = distance_matrix(points, points)[first, second]
    cutoff = float(np.hypot(*np.ptp(points, axis=0))) / 3.0 if cutoff_m is None else cutoff_m
    if not cutoff > 0:
        raise ValueError(f"cutoff_m is {cutoff}; expected a distance above 0, samples at more than one place")
    near = (distance > 0) & (distance <= cutoff)
    index = np.minimum(np.ceil(distance[near] * (classes / cutoff)).astype(np.int64) - 1, classes - 1)
    pairs = np.bincount(index, minlength=classes)
    held = pairs > 0
    half_squares = 0.5 * (z[first] - z[second])[near] ** 2
    return Variogram(
        np.bincount(index, distance[near], classes)[held] / pairs[held],
        np.bincount(index, half_squares, classes)[held] / pairs[held],
        pairs[held],
    )


def model_variograms(fit: SurfaceFit, distance_m: ArrayLike) -> tuple[Floats, Floats]:
    """Variograms of the spatial models that the surface averages over, to draw over the empirical one.

    Parameters
    ----------
    fit
        From `fieldmap.surface.fit_surface`.
    distance_m
        Distances, (d,), metres, above 0.

    Returns
    -------
    weights, semivariance
        (k,), highest first, and (k, d) in squared units of the values: the models without covariate that
        hold at least 0.5 % of the weight.
    """
    order = np.argsort(-fit.spatial.weights)
    order = order[fit.spatial.weights[order] >= LEAST_WEIGHT]
    ranges_m = fit.range_m[np.array(fit.spatial.range_index)[order]]
    shares = fit.spatial.shares[order, np.newaxis]
    scaled = np.asarray(distance_m, dtype=np.float64) / ranges_m[:, np.newaxis]
    rise = 1.0 - shares * correlation(MAP_MODEL, scaled)
    return fit.spatial.weights[order], fit.scale**2 * fit.spatial.variances[order, np.newaxis] * rise
