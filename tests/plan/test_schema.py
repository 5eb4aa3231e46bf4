"""The schema of plan.toml: sample plans pass it, and it marks what reading a plan refuses."""

import datetime as dt
import json
import tomllib
from pathlib import Path

import jsonschema
import pytest
from support.small_fields import PLAN

from fieldmap import units
from fieldmap.errors import InputError
from fieldmap.plan.keys import plan_keys
from fieldmap.plan.parse import parse_plan
from fieldmap.plan.schema import plan_schema, schema_text

ROOT = Path(__file__).parents[2]
FILE = ROOT / "fieldmap" / "assets" / "plan.schema.json"
SAMPLE_PLANS = sorted((ROOT / "sample_geo").glob("*/plan.toml"))


def as_json(told):
    """TOML as an editor hands it to a schema: dates as text."""
    return json.loads(json.dumps(told, default=dt.date.isoformat))


def faults(told):
    validator = jsonschema.Draft202012Validator(
        json.loads(FILE.read_text()), format_checker=jsonschema.FormatChecker()
    )
    return ["/".join(map(str, fault.absolute_path)) for fault in validator.iter_errors(as_json(told))]


def test_the_packaged_schema_is_that_of_the_plan():
    assert FILE.read_text() == schema_text(), "run make docs"
    jsonschema.Draft202012Validator.check_schema(plan_schema())


@pytest.mark.parametrize("path", SAMPLE_PLANS, ids=lambda path: path.parent.name)
def test_sample_plans_follow_it_and_say_where_it_is(path):
    text = path.read_text()
    assert faults(tomllib.loads(text)) == []
    named = text.splitlines()[0].removeprefix("#:schema ")
    assert (path.parent / named).resolve() == FILE


@pytest.mark.parametrize(
    ("old", "new", "where"),
    [
        ('need = "150 lb/ac"', "need = 150", "crop/need"),
        ('need = "150 lb/ac"', 'need = "150"', "crop/need"),
        ('need = "150 lb/ac"', "", "crop"),
        ('need = "150 lb/ac"', 'need = "150 lb/ac"\nneeds = 1', "crop"),
        ('placement = "incorporated"', 'placement = "buried"', "cover_crop/placement"),
        ("planted = 2026-05-24", 'planted = "in May"', "crop/planted"),
        ("zones_max = 5", "zones_max = 50", "spreader/zones_max"),
        ('species = ["hairy vetch", "cereal rye"]', "species = []", "cover_crop/species"),
        ('product = "620 USD/t"', 'product = "620 a tonne"', "prices/product"),
    ],
)
def test_what_reading_refuses_an_editor_marks(old, new, where, tmp_path):
    text = (ROOT / "sample_geo" / "kettle-bend" / "plan.toml").read_text()
    assert old in text
    told = tomllib.loads(text.replace(old, new))
    assert where in faults(told)
    with pytest.raises(InputError):
        parse_plan(told, tmp_path)


@pytest.mark.parametrize(
    "extra",
    [
        '[sidedress_test]\nsampled = 2026-07-01\nnitrate_n = "18 ppm"',
        '[[sidedress_test]]\nsampled = 2026-07-01\nnitrate_n = "18 ppm"',
        '[[application]]\nshare = 1\n[[application]]\nshare = "auto"',
        '[[block]]\nblock = "a"\ncrop = { need = "100 kg/ha" }',
        "[strips]\nnumber = 3\nlevels = [0, 0.5, 1]",
    ],
)
def test_every_way_to_write_a_section_passes(extra):
    assert faults(tomllib.loads(f"{PLAN}\n{extra}\n")) == []


def test_names_of_the_tables_are_offered_and_aliases_pass():
    text = PLAN.replace('product = "urea"', 'product = { name = "mine", nitrogen = "9 %" }')
    assert faults(tomllib.loads(text)) == []
    assert "urea" in next(
        key.names for key in plan_keys() if (key.section, key.key) == ("spreader", "product")
    )


def test_every_key_says_what_it_means():
    for key in plan_keys():
        assert key.description.endswith("."), key.place
        if key.sort == "quantity":
            for example in key.examples:
                units.parse_quantity(example, key.kind)
    assert not plan_schema()["properties"].keys() & {"folder"}


@pytest.mark.parametrize(
    ("place", "needed"),
    [
        ("[spreader] speed", "optional, 12 km/h"),
        ("[credit] release_error", "optional, 20 %"),
        ("[cover_crop] ended_by", "optional, by placement"),
        ("[spreader] product.nitrogen", "required in product"),
        ("[strips] levels", "optional, 0, 0.5, 1"),
        ("[crop] touches_soil", "optional, true"),
    ],
)
def test_defaults_are_shown_as_a_plan_has_them(place, needed):
    assert next(key.needed for key in plan_keys() if key.place == place) == needed
