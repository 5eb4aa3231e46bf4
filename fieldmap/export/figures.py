"""result.json: every figure of the run, with the plan as read, versions, sources and warnings."""

from __future__ import annotations

import json
from dataclasses import asdict
from importlib.metadata import version
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from fieldmap import tables
from fieldmap.diagnostics import empirical_variogram
from fieldmap.export.tables import RATE_DECIMALS, zone_entries
from fieldmap.field import to_lonlat

if TYPE_CHECKING:
    from pathlib import Path

    from fieldmap.outcomes import Outcome
    from fieldmap.pipeline import Result
    from fieldmap.surface import SurfaceFit
    from fieldmap.verdict import Verdict

_LIBRARIES = ("fieldmap", "geopandas", "numpy", "pyproj", "rasterio", "scipy", "shapely")


def figures(result: Result) -> dict[str, Any]:
    """Every figure, ready for JSON; rates in kg/ha, nitrogen and product apart."""
    field, zones = result.field, result.zone_map.zones
    inside = field.inside
    fit = result.biomass.fit
    assert fit is not None  # noqa: S101 - biomass is always mapped from a fit
    nitrogen_fraction = result.plan.spreader.product_entry.nitrogen_fraction
    return {
        "name": result.plan.name,
        "plan": result.plan.model_dump(mode="json"),
        "plan_hash": result.plan_hash,
        "field": {
            "area_ha": round(field.area_ha, 4),
            "crs": f"EPSG:{field.crs.to_epsg()}",
            "cell_m": field.grid.cell_m,
            "blocks": [
                {
                    "block": block.name,
                    "crop": result.plan.crop_of(block.name).name,
                    "area_ha": round(block.area_ha, 4),
                }
                for block in field.blocks
            ],
        },
        "surface": {
            "method": fit.method,
            "message": result.biomass.message,
            "samples": len(result.samples),
            "leave_one_out_rmse_kg_ha": _rate(fit.loo_rmse),
            "mean_only_rmse_kg_ha": _rate(fit.mean_only_rmse),
            "mean_biomass_kg_ha": _rate(float(np.mean(result.biomass.mean[inside]))),
        },
        "nitrogen": {
            "method": result.nitrogen_pct.method,
            "mean_pct": round(float(np.mean(result.nitrogen_pct.mean[inside])), 3),
        },
        "diagnostics": _diagnostics(result, fit),
        "ledger": [
            {
                "block": line.block,
                "line": line.line,
                "kg_ha": _rate(line.kg_ha),
                "source": line.source,
                "mark": line.mark,
            }
            for line in result.ledger
        ],
        "zones": zone_entries(result),
        "totals": {
            "area_ha": round(sum(zone.area_ha for zone in zones), 4),
            "product_kg": round(sum(zone.product_kg for zone in zones), 2),
            "n_kg": round(sum(zone.rate_n_kg_ha * zone.area_ha for zone in zones), 2),
            "flat_rate_n_kg_ha": _rate(result.flat.mean_rate_n_kg_ha),
            "flat_product_kg": round(result.flat.product_kg, 2),
        },
        "p2o5_k2o": [asdict(one) for one in result.along],
        "zones_by_number": [
            {"zones": number, "loss": round(level_set.loss * nitrogen_fraction**2, 4)}
            | ({} if level_set.money_ha is None else {"money_lost_ha": round(level_set.money_ha, 2)})
            for number, level_set in enumerate(result.level_sets, start=1)
        ],
        "zones_width": {
            "method": result.width.method,
            "thin_percent": round(100 * result.width.thin_share, 2),
            "losses": width_losses(result),
        },
        "deliverable": {
            "within_10_percent": round(100 * result.delivery.within_tenth, 1),
            "n_short_kg": round(result.delivery.short_kg * nitrogen_fraction, 2),
            "n_over_kg": round(result.delivery.over_kg * nitrogen_fraction, 2),
            "n_in_no_spread_kg": round(result.delivery.in_no_spread_kg * nitrogen_fraction, 2),
            "n_outside_kg": round(result.delivery.outside_kg * nitrogen_fraction, 2),
            "look_ahead_m": round(result.delivery.look_ahead_m, 1),
        },
        "verdict": verdict_figures(result.verdict),
        "warnings": list(result.warnings),
        "cautions": list(result.cautions),
        "sources": [
            {"key": key, "mark": tables.sources()[key].mark, "citation": tables.sources()[key].citation}
            for key in result.sources
        ],
        "versions": {name: version(name) for name in _LIBRARIES},
    }


