"""How large may the next episodes get? Peaks in, a tail and its limits out. Knows nothing of loudspeakers or relays.

A tail fitted to few peaks says little: the range of shapes is stated, intervals are calibrated by simulation, and below
20 peaks only an upper bound is given, beside the exact count of peaks above the level.
"""

from __future__ import annotations

from flicker.stats.extremes.exceedance import ReturnLevel
from flicker.stats.extremes.peaks import SHAPE_RANGE, PeakShare, TailChance, TailFit, fit_tail, share_above
from flicker.stats.extremes.tail_trend import MaximaFit, TailTrend, fit_maxima, tail_trend_test

__all__ = [
    "SHAPE_RANGE",
    "MaximaFit",
    "PeakShare",
    "ReturnLevel",
    "TailChance",
    "TailFit",
    "TailTrend",
    "fit_maxima",
    "fit_tail",
    "share_above",
    "tail_trend_test",
]
