"""Changes of the rate of episodes: what was found, corrected over the channels of a page, and said.

A moment that was given, by a mark or a date of repair, is tested as given, by the engine.
"""

from __future__ import annotations

import datetime as dt
import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import TYPE_CHECKING, Annotated, Any

import numpy as np

from flicker.base.arrays import Bools, Floats, Ints
from flicker.base.formats import digits_text
from flicker.base.limits import Limits
from flicker.base.result import Doc, Result
from flicker.base.units import HOUR
from flicker.evidence.findings import holm
from flicker.evidence.located.moves import moment_text
from flicker.evidence.questions.worsening import RATE_FACTOR
from flicker.evidence.record.channel_record import ChannelRecord
from flicker.evidence.record.power_up_counts import counts_of
from flicker.stats import power_ups
from flicker.stats.arrivals.rate_since import RateSince

if TYPE_CHECKING:
    from flicker.stats.power_ups import RateComparison

# Of 1 - confidence, both ways together, where the moment was searched for: counts of power-ups that differ are skewed, gaps have long tails, and at a half
# up to 4 % of steady rates were claimed to change (tests/studies/results/rate_since.md); a choice.
CLAIM = 0.25




class Way(StrEnum):
    """What is shown."""

    MORE = "more often"
    LESS = "less often"
    NOT_SHOWN = "not shown"


class Over(StrEnum):
    """What the rate was followed over."""

    RUN = "run"
    POWER_UPS = "power-ups"
    VISITS = "visits"


@dataclass(frozen=True, slots=True)
class Began(Result):
    """Where a new rate begins, and how it stands to the one before; null at the first stretch of all."""

    unit: Annotated[
        int | None, Doc("Power-up or visit with which the new rate begins, from 0; null within a run.", ge=0)
    ]
    unit_low: Annotated[int | None, Doc("First that it may be.", ge=0)]
    unit_high: Annotated[int | None, Doc("Last that it may be.", ge=0)]
    run: Annotated[int | None, Doc("Number of the run in which it begins, from 0; null over visits.", ge=0)]
    at_s: Annotated[float | None, Doc("Moment, seconds since that run's first sample; null over visits.")]
    low_run: Annotated[int | None, Doc("Run of the earliest moment.", ge=0)]
    low_s: Annotated[float | None, Doc("Earliest moment, on that run's clock.")]
    high_run: Annotated[int | None, Doc("Run of the latest moment.", ge=0)]
    high_s: Annotated[float | None, Doc("Latest moment, on that run's clock.")]
    ratio: Annotated[float | None, Doc("Rate over that of the stretch before.", ge=0, open=True)]
    ratio_low: Annotated[float | None, Doc("Lower end of its interval.", ge=0)]
    ratio_high: Annotated[float | None, Doc("Upper end.", ge=0, open=True)]


@dataclass(frozen=True, slots=True)
class RateStretch(Began):
    """A stretch of one rate, with the rate and where it begins."""

    answer: Annotated[Way | None, Doc("Against the stretch before; null at the first.")]
    p_value: Annotated[float | None, Doc("Of its begin, both ways together, given the other changes.", ge=0, le=1)]
    episodes: Annotated[int, Doc("Episodes in it, bursts merged.", ge=0)]
    observed_s: Annotated[float, Doc("Observed seconds.", ge=0)]
    per_hour: Annotated[float | None, Doc("Episodes per observed hour; null where their number no longer rises with the rate.", ge=0)]
    low_per_hour: Annotated[float | None, Doc("Lower limit.", ge=0)]
    high_per_hour: Annotated[float | None, Doc("Upper limit.", ge=0, open=True)]
    reads: Annotated[str, Doc("Its begin in words, in the log's own clock where it tells one; empty at the first.")]


