"""Reading samples: how cells are understood, what is refused and in which words."""

import itertools

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from fieldmap.errors import InputError
from fieldmap.read.columns import COLUMNS, NUMBERS, TEXTS
from fieldmap.read.delimited import parse_number
from fieldmap.read.files import MAX_PROBLEMS, MAX_TEXT_BYTES
from fieldmap.read.samples import read_samples

HEADER = "sample,longitude,latitude,frame_m2,fresh_g,subsample_fresh_g,subsample_dry_g,nitrogen_pct,note"
CORRECT = "Correct the position"
DEGREES = f"longitude -180 to 180 and latitude -90 to 90 are expected. {CORRECT}."
ROW = "A1,-76.95,39.05,0.25,812,400,61.5,3.6,knoll"


def write(tmp_path, *lines, name="samples.csv", encoding="utf-8", end="\n"):
    path = tmp_path / name
    path.write_bytes(end.join(lines).encode(encoding))
    return path


def problems_of(path, **options):
    with pytest.raises(InputError) as caught:
        read_samples(path, **options)
    return [str(problem) for problem in caught.value.problems]


def dry(tmp_path, *rows, header="longitude,latitude,dry_kg_ha", **options):
    return write(tmp_path, header, *rows, **options)


# ------------------------------------------------------------------------------------------ what is read


def test_samples_with_weighing(tmp_path):
    table = read_samples(write(tmp_path, HEADER, ROW, "A2,-76.951,39.051,0.25,700,300,50,,"))
    assert (table.file, table.place, table.warnings) == ("samples.csv", "row", ())
    frame = table.frame
    assert frame.index.tolist() == [2, 3]
    assert frame.crs.to_epsg() == 4326
    assert frame.geometry.to_wkt().tolist() == ["POINT (-76.95 39.05)", "POINT (-76.951 39.051)"]
    assert list(frame.columns) == [*COLUMNS, "geometry"]
    assert all(frame[name].dtype == np.float64 for name in NUMBERS)
    assert all(isinstance(value, str) for name in TEXTS for value in frame[name])
    assert frame.loc[2, ["fresh_g", "subsample_dry_g", "nitrogen_pct"]].tolist() == [812, 61.5, 3.6]
    assert frame.loc[3, ["sample", "note", "block"]].tolist() == ["A2", "", ""]
    assert np.isnan(frame.loc[3, "nitrogen_pct"])
    assert frame["dry_kg_ha"].isna().all()


def test_projected_positions(tmp_path):
    path = dry(tmp_path, "400000,4300000,3100", header="easting,northing,dry_lb_ac")
    frame = read_samples(path, crs="EPSG:26918").frame
    assert frame.crs.to_epsg() == 26918
    assert frame.geometry[2].coords[0] == (400_000, 4_300_000)


@pytest.mark.parametrize(
    ("crs", "found"),
    [
        (None, r"positions are easting, northing, but \[samples\] crs is missing in plan.toml"),
        ("EPSG:4326", r'\[samples\] crs in plan.toml is "EPSG:4326"; the code of a projected'),
        ("UTM 18", r'\[samples\] crs in plan.toml is "UTM 18"'),
        ("+init=/etc/passwd:x", r"\[samples\] crs in plan.toml is"),
    ],
)
def test_projected_positions_need_their_crs(tmp_path, crs, found):
    path = dry(tmp_path, "400000,4300000,3100", header="easting,northing,dry_lb_ac")
    with pytest.raises(InputError, match=f"^samples.csv: {found}"):
        read_samples(path, crs=crs)


def test_names_are_matched_in_any_case_and_trimmed(tmp_path):
    path = dry(tmp_path, "a,-77,39,3000", header=" Sample , LONGITUDE,Latitude ,Dry_kg_ha")
    assert read_samples(path).frame.loc[2, ["sample", "dry_kg_ha"]].tolist() == ["a", 3000]


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_row_numbers_are_those_of_a_spreadsheet(tmp_path, end):
    """Blank rows, rows of separators only, and a cell that holds a line break are each one row."""
    path = write(tmp_path, "note,longitude,latitude,dry_kg_ha", "a,-77,39,1", "", ",,,", '"two\nlines",-77,39,2',
                 "c,-77,39,3", end=end)  # fmt: skip
    frame = read_samples(path).frame
    assert frame.index.tolist() == [2, 5, 6]
    assert frame["note"].tolist() == ["a", "two lines", "c"]
    bad = write(tmp_path, "longitude,latitude,dry_kg_ha", "-77,39,1", "", ",,", "-77,39,x", name="b.csv")
    assert problems_of(bad)[0].startswith('b.csv, row 5: dry_kg_ha is "x"')


