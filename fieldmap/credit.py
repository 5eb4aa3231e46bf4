"""Biomass × %N → plant-available nitrogen for the crop, with its uncertainty.

Only what stands above ground counts: the published relation is on shoots, and adding roots would count
their nitrogen twice.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from fieldmap.interpolate import draw

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from fieldmap.field import Field
    from fieldmap.interpolate import Strata, Surface
    from fieldmap.plan import CoverCrop, Plan

Climate = Literal["warm", "cool"]

# Sullivan & Andrews 2012 (pnw636): 35 lb of available N a short ton of dry matter at 3.5 %N, linear down to
# nothing at 1.5 %N: 17.5 lb/ton, 8.75 kg/Mg, for each 1 %N; never more than half of total N.
RELEASE_KG_MG_PCT = 8.75
BREAK_EVEN_PCT = 1.5
SHARE_MAX = 0.5
# Enough to make the standard error of a zone's mean good to a few per cent, few enough to take no time.
DRAWS, POINTS, POINTS_MIN, DRAW_SEED = 800, 500, 12, 20_260_504
TIED_UP_MAX_KG_HA = 56.0  # pnw636: cereals can hold up to 50 lb/ac
# Sarrantonio & Scott 1988 (sarrantonio1988): recovered from surface against ploughed vetch, 29/56 and 22/55.
SURFACE_FACTOR, SURFACE_FACTOR_SE = 0.46, 0.036  # 0.40 to 0.52 as a 90 % interval
SHARE_INCORPORATED = 0.50  # worksheet
SHARE_SURFACE_WARM, SHARE_SURFACE_COOL = 0.40, 0.25  # worksheet; ucsc: a quarter in a cool climate
WARM_FROM_C, CLIMATE_DAYS = 15.0, 70  # warm_memory: soil at 10 cm, mean of the days from termination


@dataclass(frozen=True)
class CreditRule:
    """How residue becomes credit in one block.

    Parameters
    ----------
    method
        "quality" (from %N) or "share" (a fixed share of total nitrogen).
    factor
        What placement and earlier check strips make of it: the quality credit, or the share, is multiplied
        by it.
    release_error
        Relative standard error of the release fraction, shared by all places of the field.
    sources
        Keys into the table of sources.
    useful
        Share of a credit that comes when the crop can use it; what is tied up counts whole.
    climate
        Whether the default share on the surface is that of a warm or a cool climate; None where it plays no part.
    growth, dilution
        Factors on biomass and %N for what the stand gained between its last sampling and its end.
    """

    method: Literal["quality", "share"]
    factor: float
    release_error: float
    sources: tuple[str, ...]
    useful: float = 1.0
    climate: Climate | None = None
    growth: float = 1.0
    dilution: float = 1.0


def surface_share(soil_c: float | None) -> tuple[float, Climate]:
    """The default share of total nitrogen on the surface, and the climate it is for.

    `soil_c` is the mean soil temperature of the ten weeks from termination, °C; None, not known, counts as warm.

    References
    ----------
    Extension worksheet (0.40); UC Santa Cruz manual (a half in a warm climate, a quarter in a cool one). Neither says
    where warm begins: 15 °C is judgement, from memory.
    """
    cool = soil_c is not None and soil_c < WARM_FROM_C
    return (SHARE_SURFACE_COOL, "cool") if cool else (SHARE_SURFACE_WARM, "warm")


def tilled_share(cover_crop: CoverCrop) -> float:
    """Share of the ground whose residue is tilled in."""
    return {"incorporated": 1.0, "surface": 0.0}.get(cover_crop.placement, cover_crop.tilled_share or 0.0)


def credit_rule(plan: Plan, block: str, *, soil_c: float | None = None) -> CreditRule:
    """The rule of a block, from its cover crop's placement and the plan's [credit].

    `soil_c` is the mean soil temperature of the ten weeks from termination, None where it is not known.
    """
    cover_crop, credit = plan.cover_crop_of(block), plan.credit
    own_error = (credit.release_error_pct / 100.0) ** 2
    error_source = "your_value" if "release_error_pct" in credit.model_fields_set else "release_memory"
    if credit.method == "share" and credit.share is not None:
        return CreditRule(
            "share", credit.share * credit.correction, own_error**0.5, ("your_value", error_source)
        )
    tilled = tilled_share(cover_crop)
    if credit.method == "share":
        on_surface, climate = surface_share(soil_c)
        share = tilled * SHARE_INCORPORATED + (1.0 - tilled) * on_surface
        keys = ("worksheet", error_source, *(("ucsc", "warm_memory") if tilled < 1.0 else ()))
        return CreditRule(
            "share",
            share * credit.correction,
            own_error**0.5,
            keys,
            climate=climate if tilled < 1.0 else None,
        )
    placed = tilled + (1.0 - tilled) * SURFACE_FACTOR
    placement_error = (1.0 - tilled) * SURFACE_FACTOR_SE / placed
    return CreditRule(
        "quality",
        placed * credit.correction,
        (own_error + placement_error**2) ** 0.5,
        ("pnw636", error_source, *(("sarrantonio1988",) if tilled < 1.0 else ())),
    )


def available_kg_mg(nitrogen_pct: NDArray[np.float64]) -> NDArray[np.float64]:
    """Season plant-available nitrogen, kg a Mg of dry matter, from %N of the whole residue.

    Negative below 1.5 %N, where residue ties nitrogen up. A mixture's %N is mixed by dry weight first and
    the relation applied once: adding up the species' own credits would lose what the poor one ties up.

    References
    ----------
    Sullivan & Andrews 2012, PNW 636.
    """
    return np.minimum(
        RELEASE_KG_MG_PCT * (nitrogen_pct - BREAK_EVEN_PCT), SHARE_MAX * total_kg_mg(nitrogen_pct)
    )


def total_kg_mg(nitrogen_pct: NDArray[np.float64]) -> NDArray[np.float64]:
    """Total nitrogen, kg a Mg of dry matter."""
    return 10.0 * nitrogen_pct


def credit_kg_ha(
    biomass_kg_ha: NDArray[np.float64], nitrogen_pct: NDArray[np.float64], rule: CreditRule
) -> NDArray[np.float64]:
    """The season's credit that the crop can use, kg N/ha; negative where residue ties nitrogen up.

    The arrays broadcast against each other.
    """
    biomass_mg_ha, pct = biomass_kg_ha / 1000.0 * rule.growth, nitrogen_pct * rule.dilution
    per_mg = available_kg_mg(pct) if rule.method == "quality" else total_kg_mg(pct)
    whole = np.maximum(biomass_mg_ha * per_mg * rule.factor, -TIED_UP_MAX_KG_HA)
    return np.where(whole > 0, whole * rule.useful, whole)


def credit_se_kg_ha(
    biomass_kg_ha: NDArray[np.float64],
    biomass_se_kg_ha: NDArray[np.float64],
    nitrogen_pct: NDArray[np.float64],
    nitrogen_se_pct: NDArray[np.float64],
    rule: CreditRule,
) -> NDArray[np.float64]:
    """Standard error of a cell's credit: biomass, %N and release fraction together, to first order."""
    credit = credit_kg_ha(biomass_kg_ha, nitrogen_pct, rule)
    unit_credit = credit_kg_ha(np.full_like(biomass_kg_ha, 1000.0), nitrogen_pct, rule) / 1000.0
    step_pct = 0.01
    by_nitrogen = (credit_kg_ha(biomass_kg_ha, nitrogen_pct + step_pct, rule) - credit) / step_pct
    return np.sqrt(
        (unit_credit * biomass_se_kg_ha) ** 2
        + (by_nitrogen * nitrogen_se_pct) ** 2
        + (rule.release_error * credit) ** 2
    )


