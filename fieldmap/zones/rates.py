"""One rate a zone: its mean credit with interval, the caution asked for, nitrogen and product."""

from __future__ import annotations

import functools
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely
from scipy.special import ndtri

from fieldmap.budget import missing_kg_ha
from fieldmap.credit import CREDIT
from fieldmap.field import burn, lookup, per_block, true_area_ha
from fieldmap.spreader import Brought, nearest_rate_kg_ha, nitrogen_rate_kg_ha, product_rates_kg_ha
from fieldmap.zones.polygons import cut_out
from fieldmap.zones.thin_ground import hold_back

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray
    from shapely.geometry import Polygon

    from fieldmap.agronomy import Product
    from fieldmap.budget import BlockNeed, response
    from fieldmap.credit import CreditDraws, CreditMap
    from fieldmap.field import Field, Grid
    from fieldmap.plan import Spreader
    from fieldmap.zones.draw import DrawnZones
    from fieldmap.zones.polygons import ZonePart
    from fieldmap.zones.strips import Strip
    from fieldmap.zones.thin_ground import HighestZone


Z_90 = float(ndtri(0.95))  # a 90 % interval reaches this many standard errors to either side


@dataclass(frozen=True)
class Part:
    """One polygon of a zone, in the field's CRS, with its true area and the product it takes."""

    geometry: Polygon
    area_ha: float
    product_kg: float


@dataclass(frozen=True)
class Zone:
    """One zone within one block; `zone` numbers rise with the rate and count over the field.

    Nitrogen and product are separate: `rate_n_kg_ha` is nitrogen, `product_kg_ha` what is spread. The
    intervals are 90 % intervals of the zone's mean credit. A check strip is a row like a zone, with `strip` true
    and numbers that follow the zones'. `brought` is what comes with the product besides, None where nothing does.
    """

    zone: int
    block: str
    crop: str
    area_ha: float
    need_kg_ha: float
    credit_kg_ha: float
    credit_low_kg_ha: float
    credit_high_kg_ha: float
    credit_low_sampling_kg_ha: float
    credit_high_sampling_kg_ha: float
    credit_used_kg_ha: float
    other_credits_kg_ha: float
    rate_n_kg_ha: float
    product: str
    product_kg_ha: float
    product_kg: float
    parts: tuple[Part, ...]
    strip: bool = False
    brought: Brought | None = None


@dataclass(frozen=True)
class ZoneMap:
    """The zones as a table and as rasters (rows, columns), NaN where nothing is spread.

    Zones and check strips together cover what is spread. Rasters hold what is spread on either, `in_strip` tells
    them apart; `zone_rate_n_kg_ha` is what the zones would give everywhere, `withheld_n_kg_ha` what a cap on thin
    ground keeps back. `highest` is the zone with the highest rate, where that lies above the flat rate.
    """

    zones: tuple[Zone, ...]
    strips: tuple[Zone, ...]
    credit_used_kg_ha: NDArray[np.float64]
    rate_n_kg_ha: NDArray[np.float64]
    product_kg_ha: NDArray[np.float64]
    in_strip: NDArray[np.bool_]
    zone_rate_n_kg_ha: NDArray[np.float64]
    withheld_n_kg_ha: NDArray[np.float64]
    highest: HighestZone | None

    @property
    def rows(self) -> tuple[Zone, ...]:
        """Zones, then check strips: all that is spread."""
        return *self.zones, *self.strips

    def product_at(self, grid: Grid) -> Callable[[NDArray[np.float64]], NDArray[np.float64]]:
        """Product rate at points (n, 2) of the field, 0 where nothing is spread."""
        return lambda points: np.nan_to_num(grid.values_at(points, self.product_kg_ha))


@dataclass(frozen=True)
class MeanCredit:
    """Mean credit of some cells, kg N/ha, with the standard errors of that mean."""

    kg_ha: float
    se_sampling: float
    se_release: float
    se_break_even: float

    @property
    def se(self) -> float:
        """Of all together."""
        return float(np.sqrt(self.se_sampling**2 + self.se_release**2 + self.se_break_even**2))

    @property
    def interval(self) -> tuple[float, float]:
        """Its 90 % interval, not below what residue ties up at most."""
        low = max(self.kg_ha - Z_90 * self.se, min(self.kg_ha, -CREDIT.tied_up_max_kg_ha))
        return low, self.kg_ha + Z_90 * self.se


def area_numbers(zones: DrawnZones, field: Field) -> NDArray[np.int64]:
    """A number for each zone within each block (rows, columns), -1 where nothing is spread."""
    level = _level_raster(zones.shapes, field)
    return np.where(level >= 0, level * len(field.blocks) + field.block_index, -1)


