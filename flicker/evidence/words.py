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
AGAINST = (TailKind.CLEAN, TailKind.TOO_SHORT, TailKind.OPEN, TailKind.OFFSET)
AT_ONCE = " All channels jump at the same moment: look at what they share, the mains and the meter included."
# when swings come, in the sentence for the owner
WHEN = {
    "cold": " It comes mostly in the first minutes after switching on.",
    "hot": " It comes mostly once it is warm.",
    "early": " In what was logged it came mostly soon after switching on; a third power-up would show whether it does so always.",
}


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
    name = channel_text(channel)
    seen = hours_text(facts.observed_s / HOUR)
    if facts.failed:
        return f"{name} {facts.failed}. Do not connect a loudspeaker, and do not power it again."
    if facts.stands:
        return f"{name} {facts.stands}. Switch the unit off; do not connect a loudspeaker."
    if verdict.fitness == Fitness.DO_NOT_CONNECT:
        most = max(guard.figures.peak_V, abs(facts.dangerous_V or 0.0), largest_V or 0.0, limits.protection_V)
        first = f"{name} puts up to {volts_text(most)} of direct voltage on its output: do not connect a loudspeaker."
        return f"{first} {_short(verdict, findings, facts, seen)}"
    lines = []
    if findings["settled offset"].answer == YES and verdict.word in (
        VerdictWord.STEADY,
        VerdictWord.INCONCLUSIVE,
        VerdictWord.ONE_OFF,
    ):
        lines.append(f"{name} sits at {volts_text(findings['settled offset'].effect or 0.0)}, more than it should.")
        name = "It"
    lines.append(_main(name, verdict.kind, findings, facts, limits, largest_V, guard))
    lasting = [item.text for item in verdict.against if item.advice is not None]
    if verdict.kind in AGAINST and lasting:
        lines.append(f"Against a clearance: {'; '.join(lasting)}.")
    return " ".join(lines)


def _main(
    name: str,
    kind: TailKind,
    findings: Mapping[str, Finding],
    facts: Facts,
    limits: Limits,
    largest_V: float | None,
    guard: Guard,
) -> str:
    """One sentence or two, by what the verdict's tail tells; where no finding is shown raw volts speak."""
    found, seen = guard.figures, hours_text(facts.observed_s / HOUR)
    small = f"{name} swings {times_text(found.swings)} in {seen}, by up to {volts_text(found.largest_swing_V)}"
    along = ", and another channel with it" if facts.moves_together else ""
    largest = "" if largest_V is None else f", the largest {volts_text(largest_V)}"
    swings = f"{times_text(facts.episodes)} in {seen}{largest}"
    rest = once_text(facts.steady_upper_per_h or limits.episode_rate_per_h)
    lasting = f", for {lasting_text(facts.reading_every_s)} or longer (the meter looked no more often),"
    rarer = " The jumps that all channels made at once are no more than a room shows." if facts.common_episodes else " A rarer one could still be there."
    away = f"is away from rest for {share_text(facts.share_filled)} of the time" if facts.filled else "jumps again and again"
    real = "The fault is real and comes and goes." if facts.episodes > 1 else "The fault is real."
    again = f"{name} {away}: {swings}. {real}{WHEN.get(facts.phase, '')}{AT_ONCE if facts.together else ''}"
    moved = volts_text(abs(_effect(findings, "drift" if findings["drift"].answer == YES else "level change")))
    also = f" It also jumps: {swings}." if findings["intermittent"].answer == YES else ""
    moves = f"{name} does not stay where it settles: it moved by {moved} in {seen}.{also}"
    worse = f"{name} jumps {swings}, and {'larger' if kind == TailKind.LARGER else 'more often'} as time goes on. It got worse while it was watched."
    beside = ", and another channel with it" if facts.beside else ""
    once = f"{name} was away from rest once, in the first minutes{largest}{beside}; not again in {seen}. Was the mains brought up by hand?"
    jumped = f"{name} jumped {swings}. It did not come again while we watched; that does not prove it gone."
    missing = hours_text(missing_hours(facts, limits, guard))
    return {
        TailKind.CLEAN: f"{name} stayed calm for {seen}; a fault that comes {rest} or more often"
        f"{lasting if facts.reading_every_s > SPARSE_S else ''} would have been seen.{rarer}",
        TailKind.LIKE_LEAD: f"{name} jumped {swings}. So did a lead with nothing on it: the meter, its leads or the room may explain it.",
        TailKind.SEEN: once if facts.once_at_first else jumped,
        TailKind.RECURRING: again,
        TailKind.LONG: again,
        TailKind.PROVOKED: f"{name} is calm by itself but jumps when it is provoked ({share_text(_effect(findings, 'provoked'))} of the trials). The "
        "fault is real.",
        TailKind.HIGH_NOISE: f"{name} is restless all the time, {volts_text(_effect(findings, 'noise'))} where {volts_text(limits.noise_V)} is the limit.",
        TailKind.MOVES: moves,
        TailKind.JUMPED: moves,
        TailKind.LARGER: worse,
        TailKind.WORSE_WITH_AGE: worse,
        TailKind.MORE_OFTEN: worse,
        TailKind.NO_LIFE: f"{name} shows no sign of being connected to a running amplifier; the log says nothing about it.",
        TailKind.SEEN_SHORT: f"{name} jumped {swings}; that is too short a time to say whether it comes back.",
        TailKind.TOO_SHORT: f"{name} stayed calm, but only {seen} were observed: {missing} more are needed to believe it.",
        TailKind.NOTHING_OBSERVED: f"{name} stayed calm, but only {seen} were observed: {missing} more are needed to believe it.",
        TailKind.JUMPS: f"{name} jumps between levels about {volts_text(facts.jump_V)} apart, by itself; a part in it is failing.",
        TailKind.MOVED: f"{name} does not stay where it settles: it moved by {volts_text(found.moved_V)} in {seen}{along}.",
        TailKind.SETTLES_DIFFERENTLY: f"{name} does not settle at the same level each time: {volts_text(found.moved_V)} apart over "
        f"{found.power_ups} power-ups.",
        TailKind.SMALL_SWINGS: f"{small}: small, but it does not rest.",
        TailKind.ALL_AT_ONCE: f"{small}.{AT_ONCE}",
        TailKind.OFFSET: f"{name} does not move, but it rests up to {volts_text(found.largest_V)} from zero.",
        TailKind.OPEN: f"{name} showed no fault in {seen}, but is not shown to be sound.",
    }[kind]


def _effect(findings: Mapping[str, Finding], question: str) -> float:
    return (findings[question].effect or 0.0) if question in findings else 0.0


def _short(verdict: Verdict, findings: Mapping[str, Finding], facts: Facts, seen: str) -> str:
    """What follows a warning of danger, in one sentence."""
    often, recurs = times_text(facts.episodes), findings["intermittent"].answer == YES
    rules = (
        (verdict.word == VerdictWord.DEGRADING, f"It jumped {often} in {seen}, and it got worse while it was watched."),
        (
            recurs and verdict.kind == TailKind.PROVOKED,
            f"It does so when it is provoked ({share_text(_effect(findings, 'provoked'))} of the trials).",
        ),
        (recurs and facts.episodes > 1, f"It comes and goes: {often} in {seen}."),
        (facts.episodes, f"It was seen {often} in {seen}; once is enough to do harm."),
        (facts.dangerous_V is None, f"It was there for a moment in the {seen} observed; once is enough to do harm."),
    )
    return next((text for holds, text in rules if holds), f"It stayed so for the {seen} observed.")
