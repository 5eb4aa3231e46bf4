"""Plan: every input and choice of one field, checked.

`plan.toml` is read into a `Plan` whose attributes carry SI units in their names; the keys of the file are the
aliases. `fieldmap.read.plan` opens the file and words what is wrong with it.
"""

from __future__ import annotations

import hashlib
import itertools
import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

from pydantic import BeforeValidator, Field, PrivateAttr, ValidationInfo, field_validator

from fieldmap.errors import WrongValueError
from fieldmap.plan.credits import OtherCredit, SidedressTest, Soil, SoilTest, Weather
from fieldmap.plan.crop import BlockSection, Crop, Prices, Response
from fieldmap.plan.product import product_entry
from fieldmap.plan.quantities import Line, Section
from fieldmap.plan.spreader import ApplicationSection, Spreader, Strips, ThinGround
from fieldmap.plan.stand import CoverCrop, CreditSection, FieldSection, SamplesSection

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterable

SHARES_TOLERANCE = 0.011  # shares written with two decimals, such as 0.33 three times, are taken as one whole


# A section of which a plan may hold one alone, as [section], or several, as [[section]].
ONE_OR_SEVERAL = BeforeValidator(
    lambda found: (found,) if isinstance(found, dict) else found,
    json_schema_input_type=SidedressTest | tuple[SidedressTest, ...],
)


