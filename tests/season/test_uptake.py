"""Crop uptake, the weekly balance, and the split between planting and side-dressing."""

import datetime as dt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldmap.advice.season import reason_text
from fieldmap.agronomy.lookup import find
from fieldmap.agronomy.tables import crops
from fieldmap.budget.seasons import BlockSeason
from fieldmap.season.balance import balance, short_from, weekly
from fieldmap.season.release import RELEASE, Residue, daily_release
from fieldmap.season.scenarios import DailySoil
from fieldmap.season.split import split_season
from fieldmap.season.timing import split_by_season, time_supplemental
from fieldmap.season.uptake import UPTAKE, date_of_share, last_useful_day, uptake_share
from fieldmap.season.water import root_zone

ENDED, PLANTED, HARVESTED = dt.date(2026, 5, 4), dt.date(2026, 5, 24), dt.date(2026, 8, 14)
DAYS = (HARVESTED - ENDED).days + 1


def crop(name):
    entry = find(name, crops())
    assert entry is not None
    return entry


CORN = crop("sweet corn")
ROOTS = root_zone("sweet corn")


def release(*, temperature_c=18.0, drainage_mm=0.0, nitrogen_pct=3.6, days=DAYS + 30, scenarios=1):
    shape = (scenarios, days)
    soil = DailySoil(
        np.datetime64(ENDED, "D") + np.arange(days),
        np.broadcast_to(np.asarray(temperature_c, dtype=float), shape),
        np.ones(shape),
        np.broadcast_to(np.asarray(drainage_mm, dtype=float), shape),
        np.zeros(shape),
        "record",
        None,
        ("zheng1993",),
    )
    return daily_release(soil, Residue(nitrogen_pct, "incorporated"))


def found(credit_kg_ha, need_kg_ha, *, of=None, planted=PLANTED, **more):
    return balance(
        release() if of is None else of,
        credit_kg_ha,
        need_kg_ha,
        CORN,
        planted=planted,
        harvested=HARVESTED,
        roots=ROOTS,
        **more,
    )


# --- the curve


@pytest.mark.parametrize("entry", crops(), ids=lambda entry: entry.name)
def test_uptake_rises_from_nothing_to_the_whole(entry):
    share = uptake_share(np.linspace(0, 1, 200), entry)
    assert share[0] == pytest.approx(0.0)
    assert share[-1] == pytest.approx(1.0)
    assert (np.diff(share) > 0).all()


def test_lettuce_takes_up_most_in_its_last_month():
    # Check 25. Bottoms et al. 2012: seeded lettuce of 67 days takes up 70-80 % in its last month (tolerance to 83).
    assert 0.70 <= 1.0 - uptake_share(1 - 30 / 67, crop("lettuce")) <= 0.83


def test_broccoli_starts_late():
    # Thompson et al. 2002, quoting Doerge 1991: little in 40 days, at least 90 % in the last 30-50. 88 days: memory.
    seeded = crop("broccoli").started_as("seeded")
    assert uptake_share(40 / 88, seeded) < 0.10
    assert 1.0 - uptake_share(1 - 50 / 88, seeded) >= 0.90


def test_processing_tomato_at_its_peak():
    # Check 24. Hartz & Bottoms 2009: 296 kg/ha in all, 4-5 kg/ha/d for about six weeks, 64 % from day 48 of 125 on.
    daily = 296.0 * np.diff(uptake_share(np.arange(126) / 125, crop("processing tomato")))
    assert 4.0 <= np.sort(daily)[-42:].mean() <= 5.0
    assert daily[48:90].sum() / 296.0 == pytest.approx(0.64, abs=0.05)


def test_spinach_takes_up_little_in_two_weeks_and_evenly_from_then_on():
    # Check 23. Heinrich et al. 2013: 7 lb/ac by day 14, then 4.3 lb/ac a day, of 120 lb/ac in 40 days.
    taken = uptake_share(np.array([14, 26]) / 40, crop("spinach"))
    assert taken == pytest.approx([7 / 120, (7 + 12 * 4.3) / 120], abs=0.06)


