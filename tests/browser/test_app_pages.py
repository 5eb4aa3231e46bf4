"""The app in a browser: from demo to files, uploads, drawing, edits, reloads, two tabs, a phone; nothing leaves."""

import contextlib
import json
import re
import sqlite3
import time
import zipfile
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from playwright.sync_api import expect
from support.formats import names_in
from support.server import ROOT, dropper, served

from fieldmap import read_plan, run
from fieldmap.app.plans.plan_file import change_plan, read_told
from fieldmap.app.plans.workspace import copy_plan, new_plan
from fieldmap.demo import sample_farm
from fieldmap.export.folder import write_folder

pytestmark = pytest.mark.browser
expect.set_options(timeout=30_000)

SHOTS = ROOT / "out" / "screenshots"  # to be looked at
FARM = sample_farm()[0]
SECRETS = """
[auth]
redirect_uri = "http://localhost/oauth2callback"
cookie_secret = "only-for-this-test-0123456789abcdef"
client_id = "x"
client_secret = "x"
server_metadata_url = "http://127.0.0.1:9/none"
"""


@pytest.fixture
def tab(chromium, address):
    """Open a page of the app; whatever asks for another machine is noted and refused."""
    with contextlib.ExitStack() as stack:
        away = []

        def show(path="", **options):
            context = stack.enter_context(
                chromium.new_context(viewport=options.get("viewport", {"width": 1440, "height": 1000}))
            )
            context.set_default_timeout(30_000)

            def route(handled):
                if handled.request.url.startswith((address, "data:", "blob:", "about:")):
                    handled.continue_()
                else:
                    away.append(handled.request.url)
                    handled.abort()

            context.route("**/*", route)
            page = context.new_page()
            page.goto(f"{address}/{path}")
            return page

        yield show
        assert away == []


def shot(page, name):
    SHOTS.mkdir(parents=True, exist_ok=True)
    page.screenshot(path=SHOTS / f"{name}.png")


def map_frame(page):
    frame = page.frame_locator("iframe").first
    frame.locator(".leaflet-container").wait_for()
    frame.locator(".leaflet-views-pane path").first.wait_for()
    return frame


def head(page, part):
    """The button that opens a part of Upload."""
    return page.get_by_role("button", name=re.compile(rf"{part} · "))


def test_from_demo_to_zip_in_six_clicks(tab, workspace, tmp_path):
    start, clicks = time.monotonic(), 0
    page = tab()
    page.get_by_role("button", name="Open the demo").click()
    clicks += 1
    map_frame(page)
    shot(page, "map")
    page.get_by_role("link", name="Export").click()
    clicks += 1
    page.get_by_text("I have read the cautions").click()
    clicks += 1
    shot(page, "cautions")
    with page.expect_download() as caught:
        page.get_by_role("button", name="Download all files").click()
        clicks += 1
    path = tmp_path / "all.zip"
    caught.value.save_as(path)
    assert clicks <= 6
    assert time.monotonic() - start < 120
    shot(page, "export")

    # Every file is the one that the command line writes for the same plan.
    folder = workspace / "demo-kettle-bend"
    write_folder(run(read_plan(folder)), tmp_path / "cli")
    with zipfile.ZipFile(path) as archive:
        assert sorted(archive.namelist()) == sorted(names_in("run"))
        for name in names_in("run"):
            ours, theirs = archive.read(name), (tmp_path / "cli" / name).read_bytes()
            if name == "zones.gpkg":  # says when it was written
                ours, theirs = (
                    content(ours, tmp_path / "ours.gpkg"),
                    content(theirs, tmp_path / "theirs.gpkg"),
                )
            assert ours == theirs, name
    for name in ("zones.geojson", "report.pdf", "taskdata_grid.zip"):
        with page.expect_download() as caught:
            page.get_by_role("button", name=name, exact=True).click()
        assert Path(caught.value.path()).read_bytes() == (tmp_path / "cli" / name).read_bytes()
    page.get_by_text("Show the report").click()
    page.get_by_text("Page 4").wait_for()
    assert page.locator("img").count() >= 4


