"""Does a level move, against noise whose colour nobody knows? Levels in equal steps in, movement with its bound out.

The line through the record is weighed against the slow cosines that it leaves, each weighted as noise with a power of
1/f**1.2 would have it: for noise of that colour or a milder one this overstates the error of the line and never
understates it, and nothing is estimated that a short record could get wrong.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from flicker.base import check
from flicker.base.arrays import Floats
from flicker.base.formats import digits_text
from flicker.base.result import Result

__all__ = ["Movement", "moved_in_noise"]


COSINES = 16  # from the second on: the first is much like a line
COLOUR = 1.2  # power 1/f**COLOUR is the steepest noise for which the bound holds
LEAST_LEVELS = 40
CRITICAL = 5.45  # line over the cosines' size, passed once in fifty by noise of 1/f**1.2 (simulated, 6,000 records of 240)
# Share of records of 240 levels of 1/f**1.2 noise whose line over cosines is larger: tests/studies/make_moving_table.py
LAW = (
    (0.5, 1.45), (0.2, 2.81), (0.1, 3.66), (0.05, 4.43), (0.02, 5.37), (0.01, 6.04), (0.005, 6.69), (0.002, 7.54),
    (0.001, 8.24), (0.0005, 8.84), (0.0002, 9.70), (0.0001, 10.12),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Movement(Result):
    """Movement over the record, in the unit of the levels.

    ``moved`` is the line's rise from the first to the last, ``half_width`` what noise may give it or take from it,
    ``low`` and ``high`` the size it has at least and at most. ``shown`` says that noise does not explain it, ``beyond``
    that it is also larger than ``limit``, ``within`` that it is smaller for sure. ``p_value`` is the share of noise of
    1/f**1.2 with as much movement (1e-4 at least). All NaN and False where there are too
    few levels.
    """

    moved: float
    half_width: float
    low: float
    high: float
    shown: bool
    beyond: bool
    within: bool
    limit: float
    levels: int
    p_value: float
    method: str

    @property
    def reads(self) -> str:
        """One sentence."""
        if math.isnan(self.moved):
            return "Too short to tell movement of the level from noise."
        if self.shown:
            return f"The level moves by {digits_text(self.moved, 3)}, at least {digits_text(self.low, 3)} and at most {digits_text(self.high, 3)}."
        return f"No movement is shown; up to {digits_text(self.high, 3)} is not excluded."


def moved_in_noise(levels: ArrayLike, time_s: ArrayLike | None = None, *, limit: float) -> Movement:
    """Weigh the line through a record of levels against noise of unknown colour.

    Parameters
    ----------
    levels : array_like, shape (n,)
        Medians over equal steps (a minute serves well), in order; 40 or more to say anything.
    time_s : array_like, shape (n,), optional
        When each was taken, rising; equal steps where not given.
    limit : float
        Movement that matters.

    Returns
    -------
    Movement

    Raises
    ------
    ValueError
        If the arrays differ in length, hold something that is not finite, or time does not rise.

    Notes
    -----
    Half-width: 5.45 times the root of the mean of a_j**2 j**1.2, with a_j the amplitudes of the cosines j = 2 ... 17 in
    what the line leaves. False at 2 %: below that for white, autoregressive and 1/f noise, 7 % at 1/f**1.5; a line of
    30 mV in 4 h of 4 mV noise is found in 91 to 100 % (measured for the rule). Humps are no line: judge the range too.
    """
    level = check.finite_array("levels", levels, least=0)
    limit = check.positive("limit", limit)
    time = check.paired("time_s", time_s, level.size, each="value of levels")
    check.rising("time_s", time, strictly=True)
    method = f"line against the cosines it leaves, weighted as noise of 1/f^{COLOUR:g}"
    if level.size < LEAST_LEVELS:
        nan = math.nan
        return Movement(
            moved=nan,
            half_width=nan,
            low=nan,
            high=nan,
            shown=False,
            beyond=False,
            within=False,
            limit=limit,
            levels=int(level.size),
            p_value=nan,
            method=method,
        )
    place = (time - time[0]) / (time[-1] - time[0])
    rise, size = line_and_cosines(place, level)
    half = CRITICAL * size
    low, high = max(abs(rise) - half, 0.0), abs(rise) + half
    shown = abs(rise) > half
    return Movement(
        moved=rise,
        half_width=half,
        low=low,
        high=high,
        shown=shown,
        beyond=shown and abs(rise) > limit,
        within=high <= limit,
        limit=limit,
        levels=int(level.size),
        p_value=_share(abs(rise), size),
        method=method,
    )


def _share(rise: float, size: float) -> float:
    """Chance of as much under noise of 1/f**1.2, between the shares of the table."""
    share, bound = np.array(LAW).T
    if rise <= 0.0:
        return 1.0
    if size <= 0.0:
        return float(share[-1])
    at = np.log(np.append(1e-3, bound))
    return float(np.exp(np.interp(np.log(rise / size), at, np.log(np.append(1.0, share)))))


def line_and_cosines(place: Floats, level: Floats) -> tuple[float, float]:
    """Rise of the line over the record, and the weighted size of the cosines that it leaves; ``place`` from 0 to 1."""
    centred = place - place.mean()
    rise = float((centred @ level) / (centred @ centred))
    left = level - level.mean() - rise * centred
    number = np.arange(2, COSINES + 2)
    waves = np.cos(np.pi * number[:, None] * place[None, :])
    waves -= waves.mean(axis=1, keepdims=True)
    amplitude = (waves @ left) / (waves**2).sum(axis=1)
    return rise, float(np.sqrt(np.mean(amplitude**2 * number**COLOUR)))
