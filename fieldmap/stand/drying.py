"""Subsamples that were not dry: what is still water in them would be credited as nitrogen."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fieldmap import agronomy
from fieldmap.errors import InputError, counted_problem

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fieldmap.agronomy import CoverCropEntry
    from fieldmap.errors import Problem
    from fieldmap.plan import CoverCrop
    from fieldmap.stand.samples import Samples


_LIMITS = agronomy.values_of("weighing")
_LAST = {
    entry_stages[-1] for entry_stages in agronomy.STAGES.values()
}  # in seed or ripe a stand dries by itself


def most_dry_share(entry: CoverCropEntry) -> float:
    """The largest share of dry in fresh weight that a cover crop can have before it is in seed or ripe.

    Not for a stand in seed, nor for one that is dead: both dry where they stand.

    Parameters
    ----------
    entry
        The cover crop; its kind decides.

    Returns
    -------
    float
        0 to 1; what a subsample holds above it is water.

    References
    ----------
    From memory (drying_memory): 0.35 for legumes and brassicas before seed, 0.45 for cereals before ripe.

    Examples
    --------
    >>> from fieldmap.agronomy import cover_crops, find
    >>> [most_dry_share(find(name, cover_crops())) for name in ("hairy vetch", "cereal rye")]
    [0.35, 0.45]
    """
    return _LIMITS["not_dry_grass" if entry.kind == "grass" else "not_dry_legume"]


def refuse_wet(samples: Samples, covers: Sequence[CoverCrop], *, file: str, dead: bool) -> tuple[str, ...]:
    """Refuse subsamples that cannot have been dry; returns what is doubtful of the others.

    Parameters
    ----------
    samples
        Placed; `dry_share` is NaN where a frame was weighed dry or its biomass given.
    covers
        The cover crop of each of the field's blocks, for samples without a species of their own. Of a mixture, whose
        clipping may hold any of its species, the widest limits count.
    file
        Where the samples stand.
    dead
        Whether they are meant to be of a stand that had ended: such a one dries by itself, and is only warned of.

    Raises
    ------
    InputError
        With a problem for every sample whose subsample still held water.
    """
    problems: list[Problem] = []
    doubts: list[tuple[str, str]] = []
    for i in np.nonzero(np.isfinite(samples.dry_share))[0]:
        entries, ripe = _stand_of(samples, int(i), covers[samples.block[i]])
        share = float(samples.dry_share[i])
        most = max(most_dry_share(entry) for entry in entries)
        upper = max((entry.dry_matter_fraction or (0.0, 1.0))[1] for entry in entries)
        name = " and ".join(entry.name for entry in entries)
        of = f"{name}, the widest of its species," if len(entries) > 1 else name
        if share > most and not (ripe or dead):
            problems.append(
                counted_problem(
                    file,
                    samples.place,
                    samples.number[i],
                    f"subsample_dry_g (or dry_g) is {_percent(share)} of the fresh weight: it still held water",
                    f"at most {_percent(most)} is expected of {of} before it is "
                    f"{'ripe' if _grass(entries) else 'in seed'}",
                    "Weigh again after a night in the oven, at 60 °C until it crackles, or look for swapped columns; "
                    "of a stand that was in seed or ripe give the stage",
                )
            )
        elif share > _LIMITS["doubtful_times"] * upper:
            place = f"{samples.place} {samples.number[i]}"
            text = (
                f"subsample_dry_g (or dry_g) is {_percent(share)} of the fresh weight, and {of} holds as a rule "
                f"{_percent(upper)} at most (from memory): was it dry? Else weigh again after a night in the oven."
            )
            doubts.append((place, text))
    if problems:
        raise InputError(*problems)
    if not doubts:
        return ()
    more = f" and {len(doubts) - 1} more" if len(doubts) > 1 else ""
    return (f"{file}, {doubts[0][0]}{more}: {doubts[0][1]}",)


def _percent(share: float) -> str:
    return f"{100.0 * share:.0f} %"


def _grass(entries: Sequence[CoverCropEntry]) -> bool:
    return any(entry.kind == "grass" for entry in entries)


def _stand_of(samples: Samples, i: int, cover: CoverCrop) -> tuple[tuple[CoverCropEntry, ...], bool]:
    """The species that a clipping may hold, and whether one of them is in seed or ripe."""
    own = agronomy.find(samples.species[i], agronomy.cover_crops()) if samples.species[i] else None
    entries = (own,) if own is not None else cover.entries
    stages = (samples.stage[i],) if samples.stage[i] else (cover.stage or ())
    return entries, bool({stage.strip().lower() for stage in stages} & _LAST)
