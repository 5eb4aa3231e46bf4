"""What the machine's limits cost, and the starter that no credit takes away."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from support.money import PRICES, RESPONSE
from support.small_fields import random_places

from fieldmap import read_plan, run
from fieldmap.advice import limits_rule_text
from fieldmap.export.formats.result_json import figures
from fieldmap.report.pdf import build_report


def with_keys(**keys):
    return [("zone_min", "\n".join(f"{key} = {value}" for key, value in keys.items()) + "\nzone_min")]


def due_n(result):
    return np.where(
        np.isfinite(result.spread.zone_map.product_kg_ha), result.budget.supplemental_kg_ha, np.nan
    )


def test_ground_below_the_least_rate_is_counted_short_or_over(plan_folder):
    edits = [('"220 kg/ha"', '"100 kg/ha"'), ('rate_min = "20 kg/ha"', 'rate_min = "120 kg/ha"')]
    result = run(read_plan(plan_folder(edits=edits)))
    limits, product, due = result.spread.limits, result.spread.zone_map.product_kg_ha, due_n(result)
    assert set(np.unique(product[np.isfinite(product)])) <= {0.0, *np.arange(120.0, 601.0, 10.0)}
    cell_ha = 25e-4
    short = due[(product == 0) & (due < 120 * 0.46)].sum() * cell_ha
    over = (120 * 0.46 - due)[(product == 120) & (due < 120 * 0.46)].sum() * cell_ha
    assert limits.left_short_kg == pytest.approx(short, rel=0.01)
    assert limits.raised_over_kg == pytest.approx(over, rel=0.01)
    assert short > 0
    assert over > 0
    told = figures(result)["machine_limits"]
    assert "gets 0 or the least step, whichever its zone loses less by" in told["rule"]
    assert told["above_rate_max"] == []


@pytest.mark.parametrize(("rate_max", "passes"), [("200 kg/ha", 2), ("120 kg/ha", 4)])
def test_need_above_the_greatest_rate(plan_folder, rate_max, passes):
    edits = [('rate_max = "600 kg/ha"', f'rate_max = "{rate_max}"')]
    result = run(read_plan(plan_folder(edits=edits)))
    short = result.spread.limits.short[-1]
    product = result.spread.zone_map.product_kg_ha
    cells = product == np.nanmax(product)
    missed = (due_n(result) - result.spread.zone_map.rate_n_kg_ha)[cells]
    assert short.n_short_kg_ha == pytest.approx(missed.mean())
    assert short.passes == np.ceil(due_n(result)[cells].mean() / (0.46 * np.nanmax(product)))
    assert short.passes <= passes
    first = next(text for text in result.warnings if text.startswith("Zone"))
    assert f"rate_max is {rate_max} of urea. {short.passes} passes would carry it" in first
    assert "no product of the table would in one pass" in first
    assert result.warnings.index(first) <= 1  # after what lands beyond the boundary, before all else


def test_a_richer_product_that_would_serve_is_named(plan_folder):
    edits = [('product = "urea"', 'product = "calcium nitrate"')]
    result = run(read_plan(plan_folder(edits=edits)))
    short = result.spread.limits.short[-1]
    assert short.products
    assert "urea" not in short.products[:1]  # the leanest that serves comes first
    assert f"in one pass {' or '.join(short.products)} would" in next(
        t for t in result.warnings if "Zone" in t
    )


@settings(max_examples=8, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(starter=st.integers(5, 60), need=st.integers(20, 200), money=st.booleans(), cautious=st.booleans())
def test_a_starter_is_honoured_everywhere(plan_folder, tmp_path_factory, starter, need, money, cautious):
    """Whatever the need, the loss and the caution: no cell gets less nitrogen than the starter."""
    name = tmp_path_factory.mktemp("starter").name
    extra = (PRICES + RESPONSE) if money else f"\n[credit]\nconfidence = {0.8 if cautious else 0.5}\n"
    edits = [('"220 kg/ha"', f'"{need} kg/ha"'), *with_keys(rate_n_min=f'"{starter} kg/ha"')]
    edits += [('cell = "5 m"', 'cell = "10 m"')]
    result = run(read_plan(plan_folder(edits=edits, extra=extra, name=name, xy=random_places(12, 3))))
    spread = result.field.spread_index >= 0
    assert (result.spread.zone_map.rate_n_kg_ha[spread] >= starter - 1e-9).all()
    assert min(zone.rate_n_kg_ha for zone in result.spread.zone_map.zones) >= starter - 1e-9
    assert result.spread.limits.left_short_kg == 0.0
    assert "carry rate_n_min" in limits_rule_text(result.spread.limits)


def test_what_the_least_rate_leaves_short_or_puts_over_is_said(plan_folder):
    high_least = [
        ('rate_min = "20 kg/ha"', 'rate_min = "420 kg/ha"'),
        ('need = "220 kg/ha"', 'need = "120 kg/ha"'),
    ]
    result = run(read_plan(plan_folder(edits=high_least)))
    assert any(
        "The limits of the machine, rate_min (420 kg/ha of product)" in text for text in result.warnings
    )


def test_a_report_of_many_loads_is_still_written(plan_folder, tmp_path):
    folder = plan_folder(edits=[('zone_min = "0.2 ha"', 'zone_min = "0.2 ha"\nhopper = "20 kg"')])
    result = run(read_plan(folder))
    assert len(result.spread.loads) > 60
    assert build_report(result, date=dt.date(2026, 5, 10)).startswith(b"%PDF")
