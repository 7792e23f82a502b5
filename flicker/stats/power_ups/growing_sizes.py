"""When will swings that grow reach a threshold? Regression of block means of log sizes, carried on no farther than was watched (first passage)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from flicker.base import check
from flicker.base.arrays import Bools, Floats
from flicker.base.formats import digits_text
from flicker.base.result import Result
from flicker.stats.power_ups.sizes import FEWEST_BURSTS

BLOCKS, PER_BLOCK = (
    (5, 10),
    4,
)  # batch means: fewest and most blocks, bursts of each; tests/studies/results/sizes_ahead.md
# Swings that grow faster than a constant factor come sooner: as for a level that moves (`evidence.outlook.end_state`),
# measured in tests/studies/results/sizes_ahead.md.
EARLY = 0.8
POINTS, CURVE = 801, 61


@dataclass(frozen=True, slots=True)
class SizesAhead(Result):
    """Time from the end of what was watched until the first swing at or beyond a threshold; infinite beyond ``horizon``.

    ``middle`` is as likely passed as not if the growth goes on; ``earliest`` takes in the uncertainty of the growth, and
    swings that grow faster and faster. No latest is told: growth may stop, and no log shows that beforehand.
    """

    earliest: float
    middle: float
    horizon: float
    size_now: float
    threshold: float
    count: int
    confidence: float
    method: str
    curve: Floats
    """The line and its band, shape (points, 4): time from the first swing on, size, lower and upper."""

    @property
    def reads(self) -> str:
        """The forecast in words."""
        if not np.isfinite(self.earliest):
            return f"at this pace not within {digits_text(self.horizon, 3)}; the log is too short to look farther ahead"
        if not np.isfinite(self.middle):
            return f"not before {digits_text(self.earliest, 3)}, at this pace"
        return f"not before {digits_text(self.earliest, 3)}, as likely as not by {digits_text(self.middle, 3)} if the growth goes on"


def sizes_ahead(
    sizes: ArrayLike, times: ArrayLike, end: float, threshold: float, *, confidence: float = 0.95
) -> SizesAhead | None:
    """Forecast when growing swings reach a threshold.

    Parameters
    ----------
    sizes, times : array_like, shape (bursts,)
        Largest swing of each burst, above 0, and when it came, rising; ten bursts or more, else None is returned.
    end : float
        End of what was watched, at or after the last time; nothing is said beyond as much time again.
    threshold : float
        Size asked for, above 0.
    confidence : float
        Two-sided, of the line; ``earliest`` uses its one side.

    Raises
    ------
    ValueError
        If arrays do not fit, or an argument is out of range.

    Notes
    -----
    Straight line through the means of five to ten equal blocks of the log sizes (batch means),
    its band by t with two degrees of freedom fewer than blocks; single swings scatter about it by the standard deviation
    of the residuals and come as often as so far, so that the first beyond the threshold is the first event of a Poisson
    process whose rate rises with the line. Swings that grow faster than a constant factor come sooner, and those that stop growing never;
    how often the first such swing comes before ``earliest``: ``tests/studies/results/sizes_ahead.md``.
    """
    x = check.positive_array("sizes", sizes, least=1)
    t = check.paired("times", times, x.size, each="value of sizes")
    check.rising("times", t)
    end, threshold = check.positive("end", end, what="a time"), check.positive("threshold", threshold, what="a size")
    if t[-1] > end:
        raise ValueError(f"times must be at most end ({end:g}), got {t[-1]:g}")
    confidence = check.share("confidence", confidence)
    blocks = int(np.clip(x.size // PER_BLOCK, *BLOCKS))
    if x.size < FEWEST_BURSTS or float(np.ptp(t)) == 0:
        return None
    y = np.log(x)
    middle_t = np.array([part.mean() for part in np.array_split(t, blocks)])
    middle_y = np.array([part.mean() for part in np.array_split(y, blocks)])
    apart = middle_t - middle_t.mean()
    slope = float(apart @ middle_y / (apart @ apart))
    level = float(middle_y.mean())
    rest = middle_y - level - slope * apart
    spread = float(np.sqrt(rest @ rest / (blocks - 2)))
    single = float(np.sqrt(np.mean((y - level - slope * (t - middle_t.mean())) ** 2)))
    span = end - float(t[0]) if t[0] > 0 else end
    ahead = np.linspace(0.0, span, POINTS)
    away = end + ahead - middle_t.mean()
    line = level + slope * away
    reach = float(special.stdtrit(blocks - 2, 0.5 + 0.5 * confidence))
    error = reach * spread * np.sqrt(1.0 / blocks + away**2 / (apart @ apart))
    asked, per_step = np.log(threshold), x.size / span * (ahead[1] - ahead[0])
    tail = 0.5 * (1.0 - confidence)
    first = [
        _first(ahead, 1.0 - np.exp(-np.cumsum(special.ndtr((curve - asked) / max(single, 1e-9))) * per_step) >= chance)
        for curve, chance in ((line + error, tail), (line, 0.5))
    ]
    drawn = np.linspace(float(t[0]), end + span, CURVE)
    apart_drawn = drawn - middle_t.mean()
    wide = reach * spread * np.sqrt(1.0 / blocks + apart_drawn**2 / (apart @ apart))
    fit = level + slope * apart_drawn
    return SizesAhead(
        earliest=EARLY * first[0], middle=first[1], horizon=span, size_now=float(np.exp(line[0])), threshold=threshold, count=int(x.size), confidence=confidence,
        method="line through block means of log sizes, first passage", curve=np.column_stack((drawn, np.exp([fit, fit - wide, fit + wide]).T)),
    )  # fmt: skip


def _first(ahead: Floats, reached: Bools) -> float:
    place = np.flatnonzero(reached)
    return float(ahead[place[0]]) if place.size else float("inf")
