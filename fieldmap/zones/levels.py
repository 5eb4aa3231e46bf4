"""Zones: rate levels on the spreader's step, and patches of cells large enough to be spread.

All rates here are of product, kg/ha. Polygons are made from the patches in `fieldmap.zones.polygons`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fieldmap.spreader import STEP_TOLERANCE

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    from fieldmap.zones.loss import Loss

    Ints = NDArray[np.int64]


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
    if np.abs(allowed / step_kg_ha - steps).max() > STEP_TOLERANCE:
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