def rate_zones(
    zones: DrawnZones,
    credit: CreditMap,
    draws: CreditDraws,
    strips: Sequence[Strip] = (),
    *,
    biomass_kg_ha: NDArray[np.float64],
    field: Field,
    needs: Sequence[BlockNeed],
    spreader: Spreader,
    confidence: float,
    cap: bool,
    money: response.Economics | None,
) -> ZoneMap:
    """Give every zone its rate.

    The level is that of the expected credit. Caution then lowers the credit of a whole zone to the
    (1 - confidence) quantile of its mean, and the rate is rounded to the step again; zones left with equal
    rates become one. So caution never draws zones along the gaps between samples, and never lowers a rate.

    Parameters
    ----------
    zones
        Levels and polygons, from `draw_zones`.
    credit, draws
        Expected credit and joint draws of its sampling error.
    strips
        Check strips, cut out of the zones; they keep their own rates.
    biomass_kg_ha
        Dry biomass of the stand, raster: whether the zone with the highest rate is a thin one.
    field, needs, spreader
        The field, the need of each block, the machine with its product and limits.
    confidence
        Chance that a zone's credit is at least what is used of it, 0.5 or more.
    cap
        Whether the zone with the highest rate is held at the flat rate.
    money
        What rates follow in place of the need, where they do.
    """
    shapes, levels_kg_ha = zones.shapes, zones.levels_kg_ha
    level = _level_raster(shapes, field)
    caution_kg_ha, rate_kg_ha = _cautious_rates(
        level, levels_kg_ha, credit, draws, field=field, needs=needs, spreader=spreader, confidence=confidence
    )
    spread = level >= 0
    credit_used = np.where(spread, credit.credit_kg_ha - caution_kg_ha[level], np.nan)
    asked_kg_ha = rate_kg_ha
    rate_kg_ha, highest = hold_back(
        asked_kg_ha, level, credit_used, biomass_kg_ha, needs, field, spreader=spreader, cap=cap, money=money
    )
    withheld_kg_ha = np.where(spread, (asked_kg_ha - rate_kg_ha)[level], np.nan)
    zone_rates_kg_ha, zone_of_level = _numbered(rate_kg_ha, [shape.zone for shape in shapes])
    zone = np.where(spread, zone_of_level[level], 0)
    strip = burn([one.geometry for one in strips], field.grid)
    # What the zones would give everywhere, and what lies on top of it.
    zone_product_kg_ha = np.where(spread, zone_rates_kg_ha[zone - 1], np.nan)
    strip_product_kg_ha = lookup([one.product_kg_ha for one in strips], strip)
    product_kg_ha = np.where(spread & (strip >= 0), strip_product_kg_ha, zone_product_kg_ha)
    left, cut = shapes, tuple(one.geometry for one in strips)
    if strips:
        left, cut = cut_out(shapes, cut, [block.spread for block in field.blocks])
    product = spreader.product_entry
    row = functools.partial(_zone, credit_used, credit=credit, draws=draws, product=product, field=field)
    rows = []
    for (number, block), polygons in _grouped(left, zone_of_level).items():
        cells = (zone == number) & (field.block_index == block) & (strip < 0)
        rows.append(row(number, polygons, cells, float(zone_rates_kg_ha[number - 1]), need=needs[block]))
    strip_rows = []
    for one, geometry in zip(strips, cut, strict=True):
        number, cells = zone_rates_kg_ha.size + one.number, strip == one.number - 1
        strip_rows.append(
            row(number, [geometry], cells, one.product_kg_ha, need=needs[one.block], strip=True)
        )
    return ZoneMap(
        zones=tuple(rows),
        strips=tuple(strip_rows),
        credit_used_kg_ha=credit_used,
        rate_n_kg_ha=nitrogen_rate_kg_ha(product_kg_ha, product),
        product_kg_ha=product_kg_ha,
        in_strip=strip >= 0,
        zone_rate_n_kg_ha=nitrogen_rate_kg_ha(zone_product_kg_ha, product),
        withheld_n_kg_ha=nitrogen_rate_kg_ha(withheld_kg_ha, product),
        highest=highest,
    )


