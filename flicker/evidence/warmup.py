"""Is it the warm-up? Episodes by time since power-up over many runs; power-ups against the unit's own history."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from flicker.evidence.findings import NOT_SHOWN, YES, holm
from flicker.logs.spans import elapsed, holds, spans, total, within
from flicker.stats import _check
from flicker.stats._result import Result
from flicker.stats.arrivals import rate_trend_test
from flicker.stats.rates import rate_interval

Floats = NDArray[np.float64]
_Estimate = tuple[float, float, float]

EDGES_S = (0.0, 60.0, 300.0, 900.0, 1800.0, 3600.0, 7200.0, 14_400.0, math.inf)  # common practice, no source
LEAST_FOR_FIT = 10  # episodes
FADES, GROWS = "fades", "grows"
_NO_CHANGE = (math.nan, math.nan, math.nan, math.nan, math.nan)
_NO_FIT = ((math.nan, math.nan, math.nan),) * 3
_TIMES = 400  # distinct times in the fit; more are pooled
_RATES = np.concatenate(([0.0], np.geomspace(0.02, 50.0, 59)))  # of the mean rate
_TAUS = 32


@dataclass(frozen=True, slots=True)
class WarmupRun:
    """Episode begins and observed intervals (shape (n, 2)) of one run, in seconds since its power-up."""

    begin_s: Floats
    observed: Floats


@dataclass(frozen=True, slots=True)
class RateBin(Result):
    """Rate in one stretch of time since power-up, over all runs, with an exact interval."""

    begin_s: float
    end_s: float
    count: int
    observed_s: float
    per_h: float
    low_per_h: float
    high_per_h: float

    @property
    def reads(self) -> str:
        """The bin in words."""
        return (
            f"{_clock(self.begin_s)} to {_clock(self.end_s)} after power-up: {self.count} in "
            f"{self.observed_s / 3600:.3g} h, {self.low_per_h:.3g} to {self.high_per_h:.3g} per hour"
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
        intervals; NaN below 10 episodes.
    """

    answer: str
    runs: int
    episodes: int
    observed_s: float
    bins: tuple[RateBin, ...]
    p_value: float
    p_change: float
    change_s: float
    change_low_s: float
    change_high_s: float
    before_per_h: float
    after_per_h: float
    initial_per_h: float
    initial_low_per_h: float
    initial_high_per_h: float
    late_per_h: float
    late_low_per_h: float
    late_high_per_h: float
    tau_s: float
    tau_low_s: float
    tau_high_s: float
    confidence: float
    seed: int
    method: str

    @property
    def reads(self) -> str:
        """The finding in words."""
        seen = f"{self.episodes} episodes in {self.runs} {'run' if self.runs == 1 else 'runs'}"
        if self.answer == NOT_SHOWN:
            return f"It is not shown that the fault depends on the time since power-up ({seen})."
        how = "mostly soon after power-up" if self.answer == FADES else "more often the longer the unit is on"
        words = f"The fault comes {how} ({seen})"
        if math.isfinite(self.change_s):
            words += (
                f": {self.before_per_h:.3g} per hour up to about {_clock(self.change_s)} after power-up, "
                f"{self.after_per_h:.3g} after that"
            )
        return words + "."


def _clock(seconds: float) -> str:
    if math.isinf(seconds):
        return "the end"
    if seconds < 120:
        return f"{seconds:.3g} s"
    return f"{seconds / 60:.3g} min" if seconds < 7200 else f"{seconds / 3600:.3g} h"


