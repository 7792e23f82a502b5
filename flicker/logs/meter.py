"""What can the meter not see? Its timing and a glitch in; chance to see it, how far it is understated, and advice out.

A reading is the mean over its integration time; between readings, and while the meter zeroes itself, it is blind.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from flicker.base import check
from flicker.base.formats import digits_text, millivolts_text, seconds_text, share_text
from flicker.base.result import Result
from flicker.stats.rates import rate_interval
from flicker.stats.soak import CleanPlan, clean_exposure

Floats = NDArray[np.float64]
Shape = Literal["rectangle", "decay"]
Lengths = Literal["fixed", "exponential"]

LINE_HZ = 50.0
SHARE = 0.95
_GRID = 4001  # points of the quadrature over heights
_SHAPES = ("rectangle", "decay")
_LENGTHS = ("fixed", "exponential")


@dataclass(frozen=True, slots=True, kw_only=True)
class Meter(Result):
    """Timing and last digit of a logging meter.

    Attributes
    ----------
    sample_interval_s
        From the begin of one reading to that of the next.
    integration_s
        Time over which a reading averages, at most the interval; 0 is an instant reading. Meters often give it in
        power-line cycles: `Meter.from_line_cycles`. With a zero taken after every reading this is the part spent on
        the input.
    resolution_V
        Step of the last digit; 0 where it is finer than anything asked.
    autozero_s, autozero_every
        After every so many readings the meter is blind for so long in addition to its interval; 0 for none.
    """

    sample_interval_s: float
    integration_s: float = 0.0
    resolution_V: float = 0.0
    autozero_s: float = 0.0
    autozero_every: int = 0

    def __post_init__(self) -> None:
        """Check every value.

        Raises
        ------
        ValueError
            Names the value that is out of range.
        """
        check.positive("sample_interval_s", self.sample_interval_s, what="seconds")
        for name in ("integration_s", "resolution_V", "autozero_s"):
            check.positive(name, getattr(self, name), zero=True)
        check.whole("autozero_every", self.autozero_every, what="a number of readings")
        if self.integration_s > self.sample_interval_s * (1 + 1e-9):
            raise ValueError(
                f"integration_s must be at most sample_interval_s ({self.sample_interval_s}), got {self.integration_s}"
            )
        if (self.autozero_s > 0) != (self.autozero_every > 0):
            raise ValueError(
                f"autozero_s and autozero_every must be given together, got {self.autozero_s} and {self.autozero_every}"
            )

    @classmethod
    def from_line_cycles(
        cls,
        cycles: float,
        *,
        sample_interval_s: float | None = None,
        line_hz: float = LINE_HZ,
        resolution_V: float = 0.0,
        zero_every_reading: bool = False,
    ) -> Meter:
        """Describe a meter by its integration in power-line cycles.

        The interval is the shortest possible where none is given: the integration, or twice that with a zero taken
        after every reading.
        """
        integration = check.positive("cycles", cycles, what="power-line cycles") / check.positive("line_hz", line_hz)
        least = integration * (2.0 if zero_every_reading else 1.0)
        interval = least if sample_interval_s is None else sample_interval_s
        if interval < least * (1 - 1e-9):
            raise ValueError(f"sample_interval_s must be {least:g} or more for {cycles:g} cycles, got {interval}")
        return cls(sample_interval_s=interval, integration_s=integration, resolution_V=resolution_V)

    @property
    def blind_share(self) -> float:
        """Share of the time in which the meter looks away."""
        gaps = self._gaps()
        return 1.0 - gaps.size * self.integration_s / float(gaps.sum())

    def _gaps(self) -> Floats:
        """From reading to reading over one whole turn of the meter."""
        gaps = np.full(max(self.autozero_every, 1), self.sample_interval_s)
        gaps[-1] += self.autozero_s
        return gaps

    def shown_threshold_V(self, threshold_V: float) -> float:
        """Lowest mean over a reading that is shown above a threshold (from a baseline that sits on a digit)."""
        if self.resolution_V <= 1e-12 * threshold_V:  # no last digit that matters
            return threshold_V
        steps = math.floor(threshold_V / self.resolution_V + 1e-9) + 1
        return (steps - 0.5) * self.resolution_V

    def sees(
        self,
        length_s: float,
        *,
        height_V: float,
        threshold_V: float,
        shape: Shape = "rectangle",
        lengths: Lengths = "fixed",
    ) -> GlitchSeen:
        """Say how likely a glitch at a random moment is to show, and how large it then reads.

        Parameters
        ----------
        length_s : float
            Its length; the mean length with ``lengths='exponential'``, the time constant of a 'decay'.
        height_V, threshold_V : float
            Its height from the baseline, and the reading beyond which it counts; both above 0.
        shape : {'rectangle', 'decay'}
            Constant, or a jump that decays exponentially (as behind a capacitor or with a servo).
        lengths : {'fixed', 'exponential'}
            All alike, or exponentially distributed (rectangles only).

        Raises
        ------
        ValueError
            Names the argument that is out of range.

        Notes
        -----
        A glitch reads at least the share r of its height in one integration for a stretch of positions w(r): for a
        rectangle of length L and integration A it is L + A - 2 r A (for r A up to L); for a decay with time constant T
        it is T log(k / r) + A + T log(1 - r A / T), with k = (1 - exp(-A / T)) T / A. Over readings whose begins lie
        g_1 ... g_n apart, the chance is the sum of min(g_i, w(r)) over the sum of g_i. Checked by simulation in the
        tests. That glitches may be taken as rectangles or decays is common practice, no source.
        """
        length = check.positive("length_s", length_s, what="seconds")
        height = check.positive("height_V", height_V, what="volts")
        threshold = check.positive("threshold_V", threshold_V, what="volts")
        check.one_of("shape", shape, _SHAPES)
        check.one_of("lengths", lengths, _LENGTHS)
        if shape == "decay" and lengths == "exponential":
            raise ValueError("lengths must be 'fixed' for the shape 'decay', got 'exponential'")
        needed = self.shown_threshold_V(threshold) / height
        share = self._share(needed, length, shape, lengths)
        mean = low = math.nan
        if share > 0:
            grid = np.linspace(needed, max(self._most(length, shape, lengths), needed), _GRID)
            survival = self._chance(grid, length, shape, lengths) / share
            mean = needed + float(np.trapezoid(survival, grid))
            # The largest share of the height that 19 of 20 seen glitches reach at least.
            low = float(grid[np.flatnonzero(survival >= SHARE)[-1]])
        return GlitchSeen(
            share=share, reading_share=mean, reading_share_low=low, sample_interval_s=self.sample_interval_s, length_s=length, height_V=height, threshold_V=threshold, shape=shape, lengths=lengths,
            method="positions of the glitch against the readings",
        )  # fmt: skip

    def _most(self, length: float, shape: str, lengths: str) -> float:
        """Largest share of its height that a glitch can read."""
        aperture = self.integration_s
        if aperture == 0 or lengths == "exponential":
            return 1.0
        if shape == "decay":
            return -math.expm1(-aperture / length) * length / aperture
        return min(1.0, length / aperture)

    def _share(self, needed: float, length: float, shape: str, lengths: str) -> float:
        return float(self._chance(np.array([needed]), length, shape, lengths)[0])

    def _chance(self, r: Floats, length: float, shape: str, lengths: str) -> Floats:
        """Chance that some reading shows at least the share ``r`` of the height."""
        gaps, aperture = self._gaps()[:, None], self.integration_s
        possible = r <= self._most(length, shape, lengths) * (1 + 1e-12)
        if lengths == "exponential":
            needed, spare = r * aperture, (1.0 - r) * aperture
            full = np.maximum(gaps - spare, 0.0)
            each = np.exp(-needed / length) * (spare - length * np.expm1(-full / length))
        elif shape == "rectangle":
            each = np.minimum(gaps, np.maximum(length + aperture - 2.0 * r * aperture, 0.0))
        else:
            most = self._most(length, shape, lengths)
            inner = np.clip(1.0 - r * aperture / length, 1e-300, None)
            width = length * np.log(most / r) + aperture + length * np.log(inner)
            each = np.minimum(gaps, np.maximum(width, 0.0))
        return np.asarray(np.where(possible, each.sum(axis=0) / gaps.sum(), 0.0))

    def shortest_seen(
        self, share: float = SHARE, *, height_V: float, threshold_V: float, shape: Shape = "rectangle"
    ) -> float:
        """Shortest glitch (seconds) of which at least ``share`` are seen; infinite where the height never reaches it.

        Raises
        ------
        ValueError
            Names the argument that is out of range.
        """
        share = check.share("share", share)

        def seen(length: float) -> float:
            return self.sees(length, height_V=height_V, threshold_V=threshold_V, shape=shape).share

        high = self.sample_interval_s
        while seen(high) < share:
            high *= 2.0
            if high > 1e9:
                return math.inf
        low = 0.0
        for _ in range(60):
            middle = 0.5 * (low + high)
            low, high = (low, middle) if seen(middle) >= share else (middle, high)
        return high

    @property
    def reads(self) -> str:
        """The meter in words."""
        how = "an instant value" if self.integration_s == 0 else f"the mean over {self.integration_s:g} s"
        return f"A reading every {self.sample_interval_s:g} s, each {how}; blind for {share_text(self.blind_share)} of the time."


@dataclass(frozen=True, slots=True)
class GlitchSeen(Result):
    """Chance to see a glitch, and what it reads when seen.

    ``share`` is the chance that at least one reading counts; ``reading_share`` the mean, and ``reading_share_low`` the
    value that 95 % of seen glitches reach, of the largest reading over the true height (NaN where none is seen).
    """

    share: float
    reading_share: float
    reading_share_low: float
    sample_interval_s: float
    length_s: float
    height_V: float
    threshold_V: float
    shape: str
    lengths: str
    method: str

    @property
    def reads(self) -> str:
        """The chance in words."""
        size = f"{millivolts_text(self.height_V)}"
        what = f"a glitch of {size} that lasts {seconds_text(self.length_s)}"
        if self.shape == "decay":
            what = f"a jump of {size} that decays with {seconds_text(self.length_s)}"
        elif self.lengths == "exponential":
            what = f"a glitch of {size} that lasts {seconds_text(self.length_s)} on average"
        if self.share == 0:
            return f"This meter cannot show {what}."
        words = f"This meter shows {share_text(self.share)} of such: {what}"
        if self.reading_share < 0.995:
            words += f"; it then reads {share_text(self.reading_share)} of the true height on average"
            words += f", {share_text(self.reading_share_low)} or more in 95 % of cases"
        return words + "."

    @property
    def odds(self) -> str:
        """'One in n passes unseen', for advice."""
        unseen = 1.0 - self.share
        return "none passes unseen" if unseen <= 0 else f"one in {digits_text(1.0 / unseen, 3)} passes unseen"

    def corrected_rate(self, count: int, exposure_s: float, *, confidence: float = 0.95) -> CorrectedRate:
        """Rate of all such glitches from the count of those seen.

        Parameters
        ----------
        count : int
            Seen, 0 or more.
        exposure_s : float
            Observed seconds.
        confidence : float
            Of the interval.

        Raises
        ------
        ValueError
            If the meter can see none of them (then a count says nothing), or an argument is out of range.

        Notes
        -----
        Glitches seen are a thinned Poisson process with the share as factor, so exact limits divide by it. The share is
        taken as known: it rests on the assumed length and height.
        """
        if self.share == 0:
            raise ValueError("share must be above 0 to correct a rate, got 0 (this meter cannot show such glitches)")
        seen = rate_interval(count, check.positive("exposure_s", exposure_s) / 3600.0, confidence=confidence)
        return CorrectedRate(
            count=seen.count, exposure_s=exposure_s, seen_per_h=seen.rate, per_h=seen.rate / self.share, low_per_h=seen.low / self.share, high_per_h=seen.high / self.share,
            share=self.share, confidence=seen.confidence, method=f"{seen.method}; divided by the share seen",
        )  # fmt: skip

    def clean_soak(self, max_rate_per_h: float, *, confidence: float = 0.95) -> CleanPlan:
        """Clean hours that exclude more than ``max_rate_per_h`` such glitches, seen or not."""
        if self.share == 0:
            raise ValueError("share must be above 0 to plan a soak, got 0 (this meter cannot show such glitches)")
        return clean_exposure(max_rate_per_h, confidence=confidence, detectable_share=self.share)


@dataclass(frozen=True, slots=True)
class CorrectedRate(Result):
    """Rate of glitches seen, and of all there are, with an interval."""

    count: int
    exposure_s: float
    seen_per_h: float
    per_h: float
    low_per_h: float
    high_per_h: float
    share: float
    confidence: float
    method: str

    @property
    def reads(self) -> str:
        """The correction in words."""
        return (
            f"{self.count} seen in {digits_text(self.exposure_s / 3600, 3)} h; as the meter shows {share_text(self.share)} of them, "
            f"{digits_text(self.per_h, 3)} per hour in truth, between {digits_text(self.low_per_h, 3)} and {digits_text(self.high_per_h, 3)}"
        )
