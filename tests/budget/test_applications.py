"""Several applications: what each aims at, its own files, the split by the season, what is warned of or refused."""

import csv
import datetime as dt
import json
import re
import sqlite3
import zipfile

import numpy as np
import pytest
import rasterio
from defusedxml import ElementTree
from pypdf import PdfReader
from shapely.geometry import box, shape
from support.formats import names_in

from fieldmap import InputError, read_plan, run
from fieldmap.advice.applications import split_text
from fieldmap.advice.season import reason_text
from fieldmap.advice.verdict import verdict_text
from fieldmap.errors import OutputExistsError
from fieldmap.export.describe import describe
from fieldmap.export.folder import write_folder
from fieldmap.export.formats.result_json import figures
from fieldmap.report.summary import application_title, main_numbers
from fieldmap.season.balance import Balance
from fieldmap.season.timing import split_by_season
from fieldmap.units import KG_HA_PER_LB_AC
from fieldmap.verdict.flat_rates import Way
from fieldmap.webmap.page import map_page

SINE = '\n[weather]\nmean = "10 degC"\namplitude = "11 delta_degC"\ncoldest = 2026-01-20\nirrigated = true\n'
TWO_BLOCKS = {"west": box(0, 0, 150, 200), "east": box(150, 0, 300, 200)}
UREA, CAN = 0.46, 0.27


def apply(date, share, method="broadcast before planting", extra=""):
    share = f'"{share}"' if isinstance(share, str) else share
    return f'\n[[application]]\ndate = {date}\nshare = {share}\nmethod = "{method}"\n{extra}'


def before_and_after(first=0.4, second=0.6, extra='product = "calcium ammonium nitrate"\n'):
    return apply("2026-05-20", first) + apply("2026-06-24", second, "side-dress", extra)


def rates(one):
    return one.spread.zone_map.rate_n_kg_ha


def mean_n(result, *, block=None):
    """Mean nitrogen of each application over the field or a block."""
    cells = np.isfinite(rates(result.applications[0]))
    if block is not None:
        cells &= result.field.block_index == block
    return [float(rates(one)[cells].mean()) for one in result.applications]


# --- what each aims at


def test_the_two_together_aim_at_the_supplemental(result_of):
    result = result_of(before_and_after())
    missing = result.budget.supplemental_kg_ha[result.field.inside].mean()
    first, second = mean_n(result)
    assert first == pytest.approx(0.4 * missing, rel=0.05)
    assert first + second == pytest.approx(missing, rel=0.02)


@pytest.mark.parametrize("step", ["10 kg/ha", "60 kg/ha"])
def test_what_is_spread_and_what_is_left_add_up_to_the_kilogram(result_of, step):
    # Each cell is due what the first left it of the whole, or nothing where the first gave more than that.
    result = result_of(before_and_after(), ('rate_step = "10 kg/ha"', f'rate_step = "{step}"'))
    first, second = result.applications
    whole = np.maximum(result.budget.supplemental_kg_ha, rates(first))
    cell_ha = result.field.area_ha / result.field.inside.sum()
    spread_kg = np.nansum(rates(first) + rates(second)) * cell_ha
    assert spread_kg + second.left_n_kg == pytest.approx(np.nansum(whole) * cell_ha, rel=1e-9)
    own_kg = np.nansum(0.4 * result.budget.supplemental_kg_ha - rates(first)) * cell_ha
    assert first.left_n_kg == pytest.approx(own_kg, rel=1e-9)


def test_the_second_makes_up_what_a_coarse_step_of_the_first_left(result_of):
    # A step of 27.6 kg N/ha: the first is off its share, the sum off the whole by the second's own rounding at most.
    result = result_of(before_and_after(extra=""), ('rate_step = "10 kg/ha"', 'rate_step = "60 kg/ha"'))
    missing = result.budget.supplemental_kg_ha[result.field.inside].mean()
    first, second = mean_n(result)
    assert abs(first - 0.4 * missing) > 1.0
    assert abs(first + second - missing) < 0.5 * 60 * UREA
    text = next(text for text in result.warnings if text.startswith("Each application after the first"))
    assert re.search(r"Application 1 spreads [\d,]+ kg of nitrogen (less|more) than its share\.", text), text


def test_what_the_first_overspreads_the_second_leaves_out(result_of):
    # rate_min 200 kg/ha of urea is 92 kg N/ha: the first gives it from half of that on, far beyond half of the whole.
    result = result_of(before_and_after(0.5, 0.5, ""), ('rate_min = "20 kg/ha"', 'rate_min = "200 kg/ha"'))
    first, second = (rates(one) for one in result.applications)
    missing = result.budget.supplemental_kg_ha
    done = (first > 0) & (missing - first < 0.2 * 200 * UREA)
    assert done.any()
    assert second[done].mean() < 0.25 * 200 * UREA
    assert (second[(first > 0) & (missing - first > 0.8 * 200 * UREA)] > 0).all()


def test_each_has_its_own_product_on_its_own_steps_and_within_the_limits(result_of):
    result = result_of(before_and_after())
    for one, fraction, name in zip(
        result.applications, (UREA, CAN), ("urea", "calcium ammonium nitrate"), strict=True
    ):
        product = np.unique(one.spread.zone_map.product_kg_ha[result.field.inside])
        assert np.allclose(product / 10.0, np.round(product / 10.0))
        assert ((product == 0) | ((product >= 20.0) & (product <= 600.0))).all()
        assert {zone.product for zone in one.spread.zone_map.zones} == {name}
        for zone in one.spread.zone_map.zones:
            assert zone.rate_n_kg_ha == pytest.approx(zone.product_kg_ha * fraction)
    assert len(np.unique(rates(result.applications[1])[result.field.inside])) > 1


