"""The pre-side-dress nitrate test, against published rates; nothing is subtracted from what it calls for."""

import datetime as dt
import itertools

import pandas as pd
import pytest
from shapely.geometry import box

from fieldmap import InputError, read_plan
from fieldmap.actions import SideDress, Spread
from fieldmap.advice.season import call_text
from fieldmap.agronomy import crops, find
from fieldmap.budget.other_credits import soil_nitrate_kg_ha
from fieldmap.budget.sidedress import sidedress_calls
from fieldmap.budget.soil_index import nitrogen_index
from fieldmap.export.formats.result_json import figures
from fieldmap.field import build_field
from fieldmap.read import read_inputs
from fieldmap.units import KG_HA_PER_LB_AC

SINE = '\n[weather]\nmean = "10 degC"\namplitude = "11 delta_degC"\ncoldest = 2026-01-20\nirrigated = true\n'
MANURE = '\n[[other_credits]]\nsource = "manure"\ntotal_n = "50 kg/ha"\nshare = 0.4\napplied = 2026-05-10\n'
STEPS = 'rate = "steps"\n'


def strip(more="", reading="40 ppm", date="2026-06-20"):
    return f'\n[sidedress_test]\nstrip = "{reading}"\nsampled = {date}\n{more}'


def psnt(nitrate, extra="", date="2026-06-20"):
    return f'\n[sidedress_test]\nnitrate_n = "{nitrate}"\nsampled = {date}\n{extra}'


@pytest.fixture
def calls_of(plan_folder):
    """What tests call for, without the run around it."""
    numbers = itertools.count()

    def make(extra, *edits):
        plan = read_plan(plan_folder(extra=extra, edits=edits, name=f"call{next(numbers)}"))
        inputs = read_inputs(**plan.inputs())
        field = build_field(inputs.boundary, None, cell_m=5.0, file="boundary.geojson")
        return sidedress_calls(plan, field)

    return make


CABBAGE = [('"sweet corn"', '"cabbage"'), ("2026-08-14", "2026-09-06")]  # 105 days
LETTUCE = [('"sweet corn"', '"lettuce"'), ("2026-08-14", "2026-07-30")]


def test_check_13_cabbage_on_the_fourteenth_day_by_its_critical_value(calls_of):
    # Heckman et al. 2002, HortScience: fall cabbage, 24 mg/kg nitrate-N, 14 days after transplanting.
    day = {"date": "2026-06-07"}
    assert calls_of(psnt("23 ppm", **day), *CABBAGE)[0].rate_n_kg_ha > 0
    assert calls_of(psnt("24 ppm", **day), *CABBAGE)[0].rate_n_kg_ha == 0
    with pytest.raises(
        InputError, match="1 days after planting .* a test from 2026-06-07 to 2026-08-04 counts: nitrate"
    ):
        calls_of(psnt("23 ppm", date="2026-05-25"), *CABBAGE)
    with pytest.raises(
        InputError, match="and 5 before the harvest of cabbage .* counts: a later dressing comes too late"
    ):
        calls_of(psnt("23 ppm", date="2026-09-01"), *CABBAGE)


def test_check_14_lettuce_is_filled_up_under_irrigation(calls_of):
    # Hartz et al. 2000: lettuce 20 mg/kg; 8 mg/kg in 30 cm of density 1.3 are 31 kg/ha (CDFA and arithmetic).
    assert calls_of(SINE + psnt("20 ppm"), *LETTUCE)[0].rate_n_kg_ha == 0
    (call,) = calls_of(SINE + psnt("12 ppm"), *LETTUCE)
    assert call.rate_n_kg_ha == pytest.approx(31.0, abs=1.0)
    assert (call.scheme, call.assumed, call.error_kg_ha) == ("fill up", False, 10.0)


