"""The %N of each sample: its own, the plan's, or the table's mixed by dry weight."""

import itertools

import numpy as np
import pytest
from support.small_fields import random_places

from fieldmap import read_plan
from fieldmap.agronomy.tables import cover_crops
from fieldmap.errors import InputError
from fieldmap.field.field import build_field
from fieldmap.read.inputs import read_inputs
from fieldmap.stand.nitrogen import nitrogen_of_samples
from fieldmap.stand.samples import place_samples

MIXTURE = ('"hairy vetch"', '["hairy vetch", "cereal rye"]')
LABORATORY = ('stage = "bud"', 'nitrogen = "3.4 %"')
N = 10


@pytest.fixture
def found(plan_folder):
    numbers = itertools.count()

    def find(*edits, **columns):
        folder = plan_folder(xy=random_places(N, 2), edits=edits, name=f"plan{next(numbers)}", **columns)
        plan = read_plan(folder)
        inputs = read_inputs(**plan.inputs())
        field = build_field(inputs.boundary, None, cell_m=5.0, file="boundary.geojson")
        covers = plan.covers(block.name for block in field.blocks)
        return nitrogen_of_samples(place_samples(inputs.samples, field), covers, file=plan.samples.file)

    return find


def test_a_laboratory_value_by_sample_comes_first(found):
    nitrogen = found(nitrogen_pct=np.linspace(2.5, 3.4, N))
    assert nitrogen.nitrogen_pct == pytest.approx(np.linspace(2.5, 3.4, N))
    assert nitrogen.se_pct == 0.0
    assert nitrogen.sources == ("your_value",)
    assert nitrogen.varies


def test_then_the_plans_then_the_tables(found):
    assert found(LABORATORY).nitrogen_pct == pytest.approx(3.4)


def test_the_table_by_species_and_stage_is_marked_from_memory(found):
    nitrogen = found()
    assert nitrogen.nitrogen_pct == pytest.approx(3.9)  # hairy vetch at bud, from memory
    assert "stage_memory" in nitrogen.sources
    assert nitrogen.se_pct == 0.6  # nodules not checked
    assert "nodules_memory" in nitrogen.sources
    assert not nitrogen.varies


def test_a_mixture_is_mixed_by_dry_weight(found):
    nitrogen = found(MIXTURE, legume_pct=[50] * 5 + [20] * 5, weed_pct=[0] * 5 + [10] * 5)
    # vetch 3.9 %N at bud, rye 1.6 at boot, weeds 2.0: all from memory; the shares are chosen
    assert nitrogen.nitrogen_pct[0] == pytest.approx(0.5 * 3.9 + 0.5 * 1.6)
    assert nitrogen.nitrogen_pct[9] == pytest.approx(0.2 * 3.9 + 0.7 * 1.6 + 0.1 * 2.0)
    assert any("stage of the grass was taken from the legume's" in text for text in nitrogen.warnings)
    assert not nitrogen.unmixed


def test_a_mixture_with_a_broadleaf_is_mixed_too(found):
    nitrogen = found(('"hairy vetch"', '["hairy vetch", "oilseed radish"]'), legume_pct=[60] * N)
    radish = next(entry for entry in cover_crops() if entry.name == "oilseed radish").nitrogen_pct["bud"]
    assert nitrogen.nitrogen_pct == pytest.approx(0.6 * 3.9 + 0.4 * radish)


def test_weeds_dilute_a_pure_stand(found):
    assert found(weed_pct=[25] * N).nitrogen_pct == pytest.approx(0.75 * 3.9 + 0.25 * 2.0)


def test_one_value_for_a_mixed_or_weedy_stand_is_known_for_what_it_is(found):
    assert found(MIXTURE, LABORATORY).unmixed


def test_one_value_for_a_weedy_stand(found):
    assert found(LABORATORY, weed_pct=[4] * (N - 1) + [30]).unmixed


def test_what_is_no_legume_in_a_stand_of_legumes_is_weeds(found):
    assert found(legume_pct=[60] * N).nitrogen_pct == pytest.approx(0.6 * 3.9 + 0.4 * 2.0)
    assert found(legume_pct=[60] * N, weed_pct=[30] * N).nitrogen_pct == pytest.approx(0.6 * 3.9 + 0.4 * 2.0)
    assert found(LABORATORY, legume_pct=[98] * (N - 1) + [60]).unmixed
    assert not found(LABORATORY, legume_pct=[98] * N).unmixed


