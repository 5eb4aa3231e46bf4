"""Blocks, projected CRS, grid, true area."""

import geopandas as gpd
import numpy as np
import pyproj
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import LineString, MultiPolygon, Point, Polygon, box

from fieldmap.errors import InputError
from fieldmap.field.field import build_field, per_block
from fieldmap.field.projection import to_lonlat, true_area_ha, unwrapped, utm_crs


def layer(shapes, names=None, epsg=4326):
    names = names or [f"block {k}" for k in range(1, len(shapes) + 1)]
    return gpd.GeoDataFrame({"block": names}, geometry=shapes, crs=epsg)


def field(*shapes, cell_m=None, no_spread=None, **keys):
    return build_field(layer(list(shapes), **keys), no_spread, cell_m=cell_m, file="boundary.geojson")


# Published coordinates. EPSG Guidance Note 7-2 (IOGP 373-07-02), worked examples as quoted in public tests.


def test_transverse_mercator_example_of_guidance_note_7_2():
    osgb = pyproj.CRS.from_proj4(
        "+proj=tmerc +lat_0=49 +lon_0=-2 +k=0.9996012717 +x_0=400000 +y_0=-100000 +ellps=airy +units=m"
    )
    forward = pyproj.Transformer.from_crs(osgb.geodetic_crs, osgb, always_xy=True)
    assert forward.transform(0.5, 50.5) == pytest.approx((577_274.99, 69_740.50), abs=0.02)


def test_equal_area_example_of_guidance_note_7_2():
    forward = pyproj.Transformer.from_crs(4326, 3035, always_xy=True)
    assert forward.transform(5.0, 50.0) == pytest.approx((3_962_799.45, 2_999_718.85), abs=0.01)


@pytest.mark.parametrize(
    ("longitude", "latitude", "epsg"),
    [
        (6.001, 45, 32632),
        (5.999, 45, 32631),
        (-77.06, 42.86, 32618),
        (151.0, -33.0, 32756),
        (179.9, -17, 32760),
    ],
)
def test_the_utm_zone_is_that_of_the_middle(longitude, latitude, epsg):
    shape = np.array(
        [box(longitude - 1e-4, latitude - 1e-4, longitude + 1e-4, latitude + 1e-4)], dtype=object
    )
    assert utm_crs(shape, file="b").to_epsg() == epsg


@pytest.mark.whole
@given(
    st.floats(-179.0, 179.0),
    st.floats(-60.0, 70.0),
    st.floats(50.0, 900.0),
    st.floats(50.0, 900.0),
    st.booleans(),
)
def test_true_area_agrees_with_an_equal_area_projection(longitude, latitude, width_m, height_m, hole):
    # Independent computation: Lambert azimuthal equal-area centred on the field.
    equal_area = pyproj.CRS.from_proj4(f"+proj=laea +lat_0={latitude} +lon_0={longitude} +ellps=WGS84")
    shape = box(-width_m / 2, -height_m / 2, width_m / 2, height_m / 2)
    if hole:
        shape = shape.difference(box(-10, -10, 12, 12))
    to_degrees = pyproj.Transformer.from_crs(equal_area, 4326, always_xy=True)
    lonlat = shapely.transform(shape, lambda xy: np.column_stack(to_degrees.transform(*xy.T)))
    found = field(lonlat, cell_m=10.0)
    assert found.area_ha * 1e4 == pytest.approx(shape.area, rel=2e-6)


def test_a_hole_is_taken_off_however_it_is_wound():
    outer, inner = [(0, 0), (500, 0), (500, 500), (0, 500)], [(100, 100), (200, 100), (200, 200), (100, 200)]
    crs = pyproj.CRS.from_epsg(32632)
    shift = np.array([450_000.0, 5_461_000.0])
    areas = {
        round(true_area_ha(shapely.transform(Polygon(outer, [ring]), lambda xy: xy + shift), crs), 6)
        for ring in (inner, inner[::-1])
    }
    assert len(areas) == 1
    assert areas.pop() == pytest.approx(24.0, rel=1e-3)


