"""Plan: every input and choice of one field, checked.

`plan.toml` is read into a `Plan` whose attributes carry SI units in their names; the keys of the file are the
aliases. `fieldmap.read.plan` opens the file and words what is wrong with it.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import itertools
import json
from dataclasses import replace
from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    ValidationInfo,
    field_validator,
    model_validator,
)

from fieldmap import tables, units
from fieldmap.units import rate_text


def _quantity(kind: units.Kind) -> BeforeValidator:
    return BeforeValidator(lambda found: units.parse_quantity(found, kind))


Length = Annotated[float, _quantity(units.LENGTH), units.LENGTH]
Area = Annotated[float, _quantity(units.AREA), units.AREA]
Rate = Annotated[float, _quantity(units.RATE), units.RATE]
Percent = Annotated[float, _quantity(units.PERCENT), units.PERCENT]
Speed = Annotated[float, _quantity(units.SPEED), units.SPEED]
Mass = Annotated[float, _quantity(units.MASS), units.MASS]
Seconds = Annotated[float, _quantity(units.SECONDS), units.SECONDS]
Days = Annotated[float, _quantity(units.DAYS), units.DAYS]
Heading = Annotated[float, _quantity(units.ANGLE), units.ANGLE]
Temperature = Annotated[float, _quantity(units.TEMPERATURE), units.TEMPERATURE]
TemperatureDifference = Annotated[
    float, _quantity(units.TEMPERATURE_DIFFERENCE), units.TEMPERATURE_DIFFERENCE
]
WaterDepth = Annotated[float, _quantity(units.WATER_DEPTH), units.WATER_DEPTH]
Concentration = Annotated[float, _quantity(units.CONCENTRATION), units.CONCENTRATION]
BulkDensity = Annotated[float, _quantity(units.BULK_DENSITY), units.BULK_DENSITY]
PricePerKg = Annotated[
    units.Price, BeforeValidator(lambda text: units.parse_price(text, units.MASS_PRICE_UNIT))
]
PricePerHa = Annotated[
    units.Price, BeforeValidator(lambda text: units.parse_price(text, units.AREA_PRICE_UNIT))
]


def _plain_file(name: str) -> str:
    if not name.strip() or Path(name).is_absolute() or ".." in Path(name).parts or "://" in name:
        raise ValueError(f'found "{name}"; the name of a file inside the plan folder is expected')
    return name


PatternName = Literal["trapezoid", "triangle"]


def _one_line(text: str) -> str:
    bad = sorted({character for character in text if not character.isprintable()})
    if bad:
        raise ValueError(
            f"found a line break or control character ({bad[0]!r}); text on one line is expected"
        )
    return text


Line = Annotated[str, AfterValidator(_one_line)]
FileName = Annotated[str, AfterValidator(_plain_file)]


SHARES_TOLERANCE = 0.011  # shares written with two decimals, such as 0.33 three times, are taken as one whole
YIELD_MAX_T_HA = 250.0  # no vegetable yields as much
NEED_MAX_KG_HA = 600.0  # judgement: half as much again as the largest published rate


class Section(BaseModel):
    """A table of plan.toml: frozen, no unknown keys."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)


class FieldSection(Section):
    """[field]."""

    boundary: FileName
    no_spread: FileName | None = None
    cell_m: Annotated[Length, Field(gt=0)] | None = Field(None, alias="cell")


class SamplesSection(Section):
    """[samples]."""

    file: FileName
    sampled: dt.date | None = None
    confirmed: bool = False
    covariate: tuple[FileName, ...] = ()
    crs: str | None = None
    growth: Literal["from samplings"] | None = None

    @field_validator("covariate", mode="before")
    @classmethod
    def _one_or_several(cls, found: Any) -> Any:
        return (found,) if isinstance(found, str) else found


# Mature rye straw holds some 0.4 % (from memory); below that a share was meant: 0.032 for 3.2 %.
NITROGEN_MIN_PCT = 0.3


