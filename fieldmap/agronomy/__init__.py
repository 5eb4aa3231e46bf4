"""The agronomic tables: cover crops, crops, products, the ground and the season's figures, each with its source."""

from fieldmap.agronomy.entries import (
    GRASS_STAGE_WITH_LEGUME,
    STAGES,
    WEED_NITROGEN_PCT,
    CoverCropEntry,
    CropEntry,
    Product,
)
from fieldmap.agronomy.ground import ground
from fieldmap.agronomy.lookup import find, nearest
from fieldmap.agronomy.sources import Mark, sources, weakest_mark
from fieldmap.agronomy.tables import (
    cover_crops,
    crops,
    growth_of,
    products,
    season,
    season_values,
)

__all__ = [
    "GRASS_STAGE_WITH_LEGUME",
    "STAGES",
    "WEED_NITROGEN_PCT",
    "CoverCropEntry",
    "CropEntry",
    "Mark",
    "Product",
    "cover_crops",
    "crops",
    "find",
    "ground",
    "growth_of",
    "nearest",
    "products",
    "season",
    "season_values",
    "sources",
    "weakest_mark",
]
