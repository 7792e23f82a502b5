"""The verdict on one channel: a short list of rules over findings, strongest first, fitness before all of them, and what
stands against a clearance.

Findings in (each statistically shown and large enough to matter, or not), with the facts beside them and the guard; a word with
its tail out, and the reasons against a clearance in volts: one list for every page, the weightiest first, each with what to do.
Fitness is decided by volts: a channel stuck at 40 V has no excursion, no drift and no noise. What explains (the room,
settling, a common cause) changes words, never fitness.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import NamedTuple

from flicker.base.formats import digits_text, hours_text, millivolts_text, times_text, volts_text
from flicker.base.limits import Limits
from flicker.base.units import HOUR
from flicker.base.values import Basis, Fitness, TailKind, VerdictWord
from flicker.evidence.findings import NO, YES, Finding
from flicker.evidence.guard import Guard, Reason
from flicker.evidence.guard.words import ADVICE, advice_text, do_not_count, first_reason, reason_text
from flicker.evidence.questions.level_jumps import JUMP_V
from flicker.stats.jumps import LEAST_JUMPS


class Facts(NamedTuple):
    """What the rules need beside the findings."""

    observed_s: float
    episodes: int
    common_episodes: int
    episode_s: float
    steady_upper_per_h: float | None
    power_ups: int
    trips: int
    dangerous_V: float | None
    filled: bool
    life_shown: bool
    excursions: int = 0
    in_excursion_s: float = 0.0
    phase: str = ""
    together: bool = False
    complaint_h: float = 0.0  # clean hours still missing for the complaint's rate
    complaint_starts: float | None = None
    reading_every_s: float = 0.0
    enter_V: float = 0.0
    moves_together: bool = False  # another channel moves in the same measure
    jump_pairs: int = 0  # jumps between levels, up and down,
    jump_V: float = 0.0  # and their middle size
    left_out: bool = False  # minutes in which the lead may have been off: their volts make no word of behaviour
    failed: str = ""  # the event in which the unit died
    stands: str = ""  # the volts at which it stands to the end of the log
    once_at_first: bool = False  # one episode in all, over before the unit was warm,
    beside: bool = False  # which another channel showed too
    shared_swings: bool = False  # the guard's swings came in all channels at once
    counts: tuple[int, ...] = ()  # episodes of each power-up with observed time,
    hours_each: tuple[float, ...] = ()  # and that time

    @property
    def complaint_open(self) -> bool:
        """Whether the complaint's own rate has not been excluded yet."""
        return self.complaint_h > 0.0 and (self.complaint_starts is None or self.complaint_starts > 0.0)

    @property
    def share_filled(self) -> float:
        """Share of the observed time beyond the threshold."""
        return self.in_excursion_s / self.observed_s if self.observed_s > 0 else 0.0

    @property
    def jumps(self) -> bool:
        """Whether the level jumps between levels by enough to matter."""
        return self.jump_V >= JUMP_V and 2 * self.jump_pairs >= LEAST_JUMPS


MOST_ENTER_V = 0.060  # a threshold that noise has raised further hides what 'steady' would have to exclude (choice)
FINER = "log again on a range with a finer digit, or longer"


@dataclass(frozen=True, slots=True)
class Against:
    """One reason: what was read, and what to do; ``advice`` None where more of the same log takes it away."""

    text: str
    advice: str | None

    @property
    def reads(self) -> str:
        """Both in one sentence."""
        return f"{self.text[:1].upper()}{self.text[1:]}: {self.advice}"


def against(
    findings: Mapping[str, Finding], facts: Facts, limits: Limits, guard: Guard, *, calm: bool
) -> tuple[Against, ...]:
    """All reasons; of a ``calm`` channel those too that its verdict, 'steady', does not say."""
    lasting = [Against(reason_text(reason, guard), advice_text(reason, guard)) for reason in ADVICE if reason in guard.reasons]
    if calm:
        lasting += _of_a_calm_channel(findings, facts, limits)
    return tuple(sorted(lasting, key=lambda item: item.advice is None))


def _of_a_calm_channel(findings: Mapping[str, Finding], facts: Facts, limits: Limits) -> list[Against]:
    out = [
        Against(item.reads.rstrip("."), SHOWN.get(name, "find the cause; then log again"))
        for name, item in findings.items()
        if item.answer == YES
    ]
    if facts.enter_V > MOST_ENTER_V:
        hidden = f"noise hides swings under {millivolts_text(facts.enter_V)}"
        out.append(Against(hidden, "find what makes the noise (output stage, supply, leads); then log again"))
    asked = (("noise", "its noise"), ("settled offset", "where it rests"), ("drift", "its movement"))
    unsure = [what for name, what in asked if findings[name].answer not in (NO, YES)]
    out += [Against(f"{what} is not shown to be within its limit", FINER) for what in unsure]
    noise = findings["noise"]
    if noise.answer == NO and (noise.high is None or noise.high > limits.noise_V):
        out.append(Against(f"its noise may be above {millivolts_text(limits.noise_V)}", FINER))
    if facts.complaint_open:
        starts = f" or {facts.complaint_starts:.0f} cold starts" if facts.complaint_starts else ""
        need = f"{digits_text(facts.complaint_h)} h{starts}"
        out.append(Against(f"the complaint needs {need} more", f"log {hours_text(facts.complaint_h)}{starts} more"))
    return out


