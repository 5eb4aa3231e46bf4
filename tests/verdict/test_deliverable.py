"""Where the machine cannot deliver the map, the one that it can is offered."""

from __future__ import annotations

import numpy as np
import pytest
from support.machines import field, spreader
from support.money import random_money
from support.small_fields import random_places

from fieldmap import read_plan, run
from fieldmap.export.formats.result_json import figures
from fieldmap.spreader.delivery import drive
from fieldmap.spreader.passes import passes_over
from fieldmap.zones.loss import SquaredLoss

WAVES = random_places(60, 11)


def waves(xy):
    """A stand that swings from thin to thick within 57 m along the heading."""
    x, y = np.asarray(xy).T
    return 4000.0 + 2500.0 * np.sin(x / 18.0) + 0.0 * y


def slow_to_change(plan_folder, seconds, **keys):
    edits = [
        ("zone_min", f'rate_change = "{seconds} s"\nspeed = "5 m/s"\nheading = "90 deg"\nzone_min'),
        ('zone_min = "0.2 ha"', 'zone_min = "0.1 ha"'),
        ('swath = "15 m"', 'swath = "12 m"'),
    ]
    return run(read_plan(plan_folder(edits=edits, xy=WAVES, dry_kg_ha=waves(WAVES), **keys)))


def test_runs_shorter_than_a_change_are_counted():
    ground = field()
    machine = spreader(heading="90 deg", speed="5 m/s", rate_change="4 s")  # 20 m
    stripes = np.where(np.arange(200) // 8 % 2 == 0, 100.0, 300.0) * np.ones((100, 1))  # every 16 m
    wide = np.where(np.arange(200) < 100, 100.0, 300.0) * np.ones((100, 1))
    passes = passes_over(ground, machine)
    assert drive(passes, stripes, ground, spreader=machine).short_runs > 0.8
    assert drive(passes, wide, ground, spreader=machine).short_runs < 0.05


def test_a_map_that_can_be_driven_brings_no_offer(plan_folder):
    result = run(read_plan(plan_folder()))
    assert result.spread.offer is None
    assert "driven_maps" not in figures(result)["deliverable"]


def test_the_map_that_loses_least_when_driven_is_offered(plan_folder):
    result = slow_to_change(plan_folder, 12)
    offer = result.spread.offer
    assert offer is not None
    tried = (offer.drawn, *offer.others)
    assert offer.best.loss == min(one.loss for one in tried)
    assert [one.zones for one in offer.others][:2] == [1, 2]
    assert offer.best is not offer.drawn
    text = next(text for text in result.warnings if "cannot follow this map" in text)
    assert "zones shorter than a rate change (60 m)" in text
    assert "serves the crop better with" in text
    told = figures(result)["deliverable"]["driven_maps"]
    assert sum(one["loses_least"] for one in told) == 1
    assert told[0]["drawn"]


def test_the_offered_loss_is_that_of_the_ground(plan_folder):
    result = slow_to_change(plan_folder, 12)
    received = result.spread.delivery.received_kg_ha * 0.46
    zoned = np.isfinite(result.spread.zone_map.rate_n_kg_ha)
    loss_n = ((received - result.budget.supplemental_kg_ha)[zoned] ** 2).mean()
    assert figures(result)["deliverable"]["driven_maps"][0]["loss"] == pytest.approx(loss_n, rel=1e-3)


def test_loss_at_rates_of_their_own_agrees_with_that_of_groups():
    desired = np.array([[10.0, 40.0, np.nan, 90.0]])
    assert SquaredLoss(desired).mean_at(np.array([[20.0, 40.0, 7.0, 60.0]])) == pytest.approx((100 + 900) / 3)
    loss = random_money(np.random.default_rng(2), 50)
    for rate in (0.0, 70.0, 210.0):
        each = loss.of_groups(np.zeros((1, 50), dtype=int), 1, np.array([rate]))[0, 0] / 50
        assert loss.mean_at(np.full((1, 50), rate)) == pytest.approx(each)
