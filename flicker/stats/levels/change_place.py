"""Where exactly did the level change? The values around a change in; its place and an interval of it out."""

from __future__ import annotations

import numpy as np

from flicker.base.arrays import Floats

_NEAR_BLOCKS = 3.0  # how far from the proposed place to look, in fiftieths of the stretch
_DEVIANCE = 8.0  # see study_changepoints: coverage of places


def locate(values: Floats, cut: int) -> tuple[int, int, int]:
    """Return the first index of the new level and the lowest and highest that the values allow.

    Least squares between two known levels: the running sum of distances to the midpoint has its minimum at the
    change, and twice the step times its excess over the minimum, over the long-run variance, is the deviance of every
    other place.
    """
    n = values.size
    reach = max(2, int(np.ceil(_NEAR_BLOCKS * n / 50)))
    near = 4 * reach
    first, last = max(1, cut - reach), min(n - 1, cut + reach)
    left = values[max(0, min(first, cut - 1) - near) : max(first, 1)]
    right = values[min(last, n - 1) : min(n, last + near)]
    a, b = float(np.median(left)), float(np.median(right))
    if a == b:
        return cut, first, last
    part = values[first:last]
    rest = np.concatenate([left - a, right - b])
    variance = float(np.mean(rest**2))
    limit = abs(b - a) / 2 + 3 * np.sqrt(variance)
    towards = np.clip((part - (a + b) / 2) * np.sign(b - a), -limit, limit)
    running = np.concatenate([[0.0], np.cumsum(towards)])
    best = int(np.argmin(running))
    if variance <= 1e-12 * (b - a) ** 2:  # no noise to speak of: the place is sure
        return first + best, first + best, first + best
    rho = float(np.clip(rest[1:] @ rest[:-1] / (rest @ rest), 0.0, 0.98))
    deviance = 2 * abs(b - a) * (running - running[best]) / (variance * (1 + rho) / (1 - rho))
    allowed = np.flatnonzero(deviance <= _DEVIANCE)
    return first + best, first + int(allowed[0]), first + int(allowed[-1])


def abruptness(values: Floats, cut: int) -> float:
    """Return how far the jump at ``cut`` stands out from jumps elsewhere in the stretch, over the best of several
    widths.

    The jump of a width is the mean of that many values after a place less the mean of as many before it; it is taken
    over its root mean square at all places whose windows do not reach over ``cut``. Noise of any colour, a random
    walk and a slope included, has no place that stands out; a step has. 0 where the stretch is too short to compare.
    """
    n = values.size
    running = np.concatenate([[0.0], np.cumsum(values - values[0])])
    best = 0.0
    for wide in _widths(n):
        if cut < wide or cut + wide > n:
            break
        means = (running[wide:] - running[:-wide]) / wide
        jumps = means[wide:] - means[:-wide]
        elsewhere = np.concatenate([jumps[: max(cut - 2 * wide + 1, 0)], jumps[cut:]])
        if elsewhere.size < 4 * wide:
            break
        usual = float(np.sqrt(np.mean(elsewhere**2)))
        jump = abs(float(jumps[cut - wide]))
        best = max(best, jump / usual if usual > 0 else (np.inf if jump > 0 else 0.0))
    return best


def _widths(n: int) -> list[int]:
    out: list[int] = []
    wide = 1.0
    while wide <= max(1, n / 6):
        if not out or int(wide) > out[-1]:
            out.append(int(wide))
        wide *= 1.5
    return out
