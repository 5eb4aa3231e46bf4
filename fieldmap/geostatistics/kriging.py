"""Covariance models and the exact kriging engine.

One Cholesky factorisation for all targets; the targets are worked through in tiles that stay in the
processor's cache, by two threads with the linear algebra of each held to one thread. All in float64.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.linalg import LinAlgError, cholesky, solve_triangular

from fieldmap.geostatistics.covariance import (
    SAME_PLACE_M,
    correlate_in_place,
    correlation,
    distance_matrix,
    distances,
    drift_columns,
    positions,
    sample_values,
)
from fieldmap.geostatistics.tiles import one_blas_thread, share_tiles, tile_width

if TYPE_CHECKING:
    from collections.abc import Iterator
    from typing import Literal

    from numpy.typing import ArrayLike

    from fieldmap.geostatistics.covariance import Covariance, Floats


ROW_BLOCK = 64  # rows of the inverse factor multiplied at once, with only its non-zero columns


def triangular_products(factor: Floats, right: Floats, products: Floats) -> Iterator[tuple[int, int, Floats]]:
    """Multiply by a lower triangular factor in blocks of rows, leaving out the columns that are zero.

    `factor` is (n, n) triangular with further full rows below, `right` (n, targets). Yields start, stop and
    the block of the product for rows start:stop; the last block holds the further rows too. All blocks
    share the memory of `products`, (ROW_BLOCK + further rows, targets).
    """
    n = factor.shape[1]
    for start in range(0, n, ROW_BLOCK):
        stop = min(start + ROW_BLOCK, n)
        last = len(factor) if stop == n else stop
        yield start, stop, np.matmul(factor[start:last, :stop], right[:stop], out=products[: last - start])


def krige(
    coords: ArrayLike,
    values: ArrayLike,
    targets: ArrayLike,
    *,
    covariance: Covariance,
    drift: ArrayLike | None = None,
    target_drift: ArrayLike | None = None,
    variance: Literal["observation", "latent"] = "observation",
) -> tuple[Floats, Floats]:
    """Best linear unbiased prediction at the targets, and its variance.

    Ordinary kriging; with `drift`, universal kriging (kriging with external drift): the unknown mean is a
    constant plus a linear combination of the drift columns.

    What is predicted depends on `variance`. ``"observation"``: what a sample taken at the target would
    read, its nugget included. Where a target coincides with a sample that reading is known, so the mean is
    the sample's value and the variance 0 (as pykrige with ``exact_values=True``, its default, and gstools
    with ``exact=True``). ``"latent"``: the spatial part alone, without the nugget; at a sample the mean is
    smooth and the variance stays above 0 (as gstools with ``exact=False``, nugget taken off its variance).
    Away from the samples the two means are equal and the variances differ by the nugget.

    Parameters
    ----------
    coords
        Sample positions, (n, 2), metres in a projected CRS.
    values
        Sample values, (n,).
    targets
        Positions to predict, (m, 2), metres.
    covariance
        Covariance of the values about their mean.
    drift, target_drift
        Drift columns at the samples, (n, p) or (n,), and at the targets, (m, p) or (m,); both or neither.
    variance
        ``"observation"`` or ``"latent"``, see above.

    Returns
    -------
    mean, variance
        Both (m,); the variance in squared units of the values, never negative.

    Raises
    ------
    ValueError
        If shapes disagree, a number is not finite, samples share a place while the nugget is 0, or the
        samples cannot tell the drift columns apart.

    References
    ----------
    Chilès & Delfiner (2012), Geostatistics, 2nd ed., chapter 3.
    """
    if variance not in {"observation", "latent"}:
        raise ValueError(f"variance is {variance!r}; expected 'observation' or 'latent'")
    places = positions("targets", targets)
    columns, target_columns = _drifts(drift, target_drift, len(places))
    mean, spread = np.empty((2, len(places)))
    nugget = covariance.nugget if variance == "observation" else 0.0
    predicted_variance = covariance.partial_sill + nugget

    def worker(tiles: Iterator[slice]) -> None:
        correlations, work, products = system.buffers(width)
        for tile in tiles:
            count = tile.stop - tile.start
            tile_of = correlations[:, :count]
            pairs = system.correlate(places[tile], tile_of, work[:, :count])
            extra = None if target_columns is None else target_columns[tile]
            tile_mean, gain = system.predict(tile_of, extra, products[:, :count])
            np.maximum(predicted_variance - gain, 0.0, out=spread[tile])  # rounding can leave −1e-16
            mean[tile] = tile_mean
            if nugget:
                for sample, target in pairs:
                    mean[tile.start + target] = system.values[sample]
                    spread[tile.start + target] = 0.0

    with one_blas_thread():
        system = _System.solve(coords, values, covariance, columns)
        width = tile_width(len(system.points))
        share_tiles(len(places), width, worker)
    return mean, spread


def leave_one_out(
    coords: ArrayLike,
    values: ArrayLike,
    *,
    covariance: Covariance,
    drift: ArrayLike | None = None,
) -> tuple[Floats, Floats]:
    """Error of predicting each sample from all others, in closed form.

    The mean (and drift) is estimated anew without the sample; the covariance stays as given.

    Parameters
    ----------
    coords, values, covariance, drift
        As for `krige`.

    Returns
    -------
    residual, variance
        Observed − predicted, (n,), and the variance of the left-out observation about its prediction,
        nugget included, (n,).

    Raises
    ------
    ValueError
        As `krige`, and if a drift column cannot be estimated without one of the samples.

    References
    ----------
    Dubrule (1983), Cross validation of kriging in a unique neighborhood, Mathematical Geology 15, 687-699,
    doi:10.1007/BF01033232.
    """
    columns = None if drift is None else drift_columns("drift", drift)
    system = _System.solve(coords, values, covariance, columns)
    inverse, basis = system.lower_inverse, system.basis
    projected = inverse - basis @ (basis.T @ inverse)
    precision = np.einsum("ij,ij->j", projected, projected)
    share = precision / np.einsum("ij,ij->j", inverse, inverse)
    if share.min() <= 1e-10:
        raise ValueError(
            f"without sample {np.argmin(share)} the mean or a drift column cannot be estimated; "
            "leave-one-out needs every drift column to vary among the other samples"
        )
    return system.weights / precision, 1.0 / precision


@dataclass(frozen=True)
class _System:
    """The samples' side of kriging, solved once: K = L Lᵀ, L⁻¹X = Q R."""

    covariance: Covariance
    points: Floats  # (n, 2)
    values: Floats  # (n,)
    lower_inverse: Floats  # L⁻¹, (n, n)
    basis: Floats  # Q, (n, p)
    right: Floats  # R, (p, p)
    coefficients: Floats  # b of the mean, (p,)
    weights: Floats  # K⁻¹(z − Xb), (n,)
    factor: Floats  # L⁻¹, weightsᵀ and QᵀL⁻¹ one above the other, times partial_sill, (n + 1 + p, n)
    drift_mean: Floats  # of the drift columns, (p − 1,)
    drift_scale: Floats

    @classmethod
    def solve(
        cls, coords: ArrayLike, values: ArrayLike, covariance: Covariance, drift: Floats | None
    ) -> _System:
        """Check the samples and factorise."""
        points = positions("coords", coords)
        z = sample_values(values, len(points))
        design, drift_mean, drift_scale = _design(len(points), drift)
        lower_inverse = _inverse_factor(points, covariance)
        basis, right = np.linalg.qr(lower_inverse @ design)
        whitened = lower_inverse @ z
        coefficients = solve_triangular(right, basis.T @ whitened)
        weights = lower_inverse.T @ (whitened - basis @ (basis.T @ whitened))
        factor = covariance.partial_sill * np.vstack([lower_inverse, weights, basis.T @ lower_inverse])
        return cls(
            covariance, points, z, lower_inverse, basis, right,
            coefficients, weights, factor, drift_mean, drift_scale,
        )  # fmt: skip

    def buffers(self, width: int) -> tuple[Floats, Floats, Floats]:
        """One thread's memory: correlations and scratch, (n, width), and products with the factor."""
        rows, n = self.factor.shape
        correlations, work = np.empty((2, n, width))
        return correlations, work, np.empty((ROW_BLOCK + rows - n, width))

    def correlate(self, at: Floats, out: Floats, work: Floats) -> list[list[int]]:
        """Write the correlations of the samples with a tile; give the pairs (sample, target) at one place."""
        scale = 1.0 / self.covariance.range_m
        origin = self.points[0]
        distances((self.points - origin) * scale, (at - origin) * scale, out, work)
        same = SAME_PLACE_M * scale
        pairs: list[list[int]] = np.argwhere(out <= same).tolist() if out.min() <= same else []
        correlate_in_place(self.covariance.model, out, work)
        return pairs

    def predict(self, correlations: Floats, drift: Floats | None, products: Floats) -> tuple[Floats, Floats]:
        """Mean of one tile, and by how much knowing the samples lowers its variance."""
        p = len(self.right)
        gain = np.zeros(correlations.shape[1])
        for start, stop, rows in triangular_products(self.factor, correlations, products):
            explained = rows[: stop - start]
            gain += np.einsum("ij,ij->j", explained, explained)
        shift, drift_part = rows[stop - start], rows[stop - start + 1 :]
        at_target = np.ones((p, 1))
        if drift is not None:
            at_target = np.vstack([np.ones(len(drift)), ((drift - self.drift_mean) / self.drift_scale).T])
        lost = solve_triangular(self.right, at_target, trans="T") - drift_part  # to estimating the mean
        gain -= np.einsum("ij,ij->j", lost, lost)
        return self.coefficients @ at_target + shift, gain


