"""What a comparison says of one channel: figures of either side, ratios, changes, and the words for the owner."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Annotated, Any

import numpy as np

from flicker.base.formats import (
    channel_text,
    digits_text,
    hours_text,
    lasting_text,
    millivolts_text,
    power_ups_text,
    share_text,
    times_text,
)
from flicker.base.result import Doc, Result, plain
from flicker.base.values import Aspect, Fitness
from flicker.evidence.compare.aspects import AspectChange, others_told, rate_seen, stage_text
from flicker.evidence.compare.condition_change import Change, PowerUpChange
from flicker.evidence.compare.power_up_ratio import PowerUpRatio
from flicker.evidence.compare.weighing import IMPROVED, NO_CHANGE, WORSE, Cure, Note, NoteKind, Weighed
from flicker.evidence.document.rows import FITNESS, WORD
from flicker.evidence.located.rate_changed import RateChanged, Way
from flicker.evidence.questions.recurrence import EpisodeRate
from flicker.evidence.record.channel_record import ChannelRecord

# A choice, for a description: swings that all lie in the last tenth of the observed time; of three, at a steady rate, by
# chance in one log of a thousand (0.1 to the third).
FEWEST_LATE, LATE = 3, 0.1
OTHER = frozenset({Aspect.MOVEMENT, Aspect.JUMPS, Aspect.POWER_UP, Aspect.PROTECTION})  # told by their own sentence


@dataclass(frozen=True, slots=True)
class SideFigures(Result):
    """One channel on one side: its rate, and how much of it has its like on the other side."""

    stage: Annotated[str, Doc("Name of the stage.")]
    rate: EpisodeRate
    matched_episodes: Annotated[int, Doc("Episodes at a time since power-up that both sides observed.", ge=0)]
    matched_s: Annotated[float, Doc("Observed seconds that have their like on the other side.", ge=0)]
    occupied_share: Annotated[float, Doc("Share of short windows with an excursion.", ge=0, le=1)]
    in_excursion_s: Annotated[float, Doc("Seconds beyond the threshold.", ge=0)]
    power_ups: Annotated[int, Doc("Power-ups seen.", ge=0)]
    cold_starts: Annotated[int, Doc("Of these, from cold.", ge=0)]
    trips: Annotated[int, Doc("Times the assumed relay opened.", ge=0)]
    verdict: Annotated[str, WORD]
    fitness: Annotated[str, FITNESS]
    against: Annotated[
        tuple[str, ...], Doc("What stands against a clearance, in volts, the weightiest first; empty where nothing does.")
    ] = ()

    def to_dict(self) -> dict[str, Any]:
        """Return the rate's fields with the others beside them."""
        own = plain({name: getattr(self, name) for name in self.__slots__ if name != "rate"})
        return {**self.rate.to_dict(), **own}

    def beside(self, state: Cure) -> SideFigures:
        """As the later side: logs that could not have shown the fault known from before do not clear."""
        if not state.unseen or self.fitness != Fitness.WITHIN_LIMITS:
            return self
        return replace(self, fitness=Fitness.NOT_YET_SHOWN, against=(state.unseen, *self.against))


@dataclass(frozen=True, slots=True)
class RatioFigures(Result):
    """Rate after over rate before over power-ups; two-sided interval, one-sided p-values."""

    estimate: Annotated[
        float | None,
        Doc("Rate after over rate before; null where it has no value (no episode on either side).", ge=0, open=True),
    ]
    low: Annotated[float, Doc("Lower two-sided limit.", ge=0, open=True)]
    high: Annotated[float, Doc("Upper two-sided limit.", ge=0, open=True)]
    p_value: Annotated[
        float, Doc("One-sided p-value in the direction of the ratio, not corrected.", ge=0, le=1, null=True)
    ]
    sided: Annotated[str, Doc("Always 'one'.", values=("one",))]
    p_improved: Annotated[
        float, Doc("One-sided p-value of 'improved', corrected over the channels.", ge=0, le=1, null=True)
    ]
    p_worse: Annotated[float, Doc("One-sided p-value of 'worse', corrected.", ge=0, le=1, null=True)]
    dispersion: Annotated[
        float,
        Doc(
            "Variance of the counts of power-ups over that of independent episodes, at the middle scatter.",
            ge=0,
            null=True,
        ),
    ]
    scatter: Annotated[
        float,
        Doc("How much power-ups differ by themselves, as a share of their rate: the middle value.", ge=0, null=True),
    ]
    holds_up_to_scatter: Annotated[
        float | None, Doc("Largest such difference up to which the change is shown; null where none.", ge=0)
    ]
    power_ups: Annotated[tuple[int, int], Doc("Power-ups compared, before and after.")]
    counts: Annotated[str, Doc("The counts compared, in words.")]
    cautions: Annotated[tuple[str, ...], Doc("What the ratio rests on.")]
    method: Annotated[str, Doc("The method by which the figures were found.")]


