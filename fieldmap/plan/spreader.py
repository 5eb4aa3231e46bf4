"""[spreader], its product and pan test, [[application]], [strips] and [thin_ground]."""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import replace
from typing import Annotated, Any, Literal, Self

from pydantic import BeforeValidator, Field, field_validator, model_validator

from fieldmap import agronomy
from fieldmap.errors import WrongValueError
from fieldmap.plan.quantities import (
    Area,
    BulkDensity,
    Heading,
    Length,
    Line,
    Mass,
    Percent,
    Rate,
    Seconds,
    Section,
    Speed,
)

PatternName = Literal["trapezoid", "triangle"]


class OwnProduct(Section):
    """A product written out in the plan; what it leaves out is taken from the table where that knows the name."""

    name: Line = Field(
        min_length=1,
        max_length=32,
        description="Name of the product, 32 characters at most; a name of the table takes what is left out from "
        "there.",
    )
    nitrogen_pct: Annotated[Percent, Field(gt=0, le=82)] = Field(
        alias="nitrogen", description="Nitrogen by weight, above 0 and at most 82 %."
    )
    p2o5_pct: Annotated[Percent, Field(le=100)] | None = Field(
        None, alias="p2o5", description="P2O5 by weight. Default: the table's for this name, else 0 %."
    )
    k2o_pct: Annotated[Percent, Field(le=100)] | None = Field(
        None, alias="k2o", description="K2O by weight. Default: the table's for this name, else 0 %."
    )
    available: float | None = Field(
        None,
        gt=0,
        le=1,
        description="Share of its nitrogen that serves this season, above 0 and at most 1. Default: the table's for "
        "this name, else 1.",
    )
    bulk_density_kg_m3: BulkDensity | None = Field(
        None,
        alias="bulk_density",
        description='Bulk density, such as "750 kg/m3". Default: the table\'s for this name.',
    )
    organic: bool | None = Field(
        None,
        description="Whether its nutrients come from plants or animals. Default: as in the table, or false.",
    )
    raw_manure: bool | None = Field(
        None,
        description="Whether it is raw manure, which needs 90 or 120 days to harvest. Default: the table's for this "
        "name, else false.",
    )

    @property
    def entry(self) -> agronomy.Product:
        """It as a row of the table of products, each figure with its source."""
        base = agronomy.find(self.name, agronomy.products()) or agronomy.Product(
            name=self.name,
            aliases=(),
            nitrogen_pct=self.nitrogen_pct,
            p2o5_pct=0.0,
            k2o_pct=0.0,
            available=1.0,
            organic=False,
            cautions=(),
            sources=(),
        )
        own = {key: value for key, value in self.model_dump(exclude={"name"}).items() if value is not None}
        sources = {**base.source_of, **{key: "your_value" for key in own if key != "organic"}}
        return replace(base, **own, source_of=sources, sources=tuple(dict.fromkeys(sources.values())))


def _product(found: Any) -> Any:
    """A product as the plan gives it: a name that the table knows, or one written out."""
    if isinstance(found, str) and agronomy.find(found, agronomy.products()) is None:
        raise WrongValueError(f'found "{found}"', agronomy.nearest(found, agronomy.products()))
    return OwnProduct.model_validate(found) if isinstance(found, dict) else found


Product = Annotated[str | OwnProduct, BeforeValidator(_product)]


def product_entry(product: str | OwnProduct) -> agronomy.Product:
    """A product that the plan names, from the table or as written out in the plan."""
    if isinstance(product, str):
        found = agronomy.find(product, agronomy.products())
        assert found is not None  # noqa: S101 - checked on entry
        return found
    return product.entry


