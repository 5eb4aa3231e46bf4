"""Nitrate tests of thin, middle and thick ground: each sets the side-dressing of its third of the block."""

import datetime as dt
import itertools
import re

import numpy as np
import pytest
from shapely.geometry import box

from fieldmap import InputError, read_plan
from fieldmap.actions import SideDress, Spread
from fieldmap.budget.sidedress import GROUNDS, called_n_kg_ha, sidedress_calls
from fieldmap.export.formats.result_json import figures
from fieldmap.field import build_field, burn
from fieldmap.read import read_inputs
from fieldmap.stand.thirds import third_edges_kg_ha, thirds_of_stand

UREA = 0.46
FILL_UP = 3.9  # kg/ha for each mg/kg in 30 cm of density 1.3 (CDFA and arithmetic)
ENOUGH = 25.0  # mg/kg, sweet corn
WEST_TO_EAST = {"thin": 5.0, "middle": 12.0, "thick": 20.0}
GOES = (
    "\n[[application]]\ndate = 2026-05-20\nshare = 0.4\n"
    '\n[[application]]\ndate = 2026-06-25\nshare = 0.6\nmethod = "side-dress"\n'
)
ONE_GO = '\n[[application]]\ndate = 2026-06-25\nshare = 1\nmethod = "side-dress"\n'


def by_ground(ppm, day="2026-06-20"):
    return "".join(
        f'\n[[sidedress_test]]\nnitrate_n = "{value} ppm"\nsampled = {day}\nrate = "fill up"\nground = "{ground}"\n'
        for ground, value in ppm.items()
    )


def whole(ppm, day="2026-06-20"):
    return f'\n[[sidedress_test]]\nnitrate_n = "{ppm} ppm"\nsampled = {day}\nrate = "fill up"\n'


@pytest.fixture
def calls_of(plan_folder):
    numbers = itertools.count()

    def make(extra, **options):
        plan = read_plan(plan_folder(extra=extra, name=f"call{next(numbers)}", **options))
        inputs = read_inputs(**plan.inputs())
        return sidedress_calls(plan, build_field(inputs.boundary, None, cell_m=5.0, file="boundary.geojson"))

    return make


@pytest.fixture
def two_blocks(plan_folder):
    """West and east of a field, on its grid."""
    blocks = {"west": box(0, 0, 150, 200), "east": box(150, 0, 300, 200)}
    plan = read_plan(plan_folder(blocks=blocks, name="two"))
    return build_field(read_inputs(**plan.inputs()).boundary, None, cell_m=5.0, file="boundary.geojson")


def test_thirds_are_of_each_blocks_own_cells(two_blocks):
    # A stand that rises by a column from 0 in the west: terciles by hand, each third of the cells of its block.
    rows, columns = two_blocks.grid.shape
    biomass = np.tile(10.0 * np.arange(columns), (rows, 1))
    third = thirds_of_stand(biomass, two_blocks)
    for block in (0, 1):
        own = two_blocks.spread_index == block
        shares = [(third[own] == ground).mean() for ground in (0, 1, 2)]
        assert shares == pytest.approx([1 / 3] * 3, abs=1.5 / 30)
        assert biomass[own & (third == 0)].max() < biomass[own & (third == 1)].min()
        assert biomass[own & (third == 1)].max() < biomass[own & (third == 2)].min()
    assert (third[~two_blocks.inside] == -1).all()


def test_an_even_stand_has_no_thirds(two_blocks):
    biomass = np.where(two_blocks.block_index == 0, 4000.0, 4000.0 + np.arange(two_blocks.grid.shape[1]))
    third = thirds_of_stand(biomass, two_blocks)
    assert (third[two_blocks.block_index == 0] == -1).all()
    assert set(third[two_blocks.block_index == 1]) == {0, 1, 2}


