"""Likelihood of the generalised Pareto law, vectorised over samples: fits, profiles and a lattice of likelihoods."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from flicker.base.arrays import Floats

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
