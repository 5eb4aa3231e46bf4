"""The list of what to do: its days keep the rules, its amounts are those of the files, its words say so."""

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest

from fieldmap import read_plan, run
from fieldmap.actions import (
    Dig,
    EndCover,
    KeepStockOff,
    Plant,
    SampleAgain,
    SideDress,
    SoilTest,
    SowCatchCrop,
    Spread,
    Starter,
    Why,
)
from fieldmap.advice.applications import application_warnings
from fieldmap.advice.refusals import refuse_impossible_dates
from fieldmap.plan.spreader import ApplicationSection

SINE = '\n[weather]\nmean = "11 degC"\namplitude = "12 delta_degC"\ncoldest = 2026-01-25\n'


@pytest.fixture
def listed(plan_folder):
    """The run of a plan, `edits` on it, and its actions by kind."""

    def make(*edits, extra="", **columns):
        result = run(read_plan(plan_folder(edits=edits, extra=extra, **columns)))
        return result, {kind: [a for a in result.actions if type(a) is kind] for kind in KINDS}

    return make


KINDS = (SampleAgain, EndCover, Plant, Dig, Spread, Starter, SoilTest)


def test_the_list_runs_by_day(kettle_bend_result):
    days = [one.day for one in kettle_bend_result.actions]
    assert days == sorted(days)
    assert all(isinstance(day, dt.date) for day in days)


def test_blocks_planted_on_other_days_are_spread_by_their_own(kettle_bend_result):
    spread = [one for one in kettle_bend_result.actions if isinstance(one, Spread)]
    assert {one.blocks: one.last for one in spread} == {
        ("middle",): dt.date(2026, 5, 24),
        ("east",): dt.date(2026, 5, 28),
        ("west",): dt.date(2026, 6, 20),
    }
    rows = kettle_bend_result.spread.zone_map.rows
    assert sum(one.product_kg for one in spread) == pytest.approx(sum(row.product_kg for row in rows))
    for one in spread:
        own = [row.product_kg_ha for row in rows if row.block in one.blocks]
        assert one.product_kg_ha == (min(own), max(own))


def test_what_the_list_spreads_makes_the_ledger_balance(listed):
    """Over the field, on a step of 10 kg/ha of urea."""
    result, found = listed(extra=SINE)
    spread_n_kg = sum(one.product_kg for one in found[Spread]) * 0.46
    missing = sum(line.kg_ha for line in result.ledger)
    assert spread_n_kg / result.field.area_ha == pytest.approx(missing, abs=0.5 * 10 * 0.46)


def test_a_week_sooner_or_later_is_read_off_the_stages(listed):
    result, found = listed()
    (end,) = found[EndCover]
    (course,) = result.budget.stages
    days = [stage.days for stage in course.stages]
    available = [stage.available_kg_ha for stage in course.stages]
    now = available[course.now]
    assert end.later_n_kg_ha == pytest.approx(np.interp(7, days, available) - now)
    assert end.sooner_n_kg_ha == pytest.approx(np.interp(-7, days, available) - now)
    text = result.action_texts[0]
    assert (text.when, text.what) == ("2026-05-04", "Till in the cover crop.")
    assert text.change.startswith("A week sooner ")


def test_old_samples_are_clipped_again(listed):
    _, found = listed(('file = "samples.csv"', 'file = "samples.csv"\nsampled = 2026-04-10'))
    (again,) = found[SampleAgain]
    assert (again.first, again.last, again.days) == (dt.date(2026, 4, 27), dt.date(2026, 5, 4), 24)


def test_seed_too_soon_after_tilling_in_waits(listed):
    result, found = listed(("planted = 2026-05-24", "planted = 2026-05-12"))
    (wait,) = found[Plant]
    assert (wait.first, wait.planted) == (dt.date(2026, 5, 18), dt.date(2026, 5, 12))
    text = next(text for text in result.action_texts if "no sooner" in text.what)
    assert text.what == "Plant sweet corn no sooner; the plan has 2026-05-12."


def test_spread_before_plastic_is_laid_and_not_beside_the_row_after_it(listed):
    _, open_ground = listed(extra=SINE, name="open")
    _, covered = listed(
        ("planted = 2026-05-24", "planted = 2026-05-24\nplastic_laid = 2026-05-20"),
        extra=SINE,
        name="plastic",
    )
    assert open_ground[Spread][0].in_two
    assert covered[Spread][0].last == dt.date(2026, 5, 19)
    assert not covered[Spread][0].in_two


