"""The Python interface: from a sample folder to tables, rasters and files in a few lines."""

import datetime as dt
import shutil
import time
from importlib.metadata import version

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import rasterio

import fieldmap
from fieldmap.demo import sample_farm
from fieldmap.export.registry import FORMATS

KETTLE_BEND = sample_farm()[0]


@pytest.fixture(scope="module")
def plan():
    return fieldmap.read_plan(KETTLE_BEND)


@pytest.fixture(scope="module")
def result(plan):
    return fieldmap.run(plan)


def test_the_public_names_are_listed_and_nothing_else():
    assert dir(fieldmap) == sorted(
        ["InputError", "Plan", "Result", "__version__", "check", "read_plan", "run"]
    )
    assert fieldmap.__version__ == version("fieldmap")
    for name in dir(fieldmap):
        assert getattr(fieldmap, name) is not None
    with pytest.raises(AttributeError, match="no attribute 'spread'"):
        _ = fieldmap.spread


def test_zones_are_the_rows_of_zones_geojson(result, tmp_path):
    result.write(tmp_path / "out", data_only=True)
    written = gpd.read_file(tmp_path / "out" / "zones.geojson")
    zones = result.zones
    assert zones.crs == result.field.crs
    assert list(zones["rate_n_kg_ha"]) == list(written["rate_n_kg_ha"])
    assert list(zones["product_kg"]) == list(written["product_kg"])
    apart = zones.to_crs(4326).geometry.symmetric_difference(written.geometry).to_crs(zones.crs).area
    assert (apart / zones.length).max() < 0.012  # m: what seven decimals of a degree leave along a border
    assert {path.name for path in (tmp_path / "out").iterdir()} == {
        one.name for one in FORMATS if "run" in one.folders and not one.page
    }
    with pytest.raises(fieldmap.InputError, match="it is already there"):
        result.write(tmp_path / "out")


def test_samples_and_passes_have_places_in_metres(result):
    samples, passes = result.samples, result.passes
    assert len(samples) == len(result.stand.samples)
    assert np.allclose(samples.geometry.x, result.stand.samples.coords_m[:, 0])
    assert samples["dry_kg_ha"].to_numpy() == pytest.approx(result.stand.samples.dry_kg_ha, abs=0.06)
    assert set(passes.geom_type) == {"LineString"}
    assert list(passes["pass"]) == list(range(1, len(result.spread.passes) + 1))
    assert passes.crs == samples.crs == result.field.crs


@pytest.mark.filterwarnings("ignore:Use `@` matmul:PendingDeprecationWarning")  # within rioxarray
def test_surfaces_are_the_bands_of_the_geotiff(result, tmp_path):
    surfaces = result.surfaces
    assert surfaces["credit_kg_ha"].attrs == {"units": "kg/ha", "long_name": "nitrogen credit from the stand"}
    assert surfaces.rio.crs.to_epsg() == result.field.crs.to_epsg()
    result.write(tmp_path / "out", data_only=True)
    with rasterio.open(tmp_path / "out" / "surface.tif") as tif:
        assert list(surfaces.data_vars) == list(tif.descriptions)
        assert surfaces.rio.transform() == tif.transform
        for number, name in enumerate(tif.descriptions, start=1):
            band = tif.read(number, masked=True)
            assert np.array_equal(np.isnan(surfaces[name].to_numpy()), np.ma.getmaskarray(band))
            assert surfaces[name].to_numpy()[~band.mask] == pytest.approx(band.compressed(), rel=1e-6)


def test_the_summary_is_the_main_numbers_and_what_to_do_in_either_unit(result):
    us, metric = result.summary("us"), result.summary("metric")
    assert [line.partition(":")[0] for line in us.split("\n")] == [
        *("Order", "Where", "Against one rate", "How sure"),
        *(text.when for text in result.action_texts),
    ]
    assert "lb/ac" in us
    assert "kg/ha" not in us
    assert "kg/ha" in metric
    assert "lb/ac" not in metric
    assert result.summary() == us  # the plan's own


def test_it_shows_itself_on_a_screen(result):
    shown = repr(result)
    assert len(shown.split("\n")) == 5 + len(result.actions) <= 15
    assert max(map(len, shown.split("\n"))) <= 100
    page = result._repr_html_()
    assert page.count("<tr>") == 1 + len(result.spread.zone_map.rows)
    assert 'src="data:image/png;base64,' in page
    assert len(page) < 300_000


def test_names_of_a_plan_are_text_in_html(plan):
    odd = fieldmap.run(plan.replace(name="<b>north</b>"))
    assert "<h3>&lt;b&gt;north&lt;/b&gt;</h3>" in odd._repr_html_()


