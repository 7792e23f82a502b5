"""Before and after a repair, or any number of stages: what changed, and is the fault gone?"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple, TypeAlias

from flicker.base.formats import digits_text
from flicker.base.limits import Limits
from flicker.base.progress import each
from flicker.base.values import Fitness, TailKind
from flicker.case.model import Case
from flicker.evidence.assessment import SAFETY, Assessment, assess
from flicker.evidence.compare.alike import SWAPPED, sources_of, starts_told, unlike, unlike_hours, unlike_in_logs
from flicker.evidence.compare.aspects import RATES, Row, decided
from flicker.evidence.compare.compared import ChannelComparison, SideFigures, changed_within, ratio_figures, reads
from flicker.evidence.compare.condition_change import power_up_change, size_change, unlike_change
from flicker.evidence.compare.judged import (
    Judged,
    judged_aspects,
    most_shared,
    shared_change,
    sharing,
    told_of_all,
    with_shared,
)
from flicker.evidence.compare.sides import Side, side_of
from flicker.evidence.compare.stages import Comparison, StageComparison, credits_of, work_of
from flicker.evidence.compare.weighing import (
    IMPROVED,
    NO_CHANGE,
    RELEASE_PER_H,
    WORSE,
    Note,
    NoteKind,
    Weighed,
    cure,
    weigh,
)
from flicker.evidence.findings import YES
from flicker.evidence.questions.worsening import foot
from flicker.evidence.record.log_checks import between, changed_places, cut_short
from flicker.evidence.record.pace import follow_s, slower_s
from flicker.evidence.traced import LogLike

Given: TypeAlias = "Assessment | LogLike | Sequence[LogLike]"


def compare(
    before: Given,
    after: Given,
    limits: Limits | None = None,
    *,
    control: str | None = None,
    concern_per_h: float | None = None,
    names: tuple[str, str] = ("before", "after"),
    case: Case | None = None,
) -> Comparison:
    """Compare a unit before and after a repair, channel by channel, like with like.

    Parameters
    ----------
    before, after : Assessment, log, path, or sequence of logs and paths
        One or more runs each.
    limits : Limits, optional
        What is large enough to matter.
    control : str, optional
        The channel that was not touched: a change that it shows too is the room's, not the part's.
    concern_per_h : float, optional
        Rate that a cure must have excluded; by default the smaller of the limit ``episode_rate_per_h`` and 0.1 per
        hour (a unit that came in as intermittent, with no rate given).
    names : (str, str)
        Names of the two stages.
    case : Case, optional
        What is known of the logs, by their file names: columns, accuracy of the meters, conditions that must be alike.

    Returns
    -------
    Comparison

    Raises
    ------
    ValueError
        If the two sides have no channel in common, nothing was observed on one of them, or ``control`` is no channel.

    Notes
    -----
    Episodes are compared at equal time since power-up and kind of start, power-up by power-up, for power-ups differ by
    themselves (`stats.power_ups.rate_comparison`). 'Improved' and 'worse' are each wrong in at most half of
    ``1 - confidence`` of comparisons in which nothing changed, over all channels together. Swings that several outputs
    showed at once are compared apart, for what the outputs share: a claim about a channel rests on its own. A difference of levels below the accuracies of both readings, or
    a sign that just turned at the same size, is never claimed.
    """
    limits = limits or (case.limits if case else Limits())
    sides = (_assessed(before, limits, case), _assessed(after, limits, case))
    return _compare([(names, sides)], limits, control, concern_per_h, case)[0]


def compare_stages(
    stages: Mapping[str, Given],
    limits: Limits | None = None,
    *,
    control: str | None = None,
    concern_per_h: float | None = None,
    case: Case | None = None,
) -> StageComparison:
    """Compare any number of stages in order: each with the one before, and the last with the first.

    All steps and channels are corrected together. A step without a changed part ('reseated only') is the natural
    control of the next: what it cured is not credited to the part.

    Parameters
    ----------
    stages : mapping of str to Assessment, log, path, or sequence of them
        Name of each stage and what was logged in it, in order; two or more.
    limits, control, concern_per_h, case
        As in `compare`; the case also tells what was done before each stage.

    Raises
    ------
    ValueError
        If there are fewer than two stages, or two neighbours cannot be compared.
    """
    limits = limits or (case.limits if case else Limits())
    if len(stages) < 2:
        raise ValueError(f"stages must be two or more, got {len(stages)}")
    made = {name: _assessed(given, limits, case) for name, given in stages.items()}
    names = tuple(made)
    asked = [*itertools.pairwise(names), *([(names[0], names[-1])] if len(names) > 2 else [])]
    found = _compare([((a, b), (made[a], made[b])) for a, b in asked], limits, control, concern_per_h, case)
    steps = tuple(found[: len(names) - 1])
    cautions = tuple(dict.fromkeys(text for step in found for text in step.cautions))
    return StageComparison(names, steps, found[-1], cautions, credits_of(steps, found[-1], work_of(names, case)))


def _assessed(given: Given, limits: Limits, case: Case | None) -> Assessment:
    return given if isinstance(given, Assessment) else assess(given, limits, case=case)


@dataclass(frozen=True, slots=True)
class _Step:
    """One comparison of two stages: their names and sides, the channels of both, and what speaks against claims between them.

    ``sharing`` are the outputs whose swings come together, and are weighed apart.
    """

    names: tuple[str, str]
    sides: tuple[Assessment, Assessment]
    rows: tuple[Row, ...]
    unlike: tuple[str, ...]
    sharing: frozenset[str]

    @property
    def common(self) -> bool:
        """Whether swings are shared; one output alone has the crosstalk of larger swings elsewhere, and nothing is shared alike."""
        return len(self.sharing) > 1


def _step(
    names: tuple[str, str], sides: tuple[Assessment, Assessment], control: str | None, case: Case | None
) -> _Step:
    """Check that two sides can be compared, and gather what speaks against it."""
    one, two = ({record.channel: record for record in side.records} for side in sides)
    shared = [name for name in one if name in two]
    if not shared:
        raise ValueError(
            f"{names[0]} and {names[1]} have no channel in common: {names[0]} has {', '.join(one)}; {names[1]} has "
            f"{', '.join(two)}. Give the columns one name in both: in the header of a copy of the file."
        )
    if control is not None and control not in shared:
        raise ValueError(f"control must be a channel of both sides ({', '.join(shared)}), got {control!r}")
    for stage, records, side in zip(names, (one, two), sides, strict=True):
        # without a sign of life no hour is observed, and the comparison says so
        silent = any(side.channel(name).tail_kind == TailKind.NO_LIFE for name in shared)
        if not silent and not any(records[name].observed_s > 0 for name in shared):
            raise ValueError(
                f"{stage}: no observed time is left in {', '.join(shared)} once the power-up surge, gaps and "
                "disconnected stretches are out; log longer."
            )
    pairs = [(one[name], two[name]) for name in shared]
    apart = (
        *unlike(case, names, (sources_of(sides[0].records), sources_of(sides[1].records))),
        *unlike_in_logs(names, pairs, (sides[0].beside.temperatures, sides[1].beside.temperatures)),
    )
    swapped = changed_places(pairs)
    rows = []
    for name in shared:
        own = (SWAPPED if name in swapped else "", cut_short(names, one[name], two[name]))
        parts = (sides[0].channel(name), sides[1].channel(name))
        rows.append(Row(name, (one[name], two[name]), parts, (*apart, *filter(None, own))))
    return _Step(names, sides, tuple(rows), apart, sharing(sides))


def _pairs(step: _Step, started: Mapping[str, str]) -> Iterator[tuple[Side, Side]]:
    """Both sides of each channel, on the clock since power-up and without what is shared."""
    follow = slower_s([follow_s(made.traces) for made in step.sides])
    for row in step.rows:
        left_out = False if row.channel in step.sharing else None
        was, now = (
            side_of(record, made.records, started, left_out, max(part.guard.figures.seldom_s, own_s))
            for record, made, part, own_s in zip(row.records, step.sides, row.parts, follow, strict=True)
        )
        yield was, now


def _compare(
    asked: Sequence[tuple[tuple[str, str], tuple[Assessment, Assessment]]],
    limits: Limits,
    control: str | None,
    concern_per_h: float | None,
    case: Case | None,
) -> list[Comparison]:
    if concern_per_h is None and case is not None:
        concern_per_h = case.complaint.per_hour
    concern = min(limits.episode_rate_per_h, RELEASE_PER_H) if concern_per_h is None else float(concern_per_h)
    if not (math.isfinite(concern) and concern > 0):
        raise ValueError(f"concern_per_h must be a rate above 0, got {concern_per_h!r} (episodes per hour)")
    steps = [_step(*given, control, case) for given in asked]
    started = starts_told(case)
    rows = [row for step in steps for row in step.rows]
    pairs = [pair for step in steps for pair in _pairs(step, started)]
    common = [step for step in steps if step.common]
    for step in common:
        both = zip(most_shared(step.sides, step.sharing), step.sides, strict=True)
        was, now = (side_of(record, made.records, started, True) for record, made in both)
        pairs.append((was, now))
    weighed = weigh(
        pairs,
        confidence=limits.confidence,
        scatter=limits.power_up_scatter,
        cell_s=limits.dead_time_s or 10.0,
        controls=[row.channel == control for row in rows] + [False] * len(common),
        unlike=[row.barred for row in rows] + [step.unlike for step in common],
    )
    asked_of = f"{weighed[0].family} question{'' if weighed[0].family == 1 else 's'}"
    correction = f"corrected for asking {asked_of} that could show a change (Holm); one-sided in each direction, half the error each"
    items, shared = iter(weighed), iter(weighed[len(rows) :])
    out = []
    for step in each(steps, len(steps)):
        here = [
            (row, with_shared(item, row.records) if row.channel in step.sharing else item)
            for row, item in zip(step.rows, items, strict=False)
        ]
        judged = judged_aspects(here, step.names, limits, case, control)
        base = next((item for row, item in here if row.channel == control), None)
        channels = tuple(
            _channel(row, item, judged[row.channel], step.names, base, _Asked(limits, concern, case)) for row, item in here
        )
        told = shared_change(next(shared), step.sharing, step.names) if step.common else None
        out.append(
            Comparison(
                before=step.names[0],
                after=step.names[1],
                channels=channels,
                shared=told,
                cautions=_cautions(step, channels, control, case, [*told_of_all(judged), *([told.reads] if told else [])]),
                control=control,
                limits=limits,
                correction=correction,
                before_assessment=step.sides[0],
                after_assessment=step.sides[1],
                unlike=step.unlike,
            )
        )
    return out


class _Asked(NamedTuple):
    """What a comparison is asked for: limits, the rate that a cure must exclude, and the case."""

    limits: Limits
    concern_per_h: float
    case: Case | None


def _channel(
    row: Row, item: Weighed, judged: Judged, names: tuple[str, str], base: Weighed | None, asked: _Asked
) -> ChannelComparison:
    limits, (before, after) = asked.limits, row.parts
    notes = list(item.notes)
    noise, level = judged.noise, judged.level
    before_V, after_V = ([cycle.size_V for cycle in side.cycles] for side in (item.before, item.after))
    sizes = size_change(before_V, after_V, limits, row.off_by(asked.case))
    smaller = 0 if (sizes.after or 0.0) > (sizes.before or 0.0) else 1
    if row.barred:
        sizes = unlike_change(sizes, row.barred)
    elif any(trace.excursions.over_range.any() for trace in row.records[smaller].traces):
        sizes = unlike_change(sizes, [f"{names[smaller]} swings went over range: how large they were is not known"])
    aspect, outcome = judged.led
    untouched = base is item
    if base is not None and not untouched and outcome in {IMPROVED, WORSE} and base.outcome == outcome:
        apart = item.leading.high < base.leading.low if outcome == IMPROVED else item.leading.low > base.leading.high
        if not apart:
            outcome = NO_CHANGE
            text = "the untouched channel changed as well: the room or the conditions, not the part"
            notes.append(Note(NoteKind.UNTOUCHED, text))
    aspect, outcome = decided(judged.aspects, (aspect, outcome), before.finding("intermittent").answer == YES)
    if outcome == IMPROVED and after.fitness == Fitness.DO_NOT_CONNECT != before.fitness:
        outcome = NO_CHANGE
        text = "volts that forbid a loudspeaker were read after, and not before: whatever became rarer, that is no improvement"
        notes.append(Note(NoteKind.DANGER, text))
    state = cure(
        item,
        recurs=after.finding("intermittent").answer == YES,
        concern_per_h=asked.concern_per_h,
        warm_up_s=limits.warm_up_s,
        confidence=limits.confidence,
    )
    cured = state.word
    if cured in {"shown", "not yet"} and outcome == WORSE:
        cured = "no"
    elif cured == "shown" and (outcome != IMPROVED or item.outcome != IMPROVED):
        cured = "not yet"
    for change in (noise, level, sizes):
        if change.note and not row.barred and (change is not sizes or change.withdrawn):
            notes.append(Note(NoteKind.REMARK, f"{change.quantity}: {change.note}"))
    figures = [
        SideFigures(
            stage=stage,
            rate=part.rate,
            matched_episodes=matched.episodes,
            matched_s=matched.observed_s,
            occupied_share=share,
            in_excursion_s=part.in_excursion_s,
            power_ups=side.cold_starts + sum(cycle.known and cycle.start == "warm" for cycle in side.cycles),
            cold_starts=side.cold_starts,
            trips=part.relay.trips,
            verdict=part.verdict,
            fitness=part.fitness,
            against=part.against,
        )
        for stage, part, side, matched, share in zip(
            names, row.parts, (item.before, item.after), item.matched, item.shares, strict=True
        )
    ]
    found = ChannelComparison(
        channel=row.channel,
        outcome=outcome,
        aspect=aspect,
        cured=cured,
        untouched=untouched,
        before=figures[0],
        after=figures[1].beside(state),
        ratio=ratio_figures(item.leading, item),
        episode_ratio=ratio_figures(item.ratio, item),
        noise_ratio=noise,
        level_shift_V=level,
        size_change=sizes,
        power_up=power_up_change(*row.records),
        clean_hours_needed=state.clean_hours_needed,
        power_ups_needed=state.power_ups_needed,
        power_up_h=state.each_h,
        fault_shows_in=state.fault_shows_in,
        cold_starts_needed=state.cold_starts_needed,
        concern_per_h=asked.concern_per_h,
        excluded_per_h=state.excluded_per_h,
        comparable=tuple(dict.fromkeys(note.text for note in notes)),
        not_comparable=tuple(dict.fromkeys(note.text for note in notes if note.kind == NoteKind.NOT_COMPARABLE)),
        aspects=judged.aspects,
    )
    return replace(found, reads=reads(found, item, state, notes, changed_within(row.records[1], after.since, names[1])))


def _cautions(
    step: _Step, channels: Sequence[ChannelComparison], control: str | None, case: Case | None, shared: Sequence[str]
) -> tuple[str, ...]:
    before, after = step.sides
    out = [*shared]
    for stage, side in zip(step.names, step.sides, strict=True):
        dead = [item for item in side.channels if item.tail_kind == TailKind.NO_LIFE]
        out += [f"{item.channel}, {stage}: {item.tail}; its hours are no clean ones." for item in dead]
    levels_V = {item.channel: item.level_shift_V.before or 0.0 for item in channels}
    out += between(
        step.names,
        (before.traces, after.traces),
        (before.records, after.records),
        {item.channel: item.outcome for item in channels},
        {row.channel: row.off_by(case)(levels_V[row.channel], levels_V[row.channel]) for row in step.rows},
    )
    if control is None and len(channels) > 1 and all(item.outcome == IMPROVED for item in channels):
        out.append(
            "Every channel improved: look for what they share (room, supply, load, warmth, a dimmer, the meter) before crediting one part. "
            "Name the channel that was not touched with --control."
        )
    rated = any(item.outcome != NO_CHANGE and item.aspect in RATES for item in channels)
    if rated:
        out.append(foot(before.limits))
    for item in channels:
        if item.ratio.estimate is not None:
            out += [f"{item.channel}: {text}." for text in item.ratio.cautions]
        if item.after.fitness == Fitness.DO_NOT_CONNECT:
            out.append(f"{item.channel}: do not connect a loudspeaker, whatever else has changed.")
        if item.noise_ratio.answer == "more":
            times = digits_text(item.noise_ratio.estimate or 0.0)
            out.append(f"{item.channel}: the noise floor rose to {times} times what it was.")
    return tuple(dict.fromkeys((*out, *unlike_hours(step.names, (before.records, after.records), rated), SAFETY)))
