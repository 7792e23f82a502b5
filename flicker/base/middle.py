"""Medians of many finite values, the same as numpy's, which are four to nine times slower.

Numpy's partition at several ranks at once has no vector instructions; its partition at one rank and its sort have (2.4).
"""

from __future__ import annotations

import numpy as np

from flicker.base.arrays import Floats


def median(values: Floats) -> float:
    """Median of an array of finite values, shape (n,), one at least."""
    half = values.size // 2
    parted = np.partition(values, half)
    return float(parted[half]) if values.size % 2 else 0.5 * float(parted[:half].max() + parted[half])


def row_medians(rows: Floats) -> Floats:
    """Median of each row of a table of finite values."""
    ranked, half = np.sort(rows, axis=1), rows.shape[1] // 2
    return np.asarray(ranked[:, half] if rows.shape[1] % 2 else 0.5 * (ranked[:, half - 1] + ranked[:, half]))
