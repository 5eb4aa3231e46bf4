"""Soil temperature and evapotranspiration: the formulas, each by itself, from weather or a mean-annual sine."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fieldmap import agronomy

if TYPE_CHECKING:
    import datetime as dt

    from numpy.typing import ArrayLike, NDArray


MM_PER_M = 1000.0
# FAO-56 (fao56): solar constant, MJ/m²/min, and the water that 1 MJ/m² evaporates, mm.
SOLAR_CONSTANT, MM_PER_MJ = 0.0820, 0.408


@dataclass(frozen=True)
class SoilModel:
    """The figures of soil temperature and water; `fieldmap/agronomy/season.toml` says what each means.

    `field_capacity` and `air_dry`, m³/m³, and `bypass_sd` are the texture's, from `fieldmap/agronomy/ground.toml`.
    """

    running_mean_d: float
    air_to_soil: float
    temperature_depth_m: float
    diffusivity_m2_d: float
    water_depth_m: float
    irrigated_moisture: float
    spin_up_d: float
    tarp_warming_c: float
    field_capacity: float
    air_dry: float
    bypass_sd: float

    @property
    def bucket_mm(self) -> float:
        """Water between air-dry and field capacity."""
        return (self.field_capacity - self.air_dry) * self.water_depth_m * MM_PER_M


TEXTURE = "loam"  # where the plan tells none


def soil_of(texture: str | None) -> SoilModel:
    """The soil of a texture; None is a loam.

    Parameters
    ----------
    texture
        A name in `agronomy.ground().textures`.

    Returns
    -------
    SoilModel
        With that texture's field capacity; air-dry is half of its wilting point.

    References
    ----------
    After Saxton & Rawls 2006, from memory (saxton2006_memory).

    Examples
    --------
    >>> loam, sand = soil_of(None), soil_of("sand")
    >>> round(loam.bucket_mm, 3), round(sand.bucket_mm, 3)
    (63.0, 22.5)
    """
    found = agronomy.ground().textures[texture or TEXTURE]
    return SoilModel(
        **agronomy.values_of("soil"),
        field_capacity=found.field_capacity,
        air_dry=found.wilting_point / 2.0,
        bypass_sd=found.bypass_sd,
    )


SOIL = soil_of(None)


@dataclass(frozen=True)
class AnnualSine:
    """Mean-annual course of temperature at the surface: mean and amplitude, °C, and the coldest day."""

    mean_c: float
    amplitude_c: float
    coldest: dt.date


def temperature_from_air_c(air_c: NDArray[np.float64], *, model: SoilModel = SOIL) -> NDArray[np.float64]:
    """Soil temperature at 10 cm: running mean of the air's, over the day and those before it.

    Not under snow, a dense canopy or mulch, which keep the soil from following the air.

    Parameters
    ----------
    air_c
        Mean air temperature of each day, (..., days), °C, without gaps: a NaN makes all later days NaN.
    model
        Length of the running mean and slope.

    Returns
    -------
    NDArray
        °C, of the shape of `air_c`. The first days have the mean of what there is.

    References
    ----------
    Zheng, Hunt & Running 1993 (zheng1993): 11-day running mean. A slope of 1 for bare soil is from memory
    (soil_slope_memory).

    Examples
    --------
    One warm day of 11 °C among days of 0 °C raises the soil by 11 / 11 = 1 °C for eleven days, then no more.

    >>> air_c = np.zeros(30)
    >>> air_c[12] = 11.0
    >>> temperature_from_air_c(air_c)[[11, 12, 22, 23]].round(6).tolist()
    [0.0, 1.0, 1.0, 0.0]
    """
    window = int(model.running_mean_d)
    total = np.cumsum(air_c, axis=-1)
    total[..., window:] = total[..., window:] - total[..., :-window]
    return np.asarray(model.air_to_soil * total / np.minimum(np.arange(1, air_c.shape[-1] + 1), window))


def damping_depth_m(diffusivity_m2_d: float) -> float:
    """Depth at which the annual swing is 1/e of the surface's: sqrt(2 D / ω).

    Not for the swing of a single day, whose damping depth is about a nineteenth of it.

    Parameters
    ----------
    diffusivity_m2_d
        Thermal diffusivity of the soil, m²/d, above 0.

    Returns
    -------
    float
        Metres.

    References
    ----------
    Hillel 1982 (hillel1982); symbols published, form from memory.

    Examples
    --------
    The published 0.5 mm²/s is 0.0432 m²/d and gives 2.24 m.

    >>> round(damping_depth_m(0.0432), 2)
    2.24
    """
    return float(np.sqrt(2.0 * diffusivity_m2_d / (2.0 * np.pi / 365.0)))


def temperature_from_sine_c(
    dates: NDArray[np.datetime64], sine: AnnualSine, *, depth_m: float | None = None, model: SoilModel = SOIL
) -> NDArray[np.float64]:
    """Soil temperature from the annual sine, damped and delayed with depth.

    Not where a weather record reaches: the sine knows no warm or cold year, and no rain.

    Parameters
    ----------
    dates
        Days, (days,), datetime64[D].
    sine
        Mean and amplitude at the surface, °C, and the coldest day there.
    depth_m
        Metres; None is the model's depth, 0.10 m.
    model
        Thermal diffusivity and depth.

    Returns
    -------
    NDArray
        °C, (days,).

    References
    ----------
    Hillel 1982 (hillel1982); symbols published, form from memory.

    Examples
    --------
    Mean 12 and amplitude 11 °C: on the coldest day 1.0 °C at the surface, and at 10 cm 1.49, for the swing is
    damped by exp(-0.10 / 2.24) and comes 2.6 days later.

    >>> import datetime as dt
    >>> sine = AnnualSine(12.0, 11.0, dt.date(2026, 1, 20))
    >>> coldest = np.array(["2026-01-20"], dtype="datetime64[D]")
    >>> [round(float(temperature_from_sine_c(coldest, sine, depth_m=depth)[0]), 2) for depth in (0.0, 0.10)]
    [1.0, 1.49]
    """
    depth = (model.temperature_depth_m if depth_m is None else depth_m) / damping_depth_m(
        model.diffusivity_m2_d
    )
    days = (dates - np.datetime64(sine.coldest, "D")).astype(float)
    swing = np.exp(-depth) * np.sin(2.0 * np.pi * days / 365.0 - depth - np.pi / 2.0)
    return np.asarray(sine.mean_c + sine.amplitude_c * swing)


def extraterrestrial_radiation_mj_m2(day_of_year: ArrayLike, latitude_deg: float) -> NDArray[np.float64]:
    """Daily radiation above the atmosphere.

    Not what reaches the ground: clouds and air take a quarter of it and more.

    Parameters
    ----------
    day_of_year
        1 to 366, any shape.
    latitude_deg
        Degrees, north positive.

    Returns
    -------
    NDArray
        MJ/m² a day, of the shape of `day_of_year`; 0 in the polar night.

    References
    ----------
    FAO-56 (fao56), equations 21 and 23 to 25.

    Examples
    --------
    FAO-56's Example 20 takes Lyon, 45°43' N, in the middle of July: 40.55 MJ/m².

    >>> round(float(extraterrestrial_radiation_mj_m2(196, 45.72)), 2)
    40.55
    """
    angle = 2.0 * np.pi * np.asarray(day_of_year, dtype=float) / 365.0
    latitude = np.radians(latitude_deg)
    distance = 1.0 + 0.033 * np.cos(angle)
    declination = 0.409 * np.sin(angle - 1.39)
    sunset = np.arccos(np.clip(-np.tan(latitude) * np.tan(declination), -1.0, 1.0))
    standing = np.sin(latitude) * np.sin(declination)
    turning = np.cos(latitude) * np.cos(declination)
    day = sunset * standing + np.sin(sunset) * turning
    return np.asarray(24.0 * 60.0 / np.pi * SOLAR_CONSTANT * distance * day)


def reference_et_mm(
    tmin_c: ArrayLike, tmax_c: ArrayLike, day_of_year: ArrayLike, latitude_deg: float
) -> NDArray[np.float64]:
    """Reference evapotranspiration of a day, from temperature alone.

    Not where wind, humidity and radiation are measured (the Penman-Monteith equation is better), and it needs
    checking in very windy or humid places.

    Parameters
    ----------
    tmin_c, tmax_c
        Lowest and highest air temperature of the day, °C; any shapes that broadcast.
    day_of_year
        1 to 366, broadcasts against them.
    latitude_deg
        Degrees, north positive.

    Returns
    -------
    NDArray
        mm a day, never negative; NaN where a temperature is NaN.

    References
    ----------
    FAO-56 (fao56), equation 52 (Hargreaves).

    Examples
    --------
    FAO-56's Example 20: Lyon in the middle of July, 14.8 to 26.6 °C, comes to 5.0 mm a day.

    >>> round(float(reference_et_mm(14.8, 26.6, 196, 45.72)), 2)
    5.03
    """
    low, high = np.asarray(tmin_c, dtype=float), np.asarray(tmax_c, dtype=float)
    radiation_mm = MM_PER_MJ * extraterrestrial_radiation_mj_m2(day_of_year, latitude_deg)
    found = 0.0023 * ((low + high) / 2.0 + 17.8) * np.sqrt(np.maximum(high - low, 0.0)) * radiation_mm
    return np.asarray(np.maximum(found, 0.0))
