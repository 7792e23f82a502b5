"""Settled level, noise and surge from visit to visit, against what the meter can tell; the level at the next visit."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Annotated

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from flicker.base.arrays import Floats
from flicker.base.formats import digits_text, millivolts_text, moved_text
from flicker.base.limits import Limits
from flicker.base.result import Doc, Result
from flicker.base.values import Answer, NotTold
from flicker.evidence.findings import NO, NOT_SHOWN, YES
from flicker.evidence.record.accuracy import SAME_SIZE, meter_or_leads, off_by_V
from flicker.evidence.record.channel_record import ChannelRecord
from flicker.signals.trace import Trace
from flicker.stats.laws.scatter import PRIOR_DOF

if TYPE_CHECKING:
    from flicker.case.case_file import Case
    from flicker.evidence.channel import ChannelAssessment

OffBy = Callable[[float], float]  # how far one reading may be off

FEWEST_VISITS = 3  # a line goes through any two; by definition
# By how much power-ups of one unit differ, worth three degrees of freedom beside what was seen (as sizes in `stats.power_ups`):
# levels as on the bench of the guard (1 to 3 mV); noise and surge common practice, no source. Surges alone scatter by their limit,
# and two of a visit tell little of it: error with and without in tests/studies/results/visits.md.
DIFFER_V = {"settled level": 0.002, "noise": 0.0005, "surge": 0.04}
# Hiss that becomes three times what it was (10 dB) is told as a change, though both be within the limit: common practice, no
# source; told of how many unchanged units: tests/studies/results/visits.md.
NOISE_GROWS = 3.0
NAMES = {"settled level": "settled level", "noise": "noise at rest", "surge": "surge at power-up"}


@dataclass(frozen=True, slots=True)
class QuantityTrend(Result):
    """One quantity over visits.

    ``answer``: 'yes', it moved by more than ``limit_V``, beyond what both readings may be off (``off_by_V``, together)
    and what visits and power-ups differ by themselves (``p_value``); 'no', it moved by less than the limit for certain;
    'not shown' otherwise, with the ``reason``.
    """

    quantity: Annotated[str, Doc("Which.", values=("settled level", "noise", "surge"))]
    answer: Annotated[
        Answer, Doc("'yes': moved by more than the limit, beyond both accuracies.", values=("yes", "no", "not shown"))
    ]
    first_V: Annotated[float | None, Doc("At the first visit, volts.")]
    last_V: Annotated[float | None, Doc("At the last visit, volts.")]
    moved_V: Annotated[float | None, Doc("Last less first, volts.")]
    off_by_V: Annotated[float, Doc("What both readings together may be off, volts.", ge=0)]
    spread_V: Annotated[float, Doc("Largest spread within a visit, volts.", ge=0)]
    limit_V: Annotated[float, Doc("What matters, volts.", ge=0)]
    p_value: Annotated[float | None, Doc("Two-sided, of the last visit against the first; null below two.", ge=0, le=1)]
    reason: Annotated[NotTold, Doc("Why it is not shown; empty where it is.")]
    method: Annotated[str, Doc("Method in words.")]
    reads: Annotated[str, Doc("The answer in words.")]


def quantity_trends(
    items: Sequence[ChannelAssessment], records: Sequence[ChannelRecord], limits: Limits, case: Case | None, channels: int = 1
) -> tuple[QuantityTrend, ...]:
    """Compare the last visit with the first: settled level, noise, surge; ``channels`` are asked, and share the error."""
    if len(items) < 2:
        return ()
    digit = max((trace.resolution_V for record in records for trace in record.traces), default=0.0)
    levels = [_levels(record) for record in records]
    noises = [np.array([trace.sigma_V for trace in _rests(record)], dtype=np.float64) for record in records]
    surges = [np.array([up.surge_V for up in item.power_up if np.isfinite(up.surge_V)]) for item in items]

    def off_by(value_V: float) -> float:
        return max(off_by_V(record, value_V, case) for record in records)

    error = (1.0 - limits.confidence) / channels
    return (
        quantity_trend("settled level", levels, limits.drift_V, off_by, digit, error),
        quantity_trend("noise", noises, noise_that_matters(noises, limits), None, digit, error),
        quantity_trend("surge", surges, limits.excursion_V, off_by, digit, error),
    )


def noise_that_matters(noises: Sequence[Floats], limits: Limits) -> float:
    """The limit of noise, or a change by a factor that tells of an ageing part long before it."""
    known = [float(np.median(values)) for values in noises if values.size]
    return min(limits.noise_V, (NOISE_GROWS - 1.0) * min(known[0], known[-1])) if known else limits.noise_V


@dataclass(frozen=True, slots=True)
class LevelForecast(Result):
    """What the meter will show at rest at the next visit, if the level goes on in a line.

    ``low_V`` and ``high_V`` enclose the reading itself; ``slope_V`` is the movement per visit step with its interval,
    ``spread_V`` the scatter of the visits about the line, never taken below what the last digit hides.
    """

    age: Annotated[float, Doc("Age of the next visit: days since the first (numbers of visits without dates).")]
    expected_V: Annotated[float, Doc("Expected level, volts.")]
    low_V: Annotated[float, Doc("Lower limit of the reading itself, volts.")]
    high_V: Annotated[float, Doc("Upper limit, volts.")]
    slope_V: Annotated[float, Doc("Movement from one visit to the next, volts.")]
    slope_low_V: Annotated[float, Doc("Its lower limit, volts.")]
    slope_high_V: Annotated[float, Doc("Its upper limit, volts.")]
    spread_V: Annotated[float, Doc("Scatter of the visits about the line, volts.", ge=0)]
    visits: Annotated[int, Doc("Visits used.", ge=3)]
    confidence: Annotated[float, Doc("Confidence of the intervals, a share.")]
    method: Annotated[str, Doc("Method in words.")]

    @property
    def reads(self) -> str:
        """The forecast in words."""
        wide = ", and so few visits leave the range wide" if self.visits <= FEWEST_VISITS + 1 else ""
        return (
            f"The level at rest will lie between {digits_text(self.low_V * 1e3, 3)} and {millivolts_text(self.high_V)} at the next visit, if it goes on "
            f"in a line as over {self.visits} visits. A step or a bend is not in that{wide}."
        )


def level_forecast(
    levels_V: ArrayLike, ages: ArrayLike, *, at: float, step: float, digit_V: float = 0.0, confidence: float = 0.95
) -> LevelForecast | None:
    """Forecast the settled level at another age from one level per visit.

    Parameters
    ----------
    levels_V, ages : array_like, shape (visits,)
        Settled level of each visit and its age.
    at : float
        Age of the visit ahead.
    step : float
        Ages from one visit to the next, for the slope.
    digit_V : float
        Last digit of the meter.
    confidence : float
        Of both intervals.

    Returns
    -------
    LevelForecast or None
        None with fewer than three visits, or ages without any difference: nothing honest can be said.

    Notes
    -----
    Least squares with Student's t, n - 2 degrees of freedom, for a new observation: one level per visit, so that what
    differs from visit to visit (room, leads, meter) is in the scatter. Exact for normal scatter about a line.
    """
    y, x = np.asarray(levels_V, dtype=np.float64), np.asarray(ages, dtype=np.float64)
    if y.size < FEWEST_VISITS or np.ptp(x) == 0:
        return None
    away = x - x.mean()
    width = float(away @ away)
    slope = float(away @ y) / width
    middle = float(y.mean()) + slope * (at - float(x.mean()))
    rest = y - y.mean() - slope * away
    dof = y.size - 2
    spread = max(float(np.sqrt(rest @ rest / dof)), digit_V / np.sqrt(12.0))
    t = float(special.stdtrit(dof, 0.5 * (1.0 + confidence)))
    reach = t * spread * float(np.sqrt(1.0 + 1.0 / y.size + (at - float(x.mean())) ** 2 / width))
    tilt = t * spread / float(np.sqrt(width))
    return LevelForecast(
        age=float(at),
        expected_V=middle,
        low_V=middle - reach,
        high_V=middle + reach,
        slope_V=slope * step,
        slope_low_V=(slope - tilt) * step,
        slope_high_V=(slope + tilt) * step,
        spread_V=spread,
        visits=int(y.size),
        confidence=confidence,
        method="line through one level per visit, least squares, Student's t for a new visit",
    )


def next_level(
    records: Sequence[ChannelRecord], ages: Sequence[float], limits: Limits
) -> tuple[LevelForecast | None, str]:
    """Settled level at the next visit, a mean step after the last, and what is to be said about it."""
    known = [(values, age) for record, age in zip(records, ages, strict=True) if (values := _levels(record)).size]
    if len(known) < FEWEST_VISITS:
        two = "Two visits give no forecast of the level: a line goes through any two. Three are needed."
        return None, two if len(known) == 2 else ""
    x = [age for _, age in known]
    step = (max(x) - min(x)) / (len(x) - 1)
    digit = max(trace.resolution_V for record in records for trace in record.traces)
    found = level_forecast(
        [float(np.median(values)) for values, _ in known],
        x,
        at=max(x) + step,
        step=step,
        digit_V=digit,
        confidence=limits.confidence,
    )
    if found is None:
        return None, ""
    limit = f"the limit of {millivolts_text(limits.settled_offset_V)}"
    near, far = sorted((abs(found.low_V), abs(found.high_V)))
    if far <= limits.settled_offset_V:
        return found, f"{found.reads} All of it is within {limit}."
    beyond = near > limits.settled_offset_V and found.low_V * found.high_V > 0
    return found, f"{found.reads} {'All of it is beyond' if beyond else 'A part of it is beyond'} {limit}."


def _levels(record: ChannelRecord) -> Floats:
    """Settled level of each run at which rest was seen."""
    return np.array([trace.level_V for trace in _rests(record) if trace.level_V is not None], dtype=np.float64)


def _rests(record: ChannelRecord) -> list[Trace]:
    return [trace for trace in record.traces if trace.baseline is not None and trace.observed_s > 0]


def quantity_trend(
    name: str, visits: Sequence[Floats], limit_V: float, off_by: OffBy | None, digit_V: float, error: float
) -> QuantityTrend:
    """Compare the last visit with the first by one quantity.

    Parameters
    ----------
    name : {'settled level', 'noise', 'surge'}
        Which.
    visits : sequence of array, shape (power-ups,)
        The quantity at each visit, volts.
    limit_V : float
        What matters.
    off_by : callable, optional
        How far a reading may be off, volts.
    digit_V : float
        Last digit of the meter.
    error : float
        Two-sided, by how much visits and power-ups differ.
    """
    known = [values for values in visits if values.size]
    few = QuantityTrend(
        quantity=name,
        answer=NOT_SHOWN,
        first_V=None,
        last_V=None,
        moved_V=None,
        off_by_V=0.0,
        spread_V=0.0,
        limit_V=limit_V,
        p_value=None,
        reason=NotTold.FEW_VISITS,
        method="last visit less first, against both accuracies; moderated t by how visits and power-ups differ",
        reads=f"The {NAMES[name]} was seen at fewer than two visits.",
    )
    if len(known) < 2:
        return few
    first, last = (float(np.median(values)) for values in (known[0], known[-1]))
    off = sum(max(off_by(value) if off_by is not None else 0.0, 0.5 * digit_V) for value in (first, last))
    moved = last - first
    p_value = _by_themselves(known, max(DIFFER_V[name], digit_V))
    spread = max(float(np.ptp(values)) for values in known)
    answer, reason = answer_of(first, last, off, spread, p_value <= error, limit_V)
    sizes = f"{millivolts_text(first)} at the first visit, {millivolts_text(last)} at the last"
    text = {
        YES: f"The {NAMES[name]} moved by {moved_text(moved)} ({sizes}).",
        NO: f"The {NAMES[name]} stayed within {millivolts_text(limit_V)} of what it was ({sizes}).",
    }.get(answer, f"A change of the {NAMES[name]} is not shown: {reason} ({sizes}).")
    return replace(
        few,
        answer=answer,
        first_V=first,
        last_V=last,
        moved_V=moved,
        off_by_V=off,
        spread_V=spread,
        p_value=p_value,
        reason=reason,
        reads=text,
    )


def _by_themselves(visits: Sequence[Floats], differ_V: float) -> float:
    """Two-sided p-value of the last visit against the first, by how power-ups of a visit and the earlier visits differ.

    Notes
    -----
    A moderated t (Smyth 2004, Statistical Applications in Genetics and Molecular Biology 3, 3): the prior, power-ups
    within their visit, and the visits before the last about a line of their own, so that a change at the last visit
    speaks against itself in none of them.
    """
    means = np.array([float(values.mean()) for values in visits])
    inside = sum(float(((values - values.mean()) ** 2).sum()) for values in visits)
    dof = sum(values.size - 1 for values in visits)
    variance = (PRIOR_DOF * differ_V**2 + inside) / (PRIOR_DOF + dof)
    free = max(means.size - 3, 0)
    if free:
        at = np.arange(means.size - 1, dtype=np.float64)
        rest = means[:-1] - np.polyval(np.polyfit(at, means[:-1], 1), at)
        variance = (PRIOR_DOF * variance + float(rest @ rest)) / (PRIOR_DOF + free)
    t = abs(means[-1] - means[0]) / np.sqrt(2.0 * variance)
    return float(2.0 * special.stdtr(PRIOR_DOF + free, -t))


def answer_of(first: float, last: float, off: float, spread: float, shown: bool, limit: float) -> tuple[Answer, NotTold]:
    """Whether a level moved beyond the limit and beyond what the meters may be off, and if that is not told, why."""
    size = abs(last - first)
    if first * last < 0 and abs(first) > off and abs(first + last) <= off + spread:
        alike = min(abs(first), abs(last)) >= SAME_SIZE * max(abs(first), abs(last))
        return NOT_SHOWN, NotTold.SIGN_REVERSED if alike else NotTold.VISITS_SCATTER
    if size <= off:
        return (NO if size + off < limit else NOT_SHOWN), NotTold.WITHIN_ACCURACY
    if size - off > limit and shown:
        if meter_or_leads(first, last, off):
            return NOT_SHOWN, NotTold.SIGN_REVERSED
        return YES, NotTold.TOLD
    if size + off < limit:
        return NO, NotTold.TOLD
    return NOT_SHOWN, NotTold.ABOUT_THE_LIMIT if shown else NotTold.VISITS_SCATTER
