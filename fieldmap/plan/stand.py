"""[field], [samples], [cover_crop] and [credit]: the field, what was clipped, and what stood there."""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Any, Literal, Self

from pydantic import Field, ValidationInfo, field_validator, model_validator

from fieldmap import agronomy
from fieldmap.errors import WrongValueError
from fieldmap.plan.quantities import Days, FileName, Length, Percent, Section


class FieldSection(Section):
    """[field]: the outline, and what must stay empty."""

    boundary: FileName = Field(
        description="File of the field outline beside plan.toml: GeoJSON, GeoPackage, zipped shapefile or KML, one or"
        " more polygons; a column block names them."
    )
    no_spread: FileName | None = Field(
        None,
        description="File of points, lines or polygons where nothing may be spread; a column setback_m widens each. "
        "Default: none.",
    )
    cell_m: Annotated[Length, Field(gt=0)] | None = Field(
        None,
        alias="cell",
        description='Side of a cell of all maps, a length such as "2.5 m". Default: chosen from the field\'s size.',
    )


class SamplesSection(Section):
    """[samples]: what was clipped and weighed, and what may track it."""

    file: FileName = Field(
        description="File of the samples beside plan.toml: CSV, GeoJSON, GeoPackage or zipped shapefile, one row a "
        "sample."
    )
    sampled: dt.date | None = Field(
        None, description="Day of the clipping, for a file without a column sampled."
    )
    confirmed: bool = Field(
        False,
        description="true: samples clipped after the stand ended are meant so; without it they are refused. Default "
        "false.",
    )
    covariate: tuple[FileName, ...] = Field(
        (),
        description="Raster, or several, that may track the biomass, such as a vegetation index. It is kept only so "
        "far as it predicts left-out samples. Default: none.",
    )
    crs: str | None = Field(
        None,
        description='Reference system of the columns easting and northing, such as "EPSG:26918"; not needed for '
        "longitude and latitude.",
    )
    growth: Literal["from samplings"] | None = Field(
        None,
        description='"from samplings" carries the stand on from the last sampling to its end at the pace of the last '
        "two samplings. Default: the stand counts as sampled.",
    )

    @field_validator("covariate", mode="before", json_schema_input_type=str | tuple[str, ...])
    @classmethod
    def _one_or_several(cls, found: Any) -> Any:
        return (found,) if isinstance(found, str) else found


NITROGEN_MIN_PCT = agronomy.values_of("nitrogen")["low_pct"]


OWN_SPECIES = 'as a species of your own it needs kind = "legume", "grass" or "broadleaf", and a laboratory %N'
_Some = Annotated[tuple[str, ...], Field(min_length=1)]


