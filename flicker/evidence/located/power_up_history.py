"""Power-ups of a channel against each other: is one unlike the unit's others, and how many episodes does each show?

Surge, settling time and settled level are set against the unit's own history. The mean number of episodes by each time since
switch-on, and the count from one power-up to the next, ask and test nothing: heat bends the first curve, wear the second.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Annotated

import numpy as np
from scipy import special

from flicker.base.arrays import Floats
from flicker.base.formats import digits_text, hours_text
from flicker.base.limits import Limits
from flicker.base.result import Doc, Result
from flicker.evidence.findings import NOT_SHOWN, YES, holm
from flicker.evidence.questions.condition import PowerUp
from flicker.evidence.record.channel_record import ChannelRecord
from flicker.stats import power_ups

if TYPE_CHECKING:
    from flicker.stats.power_ups import CountByAge, MeanCumulative

LEAST_HISTORY = 4  # power-ups before one can be judged against them; chosen, not measured
LONGER, LARGER = 2.0, 1.5  # factors of settle time and surge that matter; common practice, no source
SPREAD_FLOOR = {"settled_V": 0.001, "settle_s": 0.05, "surge_V": 0.05}  # a history is never taken as more alike
NAMES = {"settled_V": "settled level", "settle_s": "settle time", "surge_V": "surge"}


def _said(quantity: str, value: float, sign: str = "") -> str:
    return f"{value:{sign}.3g} s" if quantity == "settle_s" else f"{value * 1e3:{sign}.3g} mV"


@dataclass(frozen=True, slots=True)
class SettlingTrend(Result):
    """Does a quantity of the power-up move from run to run? Slope per power-up with interval, and over all runs."""

    quantity: Annotated[str, Doc("Which, volts or seconds.", values=("settled_V", "settle_s"))]
    answer: Annotated[str, Doc("What is shown.", values=("yes", "not shown"))]
    power_ups: Annotated[int, Doc("Power-ups used.", ge=0)]
    slope: Annotated[float, Doc("Per power-up.")]
    slope_low: Annotated[float, Doc("Its lower limit.", open=True)]
    slope_high: Annotated[float, Doc("Its upper limit.", open=True)]
    movement: Annotated[float, Doc("From the first to the last.")]
    limit: Annotated[float, Doc("What matters.", ge=0)]
    p_value: Annotated[float, Doc("Two-sided.", ge=0, le=1)]
    p_adjusted: Annotated[float, Doc("Corrected over level and time.", ge=0, le=1)]
    confidence: Annotated[float, Doc("Confidence of the interval, a share.")]
    method: Annotated[str, Doc("Method in words.")]

    @property
    def reads(self) -> str:
        """The trend in words."""
        name = NAMES[self.quantity]
        if self.answer == YES:
            moved = _said(self.quantity, self.movement, "+")
            return f"The {name} moves by {moved} over {self.power_ups} power-ups."
        return f"A trend of the {name} over {self.power_ups} power-ups is not shown."


@dataclass(frozen=True, slots=True)
class PowerUpCheck(Result):
    """One power-up against those before it."""

    power_up: Annotated[int, Doc("Number of its run, from 0.", ge=0)]
    abnormal: Annotated[bool, Doc("Whether it stands out, and by enough to matter.")]
    quantity: Annotated[str, Doc("The least usual of its quantities.", values=("settled_V", "settle_s", "surge_V"))]
    value: Annotated[float, Doc("Its value, volts or seconds.")]
    usual: Annotated[float, Doc("What is usual.")]
    usual_low: Annotated[float, Doc("Lower limit of what is usual.")]
    usual_high: Annotated[float, Doc("Upper limit.")]
    history: Annotated[int, Doc("Power-ups it was set against.", ge=0)]
    p_value: Annotated[float, Doc("Of so unusual a value.", ge=0, le=1)]
    p_adjusted: Annotated[float, Doc("Corrected over power-ups and quantities.", ge=0, le=1)]

    @property
    def reads(self) -> str:
        """The check in words."""
        usual = f"{_said(self.quantity, self.usual_low)} to {_said(self.quantity, self.usual_high)}"
        words = f"Power-up {self.power_up + 1}: {NAMES[self.quantity]} {_said(self.quantity, self.value)}"
        if self.abnormal:
            return f"{words}, where {usual} is usual for this unit."
        return f"{words} is not unusual for this unit ({usual})."


def settling_trends(level_V: Floats, settle_s: Floats, limits: Limits) -> tuple[SettlingTrend, SettlingTrend]:
    """Ask whether settled level and settle time move from power-up to power-up, three or more in time order.

    Notes
    -----
    Mann-Kendall and Theil-Sen (`stats.trends`), Holm over the two. Below five power-ups no trend can be shown at 95 %.
    """
    from flicker.stats.trends import mann_kendall, theil_sen

    x, confidence = np.arange(level_V.size, dtype=np.float64), limits.confidence
    drafts = []
    for name, values, limit in (("settled_V", level_V, limits.drift_V), ("settle_s", settle_s, limits.settle_s)):
        test, slope = mann_kendall(values, x), theil_sen(values, x, confidence=confidence)
        drafts.append((name, values, limit, test.p_value, slope))
    adjusted = holm([draft[3] for draft in drafts])
    out = []
    for (name, values, limit, p_value, slope), p_adjusted in zip(drafts, adjusted, strict=True):
        movement = slope.slope * float(np.ptp(x))
        shown = p_adjusted <= 1.0 - confidence and abs(movement) > limit
        out.append(
            SettlingTrend(
                quantity=name,
                answer=YES if shown else NOT_SHOWN,
                power_ups=values.size,
                slope=slope.slope,
                slope_low=slope.low,
                slope_high=slope.high,
                movement=movement,
                limit=limit,
                p_value=p_value,
                p_adjusted=p_adjusted,
                confidence=confidence,
                method="Mann-Kendall, Theil-Sen; Holm over level and time",
            )
        )
    return out[0], out[1]


def check_power_ups(surge_V: Floats, settle_s: Floats, level_V: Floats, limits: Limits) -> tuple[PowerUpCheck, ...]:
    """Judge each power-up against the unit's own power-ups before it (from the fifth on).

    Parameters
    ----------
    surge_V, settle_s, level_V : array, shape (power-ups,)
        Surge from the settled level, time to settle, settled level; in time order, starts of one kind (cold, or warm).
    limits : Limits
        Their ``drift_V`` is the distance of the settled level that matters, their ``confidence`` the chance that a sound
        history gives no abnormal power-up at all.

    Returns
    -------
    tuple of PowerUpCheck
        For each power-up judged the least usual of its three quantities.

    Notes
    -----
    Prediction by Student's t from the mean and spread of the power-ups before (those already out of line left out);
    surge and settle time by their logarithms and upwards only; a history is never taken as more alike than
    `SPREAD_FLOOR`.
    Holm over all power-ups and quantities. Abnormal also needs twice the usual settle time, 1.5 times the surge, or
    ``drift_V``. Assumes that a sound unit's power-ups scatter about normally.
    """
    raw = {"settled_V": level_V, "settle_s": settle_s, "surge_V": np.abs(surge_V)}
    looks = [_look(name, values, limits) for name, values in raw.items()]
    adjusted = iter(holm([check.p_value for look in looks for check in look]))
    looks = [[_corrected(check, next(adjusted), limits) for check in look] for look in looks]
    # An abnormal quantity comes first, then the least likely one.
    return tuple(min(judged, key=lambda check: (not check.abnormal, check.p_value)) for judged in zip(*looks, strict=True))


def _corrected(check: PowerUpCheck, p_adjusted: float, limits: Limits) -> PowerUpCheck:
    return replace(check, p_adjusted=p_adjusted, abnormal=check.abnormal and p_adjusted <= 1.0 - limits.confidence)


# how each quantity is judged, surge and settle time by their logarithms, and how a value so judged is told again
SCALES: dict[str, tuple[Callable[[Floats], Floats], Callable[[float], float]]] = {
    "settled_V": (lambda volts: volts, lambda volts: volts),
    "settle_s": (lambda seconds: np.log(seconds + 1.0), lambda value: math.exp(value) - 1.0),
    "surge_V": (lambda volts: np.log(np.maximum(volts, 0.001)), math.exp),
}


def _look(name: str, raw: Floats, limits: Limits) -> list[PowerUpCheck]:
    """One quantity of each power-up against those before, not corrected yet: ``abnormal`` tells whether it is off by enough."""
    judged, told = SCALES[name]
    values, out = judged(raw), []
    usable = np.ones(values.size, dtype=bool)
    for run in range(LEAST_HISTORY, values.size):
        past = values[:run][usable[:run]]
        n, middle = past.size, float(past.mean())
        spread = max(float(past.std(ddof=1)), SPREAD_FLOOR[name]) * math.sqrt(1.0 + 1.0 / n)
        away = float(values[run]) - middle
        upper = float(special.stdtr(n - 1, -away / spread))
        p_value = 2.0 * min(upper, 1.0 - upper) if name == "settled_V" else upper
        reach = float(special.stdtrit(n - 1, 0.5 * (1.0 + limits.confidence))) * spread
        matters = (
            abs(away) > limits.drift_V
            if name == "settled_V"
            else away > math.log(LONGER if name == "settle_s" else LARGER)
        )
        out.append(
            PowerUpCheck(
                power_up=run,
                abnormal=matters,
                quantity=name,
                value=float(raw[run]),
                usual=told(middle),
                usual_low=told(middle - reach),
                usual_high=told(middle + reach),
                history=n,
                p_value=p_value,
                p_adjusted=1.0,
            )
        )
        usable[run] = not (matters and p_value < 0.01)
    return out


@dataclass(frozen=True, slots=True)
class PowerUpHistory(Result):
    """The power-ups of one channel against each other: which are unlike those before, and what moves from one to the next."""

    power_ups: Annotated[int, Doc("Power-ups that could be measured.", ge=0)]
    checks: Annotated[tuple[PowerUpCheck, ...], Doc("From the fifth power-up on.")]
    level: Annotated[SettlingTrend, Doc("")]
    settling: Annotated[SettlingTrend, Doc("")]
    method: Annotated[str, Doc("Method in words.")] = (
        "Student's t against the power-ups before; Mann-Kendall over all; Holm within each"
    )

    @property
    def stands_out(self) -> bool:
        """Whether a power-up is abnormal, or something moves from one to the next."""
        return any(check.abnormal for check in self.checks) or YES in (self.level.answer, self.settling.answer)

    @property
    def reads(self) -> str:
        """What stands out, in words."""
        told = [check.reads for check in self.checks if check.abnormal]
        told += [trend.reads for trend in (self.level, self.settling) if trend.answer == YES]
        if told:
            return " ".join(told)
        return f"None of {self.power_ups} power-ups stands out from those before it, and nothing moves from one to the next."


def history_of(ups: Sequence[PowerUp], limits: Limits) -> PowerUpHistory | None:
    """Judge the power-ups of a channel against each other; None below five that could be measured.

    ``power_up`` of each check is the number of its run; warm starts are left out, or the others where most are warm.
    """
    known = [up for up in ups if all(map(math.isfinite, (up.surge_V, up.settle_s, up.settled_V)))]
    # A warm start has a smaller surge: only starts of the commoner kind are set against each other.
    warm = 2 * sum(up.start == "warm" for up in known) > len(known)
    known = [up for up in known if (up.start == "warm") == warm]
    if len(known) <= LEAST_HISTORY:
        return None
    level, settle = np.array([up.settled_V for up in known]), np.array([up.settle_s for up in known])
    checks = check_power_ups(np.array([up.surge_V for up in known]) - level, settle, level, limits)
    checks = tuple(replace(check, power_up=known[check.power_up].run) for check in checks)
    return PowerUpHistory(len(known), checks, *settling_trends(level, settle, limits))


POINTS = 100  # of the curve in a document: a choice
FEWEST_POWER_UPS = 2  # one has no mean; by definition


@dataclass(frozen=True, slots=True)
class MeanCount(Result):
    """Mean number of episodes of a power-up against time since switch-on, and the count from one to the next."""

    power_ups: Annotated[int, Doc("Power-ups with observed time.", ge=2)]
    hours: Annotated[tuple[float, ...], Doc("Observed hours since switch-on, rising; steps of the curve, at most 100.")]
    mean: Annotated[tuple[float, ...], Doc("Mean number of episodes of a power-up up to then.")]
    low: Annotated[tuple[float, ...], Doc("Lower limit of that mean over power-ups that differ, pointwise.")]
    high: Annotated[tuple[float, ...], Doc("Upper limit.")]
    half_by_h: Annotated[float, Doc("Hours since switch-on by which half of the mean had come.", ge=0)]
    count: Annotated[tuple[int, ...], Doc("Episodes so far after each power-up in order, from 0; times that others reached.")]
    expected: Annotated[tuple[float, ...], Doc("The same were no power-up ageing.")]
    count_low: Annotated[tuple[float, ...], Doc("Lower limit of the count were none ageing, pointwise.")]
    count_high: Annotated[tuple[float, ...], Doc("Upper limit.")]
    reads: Annotated[str, Doc("In words; described, not tested.")]


def power_up_times(record: ChannelRecord) -> tuple[list[Floats], list[float]]:
    """Own episodes on the observed clock of each power-up with observed time, in hours, and its observed length."""
    times, ends = record.per_cycle()
    kept = [(np.sort(np.minimum(t, e)) / 3600.0, e / 3600.0) for t, e in zip(times, ends, strict=True) if e > 0]
    return [t for t, _ in kept], [e for _, e in kept]


def curve_of(times: Sequence[Floats], ends: Sequence[float], limits: Limits) -> MeanCumulative:
    """Mean cumulative function of power-ups."""
    return power_ups.mean_cumulative(list(times), list(ends), scatter=limits.power_up_scatter, confidence=limits.confidence)


def ageing_of(times: Sequence[Floats], ends: Sequence[float], limits: Limits) -> CountByAge:
    """Count from power-up to power-up, set against the others at equal time since switch-on."""
    held = power_ups.expected_counts(list(times), list(ends))
    return power_ups.count_by_age(held.counts, held.expected, scatter=limits.power_up_scatter, confidence=limits.confidence)


def mean_count_of(record: ChannelRecord, limits: Limits) -> MeanCount | None:
    """Curve and count of a channel; None below two power-ups or without an episode."""
    times, ends = power_up_times(record)
    if len(ends) < FEWEST_POWER_UPS or not any(part.size for part in times):
        return None
    curve = curve_of(times, ends, limits)
    age = ageing_of(times, ends, limits)
    keep = np.unique(np.linspace(0, curve.time.size - 1, min(curve.time.size, POINTS)).astype(int))
    half_by_h = float(curve.time[np.argmax(curve.mean >= 0.5 * curve.mean[-1])])
    said = (
        f"Within {hours_text(float(curve.time[-1]))} of switching on a power-up shows {digits_text(curve.mean[-1])} episodes on "
        f"average ({digits_text(curve.low[-1])} to {digits_text(curve.high[-1])}, judged by {len(ends)} power-ups), half of them "
        f"within {hours_text(half_by_h)}."
    )
    half = len(ends) // 2
    # Where every count would be usual, as of one episode, nothing is told by it.
    if len(ends) > 2 and (age.low[half] > 0 or age.high[half] < age.count[-1]):
        said += (
            f" Of the {age.count[-1]} episodes that can be compared, {age.count[half]} came in the first "
            f"{'power-up' if half == 1 else f'{half} power-ups'} of {len(ends)}; {digits_text(age.low[half])} to "
            f"{digits_text(age.high[half])} would be usual if nothing aged."
        )
    return MeanCount(
        power_ups=len(ends),
        hours=_told(curve.time[keep]),
        mean=_told(curve.mean[keep]),
        low=_told(curve.low[keep]),
        high=_told(curve.high[keep]),
        half_by_h=half_by_h,
        count=tuple(int(n) for n in age.count),
        expected=_told(age.expected),
        count_low=_told(age.low),
        count_high=_told(age.high),
        reads=f"{said} This only describes what was seen.",
    )


def _told(values: Floats) -> tuple[float, ...]:
    return tuple(float(f"{value:.6g}") for value in values)
