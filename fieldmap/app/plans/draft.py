"""A plan that is being written: what is there, what is missing, and what is wrong, part by part."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, get_origin

import numpy as np
import pyproj
from shapely import orient_polygons

from fieldmap.app.plans.plan_file import read_told
from fieldmap.app.plans.sample_rows import read_rows
from fieldmap.credit import draw_credit
from fieldmap.errors import InputError
from fieldmap.pipeline import check, courses_of, reckon, run, survey
from fieldmap.plan import Plan, keys, parse
from fieldmap.read import PLAN_FILE, read_boundary, read_no_spread, read_plan, read_samples
from fieldmap.units import area_text, rate_text, rate_unit, shown_rate, whole
from fieldmap.zones import mean_credit

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path
    from typing import Any

    import geopandas as gpd
    import pandas as pd

    from fieldmap.budget import Budget
    from fieldmap.errors import Problem
    from fieldmap.pipeline import Result
    from fieldmap.stand import Stand
    from fieldmap.units import UnitSystem
    from fieldmap.verdict import DrawnMap


State = Literal["empty", "needs a look", "ready"]

BOUNDARY, SAMPLES, STAND, CROP, OTHER, SPREADER = PARTS = (
    "Boundary",
    "Samples",
    "Cover crop",
    "Crop and need",
    "Other nitrogen",
    "Spreader",
)
# Sections of plan.toml by the part of the page that asks for them.
_SECTIONS = {
    BOUNDARY: ("field",),
    SAMPLES: ("samples",),
    STAND: ("cover_crop", "credit"),
    CROP: ("crop",),
    OTHER: ("other_credits", "sidedress_test", "soil", "soil_test", "weather"),
    SPREADER: ("spreader", "prices", "response", "strips", "thin_ground", "application"),
}
# Stands in for a machine that is not described yet; the field's average does not depend on it.
_ANY_SPREADER = {
    "product": "urea",
    "swath": "12 m",
    "rate_step": "10 kg/ha",
    "rate_min": "0 kg/ha",
    "rate_max": "1000 kg/ha",
    "zones_max": 1,
    "zone_min": "0.1 ha",
}


@dataclass(frozen=True)
class Part:
    """One of the six parts of a plan."""

    title: str
    state: State
    problems: tuple[Problem, ...]


@dataclass(frozen=True)
class Draft:
    """A plan under work, as far as it can be read.

    `told` is empty where plan.toml is not TOML or has something else where a section belongs; `plan` is None until
    nothing is wrong; `rows` is the sample table as text and `row_problems` what is wrong by its row.
    """

    told: dict[str, Any]
    plan: Plan | None
    parts: tuple[Part, ...]
    other_problems: tuple[Problem, ...]
    boundary: gpd.GeoDataFrame | None
    no_spread: gpd.GeoDataFrame | None
    rows: pd.DataFrame | None
    row_problems: dict[int, str]

    @property
    def ready(self) -> bool:
        """Whether it can be run."""
        return self.plan is not None

    @property
    def blocks(self) -> list[str]:
        """Names of the blocks, once there is a boundary."""
        return [] if self.boundary is None else list(self.boundary["block"])


def told_of(folder: Path) -> dict[str, Any]:
    """What plan.toml says; empty where it is not TOML or has something else where a section belongs."""
    try:
        told = read_told(folder)
    except InputError:
        return {}
    return told if _is_of_sections(told) else {}


def look_over(folder: Path, *, running: Callable[[Plan], Result] = run) -> Draft:
    """Read a plan under work and find everything that is wrong with it; never raises for what is wrong.

    `running` may be a run that keeps what it worked out.
    """
    told = told_of(folder)  # what is wrong with the text itself is said again below
    problems = _problems(folder, running)
    field, samples = _section(told, "field"), _section(told, "samples")

    def read(file: object, reader: Callable[[Path], Any]) -> Any:
        """What a reader gives; None where the plan names no file, or one that cannot be read, which is told."""
        if not isinstance(file, str) or not (folder / file).is_file():
            return None
        try:
            return reader(folder / file)
        except InputError as error:
            problems.extend(one for one in error.places if one not in problems)
            return None

    boundary = read(field.get("boundary"), read_boundary)
    no_spread = read(field.get("no_spread"), read_no_spread)
    rows = read(samples.get("file"), lambda path: read_rows(folder, path.name))
    if rows is not None:
        read(samples.get("file"), lambda path: read_samples(path, crs=samples.get("crs")))
    by_part = {title: [one for one in problems if part_of(one, told) == title] for title in PARTS}
    return Draft(
        told=told,
        plan=None if problems else read_plan(folder),
        parts=tuple(
            Part(title, _state(title, told, by_part[title]), tuple(by_part[title])) for title in PARTS
        ),
        other_problems=tuple(one for one in problems if part_of(one, told) is None),
        boundary=boundary,
        no_spread=no_spread,
        rows=rows,
        row_problems=_by_row(problems, str(samples.get("file"))),
    )


def _problems(folder: Path, running: Callable[[Plan], Result]) -> list[Problem]:
    try:
        check(folder, running=running)
    except InputError as error:
        return list(error.places)
    return []


def _is_of_sections(told: dict[str, Any]) -> bool:
    """Whether what a plan holds is tables where sections belong, and blocks by name."""
    for name, field in Plan.model_fields.items():
        value = told.get(field.alias or name)
        if value is None or keys.model_in(field.annotation) is None:
            continue
        several = get_origin(field.annotation) is tuple
        entries = value if several and isinstance(value, list) else [value]
        if not all(isinstance(entry, dict) for entry in entries):
            return False
    blocks = told.get("block", [])
    return isinstance(blocks, list) and all(
        isinstance(block.get("block"), str)
        and all(isinstance(block.get(part, {}), dict) for part in ("crop", "cover_crop"))
        for block in blocks
    )


def _section(told: dict[str, Any], name: str) -> dict[str, Any]:
    section = told.get(name, {})
    return section if isinstance(section, dict) else {}


def _by_row(problems: list[Problem], file: str) -> dict[int, str]:
    """What is wrong with each row of the sample table, in the words of the command line."""
    found: dict[int, list[str]] = {}
    for problem in problems:
        if problem.file == file and problem.row is not None:
            found.setdefault(problem.row, []).append(problem.what)
    return {row: " ".join(dict.fromkeys(texts)) for row, texts in found.items()}


def part_of(problem: Problem, told: dict[str, Any]) -> str | None:
    """The part of the plan that a problem belongs to; None for one of the plan as a whole."""
    if problem.file != PLAN_FILE:
        field, samples, weather = (_section(told, name) for name in ("field", "samples", "weather"))
        covariate = samples.get("covariate", ())
        files = {
            BOUNDARY: (field.get("boundary"), field.get("no_spread")),
            SAMPLES: (samples.get("file"), *([covariate] if isinstance(covariate, str) else covariate)),
            OTHER: (weather.get("file"),),
        }
        return next((title for title, named in files.items() if problem.file in named), None)
    if problem.section == "block":
        return STAND if "cover_crop" in (problem.table, problem.key) else CROP
    return next((title for title, named in _SECTIONS.items() if problem.section in named), None)


def _state(title: str, told: dict[str, Any], problems: list[Problem]) -> State:
    if title == OTHER:
        there = any(told.get(name) for name in _SECTIONS[title])
    else:
        first = _section(told, _SECTIONS[title][0])
        key = {BOUNDARY: "boundary", SAMPLES: "file"}.get(title)
        there = bool(first.get(key) if key else first)
    if not there:
        return "empty"
    return "needs a look" if problems else "ready"


def whereabouts(boundary: gpd.GeoDataFrame, units: UnitSystem) -> str:
    """Size and place of an outline, so that one with latitude and longitude swapped is noticed."""
    shapes = boundary.geometry.to_crs(4326)
    geod = pyproj.Geod(ellps="WGS84")
    area_ha = sum(abs(geod.geometry_area_perimeter(orient_polygons(shape))[0]) for shape in shapes) / 1e4
    west, south, east, north = shapes.total_bounds
    latitude, longitude = (south + north) / 2.0, (west + east) / 2.0
    return (
        f"{area_text(area_ha, units)} at {abs(latitude):.4f}° {'N' if latitude >= 0 else 'S'}, "
        f"{abs(longitude):.4f}° {'E' if longitude >= 0 else 'W'}: is that your field?"
    )


def survey_and_reckon(
    folder: Path, told: dict[str, Any], *, progress: Callable[[str], None] = lambda _: None
) -> tuple[Plan, Stand, Budget]:
    """Stand and budget of a plan of which the first four parts are ready.

    Raises
    ------
    InputError
        Where one of these is not ready.
    """
    known = told if told.get("spreader") else {**told, "spreader": _ANY_SPREADER}
    try:
        plan = parse.parse_plan(known, folder)
    except InputError:
        plan = parse.parse_plan({**told, "spreader": _ANY_SPREADER}, folder)
    stand = survey(plan, progress=progress)
    return plan, stand, reckon(plan, stand, courses_of(plan, stand))


def average_text(stand: Stand, budget: Budget, units: UnitSystem, *, drawn: DrawnMap | None = None) -> str:
    """The field's average, block by block: need, credit with its 90 % interval, other credits, what is left.

    Once a map is `drawn` the credit is that of the ground that it spreads, from the same draws as the zone table's:
    a block that is one zone has one interval.
    """
    field = stand.field
    counted = field.inside if drawn is None else np.isfinite(drawn.zone_map.credit_used_kg_ha)
    if drawn is not None:
        draws = drawn.draws
    else:
        draws = draw_credit(
            stand.biomass,
            stand.nitrogen_pct,
            np.where(counted, field.block_index, -1).astype(np.int64),
            field=field,
            rules=budget.rules,
            strata=stand.strata,
        )
    tested = {call.block for call in budget.sidedress}
    lines = []
    for number, (block, need) in enumerate(zip(field.blocks, budget.needs, strict=True)):
        of_block = field.block_index == number
        cells = of_block & counted
        mean = mean_credit(cells if cells.any() else of_block, budget.credit, draws)
        left = need.need_kg_ha - mean.kg_ha - need.other_credits_kg_ha
        credit, low, high = (whole(shown_rate(value, units)) for value in (mean.kg_ha, *mean.interval))
        lines.append(
            f"{block.name}, {need.crop}: need {rate_text(need.need_kg_ha, units)}, credit from the stand "
            f"{credit} ({low} to {high}) {rate_unit(units)}, other credits "
            f"{rate_text(need.other_credits_kg_ha, units)}, left to spread {rate_text(max(left, 0.0), units)}"
            + (", of it what the nitrate test allows" if block.name in tested else "")
        )
    return "\n".join(lines)
