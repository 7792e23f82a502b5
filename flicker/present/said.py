"""Figures and findings in words, the same on screen, page and picture: limits of a clean log, rates, shares, answers."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime, timedelta

from flicker.base.formats import clock_text, digits_text, once_text, share_text, times_text
from flicker.base.values import Aspect
from flicker.evidence.findings import GROWTH, NOT_SHOWN, Finding
from flicker.evidence.located.moves import MONTHS
from flicker.evidence.questions.recurrence import EpisodeRate
from flicker.evidence.questions.together import Coincidence
from flicker.evidence.verdict import NOT_YET_SHOWN

APPROACHED = 0.5  # of the relay's threshold, from where it is drawn; common practice, no source

SWINGS = frozenset({Aspect.EPISODES, Aspect.OCCUPIED_WINDOWS})
OF_SWINGS = GROWTH | {"clustered"}  # questions that only swings can answer


def fitness_text(fitness: str) -> str:
    """Fitness in words for screen and paper."""
    return f"{fitness} to be safe" if fitness == NOT_YET_SHOWN else fitness


def fitness_then(first: str, last: str) -> str:
    """Fitness before and after, once where it is the same."""
    return fitness_text(last) if first == last else f"{fitness_text(first)}, then {fitness_text(last)}"


def against_text(against: Sequence[str], reads: str) -> str:
    """What stands against a clearance; empty where the sentence beside it says all of it."""
    return "" if all(text in reads for text in against) else "; ".join(against)


def outcome_text(outcome: str, aspect: str) -> str:
    """Outcome of a comparison, with the aspect where it is not the swings: 'improved: movement'."""
    from flicker.evidence.compare.weighing import NO_CHANGE  # late: only pages that compare ask

    return outcome if outcome == NO_CHANGE or aspect in SWINGS else f"{outcome}: {aspect}"


def rate_name(aspect: str) -> str:
    """What a ratio is of: counts of episodes, or the windows that hold swings where those run into one another."""
    return "share of short windows with swings" if aspect == Aspect.OCCUPIED_WINDOWS else "rate"


def swings_text(outcome: str, aspect: str, of_swings: str) -> str:
    """What a chart of swings may say: the outcome, or that of the swings alone where something else decided."""
    return outcome if aspect in SWINGS else f"swings: {of_swings}"


def files_text(names: Sequence[str]) -> str:
    """Files by the first of them: 'a.csv and 3 more'."""
    return names[0] if len(names) == 1 else f"{names[0]} and {len(names) - 1} more"


def day_and_month(when: datetime) -> str:
    """'3 Mar'."""
    return f"{when.day} {MONTHS[when.month - 1][:3]}"


def day_and_clock(when: datetime) -> str:
    """'3 Mar 18:30', in no language but this one's."""
    return f"{day_and_month(when)} {when:%H:%M}"


def midnights(start: datetime, until_s: float) -> Iterator[tuple[datetime, float]]:
    """Each beginning of a day after the start, and how many seconds after it, as far as ``until_s``."""
    day = start.replace(hour=0, minute=0, second=0, microsecond=0) + timedelta(days=1)
    while (since := (day - start).total_seconds()) < until_s:
        yield day, since
        day += timedelta(days=1)


def to_second(start: datetime, seconds: float) -> datetime:
    """The moment so many seconds after the start, to the nearest second."""
    return (start + timedelta(seconds=seconds, milliseconds=500)).replace(microsecond=0)


def moment_text(start: datetime | None, seconds: float) -> str:
    """A moment of a run: '09:24:39' where the log tells the clock, else counted from its first reading."""
    return clock_text(seconds) if start is None else f"{to_second(start, seconds):%H:%M:%S}"


def clean_limit(rate: EpisodeRate) -> str | None:
    """What a log without an episode leaves open: one limit, one-sided; None where there were some, or nothing to see."""
    upper = rate.steady_upper_per_h
    if rate.episodes or upper is None or not math.isfinite(upper) or upper <= 0.0:
        return None
    return f"a fault rarer than {once_text(upper)} could have been missed ({share_text(rate.confidence)})"


def rate_text(rate: EpisodeRate, *, power_ups_differ: bool = False) -> str | None:
    """A rate with its interval, marked as two-sided; of a clean log its one limit.

    ``power_ups_differ`` says why the interval is wide: it allows for power-ups that differ by themselves.
    """
    if rate.episodes == 0:
        return clean_limit(rate)
    if rate.per_hour is None or rate.low_per_hour is None or rate.high_per_hour is None:
        return None
    between = f"between {digits_text(rate.low_per_hour)} and {digits_text(rate.high_per_hour)}"
    why = ", since power-ups differ" if power_ups_differ else ""
    return f"{digits_text(rate.per_hour)} per hour, in the long run {between}{why} ({share_text(rate.confidence)}, two-sided)"


def soak_steps(table: Iterable[tuple[float | None, float]]) -> list[tuple[float, float]]:
    """Hours of a soak and the chance they give, in order; of chances that the same hours give only the highest."""
    best: dict[float, float] = {}
    for hours, chance in table:
        if hours is not None and math.isfinite(hours):
            best[hours] = max(chance, best.get(hours, 0.0))
    return sorted(best.items())


def finding_text(finding: Finding) -> str:
    """The sentence of a finding. A growth that is not shown claims nothing: its figure stands as its uncertainty."""
    if finding.answer != NOT_SHOWN or finding.question not in GROWTH or finding.effect is None:
        return finding.reads
    if finding.low is None and finding.high is None:
        return "Too uncertain to tell: what was seen may well be chance."
    low = "less than a tenth" if finding.low is None or finding.low < 0.1 else digits_text(finding.low)
    high = "more than 100" if finding.high is None or finding.high > 100.0 else digits_text(finding.high)
    return f"Too uncertain to tell ({low} to {high} times)."


def idle(swings: int) -> frozenset[str]:
    """Questions that nobody asks of a channel with so many swings: where nothing swung, how it swings."""
    return frozenset() if swings else OF_SWINGS


def together_text(coincidence: Coincidence | None) -> str:
    """What channels share; of more than two only the pairs that share something, and who swings."""
    pairs = () if coincidence is None else coincidence.pairs
    if len(pairs) < 2:
        return "" if coincidence is None else coincidence.reads
    from flicker.signals.coincidence import BEYOND_CHANCE  # late: most logs have two channels and fewer

    counts = {pair.a: pair.episodes_a for pair in pairs} | {pair.b: pair.episodes_b for pair in pairs}
    common = [pair.reads for pair in pairs if pair.answer in BEYOND_CHANCE]
    swung = [f"{name} {times_text(count)}" for name, count in counts.items() if count]
    calm = len(counts) - len(swung)
    said = f"Swings: {', '.join(swung)}" + (f"; none on the other {calm}" if calm else "") + "."
    return " ".join(common or ["No two channels are shown to swing together."]) + f" {said}"
