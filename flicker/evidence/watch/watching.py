"""A watch described: its rule, fixed before the start, and what it tells while it goes on and at its end."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, Any

from flicker.base.formats import digits_text, hours_text, share_text, times_text
from flicker.base.limits import Limits
from flicker.base.result import Doc, Result, plain
from flicker.evidence.document.head import head
from flicker.evidence.document.rows import FITNESS, WORD
from flicker.stats.sequential import RateDecision, likelihood_ratio_pair

RECURS, CLEAN, GO_ON = "recurs", "clean enough", "go on"
STAYS = "away from rest"  # how a decision for one long swing is told


@dataclass(frozen=True, slots=True)
class Design(Result):
    """The rule of a watch, fixed before it starts."""

    channels: Annotated[tuple[str, ...], Doc("Channels watched.", least=1)]
    good_rate_per_h: Annotated[float, Doc("Episodes per hour that should pass.", gt=0)]
    bad_rate_per_h: Annotated[float, Doc("Episodes per hour that should be caught.", gt=0)]
    error: Annotated[float, Doc("Chance that the watch decides wrongly, either way.", gt=0)]
    error_per_channel: Annotated[float, Doc("The same per channel.", gt=0)]
    confidence: Annotated[float, Doc("Confidence of the intervals, a share between 0 and 1.", gt=0)]
    clean_hours: Annotated[
        float, Doc("Observed hours without an episode after which a channel is 'clean enough'.", gt=0)
    ]
    least_episodes: Annotated[int, Doc("Fewest episodes that show 'recurs'.", ge=0)]
    bursts: Annotated[float, Doc("How many times as much as single episodes the counts are taken to scatter.", ge=1)]
    method: Annotated[str, Doc("The method by which the figures were found.")]

    @property
    def reads(self) -> str:
        """One sentence, printed before the start."""
        return (
            f"Rule, fixed now: 'clean enough' after {hours_text(self.clean_hours)} of observed time without an episode "
            f"({self.bad_rate_per_h:g} per hour excluded); 'recurs' at {self.least_episodes} episodes that "
            f"{self.good_rate_per_h:g} per hour does not explain; each wrong in at most {share_text(self.error)} of watches, "
            f"{share_text(self.error_per_channel)} per channel, however often one looks, if episodes come "
            + (
                "singly (--bursts K for a fault that comes in bursts)."
                if self.bursts == 1.0
                else f"in bursts that make counts scatter up to {self.bursts:g} times as much as single ones."
            )
        )


@dataclass(frozen=True, slots=True)
class Event(Result):
    """Something that happened: ``event`` is 'episode', 'alarm', 'decision' or 'note'."""

    event: Annotated[str, Doc("What happened.", values=("episode", "alarm", "decision", "note"))]
    channel: Annotated[str | None, Doc("Channel; null for all.")]
    run: Annotated[int, Doc("Number of the run, from 0.", ge=0)]
    time_s: Annotated[float, Doc("Seconds since the run's first sample.")]
    text: Annotated[str, Doc("In words.")]
    kind: Annotated[str, Doc("Which kind of event.")] = ""
    deviation_V: Annotated[float | None, Doc("Deviation of an episode, volts with sign.", open=True)] = None
    duration_s: Annotated[float | None, Doc("Length of an episode, seconds.", ge=0)] = None


@dataclass(frozen=True, slots=True)
class ChannelState(Result):
    """One channel so far; the bounds hold at every moment, however often one looks."""

    channel: Annotated[str, Doc("Name of the channel.")]
    decision: Annotated[
        str, Doc("Decision so far; 'recurs' stands, 'clean enough' is taken back where swings come later.", values=("recurs", "clean enough", "go on"))
    ]
    decided_at_h: Annotated[float | None, Doc("Observed hours at the decision; null before.", ge=0)]
    episodes: Annotated[int, Doc("Episodes of its own.", ge=0)]
    common_episodes: Annotated[int, Doc("Episodes of all channels at once.", ge=0)]
    observed_h: Annotated[float, Doc("Observed hours.", ge=0)]
    per_hour: Annotated[float | None, Doc("Episodes per observed hour.", ge=0)]
    low_per_hour: Annotated[float | None, Doc("Lower bound that holds at every moment.", ge=0)]
    high_per_hour: Annotated[float | None, Doc("Upper bound that holds at every moment.", ge=0, open=True)]
    dispersion: Annotated[float, Doc("Variance of the counts over that of single episodes.", ge=0)]
    in_excursion_s: Annotated[float, Doc("Seconds beyond the threshold.", ge=0)]
    largest_V: Annotated[float | None, Doc("Largest deviation so far, volts without sign.", open=True)]
    level_V: Annotated[float | None, Doc("Level at rest, volts.")]
    last_V: Annotated[float | None, Doc("Last reading, volts; null before the first.")]
    noise_V: Annotated[float | None, Doc("Robust sigma at rest, volts.", ge=0)]
    alarms: Annotated[int, Doc("Alarms so far.", ge=0)]
    state: Annotated[str, Doc("What the channel does now.", values=("on", "starting", "not alive", "in an excursion"))]
    stays: Annotated[bool, Doc("Whether 'recurs' rests on one swing that lasted, not on several.")] = False

    @property
    def decided(self) -> str:
        """The decision in words."""
        return STAYS if self.stays and self.decision == RECURS else self.decision

    @property
    def reads(self) -> str:
        """One sentence for the owner of the unit."""
        seen = times_text(self.episodes) if self.episodes else "no episode"
        told = f"{self.channel}: {seen} in {hours_text(self.observed_h)} observed"
        if self.high_per_hour is not None and math.isfinite(self.high_per_hour):
            told += f", between {digits_text(self.low_per_hour or 0.0)} and {digits_text(self.high_per_hour)} per hour so far; other power-ups may differ"
        return f"{told}: {self.decided}."


@dataclass(frozen=True, slots=True)
class OfflineVerdict(Result):
    """The judgement of the whole log, made at the end."""

    channel: Annotated[str, Doc("Name.")]
    verdict: Annotated[str, WORD]
    tail: Annotated[str, Doc("What the word rests on.")]
    fitness: Annotated[str, FITNESS]
    episodes: Annotated[int, Doc("Episodes.", ge=0)]
    observed_h: Annotated[float, Doc("Observed hours.", ge=0)]
    reads: Annotated[str, Doc("In words, for the owner of the unit.")]


@dataclass(frozen=True, slots=True)
class WatchSummary(Result):
    """What a watch has shown; ``to_dict`` follows the schema 'flicker/watch/1'."""

    design: Annotated[Design, Doc("")]
    channels: Annotated[tuple[ChannelState, ...], Doc("Channels at the end.")]
    decided: Annotated[bool, Doc("Whether every channel is decided.")]
    ended: Annotated[str, Doc("Why the watch ended.")]
    runs: Annotated[int, Doc("Runs seen.", ge=0)]
    samples: Annotated[int, Doc("Samples read.", ge=0)]
    alarms: Annotated[tuple[Event, ...], Doc("Alarms in order.")]
    notes: Annotated[tuple[str, ...], Doc("What was assumed or repaired while reading.")]
    cautions: Annotated[tuple[str, ...], Doc("What to be careful about, in sentences.")]
    offline: Annotated[
        tuple[OfflineVerdict, ...],
        Doc("The judgement of the whole log, beside what the watch saw; empty where it could not be made."),
    ] = ()
    seed: int = 0

    @property
    def reads(self) -> str:
        """All channels in one paragraph."""
        return " ".join(item.reads for item in self.channels)

    def to_dict(self) -> dict[str, Any]:
        """Return the document of the schema 'flicker/watch/1'."""
        own = plain({name: getattr(self, name) for name in self.__slots__})
        return {
            **head("flicker/watch/1", self.seed, "the error is split evenly over the channels"),
            "event": "summary",
            **own,
            "reads": self.reads,
        }


def design(
    channels: Sequence[str],
    limits: Limits,
    good_rate_per_h: float | None = None,
    bad_rate_per_h: float | None = None,
    bursts: float = 1.0,
) -> tuple[Design, RateDecision]:
    """Return the rule of a watch over these channels: the description to print, and the boundaries.

    Raises
    ------
    ValueError
        If the rates are not positive and in order.
    """
    good = limits.nuisance_rate_per_h if good_rate_per_h is None else good_rate_per_h
    bad = limits.episode_rate_per_h if bad_rate_per_h is None else bad_rate_per_h
    error = round(1.0 - limits.confidence, 12)
    each = error / len(channels)
    rule = likelihood_ratio_pair(good, bad, false_alarm=each, miss=each, least_count=2, dispersion=bursts)
    return (
        Design(
            channels=tuple(channels),
            good_rate_per_h=rule.good_rate,
            bad_rate_per_h=rule.bad_rate,
            error=error,
            error_per_channel=each,
            confidence=limits.confidence,
            clean_hours=rule.clean_exposure,
            least_episodes=rule.least_count,
            bursts=rule.dispersion,
            method=rule.method,
        ),
        rule,
    )