@dataclass(frozen=True, slots=True)
class RateChanged(Began):
    """Changes of the rate of episodes; the moment is that since which the last rate holds."""

    answer: Annotated[Way, Doc("What is shown of the last change.")]
    over: Annotated[Over, Doc("Within one run, from power-up to power-up, or from visit to visit.")]
    given: Annotated[
        bool,
        Doc(
            "Whether the moment was given, by a mark (adjusted, part changed, conditions changed) or as a date, and tested as given."
        ),
    ]
    p_value: Annotated[float, Doc("Both ways together; of several changes the least sure one, times their number.", ge=0, le=1)]
    p_adjusted: Annotated[
        float,
        Doc(
            "Corrected over the channels of the page; a claim is made up to 1 - confidence where the moment was given, else up to a quarter of it.",
            ge=0,
            le=1,
        ),
    ]
    count: Annotated[int, Doc("Episodes used, bursts merged.", ge=0)]
    heat: Annotated[bool, Doc("Whether a moment lies within two hours of switch-on, where heat may make it.")]
    daily: Annotated[
        bool, Doc("Whether a change was found within less than two days, where the hours of the day may make it.")
    ]
    stretches: Annotated[
        tuple[RateStretch, ...], Doc("Stretches of one rate each, in order; empty where no change is shown.")
    ]
    method: Annotated[str, Doc("Method in words.")]
    reads: Annotated[str, Doc("In words, in the log's own clock where it tells one.")]

    @property
    def told(self) -> str:
        """The sentence of a page; '' where there is nothing to say."""
        return self.reads if self.answer != Way.NOT_SHOWN or self.given else ""


@dataclass(frozen=True, slots=True)
class PlacedChange:
    """One change before it is claimed: its test, first units and moments (most likely, earliest, latest), and words for when."""

    got: RateSince | RateComparison
    units: tuple[int | None, int | None, int | None]
    moments: Sequence[tuple[int | None, float | None]]
    when: str
    heat: bool = False
    daily: bool = False


@dataclass(frozen=True, slots=True)
class Held:
    """What a stretch counted: episodes, observed seconds, and the rate per hour with its limits where it can be told."""

    episodes: int
    observed_s: float
    rate: tuple[float, float, float] | None


def made(changes: Sequence[PlacedChange], stretches: Sequence[Held], over: Over, p_value: float, method: str) -> RateChanged:
    """A draft of moments searched for, or of one that was given; whether it is claimed `corrected` decides."""
    rows = [_stretch(None, stretches[0])]
    rows += [_stretch(change, held) for change, held in zip(changes, stretches[1:], strict=True)]
    got = changes[-1].got
    given = got.given if isinstance(got, RateSince) else True
    count = got.before + got.after if not isinstance(got, RateSince) else sum(row.episodes for row in rows)
    draft = RateChanged(
        answer=rows[-1].answer or Way.NOT_SHOWN, over=over, given=given, **{key: getattr(rows[-1], key) for key in Began.__slots__},
        p_value=p_value, p_adjusted=p_value, count=count, heat=any(one.heat for one in changes),
        daily=any(one.daily for one in changes), stretches=tuple(rows), method=method, reads="",
    )  # fmt: skip
    return replace(draft, reads=_reads(draft))


def _stretch(change: PlacedChange | None, held: Held) -> RateStretch:
    rate, low, high = held.rate or (None, None, None)
    what: dict[str, Any] = dict.fromkeys((*Began.__slots__, "answer", "p_value"))
    if change is not None:
        got = change.got
        ends = (got.ratio_low, got.ratio_high) if isinstance(got, RateSince) else (got.low, got.high)
        (run, at_s), (low_run, low_s), (high_run, high_s) = change.moments
        what = {
            "unit": change.units[0], "unit_low": change.units[1], "unit_high": change.units[2],
            "run": run, "at_s": at_s, "low_run": low_run, "low_s": low_s, "high_run": high_run, "high_s": high_s,
            "ratio": got.ratio, "ratio_low": ends[0], "ratio_high": ends[1],
            "answer": Way.MORE if got.p_up <= got.p_down else Way.LESS, "p_value": min(1.0, 2.0 * min(got.p_up, got.p_down)),
        }  # fmt: skip
    return RateStretch(
        **what, episodes=held.episodes, observed_s=held.observed_s, per_hour=rate, low_per_hour=low, high_per_hour=high,
        reads="" if change is None else change.when,
    )  # fmt: skip


