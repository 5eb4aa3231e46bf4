"""Money lost by a rate: against numerical integration, exhaustive search and the synthetic optimum."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats
from support.money import PRICES, RESPONSE, random_money

from fieldmap import read_plan, run
from fieldmap.advice.machine import response_warnings
from fieldmap.budget.response import economics, mean_shortfall, mean_squared_shortfall, short_for
from fieldmap.errors import InputError
from fieldmap.spreader.rates import rate_steps
from fieldmap.zones.levels import best_levels
from fieldmap.zones.loss import MoneyLoss, SquaredLoss
from fieldmap.zones.shapes import shape_zones

# agronomy of the synthetic optimum: Y = 10 + 0.10 N - 0.00025 N² t/ha, N at 1.20 $/kg, crop at 400 $/t.


def money_plan(plan_folder, **keys):
    return read_plan(plan_folder(extra=PRICES + RESPONSE, **keys))


def test_the_synthetic_optimum(plan_folder):
    money = economics(plan := money_plan(plan_folder), plan.spreader.product_entry)
    assert money.nitrogen_price == pytest.approx(1.20)
    assert money.plateau_n_kg_ha == pytest.approx(200.0)
    assert money.best_supply_kg_ha() == pytest.approx((0.10 - 0.003) / 0.0005)  # 194 kg/ha
    assert money.curvature_money * 10.0**2 == pytest.approx(0.00025 * 10**2 * 400)  # ten short of the plateau


def test_without_doubt_a_cell_gets_the_synthetic_optimum_less_its_credit(plan_folder):
    money = economics(plan := money_plan(plan_folder), plan.spreader.product_entry)
    credit = np.array([[0.0, 50.0, 150.0, 250.0]])
    loss = MoneyLoss.from_rasters(
        money.plateau_n_kg_ha - credit,
        np.zeros_like(credit),
        np.full_like(credit, money.curvature_money),
        price=money.nitrogen_price,
        step_kg_ha=1.0,
    )
    assert loss.desired == pytest.approx(np.array([[194.0, 144.0, 44.0, 0.0]]))
    # Within the curve 0.00025 δ² × 400 $; beyond 200 the nitrogen alone is wasted, 1.20 $ a kg.
    cost = loss.of_groups(np.arange(4)[None, :], 4, np.array([184.0, 194.0, 200.0, 230.0]))[0]
    assert cost[0] == pytest.approx(0.00025 * 10**2 * 400)
    assert cost[1] == pytest.approx(0.0, abs=1e-9)
    assert cost[3] - cost[2] == pytest.approx(30 * 1.20)


@pytest.mark.parametrize("short", [-60.0, -5.0, 0.0, 12.0, 80.0])
@pytest.mark.parametrize("sd", [0.0, 0.5, 20.0, 70.0])
def test_expected_shortfalls_match_integration(short, sd):
    if sd == 0.0:
        first, second = max(short, 0.0), max(short, 0.0) ** 2
    else:
        first, second = (
            integrate.quad(
                lambda e, power=power: max(short + sd * e, 0.0) ** power * stats.norm.pdf(e),
                max(-short / sd, -12.0),
                12.0,
                limit=200,
            )[0]
            for power in (1, 2)
        )
    assert mean_shortfall(np.array([short]), np.array([sd]))[0] == pytest.approx(first, abs=1e-6)
    assert mean_squared_shortfall(np.array([short]), np.array([sd]))[0] == pytest.approx(second, abs=1e-5)


def test_the_shortfall_that_pays_is_found_again():
    sd = np.array([0.0, 1.0, 15.0, 60.0, 200.0])
    found = short_for(np.full(5, 6.0), sd)
    assert mean_shortfall(found, sd) == pytest.approx(np.full(5, 6.0), rel=1e-5)
    assert (np.diff(found) < 0).all()  # the more doubt, the nearer to the plateau, and past it


def cost_of_cells(loss, rates):
    """Loss of each cell at each rate, kept to its kind."""
    cells = loss.kind.size
    return loss.of_groups(np.arange(cells).reshape(loss.kind.shape), cells, np.asarray(rates, float))


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 10_000), first=st.integers(1, 4))
def test_levels_by_money_match_exhaustive_search(seed, first):
    loss = random_money(np.random.default_rng(seed), 25)
    allowed = rate_steps(step_kg_ha=10, rate_min_kg_ha=10 * first, rate_max_kg_ha=110)
    cost = cost_of_cells(loss, allowed)
    for most, found in enumerate(best_levels(loss, step_kg_ha=10, allowed=allowed, zones_max=3), start=1):
        least = min(
            cost[:, list(choice)].min(axis=1).mean()
            for size in range(1, most + 1)
            for choice in combinations(range(allowed.size), size)
        )
        assert found.loss == pytest.approx(least, rel=1e-9, abs=1e-9)
        chosen = np.searchsorted(allowed, found.levels)
        assert found.loss == pytest.approx(cost[:, chosen].min(axis=1).mean(), rel=1e-9, abs=1e-9)


def test_a_kind_stands_well_for_its_cells():
    """Exact loss of every cell against that of its kind: the difference is of second order in an eighth step."""
    rng = np.random.default_rng(4)
    plateau, sd = rng.uniform(0, 300, (200, 200)), rng.uniform(10, 60, (200, 200))
    loss = MoneyLoss.from_rasters(plateau, sd, np.full_like(sd, 0.02), price=0.5, step_kg_ha=10.0)
    rates = np.array([0.0, 80.0, 200.0])
    best = loss.desired

    def exact(rate):
        return 0.02 * mean_squared_shortfall(plateau - rate, sd) + 0.5 * rate

    each = np.array([(exact(rate) - exact(best)).sum() for rate in rates])
    found = loss.of_groups(np.zeros(plateau.shape, dtype=int), 1, rates)[0]
    assert found == pytest.approx(each, rel=2e-4)


def test_the_nearest_rate_is_the_one_that_costs_least():
    loss = random_money(np.random.default_rng(7), 400)
    rates = np.array([0.0, 60.0, 100.0, 180.0])
    position = loss.nearest(loss.desired, rates)
    cost = cost_of_cells(loss, rates)
    given_up = cost[np.arange(400), position[0]] - cost.min(axis=1)
    worth = cost.max(axis=1) - cost.min(axis=1)
    assert (given_up <= 0.02 * worth + 1e-9).all()  # kinds are a little wider than their cells
    assert (position[0] == cost.argmin(axis=1)).mean() > 0.97


def test_doubt_raises_the_rate_that_pays():
    plateau = np.full((1, 3), 150.0)
    doubts = np.array([[0.0, 20.0, 60.0]])
    loss = MoneyLoss.from_rasters(plateau, doubts, np.full((1, 3), 0.1), price=1.2, step_kg_ha=1.0)
    assert loss.desired[0, 0] == pytest.approx(144.0)
    assert (np.diff(loss.desired[0]) > 0).all()


def test_cheap_nitrogen_without_a_curve_of_money_is_squared_error():
    """Far below the plateau, with little doubt, money is the curvature times the squared error."""
    wanted = np.linspace(40, 200, 100)[None, :]
    price, bend = 5.0, 0.01  # the optimum lies 250 below the plateau
    loss = MoneyLoss.from_rasters(
        wanted + price / (2 * bend), np.full_like(wanted, 1e-3), np.full_like(wanted, bend), price=price,
        step_kg_ha=10.0,
    )  # fmt: skip
    allowed = rate_steps(step_kg_ha=10, rate_min_kg_ha=20, rate_max_kg_ha=300)
    ours = best_levels(loss, step_kg_ha=10, allowed=allowed, zones_max=4)
    squared = best_levels(SquaredLoss(wanted), step_kg_ha=10, allowed=allowed, zones_max=4)
    for money, plain in zip(ours, squared, strict=True):
        assert money.loss == pytest.approx(bend * plain.loss, rel=0.02)


def test_patches_merge_by_money():
    """A small patch between two rates joins the higher: being short costs more."""
    plateau = np.full((20, 60), 100.0)
    plateau[:, 30:] = 200.0
    plateau[8:12, 28:32] = 146.0  # nearer to the lower rate by its square
    block = np.zeros(plateau.shape, dtype=int)
    loss = MoneyLoss.from_rasters(
        plateau, np.full_like(plateau, 30.0), np.full_like(plateau, 0.1), price=0.3, step_kg_ha=1.0
    )
    levels = np.array([100.0, 200.0])
    zone = shape_zones(loss, block, levels, cell_m=1, swath_m=1, minimum_area_m2=100)
    assert (zone[8:12, 28:32] == 1).all()
    by_square = shape_zones(SquaredLoss(plateau), block, levels, cell_m=1, swath_m=1, minimum_area_m2=100)
    assert (by_square[8:12, 28:32] == 0).all()


# --- the plan -----------------------------------------------------------------------------------------------


def test_insurance_is_not_paid_twice(plan_folder):
    folder = plan_folder(extra=PRICES + RESPONSE + "\n[credit]\nconfidence = 0.8\n")
    with pytest.raises(
        InputError,
        match=r"\[response\]: found \[credit\] confidence 0.8 beside it; .*confidence = 0.5 is expected",
    ):
        read_plan(folder)


def test_a_curve_without_prices_is_said_and_not_used(plan_folder):
    plan = read_plan(plan_folder(extra=RESPONSE))
    assert economics(plan, plan.spreader.product_entry) is None
    (text,) = response_warnings(plan, None)
    assert "money needs [prices] product and crop" in text


def test_zones_by_money_aim_at_the_curve_and_not_at_the_need(plan_folder):
    keys = {"edits": [('"220 kg/ha"', '"90 kg/ha"')]}
    squared = run(read_plan(plan_folder(name="squared", **keys)))
    money = run(money_plan(plan_folder, name="money", **keys))
    supply = money.budget.credit.credit_kg_ha + money.spread.zone_map.rate_n_kg_ha
    spread = money.spread.zone_map.rate_n_kg_ha > 0
    assert 185.0 < supply[spread].mean() < 215.0  # 194, and the insurance that the doubt is worth
    assert np.nanmean(squared.spread.zone_map.rate_n_kg_ha) < np.nanmean(money.spread.zone_map.rate_n_kg_ha)
    assert money.spread.level_sets[-1].money_ha < money.spread.level_sets[0].money_ha
    assert squared.spread.level_sets[0].money_ha is None
    aim = "on your response curve, 194 kg/ha, with what the credit's doubt is worth added; not at the need of 90"
    assert any(aim in text for text in money.warnings)
