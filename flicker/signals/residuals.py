"""What moves within a short stretch: residuals less the middle of their own stretch."""

from __future__ import annotations

import numpy as np

from flicker.base.arrays import Floats
from flicker.signals.order_statistics import group_quantiles
from flicker.signals.trace import Trace

FEWEST = 24  # readings in a stretch, so that its middle is worth taking off; chosen, not measured


def local_residual(trace: Trace, width_s: float, *, calm: bool = False) -> Floats:
    """Residuals of a trace less the median of the stretch of ``width_s`` they lie in.

    With ``calm`` readings beyond the leaving threshold are left out.
    """
    time, value = trace.residual_s, trace.residual_V
    if calm:
        keep = np.abs(value) <= trace.leave_V
        time, value = time[keep], value[keep]
    if time.size == 0:
        return value
    spacing = float(np.median(np.diff(time))) if time.size > 1 else 1.0
    group = np.floor(time / max(width_s, FEWEST * spacing)).astype(np.int64)
    numbers, (middle,) = group_quantiles(group, value, (0.5,))
    return np.asarray(value - middle[np.searchsorted(numbers, group)])
