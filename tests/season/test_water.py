"""Water on its way through the soil and the nitrate with it: textbook leaching, irrigation, what is held and lost."""

import datetime as dt

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import gammainc

from fieldmap.agronomy import crops, find, ground
from fieldmap.season.balance import balance
from fieldmap.season.release import Residue, daily_release
from fieldmap.season.scenarios import DailySoil, season_soil
from fieldmap.season.soil import SOIL, AnnualSine, soil_of
from fieldmap.season.split import held_in_soil, split_season
from fieldmap.season.water import (
    WATER,
    RootZone,
    carry_down,
    crop_coefficients,
    follow_water,
    passed_on,
    root_zone,
)

FIRST = dt.date(2026, 4, 20)
VETCH = Residue(3.9, "incorporated")
CORN, BROCCOLI = (find(name, crops()) for name in ("sweet corn", "broccoli"))


def day(number):
    """The date so many days after the cover crop ended."""
    return FIRST + dt.timedelta(days=number)


def release(*, days=150, temperature_c=18.0, drainage_mm=0.0, rain_mm=0.0, scenarios=1):
    """Release in a soil whose days are all alike, or as the arrays say."""
    shape = (scenarios, days)
    values = (
        np.broadcast_to(np.asarray(x, dtype=float), shape) for x in (temperature_c, 1.0, drainage_mm, rain_mm)
    )
    return daily_release(
        DailySoil(np.datetime64(FIRST, "D") + np.arange(days), *values, "record", None, ()), VETCH
    )


def season(of, planted, *, roots, tested=None):
    """The split for a crop of 80 days."""
    return split_season(of, planted=day(planted), last_useful=day(planted + 80), roots=roots, tested=tested)


# --- the bucket


def water(rain, et, *, covered=None, **more):
    rain = np.atleast_2d(np.asarray(rain, dtype=float))
    covered = np.zeros(rain.shape[1], dtype=bool) if covered is None else covered
    more = {"irrigated": False, **more}
    return follow_water(rain, np.broadcast_to(et, rain.shape), covered=covered, **more)


def test_water_is_neither_made_nor_lost():
    rng = np.random.default_rng(3)
    rain, et = rng.exponential(4.0, (2, 60)), rng.uniform(0.0, 7.0, (2, 60))
    moisture, drainage = water(rain, et)
    held = np.concatenate([np.ones((2, 1)), moisture], axis=1) * SOIL.bucket_mm
    dried = et * held[:, :-1] / SOIL.bucket_mm
    assert held[:, 1:] == pytest.approx(held[:, :-1] - dried + rain - drainage)
    assert ((moisture >= 0) & (moisture <= 1)).all()


def test_without_drying_all_rain_on_full_soil_drains():
    moisture, drainage = water([5.0, 0.0, 12.0], 0.0)
    assert moisture == pytest.approx(1.0)
    assert drainage[0] == pytest.approx([5.0, 0.0, 12.0])


def test_irrigated_ground_stays_moist_and_drains_what_is_put_on_beyond_its_use():
    dry, drained = water(np.zeros(60), 6.0)
    moist, drainage = water(np.zeros(60), 6.0, irrigated=True)
    assert dry[0, -1] < 0.1
    assert drained.sum() == 0.0
    assert moist.min() == pytest.approx(SOIL.irrigated_moisture)
    assert drainage.sum() > 0.0
    assert water(np.zeros(60), 6.0, irrigated=True, efficiency=1.0)[1].sum() == 0.0


@pytest.mark.parametrize(
    ("irrigated_by", "drains_mm"), [("drip", 11.1), ("sprinkler", 33.3), ("furrow", 53.8)]
)
def test_of_100_mm_used_drip_drains_11(irrigated_by, drains_mm):
    # Definition: what is put on is 100 / efficiency; the efficiencies 0.90, 0.75 and 0.65 are from memory.
    use_mm = np.full(200, 5.0)
    moist, drainage = water(np.zeros(200), use_mm, irrigated=True, efficiency=WATER.efficiency(irrigated_by))
    settled = slice(100, None)  # by then it is topped up every day
    used_mm = 5.0 * moist[0, 99:-1].sum()
    assert 100.0 * drainage[0, settled].sum() / used_mm == pytest.approx(drains_mm, abs=1.0)
    assert WATER.efficiency(None) == WATER.efficiency("sprinkler")


def test_under_a_tarp_it_neither_rains_nor_dries():
    covered = np.arange(20) < 10
    moisture, drainage = water(np.full(20, 8.0), 4.0, covered=covered)
    assert moisture[0, :10] == pytest.approx(1.0)
    assert drainage[0, :10].sum() == 0.0
    assert drainage[0, 10:].sum() > 0.0


