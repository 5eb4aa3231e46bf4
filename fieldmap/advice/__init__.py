"""The advice: what is refused, what users are warned of, and what they are told to take care of."""

from fieldmap.advice.applications import METHODS, split_text, when_text
from fieldmap.advice.cautions import cautions
from fieldmap.advice.machine import STRIPS_ADVICE, limits_rule_text
from fieldmap.advice.refusals import (
    refuse_impossible_dates,
    refuse_share_of_poor_residue,
    refuse_unknown_blocks,
)
from fieldmap.advice.season import call_text, stands_text
from fieldmap.advice.sources import sources_of
from fieldmap.advice.stages import waiting_text
from fieldmap.advice.stand import thin_ground_text
from fieldmap.advice.verdict import change_text, verdict_text
from fieldmap.advice.warnings import pattern_text, warnings_of

__all__ = [
    "METHODS",
    "STRIPS_ADVICE",
    "call_text",
    "cautions",
    "change_text",
    "limits_rule_text",
    "pattern_text",
    "refuse_impossible_dates",
    "refuse_share_of_poor_residue",
    "refuse_unknown_blocks",
    "sources_of",
    "split_text",
    "stands_text",
    "thin_ground_text",
    "verdict_text",
    "waiting_text",
    "warnings_of",
    "when_text",
]