def test_a_value_is_replaced_as_it_would_be_written(plan):
    changed = plan.replace(need="120 lb/ac", zones_max=2, units="metric")
    assert changed.crop.need_kg_ha == pytest.approx(120 * 1.12085, rel=1e-4)
    assert changed.spreader.zones_max == 2
    assert changed.units == "metric"
    assert plan.crop.need_kg_ha != changed.crop.need_kg_ha  # the first is as it was
    assert changed.replace(need="130 lb/ac").spreader.zones_max == 2
    assert plan.replace(crop={"need": "120 lb/ac"}).crop.planted == plan.crop.planted
    assert plan.replace(hopper=None).spreader.hopper_kg is None


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"need": "lots"}, r'plan.toml, \[crop\] need: found "lots"; '),
        ({"need": 120}, r"plan.toml, \[crop\] need: .*unit"),
        ({"swath": "-3 m"}, r"plan.toml, \[spreader\] swath: "),
        ({"nede": "120 lb/ac"}, 'plan.toml, nede: this key is not known; the nearest known key is "need"'),
        ({"nitrogen": "3 %"}, r"plan.toml, nitrogen: nitrogen stands in \[cover_crop\]|plan.toml, \[cover_crop\]"),
        ({"file": "x.csv"}, r"plan.toml, file: file stands in \[samples\] and \[weather\]; one section is expected"),
        ({"harvested": dt.date(2020, 1, 1)}, r"plan.toml, \[crop\]: harvested 2020-01-01 is not after planted"),
    ],
)  # fmt: skip
def test_an_impossible_value_is_refused_as_in_a_file(plan, changes, words):
    if changes == {"nitrogen": "3 %"}:
        assert plan.replace(**changes).cover_crop.nitrogen_pct == pytest.approx(3.0)
        return
    with pytest.raises(fieldmap.InputError, match=words):
        plan.replace(**changes)


def test_tables_in_place_of_files_give_the_same_run(plan, result):
    boundary = gpd.read_file(KETTLE_BEND / "boundary.geojson")
    samples = pd.read_csv(KETTLE_BEND / "samples.csv")
    own = fieldmap.run(plan, boundary=boundary, samples=samples)
    assert own.spread.zone_map.product_kg_ha == pytest.approx(
        result.spread.zone_map.product_kg_ha, nan_ok=True
    )
    elsewhere = fieldmap.run(plan, boundary=boundary.to_crs(3857))  # in any CRS
    assert elsewhere.field.area_ha == pytest.approx(result.field.area_ha, rel=1e-6)
    assert own.plan is plan


def test_tables_are_checked_as_files_are(plan):
    boundary = gpd.read_file(KETTLE_BEND / "boundary.geojson")
    bare = gpd.GeoDataFrame(boundary.drop(columns="geometry"), geometry=boundary.geometry.to_numpy())
    with pytest.raises(
        fieldmap.InputError, match="boundary: the GeoDataFrame boundary has no CRS; one is expected"
    ):
        fieldmap.run(plan, boundary=bare)
    samples = pd.read_csv(KETTLE_BEND / "samples.csv", dtype=str)
    samples.loc[3, "fresh_lb"] = "heavy"
    with pytest.raises(fieldmap.InputError, match='samples.csv, row 5: fresh_lb is "heavy"'):
        fieldmap.run(plan, samples=samples)
    with pytest.raises(
        fieldmap.InputError, match="boundary: boundary is a DataFrame; a GeoDataFrame is expected"
    ):
        fieldmap.run(plan, boundary=pd.DataFrame({"block": ["a"]}))


def test_a_stand_serves_again_where_only_the_machine_and_the_need_change(plan, result):
    other = plan.replace(need="120 lb/ac", swath="60 ft", zones_max=2, hopper="2000 lb", confidence=0.8)
    again = fieldmap.run(other, stand=result.stand)
    assert again.stand is result.stand
    fresh = fieldmap.run(other)
    assert np.array_equal(
        again.spread.zone_map.product_kg_ha, fresh.spread.zone_map.product_kg_ha, equal_nan=True
    )


def test_check_gives_the_warnings_of_a_run(plan, result, tmp_path):
    assert fieldmap.check(plan) == result.warnings
    assert fieldmap.check(KETTLE_BEND) == result.warnings
    folder = tmp_path / "cut"
    shutil.copytree(KETTLE_BEND, folder)
    lines = (folder / "weather.csv").read_text().splitlines()
    (folder / "weather.csv").write_text("\n".join(lines[:20]))
    with pytest.raises(fieldmap.InputError, match=r"weather.csv"):
        fieldmap.check(folder)


def test_the_same_boundary_as_a_table_has_the_same_stand(plan):
    boundary = gpd.read_file(plan.folder / plan.field.boundary)
    first = fieldmap.run(plan, boundary=boundary)
    time.sleep(1.1)  # a file that held its time of writing, to the second or below, would be another
    again = fieldmap.run(plan, boundary=boundary, stand=first.stand)
    assert again.plan_hash == first.plan_hash


def test_a_slip_in_python_is_told_in_words(plan, result):
    with pytest.raises(
        fieldmap.InputError, match="samples is a str; a DataFrame or GeoDataFrame is expected"
    ):
        fieldmap.run(plan, samples="samples.csv")
    with pytest.raises(fieldmap.InputError, match="it is a whole result; the stand of one is expected"):
        fieldmap.run(plan, stand=result)
    with pytest.raises(fieldmap.InputError, match="found 'imperial'; metric or us is expected"):
        result.summary("imperial")
    with pytest.raises(fieldmap.InputError, match="need is given twice"):
        plan.replace(need="100 kg/ha", crop={"need": "200 kg/ha"})
    with pytest.raises(fieldmap.InputError, match=r"swath: found .1 mm.; it should be .* 0.5"):
        plan.replace(swath="1 mm")
