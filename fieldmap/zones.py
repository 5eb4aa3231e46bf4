"""Zones: rate levels on the spreader's step, and patches of cells large enough to be spread.

All rates here are of product, kg/ha. Polygons are made from the patches in `fieldmap.coverage`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import ndimage

from fieldmap.patches import merge_small_patches, sum_by_pair

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from fieldmap.loss import Loss

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

_LOSS_DECIMALS = 6  # losses closer than this are equal: sums differ with their order
RATES_MAX = 2_000
_STEP_TOLERANCE = 1e-6  # of a step: a rate this close to a multiple, converted from lb/ac, is that multiple


@dataclass(frozen=True)
class LevelSet:
    """Rates to choose from, and what is lost by having no others.

    Parameters
    ----------
    levels
        Product rates, kg/ha, ascending, shape (zones,).
    loss
        Mean squared difference between a cell's desired rate and its level, (kg/ha)².
    money_ha
        Where levels follow money: what they lose a hectare, beyond the best rate of every cell; else None.
    """

    levels: Floats
    loss: float
    money_ha: float | None = None

    @property
    def zones(self) -> int:
        """Number of levels."""
        return self.levels.size


def rate_steps(
    *, step_kg_ha: float, rate_min_kg_ha: float, rate_max_kg_ha: float, floor_kg_ha: float = 0.0
) -> Floats:
    """List the product rates a spreader can be set to: zero, and whole steps from its least to its greatest.

    Parameters
    ----------
    step_kg_ha
        Step between settings, kg/ha of product.
    rate_min_kg_ha, rate_max_kg_ha
        Least and greatest rate of a running spreader, kg/ha of product.
    floor_kg_ha
        What every zone gets at least (a starter), kg/ha of product. Above zero, nothing below it is allowed,
        zero included.

    Returns
    -------
    NDArray
        Allowed rates, kg/ha of product, ascending.

    Raises
    ------
    ValueError
        If a rate is out of order, or no step lies between the limits.
    """
    if not (np.isfinite(step_kg_ha) and step_kg_ha > 0):
        raise ValueError(f"the rate step is {step_kg_ha:g} kg/ha; it must be greater than 0")
    if not 0 <= rate_min_kg_ha <= rate_max_kg_ha < np.inf:
        raise ValueError(
            f"the rates run from {rate_min_kg_ha:g} to {rate_max_kg_ha:g} kg/ha; "
            "the least must be 0 or more and no greater than the greatest"
        )
    if not 0 <= floor_kg_ha < np.inf:
        raise ValueError(f"the floor is {floor_kg_ha:g} kg/ha; it must be 0 or more")
    least = max(rate_min_kg_ha, floor_kg_ha)
    first = max(int(np.ceil(least / step_kg_ha - _STEP_TOLERANCE)), 1)
    last = int(np.floor(rate_max_kg_ha / step_kg_ha + _STEP_TOLERANCE))
    if last - first >= RATES_MAX:
        raise ValueError(
            f"the rate step, {step_kg_ha:g} kg/ha, gives {last - first + 1:,} rates between the limits; "
            f"at most {RATES_MAX:,} are expected: take a larger step"
        )
    if first > last:
        raise ValueError(
            f"no multiple of the rate step, {step_kg_ha:g} kg/ha, lies between {least:g} and "
            f"{rate_max_kg_ha:g} kg/ha; take a smaller step or wider limits"
        )
    steps = np.arange(first, last + 1, dtype=np.float64) * step_kg_ha
    return steps if floor_kg_ha > 0 else np.concatenate([[0.0], steps])


def best_levels(loss: Loss, *, step_kg_ha: float, allowed: Floats, zones_max: int) -> tuple[LevelSet, ...]:
    """Find the allowed rates that lose least, with one level, two, and so on.

    Exact. Beyond its best rate a cell's loss only rises, so a cell whose best rate lies between two
    neighbouring levels takes the better of these two. The loss of every pair of neighbours follows from the
    loss of each class of cells at each allowed rate, and dynamic programming over the pairs gives the best
    levels (Fisher 1958, J. Am. Stat. Assoc. 53:789-798, kept to the step).

    Parameters
    ----------
    loss
        What every rate costs every cell.
    step_kg_ha
        Rate step, kg/ha of product.
    allowed
        Rates to choose from, kg/ha of product, ascending multiples of the step.
    zones_max
        Most levels, at least 1.

    Returns
    -------
    tuple of LevelSet
        `zones_max` sets; the set at position i is the best of at most i + 1 levels. Where a further level
        gains nothing, the set before it is repeated. `LevelSet.loss` is the mean of what was given as `loss`.

    Raises
    ------
    ValueError
        If there are no cells, a desired rate is infinite, or an allowed rate is no multiple of the step.
    """
    cells = _checked(loss, allowed, step_kg_ha, zones_max)
    cost = loss.of_classes(allowed, step_kg_ha)
    best = cost.argmin(axis=1)
    near = slice(int(best.min()), int(best.max()) + 1)  # a level further out than these serves no cell better
    up_to, between, from_on = _losses(cost[:, near], best - near.start)

    so_far = up_to  # the least loss of all cells up to a level, were it the last chosen
    came_from: list[NDArray[np.intp]] = []
    sets: list[LevelSet] = []
    for zones in range(1, zones_max + 1):
        if zones > 1:
            reached = so_far[:, None] + between
            came_from.append(reached.argmin(axis=0))
            so_far = reached.min(axis=0)
        chosen = [int((so_far + from_on).argmin())]
        mean_loss = max(float((so_far + from_on).min() / cells), 0.0)
        if sets and not mean_loss < sets[-1].loss - 1e-12 * sets[0].loss:
            sets.append(sets[-1])
            continue
        for origin in reversed(came_from):
            chosen.append(int(origin[chosen[-1]]))
        sets.append(LevelSet(allowed[near][chosen[::-1]], mean_loss))
    return tuple(sets)


def _checked(loss: Loss, allowed: Floats, step_kg_ha: float, zones_max: int) -> int:
    """How many cells there are to serve."""
    cells = int((~np.isnan(loss.desired)).sum())
    if cells == 0 or np.isinf(loss.desired).any():
        raise ValueError("the desired rates must be finite, and of one cell at least")
    if zones_max < 1:
        raise ValueError(f"zones_max is {zones_max}; it must be 1 or more")
    steps = np.rint(allowed / step_kg_ha)
    if allowed.size == 0 or (np.diff(steps) <= 0).any():
        raise ValueError("the allowed rates must be ascending, and one at least")
    if np.abs(allowed / step_kg_ha - steps).max() > _STEP_TOLERANCE:
        raise ValueError(f"every allowed rate must be a multiple of the rate step, {step_kg_ha:g} kg/ha")
    return cells


def _losses(cost: Floats, best: NDArray[np.intp]) -> tuple[Floats, Floats, Floats]:
    """Losses, summed, of the classes up to each level, between two, and beyond each.

    `cost` is (classes, levels), `best` the best level of each class. A class counts as between two levels
    where its best lies above the first and not above the second. Shapes (levels,), (levels, levels),
    infinite where the second does not lie above the first, and (levels,).
    """
    order = np.argsort(best, kind="stable")
    cost = cost[order]
    levels = cost.shape[1]
    end = np.searchsorted(best[order], np.arange(levels), side="right")  # classes up to each level
    summed = np.vstack([np.zeros(levels), np.cumsum(cost, axis=0)])
    each = np.arange(levels)
    between = np.full((levels, levels), np.inf)
    for low in range(levels - 1):
        better = np.minimum(cost[end[low] :, [low]], cost[end[low] :, low + 1 :])
        reached = np.vstack([np.zeros(levels - low - 1), np.cumsum(better, axis=0)])
        between[low, low + 1 :] = reached[end[low + 1 :] - end[low], each[: levels - low - 1]]
    return summed[end, each], between, summed[-1] - summed[end, each]


def choose_levels(level_sets: Sequence[LevelSet], *, rounding: float, margin: float = 0.05) -> LevelSet:
    """Choose the fewest zones that serve nearly as well as the most.

    What rounding to the step costs anyway is no reason for another zone.

    Parameters
    ----------
    level_sets
        Best sets of one level, two, and so on, from `best_levels`.
    rounding
        What rates a step apart lose in any case, in the unit of the sets' loss.
    margin
        How much worse than the last set the choice may be, as a share of the loss of one rate.

    Returns
    -------
    LevelSet
        The first set whose loss is within the margin.
    """
    bound = level_sets[-1].loss + max(margin * level_sets[0].loss, rounding)
    return next(each for each in level_sets if each.loss <= bound)


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
