"""The advice: what is refused, what users are warned of, and what they are told to take care of."""

from fieldmap.advice.applications import when_text
from fieldmap.advice.cautions import cautions
from fieldmap.advice.refusals import refuse_impossible_dates, refuse_unknown_blocks
from fieldmap.advice.season import stands_text
from fieldmap.advice.sources import sources_of
from fieldmap.advice.stand import thin_ground_text
from fieldmap.advice.warnings import warnings_of

__all__ = [
    "cautions",
    "refuse_impossible_dates",
    "refuse_unknown_blocks",
    "sources_of",
    "stands_text",
    "thin_ground_text",
    "warnings_of",
    "when_text",
]
