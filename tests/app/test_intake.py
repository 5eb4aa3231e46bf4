"""Dropped files: which is which, how columns were read, and edits of the sample table."""

import json
import shutil
import zipfile

import geopandas as gpd
import pytest
from shapely.geometry import LineString, Point, box

from fieldmap import InputError
from fieldmap.app.plans.intake import (
    TEMPLATE,
    edit_rows,
    former_of,
    match_columns,
    put_back,
    read_rows,
    rename_column,
    start_rows,
    take_in,
)
from fieldmap.app.plans.plan_file import read_told
from fieldmap.app.plans.workspace import new_plan
from fieldmap.demo import sample_farm
from fieldmap.read.columns import COLUMNS, POSITIONS

FARM = sample_farm()[0]
NO_EDITS = {"edited_rows": {}, "added_rows": [], "deleted_rows": []}


@pytest.fixture
def folder(tmp_path):
    return new_plan(tmp_path / ".", "plan")


def test_the_farms_files_are_told_apart(folder):
    names = ("no_spread.geojson", "weather.csv", "boundary.geojson", "samples.csv", "index.tif")
    roles = {name: take_in(folder, name, (FARM / name).read_bytes()).role for name in names}
    assert roles == {
        "no_spread.geojson": "no-spread areas",
        "weather.csv": "weather",
        "boundary.geojson": "boundary",
        "samples.csv": "samples",
        "index.tif": "covariate",
    }
    assert read_told(folder) == {
        "name": "plan",
        "units": "metric",
        "field": {"no_spread": "no_spread.geojson", "boundary": "boundary.geojson"},
        "weather": {"file": "weather.csv"},
        "samples": {"file": "samples.csv", "covariate": "index.tif"},
    }
    assert (folder / "index.tif").read_bytes() == (FARM / "index.tif").read_bytes()


def layer_bytes(tmp_path, shapes, columns, kind):
    frame = gpd.GeoDataFrame(columns, geometry=shapes, crs=4326)
    if kind == "gpkg":
        frame.to_file(tmp_path / "layer.gpkg")
        return (tmp_path / "layer.gpkg").read_bytes()
    if kind == "zip":
        (tmp_path / "shp").mkdir()
        frame.to_file(tmp_path / "shp" / "layer.shp")
        with zipfile.ZipFile(tmp_path / "layer.zip", "w") as archive:
            for part in (tmp_path / "shp").iterdir():
                archive.write(part, part.name)
        return (tmp_path / "layer.zip").read_bytes()
    if kind == "kml":
        x, y = shapes[0].exterior.coords.xy if shapes[0].geom_type == "Polygon" else shapes[0].coords.xy
        places = " ".join(f"{a},{b}" for a, b in zip(x, y, strict=True))
        ring = f"<LinearRing><coordinates>{places}</coordinates></LinearRing>"
        body = f"<Polygon><outerBoundaryIs>{ring}</outerBoundaryIs></Polygon>"
        return f'<kml xmlns="http://www.opengis.net/kml/2.2"><Placemark>{body}</Placemark></kml>'.encode()
    return frame.to_json().encode()


@pytest.mark.parametrize("kind", ["geojson", "gpkg", "zip", "kml"])
def test_a_boundary_in_each_format(folder, tmp_path, kind):
    content = layer_bytes(tmp_path, [box(10.0, 50.0, 10.01, 50.01)], {"note": ["x"]}, kind)
    assert take_in(folder, f"Oak ground.{kind}", content).role == "boundary"
    assert read_told(folder)["field"]["boundary"] == f"Oak_ground.{kind}"


@pytest.mark.parametrize("kind", ["geojson", "gpkg", "zip"])
def test_samples_as_points_become_a_table(folder, tmp_path, kind):
    content = layer_bytes(
        tmp_path, [Point(10.0, 50.0), Point(10.001, 50.0)], {"dry_kg_ha": [4000.0, 5000.5]}, kind
    )
    assert take_in(folder, f"clips.{kind}", content).role == "samples"
    rows = read_rows(folder, "samples.csv")
    assert rows["longitude"].tolist() == ["10.0000000", "10.0010000"]
    assert [float(value) for value in rows["dry_kg_ha"]] == [4000.0, 5000.5]


