"""Kriging from the nearest samples only, for thousands of samples."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.spatial import cKDTree

from fieldmap.geostatistics.covariance import SAME_PLACE_M, correlate_in_place, positions, sample_values
from fieldmap.geostatistics.tiles import share_tiles

if TYPE_CHECKING:
    from collections.abc import Iterator
    from typing import Literal

    from numpy.typing import ArrayLike

    from fieldmap.geostatistics.covariance import Covariance, Floats


BATCH_ELEMENTS = 2**16  # of the small matrices solved at once: half a megabyte


def krige_local(
    coords: ArrayLike,
    values: ArrayLike,
    targets: ArrayLike,
    *,
    covariance: Covariance,
    neighbours: int = 32,
    variance: Literal["observation", "latent"] = "observation",
) -> tuple[Floats, Floats]:
    """Ordinary kriging of each target from its nearest samples.

    For more samples (from about 2,000) than `fieldmap.geostatistics.krige` takes in good time. Each target has a
    neighbourhood of its own, so the surface has small steps where neighbours change.

    Parameters
    ----------
    coords, values, targets, covariance, variance
        As for `fieldmap.geostatistics.krige`.
    neighbours
        Number of nearest samples, 2 or more; all when there are fewer.

    Returns
    -------
    mean, variance
        Both (m,), as from `fieldmap.geostatistics.krige`.

    Raises
    ------
    ValueError
        If shapes disagree, a number is not finite, there are fewer than two samples or neighbours, or
        samples share a place while the nugget is 0.
    """
    if variance not in {"observation", "latent"}:
        raise ValueError(f"variance is {variance!r}; expected 'observation' or 'latent'")
    points, places = positions("coords", coords), positions("targets", targets)
    z = sample_values(values, len(points))
    count = min(neighbours, len(points))
    if count < 2:
        raise ValueError(f"{len(points)} samples and {neighbours} neighbours; expected two or more of each")
    tree = cKDTree(points)
    if covariance.nugget == 0:
        pairs = tree.query_pairs(SAME_PLACE_M, output_type="ndarray")
        if len(pairs):
            raise ValueError(
                f"samples {pairs[0, 0]} and {pairs[0, 1]} are at the same place and the nugget is 0; "
                "average them or give a nugget above 0"
            )
    centre = float(z.mean())
    mean, spread = np.empty((2, len(places)))
    observed = variance == "observation"
    predicted_variance = covariance.sill if observed else covariance.partial_sill
    width = max(16, BATCH_ELEMENTS // (count + 3) ** 2)

    def worker(tiles: Iterator[slice]) -> None:
        for tile in tiles:
            found = tree.query(places[tile], k=count)
            apart, nearest = np.asarray(found[0]), np.asarray(found[1])
            shift, gain = _solve(points[nearest], z[nearest] - centre, apart, covariance)
            mean[tile] = centre + shift
            np.maximum(predicted_variance - gain, 0.0, out=spread[tile])
            if observed and covariance.nugget > 0:
                known = np.flatnonzero(apart[:, 0] <= SAME_PLACE_M)
                mean[tile.start + known] = z[nearest[known, 0]]
                spread[tile.start + known] = 0.0

    share_tiles(len(places), width, worker)
    return mean, spread


def _solve(near: Floats, values: Floats, apart: Floats, covariance: Covariance) -> tuple[Floats, Floats]:
    """Krige one target a row from its own samples: mean, and by how much they lower the variance.

    The Cholesky factor of the samples' matrix K with c, 1 and z as three more rows holds L⁻¹c, L⁻¹1 and
    L⁻¹z in those rows: one call solves the whole batch. What stands on their diagonal does not matter.
    """
    batch, n = values.shape
    between, work = np.empty((2, batch, n, n))
    east, north = np.ascontiguousarray(near.transpose(2, 0, 1))
    np.subtract(east[:, :, np.newaxis], east[:, np.newaxis], out=between)
    np.multiply(between, between, out=between)
    np.subtract(north[:, :, np.newaxis], north[:, np.newaxis], out=work)
    np.multiply(work, work, out=work)
    np.add(between, work, out=between)
    np.sqrt(between, out=between)
    matrix = np.empty((batch, n + 3, n + 3))
    matrix[:, :n, :n] = _covariances(between, covariance, work)
    matrix[:, range(n), range(n)] = covariance.sill
    matrix[:, n, :n] = _covariances(apart.copy(), covariance, np.empty_like(apart))
    matrix[:, n + 1, :n] = 1.0
    matrix[:, n + 2, :n] = values
    matrix[:, n:, n:] = 0.0
    large = 1e6 * (covariance.sill + 1.0 + np.abs(values).max())
    matrix[:, range(n, n + 3), range(n, n + 3)] = large**2 / covariance.sill
    to_target, ones, z = np.linalg.cholesky(matrix)[:, n:, :n].transpose(1, 0, 2)
    weight_of_mean = np.einsum("bi,bi->b", ones, ones)
    local_mean = np.einsum("bi,bi->b", ones, z) / weight_of_mean
    z -= local_mean[:, np.newaxis] * ones
    lost = 1.0 - np.einsum("bi,bi->b", to_target, ones)
    gain = np.einsum("bi,bi->b", to_target, to_target) - lost**2 / weight_of_mean
    return local_mean + np.einsum("bi,bi->b", to_target, z), gain


def _covariances(distance: Floats, covariance: Covariance, work: Floats) -> Floats:
    """Covariance of the spatial part; overwrites the distances."""
    distance *= 1.0 / covariance.range_m
    correlate_in_place(covariance.model, distance, work)
    distance *= covariance.partial_sill
    return distance
