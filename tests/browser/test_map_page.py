"""map.html in a browser, on a desk and on a phone, without a network."""

import io
import json

import numpy as np
import pytest
from matplotlib.colors import to_rgb
from PIL import Image
from shapely.geometry import box
from support.small_fields import DEFAULT_BLOCKS

from fieldmap import read_plan, run
from fieldmap.report.palette import zone_colours
from fieldmap.report.summary import main_numbers, zone_cells, zone_columns
from fieldmap.units import rate_text
from fieldmap.webmap.page import write_map
from fieldmap.webmap.views import map_views

pytestmark = pytest.mark.browser

PAYLOADS = {
    "image": "<img src=x onerror=window.HIT=1>",
    "script": "</script><script>HIT=1</script>",
    "template literal": "${window.HIT=1}",
    "backtick": "`+(window.HIT=1)+`",
    "jinja": "{{ 7*7 }}{% set x=1 %}{# #}",
}


@pytest.fixture(scope="module")
def file(result, tmp_path_factory):
    path = tmp_path_factory.mktemp("map") / "map.html"
    write_map(result, path)
    return path


def boxes(page, script):
    """Bounding boxes, [left, top, right, bottom], of the elements a script gives."""
    corners = ".map((e) => e.getBoundingClientRect()).map((b) => [b.left, b.top, b.right, b.bottom])"
    return np.array(page.evaluate(f"() => ({script}){corners}"), dtype=float).reshape(-1, 4)


def elements(selector):
    return f"[...document.querySelectorAll({json.dumps(selector)})]"


OUTLINES = "geo_json_outline.getLayers().map((layer) => layer.getElement())"
ZONES = elements(".leaflet-views-pane path")
SAMPLES = elements("path.sample")
LABELS = elements(".zone-label:not(.gone)")
CANVAS = elements(".canvas")


def look_at(page, selector):
    """Scroll an element to the middle of the window."""
    page.evaluate(
        "(selector) => document.querySelector(selector).scrollIntoView({block: 'center'})", selector
    )


def settle(page):
    """Wait until the map has come to rest."""
    before = boxes(page, OUTLINES)
    for _ in range(50):
        page.wait_for_timeout(80)
        now = boxes(page, OUTLINES)
        if np.array_equal(before, now):
            return
        before = now
    pytest.fail("the map does not come to rest")


def within(inner, outer, slack=0.5):
    return (
        (inner[:, :2] >= outer[:, :2] - slack).all()
        and (inner[:, 2:] <= outer[:, 2:] + slack).all()
        and (inner[:, 2:] > inner[:, :2]).all()
    )


@pytest.mark.parametrize("screen", ["1280", "1440", "390"])
def test_all_of_the_map_is_in_sight(result, file, opened, screen, tmp_path):
    seen = opened(file, screen)
    page = seen.page
    look_at(page, ".canvas")
    canvas = boxes(page, CANVAS)
    size = page.viewport_size
    assert within(canvas, np.array([[0, 0, size["width"], size["height"]]]))
    for found, number in (
        (OUTLINES, len(result.field.blocks)),
        (ZONES, len(result.spread.zone_map.zones)),
        (SAMPLES, len(result.stand.samples)),
    ):
        shapes = boxes(page, found)
        assert len(shapes) == number
        assert within(shapes, canvas)
    labels = page.locator(".zone-label:not(.gone)")
    said = {tuple(text.split("zone ")) for text in labels.all_text_contents()}
    cells = [zone_cells(zone, result.plan.units) for zone in result.spread.zone_map.zones]
    assert said == {(row[8], row[0]) for row in cells}
    whole = page.locator(".zone-label:not(.gone):not(.short) tspan + tspan").all_text_contents()
    assert set(whole) == {f"zone {row[0]}" for row in cells}
    assert within(boxes(page, elements(".zone-label:not(.gone) text")), canvas, slack=6)
    look_at(page, ".legend:not([hidden])")
    legend = boxes(page, elements(".legend:not([hidden])"))
    assert len(legend) == 1
    assert within(legend, np.array([[0, 0, size["width"], size["height"]]]))
    assert page.evaluate("document.documentElement.scrollWidth") <= size["width"]
    page.screenshot(path=tmp_path / f"{screen}.png", full_page=True)
    assert seen.requests == []
    assert seen.messages == []


