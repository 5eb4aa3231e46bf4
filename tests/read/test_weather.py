"""Reading daily weather: gaps, order, units and what cannot be."""

import numpy as np
import pandas as pd
import pytest

from fieldmap.errors import InputError
from fieldmap.read.weather import read_weather

HEADER = "date,tmin_c,tmax_c,rain_mm"


def write(tmp_path, *rows, header=HEADER):
    path = tmp_path / "weather.csv"
    path.write_text("\n".join([header, *rows]))
    return path


def days(*numbers, cells="5,15,2"):
    return [f"2026-05-{number:02d},{cells}" for number in numbers]


def problems_of(path):
    with pytest.raises(InputError) as caught:
        read_weather(path)
    return [str(problem) for problem in caught.value.problems]


def test_complete_days_in_any_order(tmp_path):
    path = write(tmp_path, "2026-03-01,1,9,0", "2026-02-27,-1.5,8,3.2", "2026-02-28,0,7,")
    daily, warnings = read_weather(path)
    assert daily.index.equals(pd.date_range("2026-02-27", "2026-03-01", name="date"))
    assert list(daily.columns) == ["tmin_c", "tmax_c", "rain_mm"]
    assert daily.to_numpy().tolist() == [[-1.5, 8, 3.2], [0, 7, 0], [1, 9, 0]]
    assert (daily.dtypes == np.float64).all()
    assert warnings == ("weather.csv: there is no rain_mm for 2026-02-28; filled in (rain as 0 mm).",)


def test_other_columns_decimal_commas_and_semicolons(tmp_path):
    path = write(tmp_path, "2026-05-01;5,5;15,25;0;3", header="Date;Tmin_C;Tmax_C;Rain_mm;wind")
    daily, warnings = read_weather(path)
    assert daily.to_numpy().tolist() == [[5.5, 15.25, 0]]
    assert warnings == ("weather.csv: column not used: wind.",)


def test_short_gaps_are_filled_and_named(tmp_path):
    """Linear interpolation by hand: from 2 to 10 °C over four steps is 4, 6, 8."""
    path = write(tmp_path, "2026-05-01,2,12,5", "2026-05-05,10,20,5", "2026-05-06,,21,1")
    problems = problems_of(path)
    assert (
        "there is no tmin_c for 2026-05-06 (1 d); gaps of at most 3 days between days with an entry"
        in problems[0]
    )
    daily, warnings = read_weather(write(tmp_path, "2026-05-01,2,12,5", "2026-05-05,10,20,5", "2026-05-06,,21,1",
                                         "2026-05-07,12,22,1"))  # fmt: skip
    assert daily["tmin_c"].tolist() == [2, 4, 6, 8, 10, 11, 12]
    assert daily["tmax_c"].tolist() == [12, 14, 16, 18, 20, 21, 22]
    assert daily["rain_mm"].tolist() == [5, 0, 0, 0, 5, 1, 1]
    first, second = warnings
    assert first == (
        "weather.csv: there is no tmin_c, tmax_c, rain_mm for 2026-05-02 to 2026-05-04; "
        "filled in (temperature from the days around and rain as 0 mm)."
    )
    assert (
        second
        == "weather.csv: there is no tmin_c for 2026-05-06; filled in (temperature from the days around)."
    )


@pytest.mark.parametrize(
    ("middle", "expected"),
    [("2026-05-02,,3,0", [3, 3]), ("2026-05-02,13,,0", [13, 13])],
)
def test_a_filled_temperature_does_not_cross_the_measured_one(tmp_path, middle, expected):
    daily, _ = read_weather(write(tmp_path, "2026-05-01,5,12,0", middle, "2026-05-03,5,12,0"))
    assert daily.loc["2026-05-02", ["tmin_c", "tmax_c"]].tolist() == expected


@pytest.mark.parametrize(("missing", "refused"), [(3, False), (4, True)])
def test_longer_gaps_are_refused(tmp_path, missing, refused):
    path = write(tmp_path, *days(1, 2 + missing))
    if refused:
        (problem,) = problems_of(path)
        assert problem == (
            "weather.csv: there is no tmin_c, tmax_c, rain_mm for 2026-05-02 to 2026-05-05 (4 d); "
            "gaps of at most 3 days between days with an entry are expected. Add these days."
        )
    else:
        assert len(read_weather(path)[0]) == 5


