"""Water on its way through the soil: what the ground uses, what drains, and the nitrate that goes with it.

Nitrate moves through layers of at most 30 cm down to the crop's rooting depth. Drainage mixes each layer and carries
its share into the next; what leaves the last one is lost.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from fieldmap import agronomy
from fieldmap.season.soil import MM_PER_M, SOIL, reference_et_mm
from fieldmap.season.uptake import share_by_day

if TYPE_CHECKING:
    import datetime as dt
    from typing import Literal

    from numpy.typing import NDArray

    from fieldmap.agronomy import CropEntry
    from fieldmap.season.soil import SoilModel

    Floats = NDArray[np.float64]


@dataclass(frozen=True)
class WaterModel:
    """The figures of water and nitrate; `fieldmap/agronomy/season.toml` says what each means."""

    efficiency_drip: float
    efficiency_sprinkler: float
    efficiency_furrow: float
    mulched_evaporation: float

    def efficiency(self, irrigated_by: Literal["drip", "sprinkler", "furrow"] | None) -> float:
        """Share of the irrigation water that is used; a sprinkler's where the system is not told."""
        return {"drip": self.efficiency_drip, "furrow": self.efficiency_furrow}.get(
            irrigated_by or "", self.efficiency_sprinkler
        )


WATER = WaterModel(**agronomy.values_of("water"))


@dataclass(frozen=True)
class RootZone:
    """The layers that nitrate drains through before it is out of reach.

    `layers` of equal thickness, each holding `water_mm` at field capacity; `bypass_sd` the standard error of the
    share that drains, for cracks; `denitrified` and `denitrified_sd` the share lost as gas with its error; `sources`
    of all of it.
    """

    layers: int
    water_mm: float
    bypass_sd: float = 0.0
    denitrified: float = 0.0
    denitrified_sd: float = 0.0
    sources: tuple[str, ...] = ("saxton2006_memory", "scotter1993")


def root_zone(crop: str, *, soil: SoilModel = SOIL, drainage: str | None = None) -> RootZone:
    """The root zone of a crop in a soil.

    Not for a plough pan or a water table, which end the roots sooner.

    Parameters
    ----------
    crop
        Name of the vegetable.
    soil
        Its field capacity, and the greatest thickness of a layer.
    drainage
        A drainage class of `agronomy.ground().drainage`; None, and nothing is lost as gas.

    Returns
    -------
    RootZone
        As many equal layers as it takes for none to be thicker than 30 cm.

    References
    ----------
    Rooting depths: RB209 (rb209_roots), DüV (duv_depth), from memory (roots_memory). Lost as gas: after Meisinger &
    Randall 1991, from memory (meisinger1991_memory); the middle of the range, and a quarter of it as standard error.

    Examples
    --------
    Cabbage roots to 90 cm, three layers of 30 cm that hold 84 mm each in a loam; lettuce to 45 cm, two of 63 mm.

    >>> for crop in ("cabbage", "lettuce"):
    ...     roots = root_zone(crop)
    ...     print(roots.layers, round(roots.water_mm, 6))
    3 84.0
    2 63.0
    """
    ground = agronomy.ground()
    roots = ground.roots_of(crop)
    layers = math.ceil(roots.depth_m / soil.water_depth_m - 1e-9)
    low, high = ground.drainage[drainage].denitrified if drainage else (0.0, 0.0)
    return RootZone(
        layers=layers,
        water_mm=soil.field_capacity * roots.depth_m / layers * MM_PER_M,
        bypass_sd=soil.bypass_sd,
        denitrified=(low + high) / 2.0,
        denitrified_sd=(high - low) / 4.0,
        sources=(
            *("saxton2006_memory", "scotter1993", roots.source_of["depth_m"], roots.source_of["kc"]),
            *(("macropores_memory",) if soil.bypass_sd else ()),
            *(("meisinger1991_memory",) if drainage else ()),
        ),
    )


