"""What to do next with a channel: fitness first, volts first, hours last."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from flicker.base.described import Doc
from flicker.base.formats import digits_text, hours_text, share_text, volts_text
from flicker.base.limits import Limits
from flicker.base.result import Result
from flicker.base.units import HOUR
from flicker.base.values import Fitness, TailKind, VerdictWord
from flicker.evidence.facts import Facts
from flicker.evidence.guard import Guard, Reason
from flicker.evidence.guard.words import advice_text
from flicker.evidence.outlook.end_state import End, Failed, Stands
from flicker.evidence.outlook.forecast import TimeToThreshold
from flicker.evidence.verdict import Verdict, missing_hours, needed_hours
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
    whole = needed_hours(limits)
    sure = limits.confidence
    if isinstance(end, Stands):
        return Next(None, sure, f"It {end.reads}. Switch it off; do not connect a loudspeaker; find the fault first.")
    if isinstance(end, Failed):
        sentence = f"{end.reads[0].upper()}{end.reads[1:]}. Do not power it again; find the shorted part."
        return Next(None, sure, sentence)
    moving = {Reason.MOVE, Reason.REST, Reason.PEAK} & set(guard.reasons)
    soon = ""
    if moving and ahead is not None and ahead.approaches and ahead.earliest_s < SOON_S:
        soon = f"It {ahead.reads}; switch off." if ahead.level_V < ahead.threshold_V else ""
    if verdict.fitness == Fitness.DO_NOT_CONNECT:
        most = volts_text(max(guard.figures.peak_V, guard.figures.largest_V, limits.protection_V))
        # volts that came and went say nothing of a slope: only a level that moves or stands too far is told ahead
        told = soon if moving - {Reason.PEAK} else ""
        return Next(None, sure, f"{told} Do not connect a loudspeaker ({most} seen); find the fault first.".strip())
    if soon:
        return Next(None, sure, f"{soon} Do not connect a loudspeaker; find what makes it move.")
    if verdict.kind == TailKind.NO_LIFE:
        return Next(whole, sure, f"No sign of life: {advice_text(Reason.DEAD, guard)}.")
    if Reason.MOVE in guard.reasons and facts.moves_together:
        moved = volts_text(guard.figures.moved_V)
        return Next(
            whole,
            sure,
            f"It moved {moved}, and another channel with it: look at what they share, the supply, its reference, the bias "
            "and the ground; log a rail beside them.",
        )
    hours = facts.observed_s / HOUR
    if facts.episodes > 0 and hours > 0 and not {Reason.REST, Reason.MOVE} & set(guard.reasons):
        return _power_ups(facts, limits)
    for item in verdict.against:
        if item.advice is not None:
            return Next(whole, sure, f"{item.reads}.")
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
        if guard.asleep:
            short += " Keep the unit awake meanwhile (automatic standby off), and the lead on the output."
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