def test_empty_cells_are_gaps_like_missing_rows(tmp_path):
    rows = [*days(1), *days(2, 3, cells=",,"), *days(6)]
    (problem,) = problems_of(write(tmp_path, *rows))
    assert "2026-05-02 to 2026-05-05 (4 d)" in problem


def test_a_file_with_no_temperature_at_all(tmp_path):
    (problem,) = problems_of(write(tmp_path, *days(1, 2, cells=",,1")))
    assert "there is no tmin_c, tmax_c for 2026-05-01 to 2026-05-02 (2 d)" in problem


@pytest.mark.parametrize(
    "date",
    [
        "5/1/2026",
        "01.05.2026",
        "20260501",
        "2026-W18-5",
        "2026-02-30",
        "1850-01-01",
        "2101-01-01",
        "",
        "٢٠٢٦-٠٥-٠١",
    ],
)
def test_dates_are_not_guessed(tmp_path, date):
    (problem,) = problems_of(write(tmp_path, f"{date},5,15,2"))
    assert (
        f'weather.csv, row 2: date is "{date}"; a date such as 2026-05-04, from 1900 to 2100, is' in problem
    )


@pytest.mark.parametrize(
    ("cells", "found"),
    [
        ("-61,15,0", 'tmin_c is "-61"; -60 to 60 (degrees Celsius) is expected'),
        ("5,61,0", 'tmax_c is "61"; -60 to 60 (degrees Celsius) is expected'),
        ("5,15,-1", 'rain_mm is "-1"; 0 to 600 (millimetres) is expected'),
        ("5,15,601", 'rain_mm is "601"; 0 to 600 (millimetres) is expected'),
        ("5,warm,0", 'tmax_c is "warm"; a number in degrees Celsius is expected'),
        ("5,15,trace", 'rain_mm is "trace"; a number in millimetres is expected'),
        ("16,15,0", "tmin_c 16 is above tmax_c 15; the day's low is expected in tmin_c"),
    ],
)
def test_values_that_cannot_be_are_named_by_row(tmp_path, cells, found):
    (problem,) = problems_of(write(tmp_path, *days(1), *days(2, cells=cells)))
    assert problem.startswith(f"weather.csv, row 3: {found}")


def test_extremes_themselves_are_allowed(tmp_path):
    daily, warnings = read_weather(write(tmp_path, *days(1, cells="-60,60,600"), *days(2, cells="9,9,0")))
    assert daily.to_numpy().tolist() == [[-60, 60, 600], [9, 9, 0]]
    assert warnings == ()


def test_a_day_given_twice(tmp_path):
    (problem,) = problems_of(write(tmp_path, *days(1, 2, 1)))
    assert problem.startswith("weather.csv, row 4: 2026-05-01 is already in row 2; each day once is expected")


@pytest.mark.parametrize(
    "header", ["date,tmin_f,tmax_f,rain_in", "date,tmin,tmax,rain", "day,tmin_c,tmax_c,rain_mm"]
)
def test_units_are_never_guessed(tmp_path, header):
    (problem,) = problems_of(write(tmp_path, *days(1), header=header))
    assert problem.startswith("weather.csv: there is no column ")
    assert "date, tmin_c and tmax_c (°C) and rain_mm (mm) are expected; units are not guessed" in problem


def test_all_problems_at_once(tmp_path):
    problems = problems_of(write(tmp_path, "x,5,15,2", *days(2, cells="a,99,-3"), *days(3, cells="9,5,0")))
    assert len(problems) == 5


def test_a_long_season_is_read_whole(tmp_path):
    dates = pd.date_range("2000-01-01", "2026-12-31")
    path = write(tmp_path, *(f"{date:%Y-%m-%d},5,15,2" for date in dates))
    assert len(read_weather(path)[0]) == len(dates)


def test_missing_file(tmp_path):
    with pytest.raises(InputError, match=r"^weather.csv: there is no such file"):
        read_weather(tmp_path / "weather.csv")


def test_irrigation_may_be_told_and_an_empty_cell_is_none(tmp_path):
    path = write(
        tmp_path, *days(1, 3, cells="5,15,2,20"), *days(2, cells="5,15,2,"), header=f"{HEADER},irrigation_mm"
    )
    daily, warnings = read_weather(path)
    assert daily["irrigation_mm"].tolist() == [20.0, 0.0, 20.0]
    assert warnings == ()
    wrong = problems_of(write(tmp_path, *days(1, cells="5,15,2,-3"), header=f"{HEADER},irrigation_mm"))
    assert "irrigation_mm" in wrong[0]
    assert "-3" in wrong[0]
