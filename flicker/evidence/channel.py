"""Judge one channel: every question put to its record, the verdict, and what to do next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Annotated, NamedTuple

import numpy as np

from flicker.base.limits import Limits
from flicker.base.result import Doc, Result
from flicker.base.units import HOUR
from flicker.base.values import TailKind, Unobserved
from flicker.evidence.document.excursion_table import ExcursionRow, listed
from flicker.evidence.document.rows import FITNESS, WORD
from flicker.evidence.findings import GROWTH, NO, NOT_SHOWN, YES, Finding, by_question, correct
from flicker.evidence.guard import Guard, Reason
from flicker.evidence.guard.words import not_excluded
from flicker.evidence.outlook.bench import RelayResult, Relays, Visibility, exposure, visibility_of, warm_up_of
from flicker.evidence.outlook.end_state import End, Failed, Stands, TimeToThreshold
from flicker.evidence.questions import condition, drift, recurrence
from flicker.evidence.questions.auxiliary_channels import by_lead
from flicker.evidence.questions.cell_levels import Levels
from flicker.evidence.questions.level_jumps import JumpCount, level_jumps
from flicker.evidence.questions.marked import proved_by_hand, provoked, provoked_finding
from flicker.evidence.questions.movement import RawMovement
from flicker.evidence.questions.recurrence import EpisodeRate
from flicker.evidence.record.accuracy import off_by_V
from flicker.evidence.record.channel_record import ChannelRecord
from flicker.evidence.record.starts import BEHIND_RELAY, LEFT_OUT, side_of
from flicker.evidence.verdict import Facts, decide
from flicker.evidence.words import Next, advise, owner
from flicker.evidence.worth_looking import Hints, WorthLooking, worth_looking

if TYPE_CHECKING:
    from flicker.case.case_file import Case
    from flicker.evidence.document.rows import LevelChangeRow, Thresholds, Unseen
    from flicker.evidence.located.moves import MoveRow
    from flicker.evidence.located.power_up_history import MeanCount, PowerUpHistory
    from flicker.evidence.located.rate_changed import RateChanged
    from flicker.evidence.located.warmup import WarmupRate
    from flicker.evidence.outlook.swings_ahead import SwingsAhead
    from flicker.evidence.questions.control import ControlAnswer
    from flicker.evidence.questions.stimulus import StimulusReport


@dataclass(frozen=True, slots=True)
class BaselineResult(Result):
    """Settled level, its slope with interval, and changes of level."""

    level_V: Annotated[float | None, Doc("Settled level in volts; null where nothing settled was observed.")]
    slope_V_per_h: Annotated[float | None, Doc("Slope of the settled level, volts per hour.")]
    slope_low: Annotated[float | None, Doc("Lower end of its interval, volts per hour.", open=True)]
    slope_high: Annotated[float | None, Doc("Upper end, volts per hour.", open=True)]
    changes: Annotated[tuple[LevelChangeRow, ...], Doc("Changes of level that noise does not explain.")]


@dataclass(frozen=True, slots=True)
class NoiseResult(Result):
    """Robust sigma of the settled signal, the step of the last digit, and the colour of the noise."""

    sigma_V: Annotated[float | None, Doc("Robust sigma of the settled signal, volts.", ge=0)]
    resolution_V: Annotated[float | None, Doc("Step of the meter's last digit, volts; 0 where none shows.", ge=0)]
    colour: Annotated[str | None, Doc("Colour of the noise ('white', 'flicker', ...); null where too few readings.")]


@dataclass(frozen=True, slots=True)
class ChannelAssessment(Result):
    """Verdict, evidence and numbers of one channel."""

    channel: Annotated[str, Doc("Name of the channel.")]
    fitness: Annotated[str, FITNESS]
    verdict: Annotated[str, WORD]
    tail: Annotated[str, Doc("What the word rests on; printed after it.")]
    reads: Annotated[str, Doc("One or two sentences for the owner of the unit.")]
    technician: Annotated[str, Doc("The findings in words.")]
    excursions: Annotated[
        tuple[ExcursionRow, ...],
        Doc("Excursions in time order, at most 10000: those that trip the relay first, then the largest."),
    ]
    excursions_total: Annotated[int, Doc("Excursions found, listed or not.", ge=0)]
    rate: Annotated[EpisodeRate, Doc("")]
    findings: Annotated[tuple[Finding, ...], Doc("One answer per question.", least=1)]
    baseline: Annotated[BaselineResult, Doc("")]
    noise: Annotated[NoiseResult, Doc("")]
    in_excursion_s: Annotated[float, Doc("Seconds spent beyond the threshold.", ge=0)]
    observed_s: Annotated[float, Doc("Seconds in which an excursion could have been seen.", ge=0)]
    power_up: Annotated[tuple[condition.PowerUp, ...], Doc("Power-ups seen.")]
    relay: Annotated[RelayResult, Doc("")]
    next: Annotated[Next, Doc("")]
    gaps: Annotated[tuple[Unseen, ...], Doc("Stretches that were not observed, with the reason.")]
    thresholds: Annotated[Thresholds, Doc("Thresholds used.")]
    warm_up: Annotated[
        WarmupRate | None, Doc("Rate against time since power-up; null where no power-up or no episode was seen.")
    ] = None
    visibility: Annotated[Visibility | None, Doc("What this sampling can see; null where nothing was observed.")] = None
    control: Annotated[ControlAnswer | None, Doc("Against a control run; null where none was given.")] = None
    power_up_history: Annotated[
        PowerUpHistory | None, Doc("Power-ups against the unit's own history; null below five.")
    ] = None
    stimulus: Annotated[StimulusReport | None, Doc("Does it answer to a stimulus; null where none was marked.")] = None
    tail_kind: Annotated[TailKind, Doc("What the tail tells, as a value.")] = TailKind.CLEAN
    guard: Annotated[Guard, Doc("")] = field(default_factory=Guard)
    moves: Annotated[tuple[MoveRow, ...], Doc("Where the level lay elsewhere and from when to when, in time order: a description, made only where movement is shown ('drift' is 'yes') or the guard's reason is 'move'.")] = ()
    mean_count: Annotated[MeanCount | None, Doc("Episodes of a power-up against time since switch-on, in the mean over power-ups; null below two power-ups or without an episode.")] = None
    since: Annotated[RateChanged | None, Doc("Since when the rate has been another; null where too few episodes were seen.")] = None
    worth_looking: Annotated[tuple[WorthLooking, ...], Doc("Where the findings point: common practice, no source, and never a verdict.")] = ()
    swings_ahead: Annotated[SwingsAhead | None, Doc("When growing swings first reach the relay's threshold; null where growth is not shown, or one has reached it.")] = None
    not_excluded: Annotated[str, Doc("What the log leaves open, in volts; of a cleared channel too.")] = ""
    against: Annotated[tuple[str, ...], Doc("What stands against a clearance beside the verdict, in volts, the weightiest first; empty where nothing does.")] = ()

    def finding(self, question: str) -> Finding:
        """Answer to one question."""
        for item in self.findings:
            if item.question == question:
                return item
        raise KeyError(question)


class PageContext(NamedTuple):
    """What holds for all channels of a page; ``lead`` is the shorted one, where there is one."""

    limits: Limits
    relays: Relays
    case: Case | None
    lead: ChannelRecord | None
    excursions_listed: int


class RawAnswers(NamedTuple):
    """What the raw readings of one channel say, whatever its baseline."""

    guard: Guard
    movement: RawMovement
    jumps: JumpCount
    end: End | None
    ahead: TimeToThreshold | None
    along: bool = False  # another channel moves with it


class AmongChannels(NamedTuple):
    """What was found of one channel with all channels of the page at once.

    ``whole`` is its record with the hours in which the lead may have seen nothing: a level that fell to zero has moved.
    ``together``: its episodes came mostly in all channels; ``lead_hits``: so many came with the shorted lead.
    """

    whole: ChannelRecord
    levels: Sequence[Levels]
    growth: Sequence[Finding]
    since: RateChanged | None
    together: bool
    lead_hits: int


def judge_channel(record: ChannelRecord, page: PageContext, raw: RawAnswers, among: AmongChannels) -> ChannelAssessment:
    """Put every question to one channel, decide, and say it; ``record`` observes the hours that count."""
    limits, case, guard = page.limits, page.case, raw.guard
    whole, levels, together = among.whole, among.levels, among.together
    rate = recurrence.episode_rate(record, limits)
    ups = condition.power_ups(record, limits)
    side_told = side_of(case, record.channel) != "unknown"
    relay, late_trips = exposure(record, page.relays, limits)
    if isinstance(raw.end, Stands):
        relay = replace(relay, forecast=None)  # it stands beyond the threshold: nothing to foretell
    level = condition.settled_level(whole)
    both_off = 2.0 * off_by_V(whole, level or 0.0, case)
    moved = drift.strongest(drift.drift(whole, levels, limits), drift.run_to_run(whole, limits, both_off))
    moved = drift.by_volts(moved, raw.movement, guard, limits)
    changes, changed = drift.level_change(whole, levels, limits)
    least_moved_V = abs(moved.low or 0.0) if moved.holds else 0.0
    comes_and_goes = recurrence.intermittent(record, rate, limits, least_moved_V)
    if page.lead is not None:
        comes_and_goes = by_lead(comes_and_goes, record, page.lead, limits, among.lead_hits)
    findings = correct(
        [
            comes_and_goes,
            recurrence.clustered(record, limits),
            *among.growth,
            condition.settled_offset(whole, limits, raw.end.last_V if isinstance(raw.end, Stands) else None, guard),
            moved,
            drift.beside_volts(changed, guard),
            level_jumps(raw.jumps, record.episodes.count, guard),
            condition.noise(record, limits),
            condition.power_up(ups, limits, guard, side_told=side_told),
            condition.protection(late_trips, relay.peak_V, relay.seconds_above_threshold, limits),
        ],
        limits.confidence,
    )
    tried = provoked(record, limits.confidence)
    if tried is not None:
        findings = proved_by_hand((*findings, *correct([provoked_finding(tried)], limits.confidence)))
    answers = by_question(findings)
    own = ~record.episodes.common
    lengths = record.episodes.end_s - record.episodes.start_s
    sizes = record.episodes.size_V[own]
    dangerous = level if level is not None and abs(level) > min(limits.danger_V, limits.protection_V) else None
    missing_h, missing_starts = _complaint(record, case, limits)
    units = list(zip(*record.per_cycle(), strict=True))
    # hours in which the lead may have seen nothing exclude nothing
    upper_per_h = guard.figures.upper_per_h if guard.asleep and rate.steady_upper_per_h else rate.steady_upper_per_h
    rows, total = listed(record, limits, page.excursions_listed)
    facts = Facts(
        observed_s=record.observed_s,
        episodes=rate.episodes,
        common_episodes=rate.common_episodes,
        episode_s=float(lengths[own].sum()),
        steady_upper_per_h=upper_per_h,
        power_ups=sum(trace.power_up_seen for trace in record.traces),
        trips=late_trips,
        dangerous_V=dangerous,
        filled=bool(recurrence.long_evidence(record, limits, least_moved_V)),
        life_shown=Reason.DEAD not in guard.reasons or any(trace.life == "seen" for trace in record.traces),
        excursions=total,
        in_excursion_s=record.in_excursion_s,
        phase=recurrence.phase_of(record, rate, limits),
        together=together,
        complaint_h=missing_h,
        complaint_starts=missing_starts,
        counts=tuple(times.size for times, end in units if end > 0),
        hours_each=tuple(end / HOUR for _, end in units if end > 0),
        reading_every_s=max(record.reading_every_s, guard.figures.renewed_s, guard.figures.seldom_s),
        enter_V=max((trace.enter_V for trace in record.traces), default=0.0),
        moves_together=raw.along
        or any(part.together and float(np.ptp(part.room_V)) > limits.drift_V for part in levels),
        jump_pairs=raw.jumps.pairs,
        jump_V=raw.jumps.size_V,
        left_out=_left_out(record),
        failed=raw.end.reads if isinstance(raw.end, Failed) else "",
        stands=raw.end.reads if isinstance(raw.end, Stands) else "",
        once_at_first=recurrence.once_at_first(record, limits),
        beside=bool(record.episodes.shared.any()),
        shared_swings=bool(record.episodes.common.any()) and not bool(own.any()),
    )
    verdict = decide(answers, facts, limits, guard)
    if verdict.kind == TailKind.NO_LIFE:  # a lead that may have seen nothing has shown nothing to be within its limit
        findings = tuple(replace(item, answer=NOT_SHOWN) if item.answer == NO else item for item in findings)
        answers = by_question(findings)
        rate, upper_per_h = replace(rate, steady_upper_per_h=None), None
    warm = warm_up_of(record, limits)
    history, mean_count = _over_power_ups(record, ups, limits)
    warmest = max((part.warmth for part in levels if part.warmth is not None), key=lambda w: w.range_V, default=None)
    largest = float(sizes.max()) if sizes.size else None
    peak = relay.peak_V if late_trips and relay.peak_V is not None else largest
    left_open = not_excluded(
        guard, raw.movement.most_V, facts.reading_every_s, None if rate.episodes else upper_per_h
    )
    return ChannelAssessment(
        channel=record.channel,
        fitness=verdict.fitness,
        verdict=verdict.word,
        tail=verdict.tail,
        reads=owner(record.channel, verdict, answers, facts, limits, peak, guard),
        technician=_technician(findings),
        excursions=rows,
        excursions_total=total,
        rate=rate,
        findings=findings,
        baseline=BaselineResult(level, *drift.slope(levels, limits.confidence), changes),
        noise=_noise(record, answers["noise"].effect),
        in_excursion_s=record.in_excursion_s,
        observed_s=record.observed_s,
        power_up=ups,
        relay=relay,
        next=advise(verdict, facts, guard, limits, raw.end, raw.ahead),
        gaps=tuple(
            {"run": number, "start_s": gap.start_s, "end_s": gap.end_s, "reason": Unobserved(gap.reason), "channel": gap.channel}
            for number, trace in zip(record.numbers, record.traces, strict=True)
            for gap in trace.unobserved
        ),
        thresholds={
            "enter_V": max((trace.enter_V for trace in record.traces), default=limits.excursion_V),
            "leave_V": max((trace.leave_V for trace in record.traces), default=limits.excursion_V),
        },
        warm_up=warm,
        visibility=visibility_of(record, None if case is None else case.meter, limits, facts.reading_every_s),
        power_up_history=history,
        stimulus=tried,
        tail_kind=verdict.kind,
        guard=guard,
        moves=_moves(whole, limits) if answers["drift"].answer == YES or Reason.MOVE in guard.reasons else (),
        since=among.since,
        worth_looking=worth_looking(
            record,
            findings,
            Hints(
                at_once=together or verdict.kind == TailKind.ALL_AT_ONCE,
                follows_temperature=warmest.reads if warmest is not None else "",
                warm_up=warm,
                tried=tried,
                history=history,
                speaker_side=_speaker_side(record, case),
            ),
            limits.confidence,
        ),
        swings_ahead=_swings_ahead(record, findings, limits),
        mean_count=mean_count,
        against=tuple(item.text for item in verdict.against),
        not_excluded=" ".join(filter(None, (left_open, condition.forgiven(ups, limits, guard, side_told=side_told)))),
    )


def _complaint(record: ChannelRecord, case: Case | None, limits: Limits) -> tuple[float, float | None]:
    """Clean hours and cold starts that the complaint's rate still asks for."""
    if case is None or case.complaint.per_hour is None:
        return 0.0, None
    from flicker.case.case_file import needs  # late: most logs come without a case

    hours, starts = needs(case, limits.confidence)
    cold = sum(trace.power_up_seen for trace in record.traces)
    return max(hours - record.observed_s / HOUR, 0.0), None if starts is None else max(starts - cold, 0.0)


