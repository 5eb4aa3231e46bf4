"""Simulation study of the surface: error against the field mean, and cover of 90 % intervals.

Run `python -m pytest tests/test_surface_study.py -m slow -s` to see the table. The fields are invented: 600 × 220 m,
standard deviation 1 before the nugget's share is taken, 60 fields a row; every fit uses exponential models,
so that the spherical, Matérn, trend and skewed truths are misspecified on purpose.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from fieldmap.covariance import Covariance, distance_matrix
from fieldmap.likelihood import NORMAL_90
from fieldmap.surface import fit_surface, joint

REPEATS = 60
TARGETS = 120
# name: model, range in metres, spatial share of the variance, linear trend in standard deviations across the field
TRUTHS = {
    "patches of 60 m": ("exponential", 60.0, 0.8, 0.0),
    "patches of 30 m, half noise": ("exponential", 30.0, 0.5, 0.0),
    "spherical, 200 m": ("spherical", 200.0, 0.7, 0.0),
    "smooth, 70 m": ("matern15", 70.0, 0.8, 0.0),
    "trend": ("exponential", 50.0, 0.6, 2.0),
    "skewed, 60 m": ("exponential", 60.0, 0.8, 0.0),
    "patches of 15 m": ("exponential", 15.0, 0.8, 0.0),
    "noise only": ("exponential", 60.0, 0.0, 0.0),
}
SIZES = (12, 20, 30, 50)


def simulate(rng, truth, n):
    """Sample places, values, targets, latent truth there, and a covariate (r ≈ 0.7) at both."""
    model, range_m, share, trend = TRUTHS[truth]
    places = rng.uniform([0, 0], [600, 220], (n + TARGETS, 2))
    distance = distance_matrix(places, places)
    draw = {
        kind: np.linalg.cholesky(Covariance(*parts)(distance) + 1e-9 * np.eye(len(places)))
        @ rng.normal(size=len(places))
        for kind, parts in {"truth": (model, 1.0, range_m), "covariate": ("exponential", 1.0, 40.0)}.items()
    }
    latent = np.sqrt(share) * draw["truth"] + trend * (places[:, 0] / 600 - 0.5)
    values = latent[:n] + np.sqrt(1 - share) * rng.normal(size=n)
    noise = np.sqrt(0.5) * draw["covariate"] + np.sqrt(0.5) * rng.normal(size=len(places))
    covariate = 0.7 * latent / max(latent.std(), 1e-9) + np.sqrt(1 - 0.7**2) * noise
    if share == 0:
        covariate = noise
    if truth.startswith("skewed"):  # lognormal, coefficient of variation about 0.65
        scale = 0.6
        latent = np.exp(scale * latent + 0.5 * scale**2 * (1 - share))  # mean of many samples at the place
        values = np.exp(scale * values)
    return places[:n], values, places[n:], latent[n:], covariate[:n], covariate[n:], noise


def one_field(rng, truth, n, covariate):
    """One row of the study: squared errors of surface and mean, and the cover of three 90 % intervals."""
    coords, values, targets, latent, at_samples, at_targets, noise = simulate(rng, truth, n)
    if covariate == "useless":
        at_samples, at_targets = noise[:n], noise[n:]
    options = {} if covariate == "none" else {"covariates": at_samples}
    fit = fit_surface(coords, values, **options)
    options = {} if covariate == "none" else {"target_covariates": at_targets}
    mean, covariance = joint(fit, targets, **options)
    se = np.sqrt(np.diag(covariance))
    share = TRUTHS[truth][2]
    noise_sd = np.sqrt(1 - share)
    fresh = latent + noise_sd * rng.normal(size=TARGETS)
    if truth.startswith("skewed"):
        fresh = latent * np.exp(0.6 * noise_sd * rng.normal(size=TARGETS) - 0.5 * 0.36 * noise_sd**2)
    new_se = np.sqrt(se**2 + fit.scale**2 * fit.nugget)
    zone = np.equal.outer(np.arange(4), np.argsort(np.argsort(targets[:, 0])) * 4 // TARGETS) / (TARGETS / 4)
    zone_se = np.sqrt(np.diag(zone @ covariance @ zone.T))
    return {
        "rmse": np.sqrt(np.mean((mean - latent) ** 2)),
        "mean_rmse": np.sqrt(np.mean((values.mean() - latent) ** 2)),
        "latent": np.mean(np.abs(mean - latent) <= NORMAL_90 * se),
        "new sample": np.mean(np.abs(mean - fresh) <= NORMAL_90 * new_se),
        "zone mean": np.mean(np.abs(zone @ (mean - latent)) <= NORMAL_90 * zone_se),
        "field mean": fit.method == "field mean",
    }


def study(repeats=REPEATS, truths=tuple(TRUTHS), sizes=SIZES, covariates=("none", "good", "useless")):
    """All rows: relative error (geometric mean over fields), cover in percent."""
    rows = []
    for truth in truths:
        for n in sizes:
            for covariate in covariates:
                rng = np.random.default_rng([n, *truth.encode()])  # the same fields for every covariate
                table = pd.DataFrame([one_field(rng, truth, n, covariate) for _ in range(repeats)])
                rows.append(
                    {
                        "truth": truth,
                        "n": n,
                        "covariate": covariate,
                        "rmse / mean's": np.exp(np.log(table["rmse"] / table["mean_rmse"]).mean()),
                        **{
                            name: 100 * table[name].mean()
                            for name in ("latent", "new sample", "zone mean", "field mean")
                        },
                    }
                )
    return pd.DataFrame(rows)
