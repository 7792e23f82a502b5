"""What is known of a rate before a soak is planned: from logs, from counts, or given; and the soak as power cycles.

`plan` plans with it.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from flicker.base import check
from flicker.base.formats import hours_text, power_ups_text
from flicker.base.limits import Limits
from flicker.base.units import HOUR
from flicker.evidence.assessment import Assessment, assess
from flicker.evidence.compare.sides import Side, side_of
from flicker.evidence.guard.words import ADVICE, advice_text, reason_text
from flicker.evidence.outlook.planned_falls import Units
from flicker.evidence.record.power_up_counts import HEAT_S
from flicker.evidence.soaking.model import CyclePlan, SoakRate
from flicker.evidence.traced import LogLike
from flicker.evidence.verdict import DO_NOT_CONNECT, Against
from flicker.logs.spans import total, within
from flicker.stats.power_ups import MeanRate, clean_chance, mean_rate, power_ups_to_see
from flicker.stats.rates import RateInterval, rate_interval
from flicker.stats.rates.dispersion import pearson_dispersion
from flicker.stats.soak import detectable_share


def per_power_up(count: Any, hours: Any) -> Units:
    """Episodes and hours per power-up, checked."""
    n = check.whole_array("count", count)
    if hours is None or np.ndim(hours) != 1:
        raise ValueError("count and hours must both be totals, or both one number per power-up")
    h = check.finite_array("hours", hours)
    if n.size != h.size or h.min() <= 0:
        raise ValueError(f"hours must be above 0 and one per power-up ({n.size}), got {h.tolist()}")
    return n.tolist(), h.tolist()


def dispersion_of(counts: Sequence[int], hours: Sequence[float]) -> float:
    """Variance of the counts of power-ups over that of independent episodes; 1 where one alone was seen."""
    found, dof = pearson_dispersion([(np.asarray(counts, dtype=np.int64), np.asarray(hours, dtype=np.float64))])
    return max(1.0, found) if dof > 0 else 1.0


def from_logs(
    logs: Assessment | LogLike | Sequence[LogLike], channel: str | None, limits: Limits
) -> tuple[Side, Units, list[str]]:
    """One channel of the logs: its side, episodes and hours of each power-up, and cautions."""
    result = logs if isinstance(logs, Assessment) else assess(logs, limits)
    names = [item.channel for item in result.channels]
    if channel is not None and channel not in names:
        raise ValueError(f"channel must be one of {', '.join(names)}, got {channel!r}")
    chosen = channel or max(result.channels, key=lambda item: (item.rate.episodes, item.in_excursion_s)).channel
    record = next(record for record in result.records if record.channel == chosen)
    side = side_of(record, result.records)
    hours = side.observed_s / HOUR
    if hours <= 0:
        raise ValueError(f"{chosen}: no observed time is left once the power-up surge, gaps and hours without a sign of life are out; "
            "log longer, from switched off on.")
    cautions = [f"Planned for the {chosen} channel."] if len(names) > 1 else []
    if any(item.fitness == DO_NOT_CONNECT for item in result.channels):
        cautions.append("A channel is marked 'do not connect': stay with the unit while it is on.")
    guard = result.channel(chosen).guard
    if not result.channel(chosen).rate.episodes:  # else the soak comes after the repair of what was seen
        lasting = [reason for reason in ADVICE if reason in guard.reasons and ADVICE[reason] is not None]
        told = [Against(reason_text(reason, guard), advice_text(reason, guard)).reads for reason in lasting]
        cautions += [f"Hours alone do not clear it. {reads}." for reads in told]
    return side, ([n for n, _ in side.counted], [h for _, h in side.counted]), cautions


def relative_length(side: Side, given_s: float | None) -> tuple[float | None, float]:
    """Length of the glitches (by default the middle one seen), and the interval of the meter that saw them."""
    lengths = [cycle.excursions[:, 1] - cycle.excursions[:, 0] for cycle in side.cycles if cycle.excursions.size]
    if given_s is None and lengths:
        given_s = float(np.median(np.concatenate(lengths)))
    return given_s, side.sample_interval_s


def share_seen(length: float | None, interval: float | None, integration: float, logged_at: float | None) -> float:
    """Share of the glitches that the soak's meter sees, relative to the meter that counted them where that is known."""
    if (length is None) != (interval is None) and logged_at is None:
        raise ValueError("glitch_length_s and sample_interval_s belong together, got one of them")
    if length is None or interval is None:
        return 1.0
    share = detectable_share(length, interval, integration).share
    if logged_at:
        share = min(1.0, share / max(detectable_share(length, logged_at, 0.0).share, 1e-9))
    if share <= 0.0:
        raise ValueError(
            f"glitch_length_s of {length:g} s never shows on a meter that averages over {integration:g} s; choose a "
            "shorter integration_s"
        )
    return share


@dataclass(frozen=True, slots=True, kw_only=True)
class RateTold:
    """What was told of the rate before a plan: totals or counts of each power-up (``units``), or a rate itself."""

    count: int | None = None
    hours: float | None = None
    units: Units | None = None
    logged: bool = False
    rate_per_h: float | None = None
    max_rate_per_h: float | None = None


