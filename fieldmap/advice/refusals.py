"""What the dates and the ending of the cover crop call to mind: refused, or said as a warning."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fieldmap import agronomy
from fieldmap.budget import other_credits
from fieldmap.errors import InputError, Problem
from fieldmap.plan import keys
from fieldmap.season import uptake
from fieldmap.spreader import products_that_carry
from fieldmap.units import rate_text

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterator

    from fieldmap.budget import Application
    from fieldmap.field import Field
    from fieldmap.plan import ApplicationSection, CoverCrop, Crop, Plan
    from fieldmap.stand import Samples, Stand
    from fieldmap.units import UnitSystem


DATES = agronomy.values_of("dates")
LEAST_PASS_KG_HA = uptake.UPTAKE.least_pass_kg_ha
LEAST_AVAILABLE = 0.005  # of a product's nitrogen; less is none
SAMPLED_DAYS_MAX = DATES["sampled_most_d"]
EARLIEST_DAYS = DATES["spread_before_planting_d"]


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


@dataclass(frozen=True)
class BlockSeason:
    """A block with its cover crop, its crop, and the last day of sampling."""

    plan: Plan
    block: str
    cover: CoverCrop
    crop: Crop
    sampled: dt.date | None


def season_of_blocks(plan: Plan, field: Field, samples: Samples) -> list[BlockSeason]:
    """What the rules below and the warnings look at, block by block."""
    sampled = sampling_date(plan, samples)
    return [
        BlockSeason(plan, block.name, plan.cover_crop_of(block.name), plan.crop_of(block.name), sampled)
        for block in field.blocks
    ]


def refuse_impossible_dates(plan: Plan, field: Field, samples: Samples) -> None:
    """Stop on what cannot be right.

    Raises
    ------
    InputError
        For samples clipped after the cover crop ended, for
        applications outside the crop's season, and for raw manure too near the harvest.
    """
    problems = [*_two_dates_of_sampling(plan, sampling_date(plan, samples))]
    for one in season_of_blocks(plan, field, samples):
        for rule in _RULES:
            problems += rule(one)
    if problems:
        raise InputError(*dict.fromkeys(problems))  # what holds for the field is found in each of its blocks


SHARE = agronomy.values_of("share_method")


def refuse_share_of_poor_residue(plan: Plan, stand: Stand) -> None:
    """A fixed share of the nitrogen of residue that ties nitrogen up is no credit.

    Not of a removed stand, for which there is no other method: that is warned of.

    Raises
    ------
    InputError
        For method "share" where a block's residue holds less than 2.0 %N.
    """
    problems = []
    for number, block in enumerate(stand.field.blocks):
        pct = stand.mean_nitrogen_pct(number)
        if plan.credit.method != "share" or pct >= SHARE["refused_below_pct"]:
            continue
        if plan.cover_crop_of(block.name).ended_by == "removed":
            continue
        problems.append(
            Problem(
                "plan.toml",
                f'found "share", and the residue of {block.name} holds {pct:.1f} %N',
                f"below {SHARE['refused_below_pct']:.1f} %N (C:N above 21) residue ties nitrogen up that a fixed "
                'share would credit: "quality", which takes it off, is expected',
                'Write method = "quality"',
                section="credit",
                key="method",
            )
        )
    if problems:
        raise InputError(*problems)


def _two_dates_of_sampling(plan: Plan, sampled: dt.date | None) -> Iterator[Problem]:
    if plan.samples.sampled and sampled != plan.samples.sampled:
        yield Problem(
            "plan.toml",
            f"found {plan.samples.sampled}, but the last date in {plan.samples.file} is {sampled}",
            "one date of the last sampling is expected",
            "Correct one of them, or remove sampled from plan.toml",
            section="samples",
            key="sampled",
        )


def _sampled_when_dead(one: BlockSeason) -> Iterator[Problem]:
    if one.sampled and one.sampled > one.cover.terminated and not one.plan.samples.confirmed:
        yield Problem(
            "plan.toml",
            f"the samples of {one.sampled} were clipped after the cover crop ended on {one.cover.terminated}",
            "samples of the living stand are expected: what lies dead has lost nitrogen",
            "Correct the dates, or set confirmed = true in [samples]",
            section="samples",
            key="sampled",
        )


def _ended_after_the_harvest(one: BlockSeason) -> Iterator[Problem]:
    if one.cover.terminated >= one.crop.harvested:
        yield Problem(
            "plan.toml",
            f"the cover crop ends {one.cover.terminated}, after the harvest of {one.crop.harvested}",
            "a cover crop that ends before the vegetable is harvested is expected",
            "Correct the dates",
            section="cover_crop",
            key="terminated",
        )


def _tilled_under_the_crop(one: BlockSeason) -> Iterator[Problem]:
    """A cover crop that is tilled in where the vegetable already stands."""
    if one.cover.ended_by == "tilled" and one.cover.terminated > one.crop.planted:
        yield Problem(
            "plan.toml",
            f"the cover crop in {one.block} is tilled in on {one.cover.terminated}, after {one.crop.name} was "
            f"planted on {one.crop.planted}",
            "a cover crop that is tilled in before the vegetable is planted is expected",
            "Correct the dates, or say how else it ends",
            section="cover_crop",
            key="terminated",
        )


def _sampled_long_before(one: BlockSeason) -> Iterator[Problem]:
    if one.sampled and (one.cover.terminated - one.sampled).days > SAMPLED_DAYS_MAX:
        yield Problem(
            "plan.toml",
            f"the samples of {one.sampled} are {(one.cover.terminated - one.sampled).days} days older than the end "
            "of the cover crop",
            "samples of the stand that was ended are expected",
            "Correct the dates",
            section="samples",
            key="sampled",
        )


def _applied_out_of_season(one: BlockSeason) -> Iterator[Problem]:
    """Applications that come before or after the crop of a block can use them."""
    crop = one.crop
    for number, application in enumerate(one.plan.application, start=1):
        expected = "" if application.date is None else _expected_day(application, application.date, crop)
        if expected:
            yield Problem(
                "plan.toml",
                f"found {application.date}, but {crop.name} in {one.block} grows from {crop.planted} to "
                f"{crop.harvested}",
                expected,
                "Correct the date or the method; blocks with other dates need a plan of their own",
                section="application",
                key="date",
                entry=number,
            )


def _expected_day(application: ApplicationSection, date: dt.date, crop: Crop) -> str:
    """The days on which the crop can use an application; empty where its own is one of them."""
    useful = uptake.last_useful_day(crop.planted, crop.harvested, crop.entry)
    if date > useful:
        return f"a day up to {useful} is expected, when 95 % of what it takes up is in"
    if (crop.planted - date).days > EARLIEST_DAYS:
        return f"a day at most {EARLIEST_DAYS} days before planting is expected"
    if application.follows_planting and date < crop.planted:
        return (
            f"{application.method} feeds a standing crop: a day from {crop.planted} to {useful} is expected"
        )
    return ""


def _raw_manure_too_late(one: BlockSeason) -> Iterator[Problem]:
    """Raw manure spread too near the harvest, without a date by planting (7 CFR 205.203)."""
    crop = one.crop
    needed = other_credits.RAW_DAYS if crop.touches_soil else other_credits.RAW_DAYS_OFF_SOIL
    for number, application in enumerate(one.plan.applications, start=1):
        product = application.product_of(one.plan.spreader)
        spread = application.date or crop.planted
        days = (crop.harvested - spread).days
        if product.raw_manure and days < needed:
            yield Problem(
                "plan.toml",
                f"{product.name} is raw manure, and {spread} is {days} days before the harvest of "
                f"{crop.harvested} in {one.block}",
                f"at least {needed} days are expected (7 CFR 205.203; 120 where the edible part touches the soil, "
                "90 with touches_soil = false in [crop])",
                "Spread it earlier, give the date in [[application]], or choose another product",
                section="application" if application.product else "spreader",
                entry=number if application.product else None,
                key="product",
            )


def refuse_unspreadable(application: Application, units: UnitSystem) -> None:
    """Stop where an organic product brings next to nothing in time, however much of it the machine spreads.

    Raises
    ------
    InputError
        Where it does not become available, or where rate_max of it is not worth a pass.
    """
    product, spreader = application.product, application.spreader
    if product.release is None or application.through_drip:
        return
    most_n_kg_ha = spreader.rate_max_kg_ha * product.nitrogen_fraction
    if (product.available or 0.0) < LEAST_AVAILABLE:
        raise InputError(
            Problem(
                "plan.toml",
                f"none of the nitrogen in {product.name} becomes available from the day it is spread to the last day "
                "on which the crop can use it",
                "a product that acts in time is expected",
                "Spread it earlier, or choose another product",
                section="spreader" if application.number == 1 else "application",
                entry=None if application.number == 1 else application.number,
                key="product",
            )
        )
    if most_n_kg_ha < LEAST_PASS_KG_HA:
        others = products_that_carry(LEAST_PASS_KG_HA, spreader)
        instead = f" such as {' or '.join(others)}" if others else ""
        raise InputError(
            Problem(
                "plan.toml",
                f"rate_max, {rate_text(spreader.rate_max_kg_ha, units)} of {product.name}, brings "
                f"{rate_text(most_n_kg_ha, units)} of available nitrogen",
                f"at least {rate_text(LEAST_PASS_KG_HA, units)} is expected, less is not worth a pass (from memory)",
                f"Raise rate_max to {rate_text(LEAST_PASS_KG_HA / product.nitrogen_fraction, units)} or more where "
                f"the machine can, or choose a product with more available nitrogen{instead}",
                section="spreader",
                key="rate_max",
            )
        )


def _removal_not_known(one: BlockSeason) -> Iterator[Problem]:
    """A share by phosphorus for a vegetable of which nobody says what its harvest takes away."""
    removed = one.crop.entry.removal_kg_ha("p2o5", one.crop.yield_t_ha)
    for number, application in enumerate(one.plan.application, start=1):
        if application.share == "phosphorus" and removed is None:
            yield Problem(
                "plan.toml",
                f'found share = "phosphorus", and the table has no P2O5 in the harvest of {one.crop.name}',
                'a share as a number is expected, with share = "auto" for the rest',
                "Give the share, from an analysis of the harvest or your guide",
                section="application",
                key="share",
                entry=number,
            )


_RULES = (
    _sampled_when_dead,
    _ended_after_the_harvest,
    _tilled_under_the_crop,
    _sampled_long_before,
    _applied_out_of_season,
    _raw_manure_too_late,
    _removal_not_known,
)


def share_warnings(plan: Plan, stand: Stand) -> tuple[str, ...]:
    """Where a fixed share of the stand's nitrogen is likely more than comes of it."""
    if plan.credit.method != "share":
        return ()
    found = []
    for number, block in enumerate(stand.field.blocks):
        pct = stand.mean_nitrogen_pct(number)
        if pct < SHARE["doubtful_below_pct"]:
            found.append(
                f"Block {block.name}: residue of {pct:.1f} %N gives little nitrogen at first and may tie some up, "
                "and a "
                'fixed share of it is credited all the same: method = "quality" follows its %N.'
            )
    return tuple(found)