def content(geopackage, path):
    """All rows of a GeoPackage, without the times of writing."""
    path.write_bytes(geopackage)
    with contextlib.closing(sqlite3.connect(path)) as opened:
        return [re.sub(r"\d{4}-\d\d-\d\dT[\d:.]+Z", "", line) for line in opened.iterdump()]


def boundary_in(kind, tmp_path):
    shapes = gpd.read_file(FARM / "boundary.geojson")
    if kind == "geojson":
        return FARM / "boundary.geojson"
    if kind == "gpkg":
        shapes.to_file(tmp_path / "field.gpkg")
        return tmp_path / "field.gpkg"
    if kind == "zip":
        (tmp_path / "shp").mkdir()
        shapes.to_file(tmp_path / "shp" / "field.shp")
        with zipfile.ZipFile(tmp_path / "field.zip", "w") as archive:
            for part in (tmp_path / "shp").iterdir():
                archive.write(part, part.name)
        return tmp_path / "field.zip"
    places = [" ".join(f"{x},{y}" for x, y in shape.exterior.coords) for shape in shapes.geometry]
    placemarks = "".join(
        f"<Placemark><Polygon><outerBoundaryIs><LinearRing><coordinates>{ring}</coordinates></LinearRing>"
        "</outerBoundaryIs></Polygon></Placemark>"
        for ring in places
    )
    text = f'<kml xmlns="http://www.opengis.net/kml/2.2"><Document>{placemarks}</Document></kml>'
    (tmp_path / "field.kml").write_text(text)
    return tmp_path / "field.kml"


@pytest.mark.parametrize("kind", ["geojson", "gpkg", "zip", "kml"])
def test_a_boundary_of_each_format_and_samples_are_uploaded_and_drawn(tab, workspace, tmp_path, kind):
    folder = new_plan(workspace, f"by {kind}")
    page = tab(f"upload?plan={folder.name}")
    dropper(page).set_input_files([boundary_in(kind, tmp_path), FARM / "samples.csv"])
    page.get_by_text("was read as boundary").wait_for()
    page.get_by_text("samples.csv was read as samples").wait_for()
    frame = page.frame_locator("iframe").first
    frame.locator("path.leaflet-interactive").nth(30).wait_for()
    assert read_told(folder)["samples"]["file"] == "samples.csv"
    if kind == "geojson":
        shot(page, "upload")


def test_a_boundary_is_drawn(tab, workspace):
    folder = new_plan(workspace, "drawn")
    page = tab(f"upload?plan={folder.name}")
    page.get_by_label("Latitude of the field").fill("42.8605")
    page.get_by_label("Longitude").fill("-77.065")
    page.get_by_label("Longitude").press("Enter")
    page.wait_for_timeout(1500)
    frame = page.frame_locator("iframe").first
    frame.locator(".leaflet-draw-draw-polygon").click()
    box = page.locator("iframe").first.bounding_box()
    for dx, dy in ((260, 90), (400, 90), (400, 250), (260, 250), (260, 90)):
        page.mouse.click(box["x"] + dx, box["y"] + dy)
        page.wait_for_timeout(300)  # two clicks at once would be a double click
    page.get_by_role("button", name="Use it as the boundary").click()
    page.get_by_text("boundary.geojson was read as boundary").wait_for()
    shape = gpd.read_file(folder / "boundary.geojson").geometry.iloc[0]
    assert shape.geom_type == "Polygon"
    assert abs(shape.centroid.x + 77.065) < 0.01
    shot(page, "drawn")


def changed_cells(before, after):
    """Cells of a table that are not what they were."""
    old, new = (pd.read_csv(path, dtype=str, keep_default_na=False) for path in (before, after))
    return new.to_numpy()[old.to_numpy() != new.to_numpy()].tolist()