def _design(samples: int, drift: Floats | None) -> tuple[Floats, Floats, Floats]:
    """Columns of the mean: 1 and the standardised drift, (n, p); the drift's means and scales."""
    drift = np.empty((samples, 0)) if drift is None else drift
    if len(drift) != samples:
        raise ValueError(f"drift has {len(drift)} rows; expected {samples}, one a sample")
    mean, scale = drift.mean(axis=0), drift.std(axis=0)
    if np.any(scale <= 1e-12 * np.abs(mean)):
        raise ValueError("a drift column is constant over the samples; the mean holds a constant already")
    design = np.column_stack([np.ones(samples), (drift - mean) / scale])
    if samples <= design.shape[1] or np.linalg.matrix_rank(design) < design.shape[1]:
        raise ValueError(
            f"{samples} samples cannot tell a mean and {drift.shape[1]} drift columns apart; "
            "add samples or drop a column"
        )
    return design, mean, scale


def _inverse_factor(points: Floats, covariance: Covariance) -> Floats:
    """L⁻¹ of the samples' covariance matrix K = L Lᵀ, (n, n)."""
    distance = distance_matrix(points, points)
    if covariance.nugget == 0:
        first, second = np.nonzero(np.triu(distance <= SAME_PLACE_M, k=1))
        if len(first):
            raise ValueError(
                f"samples {first[0]} and {second[0]} are at the same place and the nugget is 0; "
                "average them or give a nugget above 0"
            )
    matrix = covariance.partial_sill * correlation(covariance.model, distance / covariance.range_m)
    matrix[np.diag_indices_from(matrix)] = covariance.sill
    try:
        lower = cholesky(matrix, lower=True)
    except LinAlgError:
        lower = np.zeros_like(matrix)
    if (np.diag(lower) ** 2).min() <= 1e-13 * covariance.sill:  # what a sample adds to those before it
        raise ValueError(
            "the covariance matrix of the samples is singular: samples lie very close together for this range "
            "and nugget; give a nugget above 0"
        )
    return np.asarray(solve_triangular(lower, np.eye(len(lower)), lower=True))


def _drifts(
    drift: ArrayLike | None, target_drift: ArrayLike | None, targets: int
) -> tuple[Floats | None, Floats | None]:
    if (drift is None) != (target_drift is None):
        raise ValueError("drift and target_drift go together; only one of them was given")
    if drift is None or target_drift is None:
        return None, None
    columns, target_columns = drift_columns("drift", drift), drift_columns("target_drift", target_drift)
    if target_columns.shape != (targets, columns.shape[1]):
        raise ValueError(
            f"target_drift has shape {target_columns.shape}; expected {(targets, columns.shape[1])}, "
            "one row a target and the columns of drift"
        )
    return columns, target_columns
