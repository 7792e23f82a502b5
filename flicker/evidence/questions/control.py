"""Is it the unit or the meter? Episodes of the unit and of a control run (shorted leads, a known good unit) in."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated

import numpy as np
from numpy.typing import ArrayLike

from flicker.base.arrays import Bools, Floats
from flicker.base.formats import digits_text, hours_text, lasting_text
from flicker.base.limits import Limits
from flicker.base.result import Doc, Result
from flicker.evidence.findings import NO, NOT_SHOWN, YES
from flicker.evidence.questions.recurrence import WINDOWS
from flicker.evidence.record.channel_record import ChannelRecord
from flicker.stats.rates import (
    on_off_significance,
    rate_difference,
    rate_ratio_dispersed,
    window_counts,
)


@dataclass(frozen=True, slots=True)
class ControlAnswer(Result):
    """The unit's rate above that of a control run.

    Attributes
    ----------
    answer
        'yes': it is the unit: more than the control explains, and by more than the nuisance rate. 'no': any excess is
        shown to be below the rate of concern. Else 'not shown'.
    z, p_exact
        On/off significance by Li and Ma's equation 17, for comparison with other programs, and the exact one-sided p
        for episodes that come singly.
    p_value
        One-sided p that also allows for bursts (dispersion over equal windows of both); the answer rests on it.
    unit_per_h, control_per_h, excess_per_h, excess_low_per_h, excess_high_per_h
        Rates, and the rate above the control with an interval, widened by the dispersion.
    control_share
        Share of the unit's episodes that the control's rate would explain (1 at most; NaN without an episode).
    clean_control_s
        Control time without an episode that would settle it, where the control has none and is too short; else NaN.
    """

    control: Annotated[str, Doc("Kind of control run.")]
    answer: Annotated[str, Doc("Whether it is the unit rather than the meter.", values=("yes", "no", "not shown"))]
    count: Annotated[int, Doc("Episodes of the unit.", ge=0)]
    observed_s: Annotated[float, Doc("Observed seconds of the unit.", ge=0)]
    control_count: Annotated[int, Doc("Episodes of the control.", ge=0)]
    control_s: Annotated[float, Doc("Observed seconds of the control.", ge=0)]
    z: Annotated[float, Doc("Significance by Li and Ma's equation 17.", open=True)]
    p_exact: Annotated[float, Doc("Exact one-sided p-value for single episodes.", ge=0, le=1, null=True)]
    p_value: Annotated[
        float, Doc("One-sided p-value that allows for bursts; the answer rests on it.", ge=0, le=1, null=True)
    ]
    dispersion: Annotated[float, Doc("Variance of the counts over that of single episodes.", ge=0, null=True)]
    unit_per_h: Annotated[float, Doc("Rate of the unit, per hour.", ge=0, null=True)]
    control_per_h: Annotated[float, Doc("Rate of the control, per hour.", ge=0, null=True)]
    excess_per_h: Annotated[float, Doc("Rate above the control, per hour.", null=True)]
    excess_low_per_h: Annotated[float, Doc("Lower limit.", open=True)]
    excess_high_per_h: Annotated[float, Doc("Upper limit.", open=True)]
    control_share: Annotated[
        float, Doc("Share of the unit's episodes that the control would explain, at most 1.", ge=0, le=1, null=True)
    ]
    clean_control_s: Annotated[
        float, Doc("Clean control time that would settle it, seconds; null where none is needed.", ge=0, open=True)
    ]
    confidence: Annotated[float, Doc("Confidence of the intervals, a share between 0 and 1.", gt=0)]
    cautions: Annotated[tuple[str, ...], Doc("What it rests on.")]
    method: Annotated[str, Doc("The method by which the figures were found.")]

    @property
    def reads(self) -> str:
        """The answer in words."""
        seen = (
            f"{self.count} in {lasting_text(self.observed_s)} on the unit, {self.control_count} in "
            f"{lasting_text(self.control_s)} with the control ({self.control})"
        )
        if self.answer == YES:
            return (
                f"It is the unit, not the meter: {seen}; {digits_text(self.excess_per_h, 3)} per hour above the control, between "
                f"{digits_text(self.excess_low_per_h, 3)} and {digits_text(self.excess_high_per_h, 3)}."
            )
        if self.answer == NO:
            most = f"; at most {digits_text(self.excess_high_per_h, 3)} per hour more" if self.excess_high_per_h > 0 else ""
            return f"The unit shows no more than the control does: {seen}{most}."
        words = f"Unit or meter is not shown: {seen}."
        if math.isfinite(self.clean_control_s):
            minutes = math.ceil(self.clean_control_s / 60.0)
            enough = minutes / 60.0 if minutes < 60 else math.ceil(minutes / 6.0) / 10.0
            words += f" {hours_text(enough)} of control without an episode would settle it."
        return words


def by_run(record: ChannelRecord, chosen: Bools) -> tuple[list[Floats], list[float]]:
    """Some episodes of each run with observed time, on its observed clock, and that time."""
    seen = [(place, trace.observed_s) for place, trace in enumerate(record.traces) if trace.observed_s > 0]
    clocks = [record.episodes.clock_s[chosen & (record.episodes.run == place)] for place, _ in seen]
    ends = [end for _, end in seen]
    return [np.sort(np.clip(clock, 0.0, end)) for clock, end in zip(clocks, ends, strict=True)], ends


def against_control(
    times: Sequence[ArrayLike],
    observed_s: Sequence[float],
    control_times: Sequence[ArrayLike],
    control_s: Sequence[float],
    limits: Limits | None = None,
    *,
    control: str = "shorted leads",
) -> ControlAnswer:
    """Compare the episodes of a unit with those of a control run.

    Parameters
    ----------
    times, control_times : one array per run
        Begins of episodes (clusters, not samples) in seconds of observed time from each run's start.
    observed_s, control_s : one number per run
        Observed seconds.
    limits : Limits
        The excess must exceed ``nuisance_rate_per_h`` for 'yes', and lie below ``episode_rate_per_h`` for 'no'.
    control : {'shorted leads', 'known good unit'}
        What the control was.

    Notes
    -----
    p: `rates.rate_ratio_dispersed`, never below the exact conditional one. Excess: `rates.rate_difference` (Zou and
    Donner), its arms widened by the root of the dispersion. Time until a clean control settles it: with n episodes in
    T and none in C, the conditional p is (T / (T + C))^n; n is divided by the dispersion (exact where that is 1).
    """
    limits = limits or Limits()
    confidence = limits.confidence
    counts, exposures = window_counts(list(times), list(observed_s), windows=WINDOWS)
    base_counts, base_exposures = window_counts(list(control_times), list(control_s), windows=WINDOWS)
    count, base = int(counts.sum()), int(base_counts.sum())
    unit_h, control_h = float(exposures.sum()) / 3600.0, float(base_exposures.sum()) / 3600.0
    exact = on_off_significance(count, unit_h, base, control_h, alternative="greater")
    wide = rate_ratio_dispersed(
        counts, exposures, base_counts, base_exposures, confidence=confidence, alternative="greater"
    )
    excess = rate_difference(count, unit_h, base, control_h, confidence=confidence)
    spread = math.sqrt(wide.dispersion)
    low = excess.difference - spread * (excess.difference - excess.low)
    high = excess.difference + spread * (excess.high - excess.difference)
    alpha = 1.0 - confidence
    answer = NOT_SHOWN
    if wide.p_value <= alpha and excess.difference > limits.nuisance_rate_per_h:
        answer = YES
    elif high < limits.episode_rate_per_h:
        answer = NO
    needed = math.nan
    if answer == NOT_SHOWN and base == 0 and count > 0:
        needed = 3600.0 * unit_h * (alpha ** (-wide.dispersion / count) - 1.0)
    return ControlAnswer(
        control=control,
        answer=answer,
        count=count,
        observed_s=3600.0 * unit_h,
        control_count=base,
        control_s=3600.0 * control_h,
        z=exact.z,
        p_exact=exact.p_value,
        p_value=wide.p_value,
        dispersion=wide.dispersion,
        unit_per_h=excess.rate,
        control_per_h=excess.base_rate,
        excess_per_h=excess.difference,
        excess_low_per_h=low,
        excess_high_per_h=high,
        control_share=min(1.0, excess.base_rate / excess.rate) if count else math.nan,
        clean_control_s=needed,
        confidence=confidence,
        cautions=(*(f"{text[0].upper()}{text[1:]}." for text in wide.cautions if count), *_cautions(control)),
        method="conditional binomial, widened by the dispersion over windows; difference of rates by Zou and Donner",
    )


def _cautions(control: str) -> tuple[str, ...]:
    same = "the same meter, range, sampling and leads, in the same place"
    if control == "shorted leads":
        return (f"The control speaks for {same}; shorted leads do not pick up what open ones would.",)
    return (f"The control speaks for {same}; that the other unit is good is taken as known.",)
