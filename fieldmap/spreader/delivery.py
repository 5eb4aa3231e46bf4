"""The map driven on paper: what the ground receives when a real spreader follows it.

A spreader throws wider than its swath so that neighbouring passes overlap, and needs seconds to change its
rate. Here each pass is followed in steps; the rate on the disc lags behind what the map asks, and every cell
adds up what the passes near it throw there.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely
from scipy.sparse import csr_array

from fieldmap.spreader.passes import along
from fieldmap.spreader.rates import reach_m, share_at

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray
    from shapely.geometry import LineString

    from fieldmap.field import Field, Grid
    from fieldmap.plan import Spreader
    from fieldmap.spreader.passes import Pass

    Floats = NDArray[np.float64]
    Ints = NDArray[np.intp]


# A rate change begins after this share of its whole time and then runs straight (published: sigmoid upwards,
# straight downwards, 3 to 5 s in all; the split into delay and ramp is from memory).
DELAY_SHARE = 0.25
LOOK_AHEADS = 25  # tried, from none to one and a half times the distance of a change
WITHIN = 0.10
DELIVERABLE = 0.7  # judgement, no source


@dataclass(frozen=True)
class Delivery:
    """What the ground receives.

    Parameters
    ----------
    received_kg_ha
        Product on the field's grid (rows, columns), NaN outside the field.
    of_one_rate
        Share that each cell receives of one rate spread everywhere, raster, NaN outside the field: 1 but for edges,
        and for joints of passes.
    within_tenth
        Share of the spread area (0 to 1) that receives what was meant, within 10 %.
    short_kg, over_kg
        Product missing and too much in the zones, all cells added up.
    in_no_spread_kg, outside_kg
        Product landing in no-spread areas, and beyond the field's boundary.
    look_ahead_m
        How far ahead of the machine the map is best read.
    change_m
        Distance that a rate change takes at the plan's speed.
    short_runs
        Share of the way (0 to 1) that lies in runs of one rate shorter than that.
    """

    received_kg_ha: Floats
    of_one_rate: Floats
    within_tenth: float
    short_kg: float
    over_kg: float
    in_no_spread_kg: float
    outside_kg: float
    look_ahead_m: float
    change_m: float
    short_runs: float


def drive(
    passes: Sequence[Pass],
    meant_kg_ha: Floats,
    field: Field,
    *,
    spreader: Spreader,
) -> Delivery:
    """Drive the passes over the map.

    Not a forecast of a windy day: wind, slope, bounce and the flow in the hopper are not in it.

    Parameters
    ----------
    passes
        In the order of driving.
    meant_kg_ha
        Product meant, raster (rows, columns), NaN where nothing is to be spread.
    field
        Its grid, outline and no-spread areas.
    spreader
        Swath, pattern, speed, time to change the rate.

    Returns
    -------
    Delivery
        Rasters on the field's grid, kg/ha of product, NaN outside the field; totals in kg of product.

    References
    ----------
    A change of 3 to 5 s in all: Univ. of Georgia; Fulton et al. 2001, Trans. ASAE 44 (published); its split into
    delay and ramp is from memory. Throw: see `fieldmap.spreader.rates.share_at`.
    """
    grid = field.grid
    margin = int(np.ceil(reach_m(spreader) / grid.cell_m))
    meant = np.pad(np.nan_to_num(meant_kg_ha), margin)
    zone = np.pad(np.isfinite(meant_kg_ha), margin)
    inside = np.pad(field.inside, margin)
    no_spread = np.pad(field.in_no_spread, margin)
    tracks = [along(one.line, grid.cell_m) for one in passes]
    asked = [np.nan_to_num(grid.values_at(points, meant_kg_ha)) for points, _ in tracks]
    thrown = _thrown(passes, tracks, meant.shape, grid, margin, spreader=spreader)
    change_m = spreader.rate_change_s * spreader.speed_m_s
    steps_m = [lengths[0] for _, lengths in tracks]

    look_aheads_m = np.linspace(0.0, 1.5 * change_m, LOOK_AHEADS) if change_m > 0 else np.zeros(1)
    rates = np.hstack(
        [
            _lagged(asked_here, step_m, look_aheads_m, change_m)
            for asked_here, step_m in zip(asked, steps_m, strict=True)
        ]
    )

    in_zones, wanted = thrown[np.flatnonzero(zone)], meant[zone]
    errors = [float(((in_zones @ each - wanted) ** 2).sum()) for each in rates]
    best = int(np.argmin(errors))
    received = (thrown @ rates[best]).reshape(meant.shape)
    spread_here = [grid.values_at(points, np.isfinite(meant_kg_ha).astype(float)) for points, _ in tracks]
    of_one_rate = (thrown @ np.nan_to_num(np.concatenate(spread_here))).reshape(meant.shape)
    if spreader.border_spreading:  # it cuts the throw off at the edge of what is to be spread
        received, of_one_rate = (np.where(zone, each, 0.0) for each in (received, of_one_rate))
    difference = received - meant
    tolerance = WITHIN * np.where(meant > 0, meant, meant[zone].mean())
    cell_ha = field.area_ha / float(field.inside.sum())
    own = (slice(margin, margin + grid.rows), slice(margin, margin + grid.columns))
    return Delivery(
        received_kg_ha=np.where(field.inside, received[own], np.nan),
        of_one_rate=np.where(field.inside, of_one_rate[own], np.nan),
        within_tenth=float((np.abs(difference) <= tolerance)[zone].mean()),
        short_kg=float(-difference[zone & (difference < 0)].sum() * cell_ha),
        over_kg=float(difference[zone & (difference > 0)].sum() * cell_ha),
        in_no_spread_kg=float(received[no_spread].sum() * cell_ha),
        outside_kg=float(received[~inside].sum() * cell_ha),
        look_ahead_m=float(look_aheads_m[best]),
        change_m=change_m,
        short_runs=_short_runs(asked, steps_m, change_m),
    )


def _short_runs(asked: Sequence[Floats], steps_m: Sequence[float], change_m: float) -> float:
    """Share of the way in runs of one rate shorter than a rate change; a pass of one rate asks for none."""
    short_m = 0.0
    for rates, step_m in zip(asked, steps_m, strict=True):
        ends = np.flatnonzero(np.diff(rates)) + 1
        runs_m = np.diff([0, *ends, len(rates)]) * step_m
        short_m += float(runs_m[runs_m < change_m].sum()) if len(ends) else 0.0
    way_m = sum(len(rates) * step_m for rates, step_m in zip(asked, steps_m, strict=True))
    return float(short_m / way_m) if way_m else 0.0


def _thrown(
    passes: Sequence[Pass],
    tracks: Sequence[tuple[Floats, Floats]],
    shape: tuple[int, int],
    grid: Grid,
    margin: int,
    *,
    spreader: Spreader,
) -> csr_array:
    """What one unit of rate at each step of each pass gives to each cell, (cells, steps)."""
    rows, columns = shape
    eastings: Floats = grid.west_m + (np.arange(columns, dtype=np.float64) - margin + 0.5) * grid.cell_m
    northings: Floats = grid.north_m - (np.arange(rows, dtype=np.float64) - margin + 0.5) * grid.cell_m
    cells, steps, shares = [], [], []
    first_step = 0
    for one, (points, lengths) in zip(passes, tracks, strict=True):
        row, column, position_m, distance_m = _beside(one.line, reach_m(spreader), eastings, northings)
        step = first_step + np.minimum((position_m / lengths[0]).astype(int), len(points) - 1)
        cells.append(
            (row * columns + column).astype(np.int32)
        )  # half the memory, and the grid is never so large
        steps.append(step.astype(np.int32))
        shares.append(share_at(distance_m, spreader))
        first_step += len(points)
    places = (np.concatenate(cells), np.concatenate(steps))
    return csr_array((np.concatenate(shares), places), shape=(rows * columns, first_step))


def _beside(
    line: LineString, reach_m: float, eastings: Floats, northings: Floats
) -> tuple[Ints, Ints, Floats, Floats]:
    """Rows and columns of the cells beside a pass within its throw, how far along it, and how far from it.

    What lies before the start or beyond the end of a pass is not beside it; a round has neither.
    """
    corners = shapely.get_coordinates(shapely.remove_repeated_points(line))
    starts_m = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(corners, axis=0).T))])
    found = [
        _beside_piece(start, end, start_m, reach_m, eastings, northings)
        for start, end, start_m in zip(corners[:-1], corners[1:], starts_m[:-1], strict=True)
    ]
    row, column, position_m, distance_m = (np.concatenate(each) for each in zip(*found, strict=True))
    cell = row * len(eastings) + column
    order = np.lexsort((position_m, distance_m, cell))
    own = order[np.diff(cell[order], prepend=-1) > 0]  # near a corner, the nearer of two pieces counts
    if not line.is_closed:
        own = own[(position_m[own] > 0.0) & (position_m[own] < starts_m[-1])]
    return row[own], column[own], position_m[own], distance_m[own]


def _beside_piece(
    start: Floats, end: Floats, start_m: float, reach_m: float, eastings: Floats, northings: Floats
) -> tuple[Ints, Ints, Floats, Floats]:
    """As `_beside`, of a straight piece that begins at `start_m`, with what is within reach of its ends."""
    length_m = float(np.hypot(*(end - start)))
    east, north = (end - start) / length_m
    (west_m, south_m), (east_m, north_m) = (
        np.minimum(start, end) - reach_m,
        np.maximum(start, end) + reach_m,
    )
    rows = np.nonzero((northings >= south_m) & (northings <= north_m))[0]
    # Where each row of cells crosses the strip; where rows run with the pass, from end to end.
    slope = north if abs(north) > 1e-9 else 1e-9
    middle_m = start[0] + east * (northings[rows] - start[1]) / slope
    half_m = reach_m / abs(slope)
    first = np.searchsorted(eastings, np.maximum(middle_m - half_m, west_m))
    beyond = np.searchsorted(eastings, np.minimum(middle_m + half_m, east_m), side="right")
    count = np.maximum(beyond - first, 0)
    row = np.repeat(rows, count)
    column = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count - first, count)
    from_east_m, from_north_m = eastings[column] - start[0], northings[row] - start[1]
    position_m = np.clip(east * from_east_m + north * from_north_m, 0.0, length_m)
    distance_m = np.hypot(from_east_m - east * position_m, from_north_m - north * position_m)
    near = distance_m < reach_m
    return row[near], column[near], start_m + position_m[near], distance_m[near]


def _lagged(asked: Floats, step_m: float, look_aheads_m: Floats, change_m: float) -> Floats:
    """The rate that leaves the disc: what was asked a look-ahead further on, after its delay, along a ramp.

    A step in what is asked becomes a straight ramp: the mean of what was asked over the ramp's length. Shape
    (look-aheads, steps).
    """
    if change_m == 0:
        return np.tile(asked, (len(look_aheads_m), 1))
    ramp_m, delay_m = (1.0 - DELAY_SHARE) * change_m, DELAY_SHARE * change_m
    edges_m = np.arange(len(asked) + 1) * step_m
    total = np.concatenate([[0.0], np.cumsum(asked * step_m)])

    def total_until(at_m: Floats) -> Floats:
        before, after = np.minimum(at_m, 0.0), np.maximum(at_m - edges_m[-1], 0.0)
        return np.asarray(np.interp(at_m, edges_m, total) + before * asked[0] + after * asked[-1])

    newest_m = edges_m[:-1] + step_m / 2 + look_aheads_m[:, None] - delay_m
    return np.asarray((total_until(newest_m) - total_until(newest_m - ramp_m)) / ramp_m)
