"""Quantities in, SI inside, metric or US out.

Parsing is pint's, with a small registry of the units of the trade: pint's own default registry would read
``10 lb/ac`` as pounds per atto-speed-of-light. One acre is the international acre, 4046.8564224 m².
"""

from __future__ import annotations

import functools
import math
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from fieldmap.errors import WrongValueError

if TYPE_CHECKING:
    from typing import Any

    import pint


UnitSystem = Literal["metric", "us"]
KG_HA_PER_LB_AC = 0.45359237 / 0.40468564224
HA_PER_ACRE = 0.40468564224
M_PER_FOOT = 0.3048
KG_PER_LB = 0.45359237
KG_PER_SHORT_TON = 2000 * KG_PER_LB

_DEFINITIONS = """
percent = [share] = % = pct
ppm = [concentration] = _ = mg_per_kg = mg_per_l
degree = [angle] = deg = degrees
metre = [length] = m = meter = meters = metres
kilometre = 1000 metre = km
centimetre = 0.01 metre = cm
millimetre = 0.001 metre = mm
foot = 0.3048 metre = ft = feet
inch = 0.0254 metre = in = inches
yard = 0.9144 metre = yd = yards
mile = 1609.344 metre = mi = miles
kilogram = [mass] = kg
gram = 0.001 kilogram = g
tonne = 1000 kilogram = t = tonnes
pound = 0.45359237 kilogram = lb = lbs = pounds
short_ton = 2000 pound = _ = short_tons
hectare = 10000 metre ** 2 = ha = hectares
acre = 4046.8564224 metre ** 2 = ac = acres
second = [time] = s = seconds
minute = 60 second = min = minutes
hour = 3600 second = h = hours
day = 86400 second = d = days
mile_per_hour = mile / hour = mph
degree_celsius = [temperature] = _ = degC
delta_degree_celsius = 1 degree_celsius = _ = delta_degC
degree_fahrenheit = 5 / 9 * degree_celsius; offset: -160 / 9 = _ = degF
"""


@dataclass(frozen=True)
class Kind:
    """A kind of quantity that a plan may hold.

    Parameters
    ----------
    name
        What it is, with its article: ``a rate``.
    unit
        The unit used inside the code.
    examples
        How a user may write it.
    signed
        Whether it may be negative.
    """

    name: str
    unit: str
    examples: tuple[str, ...]
    signed: bool = False

    @property
    def wanted(self) -> str:
        """What is expected, in words."""
        return f"{self.name} with its unit is expected, such as " + " or ".join(
            f'"{e}"' for e in self.examples
        )

    def unit_in(self, units: UnitSystem) -> str:
        """The unit that people of a unit system write it in: that of the first or of the last example."""
        return self.examples[0 if units == "metric" else -1].split(" ", 1)[1]


LENGTH = Kind("a length", "m", ("18 m", "60 ft"))
AREA = Kind("an area", "m**2", ("0.2 ha", "0.5 ac"))
RATE = Kind("a rate", "kg/ha", ("168 kg/ha", "150 lb/ac"))
PERCENT = Kind("a share", "percent", ("3.6 %",))
SPEED = Kind("a speed", "m/s", ("12 km/h", "9 mph"))
MASS = Kind("a weight", "kg", ("1400 kg", "3000 lb"))
SECONDS = Kind("a time", "s", ("4 s",))
DAYS = Kind("a number of days", "d", ("21 d",))
ANGLE = Kind("a heading", "deg", ("32 deg",))
TEMPERATURE = Kind("a temperature", "degC", ("11 degC", "52 degF"), signed=True)
TEMPERATURE_DIFFERENCE = Kind("a temperature difference", "delta_degC", ("12 delta_degC", "22 delta_degF"))
BULK_DENSITY = Kind("a bulk density", "kg/m**3", ("750 kg/m3",))
WATER_DEPTH = Kind("a depth of water", "mm", ("250 mm", "10 in"))
CONCENTRATION = Kind("a concentration", "ppm", ("8 ppm",))
KINDS = {
    kind.name: kind
    for kind in (
        LENGTH, AREA, RATE, PERCENT, SPEED, MASS, SECONDS, DAYS, ANGLE, TEMPERATURE, TEMPERATURE_DIFFERENCE,
        BULK_DENSITY, WATER_DEPTH, CONCENTRATION,
    )
}  # fmt: skip
MASS_PRICE_UNIT = Kind("a weight", "kg", ("t", "short_ton", "lb"))
AREA_PRICE_UNIT = Kind("an area", "ha", ("ha", "ac"))


@functools.cache
def _registry() -> pint.UnitRegistry[Any]:
    import pint  # a quarter of a second: only when a plan is read

    registry: pint.UnitRegistry[Any] = pint.UnitRegistry(None)
    for line in _DEFINITIONS.strip().splitlines():
        registry.define(line)
    return registry


_UNIT = re.compile(r"^[A-Za-z_%]+[23²³]?(\s*/\s*[A-Za-z_]+[23²³]?)?$")
QUANTITY_PATTERN = r"^\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*([^\d\s,.].*?)\s*$"
_QUANTITY = re.compile(QUANTITY_PATTERN)


def parse_quantity(text: object, kind: Kind) -> float:
    """Read a quantity such as ``"150 lb/ac"`` into the unit of its kind.

    Raises
    ------
    WrongValueError
        With what was found and which unit would do.
    """
    found = f'found "{text}"' if isinstance(text, str) else f"found {text}"
    if not isinstance(text, str) or (match := _QUANTITY.match(text)) is None:
        raise WrongValueError(found, f"{kind.wanted}{comma_hint(text)}")
    number, unit = float(match[1]), match[2]
    value = _into_kind(number, unit, kind, found)
    if not math.isfinite(value):
        raise WrongValueError(found, kind.wanted)
    if value < 0 and not kind.signed:
        raise WrongValueError(found, f"{kind.name} cannot be negative")
    return value


