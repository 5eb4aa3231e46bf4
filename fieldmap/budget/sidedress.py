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
from fieldmap.units import KG_HA_PER_LB_AC, M_PER_FOOT, rate_text

if TYPE_CHECKING:
    import datetime as dt

    from fieldmap.field import Field
    from fieldmap.plan import Plan, SidedressTest


TESTED = "What a test calls for stands in place of what the ledger leaves for the side-dressing"
DEPTH_M = M_PER_FOOT  # the tests behind the thresholds sample the top foot


@dataclass(frozen=True)
class SidedressCall:
    """What a block's test calls for at the side-dressing: nitrogen, kg/ha, with its sources and a sentence.

    `threshold_ppm` is the nitrate-N above which nothing is side-dressed; None where the rate is from a rate table.
    """

    block: str
    crop: str
    sampled: dt.date
    nitrate_n_ppm: float
    threshold_ppm: float | None
    rate_n_kg_ha: float
    sources: tuple[str, ...]
    text: str

    @property
    def mark(self) -> agronomy.Mark:
        """The weakest mark of what stands behind the rate."""
        return agronomy.weakest_mark(self.sources)


def following(plan: Plan, call: SidedressCall) -> tuple[int, ...]:
    """Positions of the applications that follow a test: all from its day on."""
    return tuple(
        k for k, one in enumerate(plan.application) if one.date is not None and one.date >= call.sampled
    )


def sidedress_calls(plan: Plan, field: Field) -> tuple[SidedressCall, ...]:
    """What the plan's tests call for in each block they are of; a block's own test stands before a general one.

    Raises
    ------
    InputError
        For a test outside the crop's season, and for a crop without threshold in the table and in the plan.
    """
    calls: list[SidedressCall] = []
    problems: list[Problem] = []
    for block in field.blocks:
        own = [test for test in plan.sidedress_test if test.block == block.name]
        tests = own or [test for test in plan.sidedress_test if test.block is None]
        if not tests:
            continue
        test = max(tests, key=lambda one: one.sampled)
        try:
            calls.append(_call(test, plan, block.name))
        except InputError as error:
            problems += error.problems
    if problems:
        raise InputError(*problems)
    return tuple(calls)


def _call(test: SidedressTest, plan: Plan, block: str) -> SidedressCall:
    crop = plan.crop_of(block)
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
    manured = any(one.kind.is_manure and one.block in (None, block) for one in plan.other_credits)
    rate_kg_ha, threshold_ppm, keys, basis = _rate(test, crop.name, nitrate_n_ppm, manured=manured)
    amount = f"{rate_text(rate_kg_ha, plan.units)} of nitrogen" if rate_kg_ha > 0 else "nothing"
    text = (
        f"{block} ({crop.name}): the test of {test.sampled} found {nitrate_n_ppm:g} ppm nitrate-N: side-dress "
        f"{amount} ({basis})."
    )
    return SidedressCall(
        block, crop.name, test.sampled, nitrate_n_ppm, threshold_ppm, rate_kg_ha, ("your_value", *keys), text
    )


def _rate(
    test: SidedressTest, crop: str, nitrate_n_ppm: float, *, manured: bool
) -> tuple[float, float | None, tuple[str, ...], str]:
    """What to side-dress, kg N/ha: by the plan's threshold, the crop's rate table, or the crop's threshold.

    With its threshold, its sources, and what it rests on in words. Below a threshold only as much is added as
    reaches it (Hartz).
    """
    entry = agronomy.find(crop, agronomy.crops())
    assert entry is not None  # noqa: S101 - checked as the plan was read
    by_table = entry.sidedress_rate_lb_ac(nitrate_n_ppm, manured=manured)
    if test.threshold_ppm is None and by_table is not None:
        basis = f"rate table, ground {'with' if manured else 'without'} manure"
        return by_table * KG_HA_PER_LB_AC, None, (entry.source_of["sidedress_rates"],), basis
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
        return 0.0, threshold_ppm, (key,), f"the threshold is {threshold_ppm:g} ppm"
    rate_kg_ha = soil_nitrate_kg_ha(threshold_ppm - nitrate_n_ppm, DEPTH_M, BULK_DENSITY_KG_M3)
    basis = f"enough to bring the top foot to the threshold of {threshold_ppm:g} ppm"
    return rate_kg_ha, threshold_ppm, (key, "psnt_general", "soil_nitrate"), basis


def _refused(found: str, expected: str, action: str) -> InputError:
    return InputError(Problem("plan.toml", "[sidedress_test]", found, expected, action))
