"""map.html: one file, nothing from a network, the run's own words and numbers, and text that stays text."""

import base64
import copy
import hashlib
import html
import io
import json
import re
from dataclasses import replace
from importlib.resources import files

import folium
import matplotlib as mpl
import numpy as np
import pyproj
import pytest
import shapely
from lxml import html as lxml_html
from matplotlib.colors import to_hex, to_rgb
from PIL import Image
from shapely.geometry import box
from support.small_fields import with_zone_map

from fieldmap import read_plan, run
from fieldmap.report.findings import biomass_says, credit_says, zones_say
from fieldmap.report.palette import round_borders, zone_colours
from fieldmap.report.summary import main_numbers, zone_cells, zone_columns
from fieldmap.units import rate_text, shown_rate
from fieldmap.webmap.features import literal, to_map
from fieldmap.webmap.layers import ZONE_ROWS, build_map
from fieldmap.webmap.page import map_page, write_map
from fieldmap.webmap.views import map_views

LEAFLET = files("fieldmap") / "assets" / "leaflet"
TILE_HOST = "https://tile.openstreetmap.org"


@pytest.fixture(scope="module")
def page(result):
    return map_page(result)


@pytest.fixture(scope="module")
def tree(page):
    return lxml_html.fromstring(page)


def words(element):
    return " ".join(element.text_content().split())


# One file, from disk, without a network.


def test_the_file_is_small_and_the_same_every_time(result, tmp_path):
    for name in ("first.html", "second.html"):
        write_map(result, tmp_path / name)
    first, second = ((tmp_path / name).read_bytes() for name in ("first.html", "second.html"))
    assert first == second
    assert len(first) < 400_000
    assert b"\r" not in first


def test_nothing_but_the_optional_background_is_addressed(page):
    addresses = set(re.findall(r"""\w+://[^\s"'<>);]+""", page))
    # A namespace names a standard; nobody fetches it.
    addresses -= {address for address in addresses if address.startswith("http://www.w3.org/")}
    assert {"/".join(address.split("/")[:3]) for address in addresses} == {
        TILE_HOST,
        "https://www.openstreetmap.org",
    }
    assert "sourceMappingURL" not in page
    assert not re.search(r"""(src|href)=["']?//""", page)
    assert not re.search(r"jquery|bootstrap|font-?awesome|awesome-markers", page, re.IGNORECASE)


def test_no_element_loads_anything(tree):
    assert tree.xpath("//script/@src | //img/@src | //iframe | //object | //embed | //form") == []
    assert tree.xpath("//link/@href") == ["data:,"]


def test_the_policy_names_every_script_by_its_hash(page, tree):
    (policy,) = tree.xpath("//meta[@http-equiv='Content-Security-Policy']/@content")
    directives = dict(part.strip().split(" ", 1) for part in policy.split(";"))
    scripts = re.findall(r"<script>(.*?)</script>", page, re.DOTALL)
    hashed = [base64.b64encode(hashlib.sha256(script.encode()).digest()).decode() for script in scripts]
    assert directives["script-src"].split() == [f"'sha256-{digest}'" for digest in hashed]
    assert len(scripts) == 3
    assert directives["default-src"] == "'none'"
    assert directives["img-src"] == f"data: {TILE_HOST}"


def test_leaflet_is_the_published_one():
    """Subresource hashes of Leaflet 1.9.4 as its download page gives them (from memory)."""
    script = (LEAFLET / "leaflet.js").read_bytes() + b"//# sourceMappingURL=leaflet.js.map"
    assert sha256(script) == "20nQCchB9co0qIjJZRGuk2/Z9VM+kNiyxNV1lvTlZBo="
    assert sha256((LEAFLET / "leaflet.css").read_bytes()) == "p4NxAoJBhIIN+hmNHrzRCf9tD/miZyoHS5obTRR9BMY="


def sha256(content):
    return base64.b64encode(hashlib.sha256(content).digest()).decode()


def test_leaflet_brings_its_licence(page):
    licence = (LEAFLET / "LICENSE").read_text(encoding="utf-8")
    assert "BSD 2-Clause" in licence
    assert licence in page


def test_the_style_sheet_holds_its_pictures(page):
    assert "url(images" not in page
    pictures = re.findall(r"url\(data:image/png;base64,([^)]+)\)", page)
    assert {Image.open(io.BytesIO(base64.b64decode(picture))).size for picture in pictures} == {
        (26, 26),
        (52, 52),
        (25, 41),
    }


