"""Passes, loads, and what the ground receives."""

from dataclasses import replace

import numpy as np
import pytest
import shapely
from shapely.affinity import rotate
from shapely.geometry import Polygon, box
from support.machines import field, spreader

from fieldmap import read_plan, run
from fieldmap.advice.machine import delivery_warnings
from fieldmap.errors import InputError
from fieldmap.field.grid import burn
from fieldmap.spreader.delivery import drive
from fieldmap.spreader.loads import split_loads
from fieldmap.spreader.passes import long_axis_deg, passes_over
from fieldmap.spreader.rates import share_at, throw_m


def test_effective_swath_is_twice_the_distance_where_the_pattern_falls_to_half():
    # Ohio State Bulletin 817.
    for pattern in ("trapezoid", "triangle"):
        machine = spreader(pattern=pattern)
        distances = np.linspace(0, 30, 3001)
        half = distances[np.searchsorted(-share_at(distances, machine), -0.5)]
        assert 2 * half == pytest.approx(machine.swath_m, abs=0.05)


@pytest.mark.parametrize("pattern", ["trapezoid", "triangle"])
def test_neighbouring_passes_add_up_to_one_everywhere(pattern):
    machine = spreader(pattern=pattern)
    across = np.linspace(0, 20, 201)
    total = sum(share_at(np.abs(across - k * 20.0), machine) for k in range(-3, 5))
    assert total == pytest.approx(1.0)


@pytest.mark.parametrize("heading", [0.0, 30.0, 90.0, 137.0])
def test_the_long_axis_is_a_heading_from_north(heading):
    shape = rotate(box(-20, -100, 20, 100), -heading, origin=(0, 0))
    assert long_axis_deg(shape) % 180 == pytest.approx(heading % 180, abs=1e-6)


def test_passes_go_round_first_then_up_and_down_a_swath_apart():
    passes = passes_over(field(), spreader(heading="90 deg"))
    assert [one.number for one in passes] == list(range(1, len(passes) + 1))
    assert passes[0].headland
    assert passes[0].line.is_closed
    straight = [one for one in passes if not one.headland]
    assert len(straight) == 8  # 160 m between the headlands
    northings = [one.line.coords[0][1] for one in straight]
    assert np.abs(np.diff(northings)) == pytest.approx(20.0)
    towards = [one.line.coords[-1][0] > one.line.coords[0][0] for one in straight]
    assert towards == [k % 2 == towards.index(True) % 2 for k in range(8)]
    covered = shapely.union_all([one.line.buffer(10, cap_style="flat") for one in passes])
    assert covered.intersection(box(0, 0, 400, 200)).area > 0.995 * 400 * 200


def test_passes_stay_inside_whatever_the_shape():
    ground = Polygon([(0, 0), (300, 20), (260, 240), (140, 120), (20, 230)]).difference(box(100, 40, 140, 80))
    for one in passes_over(field(ground), spreader()):
        assert ground.buffer(0.1).contains(one.line)


def test_loads_empty_the_hopper_in_the_order_of_driving():
    passes = passes_over(field(), spreader())
    loads = split_loads(
        passes,
        lambda points: np.full(len(points), 300.0),
        spreader(hopper="900 kg"),
        order_kg=2400.0,
        step_m=2.0,
    )
    assert [load.number for load in loads] == [1, 2, 3]
    assert [load.product_kg for load in loads[:2]] == [900.0, 900.0]
    assert sum(load.product_kg for load in loads) == pytest.approx(2400.0)
    assert loads[0].pass_from == 1
    assert [load.pass_from for load in loads[1:]] == [load.pass_to for load in loads[:-1]]
    one = split_loads(
        passes, lambda points: np.full(len(points), 300.0), spreader(), order_kg=2400.0, step_m=2.0
    )
    assert len(one) == 1
    assert (
        split_loads(passes, lambda points: np.zeros(len(points)), spreader(), order_kg=0.0, step_m=2.0) == ()
    )


def test_a_hopper_of_nothing_is_refused():
    passes = passes_over(field(), spreader())
    with pytest.raises(InputError, match="a hopper of 1.0 kg makes 2,400 loads; at most 500"):
        split_loads(
            passes,
            lambda points: np.full(len(points), 300.0),
            spreader(hopper="1 kg"),
            order_kg=2400.0,
            step_m=2.0,
        )


def test_one_rate_arrives_as_meant_away_from_the_headland():
    ground, machine = field(), spreader(heading="90 deg")
    meant = np.full(ground.grid.shape, 200.0)
    got = drive(passes_over(ground, machine), meant, ground, spreader=machine)
    middle = got.received_kg_ha[25:-25, 25:-25]
    assert middle == pytest.approx(200.0, rel=1e-6)
    assert np.nansum(got.received_kg_ha) * 4e-4 + got.outside_kg == pytest.approx(200.0 * 8.0, rel=0.03)
    assert got.outside_kg > 0


