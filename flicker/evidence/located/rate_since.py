"""Since when has the rate been another: within the longest run, over power-ups, or over visits? Claimed once, then placed.

The claim is corrected over the channels of a page and asked for at a quarter of 1 - confidence, both ways together. It
enters no verdict; `flicker.evidence.questions.worsening` judges growth.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Annotated

import numpy as np
from numpy.typing import NDArray

from flicker.base.described import Doc
from flicker.base.formats import digits_text
from flicker.base.limits import Limits
from flicker.base.result import Result
from flicker.evidence.findings import holm
from flicker.evidence.located.moves import moment_text
from flicker.evidence.power_up_counts import counts_of
from flicker.evidence.record import ChannelRecord
from flicker.stats.changepoints import RateSince, rate_since, rate_since_unit
from flicker.stats.power_ups import expected_counts

Floats = NDArray[np.float64]

FEWEST = 5  # episodes below which units are not compared, as for growth
# Of 1 - confidence, both ways together: counts of power-ups that differ are skewed, gaps have long tails, and at a half
# up to 4 % of steady rates were claimed to change (tests/studies/results/rate_since.md); a choice.
CLAIM = 0.25
FACTOR = 1.5  # a change that matters; common practice, no source
# Heat: a rate that falls after switch-on is no change. Within two hours of it a fall is not looked for, and of a rise it is
# said; time constants to half an hour have then come to rest. Common practice, no source; false claims with it:
# tests/studies/results/rate_since.md.
HEAT_S = 7200.0


class Way(StrEnum):
    """What is shown."""

    MORE = "more often"
    LESS = "less often"
    NOT_SHOWN = "not shown"


class Over(StrEnum):
    """What the rate was followed over."""

    RUN = "run"
    POWER_UPS = "power-ups"
    VISITS = "visits"


@dataclass(frozen=True, slots=True)
class RateChanged(Result):
    """A change of the rate of episodes, with the moment since which it holds."""

    answer: Annotated[Way, Doc("What is shown.")]
    over: Annotated[Over, Doc("Within one run, from power-up to power-up, or from visit to visit.")]
    given: Annotated[bool, Doc("Whether the moment was given beforehand by a mark (adjusted, part changed, conditions changed), and tested as given.")]
    unit: Annotated[int | None, Doc("Power-up or visit with which the new rate begins, from 0; null within a run.", ge=0)]
    unit_low: Annotated[int | None, Doc("First that it may be.", ge=0)]
    unit_high: Annotated[int | None, Doc("Last that it may be.", ge=0)]
    run: Annotated[int | None, Doc("Number of the run in which it begins, from 0; null over visits.", ge=0)]
    at_s: Annotated[float | None, Doc("Moment, seconds since that run's first sample; null over visits.")]
    low_run: Annotated[int | None, Doc("Run of the earliest moment.", ge=0)]
    low_s: Annotated[float | None, Doc("Earliest moment, on that run's clock.")]
    high_run: Annotated[int | None, Doc("Run of the latest moment.", ge=0)]
    high_s: Annotated[float | None, Doc("Latest moment, on that run's clock.")]
    ratio: Annotated[float, Doc("Rate after over rate before.", ge=0, open=True)]
    ratio_low: Annotated[float, Doc("Lower end of its interval.", ge=0)]
    ratio_high: Annotated[float, Doc("Upper end.", ge=0, open=True)]
    p_value: Annotated[float, Doc("Both ways together.", ge=0, le=1)]
    p_adjusted: Annotated[float, Doc("Corrected over the channels of the page; a claim is made up to a quarter of 1 - confidence.", ge=0, le=1)]
    count: Annotated[int, Doc("Episodes used, bursts merged.", ge=0)]
    heat: Annotated[bool, Doc("Whether the moment lies within two hours of switch-on, where heat may make it.")]
    method: Annotated[str, Doc("Method in words.")]
    reads: Annotated[str, Doc("In words, in the log's own clock where it tells one.")]


def since_findings(records: Sequence[ChannelRecord], limits: Limits) -> list[RateChanged | None]:
    """Change of the rate of every channel of a page; None where too few episodes were seen."""
    return corrected([_since(record, limits) for record in records], limits)


def since_visits(
    times: Sequence[Floats], ends: Sequence[float], visit: Sequence[int], names: Sequence[str], limits: Limits
) -> RateChanged | None:
    """Change of the rate from visit to visit, before the correction; None below three visits or five episodes.

    Parameters
    ----------
    times, ends : sequences
        Episodes of each power-up on its observed clock, and its observed length.
    visit : sequence of int
        Visit of each power-up, from 0.
    names : sequence of str
        How each visit is called.
    """
    held = expected_counts(list(times), list(ends))
    size = len(names)
    counts = np.bincount(visit, held.counts, minlength=size).astype(np.int64)
    expected = np.bincount(visit, held.expected, minlength=size)
    if size < 3 or counts.sum() < FEWEST or expected.min() <= 0:
        return None
    got = rate_since_unit(counts, expected, scatter=limits.power_up_scatter, confidence=limits.confidence)
    at, low, high = int(got.at), int(got.low), int(got.high)
    when = f"since {names[at]}" + ("" if low == high else f" (between {names[low]} and {names[high]})")
    return _made(got, Over.VISITS, (at, low, high), ((None, None),) * 3, when, False)


def corrected(drafts: Sequence[RateChanged | None], limits: Limits) -> list[RateChanged | None]:
    """Correct over channels (Holm), decide, and say it."""
    asked = [item for item in drafts if item is not None]
    adjusted = iter(holm([item.p_value for item in asked]))
    out: list[RateChanged | None] = []
    for item in drafts:
        if item is None:
            out.append(None)
            continue
        p = next(adjusted)
        large = item.ratio >= FACTOR or item.ratio <= 1.0 / FACTOR
        shown = p <= CLAIM * (1.0 - limits.confidence) and large
        answer = item.answer if shown else Way.NOT_SHOWN
        out.append(replace(item, p_adjusted=p, answer=answer, reads=_reads(item, answer)))
    return out


def _since(record: ChannelRecord, limits: Limits) -> RateChanged | None:
    counts = counts_of(record)
    if np.count_nonzero(counts.expected > 0) >= 3 and counts.episodes.sum() >= FEWEST:
        return _over_power_ups(record, limits)
    return _in_run(record, limits)


def _over_power_ups(record: ChannelRecord, limits: Limits) -> RateChanged | None:
    counts = counts_of(record)
    places: dict[int, list[int]] = {}
    for place, (trace, cycle) in enumerate(zip(record.traces, record.cycle, strict=True)):
        if trace.observed_s > 0:
            places.setdefault(cycle, []).append(place)
    begins = [places[cycle] for cycle in sorted(places)]
    used = np.flatnonzero(counts.expected > 0)
    given = None
    for unit, runs in enumerate(begins):
        if any(record.traces[place].hands.breaks_s for place in runs):
            given = int(np.searchsorted(used, unit, "right"))  # the power-up after the one in which it was done
    if given is not None and not 0 < given < used.size:
        given = None
    got = rate_since_unit(
        counts.counts[used], counts.expected[used], at=given, scatter=limits.power_up_scatter, confidence=limits.confidence
    )
    at, low, high = (int(used[int(value)]) for value in (got.at, got.low, got.high))
    first = [begins[unit][0] for unit in (at, low, high)]
    moments = tuple((record.numbers[place], 0.0) for place in first)
    many = len(begins)
    when = f"power-up {at + 1} of {many}"
    if record.runs[first[0]].start is not None:
        when += f", begun {moment_text(record.runs[first[0]], 0.0, record.numbers[first[0]], True)}"
    when = f"after what was marked, from {when} on" if given is not None else f"since {when}"
    if low != high:
        when += f" (between power-ups {low + 1} and {high + 1})"
    return _made(got, Over.POWER_UPS, (at, low, high), moments, when, False)


def _in_run(record: ChannelRecord, limits: Limits) -> RateChanged | None:
    times, ends = record.per_cycle()
    longest = int(np.argmax(ends)) if ends else -1
    if longest < 0 or ends[longest] <= 0:
        return None
    cycle = sorted(set(record.cycle))[longest]
    places = [place for place, number in enumerate(record.cycle) if number == cycle]
    t, end = np.sort(np.minimum(times[longest], ends[longest])), ends[longest]
    given = _marked(record, places)
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
    said = [moment_text(runs[number], value, number, several) for number, value in ((at_run, at), (low_run, low), (high_run, high))]
    if given is not None:
        when = f"after what was marked at {said[0]}"
    else:
        dated = runs[at_run].start is not None
        low_said, high_said = (_short(text, said[0]) if dated else text for text in said[1:])
        when = f"since about {said[0]} (between {low_said} and {high_said})"
    return _made(best, Over.RUN, (None, None, None), moments, when, best.at < HEAT_S)


def _short(text: str, other: str) -> str:
    """A moment without its day where that is the other's."""
    day, _, clock = text.rpartition(" ")
    return clock if day and day == other.rpartition(" ")[0] else text


