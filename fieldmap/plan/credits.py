"""[[other_credits]], nitrate and soil tests, and [weather]."""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Any, Literal, Self

from pydantic import Field, model_validator

from fieldmap import agronomy
from fieldmap.errors import WrongValueError
from fieldmap.plan.credit_kinds import CREDIT_KINDS, CreditKind, credit_kind
from fieldmap.plan.quantities import (
    BulkDensity,
    Concentration,
    FileName,
    Length,
    OneOf,
    Percent,
    Rate,
    Section,
    Temperature,
    TemperatureDifference,
    WaterDepth,
)


class OtherCredit(Section):
    """[[other_credits]]: nitrogen the crop gets from elsewhere, as an amount or as what was measured."""

    source: Annotated[str, OneOf(lambda: CREDIT_KINDS)] = Field(description="Where the nitrogen comes from.")
    block: str | None = Field(None, description="The block it is for. Default: every block.")
    nitrogen_kg_ha: Rate | None = Field(
        None,
        alias="nitrogen",
        description='Nitrogen it brings to the crop, a rate such as "30 kg/ha"; alone it is enough, but for a '
        "previous legume.",
    )
    nitrate_n_ppm: Concentration | None = Field(
        None,
        alias="nitrate_n",
        description='Nitrate-N in water (mg/L) or soil (mg/kg), such as "8 ppm"; or give nitrate.',
    )
    nitrate_ppm: Concentration | None = Field(
        None,
        alias="nitrate",
        description='Nitrate (NO3) in water or soil, such as "35 ppm"; 0.226 of it is nitrate-N.',
    )
    water_mm: WaterDepth | None = Field(
        None,
        alias="water",
        description='Irrigation water over the season, such as "250 mm"; credited up to what the crop uses.',
    )
    depth_m: Length | None = Field(
        None, alias="depth", description='Depth of the soil sample, such as "30 cm".'
    )
    bulk_density_kg_m3: BulkDensity | None = Field(
        None,
        alias="bulk_density",
        description='Bulk density of the soil, such as "1300 kg/m3". Default 1300 kg/m3.',
    )
    organic_matter_pct: Annotated[Percent, Field(le=30)] | None = Field(
        None, alias="organic_matter", description="Soil organic matter, at most 30 %."
    )
    total_n_kg_ha: Rate | None = Field(
        None, alias="total_n", description='Total nitrogen in what was spread, a rate such as "120 kg/ha".'
    )
    share: float | None = Field(
        None,
        gt=0,
        le=1,
        description="Share of it that is available in the first year, above 0 and at most 1. Default for compost "
        "0.075; manure needs one.",
    )
    sampled: dt.date | None = Field(
        None,
        description="Day of the soil test. What the cover crop released before it is in the test and is not credited "
        "twice.",
    )
    applied: dt.date | None = Field(None, description="Day on which compost or manure was spread.")
    raw: bool = Field(
        False,
        description="Whether the manure is raw: then 90 or 120 days to harvest are required. Default false.",
    )
    touches_soil: bool = Field(
        True,
        description="Whether the harvested part touches the soil, for the days that raw manure needs. Default true.",
    )
    confirmed: bool = Field(
        False,
        description="true: credit compost or manure that was spread before the cover crop all the same. Default "
        "false.",
    )
    crop: str | None = Field(None, description="Which legume grew before.")
    ended: dt.date | None = Field(None, description="Day on which that legume was ended.")

    @property
    def kind(self) -> CreditKind:
        """What holds for every credit of its kind."""
        return credit_kind(self.source)

    @model_validator(mode="after")
    def _tells_how_much(self) -> Self:
        given = {name for name in self.model_fields_set if getattr(self, name) is not None}
        of_any_kind = frozenset().union(*(kind.amounts for kind in CREDIT_KINDS.values()))
        amounts, sets = given & of_any_kind, self.kind.ways
        if not any(keys <= given and amounts - {"share"} <= keys for keys in sets):
            ways = ", or ".join(_listed(sorted(map(_key_of, keys))) for keys in sets)
            found = ", ".join(sorted(map(_key_of, amounts))) or "no amount"
            raise WrongValueError(f"found {found}", f"for {self.source} {ways} is expected")
        return self


def _listed(words: list[str]) -> str:
    """``a``, ``a and b``, ``a, b and c``."""
    return " and ".join(part for part in (", ".join(words[:-1]), words[-1]) if part)


def _key_of(name: str) -> str:
    return OtherCredit.model_fields[name].alias or name