class CoverCrop(Section):
    """[cover_crop], or what [[block]] makes of it for one block."""

    species: tuple[str, ...] = Field(min_length=1)
    stage: tuple[str, ...] | None = None
    nitrogen_pct: Annotated[Percent, Field(ge=NITROGEN_MIN_PCT, le=8)] | None = Field(None, alias="nitrogen")
    nitrogen_error_pct: Annotated[Percent, Field(le=3)] | None = Field(None, alias="nitrogen_error")
    weed_nitrogen_pct: Annotated[Percent, Field(ge=NITROGEN_MIN_PCT, le=8)] | None = Field(
        None, alias="weed_nitrogen"
    )
    nodules: Literal["pink", "few or white", "not checked"] = "not checked"
    sown: dt.date | None = None
    terminated: dt.date
    ended_by: Literal["tilled", "mown", "rolled", "sprayed", "tarped", "frost", "removed"]
    placement: Literal["incorporated", "surface", "strip-tilled"]
    tilled_share: float | None = Field(None, gt=0, lt=1)
    residue: Literal["chopped", "whole"] = "whole"
    tarped_d: Days = Field(0.0, alias="tarped")

    @field_validator("species", "stage", mode="before")
    @classmethod
    def _one_or_several(cls, found: Any) -> Any:
        return (found,) if isinstance(found, str) else found

    @field_validator("species")
    @classmethod
    def _known(cls, species: tuple[str, ...]) -> tuple[str, ...]:
        entries = [tables.find(name, tables.cover_crops()) for name in species]
        for name, entry in zip(species, entries, strict=True):
            if entry is None:
                raise ValueError(f'found "{name}"; {tables.nearest(name, tables.cover_crops())}')
        return tuple(entry.name for entry in entries if entry is not None)

    @model_validator(mode="before")
    @classmethod
    def _ended_as_placed(cls, told: Any) -> Any:
        """Without ended_by, residue that is tilled in was ended by tilling, other residue by mowing."""
        if not isinstance(told, dict) or told.get("ended_by") is not None:
            return told
        return {**told, "ended_by": "tilled" if told.get("placement") == "incorporated" else "mown"}

    @model_validator(mode="after")
    def _ending_fits(self) -> Self:
        if self.ended_by == "tilled" and self.placement == "surface":
            raise ValueError(
                'found ended_by = "tilled" with placement = "surface"; tilled residue does not lie on the surface: '
                'placement = "incorporated", or mown, rolled, sprayed, tarped or frost is expected'
            )
        return self

    @model_validator(mode="after")
    def _stage_fits(self) -> Self:
        if self.placement == "strip-tilled" and self.tilled_share is None:
            raise ValueError(
                'tilled_share is missing; with placement "strip-tilled" the share of the ground that is '
                "tilled is expected, such as tilled_share = 0.3"
            )
        if self.stage is None:
            return self
        if len(self.stage) not in (1, len(self.species)):
            raise ValueError(
                f"found {len(self.stage)} stages for {len(self.species)} species; "
                "one stage, or one for each species in the same order, is expected"
            )
        for position, entry in enumerate(self.entries):
            self._stage_of(position, entry)
        return self

    @property
    def entries(self) -> tuple[tables.CoverCropEntry, ...]:
        """The rows of the cover-crop table for its species."""
        found = (tables.find(name, tables.cover_crops()) for name in self.species)
        return tuple(entry for entry in found if entry is not None)

    @property
    def is_mixture(self) -> bool:
        """Whether a legume and another kind stand together."""
        return len({entry.kind == "legume" for entry in self.entries}) > 1

    @property
    def has_legume(self) -> bool:
        """Whether a legume stands in it."""
        return any(entry.kind == "legume" for entry in self.entries)

    @property
    def table_nitrogen_pct(self) -> tuple[float, ...] | None:
        """%N of each species at its stage, from the table; None where no stage is given."""
        if self.stage is None:
            return None
        return tuple(
            entry.nitrogen_pct[stage] for entry, stage in zip(self.entries, self.species_stages, strict=True)
        )

    @property
    def species_stages(self) -> tuple[str, ...]:
        """The stage of each species; empty where no stage is given."""
        if self.stage is None:
            return ()
        return tuple(self._stage_of(position, entry) for position, entry in enumerate(self.entries))

    @property
    def grass_stage_assumed(self) -> bool:
        """Whether a grass's stage was inferred from the legume's."""
        return any(stage not in (self.stage or ()) for stage in self.species_stages)

    def _stage_of(self, position: int, entry: tables.CoverCropEntry) -> str:
        stages = self.stage or ()
        stage = stages[position] if len(stages) == len(self.species) else stages[0]
        if stage in entry.stages:
            return stage
        if self.is_mixture and len(stages) == 1 and stage in tables.GRASS_STAGE_WITH_LEGUME:
            return tables.GRASS_STAGE_WITH_LEGUME[stage]
        raise ValueError(
            f'found stage "{stage}" for {entry.name}; one of {", ".join(entry.stages)} is expected'
        )


