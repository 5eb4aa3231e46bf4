"""A plan under work: its parts, what is wrong with each, and the field's average."""

import datetime as dt

import pytest
from shapely import transform

from fieldmap import read_plan, run
from fieldmap.app.plans.draft import (
    PARTS,
    average_text,
    look_over,
    part_of,
    survey_and_reckon,
    whereabouts,
)
from fieldmap.app.plans.plan_file import change_plan, save_file
from fieldmap.app.plans.questions import (
    APPLICATION,
    CROP,
    QUESTIONS,
    RESPONSE,
    SIDEDRESS,
    SPREADER,
    STAGE,
    STAND,
    STRIPS,
    credit_questions,
    stages_of,
)
from fieldmap.app.plans.workspace import copy_plan, new_plan
from fieldmap.app.sketch import build_sketch, sample_points
from fieldmap.demo import sample_farm
from fieldmap.errors import InputError, Problem
from fieldmap.pipeline.check import check
from fieldmap.plan.credit_kinds import CREDIT_KINDS
from fieldmap.plan.keys import plan_keys
from fieldmap.report.summary import interval_text


@pytest.fixture
def demo(tmp_path):
    return copy_plan(tmp_path, sample_farm()[0])


def states(folder):
    return {part.title: part.state for part in look_over(folder).parts}


def test_what_makes_a_name_ones_own_is_asked_where_it_is_not_in_the_table():
    like = next(question for question in CROP if question.key == "like")
    kind = next(question for question in STAND if question.key == "kind")
    both = {"name": "pepper", "like": "kale"}
    asked = [like.when(told) for told in ({}, {"name": "pepper"}, {"name": "okra"}, both)]
    assert asked == [False, False, True, True]
    assert kind.when({"species": ["hairy vetch", "kura clover"]})
    assert not kind.when({"species": "hairy vetch"})
    assert "pepper" in like.options


def test_an_empty_plan_is_empty_throughout(tmp_path):
    draft = look_over(new_plan(tmp_path, "x"))
    assert {part.state for part in draft.parts} == {"empty"}
    assert not draft.ready
    assert draft.other_problems == ()


def test_the_demo_is_ready(demo):
    draft = look_over(demo)
    assert {part.state for part in draft.parts} == {"ready"}
    assert draft.ready
    assert draft.blocks == ["west", "middle", "east"]


@pytest.mark.parametrize(
    ("place", "value", "part"),
    [
        (("cover_crop", "stage"), "blooming", "Cover crop"),
        (("crop", "need"), None, "Crop and need"),
        (("block", "west", "crop", "need"), "9000 lb/ac", "Crop and need"),
        (("block", "west", "crop", "need"), "9000", "Crop and need"),
        (("block", "west", "cover_crop", "nitrogen"), "99 %", "Cover crop"),
        (("spreader", "swath"), "60", "Spreader"),
        (("prices", "product"), "much", "Spreader"),
        (("other_credits", 0, "nitrogen"), "-1 lb/ac", "Other nitrogen"),
        (("field", "boundary"), "gone.geojson", None),
    ],
)
def test_a_problem_stands_in_its_part_in_the_words_of_the_command_line(demo, place, value, part):
    change_plan(demo, [(place, value)])
    draft = look_over(demo)
    with pytest.raises(InputError) as caught:
        check(demo)
    told = [str(problem) for problem in caught.value.problems]
    shown = [str(problem) for one in draft.parts for problem in one.problems]
    shown += [str(problem) for problem in draft.other_problems]
    assert sorted(shown) == sorted(told)
    if part is not None:
        assert [one.title for one in draft.parts if one.state == "needs a look"] == [part]
    assert not draft.ready


def test_the_part_of_a_blocks_problem_does_not_hang_on_the_blocks_name(demo):
    place = {"section": "block", "entry": 1, "block": "cover_crop trial", "table": "crop", "key": "need"}
    problem = Problem("plan.toml", "found 1", "a rate is expected", "Correct it", **place)
    assert part_of(problem, look_over(demo).told) == "Crop and need"


def test_every_bad_row_is_named_by_itself(demo):
    lines = (demo / "samples.csv").read_text().splitlines()
    for number in (2, 4):
        cells = lines[number].split(",")
        lines[number] = ",".join([*cells[:4], "abc", *cells[5:]])
    save_file(demo, "samples.csv", "\n".join(lines).encode())
    draft = look_over(demo)
    assert sorted(draft.row_problems) == [3, 5]
    assert draft.row_problems[5] == 'fresh_lb is "abc"; a number in pounds is expected. Correct the cell.'
    assert states(demo)["Samples"] == "needs a look"
    assert "row 3" in build_sketch(draft).get_root().render()


