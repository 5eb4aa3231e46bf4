"""The stand across growth stages: what it holds, what becomes available, and what waiting costs or brings.

%N falls as a stand ages and dry matter grows, so the credit is computed and never read from the stage alone. Both are
carried from the plan's stage, where the stand is known, along the tables of %N and of published growth.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fieldmap import agronomy
from fieldmap.credit.relation import credit_kg_ha
from fieldmap.units import rate_text

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from fieldmap.credit.rule import CreditRule
    from fieldmap.field import Field
    from fieldmap.plan import CoverCrop, Plan
    from fieldmap.stand import Samples, Surface
    from fieldmap.units import UnitSystem


SOURCES = ("stage_memory", "growth_memory")
MATTERS_KG_HA = 1.0  # less than this is neither a cost nor a gain
ROLLS_FROM = ("full bloom", "seed set", "anthesis", "ripe")  # common practice: younger stands grow again


@dataclass(frozen=True)
class Stage:
    """The mean stand at one stage; `days` from the stand as sampled, negative before it.

    `available_kg_ha` is the season's credit by the plan's rule, `same_biomass_kg_ha` what it would be if the stand
    had not grown: the effect of %N alone.
    """

    stage: str
    days: float
    biomass_kg_ha: float
    nitrogen_pct: float
    total_kg_ha: float
    available_kg_ha: float
    same_biomass_kg_ha: float


@dataclass(frozen=True)
class StageCourse:
    """One cover crop of the field across its stages: `now` is the position of the plan's stage in `stages`."""

    cover_crop: str
    blocks: tuple[str, ...]
    stages: tuple[Stage, ...]
    now: int
    text: str

    @property
    def best(self) -> int:
        """The stage at which most becomes available."""
        return max(range(len(self.stages)), key=lambda k: self.stages[k].available_kg_ha)


def stage_courses(
    plan: Plan,
    field: Field,
    samples: Samples,
    biomass: Surface,
    nitrogen_pct: Surface,
    rules: Sequence[CreditRule],
) -> tuple[StageCourse, ...]:
    """Every cover crop of the field across its stages; none for one without a stage, or a mixture without shares.

    `rules` follow the field's blocks.
    """
    covers = [plan.cover_crop_of(block.name) for block in field.blocks]
    found = []
    for cover in dict.fromkeys(covers):
        numbers = [number for number, each in enumerate(covers) if each == cover]
        legume_pct = samples.legume_pct[np.isin(samples.block, numbers)]
        legume = float(np.nanmean(legume_pct) / 100.0) if np.isfinite(legume_pct).any() else None
        cells = np.isin(field.block_index, numbers)
        weights = np.maximum(biomass.mean[cells], 1.0)
        stages, now = across_stages(
            cover,
            float(biomass.mean[cells].mean()),
            float(np.average(nitrogen_pct.mean[cells], weights=weights)),
            rules[numbers[0]],
            legume_share=legume,
        )
        if stages:
            blocks = tuple(field.blocks[number].name for number in numbers)
            planted = min(plan.crop_of(block).planted for block in blocks)
            text = waiting_text(stages, now, cover, planted=planted, units=plan.units)
            found.append(StageCourse(" and ".join(cover.species), blocks, stages, now, text))
    return tuple(found)


def across_stages(
    cover: CoverCrop,
    biomass_kg_ha: float,
    nitrogen_pct: float,
    rule: CreditRule,
    *,
    legume_share: float | None = None,
) -> tuple[tuple[Stage, ...], int]:
    """Carry a stand, known at the plan's stage, to every other stage of its species.

    Parameters
    ----------
    cover
        With its stage; without one nothing can be carried.
    biomass_kg_ha, nitrogen_pct
        The mean stand as sampled.
    rule
        How its residue becomes credit.
    legume_share
        Of dry weight, for a mixture; None where not known.

    Returns
    -------
    stages, now
        Empty and 0 where the stage, or a mixture's make-up, is not known.
    """
    if cover.stage is None or (cover.is_mixture and legume_share is None):
        return (), 0
    weights = _species_shares(cover, legume_share)
    main = next((k for k, entry in enumerate(cover.entries) if entry.kind == "legume"), 0)
    names = cover.entries[main].stages
    each_now = cover.species_stages
    now = names.index(each_now[main])
    days = agronomy.growth_of(cover.entries[main]).stage_days
    dry_matter, nitrogen = np.zeros(len(names)), np.zeros(len(names))
    for entry, stage, share in zip(cover.entries, each_now, weights, strict=True):
        own = _stages_beside(entry, stage, names, now, together=len(cover.stage) == 1)
        growth = agronomy.growth_of(entry).dry_matter
        grown = np.array([growth[name] for name in own]) / growth[stage]
        dry_matter += share * grown
        nitrogen += share * grown * np.array([entry.nitrogen_pct[name] for name in own])
    pct = nitrogen / dry_matter
    pct *= nitrogen_pct / pct[now]  # the stand as it was sampled, not as the table has it
    mass = biomass_kg_ha * dry_matter
    available, same = (
        credit_kg_ha(mass, pct, rule),
        credit_kg_ha(np.full_like(mass, biomass_kg_ha), pct, rule),
    )
    return tuple(
        Stage(
            name,
            (k - now) * days,
            float(mass[k]),
            float(pct[k]),
            float(mass[k] * pct[k] / 100.0),
            float(available[k]),
            float(same[k]),
        )
        for k, name in enumerate(names)
    ), now


