"""Reading boundaries and other layers: what is read, what is refused, and that no other file is opened."""

import json
import sqlite3
import struct
import zipfile
from pathlib import Path

import geopandas as gpd
import pyogrio
import pytest
import shapely

from fieldmap.errors import InputError
from fieldmap.read import files
from fieldmap.read.layers import layers as vector
from fieldmap.read.layers import shapefile as archive
from fieldmap.read.layers.layers import read_boundary, read_layer, read_no_spread

MARK = "READ ANOTHER FILE"


def square(west, south, side=0.001):
    return [
        [west, south],
        [west + side, south],
        [west + side, south + side],
        [west, south + side],
        [west, south],
    ]


def feature(geometry, /, **properties):
    return {"type": "Feature", "geometry": geometry, "properties": properties}


def polygon(*rings, **properties):
    return feature({"type": "Polygon", "coordinates": list(rings)}, **properties)


def geojson(path, *features, **members):
    path.write_text(json.dumps({"type": "FeatureCollection", "features": list(features), **members}))
    return path


def frame(*shapes, crs="EPSG:26918", **columns):
    return gpd.GeoDataFrame(columns, geometry=list(shapes), crs=crs)


def two_boxes():
    """Two blocks side by side, metres in UTM zone 18 north."""
    return frame(shapely.box(400_000, 4_300_000, 400_100, 4_300_100),
                 shapely.box(400_100, 4_300_000, 400_200, 4_300_100), block=["west", "east"])  # fmt: skip


def shapefile_zip(tmp_path, layer, *, name="field.zip", inside="", leave_out=(), stem="field"):
    folder = tmp_path / f"parts-{name}"
    folder.mkdir()
    layer.to_file(folder / f"{stem}.shp", driver="ESRI Shapefile")
    target = tmp_path / name
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive_:
        for part in sorted(folder.iterdir()):
            if part.suffix not in leave_out:
                archive_.write(part, f"{inside}{part.name}")
    return target


def zip_of(path, **members):
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive_:
        for name, content in members.items():
            archive_.writestr(name, content)
    return path


def members_of(path):
    with zipfile.ZipFile(path) as source:
        return {name: source.read(name) for name in source.namelist()}


def secret_layer(tmp_path):
    """A layer that a hostile file would like to have read in its place."""
    return geojson(tmp_path / "secret.json", polygon(square(-77, 39), block=MARK))


def vrt(secret: Path) -> str:
    return (
        f'<OGRVRTDataSource><OGRVRTLayer name="secret"><SrcDataSource>{secret}</SrcDataSource>'
        "</OGRVRTLayer></OGRVRTDataSource>"
    )


def gdalg(secret: Path) -> str:
    return json.dumps(
        {"type": "gdal_streamed_alg", "command_line": f"gdal vector pipeline ! read {secret} ! write"}
    )


# ---------------------------------------------------------------------------------------------- GeoJSON


def test_geojson_is_wgs84_two_dimensional_and_counted_from_1(tmp_path):
    ring = [[*position, 12.5] for position in square(-77.0, 39.0)]
    path = geojson(tmp_path / "b.geojson", polygon(ring, block="a"), polygon(square(-76.9, 39.0)))
    layer = read_layer(path)
    assert layer.crs.to_epsg() == 4326
    assert layer.index.tolist() == [1, 2]
    assert not layer.geometry.has_z.any()
    assert layer["block"].tolist()[0] == "a"
    assert layer.geometry[1].equals(shapely.Polygon(square(-77.0, 39.0)))


def test_geojson_agrees_with_gdal_on_every_geometry_type(tmp_path):
    """Reference: GDAL's own GeoJSON driver, on a file made here."""
    geometries = [
        {"type": "Point", "coordinates": [-77, 39]},
        {"type": "MultiPoint", "coordinates": [[-77, 39], [-76, 38]]},
        {"type": "LineString", "coordinates": [[-77, 39], [-76, 38]]},
        {"type": "MultiLineString", "coordinates": [[[-77, 39], [-76, 38]], [[1, 2], [3, 4]]]},
        {"type": "Polygon", "coordinates": [square(0, 0, 9), square(1, 1, 2)[::-1]]},
        {"type": "MultiPolygon", "coordinates": [[square(0, 0)], [square(1, 1)]]},
        {"type": "GeometryCollection", "geometries": [{"type": "Point", "coordinates": [5, 6]}]},
        None,
    ]
    path = geojson(tmp_path / "all.json", *(feature(geometry, n=n) for n, geometry in enumerate(geometries)))
    ours, gdal = read_layer(path), pyogrio.read_dataframe(path)
    assert ours.geometry.to_wkt().tolist() == gdal.geometry.to_wkt().tolist()
    assert ours["n"].tolist() == gdal["n"].tolist()


@pytest.mark.parametrize(
    ("name", "epsg"),
    [
        ("urn:ogc:def:crs:OGC:1.3:CRS84", 4326),
        ("urn:ogc:def:crs:EPSG::26918", 26918),
        ("EPSG:26918", 26918),
        ("http://www.opengis.net/def/crs/EPSG/0/26918", 26918),
    ],
)
def test_older_geojson_crs_member_is_honoured(tmp_path, name, epsg):
    shape = two_boxes().geometry[0] if epsg == 26918 else shapely.box(-77, 39, -76.9, 39.1)
    path = geojson(tmp_path / "b.geojson", feature(shapely.geometry.mapping(shape)),
                   crs={"type": "name", "properties": {"name": name}})  # fmt: skip
    assert read_layer(path).crs.to_epsg() == epsg


