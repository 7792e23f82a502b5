"""What the owner reads: one or two sentences per channel, without jargon, no claim beyond the evidence."""

from __future__ import annotations

from collections.abc import Mapping

from flicker.base.limits import Limits
from flicker.evidence.findings import YES, Finding
from flicker.evidence.verdict import DO_NOT_CONNECT, Facts, Verdict, needed_hours

HOUR = 3600.0
SPARSE_S = 2.0  # readings farther apart than this miss most glitches, and the sentence must say so
AT_ONCE = " All channels jump at the same moment: look at what they share, the mains and the meter included."


def hours_text(hours: float) -> str:
    """A length of time as people say it."""
    if hours < 1.0 / 60.0:
        return _counted(f"{hours * 3600.0:.0f}", "second")
    if hours < 0.995:
        return _counted(f"{hours * 60.0:.0f}", "minute")
    if hours < 100.0:
        return _counted(f"{hours:.1f}".rstrip("0").rstrip("."), "hour")
    return _counted(f"{hours / 24.0:.0f}", "day")


def clock_text(seconds: float) -> str:
    """A moment of a run, counted from its start: '1 h 02 min 03 s'."""
    whole = round(seconds)
    hours, minutes, rest = whole // 3600, whole // 60 % 60, whole % 60
    if hours:
        return f"{hours} h {minutes:02d} min {rest:02d} s"
    return f"{minutes} min {rest:02d} s" if minutes else f"{rest} s"


def _counted(number: str, unit: str) -> str:
    return f"{number} {unit}" + ("" if number == "1" else "s")


def channel_text(channel: str) -> str:
    """A channel's name at the beginning of a sentence: 'The left channel', 'Channel 2', 'Channel ch1'."""
    if channel.lower().startswith("channel"):
        return channel[:1].upper() + channel[1:]
    return f"Channel {channel}" if channel.lower().startswith("ch") or len(channel) < 3 else f"The {channel} channel"


def volts_text(volts: float) -> str:
    """A voltage as people say it."""
    size = abs(volts)
    if size < 0.9995:
        return f"{volts * 1e3:.0f} mV"
    return f"{volts:.2f} V" if size < 10 else f"{volts:.0f} V"


def times_text(count: int) -> str:
    """Once, twice, or a number of times."""
    return {1: "once", 2: "twice"}.get(count, f"{count} times")


def owner(
    channel: str,
    verdict: Verdict,
    findings: Mapping[str, Finding],
    facts: Facts,
    limits: Limits,
    largest_V: float | None,
) -> str:
    """Say what the channel does, worst volts first, and what that means."""
    hours = facts.observed_s / HOUR
    name = channel_text(channel)
    seen = hours_text(hours)
    if verdict.fitness == DO_NOT_CONNECT:
        volts = volts_text(abs(facts.dangerous_V or largest_V or limits.protection_V))
        first = f"{name} puts up to {volts} of direct voltage on its output: do not connect a loudspeaker."
        return f"{first} {_short(verdict, findings, facts, seen)}"
    lines = []
    if findings["settled offset"].answer == YES and verdict.word in {"steady", "inconclusive", "one-off"}:
        lines.append(f"{name} sits at {volts_text(findings['settled offset'].effect or 0.0)}, more than it should.")
        name = "It"
    lines.append(_main(name, verdict, findings, facts, limits, seen, largest_V))
    return " ".join(lines)


def _share(facts: Facts) -> str:
    share = facts.in_excursion_s / facts.observed_s if facts.observed_s > 0 else 0.0
    return f"{share:.0%}" if share >= 0.01 else "a small part"


def _largest(largest_V: float | None) -> str:
    return f", the largest {volts_text(largest_V)}" if largest_V is not None else ""


def _swings(facts: Facts, seen: str, largest_V: float | None) -> str:
    return f"{times_text(facts.episodes)} in {seen}{_largest(largest_V)}"


