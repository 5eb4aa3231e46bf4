"""Need, other credits, supplemental, ledger."""

import tomllib

import numpy as np
import pytest
from shapely.geometry import box
from support.small_fields import PLAN, boundary_geojson

from fieldmap import read_plan, run
from fieldmap.budget.ledger import block_ledger
from fieldmap.budget.need import block_need, missing_kg_ha
from fieldmap.budget.other_credits import other_credits
from fieldmap.field.field import build_field
from fieldmap.plan.parse import parse_plan
from fieldmap.season.split import SeasonSplit

OTHERS = """
[[other_credits]]
source = "irrigation water"
nitrogen = "10 kg/ha"
[[other_credits]]
source = "soil organic matter"
nitrogen = "22 kg/ha"
[[other_credits]]
source = "previous legume"
crop = "alfalfa"
ended = 2025-09-20
nitrogen = "40 kg/ha"
block = "west"
"""


def need_of(found, block):
    return block_need(found.crop_of(block), block, other_credits(found, block, water_use_mm=None))


def plan(*edits, extra=""):
    text = PLAN
    for old, new in edits:
        text = text.replace(old, new)
    return parse_plan(tomllib.loads(text + extra), "folder")


@pytest.fixture
def two_blocks(tmp_path):
    import json

    from fieldmap.read.layers.layers import read_boundary

    path = tmp_path / "boundary.geojson"
    path.write_text(
        json.dumps(boundary_geojson({"west": box(0, 0, 100, 100), "east": box(100, 0, 200, 100)}))
    )
    return build_field(read_boundary(path), None, cell_m=5.0, file=path.name)


def test_five_tonnes_of_vetch_at_4_pct_leave_124_of_224():
    # From the extension rule of half of total N (UC Santa Cruz manual; worksheet): 5,000 kg × 4 % × 0.5 = 100.
    need = need_of(plan(('"220 kg/ha"', '"224 kg/ha"')), "field")
    assert need.need_kg_ha - need.other_credits_kg_ha - 5000 * 0.04 * 0.5 == pytest.approx(124.0)


def test_credits_count_where_they_belong():
    found = plan(extra=OTHERS)
    assert need_of(found, "west").other_credits_kg_ha == pytest.approx(72.0)
    assert need_of(found, "east").other_credits_kg_ha == pytest.approx(32.0)


def test_what_the_guide_already_counts_is_not_credited_again():
    counted = plan(
        ('need = "220 kg/ha"', 'need = "220 kg/ha"\nneed_allows_for = ["organic matter", "previous legume"]'),
        extra=OTHERS,
    )
    assert need_of(counted, "west").other_credits_kg_ha == pytest.approx(10.0)


def test_missing_is_by_block_and_may_be_negative(two_blocks):
    needs = [need_of(plan(extra=OTHERS), name) for name in ("west", "east")]
    credit = np.where(two_blocks.inside, 200.0, np.nan)
    missing = missing_kg_ha(needs, credit, two_blocks)
    assert missing[two_blocks.block_index == 0] == pytest.approx(220 - 72 - 200)
    assert missing[two_blocks.block_index == 1] == pytest.approx(220 - 32 - 200)
    assert np.isnan(missing[~two_blocks.inside]).all()


def test_crop_uptake_asks_for_the_recovery_of_what_is_spread(two_blocks):
    uptake = plan(('need = "220 kg/ha"', 'need = "220 kg/ha"\nneed_is = "crop uptake"\nrecovery = 0.5'))
    needs = [need_of(uptake, name) for name in ("west", "east")]
    missing = missing_kg_ha(needs, np.full(two_blocks.grid.shape, 120.0), two_blocks)
    assert missing[two_blocks.inside] == pytest.approx(200.0)


