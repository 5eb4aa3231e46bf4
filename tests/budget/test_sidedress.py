"""The pre-side-dress nitrate test, against published rates; nothing is subtracted from what it calls for."""

import pytest
from shapely.geometry import box

from fieldmap import InputError, read_plan, run
from fieldmap.advice import call_text
from fieldmap.export.formats.result_json import figures
from fieldmap.units import KG_HA_PER_LB_AC

SINE = '\n[weather]\nmean = "10 degC"\namplitude = "11 delta_degC"\ncoldest = 2026-01-20\nirrigated = true\n'
MANURE = '\n[[other_credits]]\nsource = "manure"\ntotal_n = "50 kg/ha"\nshare = 0.4\napplied = 2026-05-10\n'


def psnt(nitrate, extra="", date="2026-06-20"):
    return f'\n[sidedress_test]\nnitrate_n = "{nitrate}"\nsampled = {date}\n{extra}'


@pytest.fixture
def result_of(plan_folder):
    def make(extra, *edits, name="plan", **options):
        return run(read_plan(plan_folder(extra=extra, edits=edits, name=name, **options)))

    return make


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
    poor = result_of(psnt("18 ppm"), name="poor")
    rich = result_of(others + SINE + psnt("18 ppm"), name="rich")
    assert poor.budget.sidedress[0].rate_n_kg_ha == rich.budget.sidedress[0].rate_n_kg_ha


def test_it_stands_in_place_of_the_ledgers_side_dressing_and_changes_no_file(result_of):
    without = result_of(SINE, name="without")
    tested = result_of(SINE + psnt("18 ppm"), name="tested")
    assert without.timing not in tested.timing
    assert "found 18 ppm nitrate-N: side-dress 135 kg/ha of nitrogen" in tested.timing  # 120 lb/ac
    assert "nothing is subtracted from it" in tested.timing
    assert "zone files were drawn from the ledger and do not hold it" in tested.timing
    assert tested.ledger == without.ledger
    assert [zone.rate_n_kg_ha for zone in tested.spread.zone_map.zones] == [
        zone.rate_n_kg_ha for zone in without.spread.zone_map.zones
    ]


def test_below_a_threshold_only_as_much_as_reaches_it(result_of):
    # Hartz: below 20-25 mg/kg add only enough to reach it; 10 ppm in a foot are 39.62 kg/ha (CDFA, density 1.3).
    tomato = ('"sweet corn"', '"tomato"')
    (call,) = result_of(psnt("15 ppm"), tomato).budget.sidedress
    assert call.threshold_ppm == 25.0
    assert call.rate_n_kg_ha == pytest.approx(39.62, abs=0.01)
    assert call.mark == "your value"  # the nitrate is the user's, all else is published


def test_above_the_threshold_nothing(result_of):
    (call,) = result_of(psnt("26 ppm"), ('"sweet corn"', '"tomato"')).budget.sidedress
    assert call.rate_n_kg_ha == 0.0
    assert "side-dress nothing (the threshold is 25 ppm)" in call_text(call, "metric")


def test_a_threshold_of_the_users_own_stands_before_the_tables(result_of):
    (call,) = result_of(psnt("18 ppm", 'threshold = "20 ppm"')).budget.sidedress
    assert call.threshold_ppm == 20.0
    assert call.rate_n_kg_ha == pytest.approx(39.62 / 5, abs=0.01)


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
    assert "east (sweet corn): the test of 2026-06-20" in result.timing
    assert "can wait for the side-dressing" in result.timing


@pytest.mark.parametrize(
    ("extra", "edits", "words"),
    [
        (psnt("18 ppm", date="2026-05-10"), [], r"2026-05-10 is not from the season of sweet corn in field"),
        (
            psnt("18 ppm"),
            [('"sweet corn"', '"celeriac"')],
            r"no soil nitrate threshold for celeriac; threshold",
        ),
        (psnt("18 ppm", 'nitrate = "80 ppm"'), [], r"found nitrate_n and nitrate; nitrate_n or nitrate is"),
        (
            "\n[sidedress_test]\nsampled = 2026-06-20\n",
            [],
            r"found no nitrate; nitrate_n or nitrate is expected",
        ),
        (psnt("18 kg/ha"), [], r'the unit "kg/ha" does not do here'),
        (psnt("18 ppm", 'block = "north"'), [], r'\[sidedress_test\] block: found "north"; a block of the'),
    ],
)
def test_what_cannot_be_right_is_refused(result_of, extra, edits, words):
    with pytest.raises(InputError, match=words):
        result_of(extra, *edits)
