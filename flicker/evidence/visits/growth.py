"""What grows from visit to visit: rate and size. Arrival times and records in."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Annotated, Any

import numpy as np

from flicker.base.arrays import Floats
from flicker.base.formats import digits_text, factor_text, share_text
from flicker.base.limits import Limits
from flicker.base.result import Doc, Result
from flicker.evidence.findings import NOT_SHOWN, holm
from flicker.evidence.questions.worsening import FEWEST, RATE_FACTOR
from flicker.evidence.record.channel_record import ChannelRecord
from flicker.evidence.record.pace import PACE, missed
from flicker.evidence.record.power_up_counts import OccupiedWindows
from flicker.stats.power_ups import (
    RateComparison,
    RateGrowth,
    expected_counts,
    growth_however_much,
    rate_comparison,
)
from flicker.stats.power_ups import rate_growth as engine_growth
from flicker.stats.power_ups import size_growth as engine_sizes
from flicker.stats.rates import rate_interval

YEAR_DAYS = 365.25  # by definition (Julian year)
SATURATED = (
    "Episodes follow each other so closely that their number no longer rises with the rate: the share of occupied windows "
    "tells the growth, and the next visit is not forecast."
)
NOT_ITS_OWN = (
    "Swings that came in other channels at once tell of what the channels share (supply, ground, mains, the meter): growth is "
    "judged on those of this channel alone."
)
NEVER = "No episode at any visit"
WORSE, BETTER = "worse", "better"
SIZES_NOT_SHOWN = "That the swings get larger from visit to visit is not shown."


@dataclass(frozen=True, slots=True)
class RateWorsening(Result):
    """Does the rate grow from visit to visit?

    ``per_visit`` is the factor from one visit to the next (at their mean distance), ``per_year`` that of a year (None
    without dates), ``overall`` that from the first to the last. The unit is the visit, for visits differ by themselves.
    ``p_value`` is one-sided, in the direction of ``overall``; ``p_order`` beside it holds however much visits differ. ``answer``: 'worse', 'better' or 'not shown'.
    """

    answer: Annotated[str, Doc("What is shown.", values=("worse", "better", "not shown"))]
    per_visit: Annotated[float | None, Doc("Factor from one visit to the next.", ge=0, open=True)]
    low_per_visit: Annotated[float | None, Doc("Its lower limit.", ge=0, open=True)]
    high_per_visit: Annotated[float | None, Doc("Its upper limit.", ge=0, open=True)]
    per_year: Annotated[float | None, Doc("Factor of a year; null without dates.", ge=0, open=True)]
    low_per_year: Annotated[float | None, Doc("Its lower limit.", ge=0, open=True)]
    high_per_year: Annotated[float | None, Doc("Its upper limit.", ge=0, open=True)]
    overall: Annotated[float | None, Doc("Factor from the first visit to the last.", ge=0, open=True)]
    p_value: Annotated[float | None, Doc("One-sided, in the direction of the factor.", ge=0, le=1)]
    p_adjusted: Annotated[float | None, Doc("Corrected over {rate, size} of all channels.", ge=0, le=1)]
    p_order: Annotated[
        float | None, Doc("One-sided, of a test that holds however much visits differ; 1 with two visits.", ge=0, le=1)
    ]
    dispersion: Annotated[float | None, Doc("Variance over mean of the counts of visits, at the middle scatter.", ge=0)]
    scatter: Annotated[
        float | None, Doc("How much visits differ by themselves, as a share of their rate: the middle value.", ge=0)
    ]
    scatter_high: Annotated[float | None, Doc("Up to which they may, as far as the counts tell (95 %).", ge=0)]
    holds_up_to_scatter: Annotated[
        float | None,
        Doc("Largest such difference up to which the change is shown, one-sided at half the rest of confidence.", ge=0),
    ]
    episodes: Annotated[int, Doc("Episodes over all visits.", ge=0)]
    cautions: Annotated[tuple[str, ...], Doc("What to be careful about, in sentences.")]
    confidence: Annotated[float, Doc("Confidence of the intervals, a share.")]
    method: Annotated[str, Doc("Method in words.")]
    reads: Annotated[str, Doc("The answer in words.")]


@dataclass(frozen=True, slots=True)
class SizeWorsening(Result):
    """Do excursions get larger from visit to visit? ``growth`` is the factor from the first to the last."""

    answer: Annotated[str, Doc("What is shown.", values=("worse", "better", "not shown"))]
    growth: Annotated[float | None, Doc("Factor from the first visit to the last.", ge=0, open=True)]
    low: Annotated[float | None, Doc("Its lower limit.", ge=0, open=True)]
    high: Annotated[float | None, Doc("Its upper limit.", ge=0, open=True)]
    p_value: Annotated[float | None, Doc("One-sided, in the direction of the growth.", ge=0, le=1)]
    p_adjusted: Annotated[float | None, Doc("Corrected over {rate, size} of all channels.", ge=0, le=1)]
    method: Annotated[str, Doc("Method in words.")]
    reads: Annotated[str, Doc("The answer in words.")]


@dataclass(frozen=True, slots=True)
class PowerUps:
    """Episodes of each power-up of a channel on its observed clock, its observed length, and the age of its visit."""

    times: tuple[Floats, ...]
    ends: tuple[float, ...]
    ages: tuple[float, ...]

    @property
    def last(self) -> list[float]:
        """Observed lengths of the power-ups of the last visit."""
        return [end for end, age in zip(self.ends, self.ages, strict=True) if age == max(self.ages)]

    @classmethod
    def of(cls, records: Sequence[ChannelRecord], ages: Sequence[float], *, alone: bool, each_run: bool) -> PowerUps:
        """Those of the records of some visits; ``alone`` and ``each_run`` as `ChannelRecord.per_cycle` takes them."""
        units = [
            (times, end, age)
            for record, age in zip(records, ages, strict=True)
            for times, end in zip(*record.per_cycle(shared=alone, each_run=each_run), strict=True)
            if end > 0
        ]
        return cls(*zip(*units, strict=True)) if units else cls((), (), ())


def rate_growth(
    way: PowerUps, ages: Sequence[float], dated: bool, limits: Limits, windows: OccupiedWindows | None = None
) -> RateWorsening:
    """Fit the growth of the rate, by occupied windows where the counter saturates; the answer waits for `corrected`."""
    times, ends, run_ages = way.times, way.ends, way.ages
    count = sum(len(t) for t in times)
    method = "integrated likelihood over visits (negative binomial), expectations by risk sets; one-sided"
    blank = RateWorsening(
        answer=NOT_SHOWN,
        per_visit=None,
        low_per_visit=None,
        high_per_visit=None,
        per_year=None,
        low_per_year=None,
        high_per_year=None,
        overall=None,
        p_value=None,
        p_adjusted=None,
        p_order=None,
        dispersion=None,
        scatter=None,
        scatter_high=None,
        holds_up_to_scatter=None,
        episodes=count,
        cautions=(),
        confidence=limits.confidence,
        method=method,
        reads="",
    )
    if len(set(run_ages)) < 2:
        one = (
            "One visit shows how often it comes now, not whether it gets worse: heat, wear and chance cannot be told "
            "apart in it. Log it again from cold in some months, with the same meter and for as long."
        )
        return replace(blank, reads=one)
    if count == 0:
        high = rate_interval(0, sum(ends) / 3600.0, confidence=limits.confidence, sided="upper").high
        return replace(
            blank,
            reads=f"{NEVER}: at most {digits_text(high)} per hour over all of them ({share_text(limits.confidence)}).",
        )
    visits = sorted(set(run_ages))
    place = np.searchsorted(visits, run_ages)
    held = expected_counts(times, ends) if windows is None else expected_counts(windows.begins, windows.ends)
    each_count = held.counts * (1.0 if windows is None else windows.rise)
    counts = np.rint(np.bincount(place, each_count, minlength=len(visits))).astype(np.int64)
    expected = np.bincount(place, held.expected, minlength=len(visits))
    if np.count_nonzero(expected > 0) < len(visits) or held.counts.sum() == 0:
        return replace(blank, reads="The visits do not reach the same time since power-up; nothing can be compared.")
    span = max(ages) - min(ages)
    step = span / (len(ages) - 1)
    cautions = []
    if windows is not None:
        method = f"occupied windows at their rate; {method}"
        cautions.append(SATURATED)
    fit: RateComparison | RateGrowth
    sure: dict[str, Any] = {
        "scatter": limits.power_up_scatter, "level": 0.5 * (1.0 - limits.confidence), "confidence": limits.confidence
    }
    if len(visits) == 2:
        fit = rate_comparison(counts[:1], expected[:1], counts[1:], expected[1:], **sure)
        overall = fit.ratio
        cautions.append(
            "Two visits show a difference, not that it goes on, and cannot tell how far visits differ by themselves: "
            "log a third."
        )
    else:
        fit = engine_growth(counts, expected, visits, few=len(run_ages) == len(visits) == 3, **sure)
        overall = fit.factor
    free = growth_however_much(counts, expected, visits)
    p_value = min(fit.p_up, fit.p_down)
    if count < FEWEST:
        cautions.append(f"{count} episodes are too few to claim a growth ({FEWEST} or more are needed).")
        p_value = 0.5
    year = [value ** (YEAR_DAYS / span) if dated else math.nan for value in (overall, fit.low, fit.high)]
    each = [value ** (step / span) for value in (overall, fit.low, fit.high)]
    return replace(
        blank,
        per_visit=each[0],
        low_per_visit=each[1],
        high_per_visit=each[2],
        per_year=year[0],
        low_per_year=year[1],
        high_per_year=year[2],
        overall=overall,
        p_value=p_value,
        p_order=min(free.p_up, free.p_down),
        dispersion=1.0 + fit.cv**2 * float(counts.mean()),
        scatter=fit.cv,
        scatter_high=fit.cv_high,
        holds_up_to_scatter=fit.holds_up if fit.p_up <= 0.5 else fit.holds_down,
        cautions=tuple(cautions),
        method=method,
    )


def least_sure(ways: Sequence[RateWorsening]) -> RateWorsening:
    """Of several ways to count power-ups the one that claims least; nothing where they point to different sides."""
    asked = [way for way in ways if way.p_value is not None and way.overall is not None]
    if len(asked) < len(ways):
        return next((way for way in ways if way not in asked), ways[0])
    least = max(asked, key=lambda way: way.p_value or 0.0)
    sides = {(way.overall or 0.0) >= 1.0 for way in asked}
    return least if len(sides) == 1 else replace(least, p_value=0.5)


def feigned_by_pace(records: Sequence[ChannelRecord], follow: Sequence[float]) -> frozenset[str]:
    """Answers that readings closer together (or farther apart) at later visits could feign, as glitches are this short.

    As in a comparison: a slower logger misses glitches shorter than its interval, or than the time in which it follows the
    output (``follow``, seconds, one a visit), so a faster one shows more of them, and larger ones.
    """
    paces = [
        max(float(np.median([run.sample_interval_s for run in record.runs])), own_s)
        for record, own_s in zip(records, follow, strict=True)
    ]
    slowest = max(paces)
    quicker = [record for record, pace in zip(records, paces, strict=True) if pace * PACE < slowest]
    if not missed([trace.excursions.duration_s for record in quicker for trace in record.traces], slowest):
        return frozenset()
    pairs = list(itertools.combinations(paces, 2))
    feigned = ((WORSE, any(later * PACE < earlier for earlier, later in pairs)),
               (BETTER, any(earlier * PACE < later for earlier, later in pairs)))  # fmt: skip
    return frozenset(answer for answer, may in feigned if may)


def size_growth(
    records: Sequence[ChannelRecord], ages: Sequence[float], limits: Limits, shared: bool = True
) -> SizeWorsening:
    """Fit the growth of the sizes; the answer waits for `corrected`. A visit enters once, by its power-ups' means."""
    means: list[list[float]] = []
    count = 0
    for record in records:
        own: dict[int, list[float]] = {}
        left_out = record.episodes.common if shared else record.episodes.common | record.episodes.shared
        for run, size, out in zip(record.episodes.run, record.episodes.size_V, left_out, strict=True):
            if not out and size > 0:
                own.setdefault(record.cycle[int(run)], []).append(math.log(float(size)))
        count += sum(len(part) for part in own.values())
        means.append([math.exp(float(np.mean(part))) for part in own.values()])
    blank = SizeWorsening(
        answer=NOT_SHOWN,
        growth=None,
        low=None,
        high=None,
        p_value=None,
        p_adjusted=None,
        method="moderated t of the visits' means of their power-ups' mean log sizes; one-sided",
        reads="Too few episodes to compare sizes.",
    )
    if sum(map(bool, means)) < 2 or count < FEWEST:
        return blank
    found = engine_sizes(means, ages, confidence=limits.confidence)
    p_value = min(found.p_up, found.p_down) if found.dof > 0 else 0.5
    growth = None if math.isnan(found.factor) else found.factor
    return replace(blank, growth=growth, low=found.low, high=found.high, p_value=p_value, reads="")


