"""Is it worse than in spring? Assessments of visits months apart in; growth, levels, a forecast and honest words out.

A visit is one date (or a few days), with one log or several. Episodes of a visit are set against those of the others at
equal time since power-up; levels, noise and surges against the accuracy of the meter.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

from flicker.base.formats import channel_text, digits_text, hours_text, times_text
from flicker.base.limits import Limits
from flicker.base.progress import each
from flicker.case.case_file import EVENING_H, Case
from flicker.evidence.assessment import Assessment, assess
from flicker.evidence.channel import ChannelAssessment
from flicker.evidence.compare.judged import SHARED_ROSE, sharing
from flicker.evidence.findings import NOT_SHOWN, YES
from flicker.evidence.located.rate_changed import RateChanged, day_name
from flicker.evidence.located.rate_changed import corrected as since_corrected
from flicker.evidence.located.rate_since import since_visits
from flicker.evidence.record.channel_record import ChannelRecord
from flicker.evidence.record.gain import gain_changes
from flicker.evidence.record.pace import OTHER_PACE, follow_s, slower_s
from flicker.evidence.record.power_up_counts import saturated
from flicker.evidence.traced import LogLike, NothingNew, Seen
from flicker.evidence.visits.growth import (
    BETTER,
    NEVER,
    NOT_ITS_OWN,
    WORSE,
    YEAR_DAYS,
    PowerUps,
    RateWorsening,
    SizeWorsening,
    corrected,
    feigned_by_pace,
    least_sure,
    rate_growth,
    size_growth,
)
from flicker.evidence.visits.levels import NAMES, QuantityTrend, next_level, quantity_trends
from flicker.evidence.visits.visited import (
    ChannelVisit,
    ChannelVisits,
    Visit,
    Visits,
    When,
    concern_reached,
    day_of,
    next_visit,
    year_ahead,
)
from flicker.logs.model import Log

OTHER_GAIN = (
    "From one visit to the next the rests and the noise of every channel became {} times as large: look at the gain of the logger, a "
    "probe at ten to one, the unit. How often they come, and how large they are, cannot be told across it."
)


def over_visits(
    visits: Sequence[tuple[When, Sequence[LogLike]]],
    limits: Limits | None = None,
    *,
    case: Case | None = None,
    stages: Sequence[Sequence[str]] | None = None,
    hours_per_day: float | None = None,
    progress: Callable[[str], None] | None = None,
    since: dt.date | None = None,
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
    since : date, optional
        When it was repaired or adjusted: the visits from that date on are set against those before it.
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
    Growth: `stats.power_ups.rate_growth` on the days since the first visit (on the visit's number without dates); the
    unit is the visit, for visits differ by themselves. Two bars: shown after Holm over {rate, size} of all channels
    ('better' at half of ``1 - limits.confidence``), and a factor of 1.5 at least from the first visit to the last.
    """
    if not visits:
        raise ValueError("visits must hold at least one visit, got none")
    limits = limits or (case.limits if case else Limits())
    names = [tuple(part) for part in stages] if stages is not None else [()] * len(visits)
    order = list(range(len(visits)))
    dated = all(date is not None for date, _ in visits)
    if dated:
        order.sort(key=lambda k: day_of(visits[k][0]))
        days = [day_of(visits[k][0]) for k in order]
        same = [k for k in range(1, len(days)) if days[k] == days[k - 1]]
        if same:
            raise ValueError(f"visits must have different dates, got {visits[order[same[0]]][0]} twice")
    made: list[Assessment] = []
    rows: list[Visit] = []
    seen = Seen()
    copies: list[str] = []
    for k in order:
        date, logs = visits[k]
        number = len(rows)  # a visit that holds nothing but copies is none
        if isinstance(logs, (str, Log)) or not len(logs):
            raise ValueError(f"visits must each hold a list of one or more logs, got {logs!r} for {date}")
        if progress:
            progress(f"judging visit {number + 1}")
        try:
            part = assess(logs, limits, case=case, seen=seen)
        except NothingNew as told:
            copies += told.cautions
            continue
        seen.add(part.traces, f" of visit {number + 1}")
        made.append(part)
        day = day_of(date) - day_of(visits[order[0]][0]) if dated else None
        rows.append(
            Visit(
                number=number,
                date=date,
                day=day,
                stages=names[k],
                runs=len(made[-1].runs),
                power_ups=max((r.cycles for r in made[-1].records), default=0),
            )
        )
    if progress:
        progress("comparing the visits")
    channels = list(dict.fromkeys(item.channel for part in made for item in part.channels))
    hours = YEAR_DAYS * (hours_per_day or (case.complaint.hours_per_day if case else EVENING_H))
    together = sharing(made)
    asked = [_asked(name, made, rows, dated, limits, name not in together) for name in each(channels, 2 * len(channels))]
    follow = slower_s([follow_s(part.traces) for part in made])
    gain = gain_changes([part.records for part in made])
    scaled = "" if gain is None else OTHER_GAIN.format(digits_text(gain))
    feigned = [
        dict.fromkeys(feigned_by_pace(item.records, [follow[row.number] for row in item.visits]), OTHER_PACE)
        | (dict.fromkeys((WORSE, BETTER), scaled) if scaled else {})
        for item in asked
    ]
    answers = corrected([(item.rate, item.size) for item in asked], limits, feigned)
    given = _first_since(rows, since)
    # what another pace or gain of the readings could feign as growth it could feign as a change since some visit too
    changes = since_corrected(
        [() if other else _since(item, limits, given) for item, other in zip(asked, feigned, strict=True)], limits
    )
    unit = _Unit(limits, case, hours, dated, len(channels))
    found = tuple(
        _channel(item, rate, size, changed, unit)
        for item, (rate, size), changed in zip(asked, answers, changes, strict=True)
    )
    return Visits(
        unit=case.unit if case else None,
        visits=tuple(rows),
        channels=found,
        hours_per_year=hours,
        limits=limits,
        cautions=(*copies, *filter(None, [scaled]), *_moved_alike(found), *_cautions(made, rows, case)),
        assessments=tuple(made),
    )


