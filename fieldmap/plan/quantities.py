"""Quantities with a unit, each with its SI unit and its range; the base of every section."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    GetCoreSchemaHandler,
    GetJsonSchemaHandler,
)
from pydantic_core import PydanticCustomError, core_schema

from fieldmap import units
from fieldmap.errors import WrongValueError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable


def _quantity(kind: units.Kind) -> BeforeValidator:
    return BeforeValidator(
        lambda found: units.parse_quantity(found, kind),
        json_schema_input_type=Annotated[
            str, Field(title=kind.name, examples=list(kind.examples), pattern=units.QUANTITY_PATTERN)
        ],
    )


def _price(per: units.Kind) -> BeforeValidator:
    examples = [f"620 USD/{unit}" for unit in per.examples]
    return BeforeValidator(
        lambda found: units.parse_price(found, per),
        json_schema_input_type=Annotated[
            str, Field(title="a price", examples=examples, pattern=units.PRICE_PATTERN)
        ],
    )


Length = Annotated[float, _quantity(units.LENGTH)]
Area = Annotated[float, _quantity(units.AREA)]
Rate = Annotated[float, _quantity(units.RATE)]
Percent = Annotated[float, _quantity(units.PERCENT)]
Speed = Annotated[float, _quantity(units.SPEED)]
Mass = Annotated[float, _quantity(units.MASS)]
Seconds = Annotated[float, _quantity(units.SECONDS)]
Days = Annotated[float, _quantity(units.DAYS)]
Heading = Annotated[float, _quantity(units.ANGLE)]
Temperature = Annotated[float, _quantity(units.TEMPERATURE)]
TemperatureDifference = Annotated[float, _quantity(units.TEMPERATURE_DIFFERENCE)]
WaterDepth = Annotated[float, _quantity(units.WATER_DEPTH)]
Concentration = Annotated[float, _quantity(units.CONCENTRATION)]
BulkDensity = Annotated[float, _quantity(units.BULK_DENSITY)]
PricePerKg = Annotated[units.Price, _price(units.MASS_PRICE_UNIT)]
PricePerHa = Annotated[units.Price, _price(units.AREA_PRICE_UNIT)]


def _plain_file(name: str) -> str:
    if not name.strip() or Path(name).is_absolute() or ".." in Path(name).parts or "://" in name:
        raise WrongValueError(f'found "{name}"', "the name of a file inside the plan folder is expected")
    return name


def _one_line(text: str) -> str:
    bad = sorted({character for character in text if not character.isprintable()})
    if bad:
        raise WrongValueError(
            f"found a line break or control character ({bad[0]!r})", "text on one line is expected"
        )
    return text


Line = Annotated[str, AfterValidator(_one_line)]
FileName = Annotated[str, AfterValidator(_plain_file)]


@dataclass(frozen=True)
class OneOf:
    """One of the words of a table, looked up as a plan is read: an entry more there is a word more here."""

    words: Callable[[], Iterable[str]]

    def __get_pydantic_core_schema__(
        self, source: type[Any], handler: GetCoreSchemaHandler
    ) -> core_schema.CoreSchema:
        return core_schema.no_info_before_validator_function(self._known, handler(source))

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        return {**handler(schema), "enum": [*self.words()]}

    def _known(self, found: object) -> object:
        words = [*self.words()]
        if found in words:
            return found
        *others, last = map(repr, words)
        expected = f"{', '.join(others)} or {last}" if others else last
        # In the words of pydantic for a choice that is written out.
        raise PydanticCustomError("literal_error", "Input should be {expected}", {"expected": expected})


class Section(BaseModel):
    """A table of plan.toml: frozen, no unknown keys."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)
