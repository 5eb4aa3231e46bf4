"""The budget: need, credits and applications, and what is still to spread in each place."""

from fieldmap.budget.applications import METHODS, Share, plan_of, products_of, shares_of
from fieldmap.budget.budget import Budget
from fieldmap.budget.ledger import LedgerLine, ledger
from fieldmap.budget.need import BlockNeed, block_need, given_kg_ha, missing_kg_ha
from fieldmap.budget.other_credits import RAW_DAYS, RAW_DAYS_OFF_SOIL, credits_of
from fieldmap.budget.response import (
    Economics,
    due_kg_ha,
    economics,
    mean_squared_shortfall,
    not_for_money,
    short_for,
    target_kg_ha,
)
from fieldmap.budget.seasons import BlockSeason, block_seasons
from fieldmap.budget.sidedress import TESTED, SidedressCall, following, sidedress_calls

__all__ = [
    "METHODS",
    "RAW_DAYS",
    "RAW_DAYS_OFF_SOIL",
    "TESTED",
    "BlockNeed",
    "BlockSeason",
    "Budget",
    "Economics",
    "LedgerLine",
    "Share",
    "SidedressCall",
    "block_need",
    "block_seasons",
    "credits_of",
    "due_kg_ha",
    "economics",
    "following",
    "given_kg_ha",
    "ledger",
    "mean_squared_shortfall",
    "missing_kg_ha",
    "not_for_money",
    "plan_of",
    "products_of",
    "shares_of",
    "short_for",
    "sidedress_calls",
    "target_kg_ha",
]
