"""The straight line: read → field, samples → surface → credit → need → supplemental → zones → verdict."""

from __future__ import annotations

import functools
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from fieldmap.actions import actions_of
from fieldmap.advice import action_texts, cautions, objections, sources_of, warnings_of
from fieldmap.budget import applications_of, response, shares_of
from fieldmap.errors import InputError, Problem
from fieldmap.geostatistics import one_blas_thread
from fieldmap.pipeline.application import Asked, draw_maps
from fieldmap.pipeline.budget import block_means, ledgers, reckon
from fieldmap.pipeline.refusals import refuse_wrong
from fieldmap.pipeline.survey import stand_key, survey
from fieldmap.read import file_digests

if TYPE_CHECKING:
    from collections.abc import Callable

    from fieldmap.actions import Action
    from fieldmap.advice import ActionText
    from fieldmap.budget import Budget, Share
    from fieldmap.budget import ledger as of_block
    from fieldmap.field import Field
    from fieldmap.plan import Plan
    from fieldmap.stand import Stand
    from fieldmap.verdict import ApplicationMap, DrawnMap, Verdict


@dataclass(frozen=True, repr=False)
class Result:
    """Everything a run finds, in numbers; `fieldmap.export` writes it. Rasters are on the field's grid.

    `applications` is one where the plan has none of its own; `shares` says how they split. `verdict` is of all of
    them together. `sources` are keys into the table of sources. What is said of it is worded in the units of `plan`.
    """

    plan: Plan
    plan_hash: str
    stand: Stand
    budget: Budget
    applications: tuple[ApplicationMap, ...]
    verdict: Verdict
    shares: tuple[Share, ...]
    ledger: tuple[of_block.LedgerLine, ...]
    sources: tuple[str, ...]

    def __repr__(self) -> str:
        return f"<run of {self.plan.name!r}>"

    @property
    def field(self) -> Field:
        """The field that all of it lies on."""
        return self.stand.field

    @property
    def spread(self) -> DrawnMap:
        """The first application."""
        return self.applications[0].spread

    @functools.cached_property
    def actions(self) -> tuple[Action, ...]:
        """What to do, by day."""
        return actions_of(self.plan, self.stand, self.budget, self.applications, self.ledger)

    @functools.cached_property
    def action_texts(self) -> tuple[ActionText, ...]:
        """The same in words."""
        return action_texts(
            self.actions,
            [block.name for block in self.field.blocks],
            self.plan.units,
            objections=objections(self.plan, self.field),
        )

    @functools.cached_property
    def warnings(self) -> tuple[str, ...]:
        """What the user should know."""
        return warnings_of(self.plan, self.stand, self.budget, self.applications, self.shares, self.ledger)

    @functools.cached_property
    def cautions(self) -> tuple[str, ...]:
        """What can hurt someone."""
        return cautions(self.plan, self.applications, [block.name for block in self.field.blocks])

    def shown_as(self, plan: Plan, digests: dict[str, str]) -> Result:
        """The same numbers under a plan that differs in names, units and prices alone.

        Raises
        ------
        ValueError
            Where the plan differs in what is computed.
        """
        if plan.computed_hash(digests) != self.plan.computed_hash(digests):
            raise ValueError("this plan computes something else: run it")
        return replace(self, plan=plan, plan_hash=plan.hash(digests))


def run(
    plan: Plan, *, stand: Stand | None = None, progress: Callable[[str], None] = lambda _: None
) -> Result:
    """Compute a plan.

    Parameters
    ----------
    plan
        From `fieldmap.read_plan`.
    stand
        From `survey` of a plan with the same field, samples, cover crops, reach of the machine and files; without one
        it is surveyed.
    progress
        Is told what is being done.

    Raises
    ------
    InputError
        With every problem of the input, and for the stand of another plan.
    """
    digests = file_digests(plan)
    with one_blas_thread():  # small matrices; and the same sums on every machine
        if stand is None:
            stand = survey(plan, digests=digests, progress=progress)
        elif stand.key != stand_key(plan, digests):
            raise InputError(_OTHER_STAND)
        courses = refuse_wrong(plan, stand)
        progress("working out credit and need")
        applications = applications_of(plan, stand.field, courses)
        budget = reckon(plan, stand, courses, money=response.economics(plan, applications[0].product))
        shares = shares_of(
            applications, budget.needs, budget.seasons, budget.sidedress, block_means(budget, stand),
            third=budget.third,
        )  # fmt: skip
        maps, verdict = draw_maps(applications, _asked(plan), stand, budget, shares, progress=progress)
    return Result(
        plan=plan,
        plan_hash=plan.hash(digests),
        stand=stand,
        budget=budget,
        applications=maps,
        verdict=verdict,
        shares=shares,
        ledger=ledgers(budget, stand, maps[-1].spread.zone_map.credit_used_kg_ha),
        sources=sources_of(stand, budget, applications),
    )


_OTHER_STAND = Problem(
    "stand",
    "it was surveyed from another field, other samples, another cover crop or changed files",
    "the stand of this plan is expected; need, crop, credit, product and zones may differ",
    "Survey this plan, or leave the stand out",
)


def _asked(plan: Plan) -> Asked:
    return Asked(
        confidence=plan.credit.confidence,
        cap=plan.thin_ground.cap,
        strips=plan.strips,
        # What several applications bring together is not told of any one strip.
        response=plan.response if len(plan.application) <= 1 else None,
        response_crop=plan.crop.name,
        cost_money_ha=plan.prices.sampling.amount if plan.prices.sampling else None,
    )
