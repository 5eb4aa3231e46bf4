"""What would change an answer against zones is what binds: each constraint in turn, the others wide open."""

import numpy as np
import pytest

from fieldmap import read_plan, run
from fieldmap.advice.verdict import change_text
from fieldmap.verdict.binding import Bind, Binding

OPEN = {
    'rate_step = "10 kg/ha"': 'rate_step = "1 kg/ha"',
    'rate_min = "20 kg/ha"': 'rate_min = "1 kg/ha"',
    "zones_max = 4": "zones_max = 9",
    'zone_min = "0.2 ha"': 'zone_min = "0.01 ha"',
    'swath = "15 m"': 'swath = "3 m"',
}
CASES = {
    Bind.RATE_MAX: {'rate_max = "600 kg/ha"': 'rate_max = "280 kg/ha"'},
    Bind.RATE_STEP: {
        'rate_step = "10 kg/ha"': 'rate_step = "200 kg/ha"',
        'rate_min = "20 kg/ha"': 'rate_min = "200 kg/ha"',
    },
    Bind.ZONES_MAX: {"zones_max = 4": "zones_max = 1"},
    Bind.ZONE_MIN: {'zone_min = "0.2 ha"': 'zone_min = "4 ha"'},
    Bind.MACHINE: {'swath = "15 m"': 'swath = "36 m"\nrate_change = "9 s"\nspeed = "30 km/h"'},
    Bind.CREDIT: {'need = "220 kg/ha"': 'need = "10 kg/ha"'},
}


@pytest.mark.parametrize("bind", CASES, ids=[str(bind) for bind in CASES])
def test_the_one_constraint_is_named(plan_folder, bind):
    result = run(read_plan(plan_folder(edits=tuple((OPEN | CASES[bind]).items()))))
    found = result.spread.binding
    assert found.most(1.0) is bind, found


def test_the_losses_add_up_to_what_the_ground_misses(plan_folder):
    """Squared error of what is received, by hand from the rasters, of a map without caution and strips."""
    result = run(read_plan(plan_folder()))
    desired = result.budget.supplemental_kg_ha
    received = result.spread.delivery.received_kg_ha * 0.46
    spread = np.isfinite(result.spread.zone_map.rate_n_kg_ha)
    by_hand = float(((received - desired)[spread] ** 2).mean())
    assert sum(result.spread.binding.lost.values()) == pytest.approx(by_hand, rel=0.01)
    assert all(loss > -1e-9 for bind, loss in result.spread.binding.lost.items() if bind != Bind.ZONE_MIN)


@pytest.mark.parametrize(
    ("bound", "says"),
    [
        (
            Binding(50.0, {Bind.RATE_STEP: 9.0}, nothing_due=False),
            "A stand that differs more from place to place",
        ),
        (
            Binding(500.0, {Bind.RATE_STEP: 9.0}, nothing_due=True),
            "a larger need, or a smaller credit, would",
        ),
        (Binding(500.0, {Bind.RATE_MAX: 2.0, Bind.ZONE_MIN: 1.0}, nothing_due=False), "a higher rate_max"),
        (
            Binding(500.0, {Bind.RATE_MAX: 1.0, Bind.ZONE_MIN: 2.0}, nothing_due=False),
            "a smaller zone_min would",
        ),
    ],
)
def test_what_would_change_it_names_what_binds(lower_plot_result, bound, says):
    from dataclasses import replace

    verdict = replace(
        lower_plot_result.verdict, answer="no closer to the need", reason="gain", binds=bound.most(100.0)
    )
    assert says in change_text(verdict)
