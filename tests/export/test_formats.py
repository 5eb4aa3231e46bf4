"""The files that other people's machines read, opened with readers that did not write them."""

import hashlib
import io
import itertools
import sqlite3
import struct
import zipfile

import isoxml.util.isoxml_io as isoxml_io
import numpy as np
import pyogrio
import pytest
import shapely
from defusedxml import ElementTree
from shapely.geometry import Polygon, box
from support.taskdata_rules import task_faults

from fieldmap import read_plan, run
from fieldmap.export.formats.geopackage import write_geopackage
from fieldmap.export.formats.gpx import write_gpx
from fieldmap.export.formats.shapefile import write_shapefile
from fieldmap.export.formats.taskdata import write_grid, write_polygons
from fieldmap.export.rows import part_rows, sample_rows
from fieldmap.field.projection import to_lonlat

LB_AC = 1.12085116  # kg/ha


# GeoPackage, OGC 12-128r19 v1.4.0: requirement numbers as in the standard.


@pytest.fixture(scope="module")
def geopackage(result, tmp_path_factory):
    path = tmp_path_factory.mktemp("gpkg") / "zones.gpkg"
    write_geopackage(result, result.applications[0], path)
    return path


def rows(path, query):
    with sqlite3.connect(path) as database:
        return database.execute(query).fetchall()


def test_r1_r2_r3_it_is_a_geopackage(geopackage):
    assert geopackage.suffix == ".gpkg"
    header = geopackage.read_bytes()[:100]
    assert header[:16] == b"SQLite format 3\0"
    assert header[68:72] == b"GPKG"
    assert int.from_bytes(header[60:64], "big") >= 10_200


def test_r6_r7_it_is_whole(geopackage):
    assert rows(geopackage, "pragma integrity_check") == [("ok",)]
    assert rows(geopackage, "pragma foreign_key_check") == []


def test_r10_to_r16_every_table_is_registered_with_a_known_crs(geopackage, result):
    known = {row[0] for row in rows(geopackage, "select srs_id from gpkg_spatial_ref_sys")}
    assert {-1, 0, 4326, result.field.crs.to_epsg()} <= known
    contents = rows(geopackage, "select table_name, data_type, srs_id, last_change from gpkg_contents")
    tables = {row[0] for row in rows(geopackage, "select name from sqlite_master where type = 'table'")}
    own = {name for name in tables if not name.startswith(("gpkg_", "rtree_", "sqlite_"))}
    assert own == {name for name, *_ in contents}  # no loose table
    for _, kind, srs_id, last_change in contents:
        assert kind in ("features", "attributes")
        assert srs_id is None or srs_id in known
        assert last_change.endswith("Z")
        assert "T" in last_change


def test_r18_to_r33_layers_have_one_geometry_of_the_declared_kind(geopackage, result):
    columns = rows(
        geopackage,
        "select table_name, column_name, geometry_type_name, srs_id, z, m from gpkg_geometry_columns",
    )
    assert {row[0] for row in columns} >= {"zones", "samples", "boundary"}
    for table, column, kind, srs_id, z, m in columns:
        assert kind == kind.upper()
        assert (srs_id, z, m) == (result.field.crs.to_epsg(), 0, 0)
        for (blob,) in rows(geopackage, f'select "{column}" from "{table}"'):  # noqa: S608 - our own names
            assert blob[:2] == b"GP"
            assert struct.unpack("<i" if blob[3] & 1 else ">i", blob[4:8])[0] == srs_id
    for table in {row[0] for row in columns}:
        keys = [row for row in rows(geopackage, f'pragma table_info("{table}")') if row[5]]
        assert [(key[2], key[5]) for key in keys] == [("INTEGER", 1)]


def test_r58_r75_spatial_indexes_are_registered(geopackage):
    extensions = rows(geopackage, "select table_name, extension_name from gpkg_extensions")
    tables = {row[0] for row in rows(geopackage, "select name from sqlite_master")}
    for table, extension in extensions:
        if extension == "gpkg_rtree_index":
            assert any(name.startswith(f"rtree_{table}_") for name in tables)


def test_r118_r119_the_about_table_has_no_geometry_and_a_key(geopackage, result):
    assert rows(geopackage, "select data_type from gpkg_contents where table_name = 'about'") == [
        ("attributes",)
    ]
    about = dict(rows(geopackage, "select key, value from about"))
    assert about["plan_hash"] == result.plan_hash
    assert "nitrogen" in about["rates"]


