"""Do two runs hold the same readings? A digest of each run, so that thousands of runs are compared in one pass.

Names, clocks and files do not enter the digest: a copy under another name is a copy.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence

import numpy as np

from flicker.base.arrays import Floats
from flicker.signals.trace import RunTraces


def bits(values: Floats) -> bytes:
    """Readings as bytes, with one bit pattern for every NaN and for both zeros."""
    return (np.where(np.isnan(values), np.nan, values).astype(np.float64) + 0.0).tobytes()


def readings_digest(run: RunTraces, blocks: int | None = None) -> bytes | None:
    """Digest of a run's readings, channel by channel in their order; None where the run says too little to tell.

    A run without channels, of fewer than two blocks, or with a channel that never moves looks like many others. With
    ``blocks`` only so many are taken, from its beginning; a shorter run has no such head.
    """
    if not run.traces:
        return None
    digest = hashlib.blake2b(digest_size=16)
    for part in run.blocks.channels:
        mean, high, low = part.mean[:blocks], part.high[:blocks], part.low[:blocks]
        if mean.size < (blocks or 2) or not np.fmax.reduce(high) > np.fmin.reduce(low):
            return None
        digest.update(mean.size.to_bytes(8, "little"))
        for values in (mean, high):
            digest.update(bits(values))
    return digest.digest()


def same_readings(runs: Sequence[RunTraces]) -> list[tuple[int, ...]]:
    """Groups of two or more runs with the same readings, as places in ``runs``, in order."""
    places: dict[bytes, list[int]] = {}
    if len(runs) < 2:
        return []
    for place, run in enumerate(runs):
        digest = readings_digest(run)
        if digest is not None:
            places.setdefault(digest, []).append(place)
    return [tuple(group) for group in places.values() if len(group) > 1]
