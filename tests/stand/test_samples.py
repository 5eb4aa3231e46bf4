"""Clipped frames → dry biomass, and what cannot be right."""

import json

import numpy as np
import pytest
from shapely.geometry import box
from support.small_fields import DEFAULT_BLOCKS, boundary_geojson, lonlat, random_places, samples_csv, trend

from fieldmap.errors import InputError
from fieldmap.field.field import build_field
from fieldmap.read.layers.layers import read_boundary
from fieldmap.read.samples import read_samples
from fieldmap.stand.samples import place_samples


@pytest.fixture
def placed(tmp_path):
    """Place the samples of a CSV text in the test field."""

    def place(text, blocks=None):
        (tmp_path / "boundary.geojson").write_text(json.dumps(boundary_geojson(blocks or DEFAULT_BLOCKS)))
        (tmp_path / "samples.csv").write_text(text)
        field = build_field(
            read_boundary(tmp_path / "boundary.geojson"), None, cell_m=5.0, file="boundary.geojson"
        )
        return place_samples(read_samples(tmp_path / "samples.csv"), field)

    return place


def weighed(header, *rows):
    """A CSV of weighings at places well inside the field."""
    lines = [f"longitude,latitude,{header}"]
    for k, row in enumerate((*rows, *rows[-1:] * (3 - len(rows)))):
        x, y = lonlat(box(30 + 40 * k, 50, 31 + 40 * k, 51)).centroid.coords[0]
        lines.append(f"{x:.8f},{y:.8f},{row}")
    return "\n".join(lines) + "\n"


def test_weighed_frame_of_the_extension_worksheet(placed):
    # North Carolina and Minnesota extension worksheet: two 2 x 2 ft frames, 1.2 lb dry: 6,534 lb DM/ac.
    samples = placed(weighed("frame_ft2,dry_lb", "8,1.2"))
    assert samples.dry_kg_ha[0] / 1.12085116 == pytest.approx(6534.0, abs=0.5)


def test_20_8_grams_a_square_foot_is_2000_pounds_an_acre(placed):
    # The published 20.8 g/ft² = 2,000 lb/ac is rounded; exactly 1 g/ft² is 96.03 lb/ac.
    samples = placed(weighed("frame_ft2,dry_g", "1,20.8"))
    assert samples.dry_kg_ha[0] / 1.12085116 == pytest.approx(20.8 * 96.03, rel=1e-4)
    assert samples.dry_kg_ha[0] / 1.12085116 == pytest.approx(2000, rel=2e-3)


@pytest.mark.parametrize(
    ("header", "row", "dry_kg_ha"),
    [
        ("dry_kg_ha", "4200", 4200.0),
        ("dry_lb_ac", "4000", 4483.4),
        ("frame_m2,dry_g", "0.5,180", 3600.0),
        ("frame_m2,fresh_g,subsample_fresh_g,subsample_dry_g", "0.25,800,400,60", 4800.0),
        ("frame_ft2,fresh_lb,subsample_fresh_g,subsample_dry_g", "8,5,450,72", 4882.4),
        ("dry_kg_ha", "0", 0.0),
    ],
)
def test_every_way_to_weigh(placed, header, row, dry_kg_ha):
    assert placed(weighed(header, row)).dry_kg_ha[0] == pytest.approx(dry_kg_ha, rel=1e-4)


@pytest.mark.parametrize(
    ("header", "row", "message"),
    [
        (
            "frame_m2,fresh_g,subsample_fresh_g,subsample_dry_g",
            "0.25,800,400,412",
            r"samples.csv, row 2: subsample_dry_g 412 is more than subsample_fresh_g 400; a dried subsample",
        ),
        (
            "frame_m2,fresh_g,subsample_fresh_g,subsample_dry_g",
            "0.25,300,400,60",
            r"row 2: subsample_fresh_g 400 is more than the frame's fresh weight of 300 g",
        ),
        ("frame_m2,dry_g", "0,180", r"row 2: the frame measures 0 m²"),
        ("frame_m2,dry_g", "2500,180", r"row 2: the frame measures 2500 m²"),
        ("frame_m2,dry_g", "0.5,18000", r"row 2: the sample comes to 360,000 kg/ha of dry biomass"),
        ("dry_kg_ha,legume_pct,weed_pct", "4000,80,40", r"row 2: legume_pct and weed_pct add up to 120 %"),
        (
            "dry_kg_ha,block",
            "4000,north",
            r'row 2: block "north" is not in the boundary; one of field is expected',
        ),
    ],
)
def test_what_cannot_be_right_is_said_by_row(placed, header, row, message):
    with pytest.raises(InputError, match=message.replace("row 2:", r"row 2 and 2 more:")):
        placed(weighed(header, row))


def test_a_row_without_its_weight_is_named(placed):
    with pytest.raises(InputError, match=r"samples.csv, row 3: the weighing is incomplete; dry_kg_ha"):
        placed(weighed("frame_m2,dry_g", "0.5,180", "0.5,", "0.5,200"))


def test_samples_outside_are_kept_within_the_gps_error_and_refused_beyond(placed):
    inside = random_places(10, 3)
    text = samples_csv(np.vstack([inside, [[150.0, -6.0]]]), np.full(11, 4000.0))
    samples = placed(text)
    assert len(samples) == 11
    assert any(
        "row 12: the sample lies 6.0 m outside the boundary" in warning for warning in samples.warnings
    )
    with pytest.raises(InputError, match="row 12: the sample lies 40 m outside the boundary"):
        placed(samples_csv(np.vstack([inside, [[150.0, -40.0]]]), np.full(11, 4000.0)))
    with pytest.raises(InputError, match=r"row 2 and 9 more|km outside the boundary"):
        placed(samples_csv(inside + [40_000.0, 0.0], np.full(10, 4000.0)))


def test_swapped_longitude_and_latitude_are_found(placed):
    text = samples_csv(random_places(10, 3), np.full(10, 4000.0)).replace(
        "longitude,latitude", "latitude,longitude"
    )
    with pytest.raises(InputError, match="longitude and latitude are swapped here or in the boundary"):
        placed(text)


def test_two_samples_at_one_place_are_named(placed):
    places = random_places(10, 3)
    places[7] = places[2] + [0.1, 0.0]
    with pytest.raises(InputError, match=r"rows 4 and 9: two samples stand within 0.5 m of each other"):
        placed(samples_csv(places, np.full(10, 4000.0)))


def test_an_outlier_is_kept_and_named(placed):
    places = random_places(12, 3)
    dry = 4000.0 + 50.0 * np.arange(12)
    dry[5] = 14_000.0
    samples = placed(samples_csv(places, dry))
    assert len(samples) == 12
    assert any(
        "row 7: 14,000 kg/ha of dry biomass is far from the median" in text for text in samples.warnings
    )


def test_samples_belong_to_the_block_they_stand_in(placed):
    blocks = {"west": box(0, 0, 150, 200), "east": box(150, 0, 300, 200)}
    places = random_places(12, 3)
    samples = placed(samples_csv(places, trend(places)), blocks)
    assert (samples.block == (places[:, 0] > 150)).all()