def test_the_plan_can_override_the_tables_weeds_and_error(found):
    own = ('stage = "bud"', 'stage = "bud"\nweed_nitrogen = "2.6 %"\nnitrogen_error = "0.2 %"')
    nitrogen = found(own, weed_pct=[25] * N)
    assert nitrogen.nitrogen_pct == pytest.approx(0.75 * 3.9 + 0.25 * 2.6)
    assert nitrogen.se_pct == 0.2
    assert "your_value" in nitrogen.sources
    assert not {"weed_memory", "nitrogen_error_memory", "nodules_memory"} & set(nitrogen.sources)
    by_sample = found(own, weed_pct=[25] * N, stage=["early bloom"] * N)
    assert by_sample.nitrogen_pct == pytest.approx(0.75 * 3.6 + 0.25 * 2.6)
    assert by_sample.se_pct == 0.2


def test_one_value_for_a_clean_stand(found):
    assert not found(LABORATORY, weed_pct=[4] * N).unmixed


def test_a_samples_own_species_and_stage(found):
    nitrogen = found(species=["cereal rye"] + [""] * (N - 1), stage=["boot"] + [""] * (N - 1))
    assert nitrogen.nitrogen_pct[0] == pytest.approx(1.6)
    assert nitrogen.nitrogen_pct[1] == pytest.approx(3.9)


@pytest.mark.parametrize(
    ("edits", "columns", "message"),
    [
        (
            (MIXTURE,),
            {},
            r"row 2 and 9 more: a mixture of hairy vetch and cereal rye has neither %N nor legume_pct",
        ),
        ((('stage = "bud"\n', ""),), {}, r"neither a laboratory %N nor a growth stage is known"),
        (
            (('stage = "bud"', 'stage = "bud"\nnodules = "few or white"'),),
            {},
            r"the nodules are few or white",
        ),
        (
            (),
            {"species": ["teff"] + [""] * (N - 1)},
            r'row 2: found "teff"; .*as a species of your own',
        ),
        ((), {"stage": ["boot"] + [""] * (N - 1)}, r'row 2: found stage "boot" for hairy vetch'),
    ],
)
def test_what_cannot_be_known_is_asked_for(found, edits, columns, message):
    with pytest.raises(InputError, match=message):
        found(*edits, **columns)


PINK = ('stage = "bud"', 'stage = "bud"\nnodules = "pink"')


def test_nodules_not_checked_widen_the_error_of_a_table_value_only(found):
    assert found(PINK).se_pct == 0.5
    assert not any("Nodules" in text for text in found(PINK).warnings)
    unknown = found()
    assert unknown.se_pct == 0.6
    assert any("Nodules were not checked" in text and "0.6" in text for text in unknown.warnings)
    assert found(LABORATORY).se_pct == 0.1


def test_a_table_value_by_class_is_as_unsure_as_any(found):
    assert found(PINK, ('"hairy vetch"', '"white clover"')).se_pct == 0.5


def test_grass_has_no_nodules(found):
    assert found(('"hairy vetch"', '"cereal rye"'), ('stage = "bud"', 'stage = "boot"')).se_pct == 0.35


def test_a_legume_below_1_pct_draws_the_question_whether_it_is_as_received(found):
    low = found(('stage = "bud"', 'nitrogen = "0.6 %"'))
    assert any(
        "row 2 and 9 more: hairy vetch at 0.6 %N is less than any legume" in text for text in low.warnings
    )
    by_sample = found(nitrogen_pct=[3.4] * (N - 1) + [0.7])
    assert any("row 11: hairy vetch at 0.7 %N" in text for text in by_sample.warnings)


def test_rye_may_well_hold_less_than_1_pct(found):
    rye = found(('"hairy vetch"', '"cereal rye"'), ('stage = "bud"', 'nitrogen = "0.8 %"'))
    assert not any("as received" in text for text in rye.warnings)


def test_few_or_white_nodules_are_taken_with_a_laboratory_value(found):
    assert found(('stage = "bud"', 'nitrogen = "2.1 %"\nnodules = "few or white"')).nitrogen_pct[0] == 2.1
