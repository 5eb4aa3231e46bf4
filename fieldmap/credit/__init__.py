"""The credit: from biomass and %N to the nitrogen that a crop can use, with its error."""

from fieldmap.credit.figures import CREDIT
from fieldmap.credit.maps import CreditDraws, CreditMap, draw_credit, map_credit, rules_of_stand
from fieldmap.credit.placement import (
    CLIMATE_DAYS,
    Wetting,
    surface_factor,
    surface_share,
    surface_wetting,
    tilled_share,
)
from fieldmap.credit.rule import CreditRule, credit_rule
from fieldmap.credit.stages import SOURCES, Stage, StageCourse, stage_courses

__all__ = [
    "CLIMATE_DAYS",
    "CREDIT",
    "SOURCES",
    "CreditDraws",
    "CreditMap",
    "CreditRule",
    "Stage",
    "StageCourse",
    "Wetting",
    "credit_rule",
    "draw_credit",
    "map_credit",
    "rules_of_stand",
    "stage_courses",
    "surface_factor",
    "surface_share",
    "surface_wetting",
    "tilled_share",
]
