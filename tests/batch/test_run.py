"""Many fields: each all or nothing, the same files however many workers there are and whatever stops them."""

import json
import os
import re
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import fsspec
import geopandas as gpd
import pytest
import shapely
from lxml import html as lxml_html
from shapely.geometry import box
from support.formats import change_writer, names_in
from support.small_fields import PLAN, boundary_geojson, random_places, samples_csv, trend

from fieldmap.batch.fields import FieldRows, summarise
from fieldmap.batch.files import TOGETHER, index_page, write_together
from fieldmap.batch.plan_list import PlanFolder, at_hand, list_plans
from fieldmap.batch.run import (
    _outcome,
    _sweep,
    local_workers,
    refuse_foreign,
    run_batch,
    run_field,
    workers_of,
)
from fieldmap.cli import main as cli
from fieldmap.errors import InputError, OutputExistsError
from fieldmap.export.reproducible import versions
from fieldmap.read.plan import _digest_of_large, file_digests, read_plan

DATA = names_in("run", data_only=True)


def write_plan(folder, number, *, farm="", product="urea", dry=None, name=None):
    """A small field; each number lies somewhere else and has samples of its own."""
    folder.mkdir(parents=True)
    told = f'name = "{name or f"Piece {number}"}"\nfarm = "{farm}"'
    text = PLAN.replace('name = "Test field"', told).replace('"urea"', f'"{product}"')
    (folder / "plan.toml").write_text(text)
    shift = {"shift_m": (1000.0 * number, 0.0)}
    (folder / "boundary.geojson").write_text(
        json.dumps(boundary_geojson({"whole": box(0, 0, 300, 200)}, **shift))
    )
    xy = random_places(20, number)
    (folder / "samples.csv").write_text(samples_csv(xy, trend(xy) if dry is None else dry(xy), **shift))
    return folder


def farm_of(folder, number):
    """So many small fields of two farms, and one more with a letter among its weights."""
    for k in range(1, number + 1):
        product = "urea" if k % 2 else "ammonium sulfate"
        write_plan(folder / f"piece-{k}", k, farm="North" if k % 3 else "South", product=product)
    broken = write_plan(folder / "spoilt", number + 1) / "samples.csv"
    lines = broken.read_text().splitlines()
    lines[4] = lines[4].rsplit(",", 1)[0] + ",heavy"
    broken.write_text("\n".join(lines))
    return folder


def contents(folder):
    """Every file under a folder, by its name there."""
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


@pytest.fixture(scope="module")
def farm_folder(tmp_path_factory):
    return farm_of(tmp_path_factory.mktemp("farm"), 8)