def test_a_border_spreader_throws_nothing_out():
    ground, machine = field(), spreader(heading="90 deg", border_spreading=True)
    got = drive(passes_over(ground, machine), np.full(ground.grid.shape, 200.0), ground, spreader=machine)
    assert got.outside_kg == 0.0
    assert throw_m(machine) == 0.0
    assert throw_m(spreader()) == pytest.approx(5.0)


def test_product_in_no_spread_areas_is_counted():
    pond = box(180, 80, 220, 120)
    ground, machine = field(spread=box(0, 0, 400, 200).difference(pond)), spreader(heading="90 deg")
    meant = np.where(burn([pond], ground.grid) >= 0, np.nan, 200.0)
    got = drive(passes_over(ground, machine), meant, ground, spreader=machine)
    assert got.in_no_spread_kg > 0
    kept_off = spread_off(pond, throw_m(machine))
    far = field(spread=kept_off)
    meant_far = np.where(burn([kept_off], far.grid) >= 0, 200.0, np.nan)
    # What lies in the pond itself, when zones keep the throw away from it.
    got_far = drive(passes_over(far, machine), meant_far, far, spreader=machine)
    in_pond = burn([pond], far.grid) >= 0
    assert np.nansum(got_far.received_kg_ha[in_pond]) < 0.02 * np.nansum(got.received_kg_ha[in_pond])


def spread_off(pond, distance_m):
    return box(0, 0, 400, 200).difference(pond.buffer(distance_m))


@pytest.mark.parametrize(("seconds", "feet"), [(3.0, 66.0), (5.0, 110.0)])
def test_distance_of_a_rate_change(seconds, feet):
    # 15 mph is 22 ft/s; 3 to 5 s (Univ. Georgia precision agriculture, 2024) make 66 to 110 ft.
    machine = spreader(speed="15 mph", rate_change=f"{seconds} s")
    ground = field()
    got = drive(passes_over(ground, machine), np.full(ground.grid.shape, 200.0), ground, spreader=machine)
    assert got.change_m / 0.3048 == pytest.approx(feet)


def test_looking_ahead_makes_up_for_the_lag():
    ground = field()
    machine = spreader(heading="90 deg", speed="5 m/s", rate_change="4 s")
    meant = np.where(np.arange(200) < 100, 100.0, 300.0) * np.ones((100, 1))
    slow = drive(passes_over(ground, machine), meant, ground, spreader=machine)
    # Delay 5 m and a ramp of 15 m, whose middle lies 12.5 m behind the command.
    assert slow.look_ahead_m == pytest.approx(12.5, abs=1.3)
    quick = spreader(heading="90 deg", speed="5 m/s", rate_change="0 s")
    at_once = drive(passes_over(ground, quick), meant, ground, spreader=quick)
    assert at_once.look_ahead_m == 0.0
    assert at_once.within_tenth > slow.within_tenth
    row = slow.received_kg_ha[50, :150]
    change = np.nonzero((row > 105) & (row < 295) & (np.arange(150) > 50))[0]
    assert 12 <= (change[-1] - change[0]) * 2.0 <= 18


def test_loss_from_uneven_spreading_is_the_curvature_times_the_square_of_cv_times_rate():
    # Jensen & Pesek 1962, SSSA Proc. 26:170-178; with a quadratic response the mean loss is |c| (CV·N)².
    ground, machine = field(), spreader(heading="90 deg", pattern="triangle")
    passes = passes_over(ground, machine)
    wide = [one for k, one in enumerate(passes) if one.headland or k % 2]  # every second pass left out
    got = drive(wide, np.full(ground.grid.shape, 200.0), ground, spreader=machine).received_kg_ha[
        30:-30, 30:-30
    ]
    c = -0.00025
    mean, cv = got.mean(), got.std() / got.mean()
    loss = (10 + 0.1 * mean + c * mean**2) - (10 + 0.1 * got + c * got**2).mean()
    assert cv > 0.2
    assert loss == pytest.approx(abs(c) * (cv * mean) ** 2, rel=1e-9)


def test_a_run_reports_passes_loads_and_delivery(plan_folder):
    result = run(read_plan(plan_folder()))
    total_kg = sum(zone.product_kg for zone in result.spread.zone_map.zones)
    assert sum(load.product_kg for load in result.spread.loads) == pytest.approx(total_kg)
    assert 0.5 < result.spread.delivery.within_tenth <= 1.0
    assert any("would land beyond the boundary: use border spreading" in text for text in result.warnings)
    bordered = result.plan.spreader.model_copy(update={"border_spreading": True})
    delivery = replace(result.spread.delivery, outside_kg=99.0, in_no_spread_kg=0.0)
    (text,) = delivery_warnings(delivery, bordered, "metric")
    assert text == (
        "About 99 kg of product would land beyond the boundary even with the border device: keep further off."
    )
