"""Polygons of the zones: together they cover every block exactly, with neither gap nor overlap."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely
from rasterio import features
from scipy import ndimage
from scipy.spatial import cKDTree

from fieldmap.zones.patches import merge_small_patches, sum_by_pair

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray
    from shapely import MultiPolygon, Polygon
    from shapely.geometry.base import BaseGeometry

    from fieldmap.field import Grid

    Floats = NDArray[np.float64]
    Geometries = NDArray[np.object_]
    Ints = NDArray[np.int64]


_SNAP_M = 1e-9  # lines are noded on a lattice this fine, about the rounding of projected coordinates
_OVERSHOOT_M = 1e-3  # zone lines end this far past the block's line, so that they surely cross it
_AREA_TOLERANCE = 1e-6  # share of the blocks' area that may be lost to the lattice


@dataclass(frozen=True)
class ZonePart:
    """One polygon of a zone, inside one block.

    Parameters
    ----------
    zone
        Position of its rate among the levels.
    block
        Number of its block.
    geometry
        Outline, projected metres.
    """

    zone: int
    block: int
    geometry: Polygon


def zone_polygons(
    zone_index: NDArray[np.integer],
    block_index: NDArray[np.integer],
    blocks: Sequence[Polygon | MultiPolygon],
    grid: Grid,
    *,
    minimum_area_m2: float,
    tolerance_m: float,
) -> tuple[ZonePart, ...]:
    """Outline the zones: smooth lines inside the blocks, the blocks' own lines around them.

    Zones are carried on beyond the block by the nearest cell, outlined, and simplified together
    (Visvalingam & Whyatt 1993, Cartogr. J. 30:46-51, on shared edges). Their lines are cut at the block and
    noded with the lines of all blocks at once; the faces in between are put together by zone.

    Parameters
    ----------
    zone_index
        Level number of each cell, -1 outside the blocks, shape (rows, columns).
    block_index
        Block number of each cell, -1 outside, shape (rows, columns).
    blocks
        The ground to spread, projected metres; position is the block number. They must not overlap. An empty
        one has no parts; one without a cell of its own takes the zone of the nearest cell.
    grid
        Grid of the two rasters.
    minimum_area_m2
        Least area of a part, m². A smaller one remains only where the block's own piece is smaller.
    tolerance_m
        Size of the bends that are straightened, metres: the square root of the triangle a vertex makes with
        the next ones. Below about 3 cells the staircase of cells still shows.

    Returns
    -------
    tuple of ZonePart
        By block, then zone, then falling area. They are a valid coverage: neighbours share their vertices,
        across blocks too.

    Raises
    ------
    ValueError
        If a raster does not fit the grid, or no cell has a zone.
    RuntimeError
        If the parts do not cover the blocks exactly.
    """
    if not zone_index.shape == block_index.shape == grid.shape:
        raise ValueError(
            f"zone_index has shape {zone_index.shape} and block_index {block_index.shape}; "
            f"both must have the grid's, {grid.shape}"
        )
    if not (zone_index >= 0).any():
        raise ValueError("no cell has a zone; at least one must")
    corner = np.array([grid.west_m, grid.north_m])
    local = [
        shapely.transform(block, lambda xy: xy - corner) for block in blocks
    ]  # small numbers, more digits
    carried = {
        number: _carried_zones(zone_index, block_index, number, block, grid.cell_m, tolerance_m)
        for number, block in enumerate(local)
        if not block.is_empty
    }
    if not carried:
        raise ValueError("every block is empty; at least one must have ground to spread")
    parts, zone, block = _without_splinters(*_dissolved(*_faces(local, carried)), minimum_area_m2)
    placed = _placed(parts, local, blocks, corner)
    _check(placed, blocks)
    order = np.lexsort((-shapely.area(placed), zone, block))
    return tuple(ZonePart(int(zone[each]), int(block[each]), placed[each]) for each in order)


def cut_out(
    parts: Sequence[ZonePart], cutters: Sequence[Polygon], blocks: Sequence[Polygon | MultiPolygon]
) -> tuple[tuple[ZonePart, ...], tuple[Polygon, ...]]:
    """Cut polygons out of zones, so that both together cover the blocks as the zones did.

    Parameters
    ----------
    parts
        From `zone_polygons`.
    cutters
        What is cut out: inside the blocks, none over another.
    blocks
        As for `zone_polygons`; their vertices stay as they are.

    Returns
    -------
    parts, cut
        What is left of the zones, by block, then zone, then falling area, and the cutters with the vertices
        they now share with them.
    """
    shapes = [part.geometry for part in parts]
    corner = np.floor(shapely.total_bounds(shapes)[[0, 3]])
    local, local_blocks, local_cutters = (
        [shapely.transform(shape, lambda xy: xy - corner) for shape in group]
        for group in (shapes, blocks, cutters)
    )
    noded = shapely.union_all(shapely.boundary([*local, *local_cutters]), grid_size=_SNAP_M)
    faces = shapely.get_parts(shapely.polygonize(shapely.get_parts(noded)))
    inside = shapely.point_on_surface(faces)
    owner = np.full(faces.size, -1)
    for first, group in ((0, local), (len(local), local_cutters)):  # a cutter's claim is the stronger
        face, shape = shapely.STRtree(group).query(inside, predicate="intersects")
        owner[face] = shape + first
    numbers = [number for number in range(len(local) + len(local_cutters)) if (owner == number).any()]
    whole = [shapely.coverage_union_all(faces[owner == number]) for number in numbers]
    pieces, which = shapely.get_parts(whole, return_index=True)
    placed = _placed(pieces, local_blocks, blocks, corner)
    _check(placed, blocks)
    owner = np.array(numbers)[which]
    zone, block = (np.array([getattr(part, name) for part in parts]) for name in ("zone", "block"))
    own = np.flatnonzero(owner < len(parts))
    order = own[np.lexsort((-shapely.area(placed[own]), zone[owner[own]], block[owner[own]]))]
    left = tuple(ZonePart(int(zone[owner[k]]), int(block[owner[k]]), placed[k]) for k in order)
    cut = tuple(placed[np.flatnonzero(owner == len(parts) + k)[0]] for k in range(len(cutters)))
    return left, cut


def _carried_zones(
    zone_index: NDArray[np.integer],
    block_index: NDArray[np.integer],
    number: int,
    block: BaseGeometry,
    cell_m: float,
    tolerance_m: float,
) -> tuple[Geometries, Ints]:
    """Zones of one block carried on past its line, as a simplified coverage, and the zone of each polygon.

    Coordinates here and in `block` are metres from the grid's north-west corner.
    """
    west, south, east, north = shapely.bounds(block) / cell_m
    top, bottom = int(np.floor(-north)) - 1, int(np.ceil(-south)) + 1  # a cell more on every side
    left, right = int(np.floor(west)) - 1, int(np.ceil(east)) + 1
    zone = np.full((bottom - top, right - left), -1, dtype=np.int32)
    rows = slice(max(top, 0), max(bottom, 0))
    columns = slice(max(left, 0), max(right, 0))
    own = np.where(block_index[rows, columns] == number, zone_index[rows, columns], -1)
    zone[rows.start - top :, columns.start - left :][: own.shape[0], : own.shape[1]] = own
    if (zone >= 0).any():
        nearest = ndimage.distance_transform_edt(zone < 0, return_distances=False, return_indices=True)
        zone = zone[tuple(nearest)]
    else:
        zone[:] = _zone_nearest(zone_index, ((top + bottom - 1) / 2, (left + right - 1) / 2))

    outlines, values = zip(*features.shapes(zone, connectivity=4), strict=True)
    # rasterio leaves out the vertices in the middle of straight runs, and with them the corners of neighbours
    cells = shapely.segmentize([shapely.geometry.shape(outline) for outline in outlines], 1.0)
    smooth = shapely.coverage_simplify(cells, tolerance_m / cell_m, simplify_boundary=False)
    corner, scale = np.array([left, top]), np.array([cell_m, -cell_m])
    return shapely.transform(smooth, lambda xy: (xy + corner) * scale), np.array(values, dtype=np.int64)


def _zone_nearest(zone_index: NDArray[np.integer], place: tuple[float, float]) -> int:
    """Zone of the cell nearest to a row and column."""
    cells = np.argwhere(zone_index >= 0)
    row, column = cells[((cells - place) ** 2).sum(axis=1).argmin()]
    return int(zone_index[row, column])


def _faces(
    blocks: Sequence[BaseGeometry], carried: Mapping[int, tuple[Geometries, Ints]]
) -> tuple[Geometries, Ints, Ints]:
    """Faces between all the lines, of zones and of blocks, that lie in a block; their zones and blocks."""
    lines = [shapely.boundary(block) for block in blocks]
    for number, (outlines, _) in carried.items():
        zone_lines = shapely.union_all(shapely.boundary(outlines))
        reach = shapely.buffer(blocks[number], _OVERSHOOT_M, join_style="mitre")
        lines.append(shapely.intersection(zone_lines, reach))
    noded = shapely.union_all(lines, grid_size=_SNAP_M)
    faces = shapely.get_parts(shapely.polygonize(shapely.get_parts(noded)))
    inside = shapely.point_on_surface(faces)
    found = shapely.STRtree(blocks).query(inside, predicate="intersects")
    face, block = found[:, np.lexsort(found[::-1])]
    face, once = np.unique(face, return_index=True)  # ground in two blocks goes to the first
    block = block[once]
    zone = np.empty(face.size, dtype=np.int64)
    for number, (outlines, outline_zone) in carried.items():
        here = block == number
        zone[here] = outline_zone[shapely.STRtree(outlines).nearest(inside[face[here]])]
    return faces[face], zone, block


def _dissolved(faces: Geometries, zone: Ints, block: Ints) -> tuple[Geometries, Ints, Ints]:
    """Faces of one zone and block put together; single polygons, their zones and blocks."""
    kinds, kind = np.unique(np.column_stack([zone, block]), axis=0, return_inverse=True)
    kind = kind.ravel()
    whole = np.array([shapely.coverage_union_all(faces[kind == each]) for each in range(len(kinds))])
    parts, which = shapely.get_parts(whole, return_index=True)
    return parts, kinds[which, 0], kinds[which, 1]


def _without_splinters(
    parts: Geometries, zone: Ints, block: Ints, minimum_area_m2: float
) -> tuple[Geometries, Ints, Ints]:
    """Parts, their zones and blocks, once those too small have joined the one with the longest shared border."""
    pairs, border_m = _shared_borders(parts)
    same_block = block[pairs[:, 0]] == block[pairs[:, 1]]
    end = merge_small_patches(
        shapely.area(parts),
        zone,
        np.zeros((zone.size, zone.max() + 1)),  # no losses here: joining any zone adds the same
        pairs[same_block],
        border_m[same_block],
        minimum_area=minimum_area_m2,
    )
    kept, which = np.unique(end, return_inverse=True)
    joined = np.array([shapely.coverage_union_all(parts[which == each]) for each in range(kept.size)])
    return joined, zone[kept], block[kept]


def _shared_borders(parts: Geometries) -> tuple[Ints, Floats]:
    """Pairs of parts that share a line, vertex by vertex, shape (pairs, 2), and its length, metres."""
    rings, part = shapely.get_rings(parts, return_index=True)
    xy, ring = shapely.get_coordinates(rings, return_index=True)
    vertex = np.unique(xy[:, 0] + 1j * xy[:, 1], return_inverse=True)[1]
    start = np.flatnonzero(ring[:-1] == ring[1:])
    side = np.sort(np.column_stack([vertex[start], vertex[start + 1]]), axis=1)
    order = np.lexsort(side.T)
    side, start = side[order], start[order]
    twice = np.flatnonzero((side[:-1] == side[1:]).all(axis=1))
    one, other = start[twice], start[twice + 1]
    length_m = np.hypot(*(xy[one + 1] - xy[one]).T)
    return sum_by_pair(np.column_stack([part[ring[one]], part[ring[other]]]), length_m)


def _placed(
    parts: Geometries, local: Sequence[BaseGeometry], blocks: Sequence[BaseGeometry], corner: Floats
) -> Geometries:
    """Parts back in the projected system, with the blocks' own vertices as they were given."""
    given = shapely.get_coordinates(blocks)
    lattice = cKDTree(shapely.get_coordinates(local))

    def place(xy: Floats) -> Floats:
        distance, nearest = lattice.query(xy)
        as_given = (np.asarray(distance) <= 2 * _SNAP_M)[:, None]
        return np.where(as_given, given[nearest], xy + corner)

    return shapely.transform(parts, place)


def _check(parts: Geometries, blocks: Sequence[BaseGeometry]) -> None:
    """Make sure of what is promised."""
    ground_m2 = shapely.area(shapely.union_all(blocks))
    covered_m2 = shapely.area(parts).sum()
    if (
        not shapely.is_valid(parts).all()
        or not shapely.coverage_is_valid(parts)
        or abs(covered_m2 - ground_m2) > _AREA_TOLERANCE * ground_m2
    ):
        raise RuntimeError(
            f"the zones cover {covered_m2:.3f} m² of {ground_m2:.3f} m², or overlap; "
            "check that the blocks are valid polygons that do not overlap"
        )
