"""The generalised Pareto law: likelihood, vectorised over samples, fits and profiles; and the rate of peaks above a level, with limits from a lattice of likelihoods, calibrated for few peaks."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from scipy import special

from flicker.base.arrays import Floats
from flicker.base.result import Result
from flicker.base.roots import root

STEPS = 40  # at most, of Newton's method on log scale; five or six are usual
EXACT, COARSE = 1e-12, 1e-6  # last step of log scale; the latter for a lattice, whose own step is far wider
MOST_AT_ONCE = 1 << 18  # numbers in one temporary table
STRAIGHT = 1e-6  # shapes nearer zero than this are the exponential law but for a first correction
LARGEST_FACTOR = 1e36  # of a product of eight


def log_survival(ratio: Floats, shape: Floats) -> Floats:
    """-log S(y) with ``ratio`` = y / scale: log(1 + shape * ratio) / shape; infinite beyond the end point."""
    small = np.abs(shape) < STRAIGHT
    if not small.any():  # the usual case, without a choice for every number
        inner = shape * ratio
        inner += 1.0
        if inner.size and inner.min() > 0:
            np.log(inner, out=inner)
            inner /= shape
            return np.asarray(inner)
    safe = np.where(small, 1.0, shape)
    inner = 1.0 + safe * ratio
    beyond = inner <= 0
    value = np.log(np.where(beyond, 1.0, inner)) / safe
    return np.where(small, ratio - 0.5 * shape * ratio**2, np.where(beyond, np.inf, value))


def best_scale(y: Floats, n: Floats, shape: Floats, exact: float = EXACT) -> Floats:
    """Scale of highest likelihood at each fixed shape.

    ``y`` (rows, m), padded with zeros; ``n`` (rows,) true counts; ``shape`` (k,). Returns (rows, k). The score in
    log scale falls monotonically. Newton's method on its logarithm, which is straight for shape 0; a step out of the
    bracket halves it instead.
    """
    shape = shape[None, :]
    top = y.max(axis=1)[:, None]
    mean = (y.sum(axis=1) / n)[:, None]
    low = np.log(np.maximum(-shape * top, 1e-9 * mean))
    high = np.log(np.where(shape >= 0, (1.0 + shape) * mean, top)) + 1e-12
    at = np.where(shape >= 0, high, 0.5 * (low + high))
    bent = shape[:, :, None] * y[:, None, :]
    share = np.empty_like(bent)
    over = np.empty_like(bent)
    done = np.zeros(at.shape, dtype=bool)
    for _ in range(STEPS):
        np.add(np.exp(at)[:, :, None], bent, out=over)
        np.maximum(over, 1e-300, out=over)
        np.divide(y[:, None, :], over, out=share)
        total = share.sum(axis=2)
        excess = np.log((1.0 + shape) * total / n[:, None])
        low, high = np.where(excess > 0, at, low), np.where(excess > 0, high, at)
        np.multiply(share, share, out=share)
        step = excess / (1.0 - shape * share.sum(axis=2) / total)
        near = np.abs(step) <= exact
        inside = near | ((at + step > low) & (at + step < high))
        at = np.where(done, at, np.where(inside, at + step, 0.5 * (low + high)))
        done |= near
        if done.all():
            break
    return np.asarray(np.exp(at))


def log_likelihood(y: Floats, n: Floats, shape: Floats, scale: Floats) -> Floats:
    """Log-likelihood; ``y`` (rows, m) padded with zeros, ``shape`` and ``scale`` (rows, k)."""
    straight = np.abs(shape) < STRAIGHT
    bend = shape / scale
    beyond = ~straight & (bend * y.max(axis=1)[:, None] <= -1.0)  # the largest lies beyond the end point
    cost = _sums_of_logs(y, np.where(straight | beyond, 0.0, bend))
    with np.errstate(divide="ignore", invalid="ignore"):
        cost = np.where(beyond, np.inf, cost / shape)
    if straight.any():
        first, second = y.sum(axis=1)[:, None] / scale, np.square(y).sum(axis=1)[:, None] / scale**2
        cost = np.where(straight, first - 0.5 * shape * second, cost)
    return np.asarray(-n[:, None] * np.log(scale) - (1.0 + shape) * cost)


def _sums_of_logs(y: Floats, bend: Floats) -> Floats:
    """Sum over m of log(1 + bend * y): ``y`` (rows, m), ``bend`` (rows, k), all factors above 0; returns (rows, k).

    Eight factors are multiplied before a logarithm is taken, which costs more than ten multiplications.
    """
    out = np.empty(bend.shape)
    m = y.shape[1]
    by_eight = float(bend.max(initial=0.0)) * float(y.max()) < LARGEST_FACTOR
    wide = max(1, min(bend.shape[1], MOST_AT_ONCE // m))
    rows = max(1, MOST_AT_ONCE // (m * wide))
    for at in range(0, y.shape[0], rows):
        part = np.ascontiguousarray(y[at : at + rows].T)[:, :, None]
        for left in range(0, bend.shape[1], wide):
            here = slice(at, at + rows), slice(left, left + wide)
            factors = part * bend[here]
            factors += 1.0
            for _ in range(3 if by_eight else 0):
                half = factors.shape[0] // 2
                factors[:half] *= factors[factors.shape[0] - half :]
                factors = factors[: factors.shape[0] - half]
            out[here] = np.log(factors, out=factors).sum(axis=0)
    return out


@dataclass(frozen=True, slots=True)
class Fit:
    """Maximum-likelihood fit within a range of shapes."""

    shape: float
    scale: float
    value: float


def profile(y: Floats, shapes: Floats) -> tuple[Floats, Floats]:
    """Profile log-likelihood of the shape for one sample and the scale that goes with it."""
    n = np.array([float(y.size)])
    scale = best_scale(y[None, :], n, shapes)
    return log_likelihood(y[None, :], n, shapes[None, :], scale)[0], scale[0]


def fit(y: Floats, shape_range: tuple[float, float]) -> Fit:
    """Fit one sample of excesses."""

    def values(shapes: Floats) -> Floats:
        return profile(y, shapes)[0]

    shape = _summit(values, *shape_range)
    value, scale = profile(y, np.array([shape]))
    return Fit(shape, float(scale[0]), float(value[0]))


def _summit(values: Callable[[Floats], Floats], low: float, high: float) -> float:
    """Where a function with one summit is highest: a grid that closes in, then a parabola through the last three."""
    grid = np.linspace(low, high, 31)
    while True:
        found = values(grid)
        at = int(np.argmax(found))
        if at in (0, grid.size - 1) and grid[at] in (low, high):
            beside = grid[1] if at == 0 else grid[-2]
            if abs(beside - grid[at]) < 1e-9:
                return float(grid[at])
        left, right = grid[max(at - 1, 0)], grid[min(at + 1, grid.size - 1)]
        if right - left < 1e-4 * (high - low) and 0 < at < grid.size - 1:
            before, here, after = (float(v) for v in found[at - 1 : at + 2])
            bend = before - 2 * here + after
            step = 0.5 * (right - left)
            return float(grid[at] + (step * (before - after) / (2 * bend) if bend < 0 else 0.0))
        grid = np.linspace(left, right, 13)


def lattice(y: Floats, n: Floats, shapes: Floats, offsets: Floats) -> tuple[Floats, Floats]:
    """Log-likelihoods on shapes x scales around the best scale of each shape: (rows, k, offsets) values and scales."""
    centre = best_scale(y, n, shapes, COARSE)
    spread = np.sqrt((1.2 + 2.0 * np.maximum(shapes, 0.0))[None, :] / n[:, None])  # of log scale at a fixed shape
    scale = centre[:, :, None] * np.exp(offsets * spread[:, :, None])
    rows, k, o = scale.shape
    shape = np.broadcast_to(shapes[None, :, None], scale.shape).reshape(rows, k * o)
    value = log_likelihood(y, n, shape, scale.reshape(rows, k * o)).reshape(rows, k, o)
    return value, scale


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
    from statsmodels.tools.numdiff import approx_hess3  # late: few logs hold so many peaks

    n = np.array([float(y.size)])

    def value(at: Floats) -> float:
        return float(log_likelihood(y[None, :], n, at[None, :1], at[None, 1:])[0, 0])

    info = -approx_hess3(np.array([shape, scale]), value, np.array([1e-4, 1e-4 * scale]))
    if not np.all(np.isfinite(info)) or np.linalg.det(info) <= 0 or info[0, 0] <= 0:
        return np.full((2, 2), np.nan)
    return np.asarray(np.linalg.inv(info), dtype=np.float64)


def _lattice_of(y: Floats, n: Floats, span: tuple[float, float], *, fine: bool) -> tuple[Floats, Floats, Floats]:
    """Likelihoods on a lattice over the range of shapes, their scales and shapes."""
    shapes = np.linspace(*span, 76 if fine else 21)
    offsets = np.linspace(-4.0, 4.0, 65 if fine else 19)
    value, scale = lattice(y, n, shapes, offsets)
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
    cost = log_survival(over / scale, shapes[None, :, None])
    z = -float(special.ndtri(aim))
    ends = (math.log(tail.rate) - FARTHEST, math.log(tail.rate_high))

    def limit(way: float, cut: float) -> float:
        """Log rate at which the peaks object as strongly as the cut allows."""

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
    cost = log_survival(over / scale, shapes[None, :, None])
    roots = np.sort(_root(value, cost, counts, tail.exposure, log_rate, way))
    at = min(BOOTSTRAPS - 1, math.ceil((1.0 - aim) * (BOOTSTRAPS + 1)) - 1)
    return float(roots[at])


def _rate_above_normal(tail: Tail, over: float, aim: float) -> tuple[float, float]:
    """Limits from the normal approximation of the log rate (many peaks)."""
    cov = covariance(tail.excesses, tail.shape, tail.scale)

    def log_s(shape: float, scale: float) -> float:
        return -float(log_survival(np.array([over / scale]), np.array([shape]))[0])

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
