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


TO_DO = agronomy.values_of("to_do")


def after_harvest(plan: Plan, blocks: Sequence[str]) -> Iterator[SowCatchCrop]:
    """Vegetables whose residue lets much nitrogen go before winter."""
    for crop, own in same_crop(plan, blocks):
        leaves_kg_ha = crop.entry.residue_credit_kg_ha or 0.0
        if leaves_kg_ha >= TO_DO["catch_from_kg_ha"]:
            last = crop.harvested + dt.timedelta(days=TO_DO["catch_within_d"])
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
