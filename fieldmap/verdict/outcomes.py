"""What comes of a way of spreading: nitrogen short and over, and money, under joint draws of what is not known."""

from __future__ import annotations

import functools
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fieldmap import agronomy
from fieldmap.budget import response

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from fieldmap.budget import BlockNeed
    from fieldmap.credit import CreditDraws
    from fieldmap.field import Field
    from fieldmap.verdict.flat_rates import Way
    from fieldmap.zones import ZoneMap

    Floats = NDArray[np.float64]


OFF_KG_HA = agronomy.values_of("verdict")["off_kg_ha"]  # ground that misses its need by more is misplaced


@dataclass(frozen=True)
class Outcome:
    """What comes of one way of spreading, on average over the draws.

    Parameters
    ----------
    name
        What it is.
    rate_n_kg_ha
        Nitrogen that the ground receives, mean of the field.
    short_n_kg, over_n_kg
        Nitrogen that the crop misses, and that is spread beyond what it can use, at the expected release; all
        of the field.
    off_share
        Share of the area (0 to 1) that misses its need by more than 10 kg N/ha, either way.
    money_lost_ha
        Money lost a hectare against knowing every place's credit, sampling and release both drawn; None where
        money is not known.
    zones_better
        Share of the draws in which zones do better than this; None for the zones themselves.
    """

    name: str
    rate_n_kg_ha: float
    short_n_kg: float
    over_n_kg: float
    off_share: float
    money_lost_ha: float | None
    zones_better: float | None


@dataclass(frozen=True)
class Ground:
    """Points of the field with joint draws of the supply they have before anything is spread, kg N/ha.

    Parameters
    ----------
    cells
        How many cells each point stands for, shape (points,).
    rate_n_kg_ha
        Nitrogen that each point receives from the zones, shape (points,).
    flats_n_kg_ha
        What it would receive of one rate a block, by the way that rate is come to; the first is compared with.
    supply, supply_all_doubt
        Credit and other credits, (points, draws): at the expected release, and with release and break-even drawn too.
    target
        Supply that is aimed at, (points, 1): the need, or with a yield response what pays best.
    recovery
        Share of what is spread that reaches the crop, (points, 1); more where only a part of what is missing is
        judged.
    money
        Response and prices; None where zones weigh short and over alike.
    area_ha
        Ground to spread.
    """

    cells: Floats
    rate_n_kg_ha: Floats
    flats_n_kg_ha: Mapping[str, Floats]
    supply: Floats
    supply_all_doubt: Floats
    target: Floats
    recovery: Floats
    money: response.Economics | None
    area_ha: float

    @functools.cached_property
    def wanted(self) -> Floats:
        """Nitrogen that each point wants spread, (points, draws), at the expected release."""
        return np.maximum(0.0, (self.target - self.supply) / self.recovery)

    @functools.cached_property
    def wanted_all_doubt(self) -> Floats:
        """As `wanted`, with release and break-even drawn too."""
        return np.maximum(0.0, (self.target - self.supply_all_doubt) / self.recovery)

    @functools.cached_property
    def zones_loss(self) -> Floats:
        """What the zones' own rates lose in each draw, as `loss`."""
        return self.loss(self.rate_n_kg_ha)

    def loss(self, rate_n_kg_ha: Floats, *, release_known: bool = False) -> Floats:
        """Mean loss of the field in each draw, (draws,): money a hectare, or squared error (kg N/ha)².

        `rate_n_kg_ha` is the rate of each point, (points,). With `release_known` the samples alone leave doubt.
        """
        rate = rate_n_kg_ha[:, None]
        if self.money is not None:
            supply = self.supply if release_known else self.supply_all_doubt
            lost = self.money.lost_ha(supply, rate, self.recovery)
        else:
            lost = (rate - (self.wanted if release_known else self.wanted_all_doubt)) ** 2
        return np.asarray(self.cells @ lost / self.cells.sum())

    def outcome(self, name: str, rate_n_kg_ha: Floats) -> Outcome:
        """What comes of giving each point a rate."""
        missed = self.wanted - rate_n_kg_ha[:, None]
        is_zones = rate_n_kg_ha is self.rate_n_kg_ha
        loss = self.zones_loss if is_zones else self.loss(rate_n_kg_ha)

        def mean(values: NDArray[np.float64] | NDArray[np.bool_]) -> float:
            return float(np.average(values.mean(axis=1), weights=self.cells))

        return Outcome(
            name=name,
            rate_n_kg_ha=float(np.average(rate_n_kg_ha, weights=self.cells)),
            short_n_kg=mean(np.maximum(missed, 0.0)) * self.area_ha,
            over_n_kg=mean(np.maximum(-missed, 0.0)) * self.area_ha,
            off_share=mean(np.abs(missed) > OFF_KG_HA),
            money_lost_ha=float(loss.mean()) if self.money is not None else None,
            zones_better=None if is_zones else float((loss > self.zones_loss).mean()),
        )


def ground_drawn(
    zone_map: ZoneMap,
    received_n_kg_ha: Floats,
    flats_n_kg_ha: Mapping[Way, Floats],
    draws: CreditDraws,
    *,
    field: Field,
    needs: Sequence[BlockNeed],
    money: response.Economics | None,
    called_n_kg_ha: Floats | None = None,
) -> Ground:
    """The zoned ground with its draws; check strips are left out, they are spread to learn.

    Parameters
    ----------
    zone_map
        The zones.
    received_n_kg_ha
        Nitrogen that the ground receives in all, raster (rows, columns).
    flats_n_kg_ha
        What it would receive of one rate a block, rasters, by the way that rate is come to.
    draws
        Joint draws of the credit, at the expected release and with all doubt.
    field, needs, money
        The field, the need of each block, what rates follow in place of it.
    called_n_kg_ha
        What nitrate tests call for everywhere, raster, where nothing is left to the ledger: then it is what each
        place wants, and no draw says otherwise.
    """
    at = draws.row, draws.column
    zoned = np.isfinite(zone_map.rate_n_kg_ha[at]) & ~zone_map.in_strip[at]
    block = field.block_index[at][zoned].astype(np.int64)

    def of_block(values: list[float]) -> Floats:
        return np.array(values)[block, None]

    others = of_block([need.other_credits_kg_ha for need in needs])
    supply, supply_all_doubt = draws.credit_kg_ha[zoned] + others, draws.all_doubt_kg_ha[zoned] + others
    target = of_block([response.target_kg_ha(need, money) for need in needs])
    recovery = of_block([need.credit_per_n for need in needs])
    if called_n_kg_ha is not None:
        target, recovery = called_n_kg_ha[at][zoned][:, None], np.ones(others.shape)
        supply = supply_all_doubt = np.zeros(others.shape)
    return Ground(
        cells=draws.cells[zoned],
        rate_n_kg_ha=received_n_kg_ha[at][zoned],
        flats_n_kg_ha={way: rates[at][zoned] for way, rates in flats_n_kg_ha.items()},
        supply=supply,
        supply_all_doubt=supply_all_doubt,
        target=target,
        recovery=recovery,
        money=money,
        area_ha=sum(zone.area_ha for zone in zone_map.zones),
    )
