"""Judge the runs of one unit: logs and limits in, one frozen `Assessment` out."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from flicker.base.arrays import Floats
from flicker.base.formats import names_text
from flicker.base.limits import Limits
from flicker.base.progress import each, tell
from flicker.base.result import Result, plain
from flicker.base.values import Fitness, TailKind, VerdictWord
from flicker.case.outputs import KINDS
from flicker.evidence.channel import AmongChannels, ChannelAssessment, PageContext, RawAnswers, judge_channel
from flicker.evidence.document.excursion_table import EXCURSIONS_LISTED
from flicker.evidence.document.frames import AssessmentTables
from flicker.evidence.document.head import ByChannel, head
from flicker.evidence.guard import Reason, judge_guard
from flicker.evidence.guard.model import MOVE_V
from flicker.evidence.guard.words import asleep_text
from flicker.evidence.outlook.bench import Relays, control_of
from flicker.evidence.outlook.end_state import End, approach, as_one_event, failed, stands, stood
from flicker.evidence.questions.auxiliary_channels import (
    Beside,
    CompanionResult,
    lead_record,
    results,
    with_floor,
)
from flicker.evidence.questions.cell_levels import levels_of
from flicker.evidence.questions.level_jumps import jump_count
from flicker.evidence.questions.movement import minute_levels, raw_movement
from flicker.evidence.questions.together import (
    Coincidence,
    coincidence_of,
    lead_hits,
    mostly_common,
    moves_along,
    recurring_common,
    supply,
)
from flicker.evidence.questions.worsening import FEWEST, growth_findings, page_foot
from flicker.evidence.record.channel_record import EVER, ChannelRecord, records
from flicker.evidence.record.log_checks import in_runs
from flicker.evidence.record.over_range import at_least_the_range
from flicker.evidence.record.overlaps import beginnings
from flicker.evidence.record.starts import (
    BEHIND_RELAY,
    asleep_times,
    off_times,
    sessions_of,
    sessions_with,
    side_of,
    still_open,
    times_slept,
)
from flicker.evidence.traced import LogLike, NothingNew, Seen, Traced, as_logs
from flicker.evidence.verdict import DANGER, DO_NOT_CONNECT, ORDER
from flicker.evidence.words import Next
from flicker.evidence.worth_looking import in_every_channel
from flicker.logs.model import Run
from flicker.logs.used_columns import has_difference
from flicker.signals.connection.reasons import sentences
from flicker.signals.trace import RunTraces

if TYPE_CHECKING:
    from flicker.case.case_file import Case
    from flicker.evidence.among_like import AmongLike
    from flicker.evidence.located.rate_changed import RateChanged
    from flicker.logs.marks import Mark
    from flicker.signals.cache import BlockCache

SAFETY = (
    "Test with a dummy load rated for the supply rails, or none; no loudspeaker on a channel under test. Mains voltage and "
    "charged capacitors can kill: covers off only for those trained for it, local codes and licensed practice first."
)


DANGEROUS = "Do not connect a loudspeaker to a channel marked 'do not connect', and do not leave the unit on unattended."
MID_OPERATION = "No power-up was seen: the log begins in mid-operation, so the surge and the settling are not judged."


@dataclass(frozen=True, slots=True)
class Assessment(ByChannel[ChannelAssessment], AssessmentTables, Result):
    """Judgement of one unit over the runs given.

    ``to_dict`` follows the schema 'flicker/assessment/2'. ``records``, ``traces`` and ``beside`` keep what charts and
    comparisons need; they are not part of the document.
    """

    limits: Limits
    runs: tuple[Run, ...]
    channels: tuple[ChannelAssessment, ...]
    coincidence: Coincidence | None
    next: Next
    cautions: tuple[str, ...]
    records: tuple[ChannelRecord, ...] = field(repr=False)
    traces: tuple[RunTraces, ...] = field(repr=False)
    seed: int = 0
    beside: Beside = field(default_factory=Beside, repr=False)
    companions: tuple[CompanionResult, ...] = ()
    ledger: tuple[AmongLike, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Return the document of the schema 'flicker/assessment/2'."""
        return {
            **head(
                "flicker/assessment/2",
                self.seed,
                "Holm within {intermittent, noise, drift, level change} of each channel; one-sided over {worse with age, "
                "larger with age} (below three power-ups {more often, larger}) of all channels together",
            ),
            "limits": plain(self.limits),
            "runs": [run.to_dict() for run in self.runs],
            "channels": [item.to_dict() for item in self.channels],
            "companions": [item.to_dict() for item in self.companions],
            "coincidence": plain(self.coincidence),
            "next": self.next.to_dict(),
            "cautions": list(self.cautions),
            "ledger": [item.to_dict() for item in self.ledger],
        }