@pytest.fixture(scope="module")
def same_time():
    """Files carry this time, in the workers too, so that their bytes can be compared."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("SOURCE_DATE_EPOCH", "1700000000")
        yield


@pytest.fixture(scope="module")
def client(same_time):
    with local_workers(2) as client:
        yield client


@pytest.fixture(scope="module")
def batch(client, farm_folder, tmp_path_factory):
    output = tmp_path_factory.mktemp("batch") / "out"
    told = []
    found = run_batch(list_plans(str(farm_folder)), output, client=client, data_only=True, done=told.append)
    return found, output, told


def alone(plan_folder, output, **options):
    """One field without workers."""
    told = {"data_only": True, "client_versions": versions(), **options}
    return run_field(plan_folder.name, str(plan_folder), output=str(output), **told)


# the list


def test_a_folder_a_pattern_and_a_csv_name_the_same_plans(farm_folder, tmp_path):
    by_folder = list_plans(str(farm_folder))
    assert [plan.name for plan in by_folder] == [*(f"piece-{k}" for k in range(1, 9)), "spoilt"]
    assert list_plans(f"{farm_folder}/*") == by_folder
    assert list_plans(f"{farm_folder}/*/plan.toml") == by_folder
    rows = [plan.address for plan in reversed(by_folder)]
    listed = tmp_path / "fields.csv"
    listed.write_text("plan,note\n" + "".join(f"{row},x\n" for row in rows))
    assert list_plans(str(listed)) == by_folder
    shutil.copytree(farm_folder / "piece-1", tmp_path / "near")
    listed.write_text("plan\nnear\nnear/plan.toml\n\n")
    assert [plan.name for plan in list_plans(str(listed))] == ["near"]
    assert [plan.name for plan in list_plans(str(tmp_path / "near"))] == ["near"]


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (lambda here: here / "nowhere", "there is nothing of this name"),
        (lambda here: here / "*.none", "it names no plan folder; a CSV with a column plan"),
        (lambda here: here / "empty", "it names no plan folder"),
        (lambda here: here / "wrong.csv", "its columns are field, farm; a column plan is expected"),
        (lambda _: "nosuch://farm", "it cannot be opened"),
    ],
)
def test_a_list_of_nothing_is_refused(make, said, tmp_path):
    (tmp_path / "empty").mkdir()
    (tmp_path / "wrong.csv").write_text("field,farm\na,b\n")
    with pytest.raises(InputError, match=re.escape(said)):
        list_plans(str(make(tmp_path)))


def test_two_fields_of_one_name_are_refused(farm_folder, tmp_path):
    shutil.copytree(farm_folder / "piece-1", tmp_path / "a" / "Piece-1")
    (tmp_path / "two.csv").write_text(f"plan\n{farm_folder / 'piece-1'}\na/Piece-1\n")
    with pytest.raises(InputError, match="have the same name; plan folders of different names are expected"):
        list_plans(str(tmp_path / "two.csv"))


def test_plans_on_another_file_system_are_copied_as_far_as_they_are_named(farm_folder, tmp_path):
    memory = fsspec.filesystem("memory")
    memory.put(str(farm_folder / "piece-1"), "/farm/piece-1", recursive=True)
    memory.pipe("/farm/piece-1/large-and-not-named.bin", b"x")
    try:
        (plan,) = list_plans("memory://farm")
        assert plan == PlanFolder("piece-1", "memory:///farm/piece-1")
        with at_hand(plan.address) as folder:
            assert {path.name for path in folder.iterdir()} == {
                "plan.toml",
                "boundary.geojson",
                "samples.csv",
            }
        told = {"data_only": True, "client_versions": versions()}
        far = run_field(plan.name, plan.address, output=str(tmp_path / "far"), **told)
        near = alone(farm_folder / "piece-1", tmp_path / "near")
        assert far.state == near.state == "written"
        assert far.rows.figures == near.rows.figures
        memory.rm("/farm/piece-1/samples.csv")
        gone = run_field(plan.name, plan.address, output=str(tmp_path / "gone"), **told)
        assert gone.state == "refused"
        assert 'the file "samples.csv" is not in the plan folder' in gone.messages[0]
    finally:
        memory.rm("/farm", recursive=True)


# one field


def test_a_field_is_kept_until_its_plan_its_inputs_or_what_is_asked_for_change(farm_folder, tmp_path):
    plan_folder = shutil.copytree(farm_folder / "piece-1", tmp_path / "piece-1")
    output = tmp_path / "out"
    assert alone(plan_folder, output).state == "written"
    before = contents(output)
    stamps = {path: path.stat().st_mtime_ns for path in output.rglob("*")}
    assert alone(plan_folder, output).state == "kept"
    assert {path: path.stat().st_mtime_ns for path in output.rglob("*")} == stamps
    assert contents(output) == before

    (output / "piece-1" / "zones.csv").unlink()
    assert alone(plan_folder, output).state == "written"
    assert alone(plan_folder, output, data_only=False).state == "written"
    assert {path.name for path in (output / "piece-1").iterdir()} == names_in("run")
    assert alone(plan_folder, output, data_only=False).state == "kept"
    assert alone(plan_folder, output).state == "written"
    assert {path.name for path in (output / "piece-1").iterdir()} == DATA

    text = (plan_folder / "samples.csv").read_text()
    (plan_folder / "samples.csv").write_text(text + "\n")
    assert alone(plan_folder, output).state == "written"
    told = json.loads((output / "piece-1" / "result.json").read_text())
    told["versions"]["fieldmap"] = "0.0.1"
    (output / "piece-1" / "result.json").write_text(json.dumps(told))
    assert alone(plan_folder, output).state == "written"
    (output / "piece-1" / "result.json").write_text("{")
    assert alone(plan_folder, output).state == "written"


def test_a_field_that_fails_leaves_nothing_and_says_so_where_old_files_stand(
    farm_folder, tmp_path, monkeypatch
):
    plan_folder = shutil.copytree(farm_folder / "piece-1", tmp_path / "piece-1")
    output = tmp_path / "out"
    with monkeypatch.context() as patch:
        change_writer(patch, "surface.tif", lambda *_: 1 / 0)
        failed = alone(plan_folder, output)
    assert (failed.state, failed.rows) == ("failed", None)
    assert failed.messages == ("ZeroDivisionError: division by zero",)
    assert list(output.iterdir()) == []
    assert alone(plan_folder, output).state == "written"
    before = contents(output)
    plan = (plan_folder / "plan.toml").read_text()
    (plan_folder / "plan.toml").write_text(plan.replace("swath =", "swarth ="))
    refused = alone(plan_folder, output)
    assert refused.state == "refused"
    assert any('the nearest known key is "swath"' in message for message in refused.messages)
    assert refused.messages[-1] == (
        "piece-1: the files in this folder are not of this plan; do not spread by them."
    )
    assert contents(output) == before


def test_a_worker_of_another_version_computes_nothing(farm_folder, tmp_path):
    found = alone(farm_folder / "piece-1", tmp_path, client_versions={**versions(), "numpy": "1.0"})
    assert found.state == "failed"
    assert re.fullmatch(
        r"a worker has numpy [\d.]+ instead of 1\.0; install the same versions everywhere", *found.messages
    )
    assert list(tmp_path.iterdir()) == []


def test_a_mosaic_that_many_plans_link_to_is_read_once_for_its_digest(farm_folder, tmp_path, monkeypatch):
    mosaic = tmp_path / "mosaic.tif"
    mosaic.write_bytes(b"II*\0 not read here")
    monkeypatch.setattr("fieldmap.read.plan.REMEMBERED_BYTES", 10)
    _digest_of_large.cache_clear()
    digests = []
    for k in (1, 2):
        folder = shutil.copytree(farm_folder / f"piece-{k}", tmp_path / f"piece-{k}")
        (folder / "index.tif").symlink_to(mosaic)
        plan = (folder / "plan.toml").read_text()
        (folder / "plan.toml").write_text(
            plan.replace('file = "samples.csv"', 'file = "samples.csv"\ncovariate = "index.tif"')
        )
        digests.append(file_digests(read_plan(folder))["index.tif"])
    assert digests[0] == digests[1]
    assert _digest_of_large.cache_info().hits == 1
    mosaic.write_bytes(b"II*\0 changed and longer")
    assert file_digests(read_plan(folder))["index.tif"] != digests[0]
    _digest_of_large.cache_clear()


# many fields


def test_every_good_field_has_the_files_of_a_single_run(batch, farm_folder, tmp_path):
    found, output, told = batch
    assert [one.name for one in found.outcomes] == sorted(one.name for one in told)
    good = [one for one in found.outcomes if one.rows is not None]
    assert len(good) == 8
    for one in good:
        single = tmp_path / one.name
        assert cli.main(["run", str(farm_folder / one.name), "-o", str(single), "--data-only"]) == 0
        assert set(contents(single)) == DATA
        assert contents(single) == contents(output / one.name)


def test_the_broken_field_is_named_and_stops_nothing(batch):
    found, output, _ = batch
    (spoilt,) = found.without_files
    assert (spoilt.name, spoilt.state) == ("spoilt", "refused")
    assert "samples.csv" in spoilt.messages[0]
    assert not (output / "spoilt").exists()
    rows = (output / "problems.csv").read_text(encoding="utf-8").splitlines()
    assert rows[0] == "field,problem"
    assert rows[1].startswith("spoilt,")
    assert {entry.name for entry in output.iterdir()} == {*TOGETHER, *(f"piece-{k}" for k in range(1, 9))}


def test_tables_hold_what_the_fields_say(batch):
    _, output, _ = batch
    fields, zones = gpd.read_parquet(output / "fields.parquet"), gpd.read_parquet(output / "zones.parquet")
    assert fields.crs == zones.crs == "OGC:CRS84"
    assert list(fields["field"]) == [f"piece-{k}" for k in range(1, 9)]
    for row in fields.itertuples():
        result = json.loads((output / row.field / "result.json").read_text(encoding="utf-8"))
        assert row.name == result["name"]
        assert row.product_kg == result["totals"]["products"][0]["product_kg"]
        assert row.verdict == result["verdict"]["answer"]
        assert row.area_ha == pytest.approx(6.0, rel=1e-3)
        own = zones[zones["field"] == row.field]
        assert len(own) == len(result["zones"])
        assert own["product_kg"].sum() == pytest.approx(row.product_kg, abs=0.1)
        assert (own["product_kg_ha"] * own["area_ha"]).sum() == pytest.approx(row.product_kg, abs=0.5)
        assert row.rate_n_kg_ha * row.spread_ha == pytest.approx(row.n_kg, rel=1e-3)
        # The zones cover the field: no-spread areas there are none.
        assert shapely.union_all(own.geometry.to_numpy()).symmetric_difference(row.geometry).area < 1e-9
    assert {"_lb", "_ac"}.isdisjoint(column[-3:] for column in zones.columns)


def test_the_summary_adds_up_by_kind_and_farm(batch):
    _, output, _ = batch
    fields = gpd.read_parquet(output / "fields.parquet")
    told = json.loads((output / "summary.json").read_text(encoding="utf-8"))
    assert (told["fields"], told["failed"]) == (8, 1)
    orders = {(one["farm"], one["product"]): one["product_kg"] for one in told["product_to_order"]}
    by_hand = fields.groupby(["farm", "product"])["product_kg"].sum()
    assert orders.keys() == {*by_hand.index}
    assert orders == pytest.approx(by_hand.to_dict())
    worth = fields[fields["vary"]].sort_values("n_put_right_kg", ascending=False)
    assert [one["field"] for one in told["worth_it"]] == list(worth["field"])
    assert len(worth) > 0


def test_fields_that_show_no_pattern_need_more_samples(tmp_path):
    noise = write_plan(
        tmp_path / "noise", 1, dry=lambda xy: 4000.0 + 900.0 * ((37 * xy[:, 0] + 91 * xy[:, 1]) % 2 - 1)
    )
    found = alone(noise, tmp_path / "out")
    summary = summarise([found.rows], failed=0)
    assert found.rows.figures["surface"] == "field mean"
    assert [row["field"] for row in summary.more_samples] == ["noise"]
    assert "More samples" in summary.more_samples[0]["what_would_change_it"]
    assert summary.worth == ()


def test_number_of_workers_and_order_change_nothing(batch, farm_folder, tmp_path, same_time):
    _, output, _ = batch
    plans = list_plans(str(farm_folder))
    with local_workers(1) as client:
        run_batch(plans[::-1], tmp_path / "out", client=client, data_only=True)
    assert contents(tmp_path / "out") == contents(output)


def test_a_killed_worker_costs_no_field(batch, client, farm_folder, tmp_path):
    _, output, _ = batch
    killed = []

    def kill_one(_):
        if not killed:
            killed.append(next(iter(client.run(os.getpid).values())))
            os.kill(killed[0], signal.SIGKILL)

    again = tmp_path / "out"
    run_batch(list_plans(str(farm_folder)), again, client=client, data_only=True, done=kill_one)
    assert killed
    assert contents(again) == contents(output)
    client.wait_for_workers(2, timeout=60)


def test_a_stopped_batch_goes_on_where_it_was(batch, farm_folder, tmp_path, same_time):
    _, output, _ = batch
    again = tmp_path / "out"
    command = [sys.executable, "-m", "fieldmap.cli", "batch", farm_folder, "-o", again, "--workers", "2"]
    command += ["--data-only"]
    first = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    deadline = time.monotonic() + 60
    while len(list(again.glob("piece-*"))) < 2:
        assert time.monotonic() < deadline
        time.sleep(0.01)
    first.kill()
    first.wait()
    time.sleep(1.5)  # its workers end once they miss it
    finished = {path: path.stat().st_mtime_ns for path in again.glob("piece-*/*")}
    assert not set(TOGETHER) & {entry.name for entry in again.iterdir()}
    second = subprocess.run(command, capture_output=True, text=True, timeout=120)
    assert second.returncode == 2, second.stderr
    assert "of them from before" in second.stdout
    assert contents(again) == contents(output)
    assert {path: path.stat().st_mtime_ns for path in finished} == finished


def test_stopping_from_the_keyboard_says_what_is_kept(tmp_path):
    many = farm_of(tmp_path / "farm", 24)  # so many that a busy machine cannot be done before it is stopped
    command = [sys.executable, "-m", "fieldmap.cli", "batch", many, "-o", tmp_path / "out"]
    first = subprocess.Popen(
        [*command, "--workers", "2"], stderr=subprocess.PIPE, text=True, start_new_session=True
    )
    deadline = time.monotonic() + 60
    while not list((tmp_path / "out").glob("piece-*")):
        assert time.monotonic() < deadline
        time.sleep(0.01)
    os.killpg(first.pid, signal.SIGINT)  # as a terminal does: to every process
    _, said = first.communicate(timeout=60)
    assert first.returncode == 1
    assert "Stopped; fields that were written are kept: the same command goes on." in said
    assert "Traceback" not in said


@pytest.mark.slow
def test_a_field_that_kills_its_workers_is_reported(same_time):
    with local_workers(1) as client:
        deadly = client.submit(os._exit, 1, pure=False)
        while deadly.status == "pending":
            time.sleep(0.1)
        outcome = _outcome(deadly, "deadly")
    assert outcome.state == "failed"
    assert "the worker stopped each time this field was tried" in outcome.messages[0]


@pytest.mark.slow
def test_scheduler_and_workers_started_by_hand(batch, farm_folder, tmp_path, same_time):
    _, output, _ = batch
    dask = Path(sys.executable).with_name("dask")
    file = tmp_path / "scheduler.json"
    options = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    scheduler = subprocess.Popen(
        [dask, "scheduler", "--host", "127.0.0.1", "--port", "0", "--no-dashboard", "--scheduler-file", file],
        **options,
    )
    try:
        while not file.exists():
            time.sleep(0.1)
        address = json.loads(file.read_text())["address"]
        with (
            pytest.raises(InputError, match="it has no worker; at least one worker is expected"),
            workers_of(address),
        ):
            pass
        worker = subprocess.Popen(
            [dask, "worker", address, "--nworkers", "2", "--nthreads", "1", "--no-dashboard"], **options
        )
        try:
            time.sleep(8)
            command = ["batch", farm_folder, "-o", tmp_path / "out", "--scheduler", address, "--data-only"]
            assert cli.main([str(each) for each in command]) == 2
            assert contents(tmp_path / "out") == contents(output)
        finally:
            worker.terminate()
            worker.wait()
    finally:
        scheduler.terminate()
        scheduler.wait()


def test_nothing_at_the_schedulers_address(tmp_path):
    expected = "a running Dask scheduler such as tcp://host:8786 is expected"
    with pytest.raises(InputError, match=expected), workers_of("nonsense"):
        pass


# the output folder and the command


def test_a_folder_with_files_of_others_is_refused(farm_folder, tmp_path, capsys):
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "mine.txt").write_text("mine")
    command = ["batch", str(farm_folder), "-o", str(tmp_path / "out"), "--workers", "1"]
    assert cli.main(command) == 2
    assert (
        "it holds mine.txt, which fieldmap did not write; a new folder, or that of" in capsys.readouterr().err
    )
    assert (tmp_path / "out" / "mine.txt").read_text() == "mine"
    with pytest.raises(OutputExistsError, match="its name is that of a file which a batch writes"):
        refuse_foreign(tmp_path / "new", [PlanFolder("index.html", "farm/index.html")])


def test_a_fields_folder_with_files_of_others_is_left_alone(farm_folder, tmp_path):
    (tmp_path / "piece-1").mkdir()
    (tmp_path / "piece-1" / "mine.txt").write_text("mine")
    found = alone(farm_folder / "piece-1", tmp_path)
    assert found.state == "refused"
    assert "it holds files that fieldmap did not write" in found.messages[0]
    assert contents(tmp_path) == {"piece-1/mine.txt": b"mine"}


def test_only_what_was_left_half_written_is_swept(tmp_path):
    for name in (".piece-1-abcd_123", ".piece-2-abcdefgh", ".git", "piece-1", ".piece-1-keep"):
        (tmp_path / name).mkdir()
    _sweep(tmp_path, [PlanFolder("piece-1", "")])
    assert {entry.name for entry in tmp_path.iterdir()} == {
        ".piece-2-abcdefgh",
        ".git",
        "piece-1",
        ".piece-1-keep",
    }


def test_what_a_stopped_start_left_of_the_tables_is_swept(tmp_path):
    (tmp_path / ".together-abcd_123").mkdir()
    _sweep(tmp_path, [])
    assert list(tmp_path.iterdir()) == []


def test_an_outline_across_180_degrees_is_cut_in_the_table(batch, tmp_path):
    found, _, _ = batch
    rows = found.outcomes[0].rows
    across = FieldRows(rows.figures, rows.products, box(179.999, -17.0, 180.001, -16.999), rows.zones)
    write_together(tmp_path, [across], summarise([across], failed=0), [], linked=False)
    (outline,) = gpd.read_parquet(tmp_path / "fields.parquet").geometry
    assert outline.bounds == (-180.0, -17.0, 180.0, -16.999)
    assert outline.area == pytest.approx(2e-6)


@pytest.mark.parametrize("number", ["0", "-1", "1000000"])
def test_an_impossible_number_of_workers_is_refused(number, capsys):
    with pytest.raises(SystemExit) as stopped:
        cli.main(["batch", "farm", "-o", "out", "--workers", number])
    assert stopped.value.code == 2
    assert "1 to 512 workers are expected" in capsys.readouterr().err


def test_without_the_extra_the_command_says_what_to_install(tmp_path):
    script = (
        "import sys\nsys.modules['distributed'] = None\nfrom fieldmap.cli.main import main\n"
        "sys.exit(main(['batch', 'farm', '-o', 'out']))"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, cwd=tmp_path)
    assert done.returncode == 2
    assert "the library distributed is not installed; the batch extra is expected." in done.stderr


# the page


def test_the_index_page_needs_no_network_and_lists_what_to_do_first(batch):
    found, output, _ = batch
    page = (output / "index.html").read_text(encoding="utf-8")
    assert not re.search(r"""(src|href)=["']?(https?:)?//""", page)
    assert "https://" not in re.sub(r"<!--.*?-->", "", page, flags=re.DOTALL).replace("http://www.w3.org", "")
    tree = lxml_html.fromstring(page)
    words = " ".join(tree.text_content().split())
    assert "Vary the rate on" in words
    assert "spoilt" in words
    for order in found.summary.orders:
        assert order.farm in words
    fields = json.loads(tree.get_element_by_id("fields").text_content())
    assert len(fields["features"]) == 8
    assert all(feature["properties"]["page"] == "" for feature in fields["features"])


