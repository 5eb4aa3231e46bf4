"""The invented farm: two plan folders, drawn from a truth that is known everywhere.

Nothing here was measured. The coordinates are those of real farming landscapes, the fields, stands, samples
and weather are made up. Run ``python sample_geo/make_sample_farm.py`` to write the folders again; the seeds
below give the same files every time. Tests import `kettle_bend` and `lower_plot` to ask how well a run recovers
the truth.
"""

from __future__ import annotations

import csv
import json
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pyproj
import rasterio
import shapely
import shapely.ops
from affine import Affine
from numpy.typing import NDArray
from shapely.geometry import LineString, Point, Polygon, mapping

HERE = Path(__file__).parent
LEGUME_N_PCT, RYE_N_PCT, WEED_N_PCT = 3.9, 1.6, 2.0
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Stand:
    """The true stand at some places: dry biomass, and shares of it."""

    biomass_kg_ha: Floats
    legume_share: Floats
    weed_share: Floats

    @property
    def nitrogen_pct(self) -> Floats:
        """%N of the whole stand, mixed by dry weight."""
        rye_share = 1.0 - self.legume_share - self.weed_share
        return LEGUME_N_PCT * self.legume_share + RYE_N_PCT * rye_share + WEED_N_PCT * self.weed_share


@dataclass(frozen=True)
class Farm:
    """A field of the invented farm: outlines of its blocks in local metres, and its true stand there."""

    epsg: int
    origin_m: tuple[float, float]
    turned_deg: float
    blocks: dict[str, Polygon]
    stand: Callable[[Floats, Floats], Stand]

    def to_map(self, xy: Floats) -> Floats:
        """From local metres to easting and northing."""
        turn = np.deg2rad(self.turned_deg)
        rotation = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
        return xy @ rotation.T + self.origin_m

    def stand_at(self, coords_m: Floats) -> Stand:
        """The true stand at eastings and northings, shape (n, 2)."""
        turn = -np.deg2rad(self.turned_deg)
        rotation = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
        x, y = ((coords_m - self.origin_m) @ rotation.T).T
        return self.stand(x, y)

    def lonlat(self, shape: shapely.Geometry) -> shapely.Geometry:
        """A shape in local metres as longitude and latitude, seven decimals."""
        to_degrees = pyproj.Transformer.from_crs(self.epsg, 4326, always_xy=True)
        return shapely.transform(
            shape, lambda xy: np.round(np.column_stack(to_degrees.transform(*self.to_map(xy).T)), 7)
        )


def _texture(seed: int, range_m: float) -> Callable[[Floats, Floats], Floats]:
    """A smooth random field of unit variance, known at every point: a sum of 80 random waves."""
    rng = np.random.default_rng(seed)
    waves = rng.normal(0.0, 1.0 / range_m, (2, 80))
    phases = rng.uniform(0.0, 2 * np.pi, 80)
    return lambda x, y: (
        np.sqrt(2 / 80)
        * np.cos(np.multiply.outer(x, waves[0]) + np.multiply.outer(y, waves[1]) + phases).sum(axis=-1)
    )


def _hill(x: Floats, y: Floats, at: tuple[float, float], reach_m: float) -> Floats:
    return np.exp(-((x - at[0]) ** 2 + (y - at[1]) ** 2) / (2 * reach_m**2))


def _kettle_bend_stand(x: Floats, y: Floats) -> Stand:
    """Vetch and rye: a wet foot in the south-west, a thin knoll in the east, a rye-heavy patch in the north."""
    wet, knoll = _hill(x, y, (55.0, 40.0), 75.0), _hill(x, y, (455.0, 165.0), 75.0)
    rye = np.clip(1.2 * _hill(x, y, (255.0, 215.0), 75.0), 0.0, 1.0)
    biomass = 6300.0 + 500.0 * _texture(11, 70.0)(x, y) - 4700.0 * wet - 4600.0 * knoll + 2200.0 * rye
    weeds = 0.03 + 0.22 * wet
    legume = (1.0 - weeds) * np.clip(0.86 + 0.04 * _texture(12, 90.0)(x, y) - 0.7 * rye, 0.05, 0.97)
    return Stand(np.maximum(biomass, 300.0), legume, weeds)


def _lower_plot_stand(x: Floats, y: Floats) -> Stand:
    """Clover alone, thinner towards the wood in the north."""
    biomass = 4200.0 - 9.0 * np.clip(y - 20.0, 0.0, None) + 350.0 * _texture(21, 60.0)(x, y)
    return Stand(np.maximum(biomass, 300.0), np.full_like(x, 0.98), np.full_like(x, 0.02))


