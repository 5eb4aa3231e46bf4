"""Kriging against published numbers, against pykrige and gstools, and against itself the slow way."""

from __future__ import annotations

from pathlib import Path

import gstools
import numpy as np
import pandas as pd
import pytest
import skgstat
from hypothesis import given, settings
from hypothesis import strategies as st
from pykrige.ok import OrdinaryKriging
from pykrige.uk import UniversalKriging

from fieldmap.geostatistics.covariance import Covariance
from fieldmap.geostatistics.kriging import krige, leave_one_out
from fieldmap.geostatistics.local_kriging import krige_local

MODELS = ("exponential", "spherical", "matern15")


def layout(seed, n=25, m=60):
    rng = np.random.default_rng(seed)
    south_west, north_east = np.array([4.5e5, 4.2e6]), np.array([4.505e5, 4.2003e6])
    coords = rng.uniform(south_west, north_east, (n, 2))
    targets = rng.uniform(south_west, north_east, (m, 2))
    return coords, rng.normal(3.0, 1.0, n), targets


def semivariance(covariance):
    """The same model as pykrige wants it: a function of parameters and distance, the nugget at 0 included."""

    def function(_, distance):
        shape = Covariance(covariance.model, covariance.partial_sill, covariance.range_m)
        return covariance.sill - shape(distance)

    return function


def pykrige(coords, values, targets, covariance, drift=None, target_drift=None, **options):
    common = {
        "variogram_model": "custom",
        "variogram_parameters": [],
        "variogram_function": semivariance(covariance),
    }
    if drift is None:
        model = OrdinaryKriging(*coords.T, values, **common, **options)
        mean, variance = model.execute("points", *targets.T)
    else:
        model = UniversalKriging(
            *coords.T, values, drift_terms=["specified"], specified_drift=list(drift.T), **common, **options
        )
        mean, variance = model.execute("points", *targets.T, specified_drift_arrays=list(target_drift.T))
    return np.asarray(mean), np.asarray(variance)


def gstools_model(covariance):
    if covariance.model == "matern15":
        # gstools scales distances in its Matérn by √ν, Rasmussen & Williams by √(2ν)
        return gstools.Matern(
            dim=2,
            var=covariance.partial_sill,
            len_scale=covariance.range_m / np.sqrt(2.0),
            nugget=covariance.nugget,
            nu=1.5,
        )
    kind = {"exponential": gstools.Exponential, "spherical": gstools.Spherical}[covariance.model]
    return kind(
        dim=2,
        var=covariance.partial_sill,
        len_scale=covariance.range_m,
        nugget=covariance.nugget,
        rescale=1.0,
    )


class TestIsaaksAndSrivastava:
    """Isaaks & Srivastava (1989), An Introduction to Applied Geostatistics, chapter 12; from memory.

    Seven samples, target (65, 137), C(h) = 10 exp(−0.3 h).
    """

    coords = np.array(
        [(61, 139), (63, 140), (64, 129), (68, 128), (71, 140), (73, 141), (75, 128)], dtype=float
    )
    values = np.array([477, 696, 227, 646, 606, 791, 783], dtype=float)
    covariance = Covariance("exponential", 10.0, 10 / 3)

    def test_estimate_and_variance(self):
        mean, variance = krige(self.coords, self.values, [(65, 137)], covariance=self.covariance)
        assert mean[0] == pytest.approx(592.73, abs=0.005)
        assert variance[0] == pytest.approx(8.96, abs=0.005)

    def test_weights(self):
        weights = [
            krige(self.coords, one_sample, [(65, 137)], covariance=self.covariance)[0][0]
            for one_sample in np.eye(7)
        ]
        assert weights == pytest.approx([0.173, 0.318, 0.129, 0.086, 0.151, 0.057, 0.086], abs=0.0005)
        assert sum(weights) == pytest.approx(1.0, abs=1e-14)