@dataclass(frozen=True, slots=True)
class ChannelComparison(Result):
    """What changed in one channel, and whether its fault is shown to be gone.

    ``outcome`` is 'improved', 'no change shown' or 'worse', decided by ``aspect``: 'worse' where any of ``aspects`` is,
    for what worsens anything is no cure. ``cured`` is 'shown', 'not yet',
    'no', or None where there was nothing to cure.
    """

    channel: Annotated[str, Doc("Name of the channel.")]
    outcome: Annotated[str, Doc("What is shown.", values=("improved", "no change shown", "worse"))]
    aspect: Annotated[Aspect, Doc("What decided the outcome.")]
    cured: Annotated[
        str | None,
        Doc(
            "Whether the fault is shown to be gone; null where there was nothing to cure.",
            values=("shown", "not yet", "no"),
        ),
    ]
    untouched: Annotated[bool, Doc("Whether this is the control channel.")]
    before: Annotated[SideFigures, Doc("")]
    after: Annotated[SideFigures, Doc("")]
    ratio: Annotated[RatioFigures, Doc("The ratio that decided.")]
    episode_ratio: Annotated[RatioFigures, Doc("The ratio of episode rates.")]
    noise_ratio: Annotated[Change, Doc("")]
    level_shift_V: Annotated[Change, Doc("")]
    size_change: Annotated[Change, Doc("")]
    power_up: Annotated[PowerUpChange, Doc("")]
    clean_hours_needed: Annotated[
        float | None,
        Doc(
            "Hours still to be logged without an episode before the cure is shown, in power_ups_needed power-ups; null where none would do or none is needed.",
            ge=0,
            open=True,
        ),
    ]
    power_ups_needed: Annotated[
        int | None, Doc("Power-ups of power_up_h still to be logged without an episode; null as for the hours.", ge=0)
    ]
    power_up_h: Annotated[float | None, Doc("Mean observed hours of the power-ups after.", ge=0)]
    fault_shows_in: Annotated[
        int | None,
        Doc(
            "In so many power-ups of power_up_h the fault as it came would have shown itself; null where that is not asked.",
            ge=1,
        ),
    ]
    cold_starts_needed: Annotated[int | None, Doc("Or so many clean starts from cold.", ge=0)]
    concern_per_h: Annotated[float, Doc("Episodes per hour that a cure must exclude.", gt=0)]
    excluded_per_h: Annotated[
        float | None, Doc("Episodes per hour that the clean time after excludes, for that time.", ge=0, open=True)
    ]
    comparable: Annotated[tuple[str, ...], Doc("What limits the comparison.")]
    not_comparable: Annotated[
        tuple[str, ...], Doc("Why nothing is claimed between the sides; empty where they compare.")
    ]
    aspects: Annotated[tuple[AspectChange, ...], Doc("Each aspect after against before.", least=1)]
    reads: Annotated[str, Doc("In words, for the owner of the unit.")] = ""


