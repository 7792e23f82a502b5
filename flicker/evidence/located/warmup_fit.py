"""Rate that falls (or rises) exponentially with time since power-up, fitted by maximum likelihood."""

from __future__ import annotations

import math

import numpy as np
from scipy import special

from flicker.base.arrays import Floats

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
        # equation): the first step lands left of the root, the others never pass it.
        q = np.zeros(fixed.size)
        for _ in range(12 if exposure_v[k] > 0.0 else 0):  # a decay that had ended before anything was observed says nothing
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
