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
    """What trays at places across the pass would catch: straight lines between trays, nothing beyond.

    Not for places further out than the trays stood: what fell there is taken as nothing one tray further.

    Parameters
    ----------
    pan_test
        Trays and what each caught.
    places_m
        Metres from the pass, left negative, any shape.

    Returns
    -------
    NDArray
        In the unit of weight of the trays, of the shape of `places_m`; NaN where that is NaN.

    References
    ----------
    Arithmetic on trays as ASAE S341 sets them out.

    Examples
    --------
    Trays every 5 m: half-way between one with 50 and one with 100 it is 75; one tray beyond the last, 0.

    >>> from fieldmap.plan.spreader import PanTest
    >>> trays = PanTest.model_validate({"spacing": "5 m", "weights": [50, 100, 100, 100, 50]})
    >>> caught(trays, np.array([-7.5, 0.0, 12.5, 15.0])).tolist()
    [75.0, 100.0, 25.0, 0.0]
    """
    return np.interp(places_m, *_profile(pan_test), left=0.0, right=0.0)


def _profile(pan_test: PanTest) -> tuple[Floats, Floats]:
    """Places across the pass, metres, and what was caught there; nothing one tray further out."""
    weights = np.array([0.0, *pan_test.weights, 0.0])
    places_m = (np.arange(weights.size, dtype=np.float64) - weights.size // 2) * pan_test.spacing_m
    return places_m, weights


def reach_of_trays_m(pan_test: PanTest) -> float:
    """How far from its pass the spreader threw, metres: to the last tray that caught something, and one further.

    Not the swath: passes that far apart would leave strips bare.

    Parameters
    ----------
    pan_test
        Trays and what each caught.

    Returns
    -------
    float
        Metres, to the side where it threw further.

    References
    ----------
    Arithmetic; that nothing falls beyond the next tray is an assumption.

    Examples
    --------
    >>> from fieldmap.plan.spreader import PanTest
    >>> reach_of_trays_m(PanTest.model_validate({"spacing": "5 m", "weights": [50, 100, 100, 100, 50]}))
    15.0
    """
    places_m, weights = _profile(pan_test)
    return float(np.abs(places_m[np.flatnonzero(weights)]).max()) + pan_test.spacing_m


def share_of_rate(pan_test: PanTest, distance_m: Floats, swath_m: float) -> Floats:
    """Rate at a distance from the pass, either side alike, as a share of the rate that passes a swath apart give.

    Not for how even it is: left and right are averaged here, `overlap_cv` keeps them apart.

    Parameters
    ----------
    pan_test
        Trays and what each caught.
    distance_m
        Metres from the pass, any shape.
    swath_m
        From pass to pass, metres.

    Returns
    -------
    NDArray
        0 or more, of the shape of `distance_m`; its integral over all distances, both sides, is the swath.

    References
    ----------
    Arithmetic: what one pass throws in all, spread over one swath, is the mean rate.

    Examples
    --------
    A trapezoid, flat to 5 m and nothing at 15 m, driven at 20 m: 1 under the machine, half at 10 m, half a swath out.

    >>> from fieldmap.plan.spreader import PanTest
    >>> trays = PanTest.model_validate({"spacing": "5 m", "weights": [50, 100, 100, 100, 50]})
    >>> share_of_rate(trays, np.array([0.0, 10.0, 15.0]), swath_m=20.0).tolist()
    [1.0, 0.5, 0.0]
    """
    both = (caught(pan_test, distance_m) + caught(pan_test, -distance_m)) / 2
    mean = sum(pan_test.weights) * pan_test.spacing_m / swath_m
    return np.asarray(both / mean)


def effective_swath_m(pan_test: PanTest) -> float:
    """Twice the distance at which the rate falls to half of that in the middle, the mean of three trays.

    Not always the best swath: for an uneven pattern compare `overlap_cv` at several.

    Parameters
    ----------
    pan_test
        Trays and what each caught.

    Returns
    -------
    float
        Metres.

    References
    ----------
    Ohio State Bulletin 817 (twice the distance of half the rate); the mean of three trays is judgement.

    Examples
    --------
    A trapezoid, flat to 5 m and nothing at 15 m, is half at 10 m.

    >>> from fieldmap.plan.spreader import PanTest
    >>> trays = PanTest.model_validate({"spacing": "5 m", "weights": [50, 100, 100, 100, 50]})
    >>> round(effective_swath_m(trays), 2)
    20.0
    """
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
    """Coefficient of variation across passes a swath apart, driven back and forth.

    Not for rounds driven one way, which lay left beside right; nor for one tray's misreading: repeat the test.

    Parameters
    ----------
    pan_test
        Trays and what each caught.
    swath_m
        From pass to pass, metres.

    Returns
    -------
    float
        Standard deviation over mean, 0 or more; above 0.15 is poor (convention, from memory).

    References
    ----------
    As in pan-test practice, ASAE S341; the limit of 15 % is from memory.

    Examples
    --------
    A trapezoid, flat to 5 m and nothing at 15 m, adds up to one rate everywhere at 20 m. At 25 m, of each 25 m, 10 m
    have the full rate, 5 m fall to half of it, 5 m have half and 5 m rise: mean 0.8, deviation 0.208.

    >>> from fieldmap.plan.spreader import PanTest
    >>> trays = PanTest.model_validate({"spacing": "5 m", "weights": [50, 100, 100, 100, 50]})
    >>> round(overlap_cv(trays, 20.0), 3), round(overlap_cv(trays, 25.0), 3)
    (0.0, 0.26)
    """
    across = (np.arange(POINTS) + 0.5) * 2 * swath_m / POINTS
    reach = int(np.ceil(reach_of_trays_m(pan_test) / swath_m)) + 2
    total = np.zeros(POINTS)
    for k in range(-reach, reach + 3):
        side = 1.0 if k % 2 == 0 else -1.0  # the machine comes back the other way round
        total += caught(pan_test, side * (across - k * swath_m))
    return float(total.std() / total.mean())
