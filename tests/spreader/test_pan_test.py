"""Pan tests: effective swath and coefficient of variation against patterns whose answer is known."""

from __future__ import annotations

import numpy as np
import pytest
from support.machines import field, spreader

from fieldmap import read_plan, run
from fieldmap.advice.machine import pan_test_warnings
from fieldmap.errors import InputError
from fieldmap.export.formats.result_json import figures
from fieldmap.plan.spreader import PanTest
from fieldmap.spreader.delivery import drive
from fieldmap.spreader.pan_test import effective_swath_m, overlap_cv
from fieldmap.spreader.passes import passes_over
from fieldmap.spreader.rates import reach_m, share_at


def trays(shape, *, spacing_m=1.0, reach_m=20):
    places = np.arange(-reach_m, reach_m + 1) * spacing_m
    return PanTest.model_validate({"spacing": f"{spacing_m} m", "weights": [float(shape(x)) for x in places]})


def triangle(x):
    return max(0.0, 1.0 - abs(x) / 20.0)


def trapezoid(x):
    return float(np.clip((15.0 - abs(x)) / 10.0, 0.0, 1.0))


def test_effective_swath_is_twice_the_distance_where_the_rate_is_half():
    # Ohio State Bulletin 817: a trapezoid that is flat to 5 m and nothing from 15 m is half at 10 m.
    assert effective_swath_m(trays(trapezoid)) == pytest.approx(20.0, abs=0.05)
    # A triangle's middle, the mean of three trays, is a little below its peak.
    assert effective_swath_m(trays(triangle)) == pytest.approx(
        2 * 20.0 * (1 - 0.5 * (1 + 2 * 0.95) / 3), abs=0.05
    )


@pytest.mark.parametrize("shape", [triangle, trapezoid])
def test_these_patterns_are_even_at_their_swath(shape):
    assert overlap_cv(trays(shape), 20.0) == pytest.approx(0.0, abs=1e-9)
    assert overlap_cv(trays(shape), 26.0) > 0.10


def test_cv_matches_the_sum_by_hand():
    """Seven trays 3 m apart at a swath of 12 m: each place gets its own pass and the next, turned round."""
    weights = [2.0, 5.0, 8.0, 10.0, 9.0, 6.0, 1.0]
    pan_test = PanTest.model_validate({"spacing": "3 m", "weights": weights})
    # To the next pass, driven back, two right sides meet: 9 + 1, 6 + 6, 1 + 9 at 3, 6, 9 m. Beyond it two left
    # sides: 8 + 2, 5 + 5, 2 + 8 at 15, 18, 21 m. Under the machine its own 10.
    total = np.array([10.0, 10.0, 12.0, 10.0, 10.0, 10.0, 10.0, 10.0])
    fine = np.interp(np.linspace(0, 8, 100_001), np.arange(9), [*total, total[0]])
    assert overlap_cv(pan_test, 12.0) == pytest.approx(fine.std() / fine.mean(), rel=1e-3)


def test_a_pattern_like_the_trapezoid_delivers_like_it():
    ground = field()
    keys = {"heading": "90 deg", "swath": "20 m"}
    by_name = spreader(**keys)
    measured = trays(trapezoid, reach_m=18)
    by_trays = spreader(**keys, pan_test=measured.model_dump() | {"spacing_m": "1 m"})
    distance = np.linspace(0, 25, 101)
    assert share_at(distance, by_trays) == pytest.approx(share_at(distance, by_name), abs=1e-9)
    assert reach_m(by_trays) == pytest.approx(15.0)
    meant = np.full(ground.grid.shape, 200.0)
    passes = passes_over(ground, by_name)
    one, other = (drive(passes, meant, ground, spreader=each) for each in (by_name, by_trays))
    np.testing.assert_allclose(one.received_kg_ha, other.received_kg_ha, atol=1e-6)


def test_an_uneven_pattern_reaches_the_ground_and_is_warned_of(plan_folder):
    weights = [1, 2, 4, 9, 20, 30, 20, 9, 4, 2, 1]  # most of it under the machine
    text = f'pan_test = {{ spacing = "1.5 m", weights = {weights} }}\nzone_min'
    result = run(read_plan(plan_folder(edits=[("zone_min", text)])))
    told = figures(result)["deliverable"]
    assert told["pattern_cv_percent"] > 15
    assert told["effective_swath_m"] < 8
    warning = next(text for text in result.warnings if "pan test varies by" in text)
    assert "above 15 % is poor, from memory" in warning
    even = run(read_plan(plan_folder(name="even")))
    assert result.spread.delivery.within_tenth < even.spread.delivery.within_tenth
    assert "pattern_cv_percent" not in figures(even)["deliverable"]
    assert pan_test_warnings(even.plan) == ()


@pytest.mark.parametrize(
    ("weights", "message"),
    [
        ([1, 2, 3, 3, 2, 1], "found 6 weights; an odd number is expected, the middle tray under the machine"),
        ([5, 3, 2, 3, 4], "found no more in the middle tray than in an outer one"),
        ([0, 1, 0], "at least 5 items"),
        ([1, -2, 9, 2, 1], "greater than or equal to 0"),
    ],
)
def test_pan_tests_that_cannot_be(plan_folder, weights, message):
    text = f'pan_test = {{ spacing = "1.5 m", weights = {weights} }}\nzone_min'
    with pytest.raises(InputError, match=message):
        read_plan(plan_folder(edits=[("zone_min", text)]))
