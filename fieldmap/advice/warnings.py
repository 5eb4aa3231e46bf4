"""Every warning of a run, in the order in which they are told."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fieldmap.advice.applications import (
    application_warnings,
    late_test_warnings,
    lead_warnings,
    left_warnings,
)
from fieldmap.advice.machine import (
    available_warnings,
    build_up_warnings,
    delivery_warnings,
    limit_warnings,
    offer_text,
    organic_load_warnings,
    pan_test_warnings,
    response_warnings,
    strip_warnings,
)
from fieldmap.advice.refusals import share_warnings
from fieldmap.advice.season import (
    credit_warnings,
    nitrate_test_warnings,
    season_warnings,
    tested_warnings,
    tied_up_warnings,
)
from fieldmap.advice.stand import (
    climate_warnings,
    date_warnings,
    highest_zone_text,
    placement_warnings,
    stand_warnings,
    trend_warnings,
)
from fieldmap.advice.verdict import no_pattern_text
from fieldmap.units import rate_unit, shown_rate
from fieldmap.verdict import nutrients

if TYPE_CHECKING:
    from fieldmap.budget import Budget, Share, ledger
    from fieldmap.field import Field
    from fieldmap.plan import Plan
    from fieldmap.stand import Stand
    from fieldmap.units import UnitSystem
    from fieldmap.verdict import ApplicationMap


def warnings_of(
    plan: Plan,
    stand: Stand,
    budget: Budget,
    applications: tuple[ApplicationMap, ...],
    shares: tuple[Share, ...],
    lines: tuple[ledger.LedgerLine, ...],
) -> tuple[str, ...]:
    """What the user should know, the machine first, then the samples, the season and the map."""
    return (
        *(text for one in applications for text in machine_warnings(one, applications, plan.units)),
        *left_warnings(applications, shares, plan.units),
        *stand.file_warnings,
        *stand.samples.warnings,
        *stand.nitrogen.warnings,
        *stand_warnings(budget.rules, stand, plan),
        *date_warnings(plan, stand.field, stand.samples),
        *application_warnings(plan, stand.field),
        *lead_warnings(plan, stand.field, [one.application for one in applications], budget.courses),
        *late_test_warnings(plan, budget.sidedress),
        *nitrate_test_warnings(plan, stand, budget),
        *trend_warnings(stand.samplings, stand.growths, stand.field, plan.units),
        *tested_warnings(plan, stand.field),
        *placement_warnings(budget.rules, budget.courses, stand.field),
        *share_warnings(plan, stand),
        *climate_warnings(budget.rules, budget.courses, stand.field, plan.units),
        *season_warnings(budget.courses, budget.seasons, stand.field, plan.units),
        *tied_up_warnings(lines, plan),
        *credit_warnings((one for need in budget.needs for one in need.credits), plan.units),
        *stand.map_warnings,
        *(text for text in (pattern_text(stand, plan.units),) if text),
        *(
            text
            for one in applications
            for text in available_warnings(one.spread.zone_map, one.application.product)
        ),
        *nutrient_warnings(applications, stand.field, plan),
        *pan_test_warnings(plan),
        *response_warnings(plan, budget.money),
        *strip_warnings(applications[0].spread.strips, plan),
        *highest_zone_warnings(applications, plan),
        *not_used(plan),
    )


def machine_warnings(
    one: ApplicationMap, applications: tuple[ApplicationMap, ...], units: UnitSystem
) -> tuple[str, ...]:
    """What the machine cannot deliver; needs beyond its limits with the last application, which makes up for all."""
    application = one.application
    if application.through_drip:
        return ()
    offer = offer_text(one.spread.offer, one.spread.delivery, units)
    said = (
        *delivery_warnings(one.spread.delivery, application.spreader, units),
        *(limit_warnings(one.spread.limits, application.spreader, units) if one is applications[-1] else ()),
        *((offer,) if offer else ()),
    )
    return (
        said
        if len(applications) == 1
        else tuple(f"Application {application.number}: {text}" for text in said)
    )


def highest_zone_warnings(applications: tuple[ApplicationMap, ...], plan: Plan) -> tuple[str, ...]:
    """Where the first application gives most, and why; thin ground that has to be dug first stands in the list."""
    highest = [
        (one.application.number, one.spread.zone_map.highest)
        for one in applications
        if one.spread.zone_map.highest is not None
    ][:1]
    found = (
        (number, highest_zone_text(one, plan.thin_ground, plan.units))
        for number, one in highest
        if one.capped or not one.thin or plan.thin_ground.cause != "unknown"
    )
    several = len(applications) > 1
    said = (f"Application {number}: {text}" if several else text for number, text in found if text)
    return tuple(said)


def pattern_text(stand: Stand, units: UnitSystem) -> str:
    """That the samples show no pattern, where the map is the field mean; empty where they show one."""
    fit = stand.biomass.fit
    return no_pattern_text(fit, rate_unit(units), per_unit=shown_rate(1.0, units)) if fit else ""


def nutrient_warnings(applications: tuple[ApplicationMap, ...], field: Field, plan: Plan) -> tuple[str, ...]:
    """What all applications bring in all: nitrogen against the limits, and what builds up in the soil."""
    return (
        *organic_load_warnings(nutrients.organic_load(applications), plan.units),
        *_building_up(applications, field, plan),
    )


def _building_up(applications: tuple[ApplicationMap, ...], field: Field, plan: Plan) -> tuple[str, ...]:
    first, *others = applications
    if not others:
        return build_up_warnings(first.spread.along, first.application.product.name, plan)
    bringing = (one.application.product.name for one in applications if one.spread.along)
    along = nutrients.together(
        [(one.spread.zone_map, one.application.product) for one in applications],
        field,
        [row for one in applications for row in one.spread.along],
    )
    return build_up_warnings(along, " and ".join(dict.fromkeys(bringing)), plan)


def not_used(plan: Plan) -> tuple[str, ...]:
    """What the plan gives and this version does not act on; said rather than passed over."""
    unused = plan.prices.crop is not None and plan.response is None
    return ("Read and checked, but not acted on by this version: [prices] crop.",) if unused else ()
