"""The budget: need, credits and applications, and what is still to spread in each place."""

from fieldmap.budget import ledger, other_credits, response, sidedress, soil_index
from fieldmap.budget.acting import soil_c_from
from fieldmap.budget.applications import (
    Application,
    Share,
    applications_of,
    products_of,
    shares_of,
)
from fieldmap.budget.budget import Budget
from fieldmap.budget.need import BlockNeed, block_need, given_kg_ha, missing_kg_ha
from fieldmap.budget.seasons import BlockSeason, block_season

__all__ = [
    "Application", "BlockNeed", "BlockSeason", "Budget", "Share", "applications_of", "block_need", "block_season",
    "given_kg_ha", "ledger", "missing_kg_ha", "other_credits", "products_of", "response", "shares_of", "sidedress",
    "soil_c_from", "soil_index",
]  # fmt: skip