def test_rain_fed_ground_follows_the_steps_and_no_more_than_their_most(calls_of):
    # Rutgers: 40 lb/ac for 5 mg/kg, which are 9 kg/ha each; 160 lb/ac at most.
    rain_fed = SINE.replace("irrigated = true", "irrigated = false")
    (call,) = calls_of(rain_fed + psnt("12 ppm"), *LETTUCE)
    assert (call.scheme, call.rate_n_kg_ha) == ("steps", pytest.approx(8 * 9))
    assert call.rate_n_kg_ha == pytest.approx(8 * 40 / 5 * KG_HA_PER_LB_AC, rel=0.005)
    (most,) = calls_of(psnt("0 ppm", STEPS), *CABBAGE)
    assert most.rate_n_kg_ha == pytest.approx(160 * KG_HA_PER_LB_AC, abs=0.5)
    (corn,) = calls_of(SINE + psnt("18 ppm"))
    assert (corn.scheme, corn.rate_n_kg_ha) == ("fill up", pytest.approx(7 * 3.9))


def test_without_weather_what_is_taken_is_assumed_and_said(result_of):
    tomato = ('"sweet corn"', '"tomato"')
    corn, other = result_of(psnt("18 ppm"), name="corn"), result_of(psnt("18 ppm"), tomato, name="tomato")
    assert [one.budget.sidedress[0].scheme for one in (corn, other)] == ["rate table", "fill up"]
    assert any(
        "is followed by the rate table of humid ground: give [weather]" in text for text in corn.warnings
    )
    assert any(
        "is followed by filling the soil up: give [weather] irrigated" in text for text in other.warnings
    )


@pytest.mark.parametrize(
    ("name", "harvested", "first", "last"),
    [
        (
            "sweet corn",
            "2026-08-14",
            "2026-06-03",
            "2026-07-05",
        ),  # 10 days on; 40 before harvest, before the tassel
        ("lettuce", "2026-07-30", "2026-06-03", "2026-07-09"),  # 21 days before harvest
        ("carrot", "2026-09-21", "2026-06-03", "2026-07-23"),  # half way
        (
            "broccoli",
            "2026-07-26",
            "2026-06-07",
            "2026-07-05",
        ),  # a cole crop, 14 days on; 21 days before harvest
    ],
)
def test_the_days_on_which_a_test_counts(calls_of, name, harvested, first, last):
    # Section 3 of the trade's dressings: common practice, no source; here its rules are checked, not its figures.
    edits = [('"sweet corn"', f'"{name}"'), ("2026-08-14", harvested)]
    for day in (first, last):
        assert calls_of(psnt("18 ppm", date=day), *edits)
    for day, by in ((first, -1), (last, 1)):
        outside = dt.date.fromisoformat(day) + dt.timedelta(days=by)
        with pytest.raises(InputError, match=f"a test from {first} to {last} counts"):
            calls_of(psnt("18 ppm", date=outside.isoformat()), *edits)


def test_residue_tilled_in_late_moves_the_first_day_and_a_short_crop_has_none(calls_of):
    late = ("terminated = 2026-05-04", "terminated = 2026-05-24")
    with pytest.raises(InputError, match="a test from 2026-06-07 to 2026-07-05 counts"):
        calls_of(psnt("18 ppm", date="2026-06-04"), late)
    on_top = ("incorporated", "surface")
    assert calls_of(psnt("18 ppm", date="2026-06-04"), late, on_top)
    short = [late, ('"sweet corn"', '"baby spinach"'), ("2026-08-14", "2026-06-15")]
    with pytest.raises(
        InputError, match="no day counts: nitrate is still rising until 2026-06-07, and the last sensible"
    ):
        calls_of(psnt("18 ppm", date="2026-06-08"), *short)


def test_a_vegetable_without_a_figure_of_its_own_has_what_serves_most(calls_of):
    # Heckman 2002, HortTechnology 12:706: 25-30 mg/kg is sufficient for most crops.
    (call,) = calls_of(psnt("28 ppm"), ('"sweet corn"', '"leek"'))
    assert call.threshold_ppm == 30.0
    assert "psnt_most" in call.sources