def passed_on(drainage_mm: Floats, roots: RootZone) -> Floats:
    """Shares of a layer's nitrate that drainage carries so many layers down.

    Not for ammonium or organic nitrogen, which stay.

    Parameters
    ----------
    drainage_mm
        Water that drains, mm, any shape.
    roots
        The layers and the water in them.

    Returns
    -------
    NDArray
        (..., layers): the share that stays, then what comes one layer down, two, and so on; the rest to 1 would come
        below as many layers as there are.

    References
    ----------
    Mixed layers in a row, e^-x x^k / k! with x pore volumes of one layer (mathematics); the same however drainage is
    split into days. Against Burns 1975 (scotter1993): tests/season/test_water.py.

    Examples
    --------
    50 mm through a loam: of what lies in the first 30 cm 0.449 leave it, and 0.120 leave two such layers.

    >>> roots = RootZone(layers=2, water_mm=84.0)
    >>> stays, next_down = passed_on(np.array(50.0), roots)
    >>> round(1 - float(stays), 3), round(1 - float(stays + next_down), 3)
    (0.449, 0.12)
    """
    pores = np.asarray(drainage_mm, dtype=float)[..., None] / roots.water_mm
    steps = np.arange(roots.layers)
    factorial = np.array([math.factorial(step) for step in steps])
    return np.asarray(np.exp(-pores) * pores**steps / factorial)


def carry_down(pool: Floats, shares: Floats) -> Floats:
    """The nitrate of each layer after drainage; what leaves the last layer is gone.

    Parameters
    ----------
    pool
        Nitrate by layer, (..., layers), top first.
    shares
        As from `passed_on`, (..., layers); broadcasts.

    Returns
    -------
    NDArray
        Like `pool`, never more in all.

    References
    ----------
    Arithmetic on `passed_on`.

    Examples
    --------
    >>> roots = RootZone(layers=2, water_mm=84.0)
    >>> carry_down(np.array([1.0, 0.0]), passed_on(np.array(50.0), roots)).round(3).tolist()
    [0.551, 0.328]
    """
    moved = shares[..., :1] * pool
    for step in range(1, pool.shape[-1]):
        moved[..., step:] += shares[..., step : step + 1] * pool[..., :-step]
    return moved


def crop_coefficients(planted: dt.date, harvested: dt.date, crop: CropEntry) -> Floats:
    """Water use of the crop against the reference on each day, planting to harvest.

    Not for ground under plastic, which loses less.

    Parameters
    ----------
    planted, harvested
        First and last day of the crop.
    crop
        Its name and uptake curve.

    Returns
    -------
    NDArray
        (days from planting to harvest, both counted,), about 0.3 to 1.2.

    References
    ----------
    FAO-56, table 12 (fao56_kc): young, in full growth and at the end. In between it rises with uptake up to a half
    and turns to the end in the last 15 % of the season, from memory (kc_memory).

    Examples
    --------
    >>> import datetime as dt
    >>> cabbage = agronomy.find("cabbage", agronomy.crops())
    >>> each = crop_coefficients(dt.date(2026, 6, 3), dt.date(2026, 9, 28), cabbage)
    >>> each[[0, 90, -1]].round(2).tolist()
    [0.7, 1.05, 0.95]
    """
    young, full, end = agronomy.ground().roots_of(crop.name).kc
    share = share_by_day(planted, harvested, crop)
    at = np.linspace(0.0, 1.0, len(share))
    growing = young + (full - young) * np.minimum(2.0 * share, 1.0)
    return np.asarray(growing + (end - full) * np.clip((at - 0.85) / 0.15, 0.0, 1.0))


