"""The one list of what to do, in the order of the days."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from fieldmap.actions.after import after_harvest, fodder
from fieldmap.actions.nitrogen import digging, spreading, testing
from fieldmap.actions.stand import of_stand, wait_to_plant

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fieldmap.actions.kinds import Action
    from fieldmap.budget import Budget, ledger
    from fieldmap.plan import Plan
    from fieldmap.stand import Stand
    from fieldmap.verdict import ApplicationMap


def actions_of(
    plan: Plan,
    stand: Stand,
    budget: Budget,
    maps: Sequence[ApplicationMap],
    lines: Sequence[ledger.LedgerLine],
) -> tuple[Action, ...]:
    """Everything to do, by the day on which it must be done at the latest.

    Parameters
    ----------
    plan, stand, budget, maps, lines
        The plan, the ground, what it brings and needs, the maps of its applications, and the ledger.

    Returns
    -------
    tuple of Action
        No day of it is one that `check` refuses or warns of; what has no day stands first.
    """
    blocks = [block.name for block in stand.field.blocks]
    spread = list(spreading(plan, budget, maps, lines))
    found: list[Action] = [
        *of_stand(plan, stand, budget.stages),
        *wait_to_plant(plan, blocks),
        *digging(maps, spread, plan.thin_ground.cause),
        *spread,
        *testing(plan, budget, maps),
        *fodder(plan, blocks),
        *after_harvest(plan, blocks),
    ]
    return tuple(sorted(found, key=lambda one: one.day or dt.date.min))
