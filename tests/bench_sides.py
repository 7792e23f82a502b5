"""Sides of a comparison made of counts, without logs, quick enough for thousands of jobs. All data are invented."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from flicker.evidence.compare.sides import Cycle, Side

HOUR = 3600.0


def side(
    runs: Sequence[tuple[float, Sequence[float]]],
    *,
    known: bool = True,
    start: str = "cold",
    length_s: float = 1.0,
    interval_s: float = 0.5,
) -> Side:
    """One side from (observed hours, episode times in hours) per power-up."""
    cycles = []
    for hours, times in runs:
        t = np.sort(np.asarray(times, dtype=np.float64)) * HOUR
        cycles.append(
            Cycle(
                known,
                start,
                np.array([[0.0, hours * HOUR]]),
                t,
                np.full(t.size, 0.2),
                np.column_stack((t, np.minimum(t + length_s, hours * HOUR))),
            )
        )
    return Side("left", tuple(cycles), 0.04, interval_s)


def drawn(
    rng: np.random.Generator,
    hours: Sequence[float],
    rate_per_h: float,
    *,
    burst: float = 1.0,
    gap_s: float = 20.0,
    heat: Callable[[np.ndarray], np.ndarray] | None = None,
) -> Side:
    """Draw a side: bursts of geometric size at a constant rate, thinned by ``heat`` (share kept, by hours of running).

    The dead time of ten seconds joins what is closer; ``rate_per_h`` counts single events.
    """
    runs = []
    for length in hours:
        first = rng.uniform(0.0, length, rng.poisson(rate_per_h / burst * length))
        if heat is not None:
            first = first[rng.random(first.size) < heat(first)]
        times = []
        for begin in first.tolist():
            size = int(rng.geometric(1.0 / burst))
            steps = rng.exponential(gap_s, size - 1) / HOUR
            times.extend((begin + np.concatenate(([0.0], np.cumsum(steps)))).tolist())
        t = np.sort(np.array([x for x in times if x < length]))
        if t.size:
            t = t[np.concatenate(([True], np.diff(t) > 11.0 / HOUR))]
        runs.append((length, t.tolist()))
    return side(runs)
