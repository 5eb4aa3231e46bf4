"""A fitted surface on the field's grid, and joint draws of it at some of its cells."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.linalg.blas import dtrmm
from scipy.ndimage import distance_transform_edt

from fieldmap.covariance import Covariance
from fieldmap.covariate import SCALES_M, choose_scale, smooth
from fieldmap.diagnostics import next_samples
from fieldmap.drift import spread_within
from fieldmap.neighbours import krige_local
from fieldmap.surface import LEAST_SAMPLES, MOST_SAMPLES, fit_surface, joint, no_pattern_message, predict
from fieldmap.tiles import one_blas_thread

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fieldmap.field import Field, Grid
    from fieldmap.nitrogen import SampleNitrogen
    from fieldmap.plan import Plan
    from fieldmap.samples import Samples
from fieldmap.surface import SurfaceFit

STRATUM_SAMPLES_MIN = 3
NEXT_SAMPLES, NEXT_CANDIDATES = 3, 400
THINNED_SAMPLES, THINNING_SEED = 600, 20_260_503  # of a dense layer, for its covariance
COVARIATE_GAPS_MAX = 0.2  # of the field; a wider gap would be filled from too far away


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
    covariates
        Rasters behind the fit, (rows, columns, covariates); the last axis is empty without any.
    """

    mean: NDArray[np.float64]
    se: NDArray[np.float64]
    method: str
    fit: SurfaceFit | None
    shared_se: float
    message: str
    covariates: NDArray[np.float64]

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


@dataclass(frozen=True)
class Covariates:
    """Rasters that may track biomass, on the field's grid and at the window chosen for each.

    `rasters` is (rows, columns, covariates) without gaps inside the field; `scales_m` the windows they are
    averaged over.
    """

    rasters: NDArray[np.float64]
    scales_m: tuple[float, ...]
    warnings: tuple[str, ...]


def prepare_covariates(
    named: dict[str, NDArray[np.float64]], samples: Samples, field: Field, strata: Strata
) -> Covariates:
    """Choose for each covariate the window that predicts left-out samples best, and fill its gaps.

    One that is unknown over much of the field, or the same at all samples, is left out with a warning.
    """
    inside = field.inside
    kept, scales, warnings = [], [], []
    for name, raster in named.items():
        missing = float(np.isnan(raster[inside]).mean())
        if missing > COVARIATE_GAPS_MAX:
            warnings.append(f"{name} is unknown over {missing * 100:.0f} % of the field: it is left out.")
            continue
        whole = _filled(raster)
        versions = [smooth(whole, cell_m=field.grid.cell_m, scale_m=scale_m) for scale_m in SCALES_M]
        at_samples = np.column_stack([_at_samples(version, samples, field) for version in versions])
        stratum = np.zeros(len(samples), dtype=np.intp) if strata.of_samples is None else strata.of_samples
        if not spread_within(stratum, at_samples).any():
            each = "" if strata.of_samples is None else " of each cover crop"
            warnings.append(f"{name} has the same value at all samples{each}: it is left out.")
            continue
        chosen = choose_scale(samples.coords_m, samples.dry_kg_ha, at_samples, strata=strata.of_samples)
        kept.append(versions[chosen])
        scales.append(SCALES_M[chosen] or field.grid.cell_m)
    rasters = np.stack(kept, axis=-1) if kept else np.empty((*field.grid.shape, 0))
    return Covariates(rasters, tuple(scales), tuple(warnings))


def _filled(raster: NDArray[np.float64]) -> NDArray[np.float64]:
    """Unknown cells take the value of the nearest known one."""
    nearest = distance_transform_edt(np.isnan(raster), return_distances=False, return_indices=True)
    return np.asarray(raster[tuple(nearest)])


def _at_samples(raster: NDArray[np.float64], samples: Samples, field: Field) -> NDArray[np.float64]:
    """Values at the samples; one just off the grid takes the nearest cell's."""
    grid = field.grid
    half = grid.cell_m / 2
    east = np.clip(
        samples.coords_m[:, 0], grid.west_m + half, grid.west_m + grid.columns * grid.cell_m - half
    )
    north = np.clip(
        samples.coords_m[:, 1], grid.north_m - grid.rows * grid.cell_m + half, grid.north_m - half
    )
    return grid.values_at(np.column_stack([east, north]), raster)


def map_biomass(samples: Samples, field: Field, strata: Strata, covariates: Covariates) -> Surface:
    """Dry biomass, kg/ha, over the field."""
    return _interpolate(samples, samples.dry_kg_ha, field, strata, covariates.rasters, unit="kg/ha")


