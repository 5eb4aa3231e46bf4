"""Invented plan folders, as many as wanted: 10 to 40 ha, 20 to 40 samples; nothing here was measured.

A field's number is its seed, so that any part of a batch can be made again. The region is a made-up one: a
lattice of fields, each turned and shaped at random, whose corner lies on real ground only because it must lie
somewhere. One field in three has a covariate raster, one in three a no-spread area, all have a mean year.

Run ``python tests/support/invented_fields.py FOLDER NUMBER [--broken 3]``.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path

import numpy as np
import pyproj
import rasterio
import shapely
from affine import Affine

EPSG = 32633
WEST_M, SOUTH_M, SPACING_M, FIELDS_A_ROW = 400_000.0, 5_400_000.0, 1_000.0, 25
TO_DEGREES = pyproj.Transformer.from_crs(EPSG, 4326, always_xy=True)
COVERS = (("hairy vetch", "bud"), ("crimson clover", "early bloom"), ("field pea", "full bloom"))
CROPS = (
    ("sweet corn", "2026-05-24", "2026-08-14", 190),
    ("cabbage", "2026-06-03", "2026-09-28", 210),
    ("broccoli", "2026-06-10", "2026-09-05", 200),
)
PRODUCTS = ("urea", "calcium ammonium nitrate", "ammonium sulfate")
FARMS = ("Alder Flat", "Brook End", "Cold Hollow", "Dry Hill", "Elm Corner")

PLAN = """\
# An invented field.
name = "{farm}, field {number}"
units = "{units}"
farm = "{farm}"

[field]
boundary = "boundary.geojson"
{no_spread}{cell}
[samples]
file = "samples.csv"
{covariate}
[cover_crop]
species = "{cover}"
stage = "{stage}"
terminated = 2026-05-10
placement = "incorporated"

[crop]
name = "{crop}"
planted = {planted}
harvested = {harvested}
need = "{need} kg/ha"

[weather]
mean = "10 degC"
amplitude = "12 delta_degC"
coldest = 2026-01-20
irrigated = true

