"""The commands from outside, and a run from inside: where its time goes."""

from __future__ import annotations

import sys
import time
from pathlib import Path
from statistics import median

import pytest

from fieldmap import read_plan, run
from fieldmap.export.folder import write_folder
from fieldmap.export.registry import formats_in

SAMPLE_GEO = Path(__file__).parents[2] / "sample_geo"
KETTLE_BEND = SAMPLE_GEO / "kettle-bend"
FIELDMAP = Path(sys.executable).with_name("fieldmap")

pytestmark = pytest.mark.benchmark


def medians(times_of_runs):
    """The median of each column, by its name."""
    return {name: median(times[name] for times in times_of_runs) for name in times_of_runs[0]}


def test_help_and_import(bench, child):
    child([FIELDMAP, "--help"])
    help_s = median(child([FIELDMAP, "--help"])[0] for _ in range(7))
    import_s = median(child([sys.executable, "-c", "import fieldmap.pipeline"])[0] for _ in range(5))
    export_s = median(child([sys.executable, "-c", "import fieldmap.export"])[0] for _ in range(5))
    bench("fieldmap --help", help_s, limit="0.5 s")
    bench("import of the pipeline", import_s)
    bench("import of pipeline and data files", export_s)
    assert help_s < 0.5


def test_whole_command(bench, child, tmp_path):
    for name, options, limit_s in (("all files", (), 5.0), ("--data-only", ("--data-only",), 4.0)):
        command = [FIELDMAP, "run", KETTLE_BEND, "-o", tmp_path / "out", "--overwrite", *options]
        found = [child(command) for _ in range(5)][1:]
        seconds, megabytes = median(s for s, _ in found), max(mb for _, mb in found)
        shown = f"{seconds:.2f} s, {megabytes:.0f} MB"
        bench(f"fieldmap run, 14 ha, {name}", seconds, measured=shown, limit=f"{limit_s:g} s, 500 MB")
        assert seconds < limit_s
        assert megabytes < 500


def test_stages_of_a_run(bench):
    plan = read_plan(KETTLE_BEND)

    def stages():
        marks = [("reading the plan", time.perf_counter())]
        run(read_plan(KETTLE_BEND), progress=lambda step: marks.append((step, time.perf_counter())))
        ends = [at for _, at in marks[1:]] + [time.perf_counter()]
        return {step: end - start for (step, start), end in zip(marks, ends, strict=True)}

    run(plan)
    times = medians([stages() for _ in range(5)])
    for step, seconds in times.items():
        bench(f"  stage, 14 ha: {step}", seconds, measured=f"{1000 * seconds:.0f} ms")
    bench("a run, 14 ha, without its files", sum(times.values()), limit="2 s")
    assert sum(times.values()) < 2.0


def test_each_file(bench, tmp_path):
    result = run(read_plan(KETTLE_BEND))

    def files():
        times = {}
        for one in formats_in("run"):
            (tmp_path / one.name).unlink(missing_ok=True)
            start = time.perf_counter()
            one.write(result, tmp_path / one.name)
            times[one.name] = time.perf_counter() - start
        return times

    files()
    times = medians([files() for _ in range(5)])
    for name, seconds in times.items():
        bench(f"  file, 14 ha: {name}", seconds, measured=f"{1000 * seconds:.0f} ms")
    data_s = sum(times[one.name] for one in formats_in("run", data_only=True))
    bench("data files, 14 ha", data_s, limit="0.5 s")
    start = time.perf_counter()
    write_folder(result, tmp_path / "out")
    all_s = time.perf_counter() - start
    bench("all files, 14 ha", all_s, limit="4 s")
    assert data_s < 0.5
    assert all_s < 4.0
