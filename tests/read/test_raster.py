"""Reading a covariate: averaging checked against plain arithmetic, hostile files refused, memory bounded."""

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import rasterio
from affine import Affine
from rasterio.windows import Window

from fieldmap.errors import InputError
from fieldmap.read import raster
from fieldmap.read.raster import read_covariate

CRS = "EPSG:26918"
WEST, NORTH = 400_000.0, 4_300_000.0


def grid(cell_m=10.0, shape=(6, 8)):
    return {"crs": CRS, "transform": Affine(cell_m, 0, WEST, 0, -cell_m, NORTH), "shape": shape}


def write(path, values, *, pixel_m=1.0, crs=CRS, transform=None, **options):
    values = np.atleast_3d(values.T).T if values.ndim == 2 else values
    transform = transform or Affine(pixel_m, 0, WEST, 0, -pixel_m, NORTH)
    bands, rows, columns = values.shape
    profile = {"count": bands, "height": rows, "width": columns, "dtype": values.dtype, "crs": crs, **options}
    with rasterio.open(path, "w", driver="GTiff", transform=transform, **profile) as sink:
        sink.write(values)
    return path


def ramp(rows=60, columns=80, dtype="float32"):
    return (np.arange(rows)[:, None] * 2.0 + np.arange(columns)[None, :] * 0.5).astype(dtype)