def test_check_18_a_strip_in_the_extract_of_a_moist_loam(calls_of):
    # Univ. of California, Monterey 2014: 5-30 mg/kg of nitrate-N are roughly 10-60 mg/l of nitrate, 40 so 20.
    loam = 'texture = "loam"\nmoisture = "moist"\n'
    (call,) = calls_of(strip('strip_reads = "nitrate"\n' + loam))
    assert call.nitrate_n_ppm == pytest.approx(20.0, abs=4.0)
    assert call.mark == "from memory"
    # By definition 10 mg/l of nitrate-N are 44.3 of nitrate.
    (as_n,) = calls_of(strip('strip_reads = "nitrate-N"\n' + loam, "10 ppm"))
    (as_nitrate,) = calls_of(strip('strip_reads = "nitrate"\n' + loam, "44.3 ppm"))
    assert as_n.nitrate_n_ppm == pytest.approx(as_nitrate.nitrate_n_ppm)
    # By weight, by definition: 10 mg/l of nitrate-N in 2 ml for each gram of dry soil are 20 mg/kg.
    (weighed,) = calls_of(strip('strip_reads = "nitrate-N"\nsolution_per_soil = 2.0\n', "10 ppm"))
    assert weighed.nitrate_n_ppm == pytest.approx(20.0)


def test_a_strip_widens_what_the_rate_is_good_to(result_of):
    more = 'strip_reads = "nitrate"\ntexture = "loam"\nmoisture = "moist"\nrate = "fill up"\n'
    result = result_of(strip(more))
    (call,) = result.budget.sidedress
    assert call.error_kg_ha == pytest.approx((10**2 + (0.2 * 20 * 3.9) ** 2) ** 0.5)
    assert any("A nitrate strip is good to 20 % (from memory)" in text for text in result.warnings)


@pytest.mark.parametrize(
    ("mineral_n_kg_ha", "depth_m", "index"),
    [(90, 0.90, 2), (54, 0.45, 3), (72, 0.60, 3), (0, 0.30, 0), (300, 0.9, 6)],
)
def test_checks_15_and_16_the_index_of_soil_nitrogen(mineral_n_kg_ha, depth_m, index):
    # AHDB RB209, section 6, Table 6.6 and its example: 54 kg in 45 cm are 72 in 60, index 3;
    # sweetcorn of index 2 gets 125.
    assert nitrogen_index(mineral_n_kg_ha, depth_m) == index
    assert find("sweet corn", crops()).index_rates_kg_ha[2] == 125


def test_check_17_nitrate_of_a_denser_soil():
    # RB209: mg/kg in 30 cm times 4, at a density of 1.33.
    assert soil_nitrate_kg_ha(15.0, 0.30, 1330.0) == pytest.approx(60.0, abs=0.2)


def test_a_soil_test_before_planting_is_set_beside_the_index(result_of):
    # 15 mg/kg in 30 cm of density 1.3 are 58.5 kg, 54-80 and so index 5: sweetcorn none.
    told = '\n[[other_credits]]\nsource = "soil nitrate"\nnitrate_n = "15 ppm"\ndepth = "30 cm"\n'
    found = [text for text in result_of(told).warnings if "RB209" in text]
    assert len(found) == 1
    assert "index 5, for which RB209 gives sweet corn 0 kg/ha in all (published)" in found[0]


def test_what_disturbs_a_test_is_said(result_of):
    days = ("2026-06-10", "2026-06-24")
    spread = "".join(f'\n[[application]]\ndate = {day}\nshare = 0.5\nmethod = "side-dress"\n' for day in days)
    tested = result_of(psnt("18 ppm") + spread, name="spread")
    assert any(
        "comes 10 days after nitrogen was spread on 2026-06-10: within three" in text
        for text in tested.warnings
    )
    manure = MANURE.replace("2026-05-10", "2026-06-05")
    after = result_of(manure + psnt("18 ppm"), name="manure")
    assert any("comes 15 days after manure was spread on 2026-06-05" in text for text in after.warnings)
    poor = [('stage = "bud"', 'nitrogen = "1.4 %"'), ("terminated = 2026-05-04", "terminated = 2026-06-01")]
    poor.append(('placement = "incorporated"', 'placement = "incorporated"\nended_by = "mown"'))
    tied = result_of(psnt("18 ppm"), *poor, name="poor")
    assert any("has 1.4 %N and was incorporated 19 days before the test" in text for text in tied.warnings)
    plain = result_of(psnt("18 ppm"), name="plain")
    assert not any("Sample again" in text for text in plain.warnings)


