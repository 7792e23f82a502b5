"""Is it the warm-up? Episodes by time since power-up over many runs, and an exponential rate fitted by maximum likelihood."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Annotated

import numpy as np
from scipy import special

from flicker.base.arrays import Floats
from flicker.base.formats import brief_text, count_text, digits_text
from flicker.base.result import Doc, Result
from flicker.evidence.findings import NOT_SHOWN
from flicker.logs.spans import elapsed, holds, total, within
from flicker.stats import arrivals
from flicker.stats.rates import rate_interval

Estimate = tuple[float, float, float]  # value, low, high

NO_FIT: tuple[Estimate, Estimate, Estimate] = ((math.nan, math.nan, math.nan),) * 3  # by definition: nothing known
_TIMES = 400  # distinct times in the fit; more are pooled; a choice for speed
_RATES = np.concatenate(([0.0], np.geomspace(0.02, 50.0, 59)))  # of the mean rate
_TAUS = 32  # of the time constant that are tried: a choice


def fit_decay(pooled: Floats, grid: Floats, risk: Floats, confidence: float) -> tuple[Estimate, Estimate, Estimate]:
    """Initial and late rate per hour and the time constant in seconds, each with its interval."""
    if pooled.size > _TIMES:
        groups = np.array_split(pooled, _TIMES)
        at, weight = np.array([group.mean() for group in groups]), np.array([float(group.size) for group in groups])
    else:
        at, weight = pooled, np.ones(pooled.size)
    exposure = float(risk[-1])
    mean = float(weight.sum()) / exposure
    taus = np.geomspace(max(float(grid[-1]) / 1000.0, 1.0), max(float(grid[-1]), 2.0), _TAUS)
    # Each stretch between borders has a constant number of runs at risk.
    runs = np.diff(risk) / np.diff(grid)
    decay = np.exp(-grid[None, :] / taus[:, None])
    early = taus * np.sum(runs * (decay[:, :-1] - decay[:, 1:]), axis=1)
    late = np.maximum(exposure - early, 1e-12 * exposure)
    u = np.exp(-at[None, :] / taus[:, None])
    v = -np.expm1(-at[None, :] / taus[:, None])
    by_initial, q = _profile(_RATES * mean, u, v, weight, early, late)
    by_late, p = _profile(_RATES * mean, v, u, weight, late, early)
    drop = 0.5 * float(special.chdtri(1, 1.0 - confidence))
    top = max(float(by_initial.max()), float(by_late.max()))
    if by_initial.max() >= by_late.max():
        i, k = np.unravel_index(int(np.argmax(by_initial)), by_initial.shape)
        initial, final = float(_RATES[i]) * mean, float(q[i, k])
    else:
        i, k = np.unravel_index(int(np.argmax(by_late)), by_late.shape)
        initial, final = float(p[i, k]), float(_RATES[i]) * mean
    for _ in range(100):  # off the grid of rates, by expectation and maximisation at the best time constant
        rate = np.maximum(initial * u[k] + final * v[k], 1e-300)
        initial, final = (
            float(np.sum(weight * initial * u[k] / rate) / early[k]),
            float(np.sum(weight * final * v[k] / rate) / late[k]),
        )
    limits = [_reach(_RATES * mean, table.max(axis=1), top - drop, 0.0) for table in (by_initial, by_late)]
    tau_limits = _reach(taus, np.maximum(by_initial.max(axis=0), by_late.max(axis=0)), top - drop, 0.0)
    (a, b), (c, d) = limits
    hour = 3600.0
    tau = (float(taus[k]), *tau_limits)
    return (initial * hour, a * hour, b * hour), (final * hour, c * hour, d * hour), tau


def _profile(
    fixed: Floats, u: Floats, v: Floats, weight: Floats, exposure_u: Floats, exposure_v: Floats
) -> tuple[Floats, Floats]:
    """Log likelihood of rates fixed u + q v with the best q of 0 or more, and that q; shape (fixed, taus)."""
    likelihood = np.empty((fixed.size, u.shape[0]))
    best = np.empty_like(likelihood)
    floor = 1e-12 * float(weight.sum()) / float(exposure_u[0] + exposure_v[0])
    for k in range(u.shape[0]):
        base, slope = fixed[:, None] * u[k], v[k]
        # Sum of w v / (b + q v) = exposure, by Newton's steps on its inverse, which is nearly straight (a secular
        # equation): the first step lands left of the root, the others never pass it. Each doubles the digits: at eight the
        # next step would change none.
        q = np.zeros(fixed.size)
        for _ in range(12 if exposure_v[k] > 0.0 else 0):  # a decay that had ended before anything was observed says nothing
            part = slope / np.maximum(base + q[:, None] * slope, floor)
            value = part @ weight
            step = value * (value - exposure_v[k]) / (exposure_v[k] * np.maximum((part * part) @ weight, 1e-300))
            before, q = q, np.maximum(q + step, 0.0)
            if float(np.abs(q - before).max()) <= 1e-8 * float(q.max()):
                break
        rate = np.maximum(base + q[:, None] * slope, floor)
        likelihood[:, k] = np.log(rate) @ weight - fixed * exposure_u[k] - q * exposure_v[k]
        best[:, k] = q
    return likelihood, best


def _reach(values: Floats, profile: Floats, level: float, least: float) -> tuple[float, float]:
    """Where a profile stands above a level, interpolated; ``least`` and infinity beyond the grid."""
    inside = np.flatnonzero(profile >= level)
    if inside.size == 0:
        inside = np.array([int(np.argmax(profile))])
    first, last = int(inside[0]), int(inside[-1])

    def cross(out: int, within_: int) -> float:
        if not math.isfinite(profile[out]):
            return float(values[out])
        part = (level - profile[out]) / (profile[within_] - profile[out])
        return float(values[out] + np.clip(part, 0.0, 1.0) * (values[within_] - values[out]))

    low = least if first == 0 else cross(first - 1, first)
    high = math.inf if last == values.size - 1 else cross(last + 1, last)
    return low, high


EDGES_S = (0.0, 60.0, 300.0, 900.0, 1800.0, 3600.0, 7200.0, 14_400.0, math.inf)  # common practice, no source
SEED = 0  # of the permutations: a choice
FADES, GROWS = "fades", "grows"
_NO_CHANGE = (math.nan, math.nan, math.nan, math.nan, math.nan)


@dataclass(frozen=True, slots=True)
class WarmupRun:
    """Episode begins and observed intervals (shape (n, 2)) of one run, in seconds since its power-up."""

    begin_s: Floats
    observed: Floats


@dataclass(frozen=True, slots=True)
class RateBin(Result):
    """Rate in one stretch of time since power-up, over all runs, with an exact interval."""

    begin_s: Annotated[float, Doc("Begin, seconds since power-up.", ge=0)]
    end_s: Annotated[float, Doc("End; null without bound.", ge=0, open=True)]
    count: Annotated[int, Doc("Episodes.", ge=0)]
    observed_s: Annotated[float, Doc("Observed seconds.", ge=0)]
    per_h: Annotated[float, Doc("Episodes per observed hour.", ge=0, null=True)]
    low_per_h: Annotated[float, Doc("Lower limit.", ge=0, null=True)]
    high_per_h: Annotated[float, Doc("Upper limit.", ge=0, open=True)]

    @property
    def reads(self) -> str:
        """The bin in words."""
        return (
            f"{brief_text(self.begin_s)} to {brief_text(self.end_s) if math.isfinite(self.end_s) else 'the end'} after power-up: {self.count} in "
            f"{digits_text(self.observed_s / 3600, 3)} h, {digits_text(self.low_per_h, 3)} to {digits_text(self.high_per_h, 3)} per hour"
        )


@dataclass(frozen=True, slots=True)
class WarmupRate(Result):
    """Episode rate against time since power-up.

    Attributes
    ----------
    answer
        'fades' or 'grows' with time since power-up where shown, else 'not shown'.
    bins
        Rates by stretch.
    p_value
        Of the answer: a trend within runs, two-sided, that also holds for bursts.
    p_change
        Of one change of the pooled rate. It places a change that is there; it decides nothing.
    change_s, change_low_s, change_high_s, before_per_h, after_per_h
        Where the rate changes, with an interval, and the rates on both sides (NaN where no change is shown).
    initial_per_h, late_per_h, tau_s (and _low, _high)
        Fitted rate at power-up and long after it, and the time constant between them, with profile-likelihood
        intervals, which say how much a few episodes tell; NaN without one.
    """

    answer: Annotated[
        str, Doc("How the rate goes with time since power-up, where shown.", values=("fades", "grows", "not shown"))
    ]
    runs: Annotated[int, Doc("Power-ups.", ge=0)]
    episodes: Annotated[int, Doc("Episodes.", ge=0)]
    observed_s: Annotated[float, Doc("Observed seconds.", ge=0)]
    bins: Annotated[tuple[RateBin, ...], Doc("Rates by stretch.")]
    p_value: Annotated[float, Doc("Two-sided p-value of the answer; holds for bursts.", ge=0, le=1, null=True)]
    p_change: Annotated[float, Doc("p-value of one change of the pooled rate; decides nothing.", ge=0, le=1, null=True)]
    change_s: Annotated[float, Doc("Where the rate changes, seconds since power-up.", ge=0, null=True)]
    change_low_s: Annotated[float, Doc("Lower limit.", null=True)]
    change_high_s: Annotated[float, Doc("Upper limit.", open=True)]
    before_per_h: Annotated[float, Doc("Rate before it, per hour.", ge=0, null=True)]
    after_per_h: Annotated[float, Doc("Rate after it, per hour.", ge=0, null=True)]
    initial_per_h: Annotated[
        float, Doc("Estimate of the fitted rate at power-up, per hour; null without an episode.", ge=0, open=True)
    ]
    initial_low_per_h: Annotated[
        float, Doc("Lower limit of the fitted rate at power-up, per hour; null without an episode.", ge=0, null=True)
    ]
    initial_high_per_h: Annotated[
        float, Doc("Upper limit of the fitted rate at power-up, per hour; null without an episode.", ge=0, open=True)
    ]
    late_per_h: Annotated[
        float, Doc("Estimate of the fitted rate long after it, per hour; null without an episode.", ge=0, open=True)
    ]
    late_low_per_h: Annotated[
        float, Doc("Lower limit of the fitted rate long after it, per hour; null without an episode.", ge=0, null=True)
    ]
    late_high_per_h: Annotated[
        float, Doc("Upper limit of the fitted rate long after it, per hour; null without an episode.", ge=0, open=True)
    ]
    tau_s: Annotated[float, Doc("Time constant between them, seconds.", ge=0, open=True)]
    tau_low_s: Annotated[float, Doc("Lower limit.", ge=0, null=True)]
    tau_high_s: Annotated[float, Doc("Upper limit.", ge=0, open=True)]
    confidence: Annotated[float, Doc("Confidence of the intervals, a share between 0 and 1.", gt=0)]
    seed: Annotated[int, Doc("Seed of the permutations.")]
    method: Annotated[str, Doc("The method by which the figures were found.")]

    @property
    def reads(self) -> str:
        """The finding in words."""
        seen = f"{count_text(self.episodes, 'episode')} in {count_text(self.runs, 'power-up')}"
        if self.answer == NOT_SHOWN:
            return f"It is not shown that the fault depends on the time since power-up ({seen})."
        how = "mostly soon after power-up" if self.answer == FADES else "more often the longer the unit is on"
        words = f"The fault comes {how} ({seen})"
        if math.isfinite(self.change_s):
            words += (
                f": {digits_text(self.before_per_h)} per hour up to about {brief_text(self.change_s)} after power-up, "
                f"{digits_text(self.after_per_h)} after that"
            )
        if self.answer == FADES and self.late_per_h < self.initial_per_h and math.isfinite(self.tau_high_s):
            words += (
                f". Fitted: {digits_text(self.initial_per_h)} per hour at power-up, falling to {digits_text(self.late_per_h)} with a time "
                f"constant of {brief_text(self.tau_s)} (between {brief_text(self.tau_low_s)} and {brief_text(self.tau_high_s)})"
            )
        return words + "."


def warmup_rate(runs: Sequence[WarmupRun], *, dead_time_s: float = 10.0, confidence: float = 0.95) -> WarmupRate:
    """Ask whether episodes depend on the time since power-up.

    Parameters
    ----------
    runs : sequence of WarmupRun
        One per power-up that was seen; runs that begin in mid-operation do not belong here.
    dead_time_s : float
        Longest gap inside one burst, by which the episodes were merged.
    confidence : float
        Of the decision and every interval (of bins: each by itself).

    Notes
    -----
    Trend: `arrivals.rate_trend_test` within runs, so runs may differ in rate. Change: time is counted as the sum of
    observed time over the runs that reached it, on which episodes are uniform if nothing changes, and
    `changepoints.rate_changes` looks there, at the dispersion that the trend test finds. Fit: rate
    initial exp(-t / tau) + late (1 - exp(-t / tau)), maximum likelihood, intervals by the profile likelihood
    (nominal 95 % covers 92 to 95 % with 10 runs of 1.5 h: ``tests/studies/results/bench_parts.md``).
    """
    kept = [run for run in runs if total(run.observed) > 0]
    times = [np.sort(run.begin_s[holds(run.observed, run.begin_s)]) for run in kept]
    pooled = np.sort(np.concatenate(times))
    observed_s = math.fsum(total(run.observed) for run in kept)
    bins = tuple(_bins(kept, pooled, confidence))

    trend = arrivals.rate_trend_test(
        [elapsed(run.observed, t) for run, t in zip(kept, times, strict=True)],
        [total(run.observed) for run in kept],
        dead_time=dead_time_s,
        alternative="two-sided",
        seed=SEED,
    ) if pooled.size else None  # fmt: skip
    p_trend, z = (1.0, 0.0) if trend is None else (trend.p_value, trend.z)
    grid, risk = risk_clock(kept)
    p_change, change = 1.0, _NO_CHANGE
    if pooled.size >= 5:
        p_change, change = _change(pooled, grid, risk, 1.0 if trend is None else trend.dispersion, confidence)
    answer = NOT_SHOWN if p_trend > 1.0 - confidence else FADES if z < 0 else GROWS
    if answer == NOT_SHOWN or p_change > 1.0 - confidence:
        change = _NO_CHANGE
    initial, late, tau = fit_decay(pooled, grid, risk, confidence) if pooled.size else NO_FIT
    at, at_low, at_high, before, after = change
    return WarmupRate(
        answer=answer,
        runs=len(kept),
        episodes=int(pooled.size),
        observed_s=observed_s,
        bins=bins,
        p_value=p_trend,
        p_change=p_change,
        change_s=at,
        change_low_s=at_low,
        change_high_s=at_high,
        before_per_h=before,
        after_per_h=after,
        initial_per_h=initial[0],
        initial_low_per_h=initial[1],
        initial_high_per_h=initial[2],
        late_per_h=late[0],
        late_low_per_h=late[1],
        late_high_per_h=late[2],
        tau_s=tau[0],
        tau_low_s=tau[1],
        tau_high_s=tau[2],
        confidence=confidence,
        seed=SEED,
        method="trend within runs; one change on the clock of time at risk; rates exact Poisson",
    )


def _bins(runs: Sequence[WarmupRun], pooled: Floats, confidence: float) -> list[RateBin]:
    out = []
    for low, high in pairwise(EDGES_S):
        exposure = math.fsum(total(within(run.observed, low, high)) for run in runs)
        if exposure <= 0:
            continue
        count = int(np.count_nonzero((pooled >= low) & (pooled < high)))
        rate = rate_interval(count, exposure / 3600.0, confidence=confidence)
        out.append(
            RateBin(
                begin_s=low,
                end_s=high,
                count=count,
                observed_s=exposure,
                per_h=rate.rate,
                low_per_h=rate.low,
                high_per_h=rate.high,
            )
        )
    return out


def risk_clock(runs: Sequence[WarmupRun]) -> tuple[Floats, Floats]:
    """Borders in time since power-up, and the summed observed time of all runs up to each."""
    grid = np.unique(np.concatenate([run.observed.ravel() for run in runs]))
    risk = np.zeros(grid.size)
    for run in runs:
        risk += elapsed(run.observed, grid)
    return grid, risk


def _change(
    pooled: Floats, grid: Floats, risk: Floats, dispersion: float, confidence: float
) -> tuple[float, tuple[float, float, float, float, float]]:
    from flicker.stats.changepoints import rate_changes

    on_risk = np.interp(pooled, grid, risk)
    found = rate_changes(
        on_risk, float(risk[-1]), confidence=confidence, dispersion=max(1.0, dispersion), max_changes=1, seed=SEED
    )
    if not found.changes:
        return found.p_value, _NO_CHANGE
    best = found.changes[0]
    at, low, high = (float(np.interp(value, risk, grid)) for value in (best.at, best.low, best.high))
    return found.p_value, (at, low, high, best.rate_before * 3600.0, best.rate_after * 3600.0)
