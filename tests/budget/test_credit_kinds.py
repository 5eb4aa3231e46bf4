"""One entry a kind of other credit: plan, season, warnings and commands follow; an unknown one raises."""

import re
from dataclasses import replace

import numpy as np
import pytest

from fieldmap import read_plan, run
from fieldmap.budget.other_credits import RECKONED, Credit, other_credits
from fieldmap.cli import main as cli
from fieldmap.errors import InputError
from fieldmap.plan.credit_kinds import CREDIT_KINDS, NITROGEN, CreditKind, credit_kind
from fieldmap.plan.credits import OtherCredit
from fieldmap.plan.keys import plan_keys
from fieldmap.plan.schema import plan_schema

SINE = '\n[weather]\nmean = "10 degC"\namplitude = "11 delta_degC"\ncoldest = 2026-01-20\nirrigated = true\n'
NEW = CreditKind(
    ways=(frozenset({"total_n_kg_ha", "share"}), NITROGEN),
    asked=("total_n_kg_ha", "share"),
    counted_as="clippings",
    comes_with_growth=True,
)


def told(source, body):
    return f'\n[[other_credits]]\nsource = "{source}"\n{body}\n'


CLIPPINGS = told("grass clippings", 'total_n = "80 kg/ha"\nshare = 0.25')


@pytest.fixture
def clippings(monkeypatch):
    """One kind more; what it is reckoned by is not what any other is."""
    monkeypatch.setitem(CREDIT_KINDS, "grass clippings", NEW)
    monkeypatch.setitem(
        RECKONED,
        "grass clippings",
        lambda one, _: Credit(one.source, 1.0 + one.total_n_kg_ha * one.share, ("your_value",)),
    )
    for kept in (plan_schema, plan_keys):
        kept.cache_clear()
    yield
    for kept in (plan_schema, plan_keys):
        kept.cache_clear()


@pytest.mark.usefixtures("clippings")
def test_a_kind_is_one_entry(plan_folder, capsys):
    result = run(read_plan(plan_folder(extra=CLIPPINGS)))
    assert {line.line: line.kg_ha for line in result.ledger}["grass clippings"] == pytest.approx(-21.0)
    assert any("grass clippings is credited beside it" in text for text in result.warnings)
    assert cli.main(["tables", "keys"]) == 0
    shown = " ".join(capsys.readouterr().out.split())
    assert "| earlier years | grass clippings" in shown
    assert "| clippings" in shown


@pytest.mark.usefixtures("clippings")
def test_what_the_guide_counts_is_not_credited_again(plan_folder):
    edits = [('need = "220 kg/ha"', 'need = "220 kg/ha"\nneed_allows_for = ["clippings"]')]
    plan = read_plan(plan_folder(extra=CLIPPINGS, edits=edits))
    assert other_credits(plan, "field", water_use_mm=None) == ()


@pytest.mark.usefixtures("clippings")
def test_what_comes_with_growth_is_not_there_at_planting(plan_folder, monkeypatch):
    def weeks_of(source, name):
        extra = SINE + told(source, 'nitrogen = "40 kg/ha"')
        return run(read_plan(plan_folder(extra=extra, name=name))).budget.seasons[0].weeks.short_kg_ha

    growing = weeks_of("grass clippings", "a")
    assert np.array_equal(growing, weeks_of("irrigation water", "b"))
    monkeypatch.setitem(CREDIT_KINDS, "grass clippings", replace(NEW, comes_with_growth=False))
    at_hand = weeks_of("grass clippings", "c")
    assert np.array_equal(at_hand, weeks_of("starter", "d"))
    assert not np.array_equal(growing, at_hand)


@pytest.mark.usefixtures("clippings")
def test_manure_brings_its_cautions_by_its_entry(plan_folder, monkeypatch):
    def raw_manure(name):
        return any(
            "Raw manure" in text for text in run(read_plan(plan_folder(extra=CLIPPINGS, name=name))).cautions
        )

    assert not raw_manure("a")
    monkeypatch.setitem(CREDIT_KINDS, "grass clippings", replace(NEW, is_manure=True))
    assert raw_manure("b")


def test_plan_and_budget_have_the_same_kinds():
    assert {name for name, kind in CREDIT_KINDS.items() if kind.is_reckoned} == {*RECKONED}


@pytest.mark.parametrize("name", CREDIT_KINDS)
def test_every_kind_names_fields_of_the_plan(name):
    kind = CREDIT_KINDS[name]
    assert {*kind.asked}.union(*kind.ways) <= {*OtherCredit.model_fields}


def test_a_kind_that_nothing_reckons_is_not_taken_for_another(plan_folder, monkeypatch):
    monkeypatch.setitem(CREDIT_KINDS, "grass clippings", NEW)
    words = "credit 'grass clippings' has no function that reckons it; there are those of 'irrigation water', 'soil"
    with pytest.raises(ValueError, match=re.escape(words)):
        other_credits(read_plan(plan_folder(extra=CLIPPINGS)), "field", water_use_mm=None)


def test_an_unknown_kind_is_refused_with_those_known(plan_folder):
    words = (
        "credit 'rain' is unknown; expected one of 'irrigation water', 'soil nitrate', 'soil organic matter'"
    )
    with pytest.raises(ValueError, match=re.escape(words)):
        credit_kind("rain")
    words = (
        "plan.toml, [[other_credits]] 1 source: found \"rain\"; it should be 'irrigation water', 'soil nitrate', "
        "'soil organic matter', 'compost', 'manure', 'previous legume', 'starter' or 'earlier years'."
    )
    with pytest.raises(InputError, match=re.escape(words)):
        read_plan(plan_folder(extra=told("rain", 'nitrogen = "5 kg/ha"')))
    edits = [('need = "220 kg/ha"', 'need = "220 kg/ha"\nneed_allows_for = ["rain"]')]
    words = "it should be 'soil nitrate', 'organic matter' or 'previous legume'"
    with pytest.raises(InputError, match=re.escape(words)):
        read_plan(plan_folder(edits=edits, name="guide"))


def test_a_kind_whose_amount_is_never_asked_for_is_refused():
    with pytest.raises(
        ValueError, match=r"asked for are share; all of one way to tell how much are expected"
    ):
        replace(NEW, asked=("share",))