def comma_hint(text: object) -> str:
    """What to say to a number with a comma in it: 1,5 or 1,400 could be either."""
    return ", with a point for decimals and no comma" if isinstance(text, str) and "," in text else ""


def _into_kind(number: float, unit: str, kind: Kind, found: str) -> float:
    """A number of `unit` as one of the kind's unit."""
    import pint

    expected = f'the unit "{unit}" does not do here: {kind.wanted}'
    if not _UNIT.match(unit):  # pint evaluates powers, and this text may come from an upload
        raise WrongValueError(found, expected)
    registry = _registry()
    try:
        written = registry.parse_units(_spelled_out(unit))
        value, zero = (float(registry.Quantity(each, written).to(kind.unit).m) for each in (number, 0.0))
    except (pint.errors.PintError, ValueError) as error:
        raise WrongValueError(found, expected) from error
    if zero != 0.0 and kind is not TEMPERATURE:  # degrees on a scale are no difference of temperatures
        raise WrongValueError(found, expected)
    return value


def _spelled_out(unit: str) -> str:
    """A unit as pint parses it: powers with their sign."""
    return re.sub(r"\b(m|cm|mm|ft|in)([23])\b", r"\1**\2", unit.replace("²", "2").replace("³", "3"))


def shown_quantity(text: object, kind: Kind, units: UnitSystem) -> float:
    """A written quantity as a number of the unit that is shown: as written, or converted to four figures.

    Raises
    ------
    WrongValueError
        As `parse_quantity`.
    """
    value, unit = parse_quantity(text, kind), kind.unit_in(units)
    number, written_in = str(text).strip().split(maxsplit=1) if " " in str(text).strip() else ("", "")
    if written_in == unit:
        return float(number)
    registry = _registry()
    shown = registry.Quantity(value, kind.unit).to(registry.parse_units(_spelled_out(unit))).m
    return float(f"{shown:.4g}")


@dataclass(frozen=True)
class Price:
    """An amount of money per kilogram or per hectare, in one ISO 4217 currency."""

    amount: float
    currency: str


PRICE_PATTERN = r"^\s*(\d+\.?\d*|\.\d+)\s*([A-Z]{3})\s*/\s*(.+?)\s*$"
_PRICE = re.compile(PRICE_PATTERN)


def parse_price(text: object, per: Kind) -> Price:
    """Read a price such as ``"620 USD/t"`` as money per kg (or per ha, as `per` says)."""
    example = " or ".join(f'"620 USD/{unit}"' for unit in per.examples)
    found = f'found "{text}"' if isinstance(text, str) else f"found {text}"
    match = _PRICE.match(text) if isinstance(text, str) else None
    if match is None:
        raise WrongValueError(found, f"a price with currency and unit is expected, such as {example}")
    return Price(float(match[1]) / _into_kind(1.0, match[3], per, found), match[2])


def rate_unit(units: UnitSystem) -> str:
    """The unit of a rate, as shown."""
    return "lb/ac" if units == "us" else "kg/ha"


def shown_rate(rate_kg_ha: float, units: UnitSystem) -> float:
    """A rate in kg/ha, in the unit shown."""
    return rate_kg_ha / KG_HA_PER_LB_AC if units == "us" else rate_kg_ha


def rate_text(rate_kg_ha: float, units: UnitSystem) -> str:
    """``68 lb/ac`` or ``76 kg/ha``."""
    return f"{whole(shown_rate(rate_kg_ha, units))} {rate_unit(units)}"


def rate_range_text(low_kg_ha: float, high_kg_ha: float, units: UnitSystem) -> str:
    """``60 to 90 kg/ha``; one rate where both come to the same whole number: ``90 kg/ha``."""
    high, low = rate_text(high_kg_ha, units), whole(shown_rate(low_kg_ha, units))
    return high if high.split()[0] == low else f"{low} to {high}"


def area_text(area_ha: float, units: UnitSystem) -> str:
    """``35.1 ac`` or ``14.2 ha``."""
    return f"{area_ha / HA_PER_ACRE:.1f} ac" if units == "us" else f"{area_ha:.1f} ha"


def temperature_text(celsius: float, units: UnitSystem) -> str:
    """``59 °F`` or ``15 °C``."""
    return f"{whole(32.0 + 1.8 * celsius)} °F" if units == "us" else f"{whole(celsius)} °C"


def length_text(metres: float, units: UnitSystem) -> str:
    """``53 ft`` or ``16 m``."""
    return f"{whole(metres / M_PER_FOOT)} ft" if units == "us" else f"{whole(metres)} m"


def water_text(depth_mm: float, units: UnitSystem) -> str:
    """``9.8 in`` or ``250 mm`` of water."""
    return f"{depth_mm / 25.4:.1f} in" if units == "us" else f"{whole(depth_mm)} mm"


def mass_text(mass_kg: float, units: UnitSystem) -> str:
    """``4,680 lb`` or ``2,120 kg``."""
    return f"{whole(mass_kg / KG_PER_LB)} lb" if units == "us" else f"{whole(mass_kg)} kg"


def money_text(amount_ha: float, currency: str, units: UnitSystem) -> str:
    """``USD 38/ha`` or ``USD 15/ac``, from money a hectare."""
    amount = amount_ha * HA_PER_ACRE if units == "us" else amount_ha
    return f"{currency}\N{NO-BREAK SPACE}{whole(amount)}/{'ac' if units == 'us' else 'ha'}"


def whole(value: float) -> str:
    """A whole number without a minus before zero."""
    return f"{round(value) + 0:,d}"
