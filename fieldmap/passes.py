"""Where the spreader drives, and where each hopper load runs out."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely
from shapely.affinity import rotate
from shapely.geometry import LineString

from fieldmap.errors import InputError, Problem

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from fieldmap.field import Field
    from fieldmap.plan import Spreader

LOADS_MAX = 500
PIECE_MIN_SWATHS = 0.5  # a shorter piece of a pass is not worth driving into


@dataclass(frozen=True)
class Pass:
    """One drive with the spreader on, in the field's CRS; the line runs in the direction of travel.

    `headland` passes follow the outline at half a swath, the others run parallel to the heading.
    """

    number: int
    line: LineString
    headland: bool


@dataclass(frozen=True)
class Load:
    """One hopper filling: passes it serves, where it runs out (field's CRS, metres), and what it holds."""

    number: int
    pass_from: int
    pass_to: int
    easting_m: float
    northing_m: float
    product_kg: float


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


def split_loads(
    passes: Sequence[Pass],
    product_kg_ha_at: Callable[[NDArray[np.float64]], NDArray[np.float64]],
    spreader: Spreader,
    *,
    order_kg: float,
    step_m: float,
) -> tuple[Load, ...]:
    """Follow the passes and note where each load runs out.

    Parameters
    ----------
    passes
        In the order of driving.
    product_kg_ha_at
        Product rate at points (n, 2), 0 where nothing is spread.
    spreader
        Its swath, and what its hopper holds (one load where that is not given).
    order_kg
        Product in all zones, which the loads add up to.
    step_m
        Length of the steps along a pass.
    """
    places, numbers, masses = [], [], []
    for drive in passes:
        points, lengths_m = along(drive.line, step_m)
        places.append(points)
        numbers.append(np.full(len(points), drive.number))
        masses.append(product_kg_ha_at(points) * lengths_m * spreader.swath_m / 10_000.0)
    if not places:
        return ()
    place, number, mass_kg = np.vstack(places), np.concatenate(numbers), np.concatenate(masses)
    if not mass_kg.any():
        return ()
    # Passes overlap a little at headlands: the loads are those of the order, in proportion along the way.
    spread_kg = np.cumsum(mass_kg * (order_kg / mass_kg.sum()))
    total_kg = order_kg
    full_kg = spreader.hopper_kg or total_kg
    if total_kg / full_kg > LOADS_MAX:
        raise InputError(
            Problem(
                "plan.toml",
                "[spreader] hopper",
                f"a hopper of {full_kg:,.1f} kg makes {total_kg / full_kg:,.0f} loads",
                f"at most {LOADS_MAX} loads for a field are expected",
                "Check the hopper's weight and its unit",
            )
        )
    count = max(1, math.ceil(total_kg / full_kg - 1e-9))
    ends = np.minimum(np.searchsorted(spread_kg, full_kg * np.arange(1, count + 1) - 1e-9), len(number) - 1)
    starts = np.concatenate([[0], ends[:-1]])
    return tuple(
        Load(
            k + 1,
            int(number[start]),
            int(number[end]),
            float(place[end, 0]),
            float(place[end, 1]),
            min(full_kg, total_kg - k * full_kg),
        )
        for k, (start, end) in enumerate(zip(starts, ends, strict=True))
    )


def along(line: LineString, step_m: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Middles of equal steps along a line, (steps, 2), and their lengths, (steps,)."""
    steps = max(1, math.ceil(line.length / step_m))
    length_m = line.length / steps
    distances = (np.arange(steps) + 0.5) * length_m
    points = shapely.get_coordinates(shapely.line_interpolate_point(line, distances))
    return points, np.full(steps, length_m)
