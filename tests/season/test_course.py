"""How a plan's weather, soil and irrigation reach the course of its credit."""

import datetime as dt
import tomllib

import numpy as np
import pandas as pd
import pytest
from support.small_fields import PLAN

from fieldmap.credit.rule import CreditRule
from fieldmap.plan.parse import parse_plan
from fieldmap.season.course import follow_release, rain_mm_week, timed
from fieldmap.season.water import root_zone

SINE = '[weather]\nmean = "11 degC"\namplitude = "11 delta_degC"\ncoldest = 2026-01-20\n'
FILE = '[weather]\nfile = "weather.csv"\n'


def weather(rain_mm):
    """Invented: the same rain every day, 12 °C in spring and 24 in summer."""
    dates = pd.date_range("2026-02-01", "2026-09-30", freq="D")
    mean = 11.0 - 11.0 * np.cos(2 * np.pi * (dates.day_of_year - 20) / 365)
    return pd.DataFrame({"tmin_c": mean - 6, "tmax_c": mean + 6, "rain_mm": rain_mm}, index=dates)


def course(extra=FILE, *edits, rain_mm=2.0, **columns):
    text = PLAN
    for old, new in edits:
        assert old in text
        text = text.replace(old, new)
    plan = parse_plan(tomllib.loads(text + extra), "folder")
    return follow_release(
        plan.cover_crop,
        plan.crop,
        3.5,
        weather(rain_mm).assign(**columns) if "file" in extra else None,
        weather=plan.weather,
        texture=plan.soil.texture,
        drainage=plan.soil.drainage,
        credit=plan.credit,
        tested=None,
        latitude_deg=45.0,
    )


@pytest.mark.parametrize(("rain_mm", "wetting"), [(3.0, "wet"), (2.0, "unknown"), (1.0, "dry")])
def test_rain_of_the_ten_weeks_tells_how_wet_the_surface_is(rain_mm, wetting):
    found = course(rain_mm=rain_mm)
    assert rain_mm_week(found.soil) == pytest.approx(7 * rain_mm)
    assert found.wetting == wetting
    assert course(SINE).wetting == "unknown"
    assert course(rain_mm=1.0, irrigation_mm=4.0).wetting == "unknown"  # it may be by sprinklers


def test_the_worse_the_system_the_more_drains():
    drained = [
        course(f'{FILE}irrigated_by = "{system}"\n', rain_mm=0.0).soil.drainage_mm.sum()
        for system in ("drip", "sprinkler", "furrow")
    ]
    assert drained == sorted(drained)
    assert drained[-1] > 3 * drained[0] > 0


def test_texture_and_drainage_class_come_from_the_soil_section():
    late = ("2026-05-24", "2026-06-24")
    wet = course(FILE, late, rain_mm=9.0)
    sand = course('[soil]\ntexture = "sand"\n' + FILE, late, rain_mm=9.0)
    poor = course('[soil]\ndrainage = "poorly drained"\n' + FILE, late, rain_mm=9.0)
    assert wet.roots == root_zone("sweet corn")
    assert sand.in_time.split.before > wet.in_time.split.before > 0
    assert poor.in_time.useful == pytest.approx(0.7 * wet.in_time.useful)
    assert "meisinger1991_memory" in poor.in_time.sources
    assert "meisinger1991_memory" not in wet.in_time.sources


def test_rain_that_is_not_known_widens_the_error_of_what_comes_in_time():
    # Common practice, no source: 50 ± 30 % of what was released more than three weeks before planting.
    edits = (("2026-05-24", "2026-07-10"), ("2026-08-14", "2026-10-01"))
    unknown, near = course(SINE, *edits), course(SINE)
    assert unknown.in_time.split.before > 0.1
    assert unknown.in_time.useful_error == pytest.approx(
        0.6 * unknown.in_time.split.before[0] / unknown.in_time.useful
    )
    assert "held_practice" in unknown.in_time.sources
    assert near.in_time.useful_error == 0.0


def test_what_the_water_leaves_open_is_in_the_error_of_the_rule():
    late = course(SINE, ("2026-05-24", "2026-07-10"), ("2026-08-14", "2026-10-01"))
    rule = CreditRule("quality", 1.0, 0.2, ())
    assert timed(rule, late.in_time).release_error == pytest.approx(np.hypot(0.2, late.in_time.useful_error))
    assert late.soil.dates[0] == np.datetime64(dt.date(2026, 5, 4))


def test_residue_on_the_surface_keeps_water_in_and_lets_more_drain():
    open_, mulched = (course(FILE, *edits, rain_mm=4.0) for edits in ((), (('"incorporated"', '"surface"'),)))
    before = slice(0, 20)
    assert mulched.soil.drainage_mm[0, before].sum() > open_.soil.drainage_mm[0, before].sum()
