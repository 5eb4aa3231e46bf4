"""The surface: the formulas written out one model at a time, refits, invented truths, and refusals."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import t as student

from fieldmap.advice.verdict import no_pattern_text
from fieldmap.geostatistics.covariance import Covariance, distance_matrix
from fieldmap.geostatistics.kriging import krige
from fieldmap.geostatistics.likelihood import (
    NORMAL_90,
    RANGES,
    SHARES,
    SLOPE_PRIOR_SAMPLES,
    decompose,
    mean_model_weights,
    pool,
    spatial_models,
    spread,
)
from fieldmap.geostatistics.surface import fit_surface, joint, predict
from fieldmap.geostatistics.tiles import one_blas_thread


def field(seed, n, *, range_m=60.0, share=0.8, mean=3200.0, sd=800.0, targets=200):
    """An invented stand on 600 × 220 m: samples (with nugget), targets and the latent truth there."""
    rng = np.random.default_rng(seed)
    places = rng.uniform([0, 0], [600, 220], (n + targets, 2))
    correlations = np.exp(-distance_matrix(places, places) / range_m)
    with one_blas_thread():
        root = np.linalg.cholesky(share * correlations + 1e-10 * np.eye(n + targets))
    latent = root @ rng.normal(size=n + targets)
    values = mean + sd * (latent[:n] + np.sqrt(1 - share) * rng.normal(size=n))
    return places[:n], values, places[n:], mean + sd * latent[n:]


class TestAveragingWrittenOut:
    """One kriging a spatial model, then the weighted sums of geostatistics as anyone would write them."""

    coords, values, targets, _ = field(4, 14, targets=25)

    def by_hand(self, covariate=None, target_covariate=None):
        """Likelihood weights of all spatial models; mean, latent variance and nugget of each."""
        distance = distance_matrix(self.coords, self.coords)
        to_targets = distance_matrix(self.coords, self.targets)
        x, at_targets = np.zeros(len(self.values)), np.zeros(len(self.targets))
        if covariate is not None:
            x, at_targets = (
                (part - covariate.mean()) / covariate.std() / SLOPE_PRIOR_SAMPLES**0.5
                for part in (covariate, target_covariate)
            )
        n, weights, means, variances, nuggets = len(self.values), [], [], [], []
        for i, range_m in enumerate(RANGES * distance.max()):
            for share in SHARES if i == 0 else SHARES[1:]:
                v = share * np.exp(-distance / range_m) + (1 - share) * np.eye(n) + np.outer(x, x)
                c = share * np.exp(-to_targets / range_m) + np.outer(x, at_targets)
                inverse, ones = np.linalg.inv(v), np.ones(n)
                b = ones @ inverse @ self.values / (ones @ inverse @ ones)
                s2 = (self.values - b) @ inverse @ (self.values - b) / (n - 1)
                log_determinants = np.linalg.slogdet(v)[1] + np.log(ones @ inverse @ ones)
                weights.append(np.exp(-0.5 * ((n - 1) * np.log(s2 / 1e6) + log_determinants)))
                mean = b + c.T @ inverse @ (self.values - b)
                lost = (1 - ones @ inverse @ c) ** 2 / (ones @ inverse @ ones)
                variance = s2 * (share + at_targets**2 - np.einsum("ij,ij->j", c, inverse @ c) + lost)
                if covariate is None:
                    covariance = Covariance("exponential", s2 * share, range_m, s2 * (1 - share))
                    known = krige(
                        self.coords, self.values, self.targets, covariance=covariance, variance="latent"
                    )
                    np.testing.assert_allclose([mean, variance], known, rtol=1e-9, atol=1e-6)
                means.append(mean)
                variances.append(variance * spread(n - 1))
                nuggets.append(s2 * (1 - share) * spread(n - 1))
        return np.array(weights) / sum(weights), np.array(means), np.array(variances), np.array(nuggets)

    @staticmethod
    def average(weights, means, variances, nuggets):
        """Mean, standard error and that of a new sample; models of little weight left out."""
        weights = np.where(weights < 0.005, 0.0, weights)
        weights = weights / weights.sum()
        mean = weights @ means
        variance = weights @ (variances + (means - mean) ** 2)
        return mean, np.sqrt(variance), np.sqrt(variance + weights @ nuggets)

    def test_kriging(self):
        fit = fit_surface(self.coords, self.values)
        assert fit.method == "kriging"
        found = predict(fit, self.targets)
        mean, se, se_new_sample = self.average(*self.by_hand())
        np.testing.assert_allclose(found.mean, mean, rtol=1e-10)
        np.testing.assert_allclose(found.se, se, rtol=1e-9)
        np.testing.assert_allclose(found.se_new_sample, se_new_sample, rtol=1e-9)

    def test_a_covariate_is_one_more_term_of_the_covariance(self):
        rng = np.random.default_rng(1)
        covariate, target_covariate = self.values + rng.normal(0, 2500, 14), rng.normal(3200, 2500, 25)
        fit = fit_surface(self.coords, self.values, covariates=covariate)
        assert 0.2 < fit.covariate_weight < 0.98  # so that both parts tell
        plain, tracked = self.by_hand(), self.by_hand(covariate, target_covariate)
        weights = np.concatenate([(1 - fit.covariate_weight) * plain[0], fit.covariate_weight * tracked[0]])
        parts = (np.concatenate(pair) for pair in zip(plain[1:], tracked[1:], strict=True))
        mean, se, se_new_sample = self.average(weights, *parts)
        found = predict(fit, self.targets, target_covariates=target_covariate)
        np.testing.assert_allclose(found.mean, mean, rtol=1e-10)
        np.testing.assert_allclose(found.se, se, rtol=1e-9)
        np.testing.assert_allclose(found.se_new_sample, se_new_sample, rtol=1e-9)

    def test_field_mean_keeps_the_spatial_doubt(self):
        coords, values, targets, _ = field(7, 14, share=0.0, targets=25)
        fit = fit_surface(coords, values)
        assert fit.method == "field mean"
        found = predict(fit, targets)
        np.testing.assert_allclose(found.mean, values.mean(), rtol=1e-12)
        self.coords, self.values, self.targets = coords, values, targets
        weights, means, variances, _ = self.by_hand()
        weights = np.where(weights < 0.005, 0.0, weights)
        weights /= weights.sum()
        expected = np.sqrt(weights @ (variances + (means - values.mean()) ** 2))
        np.testing.assert_allclose(found.se, expected, rtol=1e-9)
        assert (found.se > values.std(ddof=1) / np.sqrt(14)).all()


@pytest.mark.parametrize("columns", [(0,), (0, 1), (0, 1, 2)])
def test_closed_form_leave_one_out_equals_complete_refits(columns):
    """Each sample left out of mean, variance and model weights alike; only the ranges stay."""
    coords, values, _, _ = field(2, 16)
    rng = np.random.default_rng(0)
    z = (values - values.mean()) / values.std()
    design = np.column_stack([np.ones(16), z + rng.normal(size=16), rng.normal(size=16)])
    distance = distance_matrix(coords, coords)
    ranges_m = RANGES * distance.max()
    found = spatial_models(decompose(distance, ranges_m), z, design, columns, 1).leave_one_out
    slopes = design[:, columns[1:]] @ design[:, columns[1:]].T / SLOPE_PRIOR_SAMPLES
    dof = 14
    for i in range(16):
        others = np.arange(16) != i
        refit = spatial_models(
            decompose(distance[np.ix_(others, others)], ranges_m), z[others], design[others], columns, 1
        )
        means, variances = [], []
        for k in range(len(refit.weights)):
            share, range_m = refit.shares[k], ranges_m[refit.range_index[k]]
            v = share * np.exp(-distance / range_m) + (1 - share) * np.eye(16) + slopes
            inverse, c, ones = np.linalg.inv(v[np.ix_(others, others)]), v[others, i], np.ones(15)
            b = ones @ inverse @ z[others] / (ones @ inverse @ ones)
            s2 = (z[others] - b) @ inverse @ (z[others] - b) / dof
            lost = (1 - ones @ inverse @ c) ** 2 / (ones @ inverse @ ones)
            means.append(b + c @ inverse @ (z[others] - b))
            variances.append(s2 * (v[i, i] - c @ inverse @ c + lost))
        means, variances = np.array(means), np.array(variances)
        mean = refit.weights @ means
        assert found.predicted[i] == pytest.approx(mean, abs=1e-9)
        expected = refit.weights @ (spread(dof) * variances + (means - mean) ** 2)
        assert found.variance[i] == pytest.approx(expected, abs=1e-9)
        density = refit.weights @ student.pdf(z[i], dof, means, np.sqrt(variances))
        assert found.log_density[i] == pytest.approx(np.log(density), abs=1e-9)


def test_spread_makes_90_percent_intervals_of_students_t():
    for dof in (1, 2, 5, 29):
        half_width = NORMAL_90 * np.sqrt(spread(dof))
        assert student.cdf(half_width, dof) - student.cdf(-half_width, dof) == pytest.approx(0.9, abs=1e-9)
    assert spread(10**6) == pytest.approx(1.0, abs=1e-5)


def test_odds_of_three_to_one_for_covariates_are_shared_among_sets_of_them():
    coords, values, _, _ = field(2, 16)
    z = (values - values.mean()) / values.std()
    distance = distance_matrix(coords, coords)
    ranges = decompose(distance, RANGES * distance.max())
    design = np.column_stack([np.ones(16), np.random.default_rng(0).normal(size=(16, 2))])
    models = [spatial_models(ranges, z, design, columns, 1) for columns in ((0,), (0, 1), (0, 2), (0, 1, 2))]
    scores = np.array([np.exp(model.leave_one_out.score) for model in models])
    for count, prior in ((1, [1.0]), (2, [1.0, 3.0]), (4, [1.0, 1.0, 1.0, 1.0])):
        weights = scores[:count] * prior
        np.testing.assert_allclose(mean_model_weights(models[:count]), weights / weights.sum(), rtol=1e-12)


def test_pooling_two_predictions():
    coords, values, _, _ = field(1, 12)
    z = (values - values.mean()) / values.std()
    distance = distance_matrix(coords, coords)
    design = np.column_stack([np.ones(12), np.linspace(-1, 1, 12)])
    ranges = decompose(distance, RANGES * distance.max())
    one, two = (spatial_models(ranges, z, design, columns, 1).leave_one_out for columns in ((0,), (0, 1)))
    both = pool([one, two], np.array([0.25, 0.75]))
    np.testing.assert_allclose(both.predicted, 0.25 * one.predicted + 0.75 * two.predicted)
    np.testing.assert_allclose(
        np.exp(both.log_density), 0.25 * np.exp(one.log_density) + 0.75 * np.exp(two.log_density)
    )
    moment = 0.25 * (one.variance + one.predicted**2) + 0.75 * (two.variance + two.predicted**2)
    np.testing.assert_allclose(both.variance, moment - both.predicted**2)


class TestJoint:
    @pytest.mark.parametrize(("seed", "share"), [(0, 0.9), (7, 0.0)])
    def test_agrees_with_predict_and_is_a_covariance(self, seed, share):
        coords, values, targets, _ = field(seed, 14, share=share)
        fit = fit_surface(coords, values)
        assert fit.method == ("kriging" if share else "field mean")
        mean, covariance = joint(fit, targets)
        found = predict(fit, targets)
        np.testing.assert_allclose(mean, found.mean, rtol=1e-12)
        np.testing.assert_allclose(np.sqrt(np.diag(covariance)), found.se, rtol=1e-10)
        np.testing.assert_array_equal(covariance, covariance.T)
        assert np.linalg.eigvalsh(covariance).min() > -1e-9 * covariance.max()

    def test_with_covariates_and_strata(self):
        coords, values, targets, _ = field(3, 30)
        rng = np.random.default_rng(0)
        covariates, target_covariates = rng.normal(size=(30, 2)), rng.normal(size=(200, 2))
        strata, target_strata = rng.choice(["east", "west"], 30), rng.choice(["east", "west"], 200)
        fit = fit_surface(coords, values + 900 * (strata == "east"), covariates=covariates, strata=strata)
        options = {"target_covariates": target_covariates, "target_strata": target_strata}
        mean, covariance = joint(fit, targets, **options)
        found = predict(fit, targets, **options)
        np.testing.assert_allclose(mean, found.mean, rtol=1e-12)
        np.testing.assert_allclose(np.sqrt(np.diag(covariance)), found.se, rtol=1e-10)

    def test_many_targets_in_tiles(self):
        coords, values, _, _ = field(0, 70)
        targets = np.random.default_rng(0).uniform([0, 0], [600, 220], (9000, 2))
        fit = fit_surface(coords, values)
        found = predict(fit, targets)
        mean, covariance = joint(fit, targets[::30])
        np.testing.assert_allclose(found.mean[::30], mean, rtol=1e-11)
        np.testing.assert_allclose(found.se[::30], np.sqrt(np.diag(covariance)), rtol=1e-9)


class TestInvariance:
    @given(st.floats(-1e4, 1e4, allow_nan=False), st.integers(2, 40), st.integers(0, 1000))
    @settings(max_examples=30, deadline=None)
    def test_constant_samples_give_a_constant_surface(self, value, extra, seed):
        coords, _, targets, _ = field(seed, extra + 2, targets=20)
        fit = fit_surface(coords, np.full(extra + 2, value))
        found = predict(fit, targets)
        assert fit.method == "field mean"
        np.testing.assert_allclose(found.mean, value, rtol=1e-12)
        np.testing.assert_array_equal([found.se, found.se_new_sample], 0.0)
        np.testing.assert_array_equal(joint(fit, targets)[1], 0.0)
        assert fit.loo_rmse == fit.mean_only_rmse == 0.0

    @given(
        st.integers(0, 300),
        st.randoms(use_true_random=False),
        st.floats(0.1, 50.0),
        st.integers(-(10**5), 10**5),
    )
    @settings(max_examples=30, deadline=None)
    def test_order_place_and_unit_do_not_matter(self, seed, random, factor, cells):
        coords, values, targets, _ = field(seed, 15, targets=20)
        order = random.sample(range(15), 15)
        shift = np.array([2.5 * cells, -2.5 * cells])
        expected = predict(fit_surface(coords, values), targets)
        found = predict(fit_surface(coords[order] + shift, factor * values[order]), targets + shift)
        np.testing.assert_allclose(found.mean / factor, expected.mean, rtol=1e-7)
        np.testing.assert_allclose(found.se / factor, expected.se, rtol=1e-6)

    def test_unit_and_offset_of_a_covariate_do_not_matter(self):
        coords, values, targets, truth = field(5, 20)
        covariate = values + np.random.default_rng(0).normal(0, 500, 20)
        one = predict(fit_surface(coords, values, covariates=covariate), targets, target_covariates=truth)
        two = predict(
            fit_surface(coords, values, covariates=0.001 * covariate + 7),
            targets,
            target_covariates=0.001 * truth + 7,
        )
        np.testing.assert_allclose(two.mean, one.mean, rtol=1e-9)
        np.testing.assert_allclose(two.se, one.se, rtol=1e-9)

    def test_how_much_strata_differ_in_a_covariate_does_not_matter(self):
        """Their own means take that up."""
        coords, values, targets, truth = field(5, 20)
        covariate, strata, target_strata = values + np.arange(20) ** 2, np.arange(20) % 2, np.arange(200) % 2
        apart = [
            predict(
                fit_surface(coords, values, covariates=covariate + gap * strata, strata=strata),
                targets,
                target_covariates=truth + gap * target_strata,
                target_strata=target_strata,
            )
            for gap in (0.0, 5000.0)
        ]
        np.testing.assert_allclose(apart[1].mean, apart[0].mean, rtol=1e-9)
        np.testing.assert_allclose(apart[1].se, apart[0].se, rtol=1e-9)

    def test_a_stratum_label_is_only_a_name(self):
        coords, values, targets, _ = field(5, 20)
        plain, named = fit_surface(coords, values), fit_surface(coords, values, strata=["vetch"] * 20)
        np.testing.assert_allclose(
            predict(named, targets, target_strata=["vetch"] * 200).mean,
            predict(plain, targets).mean,
            rtol=1e-12,
        )


class TestRecoversATruth:
    def error(self, seeds, n, **truth):
        """Root mean squared error of surface and mean, and cover of the two 90 % intervals, over fields."""
        ours, means, latent_cover, new_cover = [], [], [], []
        for seed in seeds:
            coords, values, targets, latent = field(seed, n, **truth)
            found = predict(fit_surface(coords, values), targets)
            fresh = latent + np.random.default_rng(seed).normal(
                0, 800 * np.sqrt(1 - truth.get("share", 0.8)), 200
            )
            ours.append(np.sqrt(np.mean((found.mean - latent) ** 2)))
            means.append(np.sqrt(np.mean((values.mean() - latent) ** 2)))
            latent_cover.append(np.mean(np.abs(found.mean - latent) <= NORMAL_90 * found.se))
            new_cover.append(np.mean(np.abs(found.mean - fresh) <= NORMAL_90 * found.se_new_sample))
        ratio = np.exp(np.mean(np.log(np.array(ours) / means)))
        return ratio, np.mean(latent_cover), np.mean(new_cover)

    def test_a_patchy_stand(self):
        ratio, latent, new = self.error(range(30), 40, range_m=80.0)
        assert ratio < 0.85
        assert 0.80 < latent < 0.97
        assert 0.85 < new < 0.95

    def test_an_even_stand_stays_close_to_its_mean(self):
        _, latent, new = self.error(range(30), 30, share=0.0)
        assert latent > 0.95  # that the stand is even is nowhere assumed
        assert 0.85 < new < 0.96

    @pytest.mark.whole
    def test_a_covariate_that_tracks_the_stand_helps_and_a_useless_one_costs_little(self):
        none, good, useless = [], [], []
        for seed in range(25):
            coords, values, targets, latent = field(seed, 20)
            rng = np.random.default_rng(seed)
            at_samples = values + rng.normal(0, 600, 20)
            at_targets = latent + rng.normal(0, 600, 200)
            noise, target_noise = rng.normal(size=20), rng.normal(size=200)
            for errors, at, there in (
                (none, None, None),
                (good, at_samples, at_targets),
                (useless, noise, target_noise),
            ):
                found = predict(fit_surface(coords, values, covariates=at), targets, target_covariates=there)
                errors.append(np.log(np.sqrt(np.mean((found.mean - latent) ** 2))))
        assert np.exp(np.mean(good) - np.mean(none)) < 0.85
        assert np.exp(np.mean(useless) - np.mean(none)) < 1.06

    def test_strata_differ_in_mean(self):
        """Species in strips of 60 m, 1500 kg/ha apart."""
        ratios = []
        for seed in range(12):
            coords, values, targets, latent = field(seed, 30)
            rye, target_rye = coords[:, 0] // 60 % 2, targets[:, 0] // 60 % 2
            values, latent = values + 1500 * rye, latent + 1500 * target_rye
            found = predict(fit_surface(coords, values, strata=rye), targets, target_strata=target_rye)
            plain = predict(fit_surface(coords, values), targets)
            ratios.append(np.mean((found.mean - latent) ** 2) / np.mean((plain.mean - latent) ** 2))
        assert np.exp(np.mean(np.log(ratios))) < 0.7

    def test_mean_of_strata_left_out(self):
        coords, values, _, _ = field(8, 20)
        strata = np.arange(20) % 3
        fit = fit_surface(coords, values, strata=strata)
        errors = [values[i] - values[(strata == strata[i]) & (np.arange(20) != i)].mean() for i in range(20)]
        assert fit.mean_only_rmse == pytest.approx(np.sqrt(np.mean(np.square(errors))))


class TestFieldMean:
    def test_message(self):
        coords, values, _, _ = field(7, 14, share=0.0)
        fit = fit_surface(coords, values)
        assert no_pattern_text(fit, "kg/ha") == (
            "These 14 samples do not show a spatial pattern that improves on the field average "
            f"(leave-one-out error {fit.loo_rmse:.0f} vs {fit.mean_only_rmse:.0f} kg/ha). "
            f"The map is the field average {values.mean():.0f} ± {fit.mean_se:.0f} kg/ha. "
            "This does not show that the field is uniform: with 14 samples a real pattern would often go undetected. "
            "More samples or a covariate would help."
        )
        assert fit.loo_rmse > 0.95 * fit.mean_only_rmse
        assert f"± {fit.mean_se * 0.892:.0f} lb/ac." in no_pattern_text(fit, "lb/ac", per_unit=0.892)

    def test_no_message_when_there_is_a_pattern(self):
        coords, values, _, _ = field(0, 40, share=0.95, range_m=150.0)
        assert no_pattern_text(fit_surface(coords, values), "kg/ha") == ""

    def test_three_figures_for_percent(self):
        coords, values, _, _ = field(7, 14, share=0.0, mean=3.1, sd=0.2)
        assert f"field average {values.mean():.2f} ± 0.0" in no_pattern_text(fit_surface(coords, values), "%")

    @pytest.mark.parametrize("n", [3, 5, 7])
    def test_fewer_than_eight_samples(self, n):
        coords, values, targets, _ = field(0, n, share=0.97, range_m=200.0)
        fit = fit_surface(coords, values, covariates=values)
        found = predict(fit, targets, target_covariates=np.zeros(200))
        assert fit.method == "field mean"
        np.testing.assert_allclose(found.mean, values.mean())
        assert (found.se > values.std(ddof=1) / np.sqrt(n)).all()
        assert no_pattern_text(fit, "kg/ha").startswith(
            f"With {n} samples, fewer than 8, only a mean is given."
        )
        assert "does not show that the field is uniform" in no_pattern_text(fit, "kg/ha")

    def test_standard_error_of_the_mean(self):
        coords, values, _, _ = field(7, 14, share=0.0)
        interval = student.interval(0.9, 13, values.mean(), values.std(ddof=1) / np.sqrt(14))
        fit = fit_surface(coords, values)
        assert (fit.mean - NORMAL_90 * fit.mean_se, fit.mean + NORMAL_90 * fit.mean_se) == pytest.approx(
            interval
        )

    def test_samples_at_one_place(self):
        values = np.random.default_rng(0).normal(3000, 300, 10)
        fit = fit_surface(np.zeros((10, 2)), values)
        assert fit.method == "field mean"
        assert np.isfinite(predict(fit, [[0.0, 0.0], [5.0, 5.0]]).se).all()


class TestRefusals:
    coords, values, targets, _ = field(0, 12)

    @pytest.mark.parametrize(
        ("change", "message"),
        [
            ({"coords": np.zeros(12)}, r"coords has shape \(12,\); expected \(points, 2\)"),
            ({"values": np.zeros(11)}, r"values has shape \(11,\); expected 12 finite numbers"),
            ({"values": np.full(12, np.nan)}, "expected 12 finite numbers"),
            ({"covariates": np.zeros(11)}, "covariates has 11 rows; expected 12"),
            ({"covariates": np.full(12, np.nan)}, "covariates has shape .*; expected finite numbers"),
            ({"covariates": np.ones(12)}, "a covariate has the same value at all samples"),
            ({"strata": ["a"] * 11}, "strata has 11 rows; expected 12"),
            ({"strata": ["a"] * 11 + ["b"]}, "stratum b has a single sample; expected two or more in each"),
        ],
    )
    def test_fit(self, change, message):
        arguments = {"coords": self.coords, "values": self.values, **change}
        with pytest.raises(ValueError, match=message):
            fit_surface(**arguments)

    def test_too_few(self):
        with pytest.raises(ValueError, match="2 samples give no standard error; expected at least 3"):
            fit_surface(self.coords[:2], self.values[:2])

    def test_too_many(self):
        with pytest.raises(ValueError, match="2001 samples are too many .* expected at most 2000. Thin them"):
            fit_surface(np.zeros((2001, 2)), np.zeros(2001))

    def test_covariates_that_cannot_be_told_apart(self):
        with pytest.raises(
            ValueError, match="a covariate follows from the others or from the strata; leave it out"
        ):
            fit_surface(self.coords, self.values, covariates=np.outer(self.values, [1, 2]))
        strata = np.arange(12) % 2
        with pytest.raises(ValueError, match="a covariate has the same value at all samples of each stratum"):
            fit_surface(self.coords, self.values, covariates=3.0 * strata, strata=strata)
        only_one = np.zeros(12)
        only_one[5] = 1.0
        with pytest.raises(ValueError, match="reproduce sample 5 whatever its value"):
            fit_surface(self.coords, self.values, covariates=only_one)

    @pytest.mark.parametrize("ask", [predict, joint])
    def test_targets(self, ask):
        fit = fit_surface(self.coords, self.values, covariates=self.values**2, strata=["a", "b"] * 6)
        with pytest.raises(ValueError, match=r"target_covariates has shape \(200, 0\); expected \(200, 1\)"):
            ask(fit, self.targets)
        with pytest.raises(ValueError, match="stratum c holds no sample; the fit knows a, b"):
            ask(fit, self.targets, target_covariates=np.zeros(200), target_strata=["c"] * 200)
        with pytest.raises(ValueError, match="target_strata has 3 rows; expected 200"):
            ask(fit, self.targets, target_covariates=np.zeros(200), target_strata=["a"] * 3)
        with pytest.raises(ValueError, match="target_covariates has shape"):
            ask(fit, self.targets, target_covariates=np.full(200, np.nan), target_strata=["a"] * 200)
