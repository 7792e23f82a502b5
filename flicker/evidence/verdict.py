"""The verdict on one channel: a short list of rules over findings, strongest first, and fitness before all of them.

Findings in (each statistically shown and large enough to matter, or not), and the guard; a word with its tail out.
Fitness is decided by volts: a channel stuck at 40 V has no excursion, no drift and no noise. What explains (the room,
settling, a common cause) changes words, never fitness.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from flicker.base.formats import digits_text, hours_text, times_text, volts_text
from flicker.base.limits import Limits
from flicker.base.units import HOUR
from flicker.base.values import Basis, Fitness, TailKind, VerdictWord
from flicker.evidence.against import MOST_ENTER_V, Against, Facts, against
from flicker.evidence.findings import NO, YES, Finding
from flicker.evidence.guard import Guard, Reason
from flicker.evidence.guard.words import do_not_count, first_reason, reason_text

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


def _word(
    yes: Callable[[str], bool], findings: Mapping[str, Finding], facts: Facts, limits: Limits, guard: Guard
) -> Said:
    hours = facts.observed_s / HOUR
    jumping = facts.jumps and facts.jump_pairs >= MANY_JUMPS and facts.episodes + facts.common_episodes == 0
    if not facts.life_shown and not jumping:
        return (
            VerdictWord.INCONCLUSIVE,
            TailKind.NO_LIFE,
            reason_text(Reason.DEAD, guard),
        )
    if facts.observed_s <= 0:
        return VerdictWord.INCONCLUSIVE, TailKind.NOTHING_OBSERVED, "nothing was observed"
    by_hand = yes("provoked") and findings["intermittent"].basis == Basis.BY_HAND
    recurs = yes("intermittent") and not by_hand
    if recurs and yes("larger with age"):
        return VerdictWord.DEGRADING, TailKind.LARGER, "swings get larger with each power-up"
    if recurs and yes("worse with age"):
        return VerdictWord.DEGRADING, TailKind.WORSE_WITH_AGE, "more often with each power-up"
    # What grows alike in every power-up is heat; within one or two of them heat and wear cannot be told apart.
    within = {1: "during this run", 2: "within both power-ups"}.get(len(facts.counts))
    if recurs and yes("larger") and within:
        tail = f"swings get larger {within}; heat and wear cannot be told apart: repeat from cold"
        return VerdictWord.DEGRADING, TailKind.LARGER, tail
    if recurs and yes("more often") and within:
        tail = f"more often {within}; heat and wear cannot be told apart: repeat from cold"
        return VerdictWord.DEGRADING, TailKind.MORE_OFTEN, tail
    if jumping:
        return VerdictWord.NOISY, TailKind.JUMPS, _jumps(facts)
    # A channel that is away for long stretches has no level to move.
    if (yes("drift") or yes("level change")) and (facts.stands or not facts.filled):
        kind = TailKind.MOVES if yes("drift") else TailKind.JUMPED
        tail = "the settled level moves" if yes("drift") else "the settled level jumped"
        tail += ", together with another channel" if facts.moves_together else ""
        return VerdictWord.DRIFTING, kind, tail + (", with recurring swings" if recurs else "")
    if recurs and facts.filled and facts.moves_together and Reason.MOVE in guard.reasons:
        return VerdictWord.DRIFTING, TailKind.MOVED, _moved(guard, facts)  # away for long, all of them: a supply, a bias
    if recurs:
        what = "recurring swings"
        if facts.filled:
            what = "beyond the threshold for long stretches"
        when = {
            "cold": "; mostly while it warms up",
            "hot": "; mostly once it is warm",
            "early": "; mostly early in what was logged",
        }.get(facts.phase, "")
        if facts.together:
            what += " in all channels at once"
        if not when and yes("more often"):
            when = "; more often the longer it runs"
        if not when and yes("larger"):
            when = "; larger the longer it runs"
        return VerdictWord.NOISY, TailKind.LONG if facts.filled else TailKind.RECURRING, what + when
    if yes("noise"):
        return VerdictWord.NOISY, TailKind.HIGH_NOISE, "high noise floor"
    if by_hand:
        return VerdictWord.NOISY, TailKind.PROVOKED, "intermittent when provoked"
    if facts.episodes > 0:
        return _seen(findings, facts, limits, hours)
    upper = facts.steady_upper_per_h
    if hours >= needed_hours(limits) or (upper is not None and upper <= limits.episode_rate_per_h):
        cold = f" and {facts.power_ups} power-up{'s' if facts.power_ups != 1 else ''}" if facts.power_ups else ""
        room = "; events in all channels at once, no more than a room shows" if facts.common_episodes else ""
        tail = f"clean for {hours_text(hours)}{cold}{room}{do_not_count(guard)}"
        return VerdictWord.STEADY, TailKind.CLEAN, tail
    more = hours_text(missing_hours(facts, limits, guard))
    tail = f"too short: {hours_text(hours)} clean, {more} more needed{do_not_count(guard)}"
    return VerdictWord.INCONCLUSIVE, TailKind.TOO_SHORT, tail


def _seen(findings: Mapping[str, Finding], facts: Facts, limits: Limits, hours: float) -> Said:
    """Episodes that are not shown to come back."""
    apart = (facts.observed_s - facts.episode_s) / HOUR
    times = times_text(facts.episodes)
    if apart < needed_hours(limits):
        return VerdictWord.INCONCLUSIVE, TailKind.SEEN_SHORT, f"seen {times} in {digits_text(hours)} h"
    if "intermittent" in findings and findings["intermittent"].basis == Basis.SHORTED_LEAD:
        return VerdictWord.ONE_OFF, TailKind.LIKE_LEAD, f"seen {times}, no more than the shorted lead may explain"
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
    found, reasons = guard.figures, set(guard.reasons)
    first = first_reason(guard)
    if facts.left_out and first is not None and reasons - ONLY_MISSING:
        return VerdictWord.INCONCLUSIVE, TailKind.OPEN, reason_text(first, guard)
    if facts.jumps:
        return VerdictWord.NOISY, TailKind.JUMPS, _jumps(facts)
    if Reason.MOVE in reasons:
        moved = f"{volts_text(found.moved_V)}"
        settled = found.moved_within_V <= guard.limits.move_V and Reason.SPREAD not in reasons
        if found.power_ups > 1 and settled:  # each power-up by itself keeps its level: they differ among each other
            return (
                VerdictWord.DRIFTING,
                TailKind.SETTLES_DIFFERENTLY,
                f"settles differently by {moved} over {found.power_ups} power-ups",
            )
        return VerdictWord.DRIFTING, TailKind.MOVED, _moved(guard, facts)
    if Reason.SWINGS in reasons and facts.shared_swings:
        return VerdictWord.NOISY, TailKind.ALL_AT_ONCE, "in all channels at once"
    if Reason.REST in reasons or findings["settled offset"].answer == YES:
        return VerdictWord.INCONCLUSIVE, TailKind.OFFSET, "constant, but offset too high"
    if Reason.SWINGS in reasons and found.swings >= SMALL_SWINGS and not found.large_swings:
        return (
            VerdictWord.NOISY,
            TailKind.SMALL_SWINGS,
            f"small swings, {times_text(found.swings)} up to {volts_text(found.largest_swing_V)}",
        )
    if Reason.DEAD in reasons:
        return VerdictWord.INCONCLUSIVE, TailKind.NO_LIFE, reason_text(Reason.DEAD, guard)
    if word == VerdictWord.STEADY and reasons and not reasons - ONLY_MISSING:
        hours = facts.observed_s / HOUR
        more = hours_text(missing_hours(facts, limits, guard))
        clean = f"{hours_text(hours)} clean"
        if found.observed_h < CUT_SHARE * hours:  # a mark cut what is judged: only what follows it counts
            clean = f"{hours_text(found.observed_h)} clean since the last change"
        tail = f"too short: {clean}, {more} more needed{do_not_count(guard)}"
        return VerdictWord.INCONCLUSIVE, TailKind.TOO_SHORT, tail
    if first is not None and (word == VerdictWord.STEADY or reasons - ONLY_MISSING):
        return VerdictWord.INCONCLUSIVE, TailKind.OPEN, reason_text(first, guard)
    if word == VerdictWord.STEADY:
        if facts.enter_V > MOST_ENTER_V:
            return VerdictWord.INCONCLUSIVE, TailKind.OPEN, f"noise hides swings under {volts_text(facts.enter_V)}"
        for question, what in (("noise", "its noise"), ("settled offset", "where it rests"), ("drift", "its movement")):
            if findings[question].answer != NO:
                return VerdictWord.INCONCLUSIVE, TailKind.OPEN, f"{what} is not shown to be within its limit"
    return word, kind, tail


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
