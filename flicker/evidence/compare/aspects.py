"""What else a repair can mend or harm: movement, jumps, noise, level at rest, power-up, protection.

Each claim rests on the answers of the two assessments to one question: 'yes' on one side, 'no' on the other. A 'no' of
too few hours or starts to have met the fault is no cure, so each aspect also asks whether there was enough of it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence, Set
from dataclasses import dataclass, replace
from typing import Annotated

import numpy as np

from flicker.base.formats import (
    hours_text,
    millivolts_text,
    seconds_text,
    seen_text,
    share_text,
    times_text,
    volts_text,
)
from flicker.base.limits import Limits
from flicker.base.result import Doc, Result
from flicker.base.units import HOUR
from flicker.base.values import Aspect, TailKind
from flicker.case.model import Case
from flicker.evidence.channel import ChannelAssessment
from flicker.evidence.compare.condition_change import PACED_APART, Change, OffBy
from flicker.evidence.compare.power_up_ratio import power_up_ratio
from flicker.evidence.compare.weighing import IMPROVED, NO_CHANGE, WORSE, Weighed
from flicker.evidence.findings import NO, YES, Finding
from flicker.evidence.guard import Reason
from flicker.evidence.guard.model import WARM_S
from flicker.evidence.questions.drift import FEWEST_BETWEEN
from flicker.evidence.questions.level_jumps import JUMP_V
from flicker.evidence.questions.recurrence import EpisodeRate
from flicker.evidence.record.accuracy import off_by_V
from flicker.evidence.record.channel_record import ChannelRecord
from flicker.stats.rates import absent_test

UNTOUCHED = "the untouched channel changed as well"
RATES = frozenset({Aspect.EPISODES, Aspect.OCCUPIED_WINDOWS})
APART = 3.0  # movements of two sides differ by this factor where a claim is made: at 2 a random walk made one (`study_aspects`)
SEEN = 2.0  # at the pace of the moving side the quiet one would have moved by so many limits (choice)
MOST_STARTS = 1000  # nobody logs more; a choice
UNSEEN = frozenset({Reason.OPEN, Reason.GAPS, Reason.SELDOM, Reason.DEAD, Reason.SAME, Reason.UNIT, Reason.SIGN, Reason.FALLS, Reason.HELD, Reason.AVERAGED, Reason.UNDATED})  # a 'no' here shows nothing


@dataclass(frozen=True, slots=True)
class AspectChange(Result):
    """One aspect of a channel after against before; ``outcome`` is 'improved', 'no change shown' or 'worse'."""

    aspect: Annotated[Aspect, Doc("What was compared.")]
    outcome: Annotated[str, Doc("What is shown.", values=("improved", "no change shown", "worse"))]
    before: Annotated[float | None, Doc("Figure before, in unit; null where there is none.", open=True)]
    after: Annotated[float | None, Doc("Figure after, in unit.", open=True)]
    unit: Annotated[str, Doc("Unit of both figures.", values=("V", "1/h", "share", "trips"))]
    note: Annotated[str, Doc("Why the sides differ in their answers and nothing is claimed; empty otherwise.")]
    reads: Annotated[str, Doc("In words.")]


@dataclass(frozen=True, slots=True)
class Seen:
    """One side of an aspect: the answer, its figure, and that figure in words."""

    answer: str
    value: float | None
    said: str


@dataclass(frozen=True, slots=True)
class Row:
    """One channel of a step, (before, after): its records, what each side says of it, and why nothing is claimed between them."""

    channel: str
    records: tuple[ChannelRecord, ChannelRecord]
    parts: tuple[ChannelAssessment, ChannelAssessment]
    barred: tuple[str, ...]

    def off_by(self, case: Case | None) -> OffBy:
        """How far a reading of either side may be off, both together."""
        one, two = self.records
        return lambda before_V, after_V: off_by_V(one, before_V, case) + off_by_V(two, after_V, case)


def aspects_of(
    row: Row,
    item: Weighed,
    changes: tuple[Change, Change],
    led: tuple[Aspect, str],
    limits: Limits,
    off_by: OffBy,
    names: tuple[str, str],
) -> tuple[AspectChange, ...]:
    """Compare every aspect of a channel.

    Parameters
    ----------
    row : Row
        Before and after, and why they may not be compared.
    item : Weighed
        Their rates, compared.
    changes : (Change, Change)
        Noise floor and settled level, compared.
    led : (Aspect, str)
        What rate, noise or level decided so far, and the outcome.
    limits : Limits
        Limits in use.
    off_by : callable
        How far two readings may be off together, volts.
    names : (str, str)
        Names of the two sides.

    Returns
    -------
    tuple of AspectChange
        One entry an aspect, that of the rate first.
    """
    (noise, level), sides = changes, row.parts
    barred = row.barred[0] if row.barred else "not comparable" if item.barred else ""
    when = (stage_text(names[0]), stage_text(names[1]))
    unit, seen = rate_seen(item, [part.rate for part in sides])
    found = [_change(item.leads, item.outcome, unit, seen, when)]
    # What was seen of each side, why a claim is still open, and whether it can be made of readings at another pace.
    asked: list[tuple[Aspect, str, Callable[[ChannelAssessment], Seen], Callable[[int], str], bool]] = [
        (Aspect.MOVEMENT, "V", _movement, lambda bad: _movement_open(sides, bad, limits, off_by), True),
        (
            Aspect.JUMPS,
            "V",
            _jumps,
            lambda bad: _digits(sides) or _too_few(sides, bad, _jump_pairs, limits),
            False,
        ),
        (
            Aspect.NOISE_FLOOR,
            "V",
            lambda part: _effect(part.finding("noise"), "too short to tell"),
            lambda bad: _untold(noise, bad),
            False,
        ),
        (
            Aspect.SETTLED_LEVEL,
            "V",
            lambda part: _effect(part.finding("settled offset"), "not seen"),
            lambda bad: _untold(level, bad),
            True,
        ),
        (Aspect.POWER_UP, "V", _power_up, lambda bad: _starts_open(sides, bad, limits, off_by), False),
        (
            Aspect.PROTECTION,
            "trips",
            _protection,
            lambda bad: "" if bad and stands(sides[1]) else _not_its_own(item, bad) or _trips_open(sides, bad, limits),
            False,
        ),
    ]
    for aspect, unit, look, missing, at_any_pace in asked:
        seen = (look(sides[0]), look(sides[1]))
        outcome, note = NO_CHANGE, ""
        answers = (seen[0].answer, seen[1].answer)
        if answers in {(YES, NO), (NO, YES)}:
            bad = answers.index(YES)
            note = barred or ("" if at_any_pace or item.paced else PACED_APART)
            note = note or _unseen(sides[1 - bad], aspect) or missing(bad)
            outcome = NO_CHANGE if note else WORSE if bad else IMPROVED
        if aspect == led[0]:
            outcome = led[1]
        if outcome != NO_CHANGE:
            note = ""
        elif aspect == Aspect.SETTLED_LEVEL and not note and level.answer == "more":
            note = "further from zero than before, but not shown to be beyond the limit"
        found.append(_change(aspect, outcome, unit, seen, when, note))
    return tuple(found)


def _change(
    aspect: Aspect, outcome: str, unit: str, seen: tuple[Seen, Seen], when: tuple[str, str], note: str = ""
) -> AspectChange:
    one, two = seen
    said = f"{aspect}: {one.said} {when[0]}, {two.said} {when[1]}: {outcome}{f' ({note})' if note else ''}."
    return AspectChange(
        aspect=aspect, outcome=outcome, before=one.value, after=two.value, unit=unit, note=note, reads=said
    )


def stands(part: ChannelAssessment) -> bool:
    """Whether a side ends with volts that stand on the output: a state, and no matter of counts."""
    return part.tail_kind == TailKind.STANDS


def withdrawn(found: Sequence[AspectChange], what: Set[tuple[Aspect, str]], why: str) -> tuple[AspectChange, ...]:
    """Withdraw these claims, but for those of rates, which are weighed by themselves."""
    return tuple(
        replace(item, outcome=NO_CHANGE, note=why, reads=f"{item.aspect}: {why}: {NO_CHANGE}.")
        if (item.aspect, item.outcome) in what and item.aspect not in RATES
        else item
        for item in found
    )


def decided(found: Sequence[AspectChange], led: tuple[Aspect, str], swung: bool = False) -> tuple[Aspect, str]:
    """The aspect that decides and its outcome: what worsens anything is no cure; else what decided so far.

    Where it was shown before that it ``swung``, and no fall of that is, nothing else that became better makes an 'improved'.
    """
    for wanted in (WORSE, IMPROVED):
        if led[1] == wanted or (swung and led[0] in RATES and wanted == IMPROVED):
            return led
        shown = [item.aspect for item in found if item.outcome == wanted and item.aspect not in {led[0], *RATES}]
        if shown:
            return shown[0], wanted
    return led


def others_told(found: Sequence[AspectChange], led: Aspect) -> list[str]:
    """Sentences of what changed in other aspects than the one already told, or only seems so; the worse first."""
    told = [item for item in found if (item.outcome != NO_CHANGE or item.note) and item.aspect != led]
    told.sort(key=lambda item: (WORSE, IMPROVED, NO_CHANGE).index(item.outcome))
    return [f"{item.reads[0].upper()}{item.reads[1:]}" for item in told]


def stage_text(stage: str) -> str:
    """A stage at the end of a figure."""
    return stage if stage in {"before", "after"} else f"({stage})"


def rate_seen(item: Weighed, rates: Sequence[EpisodeRate]) -> tuple[str, tuple[Seen, Seen]]:
    """What was seen of the rate on both sides, by the ratio that decided, and its unit."""
    counts = [seen_text(rate.episodes, rate.observed_s) for rate in rates]
    if item.leads == Aspect.OCCUPIED_WINDOWS:
        one, two = (
            Seen("", share, f"{count} (swings in {share_text(share)} of short windows)")
            for share, count in zip(item.shares, counts, strict=True)
        )
        return "share", (one, two)
    was, now = (Seen("", rate.per_hour, count) for rate, count in zip(rates, counts, strict=True))
    return "1/h", (was, now)


def _movement(part: ChannelAssessment) -> Seen:
    answer, figures = part.finding("drift").answer, part.guard.figures
    if figures.judged_h <= 0:
        return Seen(answer, None, "too short to tell")
    return Seen(answer, figures.moved_V, f"{millivolts_text(figures.moved_V)} in {hours_text(figures.judged_h)}")


def _jumps(part: ChannelAssessment) -> Seen:
    found = part.finding("jumps")
    pairs = _jump_pairs(part)
    size = (found.effect or 0.0) if pairs else 0.0
    said = f"{times_text(pairs)} up and down by {millivolts_text(size)}" if pairs else "none"
    return Seen(found.answer, size, said)


def _effect(found: Finding, none: str) -> Seen:
    return Seen(found.answer, found.effect, none if found.effect is None else millivolts_text(found.effect))


def _power_up(part: ChannelAssessment) -> Seen:
    answer = part.finding("power-up").answer
    if not part.power_up:
        return Seen(answer, None, "none seen")
    worst = max(part.power_up, key=lambda item: (item.abnormal, abs(item.surge_V)))
    bad = sum(item.abnormal for item in part.power_up)
    said = f"{bad} of {len(part.power_up)} beyond the limits, the largest {volts_text(worst.surge_V)} over {seconds_text(worst.settle_s)}"
    return Seen("" if answer == NO and bad else answer, worst.surge_V, said)


def _protection(part: ChannelAssessment) -> Seen:
    trips = part.relay.trips
    said = f"would have tripped {times_text(trips)}" if trips else "would not have tripped"
    return Seen(part.finding("protection").answer, float(trips), said)


def _not_its_own(item: Weighed, bad: int) -> str:
    """Why the relay's trips speak of no channel: most swings of that side came in others at once."""
    own = (item.before, item.after)[bad].episodes
    return "they came in other channels at once" if item.shared[bad] > own else ""


