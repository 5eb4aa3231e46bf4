"""The plan: every input and choice, with its unit, checked as a whole."""

from fieldmap.plan.credits import OtherCredit, SidedressTest
from fieldmap.plan.crop import NEED_MAX_KG_HA, Crop
from fieldmap.plan.keys import kind_of, literals, model_in, plan_keys, shown_as_list, wrong_value
from fieldmap.plan.model import Plan
from fieldmap.plan.spreader import Application, PanTest, Spreader, product_entry
from fieldmap.plan.stand import CoverCrop

__all__ = [
    "NEED_MAX_KG_HA",
    "Application",
    "CoverCrop",
    "Crop",
    "OtherCredit",
    "PanTest",
    "Plan",
    "SidedressTest",
    "Spreader",
    "kind_of",
    "literals",
    "model_in",
    "plan_keys",
    "product_entry",
    "shown_as_list",
    "wrong_value",
]
