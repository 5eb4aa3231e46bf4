"""Every page of the app and every way it can go wrong, without a browser."""

import datetime as dt
import threading
import tomllib
from importlib.resources import files
from pathlib import Path

import pytest
from streamlit import config
from streamlit.testing.v1 import AppTest
from support.formats import add_format

from fieldmap import InputError, read_plan, run
from fieldmap.app.main import PAGES, settings
from fieldmap.app.plans.draft import PARTS
from fieldmap.app.plans.plan_file import (
    add_entry,
    change_plan,
    plan_text,
    read_told,
    remove_entry,
    save_file,
)
from fieldmap.app.plans.workspace import copy_plan, new_plan, workspace_folder
from fieldmap.app.session import results
from fieldmap.app.session.memory import Kept
from fieldmap.app.session.results import confirm_cautions, file_to_hand_out
from fieldmap.demo import sample_farm
from fieldmap.export.registry import Format
from fieldmap.plan.credit_kinds import CREDIT_KINDS, CreditKind
from fieldmap.units import mass_text

ROOT = Path(__file__).parents[2]
# Loaded by AppTest under a name of its own, or still going as a test ends; neither is ours.
pytestmark = [
    pytest.mark.filterwarnings("ignore:.*:DeprecationWarning"),
    pytest.mark.filterwarnings("ignore::ResourceWarning"),
]


@pytest.fixture(autouse=True)
def _served_as_configured(tmp_path, monkeypatch):
    """A workspace of its own, and the settings that the server starts with."""
    monkeypatch.setenv("FIELDMAP_WORKSPACE", str(tmp_path))
    options = {
        f"{section}.{key}": value for section, keys in settings().items() for key, value in keys.items()
    }
    before = {key: config.get_option(key) for key in options}
    for key, value in options.items():
        config.set_option(key, value)
    yield
    for key, value in before.items():
        config.set_option(key, value)


@pytest.fixture
def app():
    return AppTest.from_file(str(ROOT / "app.py"), default_timeout=60)


@pytest.fixture
def demo(tmp_path):
    return copy_plan(tmp_path, sample_farm()[0], key="demo-kettle-bend")


def opened(app, folder, page):
    """A page of a plan, with every part of it open."""
    app.query_params["plan"] = folder.name
    for part in PARTS:
        app.session_state[f"part {part} {folder.name}"] = True
    app.run()
    app.switch_page(f"fieldmap/app/pages/{page}.py").run()
    assert not app.exception
    return app


def said(app):
    """All text of a page, without Markdown's escapes."""
    kinds = (
        app.markdown,
        app.warning,
        app.error,
        app.info,
        app.success,
        app.caption,
        app.title,
        app.subheader,
    )
    return "\n".join(str(element.value) for kind in kinds for element in kind).replace("\\", "")


def labelled(elements, label):
    return next(element for element in elements if element.label.startswith(label))


def test_the_settings_are_the_same_whichever_way_it_is_started():
    text = (ROOT / ".streamlit" / "config.toml").read_text()
    assert tomllib.loads(text) == settings()
    assert settings()["server"]["address"] == "127.0.0.1"
    assert (files("fieldmap") / "assets" / "leaflet_draw" / "LICENSE").is_file()


@pytest.mark.parametrize(
    ("option", "value", "words"),
    [
        ("server.address", None, 'it listens on "every network" and nobody has to sign in'),
        ("server.address", "0.0.0.0", 'it listens on "0.0.0.0" and nobody has to sign in'),  # noqa: S104
        ("server.enableXsrfProtection", False, "protection against forged requests"),
        ("browser.gatherUsageStats", True, "it would report its use to others"),
        ("client.showErrorDetails", "full", "it would show the inside of errors"),
        ("client.showErrorLinks", "auto", "it would offer to send errors to others"),
    ],
)
def test_a_server_that_is_not_safe_shows_nothing(app, option, value, words):
    config.set_option(option, value)
    app.run()
    assert words in app.error[0].value
    assert not app.button


def test_the_start_says_what_to_do(app):
    app.run()
    assert [button.label for button in app.button] == ["Open the demo", "Start"]
    assert "None yet. Every plan you start is kept here" in said(app)


@pytest.mark.parametrize("page", [key for key, _ in PAGES if key != "plans"])
def test_a_page_without_a_plan_says_what_to_do(app, page):
    app.run()
    app.switch_page(f"fieldmap/app/pages/{page}.py").run()
    assert not app.exception
    assert "No plan is open." in said(app)
    assert [button.label for button in app.button] == ["Go to plans"]


