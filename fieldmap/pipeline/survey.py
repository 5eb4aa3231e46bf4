"""The stand: the field, what was clipped on it, and the surfaces of biomass and %N that follow."""

from __future__ import annotations

import hashlib
import json
from typing import TYPE_CHECKING

from fieldmap.advice import refusals
from fieldmap.field import build_field
from fieldmap.read import file_digests, read_covariates, read_inputs
from fieldmap.spreader import throw_m
from fieldmap.stand import (
    Stand,
    cover_strata,
    follow_samplings,
    growth_since,
    map_biomass,
    map_nitrogen,
    nitrogen_of_samples,
    place_samples,
    prepare_covariates,
    refuse_wet,
    where_next,
)

if TYPE_CHECKING:
    from collections.abc import Callable

    import numpy as np
    from numpy.typing import NDArray

    from fieldmap.field import Field
    from fieldmap.plan import Plan


def survey(
    plan: Plan,
    *,
    digests: dict[str, str] | None = None,
    progress: Callable[[str], None] = lambda _: None,
) -> Stand:
    """Read the plan's files and map the stand.

    `digests` are those of its files, where they are known already.

    Raises
    ------
    InputError
        With every problem of the input.
    """
    progress("reading the field and its samples")
    inputs = read_inputs(**plan.inputs())
    field = build_field(
        inputs.boundary,
        inputs.no_spread,
        cell_m=plan.field.cell_m,
        throw_m=throw_m(plan.spreader),
        file=plan.field.boundary,
        no_spread_file=plan.field.no_spread or "",
    )
    refusals.refuse_unknown_blocks(plan, field)
    covers = plan.covers(block.name for block in field.blocks)
    samples = place_samples(inputs.samples, field)
    doubts = refuse_wet(samples, covers, file=plan.samples.file, dead=plan.samples.confirmed)
    nitrogen = nitrogen_of_samples(samples, covers, file=plan.samples.file)
    samplings = follow_samplings(samples, nitrogen, covers, file=plan.samples.file)
    growths = tuple(
        growth_since(samplings, plan.samples, block.name, cover.terminated)
        for block, cover in zip(field.blocks, covers, strict=True)
    )

    progress("mapping the stand")
    strata = cover_strata(covers, samples)
    covariates = prepare_covariates(_covariates_of(plan, field), samples, field, strata)
    biomass = map_biomass(samples, field, strata, covariates)
    return Stand(
        key=stand_key(plan, file_digests(plan) if digests is None else digests),
        field=field,
        weather=inputs.weather,
        samples=samples,
        nitrogen=nitrogen,
        samplings=samplings,
        growths=growths,
        strata=strata,
        biomass=biomass,
        nitrogen_pct=map_nitrogen(samples, nitrogen, field, strata),
        next_samples_m=where_next(biomass, field, strata),
        file_warnings=(*inputs.warnings, *doubts),
        map_warnings=(*strata.warnings, *covariates.warnings),
    )


def stand_key(plan: Plan, digests: dict[str, str]) -> str:
    """A fingerprint of all that a stand depends on: field, samples, cover crops, the reach of the machine, files."""
    told = {
        "field": plan.field.model_dump(mode="json"),
        "samples": plan.samples.model_dump(mode="json"),
        "cover crop": plan.cover_crop.model_dump(mode="json"),
        "blocks": {own.block: own.cover_crop.model_dump(mode="json") for own in plan.block},
        "throw": throw_m(plan.spreader),
        "files": digests,
    }
    return hashlib.sha256(json.dumps(told, sort_keys=True).encode()).hexdigest()


def _covariates_of(plan: Plan, field: Field) -> dict[str, NDArray[np.float64]]:
    """The plan's covariate rasters on the field's grid."""
    grid = field.grid
    return read_covariates(
        plan.folder, plan.samples.covariate, crs=field.crs, transform=grid.transform, shape=grid.shape
    )
