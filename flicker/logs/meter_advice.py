"""How often must the meter read to see a share of glitches? Their size and the meter's integration in, an interval out."""

from __future__ import annotations

import math
from dataclasses import dataclass

from flicker.base import check
from flicker.base.formats import digits_text, share_text
from flicker.base.result import Result
from flicker.logs.meter import SHARE, Lengths, Meter, Shape


@dataclass(frozen=True, slots=True)
class SamplingAdvice(Result):
    """The longest interval between readings that sees a share of glitches; NaN where the integration hides them."""

    sample_interval_s: float
    share: float
    length_s: float
    height_V: float
    threshold_V: float
    integration_s: float
    shape: str
    lengths: str
    method: str

    @property
    def reads(self) -> str:
        """The advice in words."""
        what = f"{share_text(self.share)} of glitches of length {digits_text(self.length_s, 3)} s"
        if self.shape == "decay":
            what = f"{share_text(self.share)} of jumps that decay with {digits_text(self.length_s, 3)} s"
        elif self.lengths == "exponential":
            what = f"{share_text(self.share)} of glitches of mean length {digits_text(self.length_s, 3)} s"
        if math.isnan(self.sample_interval_s):
            return (
                f"No interval sees {what} with readings that average over {digits_text(self.integration_s, 3)} s: shorten the "
                "integration."
            )
        return f"Sample at least every {digits_text(_rounded_down(self.sample_interval_s), 3)} s to see {what}."


def _rounded_down(value: float) -> float:
    """Three digits, never more than the value."""
    unit = 10.0 ** (math.floor(math.log10(value)) - 2)
    return math.floor(value / unit + 1e-9) * unit


def sampling_advice(
    length_s: float,
    *,
    height_V: float,
    threshold_V: float,
    share: float = SHARE,
    integration_s: float = 0.0,
    resolution_V: float = 0.0,
    shape: Shape = "rectangle",
    lengths: Lengths = "fixed",
) -> SamplingAdvice:
    """Longest interval between readings that sees at least ``share`` of such glitches (arguments as in `Meter.sees`).

    Raises
    ------
    ValueError
        Names the argument that is out of range.
    """
    share = check.share("share", share)

    def meter(interval: float) -> Meter:
        return Meter(sample_interval_s=interval, integration_s=integration_s, resolution_V=resolution_V)

    def seen(interval: float) -> float:
        eye = meter(interval)
        return eye._share(eye.shown_threshold_V(threshold_V) / height_V, length_s, shape, lengths)

    low = max(integration_s, 1e-6 * length_s)
    meter(low).sees(length_s, height_V=height_V, threshold_V=threshold_V, shape=shape, lengths=lengths)  # checks
    if seen(low) < share:
        interval = math.nan
    else:
        high = 2.0 * low
        while seen(high) >= share:
            low, high = high, 2.0 * high
        for _ in range(60):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if seen(middle) >= share else (low, middle)
        interval = low
    return SamplingAdvice(
        sample_interval_s=interval, share=share, length_s=length_s, height_V=height_V, threshold_V=threshold_V, integration_s=integration_s, shape=shape, lengths=lengths,
        method="positions of the glitch against the readings",
    )  # fmt: skip
