"""Soil temperature and water, checked against published worked examples."""

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from fieldmap.errors import InputError
from fieldmap.season.scenarios import season_soil
from fieldmap.season.soil import (
    SOIL,
    AnnualSine,
    damping_depth_m,
    extraterrestrial_radiation_mj_m2,
    reference_et_mm,
    temperature_from_air_c,
    temperature_from_sine_c,
)

SINE = AnnualSine(12.0, 11.0, dt.date(2026, 1, 20))
FIRST, LAST = dt.date(2026, 5, 4), dt.date(2026, 8, 14)


def record(first, last, *, warmer=0.0, rain=6.0):
    """Invented weather: a sine by the day of the year, a swing of 12 °C, rain every fourth day."""
    days = pd.date_range(first, last, freq="D", name="date")
    mean = 12.0 - 11.0 * np.cos(2 * np.pi * (days.day_of_year - 20) / 365) + warmer
    wet = np.where(np.arange(len(days)) % 4 == 0, rain, 0.0)
    return pd.DataFrame({"tmin_c": mean - 6.0, "tmax_c": mean + 6.0, "rain_mm": wet}, index=days)


def season(daily, first=FIRST, last=LAST, sine=None, irrigated=False, tarped_d=0.0):
    return season_soil(
        first, last, daily=daily, sine=sine, latitude_deg=42.0, irrigated=irrigated, tarped_d=tarped_d
    )


# --- temperature


def test_damping_depth():
    # Hillel 1982 by way of the Oklahoma State soil physics page: Dh 0.5 mm²/s = 0.0432 m²/d gives 2.240 m.
    assert damping_depth_m(0.0432) == pytest.approx(2.240, abs=5e-4)
    assert SOIL.diffusivity_m2_d == pytest.approx(0.5e-6 * 86_400)
    assert np.exp(-0.10 / damping_depth_m(0.0432)) == pytest.approx(0.9563, abs=5e-5)
    assert 0.10 / damping_depth_m(0.0432) * 365 / (2 * np.pi) == pytest.approx(2.59, abs=0.005)  # days of lag


@pytest.mark.parametrize(
    ("depth_m", "day", "expected_c"), [(0.0, 20, 1.00), (0.10, 20, 1.49), (0.10, 135, 15.75)]
)
def test_temperature_of_the_annual_sine(depth_m, day, expected_c):
    # Arithmetic from Hillel's form (symbols published, form from memory): mean 12, amplitude 11, coldest day 20.
    date = np.datetime64("2025-12-31") + np.arange(day, day + 1)
    assert temperature_from_sine_c(date, SINE, depth_m=depth_m)[0] == pytest.approx(expected_c, abs=0.005)


def test_soil_follows_the_eleven_day_mean_of_the_air():
    # Zheng, Hunt & Running 1993: 11-day running mean.
    air = np.zeros(40)
    air[15] = 11.0
    soil = temperature_from_air_c(air)
    assert soil[14] == pytest.approx(0.0, abs=1e-12)
    assert soil[15:26] == pytest.approx(1.0)
    assert soil[26:] == pytest.approx(0.0, abs=1e-12)
    assert temperature_from_air_c(np.arange(5.0)) == pytest.approx([0.0, 0.5, 1.0, 1.5, 2.0])
    steady = temperature_from_air_c(np.full((3, 20), 7.0))
    assert steady == pytest.approx(7.0)


# --- water


def test_hargreaves_worked_example():
    # FAO-56, Example 20: Lyon, 45°43' N, July, 14.8 to 26.6 °C: Ra 40.55 MJ/m² = 16.55 mm, ETo 5.0 mm a day.
    assert extraterrestrial_radiation_mj_m2(196, 45.72) == pytest.approx(40.55, abs=0.01)
    assert reference_et_mm(14.8, 26.6, 196, 45.72) == pytest.approx(5.0, abs=0.05)
    # The NCAR Command Language manual, refevt_hargreaves_fao56, works the same example to 5.03.
    assert reference_et_mm(14.8, 26.6, 196, 45.72) == pytest.approx(5.03, abs=0.005)


def test_extraterrestrial_radiation_worked_example():
    # FAO-56, Example 8 (figures from memory): 3 September, 20° S: 32.2 MJ/m².
    assert extraterrestrial_radiation_mj_m2(246, -20.0) == pytest.approx(32.2, abs=0.05)


def test_evapotranspiration_has_a_floor_and_a_polar_night():
    assert reference_et_mm(-40.0, -25.0, 10, 45.0) == 0.0
    assert reference_et_mm(-5.0, 5.0, 355, 75.0) == pytest.approx(0.0, abs=1e-12)


