"""A surveyed stand: field, samples, and the surfaces of biomass and %N."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

    from fieldmap.field import Field
    from fieldmap.stand.nitrogen import SampleNitrogen
    from fieldmap.stand.samples import Samples
    from fieldmap.stand.samplings import Growth, Sampling
    from fieldmap.stand.strata import Strata
    from fieldmap.stand.surfaces import Surface


@dataclass(frozen=True)
class Stand:
    """What grows where.

    Nothing here depends on crop, need, credit, product or zones: it can be kept while those are tried. `key` is a
    fingerprint of what it was surveyed from.

    `samples` and `nitrogen` are of the last sampling, `samplings` lists all, `growths` each block's since the last,
    in the order of the field's blocks; surfaces are on the field's grid; `next_samples_m` (k, 2) is where more
    samples would help most; `weather` the daily table, None where the plan names none.
    """

    key: str
    field: Field
    weather: pd.DataFrame | None
    samples: Samples
    nitrogen: SampleNitrogen
    samplings: tuple[Sampling, ...]
    growths: tuple[Growth | None, ...]
    strata: Strata
    biomass: Surface
    nitrogen_pct: Surface
    next_samples_m: NDArray[np.float64]
    file_warnings: tuple[str, ...]
    map_warnings: tuple[str, ...]

    def mean_nitrogen_pct(self, block: int) -> float:
        """%N of the residue of a block, by its number, mixed by dry weight."""
        cells = self.field.block_index == block
        weights = np.maximum(self.biomass.mean[cells], 1.0)
        return float(np.average(self.nitrogen_pct.mean[cells], weights=weights))
