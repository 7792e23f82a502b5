"""Before and after a repair, or any number of stages: what changed, and is the fault gone?"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from typing import TypeAlias

from flicker.base.formats import digits_text
from flicker.base.limits import Limits
from flicker.base.progress import each
from flicker.base.values import Fitness, TailKind
from flicker.case.model import Case
from flicker.evidence.assessment import SAFETY, Assessment, assess
from flicker.evidence.channel import ChannelAssessment
from flicker.evidence.compare.alike import SWAPPED, sources_of, starts_told, unlike, unlike_hours
from flicker.evidence.compare.aspects import RATES, decided
from flicker.evidence.compare.compared import ChannelComparison, SideFigures, ratio_figures, reads
from flicker.evidence.compare.condition_change import OffBy, power_up_change, size_change, unlike_change
from flicker.evidence.compare.judged import (
    Judged,
    judged_aspects,
    most_shared,
    off_by_both,
    shared_change,
    sharing,
    told_of_all,
    with_shared,
)
from flicker.evidence.compare.sides import side_of
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
from flicker.evidence.record.accuracy import off_by_V
from flicker.evidence.record.channel_record import ChannelRecord
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
    return _compare([(names[0], names[1], *sides)], limits, control, concern_per_h, case)[0]


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
    made = [(name, _assessed(given, limits, case)) for name, given in stages.items()]
    pairs = [(a[0], b[0], a[1], b[1]) for a, b in itertools.pairwise(made)]
    if len(made) > 2:
        pairs.append((made[0][0], made[-1][0], made[0][1], made[-1][1]))
    found = _compare(pairs, limits, control, concern_per_h, case)
    steps = tuple(found[: len(made) - 1])
    cautions = tuple(dict.fromkeys(text for step in found for text in step.cautions))
    names = tuple(name for name, _ in made)
    return StageComparison(names, steps, found[-1], cautions, credits_of(steps, found[-1], work_of(names, case)))


def _assessed(given: Given, limits: Limits, case: Case | None) -> Assessment:
    return given if isinstance(given, Assessment) else assess(given, limits, case=case)


def _compare(
    steps: Sequence[tuple[str, str, Assessment, Assessment]],
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
    rows: list[tuple[int, str, ChannelRecord, ChannelRecord]] = []
    for number, (first, second, before, after) in enumerate(steps):
        one, two = ({record.channel: record for record in side.records} for side in (before, after))
        shared = [name for name in one if name in two]
        if not shared:
            raise ValueError(
                f"{first} and {second} have no channel in common: {first} has {', '.join(one)}; {second} has "
                f"{', '.join(two)}. Name the columns alike, or choose them with --channels."
            )
        if control is not None and control not in shared:
            raise ValueError(f"control must be a channel of both sides ({', '.join(shared)}), got {control!r}")
        for stage, records, side in ((first, one, before), (second, two, after)):
            # without a sign of life no hour is observed, and the comparison says so
            silent = any(side.channel(name).tail_kind == TailKind.NO_LIFE for name in shared)
            if not silent and not any(records[name].observed_s > 0 for name in shared):
                raise ValueError(
                    f"{stage}: no observed time is left in {', '.join(shared)} once the power-up surge, gaps and "
                    "disconnected stretches are out; log longer."
                )
        rows.extend((number, name, one[name], two[name]) for name in shared)
    started = starts_told(case)
    apart = [unlike(case, step[:2], (sources_of(step[2].records), sources_of(step[3].records))) for step in steps]
    places = [changed_places([row[2:] for row in rows if row[0] == number]) for number in range(len(steps))]
    barred = [
        (*apart[number], *((SWAPPED,) if name in places[number] else ()), *filter(None, (cut_short(steps[number][:2], one, two),)))
        for number, name, one, two in rows
    ]
    apart_of = [sharing(step[2:]) for step in steps]
    # one alone has the crosstalk of larger swings elsewhere, and there is nothing that is shared alike
    common = [number for number, channels in enumerate(apart_of) if len(channels) > 1]
    follow = [slower_s([follow_s(made.traces) for made in step[2:]]) for step in steps]
    pairs = []
    for number, name, *both in rows:
        left_out = False if name in apart_of[number] else None
        was, now = (
            side_of(record, made.records, started, left_out, max(made.channel(name).guard.figures.seldom_s, own_s))
            for record, made, own_s in zip(both, steps[number][2:], follow[number], strict=True)
        )
        pairs.append((was, now))
    for number in common:
        sides = steps[number][2:]
        most = zip(most_shared(sides, apart_of[number]), sides, strict=True)
        was, now = (side_of(record, made.records, started, True) for record, made in most)
        pairs.append((was, now))
    weighed = weigh(
        pairs,
        confidence=limits.confidence,
        scatter=limits.power_up_scatter,
        cell_s=limits.dead_time_s or 10.0,
        controls=[*(name == control for _, name, _, _ in rows), *(False for _ in common)],
        unlike=[*barred, *(apart[number] for number in common)],
    )
    together = dict(zip(common, weighed[len(rows) :], strict=True))
    weighed = [
        with_shared(item, *both) if name in apart_of[number] else item
        for item, (number, name, *both) in zip(weighed, rows, strict=False)
    ]
    asked = f"{weighed[0].family} question{'' if weighed[0].family == 1 else 's'}"
    correction = f"corrected for asking {asked} that could show a change (Holm); one-sided in each direction, half the error each"
    out = []
    for number, (first, second, before, after) in enumerate(each(steps, len(steps))):
        here = [(row, item) for row, item in zip(rows, weighed, strict=True) if row[0] == number]
        unalike = {row[1]: reasons for row, reasons in zip(rows, barred, strict=True) if row[0] == number}
        base = next((item for row, item in here if row[1] == control), None)
        judged = judged_aspects(here, (before, after), (first, second), limits, unalike, case, control)
        channels = tuple(
            _channel(
                row,
                item,
                (first, second),
                (before.channel(row[1]), after.channel(row[1])),
                base,
                concern,
                limits,
                unalike[row[1]],
                off_by_both(row[2], row[3], case),
                judged[row[1]],
            )
            for row, item in here
        )
        told = shared_change(together[number], apart_of[number], (first, second)) if number in together else None
        out.append(
            Comparison(
                before=first,
                after=second,
                channels=channels,
                shared=told,
                cautions=_cautions((first, second), channels, before, after, control, case, [*told_of_all(judged), *([told.reads] if told else [])]),
                control=control,
                limits=limits,
                correction=correction,
                before_assessment=before,
                after_assessment=after,
                unlike=apart[number],
            )
        )
    return out


def _channel(
    row: tuple[int, str, ChannelRecord, ChannelRecord],
    item: Weighed,
    names: tuple[str, str],
    sides: tuple[ChannelAssessment, ChannelAssessment],
    base: Weighed | None,
    concern: float,
    limits: Limits,
    unalike: Sequence[str],
    off_by: OffBy,
    judged: Judged,
) -> ChannelComparison:
    _, channel, one, two = row
    before, after = sides
    notes = list(item.notes)
    noise, level = judged.noise, judged.level
    sizes = size_change(
        [cycle.size_V for cycle in item.before.cycles], [cycle.size_V for cycle in item.after.cycles], limits, off_by
    )
    if unalike:
        sizes = unlike_change(sizes, unalike)
    aspect, outcome = judged.led
    untouched = base is item
    if base is not None and not untouched and outcome in {IMPROVED, WORSE} and base.outcome == outcome:
        apart = item.leading.high < base.leading.low if outcome == IMPROVED else item.leading.low > base.leading.high
        if not apart:
            outcome = NO_CHANGE
            text = "the untouched channel changed as well: the room or the conditions, not the part"
            notes.append(Note(NoteKind.UNTOUCHED, text))
    aspect, outcome = decided(judged.aspects, (aspect, outcome))
    if outcome == IMPROVED and after.fitness == Fitness.DO_NOT_CONNECT != before.fitness:
        outcome = NO_CHANGE
        text = "volts that forbid a loudspeaker were read after, and not before: whatever became rarer, that is no improvement"
        notes.append(Note(NoteKind.DANGER, text))
    state = cure(
        item,
        recurs=after.finding("intermittent").answer == YES,
        concern_per_h=concern,
        warm_up_s=limits.warm_up_s,
        confidence=limits.confidence,
    )
    cured = state.word
    if cured == "shown" and (outcome != IMPROVED or item.outcome != IMPROVED):
        cured = "not yet"
    for change in (noise, level, sizes):
        if change.note and not unalike and (change is not sizes or change.withdrawn):
            notes.append(Note(NoteKind.REMARK, f"{change.quantity}: {change.note}"))
    figures = [
        SideFigures(
            stage=stage,
            rate=part.rate,
            matched_episodes=int(counts.sum()),
            matched_s=matched_s,
            occupied_share=share,
            in_excursion_s=part.in_excursion_s,
            power_ups=side.cold_starts + sum(cycle.known and cycle.start == "warm" for cycle in side.cycles),
            cold_starts=side.cold_starts,
            trips=part.relay.trips,
            verdict=part.verdict,
            fitness=part.fitness,
            against=part.against,
        )
        for stage, part, side, counts, matched_s, share in (
            (names[0], before, item.before, item.strata.before_counts, item.strata.matched_before_s, item.shares[0]),
            (names[1], after, item.after, item.strata.after_counts, item.strata.matched_after_s, item.shares[1]),
        )
    ]
    return ChannelComparison(
        channel=channel,
        outcome=outcome,
        aspect=aspect,
        cured=cured,
        untouched=untouched,
        before=figures[0],
        after=figures[1],
        ratio=ratio_figures(item.leading, item),
        episode_ratio=ratio_figures(item.ratio, item),
        noise_ratio=noise,
        level_shift_V=level,
        size_change=sizes,
        power_up=power_up_change(one, two),
        clean_hours_needed=state.clean_hours_needed,
        power_ups_needed=state.power_ups_needed,
        power_up_h=state.each_h,
        fault_shows_in=state.fault_shows_in,
        cold_starts_needed=state.cold_starts_needed,
        concern_per_h=concern,
        excluded_per_h=state.excluded_per_h,
        comparable=tuple(dict.fromkeys(note.text for note in notes)),
        not_comparable=tuple(dict.fromkeys(note.text for note in notes if note.kind == NoteKind.NOT_COMPARABLE)),
        aspects=judged.aspects,
        reads=reads(channel, outcome, aspect, cured, figures, item, state, notes, noise, level, judged.aspects),
    )


def _cautions(
    names: tuple[str, str],
    channels: Sequence[ChannelComparison],
    before: Assessment,
    after: Assessment,
    control: str | None,
    case: Case | None,
    shared: Sequence[str],
) -> tuple[str, ...]:
    out = [*shared]
    for stage, side in zip(names, (before, after), strict=True):
        dead = [item for item in side.channels if item.tail_kind == TailKind.NO_LIFE]
        out += [f"{item.channel}, {stage}: {item.tail}; its hours are no clean ones." for item in dead]
    out += between(
        names,
        (before.traces, after.traces),
        (before.records, after.records),
        {item.channel: item.outcome for item in channels},
        {
            item.channel: sum(
                off_by_V(record, item.level_shift_V.before or 0.0, case)
                for side in (before, after)
                for record in side.records
                if record.channel == item.channel
            )
            for item in channels
        },
    )
    changed = [item for item in channels if item.outcome == IMPROVED]
    if control is None and len(channels) > 1 and len(changed) == len(channels):
        out.append(
            "Every channel improved: look for what they share (room, supply, load, warmth, a dimmer, the meter) before crediting one part. "
            "Name the channel that was not touched with --control."
        )
    rated = any(item.outcome != NO_CHANGE and item.aspect in RATES for item in channels)
    if rated:
        out.append(foot(before.limits))
    for item in channels:
        for text in item.ratio.cautions:
            if item.ratio.estimate is not None:
                out.append(f"{item.channel}: {text}.")
        if item.after.fitness == "do not connect":
            out.append(f"{item.channel}: do not connect a loudspeaker, whatever else has changed.")
        if item.noise_ratio.answer == "more":
            times = digits_text(item.noise_ratio.estimate or 0.0)
            out.append(f"{item.channel}: the noise floor rose to {times} times what it was.")
    out.extend(unlike_hours(names, (before.records, after.records), rated))
    out.append(SAFETY)
    return tuple(dict.fromkeys(out))
