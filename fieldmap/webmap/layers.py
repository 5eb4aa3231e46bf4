"""The map of a run: zones, surfaces, samples and no-spread areas as a folium map.

Everything a user wrote reaches the page only through `features.literal`, inside GeoJSON properties: folium's own
tooltips and popups put text into JavaScript, and branca renders what it writes as a template once more.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import folium
import numpy as np
import shapely
from branca.element import MacroElement
from folium.template import Template
from folium.utilities import JsCode
from shapely.geometry import MultiLineString, MultiPolygon, Point

from fieldmap.report import palette, summary
from fieldmap.units import rate_text, shown_rate, whole
from fieldmap.webmap.background import TILES, TILES_BY
from fieldmap.webmap.driving import add_passes_and_loads, add_strips
from fieldmap.webmap.features import DECIMALS, feature, layer, lonlat_bounds, to_map

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from typing import Any

    from branca.element import Element
    from shapely.geometry import Polygon

    from fieldmap.pipeline import Result
    from fieldmap.verdict import ApplicationMap
    from fieldmap.webmap.views import View
    from fieldmap.zones import Zone


INK, PAPER = palette.INK, palette.PAPER
RADIUS_PX = (3.0, 8.0)  # of the lightest and the heaviest sample
SAMPLES_DRAWN = 1_000
HATCHES = 70  # lines across the field

ZONE_ROWS = (
    "zone",
    "block",
    "crop",
    "area",
    "need",
    "credit",
    "credit_used",
    "other_credits",
    "rate_n",
    "product_rate",
    "product",
    "total_n",
    "p2o5",
    "k2o",
)  # as zone_columns, the last three where there are such

PHONE_PX = 600


def build_map(result: Result, views: Sequence[View]) -> folium.Map:
    """Draw the map of a run.

    Parameters
    ----------
    result
        From `fieldmap.run`.
    views
        From `views.map_views`: the first is shown, the others wait for a switch.

    Returns
    -------
    folium.Map
        Without Leaflet, which the page brings. Its JavaScript names are fixed: ``map_field``,
        ``geo_json_outline``, and ``feature_group_`` with the key of each view.
    """
    west, south, east, north = lonlat_bounds(result.field)
    chart = folium.Map(
        location=((south + north) / 2.0, (west + east) / 2.0), tiles=None, zoom_snap=0.25, max_zoom=21
    )
    named: dict[str, Element] = {"field": chart}
    for name, order in (("views", 350), ("samples", 450)):
        folium.map.CustomPane(name, z_index=order, pointer_events=True).add_to(chart)
    folium.FeatureGroup(name="No background", overlay=False).add_to(chart)
    folium.TileLayer(
        TILES,
        name="Online background (needs internet)",
        attr=TILES_BY,
        show=False,
        max_zoom=21,
        max_native_zoom=19,
    ).add_to(chart)
    for view in views:
        group = folium.FeatureGroup(name=view.label, control=False, show=view is views[0])
        chart.add_child(group)
        named[view.key] = group
        if view.picture is None:
            _add_zones(group, result, result.applications[view.application])
        else:
            picture, corners = view.picture.uri, view.picture.corners
            group.add_child(
                folium.raster_layers.ImageOverlay(
                    picture, corners, alt=view.finding, pixelated=False, pane="views"
                )
            )
    if not result.field.no_spread.is_empty:
        _add_no_spread(chart, result)
    if result.spread.zone_map.strips:
        add_strips(chart, result)
    named["outline"] = _add_outline(chart, result)
    for one in result.applications:
        if not one.application.through_drip:
            add_passes_and_loads(chart, result, one)
    _add_samples(chart, result)
    # folium passes JavaScript on, though its types say bool.
    collapsed = JsCode(f"window.innerWidth < {PHONE_PX}")
    folium.LayerControl(collapsed=collapsed).add_to(chart)  # type: ignore[arg-type]
    _Scale(imperial=result.plan.units == "us").add_to(chart)
    chart.fit_bounds([[south, west], [north, east]], padding=(16, 16))
    _fix_names(chart, named)
    return chart


class _Scale(MacroElement):
    """A scale bar in the user's unit, and no other."""

    _template = Template(
        "{% macro script(this, kwargs) %}"
        "L.control.scale({{ this.options|tojavascript }}).addTo({{ this._parent.get_name() }});"
        "{% endmacro %}"
    )

    def __init__(self, *, imperial: bool) -> None:
        super().__init__()  # type: ignore[no-untyped-call]
        self.options = {"imperial": imperial, "metric": not imperial, "maxWidth": 140}


def _fix_names(chart: folium.Map, named: dict[str, Element]) -> None:
    """Numbers in place of branca's random names: the same run gives the same file."""
    for number, element in enumerate(_tree(chart)):
        element._id = str(number)  # noqa: SLF001 - branca has no other way
    for name, element in named.items():
        element._id = name  # noqa: SLF001


def _tree(element: Element) -> Iterator[Element]:
    yield element
    for child in element._children.values():  # noqa: SLF001
        yield from _tree(child)


