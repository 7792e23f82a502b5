"""A soak in power cycles, where the rate depends on the time since power-up: how often to restart, how long to run."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from flicker.base import check
from flicker.base.formats import digits_text, share_text
from flicker.base.result import Result

MOST_CYCLES = 10**9


@dataclass(frozen=True, slots=True)
class CyclePlan(Result):
    """Power cycles that catch at least one episode with a promised chance."""

    cycles: int
    run_length: float
    exposure: float
    bench_time: float
    chance: float
    one_long_run: float
    confidence: float
    cool_down: float
    method: str

    @property
    def reads(self) -> str:
        """One sentence for the owner of the unit."""
        reads = (
            f"{self.cycles} power-ups of {digits_text(self.run_length, 3)} each "
            f"({digits_text(self.bench_time, 3)} on the bench, cooling included) show it at least once "
            f"with a chance of {share_text(self.chance)}"
        )
        if math.isfinite(self.one_long_run):
            return f"{reads}; one run without switching off would take {digits_text(self.one_long_run, 3)}"
        return reads


def plan_cycles(
    edges: Sequence[float] | ArrayLike,
    *,
    rates: Sequence[float] | ArrayLike | None = None,
    counts: Sequence[int] | ArrayLike | None = None,
    exposures: Sequence[float] | ArrayLike | None = None,
    cool_down: float = 0.0,
    run_length: float | None = None,
    confidence: float = 0.95,
    detectable_share: float = 1.0,
) -> CyclePlan:
    """Plan a soak in power cycles where the rate depends on time since power-up.

    Parameters
    ----------
    edges : array, shape (bins + 1,)
        Times since power-up, rising from 0; the rate is constant within a bin.
    rates : array, shape (bins,), optional
        Episodes per unit of time in each bin, taken as known. Give these, or ``counts`` and ``exposures``.
    counts, exposures : array, shape (bins,), optional
        Episodes and observed time per bin, summed over runs; their uncertainty is allowed for.
    cool_down : float
        Time off between two runs, in the unit of ``edges``.
    run_length : float, optional
        Length of each run, at most the last edge. If not given, the length that takes the least bench time.
    confidence : float
        Between 0 and 1.
    detectable_share : float
        Share of the episodes that the soak can see, in (0, 1].

    Returns
    -------
    CyclePlan
        ``.cycles .run_length .exposure .bench_time``, and ``.one_long_run``: the time of a single run that goes on at
        the rate of the last bin (infinite if that is 0).

    Notes
    -----
    Rates known: exp(-n sum(rate w)) for n runs that spend w in each bin. From counts: the product over bins of
    (T / (T + n w))^k, the predictive law of `hours_to_catch` bin by bin (a bin without an episode promises nothing).
    """
    e = check.finite_array("edges", edges, least=2)
    if e[0] != 0.0 or np.any(np.diff(e) <= 0):
        raise ValueError(f"edges must rise from 0, got {e.tolist()}")
    bins = e.size - 1
    confidence = check.share("confidence", confidence)
    cool = check.positive("cool_down", cool_down, what="a time", zero=True)
    seen = check.positive("detectable_share", detectable_share, what="a share")
    if seen > 1.0:
        raise ValueError(f"detectable_share must be above 0 and at most 1, got {seen}")
    if (rates is None) == (counts is None):
        raise ValueError("rates, or counts and exposures, must be given, one of the two")
    if rates is not None:
        r = check.finite_array("rates", rates)
        k, t = r, None
    else:
        k = check.whole_array("counts", counts if counts is not None else []).astype(np.float64)
        t = check.finite_array("exposures", exposures if exposures is not None else [])
        if t.size != bins or np.any(t < 0) or np.any((t == 0) & (k[: t.size] > 0)):
            raise ValueError(
                f"exposures must be one per bin ({bins}), above 0 where there is a count, got {t.tolist()}"
            )
    if k.size != bins or np.any(k < 0) or not np.any(k > 0):
        name = "rates" if t is None else "counts"
        raise ValueError(f"{name} must be one per bin ({bins}), 0 or more and not all 0, got {k.tolist()}")

    def log_miss(length: float, cycles: float) -> float:
        w = np.clip(length - e[:-1], 0.0, np.diff(e)) * seen * cycles
        if t is None:
            return -float(np.sum(k * w))
        some = k > 0
        return -float(np.sum(k[some] * np.log1p(w[some] / t[some])))

    target = math.log1p(-confidence)

    def cycles_for(length: float) -> int:
        high = 1
        while log_miss(length, high) > target:
            high *= 2
            if high > MOST_CYCLES:
                return MOST_CYCLES
        low = high // 2
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (middle, high) if log_miss(length, middle) > target else (low, middle)
        return high

    def bench(length: float, cycles: int) -> float:
        return cycles * length + (cycles - 1) * cool

    if run_length is None:
        # the bench time jumps where the number of cycles does, so lengths are tried on a grid within every bin
        lengths = np.unique(np.concatenate([np.linspace(e[i], e[i + 1], 41)[1:] for i in range(bins)]))
        plans = [(bench(x, n), x, n) for x in lengths.tolist() if (n := cycles_for(x)) < MOST_CYCLES]
        _, length, cycles = min(plans)
    else:
        length = check.positive("run_length", run_length, what="a time")
        if length > e[-1]:
            raise ValueError(f"run_length must be at most the last edge ({e[-1]}), got {length}")
        cycles = cycles_for(length)
        if cycles >= MOST_CYCLES:
            raise ValueError(f"run_length must reach a bin in which episodes were seen, got {length}")

    return CyclePlan(
        cycles=cycles,
        run_length=length,
        exposure=cycles * length,
        bench_time=bench(length, cycles),
        chance=-math.expm1(log_miss(length, cycles)),
        one_long_run=_one_long_run(e, k, t, seen, target),
        confidence=confidence,
        cool_down=cool,
        method="rates known" if t is None else "predictive, rates from the episodes seen",
    )


def _one_long_run(edges: np.ndarray, k: np.ndarray, t: np.ndarray | None, seen: float, target: float) -> float:
    """Length of one run that stays at the last bin's rate, and reaches the promise."""
    widths = np.diff(edges)

    def log_miss(length: float) -> float:
        w = np.clip(length - edges[:-1], 0.0, np.append(widths[:-1], math.inf)) * seen
        if t is None:
            return -float(np.sum(k * w))
        some = k > 0
        return -float(np.sum(k[some] * np.log1p(w[some] / t[some])))

    high = float(edges[-1])
    while log_miss(high) > target:
        high *= 2.0
        if high > 1e9 * float(edges[-1]):
            return math.inf
    low = 0.0
    for _ in range(80):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if log_miss(middle) > target else (low, middle)
    return high
