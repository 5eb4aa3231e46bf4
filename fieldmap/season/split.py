"""What of the season's credit the crop can use: drained before planting, held then, released in time, or too late."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fieldmap.season.release import RELEASE
from fieldmap.season.water import RootZone, carry_down, passed_on

if TYPE_CHECKING:
    import datetime as dt

    from numpy.typing import NDArray

    from fieldmap.season.release import DailyRelease, ReleaseModel


@dataclass(frozen=True)
class SeasonSplit:
    """The season's credit by when it comes, as shares that add up to 1, each (scenarios,).

    `before` is released before planting and drained out of the roots' reach by then (where rain is not known: not to
    be counted on); `held` released before planting and still within it; `during` released between planting and the
    crop's last useful uptake; `after` later than that; `denitrified` what of `held` and `during` is lost as gas.
    `tested` is what a soil nitrate test has measured already, 0 without one: it must not be credited again.
    `useful_sd` is the standard error of `useful` from water that is not known.
    """

    before: NDArray[np.float64]
    held: NDArray[np.float64]
    during: NDArray[np.float64]
    after: NDArray[np.float64]
    tested: NDArray[np.float64]
    denitrified: NDArray[np.float64]
    useful_sd: NDArray[np.float64]

    @property
    def useful(self) -> NDArray[np.float64]:
        """What the crop can use: held at planting, and released while it takes up."""
        return self.held + self.during


@dataclass(frozen=True)
class Held:
    """What of the credit the roots' reach holds before planting.

    `by_day` (scenarios, days before planting) is the share held on the evening of each day, `by_layer`
    (scenarios, layers) where that lies at planting, and `sd` (scenarios,) the standard error of what is held then.
    """

    by_day: NDArray[np.float64]
    by_layer: NDArray[np.float64]
    sd: NDArray[np.float64]


def held_in_soil(
    release: DailyRelease,
    planted: dt.date,
    roots: RootZone,
    *,
    tested: dt.date | None = None,
    model: ReleaseModel = RELEASE,
) -> Held:
    """Share of the credit that the soil holds within the roots' reach, day by day before planting.

    All of it from the end of the cover crop on, less what drainage carries below the roots. Where rain is not known
    three weeks before planting, half of what lies there then is counted. What a test has measured is not counted here
    again. Not for what a soil test finds: that holds other nitrogen too.

    Parameters
    ----------
    release
        Of the block, (scenarios, days) from the end of the cover crop.
    planted
        Day of planting.
    roots
        The layers down to the rooting depth of the crop that is planted.
    tested
        Day of a soil nitrate test, None without one.
    model
        What is taken where rain is not known.

    Returns
    -------
    Held
        Shares, 0 to 1; no days where the crop is planted by the end of the cover crop.

    References
    ----------
    Drainage as in `passed_on` (scotter1993). Unknown rain, 50 ± 30 % of what came more than three weeks before:
    common practice, no source (held_practice).
    """
    planting = max(release.day(planted), 0)
    counted = release.counted
    daily = np.diff(counted, axis=-1, prepend=0.0)
    first = 0 if tested is None else max(release.day(tested) + 1, 0)
    in_doubt = planting - int(
        model.rain_unknown_d
    )  # what lies there on this evening may be gone where rain is unknown
    shares = passed_on(release.drainage_mm[:, :planting], roots)
    drains = np.asarray((release.drainage_mm[:, :planting] > 0).any(axis=0))
    by_day, sd = np.zeros((counted.shape[0], planting)), np.zeros(counted.shape[0])
    pool = np.zeros((counted.shape[0], roots.layers))
    for day in range(first, planting):
        pool[:, 0] += daily[:, day]
        if drains[day]:
            pool = carry_down(pool, shares[:, day])
        if day == in_doubt - 1 and not release.rain_known[in_doubt]:
            sd = model.rain_unknown_kept_sd * pool.sum(axis=-1)
            pool = model.rain_unknown_kept * pool
        by_day[:, day] = pool.sum(axis=-1)
    if drains.any() and planting > first:
        ever = counted[:, planting - 1] - (counted[:, first - 1] if first else 0.0)
        sd = np.hypot(sd, roots.bypass_sd * ever)
    return Held(by_day, pool, sd)


def split_season(
    release: DailyRelease,
    *,
    planted: dt.date,
    last_useful: dt.date,
    roots: RootZone,
    tested: dt.date | None = None,
) -> SeasonSplit:
    """Split the season's credit by when it comes.

    Parameters
    ----------
    release
        Of the block, over the whole season.
    planted, last_useful
        Planting, and the last day on which the crop still makes use of what is released.
    roots
        The layers down to the crop's rooting depth, and the share lost as gas.
    tested
        Day of a soil nitrate test, where there is one: what was released by then stands in the test.

    Returns
    -------
    SeasonSplit
        Shares, each (scenarios,), that add up to 1.

    References
    ----------
    Arithmetic on `DailyRelease.counted`; what the soil holds at planting as in `held_in_soil`.

    Notes
    -----
    A warm season may release more than the reference credit; what exceeds it is not counted, so the shares add
    up to 1. What drains after planting is told as a risk (`Balance.at_risk`) and not subtracted.
    """
    counted = release.counted

    def by(day: int) -> NDArray[np.float64]:
        """The share released by the evening of a day."""
        return counted[:, min(day, counted.shape[1] - 1)] if day >= 0 else np.zeros(counted.shape[0])

    in_test = by(release.day(tested)) if tested is not None else np.zeros(counted.shape[0])
    at_planting, at_last = by(release.day(planted) - 1), by(release.day(last_useful))
    found = held_in_soil(release, planted, roots, tested=tested)
    held = found.by_layer.sum(axis=-1)
    during = np.maximum(at_last - np.maximum(at_planting, in_test), 0.0)
    kept = 1.0 - roots.denitrified
    return SeasonSplit(
        before=np.maximum(at_planting - in_test, 0.0) - held,
        held=kept * held,
        during=kept * during,
        after=1.0 - np.maximum(at_last, in_test),
        tested=in_test,
        denitrified=roots.denitrified * (held + during),
        useful_sd=np.hypot(kept * found.sd, roots.denitrified_sd * (held + during)),
    )
