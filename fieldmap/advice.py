"""What the dates and the ending of the cover crop call to mind: refused, or said as a warning."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fieldmap.errors import InputError, Problem

if TYPE_CHECKING:
    from fieldmap.field import Field
    from fieldmap.plan import CoverCrop, Crop, Plan

GROWTH_DAYS = 7
TARP_DAYS = 21  # published: three weeks under a tarp kill rye and vetch, one week does not (ONC17-033)
SEEDLING_DAYS = 14  # common practice, no source
ROLLED_TOO_YOUNG = ("vegetative", "bud", "early bloom", "tillering", "jointing", "boot")  # common practice


def refuse_impossible_dates(plan: Plan, field: Field) -> None:
    """Stop on what cannot be right.

    Raises
    ------
    InputError
        For samples clipped after the cover crop ended, for a removed stand without a share of its own, and for
        raw manure too near the harvest.
    """
    problems = []
    for block in field.blocks:
        cover = plan.cover_crop_of(block.name)
        sampled = plan.samples.sampled
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
        raise InputError(*problems)


def date_warnings(plan: Plan, field: Field) -> tuple[str, ...]:
    """What a person should think of, each once."""
    found: list[str] = []
    for block in field.blocks:
        found += _of_block(plan.cover_crop_of(block.name), plan.crop_of(block.name), plan)
    return tuple(dict.fromkeys(found))


def _of_block(cover: CoverCrop, crop: Crop, plan: Plan) -> list[str]:
    found = []
    sampled = plan.samples.sampled
    if sampled and (cover.terminated - sampled).days > GROWTH_DAYS:
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
    if cover.placement == "incorporated" and 0 <= days < SEEDLING_DAYS:
        found.append(
            f"{crop.name} is planted {days} days after the cover crop was tilled in: within two weeks decay can "
            "damage seedlings (common practice, no source)."
        )
    if days < 0:
        found.append(f"{crop.name} is planted before the cover crop ends: check the dates.")
    return found
