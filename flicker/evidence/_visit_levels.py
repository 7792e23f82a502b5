"""Settled level, noise and surge from visit to visit, against what the meter can tell."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from flicker.evidence.findings import NO, NOT_SHOWN, YES
from flicker.evidence.limits import Limits
from flicker.evidence.record import ChannelRecord
from flicker.stats._result import Result

if TYPE_CHECKING:
    from flicker.evidence.assessment import ChannelAssessment
    from flicker.evidence.case import Meter

Floats = NDArray[np.float64]

FEWEST_RUNS = 5  # power-ups below which no trend test can show anything at 95 %
NAMES = {"settled level": "settled level", "noise": "noise at rest", "surge": "surge at power-up"}


@dataclass(frozen=True, slots=True)
class QuantityTrend(Result):
    """One quantity over visits.

    ``answer``: 'yes', it moved by more than ``limit_V``, beyond what both readings may be off (``off_by_V``, together)
    and what one visit shows by itself (``spread_V``); 'no', it moved by less than the limit for certain; 'not shown'
    otherwise, with the ``reason``. ``p_value`` is that of a trend over all power-ups, where five or more were seen.
    """

    quantity: str
    answer: str
    first_V: float | None
    last_V: float | None
    moved_V: float | None
    off_by_V: float
    spread_V: float
    limit_V: float
    p_value: float | None
    reason: str
    method: str
    reads: str


def quantity_trends(
    items: Sequence[ChannelAssessment], records: Sequence[ChannelRecord], limits: Limits, meter: Meter | None
) -> tuple[QuantityTrend, ...]:
    """Compare the last visit with the first: settled level, noise, surge."""
    if len(items) < 2:
        return ()
    digit = max((trace.resolution_V for record in records for trace in record.traces), default=0.0)
    levels, noises = [], []
    for record in records:
        seen = [trace for trace in record.traces if trace.baseline is not None and trace.observed_s > 0]
        levels.append(np.array([trace.level_V for trace in seen], dtype=np.float64))
        noises.append(np.array([trace.sigma_V for trace in seen], dtype=np.float64))
    surges = [np.array([up.surge_V for up in item.power_up if np.isfinite(up.surge_V)]) for item in items]
    return (
        _trend("settled level", levels, limits.drift_V, meter, digit),
        _trend("noise", noises, limits.noise_V, None, digit),
        _trend("surge", surges, limits.excursion_V, meter, digit),
    )


def _trend(name: str, visits: Sequence[Floats], limit_V: float, meter: Meter | None, digit_V: float) -> QuantityTrend:
    method = "last visit less first, against both accuracies and the spread within a visit; Mann-Kendall over power-ups"
    known = [values for values in visits if values.size]
    if len(known) < 2:
        reason = "seen at fewer than two visits"
        return QuantityTrend(
            name, NOT_SHOWN, None, None, None, 0.0, 0.0, limit_V, None, reason, method,
            f"The {NAMES[name]} was seen at fewer than two visits.",
        )  # fmt: skip
    first, last = (float(np.median(values)) for values in (known[0], known[-1]))
    off = 0.0
    for value in (first, last):
        told = None if meter is None else meter.off_by_V(value)
        off += max(told or 0.0, 0.5 * digit_V)
    spread = max(float(np.ptp(values)) for values in known)
    moved = last - first
    x = np.concatenate([np.full(values.size, k, dtype=np.float64) for k, values in enumerate(known)])
    y = np.concatenate(known)
    p_value = None
    if y.size >= FEWEST_RUNS and np.ptp(y) > 0:
        from flicker.stats.trends import mann_kendall

        p_value = float(mann_kendall(y, x).p_value)
    answer, reason = _answer(first, last, moved, off, spread, limit_V)
    sizes = f"{first * 1e3:.3g} mV at the first visit, {last * 1e3:.3g} mV at the last"
    text = {
        YES: f"The {NAMES[name]} moved by {moved * 1e3:+.3g} mV ({sizes}).",
        NO: f"The {NAMES[name]} stayed within {limit_V * 1e3:g} mV of what it was ({sizes}).",
    }.get(answer, f"A change of the {NAMES[name]} is not shown: {reason} ({sizes}).")
    return QuantityTrend(name, answer, first, last, moved, off, spread, limit_V, p_value, reason, method, text)


def _answer(first: float, last: float, moved: float, off: float, spread: float, limit: float) -> tuple[str, str]:
    size = abs(moved)
    if first * last < 0 and abs(first) > off and abs(first + last) <= off + spread:
        return NOT_SHOWN, "meter or leads; the sign is just reversed"
    if size <= off:
        return (NO if size + off < limit else NOT_SHOWN), "meter or leads; less than the accuracy of both readings"
    if size - off > limit and size > 2.0 * spread:
        return YES, ""
    if size + off < limit:
        return NO, ""
    return NOT_SHOWN, "no more than one visit shows by itself" if size <= 2.0 * spread else "about the limit"
