"""The straight line: survey, budget, application; a run, and a check that is a run without writing."""

from fieldmap.pipeline.budget import reckon
from fieldmap.pipeline.check import check
from fieldmap.pipeline.run import Result, run
from fieldmap.pipeline.survey import survey

__all__ = ["Result", "check", "reckon", "run", "survey"]