@pytest.mark.parametrize("page", ["map", "season", "export"])
def test_a_page_of_an_unfinished_plan_says_what_is_missing(app, tmp_path, page):
    opened(app, new_plan(tmp_path, "Oak ground"), page)
    assert "still empty: boundary, samples, cover crop, crop and need, spreader" in said(app)
    assert labelled(app.button, "Go to upload")


def test_an_unfinished_plan_says_what_is_wrong_in_a_whole_section_too(app, demo):
    change_plan(demo, [(("crop",), None), (("block",), None), (("spreader", "rate_max"), "1 lb/ac")])
    opened(app, demo, "map")
    assert "still empty: crop and need." in said(app)
    assert "[spreader]: rate_max is less than rate_min; the two must agree. Correct plan.toml." in said(app)
    assert "[crop]: this key is missing" not in said(app)


def test_what_is_wrong_in_a_block_is_said_at_the_box_of_that_block(app, demo):
    change_plan(demo, [(("block", "west", "crop", "need"), "9000")])
    opened(app, demo, "upload")
    assert 'Nitrogen need, west: plan.toml, [[block]] 1 crop.need: found "9000"; a rate' in said(app)


def test_the_demo_opens_on_its_map(app, tmp_path):
    app.run()
    app.button[0].click().run()
    assert not app.exception
    text = said(app)
    for title in ("Order", "Where", "Against one rate", "How sure", "What to do"):
        assert f"**{title}**" in text
    folder = tmp_path / "demo-kettle-bend"
    assert read_plan(folder).name == "Kettle Bend, north piece"
    app.switch_page("fieldmap/app/pages/plans.py").run()
    app.button[0].click().run()
    assert [path.name for path in tmp_path.iterdir() if path.is_dir()] == [
        "demo-kettle-bend"
    ]  # not a second one


def test_a_new_plan_is_on_disk_at_once(app, tmp_path):
    app.run()
    app.text_input[0].set_value("Oak ground")
    app.radio[0].set_value("us")
    labelled(app.button, "Start").click().run()
    assert read_told(tmp_path / "oak-ground") == {"name": "Oak ground", "units": "us"}
    assert "Drop the field outline above, or draw it on the map." in said(app)


def test_the_plan_opens_where_it_was_after_a_restart(app, demo):
    opened(app, demo, "upload")
    app.run()
    new = AppTest.from_file(str(ROOT / "app.py"), default_timeout=60)
    from fieldmap.app.session.open_plan import LAST_OPEN

    (workspace_folder() / LAST_OPEN).write_text(demo.name)
    new.run()
    assert "Kettle Bend, north piece" in said(new)


def test_plans_are_copied_for_next_season_and_removed_only_when_asked(app, demo, tmp_path):
    app.run()
    app.button(key=f"copy {demo.name}").click().run()
    copied = tmp_path / "kettle-bend-north-piece-next-season"
    assert copied.is_dir()
    app.switch_page("fieldmap/app/pages/plans.py").run()
    app.button(key=f"remove {copied.name}").click().run()
    assert not copied.exists()
    assert demo.is_dir()


def test_files_are_dropped_together_and_sorted_out(app, tmp_path):
    folder = new_plan(tmp_path, "Oak")
    opened(app, folder, "upload")
    farm = sample_farm()[0]
    names = ("samples.csv", "no_spread.geojson", "boundary.geojson", "weather.csv")
    app.file_uploader[0].set_value([(name, (farm / name).read_bytes(), "") for name in names]).run()
    assert not app.exception
    for text in ("boundary.geojson was read as boundary.", "no_spread.geojson was read as no-spread areas."):
        assert text in said(app)
    assert read_told(folder)["samples"] == {"file": "samples.csv"}


def test_a_file_that_cannot_be_read_is_refused_in_the_words_of_the_command_line(app, tmp_path):
    folder = new_plan(tmp_path, "Oak")
    opened(app, folder, "upload")
    app.file_uploader[0].set_value([("field.geojson", b"{", "")]).run()
    assert "field.geojson, line 1: this is not JSON; RFC 7946 GeoJSON is expected." in app.error[
        0
    ].value.replace("\\", "")
    assert read_told(folder) == {"name": "Oak", "units": "metric"}


