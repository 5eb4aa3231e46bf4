"""What to do with the stand: sample again, end it, wait before planting, keep stock off."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

import numpy as np

from fieldmap import agronomy
from fieldmap.actions.kinds import EndCover, Plant, SampleAgain

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from fieldmap.credit import StageCourse
    from fieldmap.plan import CoverCrop, Crop, Plan
    from fieldmap.stand import Stand


DATES = agronomy.values_of("dates")
GROWTH_DAYS, SEEDLING_DAYS = int(DATES["growth_d"]), int(DATES["seedling_d"])
WEEK = 7


def of_stand(plan: Plan, stand: Stand, stages: Sequence[StageCourse]) -> Iterator[SampleAgain | EndCover]:
    """Sample again where the samples are old, and end each cover crop of the field on its day."""
    sampled = stand.samples.sampled or plan.samples.sampled
    of_block = {block: course for course in stages for block in course.blocks}
    for cover, blocks in _same(plan, [block.name for block in stand.field.blocks]):
        days = (cover.terminated - sampled).days if sampled else 0
        if days > GROWTH_DAYS and plan.samples.growth is None and cover.ended_by != "frost":
            week = dt.timedelta(days=GROWTH_DAYS)
            yield SampleAgain(blocks, cover.terminated - week, cover.terminated, days)
        if cover.ended_by == "frost":
            continue
        course = of_block.get(blocks[0])
        sooner, later = (_change(course, days) for days in (-WEEK, WEEK))
        yield EndCover(blocks, cover.terminated, cover.terminated, cover.ended_by, sooner, later)


def wait_to_plant(plan: Plan, blocks: Sequence[str]) -> Iterator[Plant]:
    """Crops planted sooner after residue was tilled in than seedlings stand."""
    for block in blocks:
        cover, crop = plan.cover_crop_of(block), plan.crop_of(block)
        if cover.placement != "incorporated":
            continue
        earliest = cover.terminated + dt.timedelta(days=SEEDLING_DAYS)
        if cover.terminated <= crop.planted < earliest:
            yield Plant((block,), earliest, None, crop.name, crop.planted, SEEDLING_DAYS)


def _same(plan: Plan, blocks: Sequence[str]) -> list[tuple[CoverCrop, tuple[str, ...]]]:
    """Each cover crop with the blocks it stands in."""
    covers = {block: plan.cover_crop_of(block) for block in blocks}
    return [
        (cover, tuple(block for block in blocks if covers[block] == cover))
        for cover in dict.fromkeys(covers.values())
    ]


def _change(course: StageCourse | None, days: int) -> float | None:
    """What of the season's credit the stand gains or loses by so many days, straight between stages."""
    if course is None:
        return None
    of_stage = [stage.days for stage in course.stages]
    if not of_stage[0] <= days <= of_stage[-1]:
        return None
    available = [stage.available_kg_ha for stage in course.stages]
    return float(np.interp(days, of_stage, available)) - course.stages[course.now].available_kg_ha


def same_crop(plan: Plan, blocks: Sequence[str]) -> list[tuple[Crop, tuple[str, ...]]]:
    """Blocks that are planted alike: the same vegetable on the same day, harvested on the same day."""
    crops = {block: plan.crop_of(block) for block in blocks}

    def alike(crop: Crop) -> tuple[object, ...]:
        return crop.name, crop.planted, crop.harvested, crop.plastic_laid

    return [
        (crops[next(block for block in blocks if alike(crops[block]) == key)],
         tuple(block for block in blocks if alike(crops[block]) == key))
        for key in dict.fromkeys(alike(crop) for crop in crops.values())
    ]  # fmt: skip
