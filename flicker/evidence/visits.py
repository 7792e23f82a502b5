"""Is it worse than in spring? Assessments of visits months apart in; growth, levels, a forecast and honest words out.

A visit is one date (or a few days), with one log or several. Episodes of a visit are set against those of the others at
equal time since power-up; levels, noise and surges against the accuracy of the meter.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from flicker import __version__
from flicker.evidence._visit_levels import QuantityTrend, quantity_trends
from flicker.evidence.assessment import Assessment, ChannelAssessment, LogLike, assess
from flicker.evidence.bench import finite_peaks
from flicker.evidence.case import EVENING_H, Case, CaseError
from flicker.evidence.findings import NOT_SHOWN, YES, holm
from flicker.evidence.limits import Limits
from flicker.evidence.protection import TripForecast, trip_forecast
from flicker.evidence.record import ChannelRecord
from flicker.evidence.words import hours_text, times_text
from flicker.logs.model import Log
from flicker.stats._result import Result, plain
from flicker.stats.arrivals import AgeForecast, AgeTrend, age_forecast, age_regression, age_trend, size_trend_test
from flicker.stats.rates import rate_interval

APART_DAYS = 14.0  # logs closer than this belong to one visit; common practice, no source
RATE_FACTOR = 1.5  # growth from the first visit to the last that matters; common practice, no source
FEWEST = 5  # episodes below which no growth is claimed
YEAR_DAYS = 365.25
WORSE, BETTER = "worse", "better"
MIDDAY = 12  # of a date without a clock

When = dt.date | dt.datetime | None


@dataclass(frozen=True, slots=True)
class Visit(Result):
    """One visit: its first date, how many days after the first visit, its stage names, and what was logged."""

    number: int
    date: When
    day: float | None
    stages: tuple[str, ...]
    runs: int
    power_ups: int


@dataclass(frozen=True, slots=True)
class ChannelVisit(Result):
    """One channel at one visit: rate with exact interval, settled level, noise, surge."""

    visit: int
    verdict: str
    fitness: str
    episodes: int
    observed_s: float
    per_hour: float | None
    low_per_hour: float | None
    high_per_hour: float | None
    level_V: float | None
    sigma_V: float | None
    surge_V: float | None


@dataclass(frozen=True, slots=True)
class RateWorsening(Result):
    """Does the rate grow from visit to visit?

    ``per_visit`` is the factor from one visit to the next (at their mean distance), ``per_year`` that of a year (None
    without dates), ``overall`` that from the first to the last. ``p_value`` is two-sided,
    of the regression; ``p_order`` beside it that of `stats.arrivals.age_trend` (the order of the runs, by permutation
    from five on). ``answer``: 'worse', 'better' or 'not shown'.
    """

    answer: str
    per_visit: float | None
    low_per_visit: float | None
    high_per_visit: float | None
    per_year: float | None
    low_per_year: float | None
    high_per_year: float | None
    overall: float | None
    p_value: float | None
    p_adjusted: float | None
    p_order: float | None
    dispersion: float | None
    episodes: int
    cautions: tuple[str, ...]
    confidence: float
    method: str
    reads: str


@dataclass(frozen=True, slots=True)
class SizeWorsening(Result):
    """Do excursions get larger from visit to visit? ``growth`` is the factor from the first to the last."""

    answer: str
    growth: float | None
    low: float | None
    high: float | None
    p_value: float | None
    p_adjusted: float | None
    method: str
    reads: str


@dataclass(frozen=True, slots=True)
class ChannelVisits(Result):
    """One channel over all visits."""

    channel: str
    reads: str
    visits: tuple[ChannelVisit, ...]
    rate: RateWorsening
    size: SizeWorsening
    levels: tuple[QuantityTrend, ...]
    forecast: AgeForecast | None
    forecast_reads: str
    year: TripForecast | None
    year_reads: str


@dataclass(frozen=True, slots=True)
class Visits(Result):
    """One unit over visits; ``to_dict`` follows the schema 'flicker/visits/1'."""

    unit: str | None
    visits: tuple[Visit, ...]
    channels: tuple[ChannelVisits, ...]
    hours_per_year: float
    limits: Limits
    cautions: tuple[str, ...]
    assessments: tuple[Assessment, ...] = field(repr=False)
    seed: int = 0

    def channel(self, name: str) -> ChannelVisits:
        """Return the channel of that name."""
        for item in self.channels:
            if item.channel == name:
                return item
        raise KeyError(name)

    @property
    def reads(self) -> str:
        """All channels in one paragraph."""
        return " ".join(item.reads for item in self.channels)

    def to_dict(self) -> dict[str, Any]:
        """Return the document of the schema 'flicker/visits/1'."""
        return {
            "schema": "flicker/visits/1",
            "version": __version__,
            "seed": self.seed,
            "correction": "Holm within the family {rate, size} of each channel",
            "unit": self.unit,
            "limits": plain(self.limits),
            "visits": plain(self.visits),
            "channels": [item.to_dict() for item in self.channels],
            "hours_per_year": self.hours_per_year,
            "reads": self.reads,
            "cautions": list(self.cautions),
        }


def over_visits(
    visits: Sequence[tuple[When, Sequence[LogLike]]],
    limits: Limits | None = None,
    *,
    case: Case | None = None,
    stages: Sequence[Sequence[str]] | None = None,
    hours_per_day: float | None = None,
    progress: Callable[[str], None] | None = None,
) -> Visits:
    """Judge one unit over visits.

    Parameters
    ----------
    visits : sequence of (date, logs)
        In any order where all have a date (then they are sorted by it); else in time order, dates None.
    limits : Limits, optional
        By default those of the case, or the defaults.
    case : Case, optional
        Accuracy of the meter, hours of use, parts changed.
    stages : sequence of sequence of str, optional
        Names of the stages of each visit.
    hours_per_day : float, optional
        Use of the unit, for the year ahead; that of the case, else 3.
    progress : callable, optional
        Called with a few words before each longer step.

    Returns
    -------
    Visits

    Raises
    ------
    ValueError
        If there is no visit, a visit has no log, or two visits have the same date.

    Notes
    -----
    Growth: `stats.arrivals.age_regression` on the days since the first visit (on the visit's number without dates). Two
    bars: shown at ``limits.confidence`` after Holm over {rate, size}, and a factor of 1.5 at least from the first visit
    to the last.
    """
    if not visits:
        raise ValueError("visits must hold at least one visit, got none")
    limits = limits or (case.limits if case else Limits())
    names = [tuple(part) for part in stages] if stages is not None else [()] * len(visits)
    order = list(range(len(visits)))
    dated = all(date is not None for date, _ in visits)
    if dated:
        order.sort(key=lambda k: _day(visits[k][0]))
        days = [_day(visits[k][0]) for k in order]
        same = [k for k in range(1, len(days)) if days[k] == days[k - 1]]
        if same:
            raise ValueError(f"visits must have different dates, got {visits[order[same[0]]][0]} twice")
    made, rows = [], []
    for number, k in enumerate(order):
        date, logs = visits[k]
        if isinstance(logs, (str, Log)) or not len(logs):
            raise ValueError(f"visits must each hold a list of one or more logs, got {logs!r} for {date}")
        if progress:
            progress(f"judging visit {number + 1}")
        made.append(assess(list(logs), limits, case=case))
        day = _day(date) - _day(visits[order[0]][0]) if dated else None
        rows.append(
            Visit(number, date, day, names[k], len(made[-1].runs), max((r.cycles for r in made[-1].records), default=0))
        )
    ages = [float(row.day if row.day is not None else row.number) for row in rows]
    channels = list(dict.fromkeys(item.channel for part in made for item in part.channels))
    hours = YEAR_DAYS * (hours_per_day or (case.complaint.hours_per_day if case else EVENING_H))
    found = tuple(_channel(name, made, rows, ages, dated, limits, case, hours) for name in channels)
    return Visits(
        unit=case.unit if case else None,
        visits=tuple(rows),
        channels=found,
        hours_per_year=hours,
        limits=limits,
        cautions=_cautions(made, rows, case),
        assessments=tuple(made),
    )


def visits_of_case(
    case: Case, *, by: str = "date", apart_days: float = APART_DAYS, **reading: Any
) -> tuple[list[tuple[When, list[Log]]], list[list[str]]]:
    """Group the logs of a case into visits, by date (logs closer than ``apart_days`` are one visit) or by stage.

    Returns
    -------
    visits, stages
        As `over_visits` takes them.

    Raises
    ------
    CaseError
        If the case lists no log, or is to be grouped by date and some log has none.
    """
    if by not in {"date", "stage"}:
        raise ValueError(f"by must be 'date' or 'stage', got {by!r}")
    if not case.logs:
        raise CaseError(f"{case.path}: the case lists no log; add [[logs]] with a file.")
    groups: list[list[Any]] = []
    if by == "stage":
        groups = [[log for log in case.logs if log.stage == stage] for stage in case.stages]
    else:
        bare = [log.file for log in case.logs if log.date is None]
        if bare:
            raise CaseError(f"{case.path}: the log {bare[0]!r} has no date; add one, or group by stage.")
        last = -math.inf
        for log in sorted(case.logs, key=lambda item: _day(item.date)):
            if _day(log.date) - last > apart_days or not groups:
                groups.append([])
            groups[-1].append(log)
            last = _day(log.date)
    from flicker.logs.reading import read_log

    visits, stages = [], []
    for group in groups:
        dates = [log.date for log in group if log.date is not None]
        date = min(dates, key=_day) if len(dates) == len(group) else None
        visits.append((date, [case.use(read_log(log.path, **reading), log.date) for log in group]))
        stages.append(list(dict.fromkeys(log.stage for log in group)))
    return visits, stages


def _day(date: When) -> float:
    """Days on a common scale; a date without a clock counts as midday."""
    if date is None:
        return math.nan
    moment = date if isinstance(date, dt.datetime) else dt.datetime(date.year, date.month, date.day, MIDDAY)
    return (moment.replace(tzinfo=None) - dt.datetime(2000, 1, 1)).total_seconds() / 86_400.0


def _channel(
    name: str,
    made: Sequence[Assessment],
    rows: Sequence[Visit],
    ages: Sequence[float],
    dated: bool,
    limits: Limits,
    case: Case | None,
    hours: float,
) -> ChannelVisits:
    seen = [
        (row, age, part.channel(name), record)
        for row, age, part in zip(rows, ages, made, strict=True)
        for record in part.records
        if record.channel == name
    ]
    items = [item for _, _, item, _ in seen]
    records = [record for _, _, _, record in seen]
    mine = [age for _, age, _, _ in seen]
    times: list[Any] = []
    ends: list[float] = []
    run_ages: list[float] = []
    for age, record in zip(mine, records, strict=True):
        for t, end in zip(*record.per_cycle(), strict=True):
            if end > 0:
                times.append(t)
                ends.append(end)
                run_ages.append(age)
    rate = _rate(times, ends, run_ages, mine, dated, limits)
    size = _size(records, mine, limits)
    rate, size = _corrected(rate, size, limits)
    levels = quantity_trends(items, records, limits, None if case is None else case.meter)
    forecast, forecast_reads = _forecast(times, ends, run_ages, mine, rate, limits)
    year, year_reads = _year(records, rate, size, limits, hours)
    return ChannelVisits(
        channel=name,
        reads=_reads(name, items, rate, size, levels),
        visits=tuple(_row(row.number, item) for row, _, item, _ in seen),
        rate=rate,
        size=size,
        levels=levels,
        forecast=forecast,
        forecast_reads=forecast_reads,
        year=year,
        year_reads=year_reads,
    )


def _row(number: int, item: ChannelAssessment) -> ChannelVisit:
    surges = [up.surge_V for up in item.power_up if math.isfinite(up.surge_V)]
    return ChannelVisit(
        visit=number,
        verdict=item.verdict,
        fitness=item.fitness,
        episodes=item.rate.episodes,
        observed_s=item.observed_s,
        per_hour=item.rate.per_hour,
        low_per_hour=item.rate.low_per_hour,
        high_per_hour=item.rate.high_per_hour,
        level_V=item.baseline.level_V,
        sigma_V=item.noise.sigma_V,
        surge_V=max(surges, key=abs) if surges else None,
    )


def _rate(
    times: list[Any], ends: list[float], run_ages: list[float], ages: Sequence[float], dated: bool, limits: Limits
) -> RateWorsening:
    count = sum(len(t) for t in times)
    method = "Poisson regression by risk sets with widening for bursts; score test of later against earlier runs"
    blank = RateWorsening(
        NOT_SHOWN, None, None, None, None, None, None, None, None, None, None, None, count, (), limits.confidence, method, ""
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
            reads=f"No episode at any visit: at most {high:.2g} per hour over all of them ({limits.confidence:.0%}).",
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
    cautions = [text[0].upper() + text[1:] + "." for text in fit.cautions]
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


def _size(records: Sequence[ChannelRecord], ages: Sequence[float], limits: Limits) -> SizeWorsening:
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


def _corrected(rate: RateWorsening, size: SizeWorsening, limits: Limits) -> tuple[RateWorsening, SizeWorsening]:
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


def factor_text(factor: float | None) -> str:
    """A factor without false precision."""
    if factor is None or math.isnan(factor):
        return "not known"
    if factor > 100.0:
        return "more than 100 times"
    return "less than a hundredth" if factor < 0.01 else f"{factor:.2g} times"


def _rate_reads(rate: RateWorsening) -> str:
    range_text = f"between {factor_text(rate.low_per_visit)} and {factor_text(rate.high_per_visit)}"
    if rate.answer == NOT_SHOWN:
        return (
            f"That it comes more often from visit to visit is not shown: {factor_text(rate.per_visit)} the rate at each "
            f"visit, {range_text}."
        )
    how = "more often" if rate.answer == WORSE else "less often"
    per_year = ""
    if rate.per_year is not None and math.isfinite(rate.per_year):
        per_year = f"; {factor_text(rate.per_year)} a year"
    return f"It comes {how} from visit to visit: {factor_text(rate.per_visit)} the rate before, {range_text}{per_year}."


def _forecast(
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
    basis = f"It carries {len(ages)} visits beyond what was seen; nothing but another visit can confirm it."
    few = "between none" if found.low == 0 else f"between {found.low:.0f}"
    return (
        found,
        f"At a next visit like the last ({same}), {few} and {found.high:.0f} episodes are to be expected. {basis}",
    )


def _year(
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
    if found.bound == "upper" and found.trips_seen == 0:
        first = f"No trip was seen; the chance of one within a year is at most {found.high:.0%}"
        if found.high > 0.9:
            first = (
                "Whether the protection trips within a year cannot be told from so few hours: anything up to certainty"
            )
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


def _reads(
    name: str,
    items: Sequence[ChannelAssessment],
    rate: RateWorsening,
    size: SizeWorsening,
    levels: Sequence[QuantityTrend],
) -> str:
    """Two or three sentences for the owner."""
    channel = name if name.lower().startswith(("channel", "ch")) else f"{name} channel"
    if len(items) == 1:
        return f"{items[0].reads} {rate.reads}"
    counts = ", ".join(f"{times_text(item.rate.episodes)} in {hours_text(item.observed_s / 3600.0)}" for item in items)
    if not any(item.rate.episodes for item in items):
        head = f"The {channel} never jumped at any of {len(items)} visits."
    else:
        head = f"The {channel} jumped, visit by visit: {counts}. {rate.reads}"
        if size.answer != NOT_SHOWN:
            head += f" {size.reads}"
    moved = [item.reads for item in levels if item.answer == YES]
    return " ".join([head, *moved])


def _cautions(made: Sequence[Assessment], rows: Sequence[Visit], case: Case | None) -> tuple[str, ...]:
    out = []
    if len(rows) > 1 and any(row.date is None for row in rows):
        out.append("Dates are missing: visits are taken as evenly spaced, and nothing is said per year.")
    if any(row.power_ups < 2 for row in rows) and len(rows) > 1:
        out.append(
            "A visit with a single power-up does not show how much power-ups of one day differ; two or more from cold at "
            "each visit make a growth easier to believe."
        )
    if case is not None:
        meters = {value for log in case.logs for key, value in log.conditions if key == "meter"}
        if len(meters) > 1:
            out.append(
                f"Different meters were used ({', '.join(sorted(meters))}): differences of level are theirs too."
            )
        if case.parts:
            out.append("Parts were changed on the way: what changed then is not age.")
        if case.meter.off_by_V(0.0) is None:
            out.append(
                "The meter's accuracy is not recorded: differences of level are set against its last digit only."
            )
    else:
        out.append("The meter's accuracy is not known here: a case file says it.")
    out.extend(text for part in made for text in part.cautions)
    return tuple(dict.fromkeys(out))
