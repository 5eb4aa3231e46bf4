"""result.json follows its packaged schema, on ordinary plans and on rich ones; what does not is refused by it."""

import copy
import json
from importlib.resources import files

import jsonschema
import pytest
from support.money import PRICES, RESPONSE

from fieldmap import read_plan, run
from fieldmap.export.formats.result_json import SCHEMA_VERSION, figures

SCHEMA = json.loads((files("fieldmap") / "assets" / "result.schema.json").read_text(encoding="utf-8"))
SINE = '\n[weather]\nmean = "11 degC"\namplitude = "12 delta_degC"\ncoldest = 2026-01-20\n'
SEVERAL = (
    "\n[[application]]\ndate = 2026-05-20\nshare = 0.6\n"
    '\n[[application]]\ndate = 2026-06-24\nshare = 0.4\nmethod = "side-dress"\n'
)


def faults(told):
    written = json.loads(json.dumps(told, allow_nan=False))
    return [error.message for error in jsonschema.Draft202012Validator(SCHEMA).iter_errors(written)]


def test_the_schema_is_one_and_names_its_version():
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    assert SCHEMA["properties"]["schema_version"]["const"] == SCHEMA_VERSION


def test_the_samples_follow_it(result):
    assert faults(figures(result)) == []


@pytest.mark.parametrize(
    ("extra", "edits"),
    [
        ("", [('"550 USD/t"', '"550 USD/t"')]),
        (SINE + SEVERAL, []),
        (PRICES + RESPONSE, []),
        ('\n[sidedress_test]\nsampled = 2026-06-28\nnitrate_n = "12 ppm"\n', []),
        ("\n[strips]\nnumber = 3\n", [('units = "metric"', 'units = "us"')]),
        ("", [('product = "urea"', 'product = "pelleted poultry litter"'), ('"600 kg/ha"', '"9000 kg/ha"')]),
    ],
    ids=["plain", "several", "money", "nitrate test", "strips in US units", "organic"],
)
def test_other_plans_follow_it(plan_folder, extra, edits):
    from support.small_fields import PLAN

    folder = plan_folder(extra=extra, edits=[(old, new) for old, new in edits if old in PLAN])
    assert faults(figures(run(read_plan(folder)))) == []


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda told: told.pop("verdict"), "'verdict' is a required property"),
        (lambda told: told["zones"][0].update(rate_n_kg_ha="96"), "'96' is not of type"),
        (lambda told: told["totals"].update(extra=1.0), "'extra' was unexpected"),
        (lambda told: told["verdict"].update(answer="perhaps"), "'perhaps' is not one of"),
        (lambda told: told.update(schema_version=1), "2 was expected"),
    ],
)
def test_what_does_not_follow_it_is_told(kettle_bend_result, change, words):
    told = copy.deepcopy(figures(kettle_bend_result))
    change(told)
    assert any(words in fault for fault in faults(told))
