"""Is it getting worse? More often, larger, or worse with each power-up: the channels of one page in, findings out.

Power-ups differ by themselves, so from three of them on growth is a matter of power-ups: {worse with age, larger with
age}. Within one or two only {more often, larger} can be asked, and heat and wear cannot be told apart there. The tests
are one-sided and not doubled; Holm's correction runs over all of one page, two questions a channel.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from flicker.base.arrays import Floats
from flicker.base.formats import count_text, digits_text, share_text
from flicker.base.limits import Limits
from flicker.evidence.findings import NOT_SHOWN, YES, Finding, holm
from flicker.evidence.questions.registry import question
from flicker.evidence.record.channel_record import ChannelRecord
from flicker.evidence.record.pace import OTHER_PACE, feigned
from flicker.evidence.record.power_up_counts import PowerUpCounts, counts_of
from flicker.stats import arrivals, power_ups

if TYPE_CHECKING:
    from flicker.stats.power_ups import RateGrowth, SizeGrowth

# episodes below which power-ups are not compared; the total is free of the trend, so this costs no error; chosen
FEWEST = 5
# Within one or two power-ups: 5 of 20 two-minute logs without any trend were called worse at five episodes, none at ten.
FEWEST_WITHIN = 10  # measured so, on 20 logs
LEAST_OBSERVED = 0.8  # part of the runs: below it, what is logged may hang on the swings, as of loggers that write events; a choice
PARTS_LOGGED = (
    "Over a fifth of these hours were not observed. If what is logged hangs on the swings themselves, how often they come within a run "
    "cannot be told. Log without pauses."
)
FEWEST_POWER_UPS = 3  # two differ by chance alone: the study of power-ups
RATE_FACTOR = 1.5  # growth from start to end that matters; common practice, no source
SIZE_FACTOR = RATE_FACTOR  # as for the rate
# Part of the page's error for claims within one or two power-ups: with all of it 3 to 6 of 100 channels without growth
# were called degrading, with half 1 to 3 (tests/studies/results/growth_within.md).
PART_WITHIN = 0.5
MORE_OFTEN, LARGER, WORSE_WITH_AGE, LARGER_WITH_AGE = "more often", "larger", "worse with age", "larger with age"
QUESTIONS = (MORE_OFTEN, LARGER, WORSE_WITH_AGE, LARGER_WITH_AGE)
WITHIN, OVER = (MORE_OFTEN, LARGER), (WORSE_WITH_AGE, LARGER_WITH_AGE)
NOT_POWERFUL = "Not shown, since power-ups differ by themselves. Five would show an eightfold growth in 3 of 4 cases, eight a fourfold one in 3 of 5; log equal lengths."


def growth_findings(records: Sequence[ChannelRecord], limits: Limits) -> list[tuple[Finding, ...]]:
    """Answer the four questions of growth for every channel of a page, corrected together.

    Parameters
    ----------
    records : sequence of ChannelRecord
        All channels that are judged together.
    limits : Limits
        ``confidence`` of the page, and ``power_up_scatter``.

    Returns
    -------
    list of tuple of Finding
        Per channel: more often, larger, worse with age, larger with age.

    Notes
    -----
    From three power-ups on the family of 'degrading' is the latter two; the former two are then heat, and corrected by
    themselves. Channels with too few episodes are not looked at and do not count. Questions within power-ups enter
    Holm's correction with their p-value over `PART_WITHIN`.
    """
    seen = [counts_of(record) for record in records]
    drafts = [
        [
            _more_often(record, counts, limits),
            _larger(record, counts, limits),
            worse_with_age(k, seen, limits),
            _larger_with_age(record, counts, limits),
        ]
        for k, (record, counts) in enumerate(zip(records, seen, strict=True))
    ]
    for items, record in zip(drafts, records, strict=True):
        if feigned(record):
            items[:] = [Finding(item.question, NOT_SHOWN, item.method, OTHER_PACE, sided="one") for item in items]
        elif record.observed_s < LEAST_OBSERVED * sum(run.duration_s for run in record.runs):
            items[:2] = [Finding(item.question, NOT_SHOWN, item.method, PARTS_LOGGED, sided="one") for item in items[:2]]
    over = [counts.power_ups >= FEWEST_POWER_UPS for counts in seen]
    family = [(k, q) for k in range(len(records)) for q in ((2, 3) if over[k] else (0, 1))]
    heat = [(k, q) for k in range(len(records)) if over[k] for q in (0, 1)]
    for places in (family, heat):
        asked = [(k, q) for k, q in places if drafts[k][q].p_value is not None]
        weighed = [float(drafts[k][q].p_value or 0.0) / (PART_WITHIN if q in (0, 1) else 1.0) for k, q in asked]
        for (k, q), adjusted in zip(asked, holm(weighed), strict=True):
            item = drafts[k][q]
            shown = item.holds and adjusted <= 1.0 - limits.confidence
            item = replace(item, p_adjusted=adjusted, answer=YES if shown else NOT_SHOWN)
            drafts[k][q] = _in_words(item, k, records, seen, limits)
    return [tuple(items) for items in drafts]


def page_foot(findings: Sequence[Finding], limits: Limits) -> str:
    """Up to which difference between power-ups the claims of a page hold; '' where it makes none over power-ups."""
    if not any(item.question in OVER and item.answer == YES for item in findings):
        return ""
    return foot(limits)


def foot(limits: Limits) -> str:
    """Up to which difference between power-ups claims over them hold."""
    return (
        f"What is said from power-up to power-up holds if power-ups differ by themselves by up to {share_text(limits.power_up_scatter)}; if "
        "they differ by 100%, up to 8 in 100 such statements are chance, not 2.5."
    )


@question(
    MORE_OFTEN,
    asks="More often as time goes on?",
    place=30,
    meaning="Do they come more often as a run goes on? From one or two power-ups heat and wear cannot be told apart.",
    chart="cumulative",
)
def _more_often(record: ChannelRecord, counts: PowerUpCounts, limits: Limits) -> Finding:
    """Do episodes come more often as a run goes on? Permutation of pauses and of bursts, both demanded."""
    times, ends = record.per_cycle()
    used = [(t, e) for t, e in zip(times, ends, strict=True) if e > 0]
    method = "Laplace's score by permutation of the pauses and of bursts, both demanded; one-sided"
    count = int(counts.episodes.sum())
    if count < FEWEST_WITHIN:
        return _too_few(
            MORE_OFTEN, method, count, "see a trend within power-ups", FEWEST_WITHIN
        )
    result = arrivals.rate_trend_test([t for t, _ in used], [e for _, e in used], dead_time=record.dead_time_s)
    factor = float(result.rate_factor)
    return Finding(
        MORE_OFTEN,
        NOT_SHOWN,
        method,
        f"Within the power-ups the rate at the end is {_times(factor)} that at the start: heat or wear, which one or two "
        "power-ups cannot tell apart: repeat from cold."
        if counts.power_ups < FEWEST_POWER_UPS
        else f"Within the power-ups the rate at the end is {_times(factor)} that at the start: a matter of time since "
        "power-up.",
        statistic=float(result.z),
        p_value=float(result.p_value),
        sided="one",
        effect=factor if np.isfinite(factor) else None,
        unit="rate at the end over rate at the start",
        limit=RATE_FACTOR,
        holds=factor >= RATE_FACTOR,
    )


@question(
    LARGER,
    asks="Larger as time goes on?",
    place=40,
    meaning="Do they get larger as a run goes on?",
    chart="sizes",
)
def _larger(record: ChannelRecord, counts: PowerUpCounts, limits: Limits) -> Finding:
    """Do excursions get larger within the power-ups? A line through the bursts."""
    method = "line through the bursts' mean log sizes, t with neighbours alike; one-sided"
    count = int(counts.episodes.sum())
    if count < FEWEST_WITHIN:
        return _too_few(LARGER, method, count, "see a trend in size", FEWEST_WITHIN)
    sizes, times = _sizes(record)
    result = power_ups.size_growth_within(sizes, times, dead_time=record.dead_time_s, confidence=limits.confidence)
    many = counts.power_ups >= FEWEST_POWER_UPS
    text = f"From the beginning of a power-up to its end the size becomes {_times(result.factor)} what it was"
    text += ": a matter of time since power-up." if many else ": heat or wear, which cannot be told apart here."
    if result.dof < 1:
        text = "Too few bursts to see a trend in size within power-ups (10 or more are needed)."
    return _of_sizes(LARGER, result, method, text)


@question(
    LARGER_WITH_AGE,
    asks="Larger from power-up to power-up?",
    place=55,
    meaning="Are the swings of later power-ups larger, beyond what power-ups differ by themselves?",
    chart="sizes",
)
def _larger_with_age(record: ChannelRecord, counts: PowerUpCounts, limits: Limits) -> Finding:
    """Are the excursions of later power-ups larger? Each power-up enters once, with its mean log size."""
    method = "moderated t of the power-ups' mean log sizes; one-sided"
    count = int(counts.episodes.sum())
    if counts.power_ups < FEWEST_POWER_UPS:
        return Finding(LARGER_WITH_AGE, NOT_SHOWN, method, _power_ups_missing(counts))
    if count < FEWEST:
        return _too_few(LARGER_WITH_AGE, method, count, "compare power-ups", FEWEST)
    result = power_ups.size_growth(_sizes(record)[0], confidence=limits.confidence)
    text = f"From the first to the last power-up the size becomes {_times(result.factor)} what it was."
    if result.dof < 1:
        text = "Fewer than three power-ups show episodes: a growth of their sizes cannot be told."
    return _of_sizes(LARGER_WITH_AGE, result, method, text)


def _of_sizes(asked: str, result: SizeGrowth, method: str, text: str) -> Finding:
    return Finding(
        asked,
        NOT_SHOWN,
        method,
        text,
        statistic=_finite(result.statistic),
        p_value=float(result.p_up),
        sided="one",
        effect=_finite(result.factor),
        low=_finite(result.low),
        high=_finite(result.high),
        unit="size at the end over size at the start",
        limit=SIZE_FACTOR,
        holds=bool(result.factor >= SIZE_FACTOR),
    )


@question(
    WORSE_WITH_AGE,
    asks="Worse from power-up to power-up?",
    place=50,
    meaning="Do later power-ups show more, at the same time since power-up and beyond what they differ by themselves?",
    chart="rates",
)
def worse_with_age(place: int, seen: Sequence[PowerUpCounts], limits: Limits) -> Finding:
    """Do later power-ups show more, beyond what they differ by themselves?"""
    from scipy.special import ndtri

    counts = seen[place]
    method = "integrated likelihood over power-ups (negative binomial), expectations by risk sets; one-sided"
    if counts.power_ups < FEWEST_POWER_UPS:
        return Finding(WORSE_WITH_AGE, NOT_SHOWN, method, _power_ups_missing(counts))
    count = int(counts.episodes.sum())
    if count < FEWEST:
        return _too_few(WORSE_WITH_AGE, method, count, "compare power-ups", FEWEST)
    result = _growth(place, seen, limits, 0.5 * (1.0 - limits.confidence))
    if result is None:
        return Finding(
            WORSE_WITH_AGE, NOT_SHOWN, method, "The power-ups share too little time since power-up to be compared.",
            p_value=1.0, sided="one",
        )  # fmt: skip
    return Finding(
        WORSE_WITH_AGE,
        NOT_SHOWN,
        method,
        f"{NOT_POWERFUL} {result.differ}.",
        statistic=_finite(float(ndtri(1.0 - result.p_up))),
        p_value=float(result.p_up),
        sided="one",
        effect=_finite(result.factor),
        low=_finite(result.low),
        high=_finite(result.high),
        unit="rate in the last over rate in the first power-up",
        limit=RATE_FACTOR,
        holds=result.factor >= RATE_FACTOR,
    )


def _growth(place: int, seen: Sequence[PowerUpCounts], limits: Limits, level: float) -> RateGrowth | None:
    """Growth of one channel's rate; the others of the page help to tell how power-ups differ."""
    counts = seen[place]
    used = counts.expected > 0
    if np.count_nonzero(used) < FEWEST_POWER_UPS or counts.counts.sum() == 0:
        return None
    beside = [
        (other.counts, other.expected, None)
        for k, other in enumerate(seen)
        if k != place and other.power_ups >= FEWEST_POWER_UPS and other.episodes.sum() >= FEWEST
        and other.by_share == counts.by_share
    ]  # fmt: skip
    return power_ups.rate_growth(
        counts.counts,
        counts.expected,
        scatter=limits.power_up_scatter,
        level=level,
        confidence=limits.confidence,
        beside=beside,
    )


