"""What is refused of a plan and its stand before anything is worked out: all of it at once."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, TypeVar

from fieldmap.advice import refusals
from fieldmap.budget import applications_of, other_credits, sidedress
from fieldmap.errors import InputError
from fieldmap.pipeline.budget import courses_of
from fieldmap.spreader import product_rates_kg_ha
from fieldmap.stand import thirds

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from fieldmap.budget import Application
    from fieldmap.errors import Problem
    from fieldmap.plan import Plan
    from fieldmap.season import Course
    from fieldmap.stand import Stand
    from fieldmap.units import UnitSystem

Found = TypeVar("Found")


def refuse_wrong(plan: Plan, stand: Stand) -> tuple[Course | None, ...]:
    """Look at everything of a plan that can be looked at by itself; returns the course of each block's credit.

    Raises
    ------
    InputError
        With every problem found: rates, dates, tests, credits, weather.
    """
    problems: list[Problem] = []

    def look(refusing: Callable[[], Found]) -> Found | None:
        try:
            return refusing()
        except InputError as error:
            problems.extend(problem for problem in error.places if problem not in problems)
            return None

    names = [block.name for block in stand.field.blocks]
    courses = look(lambda: courses_of(plan, stand))
    for application in applications_of(plan, stand.field, courses or (None,) * len(names)):
        look(partial(_refuse_rates, application, plan.units))
    look(lambda: refusals.refuse_impossible_dates(plan, stand.field, stand.samples))
    look(lambda: refusals.refuse_share_of_poor_residue(plan, stand))
    calls = look(lambda: sidedress.sidedress_calls(plan, stand.field)) or ()
    look(partial(_refuse_even_ground, calls, stand))
    for name in names:
        look(partial(other_credits.credits_of, plan, name, stand.field, stand.weather))
    if problems or courses is None:
        raise InputError(*problems)
    return courses


def _refuse_even_ground(calls: Sequence[sidedress.SidedressCall], stand: Stand) -> None:
    """Refuse tests by ground where the stand has no thirds."""
    sidedress.refuse_even_ground(calls, thirds.thirds_of_stand(stand.biomass.mean, stand.field), stand.field)


def _refuse_rates(application: Application, units: UnitSystem) -> None:
    """Refuse a product that brings too little, and limits between which there is no rate."""
    refusals.refuse_unspreadable(application, units)
    product_rates_kg_ha(application.spreader)