def test_header_below_blank_rows(tmp_path):
    path = write(tmp_path, "", "longitude,latitude,dry_kg_ha", "-77,39,1")
    assert read_samples(path).frame.index.tolist() == [3]


@pytest.mark.parametrize(
    ("delimiter", "name"), [(",", "s.csv"), (";", "s.csv"), ("\t", "s.tsv"), ("\t", "s.txt")]
)
def test_separators(tmp_path, delimiter, name):
    lines = ["note,longitude,latitude,dry_kg_ha", "wet,-77.5,39,3000.5"]
    path = write(tmp_path, *(line.replace(",", delimiter) for line in lines), name=name)
    frame = read_samples(path).frame
    assert frame.loc[2, ["note", "dry_kg_ha"]].tolist() == ["wet", 3000.5]
    assert frame.geometry[2].x == -77.5


def test_separator_is_found_in_spite_of_a_note_full_of_others(tmp_path):
    path = write(
        tmp_path, 'longitude;latitude;dry_kg_ha;"note, free; text, really, long"', "-77;39;1;a,b,c,d"
    )
    assert read_samples(path).frame["dry_kg_ha"].tolist() == [1]


def test_decimal_comma(tmp_path):
    path = write(tmp_path, "longitude;latitude;dry_kg_ha", "-77,5;39,25;1,234", "-77,5;39,25;3000")
    frame = read_samples(path).frame
    assert frame["dry_kg_ha"].tolist() == [1.234, 3000]
    assert frame.geometry[2].coords[0] == (-77.5, 39.25)


def test_decimal_comma_and_point_are_not_mixed(tmp_path):
    """With points about, ``1,234`` may well be a thousand: refused rather than guessed."""
    path = write(tmp_path, "longitude;latitude;dry_kg_ha", "-77.5;39.25;1,234")
    (problem,) = problems_of(path)
    assert problem == (
        'samples.csv, row 2: dry_kg_ha is "1,234"; a number in kilograms per hectare is expected. '
        "Write the number with a decimal point and without thousands separator."
    )


def test_three_digits_after_every_comma_is_not_guessed_either(tmp_path):
    path = write(tmp_path, "longitude;latitude;dry_kg_ha", "-77;39;1,234", "-77;39;2,345")
    assert [text.split(":")[0] for text in problems_of(path)] == ["samples.csv, row 2", "samples.csv, row 3"]


def test_encodings(tmp_path):
    lines = ("longitude,latitude,dry_kg_ha,note", "-77,39,1,Böschung")
    for encoding in ("utf-8", "utf-8-sig"):
        table = read_samples(write(tmp_path, *lines, encoding=encoding))
        assert (table.frame["note"].tolist(), table.warnings) == (["Böschung"], ())
    table = read_samples(write(tmp_path, *lines, encoding="cp1252"))
    assert table.frame["note"].tolist() == ["Böschung"]
    assert table.warnings == (
        "samples.csv: the text is not UTF-8 and was read as Windows-1252; check accents in names and notes.",
    )


@pytest.mark.parametrize(
    ("content", "found"),
    [
        (
            b"PK\x03\x04rest",
            "this is a spreadsheet workbook or a zip; a text table is expected. Save it as CSV",
        ),
        ("longitude,latitude".encode("utf-16"), "the text is UTF-16; UTF-8 text is expected"),
        (b"a,b\x00c", "this is not text"),
        (b"longitude,\x81\x8d", "this is not text"),
        (b"\n\n  \n", "the file is blank; a header and rows are expected"),
        (b"longitude,latitude,dry_kg_ha\n\n", "there are no rows below the header"),
        (b'longitude,latitude,dry_kg_ha\n"' + b"x" * 200_000, "row 2: the row cannot be split into cells"),
        (b"," * 400 + b"x\n", "row 1: there are more than 300 columns or 100000 rows"),
    ],
)
def test_what_is_not_a_text_table_is_refused(tmp_path, content, found):
    path = tmp_path / "s.csv"
    path.write_bytes(content)
    with pytest.raises(InputError) as caught:
        read_samples(path)
    assert found in str(caught.value)