def _in_words(
    item: Finding, place: int, records: Sequence[ChannelRecord], seen: Sequence[PowerUpCounts], limits: Limits
) -> Finding:
    """Say a growth over power-ups that is shown: how large, how much power-ups differ, and how far the claim holds."""
    if item.answer != YES or item.question not in OVER or not item.p_adjusted or item.p_value is None:
        return item
    # the p-value that would just have passed at its place in Holm's order
    level = min(0.5, (1.0 - limits.confidence) * item.p_value / item.p_adjusted)
    if item.question == LARGER_WITH_AGE:
        plain = power_ups.size_growth(_sizes(records[place])[0], confidence=limits.confidence).p_up_plain
        free = ", however much they differ by themselves" if plain <= level else ""
        text = (
            f"Later power-ups bring larger swings, some {_number(item.effect)} times from first to last "
            f"({_number(item.low)} to {_number(item.high)}){free}."
        )
        return replace(item, reads=text)
    result = _growth(place, seen, limits, level)
    if result is None:
        return item
    counts = seen[place]
    always = power_ups.growth_however_much(counts.counts, counts.expected).p_up <= level
    return replace(item, reads=f"{result.reads.removesuffix('.')}{', and however much they differ' if always else ''}.")


def _power_ups_missing(counts: PowerUpCounts) -> str:
    if counts.power_ups < 2:
        return "One power-up cannot tell age from heat: log several, from cold."
    return "Two power-ups cannot tell how far power-ups differ by themselves: log a third, from cold."


def _too_few(asked: str, method: str, count: int, what: str, needed: int) -> Finding:
    return Finding(asked, NOT_SHOWN, method, f"{count_text(count, 'episode')}: too few to {what} ({needed} or more are needed).")


def _sizes(record: ChannelRecord) -> tuple[list[Floats], list[Floats]]:
    """Sizes of the channel's own episodes and when they came on the observed clock, by power-up in order."""
    sizes, times = [], []
    for places in record.power_ups:
        size_V, clock_s, _ = record.own_sizes(places)
        sizes.append(size_V)
        times.append(np.maximum.accumulate(clock_s))
    return sizes, times


def _times(factor: float) -> str:
    """A factor without false precision."""
    if not np.isfinite(factor) or factor > 100.0:
        return "more than 100 times"
    return "less than a tenth of" if factor < 0.1 else f"about {digits_text(factor)} times"


def _number(value: float | None) -> str:
    if value is None or not math.isfinite(value):
        return "without end"
    return digits_text(value)


def _finite(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None