def corrected(
    pairs: Sequence[tuple[RateWorsening, SizeWorsening]], limits: Limits, feigned: Sequence[Mapping[str, str]] = ()
) -> list[tuple[RateWorsening, SizeWorsening]]:
    """Correct the one-sided p-values of all channels together, give the answers, say them.

    ``feigned`` holds for each channel the answers that something else than the unit could feign, with the sentence on it.

    'Worse' is asked as 'degrading' is, at the page's error over two questions a channel; 'better' at half of it.
    """
    error = 1.0 - limits.confidence
    rates, sizes = [rate for rate, _ in pairs], [size for _, size in pairs]
    asked: list[tuple[int, bool, float]] = []  # channel, whether the rate is asked, one-sided p of 'worse'
    for k, (rate, size) in enumerate(pairs):
        for of_rate, factor, p_value in ((True, rate.overall, rate.p_value), (False, size.growth, size.p_value)):
            if p_value is not None and factor is not None:
                asked.append((k, of_rate, p_value if factor >= 1.0 else 1.0 - p_value))
    worse = holm([p for _, _, p in asked])
    better = holm([1.0 - p for _, _, p in asked])
    for (k, of_rate, p), up, down in zip(asked, worse, better, strict=True):
        adjusted = up if p <= 0.5 else down
        factor = (rates[k].overall if of_rate else sizes[k].growth) or 0.0
        matters = factor <= 0 or max(factor, 1.0 / factor) >= RATE_FACTOR
        level = error if p <= 0.5 else 0.5 * error
        answer = NOT_SHOWN if not (matters and adjusted <= level) else WORSE if p <= 0.5 else BETTER
        why = feigned[k].get(answer, "") if feigned else ""
        answer = NOT_SHOWN if why else answer
        if of_rate:
            told = replace(rates[k], answer=answer, p_adjusted=adjusted, cautions=(*rates[k].cautions, *filter(None, [why])))
            rates[k] = replace(told, reads=why or _rate_reads(told))
            continue
        text = {
            WORSE: f"The swings get larger: {factor_text(factor)} from the first visit to the last.",
            BETTER: f"The swings get smaller: {factor_text(factor)} from the first visit to the last.",
        }.get(answer, why or SIZES_NOT_SHOWN)
        sizes[k] = replace(sizes[k], answer=answer, p_adjusted=adjusted, reads=text)
    return list(zip(rates, sizes, strict=True))


