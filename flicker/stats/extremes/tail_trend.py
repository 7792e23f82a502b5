"""Score test of a trend in a Pareto tail, and generalised extreme values of the largest peak of each run."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import optimize, special

from flicker.base import check
from flicker.base.formats import p_said
from flicker.base.result import Result
from flicker.stats.arrivals import arrival_runs as ar
from flicker.stats.arrivals.trend_tests import PERMUTATIONS, shuffled
from flicker.stats.extremes import gpd
from flicker.stats.extremes.exceedance import hessian
from flicker.stats.extremes.gpd import Floats
from flicker.stats.extremes.peaks import SHAPE_RANGE, fit_tail


@dataclass(frozen=True, slots=True)
class TailTrend(Result):
    """Do peaks above a threshold grow with time? ``growth`` is the factor of the scale over the span of times."""

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
            return f"The peaks get {'larger' if self.score > 0 else 'smaller'} with time ({p_said(self.p_value)})."
        return f"It is not shown that the peaks change in size ({p_said(self.p_value)})."


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
    x, t = check.finite_array("peaks", peaks), check.finite_array("times", times)
    if x.size != t.size:
        raise ValueError(f"times must hold one number per peak ({x.size}), got {t.size}")
    threshold = float(check.finite_array("threshold", [threshold])[0])
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
        return gpd.highest(scaled, tail.shape_range) - growth * float(u.sum())

    found = optimize.minimize_scalar(lambda b: -value(b), bounds=(-8.0, 8.0), method="bounded", options={"xatol": 1e-3})
    best, drop = float(found.x), -float(found.fun) - 0.5 * float(special.chdtri(1, 1.0 - confidence))
    ends = [
        float(optimize.brentq(lambda b: value(b) - drop, way * 12.0, best, xtol=1e-3))
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
    x = check.finite_array("maxima", maxima, least=10)
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
    info = hessian(cost, found.x, np.full(3, 1e-4))
    se = np.full(3, np.nan)
    if np.all(np.isfinite(info)) and np.all(np.linalg.eigvalsh(info) > 0):
        se = np.sqrt(np.diag(np.linalg.inv(info)))
    width = math.exp(log_width)
    return MaximaFit(
        float(x.mean()) + centre * spread, width * spread, shape, float(se[0]) * spread, float(se[1]) * width * spread,
        float(se[2]), -float(found.fun) - x.size * math.log(spread), int(x.size),
        "generalised extreme value law by maximum likelihood",
    )  # fmt: skip
