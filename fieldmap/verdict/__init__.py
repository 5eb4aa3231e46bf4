"""The verdict: zones against one flat rate, what the ground receives, and whether varying is worth it."""

from fieldmap.verdict import nutrients
from fieldmap.verdict.application_map import ApplicationMap, DrawnMap
from fieldmap.verdict.binding import Bind, binding
from fieldmap.verdict.deliverable import Offer, offer_other_map
from fieldmap.verdict.flat_rates import Way, flat_rates
from fieldmap.verdict.limits import Limits, machine_limits
from fieldmap.verdict.nutrients import Along
from fieldmap.verdict.outcomes import Outcome, ground_drawn
from fieldmap.verdict.strips import StripFindings, follow_strips
from fieldmap.verdict.verdict import Verdict, judge

__all__ = [
    "Along",
    "ApplicationMap",
    "Bind",
    "DrawnMap",
    "Limits",
    "Offer",
    "Outcome",
    "StripFindings",
    "Verdict",
    "Way",
    "binding",
    "flat_rates",
    "follow_strips",
    "ground_drawn",
    "judge",
    "machine_limits",
    "nutrients",
    "offer_other_map",
]