def test_a_sample_that_is_edited_changes_table_and_map(tab, workspace):
    folder = copy_plan(workspace, FARM, name="Edited")
    page = tab(f"map?plan={folder.name}")
    map_frame(page)
    before = read_plan(folder), run(read_plan(folder)).stand.biomass.mean
    page.get_by_role("link", name="Upload").click()
    head(page, "Samples").click()
    page.get_by_label("fresh_lb, row 2", exact=True).fill("9.99")
    for _ in range(50):
        if "9.99" in (folder / "samples.csv").read_text():
            break
        page.wait_for_timeout(100)
    assert changed_cells(FARM / "samples.csv", folder / "samples.csv") == ["9.99"]
    after = run(read_plan(folder)).stand.biomass.mean
    assert not np.allclose(before[1], after, equal_nan=True)
    page.get_by_role("link", name="Map").click()
    frame = map_frame(page)
    frame.locator('input[value="biomass"]').check()
    shot(page, "edited")


def test_a_bad_file_is_told_and_nothing_is_lost(tab, workspace, tmp_path):
    folder = copy_plan(workspace, FARM, name="Bad file")
    (tmp_path / "samples.csv").write_text(
        (FARM / "samples.csv").read_text().replace("1.44", "heavy").replace("42.860531", "2.8")
    )
    (tmp_path / "field.kml").write_text("<kml>")
    page = tab(f"upload?plan={folder.name}")
    dropper(page).set_input_files([tmp_path / "field.kml"])
    page.get_by_text("field.kml: this is not XML").wait_for()
    assert read_told(folder)["field"]["boundary"] == "boundary.geojson"
    dropper(page).set_input_files([tmp_path / "samples.csv"])
    page.get_by_text('row 2: fresh_lb is "heavy"').locator("visible=true").first.wait_for()
    frame = page.frame_locator("iframe").first
    frame.get_by_text("✕ row 2").wait_for()
    shot(page, "bad-row")


def wait_saved(page, folder, key, value):
    """Wait until an answer of the spreader is on disk, whose section comes with its first answer."""
    for _ in range(600):
        saved = read_told(folder).get("spreader", {})
        if saved.get(key) == value:
            return
        page.wait_for_timeout(100)
    raise AssertionError(f"{key} is not {value}; on disk: {saved}")


def test_a_reload_in_the_middle_loses_nothing(tab, workspace):
    folder = copy_plan(workspace, FARM, name="Reloaded")
    page = tab(f"upload?plan={folder.name}")
    head(page, "Spreader").click()
    page.get_by_role("textbox", name="Swath, ft").fill("50")
    page.get_by_role("textbox", name="Swath, ft").press("Enter")
    wait_saved(page, folder, "swath", "50 ft")
    page.reload()
    page.get_by_role("heading", name="Reloaded").wait_for()
    head(page, "Spreader").click()
    expect(page.get_by_role("textbox", name="Swath, ft")).to_have_value("50")
    assert read_told(folder)["spreader"]["swath"] == "50 ft"


def test_two_tabs_change_one_plan(tab, workspace):
    folder = copy_plan(workspace, FARM, name="Two tabs")
    first, second = (tab(f"upload?plan={folder.name}") for _ in range(2))
    for page in (first, second):
        head(page, "Spreader").click()
    for page, label, text, key, value in (
        (first, "Swath, ft", "50", "swath", "50 ft"),
        (second, "Zones at most", "3", "zones_max", 3),
        (first, "Speed, mph", "8", "speed", "8 mph"),
    ):
        page.get_by_role("textbox", name=label).fill(text)
        page.get_by_role("textbox", name=label).press("Enter")
        wait_saved(page, folder, key, value)
    told = read_told(folder)["spreader"]
    assert (told["swath"], told["zones_max"], told["speed"]) == ("50 ft", 3, "8 mph")
    second.reload()
    head(second, "Spreader").click()
    expect(second.get_by_role("textbox", name="Swath, ft")).to_have_value("50")


