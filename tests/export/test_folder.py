"""The files agree with each other, reopen to equal values, and keep their standards."""

import copy
import csv
import json
import re

import geojson_validator
import numpy as np
import pandas as pd
import pytest
import rasterio
import shapely
from pypdf import PdfReader
from shapely.geometry import MultiPolygon, box, shape
from support.formats import change_writer, names_in
from support.rfc7946 import violations
from support.small_fields import with_zone_map

from fieldmap import read_plan, run
from fieldmap.errors import InputError, OutputExistsError
from fieldmap.export.describe import describe
from fieldmap.export.folder import write_folder
from fieldmap.export.formats.csv import defused
from fieldmap.export.formats.geojson import cut_at_180
from fieldmap.field.projection import true_area_ha
from fieldmap.report.summary import main_numbers, zone_cells

NESTED = {"type": "GeometryCollection", "geometries": []}
FILES = {
    "zones.geojson",
    "zones.gpkg",
    "zones_shapefile.zip",
    "taskdata_grid.zip",
    "taskdata_zones.zip",
    "samples.gpx",
    "actions.ics",
    "zones.csv",
    "loads.csv",
    "season.csv",
    "surface.tif",
    "map.html",
    "report.pdf",
    "card.pdf",
    "result.json",
}


@pytest.fixture(scope="module", params=["kettle-bend", "lower-plot"])
def written(request, tmp_path_factory, kettle_bend_result, lower_plot_result):
    result = {"kettle-bend": kettle_bend_result, "lower-plot": lower_plot_result}[request.param]
    folder = tmp_path_factory.mktemp("out") / "field"
    write_folder(result, folder)
    return result, folder


@pytest.fixture
def zones(written):
    return json.loads((written[1] / "zones.geojson").read_text(encoding="utf-8"))


def test_every_file_is_written(written):
    assert {file.name for file in written[1].iterdir()} == FILES
    assert names_in("run") == FILES


# Rules of RFC 7946 with the section that states each; our own checker names the section of what it finds.
RFC_7946 = {
    "G1 only the nine types": "1.4",
    "G2 positions of two numbers, longitude first": "3.1.1",
    "G3 G4 G5 rings closed, of four positions, outer anticlockwise, holes clockwise": "3.1.6",
    "G6 cut at 180 degrees": "3.1.9",
    "G7 no nested collection": "3.1.8",
    "G9 G10 features with geometry, properties and an id": "3.2",
    "G11 WGS 84 without a crs member": "4 ",
    "G13 bounding boxes in order": "5 ",
    "G14 no latitude beyond the poles": "5.3",
    "G15 no member of another type": "7.1",
}


@pytest.mark.parametrize("rule", RFC_7946)
def test_zones_geojson_keeps_rfc_7946(zones, rule):
    assert [fault for fault in violations(zones) if fault.startswith(RFC_7946[rule])] == []


def test_zones_geojson_breaks_no_rule_at_all(zones):
    assert violations(zones) == []


def test_g8_g12_g16_g17_seven_decimals_no_height_and_no_foreign_member(zones):
    assert set(zones) == {"type", "features"}
    for feature in zones["features"]:
        assert set(feature) == {"type", "id", "geometry", "properties"}
        for ring in feature["geometry"]["coordinates"]:
            for position in ring:
                assert len(position) == 2
                assert all(round(number, 7) == number for number in position)


def test_zones_geojson_pleases_a_second_opinion(zones):
    # geojson-validator files GDAL-like seven decimals and holes under "problematic": not violations.
    assert geojson_validator.validate_structure(zones, check_crs=True) == {}
    assert geojson_validator.validate_geometries(zones)["invalid"] == {}


