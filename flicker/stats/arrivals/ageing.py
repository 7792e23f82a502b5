"""Is the unit worse from run to run, and how many episodes at the next visit? Arrival times of runs in; the engine over power-ups answers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from flicker.base import check
from flicker.base.arrays import Floats
from flicker.base.formats import digits_text, p_said
from flicker.base.result import Doc, Result
from flicker.stats.laws import count_tails
from flicker.stats.laws import event_runs as er
from flicker.stats.laws import scatter as sc
from flicker.stats.power_ups import expected_counts, growth_forecast, rate_growth

LEAST_RUNS = 3  # two differ by chance alone, and nothing tells by how much: the study of power-ups
TWO_RUNS = "Two runs cannot tell how far runs differ by themselves: log a third."


@dataclass(frozen=True, slots=True)
class AgeTrend(er.OverRuns):
    """Do later runs show more episodes than earlier ones, at the same time since power-up?

    ``statistic`` is the normal quantile of the one-sided p-value, positive when later runs show more. ``rate_factor``
    is the ratio of rates per mean step of ``order``. ``cv`` (up to ``cv_high``) is by how much runs differ by
    themselves; NaN with ``caution`` where too few runs can be compared: nothing is claimed then.
    """

    statistic: float
    rate_factor: float
    cv: float
    cv_high: float
    caution: str

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
    age = check.paired("order", order, m, each="run")
    check.differing("order", age, each="run")
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
        p_value=count_tails.p_value(found.p_down, found.p_up, side),
        rate_factor=float(found.factor ** (1.0 / ((m - 1) * span))),
        cv=found.cv, cv_high=found.cv_high, count=int(runs.times.size), runs=m, caution="", alternative=side,
        method=method, confidence=confidence,
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class AgeForecast(Result):
    """Episodes to expect in runs of given length at a given age.

    ``expected`` with ``expected_low`` and ``expected_high`` is the mean; ``low`` and ``high`` enclose the count itself.
    """

    age: Annotated[float, Doc("Age of the next visit: days since the first (numbers of visits without dates).")]
    exposure: Annotated[float, Doc("Its observed seconds, as at the last visit.", ge=0)]
    expected: Annotated[float, Doc("Expected episodes.", ge=0, open=True)]
    expected_low: Annotated[float, Doc("Lower limit of that.", ge=0, null=True)]
    expected_high: Annotated[float, Doc("Upper limit of that.", ge=0, open=True)]
    low: Annotated[float, Doc("Lower limit of the count itself.", ge=0, null=True)]
    high: Annotated[float, Doc("Upper limit of the count.", ge=0, open=True)]
    confidence: Annotated[float, Doc("Confidence of both, a share.")]
    seed: Annotated[int, Doc("Always 0: nothing is drawn.", ge=0)]
    method: Annotated[str, Doc("Method in words.")]

    @property
    def reads(self) -> str:
        """The forecast in words."""
        return f"{digits_text(self.expected, 3)} episodes expected, {self.low:.0f} to {self.high:.0f} likely."


def age_forecast(
    times: er.Times,
    ends: ArrayLike,
    ages: ArrayLike,
    *,
    at: float,
    planned_ends: ArrayLike,
    confidence: float = 0.95,
    scatter: float = sc.SCATTER,
    seed: int = 0,
) -> AgeForecast:
    """Forecast the count of episodes in planned runs at another age, if the growth goes on.

    Parameters
    ----------
    times, ends, ages
        Runs, their observed lengths and their ages (days, or numbers of visits).
    at : float
        Age of the planned runs.
    planned_ends : array_like
        Their observed lengths; none longer than the longest run seen.
    confidence : float
        Of both intervals.
    scatter : float
        Scale of the prior of how ages (visits) differ by themselves.
    seed : int
        Kept for callers of old; nothing is drawn.

    Raises
    ------
    ValueError
        If fewer than two ages were observed, no episode was, or a planned run is longer than any seen, since nothing is
        known of such times.

    Notes
    -----
    Runs of one age are one unit: `power_ups.growth_forecast` on their counts, expected by risk sets. Coverage:
    ``tests/studies/results/power_ups.md``.
    """
    confidence = check.share("confidence", confidence)
    at = float(check.finite_array("at", [at])[0])
    planned = check.finite_array("planned_ends", planned_ends)
    seed = check.whole("seed", seed, what="a seed")
    runs = er.pooled(er.split(times), ends, least=1, name_of_end="ends")
    age = check.paired("ages", ages, runs.ends.size, each="run")
    check.differing("ages", age, each="run")
    if np.any(planned <= 0) or planned.max() > runs.ends.max() * (1 + 1e-9):
        raise ValueError(
            f"planned_ends must lie above 0 and up to the longest run seen ({runs.ends.max():g}), got {planned.tolist()}"
        )
    held = expected_counts(er.split(times), runs.ends)
    units, place = np.unique(age, return_inverse=True)
    counts = np.bincount(place, held.counts).astype(np.int64)
    if counts.sum() == 0:
        raise ValueError(
            "times must hold an episode at a time since power-up that runs of different age reached, got none"
        )
    told = growth_forecast(
        counts, np.bincount(place, held.expected), units, at=at, planned=_expected(runs, planned), scatter=scatter,
        confidence=confidence,
    )  # fmt: skip
    return AgeForecast(
        age=at,
        exposure=float(planned.sum()),
        expected=told.expected,
        expected_low=told.expected_low,
        expected_high=told.expected_high,
        low=float(told.low),
        high=float(told.high),
        confidence=confidence,
        seed=seed,
        method=told.method,
    )


def _expected(runs: er.Runs, planned: Floats) -> float:
    """Episodes to expect of planned runs were all ages alike: those seen between ends of runs, by the time at risk there."""
    edges = np.unique(runs.ends)
    begin = np.concatenate(([0.0], edges[:-1]))
    seen = np.bincount(np.minimum(np.searchsorted(edges, runs.times), edges.size - 1), minlength=edges.size)
    at_risk = (runs.ends[:, None] >= edges).sum(axis=0)
    cover = np.clip((planned[:, None] - begin) / (edges - begin), 0.0, 1.0).sum(axis=0)
    return float(np.sum(seen / at_risk * cover))
