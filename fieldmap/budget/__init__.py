"""The budget: need, credits and applications, and what is still to spread in each place."""

from fieldmap.budget import ledger, response, sidedress
from fieldmap.budget.applications import Application, Share, applications_of, products_of, shares_of
from fieldmap.budget.budget import Budget
from fieldmap.budget.need import BlockNeed, block_need, given_kg_ha, missing_kg_ha
from fieldmap.budget.other_credits import RAW_DAYS, RAW_DAYS_OFF_SOIL, credits_of
from fieldmap.budget.seasons import BlockSeason, block_season

__all__ = [
    "RAW_DAYS", "RAW_DAYS_OFF_SOIL", "Application", "BlockNeed", "BlockSeason", "Budget", "Share", "applications_of",
    "block_need", "block_season", "credits_of", "given_kg_ha", "ledger", "missing_kg_ha", "products_of", "response",
    "shares_of", "sidedress",
]  # fmt: skip
