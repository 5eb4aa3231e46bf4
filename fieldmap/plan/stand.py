"""[field], [samples], [cover_crop] and [credit]: the field, what was clipped, and what stood there."""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Any, Literal, Self

from pydantic import Field, field_validator, model_validator

from fieldmap import agronomy
from fieldmap.errors import WrongValueError
from fieldmap.plan.quantities import Days, FileName, Length, Percent, Section


class FieldSection(Section):
    """[field]."""

    boundary: FileName
    no_spread: FileName | None = None
    cell_m: Annotated[Length, Field(gt=0)] | None = Field(None, alias="cell")


class SamplesSection(Section):
    """[samples]."""

    file: FileName
    sampled: dt.date | None = None
    confirmed: bool = False
    covariate: tuple[FileName, ...] = ()
    crs: str | None = None
    growth: Literal["from samplings"] | None = None

    @field_validator("covariate", mode="before")
    @classmethod
    def _one_or_several(cls, found: Any) -> Any:
        return (found,) if isinstance(found, str) else found


# Mature rye straw holds some 0.4 % (from memory); below that a share was meant: 0.032 for 3.2 %.
NITROGEN_MIN_PCT = 0.3


class CoverCrop(Section):
    """[cover_crop], or what [[block]] makes of it for one block."""

    species: tuple[str, ...] = Field(min_length=1)
    stage: tuple[str, ...] | None = None
    nitrogen_pct: Annotated[Percent, Field(ge=NITROGEN_MIN_PCT, le=8)] | None = Field(None, alias="nitrogen")
    nitrogen_error_pct: Annotated[Percent, Field(le=3)] | None = Field(None, alias="nitrogen_error")
    weed_nitrogen_pct: Annotated[Percent, Field(ge=NITROGEN_MIN_PCT, le=8)] | None = Field(
        None, alias="weed_nitrogen"
    )
    nodules: Literal["pink", "few or white", "not checked"] = "not checked"
    sown: dt.date | None = None
    terminated: dt.date
    ended_by: Literal["tilled", "mown", "rolled", "sprayed", "tarped", "frost", "removed"]
    placement: Literal["incorporated", "surface", "strip-tilled"]
    tilled_share: float | None = Field(None, gt=0, lt=1)
    residue: Literal["chopped", "whole"] = "whole"
    tarped_d: Days = Field(0.0, alias="tarped")

    @field_validator("species", "stage", mode="before")
    @classmethod
    def _one_or_several(cls, found: Any) -> Any:
        return (found,) if isinstance(found, str) else found

    @field_validator("species")
    @classmethod
    def _known(cls, species: tuple[str, ...]) -> tuple[str, ...]:
        entries = [agronomy.find(name, agronomy.cover_crops()) for name in species]
        for name, entry in zip(species, entries, strict=True):
            if entry is None:
                raise WrongValueError(f'found "{name}"', agronomy.nearest(name, agronomy.cover_crops()))
        return tuple(entry.name for entry in entries if entry is not None)

    @model_validator(mode="before")
    @classmethod
    def _ended_as_placed(cls, told: Any) -> Any:
        """Without ended_by, residue that is tilled in was ended by tilling, other residue by mowing."""
        if not isinstance(told, dict) or told.get("ended_by") is not None:
            return told
        return {**told, "ended_by": "tilled" if told.get("placement") == "incorporated" else "mown"}

    @model_validator(mode="after")
    def _ending_fits(self) -> Self:
        if self.ended_by == "tilled" and self.placement == "surface":
            raise WrongValueError(
                'found ended_by = "tilled" with placement = "surface"',
                "tilled residue does not lie on the surface: "
                'placement = "incorporated", or mown, rolled, sprayed, tarped or frost is expected',
            )
        return self

    @model_validator(mode="after")
    def _stage_fits(self) -> Self:
        if self.placement == "strip-tilled" and self.tilled_share is None:
            raise WrongValueError(
                "tilled_share is missing",
                'with placement "strip-tilled" the share of the ground that is '
                "tilled is expected, such as tilled_share = 0.3",
            )
        if self.stage is None:
            return self
        if len(self.stage) not in (1, len(self.species)):
            raise WrongValueError(
                f"found {len(self.stage)} stages for {len(self.species)} species",
                "one stage, or one for each species in the same order, is expected",
            )
        for position, entry in enumerate(self.entries):
            self._stage_of(position, entry)
        return self

    @property
    def entries(self) -> tuple[agronomy.CoverCropEntry, ...]:
        """The rows of the cover-crop table for its species."""
        found = (agronomy.find(name, agronomy.cover_crops()) for name in self.species)
        return tuple(entry for entry in found if entry is not None)

    @property
    def is_mixture(self) -> bool:
        """Whether a legume and another kind stand together."""
        return len({entry.kind == "legume" for entry in self.entries}) > 1

    @property
    def has_legume(self) -> bool:
        """Whether a legume stands in it."""
        return any(entry.kind == "legume" for entry in self.entries)

    @property
    def table_nitrogen_pct(self) -> tuple[float, ...] | None:
        """%N of each species at its stage, from the table; None where no stage is given."""
        if self.stage is None:
            return None
        return tuple(
            entry.nitrogen_pct[stage] for entry, stage in zip(self.entries, self.species_stages, strict=True)
        )

    @property
    def species_stages(self) -> tuple[str, ...]:
        """The stage of each species; empty where no stage is given."""
        if self.stage is None:
            return ()
        return tuple(self._stage_of(position, entry) for position, entry in enumerate(self.entries))

    @property
    def grass_stage_assumed(self) -> bool:
        """Whether a grass's stage was inferred from the legume's."""
        return any(stage not in (self.stage or ()) for stage in self.species_stages)

    def _stage_of(self, position: int, entry: agronomy.CoverCropEntry) -> str:
        stages = self.stage or ()
        stage = stages[position] if len(stages) == len(self.species) else stages[0]
        if stage in entry.stages:
            return stage
        if self.is_mixture and len(stages) == 1 and stage in agronomy.GRASS_STAGE_WITH_LEGUME:
            return agronomy.GRASS_STAGE_WITH_LEGUME[stage]
        raise WrongValueError(
            f'found stage "{stage}" for {entry.name}', f"one of {', '.join(entry.stages)} is expected"
        )


class CreditSection(Section):
    """[credit]."""

    method: Literal["quality", "share"] = "quality"
    share: float | None = Field(None, gt=0, le=1)
    confidence: float = Field(0.5, ge=0.5, lt=1)
    correction: float = Field(1.0, gt=0, le=2)
    release_error_pct: Annotated[Percent, Field(le=100)] = Field(20.0, alias="release_error")
