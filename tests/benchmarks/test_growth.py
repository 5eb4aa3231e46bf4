"""How time and memory grow: with cells, samples, zones; and the largest inputs there are."""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path
from statistics import median

import numpy as np
import pytest
import rasterio
from affine import Affine
from support.invented_fields import EPSG, SOUTH_M, WEST_M, write_field

from fieldmap import read_plan
from fieldmap.geostatistics.surface import fit_surface, predict
from fieldmap.pipeline.budget import courses_of, reckon
from fieldmap.pipeline.survey import survey
from fieldmap.spreader.passes import passes_over
from fieldmap.zones.draw import draw_zones, zone_loss

pytestmark = pytest.mark.benchmark

FIELDMAP = Path(sys.executable).with_name("fieldmap")
SURFACE = """
import sys
sys.path.insert(0, {folder!r})
from pathlib import Path
from benchmarks.test_growth import places, samples_at
from fieldmap.geostatistics import fit_surface, predict

def status_mb(name):
    return int(Path("/proc/self/status").read_text().split(name)[1].split()[0]) / 1024

fit, targets = fit_surface(*samples_at({n})), places({cells})
predict(fit, targets[:5000])
Path("/proc/self/clear_refs").write_text("5")  # forget the peak so far
before = status_mb("VmRSS:")
predict(fit, targets)
print(status_mb("VmHWM:") - before)
"""


def samples_at(n):
    """Invented samples over 600 × 400 m, with patches of about 60 m."""
    rng = np.random.default_rng(n)
    coords = rng.uniform([0, 0], [600, 400], (n, 2))
    wave = np.sin(coords[:, 0] / 45) + np.cos(coords[:, 1] / 35)
    return coords, 4000 + 900 * wave + 400 * rng.normal(size=n)


def places(cells):
    columns = round((cells * 1.5) ** 0.5)
    east, north = np.meshgrid(np.linspace(0, 600, columns), np.linspace(0, 400, round(cells / columns)))
    return np.column_stack([east.ravel(), north.ravel()])


def surface_s(n, cells, repeats=3):
    """Median seconds of a processor for a fit and for the map: others at work blur a power less than a clock does."""
    coords, values = samples_at(n)
    targets = places(cells)
    times = []
    for _ in range(repeats):
        start = time.process_time()
        fit = fit_surface(coords, values)
        middle = time.process_time()
        predict(fit, targets)
        times.append((middle - start, time.process_time() - middle))
    return median(fit_s for fit_s, _ in times), median(map_s for _, map_s in times)


def exponent(sizes, seconds):
    """Slope of time against size, both in logarithms: 1 is linear, 2 square."""
    return float(np.polyfit(np.log(sizes), np.log(seconds), 1)[0])


def peak_mb(n, cells):
    code = SURFACE.format(folder=str(Path(__file__).parents[1]), n=n, cells=cells)
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    return float(done.stdout)


def test_surface_grows_linearly_with_cells(bench):
    sizes = (10**4, 10**5, 10**6, 4 * 10**6)
    surface_s(30, 10**4)
    seconds = [surface_s(30, cells)[1] for cells in sizes]
    for cells, taken_s in zip(sizes, seconds, strict=True):
        extra = f", {peak_mb(30, cells):.0f} MB more" if sys.platform == "linux" else ""
        shown = f"{taken_s:.3f} s{extra}"
        bench(f"  surface, n = 30, {cells:,} cells", taken_s, measured=shown)
    slope = exponent(sizes[1:], seconds[1:])
    bench("surface: power of the number of cells", measured=f"{slope:.2f}", limit="1.15")
    assert slope < 1.15


def test_surface_grows_no_worse_than_the_square_of_samples(bench):
    sizes, cells = (10, 30, 100, 300, 1000), 50_000
    surface_s(10, cells)
    seconds = [surface_s(n, cells, repeats=1 if n > 300 else 3) for n in sizes]
    for n, (fit_s, map_s) in zip(sizes, seconds, strict=True):
        shown = f"{fit_s:.3f} s fit, {map_s:.3f} s map"
        bench(f"  surface, {cells:,} cells, n = {n}", fit_s + map_s, measured=shown)
    slope = exponent(sizes[2:], [sum(each) for each in seconds[2:]])
    bench("surface: power of the number of samples, 100 to 1,000", measured=f"{slope:.2f}", limit="2.1")
    assert slope < 2.1


def test_zones_grow_little_with_their_number(bench, tmp_path):
    write_field(tmp_path / "field", 3, area_ha=60.0, samples=40, cell_m=1.5, zones_max=12, extras=False)
    plan = read_plan(tmp_path / "field")
    stand = survey(plan)
    budget = reckon(plan, stand, courses_of(plan, stand))
    loss = zone_loss(budget.credit, budget.needs, stand.field, plan.spreader, budget.money)
    passes = passes_over(stand.field, plan.spreader)
    cells = int(stand.field.inside.sum())
    times = []
    for number in (1, 2, 4, 8, 12):
        start = time.process_time()
        draw_zones(loss, stand.field, plan.spreader, passes, number=number)
        times.append(time.process_time() - start)
        bench(f"  zones, {cells:,} cells, at most {number}", times[-1])
    bench("zones: 12 over 1", measured=f"{times[-1] / times[0]:.1f} times", limit="6 times")
    assert times[-1] < 6 * times[0]


def test_a_large_field_at_one_metre(bench, child, tmp_path):
    write_field(tmp_path / "field", 1, area_ha=200.0, samples=40, cell_m=1.0)
    for name, options in (("--data-only", ["--data-only"]), ("all files", [])):
        command = [FIELDMAP, "run", tmp_path / "field", "-o", tmp_path / name, *options]
        seconds, megabytes = child(command)
        shown = f"{seconds:.1f} s, {megabytes:.0f} MB"
        bench(f"200 ha, 2,000,000 cells, {name}", seconds, measured=shown, limit="1,500 MB")
        assert megabytes < 1500


def test_a_mosaic_of_gigabytes(bench, child, tmp_path):
    """3 GB, uncompressed, in tiles of 512; it is read around the field only, but its digest reads all of it."""
    pixels = 28_160
    write_field(tmp_path / "field", 1)
    profile = {
        "driver": "GTiff",
        "height": pixels,
        "width": pixels,
        "count": 1,
        "dtype": "float32",
        "crs": rasterio.CRS.from_epsg(EPSG),
        "transform": Affine(1, 0, WEST_M - 10_000, 0, -1, SOUTH_M + 10_000),
        "tiled": True,
        "blockxsize": 512,
        "blockysize": 512,
        "bigtiff": "yes",
    }
    rng = np.random.default_rng(1)
    with rasterio.open(tmp_path / "mosaic.tif", "w", **profile) as tif:
        for row in range(0, pixels, 512):
            strip = rng.random((512, pixels), dtype=np.float32)
            tif.write(strip, 1, window=((row, row + 512), (0, pixels)))
    size_gb = (tmp_path / "mosaic.tif").stat().st_size / 1e9
    (tmp_path / "field" / "index.tif").unlink()
    (tmp_path / "field" / "index.tif").symlink_to(tmp_path / "mosaic.tif")
    command = [FIELDMAP, "run", tmp_path / "field", "-o", tmp_path / "out", "--data-only"]
    seconds, megabytes = child(command)
    shown = f"{seconds:.1f} s, {megabytes:.0f} MB"
    bench(f"covariate mosaic of {size_gb:.1f} GB", seconds, measured=shown, limit="1,000 MB")
    assert size_gb > 3
    assert megabytes < 1000
