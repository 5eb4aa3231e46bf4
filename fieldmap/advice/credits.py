"""What the other credits leave open, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fieldmap.budget import other_credits
from fieldmap.units import water_text

if TYPE_CHECKING:
    from collections.abc import Iterable

    from fieldmap.units import UnitSystem


def credit_warnings(found: Iterable[other_credits.Credit], units: UnitSystem) -> tuple[str, ...]:
    """A sentence for each note of the credits, in their order."""
    return tuple(_note_text(credit, note, units) for credit in found for note in credit.notes)


def _note_text(credit: other_credits.Credit, note: other_credits.Note, units: UnitSystem) -> str:
    match note.doubt:
        case other_credits.Doubt.WATER_USE_NOT_KNOWN:
            return "Irrigation water is credited whole: without weather the crop's use of water is not known."
        case other_credits.Doubt.WATER_BEYOND_USE:
            used = water_text(note.water_mm or 0.0, units)
            return f"Irrigation water is credited up to what the crop uses, {used}."
        case other_credits.Doubt.STANDS_IN_COVER:
            return (
                f"The {credit.name} of {note.on} was spread before the cover crop: its nitrogen already stands in it "
                "and is credited zero. Set confirmed = true to credit it all the same."
            )
        case other_credits.Doubt.TESTED_UNDER_COVER:
            return (
                f"The soil nitrate test of {note.on} was taken while the cover crop stood: it may since have taken "
                "that nitrate up."
            )
