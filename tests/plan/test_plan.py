"""plan.toml: what is wrong is said with the key, what was found, and what would do."""

import ast
import re
import tomllib
from dataclasses import replace
from pathlib import Path

import pytest
from pydantic import Field
from support.small_fields import PLAN

from fieldmap.agronomy.lookup import mark_of
from fieldmap.errors import InputError
from fieldmap.plan import Plan, keys
from fieldmap.plan.parse import parse_plan
from fieldmap.plan.quantities import Section
from fieldmap.read.plan import read_plan


def parsed(*edits, extra=""):
    text = PLAN
    for old, new in edits:
        assert old in text
        text = text.replace(old, new)
    return parse_plan(tomllib.loads(text + extra), "folder")


def problems_of(*edits, extra=""):
    with pytest.raises(InputError) as raised:
        parsed(*edits, extra=extra)
    return raised.value.problems


def test_a_plan_comes_in_si_with_its_defaults():
    plan = parsed(('need = "220 kg/ha"', 'need = "150 lb/ac"'))
    assert plan.crop.need_field_kg_ha == pytest.approx(168.1277, abs=1e-4)
    assert plan.spreader.speed_m_s == pytest.approx(12 / 3.6)
    assert plan.spreader.rate_change_s == 4.0
    assert plan.credit.confidence == 0.5
    assert plan.cover_crop.nodules == "not checked"
    assert plan.crop.need_is == "guide rate"
    assert plan.cover_crop.ended_by == "tilled"


def test_how_the_stand_was_ended_follows_from_where_its_residue_lies():
    assert parsed(('"incorporated"', '"surface"')).cover_crop.ended_by == "mown"
    frost = ('placement = "incorporated"', 'placement = "incorporated"\nended_by = "frost"')
    assert parsed(frost).cover_crop.ended_by == "frost"


SINE = '\n[weather]\nmean = "10 degC"\namplitude = "11 delta_degC"\ncoldest = 2026-01-20\n'


def test_a_system_says_that_the_ground_is_irrigated():
    assert parsed(extra=SINE + 'irrigated_by = "drip"\n').weather.irrigated
    assert not parsed(extra=SINE).weather.irrigated
    (problem,) = problems_of(extra=SINE + 'irrigated = false\nirrigated_by = "drip"\n')
    assert "[weather]" in str(problem)
    assert 'found irrigated = false and irrigated_by = "drip"; one of the two is expected to go' in str(
        problem
    )


def test_texture_and_drainage_are_those_of_the_tables():
    told = parsed(extra='\n[soil]\ntexture = "silt loam"\ndrainage = "well drained"\n').soil
    assert (told.texture, told.drainage) == ("silt loam", "well drained")
    assert parsed().soil.texture is None
    (problem,) = problems_of(extra='\n[soil]\ntexture = "silty"\n')
    assert "texture: found \"silty\"; it should be 'sand', 'loamy sand'" in str(problem)


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('swath = "15 m"', "swath = 15", r"\[spreader\] swath: found 15; a length with its unit is expected"),
        ('swath = "15 m"', 'swath = "15 kg"', r'the unit "kg" does not do here'),
        ("zones_max", "zone_max", r'zone_max: this key is not known; the nearest known key is "zones_max"'),
        (
            '"incorporated"',
            '"buried"',
            r"placement: found \"buried\"; it should be 'incorporated', 'surface'",
        ),
        (
            'placement = "incorporated"',
            'placement = "surface"\nended_by = "tilled"',
            r'found ended_by = "tilled" with placement = "surface"; tilled residue does not lie on the surface',
        ),
        ("hairy vetch", "hairy fetch", r'found "hairy fetch"; the nearest known is "hairy vetch"'),
        ("sweet corn", "sweat corn", r'found "sweat corn"; the nearest known is "sweet corn"'),
        ('"urea"', '"uria"', r'found "uria"; the nearest known is "urea"'),
        ('"bud"', '"budding"', r'found stage "budding" for hairy vetch; one of vegetative, bud'),
        ("2026-08-14", "2026-04-14", r"harvested 2026-04-14 is not after planted 2026-05-24"),
        (
            'need = "220 kg/ha"\n',
            "",
            r"need: this key is missing;.*the table has 130 to 200 lb/ac.*published",
        ),
        ('name = "Test field"\n', "", r"plan.toml, name: this key is missing"),
        (
            'units = "metric"',
            'units = "imperial"',
            r"units: found \"imperial\"; it should be 'metric' or 'us'",
        ),
        ('"boundary.geojson"', '"../boundary.geojson"', r"a file inside the plan folder is expected"),
        ('"boundary.geojson"', '"/etc/passwd"', r"a file inside the plan folder is expected"),
        ("zones_max = 4", "zones_max = 40", r"zones_max: found 40; it should be less than or equal to 12"),
        ('"600 kg/ha"', '"10 kg/ha"', r"rate_max is less than rate_min"),
        (
            'need = "220 kg/ha"',
            'need = "220 kg/ha"\nneed_is = "crop uptake"',
            r"recovery is missing",
        ),
        (
            'need = "220 kg/ha"',
            'need = "220 kg/ha"\nneed_per = "bed"',
            r"bed_width and bed_spacing are expected",
        ),
    ],
)
def test_what_is_wrong_is_said_with_its_key(old, new, message):
    with pytest.raises(InputError, match=message):
        parsed((old, new))