def _unseen(part: ChannelAssessment, aspect: Aspect) -> str:
    """Why the side that answers 'no' could have missed it: a lead that is off reads quiet too."""
    against = UNSEEN if aspect == Aspect.POWER_UP else UNSEEN | {Reason.SHORT}
    return "the quiet side was not seen well or long enough" if against & set(part.guard.reasons) else ""


def _movement_open(sides: tuple[ChannelAssessment, ChannelAssessment], bad: int, limits: Limits, off_by: OffBy) -> str:
    """What is missing: the quiet side long enough, and two movements that lie apart."""
    moving, quiet = sides[bad].guard.figures, sides[1 - bad].guard.figures
    if moving.judged_h <= 0 or quiet.judged_h <= 0:
        return "too short to tell"
    if moving.power_ups >= FEWEST_BETWEEN > quiet.power_ups:
        return f"movement between power-ups shows over {FEWEST_BETWEEN} or more; {quiet.power_ups} were logged"
    # The guard also counts what may be an open lead; a quiet hour counts only if it was observed.
    ups = max(quiet.power_ups, 1)
    seen_h = quiet.judged_h - max(quiet.observed_h - sides[1 - bad].observed_s / HOUR, 0.0)
    each = (moving.judged_h / max(moving.power_ups, 1), max(seen_h, 0.0) / ups)
    needed_h = each[0] * min(1.0, SEEN * limits.drift_V / max(moving.moved_V, 1e-12))
    if each[1] < needed_h:
        needed = hours_text(math.ceil(10.0 * (needed_h + WARM_S / HOUR)) / 10.0)
        return f"so slow a movement shows only in one power-up of {needed}; log that long"
    apart_V = moving.moved_V - quiet.moved_V
    if moving.moved_V < APART * quiet.moved_V or apart_V <= off_by(moving.moved_V, quiet.moved_V):
        return "the two movements are too much alike"
    return ""


