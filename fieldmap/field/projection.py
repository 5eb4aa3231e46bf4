"""From longitude and latitude to the field's UTM zone and back, both sides of 180°; areas on the ellipsoid."""

from __future__ import annotations

import functools
import math
from typing import TYPE_CHECKING

import numpy as np
import pyproj
import shapely

from fieldmap.errors import InputError, Problem

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry


WGS84 = pyproj.CRS.from_epsg(4326)


def unwrapped(lonlat: NDArray[np.object_]) -> NDArray[np.object_]:
    """Longitudes made continuous across 180°: a field on both sides of it gets 179.9 … 180.1."""
    west, _, east, _ = shapely.total_bounds(lonlat)
    if east - west <= 180.0:
        return lonlat
    return shapely.transform(lonlat, lambda xy: np.column_stack([xy[:, 0] % 360.0, xy[:, 1]]))


def utm_crs(lonlat: NDArray[np.object_], *, file: str) -> pyproj.CRS:
    """The UTM zone of the middle of the layer; one zone for all, also across a zone's edge."""
    west, south, east, north = shapely.total_bounds(lonlat)
    longitude, latitude = (west + east) / 2.0, (south + north) / 2.0
    if not (-80.0 <= latitude <= 84.0) or east - west > 2.0:
        raise InputError(
            Problem(
                file,
                f"the boundary reaches from {west:.4f}, {south:.4f} to {east:.4f}, {north:.4f}",
                "one field between 80° S and 84° N is expected, longitude first",
                "Check that longitude and latitude are not swapped and that the file holds one field only",
            )
        )
    zone = math.floor(((longitude + 180.0) % 360.0) / 6.0) + 1
    return pyproj.CRS.from_epsg((32600 if latitude >= 0 else 32700) + zone)


def true_area_ha(geometry: BaseGeometry, crs: pyproj.CRS) -> float:
    """Area on the ellipsoid, hectares. Geod adds a hole wound like its shell: rings are oriented first."""
    lonlat = to_lonlat(shapely.orient_polygons(geometry), crs)
    area_m2, _ = _geod(crs).geometry_area_perimeter(lonlat)
    return abs(area_m2) / 10_000.0


def to_lonlat(geometry: BaseGeometry, crs: pyproj.CRS) -> BaseGeometry:
    """From the field's CRS to longitude and latitude, WGS 84; across 180° the longitudes run on past it."""
    lonlat: BaseGeometry = unwrapped(np.array([_mapped(geometry, _to_wgs84(crs))], dtype=object))[0]
    return lonlat


def project_shapes(lonlat: NDArray[np.object_], crs: pyproj.CRS) -> list[BaseGeometry]:
    """Shapes of longitude and latitude in metres."""
    forward = pyproj.Transformer.from_crs(WGS84, crs, always_xy=True)
    return [_mapped(shape, forward) for shape in lonlat]


def _mapped(geometry: BaseGeometry, transformer: pyproj.Transformer) -> BaseGeometry:
    return shapely.transform(geometry, lambda xy: np.column_stack(transformer.transform(xy[:, 0], xy[:, 1])))


@functools.lru_cache(maxsize=8)
def _to_wgs84(crs: pyproj.CRS) -> pyproj.Transformer:
    return pyproj.Transformer.from_crs(crs, WGS84, always_xy=True)


@functools.lru_cache(maxsize=8)
def _geod(crs: pyproj.CRS) -> pyproj.Geod:
    geod = crs.get_geod()
    assert geod is not None  # noqa: S101 - every UTM zone has an ellipsoid
    return geod
