"""Plan folders of the app: nothing lost, nothing written elsewhere, two writers at once."""

import io
import threading
import tomllib
import zipfile

import pytest

from fieldmap import InputError, read_plan
from fieldmap.app.plans.plan_file import (
    add_entry,
    change_plan,
    plan_text,
    read_told,
    remove_entry,
    safe_name,
    save_file,
    write_plan_text,
)
from fieldmap.app.plans.workspace import (
    copy_for_next_season,
    copy_plan,
    list_plans,
    new_plan,
    open_plan_zip,
    plan_files,
    plan_folder,
    plan_zip,
    remove_plan,
    workspace_folder,
)
from fieldmap.demo import sample_farm


@pytest.fixture
def demo(tmp_path):
    return copy_plan(tmp_path, sample_farm()[0])


def test_the_setting_names_the_workspace_and_each_person_has_their_own(tmp_path, monkeypatch):
    monkeypatch.setenv("FIELDMAP_WORKSPACE", str(tmp_path / "here"))
    alone, one, other = workspace_folder(), workspace_folder("issuer anna"), workspace_folder("issuer ben")
    assert alone == tmp_path / "here"
    assert len({alone, one, other}) == 3
    assert one.is_dir()
    assert "anna" not in str(one)
    new_plan(one, "hers")
    assert list_plans(other) == []
    assert list_plans(alone) == []


def test_a_copy_is_the_same_plan(demo):
    assert read_plan(demo).model_dump(exclude={"folder"}) == read_plan(sample_farm()[0]).model_dump(
        exclude={"folder"}
    )


def test_what_a_person_wrote_by_hand_stays(demo):
    change_plan(demo, [(("credit", "confidence"), 0.7)])
    text = plan_text(demo)
    assert text.splitlines()[1].startswith("# An invented field of an invented farm.")
    assert text.replace("confidence = 0.7", "confidence = 0.5") == plan_text(sample_farm()[0])


def test_keys_of_blocks_and_lists_are_set_and_removed(demo):
    change_plan(
        demo,
        [
            (("block", "west", "crop", "need"), "170 lb/ac"),
            (("block", "middle", "crop", "need"), "140 lb/ac"),
            (("other_credits", 0, "nitrogen"), "12 lb/ac"),
            (("spreader", "hopper"), None),
            (("soil_test", "phosphorus"), "high"),
            (("block", "nowhere", "crop", "need"), None),
        ],
    )
    told = read_told(demo)
    assert [(one["block"], one["crop"]["need"]) for one in told["block"]] == [
        ("west", "170 lb/ac"),
        ("east", "160 lb/ac"),
        ("middle", "140 lb/ac"),
    ]
    assert told["other_credits"][0]["nitrogen"] == "12 lb/ac"
    assert "hopper" not in told["spreader"]
    assert told["soil_test"] == {"phosphorus": "high"}
    change_plan(demo, [(("block", "middle", "crop", "need"), None)])
    assert "crop" not in read_told(demo)["block"][2]


def test_entries_come_and_go_and_what_stands_beside_them_stays(demo):
    before = plan_text(demo)
    add_entry(demo, "other_credits", {"source": "starter"})
    add_entry(demo, "application", {"share": "auto"})
    told = read_told(demo)
    assert told["other_credits"][1:] == [{"source": "starter"}]
    assert told["application"] == [{"share": "auto"}]
    remove_entry(demo, "application", 0, {"share": "auto"})
    remove_entry(demo, "other_credits", 1, {"source": "starter"})
    assert plan_text(demo).split() == before.split()


def test_entries_are_added_together_or_not_at_all(demo):
    before = plan_text(demo)
    add_entry(demo, "application", {"share": 0.4}, {"share": 0.6}, entries_seen=0)
    assert read_told(demo)["application"] == [{"share": 0.4}, {"share": 0.6}]
    assert plan_text(demo).startswith(before.rstrip("\n"))
    with pytest.raises(
        InputError, match=r"\[\[application\]\]: an entry was added, changed or removed in another"
    ):
        add_entry(demo, "application", {"share": 0.4}, {"share": 0.6}, entries_seen=0)
    assert len(read_told(demo)["application"]) == 2


