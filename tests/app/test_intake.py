"""Dropped files: which is which, how columns were read, and edits of the sample table."""

import json
import shutil
import zipfile

import geopandas as gpd
import pytest
from shapely.geometry import LineString, Point, box

from fieldmap import InputError
from fieldmap.app.plans.column_memory import columns_said
from fieldmap.app.plans.intake import former_of, put_back, take_in
from fieldmap.app.plans.plan_file import read_told
from fieldmap.app.plans.sample_rows import (
    TEMPLATE,
    deleted_rows,
    keep_deleted,
    read_rows,
    rename_column,
    save_rows,
    start_rows,
    whole_rows,
)
from fieldmap.app.plans.workspace import new_plan
from fieldmap.demo import sample_farm
from fieldmap.read.columns import COLUMNS, POSITIONS

FARM = sample_farm()[0]


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


SHEET = (
    "Sample no.;Lat;Lon;Quadrat (m²);Fresh weight, total g;Fresh sub-sample (g);Dry sub-sample (kg);Cover;Comments\n"
    "A1;44,9862;9,8725;0,5;812;400;0,0615;30;wet, low\n"
)


def test_headers_as_people_write_them_are_read_said_and_converted(folder):
    said = take_in(folder, "s.csv", SHEET.encode(), role="samples").said
    assert said.startswith(
        's.csv was read as samples. column "sample no." was read as sample; column "lat" was'
    )
    assert 'column "dry sub-sample (kg)" was read as subsample_dry_g, converted from kg' in said
    rows = read_rows(folder, "samples.csv")
    assert rows.iloc[0].to_dict() == {
        "sample": "A1",
        "latitude": "44.9862",
        "longitude": "9.8725",
        "frame_m2": "0.5",
        "fresh_g": "812",
        "subsample_fresh_g": "400",
        "subsample_dry_g": "61.5",
        "cover": "30",
        "note": "wet, low",
    }
    assert columns_said(folder)[-1] == 'column "comments" was read as note'
    assert find_role_of(folder, SHEET) == "samples"


def find_role_of(folder, text):
    return take_in(folder, "again.csv", text.encode()).role


def test_what_a_person_said_of_a_column_is_remembered_for_files_with_the_same_headers(folder, tmp_path):
    take_in(folder, "s.csv", SHEET.encode())
    rename_column(folder, "samples.csv", "cover", "legume_pct")
    rename_column(folder, "samples.csv", "note", "unused")
    assert columns_said(folder)[-1] == 'column "comments" is unused_note, as you said'
    other = new_plan(tmp_path, "other")
    said = take_in(other, "next.csv", SHEET.replace("A1", "B1").encode()).said
    assert 'column "cover" is legume_pct, as you said of an earlier file with the same headers' in said
    assert {"legume_pct", "unused_note"} <= {*read_rows(other, "samples.csv").columns}
    take_in(
        other, "another.csv", SHEET.replace("Sample no.", "Probe").encode()
    )  # other headers: nothing is known
    assert "cover" in read_rows(other, "samples.csv").columns


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


def changed(rows, *edits):
    """A table with other text in some cells: (position, column, text)."""
    rows = rows.copy()
    for position, column, text in edits:
        rows.loc[position, column] = text
    return rows


def test_rows_are_typed_and_a_blank_one_keeps_its_place(folder):
    start_rows(folder)
    seen = whole_rows(read_rows(folder, "samples.csv"))
    assert len(seen) == 8
    wanted = changed(seen, (0, "longitude", "10.5"), (1, "sample", ""), (7, "sample", ""))
    save_rows(folder, "samples.csv", seen, wanted)
    rows = read_rows(folder, "samples.csv")
    assert rows["sample"].to_dict() == {2: "1", 4: "3", 5: "4", 6: "5", 7: "6", 8: "7"}
    assert rows.loc[2, "longitude"] == "10.5"
    assert whole_rows(rows)["sample"].tolist() == ["1", "", "3", "4", "5", "6", "7"]
    save_rows(folder, "samples.csv", whole_rows(rows), whole_rows(rows).iloc[:0])
    assert read_rows(folder, "samples.csv").empty


def test_edits_of_two_tabs_both_count_unless_rows_moved(folder):
    shutil.copy(FARM / "samples.csv", folder / "samples.csv")
    seen = whole_rows(read_rows(folder, "samples.csv"))
    save_rows(folder, "samples.csv", seen, changed(seen, (0, "note", "one")))
    save_rows(folder, "samples.csv", seen, changed(seen, (3, "note", "two")))
    now = whole_rows(read_rows(folder, "samples.csv"))
    assert now["note"].tolist()[:4] == ["one", "", "", "two"]
    save_rows(folder, "samples.csv", now, now.drop(index=0))
    with pytest.raises(InputError) as caught:
        save_rows(folder, "samples.csv", seen, changed(seen, (3, "note", "late")))
    assert str(caught.value) == (
        "samples.csv: the table was changed in another place meanwhile; an edit of the table as it stands is "
        "expected. Look at the rows that are shown now and edit again."
    )
    assert "late" not in (folder / "samples.csv").read_text()


def test_deleted_rows_are_of_one_table(folder):
    start_rows(folder)
    rows = [(0, ["1", "", ""]), (0, ["2", "", ""])]
    keep_deleted(folder, rows)
    assert deleted_rows(folder) == rows
    take_in(folder, "s.csv", b"lat,longitude,dry_kg_ha\n50,10,4000\n")
    assert deleted_rows(folder) == []


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
