"""Many invented fields: fields a second, memory of a worker, and the same files however they were made."""

from __future__ import annotations

import resource
import shutil
import time

import pytest
from support.invented_fields import write_fields

from fieldmap import read_plan, run
from fieldmap.batch.files import TOGETHER
from fieldmap.batch.plan_list import list_plans
from fieldmap.batch.run import local_workers, run_batch
from fieldmap.export.folder import write_folder

pytestmark = pytest.mark.benchmark

FIELDS, BROKEN = 500, 3
SINGLE_RUNS = 25  # fields run once more by themselves


@pytest.fixture(scope="module")
def region(tmp_path_factory):
    folder = tmp_path_factory.mktemp("region") / "plans"
    write_fields(folder, FIELDS, broken=BROKEN)
    yield folder
    shutil.rmtree(folder)


@pytest.fixture(autouse=True)
def _same_time(monkeypatch):
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1700000000")


def peak_mb():
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def batched(folder, output, *, workers, fields=None):
    """The batch, its seconds, those of a processor a field, and the largest worker's peak memory, MB."""
    plans = list_plans(str(folder))[:fields]
    with local_workers(workers) as client:
        start = time.perf_counter()
        found = run_batch(plans, output, client=client, data_only=True)
        seconds = time.perf_counter() - start
        processor_s = sum(client.run(time.process_time).values()) / len(
            plans
        )  # imports of the workers included
        megabytes = max(client.run(peak_mb).values())
    return found, seconds, processor_s, megabytes


def files(folder):
    return {path.relative_to(folder): path for path in sorted(folder.rglob("*")) if path.is_file()}


def assert_same(one, other):
    ours, theirs = files(one), files(other)
    assert ours.keys() == theirs.keys()
    different = [name for name in ours if ours[name].read_bytes() != theirs[name].read_bytes()]
    assert different == []


def test_five_hundred_fields(bench, region, tmp_path):
    found, seconds, processor_s, megabytes = batched(region, tmp_path / "two" / "out", workers=2)
    rate = FIELDS / seconds
    shown = f"{rate:.2f} fields/s, {processor_s:.2f} s of a processor a field, {megabytes:.0f} MB a worker"
    bench(
        "batch, 500 fields of 10 to 40 ha, 2 workers",
        seconds / FIELDS,
        measured=shown,
        limit="4 fields/s, 1,000 MB",
    )
    failed = {one.name: one.messages for one in found.without_files}
    assert len(failed) == BROKEN
    assert all(messages for messages in failed.values())
    assert found.summary.fields == FIELDS - BROKEN

    _, again_s, *_ = batched(region, tmp_path / "two" / "out", workers=2)
    bench("batch, 500 fields, all of them there", again_s, limit="20 s")

    _, alone_s, *_ = batched(region, tmp_path / "one" / "out", workers=1)
    bench("batch, 500 fields, 1 worker", alone_s / FIELDS, measured=f"{FIELDS / alone_s:.2f} fields/s")
    bench("batch: 2 workers over 1", measured=f"{alone_s / seconds:.2f} times as fast")
    assert_same(tmp_path / "one" / "out", tmp_path / "two" / "out")

    good = [one.name for one in found.outcomes if one.rows is not None]
    for name in good[:: len(good) // SINGLE_RUNS]:
        write_folder(run(read_plan(region / name)), tmp_path / "single" / name, data_only=True)
        assert_same(tmp_path / "single" / name, tmp_path / "two" / "out" / name)
    sizes = [
        path.stat().st_size
        for name, path in files(tmp_path / "two" / "out").items()
        if name.name not in TOGETHER
    ]
    tables = [(tmp_path / "two" / "out" / name).stat().st_size for name in TOGETHER]
    bench("  data files of a field", measured=f"{sum(sizes) / len(good) / 1e6:.2f} MB")
    bench("  tables and index page of a field", measured=f"{sum(tables) / len(good) / 1e3:.1f} kB")
    assert megabytes < 1000
    assert again_s < 20
    assert rate >= 4


@pytest.mark.parametrize("fields", [10, 100, 1000])
def test_growth_with_fields(fields, bench, tmp_path):
    write_fields(tmp_path / "plans", fields)
    _, seconds, _, megabytes = batched(tmp_path / "plans", tmp_path / "out", workers=2)
    shown = f"{seconds:.1f} s, {fields / seconds:.2f} fields/s, {megabytes:.0f} MB a worker"
    bench(f"  batch, {fields:,} fields, 2 workers", seconds / fields, measured=shown)
    assert megabytes < 1000