def painted(page):
    """The share of the map that each colour covers, by looking at it."""
    image = Image.open(io.BytesIO(page.locator(".canvas").screenshot())).convert("RGB")
    pixels = np.asarray(image).reshape(-1, 3).astype(int)

    def share(colour):
        wanted = np.round(np.array(to_rgb(colour)) * 255).astype(int)
        return float((np.abs(pixels - wanted).max(axis=1) <= 2).mean())

    return share


@pytest.mark.parametrize("screen", ["1280", "390"])
def test_each_view_paints_the_colours_of_its_legend(result, file, opened, screen, tmp_path):
    page = opened(file, screen).page
    for colour in zone_colours(result.applications[0]).values():
        assert painted(page)(colour) > 0.005
    for view in map_views(result):
        page.locator(f"input[value={view.key}]").check(force=True)
        page.wait_for_timeout(50)
        share = painted(page)
        page.screenshot(path=tmp_path / f"{screen}-{view.key}.png")
        colours = [colour for swatch in view.legend for colour in swatch.colours]
        assert sum(share(colour) for colour in colours) > 0.15
        legends = page.locator(".legend:visible")
        assert legends.count() == 1
        assert legends.get_attribute("aria-label") == f"Legend: {view.legend_title}"
        assert legends.locator("li").all_text_contents() == [swatch.text for swatch in view.legend]
        findings = page.locator(".finding:visible")
        assert findings.all_text_contents() == [view.finding]
        assert page.locator(".leaflet-views-pane img").count() == (view.picture is not None)
        assert (page.locator(".leaflet-views-pane path").count() > 0) == (view.picture is None)
        assert page.locator("path.sample").count() == len(result.stand.samples)
        assert len(boxes(page, OUTLINES)) == len(result.field.blocks)


def test_nothing_jumps_when_the_view_changes(file, opened):
    page = opened(file, "390").page
    before = boxes(page, CANVAS)
    for key in ("credit", "biomass", "doubt", "zones"):
        page.locator(f"input[value={key}]").check(force=True)
        assert np.array_equal(boxes(page, CANVAS), before)


def test_views_can_be_chosen_with_the_keyboard(file, opened):
    page = opened(file).page
    page.locator("input[value=zones]").focus()
    page.keyboard.press("ArrowRight")
    assert page.locator("input[value=received]").is_checked()
    assert page.locator(".leaflet-views-pane img").count() == 1


@pytest.mark.parametrize("screen", ["1280", "390"])
def test_a_picture_lies_inside_its_boundary(file, opened, screen):
    page = opened(file, screen).page
    page.locator("input[value=credit]").check(force=True)
    (picture,) = boxes(page, elements(".leaflet-views-pane img"))
    outlines = boxes(page, OUTLINES)
    outline = np.concatenate([outlines[:, :2].min(axis=0), outlines[:, 2:].max(axis=0)])
    assert np.abs(picture - outline).max() < 2.0


@pytest.mark.parametrize("screen", ["1280", "390"])
def test_overlays_can_be_switched(result, file, opened, screen):
    page = opened(file, screen).page
    control = page.locator(".leaflet-control-layers")
    if screen == "390":
        assert not control.locator("label").first.is_visible()
        control.locator(".leaflet-control-layers-toggle").tap()
    names = [text.strip() for text in control.locator("label").all_text_contents()]
    overlays = ["No-spread areas"] if not result.field.no_spread.is_empty else []
    assert names == [
        "No background",
        "Online background (needs internet)",
        *overlays,
        "Passes and loads",
        "Samples",
    ]
    assert control.get_by_label("No background").is_checked()
    control.get_by_label("Samples").uncheck()
    assert page.locator("path.sample").count() == 0
    control.get_by_label("Samples").check()
    assert page.locator("path.sample").count() == len(result.stand.samples)
    if overlays:
        drawn = page.locator(".leaflet-overlay-pane path").count()
        control.get_by_label("No-spread areas").uncheck()
        assert page.locator(".leaflet-overlay-pane path").count() == drawn - 2  # area and hatching


