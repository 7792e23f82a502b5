"""Welch's t over stretches of noise: what else changed between two sides: noise floor, settled level, size of episodes, power-up."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Annotated

import numpy as np

from flicker.base.arrays import Floats
from flicker.base.limits import Limits
from flicker.base.result import Doc, Result
from flicker.evidence.questions.condition import noise_stretches
from flicker.evidence.questions.worsening import SIZE_FACTOR
from flicker.evidence.record.accuracy import meter_or_leads
from flicker.evidence.record.channel_record import ChannelRecord
from flicker.evidence.record.log_checks import NOISE_MATTERS
from flicker.stats.power_ups import size_growth

PACED_APART = "the readings come at another pace"


@dataclass(frozen=True, slots=True)
class Change(Result):
    """One quantity after against before: a ratio or a difference in ``unit``, with interval and answer.

    ``answer`` is 'less', 'more' or 'not shown'; ``p_value`` two-sided. ``note`` says why it could not be compared.
    """

    quantity: Annotated[str, Doc("What changed.")]
    before: Annotated[float | None, Doc("Value before, in its own unit (volts).", open=True)]
    after: Annotated[float | None, Doc("Value after (volts).", open=True)]
    estimate: Annotated[float | None, Doc("Ratio or difference, after against before, in unit.", open=True)]
    low: Annotated[float | None, Doc("Lower end of its interval, in unit.", open=True)]
    high: Annotated[float | None, Doc("Upper end, in unit.", open=True)]
    p_value: Annotated[float | None, Doc("Two-sided p-value; null where none is computed.", ge=0, le=1)]
    unit: Annotated[str, Doc("'ratio' or 'V'.", values=("ratio", "V"))]
    answer: Annotated[str, Doc("What is shown.", values=("less", "more", "not shown"))]
    note: Annotated[str, Doc("Why it could not be compared; empty where it could.")]
    method: Annotated[str, Doc("The method by which the figures were found.")]

    @property
    def withdrawn(self) -> bool:
        """Compared, but held back, as the note says: the meter or its leads may have made the change."""
        return bool(self.note) and self.estimate is not None


def _unknown(quantity: str, unit: str, note: str, before: float | None = None, after: float | None = None) -> Change:
    return Change(
        quantity=quantity,
        before=before,
        after=after,
        estimate=None,
        low=None,
        high=None,
        p_value=None,
        unit=unit,
        answer="not shown",
        note=note,
        method="not compared",
    )


OffBy = Callable[[float, float], float]  # how far two readings may be off together


def exact(before_V: float, after_V: float) -> float:
    """Nothing is known of the meters."""
    return 0.0


def unlike_change(found: Change, reasons: Sequence[str]) -> Change:
    """Keep the figures of either side and claim nothing between them."""
    return _unknown(found.quantity, found.unit, reasons[0], found.before, found.after)


def _by_the_meter(found: Change, off_by: OffBy) -> Change:
    """Withdraw a change that the meters may have made."""
    if found.answer == "not shown" or found.before is None or found.after is None:
        return found
    note = meter_or_leads(found.before, found.after, off_by(found.before, found.after))
    return replace(found, answer="not shown", note=note) if note else found


def noise_change(
    before: ChannelRecord, after: ChannelRecord, limits: Limits, off_by: OffBy = exact, *, paced: bool = True
) -> Change:
    """Ratio of the noise floors: Welch's t of the logarithm of sigma over twelve stretches a side.

    Noise is compared within one last digit, for below two digits it is the meter's own, and at one pace (``paced``), for a
    slower reading averages some of it away.
    """
    steps = [max((trace.resolution_V for trace in record.traces), default=0.0) for record in (before, after)]
    stretches = [noise_stretches(record) for record in (before, after)]
    if stretches[0] is None or stretches[1] is None:
        return _unknown("noise floor", "ratio", "too few readings at rest on one side")
    parts = np.log(stretches[0][1]), np.log(stretches[1][1])
    one, two = (math.exp(float(part.mean())) for part in parts)
    if max(steps) > 1.5 * min(steps) and max(steps) > 0.5 * min(one, two):
        return _unknown("noise floor", "ratio", "not comparable: the last digit of the meter differs", one, two)
    if not paced:
        return _unknown("noise floor", "ratio", f"not comparable: {PACED_APART}", one, two)
    estimate, low, high, p_value = _welch(parts[1], parts[0], limits.confidence)
    shown = p_value <= 1.0 - limits.confidence and abs(estimate) >= math.log(NOISE_MATTERS)
    found = Change(
        quantity="noise floor",
        before=one,
        after=two,
        estimate=math.exp(estimate),
        low=math.exp(low),
        high=math.exp(high),
        p_value=p_value,
        unit="ratio",
        answer=("less" if estimate < 0 else "more") if shown else "not shown",
        note="",
        method="Welch's t of log sigma over stretches",
    )
    return _by_the_meter(found, off_by)


def _welch(one: Floats, two: Floats, confidence: float) -> tuple[float, float, float, float]:
    from scipy.special import stdtr, stdtrit

    a, b = one.var(ddof=1) / one.size, two.var(ddof=1) / two.size
    difference = float(one.mean() - two.mean())
    error = math.sqrt(a + b)
    if error < 1e-9:
        return difference, difference, difference, 1.0 if abs(difference) < 1e-9 else 0.0
    dof = (a + b) ** 2 / (a**2 / (one.size - 1) + b**2 / (two.size - 1))
    half = float(stdtrit(dof, 0.5 + confidence / 2.0)) * error
    return difference, difference - half, difference + half, float(2.0 * stdtr(dof, -abs(difference) / error))


def level_change(before: ChannelRecord, after: ChannelRecord, limits: Limits, off_by: OffBy = exact) -> Change:
    """Shift of the settled level; shown where the levels of the two sides lie apart by more than ``drift_V``.

    The level of a side is known to no better than its wander and its run-to-run spread, taken as a range, and the
    accuracy of its meter: no distribution is assumed. A sign that just turned at the same size is the leads, not the
    unit.
    """
    one, two = _level_range(before), _level_range(after)
    if one is None or two is None:
        return _unknown("settled level", "V", "nothing was observed at rest on one side")
    (low0, mid0, high0), (low1, mid1, high1) = one, two
    off = off_by(mid0, mid1)
    shift, low, high = mid1 - mid0, low1 - high0 - off, high1 - low0 + off
    shown = min(abs(low), abs(high)) > limits.drift_V and low * high > 0
    # Told where it matters: a difference that would be one but for the meter or the leads.
    note = meter_or_leads(mid0, mid1, off) if abs(shift) > limits.drift_V else ""
    way = "less" if abs(mid1) < abs(mid0) else "more"
    return Change(
        quantity="settled level",
        before=mid0,
        after=mid1,
        estimate=shift,
        low=low,
        high=high,
        p_value=None,
        unit="V",
        answer=way if shown and not note else "not shown",
        note=note,
        method="range of settled levels, last digit added" + (", accuracy of the meter added" if off > 0 else ""),
    )


def ending_at(found: Change, before_V: float | None, after_V: float | None) -> Change:
    """The settled level of sides that stand beyond the protection's threshold to the end of their log (None: it does not).

    Where a side stands is its level, whatever it did before. What stands to the end after is 'more' by its volts alone;
    what stood before may have come once, so that its absence is claimed only where the levels themselves lie apart.
    """
    if before_V is None and after_V is None:
        return found
    before = found.before if before_V is None else before_V
    after = found.after if after_V is None else after_V
    shift = None if before is None or after is None else after - before
    found = replace(found, before=before, after=after, estimate=shift, method="level at which the log ends")
    if before_V is None:
        return replace(found, low=None, high=None, answer="more", note="")
    return found if found.answer != "not shown" else replace(found, low=None, high=None)


def _level_range(record: ChannelRecord) -> tuple[float, float, float] | None:
    seen = [
        (trace.level_V, trace.observed_s, *np.quantile(trace.baseline.knot_V, (0.05, 0.95)).tolist())
        for trace in record.traces
        if trace.baseline is not None and trace.level_V is not None and trace.observed_s > 0
    ]
    if not seen:
        return None
    middles, weights, lows, highs = zip(*seen, strict=True)
    slack = max(trace.resolution_V for trace in record.traces)
    return min(lows) - slack, float(np.average(middles, weights=weights)), max(highs) + slack


def size_change(before: Sequence[Floats], after: Sequence[Floats], limits: Limits, off_by: OffBy = exact) -> Change:
    """Ratio of the sizes of episodes, each power-up once with its mean log size: sizes of one power-up are alike.

    Parameters
    ----------
    before, after : sequence of array
        Largest deviation of each episode, volts, by power-up.

    Notes
    -----
    `stats.power_ups.size_growth` with 0 for before and 1 for after: a moderated t with power-ups + 1 degrees of freedom.
    """
    sizes = [part[part > 0] for part in (*before, *after)]
    side = np.repeat((0.0, 1.0), (len(before), len(after)))
    middles = [
        math.exp(float(np.mean([np.log(part).mean() for part in parts]))) if parts else None
        for parts in (
            [part for part, x in zip(sizes, side, strict=True) if part.size and x == which] for which in (0.0, 1.0)
        )
    ]
    quantity = "size of episodes"
    if any(middle is None for middle in middles):
        return _unknown(quantity, "ratio", "no episode on one side", *middles)
    result = size_growth(sizes, side, confidence=limits.confidence)
    if result.dof < 1:
        return _unknown(quantity, "ratio", "one power-up a side cannot tell how far sizes differ", *middles)
    p_value = min(1.0, 2.0 * min(result.p_up, result.p_down))
    shown = p_value <= 1.0 - limits.confidence and abs(math.log(result.factor)) >= math.log(SIZE_FACTOR)
    found = Change(
        quantity=quantity,
        before=middles[0],
        after=middles[1],
        estimate=result.factor,
        low=result.low,
        high=result.high,
        p_value=p_value,
        unit="ratio",
        answer=("less" if result.factor < 1.0 else "more") if shown else "not shown",
        note="",
        method=result.method,
    )
    return _by_the_meter(found, off_by)


@dataclass(frozen=True, slots=True)
class PowerUpChange(Result):
    """Middle surge and settling time of the power-ups of each side (null where none was seen)."""

    before_surge_V: Annotated[float | None, Doc("Middle surge before, volts.")]
    after_surge_V: Annotated[float | None, Doc("Middle surge after, volts.")]
    before_settle_s: Annotated[float | None, Doc("Middle settling before, seconds.", ge=0)]
    after_settle_s: Annotated[float | None, Doc("Middle settling after, seconds.", ge=0)]
    before_power_ups: Annotated[int, Doc("Power-ups before.", ge=0)]
    after_power_ups: Annotated[int, Doc("Power-ups after.", ge=0)]


def power_up_change(before: ChannelRecord, after: ChannelRecord) -> PowerUpChange:
    """Compare the power-ups by their middles; two or three of them carry no test."""
    out: list[float | None] = []
    starts = [[t.start for t in record.traces if t.start is not None] for record in (before, after)]
    for value in ("surge_V", "settle_s"):
        out.extend(float(np.median([getattr(s, value) for s in side])) if side else None for side in starts)
    return PowerUpChange(
        before_surge_V=out[0],
        after_surge_V=out[1],
        before_settle_s=out[2],
        after_settle_s=out[3],
        before_power_ups=len(starts[0]),
        after_power_ups=len(starts[1]),
    )
