"""Power-law (Crow, Weibull process) and log-linear models of arrivals."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np
from scipy import special

from flicker.base import check
from flicker.base.arrays import Floats
from flicker.base.formats import digits_text
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
    scale_unbiased: float
    end_rate: float
    end_rate_unbiased: float
    end_interval: float
    end_interval_low: float
    end_interval_high: float
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


@dataclass(frozen=True, slots=True)
class LogLinearFit(Result):
    """Rate ``rate_at_start * exp(growth * t)``, the same growth in every run."""

    growth: float
    growth_low: float
    growth_high: float
    rate_at_start: float
    rate_at_end: float
    doubling_time: float
    count: int
    runs: int
    confidence: float
    method: str

    @property
    def reads(self) -> str:
        """The fit in words."""
        if self.growth_low > 0:
            return f"The rate of episodes grows; it doubles about every {digits_text(self.doubling_time, 3)} units of time."
        if self.growth_high < 0:
            return f"The rate of episodes falls; it halves about every {digits_text(-self.doubling_time, 3)} units of time."
        return "A steady rate of episodes fits: neither growth nor fall is shown."


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
        first unit of time of a run), rate at the end of the longest run and its inverse with an interval.

    Raises
    ------
    ValueError
        As in `laplace_test`; 3 events are needed beyond those that end a run.

    Notes
    -----
    Crow (1974); MIL-HDBK-189. With M usable events, 2 M beta / beta_hat has a chi-square law with 2 M degrees of
    freedom, which gives the exact interval. The unbiased exponent is (M - 1) / S, S the sum of ln(end / time), with M
    = n for time-terminated and M = n - 1 for event-terminated runs. The interval of the time between events at the
    end follows the approximation in NIST/SEMATECH e-Handbook 8.4.5.2 (made for one time-terminated run).
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
    beta, unbiased, tail = n / total, (m - 1) / total, (1.0 - confidence) / 2.0
    centre = m / total
    low, high = (centre * float(special.chdtri(2 * m, q)) / (2 * m) for q in (1.0 - tail, tail))
    longest = float(runs.ends.max())
    scale = n / float(np.sum(runs.ends**beta))
    scale_unbiased = n / float(np.sum(runs.ends**unbiased))
    rate, rate_unbiased = scale * beta * longest ** (beta - 1), scale_unbiased * unbiased * longest ** (unbiased - 1)
    z = -float(special.ndtri(tail))
    wide = (n + z**2 / 4 + np.sqrt(n * z**2 / 2 + z**4 / 16)) ** 2
    narrow = n - z * np.sqrt(n / 2)
    every = 1.0 / rate_unbiased
    return PowerLawFit(
        beta=beta, beta_low=low, beta_high=high, beta_unbiased=unbiased, scale=scale, scale_unbiased=scale_unbiased, end_rate=rate, end_rate_unbiased=rate_unbiased, end_interval=every,
        end_interval_low=float(every * n * (n - 1) / wide), end_interval_high=float(every * n * (n - 1) / narrow**2) if narrow > 0 else float("inf"),
        count=n, runs=int(runs.ends.size), confidence=confidence, method=f"power-law fit by maximum likelihood, {ended_by}-terminated",
    )  # fmt: skip


def _tilt(x: Floats) -> tuple[Floats, Floats]:
    """log((exp(x) - 1) / x) and its derivative, safe near 0 and far from it."""
    small = np.abs(x) < 1e-4
    safe = np.where(small, 1.0, x)
    size = np.abs(safe)
    log_part = np.maximum(safe, 0.0) + np.log(-np.expm1(-size) / size)
    slope = 1.0 / -np.expm1(-safe) - 1.0 / safe
    return np.where(small, x / 2 + x**2 / 24, log_part), np.where(small, 0.5 + x / 12, slope)


def _tilt_bend(x: Floats) -> Floats:
    """Second derivative of the same: the variance of one time under the tilt."""
    size = np.clip(np.abs(x), 1e-2, 1e3)
    bend = 1.0 / size**2 - 0.25 / np.sinh(np.minimum(size, 600.0) / 2) ** 2
    out: Floats = np.where(np.abs(x) < 1e-2, 1.0 / 12.0, bend)
    return out


def log_linear_fit(
    times: er.Times, end: er.Ends = None, *, ended_by: er.EndedBy = "time", confidence: float = 0.95
) -> LogLinearFit:
    """Fit a rate that grows or falls by a constant share per unit of time.

    Parameters
    ----------
    times, end, ended_by
        As in `laplace_test`. Each run keeps a level of its own; ``growth`` is common.
    confidence : float
        Of the interval of ``growth``.

    Returns
    -------
    LogLinearFit
        ``growth`` per unit of time with its interval; the rates are those at the start and the end of the longest run,
        averaged over runs.

    Raises
    ------
    ValueError
        As in `laplace_test`; 3 events are needed beyond those that end a run.

    Notes
    -----
    Cox and Lewis (1966), chapter 3. Conditional on the counts, which removes the levels. Interval by the saddlepoint
    form of the likelihood root (Lugannani and Rice 1980; Barndorff-Nielsen's r*), which covers from three events on.
    """
    confidence = check.share("confidence", confidence)
    runs = er.pooled(times, end, ended_by=ended_by, least=3)
    used = runs.without_last() if ended_by == "event" else runs
    if used.times.size < 2:
        raise ValueError(f"times must hold 2 or more times beside those that end a run, got {used.times.size}")
    span = float(used.ends.max())
    ends, n = used.ends / span, used.counts.astype(float)
    total = float(np.sum(used.times)) / span
    if total <= 0 or total >= float(np.sum(n * ends)):
        raise ValueError("times must not all lie at the border of their run, got no spread")

    def score(b: float) -> float:
        return total - float(np.sum(n * ends * _tilt(b * ends)[1]))

    def loglik(b: float) -> float:
        return b * total - float(np.sum(n * (_tilt(b * ends)[0] + np.log(ends))))

    edge = 2.0
    while score(-edge) * score(edge) > 0:
        edge *= 2.0
    best = root(score, -edge, edge)
    top, z = loglik(best), -float(special.ndtri((1.0 - confidence) / 2.0))
    root_information = float(np.sqrt(np.sum(n * ends**2 * _tilt_bend(best * ends))))

    def rooted(b: float) -> float:
        r = float(np.sign(best - b) * np.sqrt(2.0 * max(top - loglik(b), 0.0)))
        wald = (best - b) * root_information
        return r + float(np.log(wald / r)) / r if abs(r) > 1e-3 else r

    bounds = []
    for way in (-1.0, 1.0):
        beyond = partial(_beyond, rooted, way, z)
        step = z / root_information
        while beyond(best + way * step) < 0:
            step *= 1.5
        bounds.append(root(beyond, best, best + way * step))
    per_run = float(runs.counts.sum()) / float(np.sum(np.exp(_tilt(best * ends)[0]) * ends * span))
    return LogLinearFit(
        growth=best / span, growth_low=bounds[0] / span, growth_high=bounds[1] / span, rate_at_start=per_run, rate_at_end=per_run * float(np.exp(best)),
        doubling_time=float(np.log(2.0)) * span / best if best != 0 else float("inf"),
        count=int(runs.times.size), runs=int(runs.ends.size), confidence=confidence,
        method=f"log-linear rate by conditional likelihood, {ended_by}-terminated",
    )  # fmt: skip


def _beyond(rooted: Callable[[float], float], way: float, z: float, b: float) -> float:
    return -way * rooted(b) - z


def share_of_run(runs: er.Runs, growth: float) -> Floats:
    """Share of each run's events expected before each event, when the rate grows as exp(growth * time)."""
    ends = runs.end_of_event
    if abs(growth) * float(runs.ends.max()) < 1e-6:
        return runs.times / ends
    if growth > 0:
        out: Floats = np.exp(growth * (runs.times - ends)) - np.exp(-growth * ends)
        return out / -np.expm1(-growth * ends)
    share: Floats = np.expm1(growth * runs.times) / np.expm1(growth * ends)
    return share
