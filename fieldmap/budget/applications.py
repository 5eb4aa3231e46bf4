"""Several applications: which share goes out on which day, and what of it each block's rates aim at.

An application after the first aims at its share of what the earlier ones, as zoned and rounded, leave missing, and
the last at all of it: so what rounding and the machine's limits leave short or over is made up for, and all together
aim at the supplemental nitrogen.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

import numpy as np

from fieldmap.budget.acting import phosphorus_share, product_acting
from fieldmap.budget.sidedress import called_n_kg_ha, following
from fieldmap.plan import Crop
from fieldmap.season import split_by_season
from fieldmap.spreader import RATES_MAX

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from fieldmap import agronomy
    from fieldmap.budget.need import BlockNeed
    from fieldmap.budget.seasons import BlockSeason
    from fieldmap.budget.sidedress import SidedressCall
    from fieldmap.field import Field
    from fieldmap.plan import ApplicationSection, Method, Plan, Spreader
    from fieldmap.season import Course

    Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Application:
    """One application, complete in itself: its day, its method, and the spreader with its own product and limits.

    `number` counts from 1, `of` is how many the plan has; `share` is as the plan gives it.
    """

    number: int
    of: int
    date: dt.date | None
    method: Method
    share: float | Literal["auto", "phosphorus"]
    spreader: Spreader

    @property
    def product(self) -> agronomy.Product:
        """What it spreads, as it acts on this field from that day on."""
        return self.spreader.product_entry

    @staticmethod
    def folder_of(number: int | str) -> str:
        """The folder of one of several applications, by its number."""
        return f"application-{number}"

    @property
    def folder(self) -> str:
        """The folder of its files among several; the output folder itself where it is the only one."""
        return self.folder_of(self.number) if self.of > 1 else ""

    @property
    def through_drip(self) -> bool:
        """Whether no machine drives it."""
        return self.method == "through drip"

    @property
    def follows_planting(self) -> bool:
        """Whether it feeds a standing crop."""
        return self.method in ("side-dress", "through drip")


def applications_of(plan: Plan, field: Field, courses: Sequence[Course | None]) -> tuple[Application, ...]:
    """The applications of a plan; one broadcast before planting with all of it where the plan names none.

    `courses` are of the field's blocks: by them an organic product acts.
    """
    sections = plan.applications
    products = [product_acting(section, plan, field, courses) for section in sections]
    least_recovery = min(crop.recovery or 1.0 for crop in plan.crops)
    return tuple(
        Application(
            number=number,
            of=len(sections),
            date=section.date,
            method=section.method,
            share=section.share,
            spreader=plan.spreader.loaded_with(product)
            if number == 1
            else _own_spreader(section, plan.spreader.loaded_with(product), least_recovery),
        )
        for number, (section, product) in enumerate(zip(sections, products, strict=True), start=1)
    )


def _own_spreader(section: ApplicationSection, spreader: Spreader, least_recovery: float) -> Spreader:
    """The spreader, loaded with its product, with the limits of an application after the first.

    The starter that every zone gets is the first's. A drip line knows no least and greatest rate of a spreader: only
    the rate step is kept.
    """
    changes: dict[str, object] = {"rate_n_min_kg_ha": 0.0}
    if section.method == "through drip":
        most_kg_ha = Crop.NEED_MAX_KG_HA / least_recovery / spreader.product_entry.nitrogen_fraction
        changes["rate_min_kg_ha"] = 0.0
        changes["rate_max_kg_ha"] = min(most_kg_ha, RATES_MAX * spreader.rate_step_kg_ha)
    return spreader.model_copy(update=changes)


@dataclass(frozen=True)
class Share:
    """A block's part in the applications of a plan, in their order.

    `shares` are of the supplemental nitrogen and add up to one; `tested` are the positions of those that follow a
    nitrate test in its place, `tested_n_kg_ha` what it calls for in all of these, a raster of the field where tests
    tell grounds apart; `by_season` is what the season gives to which day, kg N/ha, empty where the plan gives the
    shares.
    """

    block: str
    shares: tuple[float, ...]
    tested: tuple[int, ...]
    tested_n_kg_ha: float | Floats
    by_season: tuple[tuple[dt.date, float], ...]

    @property
    def by_ledger(self) -> float:
        """Share of the supplemental that goes out by the ledger, not by a test."""
        return 1.0 if not self.tested else 1.0 - sum(self.shares[k] for k in self.tested)

    def before(self, position: int) -> tuple[int, ...]:
        """The earlier applications that count for one: of those by a test the earlier ones by it."""
        if position in self.tested:
            return tuple(k for k in self.tested if k < position)
        return tuple(range(position))

    def need(self, position: int, need: BlockNeed, given_n_kg_ha: float | Floats) -> BlockNeed:
        """What an application is to bring, where those that count for it have brought `given_n_kg_ha`."""
        tested = position in self.tested
        together = self.tested if tested else tuple(range(len(self.shares)))
        left = sum(self.shares[k] for k in together if k >= position)
        share = self.shares[position] / left if left > 0 else 0.0
        if tested and not any(self.shares[k] for k in together):  # the ledger left it nothing, the test may
            share = float(position == together[0])
        return replace(
            need,
            share=share,
            given_n_kg_ha=given_n_kg_ha,
            tested_n_kg_ha=self.tested_n_kg_ha if tested else None,
        )


def shares_of(
    applications: Sequence[Application],
    needs: Sequence[BlockNeed],
    seasons: Sequence[BlockSeason],
    calls: Sequence[SidedressCall],
    supplemental_kg_ha: Sequence[float],
    *,
    third: NDArray[np.int8] | None = None,
) -> tuple[Share, ...]:
    """The part of every block in the applications; `supplemental_kg_ha` is the mean of each.

    `third` is the ground of each cell, which tests by ground need.
    """
    return tuple(
        _share(
            applications,
            need,
            mean_kg_ha,
            next((one for one in seasons if one.block == need.block), None),
            [one for one in calls if one.block == need.block],
            third,
        )
        for need, mean_kg_ha in zip(needs, supplemental_kg_ha, strict=True)
    )


def _share(
    applications: Sequence[Application],
    need: BlockNeed,
    supplemental_kg_ha: float,
    season: BlockSeason | None,
    calls: Sequence[SidedressCall],
    third: NDArray[np.int8] | None,
) -> Share:
    told = np.array([_told_share(one, need, supplemental_kg_ha) for one in applications])
    unknown = [k for k, one in enumerate(applications) if one.share == "auto"]
    rest = 1.0 - float(told.sum())
    by_season: tuple[tuple[dt.date, float], ...] = ()
    if len(unknown) == 1:
        told[unknown] = rest
    elif unknown:
        dates = [one.date for one in applications if one.share == "auto" and one.date is not None]
        assert season is not None  # noqa: S101 - the plan has weather, checked as it was read
        of_season = _of_season(season, dates)
        told[unknown] = rest * of_season
        amounts = (rest * of_season * max(season.supplemental_kg_ha, 0.0)).tolist()
        by_season = tuple(zip(dates, amounts, strict=True))
    tested = following(calls[0], [one.date for one in applications]) if calls else ()
    shares = tuple((told / told.sum()).tolist())
    return Share(need.block, shares, tested, called_n_kg_ha(calls, third) if tested else 0.0, by_season)


def _told_share(one: Application, need: BlockNeed, supplemental_kg_ha: float) -> float:
    """The share that the plan gives, or that phosphorus makes; 0 where it is still to be found."""
    if one.share == "phosphorus":
        return phosphorus_share(one.product, need.removal_p2o5_kg_ha, supplemental_kg_ha)
    return 0.0 if one.share == "auto" else float(one.share)


def _of_season(season: BlockSeason, dates: Sequence[dt.date]) -> Floats:
    """Shares of the dates in what is left to them; all with the second where nothing is left."""
    whole = season.supplemental_kg_ha
    if whole <= 0:
        return np.array([0.0, 1.0, *(0.0 for _ in dates[2:])])
    return (
        np.array(split_by_season(season.balance, whole, dates, least_share=season.least_first_share)) / whole
    )


def products_of(applications: Sequence[Application]) -> tuple[agronomy.Product, ...]:
    """Every product that is spread, each once."""
    return tuple({one.product.name: one.product for one in applications}.values())