# What it says.


def test_name_and_finding_head_the_page(result, tree):
    assert words(tree.xpath("//h1")[0]).startswith(result.plan.name)
    finding = zones_say(result.applications[0], result.field, result.plan.units)
    assert tree.xpath("//title/text()") == [f"{result.plan.name}: {finding}"]
    shown = [words(p) for p in tree.xpath("//p[@class='finding'][not(@hidden)]")]
    assert shown == [" ".join(finding.split())]


def test_the_main_numbers_stand_before_the_map_in_their_order(result, tree):
    said = [
        (words(row.find("dt")), words(row.find("dd"))) for row in tree.xpath("//*[@class='numbers']//div[dt]")
    ]
    assert said == [(line.title, " ".join(line.text.split())) for line in main_numbers(result)]
    order = [element.get("class") for element in tree.xpath("//main/section")]
    assert order == ["numbers", "map", "todo", "table", "notes"]


def test_the_table_repeats_the_summary(result, tree):
    (table,) = tree.xpath("//table")
    assert tuple(words(cell) for cell in table.xpath("./thead//th[@scope='col']")) == zone_columns(
        result.plan.units, result.spread.zone_map.zones
    )
    rows = [tuple(words(cell) for cell in row) for row in table.xpath("./tbody/tr")]
    assert rows == [zone_cells(zone, result.plan.units) for zone in result.spread.zone_map.zones]
    assert len(table.xpath("./tbody//th[@scope='row']")) == len(rows)


def test_nitrogen_and_product_have_columns_of_their_own(result):
    headings = zone_columns(result.plan.units, result.spread.zone_map.zones)
    assert sum(heading.startswith("N rate") for heading in headings) == 1
    assert not [heading for heading in headings if "N " in heading and "Product" in heading]


def test_the_interval_is_explained_once(tree):
    text = words(tree.xpath("//main")[0])
    assert text.count("90 % interval") == 1


def test_warnings_and_cautions(result, tree):
    notes = words(tree.xpath("//*[@class='notes']")[0])
    for warning in result.warnings:
        assert " ".join(warning.split()) in notes
    (details,) = tree.xpath("//details[not(@open)]")
    assert [words(item) for item in details.xpath(".//li")] == [" ".join(c.split()) for c in result.cautions]
    visible = tree.xpath("//*[@class='notes']/p")
    assert [words(p) for p in visible] == [" ".join(result.cautions[0].split())]


def test_the_legend_has_words_units_and_few_rows(result, tree):
    unit = {"us": "lb/ac", "metric": "kg/ha"}[result.plan.units]
    legends = tree.xpath("//*[@class='legend']")
    assert len(legends) == len(tree.xpath("//input[@name='view']")) == 7
    for legend in legends:
        assert legend.get("aria-label").startswith("Legend: ")
        assert unit in words(legend.find("p"))
        assert 1 <= len(legend.xpath("./ul/li")) <= 6
        assert all(words(row) for row in legend.xpath("./ul/li"))


def test_only_the_users_units_are_on_the_page(result, page):
    other = {"us": ("kg/ha", " ha<", 'metric": true'), "metric": ("lb/ac", " ac<", 'imperial": true')}
    for word in other[result.plan.units]:
        assert word not in page


def test_the_first_view_is_the_zones_and_the_background_is_off(result, tree, page):
    assert tree.xpath("//input[@name='view'][@checked]/@value") == ["zones"]
    (tiles,) = re.findall(r"var (tile_layer_\w+) = L\.tileLayer", page)
    assert f"{tiles}.addTo" not in page
    names = re.findall(r'"([^"]+)" : \w+,', page)
    no_spread = [] if result.field.no_spread.is_empty else ["No-spread areas"]
    backgrounds = ["No background", "Online background (needs internet)"]
    assert names == [*backgrounds, *no_spread, "Passes and loads", "Samples"]


def test_every_zone_carries_its_rate_and_number(result, page):
    labels = re.findall(r"\\u003e(\d[\d,]*)\\u003c/tspan.*?\\u003ezone (\d+)\\u003c/tspan", page)
    cells = [zone_cells(zone, result.plan.units) for zone in result.spread.zone_map.zones for _ in zone.parts]
    assert labels == [(row[8], row[0]) for row in cells]
    assert len(re.findall(r"zone-label keep", page)) == len(
        {zone.zone for zone in result.spread.zone_map.zones}
    )


