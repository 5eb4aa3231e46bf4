"""Restricted likelihood of a few samples over a grid of spatial models, and the average over them.

A spatial model is V = share · R + (1 − share) · I: R holds the correlations of `MAP_MODEL` at one range, `share` of
the variance is spatial, the rest is nugget. A few dozen samples do not tell which model is right, so maps
and intervals average over all of them by their likelihood.

Mean, variance and the differences between models are linear or quadratic in the correlations between the
samples and a target. Models of one range therefore add up to one `Form`, whatever their number.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import gammaln, logsumexp, softmax, stdtrit

from fieldmap.geostatistics.covariance import MAP_MODEL, correlation

if TYPE_CHECKING:
    from fieldmap.geostatistics.covariance import Floats


LEAST_SAMPLES = 8  # to compare models; judgement: fewer than 12 were not simulated
LEAST_SPARE = 4  # samples more than columns of the mean, to compare mean models; judgement
SHARES = np.array([0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.97])
RANGES = np.geomspace(0.03, 0.5, 7)  # of the largest distance between samples
SLOPE_PRIOR_SAMPLES = 3.0  # what is expected of slopes beforehand, 0, counts as this many samples
COVARIATE_ODDS = 3.0  # beforehand, that covariates track the samples: someone thought them worth adding
LEAST_WEIGHT = 0.005  # spatial models below this share of the total weight are left out of the map
NORMAL_90 = 1.6448536269514722  # half-width of a 90 % interval in standard errors


@dataclass(frozen=True)
class Range:
    """Correlations between the samples for one range, R = U diag(values) Uᵀ."""

    range_m: float
    values: Floats  # (n,)
    vectors: Floats  # U, (n, n)


@dataclass(frozen=True)
class LeaveOneOut:
    """Each sample predicted from the others; mean, variance and model weights estimated without it."""

    predicted: Floats  # (n,)
    variance: Floats  # (n,), of the left-out observation about its prediction
    log_density: Floats  # (n,), of the left-out observation

    @property
    def score(self) -> float:
        """Sum of the log densities: higher is better."""
        return float(self.log_density.sum())


@dataclass(frozen=True)
class SpatialModels:
    """The K spatial models for one mean model (p columns of the design, `groups` of them strata), weighed."""

    columns: tuple[int, ...]  # of the full design
    groups: int
    range_index: tuple[int, ...]  # (K,)
    shares: Floats  # (K,), spatial share of the variance
    weights: Floats  # (K,), sum 1
    variances: Floats  # (K,), of one observation
    coefficients: Floats  # of the mean, (K, p)
    leave_one_out: LeaveOneOut


@dataclass(frozen=True)
class Form:
    """What all models of one range add to mean and variance at a target.

    u, (n + q,), holds the target's correlations with the samples and its row of the design. The latent
    surface's mean is linearᵀu, its second moment signal · correlation + uᵀ quadratic u; summed over forms.
    """

    range_m: float
    signal: float
    linear: Floats  # (n + q,)
    quadratic: Floats  # (n + q, n + q), symmetric


def spread(dof: int) -> float:
    """By how much a variance estimated with `dof` degrees of freedom must grow.

    With it, ±1.645 standard errors hold 90 % of Student's t, from `dof` 1 on. (The variance of t,
    dof / (dof − 2), gives standard errors 1 to 2 % wider from `dof` 11 on, and none below 3.)
    """
    return float(stdtrit(dof, 0.95) / NORMAL_90) ** 2


def decompose(distance: Floats, ranges_m: Floats) -> list[Range]:
    """Correlations of the samples for every range; `distance` (n, n) in metres."""
    ranges = []
    for range_m in ranges_m:
        values, vectors = np.linalg.eigh(correlation(MAP_MODEL, distance / range_m))
        ranges.append(Range(float(range_m), np.maximum(values, 0.0), vectors))
    return ranges


def mean_models(n: int, groups: int, columns: int) -> list[tuple[int, ...]]:
    """Sets of design columns to average over: no covariate, each alone, all together."""
    base = tuple(range(groups))
    if n < LEAST_SAMPLES:
        return [base]
    single = [(*base, column) for column in range(groups, columns)]
    everything = [tuple(range(columns))] if len(single) > 1 else []
    return [base] + [model for model in single + everything if n - len(model) >= LEAST_SPARE]


def mean_model_weights(models: list[SpatialModels]) -> Floats:
    """Weights of the sets of `mean_models`: leave-one-out log score, and the odds given to covariates."""
    _, *with_covariate = models
    odds = [1.0] + [COVARIATE_ODDS / len(with_covariate) for _ in with_covariate]
    return np.asarray(softmax([model.leave_one_out.score for model in models] + np.log(odds)))


def spatial_models(
    ranges: list[Range], z: Floats, design: Floats, columns: tuple[int, ...], groups: int
) -> SpatialModels:
    """Weigh all spatial models by restricted likelihood, with a uniform prior on share and range.

    Nothing is known of the strata's means beforehand. The slopes of standardised covariates are normal about 0
    with variance σ² / SLOPE_PRIOR_SAMPLES, which keeps a dozen samples from making too much of a chance
    correlation: the covariance of the values is σ²(V + Σ x xᵀ / SLOPE_PRIOR_SAMPLES), x the covariates.

    Parameters
    ----------
    ranges
        From `decompose`.
    z
        Values, (n,), of about unit variance.
    design, columns
        Full design, (n, q), and which of its columns make the mean: all strata and any covariates.
    groups
        Number of strata, the first columns of the design. At least two samples more than these.

    References
    ----------
    Restricted likelihood: Harville (1974), Biometrika 61, 383-385, doi:10.1093/biomet/61.2.383. With σ²
    profiled out it equals, up to a constant, the likelihood with σ² integrated out under the prior 1/σ²:
    Berger, De Oliveira & Sansó (2001), JASA 96, 1361-1374, doi:10.1198/016214501753382282. Normal slopes
    beside means without a prior: Rasmussen & Williams (2006), Gaussian Processes for Machine Learning, section 2.7.
    """
    parts = [
        _one_range(item, SHARES if i == 0 else SHARES[1:], z, design[:, columns], groups)
        for i, item in enumerate(ranges)
    ]
    log_weight, sse, coefficients, weighted_residual, precision = (
        np.concatenate(part) for part in zip(*parts, strict=True)
    )
    shares = np.concatenate([SHARES] + [SHARES[1:]] * (len(ranges) - 1))
    index = np.repeat(np.arange(len(ranges)), [len(part[0]) for part in parts])
    return SpatialModels(
        columns,
        groups,
        tuple(index.tolist()),
        shares,
        np.asarray(softmax(log_weight)),
        sse / (len(z) - groups),
        coefficients,
        _leave_one_out(z, groups, log_weight, sse, weighted_residual, precision),
    )


def _prior_precision(columns: int, groups: int) -> Floats:
    """Λ, (columns,): of the coefficients beforehand, times σ²; none for the strata's means."""
    return np.where(np.arange(columns) < groups, 0.0, SLOPE_PRIOR_SAMPLES)


