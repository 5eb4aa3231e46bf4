"""Phosphorus, potassium and cost, beside the nitrogen."""

import datetime as dt

import pytest

from fieldmap import InputError, read_plan, run
from fieldmap.agronomy import sources
from fieldmap.agronomy.lookup import mark_of
from fieldmap.export.formats.result_json import figures
from fieldmap.export.rows import zone_entries
from fieldmap.report.summary import cost_text, zone_cells, zone_columns
from fieldmap.units import whole
from fieldmap.verdict import nutrients
from fieldmap.webmap.page import map_page

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


@pytest.mark.parametrize(("days", "allowed"), [(84, False), (91, True)])
def test_raw_litter_beside_a_standing_crop_waits_ninety_days(plan_folder, days, allowed):
    # 7 CFR 205.203: 90 days to the harvest where the edible part does not touch the soil.
    edits = [WIDE, STEP, ("2026-08-14", "2026-09-30"), ('need = "', 'touches_soil = false\nneed = "')]
    day = dt.date(2026, 9, 30) - dt.timedelta(days=days)
    extra = (
        "\n[[application]]\ndate = 2026-05-20\nshare = 0.5\n"
        f'\n[[application]]\ndate = {day}\nshare = 0.5\nmethod = "side-dress"\nproduct = "poultry litter"\n'
    )
    folder = plan_folder(edits=edits, extra=extra)
    if allowed:
        assert run(read_plan(folder)).applications[1].application.product.name == "poultry litter"
    else:
        with pytest.raises(InputError, match="is 84 days before the harvest of 2026-09-30"):
            run(read_plan(folder))


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


def test_the_limits_of_total_nitrogen_that_are_passed():
    # DüV § 6(4), published: 170 kg/ha a year from all organic fertilisers, mean of the farm; compost 510 in 3 years.
    def passed(**total_n_kg_ha):
        told = {origin.replace("_", " "): kg_ha for origin, kg_ha in total_n_kg_ha.items()}
        return [(one.where, one.mean_of) for one in nutrients.limits_passed(told)]

    assert ("Germany", "farm") in passed(livestock_manure=171.0)
    assert ("Germany, nitrate areas", "field") in passed(livestock_manure=100.0, other=71.0)
    assert passed(livestock_manure=170.0) == []
    assert ("Germany", "farm") not in passed(compost=500.0)
    assert ("Germany", "farm") in passed(compost=511.0)
    assert passed(other=240.0) == [("Germany", "farm"), ("Germany, nitrate areas", "field")]


def test_each_limit_has_its_source():
    for limit in nutrients.LIMITS:
        assert sources()[limit.source].mark in ("published", "from memory")


def organic_result(plan_folder, product, *, need="220 kg/ha", extra=""):
    edits = [('product = "urea"', f'product = "{product}"'), ("2026-08-14", "2026-10-01"), WIDE, STEP]
    return run(read_plan(plan_folder(edits=[*edits, ('"220 kg/ha"', f'"{need}"')], extra=extra)))


def test_litter_is_told_of_in_all_its_nitrogen_and_phosphorus(plan_folder):
    result = organic_result(plan_folder, "poultry litter", extra='\n[soil_test]\nphosphorus = "high"\n')
    product = result.applications[0].application.product
    for zone, one in zip(result.spread.zone_map.rows, result.spread.along, strict=True):
        assert zone.brought.total_n_kg_ha == pytest.approx(zone.product_kg_ha * 0.028)
        assert zone.brought.total_n_kg_ha * product.available == pytest.approx(zone.rate_n_kg_ha)
        assert zone.brought.p2o5_kg_ha == pytest.approx(zone.product_kg_ha * 0.0265)
        assert (one.total_n_kg_ha, one.k2o_kg_ha) == (zone.brought.total_n_kg_ha, zone.brought.k2o_kg_ha)
    load = nutrients.organic_load(result.applications)
    rows = result.spread.zone_map.rows
    mean = (
        sum(zone.product_kg_ha * zone.area_ha for zone in rows) / sum(zone.area_ha for zone in rows) * 0.028
    )
    assert load.total_n_kg_ha == {"livestock manure": pytest.approx(mean)}
    said = " ".join(result.warnings)
    assert (
        f"poultry litter: {mean:.0f} kg/ha of nitrogen in all, mean of the field, with none from elsewhere"
        in said
    )
    assert (
        "this passes, where they apply: 170 kg/ha a year from livestock manure, mean of the farm (91/676/EEC"
        in said
    )
    assert "EU, vulnerable zones; from memory)" in said
    assert "mean of the field (DüV § 13a, Germany, nitrate areas)" in said


def test_most_of_the_need_from_an_organic_product_is_warned_of(plan_folder):
    # RB209, published: organic material for no more than 50 to 60 % of the requirement.
    result = organic_result(plan_folder, "feather meal", need="400 kg/ha")
    load = nutrients.organic_load(result.applications)
    assert load.need_share > 0.6
    assert any(
        f"{load.need_share * 100:.0f} % of the crop's need is to come from feather meal: RB209" in text
        for text in result.warnings
    )
    little = organic_result(plan_folder_named(plan_folder, "little"), "feather meal", need="120 kg/ha")
    assert nutrients.organic_load(little.applications).need_share < 0.6
    assert not any("is to come from" in text for text in little.warnings)
    assert nutrients.organic_load(run(read_plan(plan_folder(name="mineral"))).applications) is None


def plan_folder_named(plan_folder, name):
    return lambda **keys: plan_folder(name=name, **keys)


def test_what_comes_with_a_product_stands_in_every_table(plan_folder):
    result = organic_result(plan_folder, "poultry litter")
    first, rows = result.applications[0], result.spread.zone_map.rows
    headings = zone_columns("us", rows)
    assert headings[-3:] == ("N in all, lb/ac", "P2O5, lb/ac", "K2O, lb/ac")
    for zone in rows:
        assert len(zone_cells(zone, "us")) == len(headings)
        brought = (zone.brought.total_n_kg_ha, zone.brought.p2o5_kg_ha, zone.brought.k2o_kg_ha)
        assert zone_cells(zone, "us")[-3:] == tuple(whole(kg_ha / 1.12085116) for kg_ha in brought)
    for entry, zone in zip(zone_entries(first, "us"), result.spread.zone_map.zones, strict=True):
        assert entry["total_n_kg_ha"] == pytest.approx(zone.brought.total_n_kg_ha, abs=0.005)
        assert entry["p2o5_lb_ac"] == pytest.approx(zone.brought.p2o5_kg_ha / 1.12085116, abs=0.005)
        assert entry["k2o_kg_ha"] == pytest.approx(zone.brought.k2o_kg_ha, abs=0.005)
    page = map_page(result)
    assert page.count("P2O5, kg/ha") >= 2  # the popup and the table
    told = figures(result)["applications"][0]
    assert told["available"] == pytest.approx(first.application.product.available, abs=1e-4)
    assert told["available_error"] == pytest.approx(first.application.product.available_error, abs=1e-4)


def test_mineral_nitrogen_has_no_columns_more(plan_folder):
    result = run(read_plan(plan_folder()))
    assert zone_columns("metric", result.spread.zone_map.rows)[-1] == "Product, kg"
    assert "p2o5_kg_ha" not in zone_entries(result.applications[0], "us")[0]