def test_samples_and_zones_tell_their_numbers(result):
    figure = build_map(result, map_views(result)).get_root()
    figure.render()
    script = figure.script.render()
    samples = result.stand.samples
    told = [feature["properties"] for feature in features(script) if "dry" in feature["properties"]]
    assert [sample["sample"] for sample in told] == [literal(name) for name in samples.label]
    assert [sample["dry"] for sample in told] == [
        rate_text(float(kg_ha), result.plan.units) for kg_ha in samples.dry_kg_ha
    ]
    measured = [not sample["nitrogen"].endswith("(not measured)") for sample in told]
    assert measured == np.isfinite(samples.nitrogen_pct).tolist()
    zones = [f["properties"] for f in features(script) if "rate_n" in f["properties"]]
    assert [tuple(zone[name] for name in ZONE_ROWS if name in zone) for zone in zones] == [
        tuple(literal(cell) for cell in zone_cells(zone, result.plan.units))
        for zone in result.spread.zone_map.zones
    ]


def features(script):
    found = []
    for text in re.findall(r"_add\((\{.*\})\);", script):
        found += json.loads(text)["features"]
    return found


def test_heavier_samples_have_larger_circles(result, page):
    (radii_text,) = re.findall(
        r"function geo_json_\d+_styler\(feature\) \{((?:(?!function).)*?\"radius\".*?)\n\s+function",
        page,
        re.DOTALL,
    )
    by_id = {}
    for case, style in re.findall(r"((?:case \d+: )+)\s*return (\{.*?\});", radii_text):
        by_id |= {int(number): json.loads(style)["radius"] for number in re.findall(r"\d+", case)}
    default = json.loads(re.search(r"default:\s*return (\{.*?\});", radii_text)[1])["radius"]
    radii = np.array([by_id.get(number, default) for number in range(len(result.stand.samples))])
    order = np.argsort(result.stand.samples.dry_kg_ha)
    assert (np.diff(radii[order]) >= 0).all()
    assert 3.0 <= radii.min() <= radii.max() == 8.0


# Where things are.


def test_mercator_is_that_of_the_reference_library(result):
    """EPSG:3857 by PROJ."""
    corners = map_views(result)[1].picture.corners
    forward = pyproj.Transformer.from_crs(4326, 3857, always_xy=True)
    west, north = forward.transform(corners[0][1], corners[1][0])
    outline = shapely.transform(
        to_map(result.field.outline, result.field), lambda xy: np.column_stack(forward.transform(*xy.T))
    )
    assert west == pytest.approx(outline.bounds[0], abs=1e-6)
    assert north == pytest.approx(outline.bounds[3], abs=1e-6)


@pytest.mark.parametrize("key", ["credit", "biomass", "doubt"])
def test_the_picture_shows_each_cell_in_its_class(result, key):
    """Every cell's centre, projected by PROJ, meets the colour that the legend gives its value."""
    view = next(view for view in map_views(result) if view.key == key)
    raster = {
        "credit": result.budget.credit.credit_kg_ha,
        "biomass": result.stand.biomass.mean,
        "doubt": result.budget.credit.se_kg_ha,
    }[key]
    image = picture(view)
    field = result.field
    # Cells next to the edge or to another block are mixed by interpolation; the rest must agree.
    deep = np.array([block.geometry.buffer(-2 * field.grid.cell_m) for block in field.blocks])
    centres = field.grid.centres(field.inside)
    inner = shapely.contains_xy(shapely.union_all(deep), centres)
    forward = pyproj.Transformer.from_crs(field.crs, 3857, always_xy=True)
    x, y = forward.transform(*centres[inner].T)
    degrees = pyproj.Transformer.from_crs(4326, 3857, always_xy=True)
    (south, west), (north, east) = view.picture.corners
    x_0, y_1 = degrees.transform(west, north)
    x_1, y_0 = degrees.transform(east, south)
    column = ((x - x_0) / (x_1 - x_0) * image.shape[1]).astype(int)
    row = ((y_1 - y) / (y_1 - y_0) * image.shape[0]).astype(int)
    values = shown_rate(raster[field.inside][inner], result.plan.units)
    low = np.array([float(swatch.text.split(" to ")[0].replace(",", "")) for swatch in view.legend])
    expected = [view.legend[k].colours[0] for k in np.searchsorted(low, values, side="right") - 1]
    met = [to_hex(pixel / 255.0) for pixel in image[row, column, :3]]
    assert np.mean([a == b for a, b in zip(met, expected, strict=True)]) > 0.97
    assert (image[row, column, 3] == 255).all()


