"""Levels against exhaustive search and a reference library; patches and polygons against what they promise."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from mapclassify import FisherJenks
from shapely import affinity
from support.zone_cases import (
    LEVELS,
    SIDE_M,
    block_raster,
    check_parts,
    patches_too_small,
    random_blocks,
    smooth_field,
)

from fieldmap.field.grid import Grid
from fieldmap.spreader.rates import rate_steps
from fieldmap.zones.levels import LevelSet, best_levels, choose_levels
from fieldmap.zones.loss import SquaredLoss
from fieldmap.zones.patches import merge_small_patches
from fieldmap.zones.polygons import zone_polygons
from fieldmap.zones.shapes import shape_zones

POUND_PER_ACRE = 0.45359237 / 0.40468564224  # kg/ha; international pound and acre, exact by definition


# --- rate steps ---------------------------------------------------------------------------------------------


def test_steps_in_pounds_per_acre_keep_both_limits():
    steps = rate_steps(
        step_kg_ha=10 * POUND_PER_ACRE,
        rate_min_kg_ha=40 * POUND_PER_ACRE,
        rate_max_kg_ha=400 * POUND_PER_ACRE,
    )
    assert steps / POUND_PER_ACRE == pytest.approx([0, *range(40, 401, 10)])


def test_limits_off_the_step_are_not_allowed_rates():
    assert rate_steps(step_kg_ha=20, rate_min_kg_ha=50, rate_max_kg_ha=130).tolist() == [0, 60, 80, 100, 120]


def test_zero_stands_once_when_the_least_rate_is_zero():
    assert rate_steps(step_kg_ha=20, rate_min_kg_ha=0, rate_max_kg_ha=40).tolist() == [0, 20, 40]


@pytest.mark.parametrize(("floor", "first"), [(60, 60), (61, 80), (10, 40)])
def test_starter_leaves_no_lower_rate_and_no_zero(floor, first):
    steps = rate_steps(step_kg_ha=20, rate_min_kg_ha=40, rate_max_kg_ha=100, floor_kg_ha=floor)
    assert steps.tolist() == list(range(first, 101, 20))


@pytest.mark.parametrize(
    ("wrong", "message"),
    [
        (
            {"rate_min_kg_ha": 110, "rate_max_kg_ha": 190},
            "no multiple of the rate step, 100 kg/ha, lies between 110",
        ),
        ({"floor_kg_ha": 500}, "between 500 and 400 kg/ha; take a smaller step or wider limits"),
        ({"step_kg_ha": 0}, "the rate step is 0 kg/ha; it must be greater than 0"),
        ({"rate_min_kg_ha": 401}, "the rates run from 401 to 400 kg/ha"),
        ({"floor_kg_ha": float("nan")}, "the floor is nan kg/ha; it must be 0 or more"),
    ],
)
def test_steps_that_cannot_be(wrong, message):
    with pytest.raises(ValueError, match=message):
        rate_steps(**{"step_kg_ha": 100, "rate_min_kg_ha": 0, "rate_max_kg_ha": 400} | wrong)


# --- levels -------------------------------------------------------------------------------------------------


def mean_squared_loss(desired, levels):
    """Every cell to its nearest level, the long way."""
    nearest = np.abs(np.asarray(desired)[:, None] - np.asarray(levels)[None, :]).min(axis=1)
    return (nearest**2).mean()


def exhaustive_loss(desired, allowed, most):
    """Least loss over every choice of at most so many levels."""
    return min(
        mean_squared_loss(desired, choice)
        for size in range(1, most + 1)
        for choice in combinations(allowed, size)
    )


def test_worked_example():
    desired = np.array([0.0, 0.0, 50.0, 60.0, 60.0, 100.0])
    one, two, three = best_levels(
        SquaredLoss(desired), step_kg_ha=20, allowed=np.arange(0, 121, 20.0), zones_max=3
    )
    assert one == LevelSet(one.levels, pytest.approx((40**2 * 2 + 10**2 + 20**2 * 2 + 60**2) / 6))  # at 40
    assert two.levels.tolist() == [0, 60]
    assert two.loss == pytest.approx((10**2 + 40**2) / 6)
    assert three.levels.tolist() == [0, 60, 100]
    assert three.loss == pytest.approx(10**2 / 6)


@given(
    desired=st.lists(st.floats(-20, 320), min_size=1, max_size=30),
    step=st.sampled_from([20.0, 25.0, 20 * POUND_PER_ACRE]),
    first=st.integers(0, 6),
)
def test_levels_match_exhaustive_search(desired, step, first):
    desired = np.array(desired)
    allowed = rate_steps(step_kg_ha=step, rate_min_kg_ha=first * step, rate_max_kg_ha=9 * step)
    found = best_levels(SquaredLoss(desired), step_kg_ha=step, allowed=allowed, zones_max=4)
    for most, each in enumerate(found, start=1):
        assert each.zones <= most
        assert np.isin(each.levels, allowed).all()
        assert each.loss == pytest.approx(exhaustive_loss(desired, allowed, most), abs=1e-7)
        assert each.loss == pytest.approx(mean_squared_loss(desired, each.levels), abs=1e-7)


def test_gap_below_the_least_rate_is_exact():
    """Between zero and the least rate the change falls in the middle: 3.5 steps up, off the whole steps."""
    desired = np.array([0.0, 34.0, 34.9, 35.1, 36.0, 70.0])
    allowed = rate_steps(step_kg_ha=10, rate_min_kg_ha=70, rate_max_kg_ha=100)
    two = best_levels(SquaredLoss(desired), step_kg_ha=10, allowed=allowed, zones_max=2)[1]
    assert two.levels.tolist() == [0, 70]
    assert two.loss == pytest.approx((34.0**2 + 34.9**2 + 34.9**2 + 34.0**2) / 6)


@pytest.mark.parametrize("zones", [2, 3, 5])
def test_with_a_fine_step_levels_reach_natural_breaks(zones):
    """mapclassify has no step: rounding its class means to the step can add at most a quarter of a step squared."""
    rng = np.random.default_rng(zones)
    desired = np.concatenate([rng.normal(mean, 8.0, 60) for mean in (40, 90, 120, 200)])
    step = 0.25
    allowed = rate_steps(step_kg_ha=step, rate_min_kg_ha=0, rate_max_kg_ha=300)
    ours = best_levels(SquaredLoss(desired), step_kg_ha=step, allowed=allowed, zones_max=zones)[-1].loss
    classes = FisherJenks(desired, k=zones).yb
    theirs = sum(
        ((desired[classes == each] - desired[classes == each].mean()) ** 2).sum() for each in range(zones)
    )
    assert theirs / desired.size <= ours + 1e-9
    assert ours <= theirs / desired.size + step**2 / 4


def test_loss_never_rises_with_more_zones():
    desired = np.random.default_rng(3).gamma(4.0, 30.0, 5000)
    allowed = rate_steps(step_kg_ha=11.2, rate_min_kg_ha=45, rate_max_kg_ha=400)
    losses = [
        each.loss
        for each in best_levels(SquaredLoss(desired), step_kg_ha=11.2, allowed=allowed, zones_max=12)
    ]
    assert len(losses) == 12
    assert (np.diff(losses) < 0).all()


def test_one_desired_rate_needs_one_level():
    found = best_levels(
        SquaredLoss(np.full(50, 47.0)), step_kg_ha=10, allowed=np.arange(0, 101, 10.0), zones_max=4
    )
    assert [each.levels.tolist() for each in found] == [[50.0]] * 4
    assert found[0].loss == pytest.approx(9.0)


def test_fewest_zones_within_the_margin():
    sets = [LevelSet(np.arange(float(n)), loss) for n, loss in ((1, 100.0), (2, 20.0), (3, 14.9), (4, 10.0))]
    assert choose_levels(sets, rounding=1 / 12).zones == 3  # 14.9 <= 10 + 5
    assert choose_levels(sets, rounding=1 / 12, margin=0.0).zones == 4
    assert choose_levels(sets, rounding=1 / 12, margin=0.1).zones == 2
    assert choose_levels(sets, rounding=1 / 12, margin=1.0).zones == 1
    assert choose_levels(sets, rounding=12**2 / 12, margin=0.0).zones == 2  # 20 <= 10 + 12²/12


@pytest.mark.parametrize(
    ("wrong", "message"),
    [
        ({"desired": np.array([])}, "the desired rates must be finite, and of one cell at least"),
        ({"desired": np.array([1.0, np.inf])}, "the desired rates must be finite"),
        ({"zones_max": 0}, "zones_max is 0; it must be 1 or more"),
        ({"allowed": np.array([0.0, 15.0])}, "must be a multiple of the rate step, 10 kg/ha"),
        ({"allowed": np.array([20.0, 10.0])}, "the allowed rates must be ascending"),
    ],
)
def test_levels_that_cannot_be(wrong, message):
    right = {
        "desired": np.array([1.0, 2.0]),
        "step_kg_ha": 10.0,
        "allowed": np.array([0.0, 10.0]),
        "zones_max": 2,
    }
    arguments = right | wrong
    with pytest.raises(ValueError, match=message):
        best_levels(SquaredLoss(arguments.pop("desired")), **arguments)


# --- patches ------------------------------------------------------------------------------------------------


def three_blocks(shape):
    """Left, right and a block of two separate pieces below; a band between them is outside."""
    rows, columns = shape
    block_index = np.full(shape, -1)
    block_index[: rows // 2, : columns // 2] = 0
    block_index[: rows // 2, columns // 2 :] = 1
    block_index[rows // 2 + 5 :, : columns // 3] = 2
    block_index[rows // 2 + 5 :, columns // 2 :] = 2
    block_index[rows // 5 : rows // 4, columns // 5 : columns // 4] = -1
    return block_index


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("reach_cells", [1, 4, 20])
def test_every_patch_holds_the_minimum(seed, reach_cells):
    block_index = three_blocks((90, 110))
    desired = np.where(
        block_index >= 0, smooth_field(np.random.default_rng(seed), (90, 110), reach_cells), np.nan
    )
    zone_index = shape_zones(
        SquaredLoss(desired), block_index, LEVELS, cell_m=5, swath_m=18, minimum_area_m2=2000
    )
    assert zone_index.dtype == np.int16
    assert ((zone_index >= 0) == (block_index >= 0)).all()
    assert patches_too_small(zone_index, block_index, 80) == []


def test_piece_smaller_than_the_minimum_is_one_patch():
    block_index = np.full((20, 30), -1)
    block_index[2:6, 2:6] = 0
    block_index[:, 10:] = 0
    desired = np.where(block_index >= 0, np.tile(np.linspace(80, 230, 30), (20, 1)), np.nan)
    desired[2:6, 2:4] = 230.0
    zone_index = shape_zones(
        SquaredLoss(desired), block_index, LEVELS, cell_m=1, swath_m=1, minimum_area_m2=50
    )
    assert np.unique(zone_index[2:6, 2:6]).size == 1
    assert np.unique(zone_index[:, 10:]).size > 1


def test_blocks_do_not_touch_each_other():
    """Each block comes out as if it were alone."""
    block_index = three_blocks((80, 80))
    desired = np.where(block_index >= 0, smooth_field(np.random.default_rng(8), (80, 80), 3), np.nan)
    options = {"cell_m": 2.0, "swath_m": 12.0, "minimum_area_m2": 300.0}
    together = shape_zones(SquaredLoss(desired), block_index, LEVELS, **options)
    for block in range(3):
        only = np.where(block_index == block, block, -1)
        alone = shape_zones(SquaredLoss(np.where(only >= 0, desired, np.nan)), only, LEVELS, **options)
        np.testing.assert_array_equal(alone[only >= 0], together[only >= 0])


@pytest.mark.parametrize("turn", [np.flipud, np.fliplr, np.transpose, np.rot90])
def test_patches_do_not_depend_on_the_way_the_array_lies(turn):
    block_index = three_blocks((100, 100))
    desired = np.where(block_index >= 0, smooth_field(np.random.default_rng(4), (100, 100), 3), np.nan)
    options = {"cell_m": 2.0, "swath_m": 12.0, "minimum_area_m2": 400.0}
    straight = shape_zones(SquaredLoss(desired), block_index, LEVELS, **options)
    turned = shape_zones(SquaredLoss(turn(desired)), turn(block_index), LEVELS, **options)
    np.testing.assert_array_equal(turned, turn(straight))


@pytest.mark.parametrize("rate", [0.0, 101.0, 135.0, 500.0])  # 135 is the middle of two levels
def test_one_desired_rate_gives_one_patch_a_piece(rate):
    block_index = three_blocks((60, 60))
    desired = np.where(block_index >= 0, rate, np.nan)
    zone_index = shape_zones(
        SquaredLoss(desired), block_index, LEVELS, cell_m=3, swath_m=18, minimum_area_m2=900
    )
    assert np.unique(zone_index[block_index >= 0]).size == 1


def test_loss_is_near_that_of_the_levels_alone_on_a_smooth_field():
    desired = smooth_field(np.random.default_rng(2), (200, 200), 40)
    block_index = np.zeros((200, 200), dtype=int)
    zone_index = shape_zones(
        SquaredLoss(desired), block_index, LEVELS, cell_m=2, swath_m=12, minimum_area_m2=1000
    )
    shaped = ((desired - LEVELS[zone_index]) ** 2).mean()
    free = mean_squared_loss(desired.ravel(), LEVELS)
    assert free <= shaped <= 1.1 * free


def test_stripe_narrower_than_the_swath_is_averaged_away():
    desired = np.full((30, 30), 150.0)
    desired[:, 14] = 200.0
    block_index = np.zeros((30, 30), dtype=int)
    narrow, wide = (
        shape_zones(SquaredLoss(desired), block_index, LEVELS, cell_m=2, swath_m=swath_m, minimum_area_m2=0)
        for swath_m in (2, 12)
    )
    assert (
        LEVELS[narrow[0]].tolist() == [150.0] * 14 + [180.0] + [150.0] * 15
    )  # 200, midway, goes to the lower
    assert (LEVELS[wide] == 150.0).all()  # five cells average 160


def test_small_patch_joins_where_it_loses_least_then_where_it_borders_most():
    levels = np.array([100.0, 120.0, 200.0])
    row = {"area": np.array([50.0, 3.0, 50.0]), "pairs": np.array([[0, 1], [1, 2]]), "minimum_area": 10.0}

    def end(middle_rate, border):
        loss = row["area"][:, None] * (np.array([[100.0], [middle_rate], [200.0]]) - levels) ** 2
        zone = np.array([0, 1, 2])
        return merge_small_patches(
            row["area"], zone, loss, row["pairs"], np.array(border), minimum_area=row["minimum_area"]
        ).tolist()

    assert end(149.0, [1.0, 9.0]) == [0, 0, 2]  # nearer to 100 than to 200
    assert end(151.0, [9.0, 1.0]) == [0, 2, 2]
    assert end(150.0, [1.0, 9.0]) == [0, 2, 2]  # as near to both
    assert end(150.0, [9.0, 1.0]) == [0, 0, 2]


def test_patch_between_two_of_a_zone_joins_them_all():
    ends = merge_small_patches(
        np.array([40.0, 5.0, 40.0]),
        np.array([0, 1, 0]),
        np.array([[0.0, 64_000.0], [8000.0, 0.0], [0.0, 64_000.0]]),
        np.array([[0, 1], [1, 2]]),
        np.array([4.0, 4.0]),
        minimum_area=10.0,
    )
    assert np.unique(ends).size == 1


def test_patches_that_cannot_be():
    options = {"cell_m": 1.0, "swath_m": 3.0, "minimum_area_m2": 4.0}
    with pytest.raises(
        ValueError, match="2 cells inside the blocks have no desired rate; every one must have one"
    ):
        shape_zones(SquaredLoss(np.array([[1.0, np.nan, np.nan]])), np.zeros((1, 3), int), LEVELS, **options)
    with pytest.raises(ValueError, match=r"desired has shape \(2, 2\) and block_index \(2, 3\)"):
        shape_zones(SquaredLoss(np.zeros((2, 2))), np.zeros((2, 3), int), LEVELS, **options)
    with pytest.raises(ValueError, match="no cell lies inside a block"):
        shape_zones(SquaredLoss(np.full((2, 2), np.nan)), np.full((2, 2), -1), LEVELS, **options)


# --- polygons -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(50))
def test_random_fields_are_covered_exactly(seed):
    rng = np.random.default_rng(seed)
    cell_m = float(rng.choice([2.0, 2.5, 5.0]))
    cells = round(SIDE_M / cell_m)
    grid = Grid(rng.uniform(2e5, 8e5), rng.uniform(1e5, 9e6), cell_m, cells, cells)
    blocks = [affinity.translate(each, grid.west_m, grid.north_m - SIDE_M) for each in random_blocks(rng)]
    block_index = block_raster(blocks, grid)
    desired = np.where(block_index >= 0, smooth_field(rng, grid.shape, rng.uniform(2, 50) / cell_m), np.nan)
    zone_index = shape_zones(
        SquaredLoss(desired), block_index, LEVELS, cell_m=cell_m, swath_m=12, minimum_area_m2=600
    )
    parts = zone_polygons(
        zone_index, block_index, blocks, grid, minimum_area_m2=600, tolerance_m=rng.uniform(0, 3) * cell_m
    )
    check_parts(parts, blocks, 600)


@pytest.mark.parametrize("seed", range(3))
def test_scattered_cells_are_gathered_into_parts_large_enough(seed):
    """Zones that nobody shaped: every cell at random."""
    rng = np.random.default_rng(seed)
    grid = Grid(500_000.0, 4_000_000.0, 5.0, 60, 60)
    blocks = [affinity.translate(each, grid.west_m, grid.north_m - SIDE_M) for each in random_blocks(rng)]
    block_index = block_raster(blocks, grid)
    zone_index = np.where(block_index >= 0, rng.integers(0, 4, grid.shape), -1)
    parts = zone_polygons(zone_index, block_index, blocks, grid, minimum_area_m2=400, tolerance_m=8)
    check_parts(parts, blocks, 400)


def striped(grid, block_index):
    """Zones 0, 1, 2 from west to east, the same in every block."""
    stripe = np.arange(grid.columns) * 3 // grid.columns
    return np.where(block_index >= 0, stripe[None, :], -1)


def test_zone_lines_end_in_the_border_of_the_next_block_too():
    """Where a zone line of one block meets the border, the other block has the vertex as well."""
    grid = Grid(0.0, 60.0, 1.0, 60, 90)
    blocks = [shapely.box(0, 30, 90, 60), shapely.box(0, 0, 90, 30)]
    block_index = block_raster(blocks, grid)
    zone_index = np.where(block_index == 0, striped(grid, block_index), 1)
    parts = zone_polygons(zone_index, block_index, blocks, grid, minimum_area_m2=50, tolerance_m=1)
    assert [(part.block, part.zone) for part in parts] == [(0, 0), (0, 1), (0, 2), (1, 1)]
    assert {(30.0, 30.0), (60.0, 30.0)} <= {tuple(xy) for xy in shapely.get_coordinates(parts[3].geometry)}
    check_parts(parts, blocks, 50)


def test_parts_follow_the_block_and_not_the_cells():
    grid = Grid(0.0, 100.0, 10.0, 10, 10)
    blocks = [shapely.Polygon([(3, 4), (95, 11), (88, 93), (41, 97)])]
    block_index = block_raster(blocks, grid)
    parts = zone_polygons(
        np.where(block_index >= 0, 0, -1), block_index, blocks, grid, minimum_area_m2=500, tolerance_m=15
    )
    assert len(parts) == 1
    assert parts[0].geometry.normalize() == blocks[0].normalize()


def test_block_smaller_than_a_cell_takes_the_nearest_zone():
    grid = Grid(0.0, 100.0, 10.0, 10, 10)
    blocks = [shapely.box(0, 0, 60, 100), shapely.box(71, 51, 73, 52), shapely.Polygon()]
    block_index = block_raster(blocks, grid)
    assert not (block_index == 1).any()
    zone_index = np.where(block_index >= 0, np.arange(10)[None, :] // 3, -1)
    parts = zone_polygons(zone_index, block_index, blocks, grid, minimum_area_m2=500, tolerance_m=15)
    assert [(part.block, part.zone) for part in parts] == [(0, 0), (0, 1), (1, 1)]
    check_parts(parts, blocks[:2], 500)


def test_sliver_at_a_corner_joins_the_part_along_it():
    """A patch large enough in cells, of which the block leaves little."""
    grid = Grid(0.0, 40.0, 1.0, 40, 40)
    blocks = [shapely.Polygon([(0, 0), (40, 0), (40, 40), (20, 40)])]
    block_index = np.where(block_raster([shapely.box(0, 0, 40, 40)], grid) >= 0, 0, -1)
    zone_index = np.zeros(grid.shape, dtype=int)
    zone_index[:20, :13] = 1  # beyond the slanted side but for a splinter
    parts = zone_polygons(zone_index, block_index, blocks, grid, minimum_area_m2=60, tolerance_m=0)
    assert [part.zone for part in parts] == [0]
    check_parts(parts, blocks, 60)


def test_shift_by_whole_cells_changes_nothing():
    rng = np.random.default_rng(12)
    grid = Grid(0.0, SIDE_M, 2.5, 120, 120)
    blocks = random_blocks(rng)
    field = smooth_field(rng, grid.shape, 6)

    def run(down, right):
        shift_m = (-right * grid.cell_m, down * grid.cell_m)
        moved = Grid(shift_m[0], SIDE_M + shift_m[1], 2.5, 120 + down + 3, 120 + right + 7)
        block_index = block_raster(blocks, moved)
        placed = np.full(moved.shape, np.nan)
        placed[down : down + 120, right : right + 120] = field
        desired = np.where(block_index >= 0, placed, np.nan)
        zone_index = shape_zones(
            SquaredLoss(desired), block_index, LEVELS, cell_m=2.5, swath_m=12, minimum_area_m2=600
        )
        return zone_polygons(zone_index, block_index, blocks, moved, minimum_area_m2=600, tolerance_m=5)

    before, after = run(0, 0), run(11, 4)
    assert len(before) > 5
    assert [(part.zone, part.block) for part in before] == [(part.zone, part.block) for part in after]
    for one, other in zip(before, after, strict=True):
        assert one.geometry.symmetric_difference(other.geometry).area < 1e-6


def test_smoothing_moves_no_line_beyond_reason():
    """A slanted border between two zones comes out straight, within the tolerance of where it was."""
    grid = Grid(0.0, 100.0, 1.0, 100, 100)
    blocks = [shapely.box(0, 0, 100, 100)]
    northing, easting = np.meshgrid(grid.northings(), grid.eastings(), indexing="ij")
    zone_index = (northing > 20 + 0.55 * easting).astype(int)
    parts = zone_polygons(
        zone_index, np.zeros(grid.shape, int), blocks, grid, minimum_area_m2=50, tolerance_m=3
    )
    line = shapely.line_merge(shapely.intersection(parts[0].geometry, parts[1].geometry))
    truth = shapely.LineString([(0, 20), (100, 75)])
    assert shapely.hausdorff_distance(line, truth) < 2
    assert shapely.get_num_coordinates(line) < 12  # from about 155 corners of cells
    assert line.length == pytest.approx(truth.length, rel=0.02)  # the staircase is a third longer


def test_overlapping_blocks_do_not_pass_as_a_coverage_of_both():
    """The shared ground goes to the first block: still one coverage of all the ground."""
    grid = Grid(0.0, 100.0, 5.0, 20, 20)
    blocks = [shapely.box(0, 0, 60, 100), shapely.box(50, 0, 100, 100)]
    block_index = block_raster(blocks, grid)
    parts = zone_polygons(
        np.zeros(grid.shape, int), block_index, blocks, grid, minimum_area_m2=100, tolerance_m=5
    )
    assert [(part.block, part.geometry.area) for part in parts] == [(0, 6000.0), (1, 4000.0)]


def test_polygons_that_cannot_be():
    grid = Grid(0.0, 10.0, 1.0, 10, 10)
    square = [shapely.box(0, 0, 10, 10)]
    inside = np.zeros(grid.shape, dtype=int)
    options = {"minimum_area_m2": 1.0, "tolerance_m": 1.0}
    with pytest.raises(
        ValueError, match=r"zone_index has shape \(2, 2\) .* both must have the grid's, \(10, 10\)"
    ):
        zone_polygons(np.zeros((2, 2), int), inside, square, grid, **options)
    with pytest.raises(ValueError, match="no cell has a zone; at least one must"):
        zone_polygons(inside - 1, inside, square, grid, **options)
    with pytest.raises(ValueError, match="every block is empty; at least one must have ground to spread"):
        zone_polygons(inside, inside, [shapely.Polygon()], grid, **options)
    bow_tie = [shapely.Polygon([(0, 0), (10, 10), (10, 0), (0, 10)])]
    with pytest.raises(RuntimeError, match="check that the blocks are valid polygons that do not overlap"):
        zone_polygons(inside, inside, bow_tie, grid, **options)