def known_rate(told: RateTold, confidence: float, limits: Limits) -> tuple[SoakRate, str | None, float]:
    """The rate with its interval, the kind of plan that it asks for (None where no rate is told), and what to plan by."""
    if told.units is not None or told.count is not None or told.hours is not None:
        return _counted_rate(told, confidence, limits)
    if told.rate_per_h is not None:
        known = check.positive("rate_per_h", told.rate_per_h, what="a rate")
        return SoakRate("given as known", per_hour=known), "catch", known
    if told.max_rate_per_h is not None:
        most = check.positive("max_rate_per_h", told.max_rate_per_h, what="a rate")
        return SoakRate("to be excluded", per_hour=most), "demonstrate", most
    return SoakRate("not given"), None, math.nan


def _counted_rate(told: RateTold, confidence: float, limits: Limits) -> tuple[SoakRate, str, float]:
    """The rate from episodes that were counted."""
    count, hours, units = told.count, told.hours, told.units
    if units is not None:
        count, hours = sum(units[0]), math.fsum(units[1])
    if count is None or hours is None:
        raise ValueError("count and hours belong together, got one of them")
    n = check.whole("count", count, what="episodes seen")
    t = check.positive("hours", hours, what="observed hours")
    found: RateInterval | MeanRate = rate_interval(n, t, confidence=confidence)
    if units is not None and len(units[0]) > 1 and n > 0:
        found = mean_rate(*units, scatter=limits.power_up_scatter, confidence=confidence)
    rate = SoakRate(
        source="the logs" if told.logged else "the episodes seen",
        count=n,
        observed_h=t,
        per_hour=found.rate,
        low_per_hour=found.low,
        high_per_hour=found.high,
        dispersion=dispersion_of(*units) if units is not None else 1.0,
    )
    if n > 0:
        return rate, "catch", n / t
    return rate, "upper limit", rate_interval(0, t, confidence=confidence, sided="upper").high


def power_cycles(side: Side, confidence: float, cool_h: float, limits: Limits) -> CyclePlan | None:
    """Plan in power cycles from the run of the rate since power-up, where two power-ups or more were seen.

    Notes
    -----
    The rate since power-up tells how many episodes a power-up of some length brings on average; how power-ups differ
    by themselves then sets how many of that length show the fault (`power_ups_to_see`). Of the lengths at which the
    rate is known to change the one with the least time on the bench is taken.
    """
    known = [cycle for cycle in side.cycles if cycle.known and cycle.start != "warm" and total(cycle.observed) > 0]
    if len(known) < 2:
        return None
    last = max(float(cycle.observed[-1, 1]) for cycle in known)
    edges = [edge for edge in (0.0, limits.warm_up_s, HEAT_S) if edge < last] + [last]
    parts = list(itertools.pairwise(edges))
    hours_of = np.array([[total(within(c.observed, low, high)) / HOUR for low, high in parts] for c in known])
    seen_of = np.array([[np.count_nonzero((c.episode_s >= a) & (c.episode_s < b)) for a, b in parts] for c in known])
    counts, hours = seen_of.sum(axis=0), hours_of.sum(axis=0)
    if counts.sum() == 0:
        return None
    per_h = counts / np.maximum(hours, 1e-12)
    edges_h = np.array(edges) / HOUR
    expected = np.concatenate(([0.0], np.cumsum(per_h * np.diff(edges_h))))  # of one power-up, by each edge
    seen, exposure = seen_of.sum(axis=1), hours_of @ per_h
    scatter = limits.power_up_scatter
    plans = []
    for length, mean in zip(edges_h[1:].tolist(), expected[1:].tolist(), strict=True):
        if mean > 0:
            found = power_ups_to_see(seen, exposure, length=mean, scatter=scatter, confidence=confidence)
            plans.append((found.power_ups * length + (found.power_ups - 1) * cool_h, length, found))
    bench, length, found = min(plans, key=lambda plan: plan[0])
    alone = _one_run(seen, exposure, expected, edges_h, float(per_h[-1]), scatter, confidence)
    said = power_ups_text(found.power_ups, length)
    said += f" each, cooled for {hours_text(cool_h)} between ({hours_text(bench)} in all)." if found.power_ups > 1 else " from cold."
    return CyclePlan(
        cycles=found.power_ups,
        run_length=length,
        exposure=found.power_ups * length,
        bench_time=bench,
        chance=1.0 - found.miss,
        one_long_run=alone,
        confidence=confidence,
        cool_down=cool_h,
        method=found.method,
        counts=tuple(counts.tolist()),
        hours=tuple(hours.tolist()),
        edges_h=tuple(edges_h.tolist()),
        reads=said,
    )


def _one_run(
    seen: Any, exposure: Any, expected: Any, edges_h: Any, per_h: float, scatter: float, confidence: float
) -> float:
    """Hours of a single run that promise as much, at the rate of the last part; infinite where that is 0."""
    low, high = 0.0, max(float(expected[-1]), 1.0)
    while clean_chance(seen, exposure, 1, high, scatter=scatter) > 1.0 - confidence:
        low, high = high, 2.0 * high
    while high - low > 1e-3 * high:
        middle = 0.5 * (low + high)
        clean = clean_chance(seen, exposure, 1, middle, scatter=scatter) <= 1.0 - confidence
        low, high = (low, middle) if clean else (middle, high)
    if high <= expected[-1]:
        return float(np.interp(high, expected, edges_h))
    return float(edges_h[-1] + (high - expected[-1]) / per_h) if per_h > 0 else math.inf