def test_melon_takes_up_most_between_its_fifth_and_eleventh_week():
    # Check 26. Castellanos et al. 2012: fastest from day 30-35 to 70-80 after transplanting; 70 % of uptake is our
    # arithmetic.
    early, late = uptake_share(np.array([32, 75]) / 100, crop("melon"))
    assert late - early >= 0.70


def test_transplants_take_up_sooner_in_their_shorter_season():
    for name in ("lettuce", "broccoli", "melon", "onion"):
        seeded, transplanted = (crop(name).started_as(started) for started in ("seeded", "transplanted"))
        assert uptake_share(0.4, transplanted) > uptake_share(0.4, seeded), name
    assert crop("carrot").started_as("transplanted") is None


def test_sweet_corn_at_its_peak():
    # Geisseler & Horwath: more than 3 lb/ac/d, of warm-season crops 4-6; 175 lb/ac in all (Heckman 2021); 80 days.
    daily = 175.0 * np.diff(uptake_share(np.arange(81) / 80, CORN))
    assert 3.0 < daily.max() < 6.0


@pytest.mark.parametrize(
    ("name", "days", "season_d"), [("cabbage", 30, 105), ("onion", 30, 120), ("carrot", 60, 120)]
)
def test_slow_starters(name, days, season_d):
    # CDFA guidelines: low in the first month (cabbage, onion), the first two months (carrot); seasons from memory.
    assert uptake_share(days / season_d, crop(name)) < 0.30


def test_cauliflower_rises_from_four_weeks_on():
    # Published: rises sharply from 4 weeks after planting; a season of 80 days from memory.
    by_week = uptake_share(np.array([28, 42]) / 80, crop("cauliflower"))
    assert by_week[0] < 0.10
    assert np.diff(by_week)[0] > 1.5 * by_week[0]


def test_dates_along_the_curve():
    last = last_useful_day(PLANTED, HARVESTED, CORN)
    assert (
        PLANTED < date_of_share(0.15, PLANTED, HARVESTED, CORN) < date_of_share(0.5, PLANTED, HARVESTED, CORN)
    )
    assert dt.date(2026, 8, 1) < last < HARVESTED
    assert date_of_share(1.0, PLANTED, HARVESTED, CORN) == HARVESTED


def test_the_rapid_phase_holds_85_percent():
    # Univ. of Massachusetts Extension: up to 85 % of the nitrogen is taken up in the rapid phase.
    assert 1.0 - UPTAKE.rapid_from_share == pytest.approx(0.85)


# --- the balance


@given(
    st.floats(-56, 250),
    st.floats(20, 300),
    st.floats(0, 60),
    st.floats(8, 28),
    st.floats(0, 6),
)
def test_the_balance_closes(credit, need, on_hand, temperature_c, drainage_mm):
    of = release(temperature_c=temperature_c, drainage_mm=drainage_mm)
    result = found(credit, need, of=of, on_hand_kg_ha=on_hand)
    split = split_season(of, planted=PLANTED, last_useful=HARVESTED, roots=ROOTS)
    grown = result.dates >= np.datetime64(PLANTED)
    supply = credit * split.useful.mean() if credit > 0 else credit * of.tied_up[0, DAYS - 1]
    assert result.uptake.sum() == pytest.approx(need)
    assert supply + on_hand - need + result.short.sum() == pytest.approx(result.spare[-1], abs=1e-6)
    assert (result.short >= 0).all()
    assert (result.spare >= 0).all()
    assert not result.short[~grown].any()
    assert 0 <= result.at_risk <= max(credit, 0) * split.useful.mean() + on_hand + 1e-9


