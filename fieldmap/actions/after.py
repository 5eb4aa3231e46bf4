"""What to do with what is left: keep stock off a stand that harms it, and catch what a harvest leaves."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from fieldmap import agronomy
from fieldmap.actions.kinds import KeepStockOff, SowCatchCrop
from fieldmap.actions.stand import same_crop

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from fieldmap.plan import Plan


LEAVES_KG_HA = (
    70.0  # of residue for the next crop of the year, from which it is worth catching (common practice)
)
CATCH_DAYS = 14  # after harvest (Smith 2016; common practice)


def after_harvest(plan: Plan, blocks: Sequence[str]) -> Iterator[SowCatchCrop]:
    """Vegetables whose residue lets much nitrogen go before winter."""
    for crop, own in same_crop(plan, blocks):
        leaves_kg_ha = crop.entry.residue_credit_kg_ha or 0.0
        if leaves_kg_ha >= LEAVES_KG_HA:
            last = crop.harvested + dt.timedelta(days=CATCH_DAYS)
            yield SowCatchCrop(own, crop.harvested, last, crop.name, leaves_kg_ha)


def fodder(plan: Plan, blocks: Sequence[str]) -> Iterator[KeepStockOff]:
    """Species that harm stock, where the stand is taken off to be fed."""
    harms = agronomy.hazards.fodder_harms()
    for block in blocks:
        cover = plan.cover_crop_of(block)
        if cover.ended_by != "removed":
            continue
        for species in cover.species:
            if species in harms:
                yield KeepStockOff((block,), None, cover.terminated, species, harms[species][0])
