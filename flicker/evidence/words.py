"""What the owner reads: one or two sentences per channel, no claim beyond the evidence; and what to do next, volts first, hours last."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated

from flicker.base.formats import (
    channel_text,
    digits_text,
    hours_text,
    lasting_text,
    once_text,
    share_text,
    times_text,
    volts_text,
)
from flicker.base.limits import Limits
from flicker.base.result import Doc, Result
from flicker.base.units import HOUR
from flicker.base.values import Fitness, TailKind, VerdictWord
from flicker.evidence.findings import YES, Finding
from flicker.evidence.guard import Guard, Reason
from flicker.evidence.guard.words import advice_text
from flicker.evidence.outlook.end_state import End, Failed, Stands, TimeToThreshold
from flicker.evidence.verdict import Facts, Verdict, missing_hours, needed_hours
from flicker.stats import power_ups

SOON_S = 24 * HOUR  # a threshold that far off is no reason to switch off now (choice)


@dataclass(frozen=True, slots=True)
class Next(Result):
    """What to do next: how long to soak, and why."""

    soak_h: Annotated[
        float | None, Doc("Hours to log next; null where hours are not what is missing.", ge=0, open=True)
    ]
    confidence: Annotated[float, Doc("Confidence of the intervals, a share between 0 and 1.", gt=0)]
    reads: Annotated[str, Doc("Why, in words.")]


def advise(
    verdict: Verdict, facts: Facts, guard: Guard, limits: Limits, end: End | None, ahead: TimeToThreshold | None
) -> Next:
    """The first advice that holds: a dead unit, danger, a level on its way to danger, volts, swings, hours."""
    whole, reads = needed_hours(limits), "" if end is None else end.reads
    moving = {Reason.MOVE, Reason.REST, Reason.PEAK} & set(guard.reasons)
    soon = ""
    if moving and ahead is not None and ahead.approaches and ahead.earliest_s < SOON_S:
        soon = f"It {ahead.reads}; switch off." if ahead.level_V < ahead.threshold_V else ""
    # volts that came and went say nothing of a slope: only a level that moves or stands too far is told ahead
    slope = soon if moving - {Reason.PEAK} else ""
    most = volts_text(max(guard.figures.peak_V, guard.figures.largest_V, limits.protection_V))
    along = Reason.MOVE in guard.reasons and facts.moves_together
    # whether it holds, the hours to log, and the words
    rules: tuple[tuple[object, float | None, str], ...] = (
        (isinstance(end, Stands), None, f"It {reads}. Switch it off; do not connect a loudspeaker; find the fault first."),
        (isinstance(end, Failed), None, f"{reads[:1].upper()}{reads[1:]}. Do not power it again; find the shorted part."),
        (
            verdict.fitness == Fitness.DO_NOT_CONNECT,
            None,
            f"{slope} Do not connect a loudspeaker ({most} seen); find the fault first.".strip(),
        ),
        (soon, None, f"{soon} Do not connect a loudspeaker; find what makes it move."),
        (verdict.kind == TailKind.NO_LIFE, whole, f"No sign of life: {advice_text(Reason.DEAD, guard)}."),
        (
            along,
            whole,
            f"It moved {volts_text(guard.figures.moved_V)}, and another channel with it: look at what they share, the supply, "
            "its reference, the bias and the ground; log a rail beside them.",
        ),
    )
    for holds, soak_h, text in rules:
        if holds:
            return Next(soak_h, limits.confidence, text)
    hours = facts.observed_s / HOUR
    if facts.once_at_first:
        text = "Seen once, in the first minutes: log another start, from the moment of switching on, to see whether it comes each time."
        return Next(whole, limits.confidence, text)
    if facts.episodes > 0 and hours > 0 and not {Reason.REST, Reason.MOVE} & set(guard.reasons):
        return _power_ups(facts, limits)
    for item in verdict.against:
        if item.advice is not None:
            return Next(whole, limits.confidence, f"{item.reads}.")
    return _hours(verdict, facts, guard, limits)


def _power_ups(facts: Facts, limits: Limits) -> Next:
    """Further power-ups that show it again: they differ by themselves, so a number of them and not one long run."""
    plan = power_ups.power_ups_to_see(
        facts.counts, facts.hours_each, scatter=limits.power_up_scatter, confidence=limits.confidence
    )
    each = hours_text(plan.length)
    many = f"one more power-up of {each}" if plan.power_ups == 1 else f"{plan.power_ups} more power-ups of {each}"
    rest = "; a clean one" if plan.power_ups == 1 else ", not one long run; as many clean ones"
    are = "is" if plan.power_ups == 1 else "are"
    return Next(
        plan.exposure,
        limits.confidence,
        f"To see it again with a chance of {share_text(limits.confidence)}, log {many}{rest} after the repair {are} a first sign "
        "of a cure.",
    )


def _hours(verdict: Verdict, facts: Facts, guard: Guard, limits: Limits) -> Next:
    """Hours that are missing, or that would exclude more."""
    found, hours, sure = guard.figures, facts.observed_s / HOUR, limits.confidence
    if verdict.word == VerdictWord.INCONCLUSIVE or not guard.silent:
        more = missing_hours(facts, limits, guard)
        short = ""
        if Reason.SHORT in guard.reasons and found.power_ups > 1:
            short = " Power-ups shorter than 20 minutes never clear: log one power-up of 80 minutes as well."
        if guard.asleep or facts.left_out:
            short += (
                " Begin that log with the unit off and switch it on while logging, no loudspeaker connected: a start shows that the "
                "output is live. Keep it awake (automatic standby off), and the lead on it."
            )
        return Next(
            more,
            sure,
            f"Log {hours_text(more)} more; if they stay clean, more than {limits.episode_rate_per_h:g} per hour is excluded.{short}",
        )
    rarer = 10.0
    while needed_hours(limits) * rarer <= hours:
        rarer *= 10.0
    missing = needed_hours(limits) * rarer - hours
    return Next(
        missing,
        sure,
        f"To exclude a fault {rarer:g} times rarer ({digits_text(limits.episode_rate_per_h / rarer, 3)} per hour), log "
        f"{hours_text(missing)} more without an episode.",
    )


SPARSE_S = 2.0  # readings farther apart than this miss most glitches, and the sentence must say so; a choice
SAID_BY_GUARD = (
    TailKind.JUMPS, TailKind.MOVED, TailKind.SETTLES_DIFFERENTLY, TailKind.SMALL_SWINGS, TailKind.ALL_AT_ONCE,
    TailKind.OFFSET, TailKind.OPEN,
)  # fmt: skip
AGAINST = (TailKind.CLEAN, TailKind.TOO_SHORT, TailKind.OPEN, TailKind.OFFSET)
AT_ONCE = " All channels jump at the same moment: look at what they share, the mains and the meter included."


def owner(
    channel: str,
    verdict: Verdict,
    findings: Mapping[str, Finding],
    facts: Facts,
    limits: Limits,
    largest_V: float | None,
    guard: Guard,
) -> str:
    """Say what the channel does, worst volts first, and what that means."""
    hours = facts.observed_s / HOUR
    name = channel_text(channel)
    seen = hours_text(hours)
    if facts.failed:
        return f"{name} {facts.failed}. Do not connect a loudspeaker, and do not power it again."
    if facts.stands:
        return f"{name} {facts.stands}. Switch the unit off; do not connect a loudspeaker."
    if verdict.fitness == Fitness.DO_NOT_CONNECT:
        most = max(guard.figures.peak_V, abs(facts.dangerous_V or 0.0), largest_V or 0.0, limits.protection_V)
        volts = volts_text(most)
        first = f"{name} puts up to {volts} of direct voltage on its output: do not connect a loudspeaker."
        return f"{first} {_short(verdict, findings, facts, seen)}"
    lines = []
    if findings["settled offset"].answer == YES and verdict.word in (
        VerdictWord.STEADY,
        VerdictWord.INCONCLUSIVE,
        VerdictWord.ONE_OFF,
    ):
        lines.append(f"{name} sits at {volts_text(findings['settled offset'].effect or 0.0)}, more than it should.")
        name = "It"
    lines.append(_main(name, verdict, findings, facts, limits, largest_V, guard))
    lasting = [item.text for item in verdict.against if item.advice is not None]
    if verdict.kind in AGAINST and lasting:
        lines.append(f"Against a clearance: {'; '.join(lasting)}.")
    return " ".join(lines)


def _main(
    name: str,
    verdict: Verdict,
    findings: Mapping[str, Finding],
    facts: Facts,
    limits: Limits,
    largest_V: float | None,
    guard: Guard,
) -> str:
    word, kind, seen = verdict.word, verdict.kind, hours_text(facts.observed_s / HOUR)
    if kind in SAID_BY_GUARD:
        return _by_guard(name, kind, facts, guard, seen)
    largest = f", the largest {volts_text(largest_V)}" if largest_V is not None else ""
    swings = f"{times_text(facts.episodes)} in {seen}{largest}"
    if word == VerdictWord.STEADY:
        rest = facts.steady_upper_per_h or limits.episode_rate_per_h
        lasting = "" if facts.reading_every_s <= SPARSE_S else f", for {lasting_text(facts.reading_every_s)} or longer (the meter looked no more often),"
        calm = f"{name} stayed calm for {seen}; a fault that comes {once_text(rest)} or more often{lasting} would have been seen."
        return calm + (
            " A rarer one could still be there."
            if not facts.common_episodes
            else " The jumps that all channels made at once are no more than a room shows."
        )
    if kind == TailKind.LIKE_LEAD:
        return f"{name} jumped {swings}. So did a lead with nothing on it: the meter, its leads or the room may explain it."
    if word == VerdictWord.ONE_OFF and facts.once_at_first:
        beside = ", and another channel with it" if facts.beside else ""
        return f"{name} was away from rest once, in the first minutes{largest}{beside}; not again in {seen}. Was the mains brought up by hand?"
    if word == VerdictWord.ONE_OFF:
        return f"{name} jumped {swings}. It did not come again while we watched; that does not prove it gone."
    if kind in (TailKind.RECURRING, TailKind.LONG):
        what = f"jumps again and again: {swings}"
        if facts.filled:
            what = f"is away from rest for {share_text(facts.share_filled)} of the time: {swings}"
        real = "The fault is real and comes and goes." if facts.episodes > 1 else "The fault is real."
        return f"{name} {what}. {real}{WHEN.get(facts.phase, '')}{AT_ONCE if facts.together else ''}"
    if kind == TailKind.PROVOKED:
        share = share_text(findings["provoked"].effect or 0.0)
        return f"{name} is calm by itself but jumps when it is provoked ({share} of the trials). The fault is real."
    if word == VerdictWord.NOISY:
        return f"{name} is restless all the time, {volts_text(findings['noise'].effect or 0.0)} where {volts_text(limits.noise_V)} is the limit."
    if word == VerdictWord.DRIFTING:
        moved = findings["drift"].effect if findings["drift"].answer == YES else findings["level change"].effect
        more = f" It also jumps: {swings}." if findings["intermittent"].answer == YES else ""
        return f"{name} does not stay where it settles: it moved by {volts_text(abs(moved or 0.0))} in {seen}.{more}"
    if word == VerdictWord.DEGRADING:
        how = "larger" if kind == TailKind.LARGER else "more often"
        return f"{name} jumps {swings}, and {how} as time goes on. It got worse while it was watched."
    if kind == TailKind.NO_LIFE:
        return f"{name} shows no sign of being connected to a running amplifier; the log says nothing about it."
    if facts.episodes:
        return f"{name} jumped {swings}; that is too short a time to say whether it comes back."
    missing = missing_hours(facts, limits, guard)
    return f"{name} stayed calm, but only {seen} were observed: {hours_text(missing)} more are needed to believe it."


# when swings come, in the sentence for the owner
WHEN = {
    "cold": " It comes mostly in the first minutes after switching on.",
    "hot": " It comes mostly once it is warm.",
    "early": " In what was logged it came mostly soon after switching on; a third power-up would show whether it does so always.",
}


def _by_guard(name: str, kind: TailKind, facts: Facts, guard: Guard, seen: str) -> str:
    """What raw volts say where no finding is shown."""
    found = guard.figures
    swings = f"{name} swings {times_text(found.swings)} in {seen}, by up to {volts_text(found.largest_swing_V)}"
    along = ", and another channel with it" if facts.moves_together else ""
    return {
        TailKind.JUMPS: f"{name} jumps between levels about {volts_text(facts.jump_V)} apart, by itself; a part in it is failing.",
        TailKind.MOVED: f"{name} does not stay where it settles: it moved by {volts_text(found.moved_V)} in {seen}{along}.",
        TailKind.SETTLES_DIFFERENTLY: f"{name} does not settle at the same level each time: {volts_text(found.moved_V)} apart over "
        f"{found.power_ups} power-ups.",
        TailKind.SMALL_SWINGS: f"{swings}: small, but it does not rest.",
        TailKind.ALL_AT_ONCE: f"{swings}.{AT_ONCE}",
        TailKind.OFFSET: f"{name} does not move, but it rests up to {volts_text(found.largest_V)} from zero.",
    }.get(kind, f"{name} showed no fault in {seen}, but is not shown to be sound.")


def _short(verdict: Verdict, findings: Mapping[str, Finding], facts: Facts, seen: str) -> str:
    if verdict.word == VerdictWord.DEGRADING:
        return f"It jumped {times_text(facts.episodes)} in {seen}, and it got worse while it was watched."
    if findings["intermittent"].answer == YES:
        if verdict.kind == TailKind.PROVOKED:
            return f"It does so when it is provoked ({share_text(findings['provoked'].effect or 0.0)} of the trials)."
        if facts.episodes > 1:
            return f"It comes and goes: {times_text(facts.episodes)} in {seen}."
    if facts.episodes:
        return f"It was seen {times_text(facts.episodes)} in {seen}; once is enough to do harm."
    if facts.dangerous_V is None:
        return f"It was there for a moment in the {seen} observed; once is enough to do harm."
    return f"It stayed so for the {seen} observed."
