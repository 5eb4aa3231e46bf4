"""result.json: every figure of the run, with the plan as read, versions, sources and warnings."""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import TYPE_CHECKING

import numpy as np
import shapely

from fieldmap import agronomy
from fieldmap.advice import (
    STRIPS_ADVICE,
    change_text,
    pattern_text,
    sidedress_text,
    verdict_text,
)
from fieldmap.credit import SOURCES as STAGE_SOURCES
from fieldmap.export.reproducible import versions
from fieldmap.export.rows import strip_entries, zone_entries
from fieldmap.export.spread_figures import (
    application_figures,
    deliverable,
    limit_figures,
    offer_figures,
    pan_test_figures,
    rounded_rate,
    season_totals,
    thin_ground_figures,
    width_figures,
    zones_by_number,
)
from fieldmap.field import to_lonlat
from fieldmap.geostatistics import empirical_variogram
from fieldmap.report import summary

if TYPE_CHECKING:
    from pathlib import Path
    from typing import Any

    from fieldmap.credit import StageCourse
    from fieldmap.geostatistics import SurfaceFit
    from fieldmap.pipeline import Result
    from fieldmap.units import UnitSystem
    from fieldmap.verdict import ApplicationMap, Outcome, Verdict

SCHEMA_VERSION = 2


def figures(result: Result) -> dict[str, Any]:
    """Every figure, ready for JSON; rates in kg/ha, nitrogen and product apart.

    `fieldmap/assets/result.schema.json` is its schema; a change of what a key means, or one that goes, is a new
    `SCHEMA_VERSION`.
    """
    units, first = result.plan.units, result.applications[0]
    return {
        "schema_version": SCHEMA_VERSION,
        "name": result.plan.name,
        "plan": result.plan.model_dump(mode="json"),
        "plan_hash": result.plan_hash,
        "field": _field(result),
        "surface": _surface(result),
        "nitrogen": _nitrogen(result),
        "diagnostics": _diagnostics(result),
        "ledger": _ledger(result),
        "trend": _trend(result),
        "growth": _growth(result),
        "stages": [
            _stages(course, text)
            for course, text in zip(result.budget.stages, summary.waiting_texts(result), strict=True)
        ],
        "sidedress": _sidedress(result),
        "actions": _actions(result),
        "zones": zone_entries(first, units),
        "totals": season_totals(result.applications),
        "applications": [application_figures(result, one) for one in result.applications],
        "p2o5_k2o": [asdict(one) for one in first.spread.along],
        "zones_by_number": zones_by_number(first),
        "zones_width": width_figures(result),
        "strips": {"advice": STRIPS_ADVICE, "strips": strip_entries(first, units)},
        "thin_ground": thin_ground_figures(result),
        "machine_limits": limit_figures(first),
        "deliverable": deliverable(first) | pan_test_figures(result) | offer_figures(result),
        "verdict": verdict_figures(result.verdict, units),
        "warnings": list(result.warnings),
        "cautions": list(result.cautions),
        "sources": [
            {"key": key, "mark": agronomy.sources()[key].mark, "citation": agronomy.sources()[key].citation}
            for key in result.sources
        ],
        "versions": versions(),
    }


def _field(result: Result) -> dict[str, Any]:
    field = result.field
    return {
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
    }


def _fit(result: Result) -> SurfaceFit:
    fit = result.stand.biomass.fit
    assert fit is not None  # noqa: S101 - biomass is always mapped from a fit
    return fit


def _surface(result: Result) -> dict[str, Any]:
    fit = _fit(result)
    return {
        "method": fit.method,
        "message": pattern_text(result.stand, result.plan.units),
        "samples": len(result.stand.samples),
        "leave_one_out_rmse_kg_ha": rounded_rate(fit.loo_rmse),
        "mean_only_rmse_kg_ha": rounded_rate(fit.mean_only_rmse),
        "mean_biomass_kg_ha": rounded_rate(float(np.mean(result.stand.biomass.mean[result.field.inside]))),
    }


def _nitrogen(result: Result) -> dict[str, Any]:
    surface = result.stand.nitrogen_pct
    return {
        "method": surface.method,
        "mean_pct": round(float(np.mean(surface.mean[result.field.inside])), 3),
    }


def _ledger(result: Result) -> list[dict[str, Any]]:
    return [
        {
            "block": line.block,
            "line": line.line,
            "kg_ha": rounded_rate(line.kg_ha),
            "source": line.source,
            "mark": line.mark,
        }
        for line in result.ledger
    ]


def _trend(result: Result) -> list[dict[str, Any]]:
    return [
        {
            "sampled": one.sampled.isoformat(),
            "samples": one.samples,
            "biomass_kg_ha": rounded_rate(one.biomass_kg_ha),
            "biomass_se_kg_ha": rounded_rate(one.biomass_se_kg_ha),
            "total_n_kg_ha": None if one.total_n_kg_ha is None else rounded_rate(one.total_n_kg_ha),
        }
        for one in result.stand.samplings
    ]


