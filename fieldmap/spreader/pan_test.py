"""A pan test: trays across one pass show how evenly a spreader throws, and at which swath.

As in pan-test practice (ASAE S341 prescribes the method; the limit of 15 % is convention, from memory): the
passes beside it, driven back and forth, are laid over the measured one at the swath, and the coefficient of
variation of the sum is taken. The effective swath is twice the distance at which the rate falls to half of that
in the middle (Ohio State Bulletin 817).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fieldmap.plan import PanTest

    Floats = NDArray[np.float64]


POINTS = 400  # across two swaths


def caught(pan_test: PanTest, places_m: Floats) -> Floats:
    """What trays at places across the pass would catch, left negative: lines between trays, nothing beyond."""
    return np.interp(places_m, *_profile(pan_test), left=0.0, right=0.0)


def _profile(pan_test: PanTest) -> tuple[Floats, Floats]:
    """Places across the pass, metres, and what was caught there; nothing one tray further out."""
    weights = np.array([0.0, *pan_test.weights, 0.0])
    places_m = (np.arange(weights.size, dtype=np.float64) - weights.size // 2) * pan_test.spacing_m
    return places_m, weights


def reach_of_trays_m(pan_test: PanTest) -> float:
    """How far from its pass the spreader threw."""
    places_m, weights = _profile(pan_test)
    return float(np.abs(places_m[np.flatnonzero(weights)]).max()) + pan_test.spacing_m


def share_of_rate(pan_test: PanTest, distance_m: Floats, swath_m: float) -> Floats:
    """Rate at a distance from the pass, either side alike, as a share of the rate that passes a swath apart give."""
    both = (caught(pan_test, distance_m) + caught(pan_test, -distance_m)) / 2
    mean = sum(pan_test.weights) * pan_test.spacing_m / swath_m
    return np.asarray(both / mean)


def effective_swath_m(pan_test: PanTest) -> float:
    """Twice the distance at which the rate falls to half of that in the middle, the mean of three trays."""
    places_m = np.linspace(0.0, reach_of_trays_m(pan_test), POINTS)
    both = share_of_rate(pan_test, places_m, 1.0)
    middle = float(
        share_of_rate(pan_test, np.array([0.0, pan_test.spacing_m, pan_test.spacing_m]), 1.0).mean()
    )
    above = np.flatnonzero(both >= middle / 2)
    last = int(above[-1]) if above.size else 0
    if last + 1 >= places_m.size:
        return 2 * float(places_m[-1])
    drop = both[last] - both[last + 1]
    return 2 * float(
        places_m[last] + (both[last] - middle / 2) / drop * (places_m[last + 1] - places_m[last])
    )


def overlap_cv(pan_test: PanTest, swath_m: float) -> float:
    """Coefficient of variation across passes a swath apart, driven back and forth."""
    across = (np.arange(POINTS) + 0.5) * 2 * swath_m / POINTS
    reach = int(np.ceil(reach_of_trays_m(pan_test) / swath_m)) + 2
    total = np.zeros(POINTS)
    for k in range(-reach, reach + 3):
        side = 1.0 if k % 2 == 0 else -1.0  # the machine comes back the other way round
        total += caught(pan_test, side * (across - k * swath_m))
    return float(total.std() / total.mean())