def _main(
    name: str,
    verdict: Verdict,
    findings: Mapping[str, Finding],
    facts: Facts,
    limits: Limits,
    seen: str,
    largest_V: float | None,
) -> str:
    word = verdict.word
    if word == "steady":
        rest = limits.episode_rate_per_h
        lasting = "" if facts.reading_every_s <= SPARSE_S else f", for {_lasting(facts.reading_every_s)},"
        calm = f"{name} stayed calm for {seen}; a fault that shows itself {_rate(rest)} or more{lasting} would have been seen."
        return calm + (
            " A rarer fault could still be there."
            if not facts.common_episodes
            else " The jumps that all channels made at once are no more than a room shows."
        )
    if word == "one-off" and "shorted lead" in verdict.tail:
        return f"{name} jumped {_swings(facts, seen, largest_V)}. So did a lead with nothing on it: the meter, its leads or the room may explain it."
    if word == "one-off":
        return f"{name} jumped {_swings(facts, seen, largest_V)}. It did not come again while we watched; that does not prove it gone."
    if word == "noisy":
        if verdict.tail.startswith(("recurring", "beyond")):
            what = (
                f"jumps again and again: {_swings(facts, seen, largest_V)}"
                if not facts.filled
                else f"is away from rest for {_share(facts)} of the time: {times_text(facts.excursions)} in {seen}{_largest(largest_V)}"
            )
            when = {
                "cold": " It comes mostly in the first minutes after switching on.",
                "hot": " It comes mostly once it is warm.",
            }
            return f"{name} {what}. The fault is real and comes and goes.{when.get(facts.phase, '')}{AT_ONCE if facts.together else ''}"
        if verdict.tail.startswith("intermittent when"):
            best = findings["provoked"]
            return f"{name} is calm by itself but jumps when it is provoked ({best.effect or 0.0:.0%} of the trials). The fault is real."
        if verdict.tail == "two levels":
            return f"{name} switches back and forth between two levels by itself; a part in it is failing."
        return f"{name} is restless all the time, {volts_text(findings['noise'].effect or 0.0)} where {volts_text(limits.noise_V)} is the limit."
    if word == "drifting":
        moved = findings["drift"].effect if findings["drift"].answer == YES else findings["level change"].effect
        more = f" It also jumps: {_swings(facts, seen, largest_V)}." if findings["intermittent"].answer == YES else ""
        return f"{name} does not stay where it settles: it moved by {volts_text(abs(moved or 0.0))} in {seen}.{more}"
    if word == "degrading":
        how = "larger" if verdict.tail.startswith("swings") else "more often"
        return f"{name} jumps {_swings(facts, seen, largest_V)}, and {how} as time goes on. It got worse while it was watched."
    if not facts.life_shown:
        return f"{name} shows no sign of being connected to a running amplifier; the log says nothing about it."
    if facts.episodes:
        return (
            f"{name} jumped {_swings(facts, seen, largest_V)}; that is too short a time to say whether it comes back."
        )
    missing = max(needed_hours(limits) - facts.observed_s / HOUR, 0.0)
    return f"{name} stayed calm, but only {seen} were observed: {hours_text(missing)} more are needed to believe it."


def _short(verdict: Verdict, findings: Mapping[str, Finding], facts: Facts, seen: str) -> str:
    if verdict.word == "degrading":
        return f"It jumped {times_text(facts.episodes)} in {seen}, and it got worse while it was watched."
    if findings["intermittent"].answer == YES:
        if verdict.tail.startswith("intermittent when"):
            return f"It does so when it is provoked ({findings['provoked'].effect or 0.0:.0%} of the trials)."
        return f"It comes and goes: {times_text(facts.episodes)} in {seen}."
    if facts.episodes:
        return f"It was seen {times_text(facts.episodes)} in {seen}; once is enough to do harm."
    return f"It stayed so for the {seen} observed."


def _lasting(interval_s: float) -> str:
    return f"{hours_text(interval_s / HOUR)} or longer (the meter looked no more often)"


def _rate(per_hour: float) -> str:
    if per_hour >= 0.9995:
        return "once an hour" if per_hour < 1.0005 else f"{per_hour:.3g} times an hour"
    return f"once in {hours_text(1.0 / per_hour)}"