def _add_zones(group: folium.FeatureGroup, result: Result, one: ApplicationMap) -> None:
    """Zones as polygons, with number and nitrogen rate written on every part."""
    zones, colours = one.spread.zone_map.zones, palette.zone_colours(one)
    headings = dict(zip(ZONE_ROWS, summary.zone_columns(result.plan.units, zones), strict=False))
    headings["credit"] += " (90 % interval)"
    features = [
        feature(
            number,
            MultiPolygon([part.geometry for part in zone.parts]),
            result,
            **dict(zip(ZONE_ROWS, summary.zone_cells(zone, result.plan.units), strict=False)),
        )
        for number, zone in enumerate(zones)
    ]

    def style(feature: dict[str, Any]) -> dict[str, Any]:
        return {
            "fillColor": colours[zones[feature["id"]].zone],
            "fillOpacity": 1.0,
            "color": PAPER,
            "weight": 1.5,
        }

    layer(
        features,
        headings,
        ["zone", "block", "credit", "rate_n", "product_rate"],
        style_function=style,
        highlight_function=lambda _: {"color": INK, "weight": 3},
        smooth_factor=0,  # neighbours keep the border they share
        pane="views",
    ).add_to(group)
    parts = [(zone, part) for zone in zones for part in zone.parts]
    largest = {zone.zone: part for zone, part in sorted(parts, key=lambda pair: pair[1].area_ha)}
    for zone, part in parts:
        _add_label(group, zone, part.geometry, result, keep=largest[zone.zone] is part)
    for strip in one.spread.zone_map.strips:
        _add_label(group, strip, strip.parts[0].geometry, result, keep=True)


def _add_label(group: folium.FeatureGroup, zone: Zone, shape: Polygon, result: Result, *, keep: bool) -> None:
    """Nitrogen rate and zone number where the polygon is widest; the page may drop what finds no room.

    `keep` marks the largest part of a zone, whose label stays whole.
    """
    widest = shapely.maximum_inscribed_circle(shape)
    longitude, latitude = shapely.get_coordinates(to_map(shapely.get_point(widest, 0), result.field))[0]
    rate = whole(shown_rate(zone.rate_n_kg_ha, result.plan.units))
    label = (
        f'<svg class="zone-label{" keep" if keep else ""}" data-room-m="{widest.length:.1f}" width="1" height="1" '
        f'overflow="visible"><text text-anchor="middle" paint-order="stroke" stroke="{PAPER}" stroke-width="4" '
        f'stroke-linejoin="round" fill="{INK}" font-weight="700"><tspan font-size="18">{rate}</tspan>'
        f'<tspan x="0" dy="14" font-size="12.5">{"strip" if zone.strip else "zone"} {zone.zone}</tspan></text></svg>'
    )
    folium.Marker(
        (round(float(latitude), DECIMALS), round(float(longitude), DECIMALS)),
        icon=folium.DivIcon(html=label, icon_size=(0, 0)),
        interactive=False,
        keyboard=False,
    ).add_to(group)


def _add_no_spread(chart: folium.Map, result: Result) -> None:
    """What stays without product, hatched; the lines are drawn, so that any page shows them."""
    field = result.field
    inside = shapely.union_all([block.geometry.difference(block.spread) for block in field.blocks])
    if inside.is_empty:
        return
    west, south, east, north = inside.bounds
    height = north - south
    spacing = max(field.grid.shape) * field.grid.cell_m / HATCHES
    starts = np.arange(west - height, east, spacing)
    hatch = MultiLineString([[(x, south), (x + height, north)] for x in starts]).intersection(inside)
    text = {"what": "No-spread area, with its setback and how far the spreader throws"}
    group = folium.FeatureGroup(name="No-spread areas").add_to(chart)
    layer(
        [feature(0, inside, result, **text)],
        {"what": ""},
        ["what"],
        style_function=lambda _: {
            "color": INK,
            "weight": 1,
            "fillColor": PAPER,
            "fillOpacity": 0.6,
        },
    ).add_to(group)
    folium.GeoJson(
        {"type": "FeatureCollection", "features": [feature(0, hatch, result)]},
        style_function=lambda _: {"color": INK, "weight": 1, "interactive": False},
        interactive=False,
    ).add_to(group)


def _add_outline(chart: folium.Map, result: Result) -> folium.GeoJson:
    """Block outlines, always on."""
    field = result.field
    features = [feature(number, block.geometry, result) for number, block in enumerate(field.blocks)]
    outline = folium.GeoJson(
        {"type": "FeatureCollection", "features": features},
        control=False,
        style_function=lambda _: {"color": INK, "weight": 1.75, "fill": False},
        interactive=False,
        smooth_factor=0,
    )
    chart.add_child(outline)
    return outline


def _add_samples(chart: folium.Map, result: Result) -> None:
    """Samples as open circles whose area grows with dry weight; a dense sensor layer is not drawn."""
    samples, units = result.stand.samples, result.plan.units
    if len(samples) > SAMPLES_DRAWN:
        return
    measured = np.isfinite(samples.nitrogen_pct)
    fit = result.stand.biomass.fit
    assert fit is not None  # noqa: S101 - biomass is always mapped from a fit
    left_out = fit.loo_predicted
    features = [
        feature(
            number,
            Point(samples.coords_m[number]),
            result,
            sample=samples.label[number],
            dry=rate_text(float(samples.dry_kg_ha[number]), units),
            nitrogen=f"{result.stand.nitrogen.nitrogen_pct[number]:.2f} %"
            + ("" if measured[number] else " (not measured)"),
            left_out=rate_text(float(left_out[number]), units),
        )
        for number in range(len(samples))
    ]
    share = np.sqrt(samples.dry_kg_ha / (samples.dry_kg_ha.max() or 1.0))
    radius = np.round(np.interp(share, (0.0, 1.0), RADIUS_PX), 1)
    layer(
        features,
        {
            "sample": "Sample",
            "dry": "Dry biomass",
            "nitrogen": "N in dry matter",
            "left_out": "Dry biomass by the other samples",
        },
        ["sample", "dry", "nitrogen"],
        name="Samples",
        marker=folium.CircleMarker(),
        style_function=lambda feature: {
            "radius": float(radius[feature["id"]]),
            "color": INK,
            "weight": 1.5,
            "fill": True,
            "fillColor": PAPER,
            "fillOpacity": 0.45,
            "className": "sample",
            "pane": "samples",
        },
    ).add_to(chart)