def test_three_thirds_are_a_whole(result_of):
    result = result_of(
        apply("2026-05-20", 0.33)
        + apply("2026-06-10", 0.33, "band")
        + apply("2026-07-01", 0.33, "side-dress")
    )
    missing = result.budget.supplemental_kg_ha[result.field.inside].mean()
    assert sum(mean_n(result)) == pytest.approx(missing, rel=0.03)
    assert mean_n(result)[0] == pytest.approx(missing / 3, rel=0.08)


def test_auto_beside_a_number_takes_the_rest_without_weather(result_of):
    told = result_of(before_and_after(0.4, 0.6), name="told")
    rest = result_of(before_and_after(0.4, "auto"), name="rest")
    assert [one.shares for one in rest.applications] == [(pytest.approx(0.4),), (pytest.approx(0.6),)]
    assert [z.product_kg for z in rest.spread.zone_map.zones] == [
        z.product_kg for z in told.spread.zone_map.zones
    ]


def test_the_starter_is_the_firsts(result_of):
    starter = ("zone_min", 'rate_n_min = "30 kg/ha"\nzone_min')
    result = result_of(before_and_after(0.05, 0.95, ""), ('"220 kg/ha"', '"60 kg/ha"'), starter)
    assert np.nanmin(rates(result.applications[0])) >= 30.0
    assert np.nanmin(rates(result.applications[1])) == 0.0


def test_caution_is_spread_once(result_of):
    cautious = "\n[credit]\nconfidence = 0.9\n"
    plain, one, two = (
        np.nansum(sum(rates(application) for application in result_of(extra, name=name).applications))
        for name, extra in (
            ("plain", before_and_after(extra="")),
            ("one", cautious),
            ("two", cautious + before_and_after(extra="")),
        )
    )
    assert two > plain
    assert two == pytest.approx(one, rel=0.03)


def test_a_cap_on_thin_ground_holds_for_the_sum(result_of):
    cap = '\n[thin_ground]\ncause = "wet"\ncap = true\n'
    one = result_of(cap, name="one")
    for first in (0.3, 0.5):
        two = result_of(cap + before_and_after(first, 1 - first, ""), name=f"two-{first}")
        highest = np.nanmax(sum(rates(application) for application in two.applications))
        # Each of the two is rounded to its step: by half of one at most.
        assert highest <= np.nanmax(rates(one.applications[0])) + 2 * 0.5 * 10 * UREA + 1e-9
        assert sum("is held at the flat rate" in text for text in two.warnings) == 1


def test_money_follows_the_sum(result_of):
    money = '\n[prices]\nproduct = "620 USD/t"\ncrop = "0.4 USD/kg"\n\n[response]\na = 10\nb = 0.1\nc = -0.00025\n'
    one = result_of(money, name="one")
    two = result_of(money + before_and_after(0.5, 0.5, ""), name="two")
    (alone,) = mean_n(one)
    assert sum(mean_n(two)) == pytest.approx(alone, rel=0.03)
    assert two.verdict.gain_money_ha == pytest.approx(one.verdict.gain_money_ha, rel=0.25)
    other = result_of(money + before_and_after(0.5, 0.5), name="other")
    assert any("an application has its own" in text for text in other.warnings)


def test_check_strips_stay_where_they_are_and_add_up_to_their_level(result_of):
    strips = "\n[strips]\nnumber = 2\nlevels = [0, 1]\n"
    result = result_of(strips + before_and_after())
    first, second = (one.spread for one in result.applications)
    assert first.laid
    for early, late in zip(first.laid, second.laid, strict=True):
        assert early.geometry.equals(late.geometry)
    for early, late in zip(first.strips, second.strips, strict=True):
        given = early.row.rate_n_kg_ha + late.row.rate_n_kg_ha
        assert given == pytest.approx(220.0 * early.level, abs=0.5 * 10 * UREA)


# --- one application is as it ever was


def test_one_application_writes_what_none_does(plan_folder, tmp_path, monkeypatch):
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1780000000")
    for name, extra in (("none", ""), ("one", apply("2026-05-20", 1))):
        write_folder(run(read_plan(plan_folder(extra=extra, name=f"plan-{name}"))), tmp_path / name)
    assert {file.name for file in (tmp_path / "one").iterdir()} == names_in("run")
    # They show the plan's hash, or the day.
    hashed = {"zones.gpkg", "map.html", "report.pdf", "card.pdf", "result.json", "actions.ics"}
    for name in names_in("run") - hashed:
        assert (tmp_path / "none" / name).read_bytes() == (tmp_path / "one" / name).read_bytes(), name
    none, one = (json.loads((tmp_path / name / "result.json").read_text()) for name in ("none", "one"))
    assert one["applications"][0]["date"] == "2026-05-20"
    for told in (none, one):
        del told["plan"], told["plan_hash"], told["applications"][0]["date"], told["actions"]
    assert none == one


def test_the_verdict_is_on_all_together(result_of):
    # Judged alone each of two halves would put right a quarter of the squared error, and might be called too little.
    one = result_of("", name="one").verdict
    two = result_of(before_and_after(0.5, 0.5, ""), name="two")
    together = two.verdict
    assert together.answer == one.answer == "closer to the need"
    assert together.gain_kg_ha == pytest.approx(one.gain_kg_ha, rel=0.1)


