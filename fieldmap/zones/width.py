"""Zones wide enough to be driven: no narrower than one swath, or runs of passes along the heading."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np
from scipy import ndimage

from fieldmap.zones.shapes import merge_patches, windows

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from fieldmap.field import Grid
    from fieldmap.spreader import Pass
    from fieldmap.zones.loss import Loss

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]


THIN_SHARE = 0.02  # so much of the area may be narrower than the swath; judgement, no source
ROUNDS = 3  # patches that join after an opening can leave a neck; a further opening finds it
Method = Literal["as drawn", "opened to one swath", "runs along the heading"]


@dataclass(frozen=True)
class Width:
    """How zones got their width.

    Parameters
    ----------
    method
        The way that was taken.
    thin_share
        Share of the area (0 to 1) that no circle of one swath reaches within its zone, where one would fit into
        the block.
    losses
        Mean loss of each way that was tried, in the unit of the loss.
    """

    method: Method
    thin_share: float
    losses: dict[Method, float]


def widen(
    zone_index: NDArray[np.int16],
    loss: Loss,
    block_index: NDArray[np.integer],
    levels: Floats,
    *,
    grid: Grid,
    passes: Sequence[Pass],
    swath_m: float,
    minimum_area_m2: float,
) -> tuple[NDArray[np.int16], Width]:
    """Make zones at least one swath wide, by the way that loses less.

    Zones that are wide enough already stay as they are. Else they are opened: what no circle of one swath
    reaches goes to the nearest zone that has room for one. Or the passes are cut into runs, each one swath long
    at least and of the levels that lose least, exactly for each pass; what is left too small joins a neighbour.

    Parameters
    ----------
    zone_index
        Level of each cell, -1 outside, from `fieldmap.zones.shapes.shape_zones`.
    loss, block_index, levels
        As there.
    grid
        The grid of the rasters.
    passes
        The passes that will be driven.
    swath_m, minimum_area_m2
        Working width, metres, and least area of a patch, m².

    Returns
    -------
    zone_index, width
        The raster, and how it was made.
    """
    radius = swath_m / grid.cell_m / 2
    minimum_cells = minimum_area_m2 / grid.cell_m**2
    cells = int((block_index >= 0).sum())
    roomy = _opened(np.where(block_index >= 0, 0, -1), block_index, radius)[1]

    def thin_share(reached: NDArray[np.bool_]) -> float:
        return float((roomy & ~reached).sum() / cells)

    def mean_loss(zones: NDArray[np.int16]) -> float:
        return float(np.trace(loss.of_groups(zones.astype(np.int64), levels.size, levels)) / cells)

    opened, reached = _opened(zone_index, block_index, radius)
    losses: dict[Method, float] = {"as drawn": mean_loss(zone_index)}
    if (share := thin_share(reached)) <= THIN_SHARE:
        return zone_index, Width("as drawn", share, losses)
    for _ in range(ROUNDS):
        joined = merge_patches(opened, loss, block_index, levels, minimum_cells=minimum_cells)
        opened, reached = _opened(joined, block_index, radius)
        if (share := thin_share(reached)) <= THIN_SHARE:
            break
    opened = joined
    losses["opened to one swath"] = mean_loss(opened)
    in_runs = cut_into_runs(loss, block_index, levels, grid=grid, passes=passes, swath_m=swath_m)
    if in_runs is not None:
        in_runs = merge_patches(in_runs, loss, block_index, levels, minimum_cells=minimum_cells)
        losses["runs along the heading"] = mean_loss(in_runs)
        if losses["runs along the heading"] < losses["opened to one swath"]:
            share = thin_share(_opened(in_runs, block_index, radius)[1])
            return in_runs, Width("runs along the heading", share, losses)
    return opened, Width("opened to one swath", share, losses)


def _opened(
    zone_index: NDArray[np.integer], block_index: NDArray[np.integer], radius: float
) -> tuple[NDArray[np.int16], NDArray[np.bool_]]:
    """Each cell in the zone of the nearest place where a circle fits, and the cells that such circles reach.

    A circle of `radius` cells about a cell fits where no border of its zone is nearer. A circle that fits lies in
    one zone, so a cell that one reaches has its own zone's place nearest: one distance transform finds where
    circles fit, a second opens all zones at once and fills what is left.
    """
    opened = zone_index.astype(np.int16)
    reached = np.zeros(zone_index.shape, dtype=bool)
    for block, window in windows(block_index):
        within = block_index[window] == block
        zone = np.pad(np.where(within, zone_index[window], -1), 1, constant_values=-1)
        edge = np.zeros(zone.shape, dtype=bool)
        for axis in (0, 1):
            differs = np.diff(zone, axis=axis) != 0
            before, after = [slice(None)] * 2, [slice(None)] * 2
            before[axis], after[axis] = slice(None, -1), slice(1, None)
            edge[tuple(before)] |= differs
            edge[tuple(after)] |= differs
        fits = (ndimage.distance_transform_edt(~edge) + 0.5 >= radius) & (zone >= 0)
        if not fits.any():
            continue  # the block is narrower than the swath all over
        away, nearest = ndimage.distance_transform_edt(~fits, return_indices=True)
        inner = (slice(1, -1), slice(1, -1))
        np.copyto(opened[window], zone[tuple(nearest)][inner], where=within)
        reached[window] |= (away[inner] <= radius) & within
    return opened, reached


def cut_into_runs(
    loss: Loss,
    block_index: NDArray[np.integer],
    levels: Floats,
    *,
    grid: Grid,
    passes: Sequence[Pass],
    swath_m: float,
) -> NDArray[np.int16] | None:
    """Give each swath of each block runs of one level, none shorter than the swath is wide: least loss, exactly.

    Swaths lie about the parallel passes; the headlands go with the swath they lie in. None where no pass runs
    parallel to the heading.

    Parameters
    ----------
    loss, block_index, levels, grid, passes, swath_m
        As in `widen`.

    Returns
    -------
    NDArray of int16
        Level of each cell, -1 outside.
    """
    straight = next((one.line for one in passes if not one.headland), None)
    if straight is None:
        return None
    (first_east, first_north), (last_east, last_north) = straight.coords[0], straight.coords[-1]
    along = np.array([last_east - first_east, last_north - first_north]) / straight.length
    rows, columns = np.nonzero(block_index >= 0)
    east, north = grid.eastings()[columns] - first_east, grid.northings()[rows] - first_north
    across = np.floor((along[1] * east - along[0] * north) / swath_m + 0.5).astype(np.int64)
    block = block_index[rows, columns].astype(np.int64)
    swath = np.unique(block * (np.ptp(across) + 1) + across - across.min(), return_inverse=True)[1]
    place = np.floor((along[0] * east + along[1] * north) / grid.cell_m).astype(np.int64)
    start = np.full(swath.max() + 1, np.iinfo(np.int64).max)
    np.minimum.at(start, swath, place)
    place -= start[swath]
    lengths = np.zeros(start.size, dtype=np.int64)
    np.maximum.at(lengths, swath, place + 1)

    slices = int(lengths.max())
    group = np.full(block_index.shape, -1, dtype=np.int64)
    group[rows, columns] = swath * slices + place
    cost = loss.of_groups(group, start.size * slices, levels).reshape(start.size, slices, levels.size)
    runs = best_runs(cost, lengths, least=max(1, int(np.ceil(swath_m / grid.cell_m))))
    zone = np.full(block_index.shape, -1, dtype=np.int16)
    zone[rows, columns] = runs[swath, place]
    return zone


def best_runs(cost: Floats, lengths: Ints, *, least: int) -> Ints:
    """The levels along each swath that lose least in all, in runs of at least so many slices: exact.

    Parameters
    ----------
    cost
        Loss of each slice of each swath at each level, shape (swaths, slices, levels).
    lengths
        How many slices each swath has, shape (swaths,); a swath shorter than two runs is one run.
    least
        Least slices of a run.

    Returns
    -------
    NDArray
        Level of each slice, shape (swaths, slices); what lies beyond a swath's length has no meaning.
    """
    swaths, slices, levels = cost.shape
    summed = np.concatenate([np.zeros((swaths, 1, levels)), np.cumsum(cost, axis=1)], axis=1)
    so_far = summed.copy()  # least loss up to each slice, by the level of a last run that is long enough
    begun = np.zeros((slices + 1, swaths, levels), dtype=bool)  # whether that run is of the least length
    for end in range(2 * least, slices + 1):
        before = so_far[:, end - least].min(axis=1, keepdims=True)
        anew = before + summed[:, end] - summed[:, end - least]
        longer = so_far[:, end - 1] + cost[:, end - 1]
        begun[end] = anew < longer
        so_far[:, end] = np.where(begun[end], anew, longer)
    found = np.zeros((swaths, slices), dtype=np.int64)
    for swath, length in enumerate(lengths.tolist()):
        end, level = length, int(so_far[swath, length].argmin())
        while end > 0:
            if begun[end, swath, level]:
                found[swath, end - least : end] = level
                end -= least
                level = int(so_far[swath, end].argmin())
            else:
                end -= 1
                found[swath, end] = level
    return found