kettle_bend = Farm(
    epsg=32618,
    origin_m=(331_200.0, 4_747_300.0),
    turned_deg=9.0,
    blocks={
        "west": Polygon([(0, 8), (165, 0), (172, 262), (62, 270), (18, 236), (5, 150)]),
        "middle": Polygon([(165, 0), (338, 0), (340, 275), (172, 262)]),
        "east": Polygon([(338, 0), (520, 22), (545, 128), (508, 262), (340, 275)]),
    },
    stand=_kettle_bend_stand,
)
lower_plot = Farm(
    epsg=32632,
    origin_m=(451_800.0, 5_462_100.0),
    turned_deg=-14.0,
    blocks={"plot": Polygon([(0, 0), (232, 6), (224, 141), (104, 152), (-6, 138)])},
    stand=_lower_plot_stand,
)


def sample_places(farm: Farm, number: int, seed: int) -> Floats:
    """Spread over the field as a person would walk: the centres of equal shares of it, each a little off."""
    rng = np.random.default_rng(seed)
    field = shapely.union_all(list(farm.blocks.values())).buffer(-8.0)
    west, south, east, north = field.bounds
    points = rng.uniform((west, south), (east, north), (20_000, 2))
    points = points[shapely.contains_xy(field, points)]
    centres = points[:number].copy()
    for _ in range(40):
        nearest = ((points[:, None, :] - centres) ** 2).sum(axis=2).argmin(axis=1)
        centres = np.array([points[nearest == k].mean(axis=0) for k in range(number)])
    centres = centres + rng.normal(0.0, 7.0, centres.shape)
    inside = [shapely.ops.nearest_points(field, Point(xy))[0] for xy in centres]
    order = np.lexsort((centres[:, 1], np.round(centres[:, 0] / 60.0)))
    return np.array([(inside[k].x, inside[k].y) for k in order])


def write_boundary(farm: Farm, path: Path) -> None:
    """One feature a block."""
    features = [
        {
            "type": "Feature",
            "properties": {"block": name},
            "geometry": mapping(shapely.orient_polygons(farm.lonlat(shape))),
        }
        for name, shape in farm.blocks.items()
    ]
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}, indent=1) + "\n")


def write_csv(path: Path, rows: list[dict[str, object]]) -> None:
    """Rows under their keys."""
    with path.open("w", newline="", encoding="utf-8") as file:
        table = csv.DictWriter(file, list(rows[0]), lineterminator="\n")
        table.writeheader()
        table.writerows(rows)


def clippings_us(farm: Farm, number: int, seed: int) -> list[dict[str, object]]:
    """Two 2 x 2 ft frames a sample, weighed fresh in pounds, a subsample dried; %N and shares by the laboratory."""
    rng = np.random.default_rng(seed)
    xy = sample_places(farm, number, seed)
    stand = farm.stand_at(farm.to_map(xy))
    rows: list[dict[str, object]] = []
    for k, point in enumerate(farm.lonlat(shapely.points(xy))):
        frame_ft2, moisture_share = 8.0, rng.normal(0.165, 0.012)
        dry_g = stand.biomass_kg_ha[k] / 10.0 * frame_ft2 * 0.09290304 * np.exp(rng.normal(0.0, 0.11))
        fresh_g = dry_g / moisture_share
        part_g = min(450.0, round(0.6 * fresh_g))
        legume, weed = (
            stand.legume_share[k] + rng.normal(0.0, 0.03),
            stand.weed_share[k] * np.exp(rng.normal(0.0, 0.2)),
        )
        weed_pct = round(100 * weed)
        rows.append(
            {
                "sample": f"K{k + 1:02d}",
                "longitude": f"{point.x:.6f}",
                "latitude": f"{point.y:.6f}",
                "frame_ft2": f"{frame_ft2:g}",
                "fresh_lb": f"{fresh_g / 453.59237:.2f}",
                "subsample_fresh_g": f"{part_g:.0f}",
                "subsample_dry_g": f"{part_g * moisture_share:.1f}",
                "legume_pct": round(100 * min(max(legume, 0.02), 1.0 - weed_pct / 100)),
                "weed_pct": weed_pct,
                "nitrogen_pct": f"{stand.nitrogen_pct[k] + rng.normal(0.0, 0.08):.2f}",
                "note": "",
            }
        )
    return rows


