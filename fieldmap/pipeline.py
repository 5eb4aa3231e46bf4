"""The straight line: read → field, samples → surface → credit → need → supplemental → zones → verdict."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from fieldmap.advice import climate_warnings, date_warnings
from fieldmap.applications import Share, application_warnings, late_test_warnings, products_of, shares_of
from fieldmap.budget import Budget, ledgers, reckon
from fieldmap.cautions import cautions
from fieldmap.course import tested_warnings
from fieldmap.delivery import delivery_warnings
from fieldmap.limits import limit_warnings
from fieldmap.nutrients import available_warnings, build_up_warnings, nutrients_together
from fieldmap.offer import offer_text
from fieldmap.pan_test import pan_test_warnings
from fieldmap.read.plan import file_digests
from fieldmap.response import response_warnings
from fieldmap.season import season_warnings, tied_up_warnings
from fieldmap.spread import ApplicationMap, Spread, draw_maps, left_warnings, when_text
from fieldmap.stages import SOURCES as STAGE_SOURCES
from fieldmap.stand import Stand, survey
from fieldmap.strip_findings import strip_warnings
from fieldmap.thin_ground import thin_ground_text
from fieldmap.tiles import one_blas_thread
from fieldmap.trend import trend_warnings

if TYPE_CHECKING:
    from collections.abc import Callable

    from fieldmap.field import Field
    from fieldmap.need import LedgerLine
    from fieldmap.plan import Plan


@dataclass(frozen=True)
class Result:
    """Everything a run finds; `fieldmap.export` writes it. Rasters are on the field's grid.

    `applications` is one where the plan has none of its own; `shares` says how they split.
    """

    plan: Plan
    plan_hash: str
    stand: Stand
    budget: Budget
    applications: tuple[ApplicationMap, ...]
    shares: tuple[Share, ...]
    ledger: tuple[LedgerLine, ...]
    timing: str
    warnings: tuple[str, ...]
    cautions: tuple[str, ...]
    sources: tuple[str, ...]

    @property
    def field(self) -> Field:
        """The field that all of it lies on."""
        return self.stand.field

    @property
    def spread(self) -> Spread:
        """The first application."""
        return self.applications[0].spread

    def alone(self, one: ApplicationMap) -> Result:
        """The run as one of its applications sees it: what that application's own files are written from."""
        return replace(self, plan=one.plan, applications=(one,))


def run(
    plan: Plan, *, stand: Stand | None = None, progress: Callable[[str], None] = lambda _: None
) -> Result:
    """Compute a plan.

    Parameters
    ----------
    plan
        From `fieldmap.read_plan`.
    stand
        From `fieldmap.stand.survey` of a plan that differs in need, caution or zones only; else it is surveyed.
    progress
        Is told what is being done.

    Raises
    ------
    InputError
        With every problem of the input.
    """
    with one_blas_thread():  # small matrices; and the same sums on every machine
        stand = stand or survey(plan, progress=progress)
        progress("working out credit and need")
        budget = reckon(plan, stand)
        shares = shares_of(plan, budget.needs, budget.seasons, budget.sidedress)
        applications = draw_maps(plan, stand, budget, shares, progress=progress)
    lines = ledgers(budget, stand, applications[-1].spread.zone_map.credit_used_kg_ha)
    return Result(
        plan=plan,
        plan_hash=plan.hash(file_digests(plan)),
        stand=stand,
        budget=budget,
        applications=applications,
        shares=shares,
        ledger=lines,
        timing=when_text(plan, budget, applications, shares),
        warnings=warnings_of(plan, stand, budget, applications, shares, lines),
        cautions=cautions(plan),
        sources=sources_of(plan, stand, budget),
    )


def warnings_of(
    plan: Plan,
    stand: Stand,
    budget: Budget,
    applications: tuple[ApplicationMap, ...],
    shares: tuple[Share, ...],
    lines: tuple[LedgerLine, ...],
) -> tuple[str, ...]:
    """What the user should know, the machine first, then the samples, the season and the map."""
    return (
        *(text for one in applications for text in machine_warnings(one, applications)),
        *left_warnings(applications, shares),
        *stand.file_warnings,
        *stand.samples.warnings,
        *stand.nitrogen.warnings,
        *date_warnings(plan, stand.field, stand.samples),
        *application_warnings(plan, stand.field),
        *late_test_warnings(plan, budget.sidedress),
        *trend_warnings(stand.samplings, stand.growths, plan),
        *tested_warnings(plan, stand.field),
        *climate_warnings(budget.rules, budget.courses, plan),
        *season_warnings(budget.courses, budget.seasons, plan),
        *tied_up_warnings(lines, plan),
        *(note for need in budget.needs for one in need.credits for note in one.notes),
        *stand.map_warnings,
        *(text for one in applications for text in available_warnings(one.spread.zone_map, one.plan)),
        *nutrient_warnings(applications, stand.field),
        *pan_test_warnings(plan),
        *response_warnings(plan),
        *strip_warnings(applications[0].spread.strips, plan),
        *thin_warnings(applications),
        *not_used(plan),
    )


def machine_warnings(one: ApplicationMap, applications: tuple[ApplicationMap, ...]) -> tuple[str, ...]:
    """What the machine cannot deliver; needs beyond its limits with the last application, which makes up for all."""
    if one.through_drip:
        return ()
    offer = offer_text(one.spread.offer, one.spread.delivery, one.plan)
    said = (
        *delivery_warnings(one.spread.delivery, one.plan),
        *(limit_warnings(one.spread.limits, one.plan) if one is applications[-1] else ()),
        *((offer,) if offer else ()),
    )
    return said if len(applications) == 1 else tuple(f"Application {one.number}: {text}" for text in said)


def thin_warnings(applications: tuple[ApplicationMap, ...]) -> tuple[str, ...]:
    """What the first application that gives thin ground most does there."""
    found = ((one, thin_ground_text(one.spread.zone_map.thin, one.plan)) for one in applications)
    several = len(applications) > 1
    said = (f"Application {one.number}: {text}" if several else text for one, text in found if text)
    return tuple(said)[:1]


def nutrient_warnings(applications: tuple[ApplicationMap, ...], field: Field) -> tuple[str, ...]:
    """What builds up in the soil over all applications."""
    first, *others = applications
    if not others:
        return build_up_warnings(first.spread.along, first.plan.spreader.product_entry.name, first.plan)
    bringing = (one.plan.spreader.product_entry.name for one in applications if one.spread.along)
    along = nutrients_together([(one.spread.zone_map, one.plan) for one in applications], field)
    return build_up_warnings(along, " and ".join(dict.fromkeys(bringing)), first.plan)


def sources_of(plan: Plan, stand: Stand, budget: Budget) -> tuple[str, ...]:
    """The keys of all sources that a figure of this run rests on, each once."""
    return tuple(
        dict.fromkeys(
            (
                *stand.nitrogen.sources,
                *(key for rule in budget.rules for key in rule.sources),
                *(key for need in budget.needs for one in need.credits for key in one.sources),
                *(STAGE_SOURCES if budget.stages else ()),
                *(key for product in products_of(plan) for key in product.sources),
                *(key for call in budget.sidedress for key in call.sources),
            )
        )
    )


def not_used(plan: Plan) -> tuple[str, ...]:
    """What the plan gives and this version does not act on; said rather than passed over."""
    unused = plan.prices.crop is not None and plan.response is None
    return ("Read and checked, but not acted on by this version: [prices] crop.",) if unused else ()