def test_what_is_typed_while_the_last_answer_is_worked_out_stays(tab, workspace):
    folder = copy_plan(workspace, FARM, name="In a hurry")
    page = tab(f"map?plan={folder.name}")
    map_frame(page)
    for round_, (zones, size) in enumerate((("2", "1.5"), ("4", "0.75"), ("3", "1.25"))):
        page.get_by_role("textbox", name="Zones at most").fill(zones)
        page.get_by_role("textbox", name="Zones at most").press("Tab")
        box = page.get_by_role("textbox", name="Smallest zone, ac")
        box.fill("")
        box.press_sequentially(size, delay=700)  # slower than the redraw
        expect(box).to_have_value(size)
        box.press("Enter")
        wait_saved(page, folder, "zone_min", f"{size} ac")
        assert read_told(folder)["spreader"]["zones_max"] == int(zones), round_


def test_answers_typed_faster_than_a_page_is_drawn_are_all_saved(tab, workspace):
    page = tab(f"upload?plan={new_plan(workspace, 'fast typing').name}")
    head(page, "Spreader").click()
    page.get_by_role("textbox", name="Swath").focus()
    answers = {
        "Swath": "18",
        "Step": "10",
        "Lowest": "40",
        "Highest": "400",
        "Zones at": "5",
        "Smallest": "0.4",
    }
    for text in answers.values():
        page.keyboard.type(text)
        page.keyboard.press("Tab")  # to the next question's help
        page.keyboard.press("Tab")
    folder = workspace / "fast-typing"
    wait_saved(page, folder, "zones_max", 5)
    wait_saved(page, folder, "zone_min", "0.4 ha")
    told = read_told(folder)["spreader"]
    assert (told["swath"], told["rate_step"], told["rate_min"], told["rate_max"]) == (
        "18 m",
        "10 kg/ha",
        "40 kg/ha",
        "400 kg/ha",
    )
    for name, text in answers.items():
        expect(page.get_by_role("textbox", name=name)).to_have_value(text)


def test_a_control_redraws_the_map_where_it_was(tab, workspace):
    folder = copy_plan(workspace, FARM, name="Controls")
    page = tab(f"map?plan={folder.name}")
    frame = map_frame(page)
    frame.locator('input[value="credit"]').check()
    frame.locator(".leaflet-control-zoom-in").click()
    page.wait_for_timeout(500)
    frame_px, page_px = frame.locator("body").evaluate("() => [innerHeight, document.body.scrollHeight]")
    assert abs(frame_px - page_px) <= 2  # nothing of it is hidden below
    before = frame.locator("body").evaluate("() => [map_field.getZoom(), map_field.getCenter().lat]")
    page.get_by_role("textbox", name="Zones at most").fill("2")
    page.get_by_role("textbox", name="Zones at most").press("Enter")
    page.get_by_text("2 zones: ").wait_for()
    page.wait_for_timeout(500)
    frame = page.frame_locator("iframe").first
    frame.locator(".leaflet-container").wait_for()
    after = frame.locator("body").evaluate("() => [map_field.getZoom(), map_field.getCenter().lat]")
    assert after == pytest.approx(before)
    assert frame.locator('input[value="credit"]').is_checked()


def test_a_download_is_of_the_plan_as_another_tab_has_left_it(tab, workspace, tmp_path):
    folder = copy_plan(workspace, FARM, name="Left open")
    page = tab(f"export?plan={folder.name}")
    page.get_by_text("I have read the cautions").click()
    page.get_by_role("button", name="zones.csv", exact=True).wait_for()
    change_plan(folder, [(("spreader", "rate_max"), "300 lb/ac"), (("crop", "need"), "120 lb/ac")])
    with page.expect_download() as caught:
        page.get_by_role("button", name="zones.csv", exact=True).click()
    write_folder(run(read_plan(folder)), tmp_path / "cli")
    assert Path(caught.value.path()).read_bytes() == (tmp_path / "cli" / "zones.csv").read_bytes()