@pytest.mark.parametrize("name", ["</script><img src=x onerror=alert(1)>", "{{ 7 * 7 }} & <b>bold</b>"])
def test_a_hostile_name_stays_text_on_the_page(name, tmp_path):
    plan_folder = write_plan(tmp_path / "piece", 1, name=name.replace('"', ""), farm="<i>farm</i>")
    rows = alone(plan_folder, tmp_path / "out").rows
    page = index_page("out", [rows], summarise([rows], failed=1), [("<u>x</u>", "<s>y</s>")], linked=True)
    tree = lxml_html.fromstring(page)
    assert not tree.xpath("//img | //b | //i[not(@style)] | //u | //s")
    fields = json.loads(tree.get_element_by_id("fields").text_content())
    properties = fields["features"][0]["properties"]
    assert properties["name"] == name
    assert properties["page"] == "piece/map.html"


def test_rows_of_a_field_in_which_nothing_is_spread(tmp_path):
    rich = write_plan(tmp_path / "rich", 1)
    plan = (rich / "plan.toml").read_text()
    (rich / "plan.toml").write_text(plan.replace('need = "220 kg/ha"', 'need = "1 kg/ha"'))
    found = alone(rich, tmp_path / "out")
    assert found.state == "written", found.messages
    assert found.rows.figures["product_kg"] == 0
    assert summarise([found.rows], failed=0).fields == 1


