"""What of an organic product serves the crops of a field, by the days of its application."""

import datetime as dt

import numpy as np
import pytest
from shapely.geometry import box

from fieldmap import InputError, read_plan, run
from fieldmap.agronomy.lookup import find
from fieldmap.agronomy.tables import crops, products
from fieldmap.season.organic import NEVER, acting, available_share, warm_days
from fieldmap.season.uptake import last_useful_day

FEATHER = ('product = "urea"', 'product = "feather meal"')
WIDE = ('rate_max = "600 kg/ha"', 'rate_max = "6000 kg/ha"')
STEP = ('rate_step = "10 kg/ha"', 'rate_step = "50 kg/ha"')
COLD = '\n[weather]\nmean = "8 degC"\namplitude = "6 delta_degC"\ncoldest = 2026-01-20\n'
WARM = COLD.replace("8 degC", "16 degC")
TWO_BLOCKS = {"west": box(0, 0, 100, 200), "east": box(100, 0, 300, 200)}


@pytest.fixture
def products_of(plan_folder):
    """The products of a run, and the run, by the edits and the extra sections of its plan."""

    def made(extra="", *edits, product="feather meal", **keys):
        edits = [('product = "urea"', f'product = "{product}"'), WIDE, STEP, *edits]
        result = run(read_plan(plan_folder(edits=edits, extra=extra, **keys)))
        return [one.application.product for one in result.applications], result

    return made


def days_to_last_useful(crop, first):
    return (last_useful_day(crop.planted, crop.harvested, crop.entry) - first).days + 1


def test_without_weather_its_days_are_at_twenty_degrees_from_planting_on(products_of):
    (here,), result = products_of()
    crop = result.plan.crop
    feather = find("feather meal", products())
    days = days_to_last_useful(crop, crop.planted)
    assert here.available == pytest.approx(float(available_share(feather, float(days), on_surface_d=1.0)))
    assert 60 < days < 82
    assert any(f"{here.available * 100:.0f} %, give or take" in text for text in result.warnings)


def test_it_counts_from_its_day_and_never_from_before_the_cover_crop_ended(products_of):
    def on(day, name):
        (here,), _ = products_of(f"\n[[application]]\ndate = {day}\nshare = 1\n", name=name)
        return here.available

    late, early, standing, ended = (
        on(day, f"on-{day}") for day in ("2026-05-24", "2026-05-10", "2026-04-20", "2026-05-04")
    )
    assert late < early < ended
    assert standing == ended  # what comes while the cover crop stands goes into it


def test_a_later_application_of_the_same_product_gives_less_of_its_nitrogen(products_of):
    both = (
        "\n[[application]]\ndate = 2026-05-20\nshare = 0.5\n"
        '\n[[application]]\ndate = 2026-07-20\nshare = 0.5\nmethod = "side-dress"\n'
    )
    (first, second), result = products_of(both)
    assert first.available > second.available
    for one in result.applications:
        for zone in one.spread.zone_map.rows:
            assert zone.rate_n_kg_ha == pytest.approx(
                zone.product_kg_ha * 0.12 * one.application.product.available
            )


def test_the_weather_of_the_plan_warms_it(products_of):
    (cold,), result = products_of(COLD, name="cold")
    (warm,), _ = products_of(WARM, name="warm")
    assert cold.available < warm.available
    course, crop = result.budget.courses[0], result.plan.crop
    last = last_useful_day(crop.planted, crop.harvested, crop.entry)
    of_days = (course.soil.dates >= np.datetime64(crop.planted)) & (course.soil.dates <= np.datetime64(last))
    warm_d = warm_days(course.soil.temperature_c[:, of_days])
    assert cold.available == pytest.approx(
        acting(find("feather meal", products()), warm_d, on_surface_d=1.0).available
    )


def test_litter_left_on_the_surface_gives_less(products_of):
    def litter(told, *edits, name):
        edits = [*edits, ("harvested = 2026-08-14", "harvested = 2026-10-01")]
        extra = f"\n[[application]]\ndate = 2026-05-20\nshare = 1\n{told}\n"
        (here,), _ = products_of(extra, *edits, product="poultry litter", name=name)
        return here.available

    left = litter('incorporated = "never"', name="left")
    tilled = litter("", name="tilled")
    no_till = litter("", ('placement = "incorporated"', 'placement = "surface"'), name="no-till")
    assert left == pytest.approx(no_till)
    assert tilled - left > 0.10
    litter_row = find("poultry litter", products())
    days = days_to_last_useful_of(dt.date(2026, 5, 24), dt.date(2026, 10, 1), dt.date(2026, 5, 20))
    assert left == pytest.approx(float(available_share(litter_row, float(days), on_surface_d=NEVER)))


def days_to_last_useful_of(planted, harvested, first):
    return (last_useful_day(planted, harvested, find("sweet corn", crops())) - first).days + 1