def test_a_tap_on_a_zone_and_on_a_sample_gives_its_numbers(tab, workspace):
    folder = copy_plan(workspace, FARM, name="Tapped")
    page = tab(f"map?plan={folder.name}")
    frame = map_frame(page)
    samples = frame.get_by_label("Samples")
    samples.uncheck()  # none shall lie over the place that is tapped
    page.wait_for_timeout(500)
    label = frame.locator(".zone-label.keep text").first.bounding_box()  # lets clicks through to its zone
    page.mouse.click(label["x"] + label["width"] / 2, label["y"] + label["height"] / 2)
    popup = frame.locator(".leaflet-popup-content", has_text="Credit")
    expect(popup).to_be_visible()
    assert popup.inner_text().count("lb/ac") >= 2
    frame.locator(".leaflet-popup-close-button").click()
    samples.check()
    frame.locator("path.sample").first.click(force=True)
    expect(frame.get_by_text("Dry biomass by the other samples")).to_be_visible()


@pytest.mark.parametrize("width", [768, 1280, 1700])
def test_links_title_and_map_have_one_edge_and_one_font_and_the_switch_stands_beside_the_links(
    tab, workspace, width
):
    folder = workspace / "edges"
    if not folder.exists():
        folder = copy_plan(workspace, FARM, name="Edges")
    page = tab(f"map?plan={folder.name}", viewport={"width": width, "height": 900})
    map_frame(page)
    seen = page.evaluate("""() => {
      const box = (found) => ['left', 'right', 'top', 'bottom'].map((side) => found.getBoundingClientRect()[side]);
      const link = document.querySelector('[data-testid="stTopNavLink"]');
      const frame = document.querySelector("iframe");
      return {
        text: link.getBoundingClientRect().left + parseFloat(getComputedStyle(link).paddingLeft),
        link: box(link), title: box(document.querySelector("h1")), frame: box(frame),
        units: box(document.querySelector('.st-key-units [data-testid="stButtonGroup"]')),
        fonts: [document.querySelector("h1"), link, frame.contentDocument.body]
          .map((found) => getComputedStyle(found).fontFamily.split(",").slice(0, 7).map((name) => name.trim())),
      };
    }""")
    assert seen["text"] == pytest.approx(seen["title"][0], abs=1)
    assert seen["frame"][0] == pytest.approx(seen["title"][0], abs=1)
    middle = [(seen[name][2] + seen[name][3]) / 2 for name in ("link", "units")]
    assert middle[0] == pytest.approx(middle[1], abs=2)
    assert seen["units"][1] == pytest.approx(width - seen["title"][0], abs=1)
    assert seen["fonts"][0] == seen["fonts"][1] == seen["fonts"][2]
    assert seen["fonts"][0][0] == "system-ui"


@pytest.mark.parametrize("path", ["", "upload", "map", "season", "export"])
def test_on_a_phone(tab, workspace, path):
    folder = workspace / "phone"
    if not folder.exists():
        folder = copy_plan(workspace, FARM, name="Phone")
    page = tab(f"{path}?plan={folder.name}", viewport={"width": 390, "height": 844})
    page.get_by_text("Phone").first.wait_for()
    page.wait_for_timeout(2500)
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    shot(page, f"phone-{path or 'plans'}")


def test_with_sign_in_configured_no_page_shows_without_it(chromium, tmp_path):
    new_plan(tmp_path, "Secret ground")
    (tmp_path / "secrets.toml").write_text(SECRETS)
    with (
        served(tmp_path, f"--secrets.files={tmp_path / 'secrets.toml'}") as server,
        chromium.new_context() as context,
    ):
        for path in ("", "upload?plan=secret-ground", "map", "season", "export"):
            page = context.new_page()
            page.goto(f"{server.address}/{path}")
            page.get_by_role("button", name="Sign in").wait_for()
            page.wait_for_timeout(300)
            assert page.get_by_text("Secret ground").count() == 0
            page.close()