@pytest.mark.parametrize(
    ("extra", "message"),
    [
        ("[credit]\nconfidence = 1.2\n", r"\[credit\] confidence: found 1.2; it should be less than 1"),
        ("[credit]\nconfidence = 0.3\n", r"greater than or equal to 0.5"),
        ('[prices]\nproduct = "620 USD/t"\ncrop = "0.4 EUR/kg"\n', r"one currency throughout is expected"),
        ("[weather]\nirrigated = true\n", r"either file, or mean, amplitude and coldest together"),
        ('[[block]]\nblock = "a"\ncover_crop = { nitrogen = "0.032 %" }\n', r"cover_crop.nitrogen: .*0\.032"),
        ('[[other_credits]]\nsource = "rain"\nnitrogen = "5 kg/ha"\n', r"\[\[other_credits\]\] 1 source"),
        ('[[other_credits]]\nsource = "starter"\nnitrogen = "-5 kg/ha"\n', r"cannot be negative"),
        ('[[block]]\nblock = "a"\n[[block]]\nblock = "a"\n', r'found \[\[block\]\] "a" twice'),
        (
            '[[block]]\nblock = "west"\ncrop = { name = "broccoli" }\n',
            r"west crop.need: this block grows broccoli but has no need of its own",
        ),
        ("[[application]]\nshare = 0.6\n", r"\[\[application\]\]: shares add up to 0.6; 1, or share"),
        ("[sprayer]\nx = 1\n", r"\[sprayer\]: this key is not known; the nearest known key is \"spreader\""),
    ],
)
def test_optional_sections_are_checked_as_well(extra, message):
    with pytest.raises(InputError, match=message):
        parsed(extra=extra)


class Gate(Section):
    width_m: float = Field(alias="width", gt=0)


class PlanWithGates(Plan):
    gates: tuple[Gate, ...] = Field((), max_length=2)
    gate: Gate | None = None


@pytest.mark.parametrize(
    ("extra", "where"),
    [
        ("[gates]\nwidth = 4\n", "[[gates]]"),
        ("[[gates]]\nwidth = 4\n" * 3, "[[gates]]"),
        ("[[gates]]\nwidth = 4\n[[gates]]\nwidth = 0\n", "[[gates]] 2 width"),
        ("[[gates]]\n", "[[gates]] 1 width"),
        ("[gate]\nwidth = 0\n", "[gate] width"),
        ("[[gate]]\nwidth = 4\n", "[gate]"),
    ],
)
def test_a_section_new_to_the_plan_is_shown_as_its_model_has_it(monkeypatch, extra, where):
    monkeypatch.setattr("fieldmap.plan.parse.Plan", PlanWithGates)
    monkeypatch.setattr("fieldmap.plan.keys.Plan", PlanWithGates)
    assert [problem.where for problem in problems_of(extra=extra)] == [where]


