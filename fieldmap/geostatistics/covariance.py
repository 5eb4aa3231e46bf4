"""Covariance models, distances, and the checks on points that all kriging shares."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import ArrayLike, NDArray

    Floats = NDArray[np.float64]


SAME_PLACE_M = 1e-10  # as pykrige: nearer than this is the same place
# The model of every map. A few dozen samples cannot tell models apart, and this one holds where it is wrong: fitted
# to spherical and Matérn truths its maps gain as much on the field mean, and its intervals cover as often, as on
# exponential ones (tests/geostatistics/test_surface_study.py, its table in DEVELOPERS.md).
MAP_MODEL = "exponential"


def _exponential(scaled: Floats, work: Floats) -> None:  # noqa: ARG001 - as the others
    """exp(−s)."""
    np.negative(scaled, out=scaled)
    np.exp(scaled, out=scaled)


def _spherical(scaled: Floats, work: Floats) -> None:
    """1 − 1.5 s + 0.5 s³, nothing beyond 1."""
    np.minimum(scaled, 1.0, out=scaled)
    np.multiply(scaled, scaled, out=work)
    work *= 0.5
    work -= 1.5
    scaled *= work
    scaled += 1.0


def _matern15(scaled: Floats, work: Floats) -> None:
    """(1 + √3 s) · exp(−√3 s)."""
    scaled *= -np.sqrt(3.0)
    np.exp(scaled, out=work)
    np.subtract(1.0, scaled, out=scaled)
    scaled *= work


@dataclass(frozen=True)
class CovarianceModel:
    """How correlation falls with distance.

    Parameters
    ----------
    in_words
        What it is called.
    correlate_in_place
        Turns distances / range, first argument, into correlations, 1 at 0, without new memory; the second is scratch
        of the same shape.
    """

    in_words: str
    correlate_in_place: Callable[[Floats, Floats], None]


MODELS: dict[str, CovarianceModel] = {
    "exponential": CovarianceModel("exponential", _exponential),
    "spherical": CovarianceModel("spherical", _spherical),
    "matern15": CovarianceModel("Matérn 3/2", _matern15),
}


def covariance_model(name: str) -> CovarianceModel:
    """The entry of a model.

    Raises
    ------
    ValueError
        For a model that the table does not have.
    """
    if name not in MODELS:
        known = ", ".join(
            repr(each) if model.in_words == each else f"{each!r} ({model.in_words})"
            for each, model in MODELS.items()
        )
        raise ValueError(f"covariance model is {name!r}; expected one of {known}")
    return MODELS[name]


@dataclass(frozen=True)
class Covariance:
    """How alike two observations are, from the distance between them.

    The variance of one observation is C(0) = `partial_sill` + `nugget`. At a distance h > 0:

    - ``exponential``: partial_sill · exp(−h/range_m)
    - ``spherical``: partial_sill · (1 − 1.5 h/range_m + 0.5 (h/range_m)³), nothing beyond range_m
    - ``matern15``: partial_sill · (1 + √3 h/range_m) · exp(−√3 h/range_m)

    Parameters
    ----------
    model
        A name of `MODELS`: ``"exponential"``, ``"spherical"`` or ``"matern15"``.
    partial_sill
        Variance of the spatial part, squared units of the values, 0 or more.
    range_m
        Range, metres, above 0. For the exponential model the practical range is three times this.
    nugget
        Variance of what differs between two observations at one place, 0 or more.

    Raises
    ------
    ValueError
        If the model is unknown, a variance is negative, the range is not positive, or both variances are 0.

    References
    ----------
    Chilès & Delfiner (2012), Geostatistics, 2nd ed., section 2.5; Rasmussen & Williams (2006), Gaussian
    Processes for Machine Learning, eq. 4.17 (Matérn 3/2).

    >>> float(Covariance("exponential", 1.0, 60.0, 0.2)(0.0))
    1.2
    """

    model: str
    partial_sill: float
    range_m: float
    nugget: float = 0.0

    def __post_init__(self) -> None:
        covariance_model(self.model)
        for name in ("partial_sill", "nugget"):
            value = getattr(self, name)
            if not (np.isfinite(value) and value >= 0):
                raise ValueError(f"{name} is {value}; expected a finite number of 0 or more")
        if not (np.isfinite(self.range_m) and self.range_m > 0):
            raise ValueError(f"range_m is {self.range_m}; expected a finite number of metres above 0")
        if self.sill == 0:
            raise ValueError("partial_sill and nugget are both 0; at least one must be above 0")

    @property
    def sill(self) -> float:
        """Variance of one observation, C(0)."""
        return self.partial_sill + self.nugget

    def __call__(self, distance_m: ArrayLike) -> Floats:
        """Covariance of two observations that far apart, same shape as `distance_m` (metres)."""
        distance = np.asarray(distance_m, dtype=np.float64)
        signal = self.partial_sill * correlation(self.model, distance / self.range_m)
        return np.where(distance <= SAME_PLACE_M, self.sill, signal)


def correlation(model: str, scaled: Floats) -> Floats:
    """Correlation of the spatial part at `scaled` = distance / range; 1 at 0."""
    result = np.array(scaled, dtype=np.float64)
    correlate_in_place(model, result, np.empty_like(result))
    return result


def correlate_in_place(model: str, scaled: Floats, work: Floats) -> None:
    """Turn scaled distances into correlations without new memory; `work` is scratch of the same shape."""
    covariance_model(model).correlate_in_place(scaled, work)


def distances(points: Floats, targets: Floats, out: Floats, work: Floats) -> None:
    """Write the distances between `points` (n, 2) and `targets` (m, 2) to `out`, (n, m)."""
    east, north = np.ascontiguousarray(targets.T)
    np.subtract(points[:, :1], east, out=out)
    np.multiply(out, out, out=out)
    np.subtract(points[:, 1:], north, out=work)
    np.multiply(work, work, out=work)
    np.add(out, work, out=out)
    np.sqrt(out, out=out)


def distance_matrix(points: Floats, targets: Floats) -> Floats:
    """Distances between two sets of points, (n, m), in the units of the coordinates."""
    out, work = np.empty((2, len(points), len(targets)))
    distances(points, targets, out, work)
    return out


def positions(name: str, coords: ArrayLike) -> Floats:
    """Points as an (n, 2) array, or an error that names the argument."""
    array = np.asarray(coords, dtype=np.float64)
    if array.ndim != 2 or array.shape[1] != 2:
        raise ValueError(
            f"{name} has shape {array.shape}; expected (points, 2): easting and northing in metres"
        )
    if not np.isfinite(array).all():
        row = int(np.flatnonzero(~np.isfinite(array).all(axis=1))[0])
        raise ValueError(f"{name}, row {row}: position {array[row].tolist()} is not finite")
    return array


def drift_columns(name: str, drift: ArrayLike) -> Floats:
    """Drift as an (n, p) array, or an error that names the argument."""
    array = np.asarray(drift, dtype=np.float64)
    array = array[:, np.newaxis] if array.ndim == 1 else array
    if array.ndim != 2 or not np.isfinite(array).all():
        raise ValueError(f"{name} has shape {array.shape}; expected finite numbers, one row a point")
    return array


def sample_values(values: ArrayLike, samples: int) -> Floats:
    """Values as an (n,) array, or an error."""
    array = np.asarray(values, dtype=np.float64)
    if array.shape != (samples,) or not np.isfinite(array).all():
        raise ValueError(f"values has shape {array.shape}; expected {samples} finite numbers, one a sample")
    return array
