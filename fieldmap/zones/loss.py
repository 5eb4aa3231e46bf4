"""What a rate costs a cell: squared error of the rate, or money lost. Zones are drawn by either, the same way.

All rates here are of product, kg/ha. A loss never falls on both sides of a rate: beyond the cell's best rate
it only rises, either way. Levels, patches and widths need nothing else of it.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

import numpy as np

from fieldmap.budget import response

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]


_RATE_DECIMALS = 6  # kg/ha: running sums differ below this with the direction they are taken in
_KIND_STEPS, _KINDS_ASIDE = (
    1 / 8,
    400,
)  # cells of a kind differ by an eighth of a step, or a 400th of the range
_DOUBTS = 33  # borders between two rates are worked out for so many standard errors, the rest lies between
_HALVINGS = 50


class Loss(Protocol):
    """What every rate costs every cell of a raster."""

    @property
    def desired(self) -> Floats:
        """Best rate of each cell, NaN where nothing is spread; any shape."""

    def of_classes(self, rates: Floats, step_kg_ha: float) -> Floats:
        """Summed loss of each class of cells at each rate, (classes, rates).

        Within a class no two cells prefer different ones of the rates, which are multiples of the step.
        """

    def of_groups(self, group: Ints, groups: int, rates: Floats) -> Floats:
        """Summed loss of the cells of each group at each rate, (groups, rates); group -1 does not count."""

    def nearest(self, desired: Floats, rates: Floats) -> Ints:
        """Position of the rate, of ascending ones, that costs least where the best rate were `desired`.

        `desired` has the shape of the loss's own; of two equal rates the lower is taken.
        """

    def of_rounding(self, step_kg_ha: float) -> float:
        """Mean loss that rates a step apart cost in any case."""

    def mean_at(self, rate_kg_ha: Floats) -> float:
        """Mean loss of the cells at rates of their own, of the shape of `desired`."""


@dataclass(frozen=True)
class SquaredLoss:
    """Squared difference from the desired rate, (kg/ha)².

    Not where being short costs more than being over and the plan has prices: `MoneyLoss` is for that.

    Parameters
    ----------
    desired
        Desired rate of each cell, kg/ha of product, NaN where nothing is spread; any shape.

    References
    ----------
    Fisher 1958, J. Am. Stat. Assoc. 53:789-798: grouping for least squares.

    Examples
    --------
    Two cells want 90 and 110 kg/ha, one has nothing spread. At 100 each is off by 10, 100 (kg/ha)²; at 120 by 30 and
    10, which is 500 on average.

    >>> loss = SquaredLoss(np.array([90.0, 110.0, np.nan]))
    >>> loss.mean_at(np.full(3, 100.0)), loss.mean_at(np.full(3, 120.0))
    (100.0, 500.0)

    The first prefers 90 of the rates 90 and 120, whose middle is 105; the second prefers 120.

    >>> loss.nearest(np.array([90.0, 110.0]), np.array([90.0, 120.0])).tolist()
    [0, 1]
    """

    desired: Floats

    def of_classes(self, rates: Floats, step_kg_ha: float) -> Floats:
        """As `Loss`. Exact: cells change from one rate to another at the middle of the two, a half step.

        Cells that lie in one half step therefore share their preferences, and count, sum and sum of squares
        give their loss at every rate.
        """
        desired = self.desired[np.isfinite(self.desired)]
        low, high = np.rint(2 * rates[[0, -1]] / step_kg_ha)
        bins = np.clip(np.floor(desired / (step_kg_ha / 2)) - low, -1, high - low).astype(np.int64) + 1
        return _squared(desired, bins, int(high - low) + 2, rates)

    def of_groups(self, group: Ints, groups: int, rates: Floats) -> Floats:
        """As `Loss`."""
        counts = group >= 0
        return _squared(self.desired[counts], group[counts], groups, rates)

    def nearest(self, desired: Floats, rates: Floats) -> Ints:
        """As `Loss`."""
        middles = (rates[:-1] + rates[1:]) / 2
        return np.searchsorted(middles, np.round(desired, _RATE_DECIMALS)).astype(np.int64)

    def of_rounding(self, step_kg_ha: float) -> float:
        """As `Loss`: a rate is off by up to half a step, evenly."""
        return step_kg_ha**2 / 12

    def mean_at(self, rate_kg_ha: Floats) -> float:
        """As `Loss`."""
        return float(np.nanmean((rate_kg_ha - self.desired) ** 2))


def _squared(desired: Floats, group: Ints, groups: int, rates: Floats) -> Floats:
    """Summed squared differences, (groups, rates), from moments about a common rate: small numbers, more digits."""
    centre = float(desired.mean()) if desired.size else 0.0
    offset = desired - centre
    count, total, squares = (np.bincount(group, each, groups)[:, None] for each in (None, offset, offset**2))
    about = rates - centre
    return np.maximum(squares + about * (about * count - 2 * total), 0.0)


@dataclass(frozen=True)
class MoneyLoss:
    """Money lost a hectare, beyond what the best rate of each cell loses: being short costs more than being over.

    A rate x costs ``curvature E[max(0, plateau - x)²] + price x``: yield lost below the plateau, and the
    product. The expectation is over the cell's whole doubt, a normal distribution, and exact.

    Not for several vegetables or product prices at once, nor with a confidence other than 0.5: it prices the risk
    of being short already.

    Parameters
    ----------
    desired
        Rate that costs least, kg/ha of product, never below zero; NaN where nothing is spread; any shape.
    kind
        Number of the kind of each cell, -1 where nothing is spread, of the shape of `desired`. Cells of a kind
        differ by less than an eighth of a step in wanted rate and in doubt.
    plateau, sd, curvature
        Of each kind, means: the rate that brings supply to the plateau and its standard error (kg/ha of
        product), and money a hectare for each (kg/ha of product)² short of it. Shape (kinds,).
    cells
        How many cells are of each kind, shape (kinds,).
    price
        Money for a kg of product.

    References
    ----------
    Mathematics, docs/method.md, "Money"; quadratic with plateau rather than a pure quadratic: Cerrato & Blackmer
    1990, Agron. J. 82:138-143.

    Examples
    --------
    Known supply, plateau at 100 kg/ha of product, 0.02 money/ha for each (kg/ha)² short, 0.40 a kg: the best rate
    stays 0.40 / (2 × 0.02) = 10 short, at 90. The plateau's own 100 then costs 4.0 for ten kg more and saves
    0.02 × 10² = 2.0: 2.0 money/ha are lost. At 80, 0.02 × (20² - 10²) - 4.0 = 2.0 are lost too.

    >>> loss = MoneyLoss.from_rasters(
    ...     np.array([100.0]), np.array([0.0]), np.array([0.02]), price=0.40, step_kg_ha=10.0
    ... )
    >>> loss.desired.round(6).tolist(), [round(loss.mean_at(np.array([rate])), 6) for rate in (80.0, 90.0, 100.0)]
    ([90.0], [2.0, 0.0, 2.0])
    """

    desired: Floats
    kind: Ints
    plateau: Floats
    sd: Floats
    curvature: Floats
    cells: Floats
    price: float

    @classmethod
    def from_rasters(
        cls, plateau: Floats, sd: Floats, curvature: Floats, *, price: float, step_kg_ha: float
    ) -> MoneyLoss:
        """From rasters of plateau, standard error and curvature.

        Parameters
        ----------
        plateau, sd
            Rate that brings supply to the plateau and its standard error, kg/ha of product, rasters; NaN in
            `plateau` where nothing is spread.
        curvature
            Money a hectare for each (kg/ha of product)² short, raster.
        price
            Money for a kg of product.
        step_kg_ha
            Step of the machine's rates, kg/ha of product, by which cells are taken together as a kind.

        Returns
        -------
        MoneyLoss
            Its `desired` has the shape of `plateau`.
        """
        inside = np.isfinite(plateau)
        rate, doubt, bend = plateau[inside], sd[inside], curvature[inside]
        code = np.unique(bend, return_inverse=True)[1]
        for values in (doubt, rate):
            width = max(step_kg_ha * _KIND_STEPS, float(np.ptp(values)) / _KINDS_ASIDE)
            place = ((values - values.min()) / width).astype(np.int64)
            code = code * (place.max() + 1) + place
        present = np.zeros(code.max() + 1, dtype=bool)
        present[code] = True
        code = (np.cumsum(present) - 1)[code]
        cells = np.bincount(code).astype(np.float64)
        kind = np.full(plateau.shape, -1, dtype=np.int64)
        kind[inside] = code
        desired = np.full(plateau.shape, np.nan)
        desired[inside] = np.maximum(rate - response.short_for(price / (2 * bend), doubt), 0.0)
        own_bend = np.empty(cells.size)
        own_bend[code] = bend
        rates, doubts = (np.bincount(code, each) / cells for each in (rate, doubt))
        return cls(desired, kind, rates, doubts, own_bend, cells, price)

    def of_classes(self, rates: Floats, step_kg_ha: float) -> Floats:  # noqa: ARG002 - kinds have their width
        """As `Loss`."""
        return self.cells[:, None] * self._of_kinds(rates)

    def of_groups(self, group: Ints, groups: int, rates: Floats) -> Floats:
        """As `Loss`."""
        counts = group >= 0
        where, kind, each = group[counts], self.kind[counts], self._of_kinds(rates)
        return np.column_stack([np.bincount(where, each[kind, k], groups) for k in range(rates.size)])

    def nearest(self, desired: Floats, rates: Floats) -> Ints:
        """As `Loss`."""
        inside = self.kind >= 0
        kind, wanted = self.kind[inside], desired[inside]
        position = np.zeros(wanted.size, dtype=np.int64)
        sds = np.linspace(self.sd.min(), self.sd.max(), _DOUBTS)
        for bend in np.unique(self.curvature):
            own = self.curvature[kind] == bend
            doubt = self.sd[kind[own]]
            for low, high in itertools.pairwise(rates.tolist()):
                border = self._border(low, high, sds, float(bend))
                position[own] += np.round(wanted[own] - np.interp(doubt, sds, border), _RATE_DECIMALS) > 0
        found = np.zeros(desired.shape, dtype=np.int64)
        found[inside] = position
        return found

    def of_rounding(self, step_kg_ha: float) -> float:
        """As `Loss`: as if every cell were below its plateau, which it costs at most."""
        return float(np.average(self.curvature, weights=self.cells)) * step_kg_ha**2 / 12

    def mean_at(self, rate_kg_ha: Floats) -> float:
        """As `Loss`."""
        inside = self.kind >= 0
        kind, rate = self.kind[inside], rate_kg_ha[inside]
        plateau, sd, bend = (each[kind] for each in (self.plateau, self.sd, self.curvature))
        cost = bend * response.mean_squared_shortfall(plateau - rate, sd) + self.price * rate
        return float((cost - self._least()[kind]).mean())

    def squared(self, rates: Floats) -> float:
        """Mean squared difference of the desired rate from the one that costs least of some, (kg/ha)²."""
        inside = self.kind >= 0
        given = rates[self._of_kinds(rates).argmin(axis=1)][self.kind[inside]]
        return float(((given - self.desired[inside]) ** 2).mean())

    def _of_kinds(self, rates: Floats) -> Floats:
        """Loss of a cell of each kind at each rate, (kinds, rates)."""
        short = response.mean_squared_shortfall(self.plateau[:, None] - rates, self.sd[:, None])
        cost = self.curvature[:, None] * short + self.price * rates
        return np.maximum(cost - self._least()[:, None], 0.0)

    def _least(self) -> Floats:
        """What a cell of each kind costs at its best rate, (kinds,)."""
        short = response.short_for(self.price / (2 * self.curvature), self.sd)
        best = np.maximum(self.plateau - short, 0.0)
        return (
            self.curvature * response.mean_squared_shortfall(self.plateau - best, self.sd) + self.price * best
        )

    def _border(self, low: float, high: float, sd: Floats, bend: float) -> Floats:
        """Desired rate at which two rates cost the same, for each standard error: halving between the two."""
        short = response.short_for(np.full_like(sd, self.price / (2 * bend)), sd)

        def lower_is_dearer(desired: Floats) -> NDArray[np.bool_]:
            plateau = desired + short
            saved = response.mean_squared_shortfall(plateau - low, sd) - response.mean_squared_shortfall(
                plateau - high, sd
            )
            return np.asarray(bend * saved > self.price * (high - low))

        return _halved(lower_is_dearer, np.full_like(sd, low), np.full_like(sd, high))


def _halved(is_above: Callable[[Floats], NDArray[np.bool_]], low: Floats, high: Floats) -> Floats:
    """Where `is_above` turns true between two places, by halving."""
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        above = is_above(middle)
        low, high = np.where(above, low, middle), np.where(above, middle, high)
    return (low + high) / 2