def test_a_server_open_to_the_network_shows_nothing(chromium, tmp_path):
    new_plan(tmp_path, "Secret ground")
    with served(tmp_path, "--server.address=0.0.0.0") as server, chromium.new_context() as context:
        page = context.new_page()
        page.goto(server.address)
        page.get_by_text("nobody has to sign in").wait_for()
        assert page.get_by_text("Secret ground").count() == 0


def test_text_of_a_file_is_shown_and_never_run(tab, workspace):
    payload = (
        "<img src=x onerror=window.top.HIT=1><script>window.top.HIT=1</script>${window.top.HIT=1}{{7*7}}"
    )
    folder = copy_plan(workspace, FARM, name=payload[:100])
    shapes = json.loads((folder / "boundary.geojson").read_text())
    shapes["features"][1]["properties"]["block"] = payload
    (folder / "boundary.geojson").write_text(json.dumps(shapes))
    for path in ("upload", "map", "season", "export", ""):
        page = tab(f"{path}?plan={folder.name}")
        page.wait_for_timeout(3000)
        assert page.evaluate("() => window.HIT") is None


WENT_WRONG = re.compile("Something went wrong|encountered an error|An error occurred")


def set_zones(page, folder, number):
    zones = page.get_by_role("textbox", name="Zones at most")
    zones.fill(str(number))
    zones.press("Enter")
    wait_saved(page, folder, "zones_max", number)


def test_the_map_stands_on_every_way_to_it(tab, workspace):
    folder = copy_plan(workspace, FARM, name="Every way")
    page = tab(f"map?plan={folder.name}")
    map_frame(page)
    for number, way in enumerate((None, "Season", "Export", "Upload", "reload", "another tab"), start=2):
        if way == "reload":
            page.reload()
        elif way == "another tab":
            page = tab(f"map?plan={folder.name}")
        elif way is not None:
            page.get_by_role("link", name=way).first.click()
            page.wait_for_timeout(1000)
            page.get_by_role("link", name="Map").first.click()
        map_frame(page)
        set_zones(page, folder, number)
        expected = len({row.zone for row in run(read_plan(folder)).spread.zone_map.rows})
        page.get_by_text(f"{expected} zones: ").wait_for()
        expect(page.get_by_text(WENT_WRONG)).to_have_count(0)
        map_frame(page)


FAULTY = """
from fieldmap.app.session import results

whole = results.run

def run(plan, **options):
    if plan.spreader.zones_max == 4:
        raise RuntimeError("broken on purpose")
    return whole(plan, **options)

def broken(result):
    raise RuntimeError("broken while drawing")

results.run = run
results.page.map_page, drawn = broken, results.page.map_page
results.page.map_page = lambda result, **how: (
    broken(result) if result.plan.spreader.zones_max == 6 else drawn(result, **how)
)
from fieldmap.app.main import main

main()
"""


def test_a_fault_of_the_program_leaves_the_last_map_and_offers_no_outside_link(chromium, tmp_path):
    folder = copy_plan(tmp_path, FARM, name="Faulty")
    script = tmp_path / "faulty.py"
    script.write_text(FAULTY)
    with served(tmp_path, script=script) as server, chromium.new_context() as context:
        page = context.new_page()
        page.goto(f"{server.address}/map?plan={folder.name}")
        map_frame(page)
        set_zones(page, folder, 4)
        page.get_by_text("The map is of the plan before the last change").wait_for()
        page.get_by_text("it failed on the plan as it stands").wait_for()
        map_frame(page)
        set_zones(page, folder, 3)
        expect(page.get_by_text("it failed on the plan as it stands")).to_have_count(0)
        set_zones(page, folder, 6)
        page.get_by_text("Something went wrong here that is not your doing").wait_for()
        for link in page.get_by_role("link").all():
            assert link.get_attribute("href").startswith(("#", "/", server.address)), link.get_attribute(
                "href"
            )
        said = server.log.read_text()
        assert 'RuntimeError("broken on purpose")' in said
        assert 'RuntimeError("broken while drawing")' in said
