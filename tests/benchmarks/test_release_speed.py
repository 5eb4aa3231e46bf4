"""Twenty years of daily weather for a thousand zones."""

from __future__ import annotations

import datetime as dt
from time import perf_counter

import numpy as np
import pandas as pd
import pytest

from fieldmap.agronomy.lookup import find
from fieldmap.agronomy.tables import crops
from fieldmap.season.balance import balance, short_from, weekly
from fieldmap.season.release import Residue, daily_release
from fieldmap.season.scenarios import season_soil
from fieldmap.season.split import split_season
from fieldmap.season.uptake import last_useful_day
from fieldmap.season.water import root_zone

pytestmark = pytest.mark.benchmark

ZONES = 1000


def twenty_years():
    """Invented weather, 2006 to 2025."""
    rng = np.random.default_rng(4)
    dates = pd.date_range("2006-01-01", "2025-12-31", freq="D")
    mean = 11 - 12 * np.cos(2 * np.pi * (dates.day_of_year - 20) / 365) + rng.normal(0, 3, len(dates))
    rain = np.where(rng.random(len(dates)) < 0.3, rng.exponential(9, len(dates)), 0)
    return pd.DataFrame({"tmin_c": mean - 6, "tmax_c": mean + 6, "rain_mm": rain}, index=dates)


def test_every_year_of_twenty_for_a_thousand_zones(bench):
    """Each year's season to the day: soil, release, split, balance and weekly table of every zone."""
    daily = twenty_years()
    corn = find("sweet corn", crops())
    assert corn is not None
    roots = root_zone(corn.name)
    rng = np.random.default_rng(5)
    credit_kg_ha = rng.uniform(-40, 160, ZONES)
    start = perf_counter()
    short_kg_ha = np.empty((20, ZONES))
    for row, year in enumerate(range(2006, 2026)):
        ended, planted, harvested = dt.date(year, 5, 4), dt.date(year, 5, 24), dt.date(year, 8, 14)
        soil = season_soil(ended, harvested, daily=daily, sine=None, latitude_deg=42.0, irrigated=True)
        release = daily_release(soil, Residue(3.4, "incorporated"))
        split = split_season(
            release, planted=planted, last_useful=last_useful_day(planted, harvested, corn), roots=roots
        )
        found = balance(release, credit_kg_ha, 168.0, corn, planted=planted, harvested=harvested, roots=roots)
        short_kg_ha[row] = weekly(found).short_kg_ha.sum(axis=-1)
        assert short_from(found).shape == (ZONES,)
        assert split.useful.shape == (1,)
    taken_s = perf_counter() - start
    bench("20 seasons of daily weather, 1,000 zones", taken_s, limit="2 s")
    assert np.isfinite(short_kg_ha).all()
    assert taken_s < 2.0


def test_one_run_through_twenty_years_and_the_range_of_a_season_to_come(bench):
    """All 7,305 days in one go with the release of every zone, and a season with twenty years as its range."""
    daily = twenty_years()
    corn = find("sweet corn", crops())
    assert corn is not None
    roots = root_zone(corn.name)
    credit_kg_ha = np.linspace(-40, 160, ZONES)
    clock = [perf_counter()]
    soil = season_soil(
        dt.date(2006, 1, 1), dt.date(2025, 12, 31), daily=daily, sine=None, latitude_deg=42.0, irrigated=False
    )
    release = daily_release(soil, Residue(3.4, "incorporated"))
    by_zone_kg_ha = credit_kg_ha[:, np.newaxis] * release.counted
    clock.append(perf_counter())
    planted, harvested = dt.date(2026, 5, 24), dt.date(2026, 8, 14)
    to_come = season_soil(
        dt.date(2026, 5, 4), harvested, daily=daily, sine=None, latitude_deg=42.0, irrigated=True
    )
    season = daily_release(to_come, Residue(3.4, "incorporated"))
    found = balance(season, credit_kg_ha, 168.0, corn, planted=planted, harvested=harvested, roots=roots)
    clock.append(perf_counter())
    taken_s = np.diff(clock)
    bench("7,305 days, 1,000 zones, and 20 years as the range of a season", taken_s.sum(), limit="2 s")
    assert by_zone_kg_ha.shape == (ZONES, 7305)
    assert to_come.temperature_c.shape[0] == 20
    assert found.short.shape == (ZONES, 103)
    assert taken_s.sum() < 2.0
