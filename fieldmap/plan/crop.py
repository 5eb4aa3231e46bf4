"""[crop], [[block]], [prices] and [response]."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import Annotated, Literal, Self

from pydantic import Field, field_validator, model_validator

from fieldmap import agronomy
from fieldmap.plan.credit_kinds import counted_by_guides
from fieldmap.plan.quantities import Length, OneOf, PricePerHa, PricePerKg, Rate, Section
from fieldmap.plan.stand import CoverCrop
from fieldmap.units import rate_text

YIELD_MAX_T_HA = 250.0  # no vegetable yields as much
NEED_MAX_KG_HA = 600.0  # judgement: half as much again as the largest published rate


class Crop(Section):
    """[crop], or what [[block]] makes of it for one block."""

    name: str
    planted: dt.date
    harvested: dt.date
    need_kg_ha: Rate = Field(alias="need")
    need_is: Literal["guide rate", "crop uptake"] = "guide rate"
    recovery: float | None = Field(None, gt=0, le=1)
    need_allows_for: tuple[Annotated[str, OneOf(counted_by_guides)], ...] = ()
    half_uptake_share: float | None = Field(None, gt=0, lt=1)
    uptake_steepness: float | None = Field(None, gt=0, le=30)
    touches_soil: bool = True
    plastic_laid: dt.date | None = None
    need_per: Literal["field", "bed"] = "field"
    bed_width_m: Annotated[Length, Field(gt=0)] | None = Field(None, alias="bed_width")
    bed_spacing_m: Annotated[Length, Field(gt=0)] | None = Field(None, alias="bed_spacing")

    @field_validator("name")
    @classmethod
    def _known(cls, name: str) -> str:
        entry = agronomy.find(name, agronomy.crops())
        if entry is None:
            raise ValueError(f'found "{name}"; {agronomy.nearest(name, agronomy.crops())}')
        return entry.name

    @model_validator(mode="after")
    def _agrees(self) -> Self:
        if self.need_kg_ha > NEED_MAX_KG_HA:
            raise ValueError(
                f"need comes to {rate_text(self.need_kg_ha, 'metric')} ({rate_text(self.need_kg_ha, 'us')}) of "
                f"nitrogen; no vegetable needs more than {rate_text(NEED_MAX_KG_HA, 'metric')} "
                f"({rate_text(NEED_MAX_KG_HA, 'us')}): check the unit"
            )
        if self.harvested <= self.planted:
            raise ValueError(f"harvested {self.harvested} is not after planted {self.planted}")
        if self.need_is == "crop uptake" and self.recovery is None:
            raise ValueError(
                'recovery is missing; with need_is = "crop uptake" the share of spread nitrogen that the '
                "crop recovers is expected, such as recovery = 0.6"
            )
        if self.need_per == "bed":
            if self.bed_width_m is None or self.bed_spacing_m is None:
                raise ValueError('bed_width and bed_spacing are expected with need_per = "bed"')
            if self.bed_width_m > self.bed_spacing_m:
                raise ValueError("bed_width is more than bed_spacing; beds cannot overlap")
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

    block: str
    crop: Crop
    cover_crop: CoverCrop


class Prices(Section):
    """[prices], one currency throughout."""

    product: PricePerKg | None = None
    crop: PricePerKg | None = None
    cover_crop: PricePerHa | None = None

    @model_validator(mode="after")
    def _one_currency(self) -> Self:
        given = {price.currency for price in (self.product, self.crop, self.cover_crop) if price}
        if len(given) > 1:
            raise ValueError(f"found {' and '.join(sorted(given))}; one currency throughout is expected")
        return self


class Response(Section):
    """[response]: yield t/ha = a + b N + c N² up to its top, N in kg/ha."""

    a: float = Field(ge=0)
    b: float = Field(gt=0)
    c: float = Field(lt=0)

    @model_validator(mode="after")
    def _is_in_tonnes(self) -> Self:
        highest_t_ha = self.a - self.b**2 / (4.0 * self.c)
        if highest_t_ha > YIELD_MAX_T_HA:
            raise ValueError(
                f"the curve rises to {highest_t_ha:,.0f} t/ha; a yield in t/ha against nitrogen in kg/ha is "
                f"expected, at most {YIELD_MAX_T_HA:.0f} t/ha"
            )
        return self

    @property
    def plateau_n_kg_ha(self) -> float:
        """Supply from which more nitrogen adds no yield: the top of the quadratic."""
        return -self.b / (2.0 * self.c)
