"""The agronomic tables: cover crops, crops, products, ground, season and limits, each figure with its source."""

from fieldmap.agronomy import hazards
from fieldmap.agronomy.entries import (
    STAGES,
    CoverCropEntry,
    CropEntry,
    Product,
)
from fieldmap.agronomy.ground import ground
from fieldmap.agronomy.lookup import find, nearest
from fieldmap.agronomy.sources import Mark, of_value, sources, weakest_mark
from fieldmap.agronomy.tables import (
    cover_crops,
    crops,
    figures,
    growth_of,
    products,
    values_of,
)

__all__ = [
    "STAGES",
    "CoverCropEntry",
    "CropEntry",
    "Mark",
    "Product",
    "cover_crops",
    "crops",
    "figures",
    "find",
    "ground",
    "growth_of",
    "hazards",
    "nearest",
    "of_value",
    "products",
    "sources",
    "values_of",
    "weakest_mark",
]
