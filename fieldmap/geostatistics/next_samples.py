"""Where the next samples would help most."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fieldmap.geostatistics.surface import joint

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from fieldmap.geostatistics.surface import SurfaceFit


def next_samples(
    fit: SurfaceFit,
    candidates: ArrayLike,
    *,
    count: int = 3,
    target_covariates: ArrayLike | None = None,
    target_strata: ArrayLike | None = None,
) -> NDArray[np.intp]:
    """Where further samples would make the surface surest: one after another, each given those before.

    Each choice lowers the mean variance of the surface over all candidates most, as far as that is known
    before sampling; so give candidates that cover the field evenly.

    Parameters
    ----------
    fit
        From `fieldmap.surface.fit_surface`.
    candidates
        Possible places, (m, 2), metres; a few hundred.
    count
        Number of samples to place.
    target_covariates, target_strata
        As for `fieldmap.surface.predict`.

    Returns
    -------
    index
        Rows of `candidates`, best first, (count,).
    """
    _, covariance = joint(fit, candidates, target_covariates=target_covariates, target_strata=target_strata)
    if not 0 < count <= len(covariance):
        raise ValueError(f"count is {count}; expected 1 to {len(covariance)}, the number of candidates")
    noise = fit.scale**2 * fit.nugget + 1e-12 * covariance.trace() + np.finfo(float).tiny
    chosen: list[int] = []
    for _ in range(count):
        gain = (covariance**2).sum(axis=0) / (covariance.diagonal() + noise)
        gain[chosen] = -1.0
        best = int(np.argmax(gain))
        chosen.append(best)
        column = covariance[:, best]
        covariance = covariance - np.outer(column, column) / (column[best] + noise)
    return np.array(chosen)
