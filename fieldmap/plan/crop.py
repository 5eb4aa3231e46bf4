"""[crop], [[block]], [prices] and [response]."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import Annotated, ClassVar, Literal, Self

from pydantic import Field, ValidationInfo, field_validator, model_validator

from fieldmap import agronomy
from fieldmap.errors import WrongValueError
from fieldmap.plan.credit_kinds import counted_by_guides
from fieldmap.plan.quantities import Length, OneOf, PricePerHa, PricePerKg, Rate, Section
from fieldmap.plan.stand import CoverCrop
from fieldmap.units import rate_text

YIELD_MAX_T_HA = agronomy.values_of("crop")["yield_max_t_ha"]
OWN_CROP = (
    'as a crop of your own it needs like = "…", the vegetable of the table whose uptake curve it shares'
)
Started = Literal["seeded", "transplanted"]


class Crop(Section):
    """[crop], or what [[block]] makes of it for one block: the vegetable, its season and its need."""

    NEED_MAX_KG_HA: ClassVar[float] = agronomy.values_of("crop")["need_max_kg_ha"]

    like: str | None = Field(
        None,
        description="For a crop of your own: the vegetable of the table whose uptake curve it shares. Default: none.",
    )
    name: str = Field(
        description="The vegetable; fieldmap tables crops lists them. Any other name is a crop of your own, with "
        "like."
    )
    started: Started | None = Field(
        None,
        description="How it starts; transplants take up sooner in their shorter season. Default: the usual way, "
        "from the table.",
    )
    yield_kg_ha: Annotated[Rate, Field(gt=0)] | None = Field(
        None,
        alias="yield",
        description='Fresh harvest expected, such as "16 t/ha": what leaves with it and what the crop takes up are '
        "told for it. It is no need by itself. Default: the yield of the table.",
    )
    planted: dt.date = Field(description="Day of planting; what the soil has lost by then is not credited.")
    harvested: dt.date = Field(
        description="Day of the last harvest; what is released after the last useful uptake is not credited."
    )
    need_kg_ha: Rate = Field(
        alias="need",
        description='The vegetable\'s nitrogen need, a rate of nitrogen such as "150 lb/ac", from the local guide or'
        " laboratory; at most 600 kg/ha.",
    )
    need_is: Literal["guide rate", "crop uptake"] = Field(
        "guide rate",
        description="A guide's rate is fertiliser to spread, with average soil supply in it; crop uptake is all the "
        'crop takes up. Default "guide rate".',
    )
    recovery: float | None = Field(
        None,
        gt=0,
        le=1,
        description="Share of spread nitrogen that the crop takes up, above 0 and at most 1; required with need_is "
        '"crop uptake".',
    )
    need_allows_for: tuple[Annotated[str, OneOf(counted_by_guides)], ...] = Field(
        (),
        description="Credits that the guide has counted already; they are not subtracted again. Default: none.",
    )
    half_uptake_share: float | None = Field(
        None,
        gt=0,
        lt=1,
        description="Share of the season by which half of the uptake is in, above 0 and below 1. Default: the crop's,"
        " from the table.",
    )
    uptake_steepness: float | None = Field(
        None,
        gt=0,
        le=30,
        description="Steepness of the uptake curve, above 0 and at most 30. Default: the crop's, from the table.",
    )
    touches_soil: bool = Field(
        True,
        description="Whether the harvested part touches the soil: raw manure then needs 120 days before harvest, else"
        " 90. Default true.",
    )
    plastic_laid: dt.date | None = Field(
        None,
        description="Day from which plastic covers the beds; later broadcasting does not reach the roots. Default: no"
        " plastic.",
    )
    need_per: Literal["field", "bed"] = Field(
        "field", description='Whether the need is per area of field or of bed. Default "field".'
    )
    bed_width_m: Annotated[Length, Field(gt=0)] | None = Field(
        None, alias="bed_width", description='Width of a bed, such as "1.2 m"; required with need_per "bed".'
    )
    bed_spacing_m: Annotated[Length, Field(gt=0)] | None = Field(
        None,
        alias="bed_spacing",
        description='From the middle of a bed to the middle of the next, such as "1.8 m"; required with need_per '
        '"bed".',
    )

    on_bed_share: float | None = Field(
        None,
        gt=0,
        le=1,
        description="Share of the cover crop's residue that ends up on the beds, what grew there and what is thrown "
        "there together, above 0 and at most 1; what lies in the alleys is not credited. Default: all of it.",
    )

    @field_validator("like")
    @classmethod
    def _known(cls, like: str | None) -> str | None:
        entry = None if like is None else agronomy.find(like, agronomy.crops())
        if like is not None and entry is None:
            raise WrongValueError(f'found "{like}"', agronomy.nearest(like, agronomy.crops()))
        return entry.name if entry else None

    @field_validator("name")
    @classmethod
    def _known_or_own(cls, name: str, told: ValidationInfo) -> str:
        entry, like = agronomy.find(name, agronomy.crops()), told.data.get("like")
        if entry is None and like is None:
            raise WrongValueError(
                f'found "{name}"', f"{agronomy.nearest(name, agronomy.crops())}; {OWN_CROP}"
            )
        if entry is not None and like is not None:
            raise WrongValueError(
                f'found "{name}" with like = "{like}"', f"the table has {entry.name} itself: leave like out"
            )
        return entry.name if entry else name.strip()

    @field_validator("started")
    @classmethod
    def _has_that_curve(cls, started: Started | None, told: ValidationInfo) -> Started | None:
        named = told.data.get("like") or told.data.get("name")
        entry = agronomy.find(named, agronomy.crops()) if named else None
        if started is not None and entry is not None and entry.started_as(started) is None:
            raise WrongValueError(
                f'found "{started}"',
                f"the table has the uptake curve of {entry.name} {entry.started} only: leave started out, or give "
                "half_uptake_share and uptake_steepness of your own in its place",
            )
        return started

    @model_validator(mode="after")
    def _agrees(self) -> Self:
        if self.need_kg_ha > self.NEED_MAX_KG_HA:
            raise WrongValueError(
                f"need comes to {rate_text(self.need_kg_ha, 'metric')} ({rate_text(self.need_kg_ha, 'us')}) of "
                "nitrogen",
                f"no vegetable needs more than {rate_text(self.NEED_MAX_KG_HA, 'metric')} "
                f"({rate_text(self.NEED_MAX_KG_HA, 'us')}): check the unit",
            )
        if self.yield_kg_ha is not None and self.yield_kg_ha > YIELD_MAX_T_HA * 1000.0:
            raise WrongValueError(
                f"yield comes to {self.yield_kg_ha / 1000.0:,.0f} t/ha",
                f"no vegetable yields above {YIELD_MAX_T_HA:.0f} t/ha: check the unit",
            )
        if self.harvested <= self.planted:
            raise WrongValueError(f"harvested {self.harvested} is not after planted {self.planted}")
        if self.need_is == "crop uptake" and self.recovery is None:
            raise WrongValueError(
                "recovery is missing",
                'with need_is = "crop uptake" the share of spread nitrogen that the '
                "crop recovers is expected, such as recovery = 0.6",
            )
        if self.need_per == "bed":
            if self.bed_width_m is None or self.bed_spacing_m is None:
                raise WrongValueError('bed_width and bed_spacing are expected with need_per = "bed"')
            if self.bed_width_m > self.bed_spacing_m:
                raise WrongValueError("bed_width is more than bed_spacing", "beds cannot overlap")
        return self

    @property
    def entry(self) -> agronomy.CropEntry:
        """The row of the table of vegetables, with the plan's own uptake curve where it gives one."""
        found = agronomy.find(self.name, agronomy.crops()) or _own_entry(self.name, self.like)
        if self.started is not None:
            found = found.started_as(self.started) or found  # checked on entry
        half, steepness = self.half_uptake_share, self.uptake_steepness
        curve = ("half_uptake_share", "uptake_steepness")
        given = [name for name in curve if getattr(self, name) is not None]
        return replace(
            found,
            half_uptake_share=found.half_uptake_share if half is None else half,
            uptake_steepness=found.uptake_steepness if steepness is None else steepness,
            source_of={**found.source_of, **dict.fromkeys(given, "your_value")},
        )

    @property
    def yield_t_ha(self) -> float | None:
        """Fresh harvest expected, t/ha; that of the table where the plan gives none, None where neither does."""
        return self.entry.yield_t_ha if self.yield_kg_ha is None else self.yield_kg_ha / 1000.0

    @property
    def need_field_kg_ha(self) -> float:
        """The need per hectare of field, from a need per hectare of bed where the plan says so."""
        if self.need_per == "field":
            return self.need_kg_ha
        assert self.bed_width_m is not None  # noqa: S101 - checked on entry
        assert self.bed_spacing_m is not None  # noqa: S101
        return self.need_kg_ha * self.bed_width_m / self.bed_spacing_m


