"""Where a mask is True, as half-open ranges."""

from __future__ import annotations

import numpy as np

from flicker.base.arrays import Bools, Ints


def true_runs(mask: Bools) -> tuple[Ints, Ints]:
    """First and last (half open) index of each run of True."""
    edge = np.flatnonzero(np.diff(mask.astype(np.int8), prepend=0, append=0)).astype(np.int64, copy=False)
    return edge[::2], edge[1::2]
