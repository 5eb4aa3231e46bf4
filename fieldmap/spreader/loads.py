"""Hopper loads: where along the passes each runs out."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fieldmap.errors import InputError, Problem
from fieldmap.spreader.passes import along

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray

    from fieldmap.plan import Spreader
    from fieldmap.spreader.passes import Pass


LOADS_MAX = 500


@dataclass(frozen=True)
class Load:
    """One hopper filling: passes it serves, where it runs out (field's CRS, metres), and what it holds."""

    number: int
    pass_from: int
    pass_to: int
    easting_m: float
    northing_m: float
    product_kg: float


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
                f"a hopper of {full_kg:,.1f} kg makes {total_kg / full_kg:,.0f} loads",
                f"at most {LOADS_MAX} loads for a field are expected",
                "Check the hopper's weight and its unit",
                section="spreader",
                key="hopper",
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
