"""Fields to draw zones on, and what is promised of zones, checked the long way."""

import numpy as np
import pytest
import shapely
from rasterio import features
from scipy import ndimage


def smooth_field(rng, shape, reach_cells):
    """Desired rate about 150 kg/ha, correlated over so many cells."""
    noise = ndimage.gaussian_filter(rng.standard_normal(shape), reach_cells)
    return np.clip(150 + 50 * noise / noise.std(), 0, None)


def patches_too_small(zone_index, block_index, minimum_cells):
    """Patches below the minimum that are not the whole of their piece of the block."""
    small = []
    for block in range(block_index.max() + 1):
        pieces = ndimage.label(block_index == block)[0]
        for zone in np.unique(zone_index[block_index == block]):
            labels, count = ndimage.label((zone_index == zone) & (block_index == block))
            for each in range(1, count + 1):
                patch = labels == each
                piece = pieces == pieces[patch][0]
                if patch.sum() < min(minimum_cells, piece.sum()):
                    small.append((block, zone, int(patch.sum())))
    return small


LEVELS = np.array([90.0, 120.0, 150.0, 180.0, 220.0])


SIDE_M = 300.0


def random_blocks(rng):
    """Up to three blocks cut from one outline with holes, a notch that leaves a neck, and slanted divisions."""
    corners = int(rng.integers(8, 30))
    angle = np.sort(rng.uniform(0, 2 * np.pi, corners))
    radius = rng.uniform(0.5, 0.98, corners) * SIDE_M / 2
    ring = SIDE_M / 2 + np.column_stack([radius * np.cos(angle), radius * np.sin(angle)])
    outline = max(shapely.get_parts(shapely.make_valid(shapely.Polygon(ring))), key=shapely.area)
    for _ in range(rng.integers(0, 3)):
        outline -= shapely.Point(rng.uniform(40, 260, 2)).buffer(rng.uniform(2, 25), quad_segs=3)
    outline -= shapely.box(x := rng.uniform(80, 200), 0, x + rng.uniform(5, 25), rng.uniform(60, 230))
    divisions = [shapely.LineString(rng.uniform(-30, 330, (2, 2))) for _ in range(rng.integers(0, 4))]
    lines = shapely.get_parts(shapely.union_all([shapely.boundary(outline), *divisions]))
    pieces = [
        piece
        for piece in shapely.get_parts(shapely.polygonize(lines))
        if shapely.contains(outline, shapely.point_on_surface(piece))
    ]
    block = rng.integers(0, 3, len(pieces))
    blocks = [shapely.union_all([p for p, b in zip(pieces, block, strict=True) if b == n]) for n in range(3)]
    return [each for each in blocks if not each.is_empty]


def block_raster(blocks, grid):
    numbered = [(block, number) for number, block in enumerate(blocks) if not block.is_empty]
    return features.rasterize(
        numbered, out_shape=grid.shape, transform=grid.transform, fill=-1, dtype="int16"
    )


def check_parts(parts, blocks, minimum_area_m2):
    """Everything that is promised of the polygons, checked the long way."""
    geometries = [part.geometry for part in parts]
    assert all(geometry.geom_type == "Polygon" and geometry.is_valid for geometry in geometries)
    assert shapely.coverage_is_valid(geometries)
    for number, block in enumerate(blocks):
        own = [part.geometry for part in parts if part.block == number]
        assert sum(geometry.area for geometry in own) == pytest.approx(block.area, rel=1e-6)
        assert (
            shapely.symmetric_difference(shapely.union_all(own), block).area < 1e-6
        )  # m²: no gap, no overlap
        pieces = shapely.get_parts(block)
        for geometry in own:
            piece = pieces[shapely.contains(pieces, shapely.point_on_surface(geometry))][0]
            assert geometry.area >= min(minimum_area_m2, piece.area) - 1e-6
        given = {tuple(xy) for xy in shapely.get_coordinates(block)}
        assert given <= {
            tuple(xy) for xy in shapely.get_coordinates(own)
        }  # the block's own corners, to the digit
