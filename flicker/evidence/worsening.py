"""Is it getting worse? More often, larger, or worse with each power-up: episodes in, findings out.

Time since power-up and age are kept apart: within one run heat and wear cannot be told from each other, and a rate
that rises alike in every run is heat, not age. The tests are one-sided; their p-values are doubled, so that 'worse' is
said at half the error of the other words: it is the word that costs the owner most.
"""

from __future__ import annotations

import numpy as np

from flicker.evidence.findings import NOT_SHOWN, Finding
from flicker.evidence.limits import Limits
from flicker.evidence.record import ChannelRecord
from flicker.stats.arrivals import age_trend, rate_trend_test, size_trend_test

FEWEST = 5  # episodes below which no trend test is put to the data
RATE_FACTOR = 1.5  # growth from start to end that matters; common practice, no source
SIZE_FACTOR = 1.5


def more_often(record: ChannelRecord, limits: Limits) -> Finding:
    """Do episodes come more often as a run goes on? Declustered Laplace and permutation of gaps, both demanded."""
    times, ends = record.per_cycle()
    count = sum(t.size for t in times)
    method = "widened Laplace test and permutation of the pauses, both demanded, one-sided"
    if count < FEWEST:
        return Finding(
            "more often", NOT_SHOWN, method, f"{count} episodes are too few to see a trend (5 or more are needed)."
        )
    used = [(t, e) for t, e in zip(times, ends, strict=True) if e > 0]
    result = rate_trend_test([t for t, _ in used], [e for _, e in used], dead_time=record.dead_time_s)
    factor = float(result.rate_factor)
    holds = factor >= RATE_FACTOR
    if len(used) == 1:
        text = f"The rate at the end is {_times(factor)} that at the start of this run; heat and wear cannot be told apart from one run: repeat from cold."
    else:
        text = f"Within the runs the rate at the end is {_times(factor)} that at the start: a matter of time since power-up."
    return Finding(
        "more often",
        NOT_SHOWN,
        method,
        text,
        statistic=float(result.z),
        p_value=min(1.0, 2.0 * float(result.p_value)),
        sided="two",
        effect=factor if np.isfinite(factor) else None,
        unit="rate at the end over rate at the start",
        limit=RATE_FACTOR,
        holds=holds,
    )


def larger(record: ChannelRecord, limits: Limits) -> Finding:
    """Do excursions get larger? Rank correlation of size and time within power-ups, by permutation, one-sided."""
    method = "rank correlation of size and time, by permutation of bursts, one-sided"
    sizes, times, cycles = [], [], []
    clock: dict[int, float] = {}
    for place, (trace, cycle) in enumerate(zip(record.traces, record.cycle, strict=True)):
        before = clock.get(cycle, 0.0)
        keep = (record.episodes.run == place) & ~record.episodes.common
        sizes.append(record.episodes.size_V[keep])
        times.append(before + record.episodes.clock_s[keep])
        cycles.append(np.full(int(keep.sum()), cycle))
        clock[cycle] = before + trace.observed_s
    size = np.concatenate(sizes)
    if size.size < FEWEST:
        return Finding(
            "larger",
            NOT_SHOWN,
            method,
            f"{size.size} episodes are too few to see a trend in size (5 or more are needed).",
        )
    result = size_trend_test(size, np.concatenate(times), np.concatenate(cycles), confidence=limits.confidence)
    growth = float(result.growth)
    return Finding(
        "larger",
        NOT_SHOWN,
        method,
        f"From the first to the last the size becomes {_times(growth)} what it was.",
        statistic=float(result.tau),
        p_value=min(1.0, 2.0 * float(result.p_value)),
        sided="two",
        effect=growth if np.isfinite(growth) else None,
        low=_finite(result.growth_low),
        high=_finite(result.growth_high),
        unit="size at the end over size at the start",
        limit=SIZE_FACTOR,
        holds=growth >= SIZE_FACTOR,
    )


def worse_with_age(record: ChannelRecord, limits: Limits) -> Finding:
    """Do later power-ups show more? Risk sets: each episode against the runs that also reached its time since power-up."""
    times, ends = record.per_cycle()
    used = [(t, e) for t, e in zip(times, ends, strict=True) if e > 0]
    count = sum(t.size for t, _ in used)
    method = "risk-set score of later against earlier power-ups, one-sided"
    if len(used) < 2:
        return Finding(
            "worse with age", NOT_SHOWN, method, "One power-up cannot tell age from heat: log several, from cold."
        )
    if count < FEWEST:
        return Finding(
            "worse with age",
            NOT_SHOWN,
            method,
            f"{count} episodes are too few to compare power-ups (5 or more are needed).",
        )
    result = age_trend([t for t, _ in used], [e for _, e in used], alternative="increasing")
    steps = len(used) - 1
    factor = float(result.rate_factor) ** steps
    caution = f" {result.caution[0].upper()}{result.caution[1:].rstrip('.')}." if result.caution else ""
    return Finding(
        "worse with age",
        NOT_SHOWN,
        method + (", by permutation of runs" if result.permuted else ", Poisson"),
        f"The last power-up shows {_times(factor)} the rate of the first at the same time since power-up.{caution}",
        statistic=float(result.statistic),
        p_value=min(1.0, 2.0 * float(result.p_value)),
        sided="two",
        effect=factor if np.isfinite(factor) else None,
        unit="rate in the last over rate in the first power-up",
        limit=RATE_FACTOR,
        holds=factor >= RATE_FACTOR,
    )


def _times(factor: float) -> str:
    """A factor without false precision."""
    if not np.isfinite(factor) or factor > 100.0:
        return "more than 100 times"
    return "less than a tenth of" if factor < 0.1 else f"about {factor:.2g} times"


def _finite(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None
