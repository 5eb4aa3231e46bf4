"""The small map of a plan under work: boundary, no-spread areas, samples as they arrive, and a drawing tool."""

from __future__ import annotations

import base64
import functools
import json
from importlib.resources import files
from typing import TYPE_CHECKING

import folium
import geopandas as gpd
import pandas as pd
from folium.plugins import Draw

from fieldmap.field import WGS84
from fieldmap.read import layers
from fieldmap.report import palette
from fieldmap.webmap import background as tiles
from fieldmap.webmap import features as on_map

if TYPE_CHECKING:
    from typing import Any

    from fieldmap.app.plans.draft import Draft


INK, PAPER = palette.INK, palette.PAPER
_ASSETS = files("fieldmap") / "assets"
EVERYWHERE = ([-45.0, -120.0], [60.0, 130.0])


def build_sketch(
    draft: Draft, *, background: bool = False, centre: tuple[float, float] | None = None
) -> folium.Map:
    """A folium map that needs no network; `background` adds online tiles, `centre` is latitude, longitude."""
    sketch = _Sketch(
        attribution_control=background,
        tiles=None,
        location=centre or (20.0, 0.0),
        zoom_start=16 if centre else 2,
    )
    if background:
        folium.TileLayer(tiles.TILES, attr=tiles.TILES_BY, max_zoom=21, max_native_zoom=19).add_to(sketch)
    shapes: list[gpd.GeoSeries] = []
    for layer, style in ((draft.boundary, _OUTLINE), (draft.no_spread, _KEPT_OUT)):
        if layer is not None:
            shown = layer.geometry.to_crs(WGS84)
            shapes.append(shown)
            folium.GeoJson(
                json.loads(shown.to_json()), style_function=lambda _, style=style: style, marker=_dot(style)
            ).add_to(sketch)
    points = sample_points(draft)
    if points is not None:
        # One row with a wrong position would shrink the field to a dot.
        shapes += [] if draft.boundary is not None else [points.geometry]
        for row, point in points.geometry.items():
            _add_sample(sketch, int(str(row)), point, bad=row in draft.row_problems)
    if shapes and centre is None:
        west, south, east, north = pd.concat(shapes).total_bounds
        sketch.fit_bounds([[south, west], [north, east]], padding=(16, 16))
    elif centre is None:
        sketch.fit_bounds(EVERYWHERE)
    _Pencil(  # type: ignore[no-untyped-call]
        export=False,
        draw_options={
            "polyline": {"shapeOptions": {"color": INK}},
            "polygon": {"allowIntersection": False, "shapeOptions": {"color": INK}},
            "rectangle": {"shapeOptions": {"color": INK}},
            "circle": False,
            "marker": False,
            "circlemarker": {"color": INK},
        },
    ).add_to(sketch)
    return sketch


def sample_points(draft: Draft) -> gpd.GeoDataFrame | None:
    """Positions of the sample rows that can be placed on the globe, as longitude and latitude; index is the row."""
    rows, crs = draft.rows, draft.told.get("samples", {}).get("crs")
    if rows is None:
        return None
    pairs = (("longitude", "latitude", WGS84), ("easting", "northing", crs))
    pair = next(((x, y, system) for x, y, system in pairs if {x, y} <= set(rows) and system), None)
    if pair is None:
        return None
    x, y = (pd.to_numeric(rows[name].str.replace(",", "."), errors="coerce") for name in pair[:2])
    placed = x.notna() & y.notna()
    try:
        points = gpd.GeoDataFrame(
            geometry=gpd.points_from_xy(x[placed], y[placed], crs=pair[2]), index=x[placed].index
        )
        found = points.to_crs(WGS84)
    except (ValueError, RuntimeError):  # a crs that is none is told beside the table
        return None
    sound = [
        layers.position_fault(x, y, WGS84) is None
        for x, y in zip(found.geometry.x, found.geometry.y, strict=True)
    ]
    return found[sound] if any(sound) else None


def drawn_geojson(drawings: list[dict[str, Any]]) -> bytes:
    """Drawn shapes as a GeoJSON file; properties of the drawing tool are left out."""
    features = [
        {"type": "Feature", "properties": {}, "geometry": drawing["geometry"]} for drawing in drawings
    ]
    return json.dumps({"type": "FeatureCollection", "features": features}).encode()


_OUTLINE = {"color": INK, "weight": 2, "fill": False}

_KEPT_OUT = {
    "color": INK,
    "weight": 1,
    "fillColor": INK,
    "fillOpacity": 0.3,
    "dashArray": "4",
}


def _dot(style: dict[str, Any]) -> folium.CircleMarker:
    return folium.CircleMarker(radius=6, **{key: value for key, value in style.items() if key != "dashArray"})


def _add_sample(sketch: folium.Map, row: int, point: Any, *, bad: bool) -> None:
    """An open circle; a row that needs a look carries its number and a cross."""
    if bad:
        icon = folium.DivIcon(
            html=f'<div style="font:700 13px sans-serif;color:{INK};background:{PAPER};border:2px solid {INK};'
            f'padding:1px 4px;white-space:nowrap;width:max-content">✕ {on_map.literal(f"row {row}")}</div>',
            icon_size=(0, 0),
        )
        folium.Marker((point.y, point.x), icon=icon).add_to(sketch)
    else:
        folium.CircleMarker(
            (point.y, point.x),
            radius=5,
            color=INK,
            weight=1.5,
            fill=True,
            fill_color=PAPER,
            fill_opacity=0.6,
        ).add_to(sketch)


def _uri(name: str, kind: str) -> str:
    return f"data:{kind};base64," + base64.b64encode((_ASSETS / name).read_bytes()).decode("ascii")


@functools.cache
def _style_uri(name: str, *pictures: str) -> str:
    """A style sheet with its pictures inside it."""
    text = (_ASSETS / name).read_text(encoding="utf-8")
    folder = name.rpartition("/")[0]
    for picture in pictures:
        kind = "image/svg+xml" if picture.endswith(".svg") else "image/png"
        for quote in ("'", ""):
            text = text.replace(f"url({quote}{picture}{quote})", f"url({_uri(f'{folder}/{picture}', kind)})")
    return "data:text/css;base64," + base64.b64encode(text.encode()).decode("ascii")


class _Sketch(folium.Map):
    """A folium map whose only script and style sheet are the packaged Leaflet."""

    default_js = [  # noqa: RUF012 - as folium has it
        ("leaflet", _uri("leaflet/leaflet.js", "text/javascript"))
    ]
    default_css = [  # noqa: RUF012
        ("leaflet_css", _style_uri("leaflet/leaflet.css", "images/layers.png", "images/layers-2x.png"))
    ]


class _Pencil(Draw):
    """The drawing tool, packaged."""

    default_js = [  # noqa: RUF012 - as folium has it
        ("leaflet_draw_js", _uri("leaflet_draw/leaflet.draw.js", "text/javascript"))
    ]
    default_css = [  # noqa: RUF012
        ("leaflet_draw_css", _style_uri("leaflet_draw/leaflet.draw.css", "images/spritesheet.svg"))
    ]