@pytest.mark.parametrize("way", [Way.LESS_CREDIT, Way.SAME_TOTAL, Way.COVER_IGNORED])
def test_flat_rates_add_up_over_the_applications(result_of, way):
    one = result_of("", name="one").verdict
    two = result_of(before_and_after(0.5, 0.5, ""), name="two").verdict
    rate = {
        verdict: next(o.rate_n_kg_ha for o in verdict.outcomes if o.name == way) for verdict in (one, two)
    }
    assert rate[two] == pytest.approx(rate[one], abs=10 * UREA)


# --- the split by the season


def handmade(short):
    """A balance that is short by these amounts on the days from planting, 1 May."""
    days = len(short)
    nothing = np.zeros(days)
    return Balance(
        dates=np.datetime64("2026-05-01") + np.arange(days),
        planted=dt.date(2026, 5, 1),
        released=nothing,
        released_low=nothing,
        released_high=nothing,
        uptake=nothing,
        short=np.asarray(short, dtype=float),
        spare=nothing,
        at_risk=np.zeros(()),
    )


MAY = [dt.date(2026, 5, day) for day in (1, 11, 21)]


@pytest.mark.parametrize(
    ("short", "whole", "amounts"),
    [
        # 2 a day for ten days, 4, then 6: 20, 40 and 60 of 120; most waits, so the first is raised to a starter.
        ([2] * 10 + [4] * 10 + [6] * 10, 120.0, [25, 35, 60]),
        # Half as much again for the thin places, in proportion.
        ([2] * 10 + [4] * 10 + [6] * 10, 180.0, [30, 60, 90]),
        # 5 by the second day is less than a starter (25): it is raised, and the second brings 20 less.
        ([0.5] * 10 + [4] * 10 + [6] * 10, 105.0, [25, 20, 60]),
        # Nothing before the third: all but the starter waits.
        ([0] * 20 + [6] * 10, 60.0, [25, 0, 35]),
        # Too little is left for the third (10): the second takes it along.
        ([2] * 10 + [4] * 10 + [1] * 10, 70.0, [25, 45, 0]),
        # Never short on average: a starter, the rest when it is known how the thin places fare.
        ([0] * 30, 12.0, [12, 0, 0]),
        ([0] * 30, 60.0, [25, 35, 0]),
    ],
)
def test_the_split_by_hand(short, whole, amounts):
    assert split_by_season(handmade(short), whole, MAY) == pytest.approx(amounts)
    assert sum(amounts) == pytest.approx(whole)


def test_auto_follows_the_season_block_by_block(result_of):
    late = '\n[[block]]\nblock = "east"\ncrop = { half_uptake_share = 0.8 }\n'
    result = result_of(
        SINE + late + apply("2026-05-20", "auto") + apply("2026-07-15", "auto", "side-dress"),
        ('need = "220 kg/ha"', 'need = "280 kg/ha"'),
        blocks=TWO_BLOCKS,
    )
    for number, season in enumerate(result.budget.seasons):
        early = result.applications[0].shares[number]
        assert early == pytest.approx(season.timing.at_planting_share)
        assert split_text(result.shares[number], result.budget.seasons, "metric") == reason_text(
            season, "metric"
        )
        assert season.timing.sidedress == dt.date(2026, 7, 15)
        spread = mean_n(result, block=number)
        assert spread[0] == pytest.approx(early * season.supplemental_kg_ha, abs=0.75 * 10 * UREA)
        assert sum(spread) == pytest.approx(season.supplemental_kg_ha, abs=0.75 * 10 * UREA)
    assert result.applications[0].shares[0] > result.applications[0].shares[1]
    assert figures(result)["applications"][0]["share"] == "auto"


def test_where_all_can_wait_the_first_brings_a_starter(result_of):
    result = result_of(
        SINE + apply("2026-05-20", "auto") + apply("2026-06-10", "auto", "side-dress"),
        ('need = "220 kg/ha"', 'need = "140 kg/ha"'),
    )
    (season,) = result.budget.seasons
    starter = 25.0 / season.supplemental_kg_ha
    assert [one.shares for one in result.applications] == [
        (pytest.approx(starter),),
        (pytest.approx(1 - starter),),
    ]
    assert mean_n(result)[0] == pytest.approx(25.0, abs=0.75 * 10 * UREA)
    assert np.nanmax(rates(result.applications[1])) > 0.0


def test_what_the_season_reckons_is_said_beside_shares_of_the_users_own(result_of):
    result = result_of(SINE + before_and_after())
    assert "2026-06-24" in reason_text(result.budget.seasons[0], "metric")
    first, second = [text for text in result.action_texts if " of nitrogen), " in text.what]
    assert first.when == "2026-05-20"
    assert first.what.startswith("Spread urea by application-1/zones.geojson: ")
    assert second.when == "2026-06-24"
    assert second.what.startswith("Side-dress calcium ammonium nitrate by application-2/zones.geojson: ")
    assert not first.change


# --- the nitrate test


def psnt(ppm, date="2026-06-20", extra=""):
    return f'\n[sidedress_test]\nnitrate_n = "{ppm} ppm"\nsampled = {date}\nrate = "steps"\n{extra}'


CALLED = 120 * KG_HA_PER_LB_AC  # 18 ppm in sweet corn: Rutgers Univ., by way of Univ. of Delaware