def test_an_answer_is_saved_in_its_unit_and_shown_in_either(app, demo):
    opened(app, demo, "upload")
    labelled(app.text_input, "Swath, ft").set_value("50").run()
    assert read_told(demo)["spreader"]["swath"] == "50 ft"
    app.button_group[0].set_value("metric").run()
    assert read_told(demo)["units"] == "metric"
    assert labelled(app.text_input, "Swath, m").value == "15.24"
    assert read_told(demo)["spreader"]["swath"] == "50 ft"  # showing it otherwise changes nothing
    labelled(app.text_input, "Hopper").set_value("").run()
    assert "hopper" not in read_told(demo)["spreader"]


@pytest.mark.parametrize(
    ("label", "kind", "value", "place"),
    [
        ("Cover crop", "multiselect", ["crimson clover"], ("cover_crop", "species", "crimson clover")),
        ("Where the residue lies", "selectbox", "surface", ("cover_crop", "placement", "surface")),
        ("Growth stage", "selectbox", "full bloom", ("cover_crop", "stage", "full bloom")),
        ("Zones at most", "text_input", "3", ("spreader", "zones_max", 3)),
        ("A border device", "checkbox", True, ("spreader", "border_spreading", True)),
        ("Price of the product", "text_input", "600 USD/t", ("prices", "product", "600 USD/t")),
    ],
)
def test_each_sort_of_answer_is_saved(app, demo, label, kind, value, place):
    opened(app, demo, "upload")
    labelled(getattr(app, kind), label).set_value(value).run()
    assert not app.exception
    assert read_told(demo)[place[0]][place[1]] == place[2]


def test_a_kind_of_credit_that_is_added_is_offered_and_asked_for(app, demo, monkeypatch):
    new = CreditKind(
        ways=(frozenset({"organic_matter_pct", "depth_m"}),), asked=("depth_m", "organic_matter_pct")
    )
    monkeypatch.setitem(CREDIT_KINDS, "old turf", new)
    opened(app, demo, "upload")
    labelled(app.selectbox, "Another credit").set_value("old turf").run()
    labelled(app.button, "Add").click().run()
    assert not app.exception
    assert read_told(demo)["other_credits"][1] == {"source": "old turf"}
    assert "for old turf depth and organic_matter is expected" in said(app)
    labelled(app.text_input, "Organic matter").set_value("3").run()
    labelled(app.text_input, "Depth of the sample").set_value("12").run()
    assert {*read_told(demo)["other_credits"][1]} == {"source", "organic_matter", "depth"}
    assert "is expected" not in said(app)


def test_other_credits_come_and_go(app, demo):
    opened(app, demo, "upload")
    labelled(app.selectbox, "Another credit").set_value("soil organic matter").run()
    labelled(app.button, "Add").click().run()
    assert read_told(demo)["other_credits"][1] == {"source": "soil organic matter"}
    assert "for soil organic matter" in said(app)
    labelled(app.text_input, "Organic matter").set_value("3").run()
    assert read_told(demo)["other_credits"][1]["organic_matter"] == "3 %"
    app.button(key="remove other_credits 0").click().run()
    app.button(key="remove other_credits 0").click().run()
    assert "other_credits" not in read_told(demo)


def test_a_number_may_bring_its_own_unit_and_one_that_cannot_be_read_is_told_beside_its_box(app, demo):
    opened(app, demo, "upload")
    labelled(app.text_input, "Swath, ft").set_value("15 m").run()
    assert read_told(demo)["spreader"]["swath"] == "15 m"
    assert labelled(app.text_input, "Swath, ft").value == "49.21"
    labelled(app.text_input, "Swath, ft").set_value("1,5").run()
    told = (
        'Swath: found "1,5"; a length with its unit is expected, such as "18 m" or "60 ft", with a point for '
        "decimals and no comma. The old answer, 49.21, stands. Type another."
    )
    assert told in said(app)
    assert labelled(app.text_input, "Swath, ft").value == "1,5"  # to be mended, not typed anew
    assert read_told(demo)["spreader"]["swath"] == "15 m"
    labelled(app.text_input, "Zones at most").set_value("two").run()
    assert 'Zones at most: found "two"; a whole number is expected.' in said(app)
    labelled(app.text_input, "Swath, ft").set_value("60").run()
    assert told not in said(app)
    assert read_told(demo)["spreader"]["swath"] == "60 ft"


def test_a_box_shows_what_another_place_has_saved(app, demo):
    opened(app, demo, "upload")
    labelled(app.text_input, "Swath, ft").set_value("50").run()
    change_plan(demo, [(("spreader", "swath"), "70 ft"), (("spreader", "product"), "calcium nitrate")])
    labelled(app.text_input, "Zones at most").set_value("3").run()
    assert labelled(app.text_input, "Swath, ft").value == "70"
    assert labelled(app.selectbox, "Product").value == "calcium nitrate"
    assert read_told(demo)["spreader"]["swath"] == "70 ft"


