"""Power-law (Crow, Weibull process) and log-linear models of arrivals."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

from flicker.base import check
from flicker.base.arrays import Floats
from flicker.base.result import Result
from flicker.base.roots import root
from flicker.stats.laws import event_runs as er


@dataclass(frozen=True, slots=True)
class PowerLawFit(Result):
    """Events expected up to time t are ``scale * t**beta``; beta above 1 means that they come more often."""

    beta: float
    beta_low: float
    beta_high: float
    beta_unbiased: float
    scale: float
    count: int
    runs: int
    confidence: float
    method: str

    @property
    def reads(self) -> str:
        """The fit in words."""
        way = "more and more often" if self.beta_low > 1 else "less and less often" if self.beta_high < 1 else None
        spread = f"exponent {self.beta:.2f}, between {self.beta_low:.2f} and {self.beta_high:.2f}"
        return f"Episodes come {way} ({spread})." if way else f"A steady rate fits ({spread}; 1 is steady)."


def power_law_fit(
    times: er.Times, end: er.Ends = None, *, ended_by: er.EndedBy = "time", confidence: float = 0.95
) -> PowerLawFit:
    """Fit a power-law rate (Weibull process) by maximum likelihood.

    Parameters
    ----------
    times, end, ended_by
        As in `laplace_test`, times above 0. Several runs share ``beta`` and ``scale``.
    confidence : float
        Of the intervals.

    Returns
    -------
    PowerLawFit
        ``beta`` (maximum likelihood), ``beta_unbiased``, exact interval of beta, ``scale`` (events expected in the
        first unit of time of a run).

    Raises
    ------
    ValueError
        As in `laplace_test`; 3 events are needed beyond those that end a run.

    Notes
    -----
    Crow (1974); MIL-HDBK-189. With M usable events, 2 M beta / beta_hat has a chi-square law with 2 M degrees of
    freedom, which gives the exact interval. The unbiased exponent is (M - 1) / S, S the sum of ln(end / time), with M
    = n for time-terminated and M = n - 1 for event-terminated runs.
    """
    confidence = check.share("confidence", confidence)
    runs = er.pooled(times, end, ended_by=ended_by, least=3, above_zero=True)
    used = runs.without_last() if ended_by == "event" else runs
    m, n = int(used.times.size), int(runs.times.size)
    if m < 2:
        raise ValueError(f"times must hold 2 or more times beside those that end a run, got {m}")
    total = float(np.sum(np.log(used.end_of_event / used.times)))
    if total <= 0:
        raise ValueError("times must not all lie at the run's end, got no spread")
    beta, tail = n / total, (1.0 - confidence) / 2.0
    low, high = (float(special.chdtri(2 * m, q)) / (2 * total) for q in (1.0 - tail, tail))
    return PowerLawFit(
        beta=beta, beta_low=low, beta_high=high, beta_unbiased=(m - 1) / total, scale=n / float(np.sum(runs.ends**beta)),
        count=n, runs=int(runs.ends.size), confidence=confidence, method=f"power-law fit by maximum likelihood, {ended_by}-terminated",
    )  # fmt: skip


def log_linear_growth(runs: er.Runs) -> float:
    """Growth of the rate per unit of time, when it is exp(growth * time) times each run's own level.

    Cox and Lewis (1966), chapter 3: the score conditional on the counts, which removes the levels. There must be
    times between the borders of their runs.
    """
    span = float(runs.ends.max())
    ends, counts, total = runs.ends / span, runs.counts.astype(float), float(np.sum(runs.times)) / span

    def score(growth: float) -> float:
        return total - float(np.sum(counts * ends * _mean_place(growth * ends)))

    edge = 2.0
    while score(-edge) * score(edge) > 0:
        edge *= 2.0
    return root(score, -edge, edge) / span


def _mean_place(x: Floats) -> Floats:
    """Mean of a time between 0 and 1 whose density grows as exp(x * time), safe near x = 0 and far from it."""
    small = np.abs(x) < 1e-4
    safe = np.where(small, 1.0, x)
    return np.where(small, 0.5 + x / 12, 1.0 / -np.expm1(-safe) - 1.0 / safe)


def share_of_run(runs: er.Runs, growth: float) -> Floats:
    """Share of each run's events expected before each event, when the rate grows as exp(growth * time)."""
    ends = runs.end_of_event
    if abs(growth) * float(runs.ends.max()) < 1e-6:
        return runs.times / ends
    if growth > 0:
        return np.asarray((np.exp(growth * (runs.times - ends)) - np.exp(-growth * ends)) / -np.expm1(-growth * ends))
    return np.asarray(np.expm1(growth * runs.times) / np.expm1(growth * ends))