@pytest.mark.parametrize("model", MODELS)
@pytest.mark.parametrize("seed", range(20))
class TestReferenceLibraries:
    """To 1e-10 of the sill, mean and variance; gstools and pykrige give the variance of an observation."""

    def covariance(self, model, seed):
        rng = np.random.default_rng(seed + 1000)
        return Covariance(model, rng.uniform(0.5, 4.0), rng.uniform(20.0, 200.0), rng.uniform(0.05, 1.0))

    def test_ordinary(self, model, seed):
        coords, values, targets = layout(seed)
        covariance = self.covariance(model, seed)
        mean, variance = krige(coords, values, targets, covariance=covariance)
        tolerance = 1e-10 * covariance.sill
        expected_mean, expected_variance = pykrige(coords, values, targets, covariance)
        np.testing.assert_allclose(mean, expected_mean, rtol=0, atol=tolerance)
        np.testing.assert_allclose(variance, expected_variance, rtol=0, atol=tolerance)
        reference = gstools.krige.Ordinary(gstools_model(covariance), coords.T, values)
        reference(targets.T)
        np.testing.assert_allclose(mean, reference.field, rtol=0, atol=tolerance)
        np.testing.assert_allclose(variance, reference.krige_var, rtol=0, atol=tolerance)

    def test_universal(self, model, seed):
        coords, values, targets = layout(seed)
        covariance = self.covariance(model, seed)
        drift, target_drift = coords - coords.mean(axis=0), targets - coords.mean(axis=0)
        mean, variance = krige(
            coords, values, targets, covariance=covariance, drift=drift, target_drift=target_drift
        )
        tolerance = 1e-10 * covariance.sill
        expected_mean, expected_variance = pykrige(coords, values, targets, covariance, drift, target_drift)
        np.testing.assert_allclose(mean, expected_mean, rtol=0, atol=tolerance)
        np.testing.assert_allclose(variance, expected_variance, rtol=0, atol=tolerance)
        reference = gstools.krige.ExtDrift(gstools_model(covariance), coords.T, values, ext_drift=drift.T)
        reference(targets.T, ext_drift=target_drift.T)
        np.testing.assert_allclose(mean, reference.field, rtol=0, atol=tolerance)
        np.testing.assert_allclose(variance, reference.krige_var, rtol=0, atol=tolerance)


class TestTargetOnASample:
    covariance = Covariance("exponential", 1.0, 60.0, 0.3)

    def test_observation_is_the_sample_as_in_pykrige(self):
        coords, values, _ = layout(3)
        mean, variance = krige(coords, values, coords[[4, 7]], covariance=self.covariance)
        expected_mean, expected_variance = pykrige(coords, values, coords[[4, 7]], self.covariance)
        np.testing.assert_array_equal(mean, values[[4, 7]])
        np.testing.assert_array_equal(variance, 0.0)
        np.testing.assert_allclose(mean, expected_mean, atol=1e-10)
        np.testing.assert_allclose(variance, expected_variance, atol=1e-10)

    def test_latent_is_smooth_as_in_gstools(self):
        coords, values, _ = layout(3)
        mean, variance = krige(coords, values, coords, covariance=self.covariance, variance="latent")
        reference = gstools.krige.Ordinary(gstools_model(self.covariance), coords.T, values, exact=False)
        reference(coords.T)
        np.testing.assert_allclose(mean, reference.field, atol=1e-10)
        near, near_variance = krige(
            coords, values, coords + 1e-7, covariance=self.covariance, variance="observation"
        )
        np.testing.assert_allclose(mean, near, atol=1e-6)
        np.testing.assert_allclose(variance, near_variance - 0.3, atol=1e-6)

    def test_without_nugget_both_are_the_sample(self):
        coords, values, _ = layout(3)
        for kind in ("observation", "latent"):
            mean, variance = krige(
                coords, values, coords, covariance=Covariance("spherical", 1.0, 90.0), variance=kind
            )
            np.testing.assert_allclose(mean, values, atol=1e-10)
            np.testing.assert_allclose(variance, 0.0, atol=1e-10)


