"""The zone table adds up as it says, on the page and in print; a check strip has one name everywhere."""

import datetime as dt
import io

import pytest
from lxml import html
from pypdf import PdfReader

from fieldmap import read_plan, run
from fieldmap.report.pdf import build_card, build_report
from fieldmap.report.pictures import rate_picture
from fieldmap.report.summary import reckoned_text, zone_cells, zone_columns
from fieldmap.webmap.page import map_page

STEP_N_KG_HA = 10 * 0.46  # of the test field's spreader, with urea
EXTRA = """
[credit]
confidence = 0.9

[[other_credits]]
source = "irrigation water"
nitrogen = "20 kg/ha"

[strips]
number = 2
"""
DATE = dt.date(2026, 5, 5)


@pytest.fixture
def cautious(plan_folder):
    """A field of one block with caution, another credit and two check strips."""
    return run(read_plan(plan_folder(extra=EXTRA)))


def table(result):
    """The rows of the zone table, as numbers where they are."""
    zones = result.spread.zone_map.rows
    names = [heading.split(",")[0] for heading in zone_columns("metric", zones)]
    rows = [dict(zip(names, zone_cells(zone, "metric"), strict=True)) for zone in zones]
    reckoned = ("Need", "Credit used", "Other credits", "N rate")
    return [row | {name: float(row[name]) for name in reckoned} for row in rows]


def test_need_less_credits_is_the_rate(cautious):
    rows = table(cautious)
    zones = [row for row in rows if not row["Zone"].startswith("strip")]
    assert len(zones) >= 2
    for row in zones:
        left = row["Need"] - row["Credit used"] - row["Other credits"]
        assert row["N rate"] == pytest.approx(left, abs=STEP_N_KG_HA / 2 + 2)  # four numbers are rounded
        assert row["Credit used"] < float(row["Credit"].split()[0])
    none, whole = (row for row in rows if row["Zone"].startswith("strip"))
    assert none["Credit used"] == whole["Credit used"] == none["N rate"] == 0
    assert whole["N rate"] == pytest.approx(220 - 20, abs=STEP_N_KG_HA / 2 + 2)
    said = reckoned_text(cautious)
    assert "Need less credit used less other credits is the N rate" in said
    assert "with a chance of 90 %" in said
    assert "A check strip uses no credit" in said


def test_page_report_and_card_show_what_the_rate_comes_from(cautious):
    page = html.fromstring(map_page(cautious))
    shown = [[cell.text_content() for cell in row] for row in page.xpath("//table/tbody/tr")]
    assert shown == [list(zone_cells(zone, "metric")) for zone in cautious.spread.zone_map.rows]
    for build in (build_report, build_card):
        pdf = PdfReader(io.BytesIO(build(cautious, date=DATE)))
        text = " ".join(" ".join(sheet.extract_text() for sheet in pdf.pages).split())
        assert reckoned_text(cautious) in text
        assert "Credit used, kg/ha" in text


def test_a_strip_has_one_name_and_stands_in_the_legend(cautious):
    names = [f"strip {zone.zone}" for zone in cautious.spread.zone_map.strips]
    written = map_page(cautious)
    page = html.fromstring(written)
    assert [i.tail for i in page.xpath("//th/i[@class='strip']")] == names
    assert "check strip" in page.xpath("string(//*[@class='signs'])")
    picture = rate_picture(cautious, cautious.applications[0], width_in=6, height_in=4)
    told = [text.get_text() for text in picture.axes[0].texts]
    for name in names:
        number = name.removeprefix("strip ")
        assert sum(text.endswith(f"\n{name}") for text in told) == 1
        assert f"\\u003estrip {number}\\u003c" in written
        assert f"Check strip {number}" in written
    report = PdfReader(io.BytesIO(build_report(cautious, date=DATE)))
    assert "White: check strips." in report.pages[0].extract_text().replace("\n", " ")