def test_files_of_other_kinds(tmp_path):
    path = write(tmp_path, "x", name="s.ods")
    with pytest.raises(InputError, match=r'^s.ods: samples in files ending in ".ods" are not read; CSV'):
        read_samples(path)
    with pytest.raises(InputError, match=r"^no.csv: there is no such file"):
        read_samples(tmp_path / "no.csv")
    with (tmp_path / "big.csv").open("wb") as stream:
        stream.truncate(MAX_TEXT_BYTES + 1)
    with pytest.raises(InputError, match=r"^big.csv: the file holds more than 16 MB"):
        read_samples(tmp_path / "big.csv")


# ----------------------------------------------------------------------------------------------- numbers


@pytest.mark.parametrize(
    ("text", "value"),
    [("12", 12), (" 12.50 ", 12.5), (".5", 0.5), ("5.", 5), ("-3", -3), ("+3", 3), ("1e3", 1000), ("−3", -3)],
)
def test_numbers(text, value):
    assert parse_number(text) == value


@pytest.mark.parametrize("text", ["", " ", "NA", "n/a"])
def test_empty_cells(text):
    assert np.isnan(parse_number(text))


@pytest.mark.parametrize(
    "text", ["4l2", "1,5", "1_000", "12 g", "3.6 %", "nan", "٣", "1.2.3", "--1", "0x10", "="]
)
def test_not_numbers(text):
    assert parse_number(text) is None


def test_the_message_of_a_number_that_does_not_parse(tmp_path):
    bad = ROW.replace("400", "4l2")
    assert problems_of(write(tmp_path, HEADER, ROW, bad)) == [
        'samples.csv, row 3: subsample_fresh_g is "4l2"; a number in grams is expected. Correct the cell.'
    ]


@pytest.mark.parametrize(
    ("cell", "value", "expected"),
    [
        ("subsample_dry_g", "-1", "0 or more (grams) is expected"),
        ("fresh_g", "inf", "a number in grams is expected"),
        ("fresh_g", "1e999", "a number in grams is expected"),
        ("nitrogen_pct", "10.5", "0 to 10 (percent of dry weight) is expected"),
        ("nitrogen_pct", "-0.1", "0 to 10 (percent of dry weight) is expected"),
        ("weed_pct", "101", "0 to 100 (percent of dry weight) is expected"),
        ("legume_pct", "-1", "0 to 100 (percent of dry weight) is expected"),
    ],
)
def test_values_that_cannot_be(tmp_path, cell, value, expected):
    cells = {**dict(zip(HEADER.split(","), ROW.split(","), strict=True)), cell: value}
    (problem,) = problems_of(write(tmp_path, ",".join(cells), ",".join(cells.values())))
    assert problem == f'samples.csv, row 2: {cell} is "{value}"; {expected}. Correct the cell.'


@pytest.mark.parametrize(
    ("cell", "value"), [("nitrogen_pct", "10"), ("weed_pct", "100"), ("legume_pct", "0")]
)
def test_bounds_themselves_are_allowed(tmp_path, cell, value):
    cells = {**dict(zip(HEADER.split(","), ROW.split(","), strict=True)), cell: value}
    frame = read_samples(write(tmp_path, ",".join(cells), ",".join(cells.values()))).frame
    assert frame[cell].tolist() == [float(value)]


# --------------------------------------------------------------------------------------------- positions