@pytest.mark.parametrize(
    "others",
    [
        "",
        '\n[[other_credits]]\nsource = "irrigation water"\nnitrogen = "60 kg/ha"\n',
        '\n[[other_credits]]\nsource = "soil nitrate"\nnitrate_n = "10 ppm"\ndepth = "30 cm"\nsampled = 2026-05-20\n',
        "\n[credit]\nconfidence = 0.9\n",
    ],
)
@pytest.mark.parametrize("first", [0.2, 0.7])
def test_nothing_is_subtracted_from_what_a_test_calls_for(result_of, others, first):
    # Not the credit, not the other credits, not what the first application brought, and no caution is added.
    result = result_of(others + psnt(18) + before_and_after(first, 1 - first, ""))
    second = result.applications[1].spread.zone_map
    assert {zone.product_kg_ha for zone in second.zones} == {290.0}  # 134.5 kg N/ha is 292.4 of urea
    assert second.zones[0].rate_n_kg_ha == pytest.approx(CALLED, abs=0.5 * 10 * UREA)


def test_with_a_test_the_first_application_still_follows_the_ledger(result_of):
    tested = result_of(psnt(18) + before_and_after(), name="tested")
    ledger = result_of(before_and_after(), name="ledger")
    assert rates(tested.applications[0])[tested.field.inside] == pytest.approx(
        rates(ledger.applications[0])[ledger.field.inside]
    )
    told = figures(tested)["sidedress"][0]["text"]
    assert "The zone files of application 2 follow it." in told
    assert not any("together they aim at the whole" in text for text in tested.warnings)
    assert "do not hold it" not in told
    told = figures(tested)["applications"]
    assert [one["blocks"][0]["follows"] for one in told] == ["ledger", "nitrate test"]
    # What the test calls for is not counted as nitrogen in the wrong place.
    assert tested.verdict.misplaced_zones_kg_ha < 10.0


def test_two_applications_after_the_test_add_up_to_what_it_calls_for(result_of):
    result = result_of(
        psnt(18)
        + apply("2026-05-20", 0.4)
        + apply("2026-06-24", 0.4, "side-dress")
        + apply("2026-07-10", 0.2, "through drip")
    )
    _, second, third = mean_n(result)
    assert second + third == pytest.approx(CALLED, abs=0.5 * 10 * UREA)
    assert second == pytest.approx(CALLED * 2 / 3, abs=0.5 * 10 * UREA)


def test_each_block_follows_its_own_test_and_one_without_the_ledger(result_of):
    blocks = {"west": box(0, 0, 100, 200), "middle": box(100, 0, 200, 200), "east": box(200, 0, 300, 200)}
    tests = psnt(12, extra='block = "west"\n') + psnt(23, extra='block = "east"\n').replace(
        "[sidedress_test]", "[[sidedress_test]]"
    )
    tests = tests.replace("\n[sidedress_test]", "\n[[sidedress_test]]")
    result = result_of(tests + before_and_after(extra=""), blocks=blocks)
    west, middle, east = (mean_n(result, block=number) for number in range(3))
    assert west[1] == pytest.approx(160 * KG_HA_PER_LB_AC, abs=0.5 * 10 * UREA)
    assert east[1] == pytest.approx(80 * KG_HA_PER_LB_AC, abs=0.5 * 10 * UREA)
    missing = result.budget.supplemental_kg_ha[result.field.block_index == 1].mean()
    assert sum(middle) == pytest.approx(missing, rel=0.05)
    for number in (0, 2):
        assert np.ptp(rates(result.applications[1])[result.field.block_index == number]) == 0.0


def test_a_dressing_that_comes_too_late_is_warned_of(result_of):
    # Sweet corn is dressed before the tassel shows, 40 days before harvest (common practice, no source).
    late = result_of(apply("2026-05-20", 0.5) + apply("2026-07-06", 0.5, "side-dress"), name="late")
    assert any(
        "the last sensible dressing of sweet corn in field is on 2026-07-05 (before the tassel shows)" in text
        for text in late.warnings
    )
    timely = result_of(apply("2026-05-20", 0.5) + apply("2026-07-05", 0.5, "side-dress"), name="timely")
    assert not any("last sensible dressing" in text for text in timely.warnings)


def test_a_single_side_dressing_follows_the_test_too(result_of):
    result = result_of(psnt(18) + apply("2026-06-24", 1, "side-dress"))
    assert {zone.product_kg_ha for zone in result.spread.zone_map.zones} == {290.0}
    assert result.verdict.answer == "no closer to the need"
    assert "the same rate as one rate a block" in verdict_text(result.verdict, "metric")


def test_a_test_after_the_last_application_changes_no_file(result_of):
    early = before_and_after()
    tested = result_of(psnt(18, "2026-07-01") + early, name="tested")
    ledger = result_of(early, name="ledger")
    assert mean_n(tested) == pytest.approx(mean_n(ledger))
    told = figures(tested)["sidedress"][0]["text"]
    assert "zone files were drawn from the ledger and do not hold it" in told


# --- files


@pytest.fixture(scope="module")
def three(tmp_path_factory):
    """A plan in US units with a broadcast, a side-dressing of another product and a drip, and its folder."""
    from support.small_fields import DEFAULT_BLOCKS, PLAN, boundary_geojson, random_places, samples_csv, trend

    place = tmp_path_factory.mktemp("three")
    folder = place / "plan"
    folder.mkdir()
    xy = random_places(24, 1)
    text = PLAN.replace('units = "metric"', 'units = "us"').replace(
        'zone_min = "0.2 ha"', 'zone_min = "0.2 ha"\nhopper = "600 kg"'
    )
    (folder / "plan.toml").write_text(
        text
        + apply("2026-05-20", 0.4)
        + apply("2026-06-24", 0.4, "side-dress", 'product = "calcium ammonium nitrate"\n')
        + apply("2026-07-10", 0.2, "through drip", 'product = "calcium nitrate"\n')
    )
    (folder / "boundary.geojson").write_text(json.dumps(boundary_geojson(DEFAULT_BLOCKS)))
    (folder / "samples.csv").write_text(samples_csv(xy, trend(xy)))
    result = run(read_plan(folder))
    write_folder(result, place / "out")
    return result, place / "out"