def warmup_rate(
    runs: Sequence[WarmupRun],
    *,
    edges_s: Sequence[float] = EDGES_S,
    dead_time_s: float = 10.0,
    confidence: float = 0.95,
    seed: int = 0,
) -> WarmupRate:
    """Ask whether episodes depend on the time since power-up.

    Parameters
    ----------
    runs : sequence of WarmupRun
        One per power-up that was seen; runs that begin in mid-operation do not belong here.
    edges_s : sequence of float
        Rising borders of the bins.
    dead_time_s : float
        Longest gap inside one burst, by which the episodes were merged.
    confidence : float
        Of the decision and every interval (of bins: each by itself).
    seed : int
        Of the permutations and simulations.

    Raises
    ------
    ValueError
        If there is no run, nothing was observed, or an argument is out of range.

    Notes
    -----
    Trend: `arrivals.rate_trend_test` within runs, so runs may differ in rate. Change: time is counted as the sum of
    observed time over the runs that reached it, on which episodes are uniform if nothing changes, and
    `changepoints.rate_changes` looks there, at the dispersion that the trend test finds. Fit: rate
    initial exp(-t / tau) + late (1 - exp(-t / tau)), maximum likelihood, intervals by the profile likelihood
    (nominal 95 % covers 92 to 95 % with 10 runs of 1.5 h: ``tests/studies/results/bench_parts.md``).
    """
    if len(runs) == 0:
        raise ValueError("runs must hold at least one run, got none")
    confidence = _check.share("confidence", confidence)
    dead_time_s = _check.positive("dead_time_s", dead_time_s, what="seconds", zero=True)
    edges = np.asarray(edges_s, dtype=np.float64)
    if edges.ndim != 1 or edges.size < 2 or np.any(np.isnan(edges)) or np.any(np.diff(edges) <= 0):
        raise ValueError(f"edges_s must be two or more rising times, got {list(edges_s)}")
    kept = [run for run in runs if total(run.observed) > 0]
    if not kept:
        raise ValueError("runs must hold observed time, got none")
    times = [np.sort(run.begin_s[holds(run.observed, run.begin_s)]) for run in kept]
    pooled = np.sort(np.concatenate(times))
    observed_s = math.fsum(total(run.observed) for run in kept)
    bins = tuple(_bins(kept, pooled, edges, confidence))

    trend = rate_trend_test(
        [elapsed(run.observed, t) for run, t in zip(kept, times, strict=True)],
        [total(run.observed) for run in kept],
        dead_time=dead_time_s,
        alternative="two-sided",
        seed=seed,
    ) if pooled.size else None  # fmt: skip
    p_trend, z = (1.0, 0.0) if trend is None else (trend.p_value, trend.z)
    grid, risk = _risk_clock(kept)
    p_change, change = 1.0, _NO_CHANGE
    if pooled.size >= 5:
        p_change, change = _change(pooled, grid, risk, 1.0 if trend is None else trend.dispersion, confidence, seed)
    answer = NOT_SHOWN
    if p_trend <= 1.0 - confidence:
        answer = FADES if z < 0 else GROWS
    if answer == NOT_SHOWN or p_change > 1.0 - confidence:
        change = _NO_CHANGE
    fit = _fit(pooled, grid, risk, confidence) if pooled.size >= LEAST_FOR_FIT else _NO_FIT
    at, at_low, at_high, before, after = change
    (initial, late, tau) = fit
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
        seed=seed,
        method="trend within runs; one change on the clock of time at risk; rates exact Poisson",
    )


def _bins(runs: Sequence[WarmupRun], pooled: Floats, edges: Floats, confidence: float) -> list[RateBin]:
    out = []
    for low, high in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True):
        exposure = math.fsum(total(within(run.observed, low, high)) for run in runs)
        if exposure <= 0:
            continue
        count = int(np.count_nonzero((pooled >= low) & (pooled < high)))
        rate = rate_interval(count, exposure / 3600.0, confidence=confidence)
        out.append(RateBin(low, high, count, exposure, rate.rate, rate.low, rate.high))
    return out


def _risk_clock(runs: Sequence[WarmupRun]) -> tuple[Floats, Floats]:
    """Borders in time since power-up, and the summed observed time of all runs up to each."""
    grid = np.unique(np.concatenate([run.observed.ravel() for run in runs]))
    risk = np.zeros(grid.size)
    for run in runs:
        risk += elapsed(run.observed, grid)
    return grid, risk


def _change(
    pooled: Floats, grid: Floats, risk: Floats, dispersion: float, confidence: float, seed: int
) -> tuple[float, tuple[float, float, float, float, float]]:
    from flicker.stats.changepoints import rate_changes

    on_risk = np.interp(pooled, grid, risk)
    found = rate_changes(
        on_risk, float(risk[-1]), confidence=confidence, dispersion=max(1.0, dispersion), max_changes=1, seed=seed
    )
    if not found.changes:
        return found.p_value, _NO_CHANGE
    best = found.changes[0]
    at, low, high = (float(np.interp(value, risk, grid)) for value in (best.at, best.low, best.high))
    return found.p_value, (at, low, high, best.rate_before * 3600.0, best.rate_after * 3600.0)


def _fit(pooled: Floats, grid: Floats, risk: Floats, confidence: float) -> tuple[_Estimate, _Estimate, _Estimate]:
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
        # equation): the first step lands left of the root, the others never pass it.
        q = np.zeros(fixed.size)
        for _ in range(12):
            part = slope / np.maximum(base + q[:, None] * slope, floor)
            value = part @ weight
            step = value * (value - exposure_v[k]) / (exposure_v[k] * np.maximum((part * part) @ weight, 1e-300))
            q = np.maximum(q + step, 0.0)
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


