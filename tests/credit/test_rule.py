"""What is left of a stand that was taken off, frozen or failed, and what of it lies on the beds."""

import tomllib
from dataclasses import replace

import numpy as np
import pytest
from support.small_fields import PLAN

from fieldmap.credit.relation import credit_kg_ha, release_error
from fieldmap.credit.rule import CREDIT, credit_rule, of_stand
from fieldmap.plan.parse import parse_plan


def plan(*edits, extra=""):
    text = PLAN
    for old, new in edits:
        assert old in text
        text = text.replace(old, new)
    return parse_plan(tomllib.loads(text + extra), "folder")


def rule(*edits, extra="", **more):
    found = plan(*edits, extra=extra)
    return credit_rule(found.cover_crop, found.credit, **more)


def ended(how, species="hairy vetch"):
    return rule(
        ('placement = "incorporated"', f'placement = "incorporated"\nended_by = "{how}"'),
        ('species = "hairy vetch"\nstage = "bud"', f'species = "{species}"\nnitrogen = "3.0 %"'),
    )


def credit(of, nitrogen_pct=3.0):
    return float(credit_kg_ha(np.array(4000.0), np.array(nitrogen_pct), of))


def test_a_legume_taken_off_as_fodder_leaves_a_quarter():
    # DüV, annex 4, table 7: a fodder legume used 10 kg/ha, the same worked in 40.
    assert credit(ended("removed")) / credit(ended("tilled")) == pytest.approx(10 / 40)
    assert credit(ended("removed"), 1.1) == pytest.approx(credit(ended("tilled"), 1.1) / 4)
    assert ended("removed").break_even_sd_kg_mg == pytest.approx(CREDIT.break_even_sd_kg_per_mg / 4)


def test_a_frozen_legume_leaves_a_quarter_and_a_frozen_grass_nothing():
    # DüV, annex 4, table 7: frozen legume 10 against 40 kg/ha; other catch crops 0 against 20.
    assert credit(ended("frost")) / credit(ended("tilled")) == pytest.approx(10 / 40)
    assert credit(ended("frost", "oats")) == 0.0
    assert credit(ended("frost", "oats"), 1.1) == credit(ended("tilled", "oats"), 1.1) < 0


@pytest.mark.parametrize("how", ["removed", "frost"])
def test_what_is_left_is_less_sure(how):
    error = {each: float(release_error(np.array(3.0), ended(each))) for each in (how, "tilled")}
    assert error[how] == pytest.approx(np.hypot(error["tilled"], 0.5))
    assert "duv_residue" in ended(how).sources


def test_a_share_of_your_own_is_final_for_a_stand_that_was_taken_off_too():
    own = rule(
        ('placement = "incorporated"', 'placement = "incorporated"\nended_by = "removed"'),
        extra='[credit]\nmethod = "share"\nshare = 0.1\n',
    )
    assert credit(own) == pytest.approx(0.1 * 120.0)


@pytest.mark.parametrize(
    "extra", ["", '[credit]\nmethod = "share"\n', '[credit]\nmethod = "share"\nshare = 0.4\n']
)
def test_only_what_lies_on_the_beds_serves_the_crop(extra):
    # Common practice, no source: the credit and its error times the share of the residue on the beds.
    whole, beds = (rule(extra=extra, on_bed_share=share) for share in (None, 0.6))
    assert credit(beds) == pytest.approx(0.6 * credit(whole))
    assert beds.break_even_sd_kg_mg == pytest.approx(0.6 * whole.break_even_sd_kg_mg)
    assert beds.release_error == whole.release_error


def test_the_share_on_the_beds_is_read():
    told = plan(('need = "220 kg/ha"', 'need = "220 kg/ha"\non_bed_share = 0.7'))
    assert told.crop.on_bed_share == 0.7
    assert plan().crop.on_bed_share is None


@pytest.mark.parametrize(
    ("biomass", "nitrogen_pct", "failed"),
    # Common practice, no source: below 1 Mg or 30 kg N, and less than 15 kg of credit.
    [
        (900.0, 3.0, True),
        (1100.0, 2.6, True),
        (1100.0, 3.0, False),
        (2500.0, 1.1, False),
        (900.0, 3.6, False),
    ],
)
def test_a_failed_stand_gives_nothing(biomass, nitrogen_pct, failed):
    of = rule()
    given = float(credit_kg_ha(np.array(biomass), np.array(nitrogen_pct), of))
    found = of_stand(of, biomass, nitrogen_pct, given)
    assert found.failed == failed
    assert found == (replace(of, factor=0.0, failed=True, sources=found.sources) if failed else of)
    assert float(credit_kg_ha(np.array(biomass), np.array(nitrogen_pct), found)) == (0.0 if failed else given)