@pytest.mark.parametrize(
    ("edits", "extra", "fields"),
    [
        ([("zones_max = 4\n", "")], "", {"section": "spreader", "key": "zones_max", "missing": True}),
        ([('name = "Test field"\n', "")], "", {"key": "name", "missing": True}),
        ([('name = "Test field"', 'name = "Test field"\ncustomer = 5')], "", {"key": "customer"}),
        ([], "[sprayer]\nx = 1\n", {"section": "sprayer"}),
        (
            [('name = "Test field"', 'name = "Test field"\nsidedress_test = 5')],
            "",
            {"section": "sidedress_test"},
        ),
        (
            [],
            '[sidedress_test]\nsampled = 5\nnitrate_n = "8 ppm"\n',
            {"section": "sidedress_test", "entry": 1, "key": "sampled"},
        ),
        ([], "[[application]]\nshare = 0.6\n", {"section": "application", "several": True}),
        (
            [('product = "urea"', 'product = { name = "x", nitrogen = "146 %" }')],
            "",
            {"section": "spreader", "table": "product", "key": "nitrogen"},
        ),
        ([], "[strips]\nnumber = 2\nlevels = [0, 2]\n", {"section": "strips", "key": "levels.1"}),
        (
            [],
            '[[block]]\nblock = "west"\ncover_crop = { stage = "blooming" }\n',
            {"section": "block", "several": True, "entry": 1, "key": "cover_crop"},
        ),
        (
            [],
            '[[block]]\nblock = "west"\ncover_crop = { nitrogen = "99 %" }\n',
            {"section": "block", "several": True, "entry": 1, "table": "cover_crop", "key": "nitrogen"},
        ),
    ],
)
def test_a_problem_tells_its_place_in_fields(edits, extra, fields):
    (problem,) = problems_of(*edits, extra=extra)
    assert problem == replace(problem.anywhere, **fields)


def test_a_block_without_a_need_of_its_own_is_told_by_number_and_name():
    extra = '[[block]]\nblock = "a"\n[[block]]\nblock = "west"\ncrop = { name = "broccoli" }\n'
    need = problems_of(extra=extra)[2]
    assert (need.section, need.entry, need.block, need.table, need.key) == (
        "block",
        2,
        "west",
        "crop",
        "need",
    )
    assert need.where == "[[block]] west crop.need"


def test_what_a_person_wrote_is_never_taken_for_the_end_of_a_sentence():
    (problem,) = problems_of(('need = "220 kg/ha"', 'need = "220 kg; ha"'))
    assert problem.found == 'found "220 kg; ha"'
    assert problem.expected.startswith('the unit "kg; ha" does not do here: ')


@pytest.mark.parametrize("path", sorted(Path(keys.__file__).parent.glob("*.py")), ids=lambda path: path.name)
def test_validators_say_what_was_found_apart_from_what_is_expected(path):
    raised = [node.exc for node in ast.walk(ast.parse(path.read_text())) if isinstance(node, ast.Raise)]
    names = {ast.unparse(node).split("(")[0] for node in raised}
    allowed = {"WrongValueError"}
    allowed |= {"quantities.py": {"PydanticCustomError"}, "parse.py": {"InputError"}}.get(path.name, set())
    allowed |= (
        {"ValueError"} if path.name == "credit_kinds.py" else set()
    )  # of the table itself, not of a plan
    assert names <= allowed


def test_everything_wrong_is_said_at_once():
    with pytest.raises(InputError) as raised:
        parsed(('swath = "15 m"', "swath = 15"), ('"urea"', '"uria"'), ("zones_max = 4", 'zones_max = "x"'))
    assert len(raised.value.problems) == 3


def test_a_mistake_that_blocks_inherit_is_said_once():
    extra = (
        '[[block]]\nblock = "west"\n'
        'crop = { name = "broccoli", planted = 2026-06-20, harvested = 2026-09-12, need = "180 kg/ha" }\n'
    )
    with pytest.raises(InputError) as raised:
        parsed(('"incorporated"', '"buried"'), extra=extra)
    assert len(raised.value.problems) == 1


