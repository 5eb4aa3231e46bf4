"""A fitted surface on the field's grid, and joint draws of it at some of its cells."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fieldmap.geostatistics import (
    LEAST_SAMPLES,
    MAP_MODEL,
    MOST_SAMPLES,
    Covariance,
    fit_surface,
    krige_local,
    next_samples,
    predict,
)
from fieldmap.stand.covariates import covariates_at_samples

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fieldmap.field import Field
    from fieldmap.geostatistics import SurfaceFit
    from fieldmap.stand.covariates import Covariates
    from fieldmap.stand.nitrogen import SampleNitrogen
    from fieldmap.stand.samples import Samples
    from fieldmap.stand.strata import Strata


NEXT_SAMPLES, NEXT_CANDIDATES = 3, 400
THINNED_SAMPLES, THINNING_SEED = 600, 20_260_503  # of a dense layer, for its covariance


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
    covariates
        Rasters behind the fit, (rows, columns, covariates); the last axis is empty without any.
    """

    mean: NDArray[np.float64]
    se: NDArray[np.float64]
    method: str
    fit: SurfaceFit | None
    shared_se: float
    covariates: NDArray[np.float64]

    @property
    def has_pattern(self) -> bool:
        """Whether the samples show a pattern that improves on the field average."""
        return self.fit is not None and self.fit.method != "field mean"


def map_biomass(samples: Samples, field: Field, strata: Strata, covariates: Covariates) -> Surface:
    """Dry biomass, kg/ha, over the field."""
    return _interpolate(samples, samples.dry_kg_ha, field, strata, covariates.rasters)


def map_nitrogen(samples: Samples, nitrogen: SampleNitrogen, field: Field, strata: Strata) -> Surface:
    """%N of the residue over the field: a map where samples differ and are enough, else one value.

    One value is the mean of the samples weighted by their dry weight, as mixing the clippings would give.
    """
    values = nitrogen.nitrogen_pct
    if nitrogen.varies and len(samples) >= LEAST_SAMPLES:
        none = np.empty((*field.grid.shape, 0))  # what tracks mass need not track nitrogen
        return _interpolate(samples, values, field, strata, none, shared_se=nitrogen.se_pct)
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
        np.empty((*field.grid.shape, 0)),
    )


def _interpolate(
    samples: Samples,
    values: NDArray[np.float64],
    field: Field,
    strata: Strata,
    covariates: NDArray[np.float64],
    *,
    shared_se: float = 0.0,
) -> Surface:
    """Map what cannot be negative."""
    if len(samples) > MOST_SAMPLES:
        return _interpolate_dense(samples, values, field, shared_se=shared_se)
    inside = field.inside
    number = covariates.shape[-1]
    at_samples = [covariates_at_samples(covariates[..., k], samples, field) for k in range(number)]
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
        covariates,
    )


def _interpolate_dense(
    samples: Samples, values: NDArray[np.float64], field: Field, *, shared_se: float
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
        MAP_MODEL,
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


def _raster(values: NDArray[np.float64], inside: NDArray[np.bool_]) -> NDArray[np.float64]:
    raster = np.full(inside.shape, np.nan)
    raster[inside] = values
    return raster