# What to do about a finding that is 'yes' while the channel is calm.
SHOWN = {
    "power-up": "look at what charges and settles after switch-on (supply, bias, coupling capacitors); repeat from cold. If "
    "it is this amplifier's way, say so with surge_V and settle_s in a file of limits",
}


DO_NOT_CONNECT = Fitness.DO_NOT_CONNECT
NOT_YET_SHOWN = Fitness.NOT_YET_SHOWN
WITHIN_LIMITS = Fitness.WITHIN_LIMITS

# the worst first: how channels are looked at, and which one speaks for the unit
ORDER = (
    VerdictWord.DEGRADING,
    VerdictWord.DRIFTING,
    VerdictWord.NOISY,
    VerdictWord.ONE_OFF,
    VerdictWord.INCONCLUSIVE,
    VerdictWord.STEADY,
)
DANGER = (DO_NOT_CONNECT, NOT_YET_SHOWN, WITHIN_LIMITS)

SMALL_SWINGS = 5  # from here on they are a finding, not chance: a choice; said of none of some 1500 sound channels (danger.md)
MANY_JUMPS = 4  # up and down: with so many and no episode, jumps go before movement (choice)
CUT_SHARE = 0.9  # the guard leaves out two minutes of each power-up; less than this is a cut (choice)
STEP_H = 1.0 / 12.0  # advice is in whole five minutes; a choice
ONLY_MISSING = frozenset({Reason.SHORT, Reason.RATE})  # reasons that more of the same log would take away


@dataclass(frozen=True, slots=True)
class Verdict:
    """The word, its tail with its kind, and fitness."""

    word: VerdictWord
    tail: str
    fitness: Fitness
    kind: TailKind = TailKind.CLEAN
    against: tuple[Against, ...] = ()  # what stands against a clearance


Said = tuple[VerdictWord, TailKind, str]
Rule = tuple[object, VerdictWord, TailKind, str]  # whether it holds, and what is said then
WHEN = {
    "cold": "; mostly while it warms up",
    "hot": "; mostly once it is warm",
    "early": "; mostly early in what was logged",
}


def decide(findings: Mapping[str, Finding], facts: Facts, limits: Limits, guard: Guard) -> Verdict:
    """Apply the rules, strongest first; the guard can only take 'steady' and a clearance away."""

    def yes(question: str) -> bool:
        return question in findings and findings[question].answer == YES

    word, kind, tail = _word(yes, findings, facts, limits, guard)
    if kind in (TailKind.CLEAN, TailKind.TOO_SHORT):
        word, kind, tail = _guarded(word, kind, tail, findings, facts, limits, guard)
    if facts.failed:
        word = VerdictWord.INCONCLUSIVE if word == VerdictWord.STEADY else word
        kind, tail = TailKind.FAILED, facts.failed
    if facts.stands:
        word = VerdictWord.DRIFTING if word == VerdictWord.ONE_OFF else word  # it is there now
        kind, tail = TailKind.STANDS, facts.stands
    if yes("settled offset") and word == VerdictWord.INCONCLUSIVE and kind not in (TailKind.OFFSET, TailKind.STANDS):
        tail = f"{tail}; offset too high"
    calm = word == VerdictWord.STEADY and kind == TailKind.CLEAN
    reasons = against(findings, facts, limits, guard, calm=calm)
    if calm and reasons:
        tail = f"{tail}; but {reasons[0].text}"
    return Verdict(word, tail, _fitness(calm and not reasons, facts, limits, guard), kind, reasons)


def _first(rules: Iterable[Rule], otherwise: Said) -> Said:
    """What the first rule says that holds."""
    return next(((word, kind, tail) for holds, word, kind, tail in rules if holds), otherwise)