def test_latent_variance_is_less_by_the_nugget():
    coords, values, targets = layout(0)
    covariance = Covariance("matern15", 1.0, 60.0, 0.25)
    mean, variance = krige(coords, values, targets, covariance=covariance)
    latent_mean, latent = krige(coords, values, targets, covariance=covariance, variance="latent")
    np.testing.assert_array_equal(mean, latent_mean)
    np.testing.assert_allclose(variance - latent, 0.25, rtol=1e-12)


@pytest.mark.parametrize("n", [5, 63, 64, 65, 130])
def test_tiles_and_row_blocks_agree_with_the_kriging_equations(n):
    """The kriging system solved whole, Chilès & Delfiner (2012), eq. 3.17; 9000 targets make several tiles."""
    coords, values, targets = layout(n, n=n, m=9000)
    covariance = Covariance("exponential", 2.0, 70.0, 0.4)
    mean, variance = krige(coords, values, targets, covariance=covariance)
    system = np.ones((n + 1, n + 1))
    system[:n, :n] = covariance(np.linalg.norm(coords[:, None] - coords, axis=2))
    system[n, n] = 0.0
    right = np.ones((n + 1, len(targets)))
    right[:n] = covariance(np.linalg.norm(coords[:, None] - targets, axis=2))
    solution = np.linalg.solve(system, right)
    np.testing.assert_allclose(mean, values @ solution[:n], atol=1e-11)
    np.testing.assert_allclose(variance, covariance.sill - (solution * right).sum(axis=0), atol=1e-11)


class TestLeaveOneOut:
    def brute(self, coords, values, covariance, drift=None):
        residual, variance = np.empty((2, len(values)))
        for i in range(len(values)):
            others = np.arange(len(values)) != i
            drifts = {} if drift is None else {"drift": drift[others], "target_drift": drift[[i]]}
            mean, variance[i : i + 1] = krige(
                coords[others], values[others], coords[[i]], covariance=covariance, **drifts
            )
            residual[i] = values[i] - mean[0]
        return residual, variance

    @pytest.mark.parametrize("model", MODELS)
    def test_closed_form_equals_refits(self, model):
        coords, values, _ = layout(11)
        covariance = Covariance(model, 1.0, 80.0, 0.2)
        drift = np.column_stack([coords[:, 0], values + np.sin(coords[:, 1])])
        for columns in (None, drift):
            residual, variance = leave_one_out(coords, values, covariance=covariance, drift=columns)
            expected_residual, expected_variance = self.brute(coords, values, covariance, columns)
            np.testing.assert_allclose(residual, expected_residual, atol=1e-10)
            np.testing.assert_allclose(variance, expected_variance, atol=1e-10)

    def test_meuse(self):
        """Meuse zinc, 155 samples, from the installed scikit-gstat (Pebesma & Bivand 2005; GPL, not copied here).

        Spherical model of log zinc as published in the gstat vignette: nugget 0.0507, partial sill 0.5906,
        range 897 m.
        """
        table = pd.read_csv(Path(skgstat.__file__).parent / "data" / "samples" / "meuse.txt")
        coords, values = table[["x", "y"]].to_numpy(float), np.log(table["zinc"].to_numpy(float))
        covariance = Covariance("spherical", 0.5906, 897.0, 0.0507)
        residual, variance = leave_one_out(coords, values, covariance=covariance)
        expected_residual, expected_variance = self.brute(coords, values, covariance)
        np.testing.assert_allclose(residual, expected_residual, atol=1e-12)
        np.testing.assert_allclose(variance, expected_variance, atol=1e-12)

    def test_a_drift_that_hangs_on_one_sample(self):
        coords, values, _ = layout(1)
        dummy = np.zeros(len(values))
        dummy[6] = 1.0
        with pytest.raises(
            ValueError, match="without sample 6 the mean or a drift column cannot be estimated"
        ):
            leave_one_out(coords, values, covariance=Covariance("exponential", 1.0, 50.0, 0.1), drift=dummy)