def test_drainage_since_the_test_calls_for_another(result_of):
    days = pd.date_range("2026-03-01", "2026-08-20")
    rows = [f"{day:%Y-%m-%d},10,22,{40 if day == pd.Timestamp('2026-06-22') else 0}" for day in days]
    wet = [f"{day:%Y-%m-%d},10,22,{90 if day == pd.Timestamp('2026-06-22') else 4}" for day in days]
    weather = '\n[weather]\nfile = "weather.csv"\n'
    texts = {}
    for name, lines in (("dry", rows), ("wet", wet)):
        files = {"weather.csv": "date,tmin_c,tmax_c,rain_mm\n" + "\n".join(lines) + "\n"}
        texts[name] = result_of(weather + psnt("18 ppm"), name=name, files=files).warnings
    assert any(
        "drained in field from the test of 2026-06-20 to 2026-07-05: after more than" in one
        for one in texts["wet"]
    )
    assert not any("drained in field from the test" in one for one in texts["dry"])


@pytest.mark.parametrize(
    ("ppm", "lb_ac", "manured_lb_ac"),
    # Rutgers Univ., by way of Univ. of Delaware: unmanured 0-15, 16-20, 21-25, 26-30 and above 30 ppm; manured 0-10,
    # 11-15, 16-20, 21-25 and above 25.
    [(12, 160, 120), (18, 120, 80), (23, 80, 40), (28, 40, 0), (31, 0, 0)],
)
def test_sweet_corn_by_the_rutgers_table(result_of, ppm, lb_ac, manured_lb_ac):
    (call,) = result_of(psnt(f"{ppm} ppm"), name="plain").budget.sidedress
    assert call.rate_n_kg_ha == pytest.approx(lb_ac * KG_HA_PER_LB_AC)
    assert "without manure" in call_text(call, "metric")
    (after,) = result_of(MANURE + psnt(f"{ppm} ppm"), name="manured").budget.sidedress
    assert after.rate_n_kg_ha == pytest.approx(manured_lb_ac * KG_HA_PER_LB_AC)


def test_nothing_is_subtracted_from_it_whatever_the_ledger_holds(result_of):
    # The cover crop, soil nitrate and water are all in the test: more of them must not lower what it calls for.
    others = (
        '\n[[other_credits]]\nsource = "soil nitrate"\nnitrate_n = "10 ppm"\ndepth = "30 cm"\nsampled = 2026-05-20\n'
        '\n[[other_credits]]\nsource = "irrigation water"\nnitrogen = "60 kg/ha"\n'
    )
    poor = result_of(psnt("18 ppm", STEPS), name="poor")
    rich = result_of(others + SINE + psnt("18 ppm", STEPS), name="rich")
    assert poor.budget.sidedress[0].rate_n_kg_ha == rich.budget.sidedress[0].rate_n_kg_ha


def test_it_stands_in_place_of_the_ledgers_side_dressing_and_changes_no_file(result_of):
    without = result_of(SINE, name="without")
    tested = result_of(SINE + psnt("18 ppm", STEPS), name="tested")
    told = figures(tested)["sidedress"][0]["text"]
    assert "found 18 ppm nitrate-N: side-dress 135 kg/ha of nitrogen, good to 10 kg/ha" in told  # 120 lb/ac
    assert "nothing is subtracted from it" in told
    assert "zone files were drawn from the ledger and do not hold it" in told
    assert not any(isinstance(one, SideDress) for one in without.actions)
    (called,) = [one for one in tested.actions if isinstance(one, SideDress)]
    assert (called.first, called.rate_n_kg_ha) == (dt.date(2026, 6, 20), pytest.approx(134.5, abs=0.1))
    (text,) = [one for one in tested.action_texts if "side-dress" in one.what]
    assert text.what == "Do not side-dress sweet corn on top of what is spread: that holds the whole need."
    assert text.why.endswith("In its place the test would call for 135 kg/ha of nitrogen.")
    assert text.change == "To follow the test, hold an [[application]] of that day back for it."
    assert tested.ledger == without.ledger
    assert [zone.rate_n_kg_ha for zone in tested.spread.zone_map.zones] == [
        zone.rate_n_kg_ha for zone in without.spread.zone_map.zones
    ]


