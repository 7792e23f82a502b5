"""Since when has the rate been another: within the longest run, over power-ups, or over visits? Claimed once, then placed.

A moment that was given (a mark, a date of repair) is tested as given: over power-ups and visits by the engine that compares
before and after, within a run at that moment alone. Else the moment is searched for, and the claim asked for at a quarter of
1 - confidence, both ways together. Corrected over the channels of a page. It enters no verdict; `flicker.evidence.questions.worsening` judges growth.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from flicker.base.limits import Limits
from flicker.evidence.located.moves import moment_text
from flicker.evidence.located.rate_changed import Over, RateChanged, corrected, made
from flicker.evidence.located.rate_given import (
    border_of,
    compared,
    given_power_up,
    said_of,
    seconds_to,
    tested,
    units_of,
    within_logs,
)
from flicker.evidence.record.channel_record import ChannelRecord
from flicker.evidence.record.power_up_counts import PowerUpCounts, counts_of
from flicker.stats.changepoints import RateSince, rate_since, rate_since_unit
from flicker.stats.power_ups import expected_counts

Floats = NDArray[np.float64]


FEWEST = 5  # episodes below which units are not compared, as for growth


# Heat: a rate that falls after switch-on is no change. Within two hours of it a fall is not looked for, and of a rise it is
# said; time constants to half an hour have then come to rest. Common practice, no source; false claims with it:
# tests/studies/results/rate_since.md.
HEAT_S = 7200.0
# A rate that follows the hours of the day looks like a change within one day: 10 to 17 in 100 of such logs. By definition.
DAYS_S = 2 * 86400.0


def since_findings(
    records: Sequence[ChannelRecord], limits: Limits, given: dt.datetime | None = None
) -> list[RateChanged | None]:
    """Change of the rate of every channel of a page; None where too few episodes were seen.

    Raises
    ------
    ValueError
        If a moment is given and the logs tell no date, tell it on another kind of clock, or lie all before or all after it.
    """
    if given is not None:
        within_logs(records, given)
    return corrected([_since(record, limits, given) for record in records], limits)


def since_visits(
    times: Sequence[Floats],
    ends: Sequence[float],
    visit: Sequence[int],
    names: Sequence[str],
    limits: Limits,
    given: int | None = None,
) -> RateChanged | None:
    """Change of the rate from visit to visit, before the correction; None below three visits (two, where the first visit
    after a change is given) or five episodes.

    Parameters
    ----------
    times, ends : sequences
        Episodes of each power-up on its observed clock, and its observed length.
    visit : sequence of int
        Visit of each power-up, from 0.
    names : sequence of str
        How each visit is called.
    given : int, optional
        First visit after a repair.
    """
    after = None if given is None else np.asarray(visit) >= given
    held = expected_counts(list(times), list(ends), both=after)
    size = len(names)
    counts = np.bincount(visit, held.counts, minlength=size).astype(np.int64)
    expected = np.bincount(visit, held.expected, minlength=size).astype(np.float64)
    if size < (3 if given is None else 2) or counts.sum() < FEWEST or (given is None and expected.min() <= 0):
        return None
    if given is not None:
        if not (expected[:given].any() and expected[given:].any()):
            return None
        got_given = compared(counts, expected, np.arange(size) >= given, limits)
        when = f"since {names[given]}, the first after the date given"
        return tested(got_given, Over.VISITS, given, ((None, None),) * 3, when)
    got = rate_since_unit(counts, expected, scatter=limits.power_up_scatter, confidence=limits.confidence)
    got = _by_engine(got, counts, expected, limits)
    at, low, high = int(got.at), int(got.low), int(got.high)
    when = f"since {names[at]}" + ("" if low == high else f" (between {names[low]} and {names[high]})")
    return made(got, Over.VISITS, (at, low, high), ((None, None),) * 3, when)


def _since(record: ChannelRecord, limits: Limits, given: dt.datetime | None) -> RateChanged | None:
    counts = counts_of(record)
    units = units_of(record)
    if counts.episodes.sum() >= FEWEST:
        border, inside = border_of(record, units, given)
        # a moment inside one of two power-ups leaves one whole power-up on one side only: there the run itself tells more
        if border is not None and (not inside or len(units) >= 3):
            return given_power_up(record, units, border, given, limits)
        if given is None and np.count_nonzero(counts.expected > 0) >= 3:
            return _over_power_ups(record, counts, units, limits)
    return _in_run(record, limits, given)


def _by_engine(got: RateSince, counts: NDArray[np.int64], expected: Floats, limits: Limits) -> RateSince:
    """The same change with the ratio as the engine has it, which knows what none at all on one side tells."""
    ratio = compared(counts, expected, np.arange(counts.size) >= int(got.at), limits)
    return replace(got, ratio_low=ratio.low, ratio_high=ratio.high)


def _over_power_ups(
    record: ChannelRecord, counts: PowerUpCounts, begins: Sequence[Sequence[int]], limits: Limits
) -> RateChanged:
    used = np.flatnonzero(counts.expected > 0)
    got = rate_since_unit(
        counts.counts[used], counts.expected[used], scatter=limits.power_up_scatter, confidence=limits.confidence
    )
    got = _by_engine(got, counts.counts[used], counts.expected[used], limits)
    at, low, high = (int(used[int(value)]) for value in (got.at, got.low, got.high))
    first = [begins[unit][0] for unit in (at, low, high)]
    moments = tuple((record.numbers[place], 0.0) for place in first)
    many = len(begins)
    when = f"power-up {at + 1} of {many}"
    if record.runs[first[0]].start is not None:
        when += f", begun {moment_text(record.runs[first[0]], 0.0, record.numbers[first[0]], True)}"
    when = f"since {when}"
    if low != high:
        when += f" (between power-ups {low + 1} and {high + 1})"
    return made(got, Over.POWER_UPS, (at, low, high), moments, when)


def _in_run(record: ChannelRecord, limits: Limits, date: dt.datetime | None) -> RateChanged | None:
    """Within the longest power-up, or the one in which the date given lies."""
    times, ends = record.per_cycle()
    longest = int(np.argmax(ends)) if ends else -1
    numbers = sorted(set(record.cycle))
    if date is not None:
        held = [
            k
            for k, part in enumerate(record.traces)
            if 0.0 < seconds_to(record, k, date) < record.runs[k].duration_s and part.observed_s > 0
        ]
        longest = numbers.index(record.cycle[held[0]]) if held else -1
    if longest < 0 or ends[longest] <= 0:
        return None
    places = [place for place, number in enumerate(record.cycle) if number == numbers[longest]]
    t, end = np.sort(np.minimum(times[longest], ends[longest])), ends[longest]
    given = _marked(record, places, date)
    if given is not None and not 0.0 < given < end:
        given = None
    dead, sure = record.dead_time_s, limits.confidence
    got = rate_since(t, end, at=given, dead_time=dead, confidence=sure)
    late = HEAT_S if given is None else min(HEAT_S, given)
    if late < end and (given is None or given > HEAT_S):
        settled = rate_since(t, end, start=late, at=given, dead_time=dead, confidence=sure)
    else:
        settled = replace(got, p_up=1.0, p_down=1.0)
    best = settled if settled.p_down < got.p_up else got
    # a rise is looked for in the whole run, a fall only after the heat
    best = replace(best, p_up=got.p_up, p_down=settled.p_down)
    if best.count < 1 or (got.p_up >= 1.0 and settled.p_down >= 1.0):
        return None
    moments = tuple(_moment_of(record, places, value) for value in (best.at, best.low, best.high))
    (at_run, at), (low_run, low), (high_run, high) = moments
    several = len(record.runs) > 1
    runs = {number: run for number, run in zip(record.numbers, record.runs, strict=True)}
    said = [
        moment_text(runs[number], value, number, several)
        for number, value in ((at_run, at), (low_run, low), (high_run, high))
    ]
    if given is not None:
        when = f"after what was marked at {said[0]}" if date is None else f"since {said_of(date)}, the moment given"
    else:
        dated = runs[at_run].start is not None
        low_said, high_said = (_short(text, said[0]) if dated else text for text in said[1:])
        when = f"since about {said[0]} (between {low_said} and {high_said})"
    return made(best, Over.RUN, (None, None, None), moments, when, best.at < HEAT_S, end < DAYS_S)


def _short(text: str, other: str) -> str:
    """A moment without its day where that is the other's."""
    day, _, clock = text.rpartition(" ")
    return clock if day and day == other.rpartition(" ")[0] else text


def _marked(record: ChannelRecord, places: Sequence[int], date: dt.datetime | None) -> float | None:
    """The date given, else the last mark of a power-up that parts before from after, on its observed clock."""
    out, before = None, 0.0
    for place in places:
        trace = record.traces[place]
        at = list(trace.hands.breaks_s) if date is None else [seconds_to(record, place, date)]
        if at and 0.0 < max(at) < record.runs[place].duration_s:
            out = before + float(trace.observed_clock(np.array([max(at)]))[0])
        before += trace.observed_s
    return out


def _moment_of(record: ChannelRecord, places: Sequence[int], at: float) -> tuple[int, float]:
    """Number of the run and seconds since its first sample of a moment on a power-up's observed clock."""
    place = places[0]
    for place in places:
        trace = record.traces[place]
        if at <= trace.observed_s or place == places[-1]:
            break
        at -= trace.observed_s
    observed = record.traces[place].observed
    passed = np.concatenate(([0.0], np.cumsum(observed[:, 1] - observed[:, 0])))
    row = int(np.clip(np.searchsorted(passed, at, "left") - 1, 0, observed.shape[0] - 1))
    return record.numbers[place], float(min(observed[row, 0] + at - passed[row], observed[row, 1]))
