"""Likelihood of the generalised Pareto law, vectorised over samples: fits, profiles and a lattice of likelihoods."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import optimize

Floats = NDArray[np.float64]
STEPS = 40  # halvings of the bracket of log scale: to 1e-12 of its width
COARSE_STEPS = 18  # for a lattice, whose own step is far wider
MOST_AT_ONCE = 1 << 18  # numbers in one temporary table


def log_survival(ratio: Floats, shape: Floats) -> Floats:
    """-log S(y) with ``ratio`` = y / scale: log(1 + shape * ratio) / shape; infinite beyond the end point."""
    small = np.abs(shape) < 1e-6
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
    out: Floats = np.where(small, ratio - 0.5 * shape * ratio**2, np.where(beyond, np.inf, value))
    return out


def best_scale(y: Floats, n: Floats, shape: Floats, steps: int = STEPS) -> Floats:
    """Scale of highest likelihood at each fixed shape.

    ``y`` (rows, m), padded with zeros; ``n`` (rows,) true counts; ``shape`` (k,). Returns (rows, k). The score in
    log scale falls monotonically, so halving a bracket cannot fail.
    """
    top = y.max(axis=1)[:, None]
    mean = (y.sum(axis=1) / n)[:, None]
    low = np.log(np.maximum(-shape[None, :] * top, 1e-9 * mean))
    high = np.log(np.where(shape[None, :] >= 0, (1.0 + shape[None, :]) * mean, top)) + 1e-12
    bent = shape[None, :, None] * y[:, None, :]
    inner = np.empty_like(bent)
    for _ in range(steps):
        middle = 0.5 * (low + high)
        np.add(np.exp(middle)[:, :, None], bent, out=inner)
        np.maximum(inner, 1e-300, out=inner)
        np.divide(y[:, None, :], inner, out=inner)
        up = (1.0 + shape[None, :]) * inner.sum(axis=2) > n[:, None]
        low, high = np.where(up, middle, low), np.where(up, high, middle)
    out: Floats = np.exp(0.5 * (low + high))
    return out


def log_likelihood(y: Floats, n: Floats, shape: Floats, scale: Floats) -> Floats:
    """Log-likelihood; ``y`` (rows, m) padded with zeros, ``shape`` and ``scale`` (rows, k)."""
    cost = np.empty(scale.shape)
    rows = max(1, MOST_AT_ONCE // (y.shape[1] * scale.shape[1]))
    wide = max(1, MOST_AT_ONCE // y.shape[1])
    for at in range(0, y.shape[0], rows):
        for left in range(0, scale.shape[1], wide):
            here = slice(at, at + rows), slice(left, left + wide)
            part = log_survival(y[here[0], None, :] / scale[here][:, :, None], shape[here][:, :, None])
            cost[here] = np.sum(part, axis=2)
    out: Floats = -n[:, None] * np.log(scale) - (1.0 + shape) * cost
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


def highest(y: Floats, shape_range: tuple[float, float]) -> float:
    """Highest log-likelihood, quickly: a parabola through the best of 16 shapes and its neighbours."""
    value, _ = profile(y, np.linspace(*shape_range, 16))
    at = int(np.argmax(value))
    if at in (0, 15):
        return float(value[at])
    before, here, after = (float(v) for v in value[at - 1 : at + 2])
    bend = before - 2 * here + after
    return here - (after - before) ** 2 / (8 * bend) if bend < 0 else here


def shape_interval(y: Floats, best: Fit, drop: float, shape_range: tuple[float, float]) -> tuple[float, float]:
    """Shapes whose profile log-likelihood lies within ``drop`` of the best; the range's ends where it does not fall."""

    def excess(shape: float) -> float:
        return float(profile(y, np.array([shape]))[0][0]) - best.value + drop

    ends = []
    for border in shape_range:
        inside = excess(border) >= 0 or abs(border - best.shape) < 1e-9
        ends.append(border if inside else float(optimize.brentq(excess, border, best.shape, xtol=1e-8)))
    return ends[0], ends[1]


def scale_interval(y: Floats, best: Fit, drop: float, shape_range: tuple[float, float]) -> tuple[float, float]:
    """Scales whose likelihood, at the best shape for each, lies within ``drop`` of the best."""
    n = np.array([float(y.size)])

    def excess(log_scale: float) -> float:
        low, high = shape_range
        low = max(low, -float(np.exp(log_scale)) / float(y.max()) + 1e-9)
        if low >= high:
            return -np.inf

        def values(shapes: Floats) -> Floats:
            scale = np.full((1, shapes.size), np.exp(log_scale))
            return np.asarray(log_likelihood(y[None, :], n, shapes[None, :], scale)[0])

        return float(values(np.array([_summit(values, low, high), low, high])).max()) - best.value + drop

    ends = []
    for way in (-1.0, 1.0):
        step = 0.25
        while excess(np.log(best.scale) + way * step) > 0 and step < 30:
            step *= 1.5
        edge = np.log(best.scale) + way * step
        value = excess(edge)
        if not np.isfinite(value):  # no shape of the range reaches so small a scale: close in on the border
            edge = np.log(max(-shape_range[0], 0.0) * float(y.max()) + 1e-300) + 1e-6
            value = excess(edge)
        if value < 0:
            edge = optimize.brentq(excess, np.log(best.scale), edge, xtol=1e-8)
        ends.append(float(np.exp(edge)))
    return ends[0], ends[1]


def lattice(y: Floats, n: Floats, shapes: Floats, offsets: Floats) -> tuple[Floats, Floats]:
    """Log-likelihoods on shapes x scales around the best scale of each shape: (rows, k, offsets) values and scales."""
    centre = best_scale(y, n, shapes, COARSE_STEPS)
    spread = np.sqrt((1.2 + 2.0 * np.maximum(shapes, 0.0))[None, :] / n[:, None])  # of log scale at a fixed shape
    scale = centre[:, :, None] * np.exp(offsets * spread[:, :, None])
    rows, k, o = scale.shape
    shape = np.broadcast_to(shapes[None, :, None], scale.shape).reshape(rows, k * o)
    value = log_likelihood(y, n, shape, scale.reshape(rows, k * o)).reshape(rows, k, o)
    return value, scale