def test_answers_can_be_taken_back(app, demo):
    opened(app, demo, "upload")
    labelled(app.date_input, "Sown on").set_value(dt.date(2025, 9, 1)).run()
    assert read_told(demo)["cover_crop"]["sown"] == dt.date(2025, 9, 1)
    app.button(key=f"open {labelled(app.date_input, 'Sown on').key}").click().run()
    assert "sown" not in read_told(demo)["cover_crop"]
    labelled(app.selectbox, "Nodules").set_value("pink").run()
    labelled(app.selectbox, "Nodules").set_value("").run()
    assert "nodules" not in read_told(demo)["cover_crop"]
    labelled(app.checkbox, "The harvested part").uncheck().run()
    assert read_told(demo)["crop"]["touches_soil"] is False
    labelled(app.checkbox, "The harvested part").check().run()
    assert "touches_soil" not in read_told(demo)["crop"]
    labelled(app.text_input, "How many").set_value("3").run()
    assert read_told(demo)["strips"] == {"number": 3}
    labelled(app.text_input, "How many").set_value("").run()
    assert "strips" not in read_told(demo)


def test_applications_are_asked_for(app, demo):
    opened(app, demo, "upload")
    for _ in range(2):
        labelled(app.button, "Add an application").click().run()
    first, second = (
        element for element in app.text_input if element.label.startswith("Share of the supplemental")
    )
    first.set_value("0.4").run()
    second.set_value("most").run()
    assert 'found "most"; a number or auto or phosphorus is expected' in said(app)
    days = [element for element in app.date_input if element.label == "On"]
    days[0].set_value(dt.date(2026, 5, 20)).run()
    days = [element for element in app.date_input if element.label == "On"]
    days[1].set_value(dt.date(2026, 7, 6)).run()
    assert not app.exception
    assert read_told(demo)["application"] == [
        {"share": 0.4, "date": dt.date(2026, 5, 20)},
        {"share": "auto", "date": dt.date(2026, 7, 6)},
    ]
    assert len(read_plan(demo).applications) == 2
    app.button(key="remove application 0").click().run()
    assert read_told(demo)["application"] == [{"share": "auto", "date": dt.date(2026, 7, 6)}]


def test_a_product_written_out_has_no_box_and_is_never_thrown_away(app, demo):
    own = 'product = { name = "my liquid", nitrogen = "9 %" }'
    plan = demo / "plan.toml"
    plan.write_text(
        plan.read_text().replace('product = "urea"', own)
        + f"\n[[application]]\ndate = 2026-05-20\nshare = 0.5\n{own}\n"
        + "\n[[application]]\ndate = 2026-07-20\nshare = 0.5\n"
    )
    opened(app, demo, "upload")
    assert said(app).count("Product: it stands in the plan as text.") == 2
    labelled(app.text_input, "Speed").set_value("8").run()
    assert plan.read_text().count(own) == 2


def test_a_box_that_nobody_touched_saves_nothing(app, demo):
    opened(app, demo, "upload")
    swath = labelled(app.text_input, "Swath, ft")
    change_plan(demo, [(("spreader", "swath"), "70 ft")])
    swath.set_value(swath.value)  # reported with what it showed, as Streamlit does at times
    labelled(app.text_input, "Speed").set_value("8").run()
    assert read_told(demo)["spreader"]["swath"] == "70 ft"


def test_an_answer_that_breaks_the_program_is_told_on_the_page_and_in_the_log(app, demo, monkeypatch, caplog):
    opened(app, demo, "upload")

    def broken(*_args, **_options):
        raise RuntimeError("broken on purpose")

    monkeypatch.setattr("fieldmap.app.session.answers.change_plan", broken)
    labelled(app.text_input, "Speed").set_value("8").run()
    assert not app.exception
    assert "Speed: this program failed on it, and the log says why. The old answer, 9, stands." in said(app)
    assert "broken on purpose" in caplog.text
    assert labelled(app.text_input, "Speed")


def test_what_is_not_known_is_shown_and_told(app, demo):
    change_plan(demo, [(("spreader", "product"), "wonder"), (("spreader", "swath"), "sixty")])
    opened(app, demo, "upload")
    assert labelled(app.selectbox, "Product").value == "wonder"
    assert labelled(app.text_input, "Swath").value == "sixty"
    assert "Product: plan.toml, [spreader] product" in said(app)