def test_where_to_sample_is_told_by_the_biomass_between_the_thirds(result_of):
    result = result_of(GOES)
    ((low, high),) = third_edges_kg_ha(result.stand.biomass.mean, result.field)
    third = thirds_of_stand(result.stand.biomass.mean, result.field)
    for number, (least, most) in enumerate(((0, low), (low, high), (high, np.inf))):
        biomass = result.stand.biomass.mean[third == number]
        assert least <= biomass.min() <= biomass.max() <= most
    (what,) = [one.what for one in result.action_texts if one.what.startswith("Test soil nitrate")]
    assert what == (
        f"Test soil nitrate under sweet corn, thin, middle and thick ground apart: thin had less than {low:,.0f} "
        f"kg/ha of dry biomass, thick more than {high:,.0f} kg/ha."
    )


def test_each_test_is_called_by_the_rule_of_one_for_the_whole_block(calls_of):
    calls = calls_of(by_ground(WEST_TO_EAST))
    assert [call.ground for call in calls] == list(GROUNDS)
    wanted = [FILL_UP * (ENOUGH - ppm) for ppm in WEST_TO_EAST.values()]
    assert [call.rate_n_kg_ha for call in calls] == pytest.approx(wanted)
    third = np.array([[0, 1, 2, -1]])
    assert called_n_kg_ha(calls, third)[0, :3].tolist() == pytest.approx(wanted)


def test_without_ground_one_rate_stands_for_the_block(calls_of):
    calls = calls_of(whole(12.0))
    assert [(call.ground, call.followed_from) for call in calls] == [(None, dt.date(2026, 6, 20))]
    assert called_n_kg_ha(calls, np.zeros((2, 2), dtype=np.int8)) == pytest.approx(FILL_UP * 13)
    assert called_n_kg_ha((), None) == 0.0


def test_the_last_of_each_ground_counts_and_applications_follow_the_last_of_all(calls_of):
    earlier = by_ground({"thin": 2.0, "middle": 2.0, "thick": 2.0}, "2026-06-05")
    thin, others = (
        by_ground({"thin": 5.0}, "2026-06-20"),
        by_ground({"middle": 12.0, "thick": 20.0}, "2026-06-22"),
    )
    calls = calls_of(earlier + thin + others)
    assert [call.nitrate_n_ppm for call in calls] == [5.0, 12.0, 20.0]
    assert {call.followed_from for call in calls} == {dt.date(2026, 6, 22)}
    # A later test of the whole block stands before them, as a later test always has.
    (call,) = calls_of(earlier + whole(12.0))
    assert call.ground is None


@pytest.mark.parametrize(
    ("extra", "words"),
    [
        (
            by_ground({"thin": 5.0, "thick": 20.0}),
            "found a test of thin and thick ground in field and none of middle ground within 3 days of 2026-06-20",
        ),
        (
            by_ground({"thin": 5.0, "thick": 20.0}),
            'expected, of the same day or nearly so. Add [[sidedress_test]] with ground = "middle", or leave',
        ),
        (
            by_ground({"thin": 5.0}, "2026-06-16") + by_ground({"middle": 12.0, "thick": 20.0}),
            "found a test of middle and thick ground in field and none of thin ground within 3 days of 2026-06-20",
        ),
        (
            by_ground(WEST_TO_EAST) + whole(12.0),
            "found tests of the whole of field and of a ground of it within 3 days; either one test without ground",
        ),
        (by_ground({"wet": 5.0}), 'ground: found "wet"'),
    ],
)
def test_what_is_no_set_of_three_is_refused(calls_of, extra, words):
    with pytest.raises(InputError, match=re.escape(words)):
        calls_of(extra)


def test_a_stand_that_is_the_same_all_over_is_refused(result_of):
    with pytest.raises(
        InputError, match="found tests by ground in field, where the stand is the same all over; one"
    ):
        result_of(by_ground(WEST_TO_EAST) + GOES, dry_kg_ha=np.full(24, 4000.0))


def test_three_thirds_get_three_rates(result_of):
    result = result_of(by_ground(WEST_TO_EAST) + GOES)
    second = result.applications[1].spread.zone_map.rate_n_kg_ha
    thirds = thirds_of_stand(result.stand.biomass.mean, result.field)
    steps = 10 * UREA
    for number, ppm in enumerate(WEST_TO_EAST.values()):
        # The middle of each third, away from the borders that the machine's width moves.
        rates = second[(thirds == number) & (result.field.spread_index == 0)]
        assert np.median(rates) == pytest.approx(FILL_UP * (ENOUGH - ppm), abs=steps / 2 + 1e-9)
    assert len(result.applications[1].spread.zone_map.zones) == 3
    # In all, what the three call for: nothing of the first is subtracted, and no caution added.
    called = np.mean([FILL_UP * (ENOUGH - ppm) for ppm in WEST_TO_EAST.values()])
    assert np.nanmean(second) == pytest.approx(called, rel=0.03)