def _over_power_ups(
    record: ChannelRecord, ups: Sequence[condition.PowerUp], limits: Limits
) -> tuple[PowerUpHistory | None, MeanCount | None]:
    """Power-ups against each other, and their mean number of episodes."""
    if max(record.cycles, len(ups)) < 2:
        return None, None
    from flicker.evidence.located.power_up_history import history_of, mean_count_of  # late: most logs hold one power-up

    return history_of(ups, limits), mean_count_of(record, limits)


def _swings_ahead(record: ChannelRecord, findings: Sequence[Finding], limits: Limits) -> SwingsAhead | None:
    if not any(item.question in GROWTH and item.answer == YES for item in findings):
        return None
    from flicker.evidence.outlook.swings_ahead import swings_ahead  # late: few swings grow

    return swings_ahead(record, findings, limits)


def _moves(whole: ChannelRecord, limits: Limits) -> tuple[MoveRow, ...]:
    from flicker.evidence.located.moves import moves_of  # late: most levels stay

    return moves_of(whole, limits)


def _speaker_side(record: ChannelRecord, case: Case | None) -> bool:
    """Whether the leads sit behind the output relay: by the case, else as a relay was seen to open or close."""
    told = side_of(case, record.channel)
    if told == "unknown":
        return any(trace.measured_at == "speaker side" for trace in record.traces)
    return told in BEHIND_RELAY