def _growth(result: Result) -> list[dict[str, Any]]:
    return [
        {"block": block.name, **{name: round(value, 4) for name, value in asdict(growth).items()}}
        for block, growth in zip(result.field.blocks, result.stand.growths, strict=True)
        if growth is not None
    ]


def _sidedress(result: Result) -> list[dict[str, Any]]:
    days = [one.application.date for one in result.applications]
    return [
        {
            "block": call.block,
            "crop": call.crop,
            "ground": call.ground,
            "sampled": call.sampled.isoformat(),
            "nitrate_n_ppm": round(call.nitrate_n_ppm, 2),
            "threshold_ppm": call.threshold_ppm,
            "rate_n_kg_ha": rounded_rate(call.rate_n_kg_ha),
            "mark": call.mark,
            "text": sidedress_text(call, days, result.plan.units),
        }
        for call in result.budget.sidedress
    ]


def _actions(result: Result) -> list[dict[str, Any]]:
    """What to do: its kind and days, and in words."""
    return [
        {
            "kind": type(one).__name__,
            "blocks": list(one.blocks),
            "first": one.first.isoformat() if one.first else None,
            "last": one.last.isoformat() if one.last else None,
            **asdict(text),
        }
        for one, text in zip(result.actions, result.action_texts, strict=True)
    ]


def _diagnostics(result: Result) -> dict[str, Any]:
    """What a consultant looks at before trusting the surface; squares of kg/ha for the variogram."""
    samples, fit = result.stand.samples, _fit(result)
    variogram = empirical_variogram(samples.coords_m, samples.dry_kg_ha) if len(samples) > 1 else None
    further = shapely.get_coordinates(
        to_lonlat(shapely.MultiPoint(result.stand.next_samples_m), result.field.crs)
    )
    return {
        "leave_one_out": [
            {
                "sample": label,
                "weighed_kg_ha": rounded_rate(fit.loo_observed[k]),
                "predicted_kg_ha": rounded_rate(fit.loo_predicted[k]),
                "se_kg_ha": rounded_rate(fit.loo_se[k]),
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


def verdict_figures(verdict: Verdict, units: UnitSystem) -> dict[str, Any]:
    """The verdict, with what comes of the zones and of each flat rate; nitrogen over stands beside the money."""
    told: dict[str, Any] = {
        "answer": verdict.answer,
        "text": verdict_text(verdict, units),
        "change": change_text(verdict),
        "binds": verdict.binds,
        "vary": verdict.vary,
        "more_samples": verdict.more_samples,
        "chance": round(verdict.chance, 3),
        "misplaced_n_zones_kg_ha": rounded_rate(verdict.misplaced_zones_kg_ha),
        "misplaced_n_flat_kg_ha": rounded_rate(verdict.misplaced_flat_kg_ha),
        "ways": [_outcome(one) for one in verdict.outcomes],
    }
    if verdict.gain_money_ha is not None and verdict.rate_without_insurance_kg_ha is not None:
        told["money_saved_ha"] = round(verdict.gain_money_ha, 2)
        told["cost_money_ha"] = verdict.cost_money_ha
        told["rate_n_without_insurance_kg_ha"] = rounded_rate(verdict.rate_without_insurance_kg_ha)
    return told


def _outcome(one: Outcome) -> dict[str, Any]:
    told: dict[str, Any] = {
        "spread": one.name,
        "rate_n_kg_ha": rounded_rate(one.rate_n_kg_ha),
        "n_short_kg": round(one.short_n_kg, 1),
        "n_over_kg": round(one.over_n_kg, 1),
        "area_off_percent": round(100 * one.off_share, 1),
    }
    if one.money_lost_ha is not None:
        told["money_lost_ha"] = round(one.money_lost_ha, 2)
    if one.zones_better is not None:
        told["chance_zones_better"] = round(one.zones_better, 3)
    return told


def _stages(course: StageCourse, text: str) -> dict[str, Any]:
    """One cover crop across its growth stages, the mean stand."""
    return {
        "cover_crop": " and ".join(course.cover.species),
        "blocks": list(course.blocks),
        "stage": course.stages[course.now].stage,
        "text": text,
        "mark": agronomy.weakest_mark(STAGE_SOURCES),
        "stages": [
            {
                "stage": stage.stage,
                "days": stage.days,
                "biomass_kg_ha": rounded_rate(stage.biomass_kg_ha),
                "nitrogen_pct": round(stage.nitrogen_pct, 3),
                "total_n_kg_ha": rounded_rate(stage.total_kg_ha),
                "available_n_kg_ha": rounded_rate(stage.available_kg_ha),
                "available_n_same_biomass_kg_ha": rounded_rate(stage.same_biomass_kg_ha),
            }
            for stage in course.stages
        ],
    }


def write_figures(result: Result, _one: ApplicationMap, path: Path) -> None:
    """Write result.json."""
    path.write_text(
        json.dumps(figures(result), indent=1, ensure_ascii=False, allow_nan=False) + "\n", encoding="utf-8"
    )
