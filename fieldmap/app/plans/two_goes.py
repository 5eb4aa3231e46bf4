"""The two [[application]] that the list of what to do would rather have, for a plan that spreads all at once."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

from fieldmap.actions import Spread
from fieldmap.advice import application_warnings, refusals
from fieldmap.errors import InputError
from fieldmap.units import shown_rate

if TYPE_CHECKING:
    import datetime as dt
    from typing import Any

    from fieldmap.pipeline import Result


def two_goes_of(result: Result) -> tuple[dict[str, Any], ...]:
    """Two [[application]] as plan.toml holds them, both shared out by the season; empty where none are to be offered.

    Both days are for the whole field: the first is the latest planting's day, the second the earliest for the
    side-dressing, of those that nothing is refused or warned of in any block. None where the plan has applications,
    where no block is served better by two, and where all of each block's can wait for the second.
    """
    spread = [one for one in result.actions if isinstance(one, Spread)]
    goes = [two for one in spread for two in one.in_two]
    if result.plan.application or not any(
        shown_rate(two.early_n_kg_ha, result.plan.units) >= 1 for two in goes
    ):
        return ()
    firsts = sorted({one.last for one in spread if one.last}, reverse=True)
    for first, second in itertools.product(firsts, sorted({two.day for two in goes})):
        sections = _sections(first, second)
        if first < second and _passes(result, sections):
            return sections
    return ()


def _sections(first: dt.date, second: dt.date) -> tuple[dict[str, Any], ...]:
    return (
        {"date": first, "share": "auto"},
        {"date": second, "share": "auto", "method": "side-dress"},
    )


def _passes(result: Result, sections: tuple[dict[str, Any], ...]) -> bool:
    """Whether `check` would neither refuse these days nor warn of them."""
    try:
        plan = result.plan.replace(application=list(sections))
        refusals.refuse_impossible_dates(plan, result.field, result.stand.samples)
    except InputError:
        return False
    return not application_warnings(plan, result.field)
