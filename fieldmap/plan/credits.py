"""[[other_credits]], nitrate and soil tests, and [weather]."""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

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

    source: Annotated[str, OneOf(lambda: CREDIT_KINDS)]
    block: str | None = None
    nitrogen_kg_ha: Rate | None = Field(None, alias="nitrogen")
    nitrate_n_ppm: Concentration | None = Field(None, alias="nitrate_n")
    nitrate_ppm: Concentration | None = Field(None, alias="nitrate")
    water_mm: WaterDepth | None = Field(None, alias="water")
    depth_m: Length | None = Field(None, alias="depth")
    bulk_density_kg_m3: BulkDensity | None = Field(None, alias="bulk_density")
    organic_matter_pct: Annotated[Percent, Field(le=30)] | None = Field(None, alias="organic_matter")
    total_n_kg_ha: Rate | None = Field(None, alias="total_n")
    share: float | None = Field(None, gt=0, le=1)
    sampled: dt.date | None = None
    applied: dt.date | None = None
    raw: bool = False
    touches_soil: bool = True
    confirmed: bool = False
    crop: str | None = None
    ended: dt.date | None = None

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
            raise ValueError(f"found {found}; for {self.source} {ways} is expected")
        return self


def _listed(words: list[str]) -> str:
    """``a``, ``a and b``, ``a, b and c``."""
    return " and ".join(part for part in (", ".join(words[:-1]), words[-1]) if part)


def _key_of(name: str) -> str:
    return OtherCredit.model_fields[name].alias or name


class SidedressTest(Section):
    """[sidedress_test]: nitrate in the top foot of the standing crop's soil, before the side-dressing."""

    sampled: dt.date
    block: str | None = None
    nitrate_n_ppm: Concentration | None = Field(None, alias="nitrate_n")
    nitrate_ppm: Concentration | None = Field(None, alias="nitrate")
    threshold_ppm: Annotated[Concentration, Field(gt=0)] | None = Field(None, alias="threshold")

    @model_validator(mode="after")
    def _measured_once(self) -> Self:
        given = [name for name in ("nitrate_n", "nitrate") if getattr(self, f"{name}_ppm") is not None]
        if len(given) != 1:
            raise ValueError(f"found {' and '.join(given) or 'no nitrate'}; nitrate_n or nitrate is expected")
        return self


Rating = Literal["low", "medium", "high"]


class SoilTest(Section):
    """[soil_test]: the laboratory's rating of phosphorus and potassium."""

    phosphorus: Rating | None = None
    potassium: Rating | None = None


class Weather(Section):
    """[weather]."""

    file: FileName | None = None
    mean_c: Temperature | None = Field(None, alias="mean")
    amplitude_c: TemperatureDifference | None = Field(None, alias="amplitude")
    coldest: dt.date | None = None
    irrigated: bool = False

    @model_validator(mode="after")
    def _file_or_sine(self) -> Self:
        if self.file is None and None in (self.mean_c, self.amplitude_c, self.coldest):
            raise ValueError("either file, or mean, amplitude and coldest together, are expected")
        return self
