"""Peaks above a threshold: a generalised Pareto tail, and the chance that the next exposure holds a peak above a level."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from flicker.base import check
from flicker.base.formats import digits_text, share_text
from flicker.base.result import Interval, Result
from flicker.stats.extremes import gpd
from flicker.stats.rates.intervals import ShareInterval, rate_interval, share_interval

SHAPE_RANGE = (-0.5, 1.0)  # below -0.5 the likelihood has no usual maximum; above 1 the tail has no mean
LEAST_PEAKS = 5
FEW_PEAKS = 20  # below, coverage hangs on the shape range, so only an upper bound is given
FEW = "Fewer than 20 peaks do not tell how large rare ones get: only an upper limit is given, and it depends on the shapes allowed."


@dataclass(frozen=True, slots=True)
class TailChance(Interval):
    """Chance of one peak or more above a level in a further exposure; ``low`` is 0 if only an upper bound is given."""

    level: float
    exposure: float
    chance: float
    bound: str
    expected: float
    share: ShareInterval
    caution: str
    seed: int

    @property
    def reads(self) -> str:
        """The chance in words."""
        seen = f"{self.share.hits} of {self.share.trials} peaks were above {digits_text(self.level, 3)}"
        counted = f"{seen} (at most {share_text(self.share.high)} of such peaks)."
        ask = f"The chance of a peak above {digits_text(self.level, 3)} in the next {digits_text(self.exposure, 3)} units of exposure"
        if self.bound == "upper":
            return f"{ask} is at most {digits_text(self.high)} ({share_text(self.confidence)}). {counted}"
        if self.low < 0.05 and self.high > 0.95:
            return f"{ask} cannot be told from these peaks. {counted}"
        return (
            f"{ask} is about {digits_text(self.chance)}, between {digits_text(self.low)} and {digits_text(self.high)}."
        )


@dataclass(frozen=True, slots=True)
class TailFit(gpd.Tail):
    """Generalised Pareto tail of peaks above a threshold; a positive ``shape`` is a heavy tail."""

    rate_low: float
    largest: float
    caution: str
    method: str

    def to_dict(self) -> dict[str, Any]:
        """Return the result as plain values, without the excesses it was fitted to."""
        out = Result.to_dict(self)
        out.pop("excesses")
        return out

    @property
    def reads(self) -> str:
        """The fit in words."""
        seen = f"{self.count} peaks above {digits_text(self.threshold, 3)}; the largest was {digits_text(self.largest, 3)}."
        return f"{seen} {self.caution}".strip()

    def share_beyond(self, level: float) -> float:
        """Fitted share of such peaks that lie above ``level``."""
        ratio = np.array([(_level(level, self.threshold) - self.threshold) / self.scale])
        return float(np.exp(-gpd.log_survival(ratio, np.array([self.shape])))[0])

    def chance_above(self, level: float, exposure: float) -> TailChance:
        """Chance that the next ``exposure`` holds a peak above ``level``.

        Parameters
        ----------
        level : float
            In the unit of the peaks, at or above the threshold.
        exposure : float
            Further observed time (or power-ups), above 0, in the unit of the fit's exposure.

        Returns
        -------
        TailChance
            With 20 peaks or more ``low`` and ``high`` form an interval at the fit's confidence; below, ``high`` is a
            one-sided bound and ``low`` is 0. ``share`` holds the exact count of peaks above the level.

        Raises
        ------
        ValueError
            If the fit has no exposure, ``level`` lies below the threshold, or ``exposure`` is not positive.

        Notes
        -----
        Profile likelihood of the rate of peaks above the level (counts Poisson, excesses generalised Pareto, shape
        within its range). From 20 to 59 peaks the cut is calibrated by 199 simulations at the limit itself, and never
        below the usual one. Below 20 peaks the bound is the highest of those at each shape that the peaks do not
        exclude (Berger and Boos 1994): it held in 94.6 to 100 % of simulated logs at every shape of the range tried
        (``tests/studies/results/calibration_tails.md``), and is often close to 1, since so few peaks say little.
        """
        level = _level(level, self.threshold)
        exposure = check.positive("exposure", exposure, what="observed time ahead")
        if not math.isfinite(self.exposure):
            raise ValueError("exposure must be given to fit_tail (observed time, above 0) for a chance, got None")
        few = self.count < FEW_PEAKS
        low, high = gpd.rate_above(self, level - self.threshold, one_sided=few)
        middle = self.rate * self.share_beyond(level)
        above = int(np.count_nonzero(self.excesses + self.threshold > level))
        low, middle, high = (float(-math.expm1(-r * exposure)) for r in (0.0 if few else low, middle, high))
        return TailChance(
            level=level, exposure=exposure, chance=middle, low=low, high=high, bound="upper" if few else "two-sided",
            expected=self.rate * self.share_beyond(level) * exposure, share=share_interval(above, self.count, confidence=self.confidence), confidence=self.confidence, caution=self.caution, seed=self.seed,
            method=f"profile likelihood of a generalised Pareto tail{', any shape of the range' if few else ', calibrated' if self.count < gpd.CALIBRATE_BELOW else ''}",
        )  # fmt: skip


def _level(level: float, threshold: float) -> float:
    """A level, checked."""
    value = float(check.finite_array("level", [level])[0])
    if value < threshold:
        raise ValueError(f"level must be at or above the threshold ({threshold}), got {value}")
    return value


def fit_tail(
    peaks: ArrayLike,
    threshold: float,
    *,
    exposure: float | None = None,
    confidence: float = 0.95,
    shape_range: tuple[float, float] = SHAPE_RANGE,
    seed: int = 0,
) -> TailFit:
    """Fit a generalised Pareto tail to peaks above a threshold.

    Parameters
    ----------
    peaks : array_like
        Sizes of the episodes (one peak each, absolute deviation), in any unit; those above ``threshold`` are used.
    threshold : float
        In the unit of the peaks, fixed before looking.
    exposure : float, optional
        Observed time behind the peaks; needed for a rate and for chances.
    confidence : float
        Of all intervals.
    shape_range : (float, float)
        Shapes that are thought possible. The fit never leaves it, and limits from few peaks rest on it.
    seed : int
        Of the calibrating simulations.

    Returns
    -------
    TailFit
        With ``chance_above(level, exposure)`` and ``share_beyond(level)``.

    Raises
    ------
    ValueError
        For fewer than 5 peaks above the threshold, equal peaks only, an exposure not above 0, or a bad range.

    Notes
    -----
    Coles (2001), An Introduction to Statistical Modeling of Extreme Values, chapter 4: maximum likelihood; the
    rate's interval is Garwood's.
    """
    x = check.finite_array("peaks", peaks)
    threshold = float(check.finite_array("threshold", [threshold])[0])
    confidence = check.share("confidence", confidence)
    seed = check.whole("seed", seed, what="a seed")
    low_shape, high_shape = (float(v) for v in check.finite_array("shape_range", shape_range, least=2)[:2])
    if not -1.0 < low_shape < high_shape <= 2.0:
        raise ValueError(f"shape_range must be two ascending numbers from above -1 to 2, got {shape_range!r}")
    y = np.sort(x[x > threshold] - threshold)
    if y.size < LEAST_PEAKS:
        raise ValueError(
            f"peaks must hold {LEAST_PEAKS} or more above the threshold {threshold}, got {y.size} "
            "(share_interval counts fewer)"
        )
    if float(np.ptp(y)) <= 1e-12 * float(y[-1]):
        raise ValueError(f"peaks must differ in size to show a tail, got {y.size} times {y[0] + threshold}")
    span = (low_shape, high_shape)
    best = gpd.fit(y, span)
    n, seen = int(y.size), float("nan")
    rate = rate_low = rate_high = float("nan")
    if exposure is not None:
        seen = check.positive("exposure", exposure, what="observed time")
        counted = rate_interval(n, seen, confidence=confidence)
        rate, rate_low, rate_high = counted.rate, counted.low, counted.high
    caution = FEW if n < FEW_PEAKS else ""
    if min(best.shape - low_shape, high_shape - best.shape) < 1e-6:
        border = f"The fit lies at the border of the range of shapes ({low_shape:g} to {high_shape:g})."
        caution = f"{caution} {border}".strip()
    return TailFit(
        shape=best.shape, scale=best.scale, rate=rate, rate_low=rate_low, rate_high=rate_high, threshold=threshold, exposure=seen, count=n, largest=float(y[-1]) + threshold, log_likelihood=best.value,
        shape_range=span, confidence=confidence, caution=caution, seed=seed,
        method=f"generalised Pareto tail by maximum likelihood, shape between {low_shape:g} and {high_shape:g}", excesses=y,
    )  # fmt: skip
