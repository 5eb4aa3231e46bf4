"""Phosphorus, potassium and cost, beside the nitrogen."""

import pytest

from fieldmap import InputError, read_plan, run
from fieldmap.agronomy.lookup import mark_of
from fieldmap.report.summary import cost_text

LITTER = ('product = "urea"', 'product = "pelleted poultry litter"')
WIDE = ('rate_max = "600 kg/ha"', 'rate_max = "20000 kg/ha"')
STEP = ('rate_step = "10 kg/ha"', 'rate_step = "100 kg/ha"')


def test_organic_products_bring_phosphorus_and_potassium_along(plan_folder):
    result = run(read_plan(plan_folder(edits=[LITTER, WIDE, STEP])))
    product = result.plan.spreader.product_entry
    assert len(result.spread.along) == len(result.spread.zone_map.zones)
    for one, zone in zip(result.spread.along, result.spread.zone_map.zones, strict=True):
        assert one.p2o5_kg_ha == pytest.approx(zone.product_kg_ha * product.p2o5_pct / 100)
        assert one.k2o_kg_ha == pytest.approx(zone.product_kg_ha * product.k2o_pct / 100)
    assert any("brings up to" in text and "P2O5" in text and "builds up" in text for text in result.warnings)
    assert any("phosphorus and potassium" in text for text in result.cautions)


def test_nitrogen_alone_brings_nothing_along(plan_folder):
    assert run(read_plan(plan_folder())).spread.along == ()


def test_what_a_kilogram_of_nitrogen_costs(plan_folder):
    extra = '\n[prices]\nproduct = "460 EUR/t"\ncover_crop = "100 EUR/ha"\n'
    result = run(read_plan(plan_folder(extra=extra)))
    mean = result.budget.credit.credit_kg_ha[result.field.inside].mean()
    assert (
        cost_text(result)
        == f"A kg of nitrogen costs EUR {100 / mean:.2f} from the cover crop and EUR 1.00 from urea."
    )
    assert cost_text(run(read_plan(plan_folder(name="plain")))) == ""


RAW = ('product = "urea"', 'product = "poultry litter"')
MORE = (WIDE, STEP)


def test_raw_manure_too_near_the_harvest_is_refused(plan_folder):
    # 7 CFR 205.203: 120 days where the edible part touches the soil, 90 elsewhere; 2026-05-24 to 08-14 are 82 days.
    with pytest.raises(
        InputError, match=r"poultry litter is raw manure, and 2026-05-24 is 82 days before the harvest"
    ):
        run(read_plan(plan_folder(edits=[RAW, *MORE])))


@pytest.mark.parametrize(("touches", "refused"), [("true", True), ("false", False)])
def test_ninety_days_do_where_the_edible_part_is_off_the_soil(plan_folder, touches, refused):
    edits = [RAW, *MORE, ("2026-08-14", "2026-09-01"), ('need = "', f'touches_soil = {touches}\nneed = "')]
    folder = plan_folder(edits=edits)  # 100 days
    if refused:
        with pytest.raises(InputError, match="at least 120 days are expected"):
            run(read_plan(folder))
    else:
        assert any("raw manure" in text.lower() for text in run(read_plan(folder)).cautions)


def test_an_analysis_of_the_users_own_stays_raw_manure(plan_folder):
    own = ('product = "urea"', 'product = { name = "poultry litter", nitrogen = "3.4 %", p2o5 = "2.1 %" }')
    folder = plan_folder(edits=[own, *MORE])
    entry = read_plan(folder).spreader.product_entry
    assert (entry.nitrogen_pct, entry.p2o5_pct, entry.k2o_pct) == (3.4, 2.1, 2.3)  # potash from the table
    assert (mark_of(entry, "nitrogen_pct"), mark_of(entry, "k2o_pct")) == ("your value", "published")
    with pytest.raises(InputError, match="is raw manure"):
        run(read_plan(folder))


def test_a_soil_already_high_in_phosphorus_is_told_of(plan_folder):
    edits = [('product = "urea"', 'product = "composted poultry manure"'), *MORE]
    result = run(read_plan(plan_folder(edits=edits, extra='\n[soil_test]\nphosphorus = "high"\n')))
    assert any(
        "already high in phosphorus, and composted poultry manure brings" in text for text in result.warnings
    )
    assert not any("already high in potassium" in text for text in result.warnings)
