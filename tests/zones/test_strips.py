"""Check strips: where they lie, what they are cut from, what their middle gets, and that every file holds them."""

from __future__ import annotations

import io
import json
import zipfile
from dataclasses import replace

import numpy as np
import pandas as pd
import pyogrio
import pytest
import rasterio
import shapely
from defusedxml import ElementTree
from shapely.geometry import Point, box, mapping
from support.money import PRICES, RESPONSE
from support.small_fields import lonlat, random_places

from fieldmap import read_plan, run
from fieldmap.errors import InputError
from fieldmap.export.folder import write_folder
from fieldmap.export.formats.result_json import figures
from fieldmap.report.findings import zones_say
from fieldmap.report.summary import main_numbers
from fieldmap.units import whole
from fieldmap.webmap.layers import build_map
from fieldmap.webmap.views import map_views
from fieldmap.zones.strips import strip_levels

STRIPS = "\n[strips]\nnumber = 3\n"


@pytest.fixture
def with_strips(plan_folder):
    return run(read_plan(plan_folder(extra=STRIPS)))


def shapes_of(rows):
    return [part.geometry for row in rows for part in row.parts]


def test_levels_are_taken_in_turn():
    assert strip_levels(3, (0, 0.5, 1)) == [0, 0.5, 1]
    assert strip_levels(2, (0, 0.5, 1)) == [0, 1]
    assert strip_levels(5, (0, 0.5, 1)) == [0, 0.5, 1, 0, 0.5]


def check_strips(result):
    """All that is promised of where strips lie."""
    field, plan, strips = result.field, result.plan, result.spread.zone_map.strips
    swath_m = plan.spreader.swath_m
    shapes = shapes_of(strips)
    for row, shape in zip(strips, shapes, strict=True):
        block = next(each for each in field.blocks if each.name == row.block)
        assert block.spread.buffer(-swath_m + 0.01).contains(
            shape
        )  # not on headlands, not over a block's line
        assert shape.intersection(field.no_spread).area < 1e-6
        sides = np.hypot(
            *np.diff(shapely.get_coordinates(shapely.minimum_rotated_rectangle(shape))[:3], axis=0).T
        )
        assert min(sides) == pytest.approx(2 * swath_m, rel=1e-3)
        inside = [
            one.line for one in result.spread.passes if one.line.intersection(shape).length > 0.9 * max(sides)
        ]
        assert (
            len([line for line in inside if line.distance(shape.centroid) < swath_m]) == 2
        )  # its own two passes
    for k, one in enumerate(shapes):
        assert all(one.distance(other) >= 2 * swath_m - 0.1 for other in shapes[k + 1 :])
    parts = shapes_of(result.spread.zone_map.rows)
    assert shapely.coverage_is_valid(parts)
    ground = shapely.union_all([block.spread for block in field.blocks])
    assert shapely.symmetric_difference(shapely.union_all(parts), ground).area < 1e-4
    least_ha = plan.spreader.zone_min_m2 / 1e4
    assert min(part.area_ha for zone in result.spread.zone_map.zones for part in zone.parts) >= least_ha


def test_strips_are_cut_from_the_zones_and_aligned_with_the_passes(with_strips):
    assert [row.strip for row in with_strips.spread.zone_map.rows].count(True) == 3
    check_strips(with_strips)


def test_levels_are_shares_of_the_need_without_the_cover_crop(with_strips):
    none, half, whole = with_strips.spread.zone_map.strips
    assert none.rate_n_kg_ha == 0.0
    assert half.rate_n_kg_ha == pytest.approx(110.0, abs=0.5 * 10 * 0.46)
    assert whole.rate_n_kg_ha == pytest.approx(220.0, abs=0.5 * 10 * 0.46)
    assert [one.level for one in with_strips.spread.strips] == [0.0, 0.5, 1.0]
    last = max(zone.zone for zone in with_strips.spread.zone_map.zones)
    assert [row.zone for row in with_strips.spread.zone_map.strips] == [last + 1, last + 2, last + 3]


def test_strips_are_named_beside_the_zones_and_never_taken_for_one(with_strips):
    where = main_numbers(with_strips)[1].text
    rates = [row.rate_n_kg_ha for row in with_strips.spread.zone_map.strips]
    assert where.endswith(
        f", and check strips at {whole(min(rates))} to {whole(max(rates))} kg/ha of nitrogen"
    )
    assert max(rates) > max(zone.rate_n_kg_ha for zone in with_strips.spread.zone_map.zones)
    without = replace(
        with_strips.spread.zone_map, in_strip=np.zeros_like(with_strips.spread.zone_map.in_strip), strips=()
    )
    plain = replace(with_strips.applications[0], spread=replace(with_strips.spread, zone_map=without))
    assert zones_say(with_strips.applications[0], with_strips.field, with_strips.plan.units) != zones_say(
        plain, with_strips.field, with_strips.plan.units
    )  # the strip, taken for a zone


def test_the_strip_without_nitrogen_is_the_shorter(with_strips):
    none, half, whole = (row.area_ha for row in with_strips.spread.zone_map.strips)
    assert none < half
    assert none < whole


def test_the_middle_really_gets_its_rate(with_strips):
    for one in with_strips.spread.strips:
        assert one.middle_received_kg_ha == pytest.approx(one.row.product_kg_ha, abs=12.0)
        assert one.middle_at_rate >= 0.9


def test_strips_lie_where_the_doubt_is_greatest(plan_folder):
    """No sample in the east: that is where the credit is least sure."""
    xy = random_places(40, 3)
    xy = xy[xy[:, 0] < 190]
    result = run(read_plan(plan_folder(extra="\n[strips]\nnumber = 2\n", xy=xy)))
    rows, columns = np.nonzero(result.spread.zone_map.in_strip)
    se = result.budget.credit.se_kg_ha
    assert np.nanmean(se[rows, columns]) > np.nanmean(se)