def test_the_average_needs_no_spreader_and_agrees_with_the_run(demo):
    def average():
        plan, stand, budget = survey_and_reckon(demo, look_over(demo).told)
        return average_text(stand, budget, plan.units)

    whole = average()
    change_plan(demo, [(("spreader",), None)])
    assert average() == whole
    assert states(demo)["Spreader"] == "empty"
    ledger = {(line.block, line.line): line.kg_ha for line in run(read_plan(sample_farm()[0])).ledger}
    from fieldmap.units import rate_text

    first = whole.splitlines()[0]
    assert first.startswith(
        f"west, broccoli: need {rate_text(ledger['west', 'need'], 'us')}, credit from the stand"
    )


def test_a_block_that_is_one_zone_has_one_interval(demo):
    change_plan(demo, [(("spreader", "zones_max"), 1)])
    result = run(read_plan(demo))
    lines = average_text(result.stand, result.budget, "us", drawn=result.spread).splitlines()
    zones = {zone.block: zone for zone in result.spread.zone_map.zones}
    assert len(zones) == len(result.spread.zone_map.zones) == len(lines) == 3
    for line in lines:
        assert f"credit from the stand {interval_text(zones[line.split(',')[0]], 'us')} lb/ac" in line


def test_positions_off_the_globe_are_not_drawn(demo):
    save_file(demo, "samples.csv", b"sample,longitude,latitude,dry_kg_ha\na,500,42\nb,-77.06,42.86\nc,x,42\n")
    assert list(sample_points(look_over(demo)).index) == [3]


def test_a_sketch_opens_no_network(demo):
    page = build_sketch(look_over(demo)).get_root().render()
    assert "http://" not in page.replace("http://www.w3.org", "")
    assert "https://" not in page


def test_every_question_is_of_a_key_that_the_plan_knows():
    known = {f"{key.section} {key.key}" for key in plan_keys()}
    for question in QUESTIONS:
        assert f"{question.section} {question.key}" in known
        assert question.takes
    asked = {f"{question.section} {question.key}" for question in (*STAND, STAGE, *CROP, *SPREADER)}
    needed = {f"{key.section} {key.key}" for key in plan_keys() if key.needed == "required"}
    sections = ("cover_crop", "crop ", "spreader")
    assert {key for key in needed if key.startswith(sections)} <= asked


@pytest.mark.parametrize("source", CREDIT_KINDS)
def test_every_credit_is_asked_with_its_unit_or_sort(source):
    sorts = {question.key: question.takes for question in credit_questions(source)}
    assert sorts.get("nitrogen") == "quantity"


def test_stages_follow_the_legume_of_a_mixture():
    assert stages_of(["cereal rye", "hairy vetch"])[0] == "vegetative"
    assert stages_of("cereal rye")[0] == "tillering"
    assert len(PARTS) == 6


def test_a_share_is_a_number_or_a_word_and_what_may_be_left_out_is_not_called_for():
    share = next(question for question in APPLICATION if question.key == "share")
    assert (share.takes, share.options) == ("number", ["auto", "phosphorus"])
    assert not any(question.needed for question in (*STRIPS, *RESPONSE, *APPLICATION))
    assert [question.key for question in SIDEDRESS if question.needed] == ["sampled"]


def test_size_and_place_of_an_outline_are_told(demo):
    boundary = look_over(demo).boundary
    west, south, east, north = boundary.total_bounds
    area_ha, latitude, longitude = run(read_plan(demo)).field.area_ha, (south + north) / 2, -(west + east) / 2
    assert whereabouts(boundary, "metric") == (
        f"{area_ha:.1f} ha at {latitude:.4f}° N, {longitude:.4f}° W: is that your field?"
    )
    turned = boundary.set_geometry(
        boundary.geometry.map(lambda shape: transform(shape, lambda xy: xy[:, ::-1]))
    )
    assert f"{longitude:.4f}° S, {latitude:.4f}° E" in whereabouts(turned, "us")


def test_what_holds_for_the_whole_field_is_told_once(demo):
    change_plan(demo, [(("cover_crop", "terminated"), dt.date(2026, 4, 1))])
    with pytest.raises(InputError) as caught:
        check(demo)
    after = [one for one in caught.value.places if "were clipped after the cover crop ended" in one.found]
    assert len(after) == 1
