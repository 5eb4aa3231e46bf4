"""[spreader] and its pan test, [[application]], [strips] and [thin_ground]."""

from __future__ import annotations

import datetime as dt
import json
from typing import Annotated, Any, Literal, Self

from pydantic import BeforeValidator, Field, PrivateAttr, field_validator, model_validator

from fieldmap import agronomy
from fieldmap.errors import WrongValueError
from fieldmap.plan.product import Product, product_entry
from fieldmap.plan.quantities import Area, Heading, Length, Mass, Rate, Seconds, Section, Speed

PatternName = Literal["trapezoid", "triangle"]


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

    _acting: agronomy.Product | None = PrivateAttr(None)

    @model_validator(mode="after")
    def _range(self) -> Self:
        if self.rate_max_kg_ha < self.rate_min_kg_ha:
            raise WrongValueError("rate_max is less than rate_min")
        if self.rate_max_kg_ha < self.rate_step_kg_ha:
            raise WrongValueError("rate_max is less than rate_step", "not one rate can be set")
        if self.outside_rate_kg_ha > self.rate_max_kg_ha:
            raise WrongValueError("outside_rate is more than rate_max")
        return self

    @property
    def product_entry(self) -> agronomy.Product:
        """The product, from the table or as written out in the plan; of an application's spreader as it acts then."""
        return self._acting or product_entry(self.product)

    def loaded_with(self, product: agronomy.Product) -> Spreader:
        """The same machine with a product as it acts on the day it is spread."""
        loaded = self.model_copy()
        loaded._acting = product  # noqa: SLF001 - its own
        return loaded


def _share(found: Any) -> Any:
    is_share = isinstance(found, int | float) and not isinstance(found, bool) and 0 < found <= 1
    if found not in ("auto", "phosphorus") and not is_share:
        raise WrongValueError(
            f"found {json.dumps(found, default=str)}",
            'a share above 0 and at most 1, such as share = 0.6, or share = "auto" or "phosphorus" is expected',
        )
    return found


Share = Annotated[
    float | Literal["auto", "phosphorus"],
    BeforeValidator(
        _share, json_schema_input_type=Annotated[float, Field(gt=0, le=1)] | Literal["auto", "phosphorus"]
    ),
]
Method = Literal["broadcast before planting", "band", "side-dress", "through drip"]
INCORPORATED_DAYS_MAX = 60.0


def _incorporated(found: Any) -> Any:
    is_number = isinstance(found, int | float) and not isinstance(found, bool)
    if found != "never" and not (is_number and 0 <= found <= INCORPORATED_DAYS_MAX):
        raise WrongValueError(
            f"found {json.dumps(found, default=str)}",
            f"days from 0 to {INCORPORATED_DAYS_MAX:g}, 0 being at once, such as incorporated = 1, or "
            'incorporated = "never" is expected',
        )
    return found


Incorporated = Annotated[
    float | Literal["never"],
    BeforeValidator(
        _incorporated,
        json_schema_input_type=Annotated[float, Field(ge=0, le=INCORPORATED_DAYS_MAX)] | Literal["never"],
    ),
]


class ApplicationSection(Section):
    """[[application]]: a day on which a share of the supplemental nitrogen goes out, and how.

    Without `product` of its own it is the spreader's.
    """

    date: dt.date | None = Field(
        None, description="Day of the application; required with several, in their order."
    )
    share: Share = Field(
        1.0,
        description='Share of the supplemental nitrogen, above 0 and at most 1; "auto" lets the season split it, and '
        'one "auto" beside numbers is the rest. "phosphorus" gives as much of an organic product as brings the P2O5 '
        'that the harvest takes away, and leaves the rest to the others, which are "auto". Default 1.',
    )
    method: Method = Field(
        "broadcast before planting",
        description='How it is put out; the first is never through drip. Default "broadcast before planting".',
    )
    product: Product | None = Field(None, description="What is spread then. Default: the spreader's product.")
    incorporated: Incorporated | None = Field(
        None,
        description='Days until an organic product is worked in, 0 at once, or "never"; 12 mm of rain or irrigation '
        "works it in too (common practice, no source). Default: 1 where it is broadcast and the cover crop is "
        'incorporated, "never" where it is broadcast elsewhere, else 0.',
    )

    def product_of(self, spreader: Spreader) -> agronomy.Product:
        """What it spreads: its own product, else the spreader's."""
        return spreader.product_entry if self.product is None else product_entry(self.product)

    def on_surface_d(self, *, tilled: bool) -> float:
        """Days until its product is worked in, infinite for never; `tilled` where the cover crop is incorporated."""
        if self.incorporated is not None:
            return float("inf") if self.incorporated == "never" else self.incorporated
        if self.method != "broadcast before planting":
            return 0.0
        return 1.0 if tilled else float("inf")

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
