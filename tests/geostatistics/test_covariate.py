"""Averaging a covariate raster over windows, and choosing the window."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from fieldmap.geostatistics.covariate import SCALES_M, choose_scale, smooth


class TestSmooth:
    def test_by_hand(self):
        raster = np.array([[1.0, 2.0, 3.0], [4.0, np.nan, 6.0], [7.0, 8.0, 9.0]])
        found = smooth(raster, cell_m=2.0, scale_m=6.0)
        corner, edge = (1 + 2 + 4) / 3, (1 + 2 + 3 + 4 + 6) / 5
        np.testing.assert_allclose(found[0], [corner, edge, (2 + 3 + 6) / 3])
        assert found[1, 1] == pytest.approx(40 / 8)

    def test_against_every_window(self):
        rng = np.random.default_rng(0)
        raster = rng.normal(0.6, 0.1, (23, 31))
        raster[rng.uniform(size=raster.shape) < 0.4] = np.nan
        raster[:, 20:27] = np.nan
        found = smooth(raster, cell_m=2.5, scale_m=12.5)
        for row, column in np.ndindex(raster.shape):
            window = raster[max(row - 2, 0) : row + 3, max(column - 2, 0) : column + 3]
            known = window[np.isfinite(window)]
            if len(known):
                assert found[row, column] == pytest.approx(known.mean(), rel=1e-12)
            else:
                assert np.isnan(found[row, column])

    @pytest.mark.parametrize("scale_m", [0.0, 2.5, 4.9])
    def test_less_than_three_cells_is_the_cell_itself(self, scale_m):
        raster = np.random.default_rng(0).normal(size=(5, 6))
        np.testing.assert_array_equal(smooth(raster, cell_m=2.5, scale_m=scale_m), raster)

    def test_large_values_lose_no_figures(self):
        raster = 1e9 + np.random.default_rng(0).normal(size=(200, 200))
        found = smooth(raster, cell_m=1.0, scale_m=21.0)
        assert found[100, 100] - 1e9 == pytest.approx((raster[90:111, 90:111] - 1e9).mean(), abs=1e-6)

    def test_nothing_known(self):
        assert np.isnan(smooth(np.full((4, 4), np.nan), cell_m=1.0, scale_m=3.0)).all()


class TestChooseScale:
    """An invented stand with patches, seen by a sensor whose noise differs from cell to cell."""

    def chosen(self, seed, noise):
        rng = np.random.default_rng(seed)
        stand = gaussian_filter(rng.normal(size=(100, 240)), 8)
        stand /= stand.std()
        seen = stand + noise * rng.normal(size=stand.shape)
        row, column = rng.integers(0, 100, 30), rng.integers(0, 240, 30)
        coords = 2.5 * np.column_stack([column, -row])
        values = stand[row, column] + 0.3 * rng.normal(size=30)
        candidates = np.column_stack(
            [smooth(seen, cell_m=2.5, scale_m=scale_m)[row, column] for scale_m in SCALES_M]
        )
        return SCALES_M[choose_scale(coords, values, candidates)]

    def test_a_noisy_sensor_is_averaged_and_a_clean_one_is_not(self):
        noisy = [self.chosen(seed, 2.0) for seed in range(10)]
        clean = [self.chosen(seed, 0.0) for seed in range(10)]
        assert min(noisy) >= 10.0
        assert np.mean(clean) < 0.6 * np.mean(noisy)

    def test_few_samples_take_the_finest(self):
        rng = np.random.default_rng(0)
        assert choose_scale(rng.uniform(0, 100, (5, 2)), rng.normal(size=5), rng.normal(size=(5, 4))) == 0

    def test_many_strata_leave_too_little_to_tell(self):
        rng = np.random.default_rng(0)
        coords, versions = rng.uniform(0, 100, (8, 2)), rng.normal(size=(8, 3))
        assert choose_scale(coords, rng.normal(size=8), versions, strata=np.arange(8) // 2) == 0

    def test_constant_versions_are_passed_over(self):
        rng = np.random.default_rng(0)
        candidates = np.column_stack([np.ones(12), rng.normal(size=12)])
        assert choose_scale(rng.uniform(0, 100, (12, 2)), rng.normal(size=12), candidates) == 1
        with pytest.raises(ValueError, match="same value at all samples at every scale; leave it out"):
            choose_scale(rng.uniform(0, 100, (12, 2)), rng.normal(size=12), np.ones((12, 4)))

    def test_strata(self):
        rng = np.random.default_rng(3)
        coords, strata = rng.uniform(0, 500, (24, 2)), np.repeat(["rye", "vetch"], 12)
        good, useless = rng.normal(size=24), rng.normal(size=24)
        values = good + 5 * (strata == "rye") + 0.1 * rng.normal(size=24)
        assert choose_scale(coords, values, np.column_stack([useless, good]), strata=strata) == 1
