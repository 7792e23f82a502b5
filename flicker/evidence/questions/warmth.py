"""Does the level follow a temperature column? Levels and temperatures in; the room's share of the movement out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from flicker.base.arrays import Floats
from flicker.base.formats import digits_text, millivolts_text
from flicker.base.result import Result
from flicker.evidence.questions.movement import MINUTE_S
from flicker.logs.model import Companion, Log
from flicker.signals.blocks import reduce_log
from flicker.stats.levels.follows import FEWEST, following

LAGS_S = (0.0, 300.0, 600.0, 1200.0, 2400.0, 4800.0)  # time constants of a box of metal; common practice, no source
LEAST_SHARE = 0.5  # of the movement about a line; common practice, no source


@dataclass(frozen=True, slots=True)
class Series:
    """A temperature on the clock of its log, minute by minute; ``log`` is the place of that log among those judged."""

    name: str
    log: int
    time_s: Floats
    value: Floats


@dataclass(frozen=True, slots=True)
class Warmth(Result):
    """What of a level's movement follows a temperature: per degree, how far behind, how sure."""

    temperature: str
    per_degree_V: float
    lag_s: float
    share: float
    p_value: float
    range_V: float

    @property
    def reads(self) -> str:
        """In words."""
        behind = f", some {self.lag_s / 60:.0f} min behind" if self.lag_s else ""
        return (
            f"{millivolts_text(self.range_V)} follows the temperature ({self.temperature}; "
            f"{digits_text(self.per_degree_V * 1e3)} mV per degree{behind})"
        )


def series_of(companion: Companion, log: Log, place: int) -> Series | None:
    """Minute by minute middle of a temperature column; None where it holds no reading."""
    times, values = [], []
    for blocks in reduce_log(log.beside(companion)):
        part = blocks.channels[0]
        good = part.finite > 0
        times.append(blocks.centre_s[good] + blocks.run.offset_s)
        values.append(part.middle[good])
    time = np.concatenate(times) if times else np.empty(0)
    value = np.concatenate(values) if values else np.empty(0)
    if time.size == 0:
        return None
    minute = np.floor(time / MINUTE_S)
    edges = np.flatnonzero(np.diff(minute, prepend=-np.inf))
    middle = np.array([float(np.median(part)) for part in np.split(value, edges[1:])])
    return Series(companion.name, place, (minute[edges] + 0.5) * MINUTE_S, middle)


def lagged(series: Series, lag_s: float) -> tuple[Floats, Floats]:
    """The temperature of something that follows it with a time constant, on an even grid."""
    grid = np.arange(series.time_s[0], series.time_s[-1] + 0.5 * MINUTE_S, MINUTE_S)
    even = np.interp(grid, series.time_s, series.value)
    if lag_s == 0.0 or even.size < 2:
        return grid, even
    from scipy.signal import lfilter

    keep = float(np.exp(-MINUTE_S / lag_s))
    out, _ = lfilter([1.0 - keep], [1.0, -keep], even, zi=[keep * even[0]])
    return grid, out


def warmth(
    level_V: Floats, log_clock_s: Sequence[tuple[int, Floats]], series: Sequence[Series], confidence: float
) -> tuple[Floats, Warmth] | None:
    """The part of the levels that follows a temperature, less its middle; None where none is shown.

    ``log_clock_s`` tells for consecutive parts of the levels the log they are of and their times on its clock.
    """
    if level_V.size < FEWEST:
        return None
    names = list(dict.fromkeys(item.name for item in series))
    candidates: list[tuple[str, float, Floats]] = []
    for name in names:
        mine = {item.log: item for item in series if item.name == name}
        if any(log not in mine for log, _ in log_clock_s):
            continue
        for lag in LAGS_S:
            parts = [np.interp(clock, *lagged(mine[log], lag)) for log, clock in log_clock_s]
            candidates.append((name, lag, np.concatenate(parts)))
    if not candidates:
        return None
    found = following(level_V, [value for _, _, value in candidates])
    if found.p_value > 1.0 - confidence or found.share < LEAST_SHARE:
        return None
    name, lag, value = candidates[found.best]
    part = found.slope * (value - np.median(value))
    return part, Warmth(
        temperature=name,
        per_degree_V=found.slope,
        lag_s=lag,
        share=found.share,
        p_value=found.p_value,
        range_V=float(np.ptp(part)),
    )