def _jump_pairs(part: ChannelAssessment) -> int:
    return int(part.finding("jumps").statistic or 0)


def _digits(sides: tuple[ChannelAssessment, ChannelAssessment]) -> str:
    """Why the last digits forbid a claim: a coarser one on one side could hide jumps, or make them."""
    steps = [part.noise.resolution_V or 0.0 for part in sides]
    alike = max(steps) <= 0.5 * JUMP_V or max(steps) <= 1.5 * min(steps)
    return "" if alike else "the last digit of the meter differs"


def _too_few(
    sides: tuple[ChannelAssessment, ChannelAssessment],
    bad: int,
    count: Callable[[ChannelAssessment], int],
    limits: Limits,
) -> str:
    """Why the counts may differ by themselves as power-ups do; each side counts as one power-up, the safe way."""
    hours = [part.guard.figures.observed_h for part in sides]
    hours[1 - bad] = min(hours[1 - bad], sides[1 - bad].observed_s / HOUR)
    one, two = (np.array([[float(count(part)), time]]) for part, time in zip(sides, hours, strict=True))
    found = power_up_ratio(two, one, scatter=limits.power_up_scatter, confidence=limits.confidence)
    shown = (found.p_less if bad == 0 else found.p_greater) <= 0.5 * (1.0 - limits.confidence)
    return "" if shown else "too few in too short a time to tell it from chance; log longer"


