"""How large may the next episodes get? Peaks in, a tail and its limits out. Knows nothing of loudspeakers or relays.

A tail fitted to few peaks says little: the range of shapes is stated, chances are calibrated by simulation, and below
20 peaks only an upper bound is given, beside the exact count of peaks above the level.
"""

from __future__ import annotations

from flicker.stats.extremes.peaks import SHAPE_RANGE, TailChance, TailFit, fit_tail

__all__ = ["SHAPE_RANGE", "TailChance", "TailFit", "fit_tail"]