def test_blocks_count_by_their_area(products_of):
    late = '\n[[block]]\nblock = "east"\ncrop = { planted = 2026-06-24, harvested = 2026-08-30 }\n'
    (mixed,), result = products_of(late, blocks=TWO_BLOCKS)
    feather = find("feather meal", products())
    shares = []
    for name in ("west", "east"):
        crop = result.plan.crop_of(name)
        days = days_to_last_useful(crop, crop.planted)
        shares.append(float(available_share(feather, float(days), on_surface_d=1.0)))
    assert mixed.available == pytest.approx((shares[0] + 2 * shares[1]) / 3, rel=1e-3)


# --- up to the phosphorus that the harvest takes away

BLEND = (
    '\n[[application]]\ndate = 2026-05-20\nshare = "phosphorus"\n'
    '\n[[application]]\ndate = 2026-05-22\nshare = "auto"\nproduct = "blood meal"\n'
)


def test_litter_up_to_the_phosphorus_removed_and_a_meal_for_the_rest(products_of):
    edits = [("2026-08-14", "2026-10-01"), ('rate_step = "50 kg/ha"', 'rate_step = "5 kg/ha"')]
    edits.append(('rate_max = "6000 kg/ha"', 'rate_max = "3000 kg/ha"'))
    (litter, meal), result = products_of(BLEND, *edits, product="poultry litter")
    assert (litter.name, meal.name) == ("poultry litter", "blood meal")
    (removed,) = {need.removal_p2o5_kg_ha for need in result.budget.needs}
    (share,) = result.shares
    mean = result.budget.supplemental_kg_ha[result.field.inside].mean()
    assert share.shares[0] == pytest.approx(
        removed / (litter.p2o5_pct / 100) * litter.nitrogen_fraction / mean
    )
    assert sum(share.shares) == pytest.approx(1.0)
    rows = result.applications[0].spread.zone_map.rows
    brought = np.average([row.brought.p2o5_kg_ha for row in rows], weights=[row.area_ha for row in rows])
    assert brought == pytest.approx(removed, rel=0.1)  # in zones and steps
    given = sum(
        zone.rate_n_kg_ha * zone.area_ha for one in result.applications for zone in one.spread.zone_map.rows
    )
    assert given / sum(row.area_ha for row in rows) == pytest.approx(mean, rel=0.05)


@pytest.mark.parametrize(
    ("extra", "words"),
    [
        (
            '\n[[application]]\ndate = 2026-05-20\nshare = "phosphorus"\n',
            r'found share = "phosphorus" in 1 of 1 applications; one of several, and share = "auto" in every other',
        ),
        (BLEND.replace('"auto"', "0.5"), r'found share = "phosphorus" in 1 of 2 applications'),
        (
            BLEND.replace("share =", 'product = "feather meal"\nshare =', 1),
            r'found share = "phosphorus" for feather meal, which holds no P2O5; a product with phosphorus, such as',
        ),
    ],
)
def test_a_share_by_phosphorus_that_cannot_be_is_refused(plan_folder, extra, words):
    with pytest.raises(InputError, match=words):
        read_plan(plan_folder(edits=[FEATHER], extra=extra))


def test_a_share_by_phosphorus_needs_a_known_harvest(plan_folder):
    edits = [
        ('product = "urea"', 'product = "pelleted poultry litter"'),
        WIDE,
        ('name = "sweet corn"', 'name = "okra"\nlike = "pepper"'),
    ]
    with pytest.raises(
        InputError,
        match=r'application\]\] 1 share: found share = "phosphorus", and the table has no P2O5 in the harvest',
    ):
        run(read_plan(plan_folder(edits=edits, extra=BLEND)))


# --- what cannot be spread


def test_a_product_that_brings_next_to_nothing_is_refused_with_what_would_do(plan_folder):
    compost = ('product = "urea"', 'product = "yard compost"')
    with pytest.raises(InputError) as raised:
        run(read_plan(plan_folder(edits=[compost])))
    text = str(raised.value)
    assert "[spreader] rate_max: rate_max, 600 kg/ha of yard compost, brings 0 kg/ha of available" in text
    assert "at least 15 kg/ha is expected, less is not worth a pass" in text
    assert "or choose a product with more available nitrogen such as" in text


def test_a_product_that_never_becomes_available_is_refused(plan_folder):
    woody = (
        'product = "urea"',
        'product = { name = "wood waste", nitrogen = "0.5 %", organic = true, carbon_nitrogen = 40 }',
    )
    with pytest.raises(
        InputError,
        match=r"\[spreader\] product: none of the nitrogen in wood waste becomes available .* in time is expected",
    ):
        run(read_plan(plan_folder(edits=[woody, WIDE])))


def test_a_starter_beyond_the_machine_is_refused(plan_folder):
    edits = [('zone_min = "0.2 ha"', 'zone_min = "0.2 ha"\nrate_n_min = "400 kg/ha"')]
    with pytest.raises(
        InputError,
        match=r"\[spreader\] rate_n_min: rate_n_min needs 870 kg/ha of urea, more than rate_max \(600 kg/ha\)",
    ):
        run(read_plan(plan_folder(edits=edits)))