def picture(view):
    content = base64.b64decode(view.picture.uri.removeprefix("data:image/png;base64,"))
    image = Image.open(io.BytesIO(content))
    assert image.mode == "P"
    return np.asarray(image.convert("RGBA"))


def test_the_picture_ends_at_the_boundary(result):
    """Painted pixels cover the outline's area in Mercator, by PROJ and shapely."""
    view = map_views(result)[1]
    forward = pyproj.Transformer.from_crs(4326, 3857, always_xy=True)
    outline = shapely.transform(
        to_map(result.field.outline, result.field), lambda xy: np.column_stack(forward.transform(*xy.T))
    )
    alpha = picture(view)[:, :, 3]
    (south, west), (north, east) = view.picture.corners
    x, y = forward.transform([west, east], [south, north])
    painted_m2 = (alpha == 255).mean() * (x[1] - x[0]) * (y[1] - y[0])
    assert painted_m2 == pytest.approx(outline.area, rel=0.003)
    assert set(np.unique(alpha)) == {0, 255}


def test_across_180_degrees_everything_stays_together(tmp_path):
    folder = dateline_plan(tmp_path)
    result = run(read_plan(folder))
    figure = build_map(result, map_views(result)).get_root()
    figure.render()
    script = figure.script.render()
    lonlat = np.vstack(
        [shapely.get_coordinates(shapely.geometry.shape(f["geometry"])) for f in features(script)]
    )
    assert np.ptp(lonlat[:, 0]) < 0.01
    assert lonlat[:, 0].min() < 180.0 < lonlat[:, 0].max()
    labels = np.array(re.findall(r"L\.marker\(\s*\[(-?[\d.]+), (-?[\d.]+)\]", script), dtype=float)
    assert (np.abs(labels[:, 1] - 180.0) < 0.01).all()
    (south, west), (north, east) = map_views(result)[1].picture.corners
    assert west < 180.0 < east < 180.01
    assert -17.01 < south < north < -16.99


def dateline_plan(folder):
    """A field on both sides of 180°, south of the equator."""
    rng = np.random.default_rng(3)
    west, south, step = 179.9985, -17.001, 0.003
    ring = [[west, south], [180.0, south], [180.0, south + 0.002], [west, south + 0.002], [west, south]]
    far = [
        [-180.0, south],
        [west + step - 360.0, south],
        [west + step - 360.0, south + 0.002],
        [-180.0, south + 0.002],
        [-180.0, south],
    ]
    boundary = {
        "type": "Feature",
        "properties": {"block": "both sides"},
        "geometry": {"type": "MultiPolygon", "coordinates": [[ring], [far]]},
    }
    (folder / "boundary.geojson").write_text(
        json.dumps({"type": "FeatureCollection", "features": [boundary]})
    )
    rows = ["sample,longitude,latitude,dry_kg_ha"]
    for number in range(20):
        x, y = rng.uniform(0.1, 0.9, 2)
        longitude = west + step * x
        rows.append(
            f"D{number},{longitude - 360.0 if longitude > 180.0 else longitude:.7f},"
            f"{south + 0.002 * y:.7f},{2000 + 5000 * x:.0f}"
        )
    (folder / "samples.csv").write_text("\n".join(rows) + "\n")
    from support.small_fields import PLAN

    (folder / "plan.toml").write_text(PLAN)
    return folder


# Text stays text.

PAYLOADS = {
    "image": "<img src=x onerror=HIT=1>",
    "script": "</script><script>HIT=1</script>",
    "template literal": "${window.HIT=1}",
    "backtick": "`+(HIT=1)+`",
    "quotes": "\" onfocus='HIT=1' x=\"&amp;",
    "jinja": "{{ 7*7 }}{% set x=1 %}{# #}",
    "jinja that would fail": "{% raw %}{{ {% endif %}",
}


