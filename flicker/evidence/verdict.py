"""The verdict on one channel: a short list of rules over findings, strongest first, and fitness before all of them.

Findings in (each statistically shown and large enough to matter, or not), a word with its tail out. Fitness is decided
by volts alone: a channel stuck at 40 V has no excursion, no drift and no noise.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from flicker.base.limits import Limits
from flicker.base.values import Basis, Fitness
from flicker.evidence.findings import YES, Finding
from flicker.evidence.questions.worsening import SIZE_FACTOR

DO_NOT_CONNECT, NOT_YET_SHOWN, WITHIN_LIMITS = Fitness.DO_NOT_CONNECT, Fitness.NOT_YET_SHOWN, Fitness.WITHIN_LIMITS

HOUR = 3600.0


@dataclass(frozen=True, slots=True)
class Facts:
    """What the rules need beside the findings."""

    observed_s: float
    episodes: int
    common_episodes: int
    episode_s: float
    steady_upper_per_h: float | None
    power_ups: int
    trips: int
    dangerous_V: float | None
    two_levels: bool
    filled: bool
    life_shown: bool
    excursions: int = 0
    in_excursion_s: float = 0.0
    phase: str = ""
    together: bool = False
    complaint_h: float = 0.0  # clean hours still missing for the complaint's rate
    complaint_starts: float | None = None
    reading_every_s: float = 0.0
    size_by_age: float | None = None  # size in the last power-up over that in the first, where both show episodes

    @property
    def complaint_open(self) -> bool:
        """Whether the complaint's own rate has not been excluded yet."""
        return self.complaint_h > 0.0 and (self.complaint_starts is None or self.complaint_starts > 0.0)


@dataclass(frozen=True, slots=True)
class Verdict:
    """The word, its tail, and fitness."""

    word: str
    tail: str
    fitness: str


def decide(findings: Mapping[str, Finding], facts: Facts, limits: Limits) -> Verdict:
    """Apply the rules, strongest first."""

    def yes(question: str) -> bool:
        return question in findings and findings[question].answer == YES

    word, tail = _word(yes, findings, facts, limits)
    if yes("settled offset") and word in {"steady", "inconclusive"}:
        tail = "constant, but offset too high" if word == "steady" else f"{tail}; offset too high"
    return Verdict(word, tail, _fitness(word, yes, facts))


def _word(yes: Callable[[str], bool], findings: Mapping[str, Finding], facts: Facts, limits: Limits) -> tuple[str, str]:
    hours = facts.observed_s / HOUR
    if not facts.life_shown:
        return "inconclusive", "no sign of life: switch the unit off and on once while logging"
    if facts.observed_s <= 0:
        return "inconclusive", "nothing was observed"
    by_hand = yes("provoked") and findings["intermittent"].basis == Basis.BY_HAND
    recurs = yes("intermittent") and not by_hand
    one_run = facts.power_ups < 2
    # Sizes that grow alike in every power-up are heat, as rates are.
    if recurs and yes("larger") and (facts.size_by_age is None or facts.size_by_age >= SIZE_FACTOR):
        return "degrading", "swings get larger"
    if recurs and yes("worse with age"):
        return "degrading", "more often with each power-up"
    if recurs and yes("more often") and one_run:
        return "degrading", "more often during this run; heat and wear cannot be told apart: repeat from cold"
    # Two levels are no movement, and a channel that is away for long stretches has no level to move.
    if (yes("drift") or yes("level change")) and not (facts.two_levels or facts.filled):
        tail = "the settled level moves" if yes("drift") else "the settled level jumped"
        return "drifting", tail + (", with recurring swings" if recurs else "")
    if recurs:
        kind = "recurring swings"
        if facts.filled:
            kind = "beyond the threshold for long stretches"
        when = {"cold": "; mostly while it warms up", "hot": "; mostly once it is warm"}.get(facts.phase, "")
        if facts.together:
            kind += " in all channels at once"
        if not when and yes("more often"):
            when = "; more often the longer it runs"
        if not when and yes("larger"):
            when = "; larger the longer it runs"
        return "noisy", kind + when
    if facts.two_levels:
        return "noisy", "two levels"
    if yes("noise"):
        return "noisy", "high noise floor"
    if by_hand:
        return "noisy", "intermittent when provoked"
    enough = hours >= needed_hours(limits)
    if facts.episodes > 0:
        apart = (facts.observed_s - facts.episode_s) / HOUR
        times = "once" if facts.episodes == 1 else f"{facts.episodes} times"
        by_lead = "intermittent" in findings and findings["intermittent"].basis == Basis.SHORTED_LEAD
        if apart >= needed_hours(limits):
            return "one-off", f"seen {times}, " + (
                "no more than the shorted lead may explain" if by_lead else "not proved gone"
            )
        return "inconclusive", f"seen {times} in {hours:.2g} h"
    upper = facts.steady_upper_per_h
    if enough or (upper is not None and upper <= limits.episode_rate_per_h):
        cold = f" and {facts.power_ups} power-up{'s' if facts.power_ups != 1 else ''}" if facts.power_ups else ""
        room = "; events in all channels at once, no more than a room shows" if facts.common_episodes else ""
        more = ""
        if facts.complaint_open:
            starts = f" or {facts.complaint_starts:.0f} cold starts" if facts.complaint_starts else ""
            more = f"; the complaint needs {facts.complaint_h:.2g} h{starts} more"
        return (
            "steady",
            f"for {hours:.3g} h{cold}, more than {limits.episode_rate_per_h:g} per hour excluded{room}{more}",
        )
    missing = needed_hours(limits) - hours
    return "inconclusive", f"clean for {hours:.2g} h; {missing:.2g} h more needed"


def needed_hours(limits: Limits) -> float:
    """Clean hours that exclude the rate of concern at the limits' confidence: -ln(1 - confidence) / rate."""
    import math

    return -math.log(1.0 - limits.confidence) / limits.episode_rate_per_h


def _fitness(word: str, yes: Callable[[str], bool], facts: Facts) -> str:
    if facts.trips > 0 or facts.dangerous_V is not None:
        return DO_NOT_CONNECT
    if word == "steady" and not (yes("settled offset") or yes("power-up") or facts.complaint_open):
        return WITHIN_LIMITS
    return NOT_YET_SHOWN
