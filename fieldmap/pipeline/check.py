"""Everything that is wrong with a plan folder, at once, without writing."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fieldmap.advice import refuse_impossible_dates, refuse_unknown_blocks
from fieldmap.budget import credits_of, sidedress_calls
from fieldmap.errors import InputError
from fieldmap.field import build_field
from fieldmap.pipeline.survey import covariates_of
from fieldmap.read import inputs_told, read_inputs, read_plan
from fieldmap.spreader import product_rates_kg_ha
from fieldmap.stand import follow_samplings, growth_since, nitrogen_of_samples, place_samples

if TYPE_CHECKING:
    from pathlib import Path
    from typing import Any

    from fieldmap.errors import Problem
    from fieldmap.plan import Plan


def check(path: Path) -> str:
    """Look at a plan and all its files; a sentence when all is well.

    Raises
    ------
    InputError
        With every problem of plan.toml, and of the files it names as far as it can be understood.
    """
    problems: list[Problem] = []
    plan, files = None, None
    try:
        plan = read_plan(path)
        files = plan.inputs()
    except InputError as error:
        problems += error.places
        files = inputs_told(path)
    try:
        if files is not None:
            _check_files(files, plan)
    except InputError as error:
        problems += [problem for problem in error.places if problem not in problems]
    if problems or plan is None:
        raise InputError(*problems)
    return f"{plan.name}: the plan and its files are in order."


def _check_files(files: dict[str, Any], plan: Plan | None) -> None:
    """As `run` begins; what depends on the plan is left out where that could not be read."""
    inputs = read_inputs(**files)
    cell_m = plan.field.cell_m if plan else None
    field = build_field(
        inputs.boundary,
        inputs.no_spread,
        cell_m=cell_m,
        file=files["boundary"],
        no_spread_file=files.get("no_spread") or "",
    )
    if plan is None:
        place_samples(inputs.samples, field)
        return
    product_rates_kg_ha(plan.spreader)
    refuse_unknown_blocks(plan, field)
    covariates_of(plan, field)
    samples = place_samples(inputs.samples, field)
    refuse_impossible_dates(plan, field, samples)
    nitrogen = nitrogen_of_samples(samples, plan, field)
    samplings = follow_samplings(samples, nitrogen, plan, field)
    sidedress_calls(plan, field)
    for block in field.blocks:
        growth_since(samplings, plan, block.name)
        credits_of(plan, block.name, field, inputs.weather)