[spreader]
product = "{product}"
swath = "{swath} m"
rate_step = "10 kg/ha"
rate_min = "40 kg/ha"
rate_max = "900 kg/ha"
zones_max = {zones_max}
zone_min = "0.4 ha"
hopper = "2500 kg"
"""


def outline(rng: np.random.Generator, area_ha: float) -> shapely.Polygon:
    """A field of four to six corners about the origin, metres."""
    corners = int(rng.integers(4, 7))
    angle = (np.arange(corners) + rng.uniform(-0.2, 0.2, corners)) * 2 * np.pi / corners
    reach = rng.uniform(0.85, 1.15, corners)
    xy = np.column_stack([1.25 * reach * np.cos(angle), 0.8 * reach * np.sin(angle)])
    turn = rng.uniform(0, np.pi)
    turned = xy @ np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    shape = shapely.Polygon(turned)
    factor = (area_ha * 10_000 / shape.area) ** 0.5
    return shapely.Polygon(turned * factor)


def stand(rng: np.random.Generator, range_m: float):
    """Dry biomass at places, kg/ha: a mean, forty waves, a thin patch."""
    waves, phases = rng.normal(0.0, 1.0 / range_m, (2, 40)), rng.uniform(0.0, 2 * np.pi, 40)
    mean, sd = rng.uniform(3500, 5500), rng.uniform(500, 1500)
    thin = rng.uniform(-200, 200, 2)

    def biomass_kg_ha(xy):
        texture = np.cos(xy @ waves + phases).sum(axis=1) * (2 / 40) ** 0.5
        patch = np.exp(-((xy - thin) ** 2).sum(axis=1) / (2 * 90.0**2))
        return np.maximum(mean + sd * texture - 2500 * patch, 300.0)

    return biomass_kg_ha


def lonlat(xy_m):
    return np.round(np.column_stack(TO_DEGREES.transform(*np.asarray(xy_m).T)), 7)


def polygon_json(ring_m, **properties):
    ring = lonlat(shapely.get_coordinates(shapely.orient_polygons(ring_m)))
    return {
        "type": "Feature",
        "properties": properties,
        "geometry": {"type": "Polygon", "coordinates": [ring.tolist()]},
    }


def write_json(path, *features):
    path.write_text(json.dumps({"type": "FeatureCollection", "features": list(features)}))


def write_field(
    folder: Path,
    number: int,
    *,
    area_ha: float | None = None,
    samples: int | None = None,
    cell_m: float | None = None,
    zones_max: int = 4,
    extras: bool = True,
) -> None:
    """Write one plan folder; `extras` are the covariate and the no-spread area that some fields have."""
    rng = np.random.default_rng(number)
    folder.mkdir(parents=True)
    area_ha = area_ha or float(rng.uniform(10, 40))
    samples = samples or int(rng.integers(20, 41))
    corner = np.array([WEST_M, SOUTH_M]) + SPACING_M * np.array(divmod(number, FIELDS_A_ROW)[::-1])
    local = outline(rng, area_ha)
    biomass_kg_ha = stand(rng, float(rng.uniform(50, 110)))
    field = shapely.transform(local, lambda xy: xy + corner)
    write_json(folder / "boundary.geojson", polygon_json(field, block="whole"))

    inner = local.buffer(-10.0)
    low, high = np.split(np.array(inner.bounds), 2)
    places = rng.uniform(low, high, (60 * samples, 2))
    places = places[shapely.contains_xy(inner, *places.T)][: 12 * samples]
    kept = [0]
    distance = np.linalg.norm(places - places[0], axis=1)
    while len(kept) < samples:  # each the farthest of the candidates from those before: spread out as walked
        kept.append(int(distance.argmax()))
        distance = np.minimum(distance, np.linalg.norm(places - places[kept[-1]], axis=1))
    xy = places[kept]
    dry = biomass_kg_ha(xy) * np.exp(rng.normal(0.0, 0.12, samples))
    degrees, pct = lonlat(xy + corner), rng.normal(3.4, 0.2, samples)
    lines = ["sample,longitude,latitude,dry_kg_ha,nitrogen_pct"]
    lines += [
        f"S{k + 1:02d},{degrees[k, 0]:.7f},{degrees[k, 1]:.7f},{dry[k]:.0f},{pct[k]:.2f}"
        for k in range(samples)
    ]
    (folder / "samples.csv").write_text("\n".join(lines) + "\n")

    with_covariate, with_ditch = extras and number % 3 == 1, extras and number % 3 == 2
    if with_covariate:
        write_index(folder / "index.tif", local, corner, biomass_kg_ha, rng)
    if with_ditch:
        west, south, east, north = local.bounds
        ends = lonlat(np.array([(west, south / 3), (east, north / 4)]) + corner)
        ditch = {"type": "LineString", "coordinates": ends.tolist()}
        properties = {"what": "ditch", "setback_m": 5.0}
        write_json(
            folder / "no_spread.geojson",
            {"type": "Feature", "properties": properties, "geometry": ditch},
        )
    (cover, stage), (crop, planted, harvested, need) = COVERS[number % 3], CROPS[number // 3 % 3]
    text = PLAN.format(
        farm=FARMS[number % len(FARMS)],
        number=number,
        units="us" if number % 4 == 0 else "metric",
        no_spread='no_spread = "no_spread.geojson"\n' if with_ditch else "",
        cell=f'cell = "{cell_m:g} m"\n' if cell_m else "",
        covariate='covariate = "index.tif"\n' if with_covariate else "",
        cover=cover,
        stage=stage,
        crop=crop,
        planted=planted,
        harvested=harvested,
        need=need,
        product=PRODUCTS[number // 5 % len(PRODUCTS)],
        swath=(18, 24, 27)[number % 3],
        zones_max=zones_max,
    )
    (folder / "plan.toml").write_text(text)


def write_index(path, local, corner, biomass_kg_ha, rng, *, pixel_m=10.0):
    """An invented greenness index that saturates in dense stands."""
    low, high = np.split(np.array(local.bounds), 2)
    columns, rows = np.ceil((high - low) / pixel_m).astype(int) + 4
    west, north = low[0] - 2 * pixel_m, high[1] + 2 * pixel_m
    east_of = west + (np.arange(columns) + 0.5) * pixel_m
    north_of = north - (np.arange(rows) + 0.5) * pixel_m
    cells = np.stack(np.meshgrid(east_of, north_of), axis=-1).reshape(-1, 2)
    index = 0.3 + 0.58 * (1 - np.exp(-biomass_kg_ha(cells) / 3200)) + rng.normal(0, 0.03, len(cells))
    profile = {
        "driver": "GTiff",
        "height": rows,
        "width": columns,
        "count": 1,
        "dtype": "float32",
        "crs": rasterio.CRS.from_epsg(EPSG),
        "transform": Affine(pixel_m, 0, corner[0] + west, 0, -pixel_m, corner[1] + north),
    }
    with rasterio.open(path, "w", **profile) as tif:
        tif.write(index.reshape(rows, columns).astype(np.float32), 1)


def break_field(folder: Path, kind: int) -> None:
    """Spoil a plan folder as people do: a letter among the weights, a file left out, a key misspelt."""
    if kind % 3 == 0:
        samples = folder / "samples.csv"
        lines = samples.read_text().splitlines()
        cells = lines[4].split(",")
        lines[4] = ",".join([*cells[:3], "heavy", cells[4]])
        samples.write_text("\n".join(lines) + "\n")
    elif kind % 3 == 1:
        (folder / "boundary.geojson").unlink()
    else:
        plan = folder / "plan.toml"
        plan.write_text(plan.read_text().replace("rate_step =", "rate_stp ="))


def write_fields(folder: Path, number: int, *, broken: int = 0, first: int = 1, **options) -> list[Path]:
    """Write `number` plan folders, `broken` of them spoilt, evenly among the others."""
    folders = [folder / f"field-{k:05d}" for k in range(first, first + number)]
    for k, one in enumerate(folders, start=first):
        write_field(one, k, **options)
    for kind in range(broken):
        break_field(folders[(2 * kind + 1) * number // (2 * broken)], kind)
    return folders


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description="Write invented plan folders.")
    parser.add_argument("folder", type=Path)
    parser.add_argument("number", type=int)
    parser.add_argument("--broken", type=int, default=0)
    told = parser.parse_args()
    write_fields(told.folder, told.number, broken=told.broken)
