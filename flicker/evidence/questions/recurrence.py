"""Is the fault intermittent, or was it a one-off? Episodes and observed time in, findings out."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Any

import numpy as np

from flicker.base.formats import digits_text, lasting_text, p_said, seconds_text, share_text, times_text
from flicker.base.limits import Limits
from flicker.base.result import Doc, Result
from flicker.base.units import HOUR
from flicker.base.values import Basis
from flicker.evidence.findings import NO, NOT_SHOWN, YES, Finding
from flicker.evidence.guard.model import WARM_S
from flicker.evidence.questions.registry import question
from flicker.evidence.record.channel_record import ChannelRecord
from flicker.evidence.record.pace import OTHER_PACE, feigned
from flicker.logs.spans import elapsed, total, within
from flicker.stats import power_ups, rates

if TYPE_CHECKING:
    from flicker.stats.power_ups import MeanRate
    from flicker.stats.rates import RateInterval

WINDOWS = 20  # equal windows whose counts are compared: chosen, not measured
PHASE_FACTOR = 3.0  # of the rates in warm-up and after, from where it is worth saying; what hangs on it: `constants.md` (`study_could_go.py`)
FIRST_MINUTES_S = WARM_S  # a unit warms up until then, by the rules of clearance
LONG_READINGS = 3  # readings beyond which a swing of a slow logger is seen to last; common practice, no source


@dataclass(frozen=True, slots=True)
class PhaseRate(Result):
    """Episodes of one phase ('warm-up', 'settled') with its own observed time."""

    phase: Annotated[str, Doc("Part of the time since power-up.", values=("warm-up", "settled"))]
    episodes: Annotated[int, Doc("Episodes of the channel's own that began in this phase.", ge=0)]
    observed_s: Annotated[float, Doc("Observed seconds of this phase.", ge=0)]
    per_hour: Annotated[float | None, Doc("Episodes per observed hour; null where nothing was observed.", ge=0)]
    low_per_hour: Annotated[float | None, Doc("Lower two-sided limit, per observed hour.", ge=0)]
    high_per_hour: Annotated[float | None, Doc("Upper two-sided limit, per observed hour.", ge=0, open=True)]


@dataclass(frozen=True, slots=True)
class EpisodeRate(Result):
    """Episodes per observed hour.

    ``low_per_hour`` and ``high_per_hour`` are two-sided: over power-ups that differ by themselves where two or more were
    seen and an episode came, else the exact Poisson limits of this power-up. ``steady_upper_per_h`` is one-sided,
    Poisson, and said of the time observed.
    """

    episodes: Annotated[
        int, Doc("Episodes of the channel's own (those of all channels at once are in common_episodes).", ge=0)
    ]
    observed_s: Annotated[float, Doc("Seconds in which an excursion could have been seen.", ge=0)]
    per_hour: Annotated[float | None, Doc("Episodes per observed hour; null where nothing was observed.", ge=0)]
    low_per_hour: Annotated[float | None, Doc("Lower two-sided limit, per observed hour.", ge=0)]
    high_per_hour: Annotated[float | None, Doc("Upper two-sided limit, per observed hour.", ge=0, open=True)]
    steady_upper_per_h: Annotated[
        float | None,
        Doc(
            "Upper one-sided limit, per observed hour; 'steady' needs it at or below the rate of concern.",
            ge=0,
            open=True,
        ),
    ]
    common_episodes: Annotated[int, Doc("Episodes that every channel showed at once; counted against the room.", ge=0)]
    shared_episodes: Annotated[
        int,
        Doc(
            "Of episodes, those that another channel showed at once at half the size or more: evidence about what the channels share.",
            ge=0,
        ),
    ]
    recurs_up_to_dead_time_s: Annotated[
        float | None,
        Doc("Longest dead time, in seconds, at which recurrence is still shown; null where it is not shown.", ge=0),
    ]
    confidence: Annotated[float, Doc("Confidence of the intervals, a share between 0 and 1.", gt=0)]
    method: Annotated[str, Doc("The method by which the figures were found.")]
    phases: Annotated[tuple[PhaseRate, ...], Doc("The same, by phase since power-up.")]


def episode_rate(record: ChannelRecord, limits: Limits) -> EpisodeRate:
    """Rate of a channel's own episodes, whole and by phase."""
    count, hours = record.own_episodes, record.observed_s / HOUR
    phases = []
    for phase in ("warm-up", "settled"):
        seen_s, hits = 0.0, 0
        for place, trace in enumerate(record.traces):
            border = trace.warm_up_until_s
            begin, end = (0.0, border) if phase == "warm-up" else (border, math.inf)
            clipped = np.clip(trace.observed, begin, end)
            seen_s += total(clipped)
            start = record.episodes.start_s[record.own(place)]
            hits += int(np.count_nonzero((start >= begin) & (start < end)))
        rate = rates.rate_interval(hits, seen_s / HOUR, confidence=limits.confidence) if seen_s > 0 else None
        phases.append(
            PhaseRate(
                phase=phase,
                episodes=hits,
                observed_s=seen_s,
                per_hour=rate.rate if rate else None,
                low_per_hour=rate.low if rate else None,
                high_per_hour=rate.high if rate else None,
            )
        )
    if hours <= 0:
        return EpisodeRate(
            episodes=count,
            observed_s=0.0,
            per_hour=None,
            low_per_hour=None,
            high_per_hour=None,
            steady_upper_per_h=None,
            common_episodes=0,
            shared_episodes=0,
            recurs_up_to_dead_time_s=None,
            confidence=limits.confidence,
            method="exact",
            phases=tuple(phases),
        )
    whole, over = _whole_rate(record, count, hours, limits)
    one_sided = rates.rate_interval(count, hours, confidence=limits.confidence, sided="upper")
    return EpisodeRate(
        episodes=count,
        observed_s=record.observed_s,
        per_hour=whole.rate,
        low_per_hour=whole.low,
        high_per_hour=whole.high,
        steady_upper_per_h=one_sided.high,
        common_episodes=record.episodes.count - count,
        shared_episodes=int(np.count_nonzero(record.episodes.shared & ~record.episodes.common)),
        recurs_up_to_dead_time_s=_recurs_up_to(record, limits),
        confidence=limits.confidence,
        method=f"{over} of episodes (excursions up to {limits.dead_time_s:g} s apart count as one)",
        phases=tuple(phases),
    )