def _numbered(
    rate_kg_ha: NDArray[np.float64], levels: Sequence[int]
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """The rates of zones, rising with their numbers, and the number of each level; 0 for one without ground."""
    used = np.unique(levels)
    zone_rates_kg_ha, number = np.unique(rate_kg_ha[used], return_inverse=True)
    zone_of_level = np.zeros(len(rate_kg_ha), dtype=np.int64)
    zone_of_level[used] = number + 1
    return zone_rates_kg_ha, zone_of_level


def _level_raster(shapes: Sequence[ZonePart], field: Field) -> NDArray[np.int64]:
    """The level of each cell whose centre lies in a polygon, -1 elsewhere."""
    shape_index = burn([shape.geometry for shape in shapes], field.grid)
    return lookup([shape.zone for shape in shapes], shape_index, outside=-1)


def _cautious_rates(
    level: NDArray[np.int64],
    levels_kg_ha: NDArray[np.float64],
    credit: CreditMap,
    draws: CreditDraws,
    *,
    field: Field,
    needs: Sequence[BlockNeed],
    spreader: Spreader,
    confidence: float,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Caution (kg N/ha of credit not used) and product rate of each level."""
    allowed = product_rates_kg_ha(spreader)
    missing = missing_kg_ha(needs, credit.credit_kg_ha, field)
    credit_per_n = per_block(field, [need.credit_per_n for need in needs])
    quantile = float(ndtri(confidence))
    caution_kg_ha, rate_kg_ha = np.zeros(len(levels_kg_ha)), levels_kg_ha.astype(np.float64)
    for number in np.unique(level[level >= 0]):
        cells = level == number
        caution_kg_ha[number] = quantile * mean_credit(cells, credit, draws).se
        expected = float(missing[cells].mean())
        cautious = expected + float((caution_kg_ha[number] / credit_per_n[cells]).mean())
        more_n_kg_ha = max(0.0, cautious) - max(0.0, expected)
        wanted = levels_kg_ha[number] + more_n_kg_ha / spreader.product_entry.nitrogen_fraction
        rate_kg_ha[number] = nearest_rate_kg_ha(wanted, allowed)
    return caution_kg_ha, rate_kg_ha


def mean_credit(cells: NDArray[np.bool_], credit: CreditMap, draws: CreditDraws) -> MeanCredit:
    """Mean credit of the cells; its sampling error from the draws, release and break-even shared by all cells."""
    at = cells[draws.row, draws.column]
    drawn = np.average(draws.credit_kg_ha[at], axis=0, weights=draws.cells[at]) if at.any() else np.zeros(1)
    return MeanCredit(
        float(credit.credit_kg_ha[cells].mean()),
        float(drawn.std()),
        abs(float((credit.credit_kg_ha * credit.release_error)[cells].mean())),
        float(credit.break_even_se_kg_ha[cells].mean()),
    )


def _grouped(
    shapes: Sequence[ZonePart], zone_of_level: NDArray[np.int64]
) -> dict[tuple[int, int], list[Polygon]]:
    """The polygons of each zone and block, by number; what caution made equal is joined."""
    groups: dict[tuple[int, int], list[ZonePart]] = {}
    for shape in shapes:
        groups.setdefault((int(zone_of_level[shape.zone]), shape.block), []).append(shape)
    joined = {}
    for key in sorted(groups):
        polygons = [shape.geometry for shape in groups[key]]
        if len({shape.zone for shape in groups[key]}) > 1:
            polygons = list(shapely.get_parts(shapely.coverage_union_all(polygons)))
        joined[key] = sorted(polygons, key=lambda polygon: -polygon.area)
    return joined


def _cells(polygons: list[Polygon], cells: NDArray[np.bool_], field: Field) -> NDArray[np.bool_]:
    """The zone's cells; for one so thin that it holds no cell's centre, the cell it lies in."""
    if cells.any():
        return cells
    point = polygons[0].representative_point()
    column, row = ~field.grid.transform @ (point.x, point.y)
    found = np.zeros(field.grid.shape, dtype=bool)
    found[int(row), int(column)] = True
    return found


def _zone(
    credit_used_kg_ha: NDArray[np.float64],
    number: int,
    polygons: list[Polygon],
    cells: NDArray[np.bool_],
    product_kg_ha: float,
    *,
    credit: CreditMap,
    draws: CreditDraws,
    need: BlockNeed,
    product: Product,
    field: Field,
    strip: bool = False,
) -> Zone:
    cells = _cells(polygons, cells, field)
    mean = mean_credit(cells, credit, draws)
    areas_ha = [true_area_ha(polygon, field.crs) for polygon in polygons]
    parts = tuple(
        Part(polygon, area_ha, area_ha * product_kg_ha)
        for polygon, area_ha in zip(polygons, areas_ha, strict=True)
    )
    return Zone(
        zone=number,
        block=need.block,
        crop=need.crop,
        area_ha=sum(areas_ha),
        need_kg_ha=need.need_kg_ha,
        credit_kg_ha=mean.kg_ha,
        credit_low_kg_ha=mean.interval[0],
        credit_high_kg_ha=mean.interval[1],
        credit_low_sampling_kg_ha=mean.kg_ha - Z_90 * mean.se_sampling,
        credit_high_sampling_kg_ha=mean.kg_ha + Z_90 * mean.se_sampling,
        credit_used_kg_ha=0.0 if strip else float(np.nanmean(credit_used_kg_ha[cells])),
        other_credits_kg_ha=need.other_credits_kg_ha,
        rate_n_kg_ha=float(nitrogen_rate_kg_ha(np.asarray(product_kg_ha), product)),
        product=product.name,
        product_kg_ha=product_kg_ha,
        product_kg=sum(part.product_kg for part in parts),
        parts=parts,
        strip=strip,
        brought=Brought.by(product_kg_ha, product),
    )