class SidedressTest(Section):
    """[sidedress_test]: nitrate in the top 30 cm of the standing crop's soil, before the side-dressing.

    One result a block, or three with `ground`, which each set the side-dressing of their third of it.
    """

    sampled: dt.date = Field(
        description="Day of the test: from 10 days after planting (14 of cole crops, and 14 after residue was "
        "incorporated) to the last sensible dressing."
    )
    block: str | None = Field(
        None, description="The block it is of. Default: every block without a test of its own."
    )
    ground: Literal["thin", "middle", "thick"] | None = Field(
        None,
        description="The third of the block it is of, by the stand's biomass: it sets the side-dressing there, and "
        "all three are needed, at most 3 days apart. Default: the whole block.",
    )
    nitrate_n_ppm: Concentration | None = Field(
        None,
        alias="nitrate_n",
        description='Nitrate-N in the top 30 cm of soil (mg/kg), such as "18 ppm"; or give nitrate or strip.',
    )
    nitrate_ppm: Concentration | None = Field(
        None, alias="nitrate", description='Nitrate (NO3) in the top 30 cm of soil, such as "80 ppm".'
    )
    strip_ppm: Concentration | None = Field(
        None,
        alias="strip",
        description='What a nitrate strip reads in the extract (mg/l), such as "40 ppm"; with strip_reads, and with '
        "texture and moisture or with solution_per_soil.",
    )
    strip_reads: Literal["nitrate", "nitrate-N"] | None = Field(
        None, description="Whether the strip's colours are for nitrate (NO3) or nitrate-N; its tin says it."
    )
    texture: Literal["sand", "loam", "clay"] | None = Field(
        None, description="Texture of the soil, for an extract of 1 part soil to 3 of solution by volume."
    )
    moisture: Literal["moist", "dry"] | None = Field(
        None, description="Whether that soil was moist or dry when it was measured out."
    )
    solution_per_soil: float | None = Field(
        None,
        ge=1,
        le=20,
        description="Millilitres of solution, the soil's own water counted, for each gram of dry soil, where the "
        "extract was weighed; 1 to 20.",
    )
    threshold_ppm: Annotated[Concentration, Field(gt=0)] | None = Field(
        None,
        alias="threshold",
        description='Nitrate-N from which nothing is side-dressed, from your guide, such as "25 ppm". Default: the '
        "crop's rate table or threshold.",
    )
    rate: Literal["fill up", "steps"] | None = Field(
        None,
        description="What is side-dressed below it: as much as fills the soil up to it, for managed irrigation, or "
        "the steps of humid, rain-fed ground. Default: by [weather] irrigated; without weather the crop's rate "
        "table, else fill up.",
    )

    @model_validator(mode="after")
    def _measured_once(self) -> Self:
        given = [
            name for name in ("nitrate_n", "nitrate", "strip") if getattr(self, f"{name}_ppm") is not None
        ]
        if len(given) != 1:
            raise WrongValueError(
                f"found {' and '.join(given) or 'no nitrate'}", "nitrate_n, nitrate or strip is expected"
            )
        return self

    @model_validator(mode="after")
    def _strip_is_read(self) -> Self:
        about = ("strip_reads", "texture", "moisture", "solution_per_soil")
        told = [name for name in about if getattr(self, name) is not None]
        if self.strip_ppm is None:
            if told:
                raise WrongValueError(
                    f"found {_listed(told)} without strip", "strip, what it reads, is expected"
                )
            return self
        if self.strip_reads is None:
            raise WrongValueError(
                "strip_reads is missing",
                'strips are for nitrate or for nitrate-N, 4.43 times apart: strip_reads = "nitrate" or "nitrate-N", '
                "as its tin says, is expected",
            )
        by_volume = self.texture is not None and self.moisture is not None
        if by_volume == (self.solution_per_soil is not None):
            raise WrongValueError(
                f"found {_listed(told)} with strip",
                "texture and moisture (1 part soil to 3 of solution by volume), or solution_per_soil (weighed), is "
                "expected",
            )
        return self


Rating = Literal["low", "medium", "high"]


class SoilTest(Section):
    """[soil_test]: the laboratory's rating of phosphorus and potassium."""

    phosphorus: Rating | None = Field(
        None, description="The laboratory's rating of phosphorus. Default: not tested."
    )
    potassium: Rating | None = Field(
        None, description="The laboratory's rating of potassium. Default: not tested."
    )


class Soil(Section):
    """[soil]: how the ground holds water and nitrate."""

    texture: Annotated[str, OneOf(lambda: agronomy.ground().textures)] | None = Field(
        None,
        description="Texture: how much water the soil holds, and so how easily nitrate drains. Default loam.",
    )
    drainage: Annotated[str, OneOf(lambda: agronomy.ground().drainage)] | None = Field(
        None,
        description="Drainage class, by which a share of the nitrate is taken as lost as gas. Default: none is.",
    )


class Weather(Section):
    """[weather]: a file of daily weather, or a mean-annual course of temperature."""

    file: FileName | None = Field(
        None,
        description="File of daily weather beside plan.toml, columns date, tmin_c, tmax_c, rain_mm, and "
        "irrigation_mm where you know what was put on; or give mean, amplitude and coldest.",
    )
    mean_c: Temperature | None = Field(
        None, alias="mean", description='Mean temperature of the year, such as "11 degC".'
    )
    amplitude_c: TemperatureDifference | None = Field(
        None,
        alias="amplitude",
        description='Half the swing from the coldest to the warmest day, such as "12 delta_degC".',
    )
    coldest: dt.date | None = Field(None, description="Coldest day of the year.")
    irrigated: bool = Field(
        False,
        description="Whether the ground is kept moist. Default false; true where irrigated_by is given.",
    )
    irrigated_by: Literal["drip", "sprinkler", "furrow"] | None = Field(
        None,
        description="How it is irrigated: how much more than the crop uses drains, and whether residue on the "
        "surface is wetted. Default: not known.",
    )

    @model_validator(mode="before")
    @classmethod
    def _irrigated_somehow(cls, told: Any) -> Any:
        """A system says that the ground is irrigated."""
        if isinstance(told, dict) and told.get("irrigated_by") is not None:
            return {"irrigated": True, **told}
        return told

    @model_validator(mode="after")
    def _file_or_sine(self) -> Self:
        if self.irrigated_by is not None and not self.irrigated:
            raise WrongValueError(
                f'found irrigated = false and irrigated_by = "{self.irrigated_by}"',
                "one of the two is expected to go: ground that is not irrigated has no system",
            )
        if self.file is None and None in (self.mean_c, self.amplitude_c, self.coldest):
            raise WrongValueError("either file, or mean, amplitude and coldest together, are expected")
        return self
