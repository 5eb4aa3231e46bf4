"""What the map can show, one thing at a time: its picture or colours, its legend, and what it says in words."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING

from fieldmap.report import findings, palette, summary
from fieldmap.units import rate_unit, shown_rate, whole
from fieldmap.webmap.pixels import Swatch, map_pixels, paint_values

if TYPE_CHECKING:
    from collections.abc import Iterator

    import numpy as np
    from numpy.typing import NDArray

    from fieldmap.pipeline import Result
    from fieldmap.webmap.pixels import Picture, Pixels


TENTHS = "Lowest and highest in the title are means of a tenth of the field."


@dataclass(frozen=True)
class View:
    """One thing the map can show.

    `finding` says what it shows, in a sentence; `picture` is None for the zones, which are drawn as polygons: those
    of the application at position `application` among all. `note` stands under the legend of a picture.
    """

    key: str
    label: str
    finding: str
    legend_title: str
    legend: tuple[Swatch, ...]
    picture: Picture | None = None
    application: int = 0
    note: str = TENTHS


def map_views(result: Result, pixels: Pixels | None = None) -> tuple[View, ...]:
    """Zones first, then from what the ground receives back to the stand, in the user's unit.

    `pixels` are the field's from `map_pixels`, where they are kept; else they are laid anew.
    """
    unit = rate_unit(result.plan.units)
    paint = partial(paint_values, pixels=pixels or map_pixels(result.field), units=result.plan.units)
    credit, biomass = result.budget.credit, result.stand.biomass
    return (
        *_zone_views(result),
        View(
            "received",
            "Received",
            findings.received_says(result),
            f"Nitrogen that the ground receives when the map is driven, {unit}",
            *paint(received_n_kg_ha(result), palette.RATE),
            note=findings.received_above_says(result.applications[0], result.field, result.plan.units),
        ),
        View(
            "supplemental",
            "Supplemental",
            findings.supplemental_says(result),
            f"Nitrogen still to spread, place by place, {unit}",
            *paint(result.budget.supplemental_kg_ha, palette.RATE),
        ),
        View(
            "credit",
            "Credit",
            findings.credit_says(result),
            f"Nitrogen credit from the stand, {unit}",
            *paint(credit.credit_kg_ha, palette.STAND),
        ),
        View(
            "doubt",
            "Credit’s doubt",
            findings.doubt_says(result),
            f"Doubt in the credit (one standard error), {unit}",
            *paint(credit.se_kg_ha, palette.DOUBT),
        ),
        View(
            "biomass",
            "Biomass",
            findings.biomass_says(result),
            f"Dry biomass of the stand, {unit}",
            *paint(biomass.mean, palette.STAND),
        ),
        View(
            "biomass_doubt",
            "Biomass’s doubt",
            findings.biomass_doubt_says(result),
            f"Doubt in the biomass (one standard error), {unit}",
            *paint(biomass.se, palette.DOUBT),
        ),
    )


def _zone_views(result: Result) -> Iterator[View]:
    """The zones of every application, the first's first."""
    unit, several = rate_unit(result.plan.units), len(result.applications) > 1
    for position, one in enumerate(result.applications):
        units = result.plan.units
        rates = {zone.zone: whole(shown_rate(zone.rate_n_kg_ha, units)) for zone in one.spread.zone_map.zones}
        said = findings.map_says(result, one)
        yield View(
            "zones" if position == 0 else f"zones_{one.application.number}",
            f"Zones {one.application.number}" if several else "Zones",
            f"{one.application.date}: {said}" if several else said,
            f"{summary.application_title(one)}. Nitrogen rate, {unit}"
            if several
            else f"Nitrogen rate, {unit}",
            _zone_legend(palette.zone_colours(one), rates),
            application=position,
        )


def received_n_kg_ha(result: Result) -> NDArray[np.float64]:
    """Nitrogen that the ground receives when the map is driven, on the field's grid."""
    first = result.applications[0]
    return first.spread.delivery.received_kg_ha * first.application.product.nitrogen_fraction


def _zone_legend(colours: dict[int, str], rates: dict[int, str]) -> tuple[Swatch, ...]:
    numbers = list(colours)
    share = -(-len(numbers) // palette.CLASSES_MAX)  # zones a row
    rows = [numbers[start : start + share] for start in range(0, len(numbers), share or 1)]
    return tuple(
        Swatch(
            tuple(colours[number] for number in row),
            f"zone {row[0]}: {rates[row[0]]}"
            if len(row) == 1
            else f"zones {row[0]} to {row[-1]}: {rates[row[0]]} to {rates[row[-1]]}",
        )
        for row in rows
    )