def _whole_rate(record: ChannelRecord, count: int, hours: float, limits: Limits) -> tuple[MeanRate | RateInterval, str]:
    """Rate with its interval: over power-ups where two or more were seen, else of this power-up or of a clean log."""
    times, ends = record.per_cycle()
    kept = [(t.size, e / HOUR) for t, e in zip(times, ends, strict=True) if e > 0]
    if count == 0 or len(kept) < 2:
        alone = " of this power-up" if count else ""
        return rates.rate_interval(count, hours, confidence=limits.confidence), f"exact Poisson interval{alone}"
    found = power_ups.mean_rate(
        [n for n, _ in kept], [e for _, e in kept], scatter=limits.power_up_scatter, confidence=limits.confidence
    )
    return found, f"interval over {len(kept)} power-ups, which differ by themselves,"


def phase_of(record: ChannelRecord, rate: EpisodeRate, limits: Limits) -> str:
    """'cold' where episodes come mostly in warm-up, 'hot' where mostly after, '' where neither is shown.

    Shown over power-ups (three or more, each of which may have a burst of its own), and at least threefold. One or two
    show no pattern: 'early' is said of those seen and no more.
    """
    early, late = rate.phases
    if early.observed_s <= 0 or late.observed_s <= 0 or rate.episodes < 3:
        return ""
    marks = [
        [record.episodes.start_s[record.own(place)] < record.traces[place].warm_up_until_s for place in places]
        for places in record.power_ups
    ]
    counts, warm = [sum(part.size for part in parts) for parts in marks], [sum(int(part.sum()) for part in parts) for parts in marks]
    share = early.observed_s / (early.observed_s + late.observed_s)
    level = 0.5 * (1.0 - limits.confidence)
    ratio = (early.episodes / early.observed_s) / (late.episodes / late.observed_s) if late.episodes else math.inf
    bursts = _bursts(record, limits)
    found = power_ups.early_share_test(warm, counts, share, dispersion=bursts)
    if ratio >= PHASE_FACTOR and not found.pattern and len(counts) < 3 and found.p_exact <= level:
        return "early"
    if ratio >= PHASE_FACTOR and found.p_value <= level:
        return "cold"
    after = [n - k for n, k in zip(counts, warm, strict=True)]
    if ratio <= 1.0 / PHASE_FACTOR and power_ups.early_share_test(after, counts, 1.0 - share, dispersion=bursts).p_value <= level:
        return "hot"
    return ""