@pytest.mark.parametrize(
    "crs",
    [
        {"type": "name", "properties": {"name": "+init=/etc/passwd:root"}},
        {"type": "name", "properties": {"name": "EPSG:999999"}},
        {"type": "link", "properties": {"href": "http://127.0.0.1/crs"}},
        None,
        7,
    ],
)
def test_unknown_crs_member_is_refused(tmp_path, crs):
    path = geojson(tmp_path / "b.geojson", polygon(square(-77, 39)), crs=crs)
    with pytest.raises(InputError, match=r"^b.geojson: crs .*no crs member \(then it is WGS 84\)"):
        read_layer(path)


@pytest.mark.parametrize(
    ("geometry", "found"),
    [
        ({"type": "Circle", "coordinates": [1, 2]}, 'the geometry\'s type is "Circle"'),
        ({"type": "Point", "coordinates": ["1", 2]}, "a coordinate is"),
        ({"type": "Point", "coordinates": [True, 2]}, 'a coordinate is "true"'),
        ({"type": "Point", "coordinates": [1]}, "a position has fewer than two numbers"),
        ({"type": "Point"}, "the Point has no coordinates"),
        ({"type": "Point", "coordinates": [1, 10**400]}, "a coordinate is not finite"),
        ({"type": "LineString", "coordinates": [[1, 2]]}, "a line has fewer than two positions"),
        ({"type": "LineString", "coordinates": [1, 2]}, "a position has fewer than two numbers"),
        ({"type": "Polygon", "coordinates": [[[0, 0], [1, 0], [0, 0]]]}, "fewer than four positions"),
        ({"type": "Polygon", "coordinates": [[[0, 0], [1, 0], [1, 1], [0, 1]]]}, "a ring is not closed"),
        ({"type": "Polygon", "coordinates": [7]}, "coordinates are nested wrongly"),
        ({"type": "MultiPolygon", "coordinates": [[]]}, "a polygon has no ring"),
        ({"type": "GeometryCollection"}, "the GeometryCollection has no geometries"),
        ({"type": "GeometryCollection", "geometries": [{"type": "GeometryCollection", "geometries": []}]},
         "a GeometryCollection holds another"),
        ("Point", "the geometry has no type"),
    ],
)  # fmt: skip
def test_malformed_geometry_is_named_by_feature(tmp_path, geometry, found):
    path = geojson(tmp_path / "b.geojson", polygon(square(0, 0)), feature(geometry))
    with pytest.raises(InputError, match=r"b.geojson, feature 2: ") as caught:
        read_layer(path)
    assert found in str(caught.value)


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("not json", "line 1: this is not JSON"),
        ("[" * 200_000, "this is not JSON"),
        ("1" * 10_000, "this is not JSON"),
        ("[1, 2]", "it has no type"),
        ('{"type": "Topology"}', 'the type is "Topology"'),
        ('{"type": "FeatureCollection", "features": 3}', "there is no list of features"),
        ('{"type": "FeatureCollection", "features": []}', "the layer is empty"),
        ('{"type": "FeatureCollection", "features": [3]}', "feature 1: this is not a Feature"),
        ('{"type": "Feature", "geometry": null, "properties": 3}', "properties is not an object"),
        ("\x00", "this is not JSON"),
    ],
)
def test_what_is_not_geojson_is_refused(tmp_path, text, found):
    path = tmp_path / "b.geojson"
    path.write_text(text)
    with pytest.raises(InputError) as caught:
        read_layer(path)
    assert found in str(caught.value)


def test_non_finite_numbers_of_sloppy_writers(tmp_path):
    path = tmp_path / "b.geojson"
    path.write_text(
        '{"type":"Feature","geometry":{"type":"Point","coordinates":[1,2]},"properties":{"a":NaN}}'
    )
    assert read_layer(path)["a"].isna().all()
    path.write_text('{"type":"Feature","geometry":{"type":"Point","coordinates":[1,NaN]},"properties":{}}')
    with pytest.raises(InputError, match=r'feature 1: a coordinate is "null"'):
        read_layer(path)
    path.write_text('{"type":"Feature","geometry":{"type":"Point","coordinates":[1,1e999]},"properties":{}}')
    with pytest.raises(InputError, match=r"feature 1: a coordinate is not finite"):
        read_layer(path)


def test_properties_cannot_replace_the_geometry_or_spread_without_end(tmp_path):
    path = geojson(tmp_path / "b.geojson", polygon(square(0, 0), geometry="POINT (9 9)", tags=["a", 1]))
    layer = read_layer(path)
    assert layer.geometry[1].geom_type == "Polygon"
    assert layer["tags"].tolist() == ['["a", 1]']
    many = [polygon(square(0, 0), **{f"c{n}_{k}": 1 for k in range(20)}) for n in range(20)]
    with pytest.raises(InputError, match=r"400 different properties; at most 300 are expected"):
        read_layer(geojson(tmp_path / "wide.geojson", *many))


# ------------------------------------------------------------------------------------- files in general