def test_each_application_has_a_folder_of_its_own_files(three):
    _, folder = three
    names = {
        entry.name: {file.name for file in entry.iterdir()} for entry in folder.iterdir() if entry.is_dir()
    }
    each = {"zones.geojson", "zones.gpkg", "zones.csv", "surface.tif"}
    machine = each | {"zones_shapefile.zip", "taskdata_grid.zip", "taskdata_zones.zip", "loads.csv"}
    assert names == {
        "application-1": machine,
        "application-2": machine,
        "application-3": each | {"drip.csv"},
    }


def test_nothing_at_the_top_is_of_one_application_only(three):
    _, folder = three
    top = {file.name for file in folder.iterdir() if file.is_file()}
    assert top == names_in("run") - names_in("spread")
    assert "report.pdf" in top
    assert not top & {"zones.geojson", "taskdata_grid.zip", "loads.csv", "surface.tif"}


@pytest.mark.parametrize("number", [1, 2])
def test_the_spreader_files_reopen_to_the_applications_own_rates(three, number):
    result, folder = three
    one = result.applications[number - 1]
    own = folder / f"application-{number}"
    expected = {round(zone.product_kg_ha, 2) for zone in one.spread.zone_map.zones}
    for name in ("taskdata_grid.zip", "taskdata_zones.zip"):  # written with the standard library
        with zipfile.ZipFile(own / name) as archive:
            root = ElementTree.fromstring(archive.read("TASKDATA/TASKDATA.XML"))
        found = {round(int(value.get("B")) / 100, 2) for value in root.iter("PDV")}
        assert found == expected | {0.0}
        assert root.find("PDT").get("B") == one.application.product.name
        assert root.find("TSK").get("B").startswith(f"{number} {one.application.date} Test field")
        assert root.find("PFD").get("C") == "Test field"
    with sqlite3.connect(own / "zones.gpkg") as database:  # written with GDAL
        found = {round(row[0], 2) for row in database.execute("select product_kg_ha from zones")}
        about = dict(database.execute("select key, value from about"))
    assert found == expected
    assert about["application"] == application_title(one)
    with (own / "loads.csv").open(newline="") as file:
        carried = sum(float(row["product_kg"]) for row in csv.DictReader(file))
    assert carried == pytest.approx(sum(zone.product_kg for zone in one.spread.zone_map.zones), abs=0.1)


@pytest.mark.parametrize("number", [1, 2, 3])
def test_zones_and_rasters_reopen_to_the_applications_own_rates(three, number):
    result, folder = three
    one = result.applications[number - 1]
    own = folder / f"application-{number}"
    zones = json.loads((own / "zones.geojson").read_text())["features"]
    assert sum(feature["properties"]["product_kg"] for feature in zones) == pytest.approx(
        sum(zone.product_kg for zone in one.spread.zone_map.zones), abs=0.1
    )
    assert all(shape(feature["geometry"]).is_valid for feature in zones)
    with rasterio.open(own / "surface.tif") as tif:
        product = tif.read(tif.descriptions.index("product_kg_ha") + 1, masked=True)
    assert float(product.mean()) == pytest.approx(
        float(np.nanmean(one.spread.zone_map.product_kg_ha)), rel=1e-5
    )
    for name in names_in("spread" if number < 3 else "drip"):
        assert describe(own / name)


def test_the_drip_table_gives_nitrogen_and_product_by_block_and_zone(three):
    result, folder = three
    one = result.applications[2]
    with (folder / "application-3" / "drip.csv").open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert [(row["block"], int(row["zone"])) for row in rows] == [
        (zone.block, zone.zone) for zone in one.spread.zone_map.zones
    ]
    for row, zone in zip(rows, one.spread.zone_map.zones, strict=True):
        assert row["product"] == "calcium nitrate"
        assert float(row["rate_n_kg_ha"]) == pytest.approx(zone.rate_n_kg_ha, abs=0.005)
        assert float(row["n_kg"]) == pytest.approx(0.155 * float(row["product_kg"]), rel=0.001)
        assert float(row["n_lb"]) == pytest.approx(float(row["n_kg"]) / 0.45359237, abs=0.01)
        assert float(row["product_lb_ac"]) == pytest.approx(
            float(row["product_kg_ha"]) / 1.12085116, abs=0.01
        )
    whole_kg = sum(float(row["n_kg"]) for row in rows)
    assert float(rows[0]["block_rate_n_kg_ha"]) == pytest.approx(whole_kg / result.field.area_ha, rel=0.001)
    assert "what goes through drip in" in describe(folder / "application-3" / "drip.csv")


