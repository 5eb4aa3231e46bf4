"""The colours of zones, ink and paper, for print and screen."""

from __future__ import annotations

from typing import TYPE_CHECKING

import matplotlib as mpl
import numpy as np
from matplotlib.colors import to_hex

if TYPE_CHECKING:
    from fieldmap.verdict import ApplicationMap


def zone_colours(one: ApplicationMap) -> dict[int, str]:
    """The colour of each zone number: even steps of cividis, the highest rate darkest."""
    number = max((zone.zone for zone in one.spread.zone_map.zones), default=0)
    return dict(zip(range(1, number + 1), colour_steps("cividis_r", number), strict=True))


def colour_steps(colormap: str, number: int) -> tuple[str, ...]:
    """Colours from light to dark; the ends, too near to white and to the boundary line, are left out."""
    places = np.linspace(0.08, 0.86, number) if number > 1 else np.array([0.35])
    return tuple(to_hex(colour) for colour in mpl.colormaps[colormap](places))


INK, PAPER = "#14202b", "#ffffff"