def _bursts(record: ChannelRecord, limits: Limits) -> float:
    """How much more than singly coming episodes stretches as long as the warm-up differ after it, within each run; 1 at least."""
    from flicker.stats.rates.dispersion import pearson_dispersion  # late: calm logs do without

    groups = []
    for place, trace in enumerate(record.traces):
        late = within(trace.observed, trace.warm_up_until_s, math.inf)
        number = int(total(late) / limits.warm_up_s)
        if number > 1:
            start_s = record.episodes.start_s[record.own(place)]
            begins = elapsed(late, start_s[start_s >= trace.warm_up_until_s])
            counts = np.histogram(begins, bins=number, range=(0.0, number * limits.warm_up_s))[0].astype(np.int64)
            groups.append((counts, np.full(number, limits.warm_up_s)))
    return max(1.0, pearson_dispersion(groups)[0]) if groups else 1.0


def _recurs_up_to(record: ChannelRecord, limits: Limits) -> float | None:
    """Longest dead time at which recurrence is still shown; None where it is not shown at the dead time fixed before."""
    hours = record.observed_s / HOUR
    own = [record.own(place) for place in range(len(record.traces))]
    starts, ends = record.episodes.start_s, record.episodes.end_s
    pauses = np.sort(np.concatenate([np.empty(0), *(starts[mine][1:] - ends[mine][:-1] for mine in own)]))
    first_of_runs = sum(bool(mine.any()) for mine in own)
    nuisance = nuisance_seen_per_h(record, limits)

    def shown(clusters: int) -> bool:
        if clusters < 2:
            return False
        return rates.recurrence(clusters, hours, nuisance_rate=nuisance).p_value <= 1 - limits.confidence

    if hours <= 0 or not shown(first_of_runs + pauses.size):
        return None
    # With a dead time of the k-th smallest pause, that pause and all shorter ones no longer part two episodes.
    best = limits.dead_time_s
    for k, pause in enumerate(pauses):
        if not shown(first_of_runs + pauses.size - k):
            break
        best = max(best, float(pause))
    return best


@question(
    "intermittent",
    asks="Does it come and go?",
    place=10,
    meaning="Do the channel's own episodes recur, more than a sound unit in a sound room would show (0.01 per hour)?",
    chart="cumulative",
)
def intermittent(record: ChannelRecord, rate: EpisodeRate, limits: Limits, moved_V: float = 0.0) -> Finding:
    """Do the channel's own episodes recur?

    ``moved_V`` is the least movement of the level that is shown: long stretches smaller than it are the movement itself.

    The null is a sound unit in a sound room: given the first episode, the others came at the nuisance rate. The dead
    time that joins a burst to one episode is fixed before looking. An episode that lasts long, or many excursions that
    fill a share of the observed time, is recurrence of its own: a fixed dead time makes one endless episode of them.
    """
    hours = record.observed_s / HOUR
    share = record.in_excursion_s / record.observed_s if record.observed_s > 0 else 0.0
    filled = long_evidence(record, limits, moved_V)
    if hours <= 0:
        return Finding("intermittent", NOT_SHOWN, "no observed time", "Nothing was observed, so nothing can be said.")
    nuisance = nuisance_seen_per_h(record, limits)
    method = (
        f"chance of the other episodes at the nuisance rate of {digits_text(nuisance)} per hour, given the first; "
        f"dead time {limits.dead_time_s:g} s fixed beforehand"
    )
    common: dict[str, Any] = {
        "effect": rate.per_hour,
        "low": rate.low_per_hour,
        "high": rate.high_per_hour,
        "unit": "episodes per hour",
        "basis": Basis.FILLED_TIME if filled and rate.episodes else Basis.RATE,
    }
    if rate.episodes == 0:
        clean = (rate.steady_upper_per_h or math.inf) <= limits.episode_rate_per_h
        text = f"No excursion of its own in {digits_text(hours, 3)} observed hours: " + (
            f"{limits.episode_rate_per_h:g} per hour or more is excluded."
            if clean
            else "too short to exclude the rate of concern."
        )
        return Finding(
            "intermittent", NO if clean else NOT_SHOWN, method, text, limit=limits.episode_rate_per_h, **common
        )
    result = rates.recurrence(rate.episodes, hours, nuisance_rate=nuisance)
    if filled:
        return Finding(
            "intermittent",
            YES,
            f"time beyond the threshold: an episode over {limits.long_episode_s:g} s, or over {share_text(limits.episode_share)} of the time",
            f"{filled}; that is no single glitch, however the episodes are counted.",
            statistic=share,
            holds=True,
            limit=limits.episode_share,
            **common,
        )
    up_to = rate.recurs_up_to_dead_time_s
    tail = f" True even if swings up to {lasting_text(up_to)} apart count as one." if up_to is not None else ""
    times = times_text(rate.episodes)
    if once_at_first(record, limits):
        tail = f" It came in the first {lasting_text(float(record.episodes.end_s[0]))}, and never again."
    return Finding(
        "intermittent",
        NOT_SHOWN,
        method,
        f"Seen {times} in {digits_text(hours, 3)} observed hours; a sound unit would show that many with {p_said(result.p_value)}.{tail}",
        statistic=result.likelihood_ratio,
        p_value=result.p_value,
        sided="one",
        limit=nuisance,
        holds=rate.episodes >= 2,
        **common,
    )