def test_a_drip_line_knows_no_limits_of_the_spreader(result_of):
    # Half of the whole as calcium nitrate is up to 650 kg/ha: the spreader stops at 600, the drip line does not.
    limits = ('rate_max = "600 kg/ha"', 'rate_max = "250 kg/ha"'), ('"20 kg/ha"', '"200 kg/ha"')
    drip = apply("2026-05-20", 0.5) + apply(
        "2026-06-24", 0.5, "through drip", 'product = "calcium nitrate"\n'
    )
    result = result_of(drip, *limits)
    product = result.applications[1].spread.zone_map.product_kg_ha[result.field.inside]
    assert product.max() > 250.0
    assert np.allclose(product / 10.0, np.round(product / 10.0))
    machine = ("is short of", "would land", "cannot follow")
    assert not any(text.startswith("Application 2: ") and any(word in text for word in machine)
                   for text in result.warnings)  # fmt: skip
    assert any(text.startswith("Application 1: ") and "would land" in text for text in result.warnings)


def test_a_drip_line_gives_less_than_the_spreaders_least_rate(result_of):
    # A tenth of 84 to 181 kg N/ha is 8 to 18, 18 to 39 kg/ha of urea: the spreader would give 0 or 200.
    drip = apply("2026-05-20", 0.9) + apply("2026-06-24", 0.1, "through drip")
    result = result_of(drip, ('rate_min = "20 kg/ha"', 'rate_min = "200 kg/ha"'))
    product = result.applications[1].spread.zone_map.product_kg_ha[result.field.inside]
    assert ((product > 0) & (product < 200.0)).any()


def test_result_json_lists_all_and_its_totals_are_the_seasons(three):
    result, folder = three
    told = json.loads((folder / "result.json").read_text())
    assert [one["date"] for one in told["applications"]] == ["2026-05-20", "2026-06-24", "2026-07-10"]
    assert [one["share"] for one in told["applications"]] == [0.4, 0.4, 0.2]
    assert [one["method"] for one in told["applications"]] == [
        "broadcast before planting",
        "side-dress",
        "through drip",
    ]
    assert [one["product"] for one in told["applications"]] == [
        "urea",
        "calcium ammonium nitrate",
        "calcium nitrate",
    ]
    assert told["applications"][0]["zones"] == told["zones"]
    assert ["deliverable" in one for one in told["applications"]] == [True, True, False]
    each = [one["totals"] for one in told["applications"]]
    whole = sum(one["n_kg"] for one in each)
    assert told["totals"] == {
        "area_ha": each[0]["area_ha"],
        "n_kg": pytest.approx(whole, abs=0.01),
        "flat_rate_n_kg_ha": pytest.approx(sum(one["flat_rate_n_kg_ha"] for one in each), abs=0.01),
        "products": [
            {"product": name, "product_kg": one["product_kg"], "flat_product_kg": one["flat_product_kg"]}
            for name, one in zip(("urea", "calcium ammonium nitrate", "calcium nitrate"), each, strict=True)
        ],
    }
    missing = np.nansum(result.budget.supplemental_kg_ha) * result.field.area_ha / result.field.inside.sum()
    assert whole == pytest.approx(missing, rel=0.03)


def test_the_order_names_every_product_once(three):
    result, _ = three
    order = main_numbers(result)[0].text
    parts = order.split("; ")
    for part, one in zip(parts, result.applications, strict=True):
        product_lb = sum(zone.product_kg for zone in one.spread.zone_map.zones) / 0.45359237
        assert part.startswith(f"{product_lb:,.0f} lb (")
        assert part.endswith(f"of {one.application.product.name}")


def test_one_product_in_two_applications_is_ordered_together_with_its_price(result_of):
    result = result_of('\n[prices]\nproduct = "1 USD/kg"\n' + before_and_after(extra=""))
    product_kg = sum(zone.product_kg for one in result.applications for zone in one.spread.zone_map.zones)
    order = main_numbers(result)[0].text
    assert order.startswith(f"{product_kg:,.0f} kg (")
    assert order.endswith(f"of urea, USD\u00a0{product_kg:,.0f}")


def test_map_report_and_card_show_each_application(three):
    result, folder = three
    page = map_page(result)
    report = re.sub(r"\s+", " ", " ".join(p.extract_text() for p in PdfReader(folder / "report.pdf").pages))
    card = PdfReader(folder / "card.pdf").pages
    assert len(card) == 4  # one each, and the notes
    assert all(result.cautions[0][:60] in re.sub(r"\s+", " ", sheet.extract_text()) for sheet in card)
    assert result.cautions[-1][:40] in re.sub(r"\s+", " ", card[3].extract_text())
    for one, sheet in zip(result.applications, list(card)[:3], strict=True):
        title = application_title(one)
        assert f"<h2>{title}</h2>" in page
        assert f"Zones {one.application.number}" in page
        assert report.count(title) == 2  # with its map, and with its table
        assert title in re.sub(r"\s+", " ", sheet.extract_text())
        for zone in one.spread.zone_map.zones:
            product = f"{zone.product_kg / 0.45359237:,.0f}"
            assert product in sheet.extract_text()
            assert product in report
    assert "Passes and loads 2" in page
    assert "Passes and loads 3" not in page


def test_a_folder_with_applications_is_replaced_but_never_one_that_holds_more(three, tmp_path):
    result, _ = three
    folder = tmp_path / "out"
    write_folder(result, folder)
    write_folder(result, folder, overwrite=True)
    (folder / "application-2" / "letter.txt").write_text("mine")
    with pytest.raises(OutputExistsError, match="it holds files that fieldmap did not write"):
        write_folder(result, folder, overwrite=True)
    assert (folder / "application-2" / "letter.txt").read_text() == "mine"


# --- cautions and warnings


CABBAGE = ('name = "sweet corn"', 'name = "cabbage"')