def follow_water(
    water_mm: Floats,
    et_mm: Floats,
    *,
    irrigated: bool,
    efficiency: float = WATER.efficiency_sprinkler,
    covered: NDArray[np.bool_],
    model: SoilModel = SOIL,
) -> tuple[Floats, Floats]:
    """Water in the top soil day by day: a bucket that starts at field capacity.

    Evapotranspiration falls in proportion to the water left (from memory); what exceeds field capacity drains
    the same day. Irrigated ground is topped up when it falls below the moisture it is kept at, and what is put on
    beyond that drains too. Under a tarp it neither rains nor dries. Not for slopes with run-off.

    Parameters
    ----------
    water_mm, et_mm
        Rain, with irrigation where its amounts are told, and evapotranspiration of each day, mm, both
        (scenarios, days), without gaps.
    irrigated
        Whether the ground is kept moist by irrigation whose amounts are not told.
    efficiency
        Share of that irrigation that is used, above 0 to 1.
    covered
        Whether a tarp lies on that day, (days,).
    model
        Depth of the bucket, its limits, and the moisture that irrigation keeps.

    Returns
    -------
    moisture, drainage
        Moisture, 0 air-dry to 1 field capacity, and drainage, mm; both (scenarios, days) like `water_mm`.

    References
    ----------
    The bucket: from memory (bucket_memory); what textures hold: saxton2006_memory; efficiencies: irrigation_memory.

    Examples
    --------
    Full ground drains a day's 12 mm of rain. Then 6 mm of evapotranspiration take 6 of the 63 mm, and the next 6 take
    6/63 of the 57 mm that are left.

    >>> rain_mm, et_mm = np.array([[12.0, 0.0, 0.0]]), np.array([[0.0, 6.0, 6.0]])
    >>> moisture, drainage = follow_water(rain_mm, et_mm, irrigated=False, covered=np.zeros(3, dtype=bool))
    >>> moisture.round(3).tolist(), drainage.tolist()
    ([[1.0, 0.905, 0.819]], [[12.0, 0.0, 0.0]])
    """
    capacity = model.bucket_mm
    least = model.irrigated_moisture * capacity if irrigated else 0.0
    beyond = 1.0 / efficiency - 1.0
    rain = np.where(covered, 0.0, water_mm)
    drying = np.minimum(np.where(covered, 0.0, et_mm) / capacity, 1.0)
    water = np.full(rain.shape[0], capacity)
    moisture, drainage = np.empty_like(rain), np.empty_like(rain)
    for day in range(rain.shape[1]):
        water = water * (1.0 - drying[:, day]) + rain[:, day]
        put_on = np.maximum(least - water, 0.0)
        drainage[:, day] = np.maximum(water - capacity, 0.0) + beyond * put_on
        water = np.clip(water, least, capacity)
        moisture[:, day] = water
    return moisture / capacity, drainage


def water_use_mm(
    daily: pd.DataFrame | None, planted: dt.date, harvested: dt.date, latitude_deg: float
) -> float | None:
    """Reference evapotranspiration from planting to harvest: the most water that brings its nitrogen to the crop.

    Not an irrigation schedule: a young crop uses less than the reference, and rain is not subtracted.

    Parameters
    ----------
    daily
        Weather by day, columns `tmin_c` and `tmax_c`, °C, indexed by day; None without a file.
    planted, harvested
        First and last day.
    latitude_deg
        Degrees, north positive.

    Returns
    -------
    float or None
        mm in all; None where the record does not cover every day.

    References
    ----------
    FAO-56 (fao56), equation 52, see `reference_et_mm`.

    Examples
    --------
    Ten days like that of FAO-56's Example 20 use ten times its 5.0 mm, a little less as the sun sinks in late July.

    >>> import datetime as dt
    >>> days = pd.date_range("2026-07-15", periods=10, freq="D")
    >>> daily = pd.DataFrame({"tmin_c": 14.8, "tmax_c": 26.6}, index=days)
    >>> round(water_use_mm(daily, dt.date(2026, 7, 15), dt.date(2026, 7, 24), 45.72), 1)
    49.7
    >>> water_use_mm(daily, dt.date(2026, 7, 15), dt.date(2026, 8, 24), 45.72) is None
    True
    """
    if daily is None:
        return None
    days = daily.loc[str(planted) : str(harvested)]
    if len(days) < (harvested - planted).days + 1:
        return None
    each = reference_et_mm(
        days["tmin_c"].to_numpy(),
        days["tmax_c"].to_numpy(),
        pd.DatetimeIndex(days.index).day_of_year.to_numpy(),
        latitude_deg,
    )
    return float(each.sum())