def test_lines_and_small_areas_beside_a_boundary_are_kept_free(folder, tmp_path):
    take_in(
        folder,
        "outline.geojson",
        layer_bytes(tmp_path, [box(10, 50, 10.01, 50.01)], {"note": [""]}, "geojson"),
    )
    brook = layer_bytes(tmp_path, [LineString([(10, 50), (10.01, 50.01)])], {"note": [""]}, "geojson")
    assert take_in(folder, "brook.geojson", brook).role == "no-spread areas"
    pond = layer_bytes(tmp_path, [box(10.002, 50.002, 10.0022, 50.0022)], {"note": [""]}, "geojson")
    assert take_in(folder, "pond.geojson", pond).role == "no-spread areas"
    assert read_told(folder)["field"]["boundary"] == "outline.geojson"


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("notes.docx", b"x", 'files ending in ".docx" are not read'),
        ("field.geojson", b"{", "field.geojson"),
        ("samples.csv", b"", "samples.csv: the file is empty"),
    ],
)
def test_what_cannot_be_read_is_refused_and_not_kept(folder, name, content, words):
    before = sorted(file.name for file in folder.iterdir())
    with pytest.raises(InputError) as caught:
        take_in(folder, name, content)
    assert words in str(caught.value)
    assert sorted(file.name for file in folder.iterdir()) == before
    assert read_told(folder) == {"name": "plan", "units": "metric"}


def test_a_file_too_large_is_refused_in_code(folder, monkeypatch):
    monkeypatch.setattr("fieldmap.app.plans.intake.UPLOAD_MAX_BYTES", 10)
    with pytest.raises(InputError, match="it is larger than 200 MB; a smaller file is expected"):
        take_in(folder, "samples.csv", b"x" * 11)


def test_columns_that_can_only_mean_one_are_matched_and_said(folder):
    assert match_columns(["lat", "longitude", "dry", "cows"]) == {"lat": "latitude"}  # dry: of what, in what?
    said = take_in(folder, "s.csv", b"lat,longitude,dry_kg_ha\n50,10,4000\n").said
    assert said == "s.csv was read as samples. column lat was read as latitude."
    assert list(read_rows(folder, "samples.csv").columns) == ["latitude", "longitude", "dry_kg_ha"]


def test_a_column_is_named_by_hand_or_left_unused(folder):
    take_in(folder, "s.csv", b"latitude,longitude,dry,cows\n50,10,4000,3\n")
    rename_column(folder, "samples.csv", "dry", "dry_kg_ha")
    rename_column(folder, "samples.csv", "cows", "unused")
    assert list(read_rows(folder, "samples.csv").columns) == [
        "latitude",
        "longitude",
        "dry_kg_ha",
        "unused_cows",
    ]


def test_decimal_commas_become_points(folder):
    take_in(folder, "s.csv", b"sample;latitude;longitude;dry_kg_ha\na,b;50,5;10,25;4000,5\n")
    assert read_rows(folder, "samples.csv").iloc[0].tolist() == ["a,b", "50.5", "10.25", "4000.5"]


def test_the_template_holds_known_columns_only():
    assert {*TEMPLATE.strip().split(",")} <= {*COLUMNS, *POSITIONS}


def test_rows_are_typed_edited_added_and_deleted(folder):
    start_rows(folder)
    seen = read_rows(folder, "samples.csv")
    assert len(seen) == 8
    edit_rows(
        folder,
        "samples.csv",
        seen,
        {**NO_EDITS, "edited_rows": {0: {"longitude": "10.5"}, 1: {"note": None}}},
    )
    assert read_rows(folder, "samples.csv").iloc[0]["longitude"] == "10.5"
    seen = read_rows(folder, "samples.csv")
    edit_rows(
        folder,
        "samples.csv",
        seen,
        {**NO_EDITS, "added_rows": [{"sample": "x"}], "deleted_rows": [0, 1, 2, 3]},
    )
    assert read_rows(folder, "samples.csv")["sample"].tolist() == ["5", "6", "7", "8", "x"]