@given(
    st.lists(st.floats(0, 40), min_size=5, max_size=30),
    st.integers(0, 29),
    st.floats(0.1, 30),
    st.floats(0, 9),
)
def test_more_rain_never_leaves_drier_soil(rain, day, more, et):
    wetter = list(rain)
    wetter[day % len(rain)] += more
    (less, drained_less), (moister, drained_more) = water(rain, et), water(wetter, et)
    assert (moister >= less - 1e-12).all()
    assert (drained_more >= drained_less - 1e-9).all()


# --- layers


def one_layer(water_mm=84.0):
    return RootZone(layers=1, water_mm=water_mm)


def lost(drainage_mm, roots):
    """Share of what lies in the first layer that leaves the last one."""
    start = np.zeros(roots.layers)
    start[0] = 1.0
    return 1.0 - float(carry_down(start, passed_on(np.array(float(drainage_mm)), roots)).sum())


def burns_uniform(pores):
    """Burns 1975, as written by Scotter, White & Dyson 1993: leached of nitrate spread evenly over the depth."""
    return pores * (1.0 - np.exp(-1.0 / pores))


def burns_on_top(pores):
    """The same of nitrate put on the surface: e^(-z θ / I)."""
    return float(np.exp(-1.0 / pores))


def test_one_pore_volume_through_one_layer():
    # Mixed layer 1 - 1/e = 0.632, the same as Burns's even spread; put on the surface 1/e = 0.368.
    assert lost(84.0, one_layer()) == pytest.approx(0.632, abs=5e-4)
    assert burns_uniform(1.0) == pytest.approx(lost(84.0, one_layer()))
    assert burns_on_top(1.0) == pytest.approx(0.368, abs=5e-4)


@pytest.mark.parametrize(
    ("pores", "mixed", "even"),
    # The mixed layer and Burns 1975 (Scotter et al. 1993), by pore volumes.
    [
        (0.25, 0.221, 0.245),
        (0.5, 0.393, 0.432),
        (1.5, 0.777, 0.730),
        (2.0, 0.865, 0.787),
        (3.0, 0.950, 0.850),
    ],
)
def test_a_mixed_layer_stays_near_burns(pores, mixed, even):
    assert lost(84.0 * pores, one_layer()) == pytest.approx(mixed, abs=1e-3)
    assert burns_uniform(pores) == pytest.approx(even, abs=1e-3)
    assert mixed == pytest.approx(even, abs=0.10)


def test_50_mm_through_a_loam():
    # Loam at 0.28: 0.449 leave 30 cm, 0.120 leave 60 cm in two layers; Burns 1975 has 0.035 of what is put on the
    # surface leave 60 cm, so layers are on the cautious side.
    assert soil_of("loam").field_capacity == 0.28
    assert lost(50.0, one_layer()) == pytest.approx(0.449, abs=1e-3)
    assert lost(50.0, RootZone(layers=2, water_mm=84.0)) == pytest.approx(0.120, abs=1e-3)
    assert burns_on_top(50.0 / 168.0) == pytest.approx(0.035, abs=1e-3)


@pytest.mark.parametrize("layers", [1, 2, 3, 4])
def test_layers_are_the_cascade_of_a_textbook(layers):
    # Mixed tanks in a row: what has left n of them after x pore volumes is the regularised incomplete gamma function.
    roots = RootZone(layers=layers, water_mm=70.0)
    for drainage_mm in (0.0, 5.0, 60.0, 300.0):
        assert lost(drainage_mm, roots) == pytest.approx(gammainc(layers, drainage_mm / 70.0))


@given(st.floats(0, 80), st.floats(0, 80), st.integers(1, 4))
def test_it_does_not_matter_how_drainage_is_split_into_days(one, other, layers):
    roots = RootZone(layers=layers, water_mm=84.0)
    pool = np.linspace(1.0, 0.2, layers)
    at_once = carry_down(pool, passed_on(np.array(one + other), roots))
    in_two = carry_down(carry_down(pool, passed_on(np.array(one), roots)), passed_on(np.array(other), roots))
    assert in_two == pytest.approx(at_once)


def test_the_lighter_the_soil_and_the_shallower_the_crop_the_more_drains():
    # Kept in 30 cm after 25 mm: sand 43 %, sandy loam 63, loam 74, silt loam 76, clay loam 79 (arithmetic).
    names = ("sand", "sandy loam", "loam", "silt loam", "clay loam")
    kept = [1 - lost(25.0, one_layer(300.0 * soil_of(name).field_capacity)) for name in names]
    assert kept == pytest.approx([0.43, 0.63, 0.74, 0.76, 0.79], abs=0.01)
    lettuce, cabbage = (lost(50.0, root_zone(name)) for name in ("lettuce", "cabbage"))
    assert lettuce > 3 * cabbage > 0