def test_the_first_application_and_the_verdict_are_those_of_a_block_with_one_test(result_of):
    one, three = (
        result_of(whole(12.0) + GOES, name="one"),
        result_of(by_ground(WEST_TO_EAST) + GOES, name="three"),
    )
    firsts = [each.applications[0].spread.zone_map.rate_n_kg_ha for each in (one, three)]
    assert firsts[0] == pytest.approx(firsts[1], nan_ok=True)
    assert one.verdict.answer == three.verdict.answer
    assert one.verdict.gain_kg_ha == pytest.approx(three.verdict.gain_kg_ha)


def test_where_all_follows_the_tests_the_verdict_is_on_what_they_call_for(result_of):
    result = result_of(by_ground(WEST_TO_EAST) + ONE_GO)
    called = np.array([FILL_UP * (ENOUGH - ppm) for ppm in WEST_TO_EAST.values()])
    # One rate misses each third by its distance from the mean of the three.
    assert result.verdict.misplaced_flat_kg_ha == pytest.approx(
        np.abs(called - called.mean()).mean(), rel=0.15
    )
    assert result.verdict.misplaced_zones_kg_ha < result.verdict.misplaced_flat_kg_ha / 2
    assert (result.verdict.answer, result.verdict.chance) == ("closer to the need", 1.0)


def test_they_are_told_by_ground(result_of):
    result = result_of(by_ground(WEST_TO_EAST) + GOES)
    told = figures(result)["sidedress"]
    assert [(one["ground"], one["nitrate_n_ppm"]) for one in told] == list(WEST_TO_EAST.items())
    assert told[0]["text"].startswith(
        "field, thin ground (sweet corn): the test of 2026-06-20 found 5 ppm nitrate-N"
    )
    spread = [one for one in result.actions if isinstance(one, Spread)]
    assert [one.tested_n_ppm for one in spread] == [None, (5.0, 20.0)]
    assert any("The nitrate tests found 5 to 20 ppm." in text.why for text in result.action_texts)
    assert not any(isinstance(one, SideDress) for one in result.actions)


def test_without_an_application_each_ground_has_its_own_line(result_of):
    result = result_of(by_ground({"thin": 5.0, "middle": 12.0, "thick": 30.0}))
    called = [one for one in result.actions if isinstance(one, SideDress)]
    assert [(one.ground, one.rate_n_kg_ha) for one in called] == [
        ("thin", pytest.approx(78.0)), ("middle", pytest.approx(50.7)), ("thick", 0.0),
    ]  # fmt: skip
    texts = [one.what for one in result.action_texts if "ground" in one.what and "dress" in one.what]
    assert texts == [
        "Do not side-dress sweet corn on thin ground on top of what is spread: that holds the whole need.",
        "Do not side-dress sweet corn on middle ground on top of what is spread: that holds the whole need.",
        "No side-dressing of sweet corn on thick ground.",
    ]


def test_check_strips_get_their_share_of_what_is_called_for_under_them(result_of):
    result = result_of("\n[strips]\nnumber = 2\nlevels = [0.5, 1]\n" + by_ground(WEST_TO_EAST) + ONE_GO)
    spread = result.applications[0].spread
    rates = np.array([FILL_UP * (ENOUGH - ppm) for ppm in WEST_TO_EAST.values()])
    thirds = thirds_of_stand(result.stand.biomass.mean, result.field)
    assert spread.laid
    for strip in spread.laid:
        under = burn([strip.geometry], result.field.grid) == 0
        wanted = strip.level * rates[thirds[under]].mean()
        assert strip.product_kg_ha * UREA == pytest.approx(wanted, abs=0.5 * 10 * UREA + 1e-9)
