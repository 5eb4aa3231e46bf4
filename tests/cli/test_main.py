"""The commands: exit codes, words, nothing half-written, no traceback."""

import json
import re
import subprocess
import sys
import tomllib
from importlib import import_module
from pathlib import Path

import pytest
from shapely.geometry import box, mapping
from support.small_fields import boundary_geojson, lonlat, random_places, samples_csv, trend

from fieldmap.cli import main as cli
from fieldmap.demo import sample_farm

ROOT = Path(__file__).parents[2]


def command(*arguments):
    """Run a command in a process of its own."""
    return subprocess.run(
        [sys.executable, "-m", "fieldmap.cli", *map(str, arguments)],
        capture_output=True,
        text=True,
        timeout=120,
    )


@pytest.mark.parametrize("asked", ["run", "check", "season", "tables"])
def test_a_plain_install_needs_no_extra(plan_folder, tmp_path, asked):
    extras = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]["optional-dependencies"]
    names = {re.match(r"[\w-]+", one)[0] for extra in ("app", "batch", "notebook") for one in extras[extra]}
    absent = {name.replace("-", "_") for name in names - {"platformdirs"}}  # pint brings that one
    plan = plan_folder()
    arguments = {
        "run": ["run", plan, "-o", tmp_path / "out"],
        "check": ["check", plan],
        "season": ["season", sample_farm()[0]],
        "tables": ["tables", "files"],
    }[asked]
    program = (
        f"import sys; sys.modules.update(dict.fromkeys({sorted(absent)!r}))\n"
        f"from fieldmap.cli.main import main; sys.exit(main({[str(one) for one in arguments]!r}))"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, timeout=120)
    assert done.returncode == 0, done.stderr


def test_run_writes_and_shows(plan_folder, tmp_path):
    done = command("run", plan_folder(), "-o", tmp_path / "out")
    assert done.returncode == 0, done.stderr
    for word in (
        "Order",
        "Where",
        "Against one rate",
        "How sure",
        "What to do",
        "By 2026-05-24",
        "Credit",
        "90 % interval",
    ):
        assert word in done.stdout
    assert (tmp_path / "out" / "zones.geojson").exists()


