"""The credit: from biomass and %N to the nitrogen that a crop can use, with its error."""

from fieldmap.credit.figures import CREDIT
from fieldmap.credit.maps import CreditDraws, CreditMap, draw_credit, map_credit
from fieldmap.credit.placement import (
    CLIMATE_DAYS,
    WARM_FROM_C,
    Wetting,
    surface_factor,
    surface_share,
    surface_wetting,
)
from fieldmap.credit.rule import CreditRule, credit_rule, grown
from fieldmap.credit.stages import SOURCES, Stage, StageCourse, stage_courses

__all__ = [
    "CLIMATE_DAYS",
    "CREDIT",
    "SOURCES",
    "WARM_FROM_C",
    "CreditDraws",
    "CreditMap",
    "CreditRule",
    "Stage",
    "StageCourse",
    "Wetting",
    "credit_rule",
    "draw_credit",
    "grown",
    "map_credit",
    "stage_courses",
    "surface_factor",
    "surface_share",
    "surface_wetting",
]