@pytest.mark.parametrize(
    "value", [5, "x", [1, "y"], {"a": 1}, True, dt.datetime(2026, 5, 4, 12, tzinfo=dt.UTC)], ids=str
)
def test_a_plan_that_says_something_odd_can_still_be_looked_at_and_mended(app, demo, value):
    told = read_told(demo)
    keys = [(section, key) for section in told for key in told[section] if isinstance(told[section], dict)]
    change_plan(demo, [(place, value) for place in keys if place[0] not in ("field", "samples")])
    opened(app, demo, "upload")
    assert not app.exception
    assert "Something went wrong" not in said(app)
    assert app.text_area


@pytest.mark.parametrize(
    "section", ["cover_crop", "credit", "crop", "spreader", "weather", "prices", "other_credits", "block"]
)
@pytest.mark.parametrize("value", [5, [1]], ids=str)
def test_a_section_that_is_none_can_still_be_mended(app, demo, section, value):
    change_plan(demo, [((section,), None)])
    plan = demo / "plan.toml"
    plan.write_text(f"{section} = {value}\n" + plan.read_text())
    opened(app, demo, "upload")
    assert not app.exception
    assert "Something went wrong" not in said(app)
    assert app.text_area


def test_a_part_stays_open_when_its_state_changes(app, tmp_path):
    folder = new_plan(tmp_path, "Oak")
    app.query_params["plan"] = folder.name
    app.run()
    app.switch_page("fieldmap/app/pages/upload.py").run()
    labelled(app.button, "○ **Spreader** · empty").click().run()
    labelled(app.text_input, "Swath").set_value("18").run()
    assert labelled(app.button, "△ **Spreader** · needs a look")
    labelled(app.text_input, "Step between").set_value("10").run()
    assert read_told(folder)["spreader"] == {"swath": "18 m", "rate_step": "10 kg/ha"}
    assert "Still to answer: Product, Lowest rate, of product, Highest rate, of product" in said(app)


def test_the_need_of_a_block_with_its_own_crop_keeps_its_box(app, demo):
    opened(app, demo, "map")
    labelled(app.text_input, "Nitrogen need, west").set_value("").run()
    assert not app.exception
    assert labelled(app.text_input, "Nitrogen need, west").label == "Nitrogen need, west, lb/ac"
    labelled(app.text_input, "Nitrogen need, west").set_value("170").run()
    assert read_told(demo)["block"][0]["crop"]["need"] == "170 lb/ac"


def test_caution_stays_as_expected_with_a_yield_response_and_can_be_put_back(app, demo):
    response = {"a": 12.0, "b": 0.05, "c": -0.0001}
    change_plan(demo, [(("response",), response), (("credit", "confidence"), 0.6)])
    opened(app, demo, "map")
    opened(app, demo, "upload")
    assert not app.select_slider[0].disabled
    app.select_slider[0].set_value(0.5).run()
    assert read_told(demo)["credit"]["confidence"] == 0.5
    assert app.select_slider[0].disabled


def test_files_are_of_the_plan_as_it_stands_when_they_are_asked_for(demo):
    confirm_cautions(demo, run(read_plan(demo)))
    before = file_to_hand_out(demo, "zones.csv")
    change_plan(demo, [(("crop", "need"), "100 lb/ac")])
    assert file_to_hand_out(demo, "zones.csv") != before
    change_plan(demo, [(("spreader", "product"), "calcium nitrate")])
    with pytest.raises(InputError, match="the plan was changed meanwhile, and cautions came with it"):
        file_to_hand_out(demo, "zones.csv")


def test_an_answer_never_goes_to_another_entry_than_the_one_shown(app, demo):
    for share in (0.2, 0.3, 0.5):
        add_entry(demo, "application", {"share": share})
    opened(app, demo, "upload")
    second = [one for one in app.text_input if one.label.startswith("Share of the supplemental")][1]
    remove_entry(demo, "application", 0, {"share": 0.2})  # in another tab
    second.set_value("0.35").run()
    assert read_told(demo)["application"] == [{"share": 0.3}, {"share": 0.5}]
    assert "Share of the supplemental nitrogen, 0.35, was not saved. plan.toml, [[application]]" in said(app)


