"""What the channels share: events of all at once, of the shorted lead, of rail and mains; pairs against chance."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Annotated

import numpy as np

from flicker.base.arrays import Bools, Floats
from flicker.base.limits import Limits
from flicker.base.result import Doc, Result
from flicker.base.units import HOUR
from flicker.evidence.guard import Session
from flicker.evidence.guard.model import WARM_S
from flicker.evidence.questions.auxiliary_channels import Beside, events_of, with_lead
from flicker.evidence.questions.recurrence import nuisance_seen_per_h
from flicker.evidence.record.channel_record import ChannelRecord
from flicker.stats.rates import recurrence as recurrence_test

if TYPE_CHECKING:
    from flicker.signals.coincidence import ChannelCoincidence


def lead_hits(found: Sequence[ChannelRecord], beside: Beside) -> dict[str, Bools]:
    """Episodes of each channel that the shorted lead saw at the same time."""
    if beside.lead is None:
        return {}
    lines = beside.lines_of(beside.lead)
    return {record.channel: with_lead(record, events_of(lines, record, beside.log_of_run)) for record in found}


# Correlation of the five-minute middles, a line taken off, a choice: two faults of their own, each a wave or a hump of
# random place, pass in 1.3 and 0.9 % of 4,000 pairs, random walks and 1/f noise in none (tests/studies/results/danger.md).
ALONG = 0.985  # a choice, measured in tests/studies/results/danger.md


def moves_along(sessions: Sequence[Session], channel: Sequence[int], least_V: float) -> bool:
    """Whether another channel moves as this one does, cell by cell, and by as much as matters.

    A line is taken off first: two channels that drift evenly, each for its own reason, follow each other too.
    """
    rows: list[tuple[Floats, ...]] = []  # of each session this channel and the others
    for session, own in zip(sessions, channel, strict=True):
        channels = session.figures.channels
        mine = channels[own]
        warm = ~mine.late & (mine.begin_s >= WARM_S)
        if any(item.median_V.size != mine.median_V.size for item in channels) or not warm.any():
            return False
        others = [item.median_V[warm] for k, item in enumerate(channels) if k != own]
        rows.append((mine.median_V[warm], *others))
    if not rows or len({len(row) for row in rows}) > 1:
        return False
    columns = (_without_line(np.concatenate(part)) for part in zip(*rows, strict=True))
    mine_V = next(columns)
    if mine_V.size < 4 or np.ptp(mine_V) <= least_V:
        return False
    return any(np.ptp(other) > least_V and float(np.corrcoef(mine_V, other)[0, 1]) >= ALONG for other in columns)


def _without_line(value: Floats) -> Floats:
    along = np.arange(value.size) - 0.5 * (value.size - 1)
    slope = float(value @ along) / max(float(along @ along), 1.0)
    return np.asarray(value - value.mean() - slope * along)


def mostly_common(found: Sequence[ChannelRecord]) -> frozenset[str]:
    """Channels whose episodes came mostly in all channels at once."""
    return frozenset(
        record.channel for record in found if 2 * np.count_nonzero(record.episodes.common) > record.episodes.count
    )


def recurring_common(
    found: list[ChannelRecord], limits: Limits, hits: Mapping[str, Bools]
) -> tuple[list[ChannelRecord], str]:
    """Events of all channels at once are the room's, unless there are more of them than a room shows.

    What the shorted lead saw too (``hits``) is the room's or the meter's, however often.
    """
    counts = [
        int(np.count_nonzero(record.episodes.common & ~hits.get(record.channel, np.bool_(False)))) for record in found
    ]
    found = [
        _with_common(record, record.episodes.common | hits.get(record.channel, np.bool_(False))) for record in found
    ]
    if not counts or max(counts) < 2:
        return found, ""
    hours = max(record.observed_s for record in found) / HOUR
    result = recurrence_test(max(counts), hours, nuisance_rate=nuisance_seen_per_h(found[0], limits))
    if result.p_value > 1.0 - limits.confidence:
        return found, ""
    kept = [
        _with_common(record, hits.get(record.channel, np.zeros(record.episodes.count, dtype=bool))) for record in found
    ]
    return kept, (
        f"{max(counts)} episodes came in all channels at once, more than a room shows: look at what the channels share "
        "(supply, protection, mains, ground or the meter) before either channel."
    )


def _with_common(record: ChannelRecord, common: Bools) -> ChannelRecord:
    return replace(record, episodes=replace(record.episodes, common=common))


@dataclass(frozen=True, slots=True)
class Coincidence(Result):
    """Pairs of channels."""

    pairs: Annotated[
        tuple[ChannelCoincidence, ...],
        Doc("Each two channels that share their runs; empty where no channel showed an episode."),
    ]
    reads: Annotated[str, Doc("In words, for the owner of the unit.")]


def coincidence_of(found: Sequence[ChannelRecord], beside: Beside) -> Coincidence | None:
    """Every pair of channels that share their runs, and of each with what was logged beside; None with nothing to pair."""
    alike = [record for record in found if record.numbers == found[0].numbers]
    others = list(dict.fromkeys(line.name for line in beside.lines))
    if len(alike) + len(others) < 2:
        return None
    if not any(record.episodes.count for record in alike):
        return Coincidence((), "No channel showed an episode.")
    from flicker.signals.coincidence import ChannelEvents, coincide_all  # late: calm logs do without

    events = {
        record.channel: [
            ChannelEvents.from_trace(trace, run.sample_interval_s)
            for trace, run in zip(record.traces, record.runs, strict=True)
        ]
        for record in alike
    }
    for name in others:
        events[name] = events_of(beside.lines_of(name), alike[0], beside.log_of_run)
    pairs = coincide_all(events, beside=others)
    return Coincidence(tuple(pairs), " ".join(pair.reads for pair in pairs))


def supply(coincidence: Coincidence | None, beside: Beside) -> list[str]:
    """Which outputs jump with a rail or the mains."""
    roles = {line.name: line.role for line in beside.lines if line.role in ("rail", "mains")}
    if not roles or coincidence is None:
        return []
    from flicker.signals.coincidence import BEYOND_CHANCE

    return [
        f"{pair.together} of {pair.episodes_a} episodes of {pair.a} came with {pair.b} "
        f"({roles[pair.b]}): the supply is the common cause to look at first."
        for pair in coincidence.pairs
        if pair.b in roles and pair.answer in BEYOND_CHANCE
    ]
