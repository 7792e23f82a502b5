"""Rate after over rate before, over power-ups that differ by themselves: figures, and what is still to be logged."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from flicker.base.result import Result
from flicker.stats.power_ups import RateComparison, rate_comparison

Floats = NDArray[np.float64]

MOST_POWER_UPS = 200  # beyond, no further power-up is asked for: a choice
ALONE = "one power-up a side cannot tell how far they differ: log a second"


@dataclass(frozen=True, slots=True)
class PowerUpRatio(Result):
    """One rate over another; two-sided limits, and both one-sided p-values.

    ``units`` and ``base_units`` are counted and expected episodes per power-up, arrays of shape (power-ups, 2).
    ``least_p_less`` is the smallest p that this number of events could have given (all of them before). ``alone`` tells
    that each side has one power-up, judged at a stated scatter.
    """

    count: int
    base_count: int
    ratio: float
    low: float
    high: float
    p_less: float
    p_greater: float
    least_p_less: float
    cv: float
    cv_high: float
    holds_less: float | None
    holds_greater: float | None
    alone: bool
    units: Floats
    base_units: Floats
    scatter: float
    confidence: float
    cautions: tuple[str, ...]
    method: str

    @property
    def p_value(self) -> float:
        """One-sided, in the direction of the ratio."""
        return min(self.p_less, self.p_greater)

    def needed_power_ups(self, error: float) -> int | None:
        """How many further clean power-ups like those after show a fall; 0 where shown, None where none would."""
        if self.base_count == 0 or not len(self.units):
            return None
        each = float(self.units[:, 1].mean())

        def shown(more: int) -> bool:
            units = np.vstack((self.units, np.column_stack((np.zeros(more), np.full(more, each)))))
            found = _compared(units, self.base_units, self.scatter, self.confidence)
            return found is not None and found.p_down <= error

        if shown(0):
            return 0
        low, high = 0, 1
        while not shown(high):
            low, high = high, 2 * high
            if high > MOST_POWER_UPS:
                return None
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (low, middle) if shown(middle) else (middle, high)
        return high


def power_up_ratio(units: Floats, base_units: Floats, *, scatter: float, confidence: float) -> PowerUpRatio:
    """Ratio of the rates of two sides; nothing is claimed where one of them was not observed or nothing was seen."""
    units, base_units = units[units[:, 1] > 0], base_units[base_units[:, 1] > 0]
    count, base = int(units[:, 0].sum()), int(base_units[:, 0].sum())
    found = _compared(units, base_units, scatter, confidence) if count + base else None
    method = "integrated likelihood over power-ups (negative binomial), expectations by risk sets"
    if found is None:
        return PowerUpRatio(
            count=count, base_count=base, ratio=math.nan, low=0.0, high=math.inf, p_less=1.0, p_greater=1.0, least_p_less=1.0, cv=math.nan, cv_high=math.nan, holds_less=None, holds_greater=None, alone=False, units=units,
            base_units=base_units, scatter=scatter, confidence=confidence, cautions=(), method=method,
        )  # fmt: skip
    # all of the events before, shared out as the expectations are
    all_before = base_units.copy()
    all_before[:, 0] = _shared_out(count + base, base_units[:, 1])
    none_after = units.copy()
    none_after[:, 0] = 0.0
    least = _compared(none_after, all_before, scatter, confidence)
    # the plain ratio goes with the rates that stand beside it; the limits are the engine's
    expected = float(units[:, 1].sum()), float(base_units[:, 1].sum())
    ratio = math.inf if base == 0 else (count / expected[0]) / (base / expected[1])
    return PowerUpRatio(
        count=count,
        base_count=base,
        ratio=ratio,
        low=found.low,
        high=found.high,
        p_less=found.p_down,
        p_greater=found.p_up,
        least_p_less=found.p_down if least is None else min(least.p_down, found.p_down),
        cv=found.cv,
        cv_high=found.cv_high,
        holds_less=found.holds_down,
        holds_greater=found.holds_up,
        alone=found.alone,
        units=units,
        base_units=base_units,
        scatter=scatter,
        confidence=confidence,
        cautions=(ALONE,) if found.alone else (),
        method=found.method + ", expectations by risk sets",
    )


def _compared(units: Floats, base_units: Floats, scatter: float, confidence: float) -> RateComparison | None:
    if not len(units) or not len(base_units):
        return None
    return rate_comparison(
        base_units[:, 0].astype(np.int64),
        base_units[:, 1],
        units[:, 0].astype(np.int64),
        units[:, 1],
        scatter=scatter,
        level=0.5 * (1.0 - confidence),
        confidence=confidence,
    )


def _shared_out(count: int, weights: Floats) -> Floats:
    """Whole numbers with that sum, as near to the weights as may be (largest remainders)."""
    exact = count * weights / weights.sum()
    out: Floats = np.floor(exact)
    rest = int(count - out.sum())
    out[np.argsort(out - exact, kind="stable")[:rest]] += 1.0
    return out