def ratio_figures(found: PowerUpRatio, item: Weighed) -> RatioFigures:
    """Figures of one ratio of a weighed channel."""
    return RatioFigures(
        estimate=None if math.isnan(found.ratio) else found.ratio,
        low=found.low,
        high=found.high,
        p_value=found.p_value,
        sided="one",
        p_improved=item.p_improved,
        p_worse=item.p_worse,
        dispersion=_dispersion(found),
        scatter=found.cv,
        holds_up_to_scatter=found.holds_less if found.p_less <= found.p_greater else found.holds_greater,
        power_ups=(len(found.base_units), len(found.units)),
        counts=f"{found.count} after, {found.base_count} before, at equal time since power-up",
        cautions=found.cautions,
        method=found.method,
    )


def _dispersion(found: PowerUpRatio) -> float:
    """1 + c^2 times the mean count of a power-up."""
    number = len(found.units) + len(found.base_units)
    return 1.0 + found.cv**2 * (found.count + found.base_count) / number if number else math.nan


def reads(found: ChannelComparison, item: Weighed, state: Cure, notes: Sequence[Note], within_after: str) -> str:
    """Say what changed and what is missing, in words for the owner; ``within_after`` tells how the later side changed in itself."""
    name, outcome, aspect, cured, aspects = channel_text(found.channel), found.outcome, found.aspect, found.cured, found.aspects
    sides, noise, level = (found.before, found.after), found.noise_ratio, found.level_shift_V
    one, two = sides[0].stage, sides[1].stage
    if aspect == Aspect.NOISE_FLOOR:
        said_of = (f"noise {millivolts_text(noise.before)}", f"noise {millivolts_text(noise.after)}")
    elif aspect == Aspect.SETTLED_LEVEL:
        said_of = (f"at rest {millivolts_text(level.before)}", f"at rest {millivolts_text(level.after)}")
    else:
        _, seen = rate_seen(item, [side.rate for side in sides])
        said_of = (seen[0].said, seen[1].said)
    figures = f"{said_of[0]} {stage_text(one)}, {said_of[1]} {stage_text(two)}"
    own = next((part for part in aspects if part.aspect == aspect), None)
    why = f" ({own.note})" if own is not None and own.note and aspect in {Aspect.NOISE_FLOOR, Aspect.SETTLED_LEVEL} else ""
    word = "rarer, but no change by the repair is shown" if item.under_way and outcome == NO_CHANGE else outcome
    said = [f"{name}: {own.reads}" if own is not None and aspect in OTHER else f"{name}: {figures}: {word}{why}."]
    said.extend(filter(None, [within_after]))
    said.extend(others_told(aspects, aspect))
    if aspect == Aspect.EPISODES and outcome != NO_CHANGE:
        ratio = item.ratio
        if not ratio.alone:
            said_of_scatter = _holds(ratio, outcome)
        else:
            said_of_scatter = f"One power-up on each side cannot tell how far power-ups differ by themselves; the change is shown up to {share_text(1.5 * ratio.scatter)}: log a second."
        if outcome == IMPROVED and not math.isinf(ratio.high):
            said.append(f"The rate fell to at most {digits_text(ratio.high)} of what it was ({share_text(ratio.confidence)}).")
        elif outcome == WORSE and ratio.low > 0:
            said.append(
                f"The rate rose to at least {digits_text(ratio.low)} times what it was ({share_text(ratio.confidence)})."
            )
        said.append(said_of_scatter)
        sizes = len(ratio.base_units), len(ratio.units)
        if min(sizes) == 1 < max(sizes):
            said.append(f"One power-up {stage_text((one, two)[sizes.index(1)])} may have been an odd one: log a second.")
    elif aspect == Aspect.EPISODES and item.ratio.alone and item.ratio.base_count and not item.barred:
        said.append("One power-up on each side cannot tell how far power-ups differ by themselves: log a second on each.")
    told = cured is not None or outcome != NO_CHANGE or item.barred
    said.extend(
        f"{note.text[0].upper()}{note.text[1:]}."
        for note in notes
        if note.kind == NoteKind.SHARED or (told and note.kind != NoteKind.REMARK)
    )
    if level.withdrawn:
        said.append(
            f"At rest {millivolts_text(level.before)} {stage_text(one)}, {millivolts_text(level.after)} {stage_text(two)}: {level.note}."
        )
    if state.word in {"shown", "not yet"} and outcome == WORSE:
        gone = "The fault as it came is gone, but a" if state.word == "shown" else "A"
        said.append(f"{gone} repair that worsens something else is no cure.")
    elif cured is not None:
        again = bool(sides[1].rate.episodes or item.shares[1] > 0)
        said.append(_cure(cured, again, state, item))
    return " ".join(said)


