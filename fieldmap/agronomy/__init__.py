"""The agronomic tables: cover crops, crops, products, the season's figures and the limits, each with its source."""

from fieldmap.agronomy.entries import (
    STAGES,
    CoverCropEntry,
    CropEntry,
    Product,
)
from fieldmap.agronomy.lookup import find, nearest
from fieldmap.agronomy.sources import Mark, of_value, sources, weakest_mark
from fieldmap.agronomy.tables import (
    cover_crops,
    crops,
    growth_of,
    limits,
    limits_of,
    products,
    season,
    season_values,
)

__all__ = [
    "STAGES",
    "CoverCropEntry",
    "CropEntry",
    "Mark",
    "Product",
    "cover_crops",
    "crops",
    "find",
    "growth_of",
    "limits",
    "limits_of",
    "nearest",
    "of_value",
    "products",
    "season",
    "season_values",
    "sources",
    "weakest_mark",
]
