"""Does tapping do it? Marked stimuli and excursions in; per kind: answered or not, provoked or not, what to repeat.

Stimuli on live equipment are dangerous: `CAUTION` stands beside every result.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Annotated

import numpy as np
from scipy import special

from flicker import stats
from flicker.base.arrays import Floats
from flicker.base.formats import digits_text, lasting_text, share_text
from flicker.base.result import Doc, Result
from flicker.base.values import Answer
from flicker.evidence.findings import NO, NOT_SHOWN, YES, holm
from flicker.logs.spans import elapsed, holds, spans, total, without
from flicker.stats.rates import rate_ratio, share_interval

# Seconds within which an answer counts, by the first word of what was done; common practice, no source.
WINDOWS_S = {
    "tap": 5.0,
    "knock": 5.0,
    "flex": 5.0,
    "switch": 5.0,
    "pot": 5.0,
    "heat": 120.0,
    "freeze": 120.0,
    "cold": 120.0,
}
WINDOW_S = 10.0  # for any other word; common practice, no source
EARLY_S = 1.0  # common practice, no source: the hand and the mark are not on the same second
LEAST_ANSWERS = 2  # a single answer is not a repetition; by definition
WORTH_SHARE = 0.10  # common practice, no source: a stimulus that works less often is no tool
SEED = 20_260_104  # of random turns, drawn only where trials and excursions are very many
MOST_REPEATS = 1000  # a choice: nobody taps more often
CAUTION = (
    "Stimuli on a live unit: mains voltage and charged capacitors inside; dummy load and no loudspeaker on the output, "
    "insulated tools, one hand, current-limited supply where possible. Local codes and licensed practice come first."
)


@dataclass(frozen=True, slots=True)
class StimulusRun:
    """One channel in one run, seconds since the run's first sample.

    ``event_s`` are the begins of excursions (not of episodes: a dead time would swallow answers), ``stimuli`` the
    times of stimuli by kind, ``observed`` the observed intervals, shape (n, 2).
    """

    event_s: Floats
    stimuli: Mapping[str, Sequence[float]]
    observed: Floats


@dataclass(frozen=True, slots=True)
class StimulusAnswer(Result):
    """What one kind of stimulus does.

    Attributes
    ----------
    trials, answered
        Stimuli in observed time (closer than a window: one trial), and those followed by an excursion.
    share, low, high
        Answered share with its exact interval; ``expected`` answers by chance.
    inside_per_h, outside_per_h, ratio, ratio_low, ratio_high
        Rate of answered trials in the windows, rate of bursts outside all windows, and their ratio (exact interval,
        for bursts that come singly).
    p_value, p_adjusted
        Chance of as many answers by what came in the windows on both sides of each trial; Holm over kinds.
    answer
        'yes': shown, answered twice or more, and in at least a tenth of the trials. 'no': shown to work in fewer than
        a tenth. Else 'not shown'.
    repeats
        How many further trials settle it (`repeats_for` says what): None where that is not within reason.
    """

    kind: Annotated[str, Doc("The stimulus, by its first word.")]
    window_s: Annotated[float, Doc("Seconds within which an answer counts.", ge=0)]
    trials: Annotated[int, Doc("Stimuli in observed time.", ge=0)]
    answered: Annotated[int, Doc("Those followed by an excursion.", ge=0)]
    share: Annotated[float, Doc("Answered share.", ge=0, le=1, null=True)]
    low: Annotated[float, Doc("Its lower limit, exact.", ge=0, le=1, null=True)]
    high: Annotated[float, Doc("Its upper limit.", ge=0, le=1, null=True)]
    expected: Annotated[float, Doc("Answers by chance.", ge=0, null=True)]
    inside_per_h: Annotated[float, Doc("Answered trials per hour of window.", ge=0, null=True)]
    outside_per_h: Annotated[float, Doc("Bursts per hour outside all windows.", ge=0, null=True)]
    ratio: Annotated[float, Doc("Ratio of the two.", ge=0, open=True)]
    ratio_low: Annotated[float, Doc("Its lower limit.", ge=0, open=True)]
    ratio_high: Annotated[float, Doc("Its upper limit.", ge=0, open=True)]
    p_value: Annotated[float, Doc("One-sided, by the windows on both sides of each trial.", ge=0, le=1)]
    p_adjusted: Annotated[float, Doc("Corrected over the kinds.", ge=0, le=1)]
    answer: Annotated[Answer, Doc("What is shown.", values=("yes", "no", "not shown"))]
    repeats: Annotated[int | None, Doc("Further trials that settle it; null where none would within reason.", ge=0)]
    repeats_for: Annotated[str, Doc("What they settle.")]
    confidence: Annotated[float, Doc("Confidence of intervals, a share.")]
    method: Annotated[str, Doc("Method in words.")]

    @property
    def reads(self) -> str:
        """The answer in words."""
        if self.trials == 0:
            return f"{self.kind}: no trial in observed time."
        words = f"{self.kind}: {self.answered} of {self.trials} answered within {self.window_s:g} s"
        words += f" (between {share_text(self.low)} and {share_text(self.high)} in the long run; chance would answer {digits_text(self.expected)})"
        words += {YES: ": it provokes the fault", NO: ": it does not provoke the fault", NOT_SHOWN: ": not shown"}[
            self.answer
        ]
        return words + (f". {self.repeats} {self.repeats_for}." if self.repeats else ".")


@dataclass(frozen=True, slots=True)
class StimulusReport(Result):
    """Answers by kind, what the channel does by itself, and which stimulus to repeat."""

    channel: Annotated[str, Doc("Name of the channel.")]
    provoked: Annotated[str, Doc("What is shown.", values=("yes", "no", "not shown"))]
    best: Annotated[str, Doc("The kind to repeat; empty where none.")]
    kinds: Annotated[tuple[StimulusAnswer, ...], Doc("One entry per kind.")]
    spontaneous: Annotated[int, Doc("Bursts outside all windows.", ge=0)]
    spontaneous_s: Annotated[float, Doc("Observed seconds outside all windows.", ge=0)]
    confidence: Annotated[float, Doc("Confidence, a share.")]
    cautions: Annotated[tuple[str, ...], Doc("What to be careful about.")]
    method: Annotated[str, Doc("Method in words.")]

    @property
    def reads(self) -> str:
        """The finding in words."""
        if not self.kinds:
            return f"{self.channel}: no stimulus was marked."
        rest = f"By itself: {self.spontaneous} in {lasting_text(self.spontaneous_s)}"
        top = next((item for item in self.kinds if item.kind == self.best), None)
        if self.provoked == YES and top:
            return f"{self.channel}: intermittent, provoked. {top.reads} {rest}."
        if self.provoked == NO:
            return f"{self.channel}: none of the stimuli provokes the fault. {rest}."
        words = f"{self.channel}: it is not shown that a stimulus provokes the fault. {rest}."
        return f"{words} {top.reads}" if top else words


def window_for(kind: str) -> float:
    """Seconds within which an answer to a kind of stimulus counts, where nothing else is asked."""
    words = kind.split()
    return next((WINDOWS_S[word] for word in words if word in WINDOWS_S), WINDOW_S)


def judge_stimuli(
    runs: Sequence[StimulusRun],
    *,
    channel: str = "channel",
    dead_time_s: float = 10.0,
    confidence: float = 0.95,
) -> StimulusReport:
    """Judge every kind of stimulus over the runs of one channel.

    Parameters
    ----------
    runs : sequence of StimulusRun
        One per run.
    channel : str
        Its name.
    dead_time_s : float
        Longest gap inside one burst, for the rate outside the windows.
    confidence : float
        Of decisions and intervals.

    Notes
    -----
    Each kind is judged in the time outside the windows of the others (inside a longer window of another kind, where the
    two overlap), so that a tap that works does not make the heat gun look guilty. p: each trial is set
    against the windows on both sides of it (`stats.power_ups.provoked_test`), so that neither a rate that falls after
    switching on nor bursts pass for answers; Holm over kinds.
    """
    names = list(dict.fromkeys(name for run in runs for name in run.stimuli))
    widths = {name: window_for(name) for name in names}
    every = [
        {name: spans((at - EARLY_S, at + width) for at in run.stimuli.get(name, ())) for name, width in widths.items()}
        for run in runs
    ]
    quiet = [without(run.observed, spans(pair for table in own.values() for pair in table.tolist()))
             for run, own in zip(runs, every, strict=True)]  # fmt: skip
    alone = sum(_bursts(run.event_s, part, dead_time_s) for run, part in zip(runs, quiet, strict=True))
    alone_s = math.fsum(total(part) for part in quiet)
    drafts = []
    for name in names:
        seen = [without(run.observed, _foreign(own, widths, name)) for run, own in zip(runs, every, strict=True)]
        drafts.append(_judge(name, runs, seen, widths[name], alone, alone_s, confidence))
    adjusted = holm([item.p_value for item in drafts])
    kinds = tuple(_settled(item, p) for item, p in zip(drafts, adjusted, strict=True))
    answers = {item.answer for item in kinds}
    provoked = YES if YES in answers else NO if answers == {NO} else NOT_SHOWN
    return StimulusReport(
        channel=channel,
        provoked=provoked,
        best=_best(kinds),
        kinds=kinds,
        spontaneous=alone,
        spontaneous_s=alone_s,
        confidence=confidence,
        cautions=(CAUTION,) if kinds else (),
        method="answered trials against the windows on both sides of each (Poisson-binomial); Holm over kinds",
    )


def _foreign(own: Mapping[str, Floats], widths: Mapping[str, float], name: str) -> Floats:
    """Windows of the other kinds; a window of this kind stands inside a longer one of another."""
    pairs: list[tuple[float, float]] = []
    for other, table in own.items():
        if other != name:
            rest = without(table, own[name]) if widths[name] <= widths[other] else table
            pairs.extend((float(a), float(b)) for a, b in rest)
    return spans(pairs)


def _bursts(event_s: Floats, observed: Floats, dead_time_s: float) -> int:
    """Bursts that begin in observed time."""
    times = np.sort(event_s[holds(observed, event_s)])
    return int(times.size and 1 + np.count_nonzero(np.diff(times) > dead_time_s))


def _trials(times: Sequence[float], least_apart_s: float) -> list[float]:
    kept: list[float] = []
    for at in sorted(times):
        if not kept or at - kept[-1] >= least_apart_s:
            kept.append(float(at))
    return kept


def _judge(
    name: str,
    runs: Sequence[StimulusRun],
    seen: Sequence[Floats],
    window_s: float,
    alone: int,
    alone_s: float,
    confidence: float,
) -> StimulusAnswer:
    offset = 0.0
    trials: list[Floats] = []
    events: list[Floats] = []
    each: list[tuple[Floats, Floats, float]] = []
    for run, observed in zip(runs, seen, strict=True):
        at = np.array(_trials(run.stimuli.get(name, ()), window_s + EARLY_S), dtype=np.float64)
        at = at[holds(observed, at)]
        begin = np.sort(run.event_s[holds(observed, run.event_s)])
        trials.append(offset + elapsed(observed, at))
        events.append(offset + elapsed(observed, begin))
        if total(observed) > 0:
            each.append((elapsed(observed, begin), elapsed(observed, at), total(observed)))
        offset += total(observed)
    trial, event = np.concatenate(trials), np.concatenate(events)
    count = int(trial.size)
    draft = StimulusAnswer(
        kind=name, window_s=window_s, trials=count, answered=0, share=math.nan, low=0.0, high=1.0, expected=0.0, inside_per_h=math.nan, outside_per_h=alone / alone_s * 3600 if alone_s else math.nan,
        ratio=math.nan, ratio_low=0.0, ratio_high=math.inf, p_value=1.0, p_adjusted=1.0, answer=NOT_SHOWN, repeats=None, repeats_for="", confidence=confidence, method="windows on both sides of each trial",
    )  # fmt: skip
    if count == 0:
        return draft
    answered, expected, p_value = 0, 0.0, 1.0
    if event.size:
        test = stats.association.coincidence(trial, event, (-window_s, EARLY_S), offset, confidence=confidence, seed=SEED)
        answered, expected = test.coincidences, test.expected
        # chance is judged by the time on both sides of each trial: a rate that runs by itself is no answer
        beside = stats.power_ups.provoked_test(
            [item[0] for item in each],
            [item[1] for item in each],
            window_s,
            [item[2] for item in each],
            early=EARLY_S,
        )
        expected = beside.expected * count / beside.used if beside.used else expected
        p_value = beside.p_value
    share = share_interval(answered, count, confidence=confidence)
    inside_s = count * (window_s + EARLY_S)
    draft = replace(
        draft,
        answered=answered,
        share=share.share,
        low=share.low,
        high=share.high,
        expected=expected,
        inside_per_h=answered / inside_s * 3600.0,
        p_value=p_value,
    )
    if alone_s > 0:
        ratio = rate_ratio(answered, inside_s, alone, alone_s, confidence=confidence)
        draft = replace(draft, ratio=ratio.ratio, ratio_low=ratio.low, ratio_high=ratio.high)
    return draft


def _settled(item: StimulusAnswer, p_adjusted: float) -> StimulusAnswer:
    shown = p_adjusted <= 1.0 - item.confidence
    if shown and item.answered >= LEAST_ANSWERS and item.share >= WORTH_SHARE:
        plan = stats.soak.power_ups_to_catch(hits=item.answered, trials=item.trials, confidence=item.confidence)
        text = f"more without an answer after a repair would show it gone ({share_text(item.confidence)})"
        return replace(item, p_adjusted=p_adjusted, answer=YES, repeats=plan.power_ups, repeats_for=text)
    if item.trials == 0:
        return replace(item, p_adjusted=p_adjusted)
    most = share_interval(item.answered, item.trials, confidence=item.confidence, sided="upper").high
    if most < WORTH_SHARE and not shown:
        return replace(item, p_adjusted=p_adjusted, answer=NO)
    if item.answered == 0:
        least = math.ceil(math.log1p(-item.confidence) / math.log1p(-WORTH_SHARE)) - item.trials
        text = f"more without an answer would show that it works in fewer than {share_text(WORTH_SHARE)}"
        return replace(item, p_adjusted=p_adjusted, repeats=max(least, 1), repeats_for=text)
    text = "more, answered as often as these, would show that it provokes the fault"
    return replace(item, p_adjusted=p_adjusted, repeats=_repeats_to_show(item, p_adjusted), repeats_for=text)


def _repeats_to_show(item: StimulusAnswer, p_adjusted: float) -> int | None:
    """Further trials, answered at the share so far, until the exact lower limit of the share passes that of chance."""
    chance = item.expected / item.trials
    factor = p_adjusted / item.p_value if item.p_value > 0 else 1.0
    confidence = 1.0 - (1.0 - item.confidence) / max(factor, 1.0)
    trials = item.trials + np.arange(1, MOST_REPEATS + 1)
    answered = np.floor(item.share * trials + 1e-9)
    low = special.betaincinv(answered, trials - answered + 1.0, 1.0 - confidence)  # Clopper-Pearson, one-sided
    enough = np.flatnonzero((answered >= LEAST_ANSWERS) & (low > chance))
    return int(enough[0]) + 1 if enough.size else None


def _best(kinds: Sequence[StimulusAnswer]) -> str:
    """Which stimulus to repeat: a shown one with the highest lower limit; else the one least likely to be chance."""
    tried = [item for item in kinds if item.trials and item.answer != NO]
    if not tried:
        return ""
    shown = [item for item in tried if item.answer == YES]
    if shown:
        return max(shown, key=lambda item: item.low).kind
    return min(tried, key=lambda item: (item.p_value, -item.share)).kind