@pytest.mark.parametrize("name", ["b.shp", "b.gml", "b.vrt", "b", "b.csv", "b.kmz"])
def test_unknown_extension_lists_what_is_read(tmp_path, name):
    (tmp_path / name).write_text("x")
    with pytest.raises(
        InputError, match=r"are not read; one of these is expected: GeoJSON \(.geojson\), GeoPa"
    ):
        read_layer(tmp_path / name)


def test_missing_empty_and_odd_files(tmp_path):
    with pytest.raises(InputError, match=r"^no.geojson: there is no such file"):
        read_layer(tmp_path / "no.geojson")
    (tmp_path / "dir.geojson").mkdir()
    with pytest.raises(InputError, match=r"^dir.geojson: this is not a plain file"):
        read_layer(tmp_path / "dir.geojson")
    (tmp_path / "empty.kml").touch()
    with pytest.raises(InputError, match=r"^empty.kml: the file is empty"):
        read_layer(tmp_path / "empty.kml")
    with pytest.raises(InputError, match=r"there is no such file"):
        read_layer(Path("/vsicurl/http://127.0.0.1:9/b.geojson"))


@pytest.mark.parametrize("suffix", ["geojson", "kml", "gpkg", "zip"])
def test_a_file_above_the_limit_is_not_read(tmp_path, suffix):
    path = tmp_path / f"big.{suffix}"
    with path.open("wb") as stream:
        stream.truncate(files.MAX_BINARY_BYTES + 1)  # sparse: takes no room on disk
    with pytest.raises(
        InputError, match=r"^big\.\w+: the file holds more than \d+ MB; a field takes far less"
    ):
        read_layer(path)


def test_number_of_positions_is_bounded(tmp_path, monkeypatch):
    path = geojson(tmp_path / "b.geojson", polygon(square(0, 0)), polygon(square(1, 1)))
    monkeypatch.setattr(vector, "MAX_POSITIONS", 9)
    with pytest.raises(InputError, match=r"there are more than 9 positions; at most 9 are expected"):
        read_layer(path)


def test_layer_is_for_geopackages(tmp_path):
    path = geojson(tmp_path / "b.geojson", polygon(square(0, 0)))
    with pytest.raises(InputError, match=r"only a GeoPackage has layers"):
        read_layer(path, layer="zones")


# -------------------------------------------------------------------------------- what GDAL would follow


def closed_to_gdal(monkeypatch):
    def opened(*arguments, **options):
        pytest.fail("GDAL was given the file")

    monkeypatch.setattr(pyogrio, "read_dataframe", opened)


@pytest.mark.parametrize("content", [vrt, gdalg])
@pytest.mark.parametrize("suffix", ["geojson", "json", "kml", "gpkg", "zip"])
def test_a_pointer_to_another_file_is_not_followed(tmp_path, monkeypatch, content, suffix):
    path = tmp_path / f"b.{suffix}"
    path.write_text(content(secret_layer(tmp_path)))
    closed_to_gdal(monkeypatch)
    with pytest.raises(InputError, match=rf"^b\.{suffix}") as caught:
        read_layer(path)
    assert MARK not in str(caught.value)


def test_the_probe_is_real(tmp_path):
    """The same file, given to GDAL by its path alone, does read the other one."""
    path = tmp_path / "b.geojson"
    path.write_text(vrt(secret_layer(tmp_path)))
    assert pyogrio.read_dataframe(path)["block"].tolist() == [MARK]


@pytest.mark.parametrize("content", [vrt, gdalg])
@pytest.mark.parametrize("suffix", [".shp", ".dbf", ".shx"])
def test_a_pointer_as_member_of_a_zip_is_not_followed(tmp_path, monkeypatch, content, suffix):
    members = {
        **members_of(shapefile_zip(tmp_path, two_boxes())),
        f"field{suffix}": content(secret_layer(tmp_path)),
    }
    closed_to_gdal(monkeypatch)
    with pytest.raises(InputError, match=rf"^b.zip: the {suffix} does not begin as"):
        read_layer(zip_of(tmp_path / "b.zip", **members))


@pytest.mark.parametrize("content", [vrt, gdalg])
def test_a_pointer_as_projection_in_a_zip_is_not_followed(tmp_path, content):
    members = {
        **members_of(shapefile_zip(tmp_path, two_boxes())),
        "field.prj": content(secret_layer(tmp_path)),
    }
    with pytest.raises(InputError, match=r"^b.zip: the layer has no coordinate reference system"):
        read_layer(zip_of(tmp_path / "b.zip", **members))


def test_a_pointer_beside_a_shapefile_in_a_zip_is_left_there(tmp_path):
    good = shapefile_zip(tmp_path, two_boxes())
    with zipfile.ZipFile(good, "a") as archive_:
        archive_.writestr("field.shp.xml", vrt(secret_layer(tmp_path)))
        archive_.writestr("field.vrt", vrt(secret_layer(tmp_path)))
        archive_.writestr("field.qix", b"\xff" * 100)
    assert read_boundary(good)["block"].tolist() == ["west", "east"]


# ------------------------------------------------------------------------------------- zipped shapefile


