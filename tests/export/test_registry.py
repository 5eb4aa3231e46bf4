"""One entry a format: what is added to the table is written, offered, described and replaced; unknown names raise."""

import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from support.formats import add_format, names_in

from fieldmap import read_plan
from fieldmap.cli import main as cli
from fieldmap.demo import sample_farm
from fieldmap.errors import InputError, OutputExistsError
from fieldmap.export.contents import AnotherFileError
from fieldmap.export.describe import describe
from fieldmap.export.folder import write_folder
from fieldmap.export.registry import FORMATS, Format, file_names, files_of, write_file

TWO = """
[[application]]
date = 2026-05-20
share = 0.5

[[application]]
date = 2026-06-24
share = 0.5
method = "through drip"
"""


def write_text(result, one, path):
    path.write_text(f"{len(result.spread.zone_map.zones)} zones of {result.plan.name}", encoding="utf-8")


def read_text(path):
    text = path.read_text(encoding="utf-8")
    if " zones of " not in text:
        raise AnotherFileError(path.name)
    return f"a text that says {text}."


NEW = Format(
    "zones.txt",
    write_text,
    "text/plain",
    "office",
    "Zones as text. Any editor opens it.",
    read_text,
    folders=("run", "spread", "drip"),
)


@pytest.fixture
def two_applications(plan_folder):
    return read_plan(plan_folder(extra=TWO))


def test_a_format_is_one_entry(monkeypatch, tmp_path, lower_plot_result, two_applications, capsys):
    add_format(monkeypatch, NEW)
    assert "zones.txt" in files_of(lower_plot_result)
    assert "zones.txt" in files_of(lower_plot_result, data_only=True)
    assert [name for name in file_names(two_applications) if "zones.txt" in name] == [
        "application-1/zones.txt",
        "application-2/zones.txt",
    ]
    folder = tmp_path / "out"
    write_folder(lower_plot_result, folder)
    zones = len(lower_plot_result.spread.zone_map.zones)
    said = f"a text that says {zones} zones of {lower_plot_result.plan.name}."
    assert describe(folder / "zones.txt") == f"zones.txt: {said}"
    write_folder(lower_plot_result, folder, overwrite=True)  # it is ours to replace
    capsys.readouterr()
    assert cli.main(["tables", "files"]) == 0
    shown = " ".join(capsys.readouterr().out.split())
    assert "zones.txt office Zones as text. Any editor opens it." in shown


def test_a_page_is_left_out_of_what_is_for_machines(monkeypatch, lower_plot_result):
    add_format(monkeypatch, replace(NEW, page=True))
    assert "zones.txt" in files_of(lower_plot_result)
    assert "zones.txt" not in files_of(lower_plot_result, data_only=True)


def test_what_is_of_one_folder_only_stands_in_no_other(monkeypatch, two_applications):
    add_format(monkeypatch, replace(NEW, folders=("drip",)))
    assert [name for name in file_names(two_applications) if "zones.txt" in name] == [
        "application-2/zones.txt"
    ]


@pytest.mark.parametrize("name", ["zones.txt", "mine.txt"])
def test_of_several_with_one_ending_the_one_is_found_that_knows_the_file(monkeypatch, tmp_path, name):
    def other(path):
        raise AnotherFileError(path.name)

    add_format(monkeypatch, replace(NEW, name="other.txt", describe=other))
    add_format(monkeypatch, NEW)
    (tmp_path / name).write_text("3 zones of Oak ground", encoding="utf-8")
    assert describe(tmp_path / name) == f"{name}: a text that says 3 zones of Oak ground."
    (tmp_path / name).write_text("a letter", encoding="utf-8")
    with pytest.raises(InputError, match=f"{name}: it does not hold what fieldmap writes"):
        describe(tmp_path / name)


@pytest.mark.parametrize("name", sorted(names_in("run")))
def test_a_file_that_was_renamed_is_still_known(name, tmp_path, lower_plot_result):
    write_file(lower_plot_result, name, tmp_path / name)
    renamed = tmp_path / f"mine{Path(name).suffix}"
    (tmp_path / name).rename(renamed)
    assert describe(renamed).startswith(f"{renamed.name}: ")


def test_an_ending_that_no_format_has_is_refused(tmp_path):
    (tmp_path / "zones.txt").write_text("3 zones of Oak ground", encoding="utf-8")
    with pytest.raises(InputError, match=re.escape("its ending .txt is none of ours")):
        describe(tmp_path / "zones.txt")


def test_a_file_that_a_run_does_not_have_is_refused(tmp_path, lower_plot_result):
    with pytest.raises(
        ValueError, match=r"'zones\.txt' is no file of this run; expected one of 'taskdata_grid"
    ):
        write_file(lower_plot_result, "zones.txt", tmp_path / "zones.txt")
    with pytest.raises(ValueError, match=r"'drip\.csv' is no file of this run"):
        write_file(lower_plot_result, "drip.csv", tmp_path / "drip.csv")
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"reader": "dog"}, "reader of zones.txt is 'dog'; expected one of 'spreader', 'office', 'grower'"),
        (
            {"folders": ("run", "attic")},
            "folder of zones.txt is 'attic'; expected one of 'run', 'spread', 'drip'",
        ),
    ],
)
def test_an_entry_with_an_unknown_reader_or_folder_is_refused(change, words):
    with pytest.raises(ValueError, match=re.escape(words)):
        replace(NEW, **change)


def test_no_two_formats_have_one_name():
    names = [one.name for one in FORMATS]
    assert len({*names}) == len(names)


def test_the_readme_names_every_file():
    readme = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    assert [one.name for one in FORMATS if f"`{one.name}`" not in readme] == []


def test_a_folder_that_was_never_ours_is_not_replaced_for_a_format_of_applications(
    tmp_path, lower_plot_result
):
    folder = tmp_path / "out"
    write_folder(lower_plot_result, folder)
    (folder / "drip.csv").write_text("mine")  # stands in the folder of an application only
    with pytest.raises(OutputExistsError, match="it holds files that fieldmap did not write"):
        write_folder(lower_plot_result, folder, overwrite=True)


def test_data_only_imports_nothing_that_draws_pages(tmp_path):
    program = (
        "import sys\n"
        "from fieldmap.cli.main import main\n"
        "assert main(sys.argv[1:]) == 0\n"
        "print([name for name in ('folium', 'reportlab', 'matplotlib') if name in sys.modules], file=sys.stderr)"
    )
    done = subprocess.run(
        [sys.executable, "-c", program, "run", str(sample_farm()[1]), "-o", str(tmp_path / "out"), "--data-only"],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert done.stderr.splitlines()[-1] == "[]"
