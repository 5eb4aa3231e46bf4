"""Zones against one rate: nitrogen short and over, money, chance, and the words for them."""

from __future__ import annotations

import numpy as np
import pytest
from support.money import PRICES, RESPONSE

from fieldmap import read_plan, run
from fieldmap.advice.verdict import change_text, verdict_text
from fieldmap.budget.response import Economics
from fieldmap.export.formats.result_json import figures
from fieldmap.report.summary import by_number_text, driven_text
from fieldmap.verdict.binding import Bind, Binding
from fieldmap.verdict.flat_rates import Way
from fieldmap.verdict.outcomes import Ground
from fieldmap.verdict.verdict import judge

MONEY = Economics(
    plateau_n_kg_ha=200.0, curvature_kg=0.25, crop_price=0.4, nitrogen_price=1.2, currency="USD"
)  # the synthetic curve: 194 kg/ha pays best


FREE = Binding(one_rate=1e6, lost={Bind.RATE_STEP: 1.0}, nothing_due=False)
EVEN = Binding(one_rate=0.0, lost={Bind.RATE_STEP: 1.0}, nothing_due=False)


def ground(supply, rate, flat=100.0, *, money=None, factor=1.0, target=194.0):
    supply = np.asarray(supply, dtype=float)
    points = len(supply)
    return Ground(
        cells=np.ones(points),
        rate_n_kg_ha=np.asarray(rate, dtype=float),
        flats_n_kg_ha={"one": np.full(points, float(flat))},
        supply=supply,
        supply_all_doubt=supply * factor,
        target=np.full((points, 1), target),
        recovery=np.ones((points, 1)),
        money=money,
        area_ha=2.0,
    )


def judged(ground, bound=FREE, **known):
    return judge(ground, bound, pattern=True, unmixed=False, same_rates=False, **known)


@pytest.mark.parametrize("recovery", [1.0, 0.6])
@pytest.mark.parametrize("supply", [-20.0, 60.0, 180.0, 197.0, 230.0])
def test_money_lost_is_against_the_best_of_every_rate(supply, recovery):
    """Profit by the curve itself, rate by rate."""
    rates = np.linspace(0, 500, 500_001)

    def profit(rate):
        n = np.minimum(supply + recovery * rate, 200.0)
        return 400 * (10 + 0.10 * n - 0.00025 * n**2) - 1.2 * rate

    for rate in (0.0, 40.0, 130.0, 260.0):
        lost = MONEY.lost_ha(np.array([supply]), np.array([rate]), np.array([recovery]))[0]
        assert lost == pytest.approx(profit(rates).max() - profit(rate), abs=1e-3)


def test_short_costs_more_than_over():
    short = MONEY.lost_ha(np.array([100.0]), np.array([94.0 - 60.0]), np.ones(1))
    over = MONEY.lost_ha(np.array([100.0]), np.array([94.0 + 60.0]), np.ones(1))
    assert short[0] == pytest.approx(0.00025 * 60**2 * 400)
    assert over[0] < short[0] / 4


def test_short_and_over_are_counted_apart():
    supply = np.tile([[50.0], [150.0]], (1, 4))  # 144 and 44 due
    found = ground(supply, [144.0, 44.0]).outcome("one", np.array([94.0, 94.0]))
    assert found.short_n_kg == pytest.approx(25.0 * 2.0)
    assert found.over_n_kg == pytest.approx(25.0 * 2.0)
    assert found.off_share == 1.0
    assert found.zones_better == 1.0
    assert found.money_lost_ha is None


def test_worth_it_in_money_says_what_is_saved():
    supply = np.repeat(np.array([[20.0], [180.0]]), 100, axis=1) + np.linspace(-5, 5, 100)
    found = judged(ground(supply, [174.0, 14.0], money=MONEY))
    assert found.answer == "worth it"
    # One rate: 74 short in one half, 0.00025 × 74² × 400 $; 80 over the 200 in the other, 1.20 $ a kg.
    half_short, half_over = 0.00025 * 74**2 * 400, (100 - 14) * 1.2 - 0.1 * 6**2
    assert found.gain_money_ha == pytest.approx((half_short + half_over) / 2, rel=0.02)
    assert (
        f"zones save USD\N{NO-BREAK SPACE}{round(found.gain_money_ha)}/ha over the best one rate"
        in verdict_text(found, "metric")
    )
    assert found.rate_without_insurance_kg_ha == pytest.approx(94.0)


