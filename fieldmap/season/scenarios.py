"""The soil of every day of a season, from daily weather or a mean-annual sine.

Where the weather record ends before the season does, the same days of earlier years stand in: each makes one
scenario, and together they give a range. Arrays have the shape (scenarios, days).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

import numpy as np
import pandas as pd

from fieldmap.errors import InputError, Problem
from fieldmap.season.soil import SOIL, reference_et_mm, temperature_from_air_c, temperature_from_sine_c
from fieldmap.season.water import WATER, follow_water

if TYPE_CHECKING:
    import datetime as dt
    from typing import Any

    from numpy.typing import NDArray

    from fieldmap.season.soil import AnnualSine, SoilModel


Basis = Literal["record", "earlier years", "sine"]


@dataclass(frozen=True)
class DailySoil:
    """The soil of every day from `dates[0]` to `dates[-1]`.

    `dates` (days,) datetime64[D]; `temperature_c`, `moisture` (0 air-dry to 1 field capacity), `drainage_mm` and
    `rain_mm` (scenarios, days), the last NaN where rain is not known.
    `basis` says what stands behind the days after `recorded_to` (None without a record):
    "record" (there are none), "earlier years" (a scenario each) or "sine" (rain not known: no drainage).
    """

    dates: NDArray[np.datetime64]
    temperature_c: NDArray[np.float64]
    moisture: NDArray[np.float64]
    drainage_mm: NDArray[np.float64]
    rain_mm: NDArray[np.float64]
    basis: Basis
    recorded_to: dt.date | None
    sources: tuple[str, ...]


def season_soil(
    first: dt.date,
    last: dt.date,
    *,
    daily: pd.DataFrame | None,
    sine: AnnualSine | None,
    latitude_deg: float,
    irrigated: bool,
    efficiency: float = WATER.efficiency_sprinkler,
    water_use: NDArray[np.float64] | None = None,
    tarped_d: float = 0.0,
    file: str = "weather.csv",
    model: SoilModel = SOIL,
) -> DailySoil:
    """The soil from the end of the cover crop to harvest.

    Parameters
    ----------
    first, last
        The day the cover crop ended and the last day wanted.
    daily
        Weather without gaps, columns `tmin_c`, `tmax_c`, `rain_mm`, and where it is told `irrigation_mm`, indexed by
        day.
    sine
        What to take where the record has neither the days nor the same days of an earlier year; with `daily`
        None, for the whole season. Rain is then not known: the soil is taken as moist as irrigated ground.
    latitude_deg
        Of the field.
    irrigated, efficiency
        Whether the ground is kept moist, and the share of that water that is used. Where `daily` tells what was put
        on, that alone counts.
    water_use
        What the ground uses of the reference evapotranspiration from `first` on, (days,); None is 1 throughout.
    tarped_d
        Days from `first` under a tarp: the soil is warmer, and neither wets nor dries.
    file
        Name of the weather file, for messages.
    model
        The figures of soil temperature and water.

    Returns
    -------
    DailySoil
        °C, moisture 0 to 1 and mm of drainage, each (scenarios, days) from `first` to `last`; never NaN.

    Raises
    ------
    InputError
        Where the record starts too late, or ends too early with neither earlier years nor a sine.
    ValueError
        If there is neither weather nor a sine.

    References
    ----------
    Of each part its own, see `fieldmap.season.soil`; warmer under a tarp: Rylander et al. 2020 (rylander2020).
    """
    dates = _days(first, last)
    tarped = np.arange(len(dates)) < tarped_d
    if daily is not None:
        weather = _splice(daily, first, last, sine, file, model)
        kept = (irrigated and weather.irrigation_mm is None, efficiency)
        use = np.ones(len(dates)) if water_use is None else water_use
        soil = _soil_from_weather(weather, dates, tarped, latitude_deg, kept, use, model)
    elif sine is not None:
        soil = _soil_from_sine(dates, sine, None, model)
    else:
        raise ValueError("either daily weather or a sine is expected")
    if soil.dates[-1] < dates[-1] and sine is not None:
        soil = _joined(soil, _soil_from_sine(dates[len(soil.dates) :], sine, soil.recorded_to, model))
    keys = (*soil.sources, "rylander2020") if tarped_d else soil.sources
    return replace(soil, temperature_c=soil.temperature_c + model.tarp_warming_c * tarped, sources=keys)


@dataclass(frozen=True)
class _Weather:
    """Weather of every day from some time before the season, each array (scenarios, days)."""

    dates: NDArray[np.datetime64]
    tmin_c: NDArray[np.float64]
    tmax_c: NDArray[np.float64]
    rain_mm: NDArray[np.float64]
    irrigation_mm: NDArray[np.float64] | None
    basis: Basis
    recorded_to: dt.date


def _days(first: dt.date, last: dt.date) -> NDArray[np.datetime64]:
    return np.arange(np.datetime64(first, "D"), np.datetime64(last, "D") + 1)


def _splice(
    daily: pd.DataFrame,
    first: dt.date,
    last: dt.date,
    sine: AnnualSine | None,
    file: str,
    model: SoilModel,
) -> _Weather:
    """The record up to its last day, then the same days of each earlier year that has them all."""
    record_first, record_last = daily.index[0], daily.index[-1]
    wanted = pd.Timestamp(first)
    start = max(record_first, wanted - pd.Timedelta(days=int(model.spin_up_d)))
    if start > wanted:
        raise InputError(
            Problem(
                file,
                f"the weather starts on {record_first.date()}, after the cover crop ended ({first})",
                "every day from the end of the cover crop on is expected",
                "Add the days before, or leave out the file and give mean, amplitude and coldest",
            )
        )
    recorded = daily.loc[start : min(record_last, pd.Timestamp(last))]
    later = pd.date_range(max(start, record_last + pd.Timedelta(days=1)), last, freq="D")
    scenarios: list[pd.DataFrame] = [] if len(later) else [recorded]
    for years in range(1, last.year - record_first.year + 1 if len(later) else 0):
        same_days = later - pd.DateOffset(years=years)
        if same_days[0] >= record_first and same_days[-1] <= record_last:
            scenarios.append(pd.concat([recorded, daily.loc[same_days]]))
    basis: Basis = "earlier years" if len(later) else "record"
    if not scenarios:
        if sine is None:
            raise InputError(
                Problem(
                    file,
                    f"the weather ends on {record_last.date()}, before {last}, and has no earlier year "
                    "with the days that are missing",
                    "the days to harvest, the same days of an earlier year, or a mean-annual sine are expected",
                    "Add earlier years to the file, or give mean, amplitude and coldest",
                )
            )
        scenarios, basis = [recorded], "sine"
    dates = _days(start.date(), last)[: len(scenarios[0])]

    def stacked(name: str) -> NDArray[np.float64]:
        return np.stack([each[name].to_numpy() for each in scenarios])

    told = stacked("irrigation_mm") if "irrigation_mm" in daily else None
    tmin_c, tmax_c, rain_mm = (stacked(name) for name in ("tmin_c", "tmax_c", "rain_mm"))
    return _Weather(dates, tmin_c, tmax_c, rain_mm, told, basis, min(record_last.date(), last))


def _soil_from_weather(
    weather: _Weather,
    dates: NDArray[np.datetime64],
    tarped: NDArray[np.bool_],
    latitude_deg: float,
    kept: tuple[bool, float],
    water_use: NDArray[np.float64],
    model: SoilModel,
) -> DailySoil:
    """`kept` is whether irrigation keeps the ground moist, and the share of it that is used."""
    before = int((dates[0] - weather.dates[0]).astype(int))  # days before the season, to start the water from
    day_of_year = (weather.dates - weather.dates.astype("datetime64[Y]")).astype(int) + 1
    covered = np.zeros(len(weather.dates), dtype=bool)
    covered[before:] = tarped[: len(covered) - before]
    use = np.concatenate([np.ones(before), water_use[: len(covered) - before]])  # a living cover uses it all
    put_on = 0.0 if weather.irrigation_mm is None else weather.irrigation_mm
    moisture, drainage = follow_water(
        weather.rain_mm + put_on,
        use * reference_et_mm(weather.tmin_c, weather.tmax_c, day_of_year, latitude_deg),
        irrigated=kept[0],
        efficiency=kept[1],
        covered=covered,
        model=model,
    )
    temperature = temperature_from_air_c((weather.tmin_c + weather.tmax_c) / 2.0, model=model)
    return DailySoil(
        weather.dates[before:],
        temperature[:, before:],
        moisture[:, before:],
        drainage[:, before:],
        weather.rain_mm[:, before:],
        weather.basis,
        weather.recorded_to,
        (
            *("zheng1993", "soil_slope_memory", "fao56", "bucket_memory", "saxton2006_memory", "spin_up"),
            *(("irrigation_memory",) if kept[0] else ()),
        ),
    )


def _soil_from_sine(
    dates: NDArray[np.datetime64], sine: AnnualSine, recorded_to: dt.date | None, model: SoilModel
) -> DailySoil:
    temperature = temperature_from_sine_c(dates, sine, model=model)[np.newaxis]
    moisture = np.full_like(temperature, model.irrigated_moisture)
    sources = ("hillel1982", "bucket_memory")
    dry, unknown = np.zeros_like(temperature), np.full_like(temperature, np.nan)
    return DailySoil(dates, temperature, moisture, dry, unknown, "sine", recorded_to, sources)


def _joined(recorded: DailySoil, after: DailySoil) -> DailySoil:
    """A record and the sine that carries on from it."""

    def both(name: str) -> NDArray[Any]:
        return np.concatenate([getattr(recorded, name), getattr(after, name)], axis=-1)

    return replace(
        recorded,
        dates=both("dates"),
        temperature_c=both("temperature_c"),
        moisture=both("moisture"),
        drainage_mm=both("drainage_mm"),
        rain_mm=both("rain_mm"),
        sources=tuple(dict.fromkeys((*recorded.sources, *after.sources))),
    )