@dataclass(frozen=True)
class CreditMap:
    """Expected credit of every cell, raster (rows, columns), NaN outside.

    `se_kg_ha` is its standard error, sampling and release together; `release_error` the relative standard
    error of the release fraction, shared by all cells of a block and by all blocks.
    """

    credit_kg_ha: NDArray[np.float64]
    se_kg_ha: NDArray[np.float64]
    release_error: NDArray[np.float64]


@dataclass(frozen=True)
class CreditDraws:
    """Joint draws of the credit at points of the field: what sampling leaves open, at the expected release.

    `row` and `column` (points,) are the cells of the points, `cells` (points,) how many cells each stands
    for, `credit_kg_ha` (points, draws).
    """

    row: NDArray[np.int64]
    column: NDArray[np.int64]
    cells: NDArray[np.float64]
    credit_kg_ha: NDArray[np.float64]


def map_credit(
    biomass: Surface, nitrogen: Surface, *, block_index: NDArray[np.int16], rules: Sequence[CreditRule]
) -> CreditMap:
    """Credit of every cell by the rule of its block, from biomass (kg/ha) and %N."""
    credit, se, release_error = (np.full(block_index.shape, np.nan) for _ in range(3))
    for number, rule in enumerate(rules):
        cells = block_index == number
        biomass_kg_ha, nitrogen_pct = biomass.mean[cells], nitrogen.mean[cells]
        credit[cells] = credit_kg_ha(biomass_kg_ha, nitrogen_pct, rule)
        se[cells] = credit_se_kg_ha(biomass_kg_ha, biomass.se[cells], nitrogen_pct, nitrogen.se[cells], rule)
        release_error[cells] = rule.release_error
    return CreditMap(credit, se, release_error)


def draw_credit(
    biomass: Surface,
    nitrogen: Surface,
    areas: NDArray[np.int64],
    *,
    field: Field,
    rules: Sequence[CreditRule],
    strata: Strata,
) -> CreditDraws:
    """Draw biomass and %N jointly over the field and turn each draw into credit.

    Parameters
    ----------
    biomass, nitrogen
        The two surfaces; their errors are taken as independent.
    areas
        A number for each cell (rows, columns), negative where nothing is spread: each area gets its share of
        the points, small ones not too few.
    field, rules, strata
        The field, the rule of each block, and the strata of the surfaces.
    """
    row, column, cells = _points(areas)
    block = field.block_index[row, column]
    target_strata = strata.of_cells(block)
    drawn = [
        draw(surface, row, column, field.grid, draws=DRAWS, seed=DRAW_SEED + k, target_strata=target_strata)
        for k, surface in enumerate((biomass, nitrogen))
    ]
    credit = np.empty_like(drawn[0])
    for number, rule in enumerate(rules):
        of_block = block == number
        credit[of_block] = credit_kg_ha(drawn[0][of_block], drawn[1][of_block], rule)
    return CreditDraws(row, column, cells, credit)


def _points(
    areas: NDArray[np.int64],
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.float64]]:
    """Cells spread evenly over each area, and how many cells each stands for."""
    numbers, counts = np.unique(areas[areas >= 0], return_counts=True)
    rows, columns, weights = [], [], []
    for number, count in zip(numbers, counts, strict=True):
        points = min(count, max(POINTS_MIN, round(POINTS * count / counts.sum())))
        row, column = np.nonzero(areas == number)
        chosen = np.floor((np.arange(points) + 0.5) * count / points).astype(int)
        rows.append(row[chosen])
        columns.append(column[chosen])
        weights.append(np.full(points, count / points))
    return np.concatenate(rows), np.concatenate(columns), np.concatenate(weights)
