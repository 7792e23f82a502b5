"""How large may the next episodes get? Peaks in, a tail and its limits out. Knows nothing of loudspeakers or relays.

A tail fitted to few peaks says little: the range of shapes is stated, intervals are calibrated by simulation, and below
20 peaks only an upper bound is given, beside the exact count of peaks above the level.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from scipy import optimize, special

from flicker.stats import _arrival_runs as ar
from flicker.stats import _check, _gpd
from flicker.stats._gpd import Floats
from flicker.stats._result import Result
from flicker.stats._trend_tests import PERMUTATIONS, shuffled

__all__ = [
    "MaximaFit",
    "PeakShare",
    "ReturnLevel",
    "TailChance",
    "TailFit",
    "TailTrend",
    "fit_maxima",
    "fit_tail",
    "share_above",
    "tail_trend_test",
]

SHAPE_RANGE = (-0.5, 1.0)  # below -0.5 the likelihood has no usual maximum; above 1 the tail has no mean
LEAST_PEAKS = 5
FEW_PEAKS = 20  # below, coverage hangs on the shape range, so only an upper bound is given
BOOTSTRAPS = 299
CALIBRATE_BELOW = 60  # peaks; beyond, the likelihood's own limits cover as they should
LATTICE_AT_MOST = 5000  # peaks; beyond, the normal approximation is exact enough
FEW = "Fewer than 20 peaks: the tail cannot be known; an upper bound only, and it rests on the range of shapes."


@dataclass(frozen=True, slots=True)
class PeakShare(Result):
    """Peaks above a level, counted: exact, whatever the tail."""

    level: float
    above: int
    count: int
    share: float
    low: float
    high: float
    confidence: float
    method: str

    @property
    def reads(self) -> str:
        """The count in words."""
        seen = f"{self.above} of {self.count} peaks were above {self.level:.3g}"
        return f"{seen} (at most {self.high:.0%} of such peaks)."


@dataclass(frozen=True, slots=True)
class TailChance(Result):
    """Chance of one peak or more above a level in a further exposure. ``low`` is 0 where only an upper bound is given."""

    level: float
    exposure: float
    chance: float
    low: float
    high: float
    bound: str
    expected: float
    share: PeakShare
    confidence: float
    caution: str
    seed: int
    method: str

    @property
    def reads(self) -> str:
        """The chance in words."""
        ask = f"The chance of a peak above {self.level:.3g} in the next {self.exposure:.3g} units of exposure"
        if self.bound == "upper":
            return f"{ask} is at most {self.high:.2g} ({self.confidence:.0%} bound). {self.share.reads}"
        if self.low < 0.05 and self.high > 0.95:
            return f"{ask} cannot be told from these peaks. {self.share.reads}"
        return f"{ask} is about {self.chance:.2g}, between {self.low:.2g} and {self.high:.2g}."


@dataclass(frozen=True, slots=True)
class ReturnLevel(Result):
    """Level passed once on average in an exposure."""

    exposure: float
    level: float
    se: float
    low: float
    high: float
    confidence: float
    method: str


@dataclass(frozen=True, slots=True)
class TailFit(Result):
    """Generalised Pareto tail of peaks above a threshold; a positive ``shape`` is a heavy tail."""

    shape: float
    shape_low: float
    shape_high: float
    shape_se: float
    scale: float
    scale_low: float
    scale_high: float
    scale_se: float
    rate: float
    rate_low: float
    rate_high: float
    threshold: float
    exposure: float
    count: int
    largest: float
    log_likelihood: float
    shape_range: tuple[float, float]
    confidence: float
    caution: str
    seed: int
    method: str
    excesses: Floats = field(repr=False, compare=False)

    def to_dict(self) -> dict[str, Any]:
        """Return the result as plain values, without the excesses it was fitted to."""
        out = Result.to_dict(self)
        out.pop("excesses")
        return out

    @property
    def reads(self) -> str:
        """The fit in words."""
        if self.count < FEW_PEAKS:
            return f"{self.count} peaks above {self.threshold:.3g}; the largest was {self.largest:.3g}. {self.caution}"
        kind = "heavy" if self.shape_low > 0 else "bounded" if self.shape_high < 0 else "not shown heavy or bounded"
        return f"{self.count} peaks above {self.threshold:.3g}; the largest was {self.largest:.3g}; the tail is {kind}."

    def share_beyond(self, level: float) -> float:
        """Fitted share of such peaks that lie above ``level``."""
        ratio = np.array([(_level(level, self.threshold) - self.threshold) / self.scale])
        return float(np.exp(-_gpd.log_survival(ratio, np.array([self.shape])))[0])

    def chance_above(self, level: float, exposure: float) -> TailChance:
        """Chance that the next ``exposure`` holds a peak above ``level``.

        Parameters
        ----------
        level : float
            In the unit of the peaks, at or above the threshold.
        exposure : float
            Further observed time (or power-ups), above 0, in the unit of the fit's exposure.

        Returns
        -------
        TailChance
            With 20 peaks or more ``low`` and ``high`` form an interval at the fit's confidence; below, ``high`` is a
            one-sided bound and ``low`` is 0. ``share`` holds the exact count of peaks above the level.

        Raises
        ------
        ValueError
            If the fit has no exposure, ``level`` lies below the threshold, or ``exposure`` is not positive.

        Notes
        -----
        Profile likelihood of the rate of peaks above the level (counts Poisson, excesses generalised Pareto, shape
        within its range). Below 60 peaks the cut is calibrated by 299 simulations at the limit itself, and never
        below the usual one.
        """
        level = _level(level, self.threshold)
        exposure = _check.positive("exposure", exposure, what="observed time ahead")
        if not math.isfinite(self.exposure):
            raise ValueError("exposure must be given to fit_tail (observed time behind the peaks) for a chance, got None")
        few = self.count < FEW_PEAKS
        low, high = _rate_above(self, level - self.threshold, one_sided=few)
        middle = self.rate * self.share_beyond(level)
        share = share_above(self.excesses + self.threshold, level, confidence=self.confidence)
        low, middle, high = (float(-math.expm1(-r * exposure)) for r in (0.0 if few else low, middle, high))
        return TailChance(
            level, exposure, middle, low, high, "upper" if few else "two-sided",
            self.rate * self.share_beyond(level) * exposure, share, self.confidence, self.caution, self.seed,
            "profile likelihood of a generalised Pareto tail" + (", calibrated" if self.count < CALIBRATE_BELOW else ""),
        )  # fmt: skip

    def level_for(self, exposure: float) -> ReturnLevel:
        """Level that is passed once on average in ``exposure``, with its profile-likelihood interval.

        Raises
        ------
        ValueError
            If the fit has no exposure, has fewer than 20 peaks, or ``exposure`` holds less than one peak on average.
        """
        exposure = _check.positive("exposure", exposure, what="observed time")
        if not math.isfinite(self.exposure) or self.count < FEW_PEAKS or self.rate * exposure < 1:
            raise ValueError(
                f"exposure must be known and hold one peak or more on average, with 20 peaks fitted; "
                f"got {exposure} at a rate of {self.rate}, {self.count} peaks"
            )
        return _return_level(self, exposure)


@dataclass(frozen=True, slots=True)
class TailTrend(Result):
    """Do peaks above a threshold grow with time? ``growth`` is the factor of the scale over the longest span of times."""

    score: float
    p_value: float
    growth: float
    growth_low: float
    growth_high: float
    count: int
    alternative: str
    confidence: float
    seed: int
    method: str

    @property
    def reads(self) -> str:
        """The finding in words."""
        if self.p_value < 0.05:
            return f"The peaks get {'larger' if self.score > 0 else 'smaller'} with time ({ar.p_words(self.p_value)})."
        return f"It is not shown that the peaks change in size ({ar.p_words(self.p_value)})."


@dataclass(frozen=True, slots=True)
class MaximaFit(Result):
    """Generalised extreme value law of the largest peak of each run; a positive ``shape`` is a heavy tail."""

    location: float
    scale: float
    shape: float
    location_se: float
    scale_se: float
    shape_se: float
    log_likelihood: float
    count: int
    method: str


def _level(level: float, threshold: float) -> float:
    value = float(_check.finite_array("level", [level])[0])
    if value < threshold:
        raise ValueError(f"level must be at or above the threshold ({threshold}), got {value}")
    return value


def share_above(peaks: ArrayLike, level: float, *, confidence: float = 0.95) -> PeakShare:
    """Count the peaks above a level; exact limits after Clopper and Pearson (1934).

    Raises
    ------
    ValueError
        For no peaks, values that are not finite, or a confidence outside (0, 1).
    """
    x = _check.finite_array("peaks", peaks)
    level = float(_check.finite_array("level", [level])[0])
    tail = (1.0 - _check.share("confidence", confidence)) / 2.0
    n, k = int(x.size), int(np.count_nonzero(x > level))
    low = float(special.betaincinv(k, n - k + 1, tail)) if k else 0.0
    high = float(special.betaincinv(k + 1, n - k, 1.0 - tail)) if k < n else 1.0
    return PeakShare(level, k, n, k / n, low, high, confidence, "counted, exact binomial limits (Clopper-Pearson)")


def fit_tail(
    peaks: ArrayLike,
    threshold: float,
    *,
    exposure: float | None = None,
    confidence: float = 0.95,
    shape_range: tuple[float, float] = SHAPE_RANGE,
    seed: int = 0,
) -> TailFit:
    """Fit a generalised Pareto tail to peaks above a threshold.

    Parameters
    ----------
    peaks : array_like
        Sizes of the episodes (one peak each, absolute deviation), in any unit; those above ``threshold`` are used.
    threshold : float
        In the unit of the peaks, fixed before looking.
    exposure : float, optional
        Observed time behind the peaks; needed for a rate and for chances.
    confidence : float
        Of all intervals.
    shape_range : (float, float)
        Shapes that are thought possible. The fit never leaves it, and limits from few peaks rest on it.
    seed : int
        Of the calibrating simulations.

    Returns
    -------
    TailFit
        With ``chance_above(level, exposure)``, ``level_for(exposure)`` and ``share_beyond(level)``.

    Raises
    ------
    ValueError
        For fewer than 5 peaks above the threshold, equal peaks only, an exposure not above 0, or a bad range.

    Notes
    -----
    Coles (2001), An Introduction to Statistical Modeling of Extreme Values, chapter 4: maximum likelihood, intervals by
    the profile likelihood; the rate's interval is Garwood's.
    """
    x = _check.finite_array("peaks", peaks)
    threshold = float(_check.finite_array("threshold", [threshold])[0])
    confidence = _check.share("confidence", confidence)
    seed = _check.whole("seed", seed, what="a seed")
    low_shape, high_shape = (float(v) for v in _check.finite_array("shape_range", shape_range, least=2)[:2])
    if not -1.0 < low_shape < high_shape <= 2.0:
        raise ValueError(f"shape_range must be two ascending numbers from above -1 to 2, got {shape_range!r}")
    y = np.sort(x[x > threshold] - threshold)
    if y.size < LEAST_PEAKS:
        raise ValueError(
            f"peaks must hold {LEAST_PEAKS} or more above the threshold {threshold}, got {y.size} "
            "(share_above counts fewer)"
        )
    if float(np.ptp(y)) <= 1e-12 * float(y[-1]):
        raise ValueError(f"peaks must differ in size to show a tail, got {y.size} times {y[0] + threshold}")
    span = (low_shape, high_shape)
    best = _gpd.fit(y, span)
    drop = 0.5 * float(special.chdtri(1, 1.0 - confidence))
    shape_low, shape_high = _gpd.shape_interval(y, best, drop, span)
    scale_low, scale_high = _gpd.scale_interval(y, best, drop, span)
    shape_se, scale_se, _ = _standard_errors(y, best)
    n, seen = int(y.size), float("nan")
    rate = rate_low = rate_high = float("nan")
    if exposure is not None:
        seen, tail = _check.positive("exposure", exposure, what="observed time"), (1.0 - confidence) / 2.0
        rate = n / seen
        rate_low = float(special.gammaincinv(n, tail)) / seen
        rate_high = float(special.gammainccinv(n + 1, tail)) / seen
    caution = FEW if n < FEW_PEAKS else ""
    if min(best.shape - low_shape, high_shape - best.shape) < 1e-6:
        caution = f"{caution} The fit lies at the border of the range of shapes ({low_shape:g} to {high_shape:g}).".strip()
    return TailFit(
        best.shape, shape_low, shape_high, shape_se, best.scale, scale_low, scale_high, scale_se,
        rate, rate_low, rate_high, threshold, seen, n, float(y[-1]) + threshold, best.value, span, confidence, caution, seed,
        f"generalised Pareto tail by maximum likelihood, shape between {low_shape:g} and {high_shape:g}", y,
    )  # fmt: skip


def _standard_errors(y: Floats, best: _gpd.Fit) -> tuple[float, float, Floats]:
    """From the observed information in (shape, scale); nan where it is not positive definite (fits at a border)."""
    n = np.array([float(y.size)])

    def value(shape: float, scale: float) -> float:
        return float(_gpd.log_likelihood(y[None, :], n, np.array([[shape]]), np.array([[scale]]))[0, 0])

    steps = (1e-4, 1e-4 * best.scale)
    info = -_hessian(lambda p: value(p[0], p[1]), np.array([best.shape, best.scale]), np.array(steps))
    if not np.all(np.isfinite(info)) or np.linalg.det(info) <= 0 or info[0, 0] <= 0:
        return float("nan"), float("nan"), np.full((2, 2), np.nan)
    cov = np.linalg.inv(info)
    return float(np.sqrt(cov[0, 0])), float(np.sqrt(cov[1, 1])), cov


def _hessian(function: Any, at: Floats, steps: Floats) -> Floats:
    k = at.size
    out = np.zeros((k, k))
    for i in range(k):
        for j in range(i, k):
            a, b = np.eye(k)[i] * steps[i], np.eye(k)[j] * steps[j]
            mixed = function(at + a + b) - function(at + a - b) - function(at - a + b) + function(at - a - b)
            out[i, j] = out[j, i] = mixed / (4.0 * steps[i] * steps[j])
    return out


def _lattice_of(y: Floats, n: Floats, span: tuple[float, float], *, fine: bool) -> tuple[Floats, Floats, Floats]:
    shapes = np.linspace(*span, 76 if fine else 21)
    offsets = np.linspace(-4.0, 4.0, 65 if fine else 19)
    value, scale = _gpd.lattice(y, n, shapes, offsets)
    return value, scale, shapes


def _root(value: Floats, minus_log_s: Floats, n: Floats, exposure: float, rate: float) -> Floats:
    """Signed likelihood root of a rate above the level, for each row: positive where the data say 'more than this'.

    The rate of all peaks is free: given the rate above the level it is that rate over the survival.
    """
    base = np.log(rate) + minus_log_s
    with np.errstate(over="ignore", invalid="ignore"):
        joint = value + n[:, None, None] * base - np.exp(base) * exposure
    joint = np.where(np.isfinite(joint), joint, -np.inf)
    rows = value.shape[0]
    free = value.reshape(rows, -1)
    best = np.argmax(free, axis=1)
    top = free[np.arange(rows), best] + n * np.log(n / exposure) - n
    fitted = np.log(n / exposure) - minus_log_s.reshape(rows, -1)[np.arange(rows), best]
    gap = np.maximum(top - joint.reshape(rows, -1).max(axis=1), 0.0)
    out: Floats = np.sign(fitted - np.log(rate)) * np.sqrt(2.0 * gap)
    return out


def _rate_above(tail: TailFit, over: float, *, one_sided: bool) -> tuple[float, float]:
    """Limits of the rate of peaks more than ``over`` above the threshold."""
    y, n = tail.excesses[None, :], np.array([float(tail.count)])
    aim = 1.0 - tail.confidence if one_sided else (1.0 - tail.confidence) / 2.0
    middle = tail.rate * tail.share_beyond(tail.threshold + over)
    if tail.count > LATTICE_AT_MOST:
        return _rate_above_normal(tail, over, aim)
    value, scale, shapes = _lattice_of(y, n, tail.shape_range, fine=True)
    cost = _gpd.log_survival(over / scale, shapes[None, :, None])
    z = -float(special.ndtri(aim))

    def limit(way: float, cut: float) -> float:
        def beyond(log_rate: float) -> float:
            return float(_root(value, cost, n, tail.exposure, math.exp(log_rate))[0]) + way * cut

        return _walk(beyond, math.log(middle) if middle > 1e-200 else math.log(tail.rate) - 60.0, way)

    out = []
    for way in (-1.0, 1.0):
        if way < 0 and (one_sided or middle <= 1e-200):
            out.append(0.0)
            continue
        log_rate = limit(way, z)
        if tail.count < CALIBRATE_BELOW and math.isfinite(log_rate):
            cut = _calibrated_cut(tail, over, log_rate, way, aim, (value, scale, shapes, cost))
            log_rate = limit(way, max(cut, z))
        out.append(math.exp(log_rate) if math.isfinite(log_rate) else (0.0 if way < 0 else tail.rate_high))
    return out[0], min(out[1], tail.rate_high)


def _walk(falling: Any, start: float, way: float) -> float:
    """Zero of a falling function on one side of ``start``; infinite if there is none within reach."""
    step = 0.25
    while way * falling(start + way * step) >= 0:
        step *= 1.6
        if step > 300:
            return way * math.inf
    if way * falling(start) <= 0:
        return start
    return float(optimize.brentq(falling, start, start + way * step, xtol=1e-6))


def _calibrated_cut(
    tail: TailFit, over: float, log_rate: float, way: float, aim: float, held: tuple[Floats, Floats, Floats, Floats]
) -> float:
    """Cut for the likelihood root, from samples drawn at the limit itself (the best fit with that rate)."""
    value, scale, shapes, cost = held
    base = log_rate + cost[0]
    with np.errstate(over="ignore", invalid="ignore"):
        joint = value[0] + tail.count * base - np.exp(base) * tail.exposure
    joint = np.where(np.isfinite(joint), joint, -np.inf)
    i, j = np.unravel_index(int(np.argmax(joint)), joint.shape)
    shape, width, mean_count = float(shapes[i]), float(scale[0, i, j]), float(np.exp(base[i, j])) * tail.exposure
    rng = np.random.default_rng(tail.seed)
    counts = np.maximum(rng.poisson(mean_count, BOOTSTRAPS), 3).astype(float)
    draws = rng.standard_exponential((BOOTSTRAPS, int(counts.max())))
    y = width * (np.expm1(shape * draws) / shape if abs(shape) > 1e-6 else draws)
    y[np.arange(y.shape[1])[None, :] >= counts[:, None]] = 0.0
    value, scale, shapes = _lattice_of(y, counts, tail.shape_range, fine=False)
    cost = _gpd.log_survival(over / scale, shapes[None, :, None])
    roots = np.sort(-way * _root(value, cost, counts, tail.exposure, math.exp(log_rate)))
    at = min(BOOTSTRAPS - 1, math.ceil((1.0 - aim) * (BOOTSTRAPS + 1)) - 1)
    return float(roots[at])


def _rate_above_normal(tail: TailFit, over: float, aim: float) -> tuple[float, float]:
    """Limits from the normal approximation of the log rate (many peaks)."""
    _, _, cov = _standard_errors(tail.excesses, _gpd.Fit(tail.shape, tail.scale, tail.log_likelihood))

    def log_s(shape: float, scale: float) -> float:
        return -float(_gpd.log_survival(np.array([over / scale]), np.array([shape]))[0])

    middle = log_s(tail.shape, tail.scale)
    if not math.isfinite(middle) or not np.all(np.isfinite(cov)):
        return 0.0, tail.rate_high
    h = 1e-5
    slope = np.array(
        [
            (log_s(tail.shape + h, tail.scale) - log_s(tail.shape - h, tail.scale)) / (2 * h),
            (log_s(tail.shape, tail.scale * (1 + h)) - log_s(tail.shape, tail.scale * (1 - h))) / (2 * h * tail.scale),
        ]
    )
    reach = -float(special.ndtri(aim)) * math.sqrt(float(slope @ cov @ slope) + 1.0 / tail.count)
    rate = tail.rate * math.exp(middle)
    return rate * math.exp(-reach), min(rate * math.exp(reach), tail.rate_high)


def _return_level(tail: TailFit, exposure: float) -> ReturnLevel:
    y, n = tail.excesses, np.array([float(tail.count)])
    mean = tail.rate * exposure

    def over(shape: float, scale: float, expected: float) -> float:
        power = math.log(expected)
        return scale * (math.expm1(shape * power) / shape if abs(shape) > 1e-6 else power)

    middle = over(tail.shape, tail.scale, mean)
    _, _, cov = _standard_errors(y, _gpd.Fit(tail.shape, tail.scale, tail.log_likelihood))
    h = 1e-5
    slope = np.array(
        [
            (over(tail.shape + h, tail.scale, mean) - over(tail.shape - h, tail.scale, mean)) / (2 * h),
            middle / tail.scale,
        ]
    )
    by_rate = tail.scale * mean**tail.shape  # derivative by the log of the rate, whose variance is 1 / count
    se = math.sqrt(float(slope @ cov @ slope) + by_rate**2 / tail.count)
    value, scale, shapes = _lattice_of(y[None, :], n, tail.shape_range, fine=True)
    z = -float(special.ndtri((1.0 - tail.confidence) / 2.0))

    def beyond(log_level: float, cut: float) -> float:
        cost = _gpd.log_survival(math.exp(log_level) / scale, shapes[None, :, None])
        return float(_root(value, cost, n, tail.exposure, 1.0 / exposure)[0]) - cut

    start = math.log(middle)
    # the higher the level, the fewer peaks the data put above it: the root falls through zero at the fitted level
    low, high = _walk(lambda v: beyond(v, z), start, -1.0), _walk(lambda v: beyond(v, -z), start, 1.0)
    return ReturnLevel(
        exposure, tail.threshold + middle, se, tail.threshold + math.exp(low),
        tail.threshold + math.exp(high) if math.isfinite(high) else math.inf, tail.confidence,
        "generalised Pareto return level, interval by profile likelihood, se by the delta method",
    )  # fmt: skip


def tail_trend_test(
    peaks: ArrayLike,
    times: ArrayLike,
    threshold: float,
    *,
    runs: ArrayLike | None = None,
    alternative: ar.Alternative = "increasing",
    confidence: float = 0.95,
    shape_range: tuple[float, float] = SHAPE_RANGE,
    seed: int = 0,
) -> TailTrend:
    """Do peaks above a threshold grow with time, inside the tail?

    Parameters
    ----------
    peaks, times : array_like
        Peak and time since its run's start of each episode.
    threshold : float
        Peaks at or below it are left out.
    runs : array_like, optional
        Run of each peak; peaks then change places only within their run.
    alternative : {"increasing", "decreasing", "two-sided"}
        Default: larger.
    confidence, shape_range, seed
        As in `fit_tail`; the interval is that of ``growth``.

    Returns
    -------
    TailTrend
        Score for a scale that grows exponentially with time; p-value by permuting the peaks over the times.

    Raises
    ------
    ValueError
        As in `fit_tail`; if lengths differ, or all times are equal.

    Notes
    -----
    Score test in the model of Coles (2001), chapter 6, with log-linear scale. A peak's weight is bounded for a heavy
    tail, so one lucky large peak does not decide.
    """
    side = ar.side(alternative)
    x, t = _check.finite_array("peaks", peaks), _check.finite_array("times", times)
    if x.size != t.size:
        raise ValueError(f"times must hold one number per peak ({x.size}), got {t.size}")
    label = np.zeros(x.size, dtype=np.int64)
    if runs is not None:
        label = np.unique(np.asarray(runs), return_inverse=True)[1].astype(np.int64)
        if label.size != x.size:
            raise ValueError(f"runs must hold one label per peak ({x.size}), got {label.size}")
    keep = x > threshold
    tail = fit_tail(x[keep], threshold, confidence=confidence, shape_range=shape_range, seed=seed)
    order = np.lexsort((t[keep], label[keep]))
    y, t, label = x[keep][order] - threshold, t[keep][order], label[keep][order]
    middle = np.bincount(label, t) / np.maximum(np.bincount(label), 1)
    centred = t - middle[label]
    span = float(np.ptp(centred))
    if span == 0:
        raise ValueError(f"times must differ within a run, got {t[0]} for all")
    u = centred / span
    weight = (1.0 + tail.shape) * y / (tail.scale + tail.shape * y)
    score = float(u @ weight)
    if y.size * PERMUTATIONS > 4_000_000:
        spread = math.sqrt(float(u @ u) * float(weight.var(ddof=1)))
        p = ar.normal_p(score / spread, side)
    else:
        p = ar.simulated_p(score, shuffled(weight, label, PERMUTATIONS, seed) @ u, side)

    def value(growth: float) -> float:
        scaled = y * np.exp(-growth * u)
        return _gpd.fit(scaled, tail.shape_range).value - growth * float(u.sum())

    found = optimize.minimize_scalar(lambda b: -value(b), bounds=(-8.0, 8.0), method="bounded", options={"xatol": 1e-4})
    best, drop = float(found.x), -float(found.fun) - 0.5 * float(special.chdtri(1, 1.0 - confidence))
    ends = [
        float(optimize.brentq(lambda b: value(b) - drop, way * 12.0, best, xtol=1e-4))
        if value(way * 12.0) < drop
        else way * math.inf
        for way in (-1.0, 1.0)
    ]
    return TailTrend(
        score, p, math.exp(best), math.exp(ends[0]), math.exp(ends[1]) if math.isfinite(ends[1]) else math.inf,
        int(y.size), side, confidence, seed, "score test for a growing tail, permutation of peaks",
    )  # fmt: skip


def fit_maxima(maxima: ArrayLike) -> MaximaFit:
    """Fit a generalised extreme value law to the largest peak of each run (or day).

    Parameters
    ----------
    maxima : array_like
        One largest value per run of about equal length, 10 or more.

    Returns
    -------
    MaximaFit
        Estimates with standard errors from the observed information (nan where a shape below -0.5 has none).

    Raises
    ------
    ValueError
        For fewer than 10 values, or values without spread.

    Notes
    -----
    Coles (2001), chapter 3.
    """
    x = _check.finite_array("maxima", maxima, least=10)
    spread = float(x.std(ddof=1))
    if spread <= 1e-12 * max(1.0, float(np.abs(x).max())):
        raise ValueError(f"maxima must differ, got {x.size} times {x[0]}")
    z = (x - x.mean()) / spread

    def cost(p: Floats) -> float:
        width, shape = math.exp(p[1]), float(p[2])
        inner = 1.0 + shape * (z - p[0]) / width
        if np.any(inner <= 0) or abs(shape) > 2:
            return 1e10
        log_inner = np.log(inner) / shape if abs(shape) > 1e-6 else (z - p[0]) / width
        return float(z.size * p[1] + np.sum((1.0 + shape) * log_inner + np.exp(-log_inner)))

    gumbel = math.sqrt(6.0) / math.pi
    found = optimize.minimize(
        cost, np.array([-0.5772 * gumbel, math.log(gumbel), 0.05]), method="Nelder-Mead",
        options={"xatol": 1e-9, "fatol": 1e-11, "maxiter": 4000, "maxfev": 4000},
    )  # fmt: skip
    centre, log_width, shape = (float(v) for v in found.x)
    info = _hessian(cost, found.x, np.full(3, 1e-4))
    se = np.full(3, np.nan)
    if np.all(np.isfinite(info)) and np.all(np.linalg.eigvalsh(info) > 0):
        se = np.sqrt(np.diag(np.linalg.inv(info)))
    width = math.exp(log_width)
    return MaximaFit(
        float(x.mean()) + centre * spread, width * spread, shape, float(se[0]) * spread, float(se[1]) * width * spread,
        float(se[2]), -float(found.fun) - x.size * math.log(spread), int(x.size),
        "generalised extreme value law by maximum likelihood",
    )  # fmt: skip
