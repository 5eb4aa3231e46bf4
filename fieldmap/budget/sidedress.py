"""The pre-side-dress nitrate test: what it calls for stands in place of what is left of the ledger.

The test measures what the soil holds when the crop starts to grow fast: the cover crop's nitrogen, the soil's, water
and manure are all in it. Nothing is subtracted from what it calls for. Of a block with thin, middle and thick ground
three tests may tell, each for its third.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, get_args

import numpy as np

from fieldmap import agronomy
from fieldmap.budget.nitrate_strip import STRIP, strip_nitrate_n_mg_kg
from fieldmap.budget.other_credits import BULK_DENSITY_KG_M3, NITRATE_TO_N, soil_nitrate_kg_ha
from fieldmap.errors import InputError, Problem
from fieldmap.season import uptake
from fieldmap.units import KG_HA_PER_LB_AC

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from fieldmap.field import Field
    from fieldmap.plan import CoverCrop, Crop, Plan, SidedressTest


TEST = agronomy.values_of("nitrate_test")
_MARKS = {figure.name: figure.source for figure in agronomy.figures("limits")["nitrate_test"]}
FILL_UP_KG_HA = soil_nitrate_kg_ha(1.0, TEST["depth_m"], BULK_DENSITY_KG_M3)  # for each mg/kg, 3.9
Scheme = Literal["fill up", "steps", "rate table"]
Ground = Literal["thin", "middle", "thick"]
GROUNDS: tuple[Ground, ...] = get_args(Ground)  # as `thirds_of_stand` numbers them


@dataclass(frozen=True)
class SidedressCall:
    """What a block's test calls for at the side-dressing: nitrogen, kg/ha, with its sources.

    `threshold_ppm` is the nitrate-N from which nothing is side-dressed; None where the rate is from a rate table,
    for ground with manure or without (`manured`). `scheme` is how the rate follows, `assumed` that the plan leaves
    open whether the ground is irrigated, which decides it; `error_kg_ha` how far it may be off, `strip` that a strip
    was read. `ground` is the third of the block it is for, None for all of it; `followed_from` the day of the block's
    last test, from which applications follow all of them.
    """

    block: str
    crop: str
    sampled: dt.date
    nitrate_n_ppm: float
    threshold_ppm: float | None
    rate_n_kg_ha: float
    manured: bool
    sources: tuple[str, ...]
    scheme: Scheme
    assumed: bool
    error_kg_ha: float
    strip: bool
    ground: Ground | None
    followed_from: dt.date

    @property
    def mark(self) -> agronomy.Mark:
        """The weakest mark of what stands behind the rate."""
        return agronomy.weakest_mark(self.sources)


def following(call: SidedressCall, days: Sequence[dt.date | None]) -> tuple[int, ...]:
    """Positions of the applications that follow a test: all from its day on. `days` are theirs, None if not told."""
    return tuple(k for k, day in enumerate(days) if day is not None and day >= call.followed_from)


def called_n_kg_ha(
    calls: Sequence[SidedressCall], third: NDArray[np.int8] | None
) -> float | NDArray[np.float64]:
    """What the tests of a block call for, kg N/ha: one rate, or of three grounds a raster with the rate of each.

    `third` is the raster of `thirds_of_stand`; only the block's own cells of what is returned mean anything.
    """
    by_ground = {call.ground: call.rate_n_kg_ha for call in calls}
    if third is None or None in by_ground:
        return by_ground.get(None, 0.0)
    rates = np.array([by_ground[ground] for ground in GROUNDS])
    return rates[np.maximum(third, 0)]


def refuse_even_ground(calls: Sequence[SidedressCall], third: NDArray[np.int8], field: Field) -> None:
    """Refuse tests by ground in a block whose stand is too even for thirds; `third` is from `thirds_of_stand`.

    Raises
    ------
    InputError
        For every such block.
    """
    by_ground = {call.block for call in calls if call.ground is not None}
    even = [
        block.name
        for number, block in enumerate(field.blocks)
        if block.name in by_ground and not (third[field.block_index == number] >= 0).any()
    ]
    if even:
        raise _refused(
            f"found tests by ground in {_listed(even)}, where the stand is the same all over",
            "one test of the whole block, without ground, is expected",
            "Give their mean as one test",
        )


def window_of_test(crop: Crop, cover: CoverCrop) -> tuple[dt.date, dt.date]:
    """The first and the last day on which a nitrate test of the standing crop counts.

    Not for a test before planting, which is another credit.

    Parameters
    ----------
    crop
        Planting, harvest and vegetable.
    cover
        Its end and where its residue lies: nitrate rises for two weeks after residue was incorporated.

    Returns
    -------
    first, last
        The last is before the first where the crop is too short for a test.

    References
    ----------
    14 days after transplanting of cole crops: Heckman et al. 2002 (psnt_cabbage); all else common practice, no source
    (psnt_window); the last day is that of the last sensible dressing (dressing_practice).
    """
    entry = crop.entry
    after_d = TEST["from_d"] if entry.sidedress_from_d is None else entry.sidedress_from_d
    first = crop.planted + dt.timedelta(days=after_d)
    if cover.placement != "surface":
        first = max(first, cover.terminated + dt.timedelta(days=TEST["after_residue_d"]))
    return first, uptake.last_dressing_day(crop.planted, crop.harvested, entry)


def sidedress_calls(plan: Plan, field: Field) -> tuple[SidedressCall, ...]:
    """What the plan's tests call for in each block; a block's own test stands before a general one.

    Raises
    ------
    InputError
        For a test on a day on which it does not count, and for a crop of which such tests are not used.
    """
    calls: list[SidedressCall] = []
    problems: list[Problem] = []
    for block in field.blocks:
        own = [test for test in plan.sidedress_test if test.block == block.name]
        of_block = own or [test for test in plan.sidedress_test if test.block is None]
        if not of_block:
            continue
        try:
            taken = _last_taken(of_block, block.name)
            day = max(test.sampled for test in taken)
            calls += [_call(test, plan, block.name, followed_from=day) for test in taken]
        except InputError as error:
            problems += error.problems
    if problems:
        raise InputError(*problems)
    return tuple(calls)


def _last_taken(tests: Sequence[SidedressTest], block: str) -> tuple[SidedressTest, ...]:
    """The last test of a block, or the last of each ground where it is one of three.

    Raises
    ------
    InputError
        Where one of the three is missing, older than the others by days, or beside one of the whole block.
    """
    last = max(tests, key=lambda one: one.sampled)
    within_d = int(TEST["grounds_within_d"])
    together = [one for one in tests if (last.sampled - one.sampled).days <= within_d]
    grounds = [one.ground for one in together]
    if not any(grounds):
        return (last,)
    if None in grounds:
        raise _refused(
            f"found tests of the whole of {block} and of a ground of it within {within_d} days",
            "either one test without ground, or one each of thin, middle and thick ground, is expected",
            "Leave one or the other out",
        )
    told, missing = ([one for one in GROUNDS if (one in grounds) == there] for there in (True, False))
    if missing:
        raise _refused(
            f"found a test of {_listed(told)} ground in {block} and none of {_listed(missing)} ground within "
            f"{within_d} days of {last.sampled}",
            "one test each of thin, middle and thick ground is expected, of the same day or nearly so",
            f'Add [[sidedress_test]] with ground = "{missing[0]}", or leave ground out for one rate in {block}',
        )
    return tuple(
        max((one for one in together if one.ground == ground), key=lambda one: one.sampled)
        for ground in GROUNDS
    )


def _listed(words: Sequence[str]) -> str:
    """``thin``, ``thin and middle``."""
    return " and ".join(words)


def _call(test: SidedressTest, plan: Plan, block: str, *, followed_from: dt.date) -> SidedressCall:
    crop = plan.crop_of(block)
    _refuse_day(test, crop, plan.cover_crop_of(block), block)
    nitrate_n_ppm, read = _nitrate_n(test)
    manured = any(one.kind.is_manure and one.block in (None, block) for one in plan.other_credits)
    entry = crop.entry
    threshold_ppm, threshold_key = _threshold(test, entry)
    scheme, assumed = _scheme(test, plan, entry)
    by_table = entry.sidedress_rate_lb_ac(nitrate_n_ppm, manured=manured)
    keys: tuple[str, ...] = (threshold_key,)
    per_ppm = FILL_UP_KG_HA if scheme == "fill up" else TEST["step_kg_ha"]
    if scheme == "rate table" and by_table is not None:
        rate, threshold, keys = by_table * KG_HA_PER_LB_AC, None, (entry.source_of["sidedress_rates"],)
    else:
        missing_ppm, threshold = max(0.0, threshold_ppm - nitrate_n_ppm), threshold_ppm
        rate = missing_ppm * per_ppm
        if rate > 0 and scheme == "fill up":
            keys = (threshold_key, "psnt_general", "soil_nitrate")
        elif rate > 0:
            rate, keys = min(rate, TEST["step_most_kg_ha"]), (threshold_key, "psnt_steps")
    misread_ppm = STRIP["error"] * nitrate_n_ppm if test.strip_ppm is not None else 0.0
    return SidedressCall(
        block=block,
        crop=crop.name,
        sampled=test.sampled,
        nitrate_n_ppm=nitrate_n_ppm,
        threshold_ppm=threshold,
        rate_n_kg_ha=rate,
        manured=manured,
        sources=("your_value", *read, *keys),
        scheme=scheme,
        assumed=assumed,
        error_kg_ha=math.hypot(TEST["error_kg_ha"], misread_ppm * per_ppm),
        strip=test.strip_ppm is not None,
        ground=test.ground,
        followed_from=followed_from,
    )


def _refuse_day(test: SidedressTest, crop: Crop, cover: CoverCrop, block: str) -> None:
    """A test before planting, too early for what the soil will give, or too late to be of use."""
    if not crop.planted <= test.sampled <= crop.harvested:
        raise _refused(
            f"the test of {test.sampled} is not from the season of {crop.name} in {block}, {crop.planted} to "
            f"{crop.harvested}",
            'a test of the standing crop is expected; an earlier one is [[other_credits]] source = "soil nitrate"',
            "Correct the date, or give the test its block",
        )
    first, last = window_of_test(crop, cover)
    if first <= test.sampled <= last:
        return
    after_d, before_d = (test.sampled - crop.planted).days, (crop.harvested - test.sampled).days
    found = (
        f"the test of {test.sampled} is {after_d} days after planting and {before_d} before the harvest of "
        f"{crop.name} in {block}"
    )
    if first > last:
        raise _refused(
            found,
            f"no day counts: nitrate is still rising until {first}, and the last sensible dressing is on {last}",
            "Leave the test out, and credit one from before planting as soil nitrate",
        )
    early = test.sampled < first
    why = (
        "nitrate in the soil is still rising before"
        if early
        else "a later dressing comes too late for the crop"
    )
    raise _refused(
        found,
        f"a test from {first} to {last} counts: {why}",
        "Test again within these days" if early else "Leave the test out, or correct the dates",
    )


def _nitrate_n(test: SidedressTest) -> tuple[float, tuple[str, ...]]:
    if test.strip_ppm is not None:
        return strip_nitrate_n_mg_kg(test)
    if test.nitrate_n_ppm is not None:
        return test.nitrate_n_ppm, ()
    return NITRATE_TO_N * (test.nitrate_ppm or 0.0), ()


def _threshold(test: SidedressTest, entry: agronomy.CropEntry) -> tuple[float, str]:
    """Nitrate-N that is enough, mg/kg, and its source: the plan's, the vegetable's, else what serves most."""
    if test.threshold_ppm is not None:
        return test.threshold_ppm, "your_value"
    if not entry.tested:
        raise _refused(
            f"a soil nitrate test is not used for {entry.name} (common practice, no source)",
            'threshold, such as threshold = "25 ppm" from the local guide, is expected where one is',
            "Leave the test out, or add the threshold",
        )
    if entry.sidedress_nitrate_mg_kg is not None:
        return entry.sidedress_nitrate_mg_kg, entry.source_of["sidedress_nitrate_mg_kg"]
    return TEST["enough_mg_kg"], _MARKS["enough_mg_kg"]


def _scheme(test: SidedressTest, plan: Plan, entry: agronomy.CropEntry) -> tuple[Scheme, bool]:
    """How the rate follows, and whether that was assumed.

    Managed irrigation keeps what is put there, so the soil is filled up to what is enough; in humid ground part of it
    is lost, and the steps of the humid east hold. A threshold of the plan's own leaves no use for a rate table.
    """
    by_steps: Scheme = "rate table" if entry.sidedress_rates and test.threshold_ppm is None else "steps"
    if test.rate is not None:
        return ("fill up" if test.rate == "fill up" else by_steps), False
    if plan.weather is not None:
        return ("fill up" if plan.weather.irrigated else by_steps), False
    return ("rate table" if by_steps == "rate table" else "fill up"), True


def _refused(found: str, expected: str, action: str) -> InputError:
    return InputError(Problem("plan.toml", found, expected, action, section="sidedress_test"))