def _diagnostics(result: Result, fit: SurfaceFit) -> dict[str, Any]:
    """What a consultant looks at before trusting the surface; squares of kg/ha for the variogram."""
    samples = result.samples
    variogram = empirical_variogram(samples.coords_m, samples.dry_kg_ha) if len(samples) > 1 else None
    further = shapely.get_coordinates(to_lonlat(shapely.MultiPoint(result.next_samples_m), result.field.crs))
    return {
        "leave_one_out": [
            {
                "sample": label,
                "weighed_kg_ha": _rate(fit.loo_observed[k]),
                "predicted_kg_ha": _rate(fit.loo_predicted[k]),
                "se_kg_ha": _rate(fit.loo_se[k]),
            }
            for k, label in enumerate(samples.label)
        ],
        "variogram": []
        if variogram is None
        else [
            {
                "distance_m": round(float(distance), 1),
                "pairs": int(pairs),
                "semivariance": round(float(half), 1),
            }
            for distance, pairs, half in zip(
                variogram.distance_m, variogram.pairs, variogram.semivariance, strict=True
            )
        ],
        "next_samples": [
            {"longitude": round(longitude, 7), "latitude": round(latitude, 7)}
            for longitude, latitude in further.tolist()
        ],
    }


def width_losses(result: Result) -> dict[str, float]:
    """Loss of each way to give zones their width, as `zones_by_number` has it: money where that is followed."""
    by_money = result.level_sets[0].money_ha is not None
    scale = 1.0 if by_money else result.plan.spreader.product_entry.nitrogen_fraction ** 2
    return {method: round(loss * scale, 4) for method, loss in result.width.losses.items()}


def verdict_figures(verdict: Verdict) -> dict[str, Any]:
    """The verdict, with what comes of the zones and of each flat rate; nitrogen over stands beside the money."""
    told: dict[str, Any] = {
        "answer": verdict.answer,
        "text": verdict.text,
        "change": verdict.change,
        "chance": round(verdict.chance, 3),
        "misplaced_n_zones_kg_ha": _rate(verdict.misplaced_zones_kg_ha),
        "misplaced_n_flat_kg_ha": _rate(verdict.misplaced_flat_kg_ha),
        "ways": [_outcome(one) for one in verdict.outcomes],
    }
    if verdict.gain_money_ha is not None and verdict.rate_without_insurance_kg_ha is not None:
        told["money_saved_ha"] = round(verdict.gain_money_ha, 2)
        told["rate_n_without_insurance_kg_ha"] = _rate(verdict.rate_without_insurance_kg_ha)
    return told


def _outcome(one: Outcome) -> dict[str, Any]:
    told: dict[str, Any] = {
        "spread": one.name,
        "rate_n_kg_ha": _rate(one.rate_n_kg_ha),
        "n_short_kg": round(one.short_n_kg, 1),
        "n_over_kg": round(one.over_n_kg, 1),
        "area_off_percent": round(100 * one.off_share, 1),
    }
    if one.money_lost_ha is not None:
        told["money_lost_ha"] = round(one.money_lost_ha, 2)
    if one.zones_better is not None:
        told["chance_zones_better"] = round(one.zones_better, 3)
    return told


def write_figures(result: Result, path: Path) -> None:
    """Write result.json."""
    path.write_text(
        json.dumps(figures(result), indent=1, ensure_ascii=False, allow_nan=False) + "\n", encoding="utf-8"
    )


def _rate(kg_ha: float) -> float:
    return round(float(kg_ha), RATE_DECIMALS) + 0.0
