"""What a tired hand does to a log: wrong unit, AC range, the same file twice, swapped channels, another unit.

Traces and records in, sentences out. Each says what was seen, what it looks like and what to do; none changes a
verdict.
The signs are guesses (common practice, no source), so every sentence leaves the other reading open.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping, Sequence

import numpy as np

from flicker.base.arrays import Floats
from flicker.base.formats import digits_text, lasting_text, names_text, times_text, volts_text
from flicker.base.values import Unobserved
from flicker.evidence.guard.model import ALIVE_V
from flicker.evidence.record.channel_record import ChannelRecord
from flicker.evidence.record.codes import codes_of, codes_told, extremes
from flicker.evidence.record.gain import typical
from flicker.evidence.record.overlaps import began_alike, overlapping, readings_digest, same_readings, same_while_both
from flicker.logs.spans import total
from flicker.signals.trace import RunTraces

# Chosen, not measured, where a line does not say common practice.
COARSE_V = 0.05  # a noise floor or a last digit above this belongs to millivolts taken for volts
BEYOND_V = 200.0  # no amplifier's output reaches this
FINE_V, SMALL_V = 5e-6, 1e-3  # noise floor and largest reading that lie below any output's
FEWEST_BLOCKS = 60
THOUSANDS = (1e-6, 1e-3, 1e3, 1e6)
APART_V = 0.003  # settled levels closer than this are alike
ELSEWHERE_V = 0.002  # a unit rests within this of where it rested at the visit before
START_APART = 1.5
FEWEST_ORDERS = 20  # of starts: alike ones of two sides lie wholly apart in 2 of so many, by definition; three on each side
NOISE_MATTERS = 1.25  # a noise floor changed by less than this factor does not matter; common practice, no source
FEWEST_CUT, CUT_SHARE = 3, 0.25  # swings, and their share, that end at one reading where a range cuts them
END_APART = 1.2  # times that reading, by which swings of the other side pass it
LOST_SHARE, LOST_S = 0.05, 60.0
USUAL_GAPS = frozenset({Unobserved.SURGE, Unobserved.NO_SAMPLES, Unobserved.SWITCHED_OFF, Unobserved.MUTED, Unobserved.TWICE})


def in_runs(runs: Sequence[RunTraces], records: Sequence[ChannelRecord]) -> list[str]:
    """Cautions about the logs of one side."""
    copies = same_readings(runs)
    codes = codes_of(runs, [record.channel for record in records])
    return [
        *_units(runs, records, codes),
        *codes_told(codes),
        *_rectified(runs, records),
        *_twice(runs, copies),
        *_overlap(runs),
        *_other_names(runs),
        *_rows_missing(runs),
    ]


def between(
    names: tuple[str, str],
    runs: tuple[Sequence[RunTraces], Sequence[RunTraces]],
    records: tuple[Sequence[ChannelRecord], Sequence[ChannelRecord]],
    outcomes: Mapping[str, str],
    off_by_V: Mapping[str, float] | None = None,
) -> list[str]:
    """Cautions about two sides that are compared; ``outcomes`` by channel are 'improved', 'worse' or else.

    ``off_by_V`` tells by channel how far both readings may be off together.
    """
    same = _same_on_both(names, runs)
    if same:
        return same
    one = {record.channel: record for record in records[0]}
    two = {record.channel: record for record in records[1]}
    shared = [name for name in one if name in two]
    pairs = [(one[name], two[name]) for name in shared]
    out = _unit_changed(names, pairs)
    if not out:
        out = _swapped(names, pairs, outcomes) or _another_unit(names, pairs, off_by_V or {})
    for name, side, other in ((names[0], one, two), (names[1], two, one)):
        alone = [channel for channel in side if channel not in other]
        if alone:
            out.append(f"Only {name} has the channel{'s' if len(alone) > 1 else ''} {', '.join(alone)}: not compared.")
    for name, whole in zip(names, records, strict=True):
        out.extend(_lost(name, whole))
        out.extend(_perhaps(name, whole, outcomes))
    return out


def _reach(runs: Sequence[RunTraces], channel: str) -> tuple[float, float, int]:
    """Least and largest finite reading of a channel, and in how many blocks."""
    low, high = extremes(runs, channel)
    return float(low.min(initial=math.inf)), float(high.max(initial=-math.inf)), low.size


def _units(runs: Sequence[RunTraces], records: Sequence[ChannelRecord], codes: Mapping[str, object]) -> Iterator[str]:
    large, small = [], []
    for record in records:
        seen = [trace for trace in record.traces if trace.baseline is not None]
        low, high, blocks = _reach(runs, record.channel)
        if not blocks or not seen:
            continue
        sigma = float(np.median([trace.sigma_V for trace in seen]))
        digit = max(trace.resolution_V for trace in seen)
        most = max(abs(low), abs(high))
        if max(sigma, digit) > COARSE_V or (most > BEYOND_V and record.channel not in codes):
            large.append((record.channel, sigma, digit, most))
        elif sigma < FINE_V and most < SMALL_V and digit < FINE_V:
            small.append((record.channel, most))
    if large:
        worst = max(large, key=lambda item: item[3])
        yield (
            f"{names_text(item[0] for item in large)}: readings up to {volts_text(worst[3])}, a noise floor of "
            f"{volts_text(worst[1])} and a last digit of {volts_text(worst[2])} are far more than an output shows: if "
            "the readings are millivolts, say so with --unit mV."
        )
    if small and len(small) == len(records):
        worst_small = max(item[1] for item in small)
        yield (
            f"{names_text(item[0] for item in small)}: no reading is beyond {digits_text(worst_small * 1e6, 3)} microvolts, far less "
            "than an output shows: if the readings are volts or millivolts, say so with --unit; else look at the leads."
        )


def _rectified(runs: Sequence[RunTraces], records: Sequence[ChannelRecord]) -> Iterator[str]:
    """A meter on AC shows size without sign, and nothing of a steady offset."""
    certain, near, swings = False, True, 0
    for record in records:
        low, _, blocks = _reach(runs, record.channel)
        seen = [trace for trace in record.traces if trace.baseline is not None]
        if blocks < FEWEST_BLOCKS or low < 0 or not seen:
            return
        level = max(abs(trace.level_V or 0.0) for trace in seen)
        sigma = max(trace.sigma_V for trace in seen)
        certain |= sigma > 0 and level < 2.5 * sigma
        near &= level < ALIVE_V
        swings += sum(trace.excursions.count for trace in seen)
    if records and (certain or (near and (len(records) > 1 or swings >= 3))):
        yield (
            "No reading of any channel is below zero, and all rest close to it: a meter on AC shows that. Set it to DC "
            "and log again; on AC a steady offset does not show at all."
        )


def _twice(runs: Sequence[RunTraces], copies: Sequence[tuple[int, ...]]) -> Iterator[str]:
    for group in copies:
        first = runs[group[0]]
        for two in (runs[place] for place in group[1:]):
            yield (
                f"Runs {first.number + 1} and {two.number + 1} ({first.run.source}, {two.run.source}) hold the same "
                "readings: was one log given twice? Its hours and episodes count twice here."
            )


def _overlap(runs: Sequence[RunTraces]) -> Iterator[str]:
    for one, two, shared in overlapping(runs):
        names = {trace.channel for trace in one.traces}
        if names.isdisjoint(trace.channel for trace in two.traces):
            continue  # a logger for each channel
        if one.run.source != two.run.source and shared > LOST_S and not same_while_both(one, two):
            yield (
                f"{one.run.source} and {two.run.source} cover the same {lasting_text(shared)}: one unit cannot "
                "be logged twice at once. It is counted once. Check the clocks, or name channels of one unit in one file."
            )


def _rows_missing(runs: Sequence[RunTraces]) -> Iterator[str]:
    """A logger that leaves whole rows out while the meter is over range hides volts without a blank."""
    found: dict[str, list[float]] = {}
    for run in runs:
        found.setdefault(run.run.source, []).extend(gap.end_s - gap.start_s for gap in run.run.gaps)
    for source, lengths in found.items():
        if lengths:
            yield (
                f"{source}: no row was written for {lasting_text(sum(lengths))} in all, {times_text(len(lengths))}: a "
                "logger that leaves rows out while the meter is over range does the same. Try once, with more volts than "
                "the range holds and no unit on the leads, whether yours writes the row."
            )


def _other_names(runs: Sequence[RunTraces]) -> Iterator[str]:
    first = [trace.channel for trace in runs[0].traces] if runs else []
    for run in runs[1:]:
        names = [trace.channel for trace in run.traces]
        if set(names) != set(first):
            alike = {name.casefold() for name in names} & {name.casefold() for name in set(first) - set(names)}
            asked = f"is {names_text(sorted(alike))} one output, written in two ways?" if alike else "is it the same unit?"
            yield (
                f"{runs[0].run.source} has the channels {names_text(first)}, {run.run.source} has {names_text(names)}: {asked} Channels are "
                "joined by name, letter by letter."
            )
            return


def _same_on_both(names: tuple[str, str], runs: tuple[Sequence[RunTraces], Sequence[RunTraces]]) -> list[str]:
    digests = {digest: run for run in runs[0] if (digest := readings_digest(run)) is not None}
    for two in runs[1]:
        digest = readings_digest(two)
        if digest in digests:
            return [
                f"{digests[digest].run.source} ({names[0]}) and {two.run.source} ({names[1]}) hold the same readings: one log was "
                "given for both sides. Name the other log; nothing can be said of a change."
            ]
    first = {id(run) for run in runs[0]}
    pairs = [(a, b) for a, b, shared in overlapping([*runs[0], *runs[1]]) if shared > LOST_S and same_while_both(a, b)]
    for a, b in (*pairs, *began_alike(*runs)):
        if (id(a) in first) != (id(b) in first):
            one, two = (a, b) if id(a) in first else (b, a)
            return [
                f"{one.run.source} ({names[0]}) and {two.run.source} ({names[1]}) hold the same readings for a time: "
                "parts of one log were given for both sides. Name another log; nothing can be said of a change."
            ]
    return []


def _unit_changed(names: tuple[str, str], pairs: Sequence[tuple[ChannelRecord, ChannelRecord]]) -> list[str]:
    factors = []
    for one, two in pairs:
        a, b = typical(one), typical(two)
        if a is None or b is None or min(a.sigma_V, b.sigma_V) <= 0:
            return []
        noise = b.sigma_V / a.sigma_V
        digit = b.digit_V / a.digit_V if min(a.digit_V, b.digit_V) > 0 else None
        found = [f for f in THOUSANDS if f / 4 < noise < f * 4 and (digit is None or f / 4 < digit < f * 4)]
        if not found:
            return []
        factors.append(found[0])
    if not factors or len(set(factors)) > 1:
        return []
    factor = factors[0]
    many = f"{max(factor, 1 / factor):,.0f}"
    larger = names[1] if factor > 1 else names[0]
    return [
        f"Everything in {larger} is about {many} times as large as in the other: one of the two logs was read in the "
        "wrong unit. Say the unit with --unit, or put it into the column's name."
    ]


def changed_places(pairs: Sequence[tuple[ChannelRecord, ChannelRecord]]) -> frozenset[str]:
    """Channels that rest on the second side where another one rested on the first, and that one where they did."""
    crossed = [(a[0].channel, b[0].channel) for a, b in itertools.combinations(pairs, 2) if _crossed(a, b)[0]]
    return frozenset(itertools.chain(*crossed))


def _crossed(a: tuple[ChannelRecord, ChannelRecord], b: tuple[ChannelRecord, ChannelRecord]) -> tuple[bool, bool]:
    """Whether the levels of two channels changed places for certain, and whether they may have."""
    found = [typical(record) for record in (*a, *b)]
    if any(item is None for item in found):
        return False, False
    la0, la1, lb0, lb1 = (item.level_V for item in found if item is not None)
    straight = abs(la1 - la0) + abs(lb1 - lb0)
    crossed = abs(la1 - lb0) + abs(lb1 - la0)
    return straight > 2.0 * APART_V and crossed < 0.25 * straight, crossed <= straight


def cut_short(names: tuple[str, str], one: ChannelRecord, two: ChannelRecord) -> str:
    """Why two sides cannot be compared: the swings of one end at one reading, to the last digit, short of those of the other.

    A range that ends there may be written as a number. The other side must show swings of many sizes, for some faults have
    but one.
    """
    for name, mine, other in ((names[0], one, two), (names[1], two, one)):
        sizes, others = _peaks(mine), _peaks(other)
        if min(sizes.size, others.size) < FEWEST_CUT:
            continue
        end = float(sizes.max())
        digit = max(trace.resolution_V for trace in mine.traces)
        ended = np.count_nonzero(sizes > end - 0.5 * digit)
        low, high = (float(x) for x in np.quantile(others, (0.1, 0.9)))
        if ended >= max(FEWEST_CUT, CUT_SHARE * sizes.size) and high > END_APART * max(low, end):
            return (
                f"not comparable: {name} the swings end at {volts_text(end)}, all alike and short of those of the other side; does "
                "the range of the meter end there?"
            )
    return ""


def _peaks(record: ChannelRecord) -> Floats:
    """Sizes of the swings as read; of one over range no size was."""
    found = [trace.excursions for trace in record.traces]
    sizes = np.abs(np.concatenate([np.empty(0), *(item.peak_V[~item.over_range] for item in found)]))
    return np.asarray(sizes[np.isfinite(sizes)])


def _swapped(
    names: tuple[str, str], pairs: Sequence[tuple[ChannelRecord, ChannelRecord]], outcomes: Mapping[str, str]
) -> list[str]:
    """Two channels whose levels, or whose faults, have changed places."""
    for a, b in itertools.combinations(pairs, 2):
        one, two = a[0].channel, b[0].channel
        levels, perhaps = _crossed(a, b)
        faults = {outcomes.get(one), outcomes.get(two)} == {"improved", "worse"}
        if levels or (faults and perhaps):
            what = f"The levels at rest of {one} and {two}" if levels else f"The faults of {one} and {two}"
            return [
                f"{what} changed places from {names[0]} to {names[1]}: were the two channels or their leads swapped? "
                f"{'Nothing is claimed of either until that is known' if levels else 'Check before believing either outcome'}."
            ]
    return []


def _another_unit(
    names: tuple[str, str], pairs: Sequence[tuple[ChannelRecord, ChannelRecord]], off_by_V: Mapping[str, float]
) -> list[str]:
    """Every channel differs in how it rests or starts, and some in more than one way: a repair changes one of them."""
    traits = [_differences(one, two, off_by_V.get(one.channel, 0.0)) for one, two in pairs]
    if not all(traits) or sum(map(len, traits)) < 1.5 * len(pairs) or max(map(len, traits), default=0) < 2:
        return []
    what = names_text(dict.fromkeys(trait for found in traits for trait in found))
    return [
        f"Every channel differs from {names[0]} to {names[1]} in {what}, the sound ones too: is it a log of the same "
        "unit? Check the serial number."
    ]


def _differences(one: ChannelRecord, two: ChannelRecord, off_V: float) -> list[str]:
    a, b = typical(one), typical(two)
    if a is None or b is None:
        return []
    traits = []
    levels = [[t.level_V for t in record.traces if t.level_V is not None] for record in (one, two)]
    within = max(max(side) - min(side) for side in levels)
    if abs(b.level_V - a.level_V) > max(ELSEWHERE_V, 2.0 * within, a.digit_V, b.digit_V, off_V):
        traits.append("level at rest")
    quiet, loud = sorted((a.sigma_V, b.sigma_V))
    if max(a.digit_V, b.digit_V) < 2.0 * quiet and loud > NOISE_MATTERS * quiet:
        traits.append("noise floor")
    kinds = {trace.start_kind for record in (one, two) for trace in record.traces if trace.start is not None}
    starts = [[trace.start for trace in record.traces if trace.start is not None] for record in (one, two)]
    # A warm start looks different from a cold one in the same unit; where the mains wave stands as the switch closes is chance.
    if len(kinds) == 1 and math.comb(sum(map(len, starts)), len(starts[0])) >= FEWEST_ORDERS:
        surge = _nearest(*([start.surge_V for start in side] for side in starts))
        settle = sorted(_nearest(*([start.settle_s for start in side] for side in starts)))
        size = sorted(abs(value) for value in surge)
        if (surge[0] * surge[1] < 0 and size[0] > APART_V) or size[1] > START_APART * max(size[0], APART_V):
            traits.append("surge at power-up")
        if settle[1] > START_APART * max(settle[0], 1.0):
            traits.append("time to settle")
    return traits


def _nearest(one: Sequence[float], two: Sequence[float]) -> tuple[float, float]:
    """The two values, one of each side, that lie nearest to each other; equal ones where the sides overlap."""
    if max(one) < min(two):
        return max(one), min(two)
    if max(two) < min(one):
        return min(one), max(two)
    return (one[0], one[0])


def _lost(name: str, records: Sequence[ChannelRecord]) -> Iterator[str]:
    for record in records:
        length = sum(run.duration_s for run in record.runs)
        lost: dict[str, float] = {}
        for trace in record.traces:
            for gap in trace.unobserved:
                if gap.reason not in USUAL_GAPS:
                    lost[gap.reason] = lost.get(gap.reason, 0.0) + gap.end_s - gap.start_s
        for reason, seconds in lost.items():
            if seconds > max(LOST_S, LOST_SHARE * length):
                yield (
                    f"{record.channel}, {name}: {lasting_text(seconds)} of {lasting_text(length)} do not "
                    f"count ({reason}); check the leads and log again if that is not what was meant."
                )


def _perhaps(name: str, records: Sequence[ChannelRecord], outcomes: Mapping[str, str]) -> Iterator[str]:
    """A change that may rest on hours in which the lead was off is told as such."""
    for record in records:
        seconds = sum(total(trace.doubted) for trace in record.traces)
        word = outcomes.get(record.channel)
        if seconds > 0.0 and word in ("improved", "worse"):
            yield (
                f"{record.channel}, {name}: for {lasting_text(seconds)} it is not sure that a live output was "
                f"measured; '{word}' counts that time. Mark it as touched if the lead was off, and compare again."
            )
