"""Stimulus test, coincidence of two channels by turned runs, Holm's correction: does one thing go with another?

Times of events and stimuli in one observed time in; ratios, shares and p-values out.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from flicker.base import check
from flicker.base.arrays import Bools, Floats, Ints
from flicker.base.formats import digits_text, p_said
from flicker.base.result import Interval
from flicker.stats import rates

__all__ = [
    "Coincidence",
    "StimulusTest",
    "coincidence",
    "holm",
    "stimulus_test",
]

SEED = 20_260_102
MOST_PAIRS = 2_000_000  # beyond, random turns stand for all
RANDOM_TURNS = 9_999


def holm(p_values: Sequence[float] | ArrayLike) -> Floats:
    """Return p-values corrected for their number, so that any false 'yes' among them keeps the error of one.

    Notes
    -----
    Holm (1979), Scandinavian Journal of Statistics 6, 65-70. Holds for any dependence between the tests.
    """
    p = check.finite_array("p_values", p_values, least=0)
    if p.size and (p.min() < 0 or p.max() > 1):
        raise ValueError(f"p_values must lie between 0 and 1, got {p.tolist()}")
    order = np.argsort(p, kind="stable")
    steps = np.maximum.accumulate(p[order] * np.arange(p.size, 0, -1))
    out = np.empty(p.size)
    out[order] = np.minimum(1.0, steps)
    return out


@dataclass(frozen=True, slots=True)
class StimulusTest(Interval):
    """Events in the windows after a stimulus against those outside."""

    hits: int
    window_exposure: float
    outside_count: int
    outside_exposure: float
    ratio: float
    p_value: float
    stimuli: int

    @property
    def reads(self) -> str:
        """One sentence for the owner of the unit."""
        return (
            f"{self.stimuli} stimuli: {self.hits} events in the {digits_text(self.window_exposure, 3)} after them, "
            f"{self.outside_count} in the {digits_text(self.outside_exposure, 3)} outside ({p_said(self.p_value)})"
        )


def stimulus_test(
    event_times: Sequence[float] | ArrayLike,
    stimulus_times: Sequence[float] | ArrayLike,
    window: float,
    span: float | tuple[float, float],
    *,
    confidence: float = 0.95,
) -> StimulusTest:
    """Does the rate rise in the window after a stimulus (a tap, heat, cold, a switch)?

    Parameters
    ----------
    event_times : array, shape (events,)
        Times of events, within ``span``, in observed time.
    stimulus_times : array, shape (stimuli,)
        Times of the stimuli, within ``span``.
    window : float
        Length of the window after each stimulus, above 0, in the same unit. It begins with the stimulus and excludes
        its end. Overlapping windows are joined, and a window is cut at the end of the span.
    span : float or (float, float)
        Observed time: its length from 0 on, or begin and end.
    confidence : float
        Of the intervals.

    Returns
    -------
    StimulusTest
        ``.ratio .low .high .p_value``.

    Raises
    ------
    ValueError
        If times lie outside the span, there is no stimulus, or the windows leave no time outside.

    Notes
    -----
    The conditional test of `rates.rate_ratio`: given the number of events, those in windows are binomial. It assumes
    events that come singly; where they come in bursts, `coincidence` holds. Stimuli on live equipment: no loudspeaker on the output, insulated tools, one hand, mains
    and charged capacitors treated as dangerous; local codes and licensed practice come first.
    """
    begin, end = _span(span)
    events = _times("event_times", event_times, begin, end, least=0)
    stimuli = _times("stimulus_times", stimulus_times, begin, end, least=1)
    width = check.positive("window", window, what="a time")
    confidence = check.share("confidence", confidence)

    starts, stops = _join(stimuli, np.minimum(stimuli + width, end))
    inside = float(np.sum(stops - starts))
    outside = (end - begin) - inside
    if outside <= 1e-12 * (end - begin):
        raise ValueError(f"window must leave some of the span outside all windows, got {width}")
    hits = int(_within(events, starts, stops).sum())
    outside_count = events.size - hits
    test = rates.rate_ratio(hits, inside, outside_count, outside, confidence=confidence, alternative="greater")
    return StimulusTest(
        hits=hits,
        window_exposure=inside,
        outside_count=outside_count,
        outside_exposure=outside,
        ratio=test.ratio,
        low=test.low,
        high=test.high,
        p_value=test.p_value,
        stimuli=int(stimuli.size),
        confidence=confidence,
        method="conditional binomial, exact",
    )


@dataclass(frozen=True, slots=True)
class Coincidence(Interval):
    """Events of one series that have an event of another within a lag, against chance."""

    coincidences: int
    expected: float
    events_a: int
    share: float
    ratio: float
    p_value: float
    lag: float

    @property
    def reads(self) -> str:
        """One sentence for the owner of the unit."""
        return (
            f"{self.coincidences} of {self.events_a} come together within {digits_text(self.lag, 3)}; chance would give "
            f"{digits_text(self.expected)} ({p_said(self.p_value)})"
        )


def coincidence(
    times_a: Sequence[float] | ArrayLike,
    times_b: Sequence[float] | ArrayLike,
    lag: float | tuple[float, float],
    span: float | tuple[float, float],
    *,
    confidence: float = 0.95,
    seed: int = SEED,
) -> Coincidence:
    """Do events of two series come together more often than by chance?

    Parameters
    ----------
    times_a, times_b : array
        Event times of either series, within ``span``.
    lag : float or (float, float)
        An event of ``a`` coincides if one of ``b`` lies within ``lag`` either way, or from ``lag[0]`` to ``lag[1]``
        after ``b`` (negative: before), so that 'a follows b' can be asked.
    span : float or (float, float)
        Common observed time: its length from 0 on, or begin and end.
    confidence : float
        Of the interval of the share of ``a`` that coincides.
    seed : int
        Used only beyond 2e6 pairs, where 9,999 random turns replace all turns.

    Returns
    -------
    Coincidence
        ``.coincidences .expected .ratio .p_value``, the share of ``a`` with its Clopper-Pearson interval.

    Notes
    -----
    One series is turned around the span as a whole, every turn alike: valid when either comes in bursts. A group of
    turns leaves the law of a stationary series alone, so the share of turns with as many hits is a valid p (Lehmann and
    Romano 2005, Testing Statistical Hypotheses, chapter 15).
    """
    begin, end = _span(span)
    a = _times("times_a", times_a, begin, end, least=0)
    b = _times("times_b", times_b, begin, end, least=0)
    first, last = (
        (float(lag[0]), float(lag[1]))
        if isinstance(lag, tuple)
        else (-check.positive("lag", lag, what="a time"), float(lag))
    )
    if not (math.isfinite(first) and math.isfinite(last) and first < last):
        raise ValueError(f"lag must be a time above 0, or two times that rise, got {lag!r}")
    confidence = check.share("confidence", confidence)
    seed = check.whole("seed", seed, what="a seed")

    length = end - begin
    starts, stops = _around(b - begin + first, b - begin + last, length)
    x = a - begin
    found = int(_within(x, starts, stops, closed=True).sum())
    law = shift_law(x, starts, stops, length, seed=seed, closed=True)
    share = rates.share_interval(found, x.size, confidence=confidence) if x.size else None
    return Coincidence(
        coincidences=found,
        expected=law.mean,
        events_a=int(a.size),
        share=share.share if share else math.nan,
        low=share.low if share else 0.0,
        high=share.high if share else 1.0,
        ratio=found / law.mean if law.mean > 0 else math.nan,
        p_value=min(1.0, law.at_least(found)),
        lag=last,
        confidence=confidence,
        method="all turns of one series around the span",
    )


class ShiftLaw(NamedTuple):
    """Numbers of hits and the share of turns that give them."""

    hits: Ints
    share: Floats
    floor: float

    @property
    def mean(self) -> float:
        """Mean number of hits over all turns."""
        return float(np.sum(self.hits * self.share))

    def at_least(self, hits: int) -> float:
        """Share of turns with ``hits`` or more."""
        return float(min(1.0, self.floor + (1.0 - self.floor) * self.share[self.hits >= hits].sum()))


def shift_law(
    times: Floats,
    starts: Floats,
    stops: Floats,
    length: float,
    *,
    seed: int,
    closed: bool = False,
) -> ShiftLaw:
    """Law of the number of ``times`` in disjoint intervals when all intervals turn by one uniform amount.

    Exact up to 2e6 pairs, by sorting the turns at which a time enters or leaves an interval; beyond, 9,999 random
    turns.
    """
    if times.size == 0 or starts.size == 0:
        return ShiftLaw(np.zeros(1, dtype=np.int64), np.ones(1), 0.0)
    if times.size * starts.size > MOST_PAIRS:
        turns = np.random.default_rng(seed).uniform(0.0, length, RANDOM_TURNS)
        side: Literal["left", "right"] = "right" if closed else "left"
        hits = np.empty(RANDOM_TURNS, dtype=np.int64)
        for i, turn in enumerate(turns.tolist()):
            x = np.mod(times - turn, length)
            x.sort()
            hits[i] = np.sum(np.searchsorted(x, stops, side) - np.searchsorted(x, starts, "left"))
        return ShiftLaw(hits, np.full(RANDOM_TURNS, 1.0 / RANDOM_TURNS), 1.0 / (RANDOM_TURNS + 1))
    # time x lies in a turned interval [s + u, e + u] for turns u from x - e to x - s
    enter = np.mod(times[:, None] - stops[None, :], length).ravel()
    leave = np.mod(times[:, None] - starts[None, :], length).ravel()
    whole = (stops - starts)[None, :] >= length
    full = np.broadcast_to(whole, (times.size, starts.size)).ravel()
    base = int(full.sum()) + int(np.sum((enter > leave) & ~full))
    where = np.concatenate((enter[~full], leave[~full]))
    step = np.concatenate((np.ones((~full).sum(), dtype=np.int64), -np.ones((~full).sum(), dtype=np.int64)))
    order = np.argsort(where, kind="stable")
    edges = np.concatenate(([0.0], where[order], [length]))
    hits = base + np.concatenate(([0], np.cumsum(step[order])))
    return ShiftLaw(hits, np.diff(edges) / length, 0.0)


def _span(span: float | tuple[float, float]) -> tuple[float, float]:
    """Begin and end of the observed time."""
    if isinstance(span, (tuple, list)):
        begin, end = (check.finite("span", value) for value in span)
        if begin >= end:
            raise ValueError(f"span must be a length above 0, or begin and end in order, got {span!r}")
        return begin, end
    return 0.0, check.positive("span", span, what="observed time")


def _times(name: str, values: ArrayLike, begin: float, end: float, *, least: int) -> Floats:
    t = np.sort(check.finite_array(name, values, least=least))
    check.inside(name, t, begin, end)
    return t


def _join(s: Floats, e: Floats) -> tuple[Floats, Floats]:
    """Intervals sorted by their starts, those that touch joined."""
    if s.size == 0:
        return s, e
    reach = np.maximum.accumulate(e)
    new = np.concatenate(([True], s[1:] > reach[:-1]))
    return s[new], reach[np.concatenate((np.flatnonzero(new)[1:] - 1, [s.size - 1]))]


def _around(s: Floats, e: Floats, length: float) -> tuple[Floats, Floats]:
    """Intervals around events as disjoint ones within 0..length; what sticks out wraps around."""
    s, e = np.concatenate((s, s + length, s - length)), np.concatenate((e, e + length, e - length))
    keep = (e >= 0.0) & (s <= length)
    s, e = np.clip(s[keep], 0.0, length), np.clip(e[keep], 0.0, length)
    order = np.argsort(s, kind="stable")
    return _join(s[order], e[order])


def _within(times: Floats, starts: Floats, stops: Floats, *, closed: bool = False) -> Bools:
    """Which times lie in disjoint intervals, their start included (and their stop, if ``closed``)."""
    if starts.size == 0:
        return np.zeros(times.size, dtype=bool)
    i = np.searchsorted(starts, times, "right") - 1
    stop = stops[np.maximum(i, 0)]
    return np.asarray((i >= 0) & ((times <= stop) if closed else (times < stop)))
