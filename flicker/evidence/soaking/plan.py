"""How long must it be logged? A rate, a few episodes or earlier logs in; a plan in hours and in cold starts out.

Plans only: nothing here starts, switches or measures anything.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from flicker.base import check
from flicker.base.formats import hours_text, share_text
from flicker.base.limits import Limits
from flicker.base.progress import each
from flicker.base.units import HOUR
from flicker.evidence.assessment import Assessment
from flicker.evidence.compare.sides import Side
from flicker.evidence.outlook.planned_falls import SHORTEST_H, Planned, PlannedFall, Units, gone_after, planned_falls
from flicker.evidence.soaking.model import AllowedRow, PowerUpPlan, PowerUpsNeeded, SoakPlan, SoakRate, SoakRow
from flicker.evidence.soaking.rate import (
    RateTold,
    from_logs,
    known_rate,
    per_power_up,
    power_cycles,
    relative_length,
    share_seen,
)
from flicker.evidence.soaking.words import CAUTIONS, plan_method, plan_reads
from flicker.evidence.traced import LogLike
from flicker.stats.power_ups import PowerUpSoak, power_ups_to_see
from flicker.stats.soak import clean_exposure, hours_to_catch, power_ups_to_catch

TABLE = (0.50, 0.60, 0.75, 0.80, 0.90, 0.95, 0.99)  # confidences that a page lists: a choice
ALLOWED = (0, 1, 2)  # episodes in a soak that a page lists: a choice
COOL_DOWN_H = Limits().cold_after_s / HOUR  # by the definition of a cold start


def plan_soak(
    *,
    count: int | Sequence[int] | None = None,
    hours: float | Sequence[float] | None = None,
    logs: Assessment | LogLike | Sequence[LogLike] | None = None,
    rate_per_h: float | None = None,
    max_rate_per_h: float | None = None,
    confidence: float = 0.95,
    allowed: int = 0,
    channel: str | None = None,
    glitch_length_s: float | None = None,
    sample_interval_s: float | None = None,
    integration_s: float = 0.0,
    starts_with_fault: int | None = None,
    starts: int | None = None,
    cool_down_h: float = COOL_DOWN_H,
    compare: bool = False,
    each_h: float | None = None,
    scatter: float | None = None,
    limits: Limits | None = None,
) -> SoakPlan:
    """Plan a soak; start nothing.

    Give one of: ``count`` and ``hours`` (episodes seen in how many observed hours), ``logs``, ``rate_per_h`` (taken as
    known), ``max_rate_per_h`` (to be excluded), or ``starts_with_fault`` of ``starts`` (beside any of the first three,
    or alone).

    Parameters
    ----------
    count, hours
        Episodes seen, 0 or more, in observed hours; their uncertainty is allowed for. Give both per power-up where they
        are known: a bare total is taken as one that comes evenly (Poisson), of this power-up.
    logs : Assessment, log, path or sequence
        Count, hours, bursts, power-ups and the run of the rate since power-up are taken from here.
    rate_per_h, max_rate_per_h : float
        Episodes per observed hour.
    confidence : float
        Promised chance, between 0 and 1.
    allowed : int
        Episodes that a demonstration may show; fix it before the soak begins.
    channel : str
        Channel of ``logs``; by default the one with most episodes.
    glitch_length_s, sample_interval_s, integration_s : float
        Length of the glitches, and the meter of the soak: the share of glitches it can see. With ``logs`` the length is
        by default that of the glitches seen, and the share is relative to the meter that logged them.
    starts_with_fault, starts : int
        Cold starts that showed the fault, of how many.
    cool_down_h : float
        Hours off that make the next start a cold one.
    compare : bool
        Plan what is to be logged before and after a repair as well, so that a fall to a half, to a tenth and to nothing is
        shown, and the least time on the bench that does; some seconds. Without it only what shows the fault gone is told.
    each_h : float, optional
        With ``compare``: observed hours of each further power-up; the mean of those logged where not given.
    scatter : float, optional
        With ``compare``: how like power-ups vary, as a share of their rate, taken as known; what the counts tell where not
        given. Needed with ``rate_per_h``.

    Returns
    -------
    SoakPlan

    Raises
    ------
    ValueError
        If none or several ways are given, a rate is not above 0, or the confidence is out of range.
    """
    limits = limits or Limits()
    confidence = check.share("confidence", confidence)
    allowed = check.whole("allowed", allowed)
    cool = check.positive("cool_down_h", cool_down_h, what="hours off", zero=True)
    ways = {
        "count and hours": count is not None or hours is not None,
        "logs": logs is not None,
        "rate_per_h": rate_per_h is not None,
        "max_rate_per_h": max_rate_per_h is not None,
    }
    named = [name for name, given in ways.items() if given]
    if len(named) > 1:
        raise ValueError(f"a plan takes one way to tell the rate, got {' and '.join(named)}")
    if (starts is None) != (starts_with_fault is None):
        raise ValueError("starts and starts_with_fault belong together, got one of them")
    if not named and starts is None:
        raise ValueError("a plan needs count and hours, logs, rate_per_h, max_rate_per_h, or starts with the fault")
    if not compare and (each_h is not None or scatter is not None):
        raise ValueError("each_h and scatter plan a comparison; give compare=True with them")
    cautions: list[str] = []
    side: Side | None = None
    told = RateTold(rate_per_h=rate_per_h, max_rate_per_h=max_rate_per_h)
    if count is not None and not isinstance(count, (int, float, str, np.integer)):
        told = RateTold(units=per_power_up(count, hours))
    elif hours is not None and not isinstance(hours, (int, float, str, np.number)):
        raise ValueError("count and hours must both be totals, or both one number per power-up")
    elif count is not None or hours is not None:
        told = RateTold(count=count, hours=hours)
    relative = None
    if logs is not None:
        side, logged, more = from_logs(logs, channel, limits)
        told = RateTold(units=logged, logged=True)
        cautions.extend(more)
        glitch_length_s, relative = relative_length(side, glitch_length_s)
        if starts is None and side.cold_starts >= 2:
            starts, starts_with_fault = side.cold_starts, side.starts_with_episode(limits.warm_up_s)
    units: Units | None = told.units
    seen = share_seen(glitch_length_s, sample_interval_s, integration_s, relative)
    rate, kind, base = known_rate(told, confidence, limits)
    if compare and kind != "catch":
        raise ValueError("a comparison is planned from episodes that were seen, or from a known rate; give one of them")
    power_ups = _starts(
        starts_with_fault, starts, confidence, seen, rate.per_hour if kind != "demonstrate" else None, cool
    )
    if kind is None:
        return _starts_only(rate, power_ups, confidence, seen, (*cautions, *CAUTIONS))

    def in_power_ups(chance: float) -> PowerUpSoak | None:
        if units is None or kind != "catch" or rate.count is None:
            return None
        each = math.fsum(units[1]) / len(units[1])
        return power_ups_to_see(*units, length=each * seen, scatter=limits.power_up_scatter, confidence=chance)

    def needed(chance: float) -> float:
        found = in_power_ups(chance)
        if found is not None and units is not None:
            return found.power_ups * math.fsum(units[1]) / len(units[1])
        if kind == "demonstrate":
            return clean_exposure(base, confidence=chance, allowed=allowed, detectable_share=seen).exposure
        if kind == "catch" and rate.count is not None:
            return hours_to_catch(
                count=rate.count,
                exposure=rate.observed_h,
                confidence=chance,
                detectable_share=seen,
            ).exposure
        return hours_to_catch(rate=base, confidence=chance, detectable_share=seen).exposure

    wanted = needed(confidence)
    known = None
    if kind == "catch":
        known = hours_to_catch(rate=base, confidence=confidence, detectable_share=seen).exposure
    aim = base if kind == "demonstrate" else limits.episode_rate_per_h
    demonstrate = tuple(
        AllowedRow(
            allowed=float(number),
            max_rate_per_h=aim,
            hours=clean_exposure(aim, confidence=confidence, allowed=number, detectable_share=seen).exposure,
        )
        for number in ALLOWED
    )
    remarks = (
        (
            kind == "upper limit",
            "Nothing was seen so far: the plan catches a fault as frequent as the log still allows; a rarer one needs longer.",
        ),
        (
            kind == "catch" and units is None and rate.count is not None,
            "Only a total is given: the plan takes all power-ups as alike, so it holds for this power-up going on; give "
            "the logs, or counts per power-up.",
        ),
        (
            compare,
            "Before and after are planned for one channel, tried on 200 drawn units; a comparison of several channels asks a "
            "little more of each.",
        ),
        (seen < 0.2, f"The meter sees only {share_text(seen)} of such glitches: shorten the sample interval before the soak."),
        (
            bool(allowed) and kind == "demonstrate",
            f"{allowed} allowed must be fixed before the soak begins, not when an episode has come.",
        ),
    )
    cautions += [text for holds, text in remarks if holds]
    over = in_power_ups(confidence)
    asked = sorted({*TABLE, confidence})
    start = Planned(
        units=units or ((), ()), side=side, rate_per_h=rate.per_hour, each_h=each_h, cv=scatter,
        scatter=limits.power_up_scatter, confidence=limits.confidence, cool_down_h=cool,
    )  # fmt: skip
    plan = SoakPlan(
        kind=kind,
        hours=wanted,
        hours_if_rate_known=known,
        confidence=confidence,
        rate=rate,
        detectable_share=seen,
        allowed=allowed,
        table=tuple(SoakRow(chance, needed(chance)) for chance in each(asked, len(asked))),
        demonstrate=demonstrate,
        power_ups=power_ups,
        cycles=power_cycles(side, confidence, cool, limits) if side is not None else None,
        comparison=_comparison(start, rate, compare=compare) if kind == "catch" else (),
        cautions=(*cautions, *CAUTIONS),
        method=plan_method(kind, rate) if over is None else over.method,
        power_ups_needed=None
        if over is None
        else PowerUpsNeeded(
            power_ups=over.power_ups,
            each_h=wanted / over.power_ups,
            miss=over.miss,
            seen_power_ups=over.seen_power_ups,
            scatter=over.scale,
        ),
    )
    return replace(plan, reads=plan_reads(plan, base, over))


def _starts(
    hits: int | None, trials: int | None, confidence: float, seen: float, per_hour: float | None, cool_h: float
) -> PowerUpPlan | None:
    """How many cold starts show the fault, and what they take on the bench."""
    if hits is None or trials is None:
        return None
    hits = check.whole("starts_with_fault", hits, what="cold starts that showed the fault")
    trials = check.whole("starts", trials, least=max(hits, 1), what="a number of cold starts")
    if hits == 0:
        return None
    plan = power_ups_to_catch(
        hits=hits,
        trials=trials,
        confidence=confidence,
        detectable_share=seen,
        rate=per_hour,
    )
    bench = plan.power_ups * SHORTEST_H + (plan.power_ups - 1) * cool_h
    better = bool(math.isfinite(plan.equal_exposure) and bench < plan.equal_exposure)
    sooner = "; to let one power-up go on sees it sooner" if math.isfinite(plan.equal_exposure) and not better else ""
    return PowerUpPlan(
        power_ups=plan.power_ups,
        power_ups_if_share_known=plan.power_ups_if_share_known,
        hits=hits,
        trials=trials,
        cool_down_h=cool_h,
        bench_h=bench,
        equal_hours=plan.equal_exposure,
        better_than_hours=better,
        reads=f"{plan.power_ups} cold starts of {hours_text(SHORTEST_H)} each show it at least once with a chance of {share_text(confidence)} "
        f"({hours_text(bench)} on the bench, cooling included){sooner}.",
    )


def _comparison(start: Planned, rate: SoakRate, *, compare: bool) -> tuple[PlannedFall, ...]:
    """What shows a fall after a repair: all falls where a comparison is planned, else what shows the fault gone."""
    units = start.units
    if not units[0] and rate.count is not None and rate.observed_h is not None:
        units = [rate.count], [rate.observed_h]  # a bare total: of one power-up
    if units[0]:
        start = replace(start, units=units, rate_per_h=None)
    elif not compare:
        return ()
    elif start.cv is None or start.each_h is None:
        raise ValueError("a comparison planned from a known rate needs scatter and each_h, the hours of each power-up")
    return planned_falls(start) if compare else gone_after(start)


def _starts_only(
    rate: SoakRate, power_ups: PowerUpPlan | None, confidence: float, seen: float, cautions: tuple[str, ...]
) -> SoakPlan:
    if power_ups is None:
        raise ValueError("starts_with_fault must be 1 or more where nothing else tells the rate, got 0")
    return SoakPlan(
        kind="catch",
        hours=power_ups.bench_h,
        hours_if_rate_known=None,
        confidence=confidence,
        rate=rate,
        detectable_share=seen,
        allowed=0,
        table=(),
        demonstrate=(),
        power_ups=power_ups,
        cycles=None,
        comparison=(),
        cautions=cautions,
        method="predictive law, share of cold starts from those seen",
        reads=f"Plan: {power_ups.reads}",
    )
