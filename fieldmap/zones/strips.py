"""Check strips: two swaths at a stated rate across the zones, so that growers can test the credit on their ground."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from fieldmap.budget import given_kg_ha
from fieldmap.field import burn, lookup
from fieldmap.spreader import nearest_rate_kg_ha, product_rates_kg_ha
from fieldmap.zones.draw import PLANE_AREA_MARGIN
from fieldmap.zones.polygons import ZonePart

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray
    from shapely.geometry import Polygon

    from fieldmap.budget import BlockNeed
    from fieldmap.field import Field
    from fieldmap.plan import Spreader, Strips
    from fieldmap.spreader import Pass
    from fieldmap.zones.draw import DrawnZones

    Floats = NDArray[np.float64]


SWATHS = 2  # so wide that the middle gets nothing from its neighbours
SHORT_M, SHORT_SWATHS = (
    30.0,
    4,
)  # a strip without nitrogen: so long at its rate, or so many swaths; judgement, no source
LONG = 2.0  # the others are so much longer
APART_SWATHS = 2  # at the zones' own rate between strips, to compare with
ONE_ZONE = 0.5  # a place that crosses no zone border is worth so much of one that does


@dataclass(frozen=True)
class Strip:
    """A check strip, in the field's CRS; `level` is the share of the whole need that it gets.

    `middle` is the ground one swath wide, clear of the rate changes at its ends: what to harvest and compare.
    """

    number: int
    level: float
    block: int
    product_kg_ha: float
    geometry: Polygon
    middle: Polygon


def place_strips(
    zones: DrawnZones,
    se_kg_ha: Floats,
    *,
    strips: Strips | None,
    needs: Sequence[BlockNeed],
    passes: Sequence[Pass],
    field: Field,
    spreader: Spreader,
) -> tuple[Strip, ...]:
    """Lay check strips where the credit's standard error matters most.

    Along the heading, each over two whole passes; in one block as long as it has room, the one with the most
    doubt in all. Never on headlands or in no-spread areas, never across blocks, and no piece of a zone that they
    leave is smaller than the least zone. Fewer than wanted where there is no room.

    Parameters
    ----------
    zones
        What the strips are cut out of.
    se_kg_ha
        Standard error of the credit, raster (rows, columns).
    strips
        How many, and at which shares of the whole need; None for none.
    needs, passes, field, spreader
        The need of each block, the passes that will be driven, the field, the machine.
    """
    lines = _Lines.of(passes, spreader.swath_m)
    if strips is None or lines is None:
        return ()
    room = _Room(zones.shapes, spreader.zone_min_m2 * PLANE_AREA_MARGIN, APART_SWATHS * spreader.swath_m)
    zone = _zone_raster(zones, field)
    doubt = [float(np.nansum(np.where(field.spread_index == k, se_kg_ha**2, 0.0))) for k in range(len(needs))]
    wanted = strip_levels(strips.number, strips.levels)
    laid: list[Strip] = []
    for block in np.argsort(doubt)[::-1].tolist():
        inner = field.blocks[block].spread.buffer(-spreader.swath_m)
        for level in wanted[len(laid) :]:
            for length_m in _lengths_m(level, spreader):
                places = lines.places(inner, length_m)
                score = _scores(places, se_kg_ha, zone, field)
                found = room.first([places[k] for k in np.argsort(-score, kind="stable")], block)
                if found is not None:
                    break
            if found is None:
                break
            laid.append(
                Strip(
                    number=len(laid) + 1,
                    level=level,
                    block=block,
                    product_kg_ha=_rate_kg_ha(
                        level, needs[block], 0.0, spreader, cells=burn([found.shape], field.grid) == 0
                    ),
                    geometry=found.shape,
                    middle=found.shortened(change_m(spreader)).widened(1 / SWATHS).shape,
                )
            )
    return tuple(laid)


def change_m(spreader: Spreader) -> float:
    """Distance that a rate change takes at the machine's speed."""
    return spreader.rate_change_s * spreader.speed_m_s


def strip_levels(number: int, levels: Sequence[float]) -> list[float]:
    """The level of each strip: all of the levels in turn; of more than there are strips, evenly chosen."""
    if number < len(levels):
        return [levels[k] for k in np.round(np.linspace(0, len(levels) - 1, number)).astype(int).tolist()]
    return [levels[k % len(levels)] for k in range(number)]


def _lengths_m(level: float, spreader: Spreader) -> tuple[float, ...]:
    """Lengths to try, the best first; a strip without nitrogen is kept short."""
    short = max(SHORT_M + 2 * change_m(spreader), SHORT_SWATHS * spreader.swath_m)
    return (short,) if level == 0 else (LONG * short, (1 + LONG) / 2 * short, short)


def strips_again(
    strips: Sequence[Strip], needs: Sequence[BlockNeed], field: Field, spreader: Spreader
) -> tuple[Strip, ...]:
    """The strips of an earlier application, on the same ground, at the rates of this one."""
    given = given_kg_ha(needs, field)
    cells = burn([one.geometry for one in strips], field.grid)
    return tuple(
        replace(
            one,
            product_kg_ha=_rate_kg_ha(
                one.level, needs[one.block], float(given[cells == k].mean()), spreader, cells=cells == k
            ),
        )
        for k, one in enumerate(strips)
    )