@pytest.mark.parametrize("payload", PAYLOADS.values(), ids=PAYLOADS)
def test_text_of_the_plan_is_shown_as_it_was_written(payload, plan_folder):
    """branca renders its own output as a template: unescaped braces would run Python on this machine."""
    result = run(read_plan(hostile_plan(plan_folder, payload)))
    page = map_page(result)
    tree = lxml_html.fromstring(page)
    assert words(tree.xpath("//h1")[0]).startswith(payload)
    assert payload in {words(cell) for cell in tree.xpath("//td")}
    assert payload in words(tree.xpath("//dl")[0])
    assert len(tree.xpath("//script")) == 3
    assert tree.xpath("//img | //*[@onerror or @onfocus]") == []
    (script,) = re.findall(r"<script>(\s*var map_field.*?)</script>", page, re.DOTALL)
    told = features(script)
    samples = [f["properties"]["sample"] for f in told if "sample" in f["properties"]]
    assert html.unescape(samples[0]) == payload
    blocks = [f["properties"]["block"] for f in told if "block" in f["properties"]]
    assert html.unescape(blocks[0]) == payload
    for shown in (samples[0], blocks[0]):
        assert not set(shown) & set("<>{}\"'")


def hostile_plan(plan_folder, payload):
    """A plan whose every free text is the payload."""
    return plan_folder(
        blocks={payload: box(0, 0, 300, 200)},
        sample=[csv_text(payload)] * 24,
        note=[csv_text(payload)] * 24,
        edits=[
            ('name = "Test field"', f"name = {json.dumps(payload)}"),
            ('product = "urea"', f'product = {{ name = {json.dumps(payload)}, nitrogen = "46 %" }}'),
        ],
    )


def csv_text(text):
    return '"' + text.replace('"', '""') + '"'


def test_branca_does_render_its_output_as_a_template():
    """Why `literal` takes out braces: this is what happens without it."""
    chart = folium.Map(tiles=None)
    point = {"type": "Point", "coordinates": [0, 0]}
    feature = {"type": "Feature", "id": 1, "properties": {"name": "{{ 7*7 }}"}, "geometry": point}
    folium.GeoJson({"type": "FeatureCollection", "features": [feature]}).add_to(chart)
    assert '"name": "49"' in chart.get_root().render()


# Colours.


def lightness(colour):
    """CIE L* of an sRGB colour (IEC 61966-2-1, CIE 15)."""
    rgb = np.array(to_rgb(colour))
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    y = linear @ [0.2126, 0.7152, 0.0722]
    return 116 * np.cbrt(y) - 16 if y > 0.008856 else 903.3 * y


def luminance(colour):
    l_star = lightness(colour)
    return ((l_star + 16) / 116) ** 3 if l_star > 8 else l_star / 903.3


def test_text_contrasts_enough_for_sunlight():
    """WCAG 2.2, 1.4.6 (AAA): 7 to 1."""
    style = (files("fieldmap") / "assets" / "map.css").read_text(encoding="utf-8")
    for name in ("ink", "quiet"):
        colour = re.search(rf"--{name}: (#\w+)", style)[1]
        for ground in ("#ffffff", re.search(r"--wash: (#\w+)", style)[1]):
            assert (luminance(ground) + 0.05) / (luminance(colour) + 0.05) >= 7.0


@pytest.mark.parametrize("zones", range(1, 13))
def test_zone_colours_are_steps_of_cividis_from_light_to_dark(lower_plot_result, zones):
    result = with_zones(lower_plot_result, zones)
    colours = zone_colours(result.applications[0])
    assert list(colours) == list(range(1, zones + 1))
    table = {to_hex(colour) for colour in mpl.colormaps["cividis"](np.arange(256))}
    assert set(colours.values()) <= table
    steps = np.diff([lightness(colour) for colour in colours.values()])
    assert (steps < -4.0).all()


def with_zones(result, number):
    """The same run with so many zones, made from its one."""
    (zone,) = result.spread.zone_map.zones
    zones = tuple(
        replace(zone, zone=k, rate_n_kg_ha=20.0 * k, product_kg_ha=40.0 * k) for k in range(1, number + 1)
    )
    return with_zone_map(result, replace(result.spread.zone_map, zones=zones))


def test_twelve_zones_share_six_rows_of_the_legend(lower_plot_result):
    result = with_zones(lower_plot_result, 12)
    legend = map_views(result)[0].legend
    assert legend[0].text == "zones 1 to 2: 20 to 40"
    assert [len(swatch.colours) for swatch in legend] == [2] * 6
    assert [c for swatch in legend for c in swatch.colours] == list(
        zone_colours(result.applications[0]).values()
    )


def test_seven_zones_leave_none_out(lower_plot_result):
    legend = map_views(with_zones(lower_plot_result, 7))[0].legend
    assert legend[-1].text == "zone 7: 140"
    assert len(legend) == 4


