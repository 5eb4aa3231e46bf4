"""Names that are not in the tables, names that fit several, and crops and species of one's own."""

import pytest

from fieldmap import InputError, read_plan, run
from fieldmap.plan.crop import Crop
from fieldmap.season.uptake import last_useful_day

OWN = ('"hairy vetch"', '"kura clover"\nkind = "legume"')
LABORATORY = ('stage = "bud"', 'nitrogen = "3.1 %"')
OKRA = ('"sweet corn"', '"okra"\nlike = "pepper"')


@pytest.fixture
def plan_of(plan_folder):
    return lambda *edits, name="plan", **more: read_plan(plan_folder(edits=edits, name=name, **more))


@pytest.mark.parametrize(
    ("edits", "message"),
    [
        (
            [('"sweet corn"', '"corn"')],
            r'\[crop\] name: found "corn"; "sweet corn" is expected where that is meant; field, grain or silage corn',
        ),
        (
            [('"sweet corn"', '"grain corn"')],
            r'is no vegetable of the table; as a crop of your own it needs like = "…", the vegetable of the table',
        ),
        (
            [('"sweet corn"', '"squash"')],
            r'it fits several: "zucchini" or "winter squash" is expected; as a crop of',
        ),
        (
            [('"sweet corn"', '"okra"\nlike = "peper"')],
            r'\[crop\] like: found "peper"; the nearest known is "pepper"',
        ),
        (
            [('"sweet corn"', '"sweet corn"\nlike = "pepper"')],
            r"the table has sweet corn itself: leave like out",
        ),
        (
            [('"sweet corn"', '"carrot"\nstarted = "transplanted"')],
            r'\[crop\] started: found "transplanted"; the table has the uptake curve of carrot seeded only',
        ),
        (
            [('"sweet corn"', '"sweet corn"\nyield = "300 t/ha"')],
            r"yield comes to 300 t/ha; no vegetable yields",
        ),
        ([('"sweet corn"', '"sweet corn"\nyield = "20"')], r"\[crop\] yield"),
        (
            [('"hairy vetch"', '"vetch"')],
            r'\[cover_crop\] species: found "vetch"; it fits several: "hairy vetch", "common vetch" or "woolly',
        ),
        (
            [('"hairy vetch"', '"clover"')],
            r'as a species of your own it needs kind = "legume", "grass" or "broadleaf", and a laboratory %N',
        ),
        (
            [('"hairy vetch"', '"hairy vetch"\nkind = "legume"')],
            r'found hairy vetch with kind = "legume"; the table knows its kind: leave kind out',
        ),
        ([OWN, ('"bud"', '"boot"')], r'found stage "boot" for kura clover; one of vegetative, bud'),
    ],
)
def test_a_name_that_is_not_known_asks_which_or_what_would_make_it_ones_own(plan_of, edits, message):
    with pytest.raises(InputError, match=message):
        plan_of(*edits)


def test_a_crop_of_ones_own_has_the_uptake_curve_of_another_and_nothing_else(plan_of):
    own, pepper = (
        plan_of(edit, name=name).crop for edit, name in ((OKRA, "own"), (("sweet corn", "pepper"), "of"))
    )
    assert own.entry.name == own.name == "okra"
    assert last_useful_day(own.planted, own.harvested, own.entry) == last_useful_day(
        pepper.planted, pepper.harvested, pepper.entry
    )
    assert own.entry.source_of["half_uptake_share"] == pepper.entry.source_of["half_uptake_share"]
    assert own.entry.guide_rates == ()
    assert own.entry.removal_n_kg_t is own.entry.sidedress_nitrate_mg_kg is own.yield_t_ha is None


def test_transplants_have_a_curve_of_their_own_and_ones_own_figures_stand_before_it(plan_of):
    lettuce = ('"sweet corn"', '"lettuce"')
    seeded = plan_of(lettuce, name="seeded").crop
    moved = plan_of(lettuce, ("planted =", 'started = "transplanted"\nplanted ='), name="moved").crop
    own = plan_of(lettuce, ("planted =", "half_uptake_share = 0.5\nplanted ="), name="own").crop
    assert (seeded.entry.half_uptake_share, moved.entry.half_uptake_share) == (0.78, 0.70)
    assert own.entry.half_uptake_share == 0.5
    assert own.entry.source_of["half_uptake_share"] == "your_value"


def test_the_yield_scales_what_the_harvest_takes_and_is_no_need(plan_of):
    broccoli = ('"sweet corn"', '"broccoli"')
    plain, given = (
        plan_of(broccoli, name="plain").crop,
        plan_of(broccoli, ("planted =", 'yield = "7.5 t/ha"\nplanted ='), name="given").crop,
    )
    assert (plain.yield_t_ha, given.yield_t_ha) == (15.0, 7.5)
    assert given.need_kg_ha == plain.need_kg_ha == 220.0
    with pytest.raises(InputError, match=r"\[crop\] need: this key is missing"):
        plan_of(broccoli, ('need = "220 kg/ha"', 'yield = "16 t/ha"'), name="no need")


@pytest.mark.parametrize(("yield_t_ha", "asked"), [(16.3, False), (40.0, True)])
def test_an_uptake_far_from_the_tables_at_the_yield_is_asked_after(plan_of, yield_t_ha, asked):
    # RB209 Table 6.27: calabrese of 16.3 t/ha takes up 226 kg N/ha.
    need = f'need = "220 kg/ha"\nneed_is = "crop uptake"\nrecovery = 0.6\nyield = "{yield_t_ha} t/ha"'
    result = run(plan_of(('"sweet corn"', '"broccoli"'), ('need = "220 kg/ha"', need)))
    said = [text for text in result.warnings if "is given as 220 kg/ha; at 40 t/ha the table has" in text]
    assert bool(said) == asked


def test_a_missing_need_is_answered_with_the_demand_where_there_is_no_guide_rate(plan_of):
    with pytest.raises(
        InputError, match=r"for leek the table has no guide rate, but a demand of 250 kg/ha at 60 t/ha"
    ):
        plan_of(('"sweet corn"', '"leek"'), ('need = "220 kg/ha"\n', ""))


def test_a_species_of_ones_own_runs_with_a_laboratory_value_and_asks_for_one(plan_of):
    result = run(plan_of(OWN, LABORATORY, name="own"))
    assert result.stand.nitrogen.nitrogen_pct == pytest.approx(3.1)
    assert result.budget.stages == ()
    staged = ('stage = "bud"', 'stage = "bud"\nnitrogen = "3.1 %"')
    assert run(plan_of(OWN, staged, name="staged")).budget.stages == ()
    by_sample = run(plan_of(OWN, ('stage = "bud"\n', ""), nitrogen_pct=[3.0] * 24, name="by sample"))
    assert by_sample.stand.nitrogen.sources == ("your_value",)
    with pytest.raises(
        InputError, match=r"kura clover is a species of your own and no laboratory %N is given"
    ):
        run(plan_of(OWN, name="none"))


def test_a_sample_of_a_known_species_beside_ones_own_is_known(plan_of):
    known = {"species": ["hairy vetch"] * 12 + [""] * 12, "stage": ["bud"] * 12 + [""] * 12}
    result = run(plan_of(OWN, LABORATORY, name="two", **known))
    assert result.stand.nitrogen.nitrogen_pct == pytest.approx(
        [3.9] * 12 + [3.1] * 12
    )  # the table's, from memory


def test_the_largest_need_and_yield_stand_in_the_table_of_limits():
    assert Crop.NEED_MAX_KG_HA == 600.0
