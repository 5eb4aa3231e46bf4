"""The credit: from biomass and %N to the nitrogen that a crop can use, with its error."""

from fieldmap.credit.maps import CreditDraws, CreditMap, draw_credit, map_credit
from fieldmap.credit.rule import (
    CLIMATE_DAYS,
    SHARE_INCORPORATED,
    SURFACE_FACTOR,
    WARM_FROM_C,
    CreditRule,
    credit_rule,
    grown,
    surface_share,
    tilled_share,
)
from fieldmap.credit.stages import SOURCES, Stage, StageCourse, stage_courses

__all__ = [
    "CLIMATE_DAYS",
    "SHARE_INCORPORATED",
    "SOURCES",
    "SURFACE_FACTOR",
    "WARM_FROM_C",
    "CreditDraws",
    "CreditMap",
    "CreditRule",
    "Stage",
    "StageCourse",
    "credit_rule",
    "draw_credit",
    "grown",
    "map_credit",
    "stage_courses",
    "surface_share",
    "tilled_share",
]