def _one_range(item: Range, shares: Floats, z: Floats, design: Floats, groups: int) -> tuple[Floats, ...]:
    """Log likelihood, residual sum of squares, b, V⁻¹(z − Xb) and diag(P) for every share at one range.

    The sum of squares holds bᵀΛb, the slopes' distance from what was expected of them beforehand.
    """
    n, p = design.shape
    prior = _prior_precision(p, groups)
    turned_z, turned_x = item.vectors.T @ z, item.vectors.T @ design
    inverse = 1.0 / (shares[:, np.newaxis] * item.values + 1.0 - shares[:, np.newaxis])  # of V, (k, n)
    weighted_x = inverse[:, :, np.newaxis] * turned_x  # (k, n, p)
    information = turned_x.T @ weighted_x + np.diag(prior)  # XᵀV⁻¹X + Λ, (k, p, p)
    solution = np.linalg.solve(information, (turned_z @ weighted_x)[:, :, np.newaxis])
    coefficients = np.asarray(solution[:, :, 0], dtype=np.float64)
    residual = turned_z - coefficients @ turned_x.T
    sse = np.maximum((inverse * residual**2).sum(axis=1) + coefficients**2 @ prior, 1e-24 * n)
    log_determinants = np.linalg.slogdet(information)[1] - np.log(inverse).sum(axis=1)
    log_likelihood = -0.5 * ((n - groups) * np.log(sse) + log_determinants)
    x_part = item.vectors @ weighted_x  # V⁻¹X, (k, n, p)
    solved = np.linalg.solve(information, x_part.transpose(0, 2, 1))
    precision = inverse @ (item.vectors**2).T - np.einsum("knp,kpn->kn", x_part, solved)
    weighted_residual = (inverse * residual) @ item.vectors.T
    return log_likelihood, sse, coefficients, weighted_residual, precision