class Plan(Section):
    """Every input and choice of one field. `folder` is where its files are."""

    name: Line = Field(
        min_length=1,
        max_length=120,
        description="Name of the field or piece, one line; it heads every page and file.",
    )
    units: Literal["metric", "us"] = Field(
        description="In which units results are shown: metric (ha, kg/ha) or US (ac, lb/ac). Files always carry kg/ha"
        " too."
    )
    customer: Line = Field(
        "",
        description="Whose field it is, for the machine's task data; the field's name where it is left out.",
    )
    farm: Line = Field(
        "",
        description="Farm it belongs to, for the machine's task data; the field's name where it is left out.",
    )
    field: FieldSection = Field(description="The field's outline.")
    samples: SamplesSection = Field(description="What was clipped and weighed.")
    cover_crop: CoverCrop = Field(description="What stood in the field.")
    credit: CreditSection = Field(
        default_factory=CreditSection, description="How the credit follows from the stand."
    )
    crop: Crop = Field(description="The vegetable.")
    block: tuple[BlockSection, ...] = Field(
        (), description="Blocks whose cover crop or vegetable differs from [cover_crop] and [crop]."
    )
    other_credits: tuple[OtherCredit, ...] = Field((), description="Nitrogen from elsewhere, one table each.")
    sidedress_test: Annotated[tuple[SidedressTest, ...], ONE_OR_SEVERAL] = Field(
        (), description="Nitrate tests of the standing crop, one table each."
    )
    soil_test: SoilTest = Field(default_factory=SoilTest, description="Ratings of the soil test.")
    soil: Soil = Field(default_factory=Soil, description="How the ground holds water and nitrate.")
    weather: Weather | None = Field(None, description="What the season is worked out from.")
    spreader: Spreader = Field(description="The machine and what it spreads.")
    application: tuple[ApplicationSection, ...] = Field(
        (),
        max_length=6,
        description="The days on which nitrogen is spread, six at most; none means one broadcast before planting.",
    )
    prices: Prices = Field(default_factory=Prices, description="What product and crop cost and bring.")
    response: Response | None = Field(None, description="Yield against nitrogen.")
    strips: Strips | None = Field(None, description="Check strips.")
    thin_ground: ThinGround = Field(default_factory=ThinGround, description="Why the stand is thin.")
    folder: Path = Field(exclude=True)
    _told: dict[str, Any] = PrivateAttr(default_factory=dict)

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
        cls, applications: tuple[ApplicationSection, ...], told: ValidationInfo
    ) -> tuple[ApplicationSection, ...]:
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
    def _in_order(cls, applications: tuple[ApplicationSection, ...]) -> tuple[ApplicationSection, ...]:
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
    def _blended(
        cls, applications: tuple[ApplicationSection, ...], told: ValidationInfo
    ) -> tuple[ApplicationSection, ...]:
        blended = [one for one in applications if one.share == "phosphorus"]
        if not blended:
            return applications
        others = [one.share for one in applications if one.share != "phosphorus"]
        if len(blended) > 1 or not others or any(share != "auto" for share in others):
            raise WrongValueError(
                f'found share = "phosphorus" in {len(blended)} of {len(applications)} applications',
                'one of several, and share = "auto" in every other, which bring the rest, is expected',
            )
        spreader = told.data.get("spreader")
        if spreader is not None and blended[0].product_of(spreader).p2o5_pct == 0:
            raise WrongValueError(
                f'found share = "phosphorus" for {blended[0].product_of(spreader).name}, which holds no P2O5',
                "a product with phosphorus, such as poultry litter, is expected",
            )
        return applications

    @field_validator("application")
    @classmethod
    def _whole(
        cls, applications: tuple[ApplicationSection, ...], info: ValidationInfo
    ) -> tuple[ApplicationSection, ...]:
        shares = [one.share for one in applications if not isinstance(one.share, str)]
        told, unknown = sum(shares), sum(one.share == "auto" for one in applications)
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

    @classmethod
    def of(cls, content: dict[str, Any], folder: Path, *, told: dict[str, Any]) -> Plan:
        """A plan out of checked content; `told` is what was written, which `replace` goes back to."""
        plan = cls.model_validate({**content, "folder": folder})
        plan._told = told  # noqa: SLF001 - its own
        return plan

    def replace(self, **changes: Any) -> Plan:
        """The plan with other values, written and checked as in plan.toml; None leaves a key out.

        ``plan.replace(need="120 lb/ac")`` for a key that one section alone has, else
        ``plan.replace(crop={"need": "120 lb/ac", "harvested": dt.date(2026, 9, 1)})``.

        Raises
        ------
        InputError
            For a key that is not known, and for a value that cannot be, with the words for plan.toml.
        """
        from fieldmap.plan.parse import changed, parse_plan  # they make plans

        return parse_plan(changed(self._told, changes), self.folder)

    def covers(self, blocks: Iterable[str]) -> tuple[CoverCrop, ...]:
        """The cover crop of each block, in their order."""
        return tuple(self.cover_crop_of(block) for block in blocks)

    def crops_of(self, blocks: Iterable[str]) -> tuple[Crop, ...]:
        """The vegetable of each block, in their order."""
        return tuple(self.crop_of(block) for block in blocks)

    def tested_after_cover(self, block: str) -> dt.date | None:
        """The day of a block's last soil nitrate test after its cover crop ended; None without one."""
        ended = self.cover_crop_of(block).terminated
        days = (
            one.sampled
            for one in self.other_credits
            if one.kind.is_soil_test and one.sampled and one.block in (None, block)
        )
        return max((day for day in days if day >= ended), default=None)

    @property
    def crops(self) -> tuple[Crop, ...]:
        """The vegetable of [crop] and those of the blocks."""
        return (self.crop, *(own.crop for own in self.block))

    @property
    def applications(self) -> tuple[ApplicationSection, ...]:
        """The [[application]] of the plan; without any, one broadcast before planting with all of it."""
        return self.application or (ApplicationSection(),)

    def hash(self, file_digests: dict[str, str]) -> str:
        """A fingerprint of the plan and its input files (sha256, hex)."""
        told = {"plan": self.model_dump(mode="json"), "files": file_digests}
        return hashlib.sha256(json.dumps(told, sort_keys=True).encode()).hexdigest()

    def computed_hash(self, file_digests: dict[str, str]) -> str:
        """A fingerprint of what a run works out: names, units and prices that nothing follows change no number."""
        words = {"name", "units", "customer", "farm", *(("prices",) if self.response is None else ())}
        told = {"plan": self.model_dump(mode="json", exclude=words), "files": file_digests}
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
