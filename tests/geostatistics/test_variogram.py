"""Variograms against gstat's published Meuse figures; where to sample next against trying every place."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import skgstat
from scipy.optimize import least_squares

from fieldmap.geostatistics.covariance import Covariance
from fieldmap.geostatistics.next_samples import next_samples
from fieldmap.geostatistics.surface import fit_surface, joint
from fieldmap.geostatistics.variogram import empirical_variogram, model_variograms


def samples(seed, n):
    rng = np.random.default_rng(seed)
    coords = rng.uniform([0, 0], [600, 220], (n, 2))
    distance = np.linalg.norm(coords[:, None] - coords, axis=2)
    covariance = Covariance("exponential", 0.9, 80.0, 0.1)(distance)
    return coords, 3000 + 700 * np.linalg.cholesky(covariance) @ rng.normal(size=n)


@pytest.fixture(scope="module")
def meuse():
    """Log zinc of Meuse, 155 samples read from the installed scikit-gstat (GPL; not copied here)."""
    table = pd.read_csv(Path(skgstat.__file__).parent / "data" / "samples" / "meuse.txt")
    return empirical_variogram(table[["x", "y"]].to_numpy(float), np.log(table["zinc"].to_numpy(float)))


class TestMeuse:
    def test_first_class(self, meuse):
        """As gstat prints for variogram(log(zinc) ~ 1, meuse); from memory."""
        assert meuse.pairs[0] == 57
        assert meuse.distance_m[0] == pytest.approx(79.29244, abs=1e-5)
        assert meuse.semivariance[0] == pytest.approx(0.1234479, abs=1e-6)

    def test_spherical_fit_of_the_gstat_vignette(self, meuse):
        """Pebesma, The meuse data set: a brief tutorial for the gstat R package: 0.0507, 0.5906, 897 m."""

        def misfit(parameters):
            nugget, sill, range_m = parameters
            model = nugget + sill - Covariance("spherical", sill, range_m)(meuse.distance_m)
            return (model - meuse.semivariance) * np.sqrt(meuse.pairs) / meuse.distance_m

        nugget, sill, range_m = least_squares(misfit, [0.1, 0.5, 900.0], x_scale=[0.1, 1, 1000], xtol=1e-14).x
        assert nugget == pytest.approx(0.0507, abs=5e-4)
        assert sill == pytest.approx(0.5906, abs=5e-4)
        assert range_m == pytest.approx(897, abs=1)


def test_variogram_by_hand():
    found = empirical_variogram([(0, 0), (1, 0), (3, 0)], [1.0, 2.0, 4.0], classes=3, cutoff_m=3.0)
    np.testing.assert_allclose(found.distance_m, [1, 2, 3])
    np.testing.assert_allclose(found.semivariance, [0.5, 2.0, 4.5])
    np.testing.assert_array_equal(found.pairs, 1)
    with pytest.raises(ValueError, match="samples at more than one place"):
        empirical_variogram(np.zeros((4, 2)), np.arange(4.0))


def test_model_variograms():
    coords, values = samples(0, 60)
    fit = fit_surface(coords, values)
    weights, semivariance = model_variograms(fit, [1e-9, 50.0, 1e6])
    assert (np.diff(weights) <= 0).all()
    assert 0.8 < weights.sum() <= 1.0
    assert (np.diff(semivariance, axis=1) >= 0).all()
    best = np.argmax(fit.spatial.weights)
    sill = fit.scale**2 * fit.spatial.variances[best]
    np.testing.assert_allclose(semivariance[0, [0, 2]], [sill * (1 - fit.spatial.shares[best]), sill])


class TestNextSamples:
    def test_first_choice_equals_trying_every_place(self):
        coords, values = samples(1, 15)
        fit = fit_surface(coords, values)
        candidates = np.random.default_rng(0).uniform([0, 0], [600, 220], (60, 2))
        _, covariance = joint(fit, candidates)
        noise = fit.scale**2 * fit.nugget
        after = [
            np.trace(covariance - np.outer(row, row) / (row[i] + noise)) for i, row in enumerate(covariance)
        ]
        chosen = next_samples(fit, candidates)
        assert chosen[0] == np.argmin(after)
        assert len(set(chosen)) == 3

    def test_goes_where_there_are_no_samples(self):
        coords, values = samples(2, 30)
        crowded = coords[:, 0] < 330
        fit = fit_surface(coords[crowded], values[crowded])
        candidates = np.stack(np.meshgrid(np.arange(10, 600, 30), np.arange(10, 220, 30)), axis=-1).reshape(
            -1, 2
        )
        assert (candidates[next_samples(fit, candidates)][:, 0] > 330).all()

    def test_constant_samples(self):
        fit = fit_surface(samples(2, 12)[0], np.ones(12))
        assert len(set(next_samples(fit, samples(3, 20)[0], count=20))) == 20

    def test_too_many(self):
        fit = fit_surface(*samples(2, 12))
        with pytest.raises(ValueError, match="count is 3; expected 1 to 2, the number of candidates"):
            next_samples(fit, [[0.0, 0.0], [9.0, 9.0]])