def _rate_kg_ha(
    level: float, need: BlockNeed, given_n_kg_ha: float, spreader: Spreader, *, cells: NDArray[np.bool_]
) -> float:
    """Product at a share of the whole need less the other credits: the cover crop is not credited.

    After tests by ground it is a share of what they call for, mean of the strip's cells.
    """
    whole_n_kg_ha = max(0.0, need.need_kg_ha - need.other_credits_kg_ha) / need.recovery
    if need.tested_n_kg_ha is not None:
        whole_n_kg_ha = float(np.broadcast_to(need.tested_n_kg_ha, cells.shape)[cells].mean())
    left_n_kg_ha = max(0.0, level * whole_n_kg_ha - given_n_kg_ha)
    wanted = need.share * left_n_kg_ha / spreader.product_entry.nitrogen_fraction
    return nearest_rate_kg_ha(wanted, product_rates_kg_ha(spreader))


def _zone_raster(zones: DrawnZones, field: Field) -> Floats:
    """The level of each cell, NaN where nothing is spread."""
    index = burn([shape.geometry for shape in zones.shapes], field.grid)
    return lookup([float(shape.zone) for shape in zones.shapes], index)


@dataclass(frozen=True)
class _Place:
    """A rectangle along the heading: its middle, half its sides as vectors along and across."""

    centre: Floats
    along: Floats
    across: Floats

    @property
    def shape(self) -> Polygon:
        one, other = self.along + self.across, self.along - self.across
        corners = np.array([self.centre + one, self.centre + other, self.centre - one, self.centre - other])
        return shapely.orient_polygons(shapely.Polygon(corners))

    def shortened(self, metres: float) -> _Place:
        """As much shorter at either end, but never gone."""
        half = float(np.hypot(*self.along))
        return _Place(self.centre, self.along * max(half - metres, half / 4) / half, self.across)

    def widened(self, share: float) -> _Place:
        return _Place(self.centre, self.along, self.across * share)

    def points(self, spacing_m: float) -> Floats:
        """Points along the middles of its two passes, (points, 2)."""
        steps = np.linspace(-1.0, 1.0, max(2, int(2 * np.hypot(*self.along) / spacing_m)))[:, None]
        return np.vstack([self.centre + side * self.across + steps * self.along for side in (-0.5, 0.5)])


@dataclass(frozen=True)
class _Lines:
    """The parallel passes: unit vector along, and how far across each lies, by which strips are aligned."""

    along: Floats
    across: Floats
    offsets_m: Floats
    swath_m: float

    @classmethod
    def of(cls, passes: Sequence[Pass], swath_m: float) -> _Lines | None:
        straight = [np.array(one.line.coords) for one in passes if not one.headland]
        if not straight:
            return None
        direction = straight[0][-1] - straight[0][0]
        along = direction / np.hypot(*direction)
        across = np.array([along[1], -along[0]])
        offsets = np.unique(np.round([float(line[0] @ across) for line in straight], 3))
        return cls(along, across, offsets, swath_m)

    def places(self, ground: shapely.geometry.base.BaseGeometry, length_m: float) -> list[_Place]:
        """Every place for a strip of a length on the ground, half a swath apart along the heading."""
        reach = shapely.get_coordinates(ground) @ self.along
        if not reach.size:
            return []
        starts = np.arange(reach.min(), reach.max() - length_m, self.swath_m / 2)
        pairs = [low for low, high in zip(self.offsets_m[:-1], self.offsets_m[1:], strict=True)
                 if abs(high - low - self.swath_m) < 0.01]  # fmt: skip
        places = [
            _Place(
                (low + self.swath_m / 2) * self.across + (start + length_m / 2) * self.along,
                self.along * length_m / 2,
                self.across * self.swath_m,
            )
            for low in pairs
            for start in starts
        ]
        shapely.prepare(ground)
        held = shapely.contains(ground, np.array([place.shape for place in places], dtype=object))
        return [place for place, inside in zip(places, held, strict=True) if inside]


def _scores(places: Sequence[_Place], se_kg_ha: Floats, zone: Floats, field: Field) -> Floats:
    """Mean squared standard error of the credit, kept whole only where the place crosses zones."""
    scores = []
    for place in places:
        points = place.points(field.grid.cell_m)
        doubt = np.nanmean(field.grid.values_at(points, se_kg_ha) ** 2)
        zones = field.grid.values_at(points, zone)
        crosses = np.unique(zones[np.isfinite(zones)]).size > 1
        scores.append(float(doubt) * (1.0 if crosses else ONE_ZONE))
    return np.array(scores)


class _Room:
    """What the zones have left for strips; each strip that is placed takes its ground."""

    def __init__(self, shapes: Sequence[ZonePart], minimum_m2: float, apart_m: float) -> None:
        self.parts = [ZonePart(shape.zone, shape.block, shape.geometry) for shape in shapes]
        self.minimum_m2, self.apart_m = minimum_m2, apart_m
        self.taken: list[Polygon] = []

    def first(self, places: Sequence[_Place], block: int) -> _Place | None:
        """The first place that keeps off other strips and leaves no piece of a zone too small; it is taken."""
        for place in places:
            shape = place.shape
            if any(shape.distance(other) < self.apart_m - 0.01 for other in self.taken):
                continue
            left = self._left(shape, block)
            if left is not None:
                self.parts = left
                self.taken.append(shape)
                return place
        return None

    def _left(self, strip: Polygon, block: int) -> list[ZonePart] | None:
        left = []
        for part in self.parts:
            if part.block != block or not part.geometry.intersects(strip):
                left.append(part)
                continue
            pieces = [piece for piece in shapely.get_parts(part.geometry - strip) if piece.area > 0]
            if not pieces or min(piece.area for piece in pieces) < min(self.minimum_m2, part.geometry.area):
                return None
            left += [ZonePart(part.zone, part.block, piece) for piece in pieces]
        return left
