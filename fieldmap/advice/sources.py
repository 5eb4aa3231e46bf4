"""The sources that a run rests on."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fieldmap.budget import products_of
from fieldmap.credit import SOURCES as STAGE_SOURCES

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fieldmap.budget import Application, Budget
    from fieldmap.stand import Stand


def sources_of(stand: Stand, budget: Budget, applications: Sequence[Application]) -> tuple[str, ...]:
    """The keys of all sources that a figure of this run rests on, each once."""
    return tuple(
        dict.fromkeys(
            (
                *stand.nitrogen.sources,
                *(key for rule in budget.rules for key in rule.sources),
                *(key for need in budget.needs for one in need.credits for key in one.sources),
                *(STAGE_SOURCES if budget.stages else ()),
                *(key for product in products_of(applications) for key in product.sources),
                *(key for call in budget.sidedress for key in call.sources),
            )
        )
    )
