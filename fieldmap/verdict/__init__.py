"""The verdict: zones against one flat rate, what the ground receives, and whether varying is worth it."""

from fieldmap.verdict import nutrients
from fieldmap.verdict.application_map import ApplicationMap, DrawnMap
from fieldmap.verdict.deliverable import Offer, offer_other_map
from fieldmap.verdict.flat_rates import OneRate, Way, flat_rates
from fieldmap.verdict.limits import Limits, machine_limits
from fieldmap.verdict.nutrients import Along
from fieldmap.verdict.outcomes import Outcome, ground_drawn
from fieldmap.verdict.strips import StripFindings, follow_strips
from fieldmap.verdict.verdict import Verdict, judge

__all__ = [
    "Along",
    "ApplicationMap",
    "DrawnMap",
    "Limits",
    "Offer",
    "OneRate",
    "Outcome",
    "StripFindings",
    "Verdict",
    "Way",
    "flat_rates",
    "follow_strips",
    "ground_drawn",
    "judge",
    "machine_limits",
    "nutrients",
    "offer_other_map",
]
