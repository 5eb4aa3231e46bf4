"""The straight line: read → field, samples → surface → credit → need → supplemental → zones → verdict."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from fieldmap.advice import cautions, sources_of, warnings_of, when_text
from fieldmap.budget import shares_of
from fieldmap.geostatistics import one_blas_thread
from fieldmap.pipeline.application import draw_maps
from fieldmap.pipeline.budget import ledgers, reckon
from fieldmap.pipeline.survey import survey
from fieldmap.read import file_digests

if TYPE_CHECKING:
    from collections.abc import Callable

    from fieldmap.budget import Budget, LedgerLine, Share
    from fieldmap.field import Field
    from fieldmap.plan import Plan
    from fieldmap.stand import Stand
    from fieldmap.verdict import ApplicationMap, Spread


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
