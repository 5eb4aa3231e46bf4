"""The spread maps: zones and their rates, the passes and loads that carry them, and whether varying pays."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from fieldmap.budget import response
from fieldmap.credit import draw_credit
from fieldmap.field import per_block
from fieldmap.spreader import drive, passes_over, split_loads
from fieldmap.verdict import (
    ApplicationMap,
    DrawnMap,
    binding,
    flat_rates,
    follow_strips,
    ground_drawn,
    judge,
    machine_limits,
    nutrients,
    offer_other_map,
)
from fieldmap.zones import area_numbers, draw_zones, place_strips, rate_zones, strips_again, zone_loss

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from numpy.typing import NDArray

    from fieldmap.budget import Application, BlockNeed, Budget, Share
    from fieldmap.field import Field
    from fieldmap.plan import Response, Strips
    from fieldmap.stand import Stand
    from fieldmap.verdict import Verdict, Way
    from fieldmap.zones import Strip, ZoneMap

    Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Asked:
    """What a plan asks of its maps, whichever application they are of.

    Parameters
    ----------
    confidence
        Chance that a zone's credit is at least what is used of it.
    cap
        Whether the zone with the highest rate is held at the flat rate.
    strips
        Check strips; None for none.
    response
        Yield response of `response_crop`, where a check strip's yield at stake can be told.
    cost_money_ha
        What clipping, map and time cost a hectare; None where the plan does not say.
    """

    confidence: float
    cap: bool
    strips: Strips | None
    response: Response | None
    response_crop: str
    cost_money_ha: float | None = None


def draw_maps(
    applications: Sequence[Application],
    asked: Asked,
    stand: Stand,
    budget: Budget,
    shares: tuple[Share, ...],
    *,
    progress: Callable[[str], None] = lambda _: None,
) -> tuple[tuple[ApplicationMap, ...], Verdict]:
    """Draw the map of every application, each from what the earlier ones leave missing, and judge them together.

    Raises
    ------
    InputError
        Where the spreader cannot carry a rate that the plan asks for.
    """
    needs: list[list[BlockNeed]] = []
    drawn: list[DrawnMap] = []
    for position, application in enumerate(applications):
        needs.append(_needs(position, budget.needs, shares, drawn))
        drawn.append(
            draw_map(
                application,
                asked,
                stand,
                budget,
                needs[-1],
                laid=drawn[0].laid if drawn else None,
                flat_n_kg_ha=_flat_n_before(position, shares, drawn),
                progress=progress,
            )
        )
    maps = tuple(
        ApplicationMap(
            application=application,
            shares=tuple(share.shares[position] for share in shares),
            left_n_kg=_left_n_kg(drawn[position].zone_map, needs[position], stand.field, budget),
            spread=drawn[position],
        )
        for position, application in enumerate(applications)
    )
    return maps, _judge(stand, budget, asked, shares, maps)


def draw_map(
    application: Application,
    asked: Asked,
    stand: Stand,
    budget: Budget,
    needs: Sequence[BlockNeed],
    *,
    laid: tuple[Strip, ...] | None = None,
    flat_n_kg_ha: Mapping[Way, Sequence[float]] | None = None,
    progress: Callable[[str], None] = lambda _: None,
) -> DrawnMap:
    """Draw the zones of what is missing, drive them on paper, and reckon one rate to compare them with.

    Parameters
    ----------
    application, asked
        The application with its machine, and what the plan asks of every map.
    stand, budget, needs
        The ground, its credit, and what this application is to bring to each block.
    laid
        Check strips of an earlier application, which stay where they are.
    flat_n_kg_ha
        What one rate a block would have spread before, as `verdict.flat_rates` takes it.
    progress
        Is told what is being done.

    Raises
    ------
    InputError
        Where the spreader cannot carry a rate that the plan asks for.
    """
    field, credit, money, spreader = stand.field, budget.credit, budget.money, application.spreader
    progress("drawing zones")
    loss = zone_loss(credit, needs, field, spreader, money)
    passes = passes_over(field, spreader)
    # A rate that a test calls for is not joined with that of another block where zones are to be had.
    tested = any(need.tested_n_kg_ha is not None for need in needs)
    zones = draw_zones(loss, field, spreader, passes, number=spreader.zones_max if tested else None)
    draws = draw_credit(
        stand.biomass, stand.nitrogen_pct, area_numbers(zones, field),
        field=field, rules=budget.rules, strata=stand.strata,
    )  # fmt: skip
    if laid is None:
        laid = place_strips(
            zones,
            credit.se_kg_ha,
            strips=asked.strips,
            needs=needs,
            passes=passes,
            field=field,
            spreader=spreader,
        )
    else:
        laid = strips_again(laid, needs, field, spreader)
    zone_map = rate_zones(
        zones, credit, draws, laid,
        biomass_kg_ha=stand.biomass.mean, field=field, needs=needs, spreader=spreader,
        confidence=asked.confidence, cap=asked.cap, money=money,
    )  # fmt: skip

    progress("driving the map on paper")
    order_kg = sum(row.product_kg for row in zone_map.rows)
    loads = split_loads(
        passes, zone_map.product_at(field.grid), spreader, order_kg=order_kg, step_m=field.grid.cell_m
    )
    delivery = drive(passes, zone_map.product_kg_ha, field, spreader=spreader)
    return DrawnMap(
        level_sets=zones.level_sets,
        width=zones.width,
        zone_map=zone_map,
        draws=draws,
        passes=passes,
        loads=loads,
        laid=laid,
        strips=follow_strips(
            laid,
            zone_map,
            delivery,
            credit,
            needs,
            field,
            curve=asked.response,
            crop=asked.response_crop,
        ),
        limits=machine_limits(zone_map, needs, field, spreader, money),
        delivery=delivery,
        binding=binding(
            loss,
            zones,
            zone_map,
            delivery,
            spreader,
            field,
            scale=1.0 if money else spreader.product_entry.nitrogen_fraction**2,
        ),
        offer=offer_other_map(delivery, loss, zones, passes, field, spreader),
        flats=flat_rates(zone_map, loss, needs, field, spreader, given_n_kg_ha=flat_n_kg_ha),
        along=nutrients.along(zone_map, needs),
    )


def _needs(
    position: int, needs: Sequence[BlockNeed], shares: Sequence[Share], drawn: Sequence[DrawnMap]
) -> list[BlockNeed]:
    """What an application is to bring to each block, after those that are drawn; a cap is not made up for."""
    given_n_kg_ha = [
        np.nan_to_num(one.zone_map.rate_n_kg_ha + one.zone_map.withheld_n_kg_ha) for one in drawn
    ]
    return [
        share.need(position, need, sum((given_n_kg_ha[k] for k in share.before(position)), start=0.0))
        for share, need in zip(shares, needs, strict=True)
    ]


def _flat_n_before(
    position: int, shares: Sequence[Share], drawn: Sequence[DrawnMap]
) -> dict[Way, list[float]] | None:
    """What one rate a block would have spread before an application, by its way and block."""
    if not drawn:
        return None
    return {
        flat.way: [
            sum(drawn[k].flats[way].rate_n_kg_ha[block] for k in share.before(position))
            for block, share in enumerate(shares)
        ]
        for way, flat in enumerate(drawn[0].flats)
    }


def _judge(
    stand: Stand, budget: Budget, asked: Asked, shares: Sequence[Share], maps: Sequence[ApplicationMap]
) -> Verdict:
    """Whether varying pays, over all applications; what follows a test is left out, for no credit stands behind it.

    Where tests by ground leave nothing to the ledger, it is whether varying comes closer to what they call for.
    """
    field = stand.field
    by_ledger = [share.by_ledger for share in shares]
    counted = [[not any(by_ledger) or k not in share.tested for share in shares] for k, _ in enumerate(maps)]
    needs = [
        replace(need, share=share) if any(by_ledger) else need
        for need, share in zip(budget.needs, by_ledger, strict=True)
    ]
    meant, received, flats_meant, flats = _in_all(counted, maps, field)
    best_flat = next(iter(flats_meant.values()))
    zoned = np.isfinite(meant) & ~maps[0].spread.zone_map.in_strip
    return judge(
        ground_drawn(
            maps[0].spread.zone_map,
            received,
            flats,
            maps[0].spread.draws,
            field=field,
            needs=needs,
            money=budget.money,
            called_n_kg_ha=None if any(by_ledger) else _called_n_kg_ha(shares, field),
        ),
        max((one.spread.binding for one in maps), key=lambda one: one.one_rate),
        pattern=stand.biomass.has_pattern or stand.nitrogen_pct.has_pattern,
        unmixed=stand.nitrogen.unmixed,
        same_rates=bool(np.allclose(meant[zoned], best_flat[zoned])),
        tested=any(share.tested for share in shares),
        cost_money_ha=asked.cost_money_ha,
    )


def _called_n_kg_ha(shares: Sequence[Share], field: Field) -> Floats | None:
    """What tests call for, raster; None where each block has one rate by its test, which is that of no map."""
    if not any(isinstance(share.tested_n_kg_ha, np.ndarray) for share in shares):
        return None
    called = np.zeros(field.grid.shape)
    for number, share in enumerate(shares):
        called = np.where(field.block_index == number, share.tested_n_kg_ha, called)
    return called


def _in_all(
    counted: Sequence[Sequence[bool]], maps: Sequence[ApplicationMap], field: Field
) -> tuple[Floats, Floats, dict[Way, Floats], dict[Way, Floats]]:
    """Nitrogen meant and received, of the zones and of each flat rate, over the applications that count; rasters."""
    nothing = np.zeros(field.grid.shape)
    meant, received = nothing, nothing
    flats_meant = {flat.way: nothing for flat in maps[0].spread.flats}
    flats = dict(flats_meant)
    for blocks, one in zip(counted, maps, strict=True):
        counts, spread = per_block(field, blocks), one.spread
        drip = one.application.through_drip
        share = 1.0 if drip else spread.delivery.of_one_rate
        fraction = one.application.product.nitrogen_fraction
        meant = meant + counts * spread.zone_map.rate_n_kg_ha
        received = received + counts * (
            spread.zone_map.rate_n_kg_ha if drip else fraction * spread.delivery.received_kg_ha
        )
        for flat in spread.flats:
            rate = counts * per_block(field, flat.rate_n_kg_ha)
            flats_meant[flat.way] = flats_meant[flat.way] + rate
            flats[flat.way] = flats[flat.way] + rate * share
    return meant, received, flats_meant, flats


def _left_n_kg(zone_map: ZoneMap, needs: Sequence[BlockNeed], field: Field, budget: Budget) -> float:
    """What zones are short of what they were to get, kg of nitrogen; below zero where they get more.

    What a cap keeps back is meant to be.
    """
    due_n_kg_ha = response.due_kg_ha(zone_map.credit_used_kg_ha, needs, field, budget.money)
    zoned = np.isfinite(zone_map.rate_n_kg_ha) & ~zone_map.in_strip
    cell_ha = field.area_ha / float(field.inside.sum())
    given_n_kg_ha = zone_map.rate_n_kg_ha + zone_map.withheld_n_kg_ha
    return float((due_n_kg_ha - given_n_kg_ha)[zoned].sum() * cell_ha)
