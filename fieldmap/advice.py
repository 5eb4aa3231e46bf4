"""What the dates and the ending of the cover crop call to mind: refused, or said as a warning."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fieldmap.credit import WARM_FROM_C, surface_share
from fieldmap.errors import InputError, Problem
from fieldmap.other_credits import COUNTED_BY_GUIDE, RAW_DAYS, RAW_DAYS_OFF_SOIL
from fieldmap.plan import product_entry
from fieldmap.units import temperature_text
from fieldmap.uptake import last_useful_day

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Sequence

    from fieldmap.course import Course
    from fieldmap.credit import CreditRule
    from fieldmap.field import Field
    from fieldmap.plan import CoverCrop, Crop, Plan
    from fieldmap.samples import Samples

GROWTH_DAYS, SAMPLED_DAYS_MAX = 7, 240
EARLIEST_DAYS = 120  # judgement: what is spread earlier is spread for another crop, or the year is wrong
TARP_DAYS = 21  # published: three weeks under a tarp kill rye and vetch, one week does not (ONC17-033)
EARLY_DAYS = 42  # PNW 636: most is released four to six weeks after the cover crop ended
COUNTED = {source: item for item, source in COUNTED_BY_GUIDE.items()}
SEEDLING_DAYS = 14  # common practice, no source
ROLLED_TOO_YOUNG = ("vegetative", "bud", "early bloom", "tillering", "jointing", "boot")  # common practice


def sampling_date(plan: Plan, samples: Samples) -> dt.date | None:
    """The last day of sampling: the samples' own, else the plan's."""
    return samples.sampled or plan.samples.sampled


def refuse_unknown_blocks(plan: Plan, field: Field) -> None:
    """Every block that the plan names must be in the boundary."""
    known = [block.name for block in field.blocks]
    named = [("[[block]] block", own.block) for own in plan.block]
    named += [("[[other_credits]] block", other.block) for other in plan.other_credits if other.block]
    named += [("[sidedress_test] block", test.block) for test in plan.sidedress_test if test.block]
    problems = [
        Problem(
            "plan.toml",
            where,
            f'found "{name}"',
            f"a block of the boundary is expected: {', '.join(known)}",
            "Correct the name, or name the block in the boundary's column block",
        )
        for where, name in named
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
                "[samples] sampled",
                f"found {plan.samples.sampled}, but the last date in {plan.samples.file} is {sampled}",
                "one date of the last sampling is expected",
                "Correct one of them, or remove sampled from plan.toml",
            )
        )
    for block in field.blocks:
        cover = plan.cover_crop_of(block.name)
        if sampled and sampled > cover.terminated and not plan.samples.confirmed:
            problems.append(
                Problem(
                    "plan.toml",
                    "[samples] sampled",
                    f"the samples of {sampled} were clipped after the cover crop ended on {cover.terminated}",
                    "samples of the living stand are expected: what lies dead has lost nitrogen",
                    "Correct the dates, or set confirmed = true in [samples]",
                )
            )
        harvested = plan.crop_of(block.name).harvested
        if cover.terminated >= harvested:
            problems.append(
                Problem(
                    "plan.toml",
                    "[cover_crop] terminated",
                    f"the cover crop ends {cover.terminated}, after the harvest of {harvested}",
                    "a cover crop that ends before the vegetable is harvested is expected",
                    "Correct the dates",
                )
            )
        if sampled and (cover.terminated - sampled).days > SAMPLED_DAYS_MAX:
            problems.append(
                Problem(
                    "plan.toml",
                    "[samples] sampled",
                    f"the samples of {sampled} are {(cover.terminated - sampled).days} days older than the end of "
                    "the cover crop",
                    "samples of the stand that was ended are expected",
                    "Correct the dates",
                )
            )
        problems += _applied_out_of_season(plan, block.name)
        problems += _raw_manure_too_late(plan, block.name)
        if cover.ended_by == "removed" and not (plan.credit.method == "share" and plan.credit.share):
            problems.append(
                Problem(
                    "plan.toml",
                    "[cover_crop] ended_by",
                    "the stand was removed",
                    'only its stubble is left, for which there is no default: [credit] method = "share" with a share '
                    "of your own is expected",
                    "Give the share of the clipped nitrogen that stays in the field",
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
                f"[[application]] {number} date",
                f"found {one.date}, but {grows}",
                expected,
                "Correct the date or the method; blocks with other dates need a plan of their own",
            )
        )
    return problems


def _raw_manure_too_late(plan: Plan, block: str) -> list[Problem]:
    """Raw manure spread too near the harvest, without a date by planting (7 CFR 205.203)."""
    crop = plan.crop_of(block)
    needed = RAW_DAYS if crop.touches_soil else RAW_DAYS_OFF_SOIL
    problems = []
    for number, one in enumerate(plan.applications, start=1):
        product = product_entry(one.product or plan.spreader.product)
        spread = one.date or crop.planted
        days = (crop.harvested - spread).days
        if not product.raw_manure or days >= needed:
            continue
        problems.append(
            Problem(
                "plan.toml",
                f"[[application]] {number} product" if one.product else "[spreader] product",
                f"{product.name} is raw manure, and {spread} is {days} days before the harvest of "
                f"{crop.harvested} in {block}",
                f"at least {needed} days are expected (7 CFR 205.203; 120 where the edible part touches the soil, "
                "90 with touches_soil = false in [crop])",
                "Spread it earlier, give the date in [[application]], or choose another product",
            )
        )
    return problems


def date_warnings(plan: Plan, field: Field, samples: Samples) -> tuple[str, ...]:
    """What a person should think of, each once."""
    found: list[str] = []
    for block in field.blocks:
        found += _of_block(
            block.name,
            plan.cover_crop_of(block.name),
            plan.crop_of(block.name),
            plan,
            sampling_date(plan, samples),
        )
    return tuple(dict.fromkeys(found))


def _of_block(block: str, cover: CoverCrop, crop: Crop, plan: Plan, sampled: dt.date | None) -> list[str]:
    found = []
    if sampled and plan.samples.growth is None and (cover.terminated - sampled).days > GROWTH_DAYS:
        found.append(
            f"The samples were clipped {(cover.terminated - sampled).days} days before the cover crop ended. A stand "
            "can gain a lot in that time (39 to 61 % of dry matter in about two weeks, Wagger 1989): sample again, "
            "or take the credit as a lower bound."
        )
    too_young = set(cover.stage or ()) & set(ROLLED_TOO_YOUNG)
    if cover.ended_by == "rolled" and too_young:
        found.append(
            f"A stand rolled at {' and '.join(sorted(too_young))} grows again: rollers kill legumes from full bloom "
            "and cereals from anthesis on (common practice, no source). What grows again holds on to its nitrogen."
        )
    if cover.ended_by == "tarped" and cover.tarped_d < TARP_DAYS:
        found.append(
            f"{cover.tarped_d:.0f} days under a tarp may not kill the stand: three weeks are needed (published "
            "trials). What grows again holds on to its nitrogen."
        )
    if cover.ended_by == "frost":
        found.append(
            "A stand that frost has killed loses nitrogen before spring: without a soil nitrate test the credit is "
            "likely too high."
        )
    days = (crop.planted - cover.terminated).days
    if plan.weather is None and days > EARLY_DAYS:
        found.append(
            f"{crop.name} is planted {days} days after the cover crop ended: most of its nitrogen is released within "
            "four to six weeks (PNW 636), and what the crop cannot take yet may be lost. Without weather the whole "
            "is credited, likely too much: give [weather], or a soil nitrate test."
        )
    soil_credits = [
        one.source
        for one in plan.other_credits
        if one.block in (None, block) and COUNTED.get(one.source, "") not in ("", *crop.need_allows_for)
    ]
    if crop.need_is == "guide rate" and soil_credits:
        found.append(
            f"The need of {crop.name} is a guide rate, which usually contains what an average soil supplies, and "
            f"{' and '.join(dict.fromkeys(soil_credits))} is credited beside it: look whether the guide counts that "
            "already, and name it in need_allows_for if it does."
        )
    if cover.placement == "incorporated" and 0 <= days < SEEDLING_DAYS:
        found.append(
            f"{crop.name} is planted {days} days after the cover crop was tilled in: within two weeks decay can "
            "damage seedlings (common practice, no source)."
        )
    if days < 0:
        found.append(f"{crop.name} is planted before the cover crop ends: check the dates.")
    return found


def climate_warnings(rules: Sequence[CreditRule], courses: dict[str, Course], plan: Plan) -> tuple[str, ...]:
    """Which climate the default share on the surface was taken for, and why."""
    if not any(rule.climate for rule in rules):
        return ()
    border = temperature_text(WARM_FROM_C, plan.units)
    if not courses:
        unknown = (
            "The share on the surface is that of a warm climate (0.40 of total nitrogen), because the plan has no "
            f"weather; in a cool one, soil below {border} over the ten weeks from termination, it would be 0.25."
        )
        return (unknown,)
    found = []
    for rule, (block, course) in zip(rules, courses.items(), strict=True):
        if rule.climate:
            share = surface_share(course.soil_c)[0]
            found.append(
                f"Block {block}: the soil averages {temperature_text(course.soil_c, plan.units)} over the ten weeks "
                f"from termination, so the share on the surface is that of a {rule.climate} climate, {share:.2f} of "
                f"total nitrogen (border {border}, from memory)."
            )
    return tuple(found)
