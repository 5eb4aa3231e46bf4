"""What is said of ground that receives more than the map asks for anywhere, and where one rate will do."""

import datetime as dt
import io
from dataclasses import replace

import numpy as np
import pytest
from pypdf import PdfReader

from fieldmap.report.findings import one_rate_says, received_above_says
from fieldmap.report.pdf import build_report
from fieldmap.report.summary import main_numbers
from fieldmap.webmap.views import map_views


def driven(result, received_n_kg_ha):
    """The first application, as if the ground had received this."""
    one = result.applications[0]
    product_kg_ha = received_n_kg_ha / one.application.product.nitrogen_fraction
    delivery = replace(one.spread.delivery, received_kg_ha=product_kg_ha)
    return replace(one, spread=replace(one.spread, delivery=delivery))


def test_what_falls_beyond_the_highest_rate_is_said_with_its_area(lower_plot_result):
    field, zones = lower_plot_result.field, lower_plot_result.spread.zone_map.zones
    highest = max(zone.rate_n_kg_ha for zone in zones)
    received = np.where(field.inside, 1.05 * highest, np.nan)
    assert received_above_says(driven(lower_plot_result, received), field, "metric") == ""
    inside = np.flatnonzero(field.inside)
    tenth = inside[: inside.size // 10]
    received.flat[tenth] = 1.5 * highest
    said = received_above_says(driven(lower_plot_result, received), field, "metric").replace(
        "\N{NO-BREAK SPACE}", " "
    )
    assert f"up to {round(1.5 * highest)} kg/ha of nitrogen falls" in said
    assert f"the highest rate of the map ({round(highest)} kg/ha)" in said
    assert f"by over a tenth on {field.area_ha / 10:.1f} ha" in said
    assert "no-spread" not in said


def test_the_map_says_so_under_what_is_received(kettle_bend_result):
    view = next(view for view in map_views(kettle_bend_result) if view.key == "received")
    received = kettle_bend_result.spread.delivery.received_kg_ha * 0.46 / 1.12085116  # urea, lb/ac
    assert f"up to {np.nanmax(received):.0f} lb/ac" in view.note.replace("\N{NO-BREAK SPACE}", " ")
    assert "round no-spread areas" in view.note
    assert view.note.endswith("Shut off sooner there.")


@pytest.fixture
def no_gain(kettle_bend_result):
    """The sample farm as if zones came no closer to the need."""
    verdict = replace(kettle_bend_result.verdict, answer="no closer to the need", reason="gain")
    return replace(kettle_bend_result, verdict=verdict)


def test_where_one_rate_will_do_it_is_said_first_with_every_block(no_gain, kettle_bend_result):
    flat, said = no_gain.spread.flat, one_rate_says(no_gain)
    assert said.startswith("One rate a block will do: ")
    plain = said.replace("\N{NO-BREAK SPACE}", " ")
    for block, n_kg_ha, kg_ha in zip(
        no_gain.field.blocks, flat.rate_n_kg_ha, flat.product_kg_ha, strict=True
    ):
        n_lb_ac, lb_ac = (round(each / 1.12085116) for each in (n_kg_ha, kg_ha))
        assert f"{n_lb_ac} lb/ac of nitrogen ({lb_ac} lb/ac of urea) in {block.name}" in plain
    where = main_numbers(no_gain)[1].text
    assert where.startswith("one rate a block will do: ")
    assert where.endswith(f". Or {main_numbers(kettle_bend_result)[1].text}")
    assert map_views(no_gain)[0].finding == said
    first = PdfReader(io.BytesIO(build_report(no_gain, date=dt.date(2026, 5, 5)))).pages[0].extract_text()
    assert plain in " ".join(first.split())


def test_where_zones_gain_or_it_cannot_be_told_no_one_rate_is_put_first(
    kettle_bend_result, lower_plot_result
):
    assert kettle_bend_result.verdict.vary
    assert one_rate_says(kettle_bend_result) == ""
    assert lower_plot_result.verdict.reason == "same rates"  # its map is one rate
    assert one_rate_says(lower_plot_result) == ""
    cannot = replace(kettle_bend_result.verdict, answer="cannot tell", reason="gain")
    assert one_rate_says(replace(kettle_bend_result, verdict=cannot)) == ""