def test_a_block_is_completed_from_the_whole_plan():
    extra = (
        '[[block]]\nblock = "west"\ncover_crop = { species = "cereal rye", stage = "boot" }\n'
        'crop = { need = "100 kg/ha" }\n'
    )
    plan = parsed(extra=extra)
    assert plan.crop_of("west").name == "sweet corn"
    assert plan.crop_of("west").need_kg_ha == 100.0
    assert plan.cover_crop_of("west").species == ("cereal rye",)
    assert plan.cover_crop_of("west").placement == "incorporated"
    assert plan.crop_of("east").need_kg_ha == 220.0


def test_a_need_on_beds_is_turned_into_field_area():
    bed = 'need = "220 kg/ha"\nneed_per = "bed"\nbed_width = "1.2 m"\nbed_spacing = "1.8 m"'
    assert parsed(('need = "220 kg/ha"', bed)).crop.need_field_kg_ha == pytest.approx(220 * 1.2 / 1.8)


def test_a_product_can_be_written_out():
    own = 'product = { name = "own blend", nitrogen = "20 %", available = 0.5 }'
    assert parsed(('product = "urea"', own)).spreader.product_entry.nitrogen_fraction == pytest.approx(0.1)
    with pytest.raises(
        InputError, match=r"product.nitrogen: found \"146 %\"; it should be less than or equal to 82"
    ):
        parsed(('product = "urea"', 'product = { name = "x", nitrogen = "146 %" }'))


def own_product(text):
    return parsed(('product = "urea"', f"product = {{ {text} }}")).spreader.product_entry


def test_an_analysis_goes_before_the_table():
    litter = own_product('name = "poultry litter", nitrogen = "4 %", ammonium = "1 %", p2o5 = "2 %"')
    assert (litter.nitrogen_pct, litter.p2o5_pct, litter.k2o_pct) == (4.0, 2.0, 2.3)
    assert (litter.release.nh4_share, litter.release.rapid) == (0.25, 0.34)  # its pools stay the table's
    assert (mark_of(litter, "nh4_share"), mark_of(litter, "rapid")) == ("your value", "published")
    told = own_product('name = "poultry litter", nitrogen = "4 %", available = 0.4')
    assert told.nitrogen_fraction == pytest.approx(0.016)
    assert mark_of(told, "available") == "your value"


def test_an_organic_product_that_no_table_knows_goes_by_its_carbon():
    # From memory, 12 weeks at 20 °C: C:N 6 52 %, 10 30 %, 20 nothing; 9 lies half way between 40 and 30 %.
    for carbon_nitrogen, released in ((6, 0.52), (9, 0.35), (10, 0.30), (20, 0.0), (60, 0.0)):
        own = own_product(
            f'name = "mushroom waste", nitrogen = "2 %", organic = true, carbon_nitrogen = {carbon_nitrogen}'
        )
        assert own.release.rapid == pytest.approx(released)
        assert mark_of(own, "rapid") == "from memory"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (
            'name = "poultry litter", nitrogen = "3 %", ammonium = "3.5 %"',
            r"product: found ammonium 3.5 % and nitrogen 3 %; ammonium is a part of nitrogen, which is all of it",
        ),
        (
            'name = "x", nitrogen = "40 %", p2o5 = "50 %", k2o = "20 %"',
            r"nitrogen, p2o5 and k2o add up to 110 %; parts of one product by weight, 100 % at most, are expected",
        ),
        (
            'name = "poultry litter", nitrogen = "3 %", ammonium = "1 %", available = 0.5',
            r"found available beside ammonium; available stands in place of what an analysis would give",
        ),
        (
            'name = "urea", nitrogen = "46 %", ammonium = "1 %"',
            r"found ammonium for urea, which is not organic; all nitrogen of a mineral product serves the crop",
        ),
        (
            'name = "feather meal", nitrogen = "12 %", carbon_nitrogen = 4',
            r"found carbon_nitrogen for feather meal; the table knows what it releases",
        ),
        (
            'name = "mushroom waste", nitrogen = "2 %", organic = true',
            r"found mushroom waste, organic, whose release no table knows; carbon_nitrogen, .* is expected",
        ),
    ],
)
def test_an_analysis_that_cannot_be_is_refused(text, words):
    with pytest.raises(InputError, match=words):
        own_product(text)


