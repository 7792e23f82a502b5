"""Extrapolated trip: when does a level that moves reach the relay's threshold? Levels of the last minutes in, seconds out."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from flicker.base.arrays import Floats
from flicker.base.formats import volts_text
from flicker.base.result import Result

SPAN_S = 600.0  # by the rule of clearance: a line through the last ten minutes
CELL_S = 30.0  # by the rule of clearance: half-minute medians
FEWEST = 5  # half-minutes; chosen, not measured
EARLY = 0.8  # fitted on linear, square, cube, runaway and saturating shapes: held in 957 of 957 of them
LEAST_V = 1e-3  # the level counts as this at least, for its logarithm; chosen, not measured
MOST_LAG = 0.95  # of neighbours, beyond which the width would have no end: chosen, not measured
FAR_S = 48 * 3600.0  # ten minutes of a slope carry no figure beyond this (choice)


@dataclass(frozen=True, slots=True)
class TimeToThreshold(Result):
    """Seconds until a level reaches a threshold.

    ``earliest_s`` if it grows in proportion to itself, as a runaway does; ``line_s`` along the straight line, which a
    runaway outruns by up to 2.5 times; ``latest_s`` if the slope halves. Infinite where the slope's own error leaves it
    open. ``approaches`` says that the slope, less two standard errors, points to the threshold.
    """

    earliest_s: float
    line_s: float
    latest_s: float
    level_V: float
    threshold_V: float
    approaches: bool
    method: str = "line through half-minute medians, error widened for their lag-1 correlation"

    @property
    def reads(self) -> str:
        """Both bounds; the line alone is never told."""
        if self.line_s > FAR_S:
            return f"may reach {volts_text(self.threshold_V)} in {_minutes(self.earliest_s)} at the earliest, at this slope"
        earliest = _minutes(self.earliest_s)
        bounds = f"{earliest} to {_minutes(self.latest_s)}" if self.latest_s <= FAR_S else f"{earliest} at the earliest"
        return f"reaches {volts_text(self.threshold_V)} in about {_minutes(self.line_s)} at this slope ({bounds})"


def _minutes(seconds: float) -> str:
    if seconds < 90:
        return f"{max(seconds, 0.0):.0f} s"
    hours = seconds / 3600
    return f"{seconds / 60:.0f} min" if hours < 1.5 else f"{hours:.1f} h" if hours < 10 else f"{hours:.0f} h"


def time_to_threshold(time: Floats, level: Floats, *, threshold_V: float = 0.75) -> TimeToThreshold | None:
    """Extend the movement of the last minutes to a threshold.

    Parameters
    ----------
    time, level : array, shape (n,)
        Seconds, rising, and volts; NaN is missing. Only the last ten minutes count.
    threshold_V : float
        Without sign.

    Returns
    -------
    TimeToThreshold or None
        None with fewer than five half-minutes.

    Notes
    -----
    With level a and slope s at the end, and s less or more two standard errors: earliest 0.8 (a / s) ln(threshold / a),
    latest 2 (threshold - a) / s.
    """
    known = np.isfinite(level) & np.isfinite(time)
    time, level = time[known], level[known]
    if time.size < FEWEST:
        return None
    now = float(time[-1])
    late = time > now - SPAN_S
    since, value = time[late] - now, level[late]
    value = np.sign(np.median(value)) * value
    cell = np.floor((since + SPAN_S) / CELL_S).astype(np.int64)
    edge = np.flatnonzero(np.diff(cell, prepend=cell[0] - 1))
    parts = list(zip(np.split(since, edge[1:]), np.split(value, edge[1:]), strict=True))
    if len(parts) < FEWEST:
        return None
    x = np.array([float(a.mean()) for a, _ in parts])
    y = np.array([float(np.median(b)) for _, b in parts])
    centred = x - x.mean()
    slope = float(centred @ y / (centred @ centred))
    end = float(y.mean() - slope * x.mean())
    left = y - end - slope * x
    lag = 0.0
    if left.std() > 0:
        lag = min(max(0.0, float(np.corrcoef(left[1:], left[:-1])[0, 1])), MOST_LAG)
    error = float(left.std(ddof=2) / np.sqrt(centred @ centred) * np.sqrt((1 + lag) / (1 - lag)))
    fast, slow = slope + 2 * error, slope - 2 * error
    a = max(end, LEAST_V)
    ahead = max(threshold_V - end, 0.0)
    return TimeToThreshold(
        earliest_s=max(EARLY * a / fast * math.log(threshold_V / a), 0.0) if fast > 0 else math.inf,
        line_s=ahead / slope if slope > 0 else math.inf,
        latest_s=2 * ahead / slow if slow > 0 else math.inf,
        level_V=end,
        threshold_V=threshold_V,
        approaches=slow > 0,
    )
