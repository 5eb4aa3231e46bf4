"""The pre-side-dress nitrate test: what it calls for stands in place of what is left of the ledger.

The test measures what the soil holds when the crop starts to grow fast: the cover crop's nitrogen, the soil's, water
and manure are all in it. Nothing is subtracted from what it calls for.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fieldmap import agronomy
from fieldmap.budget.other_credits import BULK_DENSITY_KG_M3, NITRATE_TO_N, soil_nitrate_kg_ha
from fieldmap.errors import InputError, Problem
from fieldmap.units import KG_HA_PER_LB_AC, M_PER_FOOT

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Sequence

    from fieldmap.field import Field
    from fieldmap.plan import Crop, OtherCredit, SidedressTest


DEPTH_M = M_PER_FOOT  # the tests behind the thresholds sample the top foot


@dataclass(frozen=True)
class SidedressCall:
    """What a block's test calls for at the side-dressing: nitrogen, kg/ha, with its sources.

    `threshold_ppm` is the nitrate-N above which nothing is side-dressed; None where the rate is from a rate table,
    for ground with manure or without (`manured`).
    """

    block: str
    crop: str
    sampled: dt.date
    nitrate_n_ppm: float
    threshold_ppm: float | None
    rate_n_kg_ha: float
    manured: bool
    sources: tuple[str, ...]

    @property
    def mark(self) -> agronomy.Mark:
        """The weakest mark of what stands behind the rate."""
        return agronomy.weakest_mark(self.sources)


def following(call: SidedressCall, days: Sequence[dt.date | None]) -> tuple[int, ...]:
    """Positions of the applications that follow a test: all from its day on. `days` are theirs, None if not told."""
    return tuple(k for k, day in enumerate(days) if day is not None and day >= call.sampled)


def sidedress_calls(
    tests: Sequence[SidedressTest],
    crops: Sequence[Crop],
    field: Field,
    *,
    credits: Sequence[OtherCredit],  # noqa: A002
) -> tuple[SidedressCall, ...]:
    """What tests call for in each block they are of; a block's own test stands before a general one.

    Parameters
    ----------
    tests
        The plan's nitrate tests.
    crops
        In the order of the field's blocks.
    credits
        Other credits: ground with manure has a rate table of its own.

    Raises
    ------
    InputError
        For a test outside the crop's season, and for a crop without threshold in the table and in the plan.
    """
    calls: list[SidedressCall] = []
    problems: list[Problem] = []
    for block, crop in zip(field.blocks, crops, strict=True):
        own = [test for test in tests if test.block == block.name]
        of_block = own or [test for test in tests if test.block is None]
        if not of_block:
            continue
        test = max(of_block, key=lambda one: one.sampled)
        manured = any(one.kind.is_manure and one.block in (None, block.name) for one in credits)
        try:
            calls.append(_call(test, crop, block.name, manured=manured))
        except InputError as error:
            problems += error.problems
    if problems:
        raise InputError(*problems)
    return tuple(calls)


def _call(test: SidedressTest, crop: Crop, block: str, *, manured: bool) -> SidedressCall:
    if not crop.planted <= test.sampled <= crop.harvested:
        raise _refused(
            f"the test of {test.sampled} is not from the season of {crop.name} in {block}, {crop.planted} to "
            f"{crop.harvested}",
            'a test of the standing crop is expected; an earlier one is [[other_credits]] source = "soil nitrate"',
            "Correct the date, or give the test its block",
        )
    nitrate_n_ppm = test.nitrate_n_ppm
    if nitrate_n_ppm is None:
        nitrate_n_ppm = NITRATE_TO_N * (test.nitrate_ppm or 0.0)
    rate_kg_ha, threshold_ppm, keys = _rate(test, crop.name, nitrate_n_ppm, manured=manured)
    return SidedressCall(
        block,
        crop.name,
        test.sampled,
        nitrate_n_ppm,
        threshold_ppm,
        rate_kg_ha,
        manured,
        ("your_value", *keys),
    )


def _rate(
    test: SidedressTest, crop: str, nitrate_n_ppm: float, *, manured: bool
) -> tuple[float, float | None, tuple[str, ...]]:
    """What to side-dress, kg N/ha: by the plan's threshold, the crop's rate table, or the crop's threshold.

    With its threshold and its sources. Below a threshold only as much is added as
    reaches it (Hartz).
    """
    entry = agronomy.find(crop, agronomy.crops())
    assert entry is not None  # noqa: S101 - checked as the plan was read
    by_table = entry.sidedress_rate_lb_ac(nitrate_n_ppm, manured=manured)
    if test.threshold_ppm is None and by_table is not None:
        return by_table * KG_HA_PER_LB_AC, None, (entry.source_of["sidedress_rates"],)
    if test.threshold_ppm is not None:
        threshold_ppm, key = test.threshold_ppm, "your_value"
    elif entry.sidedress_nitrate_mg_kg is not None:
        threshold_ppm, key = entry.sidedress_nitrate_mg_kg, entry.source_of["sidedress_nitrate_mg_kg"]
    else:
        raise _refused(
            f"the table has no soil nitrate threshold for {crop}",
            'threshold, such as threshold = "25 ppm" from the local guide, is expected',
            "Add it to [sidedress_test]",
        )
    if nitrate_n_ppm >= threshold_ppm:
        return 0.0, threshold_ppm, (key,)
    rate_kg_ha = soil_nitrate_kg_ha(threshold_ppm - nitrate_n_ppm, DEPTH_M, BULK_DENSITY_KG_M3)
    return rate_kg_ha, threshold_ppm, (key, "psnt_general", "soil_nitrate")


def _refused(found: str, expected: str, action: str) -> InputError:
    return InputError(Problem("plan.toml", found, expected, action, section="sidedress_test"))
