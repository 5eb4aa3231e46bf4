"""Shapes of the map with what is said of them: GeoJSON whose text no page can take for its own."""

from __future__ import annotations

import html
from typing import TYPE_CHECKING

import folium
import numpy as np
import shapely

from fieldmap.field import to_lonlat

if TYPE_CHECKING:
    from collections.abc import Sequence
    from typing import Any

    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from fieldmap.field import Field
    from fieldmap.pipeline import Result


def lonlat_bounds(field: Field) -> tuple[float, float, float, float]:
    """West, south, east, north of the field, degrees; across 180° the east runs on past it."""
    west, south, east, north = to_lonlat(field.outline, field.crs).bounds
    return west, south, east, north


def to_map(shape: BaseGeometry, field: Field) -> BaseGeometry:
    """From the field's CRS to degrees; what lies beyond 180° follows the field past it."""
    west = lonlat_bounds(field)[0]

    def follow(lonlat: NDArray[np.float64]) -> NDArray[np.float64]:
        beyond = lonlat[:, 0] < west - 180.0
        return np.column_stack([lonlat[:, 0] + 360.0 * beyond, lonlat[:, 1]])

    moved: BaseGeometry = shapely.transform(to_lonlat(shape, field.crs), follow)
    return moved


DECIMALS = 7  # of degrees, about a centimetre


def literal(text: str) -> str:
    """Text as HTML that shows it as it was written, and that no template on the way can take for its own."""
    return html.escape(text).replace("{", "&#123;").replace("}", "&#125;")


def feature(number: int, shape: BaseGeometry, result: Result, **properties: str) -> dict[str, Any]:
    """A GeoJSON feature whose properties are shown as they are written."""
    lonlat = shapely.transform(to_map(shape, result.field), lambda xy: np.round(xy, DECIMALS))
    return {
        "type": "Feature",
        "id": number,
        "geometry": shapely.geometry.mapping(lonlat),
        "properties": {name: literal(text) for name, text in properties.items()},
    }


def layer(features: list[dict[str, Any]], rows: dict[str, str], brief: Sequence[str], **options: Any) -> Any:
    """A GeoJSON layer with a tooltip of its `brief` properties and a popup of all `rows` (name: heading)."""
    collection = {"type": "FeatureCollection", "features": features}
    headings = {name: literal(heading) for name, heading in rows.items()}
    tooltip = folium.GeoJsonTooltip(
        list(brief), [headings[name] for name in brief], class_name="tip", opacity=1
    )
    popup = folium.GeoJsonPopup(
        list(rows), list(headings.values()), class_name="pop", localize=False, max_width=320
    )
    return folium.GeoJson(collection, tooltip=tooltip, popup=popup, **options)