@pytest.mark.parametrize("inside", ["", "export/", "a/b/c/"])
def test_zipped_shapefile(tmp_path, inside):
    layer = two_boxes()
    read = read_layer(shapefile_zip(tmp_path, layer, inside=inside))
    assert read.crs.to_epsg() == 26918
    assert read.index.tolist() == [1, 2]
    assert read["block"].tolist() == ["west", "east"]
    assert read.geometry.geom_equals(layer.geometry.set_axis(read.index)).all()


def test_zipped_shapefile_with_capitals_accents_and_finder_files(tmp_path):
    layer = two_boxes().assign(block=["Nordstück", "été"])
    members = {name.upper(): part for name, part in members_of(shapefile_zip(tmp_path, layer)).items()}
    path = zip_of(tmp_path / "caps.zip", **members, **{"__MACOSX/._FIELD.SHP": b"x", ".DS_Store": b"x"})
    assert read_layer(path)["block"].tolist() == ["Nordstück", "été"]


@pytest.mark.parametrize("suffix", [".shx", ".dbf", ".prj"])
def test_missing_part_of_a_shapefile(tmp_path, suffix):
    path = shapefile_zip(tmp_path, two_boxes(), leave_out=(suffix,))
    with pytest.raises(
        InputError, match=rf"^field.zip: the {suffix} beside the .shp is missing; it .*\. Zip"
    ):
        read_layer(path)


def test_zip_without_or_with_several_layers(tmp_path):
    with pytest.raises(InputError, match=r"there is no .shp in the zip"):
        read_layer(zip_of(tmp_path / "n.zip", **{"b.geojson": "{}"}))
    path = zip_of(tmp_path / "two.zip", **{"a.shp": b"", "x/b.SHP": b""})
    with pytest.raises(InputError, match=r"there are 2 layers in the zip \(a.shp, x/b.SHP\); exactly one"):
        read_layer(path)


@pytest.mark.parametrize(
    "name", ["../field.shp", "/etc/field.shp", "a/../../field.shp", "..\\f.shp", "C:\\f.shp"]
)
def test_members_that_point_outside_the_zip(tmp_path, name):
    path = zip_of(tmp_path / "b.zip", **{name: b"x"})
    with pytest.raises(InputError, match=r"the zip holds a file that points outside it"):
        read_layer(path)
    assert [item.name for item in tmp_path.iterdir()] == ["b.zip"]


def test_too_many_members(tmp_path):
    path = zip_of(tmp_path / "b.zip", **{f"{n}.txt": b"" for n in range(archive.MAX_MEMBERS + 1)})
    with pytest.raises(InputError, match=r"the zip holds 101 files; at most 100 are expected"):
        read_layer(path)


def test_zip_bomb_by_ratio(tmp_path):
    path = zip_of(tmp_path / "b.zip", **{"field.shp": b"\0" * 20_000_000})
    with pytest.raises(InputError, match=r"field.shp unpacks to more than 200 times its size"):
        read_layer(path)


def test_zip_bomb_by_sum(tmp_path, monkeypatch):
    monkeypatch.setattr(archive, "MAX_BINARY_BYTES", 1000)
    with pytest.raises(InputError, match=r"the file holds more than"):
        read_layer(shapefile_zip(tmp_path, two_boxes()))


def test_zip_bomb_that_understates_its_size(tmp_path):
    """The zip's directory claims the size of an honest .dbf; the member unpacks to far more."""
    members = members_of(shapefile_zip(tmp_path, two_boxes()))
    size = len(members["field.dbf"])
    members["field.dbf"] = b"\0" * 900_000
    path = zip_of(tmp_path / "b.zip", **members)
    content = path.read_bytes()
    path.write_bytes(content.replace(struct.pack("<I", 900_000), struct.pack("<I", size)))
    with pytest.raises(InputError, match=r"the zip cannot be unpacked"):
        read_layer(path)


