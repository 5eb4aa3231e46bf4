"""The surface that a few dozen samples support, and how sure it is.

Works on any quantity measured at samples (biomass in kg/ha, nitrogen in %); results are in its unit.

The surface is kriging averaged over the restricted likelihood of its nugget share and range. With
covariates, kriging with those too is averaged in by how well each predicts left-out samples; their slopes are
shrunk towards 0, as a dozen samples give slopes by chance. Where leave-one-out shows no gain of 5 % over the
mean, or with fewer than 8 samples, the surface is the mean; its standard errors then still allow for the
variation from place to place that the samples may have missed.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from fieldmap.geostatistics.covariance import (
    MAP_MODEL,
    correlate_in_place,
    correlation,
    distance_matrix,
    distances,
    positions,
    sample_values,
)
from fieldmap.geostatistics.drift import drift_at_samples
from fieldmap.geostatistics.kriging import ROW_BLOCK, triangular_products
from fieldmap.geostatistics.likelihood import (
    LEAST_SAMPLES,
    RANGES,
    collapse,
    decompose,
    leave_one_out_of_mean,
    mean_model_weights,
    mean_models,
    pool,
    spatial_models,
    spread,
)
from fieldmap.geostatistics.tiles import one_blas_thread, share_tiles, tile_width

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import ArrayLike

    from fieldmap.geostatistics.covariance import Floats
    from fieldmap.geostatistics.drift import Drift
    from fieldmap.geostatistics.likelihood import Form, LeaveOneOut, SpatialModels


Method = Literal["field mean", "kriging", "kriging with covariate"]

__all__ = [
    "LEAST_SAMPLES",
    "Prediction",
    "SurfaceFit",
    "fit_surface",
    "joint",
    "predict",
]

MOST_SAMPLES = 2000
LEAST_GAIN = 0.05  # of leave-one-out error over that of the mean; fixed before the simulations, not tuned


@dataclass(frozen=True)
class SurfaceFit:
    """A fitted surface; give it to `predict` and `joint`.

    Parameters
    ----------
    method
        What the surface is: ``"field mean"``, ``"kriging"`` or ``"kriging with covariate"`` (when the
        models with covariates hold at least half the weight).
    n
        Number of samples.
    mean, mean_se
        Mean of the samples, and its standard error were the samples independent.
    loo_rmse, mean_only_rmse
        Leave-one-out root mean squared error of the best surface found and of the mean; the same when
        there are fewer than 8 samples.
    loo_observed, loo_predicted, loo_se
        Each sample, its prediction by this surface from all others, and the standard error of that, (n,).
    covariate_weight
        Weight of the models with covariates, 0 to 1; 0.75 before the samples have spoken.
    spatial
        Spatial models without covariates, of values divided by `scale`: what the samples say of the
        variogram.
    range_m
        Ranges of those models, metres.
    scale
        Standard deviation of the samples about their mean; all below is in units of it.
    points, origin
        Sample positions about their centre, (n, 2), and that centre.
    drift, base
        Columns of the mean, and the base mean's coefficients in them, in the unit of the values.
    forms, nugget
        The likelihood-averaged surface about the base mean, and the variance of a sample about it.
    """

    method: Method
    n: int
    mean: float
    mean_se: float
    loo_rmse: float
    mean_only_rmse: float
    loo_observed: Floats
    loo_predicted: Floats
    loo_se: Floats
    covariate_weight: float
    spatial: SpatialModels
    range_m: Floats
    scale: float
    points: Floats
    origin: Floats
    drift: Drift
    base: Floats
    forms: tuple[Form, ...]
    nugget: float


@dataclass(frozen=True)
class Prediction:
    """The surface at m targets, in the unit of the samples, each (m,).

    ±1.645 `se` is a 90 % interval of the surface itself (what many samples at that place would average),
    ±1.645 `se_new_sample` one of a further sample there.
    """

    mean: Floats
    se: Floats
    se_new_sample: Floats


def fit_surface(
    coords: ArrayLike,
    values: ArrayLike,
    *,
    covariates: ArrayLike | None = None,
    strata: ArrayLike | None = None,
) -> SurfaceFit:
    """Fit the surface to samples.

    Parameters
    ----------
    coords
        Sample positions, (n, 2), metres in a projected CRS.
    values
        Sample values, (n,).
    covariates
        Values at the samples of what may track them, (n,) or (n, c).
    strata
        Label of each sample's block or species, (n,): strata differ in mean and share all else.

    Raises
    ------
    ValueError
        If shapes disagree, a number is not finite, a covariate is constant, a stratum has a single sample,
        there are fewer than three samples (two more than strata), or more than 2,000.
    """
    points = positions("coords", coords)
    n = len(points)
    z = sample_values(values, n)
    if n > MOST_SAMPLES:
        raise ValueError(
            f"{n} samples are too many to average spatial models over; expected at most {MOST_SAMPLES}. "
            "Thin them, for example to the mean of each 10 m square, or use krige_local with one covariance"
        )
    drift, rows = drift_at_samples(n, covariates, strata)
    if np.linalg.matrix_rank(rows) < rows.shape[1]:
        raise ValueError("a covariate follows from the others or from the strata; leave it out")
    groups = len(drift.strata)
    base, residual = _about_the_mean(z, rows, groups)
    scale = float(np.sqrt((residual**2).sum() / (n - groups)))
    standard = residual / (scale or 1.0)
    origin = points.mean(axis=0)
    points = points - origin
    averaged = _average_models(points, standard, rows, groups)
    best = averaged.leave_one_out
    best_error, best_se = scale * (standard - best.predicted), scale * np.sqrt(np.maximum(best.variance, 0.0))
    mean_error, mean_se = leave_one_out_of_mean(residual, rows[:, :groups])
    loo_rmse, mean_only_rmse = _rms(best_error), _rms(mean_error)
    is_mean = n < LEAST_SAMPLES or loo_rmse >= (1.0 - LEAST_GAIN) * mean_only_rmse
    return SurfaceFit(
        method=_method(is_mean, averaged.covariate_weight),
        n=n,
        mean=float(z.mean()),
        mean_se=scale * float(np.sqrt(spread(n - groups) / n)),
        loo_rmse=mean_only_rmse if n < LEAST_SAMPLES else loo_rmse,
        mean_only_rmse=mean_only_rmse,
        loo_observed=z,
        loo_predicted=z - (mean_error if is_mean else best_error),
        loo_se=mean_se if is_mean else best_se,
        covariate_weight=averaged.covariate_weight,
        spatial=averaged.spatial,
        range_m=averaged.range_m,
        scale=scale,
        points=points,
        origin=origin,
        drift=drift,
        base=base,
        forms=averaged.forms,
        nugget=averaged.nugget,
    )


def _about_the_mean(z: Floats, rows: Floats, groups: int) -> tuple[Floats, Floats]:
    """Coefficients of the base mean, that of each stratum, and what the samples differ from it."""
    indicators = rows[:, :groups]
    base = np.zeros(rows.shape[1])
    base[:groups] = indicators.T @ z / indicators.sum(axis=0)
    residual = z - rows @ base
    residual[np.abs(residual) <= 1e-13 * np.abs(z).max()] = 0.0  # rounding of the mean
    return base, residual


@dataclass(frozen=True)
class _Averaged:
    """The spatial models averaged, of values in standard deviations about their mean."""

    leave_one_out: LeaveOneOut
    covariate_weight: float
    spatial: SpatialModels
    range_m: Floats
    forms: tuple[Form, ...]
    nugget: float


def _average_models(points: Floats, standard: Floats, rows: Floats, groups: int) -> _Averaged:
    """Average over nugget shares and ranges, and over the means with and without covariates."""
    with one_blas_thread():
        distance = distance_matrix(points, points)
        ranges = decompose(distance, RANGES * (distance.max() or 1.0))
        models = [
            spatial_models(ranges, standard, rows, columns, groups)
            for columns in mean_models(len(points), groups, rows.shape[1])
        ]
        weights = mean_model_weights(models)
        forms, nugget = collapse(models, weights, ranges, standard, rows)
    return _Averaged(
        pool([model.leave_one_out for model in models], weights),
        float(weights[1:].sum()),
        models[0],
        np.array([item.range_m for item in ranges]),
        tuple(forms),
        nugget,
    )


def _method(is_mean: bool, covariate_weight: float) -> Method:
    if is_mean:
        return "field mean"
    return "kriging with covariate" if covariate_weight >= 0.5 else "kriging"


def predict(
    fit: SurfaceFit,
    targets: ArrayLike,
    *,
    target_covariates: ArrayLike | None = None,
    target_strata: ArrayLike | None = None,
) -> Prediction:
    """Surface and its standard errors at many targets, such as all cells of a grid.

    Where the surface is the field mean, `se` is not that of the mean alone: it is the root mean squared
    distance of the likelihood-averaged kriging surface, with its own uncertainty, from the mean. The samples
    showed no pattern, which does not mean that there is none.

    Parameters
    ----------
    fit
        From `fit_surface`.
    targets
        Positions, (m, 2), metres.
    target_covariates, target_strata
        Covariates, (m,) or (m, c), and stratum labels, (m,), at the targets; when the fit has them.

    Raises
    ------
    ValueError
        If shapes disagree, a covariate is missing, or a stratum holds no sample.
    """
    places = positions("targets", targets)
    stratum, covariates = fit.drift.at_targets(len(places), target_covariates, target_strata)
    mean, variance = np.empty((2, len(places)))
    factors = [
        np.vstack([2.0 * np.tril(form.quadratic, -1) + np.diag(np.diag(form.quadratic)), form.linear])
        for form in fit.forms
    ]
    signal = sum(form.signal for form in fit.forms)
    n, q = len(fit.points), len(fit.base)

    width = tile_width(n + q)

    def worker(tiles: Iterator[slice]) -> None:
        apart, work = np.empty((2, n, width))
        unknowns, products = np.empty((n + q, width)), np.empty((ROW_BLOCK + 1, width))
        for tile in tiles:
            count = tile.stop - tile.start
            u = unknowns[:, :count]
            distances(fit.points, places[tile] - fit.origin, apart[:, :count], work[:, :count])
            u[n:] = fit.drift.rows(stratum[tile], covariates[tile]).T
            shift, moment = np.zeros(count), np.full(count, signal)
            for form, factor in zip(fit.forms, factors, strict=True):
                np.multiply(apart[:, :count], 1.0 / form.range_m, out=u[:n])
                correlate_in_place(MAP_MODEL, u[:n], work[:, :count])
                for start, stop, rows in triangular_products(factor, u, products[:, :count]):
                    moment += np.einsum("ij,ij->j", rows[: stop - start], u[start:stop])
                shift += rows[-1]
            mean[tile] = fit.base @ u[n:]
            if fit.method != "field mean":
                mean[tile] += fit.scale * shift
                moment -= shift**2
            variance[tile] = moment

    share_tiles(len(places), width, worker)
    np.maximum(variance, 0.0, out=variance)
    return Prediction(mean, fit.scale * np.sqrt(variance), fit.scale * np.sqrt(variance + fit.nugget))


def joint(
    fit: SurfaceFit,
    targets: ArrayLike,
    *,
    target_covariates: ArrayLike | None = None,
    target_strata: ArrayLike | None = None,
) -> tuple[Floats, Floats]:
    """Joint distribution of the surface at a few hundred targets, for means of zones and for draws.

    Parameters
    ----------
    fit, targets, target_covariates, target_strata
        As for `predict`.

    Returns
    -------
    mean, covariance
        (m,) and (m, m); the covariance's diagonal is the square of `predict`'s `se`.
    """
    places = positions("targets", targets)
    at_targets = fit.drift.rows(*fit.drift.at_targets(len(places), target_covariates, target_strata)).T
    places = places - fit.origin
    to_samples, apart = distance_matrix(fit.points, places), distance_matrix(places, places)
    shift, moment = np.zeros(len(places)), np.zeros_like(apart)
    work, scratch = np.empty((2, *apart.shape))
    with one_blas_thread():
        for form in fit.forms:
            u = np.vstack([correlation(MAP_MODEL, to_samples / form.range_m), at_targets])
            shift += form.linear @ u
            np.multiply(apart, 1.0 / form.range_m, out=work)
            correlate_in_place(MAP_MODEL, work, scratch)
            work *= form.signal
            moment += work
            moment += np.matmul(u.T, form.quadratic @ u, out=work)
    mean = fit.base @ at_targets
    if fit.method != "field mean":
        mean = mean + fit.scale * shift
        moment -= np.outer(shift, shift)
    return mean, fit.scale**2 * 0.5 * (moment + moment.T)


def _rms(error: Floats) -> float:
    return float(np.sqrt((error**2).mean()))