def _rate_reads(rate: RateWorsening) -> str:
    each = f"{factor_text(rate.per_visit)} as often at each visit as at the one before, "
    each += f"between {factor_text(rate.low_per_visit).removesuffix(' times')} and {factor_text(rate.high_per_visit)}"
    if rate.answer == NOT_SHOWN:
        close = rate.p_value is not None and rate.p_value <= 0.5 * (1.0 - rate.confidence)
        tail = "; too little, or not sure enough with rates and sizes of all channels asked at once" if close else ""
        return f"That it comes more often from visit to visit is not shown: {each}{tail}."
    how = "more often" if rate.answer == WORSE else "less often"
    if rate.p_order == 1.0:  # two visits: a difference, and no pace that could go on
        than = f"{factor_text(rate.overall)} as often as at the first, {each.partition(', ')[2]}"
        held = "" if rate.holds_up_to_scatter is None else (
            f" This is shown as long as visits differ by themselves by no more than {share_text(rate.holds_up_to_scatter)}, which two cannot tell."
        )  # fmt: skip
        return f"It came {how} at the second visit: {than}.{held}"
    year = ""
    if rate.per_year is not None and math.isfinite(rate.per_year):
        ends = f"{factor_text(rate.low_per_year)} to {factor_text(rate.high_per_year)}"
        year = f" At that pace it would be {factor_text(rate.per_year)} as often after a year ({ends})."
    differ = ""
    if rate.scatter is not None and rate.holds_up_to_scatter is not None:
        differ = (
            f" Visits differ by themselves by some {share_text(rate.scatter)} (up to {share_text(rate.scatter_high or 0.0)}); this is shown as "
            f"long as they differ by no more than {share_text(rate.holds_up_to_scatter)}."
        )
    return f"It comes {how} from visit to visit: {each}.{differ}{year}"