# --- the season


def test_a_record_that_covers_the_season_is_one_scenario():
    found = season(record("2026-01-01", "2026-12-31"))
    assert found.basis == "record"
    assert found.recorded_to == LAST
    assert found.temperature_c.shape == found.moisture.shape == found.drainage_mm.shape == (1, 103)
    assert found.dates[0] == np.datetime64(FIRST)
    assert found.dates[-1] == np.datetime64(LAST)
    # 4 May is day 124 of the year; the 11-day mean lies five days back on the sine.
    expected = 12.0 - 11.0 * np.cos(2 * np.pi * (124 - 5 - 20) / 365)
    assert found.temperature_c[0, 0] == pytest.approx(expected, abs=0.05)
    assert "zheng1993" in found.sources


def test_days_before_the_season_fill_and_dry_the_soil():
    dry_spring = record("2026-01-01", "2026-12-31", rain=0.0)
    assert season(dry_spring).moisture[0, 0] < 0.5
    late = dry_spring.loc["2026-05-04":]
    assert season(late).moisture[0, 0] > 0.9  # nothing is known: from field capacity


def test_after_the_last_day_earlier_years_give_a_range():
    years = [record("2023-01-01", "2023-12-31", warmer=-3), record("2024-01-01", "2024-12-31", warmer=3)]
    years += [record("2025-01-01", "2025-12-31"), record("2026-01-01", "2026-06-10")]
    found = season(pd.concat(years))
    assert found.basis == "earlier years"
    assert found.recorded_to == dt.date(2026, 6, 10)
    assert found.temperature_c.shape[0] == 3
    recorded = found.dates <= np.datetime64("2026-06-10")
    assert np.ptp(found.temperature_c[:, recorded], axis=0) == pytest.approx(0.0)
    assert np.ptp(found.temperature_c[:, -20:], axis=0) == pytest.approx(6.0, abs=0.3)


def test_a_season_still_to_come_is_all_earlier_years():
    found = season(record("2020-01-01", "2025-12-31"), dt.date(2028, 2, 20), dt.date(2028, 6, 30))
    assert found.basis == "earlier years"
    # 2021 to 2025: the water of 2020 has no days before the season to start from
    assert found.temperature_c.shape[0] == 5
    assert len(found.dates) == 132  # 29 February 2028 has the 28th of earlier years


def test_without_earlier_years_the_sine_carries_on():
    found = season(record("2026-01-01", "2026-06-10"), sine=SINE)
    assert found.basis == "sine"
    after = found.dates > np.datetime64("2026-06-10")
    assert found.temperature_c[0, after] == pytest.approx(temperature_from_sine_c(found.dates[after], SINE))
    assert found.moisture[0, after] == pytest.approx(SOIL.irrigated_moisture)
    assert not found.drainage_mm[0, after].any()
    assert {"zheng1993", "hillel1982"} <= set(found.sources)


def test_the_sine_alone():
    found = season(None, sine=SINE)
    assert found.basis == "sine"
    assert found.recorded_to is None
    assert found.temperature_c[0] == pytest.approx(temperature_from_sine_c(found.dates, SINE))


def test_a_record_too_short_is_refused_with_what_to_do():
    with pytest.raises(
        InputError, match=r"weather.csv: the weather ends on 2026-06-10, before 2026-08-14, and has "
    ):
        season(record("2026-01-01", "2026-06-10"))
    with pytest.raises(
        InputError, match="Add earlier years to the file, or give mean, amplitude and coldest"
    ):
        season(record("2026-01-01", "2026-06-10"))
    with pytest.raises(InputError, match=r"starts on 2026-05-10, after the cover crop ended \(2026-05-04\)"):
        season(record("2026-05-10", "2026-12-31"))


def test_a_tarp_warms_the_soil_by_one_to_three_degrees_and_keeps_the_rain_off():
    # Rylander 2019 (HortScience 2020, 55:826-831): soil 1 to 3 °C warmer under a black tarp.
    daily = record("2026-01-01", "2026-12-31", rain=40.0)
    open_, tarped = season(daily), season(daily, tarped_d=21)
    warmer = tarped.temperature_c - open_.temperature_c
    assert (warmer[0, :21] >= 1.0).all()
    assert (warmer[0, :21] <= 3.0).all()
    assert not warmer[0, 21:].any()
    assert open_.drainage_mm[0, :21].sum() > 0
    assert not tarped.drainage_mm[0, :21].any()
    assert "rylander2020" in tarped.sources