class PanTest(Section):
    """[spreader] pan_test: what trays across one pass caught, left to right, the middle one under the machine."""

    spacing_m: Annotated[Length, Field(gt=0)] = Field(
        alias="spacing", description='From tray to tray, such as "1 m".'
    )
    weights: tuple[Annotated[float, Field(ge=0)], ...] = Field(
        min_length=5,
        description="What each tray caught, left to right, in any one unit of weight: five or more, an odd number, "
        "the middle tray under the machine.",
    )

    @field_validator("weights")
    @classmethod
    def _most_in_the_middle(cls, weights: tuple[float, ...]) -> tuple[float, ...]:
        if len(weights) % 2 == 0:
            raise WrongValueError(
                f"found {len(weights)} weights",
                "an odd number is expected, the middle tray under the machine",
            )
        if weights[len(weights) // 2] <= max(weights[0], weights[-1]):
            raise WrongValueError(
                "found no more in the middle tray than in an outer one",
                "trays as far out as the spreader throws are expected",
            )
        return weights


class Spreader(Section):
    """[spreader]: the machine and its limits; rates are of product, rate_n_min alone is of nitrogen."""

    product: Product = Field(
        description="What is spread: a name of fieldmap tables products, or a table of its own with name and "
        "nitrogen."
    )
    # Below the least swath of a machine that is driven (common practice, no source) passes without end.
    swath_m: Annotated[Length, Field(ge=0.5, le=100)] = Field(
        alias="swath", description='From pass to pass, such as "18 m"; from 0.5 to 100 m.'
    )
    heading_deg: Annotated[Heading, Field(lt=360)] | None = Field(
        None,
        alias="heading",
        description='Direction of the passes from north clockwise, such as "32 deg". Default: along the field.',
    )
    rate_step_kg_ha: Annotated[Rate, Field(gt=0)] = Field(
        alias="rate_step", description='Step between rates, of product, such as "10 lb/ac".'
    )
    rate_min_kg_ha: Rate = Field(
        alias="rate_min",
        description="Lowest rate of product that the machine spreads evenly; nothing at all is always possible.",
    )
    rate_max_kg_ha: Annotated[Rate, Field(gt=0)] = Field(
        alias="rate_max", description="Highest rate of product."
    )
    rate_n_min_kg_ha: Rate = Field(
        0.0,
        alias="rate_n_min",
        description="What every zone gets at least, of nitrogen: a starter. Default 0 kg/ha.",
    )
    zones_max: int = Field(ge=1, le=12, description="Most zones over the field, 1 to 12.")
    zone_min_m2: Annotated[Area, Field(gt=0)] = Field(
        alias="zone_min",
        description='Smallest part of a zone, such as "0.2 ha"; smaller ones join a neighbour.',
    )
    rate_change_s: Seconds = Field(
        4.0, alias="rate_change", description="Time from the old rate to the new one. Default 4 s."
    )
    speed_m_s: Annotated[Speed, Field(gt=0, le=12)] = Field(
        12 / 3.6, alias="speed", description="Speed while spreading, at most 12 m/s. Default 12 km/h."
    )
    hopper_kg: Annotated[Mass, Field(gt=0)] | None = Field(
        None,
        alias="hopper",
        description='What the hopper holds, such as "1400 kg". Default: all is one load.',
    )
    outside_rate_kg_ha: Rate = Field(
        0.0,
        alias="outside_rate",
        description="Rate of product outside the zones and where the machine has lost its position. Default 0 kg/ha.",
    )
    pattern: PatternName = Field(
        "trapezoid",
        description='How the throw falls off to the sides, where there is no pan test. Default "trapezoid".',
    )
    pan_test: PanTest | None = Field(
        None, description="What trays across one pass caught; it stands in place of pattern. Default: none."
    )
    border_spreading: bool = Field(
        False, description="Whether a border device keeps everything inside the boundary. Default false."
    )

    @model_validator(mode="after")
    def _range(self) -> Self:
        if self.rate_max_kg_ha < self.rate_min_kg_ha:
            raise WrongValueError("rate_max is less than rate_min")
        if self.rate_max_kg_ha < self.rate_step_kg_ha:
            raise WrongValueError("rate_max is less than rate_step", "not one rate can be set")
        if self.outside_rate_kg_ha > self.rate_max_kg_ha:
            raise WrongValueError("outside_rate is more than rate_max")
        starter_kg_ha = self.rate_n_min_kg_ha / self.product_entry.nitrogen_fraction
        if starter_kg_ha > self.rate_max_kg_ha:
            raise WrongValueError(
                f"rate_n_min needs {starter_kg_ha:.0f} kg/ha of product, more than rate_max "
                f"({self.rate_max_kg_ha:.0f} kg/ha)"
            )
        return self

    @property
    def product_entry(self) -> agronomy.Product:
        """The product, from the table or as written out in the plan."""
        return product_entry(self.product)


def _share(found: Any) -> Any:
    is_share = isinstance(found, int | float) and not isinstance(found, bool) and 0 < found <= 1
    if found != "auto" and not is_share:
        raise WrongValueError(
            f"found {json.dumps(found, default=str)}",
            'a share above 0 and at most 1, such as share = 0.6, or share = "auto" is expected',
        )
    return found


Share = Annotated[
    float | Literal["auto"],
    BeforeValidator(_share, json_schema_input_type=Annotated[float, Field(gt=0, le=1)] | Literal["auto"]),
]
Method = Literal["broadcast before planting", "band", "side-dress", "through drip"]


class ApplicationSection(Section):
    """[[application]]: a day on which a share of the supplemental nitrogen goes out, and how.

    Without `product` of its own it is the spreader's.
    """

    date: dt.date | None = Field(
        None, description="Day of the application; required with several, in their order."
    )
    share: Share = Field(
        1,
        description='Share of the supplemental nitrogen, above 0 and at most 1; "auto" lets the season split it, and '
        'one "auto" beside numbers is the rest. Default 1.',
    )
    method: Method = Field(
        "broadcast before planting",
        description='How it is put out; the first is never through drip. Default "broadcast before planting".',
    )
    product: Product | None = Field(None, description="What is spread then. Default: the spreader's product.")

    def product_of(self, spreader: Spreader) -> agronomy.Product:
        """What it spreads: its own product, else the spreader's."""
        return spreader.product_entry if self.product is None else product_entry(self.product)

    @property
    def through_drip(self) -> bool:
        """Whether no machine drives it."""
        return self.method == "through drip"

    @property
    def follows_planting(self) -> bool:
        """Whether it feeds a standing crop."""
        return self.method in ("side-dress", "through drip")


class Strips(Section):
    """[strips]: check strips, which show what the credit was worth."""

    number: int = Field(ge=2, le=6, description="How many check strips, 2 to 6.")
    levels: tuple[Annotated[float, Field(ge=0, le=1)], ...] = Field(
        (0.0, 0.5, 1.0),
        description="Shares of the need without cover crop that the strips get, 0 to 1, in turn. Default 0, 0.5 and "
        "1.",
    )

    @field_validator("levels")
    @classmethod
    def _differ(cls, levels: tuple[float, ...]) -> tuple[float, ...]:
        if len(set(levels)) < 2:
            raise WrongValueError(
                f"found {len(set(levels))} level",
                "two different shares of the whole need at least are expected, such as levels = [0, 0.5, 1]",
            )
        return levels


class ThinGround(Section):
    """[thin_ground]: why the stand is thin where the map gives most, and whether that zone is held back."""

    cause: Literal["wet", "dry", "weeds", "seeding", "acid", "no nodules", "unknown"] = Field(
        "unknown", description='Why the stand is thin where the map gives most. Default "unknown".'
    )
    cap: bool = Field(
        False,
        description="true holds the zone with the highest rate at the flat rate; only where the cause may limit the "
        "vegetable too. Default false.",
    )

    @model_validator(mode="after")
    def _capped_for_a_reason(self) -> Self:
        if self.cap and not self.may_limit_the_crop:
            raise WrongValueError(
                f'found cap = true with cause = "{self.cause}"',
                "what thinned the cover crop will not limit the vegetable, so cap = false is expected",
            )
        return self

    @property
    def may_limit_the_crop(self) -> bool:
        """Whether the cause will, or might, hold the vegetable back too; common practice, no source."""
        return self.cause in ("wet", "dry", "acid", "unknown")
