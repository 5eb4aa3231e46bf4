"""Layers of the map for the driver: check strips, passes, and where each load runs out."""

from __future__ import annotations

from typing import TYPE_CHECKING

import folium
from shapely.geometry import MultiLineString, Point

from fieldmap.report import palette
from fieldmap.units import mass_text, rate_text
from fieldmap.webmap.features import feature, layer

if TYPE_CHECKING:
    from typing import Any

    from fieldmap.pipeline import Result
    from fieldmap.verdict import ApplicationMap


LOAD_PX = 7


def add_strips(chart: folium.Map, result: Result) -> None:
    """Check strips with their rates; they are cut out of the zones, so they are always filled."""
    units = result.plan.units
    features = [
        feature(
            number,
            one.row.parts[0].geometry,
            result,
            strip=f"Check strip {one.row.zone}",
            rate_n=rate_text(one.row.rate_n_kg_ha, units),
            product=f"{rate_text(one.row.product_kg_ha, units)} of {one.row.product}",
            level=f"{one.level * 100:.0f} % of the need, the cover crop not credited",
        )
        for number, one in enumerate(result.spread.strips)
    ]
    group = folium.FeatureGroup(name="Check strips").add_to(chart)
    layer(
        features,
        {"strip": "", "rate_n": "Nitrogen", "product": "Product", "level": "Level"},
        ["strip", "rate_n"],
        style_function=lambda _: {
            "color": palette.STRIP_INK,
            "weight": 2.5,
            "fillColor": palette.PAPER,
            "fillOpacity": 0.75,
        },
        smooth_factor=0,
    ).add_to(group)


def add_passes_and_loads(chart: folium.Map, result: Result, one: ApplicationMap) -> None:
    """Passes as thin lines, and a mark where each load runs out; switched on by whoever drives."""
    if not one.spread.passes:
        return
    name = "Passes and loads"
    if one.application.of > 1:
        name += f" {one.application.number}"
    group = folium.FeatureGroup(name=name, show=False).add_to(chart)
    lines = MultiLineString([each.line for each in one.spread.passes])
    folium.GeoJson(
        {"type": "FeatureCollection", "features": [feature(0, lines, result)]},
        style_function=lambda _: {"color": palette.INK, "weight": 1, "opacity": 0.7, "className": "pass"},
        interactive=False,
    ).add_to(group)
    loads: list[dict[str, Any]] = [
        feature(
            number,
            Point(load.easting_m, load.northing_m),
            result,
            load=f"Load {load.number} runs out",
            product=mass_text(load.product_kg, result.plan.units),
            passes=f"{load.pass_from} to {load.pass_to}",
        )
        for number, load in enumerate(one.spread.loads)
    ]
    if loads:
        layer(
            loads,
            {"load": "", "product": "Product", "passes": "Passes"},
            ["load", "product"],
            marker=folium.CircleMarker(radius=LOAD_PX),
            style_function=lambda _: {
                "color": palette.PAPER,
                "weight": 2,
                "fill": True,
                "fillColor": palette.INK,
                "fillOpacity": 1.0,
                "className": "load",
            },
        ).add_to(group)