def test_a_credit_above_the_need_names_a_starter_and_a_test(listed):
    result, found = listed(('need = "220 kg/ha"', 'need = "15 kg/ha"'), extra=SINE)
    assert np.nanmax(result.spread.zone_map.rate_n_kg_ha) == 0.0
    (starter,), (test,) = found[Starter], found[SoilTest]
    assert (starter.last, starter.rate_n_kg_ha) == (dt.date(2026, 5, 24), 25.0)
    assert test.why is Why.NOTHING_SPREAD
    assert not found[Spread]
    texts = " ".join(text.line for text in result.action_texts)
    assert "Spread nothing: the credit covers the need of sweet corn. Give a starter of 25 kg/ha" in texts
    assert "None where a soil test at planting finds 12 ppm nitrate-N or more." in texts
    assert "0 kg/ha" not in texts


def test_thin_ground_is_dug_before_it_is_spread(listed):
    result, found = listed()
    (dig,), (spread,) = found[Dig], found[Spread]
    assert dig.last == spread.last
    assert result.actions.index(dig) < result.actions.index(spread)
    assert dig.rate_n_kg_ha == max(zone.rate_n_kg_ha for zone in result.spread.zone_map.zones)
    _, known = listed(extra='\n[thin_ground]\ncause = "seeding"\n', name="known")
    assert not known[Dig]


def test_two_goes_are_of_the_amount_in_the_file(listed):
    result, found = listed(extra=SINE + "\n[credit]\nconfidence = 0.9\n")
    (spread,) = found[Spread]
    (two,) = spread.in_two
    mean_n_kg_ha = spread.product_kg * 0.46 / result.field.area_ha
    assert two.early_n_kg_ha + two.late_n_kg_ha == pytest.approx(mean_n_kg_ha, rel=1e-3)
    text = next(text for text in result.action_texts if " of nitrogen), " in text.what)
    assert text.change.startswith("Two goes serve better ([[application]] twice): ")
    assert text.change.endswith(f"beside the row on {two.day}.")


def test_a_test_waits_for_what_was_spread_and_for_the_residue(listed):
    """Three weeks after 22 May, and five days for the laboratory before 1 July."""
    extra = "\n[[application]]\ndate = 2026-05-22\nshare = 0.4\n\n[[application]]\ndate = 2026-07-01\nshare = 0.6\n"
    _, found = listed(extra=extra + 'method = "side-dress"\n')
    (test,) = found[SoilTest]
    assert (test.why, test.first, test.last) == (
        Why.SIDE_DRESSING,
        dt.date(2026, 6, 12),
        dt.date(2026, 6, 26),
    )
    assert test.threshold_ppm == 25.0


TWO = "\n[[application]]\ndate = 2026-05-22\nshare = 0.4\n\n[[application]]\ndate = 2026-06-24\nshare = 0.6\n"


def test_a_test_that_leaves_nothing_is_a_line_too(listed):
    told = '\n[sidedress_test]\nnitrate_n = "40 ppm"\nsampled = 2026-06-20\n'
    result, found = listed(extra=told + TWO + 'method = "side-dress"\n')
    (none,) = [one for one in result.actions if isinstance(one, SideDress)]
    assert (none.day, none.rate_n_kg_ha, none.nitrate_n_ppm) == (dt.date(2026, 6, 24), 0.0, 40.0)
    assert [one.number for one in found[Spread]] == [1]
    assert "No side-dressing of sweet corn. The test found 40 ppm" in " ".join(
        text.line for text in result.action_texts
    )


def test_the_list_carries_what_speaks_against_an_application(listed):
    plastic = ("planted = 2026-05-24", "planted = 2026-05-24\nplastic_laid = 2026-06-01")
    result, _ = listed(plastic, extra=TWO + 'method = "side-dress"\n')
    second = next(text for text in result.action_texts if text.when == "2026-06-24")
    assert second.why.startswith("But plastic covers the beds of field since 2026-06-01")
    first = next(text for text in result.action_texts if text.when == "2026-05-22")
    assert "But" not in first.why


def test_a_cover_crop_tilled_in_under_the_vegetable_is_refused(listed):
    from fieldmap.errors import InputError

    with pytest.raises(
        InputError, match=r"is tilled in on 2026-06-10, after sweet corn was planted on 2026-05-24"
    ):
        listed(("terminated = 2026-05-04", "terminated = 2026-06-10"))


def test_a_frost_that_nobody_can_time_asks_for_no_sampling(listed):
    frost = ('placement = "incorporated"', 'placement = "surface"\nended_by = "frost"')
    _, found = listed(frost, ('file = "samples.csv"', 'file = "samples.csv"\nsampled = 2026-04-10'))
    assert not found[SampleAgain]