def corrected(drafts: Sequence[Sequence[RateChanged] | None], limits: Limits) -> list[RateChanged | None]:
    """Correct over channels (Holm), decide how many changes are shown, and say it.

    ``drafts`` hold for each channel one change, two, ...; of one number or another a change is shown at the smallest p.
    """
    least = [min(item.p_value for item in tried) for tried in drafts if tried]
    times = iter([p / own if own > 0 else 1.0 for p, own in zip(holm(least), least, strict=True)])
    out: list[RateChanged | None] = []
    for tried in drafts:
        if not tried:
            out.append(None)
            continue
        factor = next(times)
        asked = [replace(item, p_adjusted=min(1.0, factor * item.p_value)) for item in tried]
        shown = [item for item in asked if _shown(item, limits)]
        if shown:
            out.append(shown[-1])
            continue
        first = asked[0]
        said = "A change of rate is not shown."
        if first.given:
            said = f"No change of rate is shown {first.stretches[-1].reads}: {_times(first)}."
        out.append(replace(first, answer=Way.NOT_SHOWN, stretches=(), reads=said))
    return out


def _shown(item: RateChanged, limits: Limits) -> bool:
    """Sure enough, large enough, and no claim beside an interval that holds 'the same'; of every change."""
    if item.p_adjusted > (1.0 if item.given else CLAIM) * (1.0 - limits.confidence):
        return False
    for row in item.stretches[1:]:
        ratio, low, high = row.ratio or 0.0, row.ratio_low or 0.0, row.ratio_high
        if 1.0 / RATE_FACTOR < ratio < RATE_FACTOR or (low <= 1.0 and (high is None or high >= 1.0)):
            return False
    return True


def _times(row: Began) -> str:
    ratio, low, high = row.ratio or 0.0, row.ratio_low or 0.0, math.inf if row.ratio_high is None else row.ratio_high
    if math.isinf(high):
        return f"at least {digits_text(low)} times as often"
    if ratio == 0.0:
        return f"at most {digits_text(high)} times as often"
    return f"some {digits_text(ratio)} times as often ({digits_text(low)} to {digits_text(high)})"


def _reads(item: RateChanged) -> str:
    rows = item.stretches[1:]
    since = "" if item.given else "since "
    if len(rows) == 2 and rows[0].answer != rows[1].answer:
        said = f"{rows[0].answer} from {rows[0].reads} until {rows[1].reads}: {_times(rows[0])}; then {_times(rows[1])}"
    else:
        said = "; then ".join(f"{row.answer} {since}{row.reads}: {_times(row)}" for row in rows)
    warm = " Within two hours of switch-on heat may do that." if item.heat else ""
    hour = " Within less than two days that cannot be told from the hours of the day." if item.daily else ""
    return f"{said[0].upper()}{said[1:]}.{warm}{hour}"


def since_text(item: RateChanged | None) -> str:
    """The sentence of a page; '' where there is nothing to say."""
    return "" if item is None else item.told


def day_name(date: dt.date | None, number: int) -> str:
    """How a visit is called in a sentence."""
    return f"visit {number + 1}" if date is None else f"the visit of {date:%Y-%m-%d}"


def units_of(record: ChannelRecord) -> list[list[int]]:
    """Places of the runs of each power-up with observed time, in order."""
    seen = [[place for place in runs if record.traces[place].observed_s > 0] for runs in record.power_ups]
    return [runs for runs in seen if runs]


def border_of(
    record: ChannelRecord, units: Sequence[Sequence[int]], given: dt.datetime | None
) -> tuple[int | None, bool]:
    """First power-up after the moment given, by a date or else by the last mark, and whether it lies inside a power-up.

    A power-up in which it was done counts as before. None where no power-up is left on one side.
    """
    border, inside = None, False
    for unit, runs in enumerate(units):
        if given is None:
            here = any(record.traces[place].hands.breaks_s for place in runs)
        else:
            first, last = seconds_to(record, runs[0], given), seconds_to(record, runs[-1], given)
            here = first >= 0.0 and last < record.runs[runs[-1]].duration_s
            border = unit + 1 if first >= 0.0 else border
        if here:
            border, inside = unit + 1, True
    return (border if border is not None and 0 < border < len(units) else None), inside


def seconds_to(record: ChannelRecord, place: int, given: dt.datetime) -> float:
    """Seconds from a run's first sample to a moment; a moment without a zone is on the log's clock."""
    start = record.runs[place].start
    assert start is not None  # asked before
    return ((given.replace(tzinfo=start.tzinfo) if given.tzinfo is None else given) - start).total_seconds()