@pytest.mark.parametrize("damage", ["cut", "flip", "not a zip"])
def test_damaged_zip(tmp_path, damage):
    path = shapefile_zip(tmp_path, two_boxes())
    content = bytearray(path.read_bytes())
    if damage == "cut":
        content = content[: len(content) // 2]
    elif damage == "flip":
        start = content.find(b"field.dbf") + 9
        content[start : start + 20] = b"\xff" * 20
    else:
        content = bytearray(b"hello, I am no zip at all")
    path.write_bytes(content)
    with pytest.raises(InputError, match=r"the zip cannot be unpacked; a whole zip file is expected"):
        read_layer(path)


def test_encrypted_zip_and_unusual_compression(tmp_path):
    path = shapefile_zip(tmp_path, two_boxes())
    content = bytearray(path.read_bytes())
    for signature, offset in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        start = content.find(signature)
        while start >= 0:
            content[start + offset] |= 1
            start = content.find(signature, start + 1)
    (tmp_path / "e.zip").write_bytes(content)
    with pytest.raises(InputError, match=r"the zip is encrypted"):
        read_layer(tmp_path / "e.zip")
    with zipfile.ZipFile(tmp_path / "l.zip", "w", zipfile.ZIP_LZMA) as archive_:
        archive_.writestr("field.shp", b"x" * 100)
    with pytest.raises(InputError, match=r"the zip uses an unusual compression"):
        read_layer(tmp_path / "l.zip")


def test_shapefile_header_is_checked(tmp_path):
    members = members_of(shapefile_zip(tmp_path, two_boxes()))
    cut = {**members, "field.shp": members["field.shp"][:150]}
    with pytest.raises(InputError, match=r"the .shp is cut short"):
        read_layer(zip_of(tmp_path / "cut.zip", **cut))
    other = {**members, "field.shp": b"%PDF-1.7" + members["field.shp"][8:]}
    with pytest.raises(InputError, match=r"the .shp does not begin as a shapefile does; a sound shapefile"):
        read_layer(zip_of(tmp_path / "pdf.zip", **other))


def test_parts_of_a_shapefile_belong_together(tmp_path):
    members = members_of(shapefile_zip(tmp_path, two_boxes()))
    other = members_of(shapefile_zip(tmp_path, two_boxes().iloc[:1], name="other.zip"))
    with pytest.raises(InputError, match=r"the .dbf has 1 rows for 2 shapes; a sound shapefile is expected"):
        read_layer(zip_of(tmp_path / "mixed.zip", **{**members, "field.dbf": other["field.dbf"]}))
    with pytest.raises(InputError, match=r"the .dbf is cut short"):
        read_layer(zip_of(tmp_path / "cut.zip", **{**members, "field.dbf": members["field.dbf"][:-80]}))


def test_shapefile_with_an_empty_prj_has_no_crs(tmp_path):
    members = members_of(shapefile_zip(tmp_path, two_boxes()))
    with pytest.raises(InputError, match=r"the layer has no coordinate reference system"):
        read_layer(zip_of(tmp_path / "n.zip", **{**members, "field.prj": b" "}))


# ------------------------------------------------------------------------------------------- GeoPackage


def geopackage(path, layer, *, name="field"):
    layer.to_file(path, layer=name, driver="GPKG")
    return path


def test_geopackage(tmp_path):
    path = geopackage(tmp_path / "b.gpkg", two_boxes())
    read = read_layer(path)
    assert read.crs.to_epsg() == 26918
    assert read.index.tolist() == [1, 2]
    assert read["block"].tolist() == ["west", "east"]
    assert sorted(item.name for item in tmp_path.iterdir()) == ["b.gpkg"]


def test_geopackage_with_several_layers(tmp_path):
    path = geopackage(tmp_path / "b.gpkg", two_boxes())
    geopackage(path, two_boxes().iloc[:1], name="barn")
    with pytest.raises(
        InputError, match=r"^b.gpkg: there are 2 vector layers \(field, barn\); one is expected"
    ):
        read_layer(path)
    assert len(read_layer(path, layer="barn")) == 1
    with pytest.raises(InputError, match=r'there is no layer "house"; one of these is expected: field, barn'):
        read_layer(path, layer="house")


def test_geopackage_named_as_gdal_would_name_a_subdataset(tmp_path):
    path = geopackage(tmp_path / "b.gpkg", two_boxes())
    odd = path.rename(tmp_path / "GPKG:a:b.gpkg")
    assert len(read_layer(odd)) == 2


def test_geopackage_3d_is_flattened(tmp_path):
    layer = two_boxes()
    layer.geometry = shapely.force_3d(layer.geometry.to_numpy(), 7.0)
    assert not read_layer(geopackage(tmp_path / "b.gpkg", layer)).has_z.any()


def test_sqlite_that_is_no_geopackage(tmp_path):
    path = tmp_path / "b.gpkg"
    with sqlite3.connect(path) as database:
        database.execute("CREATE TABLE t (a)")
    database.close()
    with pytest.raises(InputError, match=r"^b.gpkg: this is not a GeoPackage"):
        read_layer(path)
    path.write_bytes(b"SQLite format 3\x00" + b"\xff" * 52 + b"GPKG" + b"\xff" * 4000)
    with pytest.raises(InputError, match=r"the database inside cannot be read"):
        read_layer(path)


RECURSIVE = (
    "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n) SELECT i AS fid, NULL AS geom FROM n"
)


def edit(path, script):
    database = sqlite3.connect(path)
    database.executescript(script)
    database.commit()
    database.close()
    return path


@pytest.mark.parametrize(
    ("script", "layer"),
    [
        (f"DROP TABLE field; CREATE VIEW field AS {RECURSIVE};", "field"),
        (f"DROP TABLE gpkg_contents; CREATE VIEW gpkg_contents AS {RECURSIVE};", "gpkg_contents"),
        (f"DROP TABLE gpkg_extensions; CREATE VIEW gpkg_extensions AS {RECURSIVE};", "gpkg_extensions"),
        ("ALTER TABLE field ADD COLUMN big AS (zeroblob(900000000));", "field"),
    ],
)
def test_a_geopackage_that_computes_is_refused(tmp_path, script, layer):
    path = edit(geopackage(tmp_path / "b.gpkg", two_boxes()), script)
    with pytest.raises(InputError, match=rf'^b.gpkg, layer "{layer}": this is a view or a computed table'):
        read_layer(path)


def test_a_view_beside_the_layer_is_not_run(tmp_path):
    path = edit(geopackage(tmp_path / "b.gpkg", two_boxes()), f"CREATE VIEW endless AS {RECURSIVE};")
    assert len(read_layer(path)) == 2


@pytest.mark.parametrize("wkt", [None, 'LOCAL_CS["shed",UNIT["metre",1]]'])
@pytest.mark.filterwarnings("ignore:'crs' was not provided")
def test_geopackage_without_crs(tmp_path, wkt):
    path = geopackage(tmp_path / "b.gpkg", frame(shapely.box(0, 0, 9, 9), crs=wkt))
    with pytest.raises(InputError, match=r"^b.gpkg: the (layer has no )?coordinate reference system"):
        read_layer(path)


def test_table_without_geometry(tmp_path):
    path = tmp_path / "b.gpkg"
    pyogrio.write_dataframe(two_boxes().drop(columns="geometry"), path, driver="GPKG", layer="t")
    with pytest.raises(InputError, match=r"there is no vector layer"):
        read_layer(path)


def test_geopackage_in_use(tmp_path):
    path = geopackage(tmp_path / "b.gpkg", two_boxes())
    (tmp_path / "b.gpkg-wal").write_bytes(b"x")
    with pytest.raises(
        InputError, match=r"another program still holds changes to it.*Save and close it there"
    ):
        read_layer(path)


# -------------------------------------------------------------------------------------------------- KML

RING = "<LinearRing><coordinates>{}</coordinates></LinearRing>"
OUTER = f"<Polygon><outerBoundaryIs>{RING}</outerBoundaryIs>{{}}</Polygon>"
FIRST = OUTER.format("0,0 1,0 1,1 0,0", "")
SECOND = OUTER.format("2,0 3,0 3,1 2,0", f"<innerBoundaryIs>{RING}</innerBoundaryIs>").format(
    "2.5,0.1 2.8,0.1 2.8,0.2 2.5,0.1"
)
KML = f"""<?xml version="1.0" encoding="UTF-8"?>
<kml xmlns="http://www.opengis.net/kml/2.2"><Document><Folder>
<NetworkLink><Link><href>http://127.0.0.1:9/x.kml</href></Link></NetworkLink>
<Placemark><name>west</name>
 <ExtendedData><Data name="setback_m"><value>12.5</value></Data>
 <SchemaData schemaUrl="#s"><SimpleData name="soil">loam</SimpleData></SchemaData></ExtendedData>
 {OUTER.format("-77.0,39.0,5 -76.9,39.0,5 -76.9,39.1,5 -77.0,39.0,5", "")}
</Placemark>
<Placemark><name>well</name><Point><coordinates>-76.95,39.05,100</coordinates></Point></Placemark>
<Placemark><name>ditch</name><LineString><coordinates>
  -76.95,39.05
  -76.94,39.06 </coordinates></LineString></Placemark>
<Placemark><name>two</name><MultiGeometry>{FIRST}{SECOND}</MultiGeometry></Placemark>
<Placemark><name>mixed</name><MultiGeometry><Point><coordinates>1,2</coordinates></Point>
 <LineString><coordinates>0,0 1,1</coordinates></LineString></MultiGeometry></Placemark>
<Placemark><name>bare</name></Placemark>
</Folder></Document></kml>"""


def test_kml_agrees_with_gdal(tmp_path):
    """Reference: GDAL's KML driver on a file made here."""
    path = tmp_path / "b.kml"
    path.write_text(KML)
    ours, gdal = read_layer(path), pyogrio.read_dataframe(path)
    flat = shapely.force_2d(gdal.geometry.to_numpy())
    assert ours["name"].tolist() == ["west", "well", "ditch", "two", "mixed", "bare"]
    assert gdal["Name"].tolist() == ours["name"].tolist()
    assert shapely.to_wkt(ours.geometry.to_numpy()).tolist() == shapely.to_wkt(flat).tolist()
    assert ours.geometry.iloc[-1] is None
    assert ours.loc[1, ["setback_m", "soil"]].tolist() == ["12.5", "loam"]
    assert ours.crs.to_epsg() == 4326


def test_kml_geometries_inside_geometries_are_flattened(tmp_path):
    path = tmp_path / "b.kml"
    nested = f"<MultiGeometry>{FIRST}<MultiGeometry>{SECOND}</MultiGeometry></MultiGeometry>"
    path.write_text(f"<kml><Placemark>{nested}</Placemark></kml>")
    assert read_layer(path).geometry[1].geom_type == "MultiPolygon"
    assert read_boundary(path)["block"].tolist() == ["field"]


@pytest.mark.parametrize(
    ("head", "body"),
    [
        ('<!DOCTYPE kml [<!ENTITY x SYSTEM "file://{secret}">]>', "&x;"),
        ('<!DOCTYPE kml [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">]>', "&b;&b;&b;"),
        ('<!DOCTYPE kml SYSTEM "http://127.0.0.1:9/evil.dtd">', ""),
        ('<!DOCTYPE kml [<!ENTITY % p SYSTEM "file://{secret}"> %p;]>', ""),
    ],
)
def test_kml_with_a_document_type_is_refused(tmp_path, head, body):
    path = tmp_path / "b.kml"
    head = head.replace("{secret}", str(secret_layer(tmp_path)))
    path.write_text(f'<?xml version="1.0"?>{head}<kml><Placemark><name>{body}</name></Placemark></kml>')
    with pytest.raises(InputError, match=r"^b.kml: the file has a document type definition") as caught:
        read_layer(path)
    assert MARK not in str(caught.value)


@pytest.mark.parametrize(
    ("geometry", "found"),
    [
        ("<Point><coordinates>1, 2</coordinates></Point>", 'a position is "1,"'),
        ("<Point><coordinates>nan,2</coordinates></Point>", 'a position is "nan,2"'),
        ("<Point><coordinates>1,2 3,4</coordinates></Point>", "a Point has 2 positions"),
        ("<LineString><coordinates>1,2</coordinates></LineString>", "fewer than two positions"),
        ("<Polygon/>", "a Polygon has 0 outer boundaries"),
        ("<Polygon><outerBoundaryIs/></Polygon>", "has no LinearRing"),
        ("<MultiGeometry>" * 30 + "</MultiGeometry>" * 30, "nested too deeply"),
    ],
)
def test_malformed_kml_geometry(tmp_path, geometry, found):
    path = tmp_path / "b.kml"
    path.write_text(f"<kml><Placemark>{geometry}</Placemark></kml>")
    with pytest.raises(InputError, match=r"^b.kml, feature 1: ") as caught:
        read_layer(path)
    assert found in str(caught.value)


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("<kml><Document/></kml>", "there is no Placemark"),
        ("<gpx/>", 'the root element is "gpx"'),
        ("<kml>", "this is not XML"),
        ('<?xml version="1.0" encoding="nonsense"?><kml/>', "this is not XML"),
    ],
)
def test_what_is_not_kml_is_refused(tmp_path, text, found):
    path = tmp_path / "b.kml"
    path.write_text(text)
    with pytest.raises(InputError, match=found):
        read_layer(path)