LEFT_OUT_S = 60.0  # the lead off for so long: the volts then make no word of behaviour; chosen, not measured


def _left_out(record: ChannelRecord) -> bool:
    """Whether a minute or more was left out because the lead may have been off."""
    gaps = [gap for trace in record.traces for gap in trace.unobserved if gap.reason in LEFT_OUT]
    return sum(gap.end_s - gap.start_s for gap in gaps) >= LEFT_OUT_S


def _noise(record: ChannelRecord, sigma_V: float | None) -> NoiseResult:
    """The sigma is the one that the finding judges."""
    seen = [trace for trace in record.traces if trace.baseline is not None]
    if not seen:
        return NoiseResult(None, None, None)
    longest = max(seen, key=lambda trace: trace.residual_V.size)
    colour = None
    if longest.residual_V.size >= 64:
        from flicker.stats.noise import noise_colour

        step = float(np.median(np.diff(longest.residual_s)))
        calm = longest.residual_V[np.abs(longest.residual_V) < longest.leave_V]
        if calm.size >= 64 and step > 0:
            colour = noise_colour(calm, step).colour
    return NoiseResult(
        sigma_V=float(np.median([trace.sigma_V for trace in seen])) if sigma_V is None else sigma_V,
        resolution_V=longest.resolution_V,
        colour=colour,
    )


def _technician(findings: Sequence[Finding]) -> str:
    said = [
        item.reads for item in findings if item.answer == YES or item.question in {"intermittent", "drift", "noise"}
    ]
    return " ".join(dict.fromkeys(said))