def assess(
    log_or_logs: LogLike | Sequence[LogLike],
    limits: Limits | None = None,
    *,
    case: Case | None = None,
    progress: Callable[[str], None] | None = None,
    excursions_listed: int = EXCURSIONS_LISTED,
    cache: BlockCache | None = None,
    control: LogLike | Sequence[LogLike] | None = None,
    control_kind: str = "shorted",
    marks: Sequence[Mark] = (),
    since: dt.datetime | None = None,
    seen: Seen | None = None,
) -> Assessment:
    """Judge the runs of one unit, in time order.

    Parameters
    ----------
    log_or_logs : Log, path, or sequence of them
        One file is one run unless it has a run column, a long pause, or several power-ups.
    limits : Limits, optional
        What is large enough to matter; the defaults are common practice, or those of the case.
    case : Case, optional
        The job: its columns are used as it says, and 'steady' must also exclude the rate of its complaint.
    progress : callable, optional
        Called with a few words before each longer step.
    excursions_listed : int
        At most so many excursions of a channel become rows, those that trip the relay first, then the largest;
        ``excursions_total`` counts all, `flicker.evidence.document.excursion_table.write_excursions` writes all.
    cache : BlockCache, optional
        Where blocks of a file are kept, so that a second look need not read it again.
    control : Log, path, or sequence of them, optional
        A log with shorted leads, or of a unit known to be good: is it the unit or the meter?
    control_kind : {'shorted', 'sound'}
        Which of the two.
    marks : sequence of Mark, optional
        What the hands did, on the clock of the (only) log, beside what stands in its file of marks or a column.
    since : datetime, optional
        A moment named beforehand, of a repair or an adjustment: is the rate of episodes another since? Nothing is searched.
    seen : Seen, optional
        What other judgements of the unit counted already: it is left out here.

    Returns
    -------
    Assessment

    Raises
    ------
    LogError
        If a log cannot be read or holds nothing to judge.
    NothingNew
        If all of it was counted already.
    """
    if excursions_listed < 0:
        raise ValueError(f"excursions_listed must be 0 or more, got {excursions_listed}")
    limits = limits or (case.limits if case else Limits())
    logs = as_logs(log_or_logs, cache)
    if marks and len(logs) > 1:
        raise ValueError(f"marks belong to one log, and {len(logs)} were given; put them into files beside the logs")
    traced = Traced(limits, case, cache, progress, seen or Seen())
    contained = beginnings(logs)
    for place, log in enumerate(logs):
        if place in contained:
            traced.begins(log, logs[contained[place]])
        else:
            traced.add(place, log, marks)
    if not traced.traces:
        raise NothingNew(traced.beside.cautions)
    background = None
    if control is not None:
        background = traced.control(as_logs(control, cache), shorted=control_kind == "shorted")
    if progress:
        progress("weighing the evidence")
    return judge(
        traced.traces,
        traced.relays,
        limits,
        traced.beside,
        Asked(
            case=case,
            excursions_listed=excursions_listed,
            control=background,
            control_kind=control_kind,
            difference=any(has_difference(log) for log in logs),
            since=since,
        ),
    )


