"""The zones of one application as drawn, what comes of them, and what is said of them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fieldmap.budget import Application
    from fieldmap.credit import CreditDraws
    from fieldmap.spreader import Delivery, Load, Pass
    from fieldmap.verdict.binding import Binding
    from fieldmap.verdict.deliverable import Offer
    from fieldmap.verdict.flat_rates import FlatRate
    from fieldmap.verdict.limits import Limits
    from fieldmap.verdict.nutrients import Along
    from fieldmap.verdict.strips import StripFindings
    from fieldmap.zones import LevelSet, Part, Strip, Width, ZoneMap


@dataclass(frozen=True)
class DrawnMap:
    """The map of one application: its zones, how the machine carries them, and one rate to compare them with.

    `draws` are of the credit at points of its zones, `laid` its check strips, `flats` one rate a block, reckoned in
    several ways; the first is the best that can be had without a map. `binding` is what it is held to.
    """

    level_sets: tuple[LevelSet, ...]
    width: Width
    zone_map: ZoneMap
    draws: CreditDraws
    passes: tuple[Pass, ...]
    loads: tuple[Load, ...]
    laid: tuple[Strip, ...]
    strips: tuple[StripFindings, ...]
    limits: Limits
    delivery: Delivery
    binding: Binding
    offer: Offer | None
    flats: tuple[FlatRate, ...]
    along: tuple[Along, ...]

    @property
    def flat(self) -> FlatRate:
        """One rate a block, as it would be spread without a map."""
        return self.flats[0]

    @property
    def parts(self) -> tuple[Part, ...]:
        """Every polygon of every zone and check strip, in the order of all files."""
        return tuple(part for row in self.zone_map.rows for part in row.parts)


@dataclass(frozen=True)
class ApplicationMap:
    """One of the plan's applications, with its map.

    `shares` are of each block's supplemental. `left_n_kg` is how much nitrogen
    its zones, on the steps and within the limits of the machine, are short of what they were to get; below zero
    where they get more.
    """

    application: Application
    shares: tuple[float, ...]
    left_n_kg: float
    spread: DrawnMap