def test_its_numbers_are_those_of_the_zones(geopackage, result):
    zones = pyogrio.read_dataframe(geopackage, layer="zones")
    expected = part_rows(result.applications[0], result.plan.units)
    assert len(zones) == len(expected)
    for column in (
        "zone",
        "block",
        "rate_n_kg_ha",
        "product_kg_ha",
        "area_ha",
        "product_kg",
        "credit_low_kg_ha",
    ):
        assert zones[column].tolist() == [row[column] for row in expected]
    assert zones.geometry.area.to_numpy() / 1e4 == pytest.approx(
        [row["area_ha"] for row in expected], rel=3e-3
    )
    samples = pyogrio.read_dataframe(geopackage, layer="samples")
    assert samples["dry_kg_ha"].tolist() == [row["dry_kg_ha"] for row in sample_rows(result)]


def test_with_a_source_date_the_bytes_repeat(result, tmp_path, monkeypatch):
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1780000000")
    digests = set()
    for name in ("one.gpkg", "two.gpkg"):
        write_geopackage(result, result.applications[0], tmp_path / name)
        digests.add(hashlib.sha256((tmp_path / name).read_bytes()).hexdigest())
    assert len(digests) == 1


# Shapefile, ESRI technical description 1998 (from memory) and the naming rules of the design.


@pytest.fixture(scope="module")
def shapefile(result, tmp_path_factory):
    path = tmp_path_factory.mktemp("shp") / "zones_shapefile.zip"
    write_shapefile(result, result.applications[0], path)
    return zipfile.ZipFile(path)


def test_the_zip_holds_the_five_files(shapefile):
    assert sorted(name.rsplit(".", 1)[1] for name in shapefile.namelist()) == [
        "cpg",
        "dbf",
        "prj",
        "shp",
        "shx",
    ]
    assert shapefile.read("zones.cpg").strip() == b"UTF-8"
    assert shapefile.read("zones.prj").startswith(b'GEOGCS["GCS_WGS_1984"')


def test_the_header_is_that_of_a_polygon_shapefile(shapefile):
    header = shapefile.read("zones.shp")[:36]
    assert struct.unpack(">i", header[:4])[0] == 9994
    assert struct.unpack("<ii", header[28:36]) == (1000, 5)


def test_field_names_are_short_capitals_and_no_cell_is_empty(shapefile, tmp_path, result):
    for name in shapefile.namelist():
        (tmp_path / name).write_bytes(shapefile.read(name))
    frame = pyogrio.read_dataframe(tmp_path / "zones.shp")
    assert list(frame.columns) == ["ZONE", "RATE", "UNIT", "N_KGHA", "PRODUCT", "AREA_HA", "geometry"]
    assert all(len(name) <= 10 and name.isascii() for name in frame.columns[:-1])
    assert not frame.isna().any().any()
    assert b"****" not in shapefile.read("zones.dbf")
    us = result.plan.units == "us"
    assert set(frame["UNIT"]) == {"lb/ac" if us else "kg/ha"}
    assert frame["AREA_HA"].sum() == pytest.approx(
        sum(row["area_ha"] for row in part_rows(result.applications[0], result.plan.units)), abs=1e-3
    )
    expected = [
        row["product_lb_ac" if us else "product_kg_ha"]
        for row in part_rows(result.applications[0], result.plan.units)
    ]
    assert frame["RATE"].tolist() == pytest.approx(expected, abs=1e-9)
    assert (frame.geometry.geom_type == "Polygon").all()


def test_outer_rings_run_clockwise_and_parts_are_single(shapefile):
    content = shapefile.read("zones.shp")
    at = 100
    while at < len(content):
        length = struct.unpack(">i", content[at + 4 : at + 8])[0] * 2
        record = content[at + 8 : at + 8 + length]
        parts, points = struct.unpack("<ii", record[36:44])
        starts = [*struct.unpack(f"<{parts}i", record[44 : 44 + 4 * parts]), points]
        xy = np.frombuffer(record[44 + 4 * parts :], dtype="<f8").reshape(-1, 2)
        rings = [Polygon(xy[a:b]) for a, b in itertools.pairwise(starts)]
        clockwise = [not ring.exterior.is_ccw for ring in rings]
        assert clockwise.count(True) == 1
        at += 8 + length


# ISO 11783-10 task data: what the schema cannot check, by our own checker; isoxml reads both as a witness.


def opened(path):
    archive = zipfile.ZipFile(path)
    root = ElementTree.fromstring(archive.read("TASKDATA/TASKDATA.XML"))
    grids = [name for name in archive.namelist() if name.endswith(".BIN")]
    return root, archive.read(grids[0]) if grids else None


@pytest.fixture(scope="module")
def taskdata(result, tmp_path_factory):
    folder = tmp_path_factory.mktemp("task")
    write_grid(result, result.applications[0], folder / "grid.zip")
    write_polygons(result, result.applications[0], folder / "zones.zip")
    return folder


