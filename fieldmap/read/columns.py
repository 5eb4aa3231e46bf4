"""The columns of a sample table, with the unit of each."""

from __future__ import annotations

import difflib
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence
    from typing import Final

POSITIONS: Final = {
    "longitude": "degrees",
    "latitude": "degrees",
    "easting": "the unit of the crs",
    "northing": "the unit of the crs",
}

NUMBERS: Final = {
    "dry_kg_ha": "kilograms per hectare",
    "dry_lb_ac": "pounds per acre",
    "frame_m2": "square metres",
    "frame_ft2": "square feet",
    "dry_g": "grams",
    "dry_lb": "pounds",
    "fresh_g": "grams",
    "fresh_lb": "pounds",
    "subsample_fresh_g": "grams",
    "subsample_dry_g": "grams",
    "nitrogen_pct": "percent of dry weight",
    "legume_pct": "percent of dry weight",
    "weed_pct": "percent of dry weight",
}

TEXTS: Final = ("sample", "block", "species", "stage", "note")
DATES: Final = ("sampled",)
COLUMNS: Final = (*TEXTS, *DATES, *NUMBERS)

# A shapefile cuts column names at ten characters.
SHORT_NAMES = {"subfresh_g": "subsample_fresh_g", "subdry_g": "subsample_dry_g", "nitrogen_p": "nitrogen_pct"}


def nearest_columns(name: str, known: Sequence[str]) -> list[str]:
    """Known columns that `name` may be meant to be: cut short, or misspelt."""
    plain = name.replace(" ", "_").replace("-", "_")
    stem = plain.rstrip("_%")
    begun = [column for column in known if len(stem) >= 3 and column.startswith(stem)]
    return begun or difflib.get_close_matches(plain, known, n=1, cutoff=0.85)