def block_mean(values, size):
    rows, columns = values.shape
    return values.reshape(rows // size, size, columns // size, size).mean(axis=(1, 3))


def test_finer_pixels_are_averaged(tmp_path):
    """Reference: the mean of each block of 10 by 10 pixels, by numpy."""
    values = ramp() + np.random.default_rng(1).normal(size=(60, 80)).astype("float32")
    found = read_covariate(write(tmp_path / "i.tif", values), **grid())
    assert found.dtype == np.float64
    np.testing.assert_allclose(found, block_mean(values.astype(float), 10), atol=1e-4)


def test_integers_are_averaged_without_rounding(tmp_path):
    values = np.random.default_rng(2).integers(0, 255, (60, 80)).astype("uint8")
    found = read_covariate(write(tmp_path / "i.tif", values), **grid())
    np.testing.assert_allclose(found, block_mean(values.astype(float), 10), atol=1e-4)


def test_coarser_pixels_are_interpolated(tmp_path):
    """A plane is reproduced by bilinear interpolation at every cell away from the edge."""
    rows, columns = np.mgrid[0:6, 0:8]
    path = write(tmp_path / "i.tif", 3.0 * columns - 2.0 * rows, pixel_m=30.0)
    found = read_covariate(path, **grid(cell_m=10.0, shape=(18, 24)))
    down, across = np.mgrid[0:18, 0:24]
    plane = 3.0 * ((across + 0.5) / 3 - 0.5) - 2.0 * ((down + 0.5) / 3 - 0.5)
    np.testing.assert_allclose(found[2:-2, 2:-2], plane[2:-2, 2:-2], atol=1e-6)


def test_nodata_nan_and_outside_become_nan(tmp_path):
    values = ramp()
    values[:10, :10] = -9999
    values[10, 10] = -9999
    found = read_covariate(write(tmp_path / "i.tif", values, nodata=-9999), **grid(shape=(7, 9)))
    assert np.isnan(found[0, 0])
    assert np.isfinite(found[1, 1])
    assert found[1, 1] == pytest.approx(np.delete(ramp()[10:20, 10:20].ravel(), 0).mean(), abs=1e-4)
    assert np.isnan(found[6]).all()
    assert np.isnan(found[:, 8]).all()


def test_undeclared_nan_only_takes_its_own_pixels(tmp_path):
    values = ramp()
    values[:5, :10] = np.nan
    values[30, 30] = np.inf
    found = read_covariate(write(tmp_path / "i.tif", values), **grid())
    assert found[0, 0] == pytest.approx(ramp()[5:10, :10].mean(), abs=1e-4)
    assert np.isnan(found[3, 3])
    assert np.isfinite(np.delete(found.ravel(), 3 * 8 + 3)).all()


def test_nodata_that_the_data_type_cannot_hold_marks_nothing(tmp_path):
    values = ramp(dtype="uint8")
    path = write(tmp_path / "i.tif", values)
    with rasterio.open(path, "r+") as sink:
        sink.nodata = -9999
    assert b"-9999" in path.read_bytes()
    found = read_covariate(path, **grid())
    np.testing.assert_allclose(found, block_mean(values.astype(float), 10), atol=1e-4)


def test_internal_mask_is_respected(tmp_path):
    mask = np.full((60, 80), 255, dtype="uint8")
    mask[:10, :10] = 0
    mask[10:20, :5] = 0
    with rasterio.Env(GDAL_TIFF_INTERNAL_MASK=True):
        path = write(tmp_path / "i.tif", ramp())
        with rasterio.open(path, "r+") as sink:
            sink.write_mask(mask)
    found = read_covariate(path, **grid())
    assert np.isnan(found[0, 0])
    assert found[1, 0] == pytest.approx(ramp()[10:20, 5:10].mean(), abs=1e-4)


def test_scale_and_offset_are_applied_and_only_the_first_band_is_read(tmp_path):
    values = np.stack([ramp(dtype="int16"), np.full((60, 80), 7, dtype="int16")])
    path = write(tmp_path / "i.tif", values)
    with rasterio.open(path, "r+") as sink:
        sink.scales, sink.offsets = (0.1, 1.0), (-1.0, 0.0)
    found = read_covariate(path, **grid())
    np.testing.assert_allclose(found, block_mean(values[0].astype(float), 10) * 0.1 - 1.0, atol=1e-5)


def test_turned_and_projected_otherwise(tmp_path):
    """A plane in UTM coordinates, sampled on a raster turned by 30° and on one in longitude and latitude."""
    from pyproj import Transformer

    def plane(x, y):
        return (x - WEST) / 10 + (NORTH - y) / 20

    turned = Affine.translation(WEST - 60, NORTH + 60) @ Affine.rotation(-30) @ Affine.scale(0.5, -0.5)
    to_degrees = Transformer.from_crs(CRS, 4326, always_xy=True)
    lon, lat = to_degrees.transform(WEST - 20, NORTH + 20)
    degrees = Affine(5e-6, 0, lon, 0, -5e-6, lat)
    column, row = np.meshgrid(np.arange(450) + 0.5, np.arange(450) + 0.5)
    as_turned = plane(*(turned @ (column, row))).astype("float32")
    as_degrees = plane(*to_degrees.transform(*(degrees @ (column, row)), direction="INVERSE")).astype(
        "float32"
    )
    down, across = np.mgrid[0:6, 0:8]
    expected = plane(WEST + across * 10 + 5, NORTH - down * 10 - 5)
    for name, values, crs, transform in (
        ("turned.tif", as_turned, CRS, turned),
        ("degrees.tif", as_degrees, "EPSG:4326", degrees),
    ):
        found = read_covariate(write(tmp_path / name, values, crs=crs, transform=transform), **grid())
        assert np.isfinite(found).sum() > 30
        np.testing.assert_allclose(found[np.isfinite(found)], expected[np.isfinite(found)], atol=0.05)


# ---------------------------------------------------------------------------------------------- refusals


def refusal(path, **options):
    with pytest.raises(InputError) as caught:
        read_covariate(path, **(options or grid()))
    return str(caught.value)


def test_without_crs_or_position(tmp_path):
    assert refusal(write(tmp_path / "i.tif", ramp(), crs=None)).startswith(
        "i.tif: there is no coordinate reference system; a georeferenced raster is expected. Export it again"
    )
    with pytest.warns(rasterio.errors.NotGeoreferencedWarning):
        path = write(tmp_path / "j.tif", ramp(), transform=Affine.identity())
    assert "there is no position" in refusal(path)


def test_beside_the_field(tmp_path):
    path = write(tmp_path / "i.tif", ramp(), transform=Affine(1, 0, WEST + 5000, 0, -1, NORTH))
    assert "i.tif: it does not reach the field; a raster over the field is expected. Choose" in refusal(path)
    path = write(tmp_path / "j.tif", ramp(), crs="EPSG:32760")
    assert "it does not reach the field" in refusal(path)


def test_without_data(tmp_path):
    path = write(tmp_path / "i.tif", np.full((60, 80), -9999, dtype="float32"), nodata=-9999)
    assert "there are no data on the field; values within the boundary are expected" in refusal(path)


@pytest.mark.parametrize(
    "content", [b"not a tif", b"II*\x00", b"II*\x00" + b"\xff" * 5000, b"II*\x00\x08\0\0\0" + b"\0" * 100]
)
def test_not_a_geotiff(tmp_path, content):
    path = tmp_path / "i.tif"
    path.write_bytes(content)
    assert refusal(path).startswith("i.tif: ")
    assert "GeoTIFF" in refusal(path)


def test_cut_short(tmp_path):
    path = write(tmp_path / "i.tif", np.random.default_rng(1).normal(size=(60, 80)), compress="deflate")
    path.write_bytes(path.read_bytes()[:-2000])
    assert "i.tif: the GeoTIFF cannot be read; a sound GeoTIFF is expected" in refusal(path)


def test_missing_file(tmp_path):
    assert refusal(tmp_path / "i.tif").startswith("i.tif: there is no such file")


def test_complex_values(tmp_path):
    assert "the values are complex numbers" in refusal(write(tmp_path / "i.tif", ramp(dtype="complex64")))


def pointer(target):
    return (
        f'<VRTDataset rasterXSize="80" rasterYSize="60"><SRS>{CRS}</SRS>'
        f"<GeoTransform>{WEST}, 1, 0, {NORTH}, 0, -1</GeoTransform>"
        f'<VRTRasterBand dataType="Float32" band="1"><SimpleSource><SourceFilename>{target}</SourceFilename>'
        "<SourceBand>1</SourceBand></SimpleSource></VRTRasterBand></VRTDataset>"
    )


def test_a_pointer_to_another_file_is_not_followed(tmp_path):
    secret = write(tmp_path / "secret.tif", np.full((60, 80), 42, dtype="float32"))
    path = tmp_path / "i.tif"
    path.write_text(pointer(secret))
    with rasterio.open(path) as source:
        assert (source.read(1) == 42).all()  # the probe is real: without a pinned driver it is followed
    assert "this is not a GeoTIFF" in refusal(path)


@pytest.mark.parametrize("side", ["i.tif.ovr", "i.tif.msk", "i.tif.aux.xml", "i.tfw", "i.tif.vrt"])
def test_side_files_are_not_opened(tmp_path, side):
    secret = write(tmp_path / "secret.tif", np.full((60, 80), 42, dtype="float32"))
    path = write(tmp_path / "i.tif", ramp())
    content = pointer(secret)
    if side.endswith(".aux.xml"):
        content = (
            '<PAMDataset><Metadata domain="OVERVIEWS"><MDI key="OVERVIEW_FILE">secret.tif</MDI></Metadata>'
            "<SRS>EPSG:32760</SRS></PAMDataset>"
        )
    (tmp_path / side).write_text(content)
    np.testing.assert_allclose(
        read_covariate(path, **grid()), block_mean(ramp().astype(float), 10), atol=1e-4
    )


def test_a_pointer_in_the_tags_is_refused(tmp_path):
    """A plain GeoTIFF, opened with its driver pinned, still makes GDAL read the file that this tag names."""
    secret = write(tmp_path / "secret.tif", np.full((30, 40), 42, dtype="float32"), pixel_m=2.0)
    path = write(tmp_path / "i.tif", ramp())
    with rasterio.open(path, "r+") as sink:
        sink.update_tags(ns="overviews", OVERVIEW_FILE=str(secret))
    with rasterio.open(path, driver="GTiff") as source:
        assert (source.read(1, out_shape=(30, 40)) == 42).all()  # the probe is real
    assert "i.tif: its tags point to another file; a single file is expected" in refusal(path)


@pytest.mark.parametrize("namespace", ["OVERVIEWS", "ProxyOverviewRequest", "GEOLOCATION"])
def test_other_pointers_in_the_tags_are_refused(tmp_path, namespace):
    path = write(tmp_path / "i.tif", ramp())
    with rasterio.open(path, "r+") as sink:
        sink.update_tags(ns=namespace, FILENAME="/vsicurl/http://127.0.0.1:9/x.tif")
    assert "i.tif: its tags point to another file" in refusal(path)


def test_blocks_that_would_fill_the_memory(tmp_path, monkeypatch):
    path = write(tmp_path / "i.tif", ramp(), blockysize=16)
    monkeypatch.setattr(raster, "MAX_BLOCK_BYTES", 1000)
    assert "it is stored in blocks of 16 by 80 pixels; tiles or strips that fit in memory" in refusal(path)


def test_pixels_far_too_fine(tmp_path, monkeypatch):
    monkeypatch.setattr(raster, "MAX_WINDOW_PIXELS", 1000)
    assert "it has 4.8e+03 pixels over the field" in refusal(write(tmp_path / "i.tif", ramp()))


@pytest.mark.slow
@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="peak memory is read from Linux's /proc")
def test_memory_for_a_raster_of_400_million_pixels(tmp_path):
    """20 000 × 20 000 pixels, all of them over the grid, read in far less memory than they take unpacked."""
    path = tmp_path / "big.tif"
    with rasterio.open(path, "w", driver="GTiff", count=1, height=20_000, width=20_000, dtype="uint8", crs=CRS,
                       transform=Affine(0.05, 0, WEST, 0, -0.05, NORTH), tiled=True, blockxsize=512,
                       blockysize=512, compress="deflate", nodata=0) as sink:  # fmt: skip
        for row in range(0, 20_000, 2000):
            sink.write(np.full((2000, 20_000), 1 + row // 2000, dtype="uint8"), 1,
                       window=Window(0, row, 20_000, 2000))  # fmt: skip
    script = (
        "import sys, pathlib, numpy as np\n"
        "from affine import Affine\n"
        "from fieldmap.read.raster import read_covariate\n"
        "def peak_mb():\n"
        "    status = pathlib.Path('/proc/self/status').read_text()\n"
        "    return int(status.split('VmHWM:')[1].split()[0]) / 1024\n"
        "before = peak_mb()\n"
        f"found = read_covariate(pathlib.Path(sys.argv[1]), crs='{CRS}', shape=(400, 400),\n"
        f"    transform=Affine(2.5, 0, {WEST}, 0, -2.5, {NORTH}))\n"
        "assert np.allclose(found, np.repeat(np.arange(1, 11), 40)[:, None]), found\n"
        "print(peak_mb() - before)\n"
    )
    done = subprocess.run([sys.executable, "-c", script, path], capture_output=True, text=True, check=True)
    assert 0 < float(done.stdout) < 300  # MB above the imports; the pixels themselves take 400