class CoverCrop(Section):
    """[cover_crop], or what [[block]] makes of it for one block: what stood there and how it was ended."""

    kind: Literal["legume", "grass", "broadleaf"] | None = Field(
        None,
        description="What species of your own are; the table knows the others. Default: none is your own.",
    )
    species: tuple[str, ...] = Field(
        min_length=1,
        description="The cover crop, or the species of a mixture; fieldmap tables cover_crops lists them. Any other "
        "name is a species of your own, with kind and a laboratory %N.",
    )
    stage: tuple[str, ...] | None = Field(
        None,
        description="Growth stage when clipped: of a mixture the legume's, or one for each species in the same order."
        " Required unless %N is measured.",
    )
    nitrogen_pct: Annotated[Percent, Field(ge=NITROGEN_MIN_PCT, le=8)] | None = Field(
        None,
        alias="nitrogen",
        description="Laboratory %N of the dry matter of the whole stand, 0.3 to 8 %; it stands before the table's. "
        "Default: by species and stage, from the table.",
    )
    nitrogen_error_pct: Annotated[Percent, Field(le=3)] | None = Field(
        None,
        alias="nitrogen_error",
        description="Standard error of that %N, in points of %N, at most 3 %. Default: 0.1 for a laboratory value, "
        "0.5 of a legume and 0.35 of a grass from the table, 0.6 where nodules were not checked.",
    )
    weed_nitrogen_pct: Annotated[Percent, Field(ge=NITROGEN_MIN_PCT, le=8)] | None = Field(
        None,
        alias="weed_nitrogen",
        description="%N of the weeds' dry matter, 0.3 to 8 %. Default: from the table of cover crops.",
    )
    nodules: Literal["pink", "few or white", "not checked"] = Field(
        "not checked",
        description="What the nodules on the roots look like inside; with few or white ones a laboratory %N is "
        'needed. Default "not checked".',
    )
    sown: dt.date | None = Field(
        None,
        description="Day of sowing: compost or manure spread before it is in the stand already. Default: not known.",
    )
    terminated: dt.date = Field(
        description="Day on which the stand is ended; nitrogen comes from that day on."
    )
    ended_by: Literal["tilled", "mown", "rolled", "sprayed", "tarped", "frost", "removed"] = Field(
        description="How the stand is ended; of one that is removed or frozen a part alone is credited. Default: "
        "tilled where placement is incorporated, else mown."
    )
    placement: Literal["incorporated", "surface", "strip-tilled"] = Field(
        description="Where the residue lies; it decides how much of its nitrogen is credited and how soon it comes."
    )
    tilled_share: float | None = Field(
        None,
        gt=0,
        lt=1,
        description='Share of the ground tilled, above 0 and below 1; required with placement "strip-tilled".',
    )
    residue: Literal["chopped", "whole"] = Field(
        "whole",
        description='Chopped residue runs ahead of whole plants for the first two days. Default "whole".',
    )
    tarped_d: Days = Field(
        0.0,
        alias="tarped",
        description='Days under a tarp from termination on, such as "21 d": warmer, and neither wetted nor dried. '
        "Default 0 d.",
    )

    @field_validator("species", "stage", mode="before", json_schema_input_type=str | _Some)
    @classmethod
    def _one_or_several(cls, found: Any) -> Any:
        return (found,) if isinstance(found, str) else found

    @field_validator("species")
    @classmethod
    def _known_or_own(cls, species: tuple[str, ...], told: ValidationInfo) -> tuple[str, ...]:
        entries = [agronomy.find(name, agronomy.cover_crops()) for name in species]
        kind = told.data.get("kind")
        own = [name for name, entry in zip(species, entries, strict=True) if entry is None]
        if own and kind is None:
            raise WrongValueError(
                f'found "{own[0]}"', f"{agronomy.nearest(own[0], agronomy.cover_crops())}; {OWN_SPECIES}"
            )
        if kind is not None and not own:
            raise WrongValueError(
                f'found {" and ".join(species)} with kind = "{kind}"',
                "the table knows its kind: leave kind out",
            )
        return tuple(
            entry.name if entry else name.strip() for name, entry in zip(species, entries, strict=True)
        )

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
        """The rows of the cover-crop table for its species; of one's own the kind, without a %N."""
        return tuple(
            agronomy.find(name, agronomy.cover_crops()) or _own_entry(name, self.kind)
            for name in self.species
        )

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
        """%N of each species at its stage, from the table; None without a stage or for a species of one's own."""
        if self.stage is None or not all(entry.nitrogen_pct for entry in self.entries):
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
        if self.is_mixture and len(stages) == 1 and (beside := entry.stage_beside(stage)):
            return beside
        raise WrongValueError(
            f'found stage "{stage}" for {entry.name}', f"one of {', '.join(entry.stages)} is expected"
        )


def _own_entry(name: str, kind: Literal["legume", "grass", "broadleaf"] | None) -> agronomy.CoverCropEntry:
    """A species of the user's own, of which the table has nothing."""
    assert kind is not None  # noqa: S101 - checked on entry
    return agronomy.CoverCropEntry(name, (), kind, "no", {}, {})


class CreditSection(Section):
    """[credit]: how the credit follows from the stand."""

    method: Literal["quality", "share"] = Field(
        "quality",
        description="From %N of the residue (quality), or a fixed share of the stand's nitrogen (share). Default "
        '"quality".',
    )
    share: float | None = Field(
        None,
        gt=0,
        le=1,
        description='Your own share of the stand\'s nitrogen, above 0 and at most 1; used with method "share" and '
        "final. Default: 0.50 incorporated, 0.40 on a warm surface, 0.25 on a cool one.",
    )
    confidence: float = Field(
        0.5,
        ge=0.5,
        lt=1,
        description="How sure to be that a zone's credit is reached, 0.5 to below 1: higher credits less and spreads "
        "more. Default 0.5.",
    )
    correction: float = Field(
        1.0,
        gt=0,
        le=2,
        description="What earlier check strips taught: the credit is multiplied by it, above 0 and at most 2. Default"
        " 1.",
    )
    release_error_pct: Annotated[Percent, Field(le=100)] = Field(
        20.0,
        alias="release_error",
        description="How far the released share may be off, as a relative standard error; all zones share it. Default"
        " 20 %, judgement.",
    )
