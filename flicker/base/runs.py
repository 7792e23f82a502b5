"""Where a mask is True, as half-open ranges."""

from __future__ import annotations

import numpy as np

from flicker.base.arrays import Bools, Ints


def true_runs(mask: Bools) -> tuple[Ints, Ints]:
    """First and last (half open) index of each run of True."""
    framed = np.zeros(mask.size + 2, dtype=np.bool_)
    framed[1:-1] = mask
    edge = np.flatnonzero(framed[1:] != framed[:-1]).astype(np.int64, copy=False)
    return edge[::2], edge[1::2]
