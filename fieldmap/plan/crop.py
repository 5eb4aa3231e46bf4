"""[crop], [[block]], [prices] and [response]."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import Annotated, ClassVar, Literal, Self

from pydantic import Field, field_validator, model_validator

from fieldmap import agronomy
from fieldmap.errors import WrongValueError
from fieldmap.plan.credit_kinds import counted_by_guides
from fieldmap.plan.quantities import Length, OneOf, PricePerHa, PricePerKg, Rate, Section
from fieldmap.plan.stand import CoverCrop
from fieldmap.units import rate_text

YIELD_MAX_T_HA = 250.0  # no vegetable yields as much


class Crop(Section):
    """[crop], or what [[block]] makes of it for one block: the vegetable, its season and its need."""

    NEED_MAX_KG_HA: ClassVar[float] = 600.0  # judgement: half as much again as the largest published rate

    name: str = Field(description="The vegetable; fieldmap tables crops lists them.")
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

    @field_validator("name")
    @classmethod
    def _known(cls, name: str) -> str:
        entry = agronomy.find(name, agronomy.crops())
        if entry is None:
            raise WrongValueError(f'found "{name}"', agronomy.nearest(name, agronomy.crops()))
        return entry.name

    @model_validator(mode="after")
    def _agrees(self) -> Self:
        if self.need_kg_ha > self.NEED_MAX_KG_HA:
            raise WrongValueError(
                f"need comes to {rate_text(self.need_kg_ha, 'metric')} ({rate_text(self.need_kg_ha, 'us')}) of "
                "nitrogen",
                f"no vegetable needs more than {rate_text(self.NEED_MAX_KG_HA, 'metric')} "
                f"({rate_text(self.NEED_MAX_KG_HA, 'us')}): check the unit",
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
        found = agronomy.find(self.name, agronomy.crops())
        assert found is not None  # noqa: S101 - checked on entry
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
    def need_field_kg_ha(self) -> float:
        """The need per hectare of field, from a need per hectare of bed where the plan says so."""
        if self.need_per == "field":
            return self.need_kg_ha
        assert self.bed_width_m is not None  # noqa: S101 - checked on entry
        assert self.bed_spacing_m is not None  # noqa: S101
        return self.need_kg_ha * self.bed_width_m / self.bed_spacing_m


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
