"""What the dates and the ending of the cover crop call to mind: refused, or said as a warning."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fieldmap.budget import RAW_DAYS, RAW_DAYS_OFF_SOIL
from fieldmap.errors import InputError, Problem
from fieldmap.plan import keys
from fieldmap.season import last_useful_day

if TYPE_CHECKING:
    import datetime as dt

    from fieldmap.field import Field
    from fieldmap.plan import Plan
    from fieldmap.stand import Samples


GROWTH_DAYS, SAMPLED_DAYS_MAX = 7, 240
EARLIEST_DAYS = 120  # judgement: what is spread earlier is spread for another crop, or the year is wrong


def sampling_date(plan: Plan, samples: Samples) -> dt.date | None:
    """The last day of sampling: the samples' own, else the plan's."""
    return samples.sampled or plan.samples.sampled


def refuse_unknown_blocks(plan: Plan, field: Field) -> None:
    """Every block that the plan names must be in the boundary."""
    known = [block.name for block in field.blocks]
    named = [("block", own.block) for own in plan.block]
    named += [("other_credits", other.block) for other in plan.other_credits if other.block]
    named += [("sidedress_test", test.block) for test in plan.sidedress_test if test.block]
    problems = [
        Problem(
            "plan.toml",
            f'found "{name}"',
            f"a block of the boundary is expected: {', '.join(known)}",
            "Correct the name, or name the block in the boundary's column block",
            section=section,
            several=keys.shown_as_list(section),
            key="block",
        )
        for section, name in named
        if name not in known
    ]
    if problems:
        raise InputError(*problems)


def refuse_impossible_dates(plan: Plan, field: Field, samples: Samples) -> None:
    """Stop on what cannot be right.

    Raises
    ------
    InputError
        For samples clipped after the cover crop ended, for a removed stand without a share of its own, for
        applications outside the crop's season, and for raw manure too near the harvest.
    """
    problems = []
    sampled = sampling_date(plan, samples)
    if plan.samples.sampled and sampled != plan.samples.sampled:
        problems.append(
            Problem(
                "plan.toml",
                f"found {plan.samples.sampled}, but the last date in {plan.samples.file} is {sampled}",
                "one date of the last sampling is expected",
                "Correct one of them, or remove sampled from plan.toml",
                section="samples",
                key="sampled",
            )
        )
    for block in field.blocks:
        cover = plan.cover_crop_of(block.name)
        if sampled and sampled > cover.terminated and not plan.samples.confirmed:
            problems.append(
                Problem(
                    "plan.toml",
                    f"the samples of {sampled} were clipped after the cover crop ended on {cover.terminated}",
                    "samples of the living stand are expected: what lies dead has lost nitrogen",
                    "Correct the dates, or set confirmed = true in [samples]",
                    section="samples",
                    key="sampled",
                )
            )
        harvested = plan.crop_of(block.name).harvested
        if cover.terminated >= harvested:
            problems.append(
                Problem(
                    "plan.toml",
                    f"the cover crop ends {cover.terminated}, after the harvest of {harvested}",
                    "a cover crop that ends before the vegetable is harvested is expected",
                    "Correct the dates",
                    section="cover_crop",
                    key="terminated",
                )
            )
        if sampled and (cover.terminated - sampled).days > SAMPLED_DAYS_MAX:
            problems.append(
                Problem(
                    "plan.toml",
                    f"the samples of {sampled} are {(cover.terminated - sampled).days} days older than the end of "
                    "the cover crop",
                    "samples of the stand that was ended are expected",
                    "Correct the dates",
                    section="samples",
                    key="sampled",
                )
            )
        problems += _applied_out_of_season(plan, block.name)
        problems += _raw_manure_too_late(plan, block.name)
        if cover.ended_by == "removed" and not (plan.credit.method == "share" and plan.credit.share):
            problems.append(
                Problem(
                    "plan.toml",
                    "the stand was removed",
                    'only its stubble is left, for which there is no default: [credit] method = "share" with a share '
                    "of your own is expected",
                    "Give the share of the clipped nitrogen that stays in the field",
                    section="cover_crop",
                    key="ended_by",
                )
            )
    if problems:
        raise InputError(*dict.fromkeys(problems))  # what holds for the field is found in each of its blocks


def _applied_out_of_season(plan: Plan, block: str) -> list[Problem]:
    """Applications that come before or after the crop of a block can use them."""
    crop = plan.crop_of(block)
    useful = last_useful_day(crop.planted, crop.harvested, crop.entry)
    grows = f"{crop.name} in {block} grows from {crop.planted} to {crop.harvested}"
    problems = []
    for number, one in enumerate(plan.application, start=1):
        if one.date is None:
            continue
        if one.date > useful:
            expected = f"a day up to {useful} is expected, when 95 % of what it takes up is in"
        elif (crop.planted - one.date).days > EARLIEST_DAYS:
            expected = f"a day at most {EARLIEST_DAYS} days before planting is expected"
        elif one.follows_planting and one.date < crop.planted:
            expected = (
                f"{one.method} feeds a standing crop: a day from {crop.planted} to {useful} is expected"
            )
        else:
            continue
        problems.append(
            Problem(
                "plan.toml",
                f"found {one.date}, but {grows}",
                expected,
                "Correct the date or the method; blocks with other dates need a plan of their own",
                section="application",
                key="date",
                entry=number,
            )
        )
    return problems


def _raw_manure_too_late(plan: Plan, block: str) -> list[Problem]:
    """Raw manure spread too near the harvest, without a date by planting (7 CFR 205.203)."""
    crop = plan.crop_of(block)
    needed = RAW_DAYS if crop.touches_soil else RAW_DAYS_OFF_SOIL
    problems = []
    for number, one in enumerate(plan.applications, start=1):
        product = one.product_of(plan.spreader)
        spread = one.date or crop.planted
        days = (crop.harvested - spread).days
        if not product.raw_manure or days >= needed:
            continue
        problems.append(
            Problem(
                "plan.toml",
                f"{product.name} is raw manure, and {spread} is {days} days before the harvest of "
                f"{crop.harvested} in {block}",
                f"at least {needed} days are expected (7 CFR 205.203; 120 where the edible part touches the soil, "
                "90 with touches_soil = false in [crop])",
                "Spread it earlier, give the date in [[application]], or choose another product",
                section="application" if one.product else "spreader",
                entry=number if one.product else None,
                key="product",
            )
        )
    return problems