def test_the_background_is_asked_for_only_when_it_is_chosen(file, opened):
    seen = opened(file)
    seen.page.locator(".leaflet-control-zoom-in").click()
    assert seen.requests == []
    seen.page.get_by_label("Online background (needs internet)").check()
    seen.page.wait_for_timeout(300)
    assert seen.requests
    assert {request.split("/")[2] for request in seen.requests} == {"tile.openstreetmap.org"}
    assert "OpenStreetMap" in seen.page.locator(".leaflet-control-attribution").text_content()


def largest_zone(result):
    return max(
        range(len(result.spread.zone_map.zones)), key=lambda k: result.spread.zone_map.zones[k].area_ha
    )


def clear_place(page, number):
    """A point of the window where a zone is hit and no sample lies over it."""
    return page.evaluate(
        """(number) => {
          const path = document.querySelectorAll(".leaflet-views-pane path")[number];
          const b = path.getBoundingClientRect();
          const hits = [];
          for (let i = 1; i < 40; i++) for (let j = 1; j < 40; j++) {
            const x = b.left + (b.width * i) / 40, y = b.top + (b.height * j) / 40;
            if (document.elementFromPoint(x, y) === path) hits.push([x, y]);
          }
          const near = ([x, y]) => hits.filter((hit) => Math.hypot(hit[0] - x, hit[1] - y) < 15).length;
          return hits.sort((a, b) => near(b) - near(a))[0];
        }""",
        number,
    )


def bubble(page, selector):
    """The rows of a tip or popup, when the map has come to rest."""
    rows = page.locator(f"{selector} tr")
    rows.first.wait_for()
    settle(page)
    return [tuple(cell.strip() for cell in row.locator("th, td").all_text_contents()) for row in rows.all()]


def test_a_tap_on_a_zone_gives_its_numbers(result, file, opened, tmp_path):
    seen = opened(file, "390")
    page = seen.page
    look_at(page, ".canvas")
    number = largest_zone(result)
    x, y = clear_place(page, number)
    page.touchscreen.tap(x, y)
    told = bubble(page, ".leaflet-popup")
    assert tuple(value for _, value in told) == zone_cells(
        result.spread.zone_map.zones[number], result.plan.units
    )
    headings = tuple(heading for heading, _ in told)
    assert tuple(h.removesuffix(" (90 % interval)") for h in headings) == zone_columns(
        result.plan.units, result.spread.zone_map.zones
    )
    assert within(boxes(page, elements(".leaflet-popup")), boxes(page, CANVAS))
    assert page.locator(".leaflet-tooltip:visible").count() == 0
    page.screenshot(path=tmp_path / "tap.png")
    page.locator(".leaflet-popup-close-button").tap()
    page.locator(".leaflet-popup").wait_for(state="detached")
    assert seen.messages == []
    assert seen.requests == []


@pytest.mark.parametrize("screen", ["1280", "390"])
def test_a_sample_gives_its_weighing(result, file, opened, screen):
    seen = opened(file, screen)
    page = seen.page
    look_at(page, ".canvas")
    x_0, y_0, x_1, y_1 = boxes(page, SAMPLES)[0]
    x, y = (x_0 + x_1) / 2, (y_0 + y_1) / 2
    if screen == "390":
        page.touchscreen.tap(x, y)
        told = bubble(page, ".leaflet-popup")
    else:
        page.mouse.move(x, y)
        told = bubble(page, ".leaflet-tooltip")
    samples = result.stand.samples
    nitrogen = f"{result.stand.nitrogen.nitrogen_pct[0]:.2f} %"
    if not np.isfinite(samples.nitrogen_pct[0]):
        nitrogen += " (not measured)"
    left_out = rate_text(float(result.stand.biomass.fit.loo_predicted[0]), result.plan.units)
    assert told == [
        ("Sample", samples.label[0]),
        ("Dry biomass", rate_text(float(samples.dry_kg_ha[0]), result.plan.units)),
        ("N in dry matter", nitrogen),
        *([("Dry biomass by the other samples", left_out)] if screen == "390" else []),
    ]
    assert seen.messages == []