def map_nitrogen(samples: Samples, nitrogen: SampleNitrogen, field: Field, strata: Strata) -> Surface:
    """%N of the residue over the field: a map where samples differ and are enough, else one value.

    One value is the mean of the samples weighted by their dry weight, as mixing the clippings would give.
    """
    values = nitrogen.nitrogen_pct
    if nitrogen.varies and len(samples) >= LEAST_SAMPLES:
        none = np.empty((*field.grid.shape, 0))  # what tracks mass need not track nitrogen
        return _interpolate(samples, values, field, strata, none, unit="%N", shared_se=nitrogen.se_pct)
    weights = np.maximum(samples.dry_kg_ha, 1.0)
    mean = float(np.average(values, weights=weights))
    of_mean = float(values.std(ddof=1)) / len(values) ** 0.5
    inside = field.inside
    se = float(np.hypot(nitrogen.se_pct, of_mean))
    cells = int(inside.sum())
    return Surface(
        _raster(np.full(cells, mean), inside),
        _raster(np.full(cells, se), inside),
        "one value",
        None,
        se,
        "",
        np.empty((*field.grid.shape, 0)),
    )


def _interpolate(
    samples: Samples,
    values: NDArray[np.float64],
    field: Field,
    strata: Strata,
    covariates: NDArray[np.float64],
    *,
    unit: str,
    shared_se: float = 0.0,
) -> Surface:
    """Map what cannot be negative."""
    if len(samples) > MOST_SAMPLES:
        return _interpolate_dense(samples, values, field, unit=unit, shared_se=shared_se)
    inside = field.inside
    number = covariates.shape[-1]
    at_samples = [_at_samples(covariates[..., k], samples, field) for k in range(number)]
    fit = fit_surface(
        samples.coords_m,
        values,
        covariates=np.column_stack(at_samples) if at_samples else None,
        strata=strata.of_samples,
    )
    found = predict(
        fit,
        field.grid.centres(inside),
        target_covariates=covariates[inside] if number else None,
        target_strata=strata.of_cells(field.block_index[inside]),
    )
    return Surface(
        _raster(np.maximum(found.mean, 0.0), inside),
        _raster(np.hypot(found.se, shared_se), inside),
        fit.method,
        fit,
        shared_se,
        no_pattern_message(fit, unit) if fit.method == "field mean" else "",
        covariates,
    )


def _interpolate_dense(
    samples: Samples, values: NDArray[np.float64], field: Field, *, unit: str, shared_se: float
) -> Surface:
    """Map a dense sensor layer: its covariance from a thinning, each cell from the samples nearest to it.

    Neighbours this near leave nothing for covariates or strata to add. The joint error of zone means comes from
    the thinning, so it is on the cautious side.
    """
    kept = np.sort(np.random.default_rng(THINNING_SEED).permutation(len(samples))[:THINNED_SAMPLES])
    fit = fit_surface(samples.coords_m[kept], values[kept])
    models = fit.spatial
    best = int(np.argmax(models.weights))
    variance = float(fit.scale**2 * models.variances[best])
    share = float(models.shares[best])
    covariance = Covariance(
        "exponential",
        variance * share,
        float(fit.range_m[models.range_index[best]]),
        variance * (1.0 - share),
    )
    inside = field.inside
    mean, latent = krige_local(
        samples.coords_m, values, field.grid.centres(inside), covariance=covariance, variance="latent"
    )
    return Surface(
        _raster(np.maximum(mean, 0.0), inside),
        _raster(np.hypot(np.sqrt(np.maximum(latent, 0.0)), shared_se), inside),
        "kriging from near samples" if fit.method != "field mean" else fit.method,
        fit,
        shared_se,
        no_pattern_message(fit, unit) if fit.method == "field mean" else "",
        np.empty((*field.grid.shape, 0)),
    )


def where_next(surface: Surface, field: Field, strata: Strata) -> NDArray[np.float64]:
    """Where the next three samples would make the surface surest, (3, 2), easting and northing; best first."""
    row, column = np.nonzero(field.inside)
    chosen = np.linspace(0, len(row) - 1, min(NEXT_CANDIDATES, len(row))).astype(int)
    row, column = row[chosen], column[chosen]
    candidates = np.column_stack([field.grid.eastings()[column], field.grid.northings()[row]])
    if surface.fit is None or len(candidates) < NEXT_SAMPLES:
        return candidates[:0]
    best = next_samples(
        surface.fit,
        candidates,
        count=NEXT_SAMPLES,
        target_covariates=surface.covariates[row, column] if surface.covariates.shape[-1] else None,
        target_strata=strata.of_cells(field.block_index[row, column]),
    )
    return candidates[best]


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
    at_points = surface.covariates[row, column] if surface.covariates.shape[-1] else None
    mean, covariance = joint(surface.fit, coords_m, target_covariates=at_points, target_strata=target_strata)
    with one_blas_thread():  # small matrices: more threads only wait for each other
        # Half the work of @: the root is triangular. BLAS counts by columns, so all of it is transposed.
        normal = rng.standard_normal((len(mean), draws))
        drawn = np.asarray(dtrmm(1.0, _root(covariance).T, normal.T, side=1).T)
    drawn += mean[:, None]
    drawn += shared
    positive: NDArray[np.float64] = np.maximum(drawn, 0.0, out=drawn)
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