def test_run_says_its_result_as_json(plan_folder, tmp_path, capsys):
    assert cli.main(["run", str(plan_folder()), "-o", str(tmp_path / "out"), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told == json.loads((tmp_path / "out" / "result.json").read_text(encoding="utf-8"))


def test_the_plan_file_itself_will_do(plan_folder, tmp_path):
    assert cli.main(["run", str(plan_folder() / "plan.toml"), "-o", str(tmp_path / "out")]) == 0


def test_us_units_change_every_number_shown(plan_folder, tmp_path, capsys):
    folder = plan_folder(edits=[('units = "metric"', 'units = "us"')])
    assert cli.main(["run", str(folder), "-o", str(tmp_path / "out")]) == 0
    shown = capsys.readouterr().out
    assert "lb/ac" in shown
    assert "kg/ha" not in shown
    assert not re.search(r"\bha\b", shown)


def test_an_existing_output_is_refused_before_anything_is_computed(plan_folder, tmp_path, capsys):
    folder = plan_folder()
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "mine.txt").write_text("mine")
    assert cli.main(["run", str(folder), "-o", str(tmp_path / "out"), "--overwrite"]) == 2
    assert "it holds files that fieldmap did not write" in capsys.readouterr().err
    assert (tmp_path / "out" / "mine.txt").read_text() == "mine"


def test_check_writes_nothing_and_says_all_is_well(plan_folder, capsys):
    folder = plan_folder()
    before = sorted(folder.iterdir())
    assert cli.main(["check", str(folder)]) == 0
    assert "the plan and its files are in order" in capsys.readouterr().out
    assert sorted(folder.iterdir()) == before


def test_check_and_run_say_everything_at_once_in_the_same_words(plan_folder, tmp_path, capsys):
    folder = plan_folder(edits=[('swath = "15 m"', "swath = 15"), ('"urea"', '"uria"')])
    lines = (folder / "samples.csv").read_text().splitlines()
    lines[1] = lines[1].rsplit(",", 1)[0] + ",-5"
    lines[3] = lines[3].rsplit(",", 1)[0] + ",heavy"
    (folder / "samples.csv").write_text("\n".join(lines) + "\n")
    assert cli.main(["check", str(folder)]) == 2
    told = capsys.readouterr().err
    for part in ("[spreader] swath", "[spreader] product", "row 2", "row 4"):
        assert part in told
    assert cli.main(["run", str(folder), "-o", str(tmp_path / "out")]) == 2
    assert capsys.readouterr().err.splitlines()[-told.count("\n") :] == told.splitlines()


def test_season_prints_the_weeks_of_every_block(capsys):
    assert cli.main(["season", str(sample_farm()[0])]) == 0
    shown = capsys.readouterr().out
    for word in ("west: broccoli", "middle: sweet corn", "east: pepper", "Released", "Short", "Spare"):
        assert word in shown


def test_season_without_weather_says_so(plan_folder, capsys):
    assert cli.main(["season", str(plan_folder())]) == 0
    assert "Timing was not" in capsys.readouterr().out


@pytest.mark.parametrize("name", ["cover_crops", "crops", "growth", "products", "season", "sources"])
def test_tables_are_printed(name, capsys):
    assert cli.main(["tables", name]) == 0
    assert "from memory" in " ".join(capsys.readouterr().out.split())


def test_every_key_and_column_can_be_looked_up(capsys):
    assert cli.main(["tables", "keys"]) == 0
    shown = capsys.readouterr().out
    for word in ("[crop] need", "[spreader] swath", '"60 ft"', "need_per", "required"):
        assert word in shown
    assert cli.main(["tables", "columns"]) == 0
    assert "subsample_dry_g" in capsys.readouterr().out


def test_an_error_of_ours_gives_exit_1_and_no_traceback(plan_folder, tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(import_module("fieldmap.pipeline.survey"), "place_samples", lambda *_: 1 / 0)
    assert cli.main(["run", str(plan_folder()), "-o", str(tmp_path / "out")]) == 1
    told = capsys.readouterr()
    assert "fieldmap could not finish (ZeroDivisionError" in told.err
    assert "Traceback" not in told.err + told.out
    assert not (tmp_path / "out").exists()


def test_help_names_the_commands():
    shown = command("--help")
    assert shown.returncode == 0
    for name in ("run", "check", "demo", "tables"):
        assert name in shown.stdout


# Twenty kinds of bad input: each gives exit 2, one clear line, no traceback, no output folder.


def _samples(text):
    return {"files": {"samples.csv": text}}


XY = random_places(12, 9)
GOOD = samples_csv(XY, trend(XY))
HEADER, *ROWS = GOOD.splitlines()


def _rows(*rows, header=HEADER):
    return _samples("\n".join((header, *rows)) + "\n")


def _boundary(content):
    return {"files": {"boundary.geojson": content if isinstance(content, str) else json.dumps(content)}}


def _feature(geometry):
    return {
        "type": "FeatureCollection",
        "features": [{"type": "Feature", "properties": {}, "geometry": geometry}],
    }


BOWTIE = {
    "type": "Polygon",
    "coordinates": [[[8.0, 49.0], [8.01, 49.01], [8.01, 49.0], [8.0, 49.01], [8.0, 49.0]]],
}
BAD = {
    "a number without a unit": ({"edits": [('swath = "15 m"', "swath = 15")]}, "swath: found 15"),
    "a unit that does not do": (
        {"edits": [('swath = "15 m"', 'swath = "15 kg"')]},
        'the unit "kg" does not do',
    ),
    "an unknown key": ({"edits": [("zones_max = 4", "zones_max = 4\nzone_mx = 3")]}, "this key is not known"),
    "a missing need": ({"edits": [('need = "220 kg/ha"\n', "")]}, "need: this key is missing"),
    "an unknown species": ({"edits": [("hairy vetch", "hairy fetch")]}, 'the nearest known is "hairy vetch"'),
    "broken TOML": ({"edits": [('name = "Test field"', 'name = "Test field')]}, "this is not valid TOML"),
    "a file that is not there": (
        {"edits": [("samples.csv", "clippings.csv")]},
        '"clippings.csv" is not in the plan',
    ),
    "no rate on the step": (
        {"edits": [('rate_min = "20 kg/ha"', 'rate_min = "21 kg/ha"'), ('"600 kg/ha"', '"29 kg/ha"')]},
        "no multiple of the rate step",
    ),
    "a boundary that is not JSON": (_boundary("{nope"), "boundary.geojson"),
    "a boundary of points": (
        _boundary(_feature({"type": "Point", "coordinates": [8, 49]})),
        "boundary.geojson",
    ),
    "a boundary that crosses itself": (_boundary(_feature(BOWTIE)), "boundary.geojson"),
    "a boundary beyond the poles": (
        _boundary(_feature(mapping(box(49.0, 98.0, 49.01, 98.01)))),
        "boundary.geojson",
    ),
    "blocks that overlap": (
        _boundary(boundary_geojson({"a": box(0, 0, 200, 200), "b": box(100, 0, 300, 200)})),
        "overlap",
    ),
    "samples without a position": (_rows(*ROWS, header="lon_x,lat_y,dry_kg_ha"), "longitude"),
    "samples without a weight": (_rows(*ROWS, header="longitude,latitude,heavy"), "dry_kg_ha"),
    "a weight that is no number": (_rows(*ROWS[:-1], ROWS[-1].rsplit(",", 1)[0] + ",4l20"), "row 13"),
    "a negative weight": (_rows(*ROWS[:-1], ROWS[-1].rsplit(",", 1)[0] + ",-420"), "row 13"),
    "an impossible weight": (_rows(*ROWS[:-1], ROWS[-1].rsplit(",", 1)[0] + ",420000"), "row 13"),
    "swapped coordinates": (
        _rows(*ROWS, header="latitude,longitude,dry_kg_ha"),
        "longitude and latitude are swapped here or in the boundary",
    ),
    "a sample far outside": (
        _rows(*ROWS, samples_csv([[900.0, 50.0]], [4000.0]).splitlines()[1]),
        "row 14: the sample lies 600 m outside the boundary",
    ),
    "two samples at one place": (_rows(*ROWS, ROWS[0]), "rows 2 and 14: two samples stand within 0.5 m"),
    "too few samples": (_rows(*ROWS[:2]), "it holds 2 samples"),
    "an empty table": (_samples(HEADER + "\n"), "samples.csv"),
    "a no-spread layer without sense": (
        {
            "edits": [
                ('boundary = "boundary.geojson"', 'boundary = "boundary.geojson"\nno_spread = "no.geojson"')
            ],
            "files": {
                "no.geojson": json.dumps(
                    {
                        "type": "FeatureCollection",
                        "features": [
                            {
                                "type": "Feature",
                                "properties": {"setback_m": -4},
                                "geometry": mapping(lonlat(box(0, 0, 9, 9))),
                            }
                        ],
                    }
                )
            },
        },
        "setback_m",
    ),
}


@pytest.mark.parametrize("kind", BAD)
def test_bad_input_gives_exit_2_one_clear_line_and_nothing_written(kind, plan_folder, tmp_path, capsys):
    setup, words = BAD[kind]
    folder = plan_folder(**setup)
    assert cli.main(["run", str(folder), "-o", str(tmp_path / "out")]) == 2
    told = capsys.readouterr()
    assert words in told.err
    assert "Traceback" not in told.err
    lines = [line for line in told.err.splitlines() if line.strip()]
    assert len(lines) == 1, lines
    assert "; " in lines[0]
    assert lines[0].endswith(".")
    assert not (tmp_path / "out").exists()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["plan"]


def test_a_package_without_the_sample_farm_says_so(monkeypatch, tmp_path, capsys):
    monkeypatch.setattr("fieldmap.demo.__file__", str(tmp_path / "fieldmap" / "sample_farm.py"))
    assert cli.main(["demo", "-o", str(tmp_path / "out")]) == 2
    assert (
        "sample_geo: the invented farm is not installed; it comes with a checkout" in capsys.readouterr().err
    )


def test_the_sample_farm_is_found():
    assert [folder.name for folder in sample_farm()] == ["kettle-bend", "lower-plot"]
    assert all(Path(folder, "plan.toml").exists() for folder in sample_farm())