def test_below_a_threshold_only_as_much_as_reaches_it(result_of):
    # Hartz: below 20-25 mg/kg add only enough to reach it; 10 ppm in 30 cm are 39 kg/ha (CDFA, density 1.3).
    tomato = ('"sweet corn"', '"tomato"')
    (call,) = result_of(psnt("15 ppm"), tomato).budget.sidedress
    assert call.threshold_ppm == 25.0
    assert call.rate_n_kg_ha == pytest.approx(39.0)
    assert call.mark == "your value"  # the nitrate is the user's, all else is published


def test_above_the_threshold_nothing(result_of):
    (call,) = result_of(psnt("26 ppm"), ('"sweet corn"', '"tomato"')).budget.sidedress
    assert call.rate_n_kg_ha == 0.0
    assert "side-dress nothing, good to 10 kg/ha either way (the threshold is 25 ppm)" in call_text(
        call, "metric"
    )


def test_a_threshold_of_the_users_own_stands_before_the_tables(result_of):
    (call,) = result_of(psnt("18 ppm", 'threshold = "20 ppm"')).budget.sidedress
    assert call.threshold_ppm == 20.0
    assert call.rate_n_kg_ha == pytest.approx(39.0 / 5)


def test_nitrate_is_turned_into_nitrate_n(result_of):
    # UC ANR and CDFA: × 0.226.
    told = '\n[sidedress_test]\nnitrate = "100 ppm"\nsampled = 2026-06-20\n'
    assert result_of(told).budget.sidedress[0].nitrate_n_ppm == pytest.approx(22.6)


def test_each_block_has_its_own_test_and_it_is_in_result_json(result_of):
    blocks = {"west": box(0, 0, 150, 200), "east": box(150, 0, 300, 200)}
    told = (
        '\n[[sidedress_test]]\nnitrate_n = "12 ppm"\nsampled = 2026-06-20\n'
        '\n[[sidedress_test]]\nnitrate_n = "28 ppm"\nsampled = 2026-06-20\nblock = "east"\n'
    )
    result = result_of(told, blocks=blocks)
    found = figures(result)["sidedress"]
    assert [(one["block"], one["nitrate_n_ppm"]) for one in found] == [("west", 12.0), ("east", 28.0)]
    assert [one["rate_n_kg_ha"] for one in found] == pytest.approx([179.34, 44.83], abs=0.01)
    assert "psnt_rutgers" in result.sources


def test_a_block_without_a_test_keeps_its_timing(result_of):
    blocks = {"west": box(0, 0, 150, 200), "east": box(150, 0, 300, 200)}
    result = result_of(SINE + psnt("18 ppm", 'block = "east"'), blocks=blocks)
    (called,) = [one for one in result.actions if isinstance(one, SideDress)]
    assert called.blocks == ("east",)
    (spread,) = [one for one in result.actions if isinstance(one, Spread)]
    assert [two.block for two in spread.in_two] == ["west"]


@pytest.mark.parametrize(
    ("extra", "edits", "words"),
    [
        (psnt("18 ppm", date="2026-05-10"), [], r"2026-05-10 is not from the season of sweet corn in field"),
        (
            psnt("18 ppm"),
            [('"sweet corn"', '"pea"')],
            r"a soil nitrate test is not used for pea \(common practice, no source\); threshold",
        ),
        (
            psnt("18 ppm", 'nitrate = "80 ppm"'),
            [],
            r"found nitrate_n and nitrate; nitrate_n, nitrate or strip is",
        ),
        (strip(), [], r"strip_reads is missing; strips are for nitrate or for nitrate-N, 4.43 times apart"),
        (
            strip('strip_reads = "nitrate"\ntexture = "loam"\n'),
            [],
            r"found strip_reads and texture with strip; texture and moisture .*, or solution_per_soil",
        ),
        (
            psnt("18 ppm", 'texture = "loam"\n'),
            [],
            r"found texture without strip; strip, what it reads, is expected",
        ),
        (
            "\n[sidedress_test]\nsampled = 2026-06-20\n",
            [],
            r"found no nitrate; nitrate_n, nitrate or strip is expected",
        ),
        (psnt("18 kg/ha"), [], r'the unit "kg/ha" does not do here'),
        (psnt("18 ppm", 'block = "north"'), [], r'\[sidedress_test\] block: found "north"; a block of the'),
    ],
)
def test_what_cannot_be_right_is_refused(result_of, extra, edits, words):
    with pytest.raises(InputError, match=words):
        result_of(extra, *edits)
