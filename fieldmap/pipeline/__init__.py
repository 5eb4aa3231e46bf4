"""The straight line: survey, budget, application; a run, and a check that is a run without writing."""

from fieldmap.pipeline.budget import courses_of, reckon
from fieldmap.pipeline.check import check
from fieldmap.pipeline.run import Result, run
from fieldmap.pipeline.survey import stand_key, survey

__all__ = ["Result", "check", "courses_of", "reckon", "run", "stand_key", "survey"]
