"""The spread map: zones and their rates, the passes and loads that carry them, and whether varying pays."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fieldmap.credit import draw_credit
from fieldmap.delivery import Delivery, drive
from fieldmap.drawing import draw_zones, zone_loss
from fieldmap.flat import FlatRate, flat_rates
from fieldmap.limits import Limits, machine_limits
from fieldmap.nutrients import Along, nutrients_along
from fieldmap.offer import Offer, offer_other_map
from fieldmap.outcomes import ground_drawn
from fieldmap.passes import Load, Pass, passes_over, split_loads
from fieldmap.rates import Part, ZoneMap, area_numbers, rate_zones
from fieldmap.strip_findings import StripFindings, follow_strips
from fieldmap.strips import place_strips
from fieldmap.verdict import Verdict, judge

if TYPE_CHECKING:
    from collections.abc import Callable

    from fieldmap.budget import Budget
    from fieldmap.plan import Plan
    from fieldmap.stand import Stand
    from fieldmap.width import Width
    from fieldmap.zones import LevelSet


@dataclass(frozen=True)
class Spread:
    """One application: what is spread where, how the machine carries it, and how it does against one rate."""

    level_sets: tuple[LevelSet, ...]
    width: Width
    zone_map: ZoneMap
    passes: tuple[Pass, ...]
    loads: tuple[Load, ...]
    strips: tuple[StripFindings, ...]
    limits: Limits
    delivery: Delivery
    offer: Offer | None
    flat: FlatRate
    verdict: Verdict
    along: tuple[Along, ...]

    @property
    def parts(self) -> tuple[Part, ...]:
        """Every polygon of every zone and check strip, in the order of all files."""
        return tuple(part for row in self.zone_map.rows for part in row.parts)


def draw_map(
    plan: Plan, stand: Stand, budget: Budget, *, progress: Callable[[str], None] = lambda _: None
) -> Spread:
    """Draw the zones of what is missing, drive them on paper, and compare them with one rate.

    Raises
    ------
    InputError
        Where the spreader cannot carry a rate that the plan asks for.
    """
    field, credit, needs = stand.field, budget.credit, budget.needs
    progress("drawing zones")
    loss = zone_loss(credit, needs, field, plan)
    passes = passes_over(field, plan.spreader)
    zones = draw_zones(loss, field, plan, passes)
    draws = draw_credit(
        stand.biomass,
        stand.nitrogen_pct,
        area_numbers(zones, field),
        field=field,
        rules=budget.rules,
        strata=stand.strata,
    )
    laid = place_strips(zones, credit.se_kg_ha, needs=needs, passes=passes, field=field, plan=plan)
    zone_map = rate_zones(zones, credit, draws, laid, field=field, needs=needs, plan=plan)

    progress("driving the map on paper")
    order_kg = sum(row.product_kg for row in zone_map.rows)
    loads = split_loads(
        passes, zone_map.product_at(field.grid), plan.spreader, order_kg=order_kg, step_m=field.grid.cell_m
    )
    delivery = drive(passes, zone_map.product_kg_ha, field, spreader=plan.spreader)

    progress("comparing with one rate")
    flats = flat_rates(zone_map, loss, needs, field, plan)
    verdict = judge(
        ground_drawn(zone_map, draws, credit.release_error, field=field, needs=needs, plan=plan),
        flats,
        plan,
        pattern=stand.biomass.has_pattern or stand.nitrogen_pct.has_pattern,
        unmixed=stand.nitrogen.unmixed,
    )
    return Spread(
        level_sets=zones.level_sets,
        width=zones.width,
        zone_map=zone_map,
        passes=passes,
        loads=loads,
        strips=follow_strips(laid, zone_map, delivery, credit, needs, field, plan),
        limits=machine_limits(zone_map, needs, field, plan),
        delivery=delivery,
        offer=offer_other_map(delivery, loss, zones, passes, field, plan),
        flat=flats[0],
        verdict=verdict,
        along=nutrients_along(zone_map, plan),
    )