def _species_shares(cover: CoverCrop, legume_share: float | None) -> NDArray[np.float64]:
    """Share of each species in dry weight: legumes share theirs evenly, and so do the others."""
    legumes = np.array([entry.kind == "legume" for entry in cover.entries])
    if legume_share is None or legumes.all() or not legumes.any():
        return np.full(len(legumes), 1.0 / len(legumes))
    return np.asarray(
        np.where(legumes, legume_share / legumes.sum(), (1.0 - legume_share) / (~legumes).sum())
    )


def _stages_beside(
    entry: agronomy.CoverCropEntry, stage: str, names: Sequence[str], now: int, *, together: bool
) -> list[str]:
    """The stage of one species at each stage of the main one."""
    if together and entry.stages != tuple(names):
        return [agronomy.GRASS_STAGE_WITH_LEGUME[name] for name in names]
    shift = entry.stages.index(stage) - now
    return [entry.stages[min(max(k + shift, 0), len(entry.stages) - 1)] for k in range(len(names))]


def waiting_text(
    stages: Sequence[Stage], now: int, cover: CoverCrop, *, planted: dt.date, units: UnitSystem
) -> str:
    """What waiting for a later stage costs or brings, in a few sentences computed from the plan."""
    here, later = stages[now], stages[now + 1 :]
    stand = f"the mean stand of {' and '.join(cover.species)} holds {rate_text(here.total_kg_ha, units)} of nitrogen"
    parts = [f"At {here.stage} {stand}; {_available(here, units)} over the season."]
    for stage in later[:1]:
        when = cover.terminated + dt.timedelta(days=round(stage.days))
        change = _change(stage.available_kg_ha - here.available_kg_ha, units)
        planting = (
            f", after the planting of {planted}: that would have to wait too" if when >= planted else ""
        )
        parts.append(f"Waiting for {stage.stage}, about {stage.days:.0f} days ({when}), {change}{planting}.")
    parts += [
        f"By {stage.stage} it {_change(stage.available_kg_ha - here.available_kg_ha, units)}."
        for stage in later[1:]
    ]
    if cover.ended_by == "rolled" and here.stage not in ROLLS_FROM:
        rolls = next(stage.stage for stage in stages if stage.stage in ROLLS_FROM)
        parts.append(
            f"A stand rolled at {here.stage} grows again: to roll it, wait for {rolls} (common practice, no source)."
        )
    young, old = stages[0], stages[-1]
    parts.append(
        f"For the same dry weight it would be {rate_text(young.same_biomass_kg_ha, units)} at {young.stage} and "
        f"{rate_text(old.same_biomass_kg_ha, units)} at {old.stage}: only growth makes up for the falling %N (stages "
        "and growth from memory, shaped to published trials)."
    )
    return " ".join(parts)


def _available(stage: Stage, units: UnitSystem) -> str:
    if stage.available_kg_ha < 0:
        return f"none becomes available and {rate_text(-stage.available_kg_ha, units)} more are tied up"
    return f"{rate_text(stage.available_kg_ha, units)} become available"


def _change(change_kg_ha: float, units: UnitSystem) -> str:
    if abs(change_kg_ha) < MATTERS_KG_HA:
        return "changes next to nothing"
    amount = rate_text(abs(change_kg_ha), units)
    return f"brings {amount} more" if change_kg_ha > 0 else f"costs {amount}"
