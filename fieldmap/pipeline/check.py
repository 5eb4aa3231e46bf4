"""Everything that is wrong with a plan folder, at once: a run without writing."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fieldmap.errors import InputError
from fieldmap.field import build_field
from fieldmap.pipeline.run import run
from fieldmap.read import inputs_told, read_inputs, read_plan
from fieldmap.stand import place_samples

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path
    from typing import Any

    from fieldmap.pipeline.run import Result
    from fieldmap.plan import Plan


def check(path: Path, *, running: Callable[[Plan], Result] = run) -> Result:
    """Run a plan folder without writing anything; its `warnings` are what a run would warn of.

    `running` may be a run that keeps what it worked out.

    Raises
    ------
    InputError
        With every problem that a run would stop at; of a plan.toml that cannot be read in whole, with those of the
        files it names as far as it can be understood.
    """
    try:
        plan = read_plan(path)
    except InputError as error:
        problems = list(error.places)
        files = inputs_told(path)
        try:
            if files is not None:
                _look_at(files)
        except InputError as other:
            problems += [problem for problem in other.places if problem not in problems]
        raise InputError(*problems) from None
    return running(plan)


def _look_at(files: dict[str, Any]) -> None:
    """Boundary and samples of a plan that is not to be had."""
    inputs = read_inputs(**files)
    field = build_field(inputs.boundary, inputs.no_spread, cell_m=None, file=files["boundary"])
    place_samples(inputs.samples, field)
