"""The main numbers, in their order, and the zone table: what the terminal, the map and the report show."""

from __future__ import annotations

from dataclasses import astuple, dataclass
from typing import TYPE_CHECKING

import numpy as np

from fieldmap.advice import METHODS, verdict_text, waiting_text
from fieldmap.report.findings import one_rate_says
from fieldmap.units import (
    KG_PER_LB,
    KG_PER_SHORT_TON,
    area_text,
    length_text,
    mass_text,
    money_text,
    rate_range_text,
    rate_text,
    rate_unit,
    shown_rate,
    whole,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fieldmap.budget import Application, BlockSeason
    from fieldmap.field import Field
    from fieldmap.pipeline import Result
    from fieldmap.units import UnitSystem
    from fieldmap.verdict import ApplicationMap
    from fieldmap.zones import Zone


@dataclass(frozen=True)
class Line:
    """A title and what it says."""

    title: str
    text: str


def main_numbers(result: Result) -> tuple[Line, ...]:
    """What to order, what goes where, against one rate, how sure."""
    return (
        Line("Order", order_text(result)),
        Line("Where", _where(result)),
        Line("Against one rate", _against_one_rate(result)),
        Line("How sure", verdict_text(result.verdict, result.plan.units)),
    )


def mass_to_order_text(mass_kg: float, units: UnitSystem) -> str:
    """A weight to order: ``4,680 lb (2.3 short tons)`` or ``2,120 kg (2.1 t)``."""
    tons = f"{mass_kg / KG_PER_SHORT_TON:.1f} short tons" if units == "us" else f"{mass_kg / 1000:.1f} t"
    return f"{mass_text(mass_kg, units)} ({tons})"


def field_area_text(result: Result) -> str:
    """``33.7 ac, 32.2 ac of them spread``; the field alone where all of it is spread."""
    units = result.plan.units
    whole_field = area_text(result.field.area_ha, units)
    spread = area_text(sum(block.spread_ha for block in result.field.blocks), units)
    return whole_field if spread == whole_field else f"{whole_field}, {spread} of them spread"


def order_text(result: Result) -> str:
    """Every product in all, and the cost of the one whose price is known."""
    price, priced = result.plan.prices.product, result.plan.spreader.product_entry.name
    orders: dict[str, float] = {}
    for one in result.applications:
        name = one.application.product.name
        orders[name] = orders.get(name, 0.0) + _product_kg(one)
    texts = []
    for name, product_kg in orders.items():
        text = f"{mass_to_order_text(product_kg, result.plan.units)} of {name}"
        if price and name == priced:
            text += f", {price.currency}\u00a0{whole(price.amount * product_kg)}"
        texts.append(text)
    return "; ".join(texts)


def _product_kg(one: ApplicationMap) -> float:
    return sum(zone.product_kg for zone in one.spread.zone_map.rows)


def application_amount(one: ApplicationMap, units: UnitSystem) -> str:
    """What one application takes in all: ``4,680 lb``, or ``nothing to spread``."""
    product_kg = _product_kg(one)
    return mass_text(product_kg, units) if product_kg > 0.0 else "nothing to spread"


def application_title(one: ApplicationMap) -> str:
    """``Application 2 of 3: 2026-07-06, side-dressed, calcium nitrate``."""
    told = one.application
    return f"{application_name(one)}: {told.date}, {METHODS[told.method]}, {told.product.name}"


def application_name(one: ApplicationMap) -> str:
    """``Application 2 of 3``."""
    return f"Application {one.application.number} of {one.application.of}"


def _where(result: Result) -> str:
    """One rate a block first where it will do, then the zones."""
    units, one_rate = result.plan.units, one_rate_says(result)
    zones = "; ".join(
        (f"application {one.application.number}: " if one.application.of > 1 else "")
        + _zones_text(one, units)
        for one in result.applications
    )
    return f"{one_rate[:1].lower()}{one_rate[1:]}. Or {zones}" if one_rate else zones


def _zones_text(one: ApplicationMap, units: UnitSystem) -> str:
    return _zone_rates_text(one, units) + _strip_rates_text(one, units)


def _strip_rates_text(one: ApplicationMap, units: UnitSystem) -> str:
    """Strips get what the crop would need without the cover crop, which can be more than any zone."""
    rates = [strip.rate_n_kg_ha for strip in one.spread.zone_map.strips]
    if not rates:
        return ""
    return f", and check strips at {rate_range_text(min(rates), max(rates), units)} of nitrogen"


def _zone_rates_text(one: ApplicationMap, units: UnitSystem) -> str:
    zones = one.spread.zone_map.zones
    if not zones:
        return "nothing is spread"
    low, high = zones[0], zones[-1]
    number = high.zone
    if number == 1:
        return (
            f"1 zone: {rate_text(low.rate_n_kg_ha, units)} of nitrogen, "
            f"{rate_text(low.product_kg_ha, units)} of {low.product}"
        )
    return (
        f"{number} zones: {rate_range_text(low.rate_n_kg_ha, high.rate_n_kg_ha, units)} of nitrogen, "
        f"{rate_range_text(low.product_kg_ha, high.product_kg_ha, units)} of {low.product}"
    )


def _against_one_rate(result: Result) -> str:
    units, verdict = result.plan.units, result.verdict
    change_kg = sum(_saved_n_kg(one, result.field) for one in result.applications)
    flat_n_kg_ha = sum(one.spread.flat.mean_rate_n_kg_ha for one in result.applications)
    saved = f"{mass_text(abs(change_kg), units)} of nitrogen {'saved' if change_kg >= 0 else 'added'}"
    return (
        f"one rate a block would be {rate_text(flat_n_kg_ha, units)} of nitrogen on average; "
        f"{saved}; nitrogen in the wrong place {rate_text(verdict.misplaced_zones_kg_ha, units)} "
        f"instead of {rate_text(verdict.misplaced_flat_kg_ha, units)}"
    )


def _saved_n_kg(one: ApplicationMap, field: Field) -> float:
    """Nitrogen that zones save against one rate a block; what check strips leave out is left out to learn."""
    flat_n_kg_ha = dict(
        zip((block.name for block in field.blocks), one.spread.flat.rate_n_kg_ha, strict=True)
    )
    return sum(
        (flat_n_kg_ha[zone.block] - zone.rate_n_kg_ha) * zone.area_ha for zone in one.spread.zone_map.zones
    )


def by_number_text(one: ApplicationMap, units: UnitSystem, currency: str | None) -> str:
    """What the best levels of one zone, two, … miss the wanted rate by, root mean square, and lose in money."""
    fraction = one.application.product.nitrogen_fraction
    missed = [shown_rate(each.loss**0.5 * fraction, units) for each in one.spread.level_sets]
    each = [f"{number}: {whole(rate)}" for number, rate in enumerate(missed, start=1)]
    text = f"{', '.join(each)} {rate_unit(units)} of nitrogen off the wanted rate (root mean square)"
    money = [each.money_ha for each in one.spread.level_sets if each.money_ha is not None]
    if money and currency is not None:
        lost = ", ".join(money_text(amount, currency, units) for amount in money)
        text += f"; lost against the best rate everywhere: {lost}"
    return text


def driven_text(one: ApplicationMap, units: UnitSystem) -> str:
    """What the ground receives when the map is driven, in a line."""
    delivery, fraction = one.spread.delivery, one.application.product.nitrogen_fraction
    short, over = (mass_text(kg * fraction, units) for kg in (delivery.short_kg, delivery.over_kg))
    return (
        f"{delivery.within_tenth * 100:.0f} % of the area receives its rate within 10 %; {short} of nitrogen short, "
        f"{over} over; the map is best read {length_text(delivery.look_ahead_m, units)} ahead"
    )


def zone_columns(units: UnitSystem, zones: Sequence[Zone]) -> tuple[str, ...]:
    """Headings of the zone table; nitrogen and product never share a column.

    Need, credit used and other credits stand beside the rate that they come to (`reckoned_text`). The last three
    are there where the product brings more than nitrogen that serves the crop.
    """
    unit = rate_unit(units)
    area, mass = ("ac", "lb") if units == "us" else ("ha", "kg")
    return (
        "Zone",
        "Block",
        "Crop",
        f"Area, {area}",
        f"Need, {unit}",
        f"Credit, {unit}",
        f"Credit used, {unit}",
        f"Other credits, {unit}",
        f"N rate, {unit}",
        f"Product, {unit}",
        f"Product, {mass}",
        *(
            (f"N in all, {unit}", f"P2O5, {unit}", f"K2O, {unit}")
            if any(zone.brought for zone in zones)
            else ()
        ),
    )


def zone_cells(zone: Zone, units: UnitSystem) -> tuple[str, ...]:
    """One row of the zone table, as people read it."""
    mass = zone.product_kg / KG_PER_LB if units == "us" else zone.product_kg
    return (
        f"strip {zone.zone}" if zone.strip else str(zone.zone),
        zone.block,
        zone.crop,
        area_text(zone.area_ha, units).split()[0],
        whole(shown_rate(zone.need_kg_ha, units)),
        interval_text(zone, units),
        whole(shown_rate(zone.credit_used_kg_ha, units)),
        whole(shown_rate(zone.other_credits_kg_ha, units)),
        whole(shown_rate(zone.rate_n_kg_ha, units)),
        whole(shown_rate(zone.product_kg_ha, units)),
        whole(mass),
        *(whole(shown_rate(kg_ha, units)) for kg_ha in (astuple(zone.brought) if zone.brought else ())),
    )


def reckoned_text(result: Result) -> str:
    """How need and credits come to the nitrogen rate that stands beside them in the zone table."""
    plan, budget = result.plan, result.budget
    maps = [one.spread.zone_map for one in result.applications]
    recovered = any(need.recovery < 1.0 for need in budget.needs)
    divided = ", divided by the share of spread nitrogen that the crop takes up," if recovered else ""
    one_rate = "; a zone has one rate in all its blocks" if len(budget.needs) > 1 else ""
    steps = f"to the spreader's step and within its limits{one_rate}"
    texts = [f"Need less credit used less other credits{divided} is the N rate, {steps}."]
    if budget.money is not None:
        texts = ["The N rate is what pays best, so it is not just need less credit used less other credits."]
    if plan.credit.confidence > 0.5:
        chance = f"{plan.credit.confidence * 100:.0f} %"
        texts.append(f"Credit used is less than the credit: what the zone holds with a chance of {chance}.")
    if len(maps) > 1:
        texts.append("It is shared among the applications.")
    if budget.sidedress:
        texts.append("Where a nitrate test was taken, the test sets the rate.")
    if any(np.nansum(one.withheld_n_kg_ha) > 0 for one in maps):
        texts.append("The zone with the highest rate is held at one rate.")
    if any(one.strips for one in maps):
        texts.append("A check strip uses no credit and gets its level of the rest.")
    return " ".join(texts)


def interval_text(zone: Zone, units: UnitSystem) -> str:
    """``68 (52 to 84)``: the credit with its 90 % interval."""
    credit, low, high = (
        whole(shown_rate(kg_ha, units))
        for kg_ha in (zone.credit_kg_ha, zone.credit_low_kg_ha, zone.credit_high_kg_ha)
    )
    return f"{credit} ({low} to {high})"


def cost_text(result: Result) -> str:
    """What a kilogram (or pound) of nitrogen costs from the cover crop and from the product; empty without prices."""
    prices, units = result.plan.prices, result.plan.units
    per, unit = (KG_PER_LB, "lb") if units == "us" else (1.0, "kg")
    texts = []
    credit = float(np.nanmean(result.budget.credit.credit_kg_ha))
    if prices.cover_crop and credit > 0:
        texts.append(
            f"{prices.cover_crop.currency} {prices.cover_crop.amount / credit * per:.2f} from the cover crop"
        )
    if prices.product:
        product = result.applications[0].application.product
        each = prices.product.amount / product.nitrogen_fraction * per
        texts.append(f"{prices.product.currency} {each:.2f} from {product.name}")
    return f"A {unit} of nitrogen costs {' and '.join(texts)}." if texts else ""


def holds_text(application: Application) -> str:
    """What an application's product holds, and how much of its nitrogen serves the crop."""
    product = application.product
    share = (product.available or 0.0) * 100
    doubt = f", give or take {product.available_error * share:.0f} %" if product.available_error else ""
    return f"{product.name}: {product.nitrogen_pct:g} % nitrogen, of which {share:.0f} %{doubt} serves this crop."


def waiting_texts(result: Result) -> tuple[str, ...]:
    """What waiting for a later stage costs or brings, a text for each cover crop of the field."""
    return tuple(
        waiting_text(
            course,
            planted=min(result.plan.crop_of(block).planted for block in course.blocks),
            units=result.plan.units,
        )
        for course in result.budget.stages
    )


LOAD_COLUMNS = ("Load", "Passes", "Product")
SEASON_COLUMNS = ("Week", "From", "Released", "Taken up", "Short", "Spare")


def load_rows(one: ApplicationMap, units: UnitSystem) -> list[tuple[str, ...]]:
    """Each hopper filling: its passes and what it holds."""
    return [
        (
            str(load.number),
            f"{load.pass_from} to {load.pass_to}",
            mass_text(load.product_kg, units),
        )
        for load in one.spread.loads
    ]


def season_rows(season: BlockSeason, units: UnitSystem) -> list[tuple[str, ...]]:
    """Week by week, in the user's unit: released, taken up, short, spare."""
    weeks = season.weeks
    values = (weeks.released_kg_ha, weeks.uptake_kg_ha, weeks.short_kg_ha, weeks.spare_kg_ha)
    return [
        (str(week), str(weeks.date[k]), *(whole(shown_rate(float(value[k]), units)) for value in values))
        for k, week in enumerate(weeks.week)
    ]


def ledger_columns(units: UnitSystem) -> tuple[str, ...]:
    """Headings of the ledger, one line a row."""
    return ("Block", "Line", f"Nitrogen, {rate_unit(units)}", "Mark", "Source")


def ledger_rows(result: Result) -> list[tuple[str, ...]]:
    """Every line of every block, with its mark and what stands behind it."""
    units = result.plan.units
    return [
        (line.block, line.line, whole(shown_rate(line.kg_ha, units)), line.mark, line.source)
        for line in result.ledger
    ]
