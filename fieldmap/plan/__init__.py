"""The plan: every input and choice, with its unit, checked as a whole."""

from fieldmap.plan.credit_kinds import CREDIT_KINDS, NITROGEN, credit_kind
from fieldmap.plan.credits import OtherCredit, SidedressTest
from fieldmap.plan.crop import NEED_MAX_KG_HA, Crop
from fieldmap.plan.keys import kind_of, model_in, plan_keys, words_of
from fieldmap.plan.model import Plan
from fieldmap.plan.spreader import Application, PanTest, Spreader, product_entry
from fieldmap.plan.stand import CoverCrop

__all__ = [
    "CREDIT_KINDS",
    "NEED_MAX_KG_HA",
    "NITROGEN",
    "Application",
    "CoverCrop",
    "Crop",
    "OtherCredit",
    "PanTest",
    "Plan",
    "SidedressTest",
    "Spreader",
    "credit_kind",
    "kind_of",
    "model_in",
    "plan_keys",
    "product_entry",
    "words_of",
]
