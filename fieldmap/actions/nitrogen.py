"""What to do with nitrogen: spread it and by when, in two goes, a starter, a test, a side-dressing."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from fieldmap import agronomy
from fieldmap.actions.kinds import Dig, InTwo, SideDress, SoilTest, Spread, Starter, Why
from fieldmap.actions.stand import same_crop
from fieldmap.budget import ledger, other_credits, sidedress
from fieldmap.season import RELEASE, uptake

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from fieldmap.actions.kinds import Action
    from fieldmap.budget import BlockSeason, Budget
    from fieldmap.plan import Crop, Plan
    from fieldmap.verdict import ApplicationMap
    from fieldmap.zones import Zone


DAY = dt.timedelta(days=1)
TO_DO = agronomy.values_of("to_do")
TIED_UP_KG_HA = agronomy.values_of("verdict")["tied_up_said_kg_ha"]


def spreading(
    plan: Plan, budget: Budget, maps: Sequence[ApplicationMap], lines: Sequence[ledger.LedgerLine]
) -> Iterator[Spread | Starter | SideDress]:
    """Every application, by the blocks that are planted alike; a starter where the credit covers the need.

    Where a nitrate test leaves an application nothing, that is a line too.
    """
    for one in maps:
        for crop, blocks in same_crop(plan, [need.block for need in budget.needs]):
            rows = [zone for zone in one.spread.zone_map.rows if zone.block in blocks]
            if any(zone.product_kg_ha > 0 for zone in rows):
                yield _spread(plan, budget, one, crop, blocks, rows, lines)
            elif rows and len(maps) == 1:
                enough = uptake.UPTAKE.starter_enough_ppm
                yield Starter(blocks, None, crop.planted, crop.name, uptake.UPTAKE.starter_kg_ha, enough)
            elif rows and (found := _tested_n_ppm(budget, one, blocks)) is not None:
                day = one.application.date
                yield SideDress(blocks, day, day, crop.name, 0.0, max(found), None)


def _spread(
    plan: Plan,
    budget: Budget,
    one: ApplicationMap,
    crop: Crop,
    blocks: tuple[str, ...],
    rows: Sequence[Zone],
    lines: Sequence[ledger.LedgerLine],
) -> Spread:
    application = one.application
    seasons = [season for season in budget.seasons if season.block in blocks]
    tested = {call.block for call in budget.sidedress}
    first, last = _window(plan, one, crop, blocks)
    early = application.number == 1  # what is tied up is given once, while the crop is young
    tied = [
        line.kg_ha
        for line in lines
        if early and line.block in blocks and line.line is ledger.LineKind.TIED_UP
    ]
    short = [season.short_from for season in seasons if season.short_from is not None]
    nitrogen = [zone.rate_n_kg_ha for zone in rows]
    product = [zone.product_kg_ha for zone in rows]
    return Spread(
        blocks,
        first,
        last,
        number=application.number,
        method=application.method,
        product=application.product.name,
        product_kg=sum(zone.product_kg for zone in rows),
        rate_n_kg_ha=(min(nitrogen), max(nitrogen)),
        product_kg_ha=(min(product), max(product)),
        folder=application.folder,
        tied_up_n_kg_ha=max((kg_ha for kg_ha in tied if kg_ha >= TIED_UP_KG_HA), default=0.0),
        in_two=tuple(
            _in_two(season, _mean_n_kg_ha([zone for zone in rows if zone.block == season.block]))
            for season in seasons
            if season.block not in tested and _two_serve(plan, season, one)
        ),
        timed=bool(seasons),
        work_in_d=_work_in_d(plan, one, blocks),
        tested_n_ppm=_tested_n_ppm(budget, one, blocks),
        late_since=min(short) if application.number == 1 and short and last and min(short) < last else None,
    )


def _work_in_d(plan: Plan, one: ApplicationMap, blocks: Sequence[str]) -> float | None:
    if not one.application.product.organic:
        return None
    section = plan.applications[one.application.number - 1]
    return max(
        section.on_surface_d(tilled=plan.cover_crop_of(block).placement == "incorporated") for block in blocks
    )


def _tested_n_ppm(budget: Budget, one: ApplicationMap, blocks: Sequence[str]) -> tuple[float, float] | None:
    """What the nitrate tests of these blocks found, lowest and highest, where the application follows them."""
    found = [
        call.nitrate_n_ppm
        for call in budget.sidedress
        if call.block in blocks and sidedress.following(call, [one.application.date])
    ]
    return (min(found), max(found)) if found else None


def _window(
    plan: Plan, one: ApplicationMap, crop: Crop, blocks: Sequence[str]
) -> tuple[dt.date | None, dt.date]:
    """From which day to which an application without a date can go out: after the cover crop, before the crop."""
    application = one.application
    if application.date is not None:
        return application.date, application.date
    last = crop.planted
    if crop.plastic_laid is not None and crop.plastic_laid <= last:
        last = crop.plastic_laid - DAY
    if application.product.raw_manure:
        needed = other_credits.RAW_DAYS if crop.touches_soil else other_credits.RAW_DAYS_OFF_SOIL
        last = min(last, crop.harvested - dt.timedelta(days=needed))
    ended = max(plan.cover_crop_of(block).terminated for block in blocks)
    return (ended if ended <= last else None), last


def _two_serve(plan: Plan, season: BlockSeason, one: ApplicationMap) -> bool:
    """Whether a block that gets all at once is better served in two goes, and can be."""
    crop, day = plan.crop_of(season.block), season.timing.sidedress
    late_kg_ha = (1.0 - season.timing.at_planting_share) * season.supplemental_kg_ha
    covered = crop.plastic_laid is not None and crop.plastic_laid <= day
    return (
        one.application.of == 1
        and one.application.date is None
        and not one.application.product.organic
        and not covered
        and late_kg_ha >= uptake.UPTAKE.least_pass_kg_ha
        and day > crop.planted
    )


def _in_two(season: BlockSeason, mean_n_kg_ha: float) -> InTwo:
    """What the block gets by the map, split as the season splits it."""
    early = season.timing.at_planting_share * mean_n_kg_ha
    return InTwo(season.block, early, mean_n_kg_ha - early, season.timing.sidedress)


def _mean_n_kg_ha(rows: Sequence[Zone]) -> float:
    area_ha = sum(zone.area_ha for zone in rows)
    return sum(zone.rate_n_kg_ha * zone.area_ha for zone in rows) / area_ha if area_ha else 0.0


def digging(maps: Sequence[ApplicationMap], spread: Sequence[Action], cause: str) -> Iterator[Dig]:
    """Thin ground of unknown cause that gets most of the first application to bring it anything."""
    for one in maps:
        highest = one.spread.zone_map.highest
        if highest is None or not highest.thin or highest.capped or cause != "unknown":
            continue
        if highest.rate_n_kg_ha - highest.flat_rate_n_kg_ha < TO_DO["dig_from_kg_ha"]:
            continue
        zone = one.spread.zone_map.zones[-1].zone
        rows = [row for row in one.spread.zone_map.zones if row.zone == zone]
        blocks = (highest.block,) if highest.block else tuple(dict.fromkeys(row.block for row in rows))
        number = one.application.number
        days = [
            own.last
            for own in spread
            if isinstance(own, Spread) and own.number == number and own.last and set(blocks) & set(own.blocks)
        ]
        yield Dig(blocks, None, min(days, default=None), zone, highest.rate_n_kg_ha, not highest.block)
        return


def testing(plan: Plan, budget: Budget, maps: Sequence[ApplicationMap]) -> Iterator[SoilTest | SideDress]:
    """Soil nitrate tests before a side-dressing, and what those that were made call for and no file holds."""
    days = [one.application.date for one in maps]
    called = {call.block for call in budget.sidedress}
    for call in budget.sidedress:
        if not sidedress.following(call, days):
            crop = plan.crop_of(call.block)
            last = uptake.last_dressing_day(crop.planted, crop.harvested, crop.entry)
            yield SideDress(
                (call.block,),
                call.sampled,
                last,
                call.crop,
                call.rate_n_kg_ha,
                call.nitrate_n_ppm,
                call.ground,
            )
    for crop, blocks in same_crop(plan, [need.block for need in budget.needs if need.block not in called]):
        found = _test(plan, budget, maps, crop, blocks)
        if found is not None:
            yield found


def _test(
    plan: Plan, budget: Budget, maps: Sequence[ApplicationMap], crop: Crop, blocks: tuple[str, ...]
) -> SoilTest | None:
    why = _why(budget, maps, blocks)
    if why is None or not crop.entry.tested:
        return None
    own = [
        one.application.date or crop.planted
        for one in maps
        if any(zone.product_kg_ha > 0 for zone in one.spread.zone_map.rows if zone.block in blocks)
    ]
    later = [day for day in own if day > crop.planted]
    before = [day for day in own if day not in later]
    windows = [sidedress.window_of_test(crop, plan.cover_crop_of(block)) for block in blocks]
    first, last = max(first for first, _ in windows), min(last for _, last in windows)
    if before:
        first = max(first, max(before) + sidedress.TEST["disturbed_d"] * DAY)
    if later:  # the laboratory takes its days before what the test sets
        last = min(last, min(later) - TO_DO["laboratory_d"] * DAY)
    if first > last:
        return None
    edges = tuple(
        (need.block, own)
        for need, own in zip(budget.needs, budget.third_edges_kg_ha, strict=True)
        if own is not None and need.block in blocks
    )
    return SoilTest(blocks, first, last, crop.name, why, crop.entry.sidedress_nitrate_mg_kg, edges)


def _why(budget: Budget, maps: Sequence[ApplicationMap], blocks: Sequence[str]) -> Why | None:
    """What calls for a test in these blocks; None where nothing does."""
    if any(one.application.follows_planting for one in maps):
        return Why.SIDE_DRESSING
    rows = [zone for one in maps for zone in one.spread.zone_map.zones if zone.block in blocks]
    if rows and not any(zone.product_kg_ha > 0 for zone in rows):
        return Why.NOTHING_SPREAD
    seasons = [season for season in budget.seasons if season.block in blocks]
    courses = dict(zip((need.block for need in budget.needs), budget.courses, strict=True))
    for season in seasons:
        course = courses[season.block]
        if course is None:
            continue
        before = max(0.0, float(course.in_time.split.before.mean()) * float(season.balance.released.sum()))
        if RELEASE.soil_test_is_due(float(season.balance.at_risk), before):
            return Why.DRAINAGE
    return None
