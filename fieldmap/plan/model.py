"""Plan: every input and choice of one field, checked.

`plan.toml` is read into a `Plan` whose attributes carry SI units in their names; the keys of the file are the
aliases. `fieldmap.read.plan` opens the file and words what is wrong with it.
"""

from __future__ import annotations

import hashlib
import itertools
import json
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, ValidationInfo, field_validator

from fieldmap.errors import WrongValueError
from fieldmap.plan.credits import OtherCredit, SidedressTest, SoilTest, Weather
from fieldmap.plan.crop import BlockSection, Crop, Prices, Response
from fieldmap.plan.quantities import Line, Section
from fieldmap.plan.spreader import Application, Spreader, Strips, ThinGround, product_entry
from fieldmap.plan.stand import CoverCrop, CreditSection, FieldSection, SamplesSection

SHARES_TOLERANCE = 0.011  # shares written with two decimals, such as 0.33 three times, are taken as one whole


# A section of which a plan may hold one alone, as [section], or several, as [[section]].
ONE_OR_SEVERAL = BeforeValidator(lambda found: (found,) if isinstance(found, dict) else found)


class Plan(Section):
    """Every input and choice of one field. `folder` is where its files are."""

    name: Line = Field(min_length=1, max_length=120)
    units: Literal["metric", "us"]
    customer: Line = ""
    farm: Line = ""
    field: FieldSection
    samples: SamplesSection
    cover_crop: CoverCrop
    credit: CreditSection = Field(default_factory=CreditSection)
    crop: Crop
    block: tuple[BlockSection, ...] = ()
    other_credits: tuple[OtherCredit, ...] = ()
    sidedress_test: Annotated[tuple[SidedressTest, ...], ONE_OR_SEVERAL] = ()
    soil_test: SoilTest = Field(default_factory=SoilTest)
    weather: Weather | None = None
    spreader: Spreader
    application: tuple[Application, ...] = Field((), max_length=6)
    prices: Prices = Field(default_factory=Prices)
    response: Response | None = None
    strips: Strips | None = None
    thin_ground: ThinGround = Field(default_factory=ThinGround)
    folder: Path = Field(exclude=True)

    @field_validator("block")
    @classmethod
    def _once(cls, blocks: tuple[BlockSection, ...]) -> tuple[BlockSection, ...]:
        names = [block.block for block in blocks]
        twice = sorted({name for name in names if names.count(name) > 1})
        if twice:
            raise WrongValueError(
                f'found [[block]] "{twice[0]}" twice', "one [[block]] for each block is expected"
            )
        return blocks

    @field_validator("application")
    @classmethod
    def _first_is_spread(
        cls, applications: tuple[Application, ...], told: ValidationInfo
    ) -> tuple[Application, ...]:
        if not applications:
            return applications
        first, spreader = applications[0], told.data.get("spreader")
        if first.method == "through drip":
            raise WrongValueError(
                "the first application is through drip",
                "zones are drawn for a spreader, so a first one that is "
                "broadcast, banded or side-dressed is expected",
            )
        own = product_entry(first.product) if first.product is not None else None
        if own is not None and spreader is not None and own.name != spreader.product_entry.name:
            raise WrongValueError(
                f"the first application spreads {own.name} and [spreader] product is "
                f"{spreader.product_entry.name}",
                f"the first is expected to spread the spreader's product: write {own.name} into [spreader]",
            )
        return applications

    @field_validator("application")
    @classmethod
    def _in_order(cls, applications: tuple[Application, ...]) -> tuple[Application, ...]:
        dates = [one.date for one in applications if one.date is not None]
        if 1 < len(applications) != len(dates):
            raise WrongValueError(
                "found several applications and not every one has a date", "each is expected to"
            )
        late = next((pair for pair in itertools.pairwise(dates) if pair[1] < pair[0]), None)
        if late is not None:
            raise WrongValueError(f"found {late[0]} before {late[1]}", "dates in their order are expected")
        return applications

    @field_validator("application")
    @classmethod
    def _whole(cls, applications: tuple[Application, ...], info: ValidationInfo) -> tuple[Application, ...]:
        shares = [one.share for one in applications if not isinstance(one.share, str)]
        told, unknown = sum(shares), len(applications) - len(shares)
        if shares and unknown == 0 and abs(told - 1) > SHARES_TOLERANCE:
            raise WrongValueError(
                f"shares add up to {told:g}", '1, or share = "auto" for the rest, is expected'
            )
        if unknown and told > 1 - SHARES_TOLERANCE:
            raise WrongValueError(
                f'shares add up to {told:g} beside share = "auto"',
                "less than 1 is expected, so that something is left for it",
            )
        if unknown > 1 and info.data.get("weather", "unread") is None:
            raise WrongValueError(
                f'found share = "auto" in {unknown} applications and no [weather]',
                "the split follows what is "
                "released against what the crop takes up, so [weather] with a file, or with mean, amplitude and "
                "coldest, is expected, or shares as numbers",
            )
        return applications

    @field_validator("response")
    @classmethod
    def _insured_once(cls, response: Response | None, told: ValidationInfo) -> Response | None:
        credit = told.data.get("credit")
        if response is not None and credit is not None and credit.confidence > 0.5:
            raise WrongValueError(
                f"found [credit] confidence {credit.confidence:g} beside it",
                "a response curve already weighs "
                "being short against being over, so confidence = 0.5 is expected with it",
            )
        return response

    @field_validator("thin_ground")
    @classmethod
    def _capped_by_need(cls, thin_ground: ThinGround, told: ValidationInfo) -> ThinGround:
        if thin_ground.cap and told.data.get("response") is not None:
            raise WrongValueError(
                "found cap = true beside [response]",
                "zones that follow money are not held at a flat rate: leave one of the two out",
            )
        return thin_ground

    def cover_crop_of(self, block: str) -> CoverCrop:
        """The cover crop of a block."""
        return next((own.cover_crop for own in self.block if own.block == block), self.cover_crop)

    def crop_of(self, block: str) -> Crop:
        """The vegetable of a block."""
        return next((own.crop for own in self.block if own.block == block), self.crop)

    @property
    def crops(self) -> tuple[Crop, ...]:
        """The vegetable of [crop] and those of the blocks."""
        return (self.crop, *(own.crop for own in self.block))

    @property
    def applications(self) -> tuple[Application, ...]:
        """The [[application]] of the plan; without any, one broadcast before planting with all of it."""
        return self.application or (Application(),)

    def hash(self, file_digests: dict[str, str]) -> str:
        """A fingerprint of the plan and its input files (sha256, hex)."""
        told = {"plan": self.model_dump(mode="json"), "files": file_digests}
        return hashlib.sha256(json.dumps(told, sort_keys=True).encode()).hexdigest()

    def inputs(self) -> dict[str, Any]:
        """The files of the plan, as `fieldmap.read.inputs.read_inputs` takes them."""
        return {
            "folder": self.folder,
            "boundary": self.field.boundary,
            "samples": self.samples.file,
            "crs": self.samples.crs,
            "no_spread": self.field.no_spread,
            "weather": self.weather.file if self.weather else None,
        }

    def file_names(self) -> tuple[str, ...]:
        """Every input file that the plan names."""
        named = (
            self.field.boundary,
            self.field.no_spread,
            self.samples.file,
            *self.samples.covariate,
            self.weather.file if self.weather else None,
        )
        return tuple(name for name in named if name)