def _marked(record: ChannelRecord, places: Sequence[int]) -> float | None:
    """The last mark of a power-up that parts before from after, on its observed clock."""
    out, before = None, 0.0
    for place in places:
        trace = record.traces[place]
        if trace.hands.breaks_s:
            out = before + float(trace.observed_clock(np.array([max(trace.hands.breaks_s)]))[0])
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


def _made(
    got: RateSince,
    over: Over,
    units: tuple[int | None, int | None, int | None],
    moments: Sequence[tuple[int | None, float | None]],
    when: str,
    heat: bool,
) -> RateChanged:
    """A draft: its answer is the way that it would be, ``reads`` the moment in words."""
    (run, at_s), (low_run, low_s), (high_run, high_s) = moments
    return RateChanged(
        answer=Way.MORE if got.p_up <= got.p_down else Way.LESS, over=over, given=got.given,
        unit=units[0], unit_low=units[1], unit_high=units[2],
        run=run, at_s=at_s, low_run=low_run, low_s=low_s, high_run=high_run, high_s=high_s,
        ratio=got.ratio, ratio_low=got.ratio_low, ratio_high=got.ratio_high,
        p_value=got.p_value, p_adjusted=got.p_value, count=got.count, heat=heat, method=got.method, reads=when,
    )  # fmt: skip


def _reads(item: RateChanged, answer: Way) -> str:
    upper = "without end" if math.isinf(item.ratio_high) else f"{digits_text(item.ratio_high)}"
    ratio = "" if math.isinf(item.ratio) else f"some {digits_text(item.ratio)} times as often "
    size = f"{ratio}({digits_text(item.ratio_low)} to {upper})"
    if answer == Way.NOT_SHOWN:
        return f"No change of rate is shown {item.reads}: {size}." if item.given else "A change of rate is not shown."
    warm = " Within two hours of switch-on heat may do that." if item.heat and not item.given else ""
    return f"{answer.capitalize()} {item.reads}: {size}.{warm}"


def since_text(item: RateChanged | None) -> str:
    """The sentence of a page; '' where there is nothing to say."""
    return item.reads if item is not None and (item.answer != Way.NOT_SHOWN or item.given) else ""


def day_name(date: dt.date | None, number: int) -> str:
    """How a visit is called in a sentence."""
    return f"visit {number + 1}" if date is None else f"the visit of {date:%Y-%m-%d}"
