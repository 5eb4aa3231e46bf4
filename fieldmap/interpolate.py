"""A fitted surface on the field's grid, and joint draws of it at some of its cells."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fieldmap.kriging import one_blas_thread
from fieldmap.surface import LEAST_SAMPLES, fit_surface, joint, no_pattern_message, predict

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fieldmap.field import Field, Grid
    from fieldmap.nitrogen import SampleNitrogen
    from fieldmap.plan import Plan
    from fieldmap.samples import Samples
    from fieldmap.surface import SurfaceFit

STRATUM_SAMPLES_MIN = 3


@dataclass(frozen=True)
class Surface:
    """A quantity over the field, in its own unit.

    Parameters
    ----------
    mean, se
        Rasters (rows, columns), NaN outside: expected value, and standard error of the latent surface (what
        many clippings at a place would average).
    method
        How it was made, in words.
    fit
        The fit behind it, None where one value stands for the whole field.
    shared_se
        Standard error that all places share, inside `se`.
    message
        What to say where no pattern is shown, else empty.
    """

    mean: NDArray[np.float64]
    se: NDArray[np.float64]
    method: str
    fit: SurfaceFit | None
    shared_se: float
    message: str

    @property
    def has_pattern(self) -> bool:
        """Whether the samples show a pattern that improves on the field average."""
        return self.fit is not None and self.fit.method != "field mean"


@dataclass(frozen=True)
class Strata:
    """Blocks with different cover crops differ in mean: the stratum of each sample and of each block.

    `of_samples` is None where all are one.
    """

    of_samples: NDArray[np.int64] | None
    of_blocks: NDArray[np.int64]
    warnings: tuple[str, ...]

    def of_cells(self, block: NDArray[np.int16]) -> NDArray[np.int64] | None:
        """The stratum of cells, by the number of their block."""
        return None if self.of_samples is None else self.of_blocks[block]


def cover_strata(plan: Plan, field: Field, samples: Samples) -> Strata:
    """Group the blocks by cover crop; each group needs a few samples to have a mean of its own."""
    covers = [plan.cover_crop_of(block.name).species for block in field.blocks]
    kinds = list(dict.fromkeys(covers))
    of_blocks = np.array([kinds.index(cover) for cover in covers])
    of_samples = of_blocks[samples.block]
    fewest = np.bincount(of_samples, minlength=len(kinds)).min()
    if len(kinds) == 1:
        return Strata(None, of_blocks, ())
    if fewest < STRATUM_SAMPLES_MIN:
        warning = (
            f"Blocks differ in cover crop, but one of these has only {fewest} samples: at least "
            f"{STRATUM_SAMPLES_MIN} are needed to give it a mean of its own. All blocks are mapped together."
        )
        return Strata(None, of_blocks, (warning,))
    return Strata(of_samples, of_blocks, ())


def map_biomass(samples: Samples, field: Field, strata: Strata) -> Surface:
    """Dry biomass, kg/ha, over the field."""
    return _interpolate(samples.coords_m, samples.dry_kg_ha, field, strata, unit="kg/ha")


def map_nitrogen(samples: Samples, nitrogen: SampleNitrogen, field: Field, strata: Strata) -> Surface:
    """%N of the residue over the field: a map where samples differ and are enough, else one value.

    One value is the mean of the samples weighted by their dry weight, as mixing the clippings would give.
    """
    values = nitrogen.nitrogen_pct
    if nitrogen.varies and len(samples) >= LEAST_SAMPLES:
        return _interpolate(samples.coords_m, values, field, strata, unit="%N", shared_se=nitrogen.se_pct)
    weights = np.maximum(samples.dry_kg_ha, 1.0)
    mean = float(np.average(values, weights=weights))
    of_mean = float(values.std(ddof=1)) / len(values) ** 0.5
    inside = field.inside
    se = float(np.hypot(nitrogen.se_pct, of_mean))
    cells = int(inside.sum())
    return Surface(
        _raster(np.full(cells, mean), inside), _raster(np.full(cells, se), inside), "one value", None, se, ""
    )


def _interpolate(
    coords_m: NDArray[np.float64],
    values: NDArray[np.float64],
    field: Field,
    strata: Strata,
    *,
    unit: str,
    shared_se: float = 0.0,
) -> Surface:
    """Map what cannot be negative."""
    fit = fit_surface(coords_m, values, strata=strata.of_samples)
    inside = field.inside
    found = predict(fit, field.grid.centres(inside), target_strata=strata.of_cells(field.block_index[inside]))
    return Surface(
        _raster(np.maximum(found.mean, 0.0), inside),
        _raster(np.hypot(found.se, shared_se), inside),
        fit.method,
        fit,
        shared_se,
        no_pattern_message(fit, unit) if fit.method == "field mean" else "",
    )


def draw(
    surface: Surface,
    row: NDArray[np.int64],
    column: NDArray[np.int64],
    grid: Grid,
    *,
    draws: int,
    seed: int,
    target_strata: NDArray[np.int64] | None,
) -> NDArray[np.float64]:
    """Joint draws of the latent surface at cells, (points, draws), never negative."""
    rng = np.random.default_rng(seed)
    shared = surface.shared_se * rng.standard_normal(draws)
    if surface.fit is None:
        return np.maximum(surface.mean[row, column][:, None] + shared, 0.0)
    coords_m = np.column_stack([grid.eastings()[column], grid.northings()[row]])
    mean, covariance = joint(surface.fit, coords_m, target_strata=target_strata)
    with one_blas_thread():  # small matrices: more threads only wait for each other
        drawn = mean[:, None] + _root(covariance) @ rng.standard_normal((len(mean), draws)) + shared
    positive: NDArray[np.float64] = np.maximum(drawn, 0.0)
    return positive


def _root(covariance: NDArray[np.float64]) -> NDArray[np.float64]:
    """A lower-triangular root; points close together are nearly equal, so a trace of independent noise is added."""
    largest = float(covariance.diagonal().max())
    if largest <= 0.0:
        return np.zeros_like(covariance)
    noise = 1e-8 * largest * np.eye(len(covariance))
    return np.asarray(np.linalg.cholesky(covariance + noise), dtype=np.float64)


def _raster(values: NDArray[np.float64], inside: NDArray[np.bool_]) -> NDArray[np.float64]:
    raster = np.full(inside.shape, np.nan)
    raster[inside] = values
    return raster
