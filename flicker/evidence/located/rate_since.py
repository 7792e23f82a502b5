"""When did the rate change, and how often: within the longest run, over power-ups, or over visits?

A moment that was given (a mark, a date of repair) is tested as given: over power-ups and visits by the engine that compares
before and after, within a run at that moment alone. Else moments are searched for, up to four, each shown given the others,
and the claim asked for at a quarter of 1 - confidence, both ways together. Corrected over the channels of a page. It enters no verdict; `flicker.evidence.questions.worsening` judges growth.
"""

from __future__ import annotations

import datetime as dt
import itertools
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from flicker.base.arrays import Floats
from flicker.base.limits import Limits
from flicker.base.units import DAY, HOUR
from flicker.evidence.located.moves import moment_text
from flicker.evidence.located.rate_changed import (
    Held,
    Over,
    PlacedChange,
    RateChanged,
    border_of,
    compared,
    corrected,
    given_power_up,
    held_by,
    made,
    power_up_text,
    said_of,
    seconds_to,
    tested,
    units_of,
    within_logs,
)
from flicker.evidence.questions.worsening import FEWEST
from flicker.evidence.record.channel_record import ChannelRecord
from flicker.evidence.record.pace import feigned
from flicker.evidence.record.power_up_counts import HEAT_S, PowerUpCounts, counts_of
from flicker.stats.arrivals.rate_since import RateSince, rate_since
from flicker.stats.arrivals.rate_steps import RateSteps, dispersed_limits, rate_steps, rate_steps_unit
from flicker.stats.power_ups import expected_counts

# Heat: a rate that falls after switch-on is no change. Within two hours of it a fall is not looked for, and of a rise it is
# said; time constants to half an hour have then come to rest. Common practice, no source; false claims with it:
# tests/studies/results/rate_since.md.
# A rate that follows the hours of the day looks like a change within one day: 10 to 17 in 100 of such logs. Between two
# changes of a longer log lies a whole day, which holds all its hours. By definition.
DAYS_S = 2 * DAY


def since_findings(
    records: Sequence[ChannelRecord], limits: Limits, given: dt.datetime | None = None
) -> list[RateChanged | None]:
    """Changes of the rate of every channel of a page; None where too few episodes were seen.

    Raises
    ------
    ValueError
        If a moment is given and the logs tell no date, tell it on another kind of clock, or lie all before or all after it.
    """
    if given is not None:
        within_logs(records, given)
    return corrected([() if feigned(record) else _since(record, limits, given) for record in records], limits)


