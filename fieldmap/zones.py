"""Zones: rate levels on the spreader's step, and patches of cells large enough to be spread.

All rates here are of product, kg/ha. Polygons are made from the patches in `fieldmap.coverage`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import ndimage

from fieldmap.coverage import merge_small_patches, sum_by_pair

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

_STEP_TOLERANCE = 1e-6  # of a step: a rate this close to a multiple, converted from lb/ac, is that multiple
_RATE_DECIMALS = 6  # kg/ha: running sums differ below this with the direction they are taken in


@dataclass(frozen=True)
class LevelSet:
    """Rates to choose from, and what is lost by having no others.

    Parameters
    ----------
    levels
        Product rates, kg/ha, ascending, shape (zones,).
    loss
        Mean squared difference between a cell's desired rate and the nearest level, (kg/ha)².
    """

    levels: Floats
    loss: float

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
    if first > last:
        raise ValueError(
            f"no multiple of the rate step, {step_kg_ha:g} kg/ha, lies between {least:g} and "
            f"{rate_max_kg_ha:g} kg/ha; take a smaller step or wider limits"
        )
    steps = np.arange(first, last + 1, dtype=np.float64) * step_kg_ha
    return steps if floor_kg_ha > 0 else np.concatenate([[0.0], steps])


def best_levels(
    desired: Floats, *, step_kg_ha: float, allowed: Floats, zones_max: int, weights: Floats | None = None
) -> tuple[LevelSet, ...]:
    """Find the allowed rates that serve the desired ones best, with one level, two, and so on.

    Exact. Every allowed rate is a multiple of the step, so the midpoint of any two of them, where a cell
    changes from one to the other, is a multiple of half the step. Counts, sums and sums of squares in bins of
    half a step therefore give the loss of every pair of neighbouring levels, and dynamic programming over
    the pairs gives the best levels (Fisher 1958, J. Am. Stat. Assoc. 53:789-798, kept to the step).

    Parameters
    ----------
    desired
        Desired rate of each cell, kg/ha of product, shape (cells,).
    step_kg_ha
        Rate step, kg/ha of product.
    allowed
        Rates to choose from, kg/ha of product, ascending multiples of the step.
    zones_max
        Most levels, at least 1.
    weights
        Weight of each cell, shape (cells,); by default all count the same.

    Returns
    -------
    tuple of LevelSet
        `zones_max` sets; the set at position i is the best of at most i + 1 levels. Where a further level
        gains nothing, the set before it is repeated.

    Raises
    ------
    ValueError
        If there are no cells, a rate or weight is not finite, or an allowed rate is no multiple of the step.
    """
    steps = _checked_steps(desired, allowed, step_kg_ha, zones_max, weights)
    lowest = max(int(np.searchsorted(allowed, desired.min(), side="right")) - 1, 0)
    highest = min(int(np.searchsorted(allowed, desired.max())), allowed.size - 1)
    near = slice(lowest, highest + 1)  # a level further out than these serves no cell better
    centre = float(np.average(desired, weights=weights))
    below = _moments_below(desired, centre, weights, 2 * steps[near], half_step=step_kg_ha / 2)
    up_to, between, from_on = _losses(below, 2 * (steps[near] - steps[lowest]), allowed[near] - centre)

    cells = below[0, -1]
    so_far = up_to  # the least loss of all cells up to a level, were it the last chosen
    came_from: list[NDArray[np.intp]] = []
    sets: list[LevelSet] = []
    for zones in range(1, zones_max + 1):
        if zones > 1:
            reached = so_far[:, None] + between
            came_from.append(reached.argmin(axis=0))
            so_far = reached.min(axis=0)
        chosen = [int((so_far + from_on).argmin())]
        loss = float((so_far + from_on).min() / cells)
        if sets and not loss < sets[-1].loss - 1e-12 * sets[0].loss:
            sets.append(sets[-1])
            continue
        for origin in reversed(came_from):
            chosen.append(int(origin[chosen[-1]]))
        sets.append(LevelSet(allowed[near][chosen[::-1]], loss))
    return tuple(sets)


def _checked_steps(
    desired: Floats, allowed: Floats, step_kg_ha: float, zones_max: int, weights: Floats | None
) -> Ints:
    """Allowed rates as whole numbers of steps."""
    if desired.size == 0 or not np.isfinite(desired).all():
        raise ValueError("the desired rates must be finite, and of one cell at least")
    if weights is not None and not (
        weights.shape == desired.shape
        and np.isfinite(weights).all()
        and weights.min() >= 0
        and weights.sum() > 0
    ):
        raise ValueError("the weights must be finite, 0 or more, one for each desired rate, and not all 0")
    if zones_max < 1:
        raise ValueError(f"zones_max is {zones_max}; it must be 1 or more")
    steps = np.rint(allowed / step_kg_ha).astype(np.int64)
    if allowed.size == 0 or (np.diff(steps) <= 0).any():
        raise ValueError("the allowed rates must be ascending, and one at least")
    if np.abs(allowed / step_kg_ha - steps).max() > _STEP_TOLERANCE:
        raise ValueError(f"every allowed rate must be a multiple of the rate step, {step_kg_ha:g} kg/ha")
    return steps


def _moments_below(
    desired: Floats, centre: float, weights: Floats | None, half_steps: Ints, *, half_step: float
) -> Floats:
    """Count, sum and sum of squares about `centre` of the cells below each half step, first level to last.

    Shape (3, half steps + 1): the last column holds all cells.
    """
    first, last = half_steps[0], half_steps[-1]
    bins = np.clip(np.floor(desired / half_step) - first, -1, last - first).astype(np.int64) + 1
    offset = desired - centre
    weighted = offset if weights is None else offset * weights
    moments = [np.bincount(bins, each, last - first + 2) for each in (weights, weighted, weighted * offset)]
    return np.cumsum(moments, axis=1, dtype=np.float64)


def _losses(below: Floats, edge: Ints, level: Floats) -> tuple[Floats, Floats, Floats]:
    """Squared differences, summed, of the cells up to each level, between two, and beyond each.

    `edge` is the column of each level in `below`, `level` its rate about the same centre. Shapes (levels,),
    (levels, levels), infinite where the second does not lie above the first, and (levels,).
    """

    def loss(moments: Floats, rate: Floats | np.float64) -> Floats:
        count, total, squares = moments
        summed: Floats = squares + rate * (rate * count - 2 * total)
        return np.maximum(summed, 0.0)

    at = below[:, edge]
    between = np.full((level.size, level.size), np.inf)
    for low in range(level.size - 1):
        high = slice(low + 1, None)
        middle = below[:, (edge[low] + edge[high]) // 2]
        between[low, high] = loss(middle - at[:, [low]], level[low]) + loss(at[:, high] - middle, level[high])
    return loss(at, level), between, loss(below[:, [-1]] - at, level)


def choose_levels(level_sets: Sequence[LevelSet], *, step_kg_ha: float, margin: float = 0.05) -> LevelSet:
    """Choose the fewest zones that serve nearly as well as the most.

    What rounding to the step costs anyway, step²/12, is no reason for another zone.

    Parameters
    ----------
    level_sets
        Best sets of one level, two, and so on, from `best_levels`.
    step_kg_ha
        Rate step, kg/ha of product.
    margin
        How much worse than the last set the choice may be, as a share of the loss of one rate.

    Returns
    -------
    LevelSet
        The first set whose loss is within the margin.
    """
    bound = level_sets[-1].loss + max(margin * level_sets[0].loss, step_kg_ha**2 / 12)
    return next(each for each in level_sets if each.loss <= bound)


def shape_zones(
    desired: Floats,
    block_index: NDArray[np.integer],
    levels: Floats,
    *,
    cell_m: float,
    swath_m: float,
    minimum_area_m2: float,
) -> NDArray[np.int16]:
    """Give each cell a level, so that cells of a level lie together in patches that can be spread.

    The desired rate is averaged over a square of one swath within the block, the average goes to the nearest
    level, and patches that are too small join a neighbour, smallest first, where that adds the least squared
    difference from the desired rate itself. Patches are connected by cell sides and never cross blocks.

    Parameters
    ----------
    desired
        Desired rate, kg/ha of product, shape (rows, columns); NaN outside the blocks.
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
    if desired.shape != block_index.shape or desired.ndim != 2:
        raise ValueError(
            f"desired has shape {desired.shape} and block_index {block_index.shape}; they must be equal"
        )
    inside = block_index >= 0
    unknown = int((inside & ~np.isfinite(desired)).sum())
    if unknown:
        raise ValueError(f"{unknown} cells inside the blocks have no desired rate; every one must have one")
    width = 2 * round((swath_m / cell_m - 1) / 2) + 1  # nearest odd number of cells: centred on the cell
    patch, patch_zone, patch_block = _patches(desired, block_index, levels, width=max(width, 1))

    count = patch_zone.size
    here = patch[inside]
    cells = np.bincount(here, minlength=count).astype(np.float64)
    rate_sum = np.bincount(here, desired[inside], count).astype(np.float64)
    pairs, sides = _shared_sides(patch, patch_block)
    end = merge_small_patches(
        cells, patch_zone, rate_sum, levels, pairs, sides, minimum_area=minimum_area_m2 / cell_m**2
    )
    mean = np.bincount(end, rate_sum, count) / np.maximum(np.bincount(end, cells, count), 1)
    zone = _nearest_level(mean, levels)[end]  # after all that joined it; neighbours made equal only grow
    return np.append(zone, -1)[patch].astype(np.int16)  # patch -1, outside, takes the appended -1


def _nearest_level(rate: Floats, levels: Floats) -> Ints:
    """Position of the nearest level, the lower of two; rates are rounded, so that equal ones stay equal."""
    return np.searchsorted((levels[:-1] + levels[1:]) / 2, np.round(rate, _RATE_DECIMALS)).astype(np.int64)


def _patches(
    desired: Floats, block_index: NDArray[np.integer], levels: Floats, *, width: int
) -> tuple[Ints, Ints, Ints]:
    """Patch of each cell (-1 outside) after smoothing and rounding, and the zone and block of each patch."""
    patch = np.full(desired.shape, -1, dtype=np.int64)
    zones: list[Ints] = []
    blocks: list[Ints] = []
    count = 0
    for block, window in enumerate(ndimage.find_objects(block_index.astype(np.int32) + 1)):
        if window is None:
            continue
        within = block_index[window] == block
        zone = _nearest_level(_box_mean(desired[window], within, width), levels)
        for each in np.unique(zone[within]):
            labels, found = ndimage.label((zone == each) & within)
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