class TestLocal:
    covariance = Covariance("exponential", 1.0, 60.0, 0.2)

    @pytest.mark.parametrize("model", MODELS)
    def test_all_samples_as_neighbours_is_kriging(self, model):
        coords, values, targets = layout(2, n=40, m=500)
        covariance = Covariance(model, 1.5, 90.0, 0.3)
        for kind in ("observation", "latent"):
            np.testing.assert_allclose(
                krige_local(coords, values, targets, covariance=covariance, neighbours=99, variance=kind),
                krige(coords, values, targets, covariance=covariance, variance=kind),
                atol=1e-11,
            )

    def test_same_neighbours_as_pykrige(self):
        coords, values, targets = layout(3, n=300, m=50)
        mean, variance = krige_local(coords, values, targets, covariance=self.covariance, neighbours=16)
        model = OrdinaryKriging(
            *coords.T,
            values,
            variogram_model="custom",
            variogram_parameters=[],
            variogram_function=semivariance(self.covariance),
        )
        reference = model.execute("points", *targets.T, n_closest_points=16, backend="loop")
        np.testing.assert_allclose(mean, reference[0], atol=1e-11)
        np.testing.assert_allclose(variance, reference[1], atol=1e-11)

    def test_far_samples_matter_little(self):
        """Against all 2000 samples."""
        coords, values, targets = layout(4, n=2000, m=400)
        near = krige_local(coords, values, targets, covariance=self.covariance)
        everything = krige(coords, values, targets, covariance=self.covariance)
        assert np.sqrt(np.mean((near[0] - everything[0]) ** 2)) < 0.02 * values.std()
        np.testing.assert_allclose(near[1], everything[1], rtol=0.02)

    def test_target_on_a_sample(self):
        coords, values, _ = layout(5, n=100)
        mean, variance = krige_local(coords, values, coords, covariance=self.covariance)
        np.testing.assert_array_equal(mean, values)
        np.testing.assert_array_equal(variance, 0.0)
        mean, variance = krige_local(coords, values, coords, covariance=self.covariance, variance="latent")
        assert (np.abs(mean - values) > 0).all()
        assert (variance > 0).all()

    def test_refusals(self):
        coords, values, targets = layout(6)
        with pytest.raises(ValueError, match="25 samples and 1 neighbours; expected two or more of each"):
            krige_local(coords, values, targets, covariance=self.covariance, neighbours=1)
        with pytest.raises(ValueError, match="variance is 'both'; expected 'observation' or 'latent'"):
            krige_local(coords, values, targets, covariance=self.covariance, variance="both")
        coords[9] = coords[2]
        with pytest.raises(ValueError, match="samples 2 and 9 are at the same place and the nugget is 0"):
            krige_local(coords, values, targets, covariance=Covariance("exponential", 1.0, 60.0))


@given(st.integers(0, 10**6), st.sampled_from(MODELS), st.floats(0.0, 1.0))
@settings(max_examples=40, deadline=None)
def test_constant_values_give_a_constant_surface_and_variance_ignores_values(seed, model, nugget):
    coords, values, targets = layout(seed, n=12, m=20)
    covariance = Covariance(model, 1.0, 50.0, nugget + 0.01)
    mean, variance = krige(coords, np.full(12, 7.5), targets, covariance=covariance)
    np.testing.assert_allclose(mean, 7.5, rtol=1e-12)
    np.testing.assert_array_equal(variance, krige(coords, values, targets, covariance=covariance)[1])


@given(st.integers(0, 10**6), st.randoms(use_true_random=False))
@settings(max_examples=25, deadline=None)
def test_sample_order_and_place_do_not_matter(seed, random):
    coords, values, targets = layout(seed)
    covariance = Covariance("spherical", 1.0, 150.0, 0.2)
    order = random.sample(range(len(values)), len(values))
    shift = np.array([random.randint(-1000, 1000) * 2.5, random.randint(-1000, 1000) * 2.5])
    expected = krige(coords, values, targets, covariance=covariance)
    found = krige(coords[order] + shift, values[order], targets + shift, covariance=covariance)
    np.testing.assert_allclose(found, expected, atol=1e-8)  # metres of a UTM northing have 9 decimals


