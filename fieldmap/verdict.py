"""Varying the rate against one rate a block: nitrogen in the wrong place, and how sure that is."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from fieldmap.need import missing_kg_ha
from fieldmap.spreader import nearest_rate_kg_ha, nitrogen_rate_kg_ha, product_rate_kg_ha, product_rates_kg_ha
from fieldmap.units import rate_text

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from fieldmap.credit import CreditDraws
    from fieldmap.field import Field
    from fieldmap.need import BlockNeed
    from fieldmap.plan import Plan
    from fieldmap.rates import ZoneMap

# Squared error put right, as the nitrogen rate whose square it is: below this a map seldom repays its making.
# Judgement, no source: with 0.25 kg of yield lost per (kg N/ha)², 10 kg N/ha is worth 25 kg of crop a hectare.
MATTERS_KG_HA = 10.0
SURE = 0.8
RELEASE_SEED = 20_260_501


@dataclass(frozen=True)
class FlatRate:
    """One rate for each block: its need less its mean credit, on the product step."""

    product_kg_ha: tuple[float, ...]
    rate_n_kg_ha: tuple[float, ...]
    product_kg: float
    mean_rate_n_kg_ha: float


@dataclass(frozen=True)
class Verdict:
    """Whether varying the rate is worth it, in a word and in a sentence.

    Parameters
    ----------
    misplaced_zones_kg_ha, misplaced_flat_kg_ha
        Nitrogen short and over together, mean of the field, at the expected release.
    gain_kg_ha
        Root of the mean squared error that the zones put right; 0 where they put none right.
    chance
        Share of the joint draws of sampling and release in which the zones' squared error is the smaller.
    """

    answer: Literal["worth it", "not worth it", "cannot tell"]
    text: str
    misplaced_zones_kg_ha: float
    misplaced_flat_kg_ha: float
    gain_kg_ha: float
    chance: float


def flat_rate(
    credit_used_kg_ha: NDArray[np.float64], needs: Sequence[BlockNeed], field: Field, plan: Plan
) -> FlatRate:
    """The rate that each block would get without a map, credited as cautiously as the zones.

    `credit_used_kg_ha` is the raster of the zones' credit, NaN where nothing is spread.
    """
    product = plan.spreader.product_entry
    allowed = product_rates_kg_ha(plan.spreader)
    missing = missing_kg_ha(needs, credit_used_kg_ha, field)
    wanted_n = np.array(
        [max(0.0, _mean(missing[field.block_index == number])) for number in range(len(field.blocks))]
    )
    wanted = product_rate_kg_ha(wanted_n, product)
    product_kg_ha = np.array([nearest_rate_kg_ha(float(rate), allowed) for rate in wanted])
    rate_n_kg_ha = nitrogen_rate_kg_ha(product_kg_ha, product)
    areas_ha = np.array([block.spread_ha for block in field.blocks])
    return FlatRate(
        tuple(product_kg_ha.tolist()),
        tuple(rate_n_kg_ha.tolist()),
        float(product_kg_ha @ areas_ha),
        float(np.average(rate_n_kg_ha, weights=areas_ha)),
    )


def _mean(values: NDArray[np.float64]) -> float:
    """Mean of what is spread; 0 for a block without a cell to spread."""
    finite = values[np.isfinite(values)]
    return float(finite.mean()) if finite.size else 0.0


def judge(
    zone_map: ZoneMap,
    flat: FlatRate,
    draws: CreditDraws,
    release_error: NDArray[np.float64],
    *,
    field: Field,
    needs: Sequence[BlockNeed],
    plan: Plan,
    pattern: bool,
    unmixed: bool,
) -> Verdict:
    """Compare the zones with one rate a block under joint draws of sampling and release.

    Parameters
    ----------
    zone_map, flat
        The two ways of spreading.
    draws
        Joint draws of the credit's sampling error.
    release_error
        Relative standard error of the release fraction, raster (rows, columns).
    field, needs, plan
        The field, the need of each block, the plan.
    pattern
        Whether the samples show one, in biomass or in %N.
    unmixed
        Whether one %N stands for a mixed or weedy stand.
    """
    at = draws.row, draws.column
    spread = np.isfinite(zone_map.rate_n_kg_ha[at])
    block, cells = field.block_index[at][spread], draws.cells[spread]
    zone_rate = zone_map.rate_n_kg_ha[at][spread, None]
    flat_rate_n = np.array(flat.rate_n_kg_ha)[block, None]
    need = np.array([need.need_kg_ha - need.other_credits_kg_ha for need in needs])[block, None]
    recovery = np.array([need.recovery for need in needs])[block, None]
    credit = draws.credit_kg_ha[spread]
    factor = _release_draws(release_error[at][spread], credit.shape[1])
    due = np.maximum(0.0, (need - credit) / recovery)
    due_all_doubt = np.maximum(0.0, (need - credit * factor) / recovery)
    saved = np.average(
        (flat_rate_n - due_all_doubt) ** 2 - (zone_rate - due_all_doubt) ** 2, axis=0, weights=cells
    )
    comparison = _Comparison(
        misplaced_zones_kg_ha=float(np.average(np.abs(zone_rate - due).mean(axis=1), weights=cells)),
        misplaced_flat_kg_ha=float(np.average(np.abs(flat_rate_n - due).mean(axis=1), weights=cells)),
        gain_kg_ha=float(max(0.0, saved.mean()) ** 0.5),
        chance=float((saved > 0).mean()),
    )
    same = bool((zone_rate == flat_rate_n).all())
    answer = _answer(saved, pattern=pattern, unmixed=unmixed)
    text = _text(answer, comparison, plan, pattern=pattern, unmixed=unmixed, same=same)
    return Verdict(answer, text, **asdict(comparison))


@dataclass(frozen=True)
class _Comparison:
    """The numbers of a `Verdict`."""

    misplaced_zones_kg_ha: float
    misplaced_flat_kg_ha: float
    gain_kg_ha: float
    chance: float


def _release_draws(release_error: NDArray[np.float64], draws: int) -> NDArray[np.float64]:
    """Factors on the credit (points, draws): one draw of the release fraction is shared by all places."""
    normal = np.random.default_rng(RELEASE_SEED).standard_normal(draws)
    return np.maximum(0.0, 1.0 + release_error[:, None] * normal)


def _answer(
    saved: NDArray[np.float64], *, pattern: bool, unmixed: bool
) -> Literal["worth it", "not worth it", "cannot tell"]:
    if unmixed or not pattern:
        return "cannot tell"
    matters = MATTERS_KG_HA**2
    if saved.mean() >= matters and (saved > 0).mean() >= SURE:
        return "worth it"
    return "not worth it" if (saved > matters).mean() <= 1 - SURE else "cannot tell"


def _text(answer: str, found: _Comparison, plan: Plan, *, pattern: bool, unmixed: bool, same: bool) -> str:
    if unmixed:
        return (
            "Cannot tell: one nitrogen value stands for a mixed or weedy stand, so the map does not know where "
            "grass or weeds make the mass. Give nitrogen_pct or legume_pct for each sample."
        )
    if not pattern:
        return (
            "Cannot tell: these samples show no pattern that improves on the field average, which does not show "
            "that the field is even. More samples or a covariate would help."
        )
    if same:
        return "Not worth it: on this rate step the zones come to the same rate as one rate a block."
    zones, flat = (
        rate_text(kg_ha, plan.units) for kg_ha in (found.misplaced_zones_kg_ha, found.misplaced_flat_kg_ha)
    )
    chance = f"the chance that varying beats one rate is {_percent(found.chance)}"
    if answer == "worth it":
        return (
            f"Worth it: one rate a block misses the need by {flat} of nitrogen on average, zones by {zones}; "
            f"{chance}."
        )
    if answer == "not worth it":
        return (
            f"Not worth it: one rate a block misses the need by {flat} of nitrogen on average, zones still by "
            f"{zones}; so small a gain seldom repays a map ({chance})."
        )
    return (
        f"Cannot tell from these samples: one rate a block misses the need by {flat} of nitrogen on average, zones "
        f"by {zones}, but what zones gain is about as large as what the samples leave open ({chance}). "
        "More samples, or a covariate, would settle it."
    )


def _percent(share: float) -> str:
    """Whole percent; what draws cannot tell from certainty is not called certain."""
    return "above 99 %" if share > 0.99 else "below 1 %" if share < 0.01 else f"{share * 100:.0f} %"
