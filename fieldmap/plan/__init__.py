"""The plan: every input and choice, with its unit, checked as a whole."""

from fieldmap.plan import credit_kinds, keys, parse
from fieldmap.plan.credits import OtherCredit, SidedressTest, Weather
from fieldmap.plan.crop import Crop, Response
from fieldmap.plan.model import Plan
from fieldmap.plan.spreader import ApplicationSection, Method, PanTest, Spreader, Strips, ThinGround
from fieldmap.plan.stand import CoverCrop, CreditSection, SamplesSection

__all__ = [
    "ApplicationSection", "CoverCrop", "CreditSection", "Crop", "Method", "OtherCredit", "PanTest",
    "Plan", "Response", "SamplesSection", "SidedressTest", "Spreader", "Strips", "ThinGround", "Weather",
    "credit_kinds", "keys", "parse",
]  # fmt: skip
