"""From marks to evidence: what the signal stage must leave out, and whether a stimulus provokes the fault."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from flicker.base.values import Basis
from flicker.evidence.findings import NOT_SHOWN, YES, Finding
from flicker.evidence.questions.registry import question
from flicker.evidence.record.channel_record import ChannelRecord
from flicker.logs.marks import Mark, borders, marks_path, noted, read_marks, stimuli, touched
from flicker.logs.marks_column import joined, marks_in_column
from flicker.logs.model import Log
from flicker.logs.spans import spans
from flicker.signals.mark_windows import Hands

if TYPE_CHECKING:
    from flicker.evidence.questions.stimulus import StimulusReport

BY_HAND = "reproduced by a stimulus"
SILENT = "By itself not shown to come back, but a stimulus brings it back: see 'provoked'."


def marks_beside(log: Log) -> tuple[Mark, ...]:
    """Marks that stand in a file beside the log, if there is one.

    Raises
    ------
    LogError
        One sentence for the first bad mark.
    """
    if log.path is None:
        return ()
    beside = marks_path(log.path)
    return read_marks(beside, log) if beside.is_file() else ()


def marks_of(log: Log, more: Iterable[Mark] = ()) -> tuple[Mark, ...]:
    """All marks of a log: those beside it, those in a column of its own, and ``more``.

    Raises
    ------
    LogError
        One sentence for the first bad mark.
    """
    return joined(joined(marks_beside(log), marks_in_column(log)), tuple(more))


def hands_of(marks: Iterable[Mark], channels: Sequence[str]) -> dict[str, Hands]:
    """What the marks ask of each channel, on the log's clock."""
    marks = tuple(marks)
    if not marks:
        return {}
    from flicker.evidence.questions.stimulus import EARLY_S, window_for  # late: most logs come without a mark

    out = {}
    for channel in channels:
        mine = [mark for mark in marks if mark.concerns(channel)]
        if not mine:
            continue
        tried = stimuli(mine)
        windows = spans((t - EARLY_S, t + window_for(kind)) for kind, times in tried.items() for t in times)
        power_s = tuple(sorted(mark.end_s for mark in mine if mark.kind == "power"))
        out[channel] = Hands(
            touched=touched(mine),
            windows=windows,
            breaks_s=borders(mine),
            stimuli=tuple(tried.items()),
            notes_s=noted(mine),
            power_s=power_s,
        )
    return out


def provoked(record: ChannelRecord, confidence: float) -> StimulusReport | None:
    """Judge the stimuli marked for a channel; None where none was."""
    if not any(trace.hands.stimuli for trace in record.traces):
        return None
    from flicker.evidence.questions.stimulus import StimulusRun, judge_stimuli

    runs = [
        StimulusRun(
            event_s=trace.tried.start_s if trace.tried is not None else np.empty(0),
            stimuli=dict(trace.hands.stimuli),
            observed=trace.trial_observed,
        )
        for trace in record.traces
        if trace.hands.stimuli and trace.trial_observed is not None
    ]
    if not runs:
        return None
    return judge_stimuli(runs, channel=record.channel, dead_time_s=record.dead_time_s, confidence=confidence)


def proved_by_hand(findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """A channel that is silent by itself but answers a stimulus is intermittent all the same: proved, by hand."""
    by_name = {item.question: item for item in findings}
    told = by_name.get("provoked")
    if told is None or told.answer != YES or by_name["intermittent"].answer == YES:
        return tuple(findings)
    return tuple(
        replace(item, answer=YES, method=f"{BY_HAND}: {told.method}", reads=SILENT, holds=True, basis=Basis.BY_HAND)
        if item.question == "intermittent"
        else item
        for item in findings
    )


@question(
    "provoked",
    asks="Does it answer when it is provoked?",
    place=120,
    meaning="Do marked taps, bends, heat or cold bring it on? (Asked where a log has such marks.)",
    chart="stimuli",
)
def provoked_finding(report: StimulusReport) -> Finding:
    """The answer as a finding of its own question."""
    best = next((item for item in report.kinds if item.kind == report.best), report.kinds[0])
    return Finding(
        "provoked",
        NOT_SHOWN if report.provoked == YES else report.provoked,
        report.method,
        report.reads,
        statistic=float(best.answered),
        p_value=best.p_adjusted,
        sided="one",
        effect=best.share,
        low=best.low,
        high=best.high,
        unit="share of trials answered",
        holds=report.provoked == YES,
    )