def test_a_field_on_both_sides_of_180_is_one_field():
    cut = MultiPolygon([box(179.999, -17.0, 180.0, -16.998), box(-180.0, -17.0, -179.999, -16.998)])
    found = field(cut)
    area_m2, _ = pyproj.Geod(ellps="WGS84").geometry_area_perimeter(box(179.999, -17.0, 180.001, -16.998))
    assert found.blocks[0].geometry.geom_type == "Polygon"
    assert found.area_ha * 1e4 == pytest.approx(area_m2, rel=1e-7)
    west, _, east, _ = to_lonlat(found.outline, found.crs).bounds
    assert (west, east) == pytest.approx((179.999, 180.001), abs=1e-7)
    assert unwrapped(np.array([box(179.99, 0, 179.995, 1)], dtype=object))[0].bounds[0] == 179.99


def test_a_field_across_a_zone_edge_lies_in_one_zone():
    found = field(box(5.999, 50.0, 6.0005, 50.001), box(6.0005, 50.0, 6.002, 50.001))
    assert found.crs.to_epsg() == 32632
    assert (np.unique(found.block_index) == [-1, 0, 1]).all()


def test_row_0_is_north_and_cells_know_their_place():
    found = field(box(8.0, 49.0, 8.004, 49.002), cell_m=5.0)
    grid = found.grid
    assert grid.northings()[0] > grid.northings()[-1]
    assert grid.eastings()[0] < grid.eastings()[-1]
    assert grid.transform @ (0.5, 0.5) == pytest.approx((grid.eastings()[0], grid.northings()[0]))
    assert grid.west_m % 5.0 == 0.0
    centres = grid.centres(found.inside)
    assert shapely.contains_xy(found.outline.buffer(1e-6), centres).all()
    assert found.inside.sum() * 25.0 == pytest.approx(found.outline.area, rel=0.02)


@pytest.mark.parametrize(("side_deg", "cell_m"), [(0.001, 1.0), (0.0034, 2.0), (0.0052, 2.5), (0.02, 10.0)])
def test_the_cell_follows_the_size_of_the_field(side_deg, cell_m):
    assert field(box(8.0, 0.0, 8.0 + side_deg, side_deg)).grid.cell_m == cell_m


def test_setbacks_are_kept_out_of_what_is_spread():
    no_spread = gpd.GeoDataFrame(
        {"setback_m": [30.0, 10.0]},
        geometry=[Point(8.002, 49.001), LineString([(7.99, 49.0015), (8.01, 49.0015)])],
        crs=4326,
    )
    found = field(box(8.0, 49.0, 8.004, 49.002), cell_m=2.0, no_spread=no_spread)
    block = found.blocks[0]
    kept_out_m2 = found.no_spread.intersection(block.geometry).area
    assert kept_out_m2 == pytest.approx(np.pi * 30**2 + 20 * 292.5, rel=0.03)
    assert (block.area_ha - block.spread_ha) * 1e4 == pytest.approx(kept_out_m2, rel=1e-3)
    assert (found.inside.sum() - (found.spread_index >= 0).sum()) * 4.0 == pytest.approx(
        kept_out_m2, rel=0.02
    )


def test_values_by_block():
    found = field(box(8.0, 49.0, 8.002, 49.002), box(8.002, 49.0, 8.004, 49.002), cell_m=5.0)
    raster = per_block(found, [1.5, 2.5])
    assert set(np.unique(raster[found.inside])) == {1.5, 2.5}
    assert np.isnan(raster[~found.inside]).all()


@pytest.mark.parametrize(
    ("shape", "cell_m", "message"),
    [
        (box(8.0, 49.0, 8.00001, 49.00001), None, "the boundary encloses .* ha; a field of 0.02 to 5,000 ha"),
        (box(8.0, 49.0, 8.2, 49.2), None, "the boundary encloses .* ha; a field of"),
        (box(0.0, 49.0, 8.0, 50.0), None, "one field between 80° S and 84° N is expected, longitude first"),
        (box(8.0, 85.0, 8.01, 85.01), None, "one field between 80° S and 84° N"),
        (box(8.0, 49.0, 8.03, 49.03), 0.5, "at most 4,000,000 are expected.*Choose a larger"),
        (box(8.0, 49.0, 8.0003, 49.0003), 90.0, "no cell of 90 m has its centre in this block"),
    ],
)
def test_impossible_fields_are_refused(shape, cell_m, message):
    with pytest.raises(InputError, match=message):
        field(shape, cell_m=cell_m)