@pytest.mark.parametrize(
    ("spoil", "rule"),
    [
        (lambda zones: zones.update(crs={}), "4 a crs member"),
        (lambda zones: zones.update(properties={}), "7.1 a FeatureCollection"),
        (lambda zones: zones.update(bbox=[0, 5, 1, 4]), "5 a bbox has south above north"),
        (lambda zones: zones["features"][0].pop("properties"), "3.2 a Feature lacks"),
        (lambda zones: zones["features"][0].update(id=[1]), "3.2 an id is neither"),
        (lambda zones: zones["features"][0].update(features=[]), "7.1 a Feature"),
        (lambda zones: zones["features"][0]["geometry"].update(type="Circle"), "1.4 Circle is no geometry"),
        (lambda zones: zones["features"][0]["geometry"]["coordinates"][0].reverse(), "runs the wrong way"),
        (lambda zones: zones["features"][0]["geometry"]["coordinates"][0].pop(), "is not closed"),
        (
            lambda zones: zones["features"][0]["geometry"]["coordinates"][0].insert(0, [0, 95]),
            "5.3 a latitude",
        ),
        (
            lambda zones: zones["features"][0].update(
                geometry={
                    "type": "GeometryCollection",
                    "geometries": [{"type": "GeometryCollection", "geometries": []}],
                }
            ),
            "3.1.8",
        ),
        (
            lambda zones: zones["features"][0].update(
                geometry={"type": "Polygon", "coordinates": [[[-179, 0], [179, 0], [179, 1], [-179, 0]]]}
            ),
            "3.1.9",
        ),
        (lambda zones: zones["features"].append(zones["features"][0]), "3.2 an id stands twice"),
    ],
)
def test_our_checker_finds_what_it_should(zones, spoil, rule):
    spoilt = copy.deepcopy(zones)
    spoil(spoilt)
    assert any(rule in fault for fault in violations(spoilt))


def test_a_shape_across_180_is_cut():
    cut = cut_at_180(box(179.9, -17, 180.1, -16))
    assert isinstance(cut, MultiPolygon)
    assert sorted(part.bounds[0] for part in cut.geoms) == pytest.approx([-180.0, 179.9])
    assert sum(part.area for part in cut.geoms) == pytest.approx(0.2)
    assert cut_at_180(box(180.1, 0, 180.2, 1)).bounds[:3] == pytest.approx((-179.9, 0, -179.8))


def test_the_polygons_cover_the_spread_field_once(written, zones):
    result, _ = written
    shapes = [shape(feature["geometry"]) for feature in zones["features"]]
    assert all(polygon.is_valid for polygon in shapes)
    areas = [feature["properties"]["area_ha"] for feature in zones["features"]]
    assert sum(areas) == pytest.approx(sum(block.spread_ha for block in result.field.blocks), abs=1e-3)
    overlap = sum(a.intersection(b).area for k, a in enumerate(shapes) for b in shapes[:k])
    assert overlap < 1e-12
    assert shapely.coverage_is_valid([part.geometry for part in result.spread.parts])
    # No part is smaller than the least zone, but where the ground itself lies in a smaller piece.
    least_ha = result.plan.spreader.zone_min_m2 / 1e4
    pieces = [piece for block in result.field.blocks for piece in shapely.get_parts(block.spread)]
    whole = {round(true_area_ha(piece, result.field.crs), 3) for piece in pieces}
    assert all(area >= least_ha or round(area, 3) in whole for area in areas)


def test_csv_and_geojson_carry_the_same_rows(written, zones):
    with (written[1] / "zones.csv").open(encoding="utf-8", newline="") as file:
        text = file.read()
    assert text.count("\r\n") == len(text.splitlines())
    rows = list(csv.DictReader(text.splitlines()))
    for row, feature in zip(rows, zones["features"], strict=True):
        assert int(row.pop("id")) == feature["id"]
        assert set(row) == set(feature["properties"])
        for name, value in feature["properties"].items():
            assert row[name] == str(value) or float(row[name]) == value