@pytest.mark.whole
def test_deeply_nested_xml_does_no_harm(tmp_path):
    path = tmp_path / "b.kml"
    path.write_text("<kml>" + "<a>" * 500_000 + "</a>" * 500_000 + "</kml>")
    with pytest.raises(InputError, match=r"there is no Placemark"):
        read_layer(path)


# --------------------------------------------------------------------------------------------- boundary


def test_one_polygon_is_the_field_and_several_are_numbered(tmp_path):
    one = read_boundary(geojson(tmp_path / "1.geojson", polygon(square(-77, 39), owner="x")))
    assert list(one.columns) == ["block", "geometry"]
    assert one["block"].tolist() == ["field"]
    two = read_boundary(geojson(tmp_path / "2.geojson", polygon(square(-77, 39)), polygon(square(-76, 39))))
    assert two["block"].tolist() == ["block 1", "block 2"]


def test_block_names_come_from_block_before_name_in_any_case(tmp_path):
    path = geojson(tmp_path / "b.geojson", polygon(square(-77, 39), Block=" north  piece ", name="x"),
                   polygon(square(-76, 39), Block=7.0, name="y"))  # fmt: skip
    assert read_boundary(path)["block"].tolist() == ["north piece", "7"]
    path = geojson(tmp_path / "n.geojson", polygon(square(-77, 39), block=None, NAME="x"),
                   polygon(square(-76, 39), block="", NAME="y"))  # fmt: skip
    assert read_boundary(path)["block"].tolist() == ["x", "y"]


