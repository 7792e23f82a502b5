"""What share of glitches can a sampling meter see? Lengths and intervals in, a share out."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from flicker.base import check
from flicker.base.formats import digits_text, share_text
from flicker.base.result import Result


@dataclass(frozen=True, slots=True)
class SeenShare(Result):
    """Share of glitches of a length that leave at least one reading beyond the threshold."""

    share: float
    glitch_length: float
    sample_interval: float
    method: str

    @property
    def reads(self) -> str:
        """One sentence for the owner of the unit."""
        return (
            f"a reading every {digits_text(self.sample_interval, 3)} s can show {share_text(self.share)} of glitches "
            f"{digits_text(self.glitch_length, 3)} s long"
        )


def detectable_share(
    glitch_length: float,
    sample_interval: float,
    integration_time: float = 0.0,
    *,
    needed_fraction: float = 0.5,
    lengths: Literal["fixed", "exponential"] = "fixed",
) -> SeenShare:
    """Share of glitches that a meter can see.

    Parameters
    ----------
    glitch_length : float
        Length of a glitch in seconds (the mean, with exponential lengths), above 0.
    sample_interval : float
        Seconds between readings, above 0.
    integration_time : float
        Seconds over which each reading averages (power-line cycles), 0 to ``sample_interval``; 0 is an instant reading.
    needed_fraction : float
        Threshold over glitch height, in (0, 1]: the share of the integration that the glitch must fill to be
        recognised.
    lengths : {"fixed", "exponential"}
        All alike, or exponentially distributed.

    Returns
    -------
    SeenShare
        ``.share`` in 0..1.

    Notes
    -----
    A rectangular glitch of length L at a random moment fills the fraction f of an integration A at L + A - 2 f A of the
    positions (none if L < f A), so the share is min(1, (L + A - 2 f A) / interval); with exponential lengths its
    mean. Checked by simulation in the tests. Common practice, no source, that a glitch may be taken as rectangular.
    """
    length = check.positive("glitch_length", glitch_length, what="a length in seconds")
    interval = check.positive("sample_interval", sample_interval, what="an interval in seconds")
    aperture = check.positive("integration_time", integration_time, what="a time in seconds", zero=True)
    if aperture > interval:
        raise ValueError(f"integration_time must be at most sample_interval ({interval}), got {aperture}")
    fraction = check.part("needed_fraction", needed_fraction)
    check.one_of("lengths", lengths, ("fixed", "exponential"))
    needed = fraction * aperture
    spare = aperture - needed
    if lengths == "fixed":
        share = 0.0 if length < needed else min(1.0, (length - needed + spare) / interval)
    else:
        # beyond the needed overlap the rest of an exponential length is exponential again
        full = interval - spare
        share = math.exp(-needed / length) * (spare - length * math.expm1(-full / length)) / interval
    return SeenShare(
        share=min(1.0, share),
        glitch_length=length,
        sample_interval=interval,
        method="overlap of a rectangular glitch",
    )
