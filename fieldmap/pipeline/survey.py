"""The stand: the field, what was clipped on it, and the surfaces of biomass and %N that follow."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fieldmap.advice import refuse_impossible_dates, refuse_unknown_blocks
from fieldmap.field import build_field
from fieldmap.read import read_covariates, read_inputs
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
    where_next,
)

if TYPE_CHECKING:
    from collections.abc import Callable

    import numpy as np
    from numpy.typing import NDArray

    from fieldmap.field import Field
    from fieldmap.plan import Plan


def survey(plan: Plan, *, progress: Callable[[str], None] = lambda _: None) -> Stand:
    """Read the plan's files and map the stand.

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
    refuse_unknown_blocks(plan, field)
    samples = place_samples(inputs.samples, field)
    refuse_impossible_dates(plan, field, samples)
    nitrogen = nitrogen_of_samples(samples, plan, field)
    samplings = follow_samplings(samples, nitrogen, plan, field)
    growths = {block.name: growth_since(samplings, plan, block.name) for block in field.blocks}

    progress("mapping the stand")
    strata = cover_strata(plan, field, samples)
    covariates = prepare_covariates(covariates_of(plan, field), samples, field, strata)
    biomass = map_biomass(samples, field, strata, covariates)
    return Stand(
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
        file_warnings=inputs.warnings,
        map_warnings=(
            *strata.warnings,
            *covariates.warnings,
            *(message for message in (biomass.message,) if message),
        ),
    )


def covariates_of(plan: Plan, field: Field) -> dict[str, NDArray[np.float64]]:
    """The plan's covariate rasters on the field's grid."""
    grid = field.grid
    return read_covariates(
        plan.folder, plan.samples.covariate, crs=field.crs, transform=grid.transform, shape=grid.shape
    )
