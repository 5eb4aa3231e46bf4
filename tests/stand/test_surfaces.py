"""Covariates on the grid, strata, one value."""

import numpy as np
import pytest
import rasterio
from affine import Affine
from shapely.geometry import box
from support.small_fields import EPSG, SOUTH_M, WEST_M, random_places

from fieldmap import read_plan, run

COVARIATE = ('file = "samples.csv"', 'file = "samples.csv"\ncovariate = "index.tif"')


def stand(x, y):
    """A patchy stand that a few samples cannot resolve."""
    return 4000.0 + 1500.0 * np.sin(x / 18.0) * np.cos(y / 15.0)


def write_index(folder, values, *, cell_m=2.0, nodata=-1.0):
    """A raster of `values(x, y)` over the test field and 20 m round it; NaN is written as nodata."""
    x = np.arange(-20.0, 320.0, cell_m) + cell_m / 2
    y = np.arange(220.0, -20.0, -cell_m) - cell_m / 2
    raster = np.nan_to_num(values(*np.meshgrid(x, y)), nan=nodata)
    with rasterio.open(
        folder / "index.tif", "w", driver="GTiff", height=len(y), width=len(x), count=1, dtype="float32",
        crs=rasterio.CRS.from_epsg(EPSG), transform=Affine(cell_m, 0, WEST_M - 20, 0, -cell_m, SOUTH_M + 220),
        nodata=nodata,
    ) as tif:  # fmt: skip
        tif.write(raster.astype("float32"), 1)


def error(result):
    """Root mean squared error of the biomass surface against the stand."""
    inside = result.field.inside
    x, y = (result.field.grid.centres(inside) - (WEST_M, SOUTH_M)).T
    return float(np.sqrt(((result.stand.biomass.mean[inside] - stand(x, y)) ** 2).mean()))


@pytest.fixture
def compared(plan_folder):
    """Results without and with a covariate raster."""

    def compare(values, number=20):
        xy = random_places(number, 12)
        dry = stand(*xy.T) + np.random.default_rng(3).normal(0, 150, number)
        plain = run(read_plan(plan_folder(xy=xy, dry_kg_ha=dry, name="plain")))
        folder = plan_folder(xy=xy, dry_kg_ha=dry, name="with", edits=[COVARIATE])
        write_index(folder, values)
        return plain, run(read_plan(folder))

    return compare


def test_a_covariate_that_tracks_the_stand_helps_a_lot(compared):
    plain, helped = compared(lambda x, y: 0.2 + stand(x, y) / 9000.0)
    assert helped.stand.biomass.method == "kriging with covariate"
    assert error(helped) < 0.4 * error(plain)
    assert (
        helped.stand.biomass.se[helped.field.inside].mean()
        < plain.stand.biomass.se[plain.field.inside].mean()
    )


def test_a_useless_covariate_costs_little(compared):
    noise = np.random.default_rng(8)
    plain, hindered = compared(lambda x, y: noise.normal(0.5, 0.1, x.shape))
    assert error(hindered) < 1.15 * error(plain)


def test_gaps_are_filled_from_nearby_and_wide_ones_refuse_the_raster(compared):
    index = lambda x, y: np.where(np.hypot(x - 150, y - 100) < 15, np.nan, stand(x, y) / 9000.0)  # noqa: E731
    _, gap = compared(index)
    assert gap.stand.biomass.method == "kriging with covariate"
    assert np.isfinite(gap.stand.biomass.mean[gap.field.inside]).all()


def test_a_raster_that_is_mostly_unknown_is_left_out(compared):
    _, left_out = compared(lambda x, y: np.where(x < 150, np.nan, stand(x, y)))
    assert left_out.stand.biomass.method != "kriging with covariate"
    assert any("index.tif is unknown over" in text for text in left_out.warnings)


def test_a_raster_that_says_nothing_is_left_out(compared):
    _, left_out = compared(lambda x, y: np.full(x.shape, 0.7))
    assert any("index.tif has the same value at all samples" in text for text in left_out.warnings)


def test_a_raster_that_only_tells_the_blocks_apart_is_left_out(plan_folder):
    """Blocks with different cover crops have means of their own, so it adds nothing to these."""
    xy = random_places(24, 2)
    xy = xy[np.abs(xy[:, 0] - 150) > 30]  # no window of the raster reaches from a sample across the border
    folder = plan_folder(
        xy=xy,
        dry_kg_ha=stand(*xy.T),
        blocks={"west": box(0, 0, 150, 200), "east": box(150, 0, 300, 200)},
        edits=[COVARIATE],
        extra='\n[[block]]\nblock = "east"\ncover_crop = { species = "crimson clover", stage = "bud" }\n',
    )
    write_index(folder, lambda x, y: np.where(x < 150, 0.3, 0.6))
    warnings = run(read_plan(folder)).warnings
    assert any("has the same value at all samples of each cover crop: it is left out" in w for w in warnings)


def test_a_dense_sensor_layer_is_mapped_from_near_samples(plan_folder):
    rng = np.random.default_rng(6)
    xy = rng.uniform((1.0, 1.0), (299.0, 199.0), (4000, 2))
    dry = np.maximum(stand(*xy.T) + rng.normal(0, 500, len(xy)), 0.0)
    result = run(read_plan(plan_folder(xy=xy, dry_kg_ha=dry)))
    assert result.stand.biomass.method == "kriging from near samples"
    assert error(result) < 250.0  # half of one reading's noise


def test_a_dense_layer_is_mapped_with_the_model_of_every_map(plan_folder, monkeypatch):
    xy = np.random.default_rng(6).uniform((1.0, 1.0), (299.0, 199.0), (2200, 2))
    plan = read_plan(plan_folder(xy=xy, dry_kg_ha=np.maximum(stand(*xy.T), 0.0)))
    monkeypatch.setattr("fieldmap.stand.surfaces.MAP_MODEL", "gaussian")
    with pytest.raises(ValueError, match=r"covariance model is 'gaussian'; expected one of 'exponential'"):
        run(plan)
