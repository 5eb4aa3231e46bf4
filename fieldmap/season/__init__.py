"""The season: when the credit comes, what the crop takes up, and what comes in time."""

from fieldmap.season import organic, uptake
from fieldmap.season.balance import Balance, Weeks, balance, short_from, weekly
from fieldmap.season.course import Course, InTime, follow_release, released_by, timed
from fieldmap.season.release import RELEASE
from fieldmap.season.split import SeasonSplit
from fieldmap.season.timing import (
    Timing,
    split_by_season,
    time_supplemental,
)
from fieldmap.season.water import water_use_mm

__all__ = [
    "RELEASE",
    "Balance",
    "Course",
    "InTime",
    "SeasonSplit",
    "Timing",
    "Weeks",
    "balance",
    "follow_release",
    "organic",
    "released_by",
    "short_from",
    "split_by_season",
    "time_supplemental",
    "timed",
    "uptake",
    "water_use_mm",
    "weekly",
]
