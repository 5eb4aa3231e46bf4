"""Biomass × %N → credit, against published figures."""

import tomllib

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.small_fields import PLAN

from fieldmap.credit.relation import available_kg_mg, credit_kg_ha, credit_se_kg_ha
from fieldmap.credit.rule import CreditRule, credit_rule
from fieldmap.plan.parse import parse_plan
from fieldmap.units import KG_HA_PER_LB_AC

QUALITY = CreditRule("quality", 1.0, 0.2, ())
LB_TON = 2.0  # 1 kg/Mg is 2 lb a short ton


def rule(*edits, extra=""):
    text = PLAN
    for old, new in edits:
        assert old in text
        text = text.replace(old, new)
    plan = parse_plan(tomllib.loads(text + extra), "folder")
    return credit_rule(plan.cover_crop, plan.credit)


@pytest.mark.parametrize(
    ("nitrogen_pct", "lb_ton", "tolerance"),
    # Sullivan & Andrews 2012, PNW 636: 35 lb/ton at 3.5 %N, little or none at 1.5, about 25 at 3, about 40 at 4.
    [(1.5, 0.0, 3.0), (3.0, 25.0, 3.0), (3.5, 35.0, 1.0), (4.0, 40.0, 5.0)],
)
def test_available_nitrogen_of_pnw_636(nitrogen_pct, lb_ton, tolerance):
    assert float(available_kg_mg(np.array(nitrogen_pct))) * LB_TON == pytest.approx(lb_ton, abs=tolerance)


def test_it_rises_strictly_and_evenly_from_1_5_to_3_5_pct():
    # PNW 636 states the rise as linear.
    steps = np.diff(available_kg_mg(np.linspace(1.5, 3.5, 21)))
    assert steps == pytest.approx(steps[0])
    assert steps[0] > 0


def test_never_more_than_half_of_total_nitrogen():
    # Published for legumes of 3 to 4 %N: about half of total N becomes available in the first year (UC Santa
    # Cruz manual, extension worksheet).
    nitrogen_pct = np.linspace(0.5, 6.0, 100)
    assert (available_kg_mg(nitrogen_pct) <= 0.5 * 10.0 * nitrogen_pct + 1e-12).all()
    assert float(available_kg_mg(np.array(3.5)) / 35.0) == pytest.approx(0.5)


def test_three_quarters_cereal_and_a_quarter_legume_give_next_to_nothing():
    # PNW 636: 75 % cereal + 25 % legume is usually near zero; the %N (1.0 and 3.5) are chosen. Mixed first, the
    # relation applied once; the sum of the species' own floored credits would give 4.4 kg/Mg.
    mixed = 0.75 * 1.0 + 0.25 * 3.5
    assert float(available_kg_mg(np.array(mixed))) == pytest.approx(0.0, abs=2.0)
    floored = 0.25 * available_kg_mg(np.array(3.5)) + 0.75 * max(0.0, float(available_kg_mg(np.array(1.0))))
    assert float(floored) == pytest.approx(4.4, abs=0.05)


def test_weighed_frame_of_the_extension_worksheet():
    # North Carolina and Minnesota extension worksheet: 6,534 lb/ac at 4 %N hold 261 lb N, half of it 130.5 lb.
    biomass = np.array(6534.0 * KG_HA_PER_LB_AC)
    incorporated = rule(extra='[credit]\nmethod = "share"\n')
    surface = rule(('"incorporated"', '"surface"'), extra='[credit]\nmethod = "share"\n')
    assert float(credit_kg_ha(biomass, np.array(4.0), incorporated)) / KG_HA_PER_LB_AC == pytest.approx(
        130.5, rel=2e-3
    )
    assert float(credit_kg_ha(biomass, np.array(4.0), surface)) / KG_HA_PER_LB_AC == pytest.approx(
        104.5, rel=2e-3
    )


def test_surface_against_incorporated_vetch():
    # Sarrantonio & Scott 1988: 56 % against 29 % in 1985, 55 % against 22 % in 1986: a ratio of 0.40 to 0.52.
    ratio = rule(('"incorporated"', '"surface"')).factor / rule().factor
    assert 0.40 <= ratio <= 0.52
    vetch = credit_kg_ha(np.array(1000.0), np.array(3.5), rule()) / 35.0
    assert 0.45 <= float(vetch) <= 0.66  # 55 to 56 % of total N, ± 10 points


def test_placement_between_the_two_is_by_the_tilled_share():
    strip = rule(('placement = "incorporated"', 'placement = "strip-tilled"\ntilled_share = 0.25'))
    assert strip.factor == pytest.approx(0.25 + 0.75 * 0.46)
    assert strip.release_error > rule().release_error


def test_a_users_share_is_final():
    own = rule(('"incorporated"', '"surface"'), extra='[credit]\nmethod = "share"\nshare = 0.45\n')
    assert float(credit_kg_ha(np.array(5000.0), np.array(4.0), own)) == pytest.approx(0.45 * 200.0)


def test_a_correction_and_a_release_error_of_the_users_own():
    own = rule(extra='[credit]\ncorrection = 0.8\nrelease_error = "10 %"\n')
    assert own.factor == pytest.approx(0.8)
    assert own.release_error == pytest.approx(0.1)
    assert "your_value" in own.sources
    assert "release_memory" in rule().sources


def test_poor_residue_ties_nitrogen_up_and_at_most_56_kg_ha():
    # PNW 636: cereals can hold up to 50 lb/ac.
    assert float(credit_kg_ha(np.array(5000.0), np.array(1.1), QUALITY)) == pytest.approx(-17.5)
    assert float(credit_kg_ha(np.array(20_000.0), np.array(0.6), QUALITY)) == -56.0


@given(st.floats(0, 15_000), st.floats(0, 15_000), st.floats(1.5, 6.0))
def test_more_biomass_never_lowers_the_credit_above_break_even(one, other, nitrogen_pct):
    low, high = sorted((one, other))
    assert credit_kg_ha(np.array(low), np.array(nitrogen_pct), QUALITY) <= credit_kg_ha(
        np.array(high), np.array(nitrogen_pct), QUALITY
    )


@given(st.floats(0, 10_000), st.floats(1.5, 6.0))
def test_twice_the_biomass_is_twice_the_credit(biomass, nitrogen_pct):
    once = credit_kg_ha(np.array(biomass), np.array(nitrogen_pct), QUALITY)
    assert credit_kg_ha(np.array(2 * biomass), np.array(nitrogen_pct), QUALITY) == pytest.approx(2 * once)


def test_the_cells_standard_error_agrees_with_draws():
    rng = np.random.default_rng(5)
    biomass, biomass_se, nitrogen, nitrogen_se = 5000.0, 600.0, 2.8, 0.2
    found = credit_se_kg_ha(*(np.array([x]) for x in (biomass, biomass_se, nitrogen, nitrogen_se)), QUALITY)[
        0
    ]
    drawn = credit_kg_ha(
        rng.normal(biomass, biomass_se, 200_000), rng.normal(nitrogen, nitrogen_se, 200_000), QUALITY
    ) * rng.normal(1.0, 0.2, 200_000)
    assert found == pytest.approx(drawn.std(), rel=0.02)