def test_nitrogen_and_product_agree_everywhere(written, zones):
    result, folder = written
    figures = json.loads((folder / "result.json").read_text(encoding="utf-8"))
    fraction = result.plan.spreader.product_entry.nitrogen_fraction
    for feature in zones["features"]:
        row = feature["properties"]
        assert row["rate_n_kg_ha"] == pytest.approx(row["product_kg_ha"] * fraction, abs=0.01)
        assert row["product_kg"] == pytest.approx(row["product_kg_ha"] * row["area_ha"], abs=0.2)
    assert sum(f["properties"]["product_kg"] for f in zones["features"]) == pytest.approx(
        figures["totals"]["products"][0]["product_kg"], abs=0.5
    )
    assert sum(entry["product_kg"] for entry in figures["zones"]) == pytest.approx(
        figures["totals"]["products"][0]["product_kg"], abs=0.5
    )


def test_surface_tif_reopens_to_equal_values(written):
    result, folder = written
    with rasterio.open(folder / "surface.tif") as tif:
        assert tif.descriptions == (
            "biomass_kg_ha",
            "biomass_se_kg_ha",
            "nitrogen_pct",
            "nitrogen_se_pct",
            "credit_kg_ha",
            "credit_se_kg_ha",
            "supplemental_kg_ha",
            "rate_n_kg_ha",
            "product_kg_ha",
        )
        assert tif.units == ("kg/ha", "kg/ha", "%", "%", *5 * ("kg/ha",))
        assert tif.nodata == -9999.0
        assert tif.tags(ns="IMAGE_STRUCTURE")["LAYOUT"] == "COG"
        assert tif.tags()["AREA_OR_POINT"] == "Area"
        assert tif.crs.to_epsg() == result.field.crs.to_epsg()
        assert tif.transform.almost_equals(result.field.grid.transform)
        bands = tif.read(masked=True)
    expected = (
        result.stand.biomass.mean,
        result.stand.biomass.se,
        result.stand.nitrogen_pct.mean,
        result.stand.nitrogen_pct.se,
        result.budget.credit.credit_kg_ha,
        result.budget.credit.se_kg_ha,
        result.budget.supplemental_kg_ha,
        result.spread.zone_map.rate_n_kg_ha,
        result.spread.zone_map.product_kg_ha,
    )
    for band, values in zip(bands, expected, strict=True):
        assert (band.mask == ~np.isfinite(values)).all()
        np.testing.assert_allclose(band.compressed(), values[np.isfinite(values)], rtol=1e-6)
    # Product in all, from the raster: cells on the boundary make up for each other to within 1 %.
    cell_ha = result.field.area_ha / result.field.inside.sum()
    assert float(bands[-1].sum()) * cell_ha == pytest.approx(
        sum(zone.product_kg for zone in result.spread.zone_map.zones), rel=0.01
    )


def test_the_credit_can_be_worked_out_anew_from_the_geotiff(written):
    """PNW 636: 8.75 kg/Mg for each 1 %N above 1.5, half of all N at most, times what comes in time."""
    result, folder = written
    with rasterio.open(folder / "surface.tif") as tif:
        bands = dict(zip(tif.descriptions, tif.read().astype(float), strict=True))
    pct, biomass_mg_ha = bands["nitrogen_pct"], bands["biomass_kg_ha"] / 1000.0
    relation = np.minimum(8.75 * (pct - 1.5), 0.5 * 10.0 * pct) * biomass_mg_ha
    for number, rule in enumerate(result.budget.rules):
        cells = (result.field.block_index == number) & result.field.inside
        np.testing.assert_allclose(
            bands["credit_kg_ha"][cells], relation[cells] * rule.useful, rtol=1e-4, atol=1e-3
        )


def test_result_json_says_what_the_design_asks(written):
    result, folder = written
    figures = json.loads((folder / "result.json").read_text(encoding="utf-8"))
    assert {
        "name",
        "plan",
        "plan_hash",
        "field",
        "surface",
        "ledger",
        "zones",
        "totals",
        "zones_by_number",
        "verdict",
        "warnings",
        "cautions",
        "sources",
        "versions",
    } <= set(figures)
    assert figures["verdict"]["answer"] in ("closer to the need", "no closer to the need", "cannot tell")
    losses = [entry["loss"] for entry in figures["zones_by_number"]]
    assert losses == sorted(losses, reverse=True)
    assert len(losses) == result.plan.spreader.zones_max
    for block in figures["field"]["blocks"]:
        lines = [line["kg_ha"] for line in figures["ledger"] if line["block"] == block["block"]]
        number = [b.name for b in result.field.blocks].index(block["block"])
        cells = (result.field.block_index == number) & np.isfinite(result.spread.zone_map.rate_n_kg_ha)
        assert sum(lines) == pytest.approx(result.budget.supplemental_kg_ha[cells].mean(), abs=0.1)
    assert {source["mark"] for source in figures["sources"]} <= {
        "published",
        "common practice",
        "from memory",
        "your value",
    }


