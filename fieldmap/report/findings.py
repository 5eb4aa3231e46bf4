"""What a map of the run shows, in a sentence: the title over the map.

Nothing here calls a field even where the samples only show no pattern.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.ndimage import label

from fieldmap.units import area_text, mass_text, rate_text

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fieldmap.field import Field
    from fieldmap.pipeline import Result
    from fieldmap.units import UnitSystem
    from fieldmap.verdict import ApplicationMap


TENTH = 0.1  # lowest and highest are means of so much of the field; what is received is off beyond so much
PATCH_SHARE, MOST, SIDES_MAX = 0.25, 0.75, 2
ONE_SIDE = 0.5  # a patch this far off the middle, in root mean square distances, lies on one side
SEVERAL = " in several places"
SIDES = ("east", "northeast", "north", "northwest", "west", "southwest", "south", "southeast")


def map_says(result: Result, one: ApplicationMap) -> str:
    """The title over the zones of an application: one rate a block where that will do, else what the zones say."""
    one_rate = one_rate_says(result) if one.application.of == 1 else ""
    return one_rate or zones_say(one, result.field, result.plan.units)


def zones_say(one: ApplicationMap, field: Field, units: UnitSystem) -> str:
    """Where most nitrogen goes, against where least does."""
    zone_map = one.spread.zone_map
    zones = zone_map.zones
    low, high = zones[0], zones[-1]
    if high.zone == 1:
        return f"One rate for the whole field: {_rate(low.rate_n_kg_ha, units)} of nitrogen"
    in_zones = np.where(zone_map.in_strip, np.nan, zone_map.product_kg_ha)  # strips stand beside the zones
    highest = in_zones == np.nanmax(in_zones)
    return (
        f"Most nitrogen{_in(highest, field)}: {_rate(high.rate_n_kg_ha, units)} in zone {high.zone}, "
        f"against {_rate(low.rate_n_kg_ha, units)} in zone 1"
    )


def one_rate_says(result: Result) -> str:
    """The rate of each block where zones gain too little to repay a map; empty where they do, or nobody can tell."""
    verdict = result.verdict
    if verdict.reason != "gain" or verdict.answer not in ("not worth it", "no closer to the need"):
        return ""
    texts = []
    for one in result.applications:
        product = one.application.product.name
        flat = one.spread.flat
        blocks: dict[str, list[str]] = {}
        for block, n_kg_ha, kg_ha in zip(
            result.field.blocks, flat.rate_n_kg_ha, flat.product_kg_ha, strict=True
        ):
            units = result.plan.units
            rate = f"{_rate(n_kg_ha, units)} of nitrogen ({_rate(kg_ha, units)} of {product})"
            blocks.setdefault(rate, []).append(block.name)
        said = ", ".join(f"{rate} in {' and '.join(names)}" for rate, names in blocks.items())
        several = f"application {one.application.number}, " if len(result.applications) > 1 else ""
        texts.append(several + (said if len(blocks) > 1 else next(iter(blocks))))
    return f"One rate a block will do: {'; '.join(texts)}"


def credit_says(result: Result) -> str:
    """Where the credit is lowest, and by how much."""
    credit, units = result.budget.credit.credit_kg_ha, result.plan.units
    if not (result.stand.biomass.has_pattern or result.stand.nitrogen_pct.has_pattern):
        mean = _rate(float(np.nanmean(credit)), units)
        return (
            f"These samples show no pattern: the credit is taken from the field's average, {mean} of nitrogen"
        )
    low, high = _tenths(credit)
    return (
        f"Credit is lowest{_in(low, result.field)}: {_mean(credit, low, units)} of nitrogen, "
        f"{_mean(credit, high, units)} where it is highest"
    )


def biomass_says(result: Result) -> str:
    """Where the stand is thinnest, and by how much."""
    biomass, units = result.stand.biomass.mean, result.plan.units
    if not result.stand.biomass.has_pattern:
        mean = _rate(float(np.nanmean(biomass)), units)
        return f"These samples show no pattern: the map is the field's average, {mean} of dry biomass"
    low, high = _tenths(biomass)
    return (
        f"The stand is thinnest{_in(low, result.field)}: {_mean(biomass, low, units)} dry, "
        f"{_mean(biomass, high, units)} where it is heaviest"
    )


def supplemental_says(result: Result) -> str:
    """Where most nitrogen is still missing, before rates are rounded and joined to zones."""
    missing, units = result.budget.supplemental_kg_ha, result.plan.units
    low, high = _tenths(missing)
    least, most = _mean(missing, low, units), _mean(missing, high, units)
    if least == most:
        return f"The same is missing everywhere: {most} of nitrogen"
    return f"Most is missing{_in(high, result.field)}: {most} of nitrogen, {least} where least is"


def received_says(result: Result) -> str:
    """How near the ground comes to what was meant for it."""
    delivery, units = result.spread.delivery, result.plan.units
    fraction = result.applications[0].application.product.nitrogen_fraction
    return (
        f"{delivery.within_tenth * 100:.0f} % of the area receives its rate within 10 %: "
        f"{mass_text(delivery.short_kg * fraction, units)} of nitrogen short, "
        f"{mass_text(delivery.over_kg * fraction, units)} over"
    )


def received_above_says(one: ApplicationMap, field: Field, units: UnitSystem) -> str:
    """Where the ground receives more than any zone or strip was to get, by more than a tenth; empty where nowhere."""
    delivery, rows = one.spread.delivery, one.spread.zone_map.rows
    if one.application.through_drip or not rows:
        return ""
    received_n_kg_ha = delivery.received_kg_ha * one.application.product.nitrogen_fraction
    highest_kg_ha = max(row.rate_n_kg_ha for row in rows)
    above = received_n_kg_ha > (1.0 + TENTH) * highest_kg_ha
    if not above.any():
        return ""
    area_ha = float(above.sum()) / float(field.inside.sum()) * field.area_ha
    around = " and round no-spread areas" if not field.no_spread.is_empty else ""
    return (
        f"Where passes overlap, beside headlands{around}, up to {_rate(float(received_n_kg_ha[above].max()), units)} "
        f"of nitrogen falls, more than the highest rate of the map ({_rate(highest_kg_ha, units)}): by over a tenth "
        f"on {area_text(area_ha, units).replace('0.0 ', 'less than 0.1 ')}. Shut off sooner there."
    )


def biomass_doubt_says(result: Result) -> str:
    """Where the biomass is least sure: one standard error."""
    return _doubt_says("biomass", result.stand.biomass.se, result)


def doubt_says(result: Result) -> str:
    """Where the credit is least sure: one standard error."""
    return _doubt_says("credit", result.budget.credit.se_kg_ha, result)


def _doubt_says(what: str, se_kg_ha: NDArray[np.float64], result: Result) -> str:
    low, high = _tenths(se_kg_ha)
    units = result.plan.units
    surest, least = _mean(se_kg_ha, low, units), _mean(se_kg_ha, high, units)
    if surest == least:
        return f"The {what} is equally sure everywhere: give or take {least}"
    return f"The {what} is least sure{_in(high, result.field)}: give or take {least}, {surest} where it is surest"


def _tenths(raster: NDArray[np.float64]) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """The cells of the lowest and of the highest tenth."""
    low, high = np.nanquantile(raster, [TENTH, 1.0 - TENTH])
    return raster <= low, raster >= high


def _mean(raster: NDArray[np.float64], cells: NDArray[np.bool_], units: UnitSystem) -> str:
    return _rate(float(raster[cells].mean()), units)


def _rate(rate_kg_ha: float, units: UnitSystem) -> str:
    """A rate whose number and unit stay on one line."""
    return rate_text(rate_kg_ha, units).replace(" ", "\N{NO-BREAK SPACE}")


def _in(cells: NDArray[np.bool_], field: Field) -> str:
    """`` in the southwest and the east``: the sides of the field where the cells lie.

    Only patches with a quarter of the cells count, and they have to be most of the cells: what is scattered
    has no side.
    """
    patch, _ = label(cells, structure=np.ones((3, 3)))
    numbers, counts = np.unique(patch[patch > 0], return_counts=True)
    large = numbers[counts >= PATCH_SHARE * counts.sum()]
    if counts[np.isin(numbers, large)].sum() < MOST * counts.sum():
        return SEVERAL
    everywhere = field.grid.centres(field.inside)
    middle = everywhere.mean(axis=0)
    reach_m = float(np.sqrt(((everywhere - middle) ** 2).sum(axis=1).mean()))
    sides = [_side((field.grid.centres(patch == number).mean(axis=0) - middle) / reach_m) for number in large]
    named = sorted(set(sides), key=sides.index)
    return f" in the {' and the '.join(named)}" if len(named) <= SIDES_MAX else SEVERAL


def _side(offset: NDArray[np.float64]) -> str:
    """The side of the field at an offset (east, north) from its middle, in its root mean square distance."""
    east, north = offset
    if np.hypot(east, north) < ONE_SIDE:
        return "middle"
    return SIDES[round(np.degrees(np.arctan2(north, east)) / 45.0) % 8]
