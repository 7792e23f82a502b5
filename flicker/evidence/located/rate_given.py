"""Has the rate been another since a moment that was given, by a mark or a date of repair? Tested as given, by the engine."""

from __future__ import annotations

import datetime as dt
import itertools
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from flicker.base.arrays import Bools, Floats, Ints
from flicker.base.limits import Limits
from flicker.base.units import HOUR
from flicker.evidence.located.moves import moment_text
from flicker.evidence.located.rate_changed import Change, Held, Over, RateChanged, made
from flicker.evidence.record.channel_record import ChannelRecord
from flicker.evidence.record.power_up_counts import counts_of
from flicker.stats import power_ups

if TYPE_CHECKING:
    from flicker.stats.power_ups import RateComparison


def units_of(record: ChannelRecord) -> list[list[int]]:
    """Places of the runs of each power-up with observed time, in order."""
    seen = [[place for place in runs if record.traces[place].observed_s > 0] for runs in record.power_ups]
    return [runs for runs in seen if runs]


def border_of(
    record: ChannelRecord, units: Sequence[Sequence[int]], given: dt.datetime | None
) -> tuple[int | None, bool]:
    """First power-up after the moment given, by a date or else by the last mark, and whether it lies inside a power-up.

    A power-up in which it was done counts as before. None where no power-up is left on one side.
    """
    border, inside = None, False
    for unit, runs in enumerate(units):
        if given is None:
            here = any(record.traces[place].hands.breaks_s for place in runs)
        else:
            first, last = seconds_to(record, runs[0], given), seconds_to(record, runs[-1], given)
            here = first >= 0.0 and last < record.runs[runs[-1]].duration_s
            border = unit + 1 if first >= 0.0 else border
        if here:
            border, inside = unit + 1, True
    return (border if border is not None and 0 < border < len(units) else None), inside


def seconds_to(record: ChannelRecord, place: int, given: dt.datetime) -> float:
    """Seconds from a run's first sample to a moment; a moment without a zone is on the log's clock."""
    start = record.runs[place].start
    assert start is not None  # asked before
    return ((given.replace(tzinfo=start.tzinfo) if given.tzinfo is None else given) - start).total_seconds()


def within_logs(records: Sequence[ChannelRecord], given: dt.datetime) -> None:
    """Can the logs be parted at that moment?"""
    runs = [run for record in records for run in record.runs]
    for run in runs:
        if run.start is None:
            raise ValueError(
                f"a moment given as a date needs logs that tell their date; {run.source} tells none: mark it beside the log (flicker mark)"
            )
        if given.tzinfo is not None and run.start.tzinfo is None:
            raise ValueError(
                f"{run.source} tells its times without a zone; give the moment likewise, got {given.isoformat()}"
            )
    spans = [(seconds_to(record, place, given), run) for record in records for place, run in enumerate(record.runs)]
    if spans and (all(at <= 0.0 for at, _ in spans) or all(at >= run.duration_s for at, run in spans)):
        side = "after" if spans[0][0] <= 0.0 else "before"
        raise ValueError(
            f"all that was logged lies {side} the moment given ({given:%Y-%m-%d %H:%M}); nothing can be set against it"
        )


def power_up_text(record: ChannelRecord, units: Sequence[Sequence[int]], unit: int) -> str:
    """Which power-up, and when it began where the log tells it."""
    first = units[unit][0]
    said = f"power-up {unit + 1} of {len(units)}"
    if record.runs[first].start is None:
        return said
    return f"{said}, begun {moment_text(record.runs[first], 0.0, record.numbers[first], True)}"


def given_power_up(
    record: ChannelRecord, units: Sequence[Sequence[int]], border: int, given: dt.datetime | None, limits: Limits
) -> RateChanged | None:
    """Power-ups after the moment given against those before it, by the engine."""
    after = np.arange(len(units)) >= border
    counts = counts_of(record, after)
    if not (counts.expected[after].any() and counts.expected[~after].any()):
        return None
    if given is None:
        when = f"after what was marked, from {power_up_text(record, units, border)} on"
    else:
        when = f"since {said_of(given)}, the moment given"
    moment = (record.numbers[units[border][0]], 0.0)
    got = compared(counts.counts, counts.expected, after, limits)
    held = held_by(counts.episodes, counts.observed_s, [border], limits, counts.by_share)
    return tested(got, Over.POWER_UPS, border, (moment,) * 3, when, held)


def held_by(
    episodes: Ints, observed_s: Floats, borders: Sequence[int], limits: Limits, by_share: bool = False
) -> list[Held]:
    """What the units between borders counted; their rate with the limits of units that differ, where counts tell it."""
    out = []
    for a, b in itertools.pairwise((0, *borders, len(episodes))):
        rate = None
        if not by_share and observed_s[a:b].sum() > 0:
            found = power_ups.mean_rate(
                episodes[a:b], observed_s[a:b] / HOUR, scatter=limits.power_up_scatter, confidence=limits.confidence
            )
            rate = found.rate, found.low, found.high
        out.append(Held(episodes=int(episodes[a:b].sum()), observed_s=float(observed_s[a:b].sum()), rate=rate))
    return out


def compared(counts: Ints, expected: Floats, after: Bools, limits: Limits) -> RateComparison:
    """Units after a moment against those before it."""
    return power_ups.rate_comparison(
        counts[~after], expected[~after], counts[after], expected[after], scatter=limits.power_up_scatter,
        level=0.5 * (1.0 - limits.confidence), confidence=limits.confidence,
    )  # fmt: skip


def tested(
    got: RateComparison,
    over: Over,
    unit: int,
    moments: Sequence[tuple[int | None, float | None]],
    when: str,
    held: Sequence[Held],
) -> RateChanged:
    """A draft of a moment that was given."""
    if got.alone:
        when += f" (one on each side, which cannot tell how far like {over} vary)"
    change = Change(got=got, units=(unit,) * 3, moments=moments, when=when)
    return made([change], held, over, min(1.0, 2.0 * min(got.p_up, got.p_down)), got.method)


def said_of(given: dt.datetime) -> str:
    """A moment as it was given."""
    return f"{given:%Y-%m-%d}" if given.time() == dt.time() else f"{given:%Y-%m-%d %H:%M}"
