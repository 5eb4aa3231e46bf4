"""The plan: every input and choice, with its unit, checked as a whole."""

from fieldmap.plan.credits import OtherCredit, OtherSource, SidedressTest, Weather
from fieldmap.plan.crop import NEED_MAX_KG_HA, Crop, Response
from fieldmap.plan.keys import Key, model_in, plan_keys, shown_as_list, wrong_value
from fieldmap.plan.model import Plan
from fieldmap.plan.spreader import (
    ApplicationSection,
    Method,
    PanTest,
    Spreader,
    Strips,
    ThinGround,
    product_entry,
)
from fieldmap.plan.stand import CoverCrop, CreditSection, SamplesSection

__all__ = [
    "NEED_MAX_KG_HA",
    "ApplicationSection",
    "CoverCrop",
    "CreditSection",
    "Crop",
    "Key",
    "Method",
    "OtherCredit",
    "OtherSource",
    "PanTest",
    "Plan",
    "Response",
    "SamplesSection",
    "SidedressTest",
    "Spreader",
    "Strips",
    "ThinGround",
    "Weather",
    "model_in",
    "plan_keys",
    "product_entry",
    "shown_as_list",
    "wrong_value",
]