TWO_APPLICATIONS = """
[[application]]
date = 2026-05-20
share = 0.6

[[application]]
date = 2026-06-25
share = 0.4
method = "side-dress"
product = "calcium nitrate"
"""


def test_every_application_of_a_field_counts_in_the_order_and_is_kept(tmp_path):
    plan_folder = write_plan(tmp_path / "piece", 3, farm="North")
    plan_folder.joinpath("plan.toml").write_text((plan_folder / "plan.toml").read_text() + TWO_APPLICATIONS)
    first = alone(plan_folder, tmp_path / "out")
    assert (first.state, first.messages) == ("written", ())
    assert alone(plan_folder, tmp_path / "out").state == "kept"
    result = json.loads((tmp_path / "out" / "piece" / "result.json").read_text(encoding="utf-8"))
    orders = {order.product: order.product_kg for order in summarise([first.rows], failed=0).orders}
    assert orders == {
        one["product"]: pytest.approx(one["totals"]["product_kg"]) for one in result["applications"]
    }
    assert len(orders) == 2
    assert set(first.rows.figures["product"].split("; ")) == set(orders)
    assert first.rows.figures["product_kg"] == pytest.approx(sum(orders.values()), abs=0.05)
    assert {row["application"] for row, _ in first.rows.zones} == {1, 2}
    assert sum(row["product_kg"] for row, _ in first.rows.zones) == pytest.approx(
        sum(orders.values()), abs=0.5
    )
    (tmp_path / "out" / "piece" / "application-2" / "zones.csv").unlink()
    assert alone(plan_folder, tmp_path / "out").state == "written"