def test_roots_and_layers_of_every_crop():
    # RB209: lettuce 45 cm, onion 60, cauliflower 75, cabbage, calabrese (broccoli) and carrot 90.
    depths = {
        "lettuce": 0.45,
        "onion": 0.60,
        "cauliflower": 0.75,
        "cabbage": 0.90,
        "broccoli": 0.90,
        "carrot": 0.90,
    }
    for name, depth_m in depths.items():
        assert ground().roots_of(name).depth_m == depth_m
    for crop in crops():
        roots = root_zone(crop.name)
        assert roots.layers * roots.water_mm == pytest.approx(280.0 * ground().roots_of(crop.name).depth_m)
        assert roots.water_mm <= 84.0 + 1e-9
    known = {crop.name for crop in crops()}
    assert {name for row in ground().roots.values() for name in row.crops} <= known
    assert ground().roots_of("a crop in no row").name == "other"


def test_a_crop_uses_water_by_fao_56():
    # FAO-56, table 12: brassicas 0.7 young, 1.05 in full growth, 0.95 at the end; never beyond these.
    each = crop_coefficients(dt.date(2026, 6, 20), dt.date(2026, 9, 12), BROCCOLI)
    assert len(each) == 85
    assert each[0] == pytest.approx(0.7, abs=0.01)
    assert each[-1] == pytest.approx(0.95)
    assert each.min() >= 0.7 - 1e-9
    assert each.max() <= 1.05 + 1e-9
    assert each.max() == pytest.approx(1.05, abs=0.02)


# --- what the crop finds at planting


def test_without_drainage_nothing_is_lost_however_early():
    # Lawson et al. 2015, PLoS One 10:e0129597: nitrate of a stand killed in late April is in the top 30 cm in June.
    of = release()
    for planted in (5, 21, 22, 45, 69):
        split = season(of, planted, roots=root_zone("lettuce"))
        assert split.before == pytest.approx(0.0)
        assert split.held == pytest.approx(of.counted[:, planted - 1])
        assert split.useful_sd == pytest.approx(0.0)


days_of_drainage = st.lists(st.floats(0, 30), min_size=60, max_size=60)


@given(
    days_of_drainage,
    st.integers(0, 59),
    st.floats(0, 60),
    st.sampled_from(["lettuce", "cabbage"]),
    st.integers(10, 59),
)
def test_more_drainage_never_raises_the_credit(drainage_mm, when, more, crop, planted):
    wetter = list(drainage_mm)
    wetter[when] += more
    dry, wet = (
        season(release(days=60, drainage_mm=np.array(each)), planted, roots=root_zone(crop))
        for each in (drainage_mm, wetter)
    )
    assert wet.useful <= dry.useful + 1e-12
    assert wet.before >= dry.before - 1e-12
    assert wet.before + wet.held == pytest.approx(dry.before + dry.held)


def test_a_wet_day_takes_what_lies_there_then():
    wet = np.where(np.arange(150) == 15, 50.0, 0.0)
    of, roots = release(drainage_mm=wet), RootZone(layers=2, water_mm=84.0)
    split = season(of, 20, roots=roots)
    assert split.before == pytest.approx(0.1202 * of.counted[:, 15], rel=2e-3)
    assert split.during == pytest.approx(season(release(), 20, roots=roots).during)
    held = held_in_soil(of, day(20), roots)
    assert held.by_day.shape == (1, 20)
    assert held.by_layer.sum() == pytest.approx(held.by_day[0, -1])
    assert (held.by_layer > 0).all()


def test_rain_that_is_not_known_leaves_half_of_what_came_early():
    # Common practice, no source: 50 ± 30 % of what was released more than three weeks before planting.
    of, roots = release(rain_mm=np.nan), root_zone("broccoli")
    early, late = of.counted[:, 60 - 21 - 1], of.counted[:, 59]
    split = season(of, 60, roots=roots)
    assert split.before == pytest.approx(0.5 * early)
    assert split.held == pytest.approx(late - 0.5 * early)
    assert split.useful_sd == pytest.approx(0.3 * early)
    near = season(of, 21, roots=roots)
    assert near.before == pytest.approx(0.0)
    assert near.useful_sd == pytest.approx(0.0)


def test_rain_known_until_three_weeks_before_planting_is_enough():
    known = np.where(np.arange(150) < 45, 0.0, np.nan)
    assert season(release(rain_mm=known), 60, roots=root_zone("broccoli")).before == pytest.approx(0.0)


def test_what_a_test_found_is_not_halved_again():
    of = release(rain_mm=np.nan)
    split = season(of, 60, roots=root_zone("broccoli"), tested=day(45))
    assert split.tested == pytest.approx(of.counted[:, 45])
    assert split.before == pytest.approx(0.0)


