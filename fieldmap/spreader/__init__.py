"""The machine: rates it can set, passes and loads, and what the ground receives of them."""

from fieldmap.spreader.delivery import DELIVERABLE, Delivery, drive
from fieldmap.spreader.loads import Load, split_loads
from fieldmap.spreader.nutrients import Brought
from fieldmap.spreader.pan_test import effective_swath_m, overlap_cv
from fieldmap.spreader.passes import Pass, passes_over
from fieldmap.spreader.rates import (
    RATES_MAX,
    STEP_TOLERANCE,
    nearest_rate_kg_ha,
    nitrogen_rate_kg_ha,
    product_rate_kg_ha,
    product_rates_kg_ha,
    products_that_carry,
    throw_m,
)

__all__ = [
    "DELIVERABLE",
    "RATES_MAX",
    "STEP_TOLERANCE",
    "Brought",
    "Delivery",
    "Load",
    "Pass",
    "drive",
    "effective_swath_m",
    "nearest_rate_kg_ha",
    "nitrogen_rate_kg_ha",
    "overlap_cv",
    "passes_over",
    "product_rate_kg_ha",
    "product_rates_kg_ha",
    "products_that_carry",
    "split_loads",
    "throw_m",
]
