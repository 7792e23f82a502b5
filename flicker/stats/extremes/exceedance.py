"""Rate of peaks above a level: limits from the likelihood of a generalised Pareto tail, calibrated for few peaks."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from scipy import special

from flicker.base.arrays import Floats
from flicker.base.result import Result
from flicker.base.roots import root
from flicker.stats.extremes import gpd

BOOTSTRAPS = 199
CALIBRATE_BELOW = 60  # peaks; beyond, the likelihood's own limits cover as they should
SHAPES_TRIED = 16  # of the range, for the bound from few peaks
FARTHEST = 80.0  # in logs: rates and levels beyond e**80 times those seen are nothing and everything
LATTICE_AT_MOST = 5000  # peaks; beyond, the normal approximation is exact enough


@dataclass(frozen=True, slots=True, kw_only=True)
class Tail(Result):
    """What is needed of a fitted tail (`flicker.stats.extremes.TailFit`): its best fit, and the peaks behind it."""

    shape: float
    scale: float
    rate: float
    rate_high: float
    threshold: float
    exposure: float
    count: int
    log_likelihood: float
    shape_range: tuple[float, float]
    confidence: float
    seed: int
    excesses: Floats = field(repr=False, compare=False)


def covariance(y: Floats, shape: float, scale: float) -> Floats:
    """Of shape and scale, from the observed information; nan where it is not positive definite (fits at a border)."""
    n = np.array([float(y.size)])

    def value(at: Floats) -> float:
        return float(gpd.log_likelihood(y[None, :], n, at[None, :1], at[None, 1:])[0, 0])

    info = -hessian(value, np.array([shape, scale]), np.array([1e-4, 1e-4 * scale]))
    if not np.all(np.isfinite(info)) or np.linalg.det(info) <= 0 or info[0, 0] <= 0:
        return np.full((2, 2), np.nan)
    return np.asarray(np.linalg.inv(info), dtype=np.float64)


def hessian(function: Callable[[Floats], float], at: Floats, steps: Floats) -> Floats:
    """Second derivatives by central differences."""
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
    value, scale = gpd.lattice(y, n, shapes, offsets)
    return value, scale, shapes


def _joint(value: Floats, minus_log_s: Floats, n: Floats, exposure: float, log_rate: float, way: float) -> Floats:
    """Log-likelihood on the lattice when the rate above the level must be at least (way 1) or at most (way -1) a value.

    The rate of all peaks is free; where its own best already satisfies the bound, the bound costs nothing. Bounds
    rather than an exact value keep the lattice from showing: tails that end below the level count as rates of nothing.
    """
    n = n[:, None, None]
    own = np.log(n / exposure)
    free = value + n * own - n
    base = log_rate + minus_log_s
    with np.errstate(over="ignore", invalid="ignore"):
        held = value + n * base - np.exp(base) * exposure
    held = np.where(np.isfinite(held), held, -np.inf)
    return np.where(way * (own - base) >= 0, free, held)


def _root(value: Floats, minus_log_s: Floats, n: Floats, exposure: float, log_rate: float, way: float) -> Floats:
    """Likelihood root of that bound, one for each row: 0 where the data agree, the larger the more they object."""
    rows = value.shape[0]
    top = value.reshape(rows, -1).max(axis=1) + n * np.log(n / exposure) - n
    bound = _joint(value, minus_log_s, n, exposure, log_rate, way).reshape(rows, -1).max(axis=1)
    return np.asarray(np.sqrt(2.0 * np.maximum(top - bound, 0.0)))


def rate_above(tail: Tail, over: float, *, one_sided: bool) -> tuple[float, float]:
    """Limits of the rate of peaks more than ``over`` above the threshold."""
    y, n = tail.excesses[None, :], np.array([float(tail.count)])
    aim = 1.0 - tail.confidence if one_sided else (1.0 - tail.confidence) / 2.0
    if tail.count > LATTICE_AT_MOST:
        return _rate_above_normal(tail, over, aim)
    value, scale, shapes = _lattice_of(y, n, tail.shape_range, fine=True)
    cost = gpd.log_survival(over / scale, shapes[None, :, None])
    z = -float(special.ndtri(aim))
    ends = (math.log(tail.rate) - FARTHEST, math.log(tail.rate_high))

    def limit(way: float, cut: float) -> float:
        def objection(log_rate: float) -> float:
            return float(_root(value, cost, n, tail.exposure, log_rate, way)[0]) - cut

        lenient, strict = ends[:: 1 if way > 0 else -1]
        if objection(strict) <= 0:
            return strict if way > 0 else -math.inf
        if objection(lenient) >= 0:  # no tail of the range of shapes that reaches the level fits the peaks
            return lenient
        return root(objection, *ends)

    if one_sided:
        return 0.0, math.exp(_bound_of_any_shape(tail, value, cost, aim, ends))
    out = []
    for way in (-1.0, 1.0):
        log_rate = limit(way, z)
        if tail.count < CALIBRATE_BELOW and math.isfinite(log_rate):
            joint = _joint(value, cost, n, tail.exposure, log_rate, way)[0]
            i, j = np.unravel_index(int(np.argmax(joint)), joint.shape)
            mean_count = max(math.exp(min(log_rate + float(cost[0, i, j]), 700.0)) * tail.exposure, 1.0)
            cut = _calibrated_cut(tail, over, log_rate, way, aim, (float(shapes[i]), float(scale[0, i, j]), mean_count))
            log_rate = limit(way, max(cut, z))
        out.append(math.exp(log_rate))
    return out[0], out[1]


def _bound_of_any_shape(tail: Tail, value: Floats, cost: Floats, aim: float, ends: tuple[float, float]) -> float:
    """Highest of the upper limits of the log rate at each shape that the peaks do not exclude.

    A fifth of the error excludes shapes, the rest bounds the rate at each; whichever shape of the range is true, the
    bound holds (Berger and Boos 1994, Journal of the American Statistical Association 89, 1012-1016).
    """
    n, best = np.array([float(tail.count)]), value[0].max(axis=1)
    drop = 0.5 * float(special.chdtri(1, 0.2 * aim))
    z = -float(special.ndtri(0.8 * aim))
    highest = ends[0]
    for i in np.linspace(0, best.size - 1, SHAPES_TRIED).astype(int):
        if best[i] < best.max() - drop:
            continue

        def objection(log_rate: float, row: int = int(i)) -> float:
            at = slice(row, row + 1)
            return float(_root(value[:, at], cost[:, at], n, tail.exposure, log_rate, 1.0)[0]) - z

        if objection(ends[1]) <= 0:
            return ends[1]
        if objection(ends[0]) < 0:
            highest = max(highest, root(objection, *ends))
    return highest


def _calibrated_cut(
    tail: Tail, over: float, log_rate: float, way: float, aim: float, source: tuple[float, float, float]
) -> float:
    """Cut for the likelihood root, from samples drawn at the limit itself (the best fit with that rate above)."""
    shape, width, mean_count = source
    rng = np.random.default_rng(tail.seed)
    counts = np.maximum(rng.poisson(mean_count, BOOTSTRAPS), 3).astype(float)
    draws = rng.standard_exponential((BOOTSTRAPS, int(counts.max())))
    y = width * (np.expm1(shape * draws) / shape if abs(shape) > 1e-6 else draws)
    y[np.arange(y.shape[1])[None, :] >= counts[:, None]] = 0.0
    value, scale, shapes = _lattice_of(y, counts, tail.shape_range, fine=False)
    cost = gpd.log_survival(over / scale, shapes[None, :, None])
    roots = np.sort(_root(value, cost, counts, tail.exposure, log_rate, way))
    at = min(BOOTSTRAPS - 1, math.ceil((1.0 - aim) * (BOOTSTRAPS + 1)) - 1)
    return float(roots[at])


def _rate_above_normal(tail: Tail, over: float, aim: float) -> tuple[float, float]:
    """Limits from the normal approximation of the log rate (many peaks)."""
    cov = covariance(tail.excesses, tail.shape, tail.scale)

    def log_s(shape: float, scale: float) -> float:
        return -float(gpd.log_survival(np.array([over / scale]), np.array([shape]))[0])

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