def test_two_runs_write_the_same_bytes(tmp_path, plan_folder, monkeypatch):
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1780000000")
    plan = read_plan(plan_folder())
    for name in ("one", "two"):
        write_folder(run(plan), tmp_path / name)
    for file in (tmp_path / "one").iterdir():
        assert file.read_bytes() == (tmp_path / "two" / file.name).read_bytes(), file.name


def test_an_existing_folder_is_refused_and_a_foreign_one_always(tmp_path, lower_plot_result):
    folder = tmp_path / "out"
    write_folder(lower_plot_result, folder)
    with pytest.raises(OutputExistsError, match="it is already there.*--overwrite"):
        write_folder(lower_plot_result, folder)
    write_folder(lower_plot_result, folder, overwrite=True)
    (folder / "letter.txt").write_text("mine")
    with pytest.raises(OutputExistsError, match="it holds files that fieldmap did not write"):
        write_folder(lower_plot_result, folder, overwrite=True)
    assert (folder / "letter.txt").read_text() == "mine"


@pytest.mark.parametrize("overwrite", [False, True])
def test_a_failure_half_way_leaves_everything_as_it_was(tmp_path, lower_plot_result, monkeypatch, overwrite):
    folder = tmp_path / "out"
    if overwrite:
        write_folder(lower_plot_result, folder)
        before = {file.name: file.read_bytes() for file in folder.iterdir()}

    def fail(result, one, path):
        path.write_text("half")
        raise OSError("disk full")

    change_writer(monkeypatch, "result.json", fail)
    with pytest.raises(OSError, match="disk full"):
        write_folder(lower_plot_result, folder, overwrite=overwrite)
    assert folder.exists() == overwrite
    assert [entry.name for entry in tmp_path.iterdir()] == (["out"] if overwrite else [])
    if overwrite:
        assert {file.name: file.read_bytes() for file in folder.iterdir()} == before


@pytest.mark.parametrize("text", ["=HYPERLINK(1)", "+1", "-3", "@SUM(A1)", "\tx", "\rx", "\nx"])
def test_text_that_a_spreadsheet_would_run_is_defused(text):
    assert defused(text) == "'" + text
    assert defused("east - 3") == "east - 3"


def test_a_rate_that_is_not_a_number_never_reaches_a_file(tmp_path, lower_plot_result):
    from dataclasses import replace

    zone_map = lower_plot_result.spread.zone_map
    spoilt = replace(zone_map.zones[0], rate_n_kg_ha=float("nan"))
    spoilt_map = replace(zone_map, zones=(spoilt, *zone_map.zones[1:]))
    broken = with_zone_map(lower_plot_result, spoilt_map)
    with pytest.raises(RuntimeError, match="rate_n_kg_ha is not a number"):
        write_folder(broken, tmp_path / "out")
    assert list(tmp_path.iterdir()) == []


def test_check_says_what_an_export_holds(written):
    result, folder = written
    product_kg = sum(zone.product_kg for zone in result.spread.zone_map.zones)
    said = {name: describe(folder / name) for name in FILES}
    for name in ("zones.geojson", "zones.gpkg", "zones.csv"):
        assert f"{len(result.spread.parts)} polygons in" in said[name]
        assert f"{product_kg:,.0f} kg in all" in said[name]
    assert f"{product_kg:,.0f} kg of {result.plan.spreader.product_entry.name} in all" in said["result.json"]
    assert f"{len(result.stand.samples)} samples as waypoints" in said["samples.gpx"]
    assert "version 3.3, a grid of" in said["taskdata_grid.zip"]
    assert "version 4.3, polygons" in said["taskdata_zones.zip"]
    assert f"{len(result.spread.loads)} loads" in said["loads.csv"]
    assert "9 bands" in said["surface.tif"]
    assert "polygons in" in said["zones_shapefile.zip"]
    assert "a map to open in a browser" in said["map.html"]
    assert "to print" in said["report.pdf"]


