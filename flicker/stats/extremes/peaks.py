"""Peaks above a threshold: the exact share above a level, and a generalised Pareto tail with its limits."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from flicker.base import check
from flicker.base.formats import digits_text, share_text
from flicker.base.result import Interval, Result
from flicker.stats.extremes import gpd
from flicker.stats.extremes.exceedance import (
    CALIBRATE_BELOW,
    ReturnLevel,
    Tail,
    rate_above,
    return_level,
    standard_errors,
)

SHAPE_RANGE = (-0.5, 1.0)  # below -0.5 the likelihood has no usual maximum; above 1 the tail has no mean
LEAST_PEAKS = 5
FEW_PEAKS = 20  # below, coverage hangs on the shape range, so only an upper bound is given
FEW = "Fewer than 20 peaks do not tell how large rare ones get: only an upper limit is given, and it depends on the shapes allowed."


@dataclass(frozen=True, slots=True)
class PeakShare(Interval):
    """Peaks above a level, counted: exact, whatever the tail."""

    level: float
    above: int
    count: int
    share: float

    @property
    def reads(self) -> str:
        """The count in words."""
        seen = f"{self.above} of {self.count} peaks were above {digits_text(self.level, 3)}"
        return f"{seen} (at most {share_text(self.high)} of such peaks)."


@dataclass(frozen=True, slots=True)
class TailChance(Interval):
    """Chance of one peak or more above a level in a further exposure; ``low`` is 0 if only an upper bound is given."""

    level: float
    exposure: float
    chance: float
    bound: str
    expected: float
    share: PeakShare
    caution: str
    seed: int

    @property
    def reads(self) -> str:
        """The chance in words."""
        ask = f"The chance of a peak above {digits_text(self.level, 3)} in the next {digits_text(self.exposure, 3)} units of exposure"
        if self.bound == "upper":
            return f"{ask} is at most {digits_text(self.high)} ({share_text(self.confidence)}). {self.share.reads}"
        if self.low < 0.05 and self.high > 0.95:
            return f"{ask} cannot be told from these peaks. {self.share.reads}"
        return (
            f"{ask} is about {digits_text(self.chance)}, between {digits_text(self.low)} and {digits_text(self.high)}."
        )


@dataclass(frozen=True, slots=True)
class TailFit(Tail):
    """Generalised Pareto tail of peaks above a threshold; a positive ``shape`` is a heavy tail."""

    shape_low: float
    shape_high: float
    shape_se: float
    scale_low: float
    scale_high: float
    scale_se: float
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
        if self.count < FEW_PEAKS:
            return f"{self.count} peaks above {digits_text(self.threshold, 3)}; the largest was {digits_text(self.largest, 3)}. {self.caution}"
        heavy, bounded = self.shape_low > 0, self.shape_high < 0
        kind = (
            "far larger ones are possible"
            if heavy
            else "they have a largest size"
            if bounded
            else "whether they have a largest size is not shown"
        )
        return f"{self.count} peaks above {digits_text(self.threshold, 3)}; the largest was {digits_text(self.largest, 3)}; {kind}."

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
        low, high = rate_above(self, level - self.threshold, one_sided=few)
        middle = self.rate * self.share_beyond(level)
        share = share_above(self.excesses + self.threshold, level, confidence=self.confidence)
        low, middle, high = (float(-math.expm1(-r * exposure)) for r in (0.0 if few else low, middle, high))
        return TailChance(
            level=level, exposure=exposure, chance=middle, low=low, high=high, bound="upper" if few else "two-sided",
            expected=self.rate * self.share_beyond(level) * exposure, share=share, confidence=self.confidence, caution=self.caution, seed=self.seed,
            method=f"profile likelihood of a generalised Pareto tail{', any shape of the range' if few else ', calibrated' if self.count < CALIBRATE_BELOW else ''}",
        )  # fmt: skip

    def level_for(self, exposure: float) -> ReturnLevel:
        """Level that is passed once on average in ``exposure``, with its profile-likelihood interval.

        Raises
        ------
        ValueError
            If the fit has no exposure, has fewer than 20 peaks, or ``exposure`` holds less than one peak on average.
        """
        exposure = check.positive("exposure", exposure, what="observed time")
        if not math.isfinite(self.exposure) or self.count < FEW_PEAKS or self.rate * exposure < 1:
            raise ValueError(
                f"exposure must be known and hold one peak or more on average, with 20 peaks fitted; "
                f"got {exposure} at a rate of {self.rate}, {self.count} peaks"
            )
        return return_level(self, exposure)


def _level(level: float, threshold: float) -> float:
    value = float(check.finite_array("level", [level])[0])
    if value < threshold:
        raise ValueError(f"level must be at or above the threshold ({threshold}), got {value}")
    return value


def share_above(peaks: ArrayLike, level: float, *, confidence: float = 0.95) -> PeakShare:
    """Count the peaks above a level; exact limits after Clopper and Pearson (1934).

    Raises
    ------
    ValueError
        For no peaks, values that are not finite, or a confidence outside (0, 1).
    """
    x = check.finite_array("peaks", peaks)
    level = float(check.finite_array("level", [level])[0])
    tail = (1.0 - check.share("confidence", confidence)) / 2.0
    n, k = int(x.size), int(np.count_nonzero(x > level))
    low = float(special.betaincinv(k, n - k + 1, tail)) if k else 0.0
    high = float(special.betaincinv(k + 1, n - k, 1.0 - tail)) if k < n else 1.0
    return PeakShare(
        level=level,
        above=k,
        count=n,
        share=k / n,
        low=low,
        high=high,
        confidence=confidence,
        method="counted, exact binomial limits (Clopper-Pearson)",
    )


def fit_tail(
    peaks: ArrayLike,
    threshold: float,
    *,
    exposure: float | None = None,
    confidence: float = 0.95,
    shape_range: tuple[float, float] = SHAPE_RANGE,
    seed: int = 0,
    limits: bool = True,
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
    limits : bool
        False leaves out the limits and standard errors of shape and scale (nan), which chances and levels do not need
        and which are most of the work.

    Returns
    -------
    TailFit
        With ``chance_above(level, exposure)``, ``level_for(exposure)`` and ``share_beyond(level)``.

    Raises
    ------
    ValueError
        For fewer than 5 peaks above the threshold, equal peaks only, an exposure not above 0, or a bad range.

    Notes
    -----
    Coles (2001), An Introduction to Statistical Modeling of Extreme Values, chapter 4: maximum likelihood, intervals by
    the profile likelihood; the rate's interval is Garwood's.
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
            "(share_above counts fewer)"
        )
    if float(np.ptp(y)) <= 1e-12 * float(y[-1]):
        raise ValueError(f"peaks must differ in size to show a tail, got {y.size} times {y[0] + threshold}")
    span = (low_shape, high_shape)
    best = gpd.fit(y, span)
    shape_low = shape_high = scale_low = scale_high = shape_se = scale_se = float("nan")
    if limits:
        drop = 0.5 * float(special.chdtri(1, 1.0 - confidence))
        shape_low, shape_high = gpd.shape_interval(y, best, drop, span)
        scale_low, scale_high = gpd.scale_interval(y, best, drop, span)
        shape_se, scale_se, _ = standard_errors(y, best)
    n, seen = int(y.size), float("nan")
    rate = rate_low = rate_high = float("nan")
    if exposure is not None:
        seen, tail = check.positive("exposure", exposure, what="observed time"), (1.0 - confidence) / 2.0
        rate = n / seen
        rate_low = float(special.gammaincinv(n, tail)) / seen
        rate_high = float(special.gammainccinv(n + 1, tail)) / seen
    caution = FEW if n < FEW_PEAKS else ""
    if min(best.shape - low_shape, high_shape - best.shape) < 1e-6:
        border = f"The fit lies at the border of the range of shapes ({low_shape:g} to {high_shape:g})."
        caution = f"{caution} {border}".strip()
    return TailFit(
        shape=best.shape, shape_low=shape_low, shape_high=shape_high, shape_se=shape_se, scale=best.scale, scale_low=scale_low, scale_high=scale_high, scale_se=scale_se,
        rate=rate, rate_low=rate_low, rate_high=rate_high, threshold=threshold, exposure=seen, count=n, largest=float(y[-1]) + threshold, log_likelihood=best.value,
        shape_range=span, confidence=confidence, caution=caution, seed=seed,
        method=f"generalised Pareto tail by maximum likelihood, shape between {low_shape:g} and {high_shape:g}", excesses=y,
    )  # fmt: skip