def _leave_one_out(
    z: Floats, groups: int, log_weight: Floats, sse: Floats, weighted_residual: Floats, precision: Floats
) -> LeaveOneOut:
    """Leave each sample out of everything, in closed form.

    Without sample i the residual sum of squares falls by (Pz)ᵢ²/Pᵢᵢ, and the likelihood of a model is that
    with the sample over the density (Student's t) with which the others predict it.
    """
    dof = len(z) - 1 - groups
    error = weighted_residual / precision  # observed − predicted, (K, n)
    left = np.maximum(sse[:, np.newaxis] - error * weighted_residual, 1e-24 * len(z))
    log_density = (
        gammaln((dof + 1) / 2)
        - gammaln(dof / 2)
        - 0.5 * np.log(np.pi * left / precision)
        - 0.5 * (dof + 1) * np.log1p(error * weighted_residual / left)
    )
    log_left = log_weight[:, np.newaxis] - log_density
    weights = softmax(log_left, axis=0)
    mean_error = (weights * error).sum(axis=0)
    second_moment = (weights * (spread(dof) * left / (dof * precision) + error**2)).sum(axis=0)
    return LeaveOneOut(
        z - mean_error,
        np.maximum(second_moment - mean_error**2, 0.0),
        logsumexp(log_weight) - logsumexp(log_left, axis=0),
    )


def leave_one_out_of_mean(residual: Floats, indicators: Floats) -> tuple[Floats, Floats]:
    """Error and standard error of predicting each sample by the mean of the others in its stratum."""
    n, groups = indicators.shape
    share = 1.0 - indicators @ (1.0 / indicators.sum(axis=0))
    error = residual / share
    left = np.maximum((residual**2).sum() - error * residual, 0.0)
    dof = n - groups - 1
    return error, np.sqrt(spread(dof) * left / (dof * share))


def pool(results: list[LeaveOneOut], weights: Floats) -> LeaveOneOut:
    """Average of several predictions of each sample."""
    predicted = np.array([result.predicted for result in results])
    mean = weights @ predicted
    variance = weights @ np.array([result.variance for result in results]) + weights @ (predicted - mean) ** 2
    density = logsumexp(
        np.array([result.log_density for result in results]), axis=0, b=weights[:, np.newaxis]
    )
    return LeaveOneOut(mean, variance, density)


def collapse(
    models: list[SpatialModels], weights: Floats, ranges: list[Range], z: Floats, design: Floats
) -> tuple[list[Form], float]:
    """Add up all models to one form a range, and the nugget's variance.

    Parameters
    ----------
    models, weights
        One item a mean model; the weights sum to 1.
    ranges, z, design
        As for `spatial_models`.

    Returns
    -------
    forms, nugget
        The forms of the ranges in use; the variance between an observation and the latent surface.
    """
    n, q = design.shape
    together = np.concatenate([weight * model.weights for weight, model in zip(weights, models, strict=True)])
    together[together < LEAST_WEIGHT * together.sum()] = 0.0
    parts = np.split(together / together.sum(), np.cumsum([len(model.weights) for model in models])[:-1])
    signal, linear, quadratic = (
        np.zeros(len(ranges)),
        np.zeros((len(ranges), n + q)),
        np.zeros((len(ranges), n + q, n + q)),
    )
    nugget = 0.0
    for model, part in zip(models, parts, strict=True):
        for k in np.flatnonzero(part):
            item, share = ranges[model.range_index[k]], float(model.shares[k])
            at = model.range_index[k]
            variance = spread(n - model.groups) * model.variances[k]
            mean, form = _node(item, share, model, model.coefficients[k], z, design)
            signal[at] += part[k] * variance * share
            nugget += part[k] * variance * (1.0 - share)
            linear[at] += part[k] * mean
            quadratic[at] += part[k] * (variance * form + np.outer(mean, mean))
    forms = [
        Form(item.range_m, *rest)
        for item, *rest in zip(ranges, signal, linear, quadratic, strict=True)
        if rest[2].any()
    ]
    return forms, float(nugget)


def _node(
    item: Range, share: float, models: SpatialModels, coefficients: Floats, z: Floats, design: Floats
) -> tuple[Floats, Floats]:
    """Kriging with one spatial model, σ² = 1: mean, and variance less its signal, on u as in `Form`."""
    n, q = design.shape
    columns = models.columns
    own = design[:, columns]
    inverse = (item.vectors / (share * item.values + 1.0 - share)) @ item.vectors.T
    weighted_x = inverse @ own
    in_design = [n + column for column in columns]
    mean = np.zeros(n + q)
    mean[:n] = share * (inverse @ z - weighted_x @ coefficients)
    mean[in_design] = coefficients
    unknown = np.zeros((len(columns), n + q))  # x₀ − XᵀV⁻¹c: what is left to estimate the mean for
    unknown[:, :n] = -share * weighted_x.T
    unknown[range(len(columns)), in_design] = 1.0
    information = own.T @ weighted_x + np.diag(_prior_precision(len(columns), models.groups))
    form = unknown.T @ np.linalg.solve(information, unknown)
    form[:n, :n] -= share**2 * inverse
    return mean, form