def _own_entry(name: str, like: str | None) -> agronomy.CropEntry:
    """A crop of the user's own: the uptake curve and the dressings of a vegetable of the table, and nothing else."""
    found = agronomy.find(like or "", agronomy.crops())
    assert found is not None  # noqa: S101 - checked on entry
    kept = (
        *("half_uptake_share", "uptake_steepness", "started", "seeded", "transplanted"),
        "leafy",
        "dressing",
    )
    return agronomy.CropEntry(
        name=name,
        aliases=(),
        source_of={key: source for key, source in found.source_of.items() if key in kept},
        **{key: getattr(found, key) for key in kept},
    )


class BlockSection(Section):
    """[[block]]: a block's own cover crop and crop, complete after merging with [cover_crop] and [crop]."""

    block: str = Field(description="Name of a block of the boundary.")
    crop: Crop = Field(
        description="What differs from [crop]; a block with another vegetable gives planted, harvested and need too."
    )
    cover_crop: CoverCrop = Field(description="What differs from [cover_crop].")


class Prices(Section):
    """[prices]: for the order and for zones that follow money; one currency throughout."""

    product: PricePerKg | None = Field(
        None, description='Price of the product by weight, such as "620 USD/t".'
    )
    crop: PricePerKg | None = Field(
        None, description='What a weight of the crop brings, such as "0.45 USD/kg".'
    )
    cover_crop: PricePerHa | None = Field(
        None,
        description='Cost of the cover crop by area, such as "95 USD/ha": seed, inoculant and field work together.',
    )

    sampling: PricePerHa | None = Field(
        None,
        description='Cost of clipping, map and time by area, such as "12 USD/ha": with [response] the verdict sets '
        "what zones save against it. Default: what 10 kg N/ha cost.",
    )

    @model_validator(mode="after")
    def _one_currency(self) -> Self:
        given = {
            price.currency for price in (self.product, self.crop, self.cover_crop, self.sampling) if price
        }
        if len(given) > 1:
            raise WrongValueError(
                f"found {' and '.join(sorted(given))}", "one currency throughout is expected"
            )
        return self


class Response(Section):
    """[response]: yield t/ha = a + b N + c N² up to its top, N in kg/ha."""

    a: float = Field(ge=0, description="Yield without nitrogen, t/ha.")
    b: float = Field(gt=0, description="First gain of yield, t for each kg of nitrogen; above 0.")
    c: float = Field(lt=0, description="Bend of the curve, t/ha for each (kg N/ha)²; below 0.")

    @model_validator(mode="after")
    def _is_in_tonnes(self) -> Self:
        highest_t_ha = self.a - self.b**2 / (4.0 * self.c)
        if highest_t_ha > YIELD_MAX_T_HA:
            raise WrongValueError(
                f"the curve rises to {highest_t_ha:,.0f} t/ha",
                f"a yield in t/ha against nitrogen in kg/ha is expected, at most {YIELD_MAX_T_HA:.0f} t/ha",
            )
        return self

    @property
    def plateau_n_kg_ha(self) -> float:
        """Supply from which more nitrogen adds no yield: the top of the quadratic."""
        return -self.b / (2.0 * self.c)
