"""Where the spreader drives, and where each hopper load runs out."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely
from shapely.affinity import rotate
from shapely.geometry import LineString

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from fieldmap.field import Field
    from fieldmap.plan import Spreader


PIECE_MIN_SWATHS = 0.5  # a shorter piece of a pass is not worth driving into


@dataclass(frozen=True)
class Pass:
    """One drive with the spreader on, in the field's CRS; the line runs in the direction of travel.

    `headland` passes follow the outline at half a swath, the others run parallel to the heading.
    """

    number: int
    line: LineString
    headland: bool


def long_axis_deg(ground: BaseGeometry) -> float:
    """Heading of the longer side of the smallest rectangle round the ground, 0 to 180 degrees from north."""
    ring = shapely.get_coordinates(shapely.minimum_rotated_rectangle(ground))
    sides = np.diff(ring[:3], axis=0)
    east, north = sides[np.hypot(*sides.T).argmax()]
    return math.degrees(math.atan2(east, north)) % 180.0


def passes_over(field: Field, spreader: Spreader) -> tuple[Pass, ...]:
    """Lay out the passes over all that is to be spread: round the outline first, then up and down.

    They lie one swath apart along the plan's heading, or the long axis of the ground. In the order of
    driving.
    """
    ground = shapely.union_all([block.spread for block in field.blocks], grid_size=1e-6)
    heading_deg = long_axis_deg(ground) if spreader.heading_deg is None else spreader.heading_deg
    rings = _headland(ground, spreader.swath_m)
    inner = ground.buffer(-spreader.swath_m) if rings else ground
    lines = [*rings, *_parallel(inner, spreader.swath_m, heading_deg)]
    return tuple(Pass(number, line, number <= len(rings)) for number, line in enumerate(lines, start=1))


def _headland(ground: BaseGeometry, swath_m: float) -> list[LineString]:
    """Once round every outline, half a swath inside."""
    inside = ground.buffer(-swath_m / 2, join_style="mitre")
    rings = [
        LineString(ring.coords)
        for polygon in shapely.get_parts(inside)
        for ring in (polygon.exterior, *polygon.interiors)
    ]
    return [ring for ring in rings if ring.length > 2 * swath_m]


def _parallel(ground: BaseGeometry, swath_m: float, heading_deg: float) -> list[LineString]:
    """Lines one swath apart, every second one in the other direction; the first half a swath inside."""
    if ground.is_empty:
        return []
    north_up = rotate(ground, heading_deg, origin=(0.0, 0.0))  # the heading then points north
    west, south, east, north = north_up.bounds
    count = max(1, round((east - west) / swath_m))
    first = (west + east) / 2 - (count - 1) / 2 * swath_m
    lines = []
    for k in range(count):
        easting = first + k * swath_m
        crossing = LineString([(easting, south - 1), (easting, north + 1)]).intersection(north_up)
        pieces = [part for part in shapely.get_parts(crossing) if part.length >= PIECE_MIN_SWATHS * swath_m]
        pieces.sort(key=lambda piece: piece.bounds[1], reverse=bool(k % 2))
        for piece in pieces:
            ends = sorted(piece.coords, key=lambda xy: xy[1], reverse=bool(k % 2))
            lines.append(rotate(LineString(ends), -heading_deg, origin=(0.0, 0.0)))
    return lines


def along(line: LineString, step_m: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Middles of equal steps along a line, (steps, 2), and their lengths, (steps,)."""
    steps = max(1, math.ceil(line.length / step_m))
    length_m = line.length / steps
    distances = (np.arange(steps) + 0.5) * length_m
    points = shapely.get_coordinates(shapely.line_interpolate_point(line, distances))
    return points, np.full(steps, length_m)
