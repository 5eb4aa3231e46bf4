"""DEVELOPERS.md says how to add a thing: each is added here as it says, and the main job runs with it.

An export format: tests/export/test_registry.py; a kind of other credit: tests/budget/test_credit_kinds.py; a
covariance model: tests/geostatistics/test_models.py; a key: tests/plan/test_plan.py and test_schema.py.
"""

import shutil
from importlib import import_module
from pathlib import Path

import pytest
from streamlit import config
from streamlit.testing.v1 import AppTest

from fieldmap import read_plan, run
from fieldmap.app.main import PAGES, settings
from fieldmap.app.plans.workspace import copy_plan
from fieldmap.demo import sample_farm

ROOT = Path(__file__).parents[2]


@pytest.fixture
def added(monkeypatch):
    """Add an entry to a table as if it stood in its TOML: a copy of another under a name of its own."""
    tables = import_module("fieldmap.agronomy.tables")
    true_rows = tables.table_rows

    def add(table, like, name):
        def rows(asked):
            found = true_rows(asked)
            if asked == table:
                (kind, entries), *_ = found.items()
                copied = next(entry for entry in entries if entry["name"] == like)
                found = {**found, kind: [*entries, {**copied, "name": name, "aliases": []}]}
            return found

        monkeypatch.setattr(tables, "table_rows", rows)
        for loaded in (tables.crops, tables.cover_crops, tables.products):
            loaded.cache_clear()

    yield add
    monkeypatch.undo()
    for loaded in (tables.crops, tables.cover_crops, tables.products):
        loaded.cache_clear()


@pytest.mark.parametrize(
    ("table", "like", "key"), [("crops", "sweet corn", "name"), ("products", "urea", "product")]
)
def test_an_entry_of_a_table_serves_a_plan(plan_folder, added, table, like, key):
    before = run(read_plan(plan_folder(name="before", edits=[(f'{key} = "{like}"', f'{key} = "{like}"')])))
    added(table, like, "salsify")
    result = run(read_plan(plan_folder(name="after", edits=[(f'{key} = "{like}"', f'{key} = "salsify"')])))
    zone = result.spread.zone_map.zones[0]
    assert (zone.crop if table == "crops" else zone.product) == "salsify"
    assert zone.rate_n_kg_ha == before.spread.zone_map.zones[0].rate_n_kg_ha


def test_a_cover_crop_serves_a_plan(plan_folder, added):
    added("cover_crops", "hairy vetch", "kidney vetch")
    result = run(read_plan(plan_folder(edits=[('species = "hairy vetch"', 'species = "kidney vetch"')])))
    assert result.stand.nitrogen.nitrogen_pct.min() > 3.0


def test_a_caution_is_told_and_the_card_keeps_its_page(plan_folder, monkeypatch):
    import datetime as dt
    import io

    from pypdf import PdfReader

    from fieldmap.report.pdf import build_card

    text = "Salsify stains: wear gloves. " * 12
    advice = import_module("fieldmap.advice.cautions")
    monkeypatch.setattr(advice, "GENERAL", (*advice.GENERAL, text))
    result = run(read_plan(sample_farm()[0]))
    assert text in result.cautions
    assert len(PdfReader(io.BytesIO(build_card(result, date=dt.date(2026, 5, 5)))).pages) == 1


@pytest.mark.filterwarnings("ignore:.*:DeprecationWarning")
@pytest.mark.filterwarnings("ignore::ResourceWarning")
def test_a_page_is_a_module_and_a_line(monkeypatch, tmp_path):
    """In a copy of the app's pages, so that the checkout stays as it is."""
    monkeypatch.setenv("FIELDMAP_WORKSPACE", str(tmp_path / "plans"))
    for section, keys in settings().items():
        for key, value in keys.items():
            config.set_option(f"{section}.{key}", value)
    pages = tmp_path / "pages"
    shutil.copytree(ROOT / "fieldmap" / "app" / "pages", pages)
    (pages / "visits.py").write_text(
        '"""Visits: the last that were made."""\n\n'
        "import streamlit as st\n\n"
        "from fieldmap.app.session.open_plan import need_open_plan\n\n"
        "folder = need_open_plan()\n"
        'st.write(f"No visit to {folder.name} yet.")\n'
    )
    monkeypatch.setattr("fieldmap.app.main.PAGES", (*PAGES, ("visits", "Visits")))
    monkeypatch.setattr("fieldmap.app.main.PAGES_FOLDER", pages)
    (tmp_path / "plans").mkdir()
    demo = copy_plan(tmp_path / "plans", sample_farm()[0], key="demo")
    app = AppTest.from_file(str(ROOT / "app.py"), default_timeout=60)
    app.query_params["plan"] = demo.name
    app.run()
    app.switch_page(str(pages / "visits.py")).run()
    assert not app.exception
    assert "No visit to demo yet." in [element.value for element in app.markdown]