def nuisance_seen_per_h(record: ChannelRecord, limits: Limits) -> float:
    """Rate at which a sound unit in a sound room shows episodes: a nuisance burst lasts no longer than the dead time, and a
    logger that reads less often sees only the share of them that a reading falls into.
    """
    seldom = record.reading_every_s
    share = min(1.0, limits.dead_time_s / seldom) if seldom > 0 and limits.dead_time_s > 0 else 1.0
    return limits.nuisance_rate_per_h * share


def once_at_first(record: ChannelRecord, limits: Limits) -> bool:
    """Whether all there was is one long episode, over before the unit was warm: mains brought up by hand, or a start of its own."""
    if record.episodes.count != 1 or record.longest_episode_s <= limits.long_episode_s:
        return False
    place = int(record.episodes.run[0])
    begins = place == 0 or record.cycle[place] != record.cycle[place - 1]
    return begins and float(record.episodes.end_s[0]) <= FIRST_MINUTES_S


def long_evidence(record: ChannelRecord, limits: Limits, moved_V: float = 0.0) -> str:
    """Say how excursions fill time, or '' where they do not.

    A level that moves by more than its excursions are large is beyond the threshold only because the baseline follows
    late: nothing comes and goes. Nor does what was there once, as the unit came up.
    """
    if record.observed_s <= 0 or once_at_first(record, limits) or (record.episodes.count and float(record.episodes.size_V.max()) < moved_V):
        return ""
    longest, spent = record.longest_episode_s, record.in_excursion_s
    share = spent / record.observed_s
    # one reading or two of a slow logger do not show how long a swing lasts
    if longest > max(limits.long_episode_s, LONG_READINGS * record.reading_every_s):
        return f"One episode lasted {seconds_text(longest)}"
    # A short log is filled by one swing; it takes several, over more time than one burst has, to be a state of the channel.
    count = sum(trace.excursions.count for trace in record.traces)
    if share > limits.episode_share and max(spent, longest) > 3.0 * limits.dead_time_s and count >= 3:
        return f"The channel spent {share_text(share)} of the time beyond the threshold"
    return ""


@question(
    "clustered",
    asks="Do the swings come in clusters?",
    place=20,
    meaning="Do they come in clusters?",
    chart="gaps",
)
def clustered(record: ChannelRecord, limits: Limits) -> Finding:
    """Do episodes come in clusters? Dispersion of counts over equal windows of observed time within power-ups."""
    times, ends = record.per_cycle()
    count, total = sum(t.size for t in times), sum(ends)
    if count < 5 or total <= 0:
        return Finding(
            "clustered",
            NOT_SHOWN,
            "dispersion of counts over equal windows",
            "Fewer than five episodes: clustering cannot be judged.",
        )
    if feigned(record):
        return Finding("clustered", NOT_SHOWN, "dispersion of counts over equal windows", OTHER_PACE)
    counts: list[int] = []
    widths: list[float] = []
    for moments, end in zip(times, ends, strict=True):
        if end <= 0:
            continue
        number = max(1, round(WINDOWS * end / total))
        counts.extend(np.histogram(moments, bins=number, range=(0.0, end))[0].tolist())
        widths.extend([end / number] * number)
    result = rates.dispersion_test(counts, widths)
    shown = result.p_value <= 1 - limits.confidence and result.index > 1
    text = (
        f"Episodes come in clusters: from one stretch of time to the next their number varies {digits_text(result.index)} times as much as chance alone would make it."
        if shown
        else "No sign of clusters: their number varies no more than chance may make it."
    )
    return Finding(
        "clustered",
        YES if shown else NOT_SHOWN,
        f"dispersion index of counts in {len(counts)} windows",
        text,
        statistic=result.index,
        p_value=result.p_value,
        sided="one",
        effect=result.index,
        unit="variance over mean",
        limit=1.0,
        holds=shown,
    )
