"""What grows from visit to visit: rate and size, the next visit, the year ahead. Arrival times and records in."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Annotated, Any

import numpy as np

from flicker.base.described import Doc
from flicker.base.formats import factor_text, hours_text
from flicker.base.limits import Limits
from flicker.base.result import Result
from flicker.evidence.findings import NOT_SHOWN, holm
from flicker.evidence.questions.bench import finite_peaks
from flicker.evidence.questions.protection import TELLS, TripForecast, trip_forecast
from flicker.evidence.record import ChannelRecord
from flicker.stats.arrivals import AgeForecast, AgeTrend, age_forecast, age_regression, age_trend, size_trend_test
from flicker.stats.rates import rate_interval

RATE_FACTOR = 1.5  # growth from the first visit to the last that matters; common practice, no source
FEWEST = 5  # episodes below which no growth is claimed
YEAR_DAYS = 365.25
NEVER = "No episode at any visit"
WORSE, BETTER = "worse", "better"


@dataclass(frozen=True, slots=True)
class RateWorsening(Result):
    """Does the rate grow from visit to visit?

    ``per_visit`` is the factor from one visit to the next (at their mean distance), ``per_year`` that of a year (None
    without dates), ``overall`` that from the first to the last. ``p_value`` is two-sided,
    of the regression; ``p_order`` beside it that of `stats.arrivals.age_trend` (the order of the runs, by permutation
    from five on). ``answer``: 'worse', 'better' or 'not shown'.
    """

    answer: Annotated[str, Doc("What is shown.", values=("worse", "better", "not shown"))]
    per_visit: Annotated[float | None, Doc("Factor from one visit to the next.", ge=0, open=True)]
    low_per_visit: Annotated[float | None, Doc("Its lower limit.", ge=0, open=True)]
    high_per_visit: Annotated[float | None, Doc("Its upper limit.", ge=0, open=True)]
    per_year: Annotated[float | None, Doc("Factor of a year; null without dates.", ge=0, open=True)]
    low_per_year: Annotated[float | None, Doc("Its lower limit.", ge=0, open=True)]
    high_per_year: Annotated[float | None, Doc("Its upper limit.", ge=0, open=True)]
    overall: Annotated[float | None, Doc("Factor from the first visit to the last.", ge=0, open=True)]
    p_value: Annotated[float | None, Doc("Two-sided.", ge=0, le=1)]
    p_adjusted: Annotated[float | None, Doc("Corrected within {rate, size}.", ge=0, le=1)]
    p_order: Annotated[
        float | None,
        Doc("Of the order of the runs by risk sets, two-sided; by permutation from five runs on.", ge=0, le=1),
    ]
    dispersion: Annotated[float | None, Doc("Largest variance over mean used.", ge=0)]
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
    p_value: Annotated[float | None, Doc("Two-sided, by permutation.", ge=0, le=1)]
    p_adjusted: Annotated[float | None, Doc("Corrected within {rate, size}.", ge=0, le=1)]
    method: Annotated[str, Doc("Method in words.")]
    reads: Annotated[str, Doc("The answer in words.")]


def rate_growth(
    times: list[Any], ends: list[float], run_ages: list[float], ages: Sequence[float], dated: bool, limits: Limits
) -> RateWorsening:
    """Fit the growth of the rate; the answer waits for `corrected`."""
    count = sum(len(t) for t in times)
    method = "Poisson regression by risk sets with widening for bursts; score test of later against earlier runs"
    blank = RateWorsening(
        NOT_SHOWN,
        None,
        None,
        None,
        None,
        None,
        None,
        None,
        None,
        None,
        None,
        None,
        count,
        (),
        limits.confidence,
        method,
        "",
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
            reads=f"{NEVER}: at most {high:.2g} per hour over all of them ({limits.confidence:.0%}).",
        )
    try:
        fit = age_regression(times, ends, run_ages, confidence=limits.confidence)
        trend: AgeTrend = age_trend(times, ends, order=run_ages)
    except ValueError:
        return replace(blank, reads="The visits do not reach the same time since power-up; nothing can be compared.")
    span = max(ages) - min(ages)
    step = span / (len(ages) - 1)
    each, low, high_each = fit.factor(step)
    year = fit.factor(YEAR_DAYS) if dated else (math.nan,) * 3
    overall = fit.factor(span)[0]
    p_value = fit.p_value
    cautions = [_visit_words(text[0].upper() + text[1:] + ".") for text in fit.cautions]
    if count < FEWEST:
        cautions.append(f"{count} episodes are too few to claim a growth ({FEWEST} or more are needed).")
        p_value = 1.0
    if len(ages) == 2:
        cautions.append("Two visits show a difference, not that it goes on.")
    return RateWorsening(
        answer=NOT_SHOWN,
        per_visit=each,
        low_per_visit=low,
        high_per_visit=high_each,
        per_year=year[0],
        low_per_year=year[1],
        high_per_year=year[2],
        overall=overall,
        p_value=p_value,
        p_adjusted=None,
        p_order=trend.p_value,
        dispersion=fit.dispersion,
        episodes=count,
        cautions=tuple(cautions),
        confidence=limits.confidence,
        method=method,
        reads="",
    )


def _visit_words(text: str) -> str:
    """The same caution in the words of the bench."""
    return text.replace("runs of the same age", "those of one visit").replace(" runs ", " power-ups ")


def size_growth(records: Sequence[ChannelRecord], ages: Sequence[float], limits: Limits) -> SizeWorsening:
    """Fit the growth of the sizes; the answer waits for `corrected`."""
    method = "rank correlation of size and visit, by permutation; slope of the logarithms"
    sizes = [record.episodes.size_V[~record.episodes.common] for record in records]
    count = sum(part.size for part in sizes)
    if sum(part.size > 0 for part in sizes) < 2 or count < FEWEST:
        return SizeWorsening(NOT_SHOWN, None, None, None, None, None, method, "Too few episodes to compare sizes.")
    age = np.concatenate([np.full(part.size, a) for part, a in zip(sizes, ages, strict=True)])
    test = size_trend_test(
        np.concatenate(sizes), age - age.min(), alternative="two-sided", confidence=limits.confidence
    )
    return SizeWorsening(NOT_SHOWN, test.growth, test.growth_low, test.growth_high, test.p_value, None, method, "")


def corrected(rate: RateWorsening, size: SizeWorsening, limits: Limits) -> tuple[RateWorsening, SizeWorsening]:
    """Correct the two p-values together, give the answers, and say them."""
    known = [item for item in (rate, size) if item.p_value is not None]
    adjusted = dict(zip(map(id, known), holm([float(item.p_value or 0.0) for item in known]), strict=True))
    alpha = 1.0 - limits.confidence
    p_rate, p_size = adjusted.get(id(rate)), adjusted.get(id(size))
    if rate.overall is not None and p_rate is not None:
        clear = max(rate.overall, 1.0 / rate.overall) >= RATE_FACTOR if rate.overall > 0 else True
        shown = p_rate <= alpha and clear
        answer = NOT_SHOWN if not shown else WORSE if rate.overall > 1 else BETTER
        rate = replace(rate, answer=answer, p_adjusted=p_rate)
        rate = replace(rate, reads=_rate_reads(rate))
    if size.growth is not None and p_size is not None:
        clear = max(size.growth, 1.0 / size.growth) >= RATE_FACTOR if size.growth > 0 else False
        answer = NOT_SHOWN if not (p_size <= alpha and clear) else WORSE if size.growth > 1 else BETTER
        text = {
            WORSE: f"The swings get larger: {factor_text(size.growth)} from the first visit to the last.",
            BETTER: f"The swings get smaller: {factor_text(size.growth)} from the first visit to the last.",
        }.get(answer, "That the swings get larger from visit to visit is not shown.")
        size = replace(size, answer=answer, p_adjusted=p_size, reads=text)
    return rate, size


def _range_text(low: float | None, high: float | None) -> str:
    """'between 1.5 and 7.5 times'."""
    return f"between {factor_text(low).removesuffix(' times')} and {factor_text(high)}"


def _rate_reads(rate: RateWorsening) -> str:
    each = f"{factor_text(rate.per_visit)} as often at each visit as at the one before, "
    each += _range_text(rate.low_per_visit, rate.high_per_visit)
    if rate.answer == NOT_SHOWN:
        close = rate.p_value is not None and rate.p_value <= 1.0 - rate.confidence
        tail = "; too little, or not sure enough where rate and size are asked together" if close else ""
        return f"That it comes more often from visit to visit is not shown: {each}{tail}."
    how = "more often" if rate.answer == WORSE else "less often"
    year = ""
    if rate.per_year is not None and math.isfinite(rate.per_year):
        year = f" At that pace it would be {factor_text(rate.per_year)} as often after a year."
    return f"It comes {how} from visit to visit: {each}.{year}"


def next_visit(
    times: list[Any],
    ends: list[float],
    run_ages: list[float],
    ages: Sequence[float],
    rate: RateWorsening,
    limits: Limits,
) -> tuple[AgeForecast | None, str]:
    """Episodes at the next visit, if it is like the last and what was seen goes on."""
    if rate.overall is None or rate.episodes < FEWEST:
        return None, ""
    step = (max(ages) - min(ages)) / (len(ages) - 1)
    last = [end for end, age in zip(ends, run_ages, strict=True) if age == max(run_ages)]
    found = age_forecast(times, ends, run_ages, at=max(ages) + step, planned_ends=last, confidence=limits.confidence)
    same = hours_text(sum(last) / 3600.0)
    if math.isinf(found.high):
        return found, f"The next visit cannot be forecast: the growth has no upper end ({rate.episodes} episodes)."
    basis = f"That reaches beyond the {len(ages)} visits seen; nothing but another visit can confirm it."
    few = "between none" if found.low == 0 else f"between {found.low:.0f}"
    return (
        found,
        f"At a next visit like the last ({same}), {few} and {found.high:.0f} episodes are to be expected. {basis}",
    )


def year_ahead(
    records: Sequence[ChannelRecord], rate: RateWorsening, size: SizeWorsening, limits: Limits, hours: float
) -> tuple[TripForecast | None, str]:
    """Chance of a trip within a year of use."""
    growing = WORSE in {rate.answer, size.answer}
    used = [record for record in (records[-1:] if growing else records) if record.observed_s > 0]
    observed_h = sum(record.observed_s for record in used) / 3600.0
    if not used or observed_h <= 0:
        return None, ""
    peaks = np.concatenate([finite_peaks(record, limits) for record in used])
    if peaks.size == 0:
        return None, ""  # nothing but the hours would speak
    threshold = min(max(limits.excursion_V, *(t.enter_V for r in used for t in r.traces)), limits.protection_V)
    found = trip_forecast(
        peaks, observed_h, trip_V=limits.protection_V, threshold_V=threshold, hours=hours, confidence=limits.confidence
    )
    far = hours / observed_h
    words = f"A year of use ({hours:.0f} h) is {far:.0f} times what was observed" if far >= 2 else "A year of use"
    if found.high - found.low > TELLS:
        first = "Whether the protection trips within a year cannot be told from so few hours"
    elif found.bound == "upper" and found.trips_seen == 0:
        first = f"No trip was seen; the chance of one within a year is at most {found.high:.0%}"
    elif found.low > 0.99:
        first = "A trip of the protection within a year is all but certain"
    else:
        chance = f"about {found.chance:.0%}, " if math.isfinite(found.chance) else ""
        first = f"The chance of a trip within a year is {chance}between {found.low:.0%} and {found.high:.0%}"
    tail = (
        "it counts on the last visit as it was; as it gets worse, the true chance is higher."
        if growing
        else "it holds only if the unit goes on as it was."
    )
    return found, f"{first}. {words}: {tail}"
