"""The advice: what is refused, what users are warned of, and what they are told to take care of."""

from fieldmap.advice import refusals
from fieldmap.advice.actions import ActionText, action_texts
from fieldmap.advice.applications import METHODS, application_warnings, objections, split_text
from fieldmap.advice.cautions import cautions
from fieldmap.advice.machine import STRIPS_ADVICE, limits_rule_text
from fieldmap.advice.season import sidedress_text
from fieldmap.advice.sources import sources_of
from fieldmap.advice.stages import waiting_text
from fieldmap.advice.stand import highest_zone_text
from fieldmap.advice.verdict import change_text, verdict_text
from fieldmap.advice.warnings import pattern_text, warnings_of

__all__ = [
    "METHODS",
    "STRIPS_ADVICE",
    "ActionText",
    "action_texts",
    "application_warnings",
    "cautions",
    "change_text",
    "highest_zone_text",
    "limits_rule_text",
    "objections",
    "pattern_text",
    "refusals",
    "sidedress_text",
    "sources_of",
    "split_text",
    "verdict_text",
    "waiting_text",
    "warnings_of",
]
