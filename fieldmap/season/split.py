"""What of the season's credit the crop can use: gone before planting, held then, released in time, or too late."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fieldmap.season.release import RELEASE

if TYPE_CHECKING:
    import datetime as dt

    from numpy.typing import NDArray

    from fieldmap.season.release import DailyRelease, ReleaseModel


@dataclass(frozen=True)
class SeasonSplit:
    """The season's credit by when it comes, as shares that add up to 1, each (scenarios,).

    `before` is released before planting and not there any more (or not to be counted on); `held` released before
    planting and still in the soil then; `during` released between planting and the crop's last useful uptake;
    `after` later than that. `tested` is what a soil nitrate test has measured already, 0 without one: it must
    not be credited again.
    """

    before: NDArray[np.float64]
    held: NDArray[np.float64]
    during: NDArray[np.float64]
    after: NDArray[np.float64]
    tested: NDArray[np.float64]

    @property
    def useful(self) -> NDArray[np.float64]:
        """What the crop can use: held at planting, and released while it takes up."""
        return self.held + self.during


def held_in_soil(
    release: DailyRelease, planted: dt.date, *, tested: dt.date | None = None, model: ReleaseModel = RELEASE
) -> NDArray[np.float64]:
    """Share of the credit that the soil holds on the evening of each day before planting.

    Drainage takes from it. What is released more than three weeks before planting is not counted unless a
    test shows it, and what a test has measured is not counted here again. Not for what a soil test finds: that
    holds other nitrogen too.

    Parameters
    ----------
    release
        Of the block, (scenarios, days) from the end of the cover crop.
    planted
        Day of planting.
    tested
        Day of a soil nitrate test, None without one.
    model
        How long before planting release counts.

    Returns
    -------
    NDArray
        0 to 1, (scenarios, days before planting); no days where the crop is planted by the end of the cover crop.

    References
    ----------
    Three weeks: common practice, no source (held_practice). Drainage: from memory (leaching_memory).
    """
    planting = release.day(planted)
    counted = release.counted
    daily = np.diff(counted, axis=-1, prepend=0.0)
    from_day = max(planting - int(model.held_d), 0 if tested is None else release.day(tested) + 1)
    held = np.zeros((counted.shape[0], max(planting, 0)))
    pool = np.zeros(counted.shape[0])
    for day in range(max(from_day, 0), planting):
        pool = (pool + daily[:, day]) * (1.0 - release.leached[:, day])
        held[:, day] = pool
    return held


def split_season(
    release: DailyRelease,
    *,
    planted: dt.date,
    last_useful: dt.date,
    tested: dt.date | None = None,
    model: ReleaseModel = RELEASE,
) -> SeasonSplit:
    """Split the season's credit by when it comes.

    Parameters
    ----------
    release
        Of the block, over the whole season.
    planted, last_useful
        Planting, and the last day on which the crop still makes use of what is released.
    tested
        Day of a soil nitrate test, where there is one: what was released by then stands in the test.
    model
        How long before planting release counts.

    Returns
    -------
    SeasonSplit
        Shares, each (scenarios,), that add up to 1.

    References
    ----------
    Arithmetic on `DailyRelease.counted`; what the soil holds at planting as in `held_in_soil` (held_practice).

    Notes
    -----
    A warm season may release more than the reference credit; what exceeds it is not counted, so the shares add
    up to 1.
    """
    counted = release.counted

    def by(day: int) -> NDArray[np.float64]:
        """The share released by the evening of a day."""
        return counted[:, min(day, counted.shape[1] - 1)] if day >= 0 else np.zeros(counted.shape[0])

    in_test = by(release.day(tested)) if tested is not None else np.zeros(counted.shape[0])
    at_planting, at_last = by(release.day(planted) - 1), by(release.day(last_useful))
    held = held_in_soil(release, planted, tested=tested, model=model)
    still = held[:, -1] if held.shape[1] else np.zeros(counted.shape[0])
    before = np.maximum(at_planting - in_test, 0.0) - still
    during = np.maximum(at_last - np.maximum(at_planting, in_test), 0.0)
    after = 1.0 - np.maximum(at_last, in_test)
    return SeasonSplit(before, still, during, after, in_test)