@pytest.mark.parametrize(
    "name", ["x.geojson", "x.csv", "x.tif", "x.zip", "x.gpx", "x.json", "x.pdf", "x.doc", "x.gpkg"]
)
def test_check_refuses_what_is_not_ours(tmp_path, name):
    (tmp_path / name).write_bytes(b"hello, world")
    with pytest.raises(InputError, match=name):
        describe(tmp_path / name)


def pdf_text(path):
    return " ".join(page.extract_text() for page in PdfReader(path).pages)


@pytest.mark.parametrize("file", ["report.pdf", "card.pdf"])
def test_the_pdf_shows_the_numbers_of_the_zones(written, file):
    result, folder = written
    text = re.sub(r"\s+", " ", pdf_text(folder / file))
    for zone in result.spread.zone_map.zones:
        for cell in zone_cells(zone, result.plan.units)[3:]:
            assert cell in text
    for line in main_numbers(result):
        assert line.title in text
    assert result.plan.name in text
    assert result.cautions[0][:60] in text


def test_loads_and_season_are_in_the_plans_units_too(written):
    """1 lb is 0.45359237 kg, 1 lb/ac 1.12085116 kg/ha."""
    result, folder = written
    loads, season = (pd.read_csv(folder / name) for name in ("loads.csv", "season.csv"))
    flows = ("released", "uptake", "short", "spare")
    if result.plan.units != "us":
        assert not [name for table in (loads, season) for name in table if name.endswith(("_lb", "_lb_ac"))]
        return
    assert loads["product_lb"].to_numpy() == pytest.approx(loads["product_kg"] / 0.45359237, abs=0.02)
    assert len(season) > 0
    for name in flows:
        kg_ha, lb_ac = season[f"{name}_kg_ha"], season[f"{name}_lb_ac"]
        assert lb_ac.to_numpy() == pytest.approx(kg_ha / 1.12085116, abs=0.01)


def test_the_report_is_two_to_four_pages_and_shows_ledger_sources_and_hash(written):
    result, folder = written
    reader = PdfReader(folder / "report.pdf")
    assert 2 <= len(reader.pages) <= 4
    assert len(PdfReader(folder / "card.pdf").pages) == 1
    text = re.sub(r"\s+", " ", pdf_text(folder / "report.pdf"))
    for word in ("Nitrogen ledger", "cover crop", "Loads", "Sources", "[from memory]", result.plan_hash[:16]):
        assert word in text
    width, height = (float(side) / 72 for side in reader.pages[0].mediabox[2:])
    paper = (8.5, 11.0) if result.plan.units == "us" else (8.27, 11.69)
    assert (width, height) == pytest.approx(paper, abs=0.02)


@pytest.mark.parametrize("units", ["us", "metric"])
def test_units_change_what_is_shown_and_not_what_is_spread(units, plan_folder, tmp_path):
    folder = plan_folder(edits=[('units = "metric"', f'units = "{units}"')])
    result = run(read_plan(folder))
    write_folder(result, tmp_path / "out")
    zones = json.loads((tmp_path / "out" / "zones.geojson").read_text(encoding="utf-8"))
    for feature in zones["features"]:
        row = feature["properties"]
        assert ("product_lb_ac" in row) == (units == "us")
        if units == "us":
            assert row["product_lb_ac"] == pytest.approx(row["product_kg_ha"] / 1.12085116, abs=0.01)
    text = pdf_text(tmp_path / "out" / "report.pdf")
    assert ("lb/ac" in text) == (units == "us")
    assert ("kg/ha" in text) == (units == "metric")