class CreditSection(Section):
    """[credit]."""

    method: Literal["quality", "share"] = "quality"
    share: float | None = Field(None, gt=0, le=1)
    confidence: float = Field(0.5, ge=0.5, lt=1)
    correction: float = Field(1.0, gt=0, le=2)
    release_error_pct: Annotated[Percent, Field(le=100)] = Field(20.0, alias="release_error")


class Crop(Section):
    """[crop], or what [[block]] makes of it for one block."""

    name: str
    planted: dt.date
    harvested: dt.date
    need_kg_ha: Rate = Field(alias="need")
    need_is: Literal["guide rate", "crop uptake"] = "guide rate"
    recovery: float | None = Field(None, gt=0, le=1)
    need_allows_for: tuple[Literal["organic matter", "soil nitrate", "previous legume"], ...] = ()
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
        entry = tables.find(name, tables.crops())
        if entry is None:
            raise ValueError(f'found "{name}"; {tables.nearest(name, tables.crops())}')
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
    def entry(self) -> tables.CropEntry:
        """The row of the table of vegetables, with the plan's own uptake curve where it gives one."""
        found = tables.find(self.name, tables.crops())
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


class OwnProduct(Section):
    """A product written out in the plan; what it leaves out is taken from the table where that knows the name."""

    name: Line = Field(min_length=1, max_length=32)
    nitrogen_pct: Annotated[Percent, Field(gt=0, le=82)] = Field(alias="nitrogen")
    p2o5_pct: Annotated[Percent, Field(le=100)] | None = Field(None, alias="p2o5")
    k2o_pct: Annotated[Percent, Field(le=100)] | None = Field(None, alias="k2o")
    available: float | None = Field(None, gt=0, le=1)
    bulk_density_kg_m3: BulkDensity | None = Field(None, alias="bulk_density")
    organic: bool | None = None
    raw_manure: bool | None = None

    @property
    def entry(self) -> tables.Product:
        """It as a row of the table of products, each figure with its source."""
        base = tables.find(self.name, tables.products()) or tables.Product(
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
    if isinstance(found, str) and tables.find(found, tables.products()) is None:
        raise ValueError(f'found "{found}"; {tables.nearest(found, tables.products())}')
    return OwnProduct.model_validate(found) if isinstance(found, dict) else found


Product = Annotated[str | OwnProduct, BeforeValidator(_product)]


def product_entry(product: str | OwnProduct) -> tables.Product:
    """A product that the plan names, from the table or as written out in the plan."""
    if isinstance(product, str):
        found = tables.find(product, tables.products())
        assert found is not None  # noqa: S101 - checked on entry
        return found
    return product.entry


class PanTest(Section):
    """[spreader] pan_test: what trays across one pass caught, left to right, the middle one under the machine."""

    spacing_m: Annotated[Length, Field(gt=0)] = Field(alias="spacing")
    weights: tuple[Annotated[float, Field(ge=0)], ...] = Field(min_length=5)

    @field_validator("weights")
    @classmethod
    def _most_in_the_middle(cls, weights: tuple[float, ...]) -> tuple[float, ...]:
        if len(weights) % 2 == 0:
            raise ValueError(
                f"found {len(weights)} weights; an odd number is expected, the middle tray under the machine"
            )
        if weights[len(weights) // 2] <= max(weights[0], weights[-1]):
            raise ValueError(
                "found no more in the middle tray than in an outer one; trays as far out as the spreader throws "
                "are expected"
            )
        return weights


class Spreader(Section):
    """[spreader]. Rates are of product; rate_n_min alone is of nitrogen."""

    product: Product
    swath_m: Annotated[Length, Field(gt=0, le=100)] = Field(alias="swath")
    heading_deg: Annotated[Heading, Field(lt=360)] | None = Field(None, alias="heading")
    rate_step_kg_ha: Annotated[Rate, Field(gt=0)] = Field(alias="rate_step")
    rate_min_kg_ha: Rate = Field(alias="rate_min")
    rate_max_kg_ha: Annotated[Rate, Field(gt=0)] = Field(alias="rate_max")
    rate_n_min_kg_ha: Rate = Field(0.0, alias="rate_n_min")
    zones_max: int = Field(ge=1, le=12)
    zone_min_m2: Annotated[Area, Field(gt=0)] = Field(alias="zone_min")
    rate_change_s: Seconds = Field(4.0, alias="rate_change")
    speed_m_s: Annotated[Speed, Field(gt=0, le=12)] = Field(12 / 3.6, alias="speed")
    hopper_kg: Annotated[Mass, Field(gt=0)] | None = Field(None, alias="hopper")
    outside_rate_kg_ha: Rate = Field(0.0, alias="outside_rate")
    pattern: PatternName = "trapezoid"
    pan_test: PanTest | None = None
    border_spreading: bool = False

    @model_validator(mode="after")
    def _range(self) -> Self:
        if self.rate_max_kg_ha < self.rate_min_kg_ha:
            raise ValueError("rate_max is less than rate_min")
        if self.rate_max_kg_ha < self.rate_step_kg_ha:
            raise ValueError("rate_max is less than rate_step; not one rate can be set")
        if self.outside_rate_kg_ha > self.rate_max_kg_ha:
            raise ValueError("outside_rate is more than rate_max")
        starter_kg_ha = self.rate_n_min_kg_ha / self.product_entry.nitrogen_fraction
        if starter_kg_ha > self.rate_max_kg_ha:
            raise ValueError(
                f"rate_n_min needs {starter_kg_ha:.0f} kg/ha of product, more than rate_max "
                f"({self.rate_max_kg_ha:.0f} kg/ha)"
            )
        return self

    @property
    def product_entry(self) -> tables.Product:
        """The product, from the table or as written out in the plan."""
        return product_entry(self.product)


def _share(found: Any) -> Any:
    is_share = isinstance(found, int | float) and not isinstance(found, bool) and 0 < found <= 1
    if found != "auto" and not is_share:
        raise ValueError(
            f"found {json.dumps(found, default=str)}; a share above 0 and at most 1, such as share = 0.6, or "
            'share = "auto" is expected'
        )
    return found


Share = Annotated[float | Literal["auto"], BeforeValidator(_share)]
Method = Literal["broadcast before planting", "band", "side-dress", "through drip"]


class Application(Section):
    """[[application]]: a day on which a share of the supplemental nitrogen goes out, and how.

    Without `product` of its own it is the spreader's.
    """

    date: dt.date | None = None
    share: Share = 1
    method: Method = "broadcast before planting"
    product: Product | None = None

    @property
    def through_drip(self) -> bool:
        """Whether no machine drives it."""
        return self.method == "through drip"

    @property
    def follows_planting(self) -> bool:
        """Whether it feeds a standing crop."""
        return self.method in ("side-dress", "through drip")


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


class Strips(Section):
    """[strips]: check strips."""

    number: int = Field(ge=2, le=6)
    levels: tuple[Annotated[float, Field(ge=0, le=1)], ...] = (0.0, 0.5, 1.0)

    @field_validator("levels")
    @classmethod
    def _differ(cls, levels: tuple[float, ...]) -> tuple[float, ...]:
        if len(set(levels)) < 2:
            raise ValueError(
                f"found {len(set(levels))} level; two different shares of the whole need at least are expected, "
                "such as levels = [0, 0.5, 1]"
            )
        return levels


class ThinGround(Section):
    """[thin_ground]: why the stand is thin where the map gives most, and whether that zone is held back."""

    cause: Literal["wet", "dry", "weeds", "seeding", "acid", "no nodules", "unknown"] = "unknown"
    cap: bool = False

    @model_validator(mode="after")
    def _capped_for_a_reason(self) -> Self:
        if self.cap and not self.may_limit_the_crop:
            raise ValueError(
                f'found cap = true with cause = "{self.cause}"; what thinned the cover crop will not limit the '
                "vegetable, so cap = false is expected"
            )
        return self

    @property
    def may_limit_the_crop(self) -> bool:
        """Whether the cause will, or might, hold the vegetable back too; common practice, no source."""
        return self.cause in ("wet", "dry", "acid", "unknown")


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
    sidedress_test: tuple[SidedressTest, ...] = ()
    soil_test: SoilTest = Field(default_factory=SoilTest)
    weather: Weather | None = None
    spreader: Spreader
    application: tuple[Application, ...] = Field((), max_length=6)
    prices: Prices = Field(default_factory=Prices)
    response: Response | None = None
    strips: Strips | None = None
    thin_ground: ThinGround = Field(default_factory=ThinGround)
    folder: Path = Field(exclude=True)

    @field_validator("sidedress_test", mode="before")
    @classmethod
    def _one_or_several(cls, found: Any) -> Any:
        return (found,) if isinstance(found, dict) else found

    @field_validator("block")
    @classmethod
    def _once(cls, blocks: tuple[BlockSection, ...]) -> tuple[BlockSection, ...]:
        names = [block.block for block in blocks]
        twice = sorted({name for name in names if names.count(name) > 1})
        if twice:
            raise ValueError(f'found [[block]] "{twice[0]}" twice; one [[block]] for each block is expected')
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
            raise ValueError(
                "the first application is through drip; zones are drawn for a spreader, so a first one that is "
                "broadcast, banded or side-dressed is expected"
            )
        own = product_entry(first.product) if first.product is not None else None
        if own is not None and spreader is not None and own.name != spreader.product_entry.name:
            raise ValueError(
                f"the first application spreads {own.name} and [spreader] product is "
                f"{spreader.product_entry.name}; the first is expected to spread the spreader's product: write "
                f"{own.name} into [spreader]"
            )
        return applications

    @field_validator("application")
    @classmethod
    def _in_order(cls, applications: tuple[Application, ...]) -> tuple[Application, ...]:
        dates = [one.date for one in applications if one.date is not None]
        if 1 < len(applications) != len(dates):
            raise ValueError("found several applications and not every one has a date; each is expected to")
        late = next((pair for pair in itertools.pairwise(dates) if pair[1] < pair[0]), None)
        if late is not None:
            raise ValueError(f"found {late[0]} before {late[1]}; dates in their order are expected")
        return applications

    @field_validator("application")
    @classmethod
    def _whole(cls, applications: tuple[Application, ...], info: ValidationInfo) -> tuple[Application, ...]:
        shares = [one.share for one in applications if not isinstance(one.share, str)]
        told, unknown = sum(shares), len(applications) - len(shares)
        if shares and unknown == 0 and abs(told - 1) > SHARES_TOLERANCE:
            raise ValueError(f'shares add up to {told:g}; 1, or share = "auto" for the rest, is expected')
        if unknown and told > 1 - SHARES_TOLERANCE:
            raise ValueError(
                f'shares add up to {told:g} beside share = "auto"; less than 1 is expected, so that something is '
                "left for it"
            )
        if unknown > 1 and info.data.get("weather", "unread") is None:
            raise ValueError(
                f'found share = "auto" in {unknown} applications and no [weather]; the split follows what is '
                "released against what the crop takes up, so [weather] with a file, or with mean, amplitude and "
                "coldest, is expected, or shares as numbers"
            )
        return applications

    @field_validator("response")
    @classmethod
    def _insured_once(cls, response: Response | None, told: ValidationInfo) -> Response | None:
        credit = told.data.get("credit")
        if response is not None and credit is not None and credit.confidence > 0.5:
            raise ValueError(
                f"found [credit] confidence {credit.confidence:g} beside it; a response curve already weighs "
                "being short against being over, so confidence = 0.5 is expected with it"
            )
        return response

    @field_validator("thin_ground")
    @classmethod
    def _capped_by_need(cls, thin_ground: ThinGround, told: ValidationInfo) -> ThinGround:
        if thin_ground.cap and told.data.get("response") is not None:
            raise ValueError(
                "found cap = true beside [response]; zones that follow money are not held at a flat rate: leave one "
                "of the two out"
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