def test_positions_are_missing(tmp_path):
    (problem,) = problems_of(dry(tmp_path, "1,2,3", header="x,y,dry_kg_ha"))
    assert problem == (
        "samples.csv: the columns are x, y, dry_kg_ha; longitude and latitude (or easting and northing) are "
        "expected. Add where each sample was clipped."
    )
    path = dry(tmp_path, "-77,39,4e5,4e6,1", header="longitude,latitude,easting,northing,dry_kg_ha")
    (problem,) = problems_of(path)
    assert "both longitude, latitude and easting, northing are there; one of the two pairs" in problem


def test_positions_by_row(tmp_path):
    problems = problems_of(
        dry(tmp_path, ",39,1", "-77,,1", "-77,NA,1", "-200,39,1", "-77,39x,1", "39,-177,1")
    )
    assert problems == [
        "samples.csv, row 2: longitude is empty; a position is expected. Fill it in or delete the row.",
        "samples.csv, row 3 and 1 more: latitude is empty; a position is expected. Fill it in or delete the row.",
        f"samples.csv, row 5: longitude -200, latitude 39 are not degrees on the globe; {DEGREES}",
        'samples.csv, row 6: latitude is "39x"; a number in degrees is expected. Correct the cell.',
        f"samples.csv, row 7: longitude and latitude look swapped; {DEGREES}".replace(
            CORRECT, "Swap the two"
        ),
    ]


def test_swapped_columns_are_one_problem(tmp_path):
    (problem,) = problems_of(dry(tmp_path, *(f"39.{row},-97.5,1" for row in range(20))))
    assert problem.startswith(
        "samples.csv, row 2 and 19 more: longitude and latitude look swapped; longitude -180"
    )


# ----------------------------------------------------------------------------------------------- columns

AREA = [["dry_kg_ha"], ["dry_lb_ac"]]
FRAME = [
    [frame, *weight]
    for frame, weight in itertools.product(
        ["frame_m2", "frame_ft2"],
        [
            ["dry_g"],
            ["dry_lb"],
            *([w, "subsample_fresh_g", "subsample_dry_g"] for w in ("fresh_g", "fresh_lb")),
        ],
    )
]


@pytest.mark.parametrize("columns", AREA + FRAME, ids="+".join)
def test_every_set_of_weighing_is_enough_and_no_part_of_it_is(tmp_path, columns):
    def path(used):
        return dry(tmp_path, ",".join(["-77", "39", *"1" * len(used)]),
                   header=",".join(["longitude", "latitude", *used]))  # fmt: skip

    assert read_samples(path(columns)).frame[columns].notna().all(axis=None)
    for left_out in columns:
        (problem,) = problems_of(path([column for column in columns if column != left_out]))
        assert "weighing" in problem
        assert (
            "dry_kg_ha, or dry_lb_ac, or frame_m2 (or frame_ft2) with either dry_g (or dry_lb) or" in problem
        )


@pytest.mark.parametrize(
    "pair",
    [("dry_kg_ha", "dry_lb_ac"), ("frame_m2", "frame_ft2"), ("dry_g", "dry_lb"), ("fresh_g", "fresh_lb"),
     ("dry_kg_ha", "frame_m2")],
)  # fmt: skip
def test_two_sets_of_units_are_refused(tmp_path, pair):
    others = [c for c in ("frame_m2", "dry_g") if c not in pair] if pair[0] != "dry_kg_ha" else []
    header = ["longitude", "latitude", *pair, *others]
    problems = problems_of(
        dry(tmp_path, ",".join(["-77", "39", *"1" * (len(header) - 2)]), header=",".join(header))
    )
    assert (
        f"samples.csv: both {pair[0]} and {pair[1]} are filled in; one of the two is expected" in problems[0]
    )


def test_a_template_with_every_column_needs_only_those_that_are_filled_in(tmp_path):
    header = ",".join(["longitude", "latitude", *COLUMNS])
    cells = {"longitude": "-77", "latitude": "39", "frame_m2": "0.25", "dry_g": "80"}
    path = dry(tmp_path, ",".join(cells.get(name, "") for name in header.split(",")), header=header)
    assert read_samples(path).frame["dry_g"].tolist() == [80]