@dataclass(frozen=True, slots=True)
class _Asked:
    """One channel over the visits in which it was logged, and its growth before the correction.

    ``ways`` are its power-ups as the logs show them and, where some run shows no start of its own, with one at each run.
    """

    channel: str
    visits: tuple[Visit, ...]
    ages: tuple[float, ...]
    items: tuple[ChannelAssessment, ...]
    records: tuple[ChannelRecord, ...]
    ways: list[PowerUps]
    rate: RateWorsening
    size: SizeWorsening


def _asked(
    name: str, made: Sequence[Assessment], rows: Sequence[Visit], dated: bool, limits: Limits, alone: bool
) -> _Asked:
    """Growth of a channel; ``alone``: it shares no swings with another, which would tell of what they share."""
    seen = [
        (row, row.age, part.channel(name), record)
        for row, part in zip(rows, made, strict=True)
        for record in part.records
        if record.channel == name
    ]
    visits, ages, items, records = zip(*seen, strict=True)
    ways = [PowerUps.of(records, ages, alone=alone, each_run=False)]
    windows = saturated(records) if alone else None
    if windows is not None and len(windows.ends) != len(ways[0].ends):
        windows = None
    if windows is None and any(record.cycles < len(record.runs) for record in records):
        ways.append(PowerUps.of(records, ages, alone=alone, each_run=True))
    rate = least_sure([rate_growth(way, ages, dated, limits, windows) for way in ways])
    if not alone:
        rate = replace(rate, cautions=(*rate.cautions, NOT_ITS_OWN))
    size = size_growth(records, ages, limits, alone)
    return _Asked(
        channel=name, visits=visits, ages=ages, items=items, records=records, ways=ways, rate=rate, size=size
    )


def _first_since(rows: Sequence[Visit], since: dt.date | None) -> int | None:
    """Number of the first visit from a date on."""
    if since is None:
        return None
    dates = [row.date for row in rows]
    if any(date is None for date in dates):
        raise ValueError("a repair is given by its date, so every visit needs one")
    number = sum(day_of(date) < day_of(since) for date in dates if date is not None)
    if not 0 < number < len(rows):
        raise ValueError(f"all visits lie {'before' if number else 'after'} {since}; nothing can be set against them")
    return number


def _since(asked: _Asked, limits: Limits, given: int | None) -> tuple[RateChanged, ...]:
    """Changes of the rate from visit to visit, before the correction: the least sure of all ways to count power-ups."""
    names = [day_name(row.date, row.number) for row in asked.visits]
    if given is not None:  # among the visits that logged this channel
        given = sum(row.number < given for row in asked.visits)
        if not 0 < given < len(names):
            return ()
    found = []
    for way in asked.ways:
        visits = sorted(set(way.ages))
        if len(visits) != len(names):  # a visit without observed time
            return ()
        found.append(since_visits(way.times, way.ends, [visits.index(age) for age in way.ages], names, limits, given))
    return () if not all(found) else max(found, key=lambda changes: min(one.p_value for one in changes))