def test_the_mouse_gets_a_tip_and_a_click_replaces_it(result, file, opened):
    page = opened(file).page
    number = largest_zone(result)
    x, y = clear_place(page, number)
    page.mouse.move(x, y)
    cells = zone_cells(result.spread.zone_map.zones[number], result.plan.units)
    assert [value for _, value in bubble(page, ".leaflet-tooltip")] == [cells[k] for k in (0, 1, 5, 8, 9)]
    page.mouse.click(x, y)
    bubble(page, ".leaflet-popup")
    page.locator(".leaflet-tooltip").wait_for(state="detached")
    page.mouse.move(x + 3, y + 3)
    page.locator(".leaflet-tooltip").wait_for(state="detached")


def test_the_whole_field_comes_back(file, opened):
    page = opened(file).page
    before = boxes(page, OUTLINES)
    for _ in range(2):
        page.locator(".leaflet-control-zoom-in").click()
        settle(page)
    assert not np.allclose(boxes(page, OUTLINES), before, atol=5)
    page.locator("#whole-field").click()
    settle(page)
    assert np.allclose(boxes(page, OUTLINES), before, atol=2)


@pytest.mark.parametrize("screen", ["1280", "390"])
def test_the_main_numbers_are_above_or_beside_the_map(result, file, opened, screen):
    page = opened(file, screen).page
    lines = page.locator(".numbers dl > div")
    for k, line in enumerate(main_numbers(result)):
        assert lines.nth(k).locator("dt").text_content() == line.title
        assert lines.nth(k).locator("dd").text_content() == line.text
    rows = boxes(page, elements(".numbers dl > div"))
    assert (np.diff(rows[:, 1]) > 0).all()
    (canvas,) = boxes(page, CANVAS)
    if screen == "390":
        assert rows[-1, 3] <= canvas[1]
    else:
        assert (rows[:, 0] >= canvas[2]).all()
        assert rows[0, 1] < canvas[3]


def test_the_table_scrolls_inside_its_own_box_on_a_phone(file, opened):
    page = opened(file, "390").page
    inner, outer = page.evaluate(
        "(() => { const e = document.querySelector('.scroll'); return [e.scrollWidth, e.clientWidth]; })()"
    )
    assert inner > outer
    page.evaluate("document.querySelector('.scroll').scrollLeft = 1000")
    zone = boxes(page, elements(".scroll tbody th"))
    assert (np.abs(zone[:, 0] - 16) < 1).all()  # the zone stays in sight
    assert page.evaluate("document.documentElement.scrollWidth") == 390


def test_buttons_are_large_enough_for_a_thumb(file, opened):
    """WCAG 2.2, 2.5.8 (AA): 24 by 24 pixels at least."""
    page = opened(file, "390").page
    wanted = "fieldset label, #whole-field, summary, .leaflet-control-zoom a, .leaflet-control-layers-toggle"
    found = boxes(page, elements(wanted))
    assert len(found) == 12
    assert (found[:, 2:] - found[:, :2] >= 24).all()


def test_all_cautions_open(result, file, opened):
    page = opened(file).page
    last = page.get_by_text(result.cautions[-1], exact=True)
    assert not last.is_visible()
    page.locator("summary").click()
    assert last.is_visible()


def test_without_javascript_the_numbers_and_the_table_are_there(result, file, opened):
    page = opened(file, java_script_enabled=False).page
    assert page.get_by_text(main_numbers(result)[0].text, exact=True).is_visible()
    assert page.locator("tbody tr").count() == len(result.spread.zone_map.zones)
    assert page.locator("noscript").is_visible()


