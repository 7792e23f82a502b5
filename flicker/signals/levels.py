"""Does the level switch between two values (popcorn noise, a failing junction)? Block times and middles in, levels out.

Steps are looked for in the slow signal: where the medians of a few blocks before and after differ by far more than the
noise. Two-level switching shows as steps of nearly one size and alternating sign, with calm stretches between them that
are much narrower than the step. One step, or an up and a down, is none; wandering noise gives no such calm stretches.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from flicker.base.arrays import Floats, Ints
from flicker.signals.order_statistics import scatter, sliding_medians

# Chosen, not measured one by one; together: tests/studies/results/connection.md.
SIDE = 4  # blocks on each side of a step
LEAST_STEPS = 8  # fewer say nothing
SIGMAS = 6.0  # a step stands out of the noise
SIZE_SCATTER = 0.2  # robust relative scatter of step sizes
CALM = 5.0  # the step is at least this many times as large as the scatter between steps
LARGEST_P = 0.005  # of signs that take turns by chance
HELD_BLOCKS = 2 * SIDE  # a level is held for longer than a glitch
HELD_SHARE = 0.02  # and for a real share of the time
MOST_FAULTS = 0.2  # share of steps that repeat a sign: a short stay between two was missed


@dataclass(frozen=True, slots=True)
class TwoLevels:
    """Switching between two levels.

    ``low_V`` and ``high_V`` are the levels, ``jump_V`` the step between them, ``dwell_low_s`` and ``dwell_high_s`` the
    mean times spent in each, ``switches`` their number, ``p_value`` the chance that so many steps of independent sign alternate so well.
    """

    low_V: float
    high_V: float
    jump_V: float
    dwell_low_s: float
    dwell_high_s: float
    switches: int
    p_value: float

    @property
    def reads(self) -> str:
        """One sentence."""
        return (
            f"the level switches between {1e3 * self.low_V:.1f} and {1e3 * self.high_V:.1f} mV, {self.switches} times, "
            f"staying about {self.dwell_low_s:.0f} s on the lower and {self.dwell_high_s:.0f} s on the upper"
        )


def find_two_levels(time_s: Floats, middle_V: Floats, *, most_V: float, resolution_V: float = 0.0) -> TwoLevels | None:
    """Look for two-level switching.

    Parameters
    ----------
    time_s, middle_V : array, shape (blocks,)
        Centre and robust middle of the observed blocks in time order, surge removed.
    most_V : float
        Steps beyond this are excursions, which are counted elsewhere.
    resolution_V : float
        Last digit; steps under four of them are none.

    Returns
    -------
    TwoLevels or None

    Notes
    -----
    The sign test on alternation assumes nothing about the noise; the scatter between steps is robust. Telegraph noise
    with exponential dwell times gives alternating steps by definition.
    """
    n = middle_V.size
    if n < 40:
        return None
    windows = sliding_medians(middle_V, SIDE)
    step = windows[SIDE:] - windows[:-SIDE]  # index k: between blocks k+SIDE-1 and k+SIDE
    noise = scatter(step)
    if noise == 0.0:
        noise = resolution_V / 6.0
    peaks = _peaks(np.abs(step), max(SIGMAS * noise, 4.0 * resolution_V))
    if peaks.size < LEAST_STEPS:
        return None
    sizes = step[peaks]
    typical = float(np.median(np.abs(sizes)))
    if typical > most_V:
        return None
    # Glitches give steps of many sizes; keep those of the common one and see whether they are most of them.
    like = np.abs(np.abs(sizes) - typical) <= 0.5 * typical
    if np.count_nonzero(like) < max(LEAST_STEPS, 0.7 * peaks.size):
        return None
    peaks, sizes = peaks[like], sizes[like]
    uneven = scatter(np.abs(sizes), typical) / typical
    signs = np.sign(sizes)
    faults = int(np.count_nonzero(signs[1:] == signs[:-1]))
    if uneven > SIZE_SCATTER or faults > MOST_FAULTS * (peaks.size - 1):
        return None
    borders = peaks + SIDE
    edges = np.concatenate(([0], borders, [n]))
    state = np.concatenate(([-signs[0]], signs))  # level on which each stretch lies: -1 low, +1 high
    spread, level = [], {-1.0: [], 1.0: []}  # type: tuple[list[float], dict[float, list[tuple[float, int]]]]
    dwell: dict[float, list[float]] = {-1.0: [], 1.0: []}
    for number, (a, b) in enumerate(itertools.pairwise(edges)):
        if b - a < 2:
            continue
        part = middle_V[a:b]
        centre = float(np.median(part))
        spread.append(float(np.median(np.abs(part - centre))))
        level[float(state[number])].append((centre, int(b - a)))
        dwell[float(state[number])].append(float(time_s[min(b, n - 1)] - time_s[a]))
    if not level[-1.0] or not level[1.0]:
        return None
    # Both levels are held: for longer than a glitch lasts (which the medians stretch to SIDE blocks), and for a real
    # share of the time.
    stays = np.diff(edges)
    held = [stays[state == side] for side in (-1.0, 1.0)]
    if min(float(np.median(part)) for part in held) < HELD_BLOCKS or min(part.sum() for part in held) < HELD_SHARE * n:
        return None
    inner = 1.4826 * float(np.median(spread))
    inner = max(inner, resolution_V / 6.0)
    if typical < CALM * inner:
        return None
    # Calm between steps means staying there: most blocks lie near the level of their stretch.
    fitted = np.repeat(
        [float(np.median(middle_V[a:b])) if b > a else 0.0 for a, b in itertools.pairwise(edges)],
        np.diff(edges),
    )
    if float(np.mean(np.abs(middle_V - fitted) < 0.3 * typical)) < 0.85:
        return None
    from scipy.special import bdtr

    chance = min(1.0, 2.0 * float(bdtr(faults, peaks.size - 1, 0.5)))
    if chance > LARGEST_P:
        return None
    low, high = _weighted(level[-1.0]), _weighted(level[1.0])
    if high - low < 0.5 * typical:
        return None
    return TwoLevels(
        low_V=low,
        high_V=high,
        jump_V=typical,
        dwell_low_s=float(np.mean(dwell[-1.0])),
        dwell_high_s=float(np.mean(dwell[1.0])),
        switches=int(peaks.size),
        p_value=chance,
    )


def _peaks(size: Floats, threshold: float) -> Ints:
    """Indices of the largest value in each stretch above the threshold; a stretch is cut after 2 * SIDE."""
    index = np.flatnonzero(size > threshold)
    if index.size == 0:
        return np.empty(0, dtype=np.int64)
    out = []
    for part in np.split(index, np.flatnonzero(np.diff(index) > 1) + 1):
        # A plateau of equal values: its middle is the place of the step.
        top = part[size[part] >= 0.98 * size[part].max()]
        out.append(int(top[top.size // 2]))
    return np.array(out, dtype=np.int64)


def _weighted(pairs: list[tuple[float, int]]) -> float:
    values = np.array([value for value, _ in pairs])
    weight = np.array([count for _, count in pairs], dtype=np.float64)
    order = np.argsort(values)
    passed = np.cumsum(weight[order])
    return float(values[order][np.searchsorted(passed, 0.5 * passed[-1])])