def test_a_nitrate_test_is_asked_for(app, demo):
    opened(app, demo, "upload")
    labelled(app.button, "Add a test").click().run()
    assert not app.exception
    assert "Still to answer: Sampled on." in said(app)
    assert "The field's average comes once what needs a look is in order." in said(app)
    blocks = [element for element in app.selectbox if element.label == "Block"]
    assert blocks[-1].options == ["every block", "west", "middle", "east"]
    blocks[-1].set_value("middle").run()
    assert read_told(demo)["sidedress_test"] == [{"block": "middle"}]
    assert "Test of middle" in said(app)


def test_lists_that_are_written_otherwise_stand_in_the_text(app, demo):
    (demo / "plan.toml").write_text(
        (demo / "plan.toml").read_text().replace("[[other_credits]]", "[other_credits]")
    )
    opened(app, demo, "upload")
    assert "[other_credits] stands in the plan as text." in said(app)


def test_what_was_worked_out_is_kept_once_and_nobody_waits_for_what_is_there():
    kept, made, go_on, started = Kept(2), [], threading.Event(), threading.Event()

    def slow():
        started.set()
        assert go_on.wait(10)
        return "slow"

    assert [kept.of(key, lambda key=key: made.append(key) or key) for key in ("a", "b", "a")] == [
        "a",
        "b",
        "a",
    ]
    working = threading.Thread(target=kept.of, args=("c", slow))
    working.start()
    assert started.wait(10)
    assert kept.of("a", lambda: pytest.fail("it was there")) == "a"  # while c is being worked out
    go_on.set()
    working.join(10)
    assert kept.of("c", lambda: pytest.fail("it was there")) == "slow"
    assert kept.of("b", lambda: made.append("b again") or "b") == "b"  # the longest unused had gone
    assert made == ["a", "b", "b again"]


def test_a_bad_row_is_marked_beside_it(app, demo):
    text = (demo / "samples.csv").read_text().replace("1.44", "heavy")
    save_file(demo, "samples.csv", text.encode())
    opened(app, demo, "upload")
    assert (
        'samples.csv, row 2: fresh_lb is "heavy"; a number in pounds is expected. Correct the cell.'
        in said(app)
    )
    assert "△ **Samples** · needs a look" in [button.label for button in app.button]


def test_the_plan_as_text_is_refused_where_it_is_no_toml(app, demo):
    opened(app, demo, "upload")
    before = (demo / "plan.toml").read_text()
    app.text_area[0].set_value("name = ")
    labelled(app.button, "Save").click().run()
    assert "this is not valid TOML" in app.error[0].value
    assert (demo / "plan.toml").read_text() == before
    app.text_area[0].set_value(before.replace("north piece", "south piece"))
    labelled(app.button, "Save").click().run()
    assert "Kettle Bend, south piece" in said(app)


def test_a_plan_that_is_no_toml_can_still_be_mended(app, demo):
    (demo / "plan.toml").write_text("name = \n")
    opened(app, demo, "upload")
    assert "this is not valid TOML" in said(app)
    app.text_area[0].set_value('name = "mended"\nunits = "us"\n')
    labelled(app.button, "Save").click().run()
    assert not app.exception
    assert "mended" in said(app)


def test_controls_change_map_table_and_order(app, demo):
    opened(app, demo, "map")
    before = said(app)
    labelled(app.text_input, "Zones at most").set_value("1").run()
    assert read_told(demo)["spreader"]["zones_max"] == 1
    assert "1 zone: " in said(app)
    app.select_slider[0].set_value(0.9).run()
    assert read_told(demo)["credit"]["confidence"] == 0.9
    labelled(app.text_input, "Nitrogen need, west").set_value("100").run()
    assert read_told(demo)["block"][0]["crop"]["need"] == "100 lb/ac"
    assert said(app) != before


def test_two_goes_are_made_of_one_by_a_button(app, demo):
    before = plan_text(demo)
    opened(app, demo, "map")
    assert "On 2026-05-24 and beside the row on 2026-06-26, in all blocks" in said(app)
    labelled(app.button, "Spread it in two goes").click().run()
    assert not app.exception
    assert read_told(demo)["application"] == [
        {"date": dt.date(2026, 5, 24), "share": "auto"},
        {"date": dt.date(2026, 6, 26), "share": "auto", "method": "side-dress"},
    ]
    assert plan_text(demo).startswith(before.rstrip("\n"))  # with its comments
    assert "Application 2 of 2: 2026-06-26" in said(app)
    assert "2026-06-26 Side-dress urea" in said(app).replace("*", "")
    assert "Spread it in two goes" not in [button.label for button in app.button]