# --- power-ups against their own history ----------------------------------------------------------------------------

LEAST_HISTORY = 4  # power-ups before one can be judged against them
LONGER, LARGER = 2.0, 1.5  # factors of settle time and surge that matter; common practice, no source
SPREAD_FLOOR = {"settled_V": 0.001, "settle_s": 0.05, "surge_V": 0.05}  # a history is never taken as more alike


@dataclass(frozen=True, slots=True)
class SettlingTrend(Result):
    """Does a quantity of the power-up move from run to run? Slope per power-up with interval, and over all runs."""

    quantity: str
    answer: str
    power_ups: int
    slope: float
    slope_low: float
    slope_high: float
    movement: float
    limit: float
    p_value: float
    p_adjusted: float
    confidence: float
    method: str

    @property
    def reads(self) -> str:
        """The trend in words."""
        name, unit = ("settled level", "V") if self.quantity == "settled_V" else ("settle time", "s")
        if self.answer == YES:
            return f"The {name} moves by {self.movement:+.3g} {unit} over {self.power_ups} power-ups."
        return f"A trend of the {name} over {self.power_ups} power-ups is not shown."


@dataclass(frozen=True, slots=True)
class PowerUpCheck(Result):
    """One power-up against those before it."""

    power_up: int
    abnormal: bool
    quantity: str
    value: float
    usual: float
    usual_low: float
    usual_high: float
    history: int
    p_value: float
    p_adjusted: float

    @property
    def reads(self) -> str:
        """The check in words."""
        name, unit = {"settled_V": ("settled level", "V"), "settle_s": ("settle time", "s"), "surge_V": ("surge", "V")}[
            self.quantity
        ]
        usual = f"{self.usual_low:.3g} to {self.usual_high:.3g} {unit}"
        if self.abnormal:
            return (
                f"Power-up {self.power_up + 1}: {name} {self.value:.3g} {unit}, where {usual} is usual for this unit."
            )
        return f"Power-up {self.power_up + 1}: {name} {self.value:.3g} {unit} is not unusual for this unit ({usual})."


def settling_trends(
    settled_V: ArrayLike,
    settle_s: ArrayLike,
    *,
    order: ArrayLike | None = None,
    drift_V: float = 0.020,
    settle_limit_s: float = 120.0,
    confidence: float = 0.95,
) -> tuple[SettlingTrend, SettlingTrend]:
    """Ask whether settled level and settle time move from power-up to power-up.

    Parameters
    ----------
    settled_V, settle_s : array_like, shape (power-ups,)
        In time order, 3 or more.
    order : array_like, optional
        Age at each power-up (hours of use, days); the number of the power-up where not given. Slopes are per unit.
    drift_V, settle_limit_s : float
        Movement over all power-ups that matters.
    confidence : float
        Of decisions (Holm over the two) and intervals.

    Raises
    ------
    ValueError
        If the arrays differ in length or hold fewer than 3 power-ups.

    Notes
    -----
    Mann-Kendall and Theil-Sen (`stats.trends`). Below five power-ups no trend can be shown at 95 %.
    """
    from flicker.stats.trends import mann_kendall, theil_sen

    level = _check.finite_array("settled_V", settled_V, least=3)
    settle = _check.finite_array("settle_s", settle_s, least=3)
    x = np.arange(level.size, dtype=np.float64) if order is None else _check.finite_array("order", order, least=3)
    if settle.size != level.size or x.size != level.size:
        raise ValueError(
            f"settle_s and order must have one entry per power-up ({level.size}), got {settle.size}, {x.size}"
        )
    confidence = _check.share("confidence", confidence)
    drafts = []
    for name, values, limit in (("settled_V", level, drift_V), ("settle_s", settle, settle_limit_s)):
        test, slope = mann_kendall(values, x), theil_sen(values, x, confidence=confidence)
        drafts.append((name, values, limit, test.p_value, slope))
    adjusted = holm([draft[3] for draft in drafts])
    out = []
    for (name, values, limit, p_value, slope), p_adjusted in zip(drafts, adjusted, strict=True):
        movement = slope.slope * float(np.ptp(x))
        shown = p_adjusted <= 1.0 - confidence and abs(movement) > limit
        out.append(
            SettlingTrend(
                name,
                YES if shown else NOT_SHOWN,
                values.size,
                slope.slope,
                slope.low,
                slope.high,
                movement,
                limit,
                p_value,
                p_adjusted,
                confidence,
                "Mann-Kendall, Theil-Sen; Holm over level and time",
            )
        )
    return out[0], out[1]