def test_an_entry_that_was_changed_or_removed_in_another_place_is_left(demo):
    seen = read_told(demo)["other_credits"][0]
    change_plan(demo, [(("other_credits", 0, "nitrogen"), "13 lb/ac")])
    before = plan_text(demo)
    with pytest.raises(
        InputError, match=r"plan\.toml, \[\[other_credits\]\]: an entry was added, changed or removed in"
    ):
        remove_entry(demo, "other_credits", 0, seen)
    with pytest.raises(InputError, match="Look at it again"):
        change_plan(demo, [(("other_credits", 5, "nitrogen"), "13 lb/ac")])
    with pytest.raises(InputError, match="Look at it again"):  # the first of two is another by now
        change_plan(demo, [(("other_credits", 0, "nitrogen"), "14 lb/ac")], entries_seen={"other_credits": 2})
    assert plan_text(demo) == before


def test_a_section_that_was_emptied_is_gone_unless_something_is_noted_in_it(demo):
    change_plan(demo, [(("strips", "number"), 3)])
    change_plan(demo, [(("strips", "number"), None)])
    assert "strips" not in read_told(demo)
    write_plan_text(demo, plan_text(demo) + "\n[strips]\n# where last year's stood\nnumber = 3\n")
    change_plan(demo, [(("strips", "number"), None)])
    assert "# where last year's stood" in plan_text(demo)


def test_two_writers_at_once_lose_nothing(demo):
    def write(section, key, values):
        for value in values:
            change_plan(demo, [((section, key), value)])

    writers = [
        threading.Thread(target=write, args=("credit", "confidence", [0.5 + k / 100 for k in range(30)])),
        threading.Thread(target=write, args=("spreader", "zones_max", [1 + k % 5 for k in range(30)])),
    ]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join()
    told = read_told(demo)
    assert told["credit"]["confidence"] == 0.79
    assert told["spreader"]["zones_max"] == 5
    assert not list(demo.glob(".new-*"))


