"""On which range was the meter? Readings in; stretches by their last digit, and where a range begins, out.

A meter that changes range by itself shows coarser digits above some reading; one whose range was turned by hand shows
coarser digits from some moment on. Common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from flicker.base.arrays import Bools, Floats

# Chosen, not measured one by one; together: tests/studies/results/connection.md.
FACTORS = (10.0, 100.0, 1000.0)  # by definition: ranges of a meter are decades apart
LEAST_S = 60.0  # shortest stretch in one range
LEAST_READINGS = 60  # in it
LEAST_CHANGES = 5  # of the reading in it
LEAST_LARGE = 8  # readings above a range border: the chance that fine ones all end in 0 is 1e-8
COUNTS = 4.0  # what is smaller than four steps of the last digit cannot be told from rounding


class RangeSpan(NamedTuple):
    """A stretch on one range of the meter, with its last digit."""

    begin_s: float
    end_s: float
    resolution_V: float


class Ranges(NamedTuple):
    """Ranges of one channel in one run.

    ``spans`` cover the run; ``upper_V`` is the reading beyond which the meter changes to a coarser range by itself
    (infinite where it was not seen to).
    """

    spans: tuple[RangeSpan, ...]
    upper_V: float

    @property
    def changes_s(self) -> tuple[float, ...]:
        """When the range changed."""
        return tuple(span.begin_s for span in self.spans[1:])

    def cannot_tell(self, limit_V: float) -> str | None:
        """Return the sentence for a limit that a range hides, or None."""
        hidden = [span for span in self.spans if COUNTS * span.resolution_V > limit_V]
        if not hidden:
            return None
        digit = max(span.resolution_V for span in hidden)
        return (
            f"this range cannot tell: its last digit is {1e3 * digit:g} mV, so nothing under "
            f"{1e3 * COUNTS * digit:g} mV shows; use a finer range"
        )


def find_ranges(
    time_s: Floats, value_V: Floats, extremes_V: Sequence[Floats], resolution_V: float, end_s: float
) -> Ranges:
    """Find the range segments of a channel.

    Parameters
    ----------
    time_s, value_V : array, shape (n,)
        Readings in time order, finite.
    extremes_V : sequence of arrays
        More readings without time (the largest and smallest of each block); NaN are passed over.
    resolution_V : float
        Finest last digit of the channel; 0 where there is none (then there is one range).
    end_s : float
        End of the run.
    """
    whole = RangeSpan(0.0, end_s, resolution_V)
    if resolution_V <= 0 or value_V.size < LEAST_READINGS:
        return Ranges((whole,), np.inf)
    upper = _upper([value_V, *extremes_V], resolution_V)
    borders: list[RangeSpan] = []
    # Large readings of an automatic range change are no change made by hand.
    keep = np.abs(value_V) <= upper
    time, value = time_s[keep], value_V[keep]
    covered = np.zeros(time.size, dtype=bool)
    for factor in reversed(FACTORS):
        digit = factor * resolution_V
        fine = ~_multiple(value, digit) & ~covered
        for first, last in _stretches_without(fine):
            if covered[first:last].any() or last - first < LEAST_READINGS or time[last - 1] - time[first] < LEAST_S:
                continue
            part = value[first:last]
            if np.count_nonzero(np.diff(part)) < LEAST_CHANGES:
                continue  # a reading that hardly moves does not show its digit
            borders.append(RangeSpan(float(time[first]), float(time[last - 1]), digit))
            covered[first:last] = True
    if not borders:
        return Ranges((whole,), upper)
    borders.sort(key=lambda span: span.begin_s)
    step = float(np.median(np.diff(time))) if time.size > 1 else 0.0
    out: list[RangeSpan] = []
    at = 0.0
    for span in borders:
        if span.begin_s > at + step:
            out.append(RangeSpan(at, span.begin_s, resolution_V))
            at = span.begin_s
        end = span.end_s + step if span.end_s + 2 * step < end_s else end_s
        out.append(RangeSpan(at, end, span.resolution_V))
        at = end
    if at < end_s:
        out.append(RangeSpan(at, end_s, resolution_V))
    return Ranges(tuple(out), upper)


def _multiple(value: Floats, step: float) -> Bools:
    ratio = value / step
    return np.asarray(np.abs(ratio - np.round(ratio)) < 1e-4)


def _upper(parts: Sequence[Floats], resolution_V: float) -> float:
    """The reading beyond which all are multiples of a coarser digit; infinite where there is none."""
    size = np.concatenate(parts)
    np.abs(size, out=size)
    for factor in FACTORS:
        border = _largest_between(size, factor * resolution_V)
        if border is None:
            continue
        above = np.unique(size[size > border]).size
        # The lowest factor decides: on a 100 times coarser range readings are multiples of 10 as well.
        if above >= LEAST_LARGE and border > 50.0 * resolution_V:
            return border
        break
    return np.inf


def _largest_between(size: Floats, step: float) -> float | None:
    """Largest of some sizes that is no multiple of a step; the larger half of the scale first, where it mostly lies."""
    while (top := float(np.fmax.reduce(size, initial=0.0))) > 0.0:
        large = size[size >= 0.5 * top]
        between = large[~_multiple(large, step)]
        if between.size:
            return float(between.max())
        size = size[size < 0.5 * top]
    return None


def _stretches_without(flag: Bools) -> list[tuple[int, int]]:
    """Index ranges of at least `LEAST_READINGS` without a flag."""
    stop = np.flatnonzero(np.concatenate(([True], flag, [True])))
    long = np.flatnonzero(np.diff(stop) > LEAST_READINGS)
    return [(int(stop[k]), int(stop[k + 1]) - 1) for k in long]