def _trips_open(sides: tuple[ChannelAssessment, ChannelAssessment], bad: int, limits: Limits) -> str:
    """Why trips may differ by chance: neither their number tells, nor in how many power-ups they came, each watched as long."""
    few = _too_few(sides, bad, lambda part: part.relay.trips, limits)
    wrong, right = (sides[place].relay.power_ups for place in (bad, 1 - bad))
    if not few or not right:
        return few
    watched_s = min(start["watched_s"] for start in right)
    early = sum(start["trip_s"] is not None and start["trip_s"] < watched_s for start in wrong)
    return "" if absent_test(len(right), early, len(wrong)).p_value <= 0.5 * (1.0 - limits.confidence) else few


def _untold(change: Change, bad: int) -> str:
    if change.answer == ("less" if bad == 0 else "more"):
        return ""
    return change.note or "the difference is not beyond what a side varies by itself"


def _starts_open(sides: tuple[ChannelAssessment, ChannelAssessment], bad: int, limits: Limits, off_by: OffBy) -> str:
    """What is missing for starts of one kind to differ beyond chance, none being wrong on one side."""
    wrong, right = sides[bad].power_up, sides[1 - bad].power_up
    kinds = {start.start for start in wrong if start.abnormal}
    here = [start for start in wrong if start.start in kinds]
    there = [start for start in right if start.start in kinds]
    number = sum(start.abnormal for start in here)
    if not number:
        return "the starts cannot be told apart"
    error = 0.5 * (1.0 - limits.confidence)
    needed = next((k for k in range(1, MOST_STARTS) if absent_test(k, number, len(here)).p_value <= error), 0)
    if not needed or len(there) < needed:
        kind = "" if kinds == {"unknown"} else f" {' or '.join(sorted(kinds - {'unknown'}))}"
        return f"to tell it from chance takes {needed or f'more than {MOST_STARTS}'}{kind} starts; {len(there)} were logged"
    if any(start.abnormal and start.settle_s > limits.settle_s for start in here):
        return ""  # a time does not hang on the accuracy of the meter
    one, two = (max(abs(start.surge_V) for start in side) for side in (here, there))
    return "" if abs(one - two) > off_by(one, two) else "less than the accuracy of both readings"
