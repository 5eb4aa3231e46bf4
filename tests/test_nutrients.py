"""Phosphorus, potassium and cost, beside the nitrogen."""

import pytest

from fieldmap import read_plan, run
from fieldmap.summary import cost_text

LITTER = ('product = "urea"', 'product = "pelleted poultry litter"')
WIDE = ('rate_max = "600 kg/ha"', 'rate_max = "20000 kg/ha"')
STEP = ('rate_step = "10 kg/ha"', 'rate_step = "100 kg/ha"')


def test_organic_products_bring_phosphorus_and_potassium_along(plan_folder):
    result = run(read_plan(plan_folder(edits=[LITTER, WIDE, STEP])))
    product = result.plan.spreader.product_entry
    assert len(result.along) == len(result.zone_map.zones)
    for one, zone in zip(result.along, result.zone_map.zones, strict=True):
        assert one.p2o5_kg_ha == pytest.approx(zone.product_kg_ha * product.p2o5_pct / 100)
        assert one.k2o_kg_ha == pytest.approx(zone.product_kg_ha * product.k2o_pct / 100)
    assert any("brings up to" in text and "P2O5" in text and "builds up" in text for text in result.warnings)
    assert any("phosphorus and potassium" in text for text in result.cautions)


def test_nitrogen_alone_brings_nothing_along(plan_folder):
    assert run(read_plan(plan_folder())).along == ()


def test_what_a_kilogram_of_nitrogen_costs(plan_folder):
    extra = '\n[prices]\nproduct = "460 EUR/t"\ncover_crop = "100 EUR/ha"\n'
    result = run(read_plan(plan_folder(extra=extra)))
    mean = result.credit.credit_kg_ha[result.field.inside].mean()
    assert (
        cost_text(result)
        == f"Nitrogen costs EUR {100 / mean:.2f} from the cover crop and EUR 1.00 from urea a kg."
    )
    assert cost_text(run(read_plan(plan_folder(name="plain")))) == ""
