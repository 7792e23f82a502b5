"""Is it getting worse? More often, larger, or worse with each power-up: episodes in, findings out.

Time since power-up and age are kept apart: within one run heat and wear cannot be told from each other, and a rate
that rises alike in every run is heat, not age. The tests are one-sided; their p-values are doubled, so that 'worse' is
said at half the error of the other words: it is the word that costs the owner most.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from flicker.base.limits import Limits
from flicker.evidence.findings import NOT_SHOWN, Finding
from flicker.evidence.questions.registry import question
from flicker.evidence.record import ChannelRecord
from flicker.stats.arrivals import SizeAgeTrend, age_trend, rate_trend_test, size_age_trend, size_trend_test

Floats = NDArray[np.float64]

FEWEST = 5  # episodes below which no trend test is put to the data
RATE_FACTOR = 1.5  # growth from start to end that matters; common practice, no source
SIZE_FACTOR = 1.5


@question(
    "more often",
    asks="More often as time goes on?",
    place=30,
    meaning="Do they come more often as a run goes on? From one run heat and wear cannot be told apart.",
    chart="cumulative",
)
def more_often(record: ChannelRecord, limits: Limits) -> Finding:
    """Do episodes come more often as a run goes on? Declustered Laplace and permutation of gaps, both demanded."""
    times, ends = record.per_cycle()
    count = sum(t.size for t in times)
    method = "widened Laplace test and permutation of the pauses, both demanded; of growth alone, p doubled"
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


@question(
    "larger",
    asks="Larger as time goes on?",
    place=40,
    meaning="Do they get larger?",
    chart="sizes",
)
def larger(record: ChannelRecord, by_age: SizeAgeTrend | None, limits: Limits) -> Finding:
    """Do excursions get larger, within the power-ups or from one to the next (``by_age``)? One-sided."""
    method = "rank correlation of size and time, by permutation of bursts; of growth alone, p doubled"
    sizes, times, cycles = _sizes(record)
    size = np.concatenate(sizes)
    if size.size < FEWEST:
        return Finding(
            "larger",
            NOT_SHOWN,
            method,
            f"{size.size} episodes are too few to see a trend in size (5 or more are needed).",
        )
    result = size_trend_test(size, np.concatenate(times), np.concatenate(cycles), confidence=limits.confidence)
    growth, low, high = float(result.growth), _finite(result.growth_low), _finite(result.growth_high)
    p, tau = float(result.p_value), float(result.tau)
    text = f"From the first to the last the size becomes {_times(growth)} what it was."
    if by_age is not None and by_age.dof > 0:
        # Two independent looks at one question: within the power-ups, and from one to the next.
        p = _joined(p, by_age.p_value)
        method += "; Student's t of the power-ups' mean log sizes; the two joined (Fisher)"
        text = f"From the first to the last power-up the size becomes {_times(by_age.growth)} what it was."
        if by_age.p_value <= float(result.p_value):
            growth, low, high = by_age.growth, _finite(by_age.low), _finite(by_age.high)
        else:
            text = f"Within the power-ups the size becomes {_times(growth)} what it was. {text}"
    return Finding(
        "larger",
        NOT_SHOWN,
        method,
        text,
        statistic=tau,
        p_value=min(1.0, 2.0 * p),
        sided="two",
        effect=growth if np.isfinite(growth) else None,
        low=low,
        high=high,
        unit="size at the end over size at the start",
        limit=SIZE_FACTOR,
        holds=growth >= SIZE_FACTOR,
    )


def _joined(*p: float) -> float:
    """One p-value from independent ones, any of which may carry the evidence (Fisher 1932, Statistical Methods)."""
    from scipy.special import chdtrc

    return float(chdtrc(2 * len(p), -2.0 * np.log(np.maximum(p, 1e-12)).sum()))


def size_by_age(record: ChannelRecord, limits: Limits) -> SizeAgeTrend | None:
    """Growth of the sizes from power-up to power-up; None where fewer than two of them show an episode."""
    sizes, _, cycles = _sizes(record)
    label = np.concatenate(cycles)
    size = np.concatenate(sizes)
    each = [size[label == cycle] for cycle in np.unique(label)]
    if len(each) < 2 or (size <= 0).any():
        return None
    return size_age_trend(each, order=np.unique(label), confidence=limits.confidence)


def _sizes(record: ChannelRecord) -> tuple[list[Floats], list[Floats], list[NDArray[np.int64]]]:
    """Sizes of the channel's own episodes, when they came on the power-up's observed clock, and in which power-up."""
    sizes, times, cycles = [], [], []
    clock: dict[int, float] = {}
    for place, (trace, cycle) in enumerate(zip(record.traces, record.cycle, strict=True)):
        before = clock.get(cycle, 0.0)
        keep = (record.episodes.run == place) & ~record.episodes.common
        sizes.append(record.episodes.size_V[keep])
        times.append(before + record.episodes.clock_s[keep])
        cycles.append(np.full(int(keep.sum()), cycle, dtype=np.int64))
        clock[cycle] = before + trace.observed_s
    return sizes, times, cycles


@question(
    "worse with age",
    asks="Worse from power-up to power-up?",
    place=50,
    meaning="Do later power-ups show more, at the same time since power-up?",
    chart="rates",
)
def worse_with_age(record: ChannelRecord, limits: Limits) -> Finding:
    """Do later power-ups show more? Risk sets: each episode against the runs that also reached its time since power-up."""
    times, ends = record.per_cycle()
    used = [(t, e) for t, e in zip(times, ends, strict=True) if e > 0]
    count = sum(t.size for t, _ in used)
    method = "risk-set score of later against earlier power-ups; of growth alone, p doubled"
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