def within_logs(records: Sequence[ChannelRecord], given: dt.datetime) -> None:
    """Can the logs be parted at that moment?"""
    runs = [run for record in records for run in record.runs]
    for run in runs:
        if run.start is None:
            raise ValueError(
                f"a moment given as a date needs logs that tell their date; {run.source} tells none: mark it beside the log (flicker mark)"
            )
        if given.tzinfo is not None and run.start.tzinfo is None:
            raise ValueError(
                f"{run.source} tells its times without a zone; give the moment likewise, got {given.isoformat()}"
            )
    spans = [(seconds_to(record, place, given), run) for record in records for place, run in enumerate(record.runs)]
    if spans and (all(at <= 0.0 for at, _ in spans) or all(at >= run.duration_s for at, run in spans)):
        side = "after" if spans[0][0] <= 0.0 else "before"
        raise ValueError(
            f"all that was logged lies {side} the moment given ({given:%Y-%m-%d %H:%M}); nothing can be set against it"
        )


def power_up_text(record: ChannelRecord, units: Sequence[Sequence[int]], unit: int) -> str:
    """Which power-up, and when it began where the log tells it."""
    first = units[unit][0]
    said = f"power-up {unit + 1} of {len(units)}"
    if record.runs[first].start is None:
        return said
    return f"{said}, begun {moment_text(record.runs[first], 0.0, record.numbers[first], True)}"


def given_power_up(
    record: ChannelRecord, units: Sequence[Sequence[int]], border: int, given: dt.datetime | None, limits: Limits
) -> RateChanged | None:
    """Power-ups after the moment given against those before it, by the engine."""
    after = np.arange(len(units)) >= border
    counts = counts_of(record, after)
    if not (counts.expected[after].any() and counts.expected[~after].any()):
        return None
    if given is None:
        when = f"after what was marked, from {power_up_text(record, units, border)} on"
    else:
        when = f"since {said_of(given)}, the moment given"
    moment = (record.numbers[units[border][0]], 0.0)
    got = compared(counts.counts, counts.expected, after, limits)
    held = held_by(counts.episodes, counts.observed_s, [border], limits, counts.by_share)
    return tested(got, Over.POWER_UPS, border, (moment,) * 3, when, held)


def held_by(
    episodes: Ints, observed_s: Floats, borders: Sequence[int], limits: Limits, by_share: bool = False
) -> list[Held]:
    """What the units between borders counted; their rate with the limits of units that differ, where counts tell it."""
    out = []
    for a, b in itertools.pairwise((0, *borders, len(episodes))):
        rate = None
        if not by_share and observed_s[a:b].sum() > 0:
            found = power_ups.mean_rate(
                episodes[a:b], observed_s[a:b] / HOUR, scatter=limits.power_up_scatter, confidence=limits.confidence
            )
            rate = found.rate, found.low, found.high
        out.append(Held(episodes=int(episodes[a:b].sum()), observed_s=float(observed_s[a:b].sum()), rate=rate))
    return out


def compared(counts: Ints, expected: Floats, after: Bools, limits: Limits) -> RateComparison:
    """Units after a moment against those before it."""
    return power_ups.rate_comparison(
        counts[~after], expected[~after], counts[after], expected[after], scatter=limits.power_up_scatter,
        level=0.5 * (1.0 - limits.confidence), confidence=limits.confidence,
    )  # fmt: skip


def tested(
    got: RateComparison,
    over: Over,
    unit: int,
    moments: Sequence[tuple[int | None, float | None]],
    when: str,
    held: Sequence[Held],
) -> RateChanged:
    """A draft of a moment that was given."""
    if got.alone:
        when += f" (one on each side, which cannot tell how far like {over} vary)"
    change = PlacedChange(got=got, units=(unit,) * 3, moments=moments, when=when)
    return made([change], held, over, min(1.0, 2.0 * min(got.p_up, got.p_down)), got.method)


def said_of(given: dt.datetime) -> str:
    """A moment as it was given."""
    return f"{given:%Y-%m-%d}" if given.time() == dt.time() else f"{given:%Y-%m-%d %H:%M}"
