"""Simulation study of the surface: error against the field mean, and cover of 90 % intervals.

Run `python -m pytest tests/geostatistics/test_surface_study.py -m slow -s` to see the table. The fields are invented:
600 × 220 m, standard deviation 1 before the nugget's share is taken, 400 fields a row; every fit uses
exponential models, so that the spherical, Matérn, trend and skewed truths are misspecified on purpose.
"""

from __future__ import annotations

import sys

import numpy as np
import pandas as pd
import pytest

from fieldmap.geostatistics.covariance import Covariance, distance_matrix
from fieldmap.geostatistics.likelihood import NORMAL_90
from fieldmap.geostatistics.surface import fit_surface, joint
from fieldmap.geostatistics.tiles import one_blas_thread

REPEATS = 400
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
    """Sample places, values, targets, latent truth there, and a covariate (r = 0.7 with the latent truth) at both."""
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
    if truth.startswith("skewed"):  # lognormal, coefficient of variation about 0.65
        scale = 0.6
        latent = np.exp(scale * latent + 0.5 * scale**2 * (1 - share))  # mean of many samples at the place
        values = np.exp(scale * values)
    covariate = 0.7 * latent / max(latent.std(), 1e-9) + np.sqrt(1 - 0.7**2) * noise
    if share == 0:
        covariate = noise
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
        "field mean": float(fit.method == "field mean"),
    }


MEASURES = ("latent", "new sample", "zone mean", "field mean")


def study(repeats=REPEATS, truths=tuple(TRUTHS), sizes=SIZES, covariates=("none", "good", "useless")):
    """All rows: relative error (geometric mean over fields), cover in percent and its simulation error."""
    rows = []
    for truth in truths:
        for n in sizes:
            for covariate in covariates:
                rng = np.random.default_rng([n, *truth.encode()])  # the same fields for every covariate
                with one_blas_thread():
                    table = pd.DataFrame([one_field(rng, truth, n, covariate) for _ in range(repeats)])
                row = {"truth": truth, "n": n, "covariate": covariate}
                row["rmse"] = np.exp(np.log(table["rmse"] / table["mean_rmse"]).mean())
                row |= {name: 100 * table[name].mean() for name in MEASURES}
                row |= {f"{name} ±": 100 * table[name].std() / repeats**0.5 for name in MEASURES}
                rows.append(row)
    return pd.DataFrame(rows)


@pytest.fixture(scope="module")
def table():
    result = study()
    wide = result.pivot_table(
        index=["truth", "n"], columns="covariate", values=["rmse", *MEASURES], sort=False
    )
    text = wide.to_string(float_format=lambda number: f"{number:.2f}" if number < 3 else f"{number:.0f}")
    sys.stdout.write(
        f"\nError relative to the field mean's; cover of 90 % intervals, share of field means: %\n{text}\n"
    )
    return result.set_index(["truth", "n", "covariate"])


@pytest.mark.slow
class TestStudy:
    """Each bound allows for twice the simulation's own error."""

    def test_new_samples_are_covered(self, table):
        rows = table[table.index.get_level_values("n") >= 20]
        assert (rows["new sample"] + 2 * rows["new sample ±"] >= 86).all()
        assert (rows["new sample"] - 2 * rows["new sample ±"] <= 95).all()

    def test_zone_means_are_covered(self, table):
        rows = table.xs(30, level="n").drop(index=["patches of 15 m", "noise only"], level="truth")
        assert (rows["zone mean"] + 2 * rows["zone mean ±"] >= 85).all()
        assert (rows["zone mean"] - 2 * rows["zone mean ±"] <= 96).all()

    def test_without_a_pattern_zone_means_are_covered_with_room_to_spare(self, table):
        """The samples cannot rule out a pattern they missed, so the intervals allow for it."""
        assert (table.loc["noise only"]["zone mean"] > 90).all()

    def test_the_latent_surface_is_under_covered_where_patches_are_narrower_than_the_spacing(self, table):
        """Known and told: such patches look like noise to the samples."""
        assert table.loc["patches of 15 m"]["latent"].between(65, 88).all()

    def test_error(self, table):
        rmse = (
            table.reset_index()
            .pivot_table("rmse", ["truth", "n"], "covariate")
            .drop(index="noise only", level="truth")
        )
        assert (rmse["none"] < 1.05).all()
        at_12, at_30 = rmse.xs(12, level="n"), rmse.xs(30, level="n")
        assert at_12.loc["patches of 60 m", "good"] < 5 / 6 * at_12.loc["patches of 60 m", "none"]
        assert (at_12["good"] / at_12["none"]).mean() < 5 / 6 + 0.006  # over seven truths
        assert (at_30["good"] / at_30["none"]).mean() < 5 / 6
        assert (rmse["useless"] / rmse["none"]).max() < 1.06

    def test_error_without_a_pattern(self, table):
        assert (table.loc["noise only"]["rmse"] < 1.35).all()
