"""The kriging engine: covariances, exact and local kriging, the likelihood-averaged surface, its diagnostics."""

from fieldmap.geostatistics import covariate
from fieldmap.geostatistics.covariance import MAP_MODEL, Covariance
from fieldmap.geostatistics.drift import spread_within
from fieldmap.geostatistics.kriging import krige, leave_one_out
from fieldmap.geostatistics.likelihood import LEAST_SAMPLES
from fieldmap.geostatistics.local_kriging import krige_local
from fieldmap.geostatistics.next_samples import next_samples
from fieldmap.geostatistics.surface import (
    MOST_SAMPLES,
    SurfaceFit,
    fit_surface,
    joint,
    predict,
)
from fieldmap.geostatistics.tiles import one_blas_thread
from fieldmap.geostatistics.variogram import empirical_variogram, model_variograms

__all__ = [
    "LEAST_SAMPLES",
    "MAP_MODEL",
    "MOST_SAMPLES",
    "Covariance",
    "SurfaceFit",
    "covariate",
    "empirical_variogram",
    "fit_surface",
    "joint",
    "krige",
    "krige_local",
    "leave_one_out",
    "model_variograms",
    "next_samples",
    "one_blas_thread",
    "predict",
    "spread_within",
]
