"""The stand across growth stages: what it holds, what becomes available, and what waiting costs or brings.

%N falls as a stand ages and dry matter grows, so the credit is computed and never read from the stage alone. Both are
carried from the plan's stage, where the stand is known, along the tables of %N and of published growth.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fieldmap import agronomy
from fieldmap.credit.relation import credit_kg_ha

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from fieldmap.credit.rule import CreditRule
    from fieldmap.field import Field
    from fieldmap.plan import CoverCrop
    from fieldmap.stand import Samples, Surface


SOURCES = ("stage_memory", "growth_memory")


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

    cover: CoverCrop
    blocks: tuple[str, ...]
    stages: tuple[Stage, ...]
    now: int

    @property
    def best(self) -> int:
        """The stage at which most becomes available."""
        return max(range(len(self.stages)), key=lambda k: self.stages[k].available_kg_ha)


def stage_courses(
    covers: Sequence[CoverCrop],
    field: Field,
    samples: Samples,
    biomass: Surface,
    nitrogen_pct: Surface,
    rules: Sequence[CreditRule],
) -> tuple[StageCourse, ...]:
    """Every cover crop of the field across its stages; none for one without a stage, or a mixture without shares.

    `covers` and `rules` follow the field's blocks.
    """
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
            found.append(StageCourse(cover, blocks, stages, now))
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
    known = cover.table_nitrogen_pct is not None
    if cover.stage is None or not known or (cover.is_mixture and legume_share is None):
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
        return [entry.stage_beside(name) for name in names]
    shift = entry.stages.index(stage) - now
    return [entry.stages[min(max(k + shift, 0), len(entry.stages) - 1)] for k in range(len(names))]
