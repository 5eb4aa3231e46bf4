"""Patches of cells or polygons that are too small join a neighbour, where that loses least."""

from __future__ import annotations

from heapq import heapify, heappop, heappush
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]


_TIE_DECIMALS = 6  # areas, borders and losses closer than this are equal: sums differ with their order


def sum_by_pair(pairs: Ints, amounts: Floats) -> tuple[Ints, Floats]:
    """Add up the amounts of equal pairs, whichever way round; distinct pairs (n, 2) and their sums (n,)."""
    span = int(pairs.max(initial=0)) + 1
    key, which = np.unique(pairs.min(axis=1) * span + pairs.max(axis=1), return_inverse=True)
    return np.column_stack(np.divmod(key, span)), np.bincount(which, amounts, key.size).astype(np.float64)


def merge_small_patches(
    area: Floats,
    zone: Ints,
    loss: Floats,
    pairs: Ints,
    border: Floats,
    *,
    minimum_area: float,
) -> Ints:
    """Join patches below the minimum area to a neighbour, smallest first, until none is left that has one.

    A patch joins its neighbours of the zone that adds the least loss; between equals, of the zone it shares
    the longest border with.

    Parameters
    ----------
    area, zone
        Area and zone of each patch, shape (patches,).
    loss
        Loss of each patch in each zone, summed over its cells, shape (patches, zones).
    pairs, border
        Pairs of touching patches, of different zones, shape (pairs, 2), and the length of border they
        share, shape (pairs,).
    minimum_area
        Least area, in the unit of `area`.

    Returns
    -------
    NDArray
        For each patch, the one it ended in, whose zone it takes, shape (patches,).
    """
    areas, zones, losses = area.tolist(), zone.tolist(), loss.tolist()
    ends = list(range(len(areas)))
    neighbours: list[dict[int, float]] = [{} for _ in ends]
    for (one, other), length in zip(pairs.tolist(), border.tolist(), strict=True):
        neighbours[one][other] = neighbours[other][one] = length

    def entry(patch: int) -> tuple[float, int, float, int]:
        return areas[patch], zones[patch], round(losses[patch][zones[patch]], _TIE_DECIMALS), patch

    def best_neighbours(patch: int) -> list[int]:
        shared: dict[int, float] = {}
        for other, length in neighbours[patch].items():
            shared[zones[other]] = shared.get(zones[other], 0.0) + length

        def preference(to: int) -> tuple[float, float, int]:
            return round(losses[patch][to], _TIE_DECIMALS), -round(shared[to], _TIE_DECIMALS), to

        best = min(shared, key=preference)
        return [other for other in neighbours[patch] if zones[other] == best]

    def absorb(patch: int, into: int) -> None:
        ends[patch] = into
        areas[into] += areas[patch]
        losses[into] = [one + other for one, other in zip(losses[into], losses[patch], strict=True)]
        for other, length in neighbours[patch].items():
            del neighbours[other][patch]
            if other != into:
                neighbours[into][other] = neighbours[other][into] = neighbours[into].get(other, 0.0) + length
        neighbours[patch] = {}

    queue = [entry(patch) for patch in ends if areas[patch] < minimum_area]
    heapify(queue)
    while queue:
        size, *_, patch = heappop(queue)
        if ends[patch] != patch or areas[patch] != size or not neighbours[patch]:
            continue  # joined or grown since it was queued, or alone
        joined = best_neighbours(patch)
        keeper = max(joined, key=lambda other: len(neighbours[other]))  # the fewest entries to move
        for other in (patch, *joined):
            if other != keeper:
                absorb(other, keeper)
        if areas[keeper] < minimum_area:
            heappush(queue, entry(keeper))

    end = np.array(ends)
    while (end[end] != end).any():
        end = end[end]
    return end