def test_polygons_of_one_name_are_one_block_in_the_order_of_the_file(tmp_path):
    path = geojson(tmp_path / "b.geojson", polygon(square(-77, 39), block="z"),
                   polygon(square(-76, 39), block="a"), polygon(square(-75, 39), block="z"))  # fmt: skip
    blocks = read_boundary(path)
    assert blocks["block"].tolist() == ["z", "a"]
    assert blocks.geometry.geom_type.tolist() == ["MultiPolygon", "Polygon"]
    assert blocks.geometry[0].area == pytest.approx(2e-6)


def test_block_names_are_all_or_none_and_from_one_column(tmp_path):
    path = geojson(tmp_path / "b.geojson", polygon(square(-77, 39), block="a"), polygon(square(-76, 39)))
    with pytest.raises(InputError, match=r"b.geojson, feature 2: block is empty; a name for every polygon"):
        read_boundary(path)
    path = geojson(tmp_path / "c.geojson", polygon(square(-77, 39), block="a", BLOCK="b"))
    with pytest.raises(InputError, match=r"there are 2 columns called block"):
        read_boundary(path)


def test_labels_are_passed_over_but_lines_are_not(tmp_path):
    label = feature({"type": "Point", "coordinates": [-77, 39]}, block="label")
    path = geojson(tmp_path / "b.geojson", label, polygon(square(-77, 39), block="a"))
    assert read_boundary(path)["block"].tolist() == ["a"]
    track = feature({"type": "LineString", "coordinates": [[-77, 39], [-76, 39]]}, block="b")
    path = geojson(tmp_path / "c.geojson", label, polygon(square(-77, 39), block="a"), track)
    with pytest.raises(
        InputError, match=r"c.geojson, feature 3: this is a LineString; a polygon is expected"
    ):
        read_boundary(path)
    with pytest.raises(InputError, match=r"there is no polygon among 1 features"):
        read_boundary(geojson(tmp_path / "d.geojson", label))


def test_empty_geometry_is_named(tmp_path):
    path = geojson(tmp_path / "b.geojson", polygon(square(-77, 39)), feature(None),
                   feature({"type": "Polygon", "coordinates": []}))  # fmt: skip
    with pytest.raises(
        InputError, match=r"^b.geojson, feature 2 and 1 more: there is no geometry; a shape is"
    ):
        read_boundary(path)