def check_power_ups(
    surge_V: ArrayLike,
    settle_s: ArrayLike,
    settled_V: ArrayLike,
    *,
    level_limit_V: float = 0.020,
    confidence: float = 0.95,
) -> tuple[PowerUpCheck, ...]:
    """Judge each power-up against the unit's own power-ups before it (from the fifth on).

    Parameters
    ----------
    surge_V, settle_s, settled_V : array_like, shape (power-ups,)
        Surge from the settled level, time to settle, settled level; in time order, starts of one kind (cold, or warm).
    level_limit_V : float
        Distance of the settled level that matters.
    confidence : float
        Chance that a sound history gives no abnormal power-up at all.

    Returns
    -------
    tuple of PowerUpCheck
        For each power-up judged the least usual of its three quantities.

    Raises
    ------
    ValueError
        If the arrays differ in length or a settle time is negative.

    Notes
    -----
    Prediction by Student's t from the mean and spread of the power-ups before (those already out of line left out);
    surge and settle time by their logarithms and upwards only; a history is never taken as more alike than
    `SPREAD_FLOOR`.
    Holm over all power-ups and quantities. Abnormal also needs twice the usual settle time, 1.5 times the surge, or
    ``level_limit_V``. Assumes that a sound unit's power-ups scatter about normally.
    """
    surge = _check.finite_array("surge_V", surge_V, least=0)
    settle = _check.finite_array("settle_s", settle_s, least=0)
    level = _check.finite_array("settled_V", settled_V, least=0)
    if not surge.size == settle.size == level.size:
        raise ValueError(f"settle_s and settled_V must have one entry per power-up ({surge.size})")
    if np.any(settle < 0):
        raise ValueError(f"settle_s must be 0 or more, got {float(settle.min())}")
    confidence = _check.share("confidence", confidence)
    looks = [
        _look(name, values, confidence, level_limit_V)
        for name, values in (
            ("settled_V", level),
            ("settle_s", np.log(settle + 1.0)),
            ("surge_V", np.log(np.maximum(np.abs(surge), 0.001))),
        )
    ]
    flat = [check for look in looks for check in look]
    adjusted = dict(zip(((c[0], c[1]) for c in flat), holm([c[2] for c in flat]), strict=True))
    raw = {"settled_V": level, "settle_s": settle, "surge_V": np.abs(surge)}
    out = []
    for judged in zip(*looks, strict=True):
        # An abnormal quantity comes first, then the least likely one.
        best = min(judged, key=lambda c: (not (c[6] and adjusted[c[0], c[1]] <= 1.0 - confidence), c[2]))
        name, run, p_value, middle, low, high, matters, history = best
        back = (
            (lambda x: x) if name == "settled_V" else (lambda x: math.exp(x) - 1.0) if name == "settle_s" else math.exp
        )
        p_adjusted = adjusted[name, run]
        out.append(
            PowerUpCheck(
                run,
                bool(matters and p_adjusted <= 1.0 - confidence),
                name,
                float(raw[name][run]),
                back(middle),
                back(low),
                back(high),
                history,
                p_value,
                p_adjusted,
            )
        )
    return tuple(out)


def _look(
    name: str, values: Floats, confidence: float, level_limit_V: float
) -> list[tuple[str, int, float, float, float, float, bool, int]]:
    out = []
    usable = np.ones(values.size, dtype=bool)
    for run in range(LEAST_HISTORY, values.size):
        past = values[:run][usable[:run]]
        n, middle = past.size, float(past.mean())
        spread = max(float(past.std(ddof=1)), SPREAD_FLOOR[name]) * math.sqrt(1.0 + 1.0 / n)
        away = float(values[run]) - middle
        upper = float(special.stdtr(n - 1, -away / spread))
        p_value = 2.0 * min(upper, 1.0 - upper) if name == "settled_V" else upper
        reach = float(special.stdtrit(n - 1, 0.5 * (1.0 + confidence))) * spread
        matters = (
            abs(away) > level_limit_V
            if name == "settled_V"
            else away > math.log(LONGER if name == "settle_s" else LARGER)
        )
        out.append((name, run, p_value, middle, middle - reach, middle + reach, matters, n))
        usable[run] = not (matters and p_value < 0.01)
    return out


def observed_from(intervals: ArrayLike, power_up_s: float) -> Floats:
    """Observed intervals on the clock of the power-up, shape (n, 2); what lies before it is left out."""
    table = np.asarray(intervals, dtype=np.float64).reshape(-1, 2) - power_up_s
    return spans((max(a, 0.0), b) for a, b in table.tolist() if b > 0)