@pytest.mark.parametrize(
    ("name", "nearest"),
    [
        ("subsample_dry", "name is subsample_dry_g (grams)"),
        ("nitrogen", "name is nitrogen_pct (percent of dry weight)"),
        ("nitrogn_pct", "name is nitrogen_pct (percent of dry weight)"),
        ("weeds_pct", "name is weed_pct (percent of dry weight)"),
        ("notex", "name is note"),
        ("frame", "names are frame_m2 (square metres), frame_ft2 (square feet)"),
        ("fresh", "names are fresh_g (grams), fresh_lb (pounds)"),
        ("dry_kg", "name is dry_g (grams)"),
        ("lab", None),
        ("id", None),
    ],
)  # fmt: skip
def test_unknown_columns(tmp_path, name, nearest):
    path = dry(tmp_path, "-77,39,1,5", header=f"longitude,latitude,dry_kg_ha,{name}")
    if nearest is None:
        assert read_samples(path).warnings == (f"samples.csv: column not used: {name}.",)
    else:
        (problem,) = problems_of(path)
        assert (
            f'column "{name}" is not known; the nearest known {nearest}. Rename it if it is that' in problem
        )


def test_short_names_of_position_are_read_and_said(tmp_path):
    table = read_samples(dry(tmp_path, "-77,39,1", header="lon,lat,dry_kg_ha"))
    assert table.frame.geometry.to_wkt().tolist() == ["POINT (-77 39)"]
    assert table.warnings == (
        'samples.csv: column "lon" was read as longitude.',
        'samples.csv: column "lat" was read as latitude.',
    )


def test_duplicated_columns(tmp_path):
    path = dry(tmp_path, "-77,39,1,2", header="longitude,latitude,dry_kg_ha,Dry_kg_ha")
    (problem,) = problems_of(path)
    assert problem.startswith('samples.csv, row 1: column "dry_kg_ha" is there 2 times; each column once')


def test_ragged_rows(tmp_path):
    path = dry(tmp_path, "-77,39", "-77,39,1,,,", "-77,39,1,5")
    (problem,) = problems_of(path)
    assert problem.startswith("samples.csv, row 4: there are 4 cells under 3 column names; one cell a column")
    assert "Write numbers with a decimal point" in problem


def test_all_problems_are_reported_at_once_in_reading_order(tmp_path):
    path = write(tmp_path, "lat,longitude,latitude,fresh_g,legume_pct,note,note",
                 "1,-77,39,x,200,a,b", "1,-77,,5,50,a,b")  # fmt: skip
    problems = problems_of(path)
    for text, found in zip(
        problems,
        ["of the weighing only fresh_g", 'column "note" is there 2 times', 'row 2: fresh_g is "x"',
         'row 2: legume_pct is "200"', "row 3: latitude is empty"],
        strict=True,
    ):  # fmt: skip
        assert found in text


def test_a_flood_of_problems_is_cut(tmp_path):
    problems = problems_of(dry(tmp_path, *(f"-77,39,x{row}" for row in range(1000))))
    assert len(problems) == MAX_PROBLEMS + 1
    assert "950 more problems were found" in problems[-1]


def test_text_from_the_file_is_tamed_in_messages(tmp_path):
    (problem,) = problems_of(dry(tmp_path, "-77,39,\x1b[31m" + "y" * 300))
    assert "\x1b" not in problem
    assert len(problem) < 200


# ---------------------------------------------------------------------------------------- layers of points


def points(**columns):
    return gpd.GeoDataFrame(
        columns, geometry=gpd.points_from_xy([400_000, 400_050], [4_300_000, 4_300_040]), crs="EPSG:26918"
    )


def test_geopackage_of_points(tmp_path):
    layer = points(Sample=["a", None], block=[1.0, 2.0], dry_kg_ha=[3000, 2500], nitrogen_pct=["3.5", ""],
                   when=pd.to_datetime(["2026-05-01", "2026-05-02"]))  # fmt: skip
    layer.to_file(tmp_path / "s.gpkg", driver="GPKG")
    table = read_samples(tmp_path / "s.gpkg", crs="EPSG:32601")
    assert table.place == "feature"
    assert table.frame.index.tolist() == [1, 2]
    assert table.frame.crs.to_epsg() == 26918
    assert table.frame["sample"].tolist() == ["a", ""]
    assert table.frame["block"].tolist() == ["1", "2"]
    assert table.frame["dry_kg_ha"].tolist() == [3000, 2500]
    assert table.frame["nitrogen_pct"].tolist()[0] == 3.5
    assert table.warnings == ("s.gpkg: column not used: when.",)