def test_two_goes_are_not_made_of_a_plan_that_has_some_by_now(app, demo):
    opened(app, demo, "map")
    add_entry(demo, "application", {"date": dt.date(2026, 5, 24)})
    labelled(app.button, "Spread it in two goes").click().run()
    assert read_told(demo)["application"] == [{"date": dt.date(2026, 5, 24)}]
    assert "an entry was added, changed or removed in another place meanwhile" in said(app)


def test_season_without_weather_says_what_is_needed(app, demo):
    change_plan(demo, [(("weather",), None)])
    opened(app, demo, "season")
    assert "Timing needs weather" in said(app)


def test_cautions_are_confirmed_once_for_a_plan(app, demo):
    opened(app, demo, "export")
    assert not app.get("download_button")
    assert "10 mg/L" in said(app)
    app.checkbox[0].check().run()
    assert [button.label for button in app.get("download_button")][:2] == [
        "Download all files",
        "The plan folder",
    ]
    again = opened(AppTest.from_file(str(ROOT / "app.py"), default_timeout=60), demo, "export")
    assert not again.checkbox
    change_plan(demo, [(("spreader", "product"), "calcium nitrate")])  # brings a caution of its own
    other = opened(AppTest.from_file(str(ROOT / "app.py"), default_timeout=60), demo, "export")
    assert other.checkbox[0].label == "I have read the cautions"


def test_where_one_rate_will_do_the_export_page_says_so_before_the_files(app, demo, monkeypatch):
    opened(app, demo, "export")
    assert not app.info
    monkeypatch.setattr(
        "fieldmap.report.findings.one_rate_says", lambda _: "One rate a block will do: 90 lb/ac"
    )
    opened(app, demo, "export")
    told = app.info[0].value.replace("\\", "")
    assert told.startswith("One rate a block will do: 90 lb/ac. Those who want zones")


def test_a_format_that_is_added_is_offered_for_download(app, demo, monkeypatch):
    new = Format(
        "zones.xyz",
        lambda _result, _one, path: path.write_text("0 0 1", encoding="utf-8"),
        "chemical/x-xyz",  # no ending known to the app
        "office",
        "Zones as points. Any editor opens it.",
        lambda _: "points",
    )
    add_format(monkeypatch, new)
    opened(app, demo, "export")
    app.checkbox[0].check().run()
    assert not app.exception
    assert "zones.xyz" in [button.label for button in app.get("download_button")]
    assert "Zones as points. Any editor opens it." in said(app)
    assert file_to_hand_out(demo, "zones.xyz") == b"0 0 1"


def test_text_of_a_plan_is_shown_and_not_run(app, demo):
    change_plan(demo, [(("name",), "<script>HIT=1</script> **bold** {{7*7}} $x$ :smile:")])
    opened(app, demo, "map")
    assert app.title[0].value.replace("\\", "") == "<script>HIT=1</script> **bold** {{7*7}} $x$ :smile:"
    assert "\\<script\\>" in app.title[0].value


def test_without_sign_in_no_page_renders_and_each_has_their_own_workspace(app, demo, monkeypatch):
    monkeypatch.setattr("streamlit.user_info._get_user_info", lambda: {"is_logged_in": False})
    app.run()
    assert [button.label for button in app.button] == ["Sign in"]
    assert "Kettle Bend" not in said(app)
    for page, _ in PAGES:
        other = AppTest.from_file(str(ROOT / "app.py"), default_timeout=60)
        other.query_params["plan"] = demo.name
        other.run()
        assert [button.label for button in other.button] == ["Sign in"], page
    monkeypatch.setattr(
        "streamlit.user_info._get_user_info",
        lambda: {"is_logged_in": True, "iss": "https://id.test", "sub": "anna"},
    )
    signed = AppTest.from_file(str(ROOT / "app.py"), default_timeout=60).run()
    assert not signed.exception
    assert "None yet." in said(signed)  # the plan of before is not hers
    assert labelled(signed.button, "Sign out")