def test_poorly_drained_ground_loses_some_as_gas_and_is_less_sure():
    # After Meisinger & Randall 1991, from memory: 15 to 45 %; the shares still add up to 1.
    of = release(drainage_mm=1.0)
    dry, poor = (
        season(of, 40, roots=root_zone("cabbage", drainage=name)) for name in (None, "poorly drained")
    )
    assert dry.denitrified == 0.0
    assert poor.useful == pytest.approx(0.7 * dry.useful)
    assert poor.useful_sd > dry.useful_sd
    total = poor.before + poor.held + poor.during + poor.after + poor.tested + poor.denitrified
    assert total == pytest.approx(1.0)


def test_cracks_in_clay_leave_more_doubt_where_water_drains():
    clay, loam = (root_zone("cabbage", soil=soil_of(name)) for name in ("clay", "loam"))
    wet, dry = release(drainage_mm=2.0), release()
    assert season(wet, 40, roots=clay).useful_sd == pytest.approx(0.15 * wet.counted[:, 39])
    assert season(wet, 40, roots=loam).useful_sd == pytest.approx(0.0)
    assert season(dry, 40, roots=clay).useful_sd == pytest.approx(0.0)


# --- whole seasons


def weather(rain_mm, *, days=400, every_d=3, first="2025-12-01", **more):
    """Invented: 14 °C with a swing of 12 in a day, rain every few days."""
    dates = pd.date_range(first, periods=days, freq="D")
    rain = np.where(np.arange(days) % every_d == 0, rain_mm, 0.0)
    return pd.DataFrame({"tmin_c": 8.0, "tmax_c": 20.0, "rain_mm": rain, **more}, index=dates)


def drained_by_planting(rain_mm, *, irrigated=False, use=None, **more):
    daily = weather(rain_mm, **more)
    soil = season_soil(
        FIRST, day(140), daily=daily, sine=None, latitude_deg=45.0, irrigated=irrigated, water_use=use
    )
    of = daily_release(soil, VETCH)
    return soil, season(of, 60, roots=root_zone("broccoli"))


def test_the_wetter_the_spring_the_less_is_held_and_dry_springs_lose_nothing():
    held = [drained_by_planting(rain)[1] for rain in (0.0, 10.0, 30.0, 60.0)]
    assert held[0].before == pytest.approx(0.0)
    gone = [float(split.before[0]) for split in held]
    assert gone == sorted(gone)
    assert gone[-1] > 0.5
    assert gone[1] < 0.1


def test_irrigation_that_is_told_counts_as_water_and_none_is_made_up():
    put_on = np.where(np.arange(400) % 6 == 0, 40.0, 0.0)
    told, _ = drained_by_planting(0.0, irrigated=True, irrigation_mm=put_on)
    alone, _ = drained_by_planting(0.0, irrigation_mm=put_on)
    none, _ = drained_by_planting(0.0)
    made_up, _ = drained_by_planting(0.0, irrigated=True)
    assert (told.drainage_mm == alone.drainage_mm).all()
    assert told.moisture.mean() > none.moisture.mean()
    assert told.drainage_mm.sum() > 0 == none.drainage_mm.sum()
    assert made_up.moisture.min() >= SOIL.irrigated_moisture - 1e-9
    assert told.drainage_mm.max() > made_up.drainage_mm.max()


def test_ground_under_mulch_drains_more():
    use = np.full(141, WATER.mulched_evaporation)
    open_, mulched = (drained_by_planting(10.0, use=each)[0] for each in (None, use))
    assert mulched.drainage_mm.sum() > open_.drainage_mm.sum()


def test_a_season_by_the_mean_of_the_year_knows_no_rain():
    sine = AnnualSine(12.0, 10.0, dt.date(2026, 1, 20))
    soil = season_soil(FIRST, day(140), daily=None, sine=sine, latitude_deg=45.0, irrigated=False)
    assert np.isnan(soil.rain_mm).all()
    assert not daily_release(soil, VETCH).rain_known.any()


def test_what_is_at_risk_after_planting_comes_from_the_roots_and_not_from_the_top_foot():
    of = release(drainage_mm=2.0)
    found = {
        name: balance(
            of,
            100.0,
            150.0,
            CORN,
            planted=day(20),
            harvested=day(100),
            roots=root_zone(name),
            on_hand_kg_ha=20.0,
        )
        for name in ("lettuce", "sweet corn")
    }
    assert 0 < found["sweet corn"].at_risk < found["lettuce"].at_risk
    # Drainage after planting is told and not subtracted; only what was held at planting differs.
    assert found["lettuce"].short == pytest.approx(found["sweet corn"].short, abs=3.0)