def test_a_script_that_is_not_the_pages_own_is_refused(file, opened):
    seen = opened(file)
    seen.page.evaluate(
        "document.body.append(Object.assign(document.createElement('script'), {textContent: 'window.HIT = 1'}))"
    )
    assert seen.page.evaluate("window.HIT") is None
    assert any("Content Security Policy" in message for message in seen.messages)


@pytest.mark.parametrize("payload", PAYLOADS.values(), ids=PAYLOADS)
def test_text_runs_nowhere_and_is_shown_as_written(payload, plan_folder, opened, tmp_path):
    """Without the page's policy, so that it is the escaping that is tested."""
    quoted = '"' + payload.replace('"', '""') + '"'
    folder = plan_folder(
        blocks={payload: DEFAULT_BLOCKS["field"]},
        sample=[quoted] * 24,
        note=[quoted] * 24,
        edits=[
            ('name = "Test field"', f"name = {json.dumps(payload)}"),
            ('product = "urea"', f'product = {{ name = {json.dumps(payload)}, nitrogen = "46 %" }}'),
        ],
    )
    result = run(read_plan(folder))
    path = tmp_path / "map.html"
    write_map(result, path)
    text = path.read_text(encoding="utf-8")
    assert "Content-Security-Policy" in text
    path.write_text(text.replace("Content-Security-Policy", "X-Nothing"), encoding="utf-8")
    seen = opened(path)
    page = seen.page
    assert payload in page.title()
    assert page.locator("h1").text_content().startswith(payload)
    assert payload in page.locator(".numbers").text_content()
    assert page.locator("tbody td").first.text_content() == payload
    x, y = clear_place(page, 0)
    page.mouse.move(x, y)
    assert ("Block", payload) in bubble(page, ".leaflet-tooltip")
    page.mouse.click(x, y)
    assert ("Block", payload) in bubble(page, ".leaflet-popup")
    page.locator(".leaflet-popup-close-button").click()
    page.locator(".leaflet-popup").wait_for(state="detached")
    page.mouse.move(0, 0)
    x_0, y_0, x_1, y_1 = boxes(page, SAMPLES)[0]
    page.mouse.move((x_0 + x_1) / 2, (y_0 + y_1) / 2)
    assert ("Sample", payload) in bubble(page, ".leaflet-tooltip")
    page.mouse.click((x_0 + x_1) / 2, (y_0 + y_1) / 2)
    assert ("Sample", payload) in bubble(page, ".leaflet-popup")
    page.wait_for_timeout(100)
    assert page.evaluate("window.HIT") is None
    assert page.locator("img[src=x]").count() == 0
    assert seen.messages == []
    assert seen.requests == []
    assert page.evaluate("document.documentElement.scrollWidth") <= 1280


def test_several_blocks_share_one_map(plan_folder, opened, tmp_path):
    blocks = {"left": box(0, 0, 150, 200), "right": box(150, 0, 300, 200)}
    result = run(read_plan(plan_folder(blocks=blocks)))
    path = tmp_path / "map.html"
    write_map(result, path)
    page = opened(path).page
    left, right = boxes(page, OUTLINES)
    assert left[2] == pytest.approx(right[0], abs=6.0)  # they lean a little
    assert len(boxes(page, ZONES)) == len(result.spread.zone_map.zones)


@pytest.mark.parametrize("screen", ["1280", "390"])
def test_what_to_do_follows_the_map_on_a_phone_and_the_numbers_on_a_desk(result, file, opened, screen):
    page = opened(file, screen).page
    lines = page.locator(".todo li")
    assert lines.count() == len(result.actions)
    for k, text in enumerate(result.action_texts):
        assert lines.nth(k).locator("b").text_content() == text.when
        assert text.what in lines.nth(k).text_content()
    (canvas,), (todo,), (numbers,) = (
        boxes(page, elements(name)) for name in (".canvas", ".todo", ".numbers")
    )
    if screen == "390":
        assert todo[1] >= canvas[3]
    else:
        assert todo[0] >= canvas[2]
        assert todo[1] >= numbers[3]
