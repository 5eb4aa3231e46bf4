"""Small plan folders to test with, and the invented farm."""

import ast
import functools
import importlib.util
import json
import sys
from pathlib import Path

import pytest
from hypothesis import settings
from support.small_fields import DEFAULT_BLOCKS, PLAN, boundary_geojson, random_places, samples_csv, trend

settings.register_profile("fieldmap", deadline=None)  # a busy machine is no fault
settings.load_profile("fieldmap")

SAMPLE_GEO = Path(__file__).parents[1] / "sample_geo"
# A test is marked `whole`, and left out by `make quick`, if it, a fixture it asks for or a function of its module
# that they use names one of these: a run or check of a plan, a batch, the command line, the app. This is read from
# the source; what takes seconds for another reason is marked by hand.
WHOLE = {"run", "check", "main", "Popen", "AppTest", "run_batch", "run_field", "run_plan", "local_workers"}
WHOLE_FIXTURES = {"result", "result_of", "kettle_bend_result", "lower_plot_result"}


def pytest_collection_modifyitems(items):
    for item in items:
        whole = WHOLE_FIXTURES | functions_of_whole(item.path)
        if whole & {getattr(item, "originalname", item.name), *item.fixturenames}:
            item.add_marker("whole")


@functools.cache
def functions_of_whole(path):
    """Functions of a module that name what is whole, or each other."""
    names = {
        node.name: {getattr(one, "id", getattr(one, "attr", "")) for one in ast.walk(node)}
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, ast.FunctionDef)
    }
    found = set()
    while more := {name for name, used in names.items() if used & (WHOLE | found)} - found:
        found |= more
    return found


@pytest.fixture
def plan_folder(tmp_path):
    """Write a plan folder; `edits` are (old, new) pairs on the text of plan.toml."""

    def make(
        *,
        blocks=None,
        xy=None,
        dry_kg_ha=None,
        edits=(),
        extra="",
        shift_m=(0.0, 0.0),
        name="plan",
        files=None,
        **columns,
    ):
        folder = tmp_path / name
        folder.mkdir()
        xy = random_places(24, 1) if xy is None else xy
        dry_kg_ha = trend(xy) if dry_kg_ha is None else dry_kg_ha
        text = PLAN
        for old, new in edits:
            assert old in text, old
            text = text.replace(old, new)
        (folder / "plan.toml").write_text(text + extra)
        (folder / "boundary.geojson").write_text(
            json.dumps(boundary_geojson(blocks or DEFAULT_BLOCKS, shift_m=shift_m))
        )
        (folder / "samples.csv").write_text(samples_csv(xy, dry_kg_ha, shift_m=shift_m, **columns))
        for file_name, content in (files or {}).items():
            (folder / file_name).write_text(content)
        return folder

    return make


@pytest.fixture
def result_of(plan_folder):
    """The run of the small plan with more at its end, and `edits` on its text."""
    from fieldmap import read_plan, run

    def make(extra, *edits, name="plan", **options):
        return run(read_plan(plan_folder(extra=extra, edits=edits, name=name, **options)))

    return make


@pytest.fixture(scope="session")
def farm():
    """The script that made the invented farm, with its truth."""
    spec = importlib.util.spec_from_file_location("make_sample_farm", SAMPLE_GEO / "make_sample_farm.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules["make_sample_farm"] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def kettle_bend_result():
    from fieldmap import read_plan, run

    return run(read_plan(SAMPLE_GEO / "kettle-bend"))


@pytest.fixture(scope="session")
def lower_plot_result():
    from fieldmap import read_plan, run

    return run(read_plan(SAMPLE_GEO / "lower-plot"))


@pytest.fixture(scope="module", params=["kettle-bend", "lower-plot"])
def result(request, kettle_bend_result, lower_plot_result):
    """Each sample plan's result in turn."""
    return {"kettle-bend": kettle_bend_result, "lower-plot": lower_plot_result}[request.param]
