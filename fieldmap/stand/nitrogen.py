"""What the residue holds: the %N of each sample, mixed by dry weight."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from pydantic import ValidationError

from fieldmap import agronomy
from fieldmap.errors import InputError, Problem, WrongValueError, counted_problem
from fieldmap.plan import CoverCrop
from fieldmap.plan import keys as known_keys

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from fieldmap.stand.samples import Samples


_LIMITS = agronomy.values_of("nitrogen")
SE_LEGUME_PCT, SE_OTHER_PCT = _LIMITS["se_legume_pct"], _LIMITS["se_other_pct"]
SE_LABORATORY_PCT = _LIMITS["se_laboratory_pct"]
SE_NODULES_UNKNOWN_PCT = _LIMITS["se_nodules_unknown_pct"]
AS_RECEIVED_PCT, WEEDS_MATTER_PCT = _LIMITS["as_received_pct"], _LIMITS["weeds_matter_pct"]
VARIES_PCT = 0.05  # less spread than this between samples is one value for the field


@dataclass(frozen=True)
class SampleNitrogen:
    """Shoot nitrogen of each sample, % of dry matter, shape (n,), mixed by dry weight.

    `se_pct` is the standard error, shared by all samples, of a value not measured sample by sample (0 where
    it is); `unmixed` says that a mixture or weedy stand has one %N for the whole field, so that the map
    cannot know where the grass or the weeds make the mass.
    """

    nitrogen_pct: NDArray[np.float64]
    se_pct: float
    unmixed: bool
    sources: tuple[str, ...]
    warnings: tuple[str, ...]

    @property
    def varies(self) -> bool:
        """Whether the samples differ enough for a map of %N to mean something."""
        return bool(np.ptp(self.nitrogen_pct) > VARIES_PCT)


class _UnknownNitrogenError(Exception):
    """The %N of a sample cannot be known."""

    def __init__(self, found: str, expected: str, action: str) -> None:
        self.found, self.expected, self.action = found, expected, action
        super().__init__(found, expected, action)


def nitrogen_of_samples(samples: Samples, covers: Sequence[CoverCrop], *, file: str) -> SampleNitrogen:
    """%N of each sample: its own, else its cover crop's, else the table's, mixed by dry weight.

    `covers` follow the field's blocks; `file` is where the samples stand.

    Raises
    ------
    InputError
        Where a sample's %N cannot be known: a mixture without shares, no stage, nodules few or white.
    """
    found = samples.nitrogen_pct.copy()
    missing = np.nonzero(np.isnan(found))[0]
    sources: list[str] = ["your_value"] if len(missing) < len(found) else []
    problems: list[Problem] = []
    errors: list[float | None] = []
    unmixed, guessed, legumes = False, False, False
    for i in missing:
        of_block = covers[samples.block[i]]
        legume_pct, weed_pct = float(samples.legume_pct[i]), float(samples.weed_pct[i])
        try:
            cover_crop = _with_own(of_block, samples.species[i], samples.stage[i])
            found[i], keys = _mixed_nitrogen_pct(cover_crop, legume_pct, weed_pct)
        except _UnknownNitrogenError as fault:
            problems.append(
                counted_problem(
                    file, samples.place, samples.number[i], fault.found, fault.expected, fault.action
                )
            )
            continue
        sources += [key for key in keys if key not in sources]
        one_value = cover_crop.nitrogen_pct is not None
        errors.append(cover_crop.nitrogen_error_pct)
        legumes |= cover_crop.has_legume
        others_pct = np.nanmax([weed_pct, 0.0 if cover_crop.is_mixture else 100.0 - legume_pct, 0.0])
        guessed |= not one_value and cover_crop.nodules == "not checked" and cover_crop.has_legume
        unmixed |= one_value and (cover_crop.is_mixture or others_pct > WEEDS_MATTER_PCT)
    if problems:
        raise InputError(*problems)
    doubtful = _as_received(found, samples, covers, file)
    if len(missing) == 0:
        return SampleNitrogen(found, 0.0, unmixed=False, sources=tuple(sources), warnings=doubtful)
    stage_note = (
        "The growth stage of the grass was taken from the legume's, from memory. "
        "To set it, give one stage for each species, in the same order."
    )
    nodules_note = (
        "Nodules were not checked: without working (pink) nodules a legume holds less nitrogen than the table says, "
        f"so its %N is taken with a standard error of {SE_NODULES_UNKNOWN_PCT} instead of {SE_LEGUME_PCT} (from "
        "memory). Dig up a few plants, or have the residue analysed."
    )
    table = any(key != "your_value" for key in sources)
    of_table = SE_LEGUME_PCT if legumes else SE_OTHER_PCT
    se_pct = SE_NODULES_UNKNOWN_PCT if guessed else of_table if table else SE_LABORATORY_PCT
    keys = ("nitrogen_error_memory", *(("nodules_memory",) if guessed else ()))
    own_errors = [error for error in errors if error is not None]
    if own_errors:
        se_pct, keys, guessed = max(own_errors), ("your_value",), False
    return SampleNitrogen(
        found,
        se_pct,
        unmixed=unmixed,
        sources=tuple(dict.fromkeys((*sources, *keys))),
        warnings=(
            *doubtful,
            *((stage_note,) if "grass_stage_with_legume" in sources else ()),
            *((nodules_note,) if guessed else ()),
        ),
    )


def _as_received(
    nitrogen_pct: NDArray[np.float64], samples: Samples, covers: Sequence[CoverCrop], file: str
) -> tuple[str, ...]:
    """Ask of a legume below 1 %N whether the value is of the fresh stand, as received by the laboratory."""
    low = []
    for i in np.nonzero(nitrogen_pct < AS_RECEIVED_PCT)[0]:
        own = (samples.species[i],) if samples.species[i] else None
        species = own or covers[samples.block[i]].species
        entries = [agronomy.find(name, agronomy.cover_crops()) for name in species]
        if all(entry is not None and entry.kind == "legume" for entry in entries):
            low.append(
                (f"{samples.place} {samples.number[i]}", float(nitrogen_pct[i]), " and ".join(species))
            )
    if not low:
        return ()
    place, pct, species_text = low[0]
    more = f" and {len(low) - 1} more" if len(low) > 1 else ""
    question = (
        f"{file}, {place}{more}: {species_text} at {pct:g} %N is less than any legume holds in its dry "
        "matter. Is the value as received, of the fresh stand? The laboratory's value on dry matter is expected."
    )
    return (question,)


def _with_own(cover_crop: CoverCrop, species: str, stage: str) -> CoverCrop:
    """The block's cover crop, with the sample's own species and stage where it has them."""
    own: dict[str, str | None] = {key: text for key, text in (("species", species), ("stage", stage)) if text}
    if not own:
        return cover_crop
    if species and agronomy.find(species, agronomy.cover_crops()) is not None:
        own["kind"] = None  # the table knows it
    measured = ("tarped_d", "nitrogen_error_pct", "weed_nitrogen_pct")
    try:
        checked = CoverCrop.model_validate(
            {**cover_crop.model_dump(exclude={*measured, "nitrogen_pct"}), **own}
        )
        return checked.model_copy(update={name: getattr(cover_crop, name) for name in measured})
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        fault = known_keys.wrong_value(first) or WrongValueError(first["msg"])
        expected = fault.expected or "a known species and stage are expected"
        raise _UnknownNitrogenError(fault.found, expected, "Correct the sample") from None


def _mixed_nitrogen_pct(
    cover_crop: CoverCrop, legume_pct: float, weed_pct: float
) -> tuple[float, tuple[str, ...]]:
    """%N of a clipping from the plan or the table, and its sources."""
    if cover_crop.nitrogen_pct is not None:
        return cover_crop.nitrogen_pct, ("your_value",)
    if cover_crop.nodules == "few or white":
        raise _UnknownNitrogenError(
            "the nodules are few or white and no laboratory %N is given",
            "a legume without working nodules holds less nitrogen than the table says",
            "Have the residue analysed and give nitrogen",
        )
    unlisted = [entry.name for entry in cover_crop.entries if not entry.nitrogen_pct]
    if unlisted:
        raise _UnknownNitrogenError(
            f"{unlisted[0]} is a species of your own and no laboratory %N is given",
            "the table has no %N for it: nitrogen_pct of the sample or [cover_crop] nitrogen is expected",
            "Have the residue analysed",
        )
    if cover_crop.table_nitrogen_pct is None:
        raise _UnknownNitrogenError(
            "neither a laboratory %N nor a growth stage is known",
            "nitrogen_pct of the sample, [cover_crop] nitrogen or [cover_crop] stage is expected",
            "Give one of them",
        )
    by_kind: dict[str, list[float]] = {}
    for entry, nitrogen_pct in zip(cover_crop.entries, cover_crop.table_nitrogen_pct, strict=True):
        by_kind.setdefault("legume" if entry.kind == "legume" else "other", []).append(nitrogen_pct)
    if len(by_kind) > 1 and np.isnan(legume_pct):
        raise _UnknownNitrogenError(
            f"a mixture of {' and '.join(cover_crop.species)} has neither %N nor legume_pct",
            "the %N of a mixture is mixed by dry weight",
            "Give nitrogen_pct or legume_pct for the sample, or [cover_crop] nitrogen",
        )
    weeds = 0.0 if np.isnan(weed_pct) else weed_pct / 100.0
    if "other" not in by_kind and np.isfinite(legume_pct):
        weeds = max(weeds, 1.0 - legume_pct / 100.0)  # in a stand of legumes all else is weeds
    legume = legume_pct / 100.0 if len(by_kind) > 1 else (1.0 - weeds) * ("legume" in by_kind)
    shares = {"legume": legume, "other": 1.0 - weeds - legume}
    mixed = sum(shares[kind] * float(np.mean(values)) for kind, values in by_kind.items())
    weed_pct_n = cover_crop.weed_nitrogen_pct or _LIMITS["weed_pct"]
    weed_key = "weed_memory" if cover_crop.weed_nitrogen_pct is None else "your_value"
    return mixed + weeds * weed_pct_n, (
        *dict.fromkeys(entry.source for entry in cover_crop.entries),
        *((weed_key,) if weeds > 0 else ()),
        *(("grass_stage_with_legume",) if cover_crop.grass_stage_assumed else ()),
    )