def changed_within(record: ChannelRecord, since: RateChanged | None, stage: str) -> str:
    """How the rate of a side changed within it: swings that came only at its very end, or a change that is shown; else empty.

    A fault that needs hours to come back has a low rate over a soak, and a high one where it ends.
    """
    found, ends_s = record.episodes, np.cumsum([0.0, *(trace.observed_s for trace in record.traces)])
    at_s = (ends_s[found.run] + found.clock_s)[~found.common]
    clean_s = float(at_s.min()) if at_s.size else 0.0
    if at_s.size >= FEWEST_LATE and clean_s >= (1.0 - LATE) * record.observed_s:
        left_s = record.observed_s - clean_s
        return f"{stage[0].upper()}{stage[1:]}: none for {lasting_text(clean_s)}, then {times_text(at_s.size)} in {lasting_text(left_s)}."
    if since is not None and since.answer == Way.MORE:
        return f"{stage[0].upper()}{stage[1:]}: {since.reads}"
    return ""


def _holds(ratio: PowerUpRatio, outcome: str) -> str:
    """How much power-ups differ by themselves, and up to which difference the change is shown."""
    held = ratio.holds_less if outcome == IMPROVED else ratio.holds_greater
    differ = f"Power-ups differ by themselves, here by some {share_text(ratio.cv)} (perhaps {share_text(ratio.cv_high)})"
    return f"{differ}; the change stands as long as that is no more than {share_text(held or 0.0)}."


def _cure(cured: str, again: bool, state: Cure, item: Weighed) -> str:
    if cured == "not yet" and item.shared[0] and not item.before.episodes:
        return "A cure of this channel cannot be shown by swings that are not its own."
    if cured == "not yet" and state.clean_hours_needed is None:
        what_next = ""
        if item.barred:
            what_next = ": log again under the conditions of before"
        elif item.under_way:
            what_next = ": clean logs to come show that it stays away, not that the repair did it"
        return f"A cure cannot be shown this way{what_next}."
    if cured == "shown":
        return f"The cure is shown: more than {digits_text(state.concern_per_h)} episodes per hour is excluded."
    if cured == "no":
        return "It is not cured: the fault still comes back."
    hours, number = state.clean_hours_needed or 0.0, state.power_ups_needed
    if again:
        return f"Seen again, so not yet cured; begin a new soak of {clean_power_ups_text(hours, number)} without an episode."
    said = ""
    if state.fault_shows_in is not None and state.each_h:
        said = f"The fault as it came would show itself in {power_ups_text(state.fault_shows_in, state.each_h)}. "
    aim = f"{digits_text(state.concern_per_h)} per hour excluded for power-ups to come"
    more = f"the cure is shown only after {clean_power_ups_text(hours, number, ' more')} without an episode ({aim})"
    if state.cold_starts_needed:
        more += (
            f", or after {state.cold_starts_needed} more clean start{'s' if state.cold_starts_needed > 1 else ''} from cold"
        )
    if state.excluded_per_h is not None:
        return f"{said}The clean log excludes more than {digits_text(state.excluded_per_h)} per hour for its own time; {more}."
    return f"{said}{more[0].upper()}{more[1:]}."


def clean_power_ups_text(hours: float, power_ups: int | None, more: str = "") -> str:
    """Clean hours as power-ups: power-ups differ by themselves, so one long run tells less."""
    if not power_ups:
        return f"{hours_text(math.ceil(60.0 * hours) / 60.0)}{more}"  # a plan in seconds helps nobody
    each = hours_text(math.ceil(60.0 * hours / power_ups) / 60.0)
    return f"{power_ups}{more} power-up{'s' if power_ups > 1 else ''} of {each}" + (" each" if power_ups > 1 else "")
