"""Work on many targets at once: tiles that stay in the processor's cache, shared by two threads."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from functools import cache
from typing import TYPE_CHECKING

import numpy as np
from threadpoolctl import ThreadpoolController

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from contextlib import AbstractContextManager


THREADS = 2
TILE_ELEMENTS = 2**17  # samples × targets of a tile: 1 MB of correlations


@cache
def _libraries() -> ThreadpoolController:
    """Find the linear algebra libraries once: looking for them takes longer than a small kriging."""
    return ThreadpoolController()


def one_blas_thread() -> AbstractContextManager[object]:
    """Keep linear algebra to the calling thread; its idle helpers would spin on the core a tile needs."""
    limited: AbstractContextManager[object] = _libraries().limit(limits=1, user_api="blas")
    return limited


def tile_width(samples: int) -> int:
    """Targets in a tile whose correlations with that many samples stay in the level 2 cache."""
    return int(np.clip(TILE_ELEMENTS // samples, 256, 4096))


def share_tiles(targets: int, width: int, worker: Callable[[Iterator[slice]], None]) -> None:
    """Let threads work through tiles of the targets; each calls `worker(tiles)` once.

    `tiles` is shared: every thread takes the next slice, at most `width` long, until none is left. So a
    worker allocates its buffers once.
    """
    tiles = iter([slice(start, min(start + width, targets)) for start in range(0, targets, width)])
    with one_blas_thread(), ThreadPoolExecutor(THREADS) as pool:
        for thread in [pool.submit(worker, tiles) for _ in range(THREADS)]:
            thread.result()