def test_geojson_of_points_agrees_with_csv(tmp_path):
    layer = points(dry_kg_ha=[3000.25, 2500.5], note=["wet", "dry"]).to_crs(4326)
    layer.to_file(tmp_path / "s.geojson", driver="GeoJSON", COORDINATE_PRECISION=15)
    rows = [f"{p.x!r},{p.y!r},{b},{n}" for p, b, n in zip(layer.geometry, layer["dry_kg_ha"], layer["note"],
                                                           strict=True)]  # fmt: skip
    ours = read_samples(tmp_path / "s.geojson").frame
    theirs = read_samples(dry(tmp_path, *rows, header="longitude,latitude,dry_kg_ha,note")).frame
    assert shapely.equals_exact(ours.geometry.to_numpy(), theirs.geometry.to_numpy(), tolerance=1e-12).all()
    columns = ["dry_kg_ha", "note"]
    assert ours[columns].to_numpy().tolist() == theirs[columns].to_numpy().tolist()


def test_zipped_shapefile_of_points_with_names_of_ten_characters(tmp_path):
    layer = points(frame_m2=[0.25] * 2, fresh_g=[800, 700], subfresh_g=[400, 300], subdry_g=[60, 50],
                   nitrogen_p=[3.5, 3.6])  # fmt: skip
    layer.to_file(tmp_path / "s.shz", driver="ESRI Shapefile")
    path = (tmp_path / "s.shz").rename(tmp_path / "s.zip")
    table = read_samples(path)
    assert table.frame["subsample_fresh_g"].tolist() == [400, 300]
    assert table.frame["subsample_dry_g"].tolist() == [60, 50]
    assert table.frame["nitrogen_pct"].tolist() == [3.5, 3.6]
    assert "s.zip: column subdry_g was read as subsample_dry_g." in table.warnings


@pytest.mark.filterwarnings("ignore:Column names longer than 10 characters", "ignore:Normalized/laundered")
def test_shapefile_whose_names_were_cut_beyond_telling(tmp_path):
    layer = points(
        frame_m2=[0.25] * 2, fresh_g=[800, 700], subsample_fresh_g=[400, 300], subsample_dry_g=[60, 50]
    )
    layer.to_file(tmp_path / "s.shz", driver="ESRI Shapefile")
    path = (tmp_path / "s.shz").rename(tmp_path / "s.zip")
    problems = problems_of(path)
    assert any("write subfresh_g, subdry_g, nitrogen_p" in problem for problem in problems)


def test_features_that_are_no_single_point_are_named(tmp_path):
    layer = points(dry_kg_ha=[1, 2])
    layer.geometry = [shapely.MultiPoint([(400_000, 4_300_000)]), shapely.box(0, 0, 1, 1)]
    layer.to_crs(4326).to_file(tmp_path / "s.geojson", driver="GeoJSON")
    (problem,) = problems_of(tmp_path / "s.geojson")
    assert problem.startswith("s.geojson, feature 2: this is a Polygon; one point is expected")


def test_a_layer_without_crs_is_refused_whatever_the_plan_says(tmp_path):
    layer = points(dry_kg_ha=[1, 2]).set_crs(None, allow_override=True)
    with pytest.warns(UserWarning, match="'crs' was not provided"):
        layer.to_file(tmp_path / "s.gpkg", driver="GPKG")
    with pytest.raises(InputError, match=r"the layer has no coordinate reference system"):
        read_samples(tmp_path / "s.gpkg", crs="EPSG:26918")


def test_layer_cells_are_checked_by_feature(tmp_path):
    points(dry_kg_ha=["3000", "4l2"]).to_file(tmp_path / "s.gpkg", driver="GPKG")
    assert problems_of(tmp_path / "s.gpkg") == [
        's.gpkg, feature 2: dry_kg_ha is "4l2"; a number in kilograms per hectare is expected. Correct the cell.'
    ]