def test_several_applications_each_have_a_table_and_files_to_download(app, demo):
    plan = demo / "plan.toml"
    plan.write_text(
        plan.read_text(encoding="utf-8")
        + "\n[[application]]\ndate = 2026-05-20\nshare = 0.4\n"
        + '\n[[application]]\ndate = 2026-07-06\nshare = 0.6\nmethod = "through drip"\n',
        encoding="utf-8",
    )
    opened(app, demo, "map")
    first, second = (f"Application {k} of 2: {day}" for k, day in ((1, "2026-05-20"), (2, "2026-07-06")))
    assert first in said(app)
    assert second in said(app)
    opened(app, demo, "export")
    app.checkbox[0].check().run()
    assert not app.exception
    headings = [heading.value for heading in app.subheader]
    result = run(read_plan(demo))
    one, two = (
        mass_text(sum(row.product_kg for row in each.spread.zone_map.rows), "us")
        for each in result.applications
    )
    assert headings == [
        f"{first}, broadcast before planting, urea: {one}",
        f"{second}, through drip, urea: {two}",
        "For the office",
        "For the grower",
    ]
    offered = {button.label for button in app.get("download_button")}
    assert {"application-1/taskdata_grid.zip", "application-2/drip.csv"} <= offered
    assert not {"application-2/taskdata_grid.zip", "taskdata_grid.zip", "zones.csv"} & offered


@pytest.mark.parametrize(
    ("name", "words"),
    [
        (" ", "The name is empty; type what you call this field."),
        ("x" * 400, "The name has 400 letters; at most 120"),
    ],
)
def test_a_name_that_does_not_do_is_told(app, tmp_path, name, words):
    app.run()
    app.text_input[0].set_value(name)
    labelled(app.button, "Start").click().run()
    assert words in app.error[0].value
    assert not list(tmp_path.glob("*/plan.toml"))


def test_an_impossible_need_leaves_map_and_controls(app, demo):
    opened(app, demo, "map")
    labelled(app.text_input, "Nitrogen need, west").set_value("99999").run()
    assert not app.exception
    assert "no vegetable needs more than 600 kg/ha" in said(app)
    assert "The map is of the plan before the last change, which cannot be:" in said(app)
    labelled(app.text_input, "Nitrogen need, west").set_value("170").run()
    assert not app.error


def test_a_typed_text_is_never_thrown_away(app, demo):
    opened(app, demo, "upload")
    typed = (demo / "plan.toml").read_text().replace("north piece", "typed piece")
    app.text_area[0].set_value(typed)
    change_plan(demo, [(("crop", "need"), "155 lb/ac")])
    labelled(app.button, "Save").click().run()
    assert "your text was not saved" in app.error[0].value
    assert app.text_area[0].value == typed
    assert read_told(demo)["crop"]["need"] == "155 lb/ac"
    labelled(app.button, "Show the plan as it stands").click().run()
    assert "155 lb/ac" in app.text_area[0].value


def test_what_a_run_would_refuse_is_told_before_the_plan_is_called_complete(app, demo):
    manure = {
        "source": "manure",
        "total_n": "100 lb/ac",
        "share": 0.3,
        "raw": True,
        "applied": dt.date(2026, 5, 1),
    }
    change_plan(demo, [(("other_credits",), [manure])])
    opened(app, demo, "upload")
    assert "The plan is complete." not in said(app)
    assert "days" in said(app)


def test_a_hopper_too_small_for_the_field_is_told_before_the_plan_is_called_complete(app, demo):
    change_plan(demo, [(("spreader", "hopper"), "3 lb")])
    opened(app, demo, "upload")
    assert "The plan is complete." not in said(app)
    assert "a hopper of 1.4 kg makes" in said(app)
    assert "Hopper holds: plan.toml" in said(app)  # told at its box, not at the foot of the page
    with pytest.raises(InputError, match="a hopper of 1.4 kg makes"):
        run(read_plan(demo))


@pytest.mark.parametrize(
    ("place", "value"),
    [(("units",), "metric"), (("name",), "Another name"), (("prices", "product"), "600 USD/t")],
    ids=["units", "name", "price"],
)
def test_units_name_and_price_work_nothing_out_anew(app, demo, monkeypatch, place, value):
    ran = []
    whole = results.run
    monkeypatch.setattr(results, "run", lambda plan, **given: ran.append(plan) or whole(plan, **given))
    opened(app, demo, "map")
    assert len(ran) == 1
    change_plan(demo, [(place, value)])
    app.run()
    app.switch_page("fieldmap/app/pages/season.py").run()
    app.switch_page("fieldmap/app/pages/export.py").run()
    assert not app.exception
    assert len(ran) == 1
    change_plan(demo, [(("crop", "need"), "190 lb/ac")])
    app.run()
    assert len(ran) == 2


def test_the_needs_of_the_table_are_in_the_units_of_the_plan(app, demo):
    opened(app, demo, "upload")
    assert "For sweet corn the table has a need of 130 to 200 lb/ac" in said(app)
    app.button_group[0].set_value("metric").run()
    assert "For sweet corn the table has a need of 146 to 224 kg/ha" in said(app)
