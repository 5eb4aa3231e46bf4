"""The credit of each cell, and joint draws of it for the means of zones."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fieldmap.credit.figures import CREDIT
from fieldmap.credit.relation import break_even_se_kg_ha, credit_kg_ha, credit_se_kg_ha, release_error
from fieldmap.credit.rule import grown, of_stand
from fieldmap.stand import draw

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from fieldmap.credit.rule import CreditRule
    from fieldmap.field import Field
    from fieldmap.stand import Growth, Strata, Surface


# Enough to make the standard error of a zone's mean good to a few per cent, few enough to take no time.
DRAWS, POINTS, POINTS_MIN, DRAW_SEED = 800, 500, 12, 20_260_504
RELEASE_SEED = 20_260_501


@dataclass(frozen=True)
class CreditMap:
    """Expected credit of every cell, raster (rows, columns), NaN outside.

    `se_kg_ha` is its standard error, sampling, release and break-even together; `release_error` the relative
    standard error of the release fraction and `break_even_se_kg_ha` the standard error from where the break-even
    lies, each shared by all cells of a block and by all blocks.
    """

    credit_kg_ha: NDArray[np.float64]
    se_kg_ha: NDArray[np.float64]
    release_error: NDArray[np.float64]
    break_even_se_kg_ha: NDArray[np.float64]


@dataclass(frozen=True)
class CreditDraws:
    """Joint draws of the credit at points of the field.

    `row` and `column` (points,) are the cells of the points, `cells` (points,) how many cells each stands
    for. `credit_kg_ha` (points, draws) is what sampling leaves open, at the expected release; in
    `all_doubt_kg_ha` (points, draws) release and break-even are drawn too, one draw for all places.
    """

    row: NDArray[np.int64]
    column: NDArray[np.int64]
    cells: NDArray[np.float64]
    credit_kg_ha: NDArray[np.float64]
    all_doubt_kg_ha: NDArray[np.float64]


def map_credit(
    biomass: Surface, nitrogen: Surface, *, block_index: NDArray[np.int16], rules: Sequence[CreditRule]
) -> CreditMap:
    """Credit of every cell by the rule of its block, from biomass (kg/ha) and %N."""
    credit, se, of_release, of_break_even = (np.full(block_index.shape, np.nan) for _ in range(4))
    for number, rule in enumerate(rules):
        cells = block_index == number
        biomass_kg_ha, nitrogen_pct = biomass.mean[cells], nitrogen.mean[cells]
        credit[cells] = credit_kg_ha(biomass_kg_ha, nitrogen_pct, rule)
        se[cells] = credit_se_kg_ha(biomass_kg_ha, biomass.se[cells], nitrogen_pct, nitrogen.se[cells], rule)
        of_release[cells] = release_error(nitrogen_pct, rule)
        of_break_even[cells] = break_even_se_kg_ha(biomass_kg_ha, nitrogen_pct, rule)
    return CreditMap(credit, se, of_release, of_break_even)


def rules_of_stand(
    rules: Sequence[CreditRule],
    growths: Sequence[Growth | None],
    biomass: Surface,
    nitrogen: Surface,
    *,
    block_index: NDArray[np.int16],
) -> list[CreditRule]:
    """The rule of each block by its own stand: with what grew since sampling, and nothing of one that failed."""
    found = []
    for number, (rule, growth) in enumerate(zip(rules, growths, strict=True)):
        cells = block_index == number
        later = grown(rule, growth)
        biomass_kg_ha, nitrogen_pct = biomass.mean[cells], nitrogen.mean[cells]
        found.append(
            of_stand(
                later,
                float(biomass_kg_ha.mean()) * later.growth,
                float(np.average(nitrogen_pct, weights=np.maximum(biomass_kg_ha, 1.0))) * later.dilution,
                float(credit_kg_ha(biomass_kg_ha, nitrogen_pct, later).mean()),
            )
        )
    return found


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
    credit, all_doubt = np.empty_like(drawn[0]), np.empty_like(drawn[0])
    by_release, by_break_even = np.random.default_rng(RELEASE_SEED).standard_normal((2, DRAWS))
    for number, rule in enumerate(rules):
        of_block = block == number
        biomass_kg_ha, nitrogen_pct = drawn[0][of_block], drawn[1][of_block]
        credit[of_block] = credit_kg_ha(biomass_kg_ha, nitrogen_pct, rule)
        off_kg_mg = rule.break_even_sd_kg_mg * by_break_even
        all_doubt[of_block] = credit_kg_ha(
            biomass_kg_ha, nitrogen_pct, rule, off_kg_mg=off_kg_mg
        ) * np.maximum(0.0, 1.0 + release_error(nitrogen_pct, rule) * by_release)
    return CreditDraws(row, column, cells, credit, np.maximum(all_doubt, -CREDIT.tied_up_max_kg_ha))


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