def _word(
    yes: Callable[[str], bool], findings: Mapping[str, Finding], facts: Facts, limits: Limits, guard: Guard
) -> Said:
    jumping = facts.jumps and facts.jump_pairs >= MANY_JUMPS and facts.episodes + facts.common_episodes == 0
    by_hand = yes("provoked") and findings["intermittent"].basis == Basis.BY_HAND
    recurs = yes("intermittent") and not by_hand
    # What grows alike in every power-up is heat; within one or two of them heat and wear cannot be told apart.
    within = {1: "during this run", 2: "within both power-ups"}.get(len(facts.counts))
    unsure = f"{within}; heat and wear cannot be told apart: repeat from cold"
    # A channel that is away for long stretches has no level to move.
    moves = (yes("drift") or yes("level change")) and (facts.stands or not facts.filled)
    moved = "the settled level moves" if yes("drift") else "the settled level jumped"
    moved += ", together with another channel" if facts.moves_together else ""
    # away for long, all of them: a supply, a bias
    away = recurs and facts.filled and facts.moves_together and Reason.MOVE in guard.reasons
    rules: tuple[Rule, ...] = (
        (not facts.life_shown and not jumping, VerdictWord.INCONCLUSIVE, TailKind.NO_LIFE, reason_text(Reason.DEAD, guard)),
        (facts.observed_s <= 0, VerdictWord.INCONCLUSIVE, TailKind.NOTHING_OBSERVED, "nothing was observed"),
        (recurs and yes("larger with age"), VerdictWord.DEGRADING, TailKind.LARGER, "swings get larger with each power-up"),
        (recurs and yes("worse with age"), VerdictWord.DEGRADING, TailKind.WORSE_WITH_AGE, "more often with each power-up"),
        (recurs and yes("larger") and within, VerdictWord.DEGRADING, TailKind.LARGER, f"swings get larger {unsure}"),
        (recurs and yes("more often") and within, VerdictWord.DEGRADING, TailKind.MORE_OFTEN, f"more often {unsure}"),
        (jumping, VerdictWord.NOISY, TailKind.JUMPS, _jumps(facts)),
        (
            moves,
            VerdictWord.DRIFTING,
            TailKind.MOVES if yes("drift") else TailKind.JUMPED,
            f"{moved}, with recurring swings" if recurs else moved,
        ),
        (away, VerdictWord.DRIFTING, TailKind.MOVED, _moved(guard, facts)),
        (recurs, VerdictWord.NOISY, TailKind.LONG if facts.filled else TailKind.RECURRING, _recurring(yes, facts)),
        (yes("noise"), VerdictWord.NOISY, TailKind.HIGH_NOISE, "high noise floor"),
        (by_hand, VerdictWord.NOISY, TailKind.PROVOKED, "intermittent when provoked"),
    )
    return _first(rules, _seen(findings, facts, limits) if facts.episodes else _calm(facts, limits, guard))


def _recurring(yes: Callable[[str], bool], facts: Facts) -> str:
    what = "beyond the threshold for long stretches" if facts.filled else "recurring swings"
    together = " in all channels at once" if facts.together else ""
    later = "; more often the longer it runs" if yes("more often") else "; larger the longer it runs" if yes("larger") else ""
    return f"{what}{together}{WHEN.get(facts.phase, later)}"


def _calm(facts: Facts, limits: Limits, guard: Guard) -> Said:
    """No episode: for long enough, or not yet."""
    hours, upper = facts.observed_s / HOUR, facts.steady_upper_per_h
    if hours >= needed_hours(limits) or (upper is not None and upper <= limits.episode_rate_per_h):
        cold = f" and {facts.power_ups} power-up{'s' if facts.power_ups != 1 else ''}" if facts.power_ups else ""
        room = "; events in all channels at once, no more than a room shows" if facts.common_episodes else ""
        return VerdictWord.STEADY, TailKind.CLEAN, f"clean for {hours_text(hours)}{cold}{room}{do_not_count(guard)}"
    return _too_short(f"{hours_text(hours)} clean", facts, limits, guard)


def _too_short(clean: str, facts: Facts, limits: Limits, guard: Guard) -> Said:
    more = hours_text(missing_hours(facts, limits, guard))
    return VerdictWord.INCONCLUSIVE, TailKind.TOO_SHORT, f"too short: {clean}, {more} more needed{do_not_count(guard)}"


def _seen(findings: Mapping[str, Finding], facts: Facts, limits: Limits) -> Said:
    """Episodes that are not shown to come back."""
    apart = (facts.observed_s - facts.episode_s) / HOUR
    times = times_text(facts.episodes)
    if apart < needed_hours(limits):
        return VerdictWord.INCONCLUSIVE, TailKind.SEEN_SHORT, f"seen {times} in {digits_text(facts.observed_s / HOUR)} h"
    if "intermittent" in findings and findings["intermittent"].basis == Basis.SHORTED_LEAD:
        return VerdictWord.ONE_OFF, TailKind.LIKE_LEAD, f"seen {times}, no more than the shorted lead may explain"
    if facts.once_at_first:
        beside = " and in another channel at once" if facts.beside else ""
        return VerdictWord.ONE_OFF, TailKind.SEEN, f"seen once, in the first minutes{beside}, not proved gone"
    return VerdictWord.ONE_OFF, TailKind.SEEN, f"seen {times}, {'not proved gone' if facts.episodes == 1 else 'not shown to come back'}"