def test_scaling_and_shifting_a_drift_changes_nothing():
    coords, values, targets = layout(5)
    covariance = Covariance("exponential", 1.0, 60.0, 0.2)
    expected = krige(coords, values, targets, covariance=covariance, drift=coords, target_drift=targets)
    found = krige(
        coords, values, targets, covariance=covariance, drift=3 * coords - 1e6, target_drift=3 * targets - 1e6
    )
    np.testing.assert_allclose(found, expected, atol=1e-8)


def test_no_targets():
    coords, values, _ = layout(0)
    mean, variance = krige(coords, values, np.empty((0, 2)), covariance=Covariance("exponential", 1.0, 60.0))
    assert mean.shape == variance.shape == (0,)


class TestRefusals:
    good = Covariance("exponential", 1.0, 60.0)

    @pytest.mark.parametrize(
        ("fields", "message"),
        [
            (
                ("gaussian", 1.0, 60.0),
                "covariance model is 'gaussian'; expected one of 'exponential', 'spherical', 'matern15'",
            ),
            (("exponential", -1.0, 60.0), "partial_sill is -1.0; expected a finite number of 0 or more"),
            (
                ("exponential", 1.0, 60.0, float("nan")),
                "nugget is nan; expected a finite number of 0 or more",
            ),
            (("exponential", 1.0, 0.0), "range_m is 0.0; expected a finite number of metres above 0"),
            (
                ("exponential", 0.0, 60.0, 0.0),
                "partial_sill and nugget are both 0; at least one must be above 0",
            ),
        ],
    )
    def test_covariance(self, fields, message):
        with pytest.raises(ValueError, match=message):
            Covariance(*fields)

    def test_same_place_without_nugget(self):
        coords, values, targets = layout(0)
        coords[9] = coords[2]
        with pytest.raises(
            ValueError, match="samples 2 and 9 are at the same place and the nugget is 0; average them"
        ):
            krige(coords, values, targets, covariance=self.good)
        mean, variance = krige(coords, values, targets, covariance=Covariance("exponential", 1.0, 60.0, 0.1))
        assert np.isfinite([mean, variance]).all()

    def test_nearly_singular(self):
        coords, values, targets = layout(0)
        coords[9] = coords[2] + 1e-7
        with pytest.raises(ValueError, match="singular: samples lie very close together"):
            krige(coords, values, targets, covariance=Covariance("matern15", 1.0, 1e6))

    @pytest.mark.parametrize(
        ("change", "message"),
        [
            ({"coords": np.zeros((25, 3))}, r"coords has shape \(25, 3\); expected \(points, 2\)"),
            ({"targets": [[0.0, np.nan]]}, "targets, row 0: position .* is not finite"),
            ({"values": np.zeros(24)}, r"values has shape \(24,\); expected 25 finite numbers"),
            ({"drift": np.zeros(25)}, "drift and target_drift go together"),
            (
                {"drift": np.ones(25), "target_drift": np.ones(60)},
                "a drift column is constant over the samples",
            ),
            (
                {"drift": np.arange(25.0), "target_drift": np.ones(59)},
                r"target_drift has shape \(59, 1\); expected \(60, 1\)",
            ),
            ({"drift": np.arange(24.0), "target_drift": np.ones(60)}, "drift has 24 rows; expected 25"),
            (
                {"drift": np.outer(np.arange(25.0), [1, 2]), "target_drift": np.ones((60, 2))},
                "25 samples cannot tell a mean and 2 drift columns apart",
            ),
            ({"variance": "nugget"}, "variance is 'nugget'; expected 'observation' or 'latent'"),
        ],
    )
    def test_arguments(self, change, message):
        coords, values, targets = layout(0)
        arguments = {
            "coords": coords,
            "values": values,
            "targets": targets,
            "covariance": self.good,
            **change,
        }
        with pytest.raises(ValueError, match=message):
            krige(**arguments)


@pytest.mark.parametrize("model", MODELS)
def test_covariance_at_zero_and_far_away(model):
    covariance = Covariance(model, 2.0, 30.0, 0.5)
    assert covariance(0.0) == pytest.approx(2.5)
    assert covariance(1e-6) == pytest.approx(2.0, abs=1e-6)
    assert covariance(1e4) == pytest.approx(0.0, abs=1e-12)