@pytest.mark.parametrize(("file", "major", "minor"), [("grid.zip", "3", "3"), ("zones.zip", "4", "3")])
def test_task_data_is_in_order(taskdata, file, major, minor):
    root, binary = opened(taskdata / file)
    assert (root.get("VersionMajor"), root.get("VersionMinor")) == (major, minor)
    assert root.get("DataTransferOrigin") == "1"
    assert task_faults(root, binary) == []


def test_rates_are_of_product_a_hundredfold(taskdata, result):
    root, _ = opened(taskdata / "zones.zip")
    drawn = [zone for zone in root.iter("TZN") if zone.find("PLN") is not None]
    zones = [zone for zone in drawn if zone.get("B") != "no spread"]
    empty = shapely.union_all([block.geometry.difference(block.spread) for block in result.field.blocks])
    assert len(drawn) > len(zones) or empty.is_empty
    assert all(zone.find("PDV").get("B") == "0" for zone in drawn if zone not in zones)
    values = [int(zone.find("PDV").get("B")) for zone in zones]
    assert values == [
        round(row["product_kg_ha"] * 100) for row in part_rows(result.applications[0], result.plan.units)
    ]
    assert {value.get("A") for value in root.iter("PDV")} == {"0006"}
    scale = float(root.find("VPN").get("C"))
    shown = "product_lb_ac" if result.plan.units == "us" else "product_kg_ha"
    assert [value * scale for value in values] == pytest.approx(
        [row[shown] for row in part_rows(result.applications[0], result.plan.units)], rel=1e-4
    )


def test_the_grid_names_its_rates_as_the_tables_number_the_zones(taskdata, result):
    root, _ = opened(taskdata / "grid.zip")
    by_name = {zone.get("B"): int(zone.find("PDV").get("B")) for zone in root.iter("TZN")}
    for row in result.spread.zone_map.rows:
        name = next(name for name in by_name if f"zone {row.zone}" in name.split(", "))
        assert by_name[name] == round(row.product_kg_ha * 100)


def test_outside_and_lost_position_follow_the_plan(taskdata, result):
    for file in ("grid.zip", "zones.zip"):
        root, _ = opened(taskdata / file)
        task = root.find("TSK")
        assert task.get("H") == task.get("I") == task.get("J") == "0"
        outside = next(zone for zone in task.findall("TZN") if zone.get("A") == "0")
        assert int(outside.find("PDV").get("B")) == round(result.plan.spreader.outside_rate_kg_ha * 100)


def test_grid_cells_are_at_most_half_a_swath_and_run_from_the_south(taskdata, result):
    root, binary = opened(taskdata / "grid.zip")
    grid = root.find("TSK/GRD")
    south, west, height, width = (float(grid.get(name)) for name in "ABCD")
    columns, count = int(grid.get("E")), int(grid.get("F"))
    assert height * 111_320 <= result.plan.spreader.swath_m / 2 * 1.01
    assert width * 111_320 * np.cos(np.deg2rad(south)) <= result.plan.spreader.swath_m / 2 * 1.01
    codes = np.frombuffer(binary, dtype=np.uint8).reshape(count, columns)
    by_code = {zone.get("A"): int(zone.find("PDV").get("B")) / 100 for zone in root.iter("TZN")}
    found = 0
    for part, row in zip(
        result.spread.parts, part_rows(result.applications[0], result.plan.units), strict=True
    ):
        inside = part.geometry.buffer(-result.plan.spreader.swath_m)
        if inside.is_empty:
            continue
        point = to_lonlat(inside.representative_point(), result.field.crs)
        code = codes[int((point.y - south) / height), int((point.x - west) / width)]
        assert by_code[str(code)] == row["product_kg_ha"]
        found += 1
    assert found


def test_a_map_that_is_not_symmetric_is_not_upside_down(plan_folder, tmp_path):
    blocks = {"south": box(0, 0, 300, 60), "north": box(0, 60, 300, 200)}
    extra = '\n[[block]]\nblock = "north"\ncrop = { need = "20 kg/ha" }\n'
    result = run(read_plan(plan_folder(blocks=blocks, extra=extra)))
    write_grid(result, result.applications[0], tmp_path / "grid.zip")
    root, binary = opened(tmp_path / "grid.zip")
    grid = root.find("TSK/GRD")
    codes = np.frombuffer(binary, dtype=np.uint8).reshape(int(grid.get("F")), int(grid.get("E")))
    by_code = {int(zone.get("A")): int(zone.find("PDV").get("B")) for zone in root.iter("TZN")}
    middle = codes.shape[1] // 2
    assert by_code[codes[2, middle]] > by_code[codes[-3, middle]]