def _moved(guard: Guard, facts: Facts) -> str:
    how = ", together with another channel" if facts.moves_together else ""
    return f"moved {volts_text(guard.figures.moved_V)}{how}, whether by a step, a slope or wander is not shown"


def _jumps(facts: Facts) -> str:
    return f"jumps of about {volts_text(facts.jump_V)} between levels"


def _guarded(
    word: VerdictWord,
    kind: TailKind,
    tail: str,
    findings: Mapping[str, Finding],
    facts: Facts,
    limits: Limits,
    guard: Guard,
) -> Said:
    """Where no finding is 'yes': what stands in place of 'steady' when something speaks against it."""
    found, reasons, first = guard.figures, set(guard.reasons), first_reason(guard)
    steady, more = word == VerdictWord.STEADY, reasons - ONLY_MISSING
    why = "" if first is None else reason_text(first, guard)
    # each power-up by itself keeps its level: they differ among each other
    settled = found.power_ups > 1 and found.moved_within_V <= guard.limits.move_V and Reason.SPREAD not in reasons
    small = found.swings >= SMALL_SWINGS and not found.large_swings
    limited = (("noise", "its noise"), ("settled offset", "where it rests"), ("drift", "its movement"))
    unshown = next((what for question, what in limited if findings[question].answer != NO), "")
    clean = f"{hours_text(facts.observed_s / HOUR)} clean"
    if found.observed_h < CUT_SHARE * facts.observed_s / HOUR:  # a mark cut what is judged: only what follows it counts
        clean = f"{hours_text(found.observed_h)} clean since the last change"
    rules: tuple[Rule, ...] = (
        (facts.left_out and why and more, VerdictWord.INCONCLUSIVE, TailKind.OPEN, why),
        (facts.jumps, VerdictWord.NOISY, TailKind.JUMPS, _jumps(facts)),
        (
            Reason.MOVE in reasons and settled,
            VerdictWord.DRIFTING,
            TailKind.SETTLES_DIFFERENTLY,
            f"settles differently by {volts_text(found.moved_V)} over {found.power_ups} power-ups",
        ),
        (Reason.MOVE in reasons, VerdictWord.DRIFTING, TailKind.MOVED, _moved(guard, facts)),
        (Reason.SWINGS in reasons and facts.shared_swings, VerdictWord.NOISY, TailKind.ALL_AT_ONCE, "in all channels at once"),
        (
            Reason.REST in reasons or findings["settled offset"].answer == YES,
            VerdictWord.INCONCLUSIVE,
            TailKind.OFFSET,
            "constant, but offset too high",
        ),
        (
            Reason.SWINGS in reasons and small,
            VerdictWord.NOISY,
            TailKind.SMALL_SWINGS,
            f"small swings, {times_text(found.swings)} up to {volts_text(found.largest_swing_V)}",
        ),
        (Reason.DEAD in reasons, VerdictWord.INCONCLUSIVE, TailKind.NO_LIFE, reason_text(Reason.DEAD, guard)),
        (steady and reasons and not more, *_too_short(clean, facts, limits, guard)),
        (why and (steady or more), VerdictWord.INCONCLUSIVE, TailKind.OPEN, why),
        (
            steady and facts.enter_V > MOST_ENTER_V,
            VerdictWord.INCONCLUSIVE,
            TailKind.OPEN,
            f"noise hides swings under {volts_text(facts.enter_V)}",
        ),
        (steady and unshown, VerdictWord.INCONCLUSIVE, TailKind.OPEN, f"{unshown} is not shown to be within its limit"),
    )
    return _first(rules, (word, kind, tail))


def missing_hours(facts: Facts, limits: Limits, guard: Guard) -> float:
    """Clean hours that are still missing, in whole steps of five minutes, one at least: nobody logs 'no hours more'."""
    found = guard.figures
    missing = max(
        found.clean_h_needed - found.observed_h,
        guard.limits.judged_h - found.judged_h,
        needed_hours(limits) - facts.observed_s / HOUR,
    )
    return max(math.ceil(missing / STEP_H - 1e-9), 1) * STEP_H


def needed_hours(limits: Limits) -> float:
    """Clean hours that exclude the rate of concern at the limits' confidence: -ln(1 - confidence) / rate."""
    return -math.log(1.0 - limits.confidence) / limits.episode_rate_per_h


def _fitness(cleared: bool, facts: Facts, limits: Limits, guard: Guard) -> Fitness:
    if facts.trips > 0 or facts.dangerous_V is not None or guard.figures.largest_V >= limits.protection_V:
        return DO_NOT_CONNECT
    return WITHIN_LIMITS if cleared else NOT_YET_SHOWN