def since_visits(
    times: Sequence[Floats],
    ends: Sequence[float],
    visit: Sequence[int],
    names: Sequence[str],
    limits: Limits,
    given: int | None = None,
) -> tuple[RateChanged, ...]:
    """Changes of the rate from visit to visit, before the correction; none below four visits (two, where the first visit
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
    if size < (4 if given is None else 2) or counts.sum() < FEWEST or (given is None and expected.min() <= 0):
        return ()
    episodes = np.bincount(visit, [len(t) for t in times], minlength=size).astype(np.int64)
    observed_s = np.bincount(visit, list(ends), minlength=size).astype(np.float64)
    nowhere: tuple[tuple[int | None, float | None], ...] = ((None, None),) * 3
    if given is not None:
        if not (expected[:given].any() and expected[given:].any()):
            return ()
        got = compared(counts, expected, np.arange(size) >= given, limits)
        when = f"since {names[given]}, the first after the date given"
        return (tested(got, Over.VISITS, given, nowhere, when, held_by(episodes, observed_s, [given], limits)),)

    def change(one: RateSince) -> PlacedChange:
        at, low, high = int(one.at), int(one.low), int(one.high)
        when = names[at] + ("" if low == high else f" (between {names[low]} and {names[high]})")
        return PlacedChange(got=one, units=(at, low, high), moments=nowhere, when=when)

    return _over_units(PowerUpCounts(episodes, observed_s, counts, expected, False), Over.VISITS, change, limits)


def _since(record: ChannelRecord, limits: Limits, given: dt.datetime | None) -> tuple[RateChanged, ...]:
    counts = counts_of(record)
    units = units_of(record)
    if counts.episodes.sum() >= FEWEST:
        border, inside = border_of(record, units, given)
        # a moment inside one of two power-ups leaves one whole power-up on one side only: there the run itself tells more
        if border is not None and (not inside or len(units) >= 3):
            tested_there = given_power_up(record, units, border, given, limits)
            return () if tested_there is None else (tested_there,)
        if given is None and np.count_nonzero(counts.expected > 0) >= 4:
            return _over_power_ups(record, counts, units, limits)
    return _in_run(record, limits, given)


def _over_units(
    units: PowerUpCounts, over: Over, change: Callable[[RateSince], PlacedChange], limits: Limits
) -> tuple[RateChanged, ...]:
    """Drafts of one change, two, ...; ratios as the engine has them, which knows what none at all on one side tells."""
    counts, expected = units.counts, units.expected
    found = rate_steps_unit(counts, expected, scatter=limits.power_up_scatter, confidence=limits.confidence)
    drafts = []
    for part, p_value in zip(found.tried, found.p_values, strict=True):
        borders = [int(one.at) for one in part]
        changes = []
        for one, (a, border, b) in zip(part, _windows(borders, counts.size), strict=True):
            ratio = compared(counts[a:b], expected[a:b], np.arange(a, b) >= border, limits)
            changes.append(change(replace(one, ratio_low=ratio.low, ratio_high=ratio.high)))
        held = held_by(units.episodes, units.observed_s, borders, limits, units.by_share)
        drafts.append(made(changes, held, over, p_value, _method(found, part)))
    return tuple(drafts)


def _windows(borders: Sequence[int], size: int) -> list[tuple[int, int, int]]:
    """Each border between its neighbours."""
    edges = (0, *borders, size)
    return list(zip(edges, edges[1:], edges[2:], strict=False))


def _method(found: RateSteps, part: Sequence[RateSince]) -> str:
    return part[0].method if len(part) == 1 else f"{found.method}: {part[0].method}"


def _over_power_ups(
    record: ChannelRecord, counts: PowerUpCounts, begins: Sequence[Sequence[int]], limits: Limits
) -> tuple[RateChanged, ...]:
    used = np.flatnonzero(counts.expected > 0)

    def change(one: RateSince) -> PlacedChange:
        at, low, high = (int(used[int(value)]) for value in (one.at, one.low, one.high))
        first = [begins[unit][0] for unit in (at, low, high)]
        when = power_up_text(record, begins, at)
        if low != high:
            when += f" (between power-ups {low + 1} and {high + 1})"
        return PlacedChange(got=one, units=(at, low, high), moments=[(record.numbers[place], 0.0) for place in first], when=when)

    seen = counts._replace(
        episodes=counts.episodes[used], observed_s=counts.observed_s[used], counts=counts.counts[used], expected=counts.expected[used]
    )  # fmt: skip
    return _over_units(seen, Over.POWER_UPS, change, limits)


def _in_run(record: ChannelRecord, limits: Limits, date: dt.datetime | None) -> tuple[RateChanged, ...]:
    """Within the longest power-up, or the one in which the date given lies."""
    times, ends = record.per_cycle()
    longest = int(np.argmax(ends)) if ends else -1
    runs_of = record.power_ups
    if date is not None:
        there = [
            k
            for k, part in enumerate(record.traces)
            if 0.0 < seconds_to(record, k, date) < record.runs[k].duration_s and part.observed_s > 0
        ]
        longest = next(k for k, runs in enumerate(runs_of) if there[0] in runs) if there else -1
    if longest < 0 or ends[longest] <= 0:
        return ()
    places = runs_of[longest]
    t, end = np.sort(np.minimum(times[longest], ends[longest])), ends[longest]
    given = _marked(record, places, date)
    dead, sure = record.dead_time_s, limits.confidence
    if given is not None and 0.0 < given < end:
        one = rate_since(t, end, falls_from=HEAT_S, at=given, dead_time=dead, confidence=sure)
        found = RateSteps(((one,),), sure, one.method)
    else:
        day = DAY if end >= DAYS_S else 0.0
        found = rate_steps(t, end, falls_from=HEAT_S, dead_time=dead, shortest=day, confidence=sure)
    first = found.tried[0][0]
    if first.count < 1 or min(first.p_up, first.p_down) >= 1.0:
        return ()
    return tuple(
        made(
            _run_changes(record, places, part, end, date),
            _run_held(t, end, part, sure),
            Over.RUN,
            p_value,
            _method(found, part),
        )
        for part, p_value in zip(found.tried, found.p_values, strict=True)
    )


def _run_changes(
    record: ChannelRecord, places: Sequence[int], part: Sequence[RateSince], end: float, date: dt.datetime | None
) -> list[PlacedChange]:
    several = len(record.runs) > 1
    runs = dict(zip(record.numbers, record.runs, strict=True))
    edges = [0.0, *(one.at for one in part), end]
    changes = []
    for k, one in enumerate(part):
        moments = [_moment_of(record, places, value) for value in (one.at, one.low, one.high)]
        said = [moment_text(runs[number], value, number, several) for number, value in moments]
        if one.given:
            when = f"after what was marked at {said[0]}" if date is None else f"since {said_of(date)}, the moment given"
        else:
            dated = runs[moments[0][0]].start is not None
            low_said, high_said = (_short(text, said[0]) if dated else text for text in said[1:])
            when = f"about {said[0]} (between {low_said} and {high_said})"
        within = edges[k + 2] - edges[k]  # what the change was found in
        changes.append(
            PlacedChange(got=one, units=(None,) * 3, moments=moments, when=when, heat=one.at < HEAT_S, daily=within < DAYS_S)
        )
    return changes


def _run_held(t: Floats, end: float, part: Sequence[RateSince], confidence: float) -> list[Held]:
    """Rates between the changes, their limits as wide as the counts scatter about them."""
    wide = max(one.dispersion for one in part)
    out = []
    for a, b in itertools.pairwise([0.0, *(one.at for one in part), end]):
        count, hours = int(np.count_nonzero((t > a) & (t <= b))), (b - a) / HOUR
        low, high = dispersed_limits(count, hours, wide, confidence)
        out.append(Held(episodes=count, observed_s=b - a, rate=(count / hours, low, high)))
    return out


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