@pytest.mark.parametrize(
    ("extra", "edits", "words"),
    [
        (
            apply("2026-06-10", 1),
            [CABBAGE],
            "of 2026-06-10: cabbage in field stands since 2026-05-24, and granules that lodge in leaves",
        ),
        (
            apply("2026-06-10", 1),
            [],
            "of 2026-06-10: sweet corn in field stands since 2026-05-24: check the dates, or side-dress",
        ),
        (
            before_and_after(),
            [("harvested", "plastic_laid = 2026-05-18\nharvested")],
            "Application 1 of 2026-05-20: plastic covers the beds of field since 2026-05-18",
        ),
        (
            before_and_after(),
            [("harvested", "plastic_laid = 2026-05-22\nharvested")],
            "Application 2 of 2026-06-24: plastic covers the beds of field since 2026-05-22",
        ),
        (apply("2026-05-01", 1), [], "the cover crop in field still stands, until 2026-05-04"),
    ],
)
def test_what_a_day_and_a_method_call_to_mind(result_of, extra, edits, words):
    assert any(words in text for text in result_of(extra, *edits).warnings)


@pytest.mark.parametrize(
    ("extra", "edits"),
    [
        (before_and_after(), [CABBAGE]),  # side-dressed, not broadcast
        (apply("2026-05-24", 1), [CABBAGE]),  # on the day of planting
        (apply("2026-05-20", 1), [("harvested", "plastic_laid = 2026-05-22\nharvested")]),
        (
            apply("2026-05-20", 0.5) + apply("2026-06-24", 0.5, "through drip"),
            [("harvested", "plastic_laid = 2026-05-22\nharvested")],
        ),
    ],
)
def test_nothing_is_said_where_nothing_is_wrong(result_of, extra, edits):
    result = result_of(extra, *edits)
    assert not any("granules" in text or "plastic" in text for text in result.warnings)


def test_each_method_and_product_has_its_cautions(three):
    result, _ = three
    said = " ".join(result.cautions)
    assert "Urea left on the surface" in said
    assert "Contains ammonium nitrate" in said
    assert "Calcium nitrate can feed a fire" in said
    assert "backflow valve" in said
    assert "Side-dress between the rows on dry leaves" in said
    assert said.count("(common practice, no source)") >= 2


def test_needs_beyond_the_machine_are_said_of_the_last_which_makes_up_for_all(result_of):
    result = result_of(before_and_after(extra=""), ('rate_max = "600 kg/ha"', 'rate_max = "120 kg/ha"'))
    short = [text for text in result.warnings if "is short of" in text]
    assert short
    assert all(text.startswith("Application 2: Zone") for text in short)


def test_phosphorus_of_all_applications_is_added_up(result_of):
    # 1.6 kg of P2O5 leave with each of 20 t/ha (Düngeverordnung, annex 7); either application alone brings less.
    own = '{ name = "mixed meal", nitrogen = "10 %", p2o5 = "4 %", k2o = "0 %", available = 1.0 }'
    edits = [
        ('product = "urea"', f"product = {own}"),
        ('"600 kg/ha"', '"2000 kg/ha"'),
        ('"220 kg/ha"', '"160 kg/ha"'),
    ]
    result = result_of(before_and_after(0.5, 0.5, ""), *edits)
    removal = result.spread.along[0].removal_p2o5_kg_ha
    apart = [max(row.p2o5_kg_ha for row in one.spread.along) for one in result.applications]
    assert max(apart) < removal < sum(apart)
    assert any("of P2O5, more than" in text and "it builds up" in text for text in result.warnings)


# --- what is refused


LITTER = 'product = "poultry litter"\n'


@pytest.mark.parametrize(
    ("extra", "edits", "words"),
    [
        (
            before_and_after(0.6, 0.3),
            [],
            r"\[\[application\]\]: shares add up to 0.9; 1, or share = \"auto\" for",
        ),
        (
            before_and_after(1, "auto"),
            [],
            r'shares add up to 1 beside share = "auto"; less than 1 is expected',
        ),
        (
            before_and_after("auto", "auto"),
            [],
            r'found share = "auto" in 2 applications and no \[weather\]; the split follows what is released',
        ),
        (
            before_and_after(1.4, 0.6),
            [],
            r"\[\[application\]\] 1 share: found 1.4; a share above 0 and at most 1",
        ),
        (before_and_after("half", 0.6), [], r'\[\[application\]\] 1 share: found "half"; a share above 0'),
        (
            apply("2026-06-24", 0.5, "side-dress") + apply("2026-06-10", 0.5, "side-dress"),
            [],
            r"found 2026-06-24 before 2026-06-10; dates in their order are expected",
        ),
        ("\n[[application]]\nshare = 0.5\n\n[[application]]\nshare = 0.5\n", [], r"not every one has a date"),
        (
            apply("2026-06-24", 1, "through drip"),
            [],
            r"the first application is through drip; zones are drawn for",
        ),
        (
            apply("2026-05-20", 1, extra='product = "calcium nitrate"\n'),
            [],
            r"the first application spreads calcium nitrate and \[spreader\] product is urea; the first is expected",
        ),
        (
            before_and_after(extra='product = "uria"\n'),
            [],
            r'\[\[application\]\] 2 product: found "uria"; the nearest known is "urea"',
        ),
        (
            before_and_after(extra='swath = "5 m"\n'),
            [],
            r"\[\[application\]\] 2 swath: this key is not known",
        ),
        (apply("2026-05-20", 1, "sprayed"), [], r'\[\[application\]\] 1 method: found "sprayed"'),
        (
            apply("2026-05-20", 0.5) + apply("2026-05-22", 0.5, "side-dress"),
            [],
            (
                r"\[\[application\]\] 2 date: found 2026-05-22, but sweet corn in field grows from 2026-05-24 to "
                r"2026-08-14; side-dress feeds a standing crop: a day from 2026-05-24 to 2026-08-\d\d is expected"
            ),
        ),
        (
            apply("2026-05-20", 0.5) + apply("2026-08-13", 0.5, "side-dress"),
            [],
            r"a day up to 2026-08-\d\d is expected, when 95 % of what it takes up is in",
        ),
        (apply("2026-09-01", 1), [], r"found 2026-09-01, but sweet corn in field grows from"),
        (
            before_and_after(extra=LITTER),
            [],
            (
                r"\[\[application\]\] 2 product: poultry litter is raw manure, and 2026-06-24 is 51 days before the "
                r"harvest of 2026-08-14 in field; at least 120 days are expected \(7 CFR 205.203"
            ),
        ),
    ],
)
def test_what_cannot_be_right_is_refused(result_of, extra, edits, words):
    with pytest.raises(InputError, match=words):
        result_of(extra, *edits)


