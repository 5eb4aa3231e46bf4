"""`check` is a run without writing: it refuses and warns of what a run does, and a run takes no foreign stand."""

import datetime as dt

import numpy as np
import pytest

from fieldmap.errors import InputError
from fieldmap.pipeline import check, run, survey
from fieldmap.pipeline.survey import stand_key
from fieldmap.read import file_digests, read_plan

WEATHER = '\n[weather]\nfile = "weather.csv"\n'


def daily(first, days):
    rows = [
        f"{first + dt.timedelta(days=day)},{8 + day % 5},{20 + day % 5},{2 if day % 4 == 0 else 0}"
        for day in range(days)
    ]
    return "\n".join(("date,tmin_c,tmax_c,rain_mm", *rows)) + "\n"


@pytest.mark.parametrize(
    ("edits", "extra", "files", "words"),
    [
        ((), WEATHER, {"weather.csv": daily(dt.date(2026, 4, 25), 12)}, "weather"),
        ((), WEATHER, {"weather.csv": daily(dt.date(2026, 6, 20), 120)}, "weather"),
        ((('rate_step = "10 kg/ha"', 'rate_step = "10 kg/ha"\nhopper = "3 lb"'),), "", None, "loads"),
        ((('rate_step = "10 kg/ha"', 'rate_step = "0.001 kg/ha"'),), "", None, "rate_step"),
    ],
    ids=["cut short", "starts late", "a hopper of three pounds", "a step too fine"],
)
def test_check_refuses_what_run_refuses_in_the_same_words(plan_folder, edits, extra, files, words):
    folder = plan_folder(edits=edits, extra=extra, files=files)
    with pytest.raises(InputError) as by_run:
        run(read_plan(folder))
    with pytest.raises(InputError) as by_check:
        check(folder)
    assert str(by_check.value) == str(by_run.value)
    assert words in str(by_check.value)


def test_all_that_is_wrong_is_said_at_once(plan_folder):
    test = '\n[[sidedress_test]]\nsampled = 2026-01-02\nnitrate_n = "10 ppm"\n'
    late = daily(dt.date(2026, 6, 20), 120)
    folder = plan_folder(extra=WEATHER + test, files={"weather.csv": late})
    with pytest.raises(InputError) as caught:
        check(folder)
    said = [str(problem) for problem in caught.value.problems]
    assert any("is not from the season of" in text for text in said)
    assert any("weather.csv" in text for text in said)


def test_a_plan_in_order_gives_the_warnings_of_its_run(plan_folder):
    folder = plan_folder()
    assert check(folder).warnings == run(read_plan(folder)).warnings


def test_a_run_refuses_the_stand_of_another_farm(plan_folder):
    one = survey(read_plan(plan_folder(name="one")))
    other = read_plan(plan_folder(name="other", shift_m=(500.0, 0.0)))
    with pytest.raises(InputError, match="stand: it was surveyed from another field, other samples"):
        run(other, stand=one)


def test_a_changed_sample_makes_a_stand_another(plan_folder):
    folder = plan_folder()
    stand = survey(read_plan(folder))
    text = (folder / "samples.csv").read_text().splitlines()
    (folder / "samples.csv").write_text("\n".join([*text[:-1], ""]))
    with pytest.raises(InputError, match="or changed files"):
        run(read_plan(folder), stand=stand)


def keys_of(plan):
    digests = file_digests(plan)
    return stand_key(plan, digests), plan.computed_hash(digests), plan.hash(digests)


@pytest.mark.parametrize(
    "changes",
    [{"units": "us"}, {"name": "Another name"}, {"farm": "Farm"}, {"prices": {"product": "500 USD/t"}}],
    ids=lambda changes: next(iter(changes)),
)
def test_units_names_and_prices_change_no_number(plan_folder, changes):
    plan = read_plan(plan_folder())
    other = plan.replace(**changes)
    assert keys_of(plan)[:2] == keys_of(other)[:2]
    assert keys_of(plan)[2] != keys_of(other)[2]
    result = run(plan)
    shown = result.shown_as(other, file_digests(other))
    fresh = run(other)
    assert shown.plan_hash == fresh.plan_hash
    assert shown.warnings == fresh.warnings
    assert shown.action_texts == fresh.action_texts
    assert np.array_equal(
        shown.spread.zone_map.rate_n_kg_ha, fresh.spread.zone_map.rate_n_kg_ha, equal_nan=True
    )


def test_prices_count_once_money_is_followed(plan_folder):
    from support.money import PRICES, RESPONSE

    plan = read_plan(plan_folder(extra=PRICES + RESPONSE))
    dearer = plan.replace(prices={"product": "900 USD/t"})
    assert keys_of(plan)[1] != keys_of(dearer)[1]
    with pytest.raises(ValueError, match="this plan computes something else: run it"):
        run(plan).shown_as(dearer, file_digests(dearer))


@pytest.mark.parametrize(
    "changes", [{"spreader": {"product": "ammonium sulfate"}}, {"hopper": "900 kg"}, {"speed": "9 km/h"}]
)
def test_product_hopper_and_speed_leave_the_stand(plan_folder, changes):
    plan = read_plan(plan_folder())
    assert keys_of(plan)[0] == keys_of(plan.replace(**changes))[0]
    assert keys_of(plan)[1] != keys_of(plan.replace(**changes))[1]


def test_the_reach_of_the_machine_makes_another_stand(plan_folder):
    plan = read_plan(plan_folder())
    assert keys_of(plan)[0] != keys_of(plan.replace(swath="30 m"))[0]
