"""What to know about the machine, its limits, its product and check strips."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fieldmap import agronomy
from fieldmap.budget import response
from fieldmap.spreader import effective_swath_m, overlap_cv
from fieldmap.units import area_text, length_text, mass_text, rate_text
from fieldmap.verdict import nutrients

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fieldmap.agronomy import Product
    from fieldmap.plan import Plan, Spreader
    from fieldmap.spreader import Delivery
    from fieldmap.units import UnitSystem
    from fieldmap.verdict import Along, Limits, Offer, StripFindings
    from fieldmap.zones import ZoneMap


STRIPS_ADVICE = "Try it on one block first, with check strips, before the whole farm."
CV_ACCEPTABLE = agronomy.values_of("machine")["cv_acceptable"]
SWATH_MATTERS = 0.1  # an effective swath so far from the plan's, as a share of it, is worth a word


def pan_test_warnings(plan: Plan) -> tuple[str, ...]:
    """An uneven pattern, or a swath that does not suit it."""
    pan_test, swath_m = plan.spreader.pan_test, plan.spreader.swath_m
    if pan_test is None:
        return ()
    cv, own_m = overlap_cv(pan_test, swath_m), effective_swath_m(pan_test)
    own, planned = length_text(own_m, plan.units), length_text(swath_m, plan.units)
    found = []
    if cv > CV_ACCEPTABLE:
        found.append(
            f"At a swath of {planned} the pan test varies by {cv * 100:.0f} % across the passes (coefficient of "
            f"variation; above 15 % is poor, from memory). Its effective swath is {own}: adjust the spreader or the "
            "swath, and test again."
        )
    elif abs(own_m - swath_m) > SWATH_MATTERS * swath_m:
        found.append(f"The pan test's effective swath is {own}; the plan's swath is {planned}.")
    return tuple(found)


REPORTED_N_KG = 0.5  # less than a pinch is not worth a warning


def delivery_warnings(delivery: Delivery, spreader: Spreader, units: UnitSystem) -> tuple[str, ...]:
    """What to say of a map that the machine cannot deliver, and of product where none belongs: that first."""
    fraction = spreader.product_entry.nitrogen_fraction
    found = []
    what_to_do = (
        "keep further off" if spreader.border_spreading else "use border spreading there, or keep further off"
    )
    for kg, where in (
        (delivery.in_no_spread_kg, "in no-spread areas"),
        (delivery.outside_kg, "beyond the boundary"),
    ):
        if kg * fraction >= REPORTED_N_KG:
            found.append(
                f"About {mass_text(kg, units)} of product would land {where}"
                f"{' even with the border device' * spreader.border_spreading}: {what_to_do}."
            )
    return tuple(found)


def response_warnings(plan: Plan, money: response.Economics | None) -> tuple[str, ...]:
    """What rates aim at where a response curve is followed, and why where it is not."""
    if plan.response is None:
        return ()
    if money is not None:
        best, need = (
            rate_text(each, plan.units) for each in (money.best_supply_kg_ha(), plan.crop.need_field_kg_ha)
        )
        text = (
            f"Rates aim at the supply of nitrogen that pays best on your response curve, {best}, with what the "
            f"credit's doubt is worth added; not at the need of {need}."
        )
        return (text,)
    reason = response.not_for_money(plan) or "money needs [prices] product and crop"
    return (f"[response] is not acted on: {reason}. Zones weigh nitrogen short and over alike.",)


RULE = (
    "Rates are 0 and the steps from rate_min to rate_max. Ground that needs less than rate_min gets 0 or the "
    "least step, whichever its zone loses less by."
)
RULE_WITH_STARTER = (
    "Rates are the steps from rate_min to rate_max that carry rate_n_min. Ground that needs less gets the "
    "least step."
)


def limits_rule_text(limits: Limits) -> str:
    """How ground that needs less than the least rate is treated."""
    return RULE_WITH_STARTER if limits.starter else RULE


SAID_N_KG = 20.0  # less, over the whole field, is not worth a warning


def limit_warnings(limits: Limits, spreader: Spreader, units: UnitSystem) -> tuple[str, ...]:
    """What to say first: zones whose need the machine cannot carry in one pass."""
    found = []
    for zone in limits.short:
        other = (
            f"; in one pass {' or '.join(zone.products)} would"
            if zone.products
            else "; no product of the table would in one pass"
        )
        found.append(
            f"Zone {zone.zone} is short of {mass_text(zone.n_short_kg, units)} of nitrogen, "
            f"{rate_text(zone.n_short_kg_ha, units)}: rate_max is {rate_text(spreader.rate_max_kg_ha, units)} of "
            f"{spreader.product_entry.name}. {zone.passes} passes would carry it{other}."
        )
    bounds = f"rate_min ({rate_text(spreader.rate_min_kg_ha, units)} of product)"
    if spreader.rate_n_min_kg_ha > 0:
        bounds += f" and rate_n_min ({rate_text(spreader.rate_n_min_kg_ha, units)} of nitrogen)"
    for kg, words in (
        (limits.left_short_kg, "leave ground at zero that is short of"),
        (limits.raised_over_kg, "put"),
    ):
        if kg >= SAID_N_KG:
            more = " more nitrogen on the field than it needs" if words == "put" else " of nitrogen"
            found.append(f"The limits of the machine, {bounds}, {words} {mass_text(kg, units)}{more}.")
    return tuple(found)


def offer_text(offer: Offer | None, delivery: Delivery, units: UnitSystem) -> str:
    """That the machine cannot deliver the map, and which it can; empty where it can."""
    if offer is None:
        return ""
    drawn, best = offer.drawn, offer.best
    change = length_text(delivery.change_m, units)
    cannot = (
        f"The machine cannot follow this map as drawn: {drawn.within_tenth * 100:.0f} % of the area would receive "
        f"its rate within 10 %, and {drawn.short_runs * 100:.0f} % of the way lies in zones shorter than a rate "
        f"change ({change})."
    )
    if best is drawn:
        return (
            f"{cannot} Neither fewer nor larger zones would serve the crop better; a narrower swath or a shorter "
            "rate change might."
        )
    number = "one rate" if best.zones == 1 else f"{best.zones} zones"
    size = f" of at least {area_text(best.zone_min_ha, units)}" if best.zones > 1 else ""
    keys = f"zones_max = {best.zones}"
    if best.zone_min_ha > drawn.zone_min_ha:
        keys += " and a larger zone_min"
    return (
        f"{cannot} What the ground receives serves the crop better with {number}{size}, "
        f"{best.within_tenth * 100:.0f} % within 10 %: set {keys}, or drive more slowly."
    )


def available_warnings(zone_map: ZoneMap, product: Product) -> tuple[str, ...]:
    """What nitrogen rates are of, where only part of the product's nitrogen serves the crop."""
    share = product.available or 0.0
    if share == 1 or not any(zone.product_kg_ha for zone in zone_map.zones):
        return ()
    doubt = (
        f", give or take {share * product.available_error * 100:.0f} %," if product.available_error else ""
    )
    text = (
        f"Nitrogen rates are of the nitrogen that serves this crop, {share * 100:.0f} %{doubt} of what "
        f"{product.name} holds."
    )
    return (text,)


