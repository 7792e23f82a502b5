"""A soak as power cycles: how long each, how many, from the run of the rate since power-up. One side in, a row out."""

from __future__ import annotations

import itertools
import math
from typing import Any

import numpy as np

from flicker.base.formats import hours_text
from flicker.base.limits import Limits
from flicker.base.result import plain
from flicker.base.units import HOUR
from flicker.evidence.compare.sides import Side
from flicker.evidence.record.power_up_counts import HEAT_S
from flicker.logs.spans import total, within
from flicker.stats.power_ups import clean_chance, power_ups_to_see


def power_cycles(side: Side, confidence: float, cool_h: float, limits: Limits) -> dict[str, Any] | None:
    """Plan in power cycles from the run of the rate since power-up, where two power-ups or more were seen.

    Notes
    -----
    The rate since power-up tells how many episodes a power-up of some length brings on average; how power-ups differ
    by themselves then sets how many of that length show the fault (`power_ups_to_see`). Of the lengths at which the
    rate is known to change the one with the least time on the bench is taken.
    """
    known = [cycle for cycle in side.cycles if cycle.known and cycle.start != "warm" and total(cycle.observed) > 0]
    if len(known) < 2:
        return None
    last = max(float(cycle.observed[-1, 1]) for cycle in known)
    edges = [edge for edge in (0.0, limits.warm_up_s, HEAT_S) if edge < last] + [last]
    parts = list(itertools.pairwise(edges))
    hours_of = np.array([[total(within(c.observed, low, high)) / HOUR for low, high in parts] for c in known])
    seen_of = np.array([[np.count_nonzero((c.episode_s >= a) & (c.episode_s < b)) for a, b in parts] for c in known])
    counts, hours = seen_of.sum(axis=0), hours_of.sum(axis=0)
    if counts.sum() == 0:
        return None
    per_h = counts / np.maximum(hours, 1e-12)
    edges_h = np.array(edges) / HOUR
    expected = np.concatenate(([0.0], np.cumsum(per_h * np.diff(edges_h))))  # of one power-up, by each edge
    seen, exposure = seen_of.sum(axis=1), hours_of @ per_h
    scatter = limits.power_up_scatter
    plans = []
    for length, mean in zip(edges_h[1:].tolist(), expected[1:].tolist(), strict=True):
        if mean > 0:
            found = power_ups_to_see(seen, exposure, length=mean, scatter=scatter, confidence=confidence)
            plans.append((found.power_ups * length + (found.power_ups - 1) * cool_h, length, found))
    bench, length, found = min(plans, key=lambda plan: plan[0])
    alone = _one_run(seen, exposure, expected, edges_h, float(per_h[-1]), scatter, confidence)
    said = f"{found.power_ups} power-up{'s' if found.power_ups > 1 else ''} of {hours_text(length)}"
    said += f" each, cooled for {hours_text(cool_h)} between ({hours_text(bench)} in all)." if found.power_ups > 1 else " from cold."
    return plain(  # type: ignore[no-any-return]
        {
            "cycles": found.power_ups,
            "run_length": length,
            "exposure": found.power_ups * length,
            "bench_time": bench,
            "chance": 1.0 - found.miss,
            "one_long_run": alone,
            "confidence": confidence,
            "cool_down": cool_h,
            "method": found.method,
            "counts": counts.tolist(),
            "hours": hours.tolist(),
            "edges_h": edges_h.tolist(),
            "reads": said,
        }
    )


def _one_run(
    seen: Any, exposure: Any, expected: Any, edges_h: Any, per_h: float, scatter: float, confidence: float
) -> float:
    """Hours of a single run that promise as much, at the rate of the last part; infinite where that is 0."""
    low, high = 0.0, max(float(expected[-1]), 1.0)
    while clean_chance(seen, exposure, 1, high, scatter=scatter) > 1.0 - confidence:
        low, high = high, 2.0 * high
    while high - low > 1e-3 * high:
        middle = 0.5 * (low + high)
        clean = clean_chance(seen, exposure, 1, middle, scatter=scatter) <= 1.0 - confidence
        low, high = (low, middle) if clean else (middle, high)
    if high <= expected[-1]:
        return float(np.interp(high, expected, edges_h))
    return float(edges_h[-1] + (high - expected[-1]) / per_h) if per_h > 0 else math.inf