def test_raw_manure_early_enough_may_be_followed_by_a_later_application(result_of):
    # 96 days from 10 May: enough where the edible part does not touch the soil.
    edits = [("harvested", "touches_soil = false\nharvested"), ('product = "urea"', LITTER.strip())]
    edits.append(('rate_max = "600 kg/ha"', 'rate_max = "20000 kg/ha"'))
    result = result_of(
        apply("2026-05-10", 0.5) + apply("2026-06-24", 0.5, "side-dress", 'product = "urea"\n'), *edits
    )
    assert [one.application.product.name for one in result.applications] == ["poultry litter", "urea"]
    late = edits[1:]
    with pytest.raises(
        InputError, match=r"\[spreader\] product: poultry litter is raw manure, and 2026-05-10 is 96"
    ):
        result_of(apply("2026-05-10", 1), *late, name="late")


def test_blocks_with_other_dates_are_looked_at_one_by_one(result_of):
    late = '\n[[block]]\nblock = "east"\ncrop = { planted = 2026-07-01, harvested = 2026-09-20 }\n'
    with pytest.raises(InputError, match=r"sweet corn in east grows from 2026-07-01") as raised:
        result_of(late + before_and_after(), blocks=TWO_BLOCKS)
    assert "blocks with other dates need a plan of their own" in str(raised.value)


def test_an_application_of_another_year_is_refused(plan_folder):
    folder = plan_folder(extra='\n[[application]]\ndate = 2025-05-20\nshare = "auto"\n')
    with pytest.raises(InputError) as caught:
        run(read_plan(folder))
    assert "found 2025-05-20, but sweet corn in field grows from 2026-05-24 to 2026-08-14" in str(
        caught.value
    )
    assert "a day at most 120 days before planting is expected" in str(caught.value)


def test_what_does_not_dissolve_is_warned_of_through_drip(plan_folder):
    extra = (
        "\n[[application]]\ndate = 2026-05-20\nshare = 0.5\n\n[[application]]\ndate = 2026-06-25\nshare = 0.5\n"
        'method = "through drip"\nproduct = "feather meal"\n'
    )
    warnings = run(read_plan(plan_folder(extra=extra))).warnings
    assert any("feather meal goes through drip, and only what dissolves" in text for text in warnings)


def test_an_organic_product_on_a_standing_crop_is_warned_of(plan_folder):
    # Common practice: only meals, banded and hoed in; manure, compost and pellets before planting.
    wide = ('"600 kg/ha"', '"9000 kg/ha"')

    def warned(product, name):
        later = apply("2026-06-24", 0.5, "side-dress", f'product = "{product}"\n')
        folder = plan_folder(extra=apply("2026-05-20", 0.5) + later, edits=[wide], name=name)
        return [
            text
            for text in run(read_plan(folder)).warnings
            if text.startswith("Application 2 of 2026-06-24: ")
        ]

    assert any("banded beside the row and hoed in" in text for text in warned("feather meal", "meal"))
    assert any(
        "go before planting, on a standing crop only meals" in text
        for text in warned("chicken pellets", "pellets")
    )
    assert not any("hoed in" in text for text in warned("urea", "mineral"))


def test_an_organic_product_without_its_lead_time_is_warned_of(plan_folder):
    # Alfalfa meal needs 39 days at 20 °C for 80 % of its 12 weeks; sweet corn's last useful day is 7 August.
    def warned(day, name):
        later = apply(day, 0.5, "side-dress", 'product = "alfalfa meal"\n')
        edits = [('"600 kg/ha"', '"9000 kg/ha"')]
        folder = plan_folder(extra=apply("2026-05-20", 0.5) + later, edits=edits, name=name)
        return [text for text in run(read_plan(folder)).warnings if "needs about" in text]

    (text,) = warned("2026-07-06", "late")
    assert re.search(r"alfalfa meal needs about 39 days in this soil", text)
    assert "sweet corn in field has 32 until 2026-08-07: spread it earlier." in text
    assert warned("2026-06-10", "early") == []


def test_a_test_after_the_last_application_is_warned_of(plan_folder):
    extra = (
        '\n[[application]]\ndate = 2026-05-20\nshare = 1\n\n[sidedress_test]\nnitrate_n = "15 ppm"\n'
        'sampled = 2026-07-01\nthreshold = "25 ppm"\n'
    )
    warnings = run(read_plan(plan_folder(extra=extra))).warnings
    assert any("The nitrate test of 2026-07-01 is later than every application" in text for text in warnings)
