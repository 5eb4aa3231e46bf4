"""One entry a covariance model: every way to a surface follows it, and an unknown name raises."""

import re

import numpy as np
import pytest

from fieldmap.geostatistics.covariance import (
    MAP_MODEL,
    MODELS,
    Covariance,
    CovarianceModel,
    correlate_in_place,
    correlation,
    distance_matrix,
)
from fieldmap.geostatistics.kriging import krige, leave_one_out
from fieldmap.geostatistics.likelihood import LEAST_WEIGHT, decompose, spread
from fieldmap.geostatistics.local_kriging import krige_local
from fieldmap.geostatistics.surface import fit_surface, joint, predict
from fieldmap.geostatistics.variogram import model_variograms

KNOWN = "expected one of 'exponential', 'spherical', 'matern15' (Matérn 3/2)"


def inverse_square(scaled, work):
    scaled *= scaled
    scaled += 1.0
    np.reciprocal(scaled, out=scaled)


def by_hand(distance, range_m):
    return 1.0 / (1.0 + (distance / range_m) ** 2)  # the Cauchy model: valid in every dimension


@pytest.fixture
def stand():
    rng = np.random.default_rng(11)
    coords, targets = rng.uniform(0, [300, 200], (25, 2)), rng.uniform(0, [300, 200], (40, 2))
    values = 3000 + 800 * np.sin(coords[:, 0] / 45) + rng.normal(0, 150, 25)
    return coords, values, targets


def test_a_model_is_one_entry(stand, monkeypatch):
    coords, values, targets = stand
    monkeypatch.setitem(MODELS, "cauchy", CovarianceModel("Cauchy", inverse_square))
    covariance = Covariance("cauchy", 2.0, 60.0, 0.5)
    np.testing.assert_allclose(covariance([0.0, 60.0, 120.0]), [2.5, 1.0, 0.4], rtol=1e-14)
    bordered = np.ones((26, 26))
    bordered[:25, :25] = 2.0 * by_hand(distance_matrix(coords, coords), 60.0) + 0.5 * np.eye(25)
    bordered[25, 25] = 0.0
    right = np.vstack([2.0 * by_hand(distance_matrix(coords, targets), 60.0), np.ones(40)])
    weights = np.linalg.solve(bordered, right)
    expected = values @ weights[:25], 2.5 - np.einsum("ij,ij->j", weights, right)
    np.testing.assert_allclose(krige(coords, values, targets, covariance=covariance), expected, rtol=1e-9)
    near = krige_local(coords, values, targets, covariance=covariance, neighbours=25)
    np.testing.assert_allclose(near, expected, rtol=1e-9)
    error, _ = leave_one_out(coords, values, covariance=covariance)
    without = krige(coords[1:], values[1:], coords[:1], covariance=covariance)[0]
    assert error[0] == pytest.approx(values[0] - without[0], rel=1e-9)


def test_the_map_takes_its_correlations_from_the_table(stand, monkeypatch):
    coords, values, targets = stand
    before = predict(fit_surface(coords, values), targets)
    monkeypatch.setitem(MODELS, "cauchy", CovarianceModel("Cauchy", inverse_square))
    monkeypatch.setitem(MODELS, MAP_MODEL, MODELS["cauchy"])
    distance = distance_matrix(coords, coords)
    (item,) = decompose(distance, np.array([60.0]))
    np.testing.assert_allclose(
        item.vectors * item.values @ item.vectors.T, by_hand(distance, 60.0), atol=1e-12
    )

    fit = fit_surface(coords, values)
    assert fit.method == "kriging"
    found, models = predict(fit, targets), fit.spatial
    used = np.flatnonzero(models.weights >= LEAST_WEIGHT)
    weights = models.weights[used] / models.weights[used].sum()
    means, within = [], []
    for k in used:
        variance, share = fit.scale**2 * models.variances[k], models.shares[k]
        range_m = fit.range_m[models.range_index[k]]
        covariance = Covariance("cauchy", variance * share, range_m, variance * (1 - share))
        means.append(krige(coords, values, targets, covariance=covariance)[0])
        v = share * by_hand(distance, range_m) + (1 - share) * np.eye(25)
        c = share * by_hand(distance_matrix(coords, targets), range_m)
        inverse = np.linalg.inv(v)
        lost = 1.0 - inverse.sum(axis=0) @ c
        joint_of_one = share * by_hand(distance_matrix(targets, targets), range_m) - c.T @ inverse @ c
        joint_of_one += np.outer(lost, lost) / inverse.sum()
        within.append(spread(24) * variance * joint_of_one)
    np.testing.assert_allclose(found.mean, weights @ np.array(means), rtol=1e-8)
    assert np.abs(found.mean - before.mean).max() > 1.0
    mean, covariances = joint(fit, targets)
    np.testing.assert_allclose(mean, found.mean, rtol=1e-10)
    np.testing.assert_allclose(np.sqrt(np.diag(covariances)), found.se, rtol=1e-8)
    apart = np.array(means) - found.mean
    expected = np.einsum("k,kij->ij", weights, within) + (apart.T * weights) @ apart
    np.testing.assert_allclose(covariances, expected, rtol=1e-7, atol=1e-6 * fit.scale**2)

    at_m = np.array([10.0, 50.0, 200.0])
    _, lines = model_variograms(fit, at_m)
    first = np.argmax(models.weights)
    rise = 1.0 - models.shares[first] * by_hand(at_m, fit.range_m[models.range_index[first]])
    np.testing.assert_allclose(lines[0], fit.scale**2 * models.variances[first] * rise, rtol=1e-12)


@pytest.mark.parametrize(
    "use",
    [
        lambda: Covariance("gaussian", 1.0, 60.0),
        lambda: correlation("gaussian", np.ones(3)),
        lambda: correlate_in_place("gaussian", np.ones(3), np.ones(3)),
    ],
)
def test_an_unknown_model_is_refused_with_those_known(use):
    with pytest.raises(ValueError, match=re.escape(f"covariance model is 'gaussian'; {KNOWN}")):
        use()


@pytest.mark.parametrize("name", MODELS)
def test_every_model_is_a_correlation(name):
    found = correlation(name, np.linspace(0.0, 8.0, 200))
    assert found[0] == 1.0
    assert (np.diff(found) <= 0).all()
    assert 0.0 <= found[-1] < 0.01
