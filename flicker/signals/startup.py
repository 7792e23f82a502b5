"""The start of a run: surge after power-up, how long it takes to settle, and at which level.

Block times and middles in, a frozen `Start` out. The surge is fitted by one or two falling exponentials on a level,
by least absolute deviations, so that a swing in the first minutes stays a swing: a curve that can only fall towards
its level cannot follow one.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from flicker.base.arrays import Floats
from flicker.signals.order_statistics import scatter

FIT_S = 600.0  # the start is looked for in the first ten minutes; chosen, not measured
TAUS_S = np.geomspace(0.7, 400.0, 22)
STEPS = 12  # of the fit by least absolute deviations; a choice
FEW, BEHIND = 3, 1.5  # steps after which a design so many times as far from the readings as the best is given up; a choice for speed


class Start(NamedTuple):
    """Surge of one channel after a power-up, seconds since the run's first sample.

    ``settle_s`` is the time from power-up until the fitted surge has come within the settling band for good;
    ``surge_V`` the largest reading of the surge as measured; ``level_V`` the settled level that it falls to.
    ``amplitudes_V`` and ``taus_s`` describe the fitted fall.
    """

    begin_s: float
    settle_s: float
    surge_V: float
    level_V: float
    amplitudes_V: tuple[float, ...]
    taus_s: tuple[float, ...]

    @property
    def end_s(self) -> float:
        """When the surge is over."""
        return self.begin_s + self.settle_s

    def curve(self, time_s: Floats) -> Floats:
        """Fitted surge above the settled level at the given times; 0 before the power-up."""
        since = np.maximum(np.asarray(time_s, dtype=np.float64) - self.begin_s, 0.0)
        total = np.zeros_like(since)
        for amplitude, tau in zip(self.amplitudes_V, self.taus_s, strict=True):
            total += amplitude * np.exp(-since / tau)
        return np.where(time_s >= self.begin_s, total, 0.0)


def find_start(
    time_s: Floats,
    middle_V: Floats,
    low_V: Floats,
    high_V: Floats,
    *,
    band_V: float,
    sigma_V: float,
    begin_s: float = 0.0,
) -> Start | None:
    """Find and fit the surge that begins a run, or return None where the log begins in mid-operation.

    Parameters
    ----------
    time_s, middle_V, low_V, high_V : array, shape (blocks,)
        Block times and readings from the power-up on, finite.
    band_V : float
        Settled means within this of the settled level.
    sigma_V : float
        Robust sigma of the readings, for the significance of the surge.
    begin_s : float
        When the power-up happened.

    Returns
    -------
    Start or None
    """
    if time_s.size < 8:
        return None
    duration = float(time_s[-1] - begin_s)
    window = time_s <= begin_s + min(FIT_S, max(0.75 * duration, 30.0))
    since, value = time_s[window] - begin_s, middle_V[window]
    if since.size < 6:
        return None
    need = max(band_V, 5.0 * sigma_V)
    first = min(3, since.size // 4 or 1)
    later = value[since >= min(60.0, 0.5 * since[-1])]
    level = float(np.median(later))
    if np.max(np.abs(value[:first] - level)) < need:
        return None
    # The surge may take a moment to rise; it is fitted from its largest reading on.
    rise = int(np.argmax(np.abs(value[since <= max(5.0, since[first - 1])] - level)))
    fit = _fit_fall(since[rise:] - since[rise], value[rise:])
    if fit is None:
        return None
    level, amplitudes, taus, spread = fit
    total = float(sum(amplitudes))
    if abs(total) < max(need, 5.0 * spread):
        return None
    # Fitted from its largest reading on, described from the power-up on.
    amplitudes = tuple(a * float(np.exp(since[rise] / t)) for a, t in zip(amplitudes, taus, strict=True))
    if abs(sum(amplitudes)) > 4 * abs(total):
        return None
    grid = np.linspace(0.0, float(since[-1]), 4000)
    curve = sum(a * np.exp(-grid / t) for a, t in zip(amplitudes, taus, strict=True))
    outside = np.flatnonzero(np.abs(curve) > band_V)
    settle = float(grid[min(outside[-1] + 1, grid.size - 1)]) if outside.size else 0.0
    settle = max(settle, float(since[rise]))
    during = time_s[window] <= begin_s + max(settle, float(since[first - 1]))
    extremes = np.concatenate((low_V[window][during], high_V[window][during]))
    extremes = extremes[np.sign(extremes - level) == np.sign(total)]
    peak = float(extremes[np.argmax(np.abs(extremes - level))]) if extremes.size else level + total
    # A swing inside the surge must not lend the surge its size.
    if abs(peak - level) > 2.0 * abs(sum(amplitudes)) + need:
        peak = level + float(sum(amplitudes))
    return Start(begin_s=begin_s, settle_s=settle, surge_V=peak, level_V=level, amplitudes_V=amplitudes, taus_s=taus)


def _fit_fall(since: Floats, value: Floats) -> tuple[float, tuple[float, ...], tuple[float, ...], float] | None:
    """Least absolute deviations of a level and one or two exponentials of one sign, over a grid of time constants."""
    if since.size < 6:
        return None
    spread = np.gradient(since) if since.size > 1 else np.ones_like(since)
    # Early readings are few and late ones many: weigh by time on a logarithmic axis, so that the fall itself counts.
    weight = spread / (since + 3.0)
    taus = TAUS_S[(max(0.3 * float(since[1]), 0.5) <= TAUS_S) & (0.5 * since[-1] >= TAUS_S)]
    if taus.size == 0:
        return None
    falls = np.exp(-since[None, :] / taus[:, None])
    losses, levels, slopes = _lad(falls[:, None, :], value, weight)
    at = int(np.argmin(losses))
    best: tuple[float, float, tuple[float, ...], tuple[float, ...]] = (
        float(losses[at]),
        float(levels[at]),
        (float(slopes[at, 0]),),
        (float(taus[at]),),
    )
    pairs = np.array([(i, j) for i in range(0, taus.size, 2) for j in range(i + 4, taus.size, 2)], dtype=np.intp)
    if pairs.size:
        losses, levels, slopes = _lad(falls[pairs], value, weight)
        losses[slopes[:, 0] * slopes[:, 1] <= 0] = np.inf  # a curve that can only fall towards its level
        at = int(np.argmin(losses))
        if losses[at] < 0.8 * best[0]:
            both = (float(slopes[at, 0]), float(slopes[at, 1]))
            best = (float(losses[at]), float(levels[at]), both, (float(taus[pairs[at, 0]]), float(taus[pairs[at, 1]])))
    loss, level, amplitudes, chosen = best
    fitted = level + sum(a * np.exp(-since / t) for a, t in zip(amplitudes, chosen, strict=True))
    residual = value - fitted
    spread = scatter(residual, 0.0)
    flat = float(np.sum(weight * np.abs(value - np.median(value))))
    if loss > 0.7 * flat:
        return None
    return level, amplitudes, chosen, spread


def _lad(basis: Floats, value: Floats, weight: Floats) -> tuple[Floats, Floats, Floats]:
    """Weighted least absolute deviations by iteratively reweighted least squares, of many designs at once.

    ``basis`` is of shape (designs, columns, readings); returns losses, levels and slopes, one row per design. Designs that lie
    far behind the best after a few steps go no further: their losses are infinite.
    """
    design = np.concatenate((np.ones((basis.shape[0], 1, value.size)), basis), axis=1)
    current = np.broadcast_to(weight, (design.shape[0], value.size))
    ridge = 1.0 + 1e-10 * np.eye(design.shape[1])
    floor = 1e-4 * (float(np.ptp(value)) or 1e-9)
    losses = np.full(design.shape[0], np.inf)
    kept = np.arange(design.shape[0])
    for step in range(1, STEPS + 1):
        weighted = design * current[:, None, :]
        gram = weighted @ design.transpose(0, 2, 1) * ridge
        coefficients: Floats = np.linalg.solve(gram, weighted @ value[:, None])[..., 0].astype(np.float64, copy=False)
        residual = np.abs(value - (coefficients[:, None, :] @ design)[:, 0, :])
        if step in (FEW, STEPS):
            reached = np.sum(weight * residual, axis=1)
        if step == FEW:
            near = reached <= BEHIND * reached.min()
            design, residual, kept = design[near], residual[near], kept[near]
        current = weight / np.maximum(residual, floor)
    losses[kept] = reached
    found = np.zeros((losses.size, coefficients.shape[1]))
    found[kept] = coefficients
    return losses, found[:, 0], found[:, 1:]