@pytest.mark.parametrize(("told", "p2o5_kg_ha"), [("", 15 * 1.49), ('\nyield = "30 t/ha"', 30 * 1.49)])
def test_what_the_harvest_takes_follows_the_yield(told, p2o5_kg_ha):
    # Düngeverordnung, annex 7: broccoli holds 1.49 kg P2O5 a tonne; annex 4 tells its demand at 15 t/ha.
    crop = plan(('"sweet corn"', '"broccoli"'), ('need = "220 kg/ha"', f'need = "220 kg/ha"{told}')).crop
    need = block_need(crop, "field", ())
    assert need.removal_p2o5_kg_ha == pytest.approx(p2o5_kg_ha)
    assert need.need_kg_ha == 220.0


KEYS = ("pnw636", "stage_memory", "release_memory")


def test_a_mark_is_the_weakest_of_what_acted(plan_folder):
    # The error of release is from memory and acts on the caution alone; PNW 636 is published.
    need, credit = need_of(plan(), "field"), np.array([120.0, 60.0])
    laboratory = ("pnw636", "your_value", "release_memory", "nitrogen_error_memory")
    marks = {
        line.line: line.mark
        for line in block_ledger(
            need, credit, None, 5.0, credit_sources=laboratory, timing_sources=("release_fit",)
        )
    }
    assert marks["cover crop"] == "your value"
    assert marks["caution"] == "from memory"
    split = SeasonSplit(*(np.array([share]) for share in (0.1, 0.2, 0.6, 0.1, 0.0, 0.0, 0.0)))
    timed = block_ledger(need, credit, split, 0.0, credit_sources=laboratory, timing_sources=("release_fit",))
    assert {line.line: line.mark for line in timed}["before the crop"] == "from memory"
    table = block_ledger(need, credit, None, 0.0, credit_sources=KEYS)
    assert {line.line: line.mark for line in table}["cover crop"] == "from memory"


@pytest.mark.parametrize(
    ("edits", "columns", "mark"),
    [
        ([], {}, "from memory"),  # %N of hairy vetch at bud, from memory
        ([('stage = "bud"', 'nitrogen = "3.4 %"')], {}, "your value"),
        ([], {"nitrogen_pct": [3.4] * 24}, "your value"),
    ],
)
def test_a_laboratory_value_lifts_the_mark_of_the_credit(plan_folder, edits, columns, mark):
    result = run(read_plan(plan_folder(edits=edits, **columns)))
    line = next(line for line in result.ledger if line.line == "cover crop")
    assert line.mark == mark
    assert ("Shoot nitrogen by species" in line.source) == (mark == "from memory")
    assert "release_memory" in result.sources  # its error still does


@pytest.mark.parametrize("recovery", ["", '\nneed_is = "crop uptake"\nrecovery = 0.8'])
@pytest.mark.parametrize("caution", [0.0, 7.5])
def test_the_lines_of_the_ledger_add_up_to_what_is_missing(recovery, caution):
    need = need_of(plan(('need = "220 kg/ha"', f'need = "220 kg/ha"{recovery}'), extra=OTHERS), "west")
    credit = np.array([120.0, 60.0, -20.0, 30.0])
    lines = block_ledger(need, credit, None, caution, credit_sources=KEYS)
    share = 0.8 if recovery else 1.0
    assert sum(line.kg_ha for line in lines) == pytest.approx((220 - 72 - credit.mean() + caution) / share)
    by_name = {line.line: line for line in lines}
    assert by_name["cover crop"].kg_ha == pytest.approx(-52.5)
    assert by_name["tied up"].kg_ha == pytest.approx(5.0)
    assert by_name["irrigation water"].kg_ha == -10.0
    assert by_name["need"].mark == "your value"
    assert by_name["cover crop"].mark == "from memory"  # the weakest of its ingredients
    assert "PNW 636" in by_name["cover crop"].source


def test_the_cover_crop_has_its_line_even_when_it_gives_nothing():
    lines = block_ledger(
        need_of(plan(), "field"), np.array([-10.0, -20.0]), None, 0.0, credit_sources=("pnw636",)
    )
    assert {line.line: line.kg_ha for line in lines}["cover crop"] == 0.0
    assert {line.line: line.kg_ha for line in lines}["tied up"] == pytest.approx(15.0)