class _Unit(NamedTuple):
    """What holds for all channels of a unit: limits, case, hours of use in a year, whether visits have dates, how many channels."""

    limits: Limits
    case: Case | None
    hours: float
    dated: bool
    channels: int


def _channel(
    asked: _Asked, rate: RateWorsening, size: SizeWorsening, since: RateChanged | None, unit: _Unit
) -> ChannelVisits:
    way, ages, records, limits = asked.ways[0], asked.ages, asked.records, unit.limits
    levels = quantity_trends(asked.items, records, limits, unit.case, unit.channels)
    forecast, forecast_reads = next_visit(way, ages, rate, limits)
    year, year_reads = year_ahead(records, rate, size, limits, unit.hours)
    level_ahead, level_reads = next_level(records, ages, limits)
    return ChannelVisits(
        channel=asked.channel,
        reads=_reads(asked.channel, asked.items, rate, size, levels),
        visits=tuple(_row(row.number, item) for row, item in zip(asked.visits, asked.items, strict=True)),
        rate=rate,
        size=size,
        levels=levels,
        forecast=forecast,
        forecast_reads=forecast_reads,
        concern=concern_reached(way, ages, rate, unit.dated, limits),
        year=year,
        year_reads=year_reads,
        level_forecast=level_ahead,
        since=since,
        level_reads=level_reads,
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
        high_per_hour=item.rate.high_per_hour if item.rate.episodes else item.rate.steady_upper_per_h,
        level_V=item.baseline.level_V,
        sigma_V=item.noise.sigma_V,
        surge_V=max(surges, key=abs) if surges else None,
        against=item.against,
    )


def _reads(
    name: str,
    items: Sequence[ChannelAssessment],
    rate: RateWorsening,
    size: SizeWorsening,
    levels: Sequence[QuantityTrend],
) -> str:
    """Two or three sentences for the owner."""
    channel = channel_text(name)
    if len(items) == 1:
        return f"{items[0].reads} {rate.reads}"
    counts = ", ".join(f"{times_text(item.rate.episodes)} in {hours_text(item.observed_s / 3600.0)}" for item in items)
    said = [f"{channel} jumped, visit by visit: {counts}. {rate.reads}", *([size.reads] if size.answer != NOT_SHOWN else [])]
    if not any(item.rate.episodes for item in items):
        said = [f"{channel} never jumped at any of {len(items)} visits{rate.reads.removeprefix(NEVER)}"]
    return " ".join([*said, *(item.reads for item in levels if item.answer == YES)])


def _moved_alike(channels: Sequence[ChannelVisits]) -> list[str]:
    """Say where every channel moved the same way: that tells of what they share."""
    return [
        f"The {NAMES[rows[0].quantity]} of every channel moved the same way. {SHARED_ROSE}"
        for rows in zip(*(item.levels for item in channels), strict=False)
        if len(rows) > 1 and all(row.answer == YES for row in rows) and len({(row.moved_V or 0.0) > 0 for row in rows}) == 1
    ]


def _cautions(made: Sequence[Assessment], rows: Sequence[Visit], case: Case | None) -> tuple[str, ...]:
    several = len(rows) > 1
    meters = sorted({value for log in case.logs for key, value in log.conditions if key == "meter"}) if case else []
    told = (
        (several and any(row.date is None for row in rows), "Dates are missing: visits are taken as evenly spaced, and nothing is said per year."),
        (
            several and any(row.power_ups < 2 for row in rows),
            "A visit with a single power-up does not show how much power-ups of one day differ; two or more from cold at "
            "each visit make a growth easier to believe.",
        ),
        (len(meters) > 1, f"Different meters were used ({', '.join(meters)}): differences of level are theirs too."),
        (case and case.parts, "Parts were changed on the way: what changed then is not age."),
        (
            case and case.meter.off_by_V(0.0) is None,
            "The meter's accuracy is not recorded: differences of level are set against its last digit only.",
        ),
        (case is None, "The meter's accuracy is not known here: a case file says it."),
    )
    said = [text for holds, text in told if holds]
    return tuple(dict.fromkeys([*said, *(text for part in made for text in part.cautions)]))