@pytest.mark.parametrize("heading", ["0 deg", "57 deg", "90 deg"])
def test_blocks_holes_and_headings(plan_folder, heading):
    blocks = {
        "west": box(0, 0, 260, 300).difference(box(40, 60, 80, 100)),
        "east": shapely.Polygon([(260, 0), (520, 30), (500, 300), (260, 300)]),
    }
    well = {
        "type": "FeatureCollection",
        "features": [
            {"type": "Feature", "properties": {"setback_m": 20}, "geometry": mapping(lonlat(Point(380, 150)))}
        ],
    }
    spread = [
        ('boundary = "boundary.geojson"', 'boundary = "boundary.geojson"\nno_spread = "no_spread.geojson"'),
        ("zone_min", f'heading = "{heading}"\nzone_min'),
    ]
    xy = random_places(30, 8, width_m=500, height_m=290)
    folder = plan_folder(
        blocks=blocks, edits=spread, extra="\n[strips]\nnumber = 4\n", xy=xy[(xy[:, 0] < 35) | (xy[:, 0] > 85)],
        files={"no_spread.geojson": json.dumps(well)},
    )  # fmt: skip
    result = run(read_plan(folder))
    assert len(result.spread.zone_map.strips) >= 2
    check_strips(result)


def test_no_room_is_said(plan_folder):
    narrow = {"field": box(0, 0, 300, 50)}
    xy = np.column_stack([np.linspace(10, 290, 12), np.tile([12, 38], 6)])
    result = run(read_plan(plan_folder(blocks=narrow, xy=xy, extra=STRIPS)))
    assert len(result.spread.zone_map.strips) < 3
    assert any("of 3 check strips found room" in text for text in result.warnings)


def test_yield_at_stake_and_advice(plan_folder):
    result = run(read_plan(plan_folder(extra=STRIPS + PRICES + RESPONSE)))
    none, _, whole = result.spread.strips
    supply = result.budget.credit.credit_kg_ha[result.spread.zone_map.in_strip].mean()
    most = 0.25 * (200 - min(supply, 0)) ** 2 * none.row.area_ha
    assert 0 < none.yield_at_stake_kg < most
    assert whole.yield_at_stake_kg < none.yield_at_stake_kg
    assert any(
        "The check strips may cost about" in text and "of yield on" in text for text in result.warnings
    )
    assert any("Try it on one block first, with check strips" in text for text in result.warnings)
    told = figures(result)["strips"]
    assert "Try it on one block first" in told["advice"]
    assert told["strips"][0]["strip"] is True
    assert told["strips"][0]["yield_at_stake_kg"] > 0


def test_every_file_holds_the_strips(with_strips, tmp_path):
    result, folder = with_strips, tmp_path / "out"
    write_folder(result, folder)
    features = json.loads((folder / "zones.geojson").read_text())["features"]
    strips = [feature["properties"] for feature in features if feature["properties"]["strip"]]
    assert [row["product_kg_ha"] for row in strips] == [
        row.product_kg_ha for row in result.spread.zone_map.strips
    ]
    table = pd.read_csv(folder / "zones.csv")
    assert table["strip"].sum() == 3
    assert len(table) == len(features)
    layer = pyogrio.read_dataframe(folder / "zones.gpkg", layer="strips")
    assert layer["level"].tolist() == [0.0, 0.5, 1.0]
    assert pyogrio.read_dataframe(folder / "zones.gpkg", layer="zones")["strip"].sum() == 3
    assert len(pyogrio.read_dataframe(f"zip://{folder / 'zones_shapefile.zip'}")) == len(features)
    with zipfile.ZipFile(folder / "taskdata_zones.zip") as archive:
        names = [
            zone.get("B")
            for zone in ElementTree.fromstring(archive.read("TASKDATA/TASKDATA.XML")).iter("TZN")
        ]
    assert sum(name.startswith("strip") for name in names) == 3
    told = json.loads((folder / "result.json").read_text())
    parts_kg = sum(feature["properties"]["product_kg"] for feature in features)
    assert told["totals"]["products"][0]["product_kg"] == pytest.approx(parts_kg, abs=0.1)
    assert told["totals"]["area_ha"] == pytest.approx(result.field.area_ha, abs=1e-3)
    with rasterio.open(folder / "surface.tif") as raster:
        product = raster.read(raster.descriptions.index("product_kg_ha") + 1)
        cell_ha = abs(raster.transform.a * raster.transform.e) / 1e4
    raster_kg = product[product >= 0].sum() * cell_ha
    assert raster_kg == pytest.approx(parts_kg, rel=0.01)
    loads = pd.read_csv(io.StringIO((folder / "loads.csv").read_text()))
    assert loads["product_kg"].sum() == pytest.approx(parts_kg, rel=0.03)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("number = 7", r"\[strips\] number"),
        ("number = 2\nlevels = [1, 1]", "two different shares of the whole need at least are expected"),
        ("number = 2\nlevels = [0, 2]", r"\[strips\] levels"),
    ],
)
def test_strips_that_cannot_be(plan_folder, text, message):
    with pytest.raises(InputError, match=message):
        read_plan(plan_folder(extra=f"\n[strips]\n{text}\n"))


def test_the_map_shows_strips_passes_and_loads(with_strips):
    page = build_map(with_strips, map_views(with_strips)).get_root().render()
    assert '"Check strips"' in page
    assert '"Passes and loads"' in page
    assert page.count("of the need, the cover crop not credited") == 3
    assert page.count("runs out") == len(with_strips.spread.loads)
