"""Parts of a field whose covers differ in mean."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from fieldmap.plan import CoverCrop
    from fieldmap.stand.samples import Samples


STRATUM_SAMPLES_MIN = 3


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


def cover_strata(covers: Sequence[CoverCrop], samples: Samples) -> Strata:
    """Group the blocks by cover crop, one each; a group needs a few samples to have a mean of its own."""
    species = [cover.species for cover in covers]
    kinds = list(dict.fromkeys(species))
    of_blocks = np.array([kinds.index(one) for one in species])
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
