"""Patches of equal level, merged by least added loss until each is large enough."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy import ndimage

from fieldmap.zones.patches import merge_small_patches, sum_by_pair

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    from fieldmap.zones.levels import Ints
    from fieldmap.zones.loss import Loss


_LOSS_DECIMALS = 6  # losses closer than this are equal: sums differ with their order


def shape_zones(
    loss: Loss,
    block_index: NDArray[np.integer],
    levels: Floats,
    *,
    cell_m: float,
    swath_m: float,
    minimum_area_m2: float,
) -> NDArray[np.int16]:
    """Give each cell a level, so that cells of a level lie together in patches that can be spread.

    The desired rate is averaged over a square of one swath within the block, the average goes to the level
    that costs least there, and patches that are too small join a neighbour, smallest first, where that adds
    the least loss. Patches are connected by cell sides and never cross blocks.

    Parameters
    ----------
    loss
        What every rate costs every cell, of shape (rows, columns).
    block_index
        Number of the block each cell is in, -1 outside, shape (rows, columns).
    levels
        Rates to choose from, kg/ha of product, ascending.
    cell_m, swath_m
        Side of a cell and working width of the spreader, metres.
    minimum_area_m2
        Least area of a patch, m². A smaller patch remains only where it fills its piece of the block.

    Returns
    -------
    NDArray of int16
        Position in `levels` of each cell's rate, -1 outside the blocks, shape (rows, columns).

    Raises
    ------
    ValueError
        If shapes differ, or a cell inside a block has no desired rate.
    """
    desired = loss.desired
    if desired.shape != block_index.shape or desired.ndim != 2:
        raise ValueError(
            f"desired has shape {desired.shape} and block_index {block_index.shape}; they must be equal"
        )
    unknown = int(((block_index >= 0) & ~np.isfinite(desired)).sum())
    if unknown:
        raise ValueError(f"{unknown} cells inside the blocks have no desired rate; every one must have one")
    width = 2 * round((swath_m / cell_m - 1) / 2) + 1  # nearest odd number of cells: centred on the cell
    smooth = np.zeros(desired.shape)
    for block, window in windows(block_index):
        within = block_index[window] == block
        np.copyto(smooth[window], _box_mean(desired[window], within, max(width, 1)), where=within)
    zone = np.where(block_index >= 0, loss.nearest(smooth, levels), -1)
    return merge_patches(zone, loss, block_index, levels, minimum_cells=minimum_area_m2 / cell_m**2)


def merge_patches(
    zone_index: NDArray[np.integer],
    loss: Loss,
    block_index: NDArray[np.integer],
    levels: Floats,
    *,
    minimum_cells: float,
) -> NDArray[np.int16]:
    """Join patches that are too small to a neighbour of their block, then give each patch its best level.

    `zone_index` is the level of each cell before, -1 outside the blocks; the others are as in `shape_zones`.
    """
    patch, patch_zone, patch_block = _patches(zone_index, block_index)
    count = patch_zone.size
    cells = np.bincount(patch[patch >= 0], minlength=count).astype(np.float64)
    cost = loss.of_groups(patch, count, levels)
    pairs, sides = _shared_sides(patch, patch_block)
    end = merge_small_patches(cells, patch_zone, cost, pairs, sides, minimum_area=minimum_cells)
    of_end = np.zeros_like(cost)
    np.add.at(of_end, end, cost)
    zone = np.round(of_end, _LOSS_DECIMALS).argmin(axis=1)[end]  # neighbours made equal only grow
    return np.append(zone, -1)[patch].astype(np.int16)  # patch -1, outside, takes the appended -1


def windows(block_index: NDArray[np.integer]) -> list[tuple[int, tuple[slice, ...]]]:
    """The number of each block that has cells, and the part of the raster that holds them."""
    found = ndimage.find_objects(block_index.astype(np.int32) + 1)
    return [(block, window) for block, window in enumerate(found) if window is not None]


def _patches(zone_index: NDArray[np.integer], block_index: NDArray[np.integer]) -> tuple[Ints, Ints, Ints]:
    """Patch of each cell (-1 outside), and the zone and block of each patch."""
    patch = np.full(zone_index.shape, -1, dtype=np.int64)
    zones: list[Ints] = []
    blocks: list[Ints] = []
    count = 0
    for block, window in windows(block_index):
        within = block_index[window] == block
        for each in np.unique(zone_index[window][within]):
            labels, found = ndimage.label((zone_index[window] == each) & within)
            np.copyto(patch[window], labels + (count - 1), where=labels > 0)
            zones.append(np.full(found, each))
            blocks.append(np.full(found, block))
            count += found
    if not count:
        raise ValueError("no cell lies inside a block")
    return patch, np.concatenate(zones), np.concatenate(blocks)


def _box_mean(values: Floats, within: NDArray[np.bool_], width: int) -> Floats:
    """Mean over a square of `width` cells, of those `within`."""
    total = ndimage.uniform_filter(np.where(within, values, 0.0), width, mode="constant")
    share = ndimage.uniform_filter(within.astype(np.float64), width, mode="constant")
    return np.divide(total, share, out=np.zeros_like(total), where=within)


def _shared_sides(patch: Ints, patch_block: Ints) -> tuple[Ints, Floats]:
    """Pairs of patches of one block that touch, shape (pairs, 2), and how many cell sides they share."""
    first, second = [], []
    for one, other in ((patch[:, :-1], patch[:, 1:]), (patch[:-1], patch[1:])):
        differ = (one != other) & (one >= 0) & (other >= 0)
        first.append(one[differ])
        second.append(other[differ])
    touching = np.column_stack([np.concatenate(first), np.concatenate(second)])
    touching = touching[patch_block[touching[:, 0]] == patch_block[touching[:, 1]]]
    return sum_by_pair(touching, np.ones(len(touching)))
