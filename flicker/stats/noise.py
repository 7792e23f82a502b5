"""Allan deviation, robust sigma and colour of noise: how noisy is the settled signal, and of which kind?

Knows nothing of files, channels or limits. Values may come from a meter whose last digit is coarser than the noise.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from flicker.base import check
from flicker.base.arrays import Floats
from flicker.base.formats import digits_text
from flicker.base.result import Interval, Result
from flicker.stats.levels.digits import noise_sigma, resolution_of

__all__ = [
    "AllanDeviation",
    "NoiseColour",
    "allan_deviation",
    "noise_colour",
    "noise_sigma",
    "resolution_of",
]


LOWEST_EXPONENT, HIGHEST_EXPONENT = -1.5, 3.5  # of the power law of noise that are thought possible


@dataclass(frozen=True, slots=True)
class AllanDeviation(Result):
    """Deviation between neighbouring averages, by averaging span."""

    span_s: Floats
    deviation: Floats
    overlapping: bool

    @property
    def method(self) -> str:
        """Name of the estimator."""
        return "overlapping allan deviation" if self.overlapping else "allan deviation"

    @property
    def reads(self) -> str:
        """One sentence for the owner."""
        best = int(np.argmin(self.deviation))
        return (
            f"averages over {digits_text(self.span_s[best], 3)} s are the most stable: neighbouring ones differ by "
            f"{digits_text(self.deviation[best], 3)} (deviation)"
        )


def allan_deviation(
    y: ArrayLike, step_s: float, spans: ArrayLike | None = None, *, overlapping: bool = True
) -> AllanDeviation:
    """Return the deviation between neighbouring averages over each span.

    Parameters
    ----------
    y : array_like, shape (n,)
        Equally spaced readings; they play the part of (fractional) frequency.
    step_s : float
        Seconds between readings.
    spans : array_like, optional
        Averaging spans in seconds, whole multiples of ``step_s``; octaves up to a quarter of the log when left out.
    overlapping : bool
        Use every start, not only every span's first.

    Raises
    ------
    ValueError
        If a span is no multiple of ``step_s`` or too long for the data, or an argument is out of range.

    Notes
    -----
    W. Riley, Handbook of Frequency Stability Analysis, NIST SP 1065 (2008), section 5.
    """
    array = check.finite_array("y", y, least=3)
    step = check.positive("step_s", step_s, what="seconds between readings")
    n = array.size
    if spans is None:
        factors = 2 ** np.arange(max(1, int(np.log2(max(2, n // 4))) + 1))
    else:
        many: ArrayLike = [float(spans)] if isinstance(spans, (int, float)) else spans
        asked = check.finite_array("spans", many)
        factors = np.round(asked / step).astype(np.int64)
        bad = (factors < 1) | (np.abs(factors * step - asked) > 1e-6 * asked)
        if bad.any():
            raise ValueError(f"spans must be whole multiples of step_s ({step:g} s), got {asked[bad][0]:g}")
        if (2 * factors > n).any():
            long = asked[2 * factors > n][0]
            raise ValueError(f"spans must not pass {n // 2 * step:g} s for {n} readings, got {long:g}")
    centred = array - array.mean()  # keeps the running sum small; no deviation sees the mean
    phase = np.concatenate([[0.0], np.cumsum(centred)]) * step
    deviation = []
    for m in factors.tolist():
        x = phase if overlapping else phase[::m]
        lag = m if overlapping else 1
        second = x[2 * lag :] - 2 * x[lag:-lag] + x[: -2 * lag]
        deviation.append(np.sqrt(np.mean(second**2) / 2) / (m * step))
    return AllanDeviation(np.asarray(factors * step, dtype=np.float64), np.array(deviation, dtype=np.float64), overlapping)


@dataclass(frozen=True, slots=True)
class NoiseColour(Interval):
    """Kind of noise, from how its power falls with frequency."""

    colour: str
    exponent: float

    @property
    def reads(self) -> str:
        """One sentence for the owner."""
        words = {
            "white": "white noise: longer averages settle it",
            "flicker": "flicker (1/f) noise: it wanders at every time scale, and longer averages do not settle it",
            "random walk": "a random walk: the level itself moves away, further the longer one waits",
            "none": "no noise to judge: the values do not move",
        }
        return words[self.colour]


def _whittle(power: Floats, log_f: Floats) -> float:
    """Exponent at which log(mean(power * f ** exponent)) is lowest, between -1.5 and 3.5; ``log_f`` has mean 0.

    That is convex in the exponent: Newton's step on its slope, or half of the bracket where the step would leave it.
    """
    low, high = LOWEST_EXPONENT, HIGHEST_EXPONENT
    at = 0.5 * (low + high)
    for _ in range(100):
        weight = power * np.exp(at * log_f)
        weight /= weight.sum()
        slope = float(weight @ log_f)
        bend = float(weight @ (log_f - slope) ** 2)
        low, high = (at, high) if slope < 0 else (low, at)
        step = at - slope / bend if bend > 0 else at
        before, at = at, step if low < step < high else 0.5 * (low + high)
        if abs(at - before) < 1e-10:
            break
    return at


def noise_colour(y: ArrayLike, step_s: float = 1.0, *, confidence: float = 0.95) -> NoiseColour:
    """Tell white, flicker and random-walk noise apart.

    Parameters
    ----------
    y : array_like, shape (n,)
        Equally spaced values, n at least 32.
    step_s : float
        Seconds between values. The colour does not depend on it; it is checked only.
    confidence : float
        Of the interval of the exponent.

    Returns
    -------
    NoiseColour
        ``colour`` is 'white', 'flicker', 'random walk' or 'none'; ``exponent`` is that of power ~ 1 / f ** exponent
        (0, 1, 2).

    Raises
    ------
    ValueError
        If ``y`` is too short or not finite, or an argument is out of range.

    Notes
    -----
    Local Whittle estimate (Robinson 1995, Annals of Statistics 23, 1630-1661) over the lowest n ** 0.8 frequencies
    (all, below 512 values), borders at 0.5 and 1.5. The line through both ends is taken off and the outer twentieths
    are tapered: a slope or a walk would leak otherwise. Right in 95 of 100 from 128 values on (study_noise).
    """
    array = check.finite_array("y", y, least=32)
    check.positive("step_s", step_s, what="seconds between values")
    confidence = check.share("confidence", confidence)
    n = array.size
    method = "local Whittle on the tapered spectrum"
    if np.ptp(array) == 0.0:
        return NoiseColour(
            colour="none",
            exponent=float("nan"),
            low=float("nan"),
            high=float("nan"),
            confidence=confidence,
            method=method,
        )
    array = np.ldexp(array, -int(np.frexp(np.ptp(array))[1]))  # near 1, exactly: squares of tiny readings would vanish
    outer = max(1, n // 20)
    rest = array - np.linspace(array[:outer].mean(), array[-outer:].mean(), n)
    bell = np.ones(n)
    rim = np.sin(np.pi / 2 * (np.arange(outer) + 0.5) / outer) ** 2
    bell[:outer], bell[-outer:] = rim, rim[::-1]
    power = np.abs(np.fft.rfft((rest - rest @ bell / bell.sum()) * bell)) ** 2
    m = min((n - 1) // 2, max(256, int(n**0.8)))
    place = np.arange(1, m + 1) * np.pi / n
    power = power[1 : m + 1]
    frequency = np.sqrt(np.sin(place) * place)  # a sampled walk follows the sine, noise made by its spectrum the angle
    log_f = np.log(frequency)
    keep = power > 0
    power, log_f = power[keep], log_f[keep]
    exponent = _whittle(power, log_f - log_f.mean())
    widened = n * np.sum(bell**4) / np.sum(bell**2) ** 2  # the taper makes neighbouring frequencies dependent
    error = float(special.ndtri(0.5 + confidence / 2) * np.sqrt(widened / np.sum((log_f - log_f.mean()) ** 2)))
    colour = "white" if exponent < 0.5 else "flicker" if exponent < 1.5 else "random walk"
    return NoiseColour(
        colour=colour,
        exponent=exponent,
        low=exponent - error,
        high=exponent + error,
        confidence=confidence,
        method=method,
    )