def clippings_metric(farm: Farm, number: int, seed: int) -> list[dict[str, object]]:
    """Half-square-metre frames, all of it dried."""
    rng = np.random.default_rng(seed)
    xy = sample_places(farm, number, seed)
    biomass = farm.stand_at(farm.to_map(xy)).biomass_kg_ha * np.exp(rng.normal(0.0, 0.11, number))
    return [
        {
            "sample": f"L{k + 1:02d}",
            "longitude": f"{point.x:.6f}",
            "latitude": f"{point.y:.6f}",
            "frame_m2": "0.5",
            "dry_g": f"{biomass[k] / 10.0 * 0.5:.1f}",
        }
        for k, point in enumerate(farm.lonlat(shapely.points(xy)))
    ]


def write_index(farm: Farm, path: Path, seed: int) -> None:
    """A greenness index at 5 m: saturates in dense stands, and takes rye and weeds for legume."""
    rng = np.random.default_rng(seed)
    corners = farm.to_map(np.vstack([np.array(shape.exterior.coords) for shape in farm.blocks.values()]))
    west, south = np.floor(corners.min(axis=0) / 5.0) * 5.0 - 20.0
    east, north = np.ceil(corners.max(axis=0) / 5.0) * 5.0 + 20.0
    eastings, northings = np.arange(west + 2.5, east, 5.0), np.arange(north - 2.5, south, -5.0)
    cells = np.stack(np.meshgrid(eastings, northings), axis=-1).reshape(-1, 2)
    biomass = farm.stand_at(cells).biomass_kg_ha
    index = 0.30 + 0.58 * (1.0 - np.exp(-biomass / 3200.0)) + rng.normal(0.0, 0.018, len(biomass))
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        height=len(northings),
        width=len(eastings),
        count=1,
        dtype="uint8",
        crs=rasterio.CRS.from_epsg(farm.epsg),
        transform=Affine(5.0, 0.0, west, 0.0, -5.0, north),
        compress="deflate",
        nodata=0,
    ) as tif:
        tif.write(np.clip(np.round(index * 250.0), 1, 255).astype(np.uint8).reshape(len(northings), -1), 1)
        tif.set_band_description(1, "greenness index x 250, invented")


def weather(seed: int, first: date, days: int, mean_c: float, amplitude_c: float) -> list[dict[str, object]]:
    """Invented daily weather: a yearly wave, slow noise, showers."""
    rng = np.random.default_rng(seed)
    slow = 0.0
    rows: list[dict[str, object]] = []
    for k in range(days):
        day = first + timedelta(days=k)
        slow = 0.75 * slow + rng.normal(0.0, 2.0)
        middle = mean_c - amplitude_c * np.cos(2 * np.pi * (day.timetuple().tm_yday - 20) / 365.25) + slow
        swing = rng.uniform(4.0, 7.5)
        rain = rng.gamma(0.8, 9.0) if rng.random() < 0.32 else 0.0
        rows.append(
            {
                "date": day.isoformat(),
                "tmin_c": f"{middle - swing:.1f}",
                "tmax_c": f"{middle + swing:.1f}",
                "rain_mm": f"{rain:.1f}",
            }
        )
    return rows


def main() -> None:
    """Write both plan folders; plan.toml is written by hand and stays as it is."""
    north = HERE / "kettle-bend"
    north.mkdir(exist_ok=True)
    write_boundary(kettle_bend, north / "boundary.geojson")
    no_spread = [
        (Point(118.0, 205.0), {"what": "well", "setback_m": 30.0}),
        (LineString([(4.0, 90.0), (40.0, 40.0), (70.0, 2.0)]), {"what": "ditch", "setback_m": 6.0}),
    ]
    features = [
        {"type": "Feature", "properties": properties, "geometry": mapping(kettle_bend.lonlat(shape))}
        for shape, properties in no_spread
    ]
    (north / "no_spread.geojson").write_text(
        json.dumps({"type": "FeatureCollection", "features": features}, indent=1) + "\n"
    )
    rows = clippings_us(kettle_bend, 36, seed=31)
    write_csv(north / "samples.csv", rows)
    write_index(kettle_bend, north / "index.tif", seed=32)
    write_csv(north / "weather.csv", weather(33, date(2026, 3, 1), 245, 9.0, 13.5))

    plot = HERE / "lower-plot"
    plot.mkdir(exist_ok=True)
    write_boundary(lower_plot, plot / "boundary.geojson")
    write_csv(plot / "samples.csv", clippings_metric(lower_plot, 12, seed=41))


if __name__ == "__main__":
    main()
