"""[[other_credits]], nitrate and soil tests, and [weather]."""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from fieldmap.errors import WrongValueError
from fieldmap.plan.quantities import (
    BulkDensity,
    Concentration,
    FileName,
    Length,
    Percent,
    Rate,
    Section,
    Temperature,
    TemperatureDifference,
    WaterDepth,
)

OtherSource = Literal[
    "irrigation water",
    "soil nitrate",
    "soil organic matter",
    "compost",
    "manure",
    "previous legume",
    "starter",
    "earlier years",
]
# Which keys tell how much, by source: one of the sets in full. `nitrogen` alone always does.
_AMOUNTS: dict[str, tuple[frozenset[str], ...]] = {
    "irrigation water": (frozenset({"nitrate_n_ppm", "water_mm"}), frozenset({"nitrate_ppm", "water_mm"})),
    "soil nitrate": (frozenset({"nitrate_n_ppm", "depth_m"}), frozenset({"nitrate_ppm", "depth_m"})),
    "soil organic matter": (frozenset({"organic_matter_pct"}),),
    "compost": (frozenset({"total_n_kg_ha", "applied"}),),
    "manure": (frozenset({"total_n_kg_ha", "share", "applied"}),),
    "previous legume": (frozenset({"nitrogen_kg_ha", "crop", "ended"}),),
}

_AMOUNT_KEYS = frozenset().union(*(keys for sets in _AMOUNTS.values() for keys in sets)) - {
    "applied",
    "crop",
    "ended",
}


class OtherCredit(Section):
    """[[other_credits]]: nitrogen the crop gets from elsewhere, as an amount or as what was measured."""

    source: OtherSource
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

    @model_validator(mode="after")
    def _tells_how_much(self) -> Self:
        given = {name for name in self.model_fields_set if getattr(self, name) is not None}
        sets = _AMOUNTS.get(self.source, ())
        plain = frozenset({"nitrogen_kg_ha"})
        if self.source != "previous legume":
            sets = (*sets, plain)
        amounts = given & _AMOUNT_KEYS | given & plain
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
            raise WrongValueError(
                f"found {' and '.join(given) or 'no nitrate'}", "nitrate_n or nitrate is expected"
            )
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
            raise WrongValueError("either file, or mean, amplitude and coldest together, are expected")
        return self
