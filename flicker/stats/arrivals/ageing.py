"""Is the unit worse from run to run? Arrival times of runs in; the engine over power-ups answers."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from flicker.base import check
from flicker.base.formats import p_said
from flicker.base.result import Tested
from flicker.stats.laws import event_runs as er
from flicker.stats.laws import scatter as sc
from flicker.stats.power_ups import expected_counts, rate_growth

LEAST_RUNS = 3  # two differ by chance alone, and nothing tells by how much: the study of power-ups
TWO_RUNS = "Two runs cannot tell how far runs differ by themselves: log a third."


@dataclass(frozen=True, slots=True)
class AgeTrend(Tested):
    """Do later runs show more episodes than earlier ones, at the same time since power-up?

    ``statistic`` is the normal quantile of the one-sided p-value, positive when later runs show more. ``rate_factor``
    is the ratio of rates per mean step of ``order``. ``cv`` (up to ``cv_high``) is by how much runs differ by
    themselves; NaN with ``caution`` where too few runs can be compared: nothing is claimed then.
    """

    statistic: float
    rate_factor: float
    cv: float
    cv_high: float
    count: int
    runs: int
    caution: str
    alternative: str

    @property
    def reads(self) -> str:
        """The finding in words."""
        if not self.shown:
            words = f"It is not shown that later runs bring more or fewer episodes ({p_said(self.p_value)})."
        else:
            way = "more" if self.statistic > 0 else "fewer"
            words = f"Later runs bring {way} episodes ({p_said(self.p_value)})."
        return f"{words} {self.caution}" if self.caution else words


def age_trend(
    times: er.Times,
    ends: ArrayLike,
    *,
    order: ArrayLike | None = None,
    alternative: er.Alternative = "two-sided",
    seed: int = 0,
    confidence: float = 0.95,
    scatter: float = sc.SCATTER,
) -> AgeTrend:
    """Compare runs with each other at equal time since power-up: do later runs bring more episodes?

    Parameters
    ----------
    times : list of array_like
        Sorted event times of each run since its power-up (a run may be empty), bursts merged. Two runs or more.
    ends : array_like
        Observed length of each run.
    order : array_like, optional
        Age of the unit at each run (date, operating hours); None takes the runs in the order given.
    alternative : {"two-sided", "increasing", "decreasing"}
        "increasing": later runs bring more.
    seed : int
        Without effect, nothing is drawn; kept for calls that name it.
    confidence : float
        From which `reads` claims anything.
    scatter : float
        Scale of the prior of how runs differ by themselves.

    Returns
    -------
    AgeTrend

    Raises
    ------
    ValueError
        For fewer than two runs, no event, times outside their run, or an ``order`` without any difference.

    Notes
    -----
    Expectations by risk sets (`expected_counts`), so that a rate that rises with heat in each run alike does not count
    as age; then `rate_growth` of `flicker.stats.power_ups`. With two runs the p-value is 1: nothing tells how far runs
    of a sound unit differ. Errors and power: ``tests/studies/results/power_ups.md``.
    """
    side = er.side(alternative)
    confidence = check.share("confidence", confidence)
    check.whole("seed", seed, what="a seed")
    scale = sc.checked_scale(scatter)
    if len(er.split(times)) < 2:
        raise ValueError(f"times must be a list of 2 or more runs, got {len(er.split(times))}")
    runs = er.pooled(times, ends, least=1, name_of_end="ends")
    m = runs.ends.size
    age = np.arange(m, dtype=float)
    if order is not None:
        age = check.finite_array("order", order, least=2)
        if age.size != m:
            raise ValueError(f"order must hold one number per run ({m}), got {age.size}")
        if float(np.ptp(age)) == 0:
            raise ValueError(f"order must differ between runs, got {age[0]} for all")
    held = expected_counts(times, ends)
    used = held.expected > 0
    method = "integrated likelihood over runs (negative binomial), expectations by risk sets"
    caution = TWO_RUNS if m < LEAST_RUNS else ""
    if not caution and (np.count_nonzero(used) < LEAST_RUNS or float(np.ptp(age[used])) == 0):
        caution = "Fewer than three runs of different age can be compared at the same time since power-up."
    if caution:
        return AgeTrend(
            statistic=0.0, p_value=1.0, rate_factor=1.0, cv=float("nan"), cv_high=float("nan"),
            count=int(runs.times.size), runs=m, caution=caution, alternative=side, method=method, confidence=confidence,
        )  # fmt: skip
    found = rate_growth(held.counts, held.expected, age, scatter=scale, confidence=confidence)
    span = float(np.ptp(age[used])) / float(np.ptp(age))
    return AgeTrend(
        statistic=float(-special.ndtri(np.clip(found.p_up, 1e-300, 1.0 - 1e-16))),
        p_value=er.tail_p(found.p_down, found.p_up, side),
        rate_factor=float(found.factor ** (1.0 / ((m - 1) * span))),
        cv=found.cv, cv_high=found.cv_high, count=int(runs.times.size), runs=m, caution="", alternative=side,
        method=method, confidence=confidence,
    )  # fmt: skip
