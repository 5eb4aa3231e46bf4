"""What is said of ground that receives more than the map asks for anywhere."""

from dataclasses import replace

import numpy as np

from fieldmap.report.findings import received_above_says
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