def test_edits_of_two_tabs_both_count_unless_rows_moved(folder):
    shutil.copy(FARM / "samples.csv", folder / "samples.csv")
    seen = read_rows(folder, "samples.csv")
    edit_rows(folder, "samples.csv", seen, {**NO_EDITS, "edited_rows": {0: {"note": "one"}}})
    edit_rows(folder, "samples.csv", seen, {**NO_EDITS, "edited_rows": {3: {"note": "two"}}})
    assert read_rows(folder, "samples.csv")["note"].tolist()[:4] == ["one", "", "", "two"]
    edit_rows(folder, "samples.csv", seen, {**NO_EDITS, "deleted_rows": [0]})
    with pytest.raises(InputError) as caught:
        edit_rows(folder, "samples.csv", seen, {**NO_EDITS, "edited_rows": {3: {"note": "late"}}})
    assert str(caught.value) == (
        "samples.csv: the table was changed in another place meanwhile; an edit of the table as it stands is "
        "expected. Look at the rows that are shown now and edit again."
    )
    assert "late" not in (folder / "samples.csv").read_text()


def test_a_disguised_driver_file_is_refused(folder):
    layer = '<OGRVRTLayer name="x"><SrcDataSource>/etc/passwd</SrcDataSource></OGRVRTLayer>'
    vrt = f"<OGRVRTDataSource>{layer}</OGRVRTDataSource>"
    for name in ("a.geojson", "a.gpkg", "a.kml", "a.zip", "a.csv"):
        with pytest.raises(InputError):
            take_in(folder, name, vrt.encode())
    stream = json.dumps(
        {"type": "gdal_streamed_alg", "command_line": "gdal vector pipeline ! read /etc/passwd"}
    )
    with pytest.raises(InputError):
        take_in(folder, "b.geojson", stream.encode())


@pytest.mark.parametrize("column", ["dry_kg_ac", "dry_lb_ha", "frame_m", "frame_ft", "dry_kg", "fresh_kg"])
def test_a_unit_is_never_guessed(folder, column):
    said = take_in(folder, "s.csv", f"longitude,latitude,{column}\n10,50,4\n".encode()).said
    assert said == "s.csv was read as samples."
    assert column in read_rows(folder, "samples.csv").columns


def test_what_is_neither_is_refused_and_the_samples_stay(folder, tmp_path):
    take_in(folder, "samples.csv", (FARM / "samples.csv").read_bytes())
    before = (folder / "samples.csv").read_bytes()
    with pytest.raises(InputError) as caught:
        take_in(folder, "weather_f.csv", b"date,tmin_f,tmax_f,rain_in\n2026-05-01,40,60,0\n")
    assert str(caught.value) == (
        "weather_f.csv: its columns are date, rain_in, tmax_f, tmin_f; daily weather with date, tmin_c, tmax_c "
        "(degrees Celsius) and rain_mm is expected. Rename and convert the columns."
    )
    well = layer_bytes(tmp_path, [Point(10.0, 50.0)], {"name": ["well"]}, "geojson")
    with pytest.raises(InputError, match="no-spread areas with a column setback_m, are expected"):
        take_in(folder, "well.geojson", well)
    assert (folder / "samples.csv").read_bytes() == before
    assert take_in(folder, "well.geojson", well, role="no-spread areas").role == "no-spread areas"


def test_what_was_replaced_can_be_put_back_and_forth(folder):
    take_in(folder, "samples.csv", (FARM / "samples.csv").read_bytes())
    first = (folder / "samples.csv").read_bytes()
    said = take_in(folder, "other.csv", b"longitude,latitude,dry_kg_ha\n10,50,4000\n").said
    assert (
        said
        == "other.csv was read as samples. It takes the place of samples.csv, which can be put back below."
    )
    put_back(folder, "samples")
    assert (folder / "samples.csv").read_bytes() == first
    put_back(folder, "samples")
    assert b"4000" in (folder / "samples.csv").read_bytes()
    assert former_of(folder, "weather") is None  # whose key in the plan has the same name
    take_in(folder, "old.geojson", (FARM / "boundary.geojson").read_bytes())
    take_in(folder, "new.geojson", (FARM / "boundary.geojson").read_bytes())
    put_back(folder, "boundary")
    assert read_told(folder)["field"]["boundary"] == "old.geojson"
