"""Need, other credits, supplemental, ledger."""

import tomllib

import numpy as np
import pytest
from shapely.geometry import box
from support.small_fields import PLAN, boundary_geojson

from fieldmap.budget.ledger import block_ledger
from fieldmap.budget.need import block_need, missing_kg_ha
from fieldmap.budget.other_credits import other_credits
from fieldmap.field.field import build_field
from fieldmap.plan.parse import parse_plan

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


@pytest.mark.parametrize("recovery", ["", '\nneed_is = "crop uptake"\nrecovery = 0.8'])
@pytest.mark.parametrize("caution", [0.0, 7.5])
def test_the_lines_of_the_ledger_add_up_to_what_is_missing(recovery, caution):
    need = need_of(plan(('need = "220 kg/ha"', f'need = "220 kg/ha"{recovery}'), extra=OTHERS), "west")
    credit = np.array([120.0, 60.0, -20.0, 30.0])
    lines = block_ledger(need, credit, None, caution, credit_sources=("pnw636", "release_memory"))
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
