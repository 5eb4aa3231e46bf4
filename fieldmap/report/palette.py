"""The colours of zones and surfaces, ink and paper, the same in print and on the screen.

Darker means more, everywhere. Colours are matplotlib's cividis, viridis and greys: in order of lightness, so that
they survive colour blindness and a grey printer.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import matplotlib as mpl
import numpy as np
from matplotlib.colors import to_hex
from matplotlib.ticker import MaxNLocator

from fieldmap.units import shown_rate

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fieldmap.units import UnitSystem
    from fieldmap.verdict import ApplicationMap


RATE, STAND, DOUBT = (
    "cividis_r",
    "viridis_r",
    "Greys",
)  # what is spread, what the stand holds, standard errors
INK, PAPER = "#14202b", "#ffffff"
STRIP_INK = "#8a1c4a"  # round check strips: apart from every step of cividis, in lightness too
CLASSES_MAX = 6  # rows of a legend that a phone still has room for
ROUND_STEPS = (1, 1.5, 2, 2.5, 3, 4, 5, 10)


def zone_colours(one: ApplicationMap) -> dict[int, str]:
    """The colour of each zone number: even steps, the highest rate darkest."""
    number = max((zone.zone for zone in one.spread.zone_map.zones), default=0)
    return dict(zip(range(1, number + 1), colour_steps(RATE, number), strict=True))


def colour_steps(colormap: str, number: int) -> tuple[str, ...]:
    """Colours from light to dark; the ends, too near to white and to the boundary line, are left out."""
    places = np.linspace(0.08, 0.86, number) if number > 1 else np.array([0.35])
    return tuple(to_hex(colour) for colour in mpl.colormaps[colormap](places))


def classes(
    raster_kg_ha: NDArray[np.float64], colormap: str, units: UnitSystem
) -> tuple[list[float], tuple[str, ...]]:
    """Round borders of the classes of a raster, in the user's unit, and the colour of each from low to high."""
    low, high = (shown_rate(float(end(raster_kg_ha)), units) for end in (np.nanmin, np.nanmax))
    borders = round_borders(low, high)
    return borders, colour_steps(colormap, len(borders) - 1)


def round_borders(low: float, high: float) -> list[float]:
    """Borders of at most six classes from `low` to `high`, on whole steps such as 1, 2, 5, 10, 15, 20, 25."""
    first, beyond = math.floor(low), math.floor(high) + 1  # legends show whole numbers
    found = (
        MaxNLocator(number, steps=ROUND_STEPS, integer=True, min_n_ticks=1).tick_values(first, beyond)
        for number in range(CLASSES_MAX, 0, -1)
    )
    # To cover both ends the locator may give one class more than it is asked for.
    return [float(border) for border in next(each for each in found if len(each) - 1 <= CLASSES_MAX)]