class Asked(NamedTuple):
    """What else an assessment is asked for, as in `assess`; ``difference``: an output is the difference of two columns."""

    case: Case | None = None
    excursions_listed: int = EXCURSIONS_LISTED
    control: Sequence[RunTraces] | None = None
    control_kind: str = "shorted"
    difference: bool = False
    since: dt.datetime | None = None


def judge(
    traces: Sequence[RunTraces], relays: Relays, limits: Limits, beside: Beside | None = None, asked: Asked | None = None
) -> Assessment:
    """Judge traces that are already made."""
    beside, asked = beside or Beside(), asked or Asked()
    case, control = asked.case, asked.control
    floor_words = ""
    if beside.lead is not None:
        traces, floor_words = with_floor(traces, beside.lines_of(beside.lead))
    traces = at_least_the_range(traces)
    ends: dict[str, End] = {}
    names = list(dict.fromkeys(trace.channel for run in traces for trace in run.traces))
    for name in names:
        if end := failed(traces, name) or stands(traces, name, limits.protection_V):
            ends[name] = end
            traces = as_one_event(traces, name, end, limits.dead_time_s)
        for before in stood(traces, name, limits.protection_V):
            traces = as_one_event(traces, name, before, limits.dead_time_s)
    sessions = sessions_of(traces, case)
    stretches = {name: sessions_with(sessions, name) for name in names}
    guards = {
        name: judge_guard(
            *logged,
            limits,
            speaker_side=side_of(case, name) in BEHIND_RELAY,
            averaged=any(name in run.run.averaged for run in traces),
        )
        for name, logged in stretches.items()
    }
    off = off_times(traces)
    marked = [record.without(off) for record in records(traces, dead_time_s=limits.dead_time_s)]
    hits = lead_hits(marked, beside)
    whole, shared = recurring_common(marked, limits, hits)
    # hours in which the lead may have seen nothing tell of a level, and are no exposure: one observed time for all counts
    slept = {record.channel: asleep_times(traces, sessions, guards[record.channel]) for record in whole}
    found = [record.without(slept[record.channel]) for record in whole]
    together = mostly_common(marked) if shared else frozenset()
    lead = lead_record(beside, limits)
    steps = 3 + len(found)
    growth = growth_findings(found, limits)
    tell(1, steps)
    changed = _changed(found, limits, asked.since)
    tell(2, steps)
    levels_found = levels_of(whole, beside.temperatures, beside.log_of_run, limits)
    tell(3, steps)
    page = PageContext(limits, relays, case, lead, asked.excursions_listed)
    channels = tuple(
        judge_channel(
            record,
            page,
            RawAnswers(
                guard=guards[record.channel],
                movement=raw_movement(minute_levels(traces, record.channel), min(limits.drift_V, MOVE_V)),
                jumps=jump_count(
                    *stretches[record.channel],
                    slept=times_slept(traces, record.channel, guards[record.channel]),
                ),
                end=ends.get(record.channel),
                ahead=approach(traces, record.channel, limits.protection_V),
                along=moves_along(*stretches[record.channel], limits.drift_V),
            ),
            AmongChannels(
                whole=before,
                levels=levels,
                growth=answers,
                since=own,
                together=record.channel in together,
                lead_hits=int(np.count_nonzero(hits.get(record.channel, False))),
            ),
        )
        for record, before, levels, answers, own in each(
            zip(found, whole, levels_found, growth, changed, strict=True), steps, done=3
        )
    )
    pointed = in_every_channel([item.worth_looking for item in channels])
    channels = tuple(replace(item, worth_looking=rows) for item, rows in zip(channels, pointed, strict=True))
    if control is not None or (lead is not None and lead.observed_s > 0):
        other = (
            [lead] if control is None and lead is not None else records(control or (), dead_time_s=limits.dead_time_s)
        )
        channels = tuple(
            replace(item, control=control_of(record, other, limits, kind=asked.control_kind))
            for item, record in zip(channels, marked, strict=True)
        )
    begun = {run.number: run.run.start for run in traces}
    asleep = [asleep_text(x.channel, x.guard, begun.get(x.guard.asleep[0].run)) for x in channels if x.guard.asleep]
    same = [item.channel for item in channels if Reason.SAME in item.guard.reasons]
    if len(same) == 1:
        asleep.append(f"{same[0]} repeats the readings of another channel, or a fixed part of them: is its input open, or its lead on the other output?")
    elif same:
        asleep.append(f"{names_text(same)} read the same to the last digit: two leads on one output, or one column written twice?")
    cautions = [*asleep, *in_runs(traces, found), *_cautions(channels, found, slept)]
    cautions.extend(dict.fromkeys(text for item in channels if item.control for text in item.control.cautions))
    cautions.extend(dict.fromkeys(text for item in channels if item.stimulus for text in item.stimulus.cautions))
    kinds = [*([] if case is None else [case.output]), *(["bridged"] if asked.difference else [])]
    coincidence = coincidence_of(found, beside)
    foot = page_foot([item for answers in growth for item in answers], limits)
    first = [shared, *dict.fromkeys(KINDS[kind].caution for kind in kinds)]
    cautions = [text for text in (*first, *cautions, *supply(coincidence, beside), foot, *beside.cautions) if text]
    return Assessment(
        limits=limits,
        runs=tuple(run.run for run in traces),
        channels=channels,
        coincidence=coincidence,
        next=_overall(channels, limits),
        cautions=tuple(cautions),
        records=tuple(counted(record, item) for record, item in zip(found, channels, strict=True)),
        traces=tuple(traces),
        companions=results(beside, floor_words),
        beside=beside,
    )


