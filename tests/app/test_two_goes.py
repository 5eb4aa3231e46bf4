"""Two goes made of one: which pair of days is offered, and when none is."""

import datetime as dt

import pytest
from shapely.geometry import box

from fieldmap import read_plan, run
from fieldmap.app.plans.two_goes import two_goes_of

SINE = '\n[weather]\nmean = "11 degC"\namplitude = "12 delta_degC"\ncoldest = 2026-01-25\n'
CAUTIOUS = SINE + "\n[credit]\nconfidence = 0.9\n"
BLOCKS = {"west": box(0, 0, 150, 200), "east": box(150, 0, 300, 200)}


def block(crop, planted, harvested):
    """East with a crop of its own."""
    days = f"planted = {planted}, harvested = {harvested}"
    return f'\n[[block]]\nblock = "east"\ncrop = {{ name = "{crop}", {days}, need = "220 kg/ha" }}\n'


@pytest.fixture
def goes_of(plan_folder):
    """The pair of a plan, the days of the blocks' own goes, and the plan with the pair in it."""

    def make(extra, *edits, name="plan", **options):
        result = run(read_plan(plan_folder(extra=extra, edits=edits, name=name, **options)))
        goes = two_goes_of(result)
        days = sorted(two.day for one in result.actions for two in getattr(one, "in_two", ()))
        return goes, days, result

    return make


def test_one_block_is_offered_its_own_two_days(goes_of):
    goes, days, result = goes_of(CAUTIOUS)
    assert goes == (
        {"date": dt.date(2026, 5, 24), "share": "auto"},
        {"date": days[0], "share": "auto", "method": "side-dress"},
    )
    two = run(result.plan.replace(application=list(goes)))
    assert [one.application.date for one in two.applications] == [dt.date(2026, 5, 24), days[0]]
    # What is offered is not offered again.
    assert two_goes_of(two) == ()


def test_blocks_planted_apart_share_the_first_pair_that_nothing_is_said_of(goes_of):
    later = block("sweet corn", "2026-05-29", "2026-08-19")
    goes, days, result = goes_of(CAUTIOUS + later, blocks=BLOCKS)
    # Nothing is broadcast on 29 May on the corn that stands since 24 May; the earlier side-dressing is taken.
    assert [one["date"] for one in goes] == [dt.date(2026, 5, 24), days[0]]
    assert len(days) == 2
    assert days[0] < days[1]
    told = run(result.plan.replace(application=list(goes))).warnings
    assert not any(text.startswith("Application ") and " of 2026-" in text for text in told)


def test_no_pair_is_offered_where_none_would_pass(goes_of):
    # No day is both in the season of the corn, to 14 August, and after the broccoli is planted.
    after = block("broccoli", "2026-08-20", "2026-11-10")
    goes, days, _ = goes_of(CAUTIOUS + after, blocks=BLOCKS)
    assert days
    assert goes == ()


@pytest.mark.parametrize(
    ("extra", "edits"),
    [
        ("", ()),
        (CAUTIOUS + "\n[[application]]\nshare = 1.0\n", ()),
        (CAUTIOUS, (('"220 kg/ha"', '"40 kg/ha"'),)),
    ],
    ids=["no weather", "an application of its own", "nothing to spread"],
)
def test_none_is_offered_where_one_go_does(goes_of, extra, edits):
    assert goes_of(extra, *edits)[0] == ()
