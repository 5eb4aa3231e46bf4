"""The plan: every input and choice, with its unit, checked as a whole."""

from fieldmap.plan import credit_kinds, keys
from fieldmap.plan.credits import OtherCredit, SidedressTest, Weather
from fieldmap.plan.crop import NEED_MAX_KG_HA, Crop, Response
from fieldmap.plan.model import Plan
from fieldmap.plan.spreader import ApplicationSection, Method, PanTest, Spreader, Strips, ThinGround
from fieldmap.plan.stand import CoverCrop, CreditSection, SamplesSection

__all__ = [
    "NEED_MAX_KG_HA", "ApplicationSection", "CoverCrop", "CreditSection", "Crop", "Method", "OtherCredit", "PanTest",
    "Plan", "Response", "SamplesSection", "SidedressTest", "Spreader", "Strips", "ThinGround", "Weather",
    "credit_kinds", "keys",
]  # fmt: skip