def organic_load_warnings(load: nutrients.OrganicLoad | None, units: UnitSystem) -> tuple[str, ...]:
    """All nitrogen of organic products against the limits that are known, and how much of the need hangs on them."""
    if load is None:
        return ()
    found = []
    names = " and ".join(load.products)
    passed = nutrients.limits_passed(load.total_n_kg_ha)
    if passed:
        in_all = rate_text(sum(load.total_n_kg_ha.values()), units)
        limits = "; ".join(_limit_text(one, units) for one in passed)
        found.append(
            f"{names}: {in_all} of nitrogen in all, mean of the field, with none from elsewhere counted. Limits that "
            f"this passes, where they apply: {limits}."
        )
    if load.need_share > nutrients.NEED_SHARE:
        found.append(
            f"{load.need_share * 100:.0f} % of the crop's need is to come from {names}: RB209 (published) advises at "
            "most 50 to 60 %, for release is uncertain."
        )
    return tuple(found)


def _limit_text(limit: nutrients.NitrogenLimit, units: UnitSystem) -> str:
    """``170 kg/ha a year from livestock manure, mean of the farm (91/676/EEC, …; from memory)``."""
    every = "a year" if limit.years == 1 else f"in {limit.years} years"
    whose = "all organics" if "other" in limit.of else " and ".join(limit.of)
    memory = "; from memory" * (agronomy.sources()[limit.source].mark == "from memory")
    return (
        f"{rate_text(limit.total_n_kg_ha, units)} {every} from {whose}, mean of the {limit.mean_of} ({limit.rule}, "
        f"{limit.where}{memory})"
    )