def test_a_write_that_fails_leaves_the_old_content(demo, monkeypatch):
    before = plan_text(demo)
    monkeypatch.setattr("fieldmap.app.plans.workspace.os.fsync", lambda _: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        change_plan(demo, [(("name",), "half")])
    assert plan_text(demo) == before
    assert not list(demo.glob(".new-*"))


def test_text_that_is_no_toml_is_refused_and_nothing_written(demo):
    before = plan_text(demo)
    with pytest.raises(InputError) as caught:
        write_plan_text(demo, "name = \n")
    assert "this is not valid TOML" in str(caught.value)
    assert plan_text(demo) == before


def test_next_season_keeps_the_ground_and_the_machine(tmp_path, demo):
    folder = copy_for_next_season(tmp_path, demo)
    told = read_told(folder)
    assert told["name"] == "Kettle Bend, north piece, next season"
    assert told["field"] == read_told(demo)["field"]
    assert told["spreader"] == read_told(demo)["spreader"]
    assert told["crop"] == {"name": "sweet corn", "need": "150 lb/ac", "need_is": "guide rate"}
    assert told["block"][0] == {"block": "west", "crop": {"name": "broccoli", "need": "180 lb/ac"}}
    assert {"terminated", "stage"}.isdisjoint(told["cover_crop"])
    assert {"other_credits", "weather"}.isdisjoint(told)
    assert [file.name for file in plan_files(folder)] == [
        "boundary.geojson",
        "no_spread.geojson",
        "plan.toml",
    ]
    assert (demo / "samples.csv").exists()  # the old season is as it was


def test_a_plan_goes_along_as_a_zip_and_comes_back(tmp_path, demo):
    content = plan_zip(demo)
    back = open_plan_zip(tmp_path, content, "kettle-bend.zip")
    assert {file.name: file.read_bytes() for file in plan_files(back)} == {
        file.name: file.read_bytes() for file in plan_files(demo)
    }


def _zip(files):
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        for name, content in files.items():
            archive.writestr(name, content)
    return buffer.getvalue()


def test_a_zip_cannot_write_outside_its_folder(tmp_path):
    for name in ("../../evil.csv", "/etc/evil.csv", "C:\\x\\b.csv"):
        content = _zip({"a/plan.toml": 'name = "x"\n', name: "1"})
        with pytest.raises(InputError, match=r"^taken.zip: a file in it points outside it \("):
            open_plan_zip(tmp_path, content, "taken.zip")
    assert list(tmp_path.iterdir()) == []


def test_what_finder_adds_to_a_zip_stays_out(tmp_path):
    """Its ._plan.toml would take the place of the plan."""
    content = _zip({"a/plan.toml": 'name = "x"\n', "a/.DS_Store": "2", "__MACOSX/a/._plan.toml": "3"})
    folder = open_plan_zip(tmp_path / ".", content, "taken.zip")
    assert [file.name for file in folder.iterdir()] == ["plan.toml"]
    assert (folder / "plan.toml").read_text() == 'name = "x"\n'


def _link():
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        link = zipfile.ZipInfo("plan.toml")
        link.external_attr = 0o120777 << 16
        archive.writestr(link, "/etc/passwd")
    return buffer.getvalue()


def _encrypted(content):
    """Marked as such, in the local header and in the directory."""
    return content.replace(b"PK\x03\x04\x14\x00\x00", b"PK\x03\x04\x14\x00\x01").replace(
        b"PK\x01\x02\x14\x03\x14\x00\x00", b"PK\x01\x02\x14\x03\x14\x00\x01"
    )


@pytest.mark.parametrize(
    ("content", "found"),
    [
        (b"not a zip", "this is not a zip"),
        (_zip({"samples.csv": "1"}), "there is no plan.toml in it"),
        (_zip({f"{number}.csv": "1" for number in range(60)}), "it holds 60 files"),
        (_link(), "it holds a link (plan.toml)"),
        (_encrypted(_zip({"plan.toml": "1"})), "it is encrypted"),
        (_zip({"plan.toml": "name = 1234"}).replace(b"name = 1234", b"name = 9999"), "it cannot be unpacked"),
    ],
)
def test_what_is_no_plan_folder_is_refused(tmp_path, content, found):
    with pytest.raises(InputError) as caught:
        open_plan_zip(tmp_path, content, "x.zip")
    assert str(caught.value) == (
        f"x.zip: {found}; a zip of one plan folder is expected. Download the plan folder again."
    )
    assert list(tmp_path.iterdir()) == []


def test_names_of_plans_and_files_lead_nowhere_else(tmp_path):
    assert safe_name("../../etc/pass wd") == "pass_wd"
    assert safe_name("..\\..\\x.csv") == "x.csv"
    assert safe_name("...") == "file"
    folder = new_plan(tmp_path, "../../etc")
    assert folder.parent == tmp_path
    assert save_file(folder, "../x.csv", b"1") == "x.csv"
    assert (folder / "x.csv").read_bytes() == b"1"
    assert plan_folder(tmp_path, folder.name) == folder
    for key in ("..", ".", "", f"{folder.name}/../{folder.name}", str(folder)):
        assert plan_folder(tmp_path, key) is None


def test_plans_of_one_name_stand_side_by_side(tmp_path):
    first, second = new_plan(tmp_path, "Oak"), new_plan(tmp_path, "Oak", units="us")
    assert (first.name, second.name) == ("oak", "oak-2")
    assert tomllib.loads(plan_text(second)) == {"name": "Oak", "units": "us"}
    change_plan(first, [(("name",), "Oak ground")])
    assert [listed.name for listed in list_plans(tmp_path)] == ["Oak ground", "Oak"]
    remove_plan(first)
    assert [listed.name for listed in list_plans(tmp_path)] == ["Oak"]