def test_residue_that_lets_nitrogen_go_is_caught(kettle_bend_result):
    """Broccoli leaves 100 kg/ha for the next crop of the year (DüV, annex 4); pepper and sweet corn less than 70."""
    (catch,) = [one for one in kettle_bend_result.actions if isinstance(one, SowCatchCrop)]
    assert (catch.blocks, catch.residue_n_kg_ha) == (("west",), 100)
    assert (catch.first, catch.last) == (dt.date(2026, 9, 12), dt.date(2026, 9, 26))


def test_a_stand_that_harms_stock_is_not_fed(listed):
    cut = ('placement = "incorporated"', 'placement = "surface"\nended_by = "removed"')
    result, _ = listed(cut)
    (off,) = [one for one in result.actions if isinstance(one, KeepStockOff)]
    assert (off.species, off.last) == ("hairy vetch", dt.date(2026, 5, 4))
    assert "can poison cattle and horses" in off.harm
    kept, _ = listed(name="kept")
    assert not [one for one in kept.actions if isinstance(one, KeepStockOff)]


def random_plan(rng):
    """Edits of the small plan: other dates, products, plastic."""
    ended = dt.date(2026, 4, 20) + dt.timedelta(days=int(rng.integers(0, 30)))
    planted = ended + dt.timedelta(days=int(rng.integers(0, 60)))
    crop = f"planted = {planted}"
    if rng.random() < 0.4:
        crop += f"\nplastic_laid = {planted - dt.timedelta(days=int(rng.integers(-20, 10)))}"
    product = str(rng.choice(["urea", "calcium nitrate", "feather meal", "poultry litter"]))
    manure = product == "poultry litter"  # 120 days to harvest
    harvested = planted + dt.timedelta(days=int(rng.integers(125 if manure else 60, 160)))
    return (
        ("terminated = 2026-05-04", f"terminated = {ended}"),
        ("planted = 2026-05-24", crop),
        ("harvested = 2026-08-14", f"harvested = {harvested}"),
        ('product = "urea"', f'product = "{product}"'),
        ('rate_max = "600 kg/ha"', 'rate_max = "30000 kg/ha"'),
        ('rate_step = "10 kg/ha"', 'rate_step = "100 kg/ha"'),
        ('rate_min = "20 kg/ha"', 'rate_min = "100 kg/ha"'),
        ('need = "220 kg/ha"', f'need = "{int(rng.integers(20, 260))} kg/ha"'),
    )


@pytest.mark.parametrize("seed", range(12))
def test_no_day_of_the_list_breaks_a_rule_of_check(listed, seed):
    """Spread on either end of its days, or in the two goes it speaks of, a plan is neither refused nor warned of."""
    edits = random_plan(np.random.default_rng(seed))
    result, found = listed(*edits, extra=SINE if seed % 3 else "")
    plan, stand = result.plan, result.stand
    for one in found[Spread]:
        for day in {one.first, one.last} - {None}:
            checked(plan, stand, (day, "broadcast before planting"))
        for two in one.in_two:
            checked(plan, stand, (one.last, "broadcast before planting"), (two.day, "side-dress"))


def checked(plan, stand, *applications):
    share = 1.0 / len(applications)
    dated = plan.model_copy(
        update={
            "application": tuple(
                ApplicationSection(date=day, share=share, method=method) for day, method in applications
            )
        }
    )
    refuse_impossible_dates(dated, stand.field, stand.samples)
    assert application_warnings(dated, stand.field) == ()


def test_every_kind_has_words():
    from fieldmap import actions
    from fieldmap.advice.actions import action_texts

    day = dt.date(2026, 5, 1)
    every = [
        actions.SowCatchCrop(("west",), day, day, "broccoli", 120.0),
        actions.KeepStockOff(("west",), None, day, "hairy vetch", "Its seed poisons cattle and horses"),
        actions.SideDress(("west",), day, day, "broccoli", 0.0, 30.0, None),
    ]
    texts = action_texts(every, ("west", "east"), "metric")
    assert [text.what for text in texts] == [
        "Sow a catch crop after broccoli in west, or leave the residue standing until spring.",
        "Do not feed the hairy vetch in west unasked.",
        "No side-dressing of broccoli in west.",
    ]
    with pytest.raises(ValueError, match="no words for"):
        action_texts([actions.Action(("west",), None, None)], ("west",), "metric")
    assert replace(texts[0], why="").line.startswith("2026-05-01: Sow")
