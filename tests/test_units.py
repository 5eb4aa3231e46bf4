"""Quantities in, SI inside."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldmap import units


@pytest.mark.parametrize(
    ("text", "kind", "expected"),
    [
        ("150 lb/ac", units.RATE, 168.1276727),  # 1 lb/ac = 1.12085116 kg/ha, international acre
        ("168 kg/ha", units.RATE, 168.0),
        ("60 ft", units.LENGTH, 18.288),  # international foot, exactly 0.3048 m
        ("0.5 ac", units.AREA, 2023.4282112),  # international acre, 4046.8564224 m²
        ("9 mph", units.SPEED, 4.02336),
        ("12 km/h", units.SPEED, 12 / 3.6),
        ("3000 lb", units.MASS, 1360.77711),  # pound, exactly 0.45359237 kg
        ("3.6 %", units.PERCENT, 3.6),
        ("21 d", units.DAYS, 21.0),
        ("52 degF", units.TEMPERATURE, 11.1111111),
        ("-3 degC", units.TEMPERATURE, -3.0),
        ("750 kg/m3", units.BULK_DENSITY, 750.0),
        ("750 kg/m³", units.BULK_DENSITY, 750.0),
        ("46.82 lb/ft3", units.BULK_DENSITY, 749.98446),
        ("1e3 kg/ha", units.RATE, 1000.0),
    ],
)
def test_quantities_come_in_si(text, kind, expected):
    assert units.parse_quantity(text, kind) == pytest.approx(expected, rel=1e-7)


@pytest.mark.parametrize(
    ("found", "message"),
    [
        (150, 'found 150; a rate with its unit is expected, such as "168 kg/ha" or "150 lb/ac"'),
        ("150", 'found "150"; a rate with its unit is expected'),
        ("150 lb", 'the unit "lb" does not do here'),
        ("150 attospeed/ac", "does not do here"),
        ("-3 lb/ac", "a rate cannot be negative"),
        ("nan kg/ha", "a rate with its unit is expected"),
        ("1e999 kg/ha", "a rate with its unit is expected"),
        ("1 m**9999999", "does not do here"),
        ("2 __import__('os')/ha", "does not do here"),
        (True, "a rate with its unit is expected"),
        (None, "a rate with its unit is expected"),
    ],
)
def test_what_is_not_a_rate_is_refused_with_the_units_that_would_do(found, message):
    with pytest.raises(ValueError, match=message.replace("(", r"\(").replace("*", r"\*")):
        units.parse_quantity(found, units.RATE)


@pytest.mark.parametrize(
    ("text", "kind", "expected"),
    [
        ("32 degF", units.TEMPERATURE, 0.0),
        ("-40 degF", units.TEMPERATURE, -40.0),
        ("18 delta_degF", units.TEMPERATURE_DIFFERENCE, 10.0),
        ("12 delta_degC", units.TEMPERATURE_DIFFERENCE, 12.0),
        ("12 degC", units.TEMPERATURE_DIFFERENCE, 12.0),
    ],
)
def test_degrees_of_a_scale_and_of_a_difference(text, kind, expected):
    assert units.parse_quantity(text, kind) == pytest.approx(expected, abs=1e-12)


def test_a_reading_in_fahrenheit_is_no_difference():
    with pytest.raises(
        ValueError, match='the unit "degF" does not do here: a temperature difference with its unit'
    ):
        units.parse_quantity("60 degF", units.TEMPERATURE_DIFFERENCE)


def test_temperatures_are_shown_in_the_users_unit():
    assert units.shown_quantity("10 degC", units.TEMPERATURE, "us") == 50.0
    assert units.shown_quantity("50 degF", units.TEMPERATURE, "metric") == 10.0
    assert units.shown_quantity("10 delta_degC", units.TEMPERATURE_DIFFERENCE, "us") == 18.0
    assert units.shown_quantity("3.6 %", units.PERCENT, "us") == 3.6
    assert units.shown_quantity("3.6%", units.PERCENT, "us") == 3.6


def test_ac_is_acres_and_not_an_atto_anything():
    assert units.parse_quantity("1 lb/ac", units.RATE) == pytest.approx(units.KG_HA_PER_LB_AC, rel=1e-12)
    assert units.KG_HA_PER_LB_AC == pytest.approx(1.12085116, abs=1e-8)


@given(st.floats(0, 1e5, allow_nan=False))
def test_rates_go_there_and_back(kg_ha):
    assert units.shown_rate(kg_ha, "us") * units.KG_HA_PER_LB_AC == pytest.approx(kg_ha)
    assert units.shown_rate(kg_ha, "metric") == kg_ha


def test_prices_carry_currency_and_unit():
    assert units.parse_price("620 USD/t", units.MASS_PRICE_UNIT) == units.Price(0.62, "USD")
    assert units.parse_price("95 EUR/ha", units.AREA_PRICE_UNIT).amount == pytest.approx(95.0)
    with pytest.raises(ValueError, match='a price with currency and unit is expected, such as "620 USD/t"'):
        units.parse_price("620/t", units.MASS_PRICE_UNIT)


def test_what_people_see():
    assert units.rate_text(168.1277, "us") == "150 lb/ac"
    assert units.rate_text(-0.2, "metric") == "0 kg/ha"
    assert units.area_text(14.16, "us") == "35.0 ac"
    assert units.whole(1234.5) == "1,234"


@pytest.mark.parametrize(
    ("low", "high", "system", "text"),
    [
        (150.0, 200.0, "metric", "150 to 200 kg/ha"),
        (200.0, 200.0, "metric", "200 kg/ha"),
        (199.6, 200.4, "metric", "200 kg/ha"),
        (1120.85116, 2241.70231, "us", "1,000 to 2,000 lb/ac"),
    ],
)
def test_a_range_of_one_rate_is_that_rate(low, high, system, text):
    assert units.rate_range_text(low, high, system) == text
