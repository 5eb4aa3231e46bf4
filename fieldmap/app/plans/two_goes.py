"""The two [[application]] that the list of what to do would rather have, for a plan that spreads all at once."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fieldmap.actions import Spread
from fieldmap.advice import application_warnings, refusals
from fieldmap.errors import InputError
from fieldmap.units import shown_rate

if TYPE_CHECKING:
    from typing import Any

    from fieldmap.pipeline import Result


def two_goes_of(result: Result) -> tuple[dict[str, Any], ...]:
    """Two [[application]] as plan.toml holds them, both shared out by the season; empty where none are to be offered.

    Both days are for the whole field: the first is the last that suits every block, for a later one would be
    broadcast on a crop that stands; the second is the earliest side-dressing of a block of which `check` refuses
    nothing and warns of nothing in any. None where the plan has applications, where no block is served better by
    two, and where all of each block's can wait for the second.
    """
    spread = [one for one in result.actions if isinstance(one, Spread)]
    goes = [two for one in spread for two in one.in_two]
    if result.plan.application or not any(
        shown_rate(two.early_n_kg_ha, result.plan.units) >= 1 for two in goes
    ):
        return ()
    first = {"date": min(one.last for one in spread if one.last), "share": "auto"}
    for day in sorted({two.day for two in goes}):
        second = {"date": day, "share": "auto", "method": "side-dress"}
        if _passes(result, (first, second)):
            return first, second
    return ()


def _passes(result: Result, sections: tuple[dict[str, Any], ...]) -> bool:
    """Whether `check` would neither refuse these days nor warn of them."""
    try:
        plan = result.plan.replace(application=list(sections))
        refusals.refuse_impossible_dates(plan, result.field, result.stand.samples)
    except InputError:
        return False
    return not application_warnings(plan, result.field)
