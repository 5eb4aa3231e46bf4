"""Wall time and memory of the commands, measured from outside; medians of five after one warm-up."""

import resource
import statistics
import subprocess
import sys
import time
from pathlib import Path

import pytest

from fieldmap import read_plan, run
from fieldmap.export import write_folder

SAMPLE_GEO = Path(__file__).parents[2] / "sample_geo"
FIELDMAP = Path(sys.executable).with_name("fieldmap")

pytestmark = pytest.mark.benchmark


def seconds(*arguments):
    """Median wall time of a command, and the largest memory of any child so far, MB."""
    times = []
    for _ in range(6):
        start = time.perf_counter()
        subprocess.run([FIELDMAP, *map(str, arguments)], check=True, capture_output=True)
        times.append(time.perf_counter() - start)
    return statistics.median(times[1:]), resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024


def test_all_files(tmp_path):
    result = run(read_plan(SAMPLE_GEO / "kettle-bend"))
    write_folder(result, tmp_path / "first")  # imports and caches
    times = []
    for k in range(5):
        start = time.perf_counter()
        write_folder(result, tmp_path / f"out-{k}")
        times.append(time.perf_counter() - start)
    print(f"\nall files, 14 ha         {statistics.median(times):6.2f} s             limit 4 s")
    assert statistics.median(times) < 4.0


def test_help_and_run(tmp_path):
    help_s, _ = seconds("--help")
    run_s, run_mb = seconds("run", SAMPLE_GEO / "kettle-bend", "-o", tmp_path / "out", "--overwrite")
    print(f"\nfieldmap --help          {help_s:6.2f} s             limit 0.5 s")
    print(f"fieldmap run, 14 ha      {run_s:6.2f} s  {run_mb:6.0f} MB  limits 5 s, 500 MB")
    assert help_s < 0.5
    assert run_s < 5.0
    assert run_mb < 500