def _changed(
    found: Sequence[ChannelRecord], limits: Limits, since: dt.datetime | None
) -> Sequence[RateChanged | None]:
    """When each channel's rate changed; where hardly anything happened there is no rate that could have."""
    if since is None and all(record.own_episodes < FEWEST for record in found):
        return [None] * len(found)
    from flicker.evidence.located.rate_since import since_findings  # late: logs with few episodes do without

    return since_findings(found, limits, since)


def _overall(channels: Sequence[ChannelAssessment], limits: Limits) -> Next:
    """What the channel that is worst asks for, fitness first; of equals the longest."""
    if not channels:
        return Next(None, limits.confidence, "Nothing was observed.")

    def rank(item: ChannelAssessment) -> tuple[int, int, float]:
        asked = math.inf if item.next.soak_h is None else item.next.soak_h
        return DANGER.index(Fitness(item.fitness)), ORDER.index(VerdictWord(item.verdict)), -asked

    return min(channels, key=rank).next


def counted(record: ChannelRecord, channel: ChannelAssessment) -> ChannelRecord:
    """The record with the hours that count, for all that compares and adds up: without a sign of life none is a clean one."""
    if channel.tail_kind == TailKind.NO_LIFE:
        return record.without({number: EVER for number in record.numbers})
    return record


def _cautions(
    channels: Sequence[ChannelAssessment], found: Sequence[ChannelRecord], slept: Mapping[str, Mapping[int, Floats]]
) -> list[str]:
    danger = any(item.fitness == DO_NOT_CONNECT for item in channels)
    started = any(trace.power_up_seen for record in found for trace in record.traces)
    out = [DANGEROUS] if danger else []
    for record in found:
        out.extend(sentences(record.channel, still_open(dict(zip(record.numbers, record.traces, strict=True)), slept[record.channel])))
        out.extend(text for trace in record.traces for text in trace.cautions)
    dead = [item.channel for item in channels if item.tail_kind == TailKind.NO_LIFE]
    out += [f"{name}: nothing shows that a live output was being measured." for name in dead]
    return list(dict.fromkeys([*out, *([] if started else [MID_OPERATION]), SAFETY]))
