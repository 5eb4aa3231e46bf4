"""What each application spreads and what comes of it, in figures ready for JSON."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fieldmap.advice import highest_zone_text, limits_rule_text, split_text
from fieldmap.export.rows import RATE_DECIMALS, strip_entries, zone_entries
from fieldmap.spreader import effective_swath_m, overlap_cv

if TYPE_CHECKING:
    from typing import Any

    from fieldmap.pipeline import Result
    from fieldmap.verdict import ApplicationMap


def zones_by_number(one: ApplicationMap) -> list[dict[str, Any]]:
    """What is lost with one zone, two, three and so on."""
    fraction = one.application.product.nitrogen_fraction
    return [
        {"zones": number, "loss": round(level_set.loss * fraction**2, 4)}
        | ({} if level_set.money_ha is None else {"money_lost_ha": round(level_set.money_ha, 2)})
        for number, level_set in enumerate(one.spread.level_sets, start=1)
    ]


def width_figures(result: Result) -> dict[str, Any]:
    """How zones were held to the least width, and what each way loses."""
    width, scale = result.spread.width, loss_scale(result)
    return {
        "method": width.method,
        "thin_percent": round(100 * width.thin_share, 2),
        "losses": {method: round(loss * scale, 4) for method, loss in width.losses.items()},
    }


def limit_figures(one: ApplicationMap) -> dict[str, Any]:
    """Where the need lies beyond what the spreader can be set to, and what that leaves."""
    limits = one.spread.limits
    return {
        "rule": limits_rule_text(limits),
        "n_short_at_zero_kg": round(limits.left_short_kg, 2),
        "n_over_at_least_rate_kg": round(limits.raised_over_kg, 2),
        "above_rate_max": [
            {
                "zone": short.zone,
                "n_short_kg": round(short.n_short_kg, 2),
                "n_short_kg_ha": rounded_rate(short.n_short_kg_ha),
                "passes": short.passes,
                "products": list(short.products),
            }
            for short in limits.short
        ],
    }


def totals(one: ApplicationMap) -> dict[str, float]:
    """What an application spreads, with its check strips, beside one rate a block."""
    zones = one.spread.zone_map.rows
    return {
        "area_ha": round(sum(zone.area_ha for zone in zones), 4),
        "product_kg": round(sum(zone.product_kg for zone in zones), 2),
        "n_kg": round(sum(zone.rate_n_kg_ha * zone.area_ha for zone in zones), 2),
        "flat_rate_n_kg_ha": rounded_rate(one.spread.flat.mean_rate_n_kg_ha),
        "flat_product_kg": round(one.spread.flat.product_kg, 2),
    }


def season_totals(maps: tuple[ApplicationMap, ...]) -> dict[str, Any]:
    """What all applications spread together: nitrogen adds up, products stand apart."""
    each = [totals(one) for one in maps]
    products: dict[str, list[float]] = {}
    for one, told in zip(maps, each, strict=True):
        kg = products.setdefault(one.application.product.name, [0.0, 0.0])
        kg[0] += told["product_kg"]
        kg[1] += told["flat_product_kg"]
    return {
        "area_ha": each[0]["area_ha"],
        "n_kg": round(sum(told["n_kg"] for told in each), 2),
        "flat_rate_n_kg_ha": rounded_rate(sum(told["flat_rate_n_kg_ha"] for told in each)),
        "products": [
            {"product": name, "product_kg": round(kg, 2), "flat_product_kg": round(flat_kg, 2)}
            for name, (kg, flat_kg) in products.items()
        ],
    }


def application_figures(result: Result, one: ApplicationMap) -> dict[str, Any]:
    """One application: when, how much of the whole, how, with what, and its zones."""
    application, units = one.application, result.plan.units
    told: dict[str, Any] = {
        "application": application.number,
        "date": application.date.isoformat() if application.date else None,
        "method": application.method,
        "product": application.product.name,
        "available": round(application.product.available or 0.0, 4),
        "available_error": round(application.product.available_error, 4),
        "share": application.share,
        "blocks": [
            {
                "block": share.block,
                "share": round(part, 4),
                "follows": "nitrate test" if application.number - 1 in share.tested else "ledger",
                "reason": split_text(share, result.budget.seasons, units),
            }
            for share, part in zip(result.shares, one.shares, strict=True)
        ],
        "totals": totals(one),
        "n_left_kg": round(one.left_n_kg, 2),
        "zones": zone_entries(one, units),
        "strips": strip_entries(one, units),
        "loads": len(one.spread.loads),
        "deliverable": deliverable(one),
    }
    if application.through_drip:
        del told["loads"], told["deliverable"]
    return told


def deliverable(one: ApplicationMap) -> dict[str, float]:
    """The map driven on paper: what the ground receives, as nitrogen."""
    delivery = one.spread.delivery
    nitrogen_fraction = one.application.product.nitrogen_fraction
    return {
        "within_10_percent": round(100 * delivery.within_tenth, 1),
        "n_short_kg": round(delivery.short_kg * nitrogen_fraction, 2),
        "n_over_kg": round(delivery.over_kg * nitrogen_fraction, 2),
        "n_in_no_spread_kg": round(delivery.in_no_spread_kg * nitrogen_fraction, 2),
        "n_outside_kg": round(delivery.outside_kg * nitrogen_fraction, 2),
        "look_ahead_m": round(delivery.look_ahead_m, 1),
    }


def offer_figures(result: Result) -> dict[str, Any]:
    """The maps that were tried where the machine cannot deliver the one drawn; nothing where it can."""
    offer = result.spread.offer
    if offer is None:
        return {"short_runs_percent": round(100 * result.spread.delivery.short_runs, 1)}
    scale = loss_scale(result)
    return {
        "short_runs_percent": round(100 * result.spread.delivery.short_runs, 1),
        "driven_maps": [
            {
                "zones": one.zones,
                "zone_min_ha": round(one.zone_min_ha, 4),
                "loss": round(one.loss * scale, 4),
                "within_10_percent": round(100 * one.within_tenth, 1),
                "short_runs_percent": round(100 * one.short_runs, 1),
                "drawn": one is offer.drawn,
                "loses_least": one is offer.best,
            }
            for one in (offer.drawn, *offer.others)
        ],
    }


def pan_test_figures(result: Result) -> dict[str, Any]:
    """How evenly the spreader throws, by its pan test; nothing without one."""
    spreader = result.plan.spreader
    if spreader.pan_test is None:
        return {}
    return {
        "pattern_cv_percent": round(100 * overlap_cv(spreader.pan_test, spreader.swath_m), 1),
        "effective_swath_m": round(effective_swath_m(spreader.pan_test), 2),
    }


def thin_ground_figures(result: Result) -> dict[str, Any]:
    """What was chosen for the zone with the highest rate, and why."""
    told, highest = result.plan.thin_ground, result.spread.zone_map.highest
    return {
        "cause": told.cause,
        "capped": bool(highest and highest.capped),
        "text": highest_zone_text(highest, told, result.plan.units),
    } | (
        {
            "asked_rate_n_kg_ha": rounded_rate(highest.rate_n_kg_ha),
            "flat_rate_n_kg_ha": rounded_rate(highest.flat_rate_n_kg_ha),
            "block": highest.block,
            "thin": highest.thin,
        }
        if highest
        else {}
    )


def loss_scale(result: Result) -> float:
    """From the loss that zones are drawn by to the one shown: money, or squared error of nitrogen."""
    by_money = result.spread.level_sets[0].money_ha is not None
    return 1.0 if by_money else result.applications[0].application.product.nitrogen_fraction ** 2


def rounded_rate(kg_ha: float) -> float:
    """A rate as it is written, kg/ha; never minus zero."""
    return round(float(kg_ha), RATE_DECIMALS) + 0.0