@pytest.mark.parametrize(
    ("low", "high", "borders"),
    [
        (31.0, 81.0, [30, 40, 50, 60, 70, 80, 90]),
        (25.0, 95.0, [15, 30, 45, 60, 75, 90, 105]),
        (2007.0, 6932.0, [2000, 3000, 4000, 5000, 6000, 7000]),
        (-12.0, 33.0, [-20, -10, 0, 10, 20, 30, 40]),
        (68.2, 68.4, [68, 69]),
        (0.0, 0.0, [0, 1]),
    ],
)
def test_class_borders_are_round(low, high, borders):
    assert round_borders(low, high) == borders


# Findings.


def test_the_finding_names_the_side_and_the_two_rates(kettle_bend_result):
    zones = kettle_bend_result.spread.zone_map.zones
    said = zones_say(
        kettle_bend_result.applications[0], kettle_bend_result.field, kettle_bend_result.plan.units
    ).replace("\N{NO-BREAK SPACE}", " ")
    assert rate_text(zones[-1].rate_n_kg_ha, "us") in said
    assert rate_text(zones[0].rate_n_kg_ha, "us") in said
    assert f"in zone {zones[-1].zone}" in said


@pytest.mark.parametrize(
    ("slope", "side"), [((1, 0), "west"), ((-1, 0), "east"), ((0, 1), "south"), ((1, 1), "southwest")]
)
def test_a_thin_side_is_found(plan_folder, slope, side):
    from support.small_fields import random_places

    xy = random_places(24, 1)
    share = ((xy / [300.0, 200.0] - 0.5) @ np.array(slope)) / np.abs(slope).sum() + 0.5
    result = run(read_plan(plan_folder(xy=xy, dry_kg_ha=2000.0 + 5000.0 * share)))
    assert f"thinnest in the {side}:" in biomass_says(result)


def test_two_thin_sides_are_both_named(plan_folder):
    from support.small_fields import random_places

    xy = random_places(24, 1)
    result = run(read_plan(plan_folder(xy=xy)))
    field = result.field
    easting = np.broadcast_to(field.grid.eastings(), field.grid.shape)
    away = np.abs(easting - easting.mean())
    biomass = replace(result.stand.biomass, mean=np.where(field.inside, 5000.0 - 20.0 * away, np.nan))
    said = biomass_says(replace(result, stand=replace(result.stand, biomass=biomass)))
    assert re.search("in the (west and the east|east and the west):", said)


def test_what_is_scattered_has_no_side(plan_folder):
    result = run(read_plan(plan_folder()))
    noise = np.random.default_rng(1).uniform(2000.0, 6000.0, result.field.grid.shape)
    biomass = replace(result.stand.biomass, mean=np.where(result.field.inside, noise, np.nan))
    assert biomass_says(replace(result, stand=replace(result.stand, biomass=biomass))).startswith(
        "The stand is thinnest in several places: "
    )


def test_no_pattern_is_not_called_even(plan_folder):
    dry = np.random.default_rng(5).normal(4000.0, 500.0, 24)
    result = run(read_plan(plan_folder(dry_kg_ha=dry)))
    assert not result.stand.biomass.has_pattern
    for said in (biomass_says(result), credit_says(result)):
        assert said.startswith("These samples show no pattern: ")
        assert "average" in said
    page = lxml_html.fromstring(map_page(result))
    text = " ".join(words(part) for part in page.xpath("//header | //main"))
    claims = re.findall(r"(?<!does not show that the )field is (?:even|uniform)", text)
    assert claims == []


def test_the_legend_explains_the_dots_where_loads_run_out(result):
    signs = words(lxml_html.fromstring(map_page(result)).xpath("//p[@class='signs']")[0])
    assert ("where a load runs out" in signs) == bool(result.spread.loads)


def test_one_zone_is_said_to_be_one(lower_plot_result):
    assert len(lower_plot_result.spread.zone_map.zones) == 1
    assert zones_say(
        lower_plot_result.applications[0], lower_plot_result.field, lower_plot_result.plan.units
    ).startswith("One rate for the whole field: ")


def test_building_changes_nothing_in_the_result(lower_plot_result):
    before = copy.deepcopy(lower_plot_result.spread.zone_map)
    map_page(lower_plot_result)
    assert np.array_equal(
        before.product_kg_ha, lower_plot_result.spread.zone_map.product_kg_ha, equal_nan=True
    )
    assert before.zones == lower_plot_result.spread.zone_map.zones