@pytest.mark.parametrize(
    ("told", "tilled", "days"),
    [
        ("", True, 1.0),
        ("", False, float("inf")),
        ('method = "band"', False, 0.0),
        ("incorporated = 3", True, 3.0),
        ("incorporated = 0", False, 0.0),
        ('incorporated = "never"', True, float("inf")),
    ],
)
def test_when_an_organic_product_is_worked_in(told, tilled, days):
    plan = parsed(extra=f"\n[[application]]\nshare = 1\n{told}\n")
    assert plan.applications[0].on_surface_d(tilled=tilled) == days


@pytest.mark.parametrize("told", ['"soon"', "-1", "90", "true"])
def test_days_to_working_in_that_are_none_are_refused(told):
    with pytest.raises(
        InputError,
        match=r"incorporated: found .*; days from 0 to 60, 0 being at once, such as incorporated = 1",
    ):
        parsed(extra=f"\n[[application]]\nshare = 1\nincorporated = {told}\n")


def test_a_mixture_takes_the_grass_at_the_stage_that_goes_with_the_legume():
    plan = parsed(('"hairy vetch"', '["hairy vetch", "cereal rye"]'))
    assert plan.cover_crop.table_nitrogen_pct == (3.9, 1.6)
    assert plan.cover_crop.grass_stage_assumed
    both = parsed(('"hairy vetch"', '["hairy vetch", "cereal rye"]'), ('"bud"', '["bud", "jointing"]'))
    assert both.cover_crop.table_nitrogen_pct == (3.9, 2.2)
    assert not both.cover_crop.grass_stage_assumed


def test_no_plan_no_toml_no_file(plan_folder, tmp_path):
    with pytest.raises(InputError, match="no plan.toml was found here"):
        read_plan(tmp_path)
    folder = plan_folder()
    (folder / "samples.csv").unlink()
    with pytest.raises(InputError, match=re.escape('the file "samples.csv" is not in the plan folder')):
        read_plan(folder)
    (folder / "plan.toml").write_text('name = "x\n')
    with pytest.raises(InputError, match=r"this is not valid TOML \(.*line 1"):
        read_plan(folder)


def test_the_hash_sees_the_plan_and_the_files():
    plan, other = parsed(), parsed(("zones_max = 4", "zones_max = 3"))
    assert plan.hash({"a": "1"}) == parsed().hash({"a": "1"})
    assert len({plan.hash({"a": "1"}), plan.hash({"a": "2"}), other.hash({"a": "1"})}) == 3


@pytest.mark.parametrize("key", ["name", "customer", "farm"])
def test_control_characters_never_reach_a_machines_file(key):
    line = f'{key} = "A\\u0007B"\n'
    edits = [('name = "Test field"\n', line if key == "name" else f'name = "Test field"\n{line}')]
    with pytest.raises(InputError, match="text on one line is expected"):
        parsed(*edits)


def test_a_yield_curve_in_other_units_is_refused():
    curve = "[response]\na = 8000\nb = 60\nc = -0.2\n"
    with pytest.raises(InputError, match=r"the curve rises to 12,500 t/ha; a yield in t/ha"):
        parsed(extra=curve)


def test_a_cap_beside_a_yield_curve_is_refused():
    both = "[response]\na = 10\nb = 0.1\nc = -0.00025\n[thin_ground]\ncap = true\n"
    with pytest.raises(InputError, match=r"thin_ground.*cap = true beside \[response\]"):
        parsed(extra=both)


def test_more_outside_than_the_machine_spreads_is_refused():
    with pytest.raises(InputError, match="outside_rate is more than rate_max"):
        parsed(('zone_min = "0.2 ha"', 'zone_min = "0.2 ha"\noutside_rate = "900 kg/ha"'))