def test_short_is_what_the_ledger_leaves_to_spread():
    of = release()
    split = split_season(of, planted=PLANTED, last_useful=HARVESTED, roots=ROOTS)
    result = found(100.0, 224.0, of=of)
    assert result.short.sum() == pytest.approx(224.0 - 100.0 * float(split.useful[0]))


def test_more_credit_never_makes_the_crop_shorter():
    result = found(np.linspace(-50, 250, 40), 180.0)
    short = result.short.sum(axis=-1)
    assert (np.diff(short) <= 1e-9).all()
    first = short_from(result)
    known = first[~np.isnat(first)]
    assert (np.diff(known).astype(int) >= 0).all()
    assert np.isnat(first[-1])


def test_zones_are_worked_out_each_as_alone():
    of = release(drainage_mm=1.0)
    credits_kg_ha, needs = np.array([-20.0, 60.0, 180.0]), np.array([100.0, 150.0, 200.0])
    together = found(credits_kg_ha, needs, of=of, on_hand_kg_ha=np.array([0.0, 10.0, 20.0]))
    for zone, (credit, need, on_hand) in enumerate(zip(credits_kg_ha, needs, (0.0, 10.0, 20.0), strict=True)):
        alone = found(credit, need, of=of, on_hand_kg_ha=on_hand)
        for name in ("released", "released_low", "released_high", "uptake", "short", "spare", "at_risk"):
            assert getattr(together, name)[zone] == pytest.approx(getattr(alone, name)), name


def test_what_is_tied_up_is_missing_at_planting():
    result = found(-40.0, 150.0)
    day = np.flatnonzero(result.dates == np.datetime64(PLANTED))[0]
    tied = 40.0 * release().tied_up[0, day]
    assert result.short[day] == pytest.approx(tied, abs=1.5)  # with the first day's uptake
    assert result.short.sum() == pytest.approx(190.0, abs=1.0)
    assert short_from(result) == np.datetime64(PLANTED)


def test_scenarios_give_a_range_around_the_release():
    temperature = np.array([[12.0], [16.0], [22.0]])
    result = found(100.0, 150.0, of=release(temperature_c=temperature, scenarios=3))
    total = np.cumsum(result.released)
    assert (result.released_low <= total + 1e-9).all()
    assert (total <= result.released_high + 1e-9).all()
    assert (result.released_high - result.released_low)[-60] > 5.0


def test_a_test_counts_what_came_before_it_once():
    tested = dt.date(2026, 6, 10)
    of = release()
    result = found(100.0, 150.0, of=of, on_hand_kg_ha=60.0, tested=tested)
    still_to_come = 100.0 * (of.counted[0, DAYS - 1] - of.counted[0, of.day(tested)])
    assert 60.0 + still_to_come - 150.0 + result.short.sum() == pytest.approx(result.spare[-1])


def test_planted_before_the_cover_crop_ended():
    planted = dt.date(2026, 4, 30)
    result = found(100.0, 150.0, planted=planted)
    assert len(result.dates) == DAYS
    assert 149.0 < result.uptake.sum() < 150.0


# --- weeks


def test_weeks_start_at_planting_and_lose_nothing():
    result = found(100.0, 180.0)
    weeks = weekly(result)
    assert weeks.date[weeks.week == 1][0] == np.datetime64(PLANTED)
    assert weeks.date[0] == np.datetime64(ENDED)
    assert list(weeks.week) == list(range(weeks.week[0], weeks.week[-1] + 1))
    for name in ("released", "uptake", "short"):
        assert getattr(weeks, f"{name}_kg_ha").sum() == pytest.approx(getattr(result, name).sum())
    assert weeks.spare_kg_ha[-1] == result.spare[-1]
    assert weekly(found(np.array([50.0, 100.0]), 180.0)).short_kg_ha.shape == (2, len(weeks.week))


# --- when to spread the rest


def timing(credit, need, supplemental, **more):
    """The season of a block, with its split."""
    own = found(credit, need)
    split = time_supplemental(own, supplemental, CORN, harvested=HARVESTED, **more)
    first = short_from(own).item()
    first = first if isinstance(first, dt.date) else None
    return BlockSeason(
        "field", own, weekly(own), split, first, supplemental, CORN.least_share_before_planting
    )