def test_self_crossing_outline_says_where(tmp_path):
    bow = [[-77.0, 39.0], [-76.9, 39.1], [-76.9, 39.0], [-77.0, 39.1], [-77.0, 39.0]]
    path = geojson(tmp_path / "b.geojson", polygon(bow))
    with pytest.raises(
        InputError,
        match=r"feature 1: the outline crosses or touches itself at longitude -76.95\d+, latitude 39.05\d+; an",
    ):
        read_boundary(path)
    bow_m = shapely.Polygon(
        [(400_000, 4_300_000), (400_100, 4_300_100), (400_100, 4_300_000), (400_000, 4_300_100)]
    )
    with pytest.raises(InputError, match=r"at x 400050.00, y 4300050.00; an outline that does not cross"):
        read_boundary(geopackage(tmp_path / "b.gpkg", frame(bow_m)))


@pytest.mark.parametrize(
    ("ring", "found"),
    [
        (square(39.0, 100.0), "longitude 39, latitude 100 look swapped"),
        (square(400_000, 4_300_000), r"longitude 400000, latitude 4300000 are not degrees on the globe"),
        (square(179.9995, 10), "longitude 180.0005, latitude 10.001 are not degrees on the globe"),
    ],
)
def test_positions_off_the_globe(tmp_path, ring, found):
    path = geojson(tmp_path / "b.geojson", polygon(ring))
    with pytest.raises(InputError, match=f"feature 1: {found}; longitude -180 to 180"):
        read_boundary(path)


@pytest.mark.parametrize(
    ("size", "found"),
    [
        (1e8, r"x 1e\+08, y 1e\+08 lie nowhere in NAD83 / UTM zone 18N; coordinates of the layer's own"),
        (1e30, r"a coordinate is not finite or far too large; a place on the earth is expected"),
    ],
)
def test_projected_positions_that_lie_nowhere(tmp_path, size, found):
    path = geopackage(tmp_path / "b.gpkg", frame(shapely.box(size, size, 2 * size, 2 * size)))
    with pytest.raises(InputError, match=f"feature 1: {found}"):
        read_boundary(path)


def test_overlapping_blocks_are_refused_but_slivers_are_not(tmp_path):
    def blocks(name, shift):
        return geojson(tmp_path / name, polygon(square(-77, 39), block="a"),
                       polygon(square(-77 + 0.001 - shift, 39), block="b"))  # fmt: skip

    with pytest.raises(
        InputError, match=r'blocks "a" and "b" overlap by 20% of the smaller; every spot in one'
    ):
        read_boundary(blocks("b.geojson", 0.0002))
    assert len(read_boundary(blocks("c.geojson", 0.000005))) == 2


def test_polygons_of_one_block_may_overlap(tmp_path):
    path = geojson(tmp_path / "b.geojson", polygon(square(-77, 39), block="a"),
                   polygon(square(-76.9995, 39), block="a"))  # fmt: skip
    assert read_boundary(path).geometry[0].area == pytest.approx(1.5e-6)


def test_number_of_blocks_is_bounded(tmp_path):
    path = geojson(tmp_path / "b.geojson", *(polygon(square(0.002 * n, 0)) for n in range(501)))
    with pytest.raises(InputError, match=r"more than 500 polygons"):
        read_boundary(path)


# -------------------------------------------------------------------------------------- no-spread areas


def test_no_spread_areas(tmp_path):
    path = geojson(
        tmp_path / "n.geojson",
        feature({"type": "Point", "coordinates": [-77, 39]}, Setback_M=30, what="well"),
        feature({"type": "LineString", "coordinates": [[-77, 39], [-76, 39]]}, Setback_M="7.5"),
        polygon(square(-77, 39)),
    )
    areas = read_no_spread(path)
    assert list(areas.columns) == ["setback_m", "geometry"]
    assert areas["setback_m"].tolist() == [30.0, 7.5, 0.0]
    assert areas.index.tolist() == [1, 2, 3]
    assert areas.crs.to_epsg() == 4326


def test_bad_setbacks_are_named_together(tmp_path):
    point = {"type": "Point", "coordinates": [-77, 39]}
    values = [-1, "30 ft", "1e999", None, True]
    path = geojson(tmp_path / "n.geojson", *(feature(point, setback_m=value) for value in values))
    with pytest.raises(InputError, match=r'feature 2: setback_m is "30 ft"; metres from 0 up') as caught:
        read_no_spread(path)
    assert [problem.where for problem in caught.value.problems] == [
        "feature 1", "feature 2", "feature 3", "feature 5"]  # fmt: skip


def test_a_setback_in_another_unit_is_not_passed_over(tmp_path):
    point = {"type": "Point", "coordinates": [-77, 39]}
    path = geojson(tmp_path / "n.geojson", feature(point, setback_ft=100))
    with pytest.raises(
        InputError, match=r'the setback stands in "setback_ft"; one column setback_m, in metres'
    ):
        read_no_spread(path)


def test_no_spread_shapes_are_checked(tmp_path):
    path = geojson(
        tmp_path / "n.geojson", feature(None), feature({"type": "Point", "coordinates": [39, 100]})
    )
    with pytest.raises(InputError, match=r"look swapped") as caught:
        read_no_spread(path)
    assert [problem.where for problem in caught.value.problems] == ["feature 1", "feature 2"]