def test_a_saving_below_the_price_of_ten_kg_of_nitrogen_is_not_worth_it():
    supply = np.repeat(np.array([[90.0], [110.0]]), 100, axis=1)
    found = judged(ground(supply, [104.0, 84.0], 94.0, money=MONEY), EVEN)
    assert 0 < found.gain_money_ha < 12.0
    assert found.answer == "not worth it"
    assert "differs more from place to place" in change_text(found)


def test_what_would_change_it_follows_the_doubt():
    rng = np.random.default_rng(3)
    base = np.array([[70.0], [120.0]])
    by_release = np.maximum(0, 1 + 0.5 * rng.standard_normal(400))
    sure_map = judged(ground(np.repeat(base, 400, axis=1), [124.0, 74.0], factor=by_release))
    doubtful = base + 60 * rng.standard_normal((2, 400))
    sure_release = judged(ground(doubtful, [124.0, 74.0]))
    assert (sure_map.answer, sure_release.answer) == ("closer to the need", "cannot tell")
    assert "Check strips that show the crop gets much less" in change_text(sure_map)
    assert "More samples, or a covariate, would settle it" in change_text(sure_release)


def test_three_flat_rates_stand_beside_the_zones(plan_folder):
    result = run(read_plan(plan_folder(extra=PRICES.replace('crop = "400 USD/t"', ""))))
    told = figures(result)["verdict"]
    names = [way["spread"] for way in told["ways"]]
    assert names == ["zones", Way.LESS_CREDIT, Way.SAME_TOTAL, Way.COVER_IGNORED]
    zones, less_credit, same_total, ignored = told["ways"]
    total_n_kg = sum(zone.rate_n_kg_ha * zone.area_ha for zone in result.spread.zone_map.zones)
    # What the ground receives: a few per cent land beyond the boundary, of the one rate as of the zones.
    received_n_kg = same_total["rate_n_kg_ha"] * result.field.area_ha
    assert 0.94 * total_n_kg < received_n_kg < total_n_kg
    assert received_n_kg == pytest.approx(zones["rate_n_kg_ha"] * result.field.area_ha, rel=0.01)
    assert zones["n_short_kg"] + zones["n_over_kg"] < less_credit["n_short_kg"] + less_credit["n_over_kg"]
    assert ignored["n_over_kg"] > 3 * less_credit["n_over_kg"]
    assert ignored["n_short_kg"] < 0.01 * total_n_kg  # at the edges alone
    assert ignored["rate_n_kg_ha"] == pytest.approx(220.0 * received_n_kg / total_n_kg, abs=5.0)
    assert "money_lost_ha" not in zones
    assert "chance_zones_better" not in zones
    assert less_credit["chance_zones_better"] == told["chance"]


def test_nitrogen_over_stands_beside_the_money(plan_folder):
    result = run(read_plan(plan_folder(extra=PRICES + RESPONSE)))
    told = figures(result)["verdict"]
    assert [way["spread"] for way in told["ways"]][1] == Way.LEAST_MONEY
    assert all(way["money_lost_ha"] >= 0 for way in told["ways"])
    zones, best_flat = told["ways"][:2]
    assert told["money_saved_ha"] == pytest.approx(
        best_flat["money_lost_ha"] - zones["money_lost_ha"], abs=0.02
    )
    assert zones["money_lost_ha"] < min(way["money_lost_ha"] for way in told["ways"][1:])
    # Being short costs more than being over, so the rates lie above what the expected credit alone asks for.
    assert told["rate_n_without_insurance_kg_ha"] < zones["rate_n_kg_ha"]
    assert zones["n_over_kg"] > 0
    assert "money_lost_ha" in figures(result)["zones_by_number"][0]


def test_the_first_screen_says_loss_by_number_and_what_is_delivered(plan_folder):
    result = run(read_plan(plan_folder(extra=PRICES + RESPONSE)))
    text = by_number_text(result.applications[0], "metric", "USD")
    missed = [round(one.loss**0.5 * 0.46) for one in result.spread.level_sets]
    assert text.startswith(
        ", ".join(f"{k}: {rate}" for k, rate in enumerate(missed, start=1)) + " kg/ha of nitrogen"
    )
    assert f"USD\N{NO-BREAK SPACE}{round(result.spread.level_sets[0].money_ha)}/ha" in text
    delivery = result.spread.delivery
    assert driven_text(result.applications[0], "metric") == (
        f"{delivery.within_tenth * 100:.0f} % of the area receives its rate within 10 %; "
        f"{delivery.short_kg * 0.46:.0f} kg of nitrogen short, {delivery.over_kg * 0.46:.0f} kg over; "
        f"the map is best read {delivery.look_ahead_m:.0f} m ahead"
    )
