"""The mean of a surface: one constant a stratum (block or species), and covariates that may track it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fieldmap.geostatistics.covariance import drift_columns

if TYPE_CHECKING:
    from typing import Any

    from numpy.typing import ArrayLike, NDArray

    from fieldmap.geostatistics.covariance import Floats


@dataclass(frozen=True)
class Drift:
    """Columns of the mean: one a stratum, then the covariates, standardised at the samples; q in all.

    Parameters
    ----------
    strata
        Labels, sorted; one empty label when there are none.
    covariate_mean, covariate_scale
        Mean of each covariate over the samples, and standard deviation about its mean in each stratum.
    """

    strata: NDArray[Any]
    covariate_mean: Floats
    covariate_scale: Floats

    def rows(self, stratum: NDArray[np.intp], covariates: Floats) -> Floats:
        """Rows of the design matrix, (points, q), from indices of strata and raw covariates."""
        indicators = np.equal.outer(stratum, np.arange(len(self.strata)))
        return np.hstack([indicators, (covariates - self.covariate_mean) / self.covariate_scale])

    def at_targets(
        self, count: int, covariates: ArrayLike | None, strata: ArrayLike | None
    ) -> tuple[NDArray[np.intp], Floats]:
        """Check what is known at the targets: index of the stratum, (count,), and covariates, (count, c)."""
        expected = (count, len(self.covariate_mean))
        columns = (
            np.empty((count, 0)) if covariates is None else drift_columns("target_covariates", covariates)
        )
        if columns.shape != expected:
            raise ValueError(
                f"target_covariates has shape {columns.shape}; expected {expected}, as in the fit"
            )
        labels = np.full(count, "") if strata is None else np.asarray(strata)
        if len(labels) != count:
            raise ValueError(f"target_strata has {len(labels)} rows; expected {count}, one a target")
        stratum = np.minimum(np.searchsorted(self.strata, labels), len(self.strata) - 1)
        unknown = self.strata[stratum] != labels
        if unknown.any():
            known = ", ".join(map(str, self.strata)) or "none"
            raise ValueError(f"stratum {labels[unknown][0]!s} holds no sample; the fit knows {known}")
        return stratum, columns


def spread_within(stratum: NDArray[np.intp], columns: Floats) -> Floats:
    """Standard deviation of each column, (c,), about its mean in each stratum; 0 where that is only rounding."""
    indicators = np.equal.outer(stratum, np.arange(stratum.max() + 1))
    means = indicators.T @ columns / indicators.sum(axis=0)[:, np.newaxis]
    scale = (columns - means[stratum]).std(axis=0)
    return np.where(scale > 1e-12 * np.abs(columns).max(axis=0), scale, 0.0)


def drift_at_samples(n: int, covariates: ArrayLike | None, strata: ArrayLike | None) -> tuple[Drift, Floats]:
    """Check the samples' covariates and strata: the drift, and its design matrix, (n, q)."""
    columns = np.empty((n, 0)) if covariates is None else drift_columns("covariates", covariates)
    labels = np.full(n, "") if strata is None else np.asarray(strata)
    for name, rows in (("covariates", columns), ("strata", labels)):
        if len(rows) != n:
            raise ValueError(f"{name} has {len(rows)} rows; expected {n}, one a sample")
    known, stratum, counts = np.unique(labels, return_inverse=True, return_counts=True)
    if counts.min() < 2 and len(known) > 1:
        raise ValueError(
            f"stratum {known[np.argmin(counts)]!s} has a single sample; expected two or more in each"
        )
    if n < len(known) + 2:
        raise ValueError(f"{n} samples give no standard error; expected at least {len(known) + 2}")
    scale = spread_within(stratum, columns)
    if not scale.all():
        each = "" if len(known) == 1 else " of each stratum"
        raise ValueError(
            f"a covariate has the same value at all samples{each}, so it can tell nothing; leave it out"
        )
    drift = Drift(known, columns.mean(axis=0), scale)
    rows = drift.rows(stratum, columns)
    left = 1.0 - np.einsum("ij,ji->i", rows, np.linalg.pinv(rows))  # what each sample leaves to be predicted
    if left.min() < 1e-9:
        raise ValueError(
            f"strata and covariates reproduce sample {np.argmin(left)} whatever its value, because only that "
            "sample differs from the rest in one of them; leave that covariate out"
        )
    return drift, rows