def test_no_cell_with_product_touches_a_no_spread_area(kettle_bend_result, tmp_path):
    result = kettle_bend_result
    write_grid(result, result.applications[0], tmp_path / "grid.zip")
    root, binary = opened(tmp_path / "grid.zip")
    grid = root.find("TSK/GRD")
    south, west, height, width = (float(grid.get(name)) for name in "ABCD")
    codes = np.frombuffer(binary, dtype=np.uint8).reshape(int(grid.get("F")), int(grid.get("E")))
    row, column = np.nonzero((codes != 0) & (codes != 254))
    x, y = west + column * width, south + row * height
    kept_out = to_lonlat(result.field.no_spread, result.field.crs)
    assert not shapely.intersects(
        kept_out, shapely.box(x + 1e-8, y + 1e-8, x + width - 1e-8, y + height - 1e-8)
    ).any()


def test_no_spread_ground_stays_empty_whatever_the_outside_rate(kettle_bend_result, tmp_path):
    from dataclasses import replace

    one = kettle_bend_result.applications[0]
    spreader = one.application.spreader.model_copy(update={"outside_rate_kg_ha": 50.0})
    one = replace(one, application=replace(one.application, spreader=spreader))
    write_grid(kettle_bend_result, one, tmp_path / "grid.zip")
    root, binary = opened(tmp_path / "grid.zip")
    by_code = {zone.get("A"): int(zone.find("PDV").get("B")) for zone in root.iter("TZN")}
    assert by_code["0"] == 5000
    assert by_code["254"] == 0
    assert 254 in binary


@pytest.mark.parametrize("file", ["grid.zip", "zones.zip"])
def test_isoxml_reads_it_back(taskdata, tmp_path, result, file):
    zipfile.ZipFile(taskdata / file).extractall(tmp_path)
    task_data, references = isoxml_io.isoxml_from_path(tmp_path / "TASKDATA")
    task = task_data.tasks[0]
    assert task_data.products[0].designator == result.plan.spreader.product_entry.name
    values = {
        variable.process_data_value
        for zone in task.treatment_zones
        for variable in zone.process_data_variables
    }
    assert {round(zone.product_kg_ha * 100) for zone in result.spread.zone_map.zones} <= values
    if file == "grid.zip":
        grid = task.grids[0]
        assert (grid.type_value if hasattr(grid, "type_value") else grid.type) is not None
        binary = references["GRD00001"]
        assert (
            len(binary if isinstance(binary, bytes) else bytes(binary))
            == grid.maximum_column * grid.maximum_row
        )
    else:
        drawn = [zone for zone in task.treatment_zones if zone.polygons]
        zones = [zone for zone in drawn if zone.designator != "no spread"]
        assert len(zones) == len(result.spread.parts)


@pytest.mark.parametrize(
    ("spoil", "fault"),
    [
        (lambda root: root.find("TSK").set("H", "77"), "TSK H names a zone that is not there"),
        (lambda root: root.find("TSK").append(root.find("TSK/TZN")), "a zone code stands twice"),
        (lambda root: root.find("TSK").set("C", "CTR9"), "TSK C names what is not there"),
        (lambda root: root.find("TSK/TZN/PDV").set("B", "-5"), "a rate is negative"),
        (lambda root: root.find("TSK/TZN").remove(root.find("TSK/TZN/PDV")), "a zone has no value"),
        (lambda root: root.find("PFD").set("C", "x" * 40), "PFD C is longer than 32 characters"),
        (lambda root: root.find("PFD/PLN/LSG/PNT").set("C", "95"), "a position is out of range"),
        (lambda root: root.find("PFD/PLN/LSG").remove(root.find("PFD/PLN/LSG/PNT")), "a ring is not closed"),
    ],
)
def test_our_checker_finds_what_it_should(taskdata, spoil, fault):
    root, _ = opened(taskdata / "grid.zip")
    spoil(root)
    assert fault in task_faults(root)


# GPX 1.1


def test_waypoints_keep_gpx_1_1(result, tmp_path):
    write_gpx(result, result.applications[0], tmp_path / "samples.gpx")
    root = ElementTree.fromstring((tmp_path / "samples.gpx").read_bytes())
    space = "{http://www.topografix.com/GPX/1/1}"
    assert root.tag == f"{space}gpx"
    assert (root.get("version"), bool(root.get("creator"))) == ("1.1", True)
    points = root.findall(f"{space}wpt")
    assert len(points) == len(result.stand.samples)
    for point, row in zip(points, sample_rows(result), strict=True):
        assert -180 <= float(point.get("lon")) < 180
        assert "e" not in point.get("lon") + point.get("lat")
        assert [child.tag.removeprefix(space) for child in point] == ["name", "desc"]
        assert point.find(f"{space}name").text == row["sample"]
        assert (float(point.get("lon")), float(point.get("lat"))) == (row["longitude"], row["latitude"])
    assert shapely.MultiPoint([(float(p.get("lon")), float(p.get("lat"))) for p in points]).is_valid
    assert io.BytesIO((tmp_path / "samples.gpx").read_bytes()).read(5) == b"<?xml"