def build_up_warnings(along: tuple[Along, ...], product: str, plan: Plan) -> tuple[str, ...]:
    """What a product brings beyond the harvest, or to a soil that is rich in it already."""
    found = []
    for name, element, rating, pairs in (
        (
            "P2O5",
            "phosphorus",
            plan.soil_test.phosphorus,
            [(one.p2o5_kg_ha, one.removal_p2o5_kg_ha) for one in along],
        ),
        (
            "K2O",
            "potassium",
            plan.soil_test.potassium,
            [(one.k2o_kg_ha, one.removal_k2o_kg_ha) for one in along],
        ),
    ):
        most = max((amount for amount, _ in pairs), default=0.0)
        if rating == "high" and most > 0:
            found.append(
                f"The soil test is already high in {element}, and {product} brings up to "
                f"{rate_text(most, plan.units)} of {name} more: a product with nitrogen alone leaves it as it is."
            )
        over = [(amount, removal) for amount, removal in pairs if removal is not None and amount > removal]
        if not over:
            continue
        amount, removal = max(over, key=lambda pair: pair[0] - pair[1])
        share = min(removal / amount for amount, removal in over)
        found.append(
            f"{product} brings up to {rate_text(amount, plan.units)} of {name}, more than "
            f"the {rate_text(removal, plan.units)} that the harvest takes away: it builds up. Within "
            f"removal, about {share * 100:.0f} % of the nitrogen could come from it: look at the soil test."
        )
    return tuple(found)


def strip_warnings(strips: Sequence[StripFindings], plan: Plan) -> tuple[str, ...]:
    """What to say of the check strips: how many found room, what they may cost, and how to begin."""
    if plan.strips is None:
        return ()
    said = []
    if len(strips) < plan.strips.number:
        said.append(
            f"{len(strips)} of {plan.strips.number} check strips found room: two passes side by side, off the "
            "headlands and no-spread areas, that leave no zone smaller than zone_min."
        )
    rates = [one.row.rate_n_kg_ha for one in strips]
    if len(strips) > 1 and len(set(rates)) < len({one.level for one in strips}):
        said.append(
            "Two levels of the check strips come to the same rate on the machine's steps: they cannot be told apart."
        )
    fed = [one for one in strips if one.level == 0 and one.row.rate_n_kg_ha > 0]
    if fed:
        rate = rate_text(fed[0].row.rate_n_kg_ha, plan.units)
        said.append(
            f"The check strip without nitrogen gets {rate} all the same, for rate_n_min asks for it everywhere."
        )
    stake = [one for one in strips if one.yield_at_stake_kg]
    if stake:
        kg = sum(one.yield_at_stake_kg or 0.0 for one in stake)
        area = area_text(sum(one.row.area_ha for one in stake), plan.units)
        said.append(f"The check strips may cost about {mass_text(kg, plan.units)} of yield on {area}.")
    if strips:
        said.append(STRIPS_ADVICE)
    return tuple(said)
