"""Chances and critical values between the entries of a simulated table."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

TAILS = (0.5, 0.2, 0.1, 0.05, 0.02, 0.01, 0.005, 0.002, 0.001)  # chances for which every table has its values


def tail_chance(quantiles: Sequence[float], value: float, power: float) -> float:
    """Return the chance of passing ``value``: logarithms between entries, a power law beyond, a line below."""
    if value <= quantiles[0]:
        return float(1 - (1 - TAILS[0]) * max(value, 0.0) / quantiles[0])
    if value >= quantiles[-1]:
        return float(TAILS[-1] * (quantiles[-1] / value) ** power) if np.isfinite(value) else 0.0
    return float(np.exp(np.interp(np.log(value), np.log(quantiles), np.log(TAILS))))


def tail_value(quantiles: Sequence[float], tail: float) -> float:
    """Return the value passed with chance ``tail``."""
    if tail >= TAILS[0]:
        return float(quantiles[0] * (1 - tail) / (1 - TAILS[0]))
    return float(np.exp(np.interp(-np.log(tail), -np.log(TAILS), np.log(quantiles))))
