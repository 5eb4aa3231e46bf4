"""Repeated samplings over the spring: how the stand grew, and what it may have gained by the time it was ended."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fieldmap.errors import InputError, Problem
from fieldmap.stand.nitrogen import nitrogen_of_samples

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from fieldmap.plan import CoverCrop, SamplesSection
    from fieldmap.stand.nitrogen import SampleNitrogen
    from fieldmap.stand.samples import Samples


@dataclass(frozen=True)
class Sampling:
    """The mean stand on one date, with the standard error of its biomass; nitrogen None where %N is not known."""

    sampled: dt.date
    samples: int
    biomass_kg_ha: float
    biomass_se_kg_ha: float
    total_n_kg_ha: float | None


@dataclass(frozen=True)
class Growth:
    """From the last sampling to the end of the stand: factors on biomass and %N, relative error of the first."""

    days: int
    biomass: float
    nitrogen_pct: float
    error: float


def follow_samplings(
    samples: Samples, nitrogen: SampleNitrogen, covers: Sequence[CoverCrop], *, file: str
) -> tuple[Sampling, ...]:
    """Every sampling of the field, oldest first; empty where there is only one. `covers` follow its blocks."""
    if not samples.earlier:
        return ()
    found = [_mean_stand(one, _nitrogen_pct(one, covers, file)) for one in samples.earlier]
    return (*found, _mean_stand(samples, nitrogen.nitrogen_pct))


def _nitrogen_pct(samples: Samples, covers: Sequence[CoverCrop], file: str) -> NDArray[np.float64] | None:
    """%N of an earlier sampling: each sample's own, or of its own stage; the plan's stage is that of a later day."""
    own = np.isfinite(samples.nitrogen_pct) | np.array([bool(stage) for stage in samples.stage])
    return nitrogen_of_samples(samples, covers, file=file).nitrogen_pct if own.all() else None


def _mean_stand(samples: Samples, nitrogen_pct: NDArray[np.float64] | None) -> Sampling:
    dry = samples.dry_kg_ha
    assert samples.sampled is not None  # noqa: S101 - samples of several dates have one each
    return Sampling(
        samples.sampled,
        len(dry),
        float(dry.mean()),
        float(dry.std(ddof=1) / np.sqrt(len(dry))) if len(dry) > 1 else float(dry.mean()),
        None if nitrogen_pct is None else float((dry * nitrogen_pct).mean() / 100.0),
    )


def growth_since(
    samplings: tuple[Sampling, ...], told: SamplesSection, block: str, ended: dt.date
) -> Growth | None:
    """What a block's stand gained from the last sampling to its end, at the pace of the last two samplings.

    None where `told` does not ask for it: it is never applied unasked. `ended` is the end of the block's stand.

    Raises
    ------
    InputError
        Without two samplings, or where the stand stood longer after the last one than they are apart.
    """
    if told.growth is None:
        return None
    if len(samplings) < 2:
        raise InputError(
            _problem(
                f"{told.file} holds one sampling",
                "samples of at least two dates, in the column sampled, are expected: they show how the stand grows",
                "Add the earlier samples with their dates, or remove growth",
            )
        )
    before, last = samplings[-2:]
    apart = (last.sampled - before.sampled).days
    days = (ended - last.sampled).days
    if days > apart:
        raise InputError(
            _problem(
                f"the cover crop of {block} ended {days} days after the last sampling of {last.sampled}",
                f"at most the {apart} days that the last two samplings are apart are expected",
                "Sample nearer to the end, or remove growth",
            )
        )
    step = max(days, 0) / apart
    biomass = max(0.0, 1.0 + step * (1.0 - before.biomass_kg_ha / last.biomass_kg_ha))
    error = step * float(
        np.hypot(
            before.biomass_se_kg_ha / last.biomass_kg_ha,
            before.biomass_kg_ha * last.biomass_se_kg_ha / last.biomass_kg_ha**2,
        )
    )
    pct = 1.0
    if before.total_n_kg_ha is not None and last.total_n_kg_ha and biomass > 0:
        pct = max(0.0, 1.0 + step * (1.0 - before.total_n_kg_ha / last.total_n_kg_ha)) / biomass
    return Growth(days, biomass, pct, error / biomass if biomass > 0 else 1.0)


def _problem(found: str, expected: str, action: str) -> Problem:
    return Problem("plan.toml", found, expected, action, section="samples", key="growth")