def said(season):
    return reason_text(season, "metric")


def test_a_good_stand_lets_all_wait_for_the_side_dressing():
    split = timing(110.0, 180.0, 70.0)
    assert split.timing.at_planting_share == 0.0
    assert PLANTED < split.timing.sidedress < dt.date(2026, 7, 1)
    assert "What is released carries the crop to 2026-07" in said(split)
    assert "all 70 kg/ha can wait" in said(split)


def test_a_middling_stand_lets_all_but_a_starter_wait():
    split = timing(60.0, 130.0, 70.0)
    assert split.timing.at_planting_share == pytest.approx(25.0 / 70.0)
    assert "25 kg/ha at planting are a starter, and 45 kg/ha can wait" in said(split)


def test_where_the_soil_holds_enough_at_planting_no_starter_is_given():
    """12 ppm nitrate-N in 30 cm are 46.8 kg/ha."""
    for at_hand, early in ((46.5, 25.0), (47.5, 0.0)):
        own = found(0.0, 220.0, on_hand_kg_ha=at_hand)
        planted = own.spare[np.searchsorted(own.dates, np.datetime64(PLANTED))]
        assert planted == pytest.approx(at_hand, abs=0.5)
        day = short_from(own).item()
        assert split_by_season(own, 120.0, (PLANTED, day))[0] == early


def test_poor_residue_raises_the_share_at_planting():
    tied, none = timing(-40.0, 150.0, 190.0), timing(0.0, 150.0, 150.0)
    assert tied.timing.at_planting_share > none.timing.at_planting_share > 0
    assert said(tied).startswith("Poor residue ties nitrogen up when the crop is planted. From 2026-05-24")
    assert "Poor residue" not in said(none)


def test_a_later_side_dressing_leaves_more_to_planting():
    early, late = (timing(20.0, 180.0, 160.0, sidedress=dt.date(2026, *day)) for day in ((6, 15), (7, 15)))
    assert early.timing.at_planting_share < late.timing.at_planting_share
    assert late.timing.sidedress == dt.date(2026, 7, 15)
    assert "on 2026-07-15" in said(late)


def test_too_little_for_a_second_pass_goes_on_at_planting():
    split = timing(0.0, 25.0, 25.0)
    assert split.timing.at_planting_share == 1.0
    assert "too little would be left for a pass" in said(split)


def test_nothing_to_spread_and_only_thin_places_short():
    assert said(timing(200.0, 120.0, 0.0)) == "Nothing is left to spread."
    assert said(timing(200.0, 120.0, 0.3)) == "Nothing is left to spread."
    thin = timing(200.0, 120.0, 12.0)
    assert thin.timing.at_planting_share == 0.0
    assert "On average the crop is never short: 12 kg/ha for the thin places" in said(thin)
    little = timing(60.0, 40.0, 12.0)
    assert said(little) == "On average the crop is never short: all 12 kg/ha go out at planting as a starter."
    more = timing(60.0, 40.0, 40.0)
    assert "never short: 25 kg/ha at planting are a starter, and 15 kg/ha for the thin places can" in said(
        more
    )


def test_a_soil_test_is_called_for_when_drainage_makes_it_worth_one():
    assert not RELEASE.soil_test_is_due(3.0, 4.0)
    assert RELEASE.soil_test_is_due(14.0, 11.0)


def test_drainage_after_planting_puts_nitrogen_at_risk_and_subtracts_nothing():
    dry, wet = (found(100.0, 150.0, of=release(drainage_mm=drainage)) for drainage in (0.0, 2.0))
    assert dry.at_risk == 0.0
    assert wet.at_risk > 5.0
    after = dry.dates >= np.datetime64(PLANTED)
    assert wet.released[after] == pytest.approx(dry.released[after])
