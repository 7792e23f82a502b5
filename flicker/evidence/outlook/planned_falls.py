"""What must be logged before and after a repair to show that a fault is halved, down to a tenth, or gone?

Each plan is tried on drawn units with the comparison of the product itself (`stats.power_ups.comparison_needs`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated

import numpy as np

from flicker.base.formats import hours_text, power_ups_text
from flicker.base.limits import Limits
from flicker.base.result import Doc, Result
from flicker.base.units import HOUR
from flicker.evidence.compare.sides import Side
from flicker.logs.spans import total, within
from flicker.stats.power_ups import ComparisonNeeds, comparison_needs
from flicker.stats.power_ups.planned_comparison import MOST

FALLS = {0.5: "halved", 0.1: "down to a tenth", 0.0: "gone"}  # ratios of rates that a page lists: a choice
POWER = 0.8  # common practice, no source
# Shorter power-ups that are tried where the logs show what comes early, as shares of the logged length: a choice.
SHORTER = (0.5, 0.25)
SHORTEST_H = Limits().warm_up_s / HOUR  # a shorter power-up tells of warm-up alone; by definition

Units = tuple[Sequence[int], Sequence[float]]


@dataclass(frozen=True, slots=True)
class Evening(Result):
    """The least time on the bench that shows a fall with the chance asked for."""

    power_ups_before: Annotated[int, Doc("Power-ups still to be logged before the repair.", ge=0)]
    power_ups_after: Annotated[int, Doc("Power-ups to be logged after it.", ge=1)]
    each_h: Annotated[float, Doc("Observed hours of each.", gt=0)]
    bench_h: Annotated[float, Doc("Hours on the bench, cooling between power-ups included.", gt=0)]
    power: Annotated[float, Doc("Share of the drawn units in which the comparison shows the fall.", ge=0, le=1)]


@dataclass(frozen=True, slots=True)
class PlannedFall(Result):
    """What shows one fall of the rate: power-ups after the repair alone, and the least evening."""

    true_ratio: Annotated[float, Doc("Rate after over rate before, assumed.", ge=0)]
    fall: Annotated[str, Doc("What has become of the fault then.")]
    hours_after: Annotated[float | None, Doc("Hours after the repair, the log before as it is; null where too many would be needed.", ge=0, open=True)]
    power_ups_after: Annotated[int | None, Doc("In so many power-ups; null where too many.", ge=1)]
    reachable: Annotated[bool, Doc("Whether power-ups after the repair alone reach the power.")]
    power: Annotated[float | None, Doc("Share of the drawn units in which they show the fall.", ge=0, le=1)]
    power_within_reach: Annotated[float | None, Doc("That share with the most power-ups on both sides, where even these do not reach the power.", ge=0, le=1)]
    evening: Annotated[Evening | None, Doc("The least time on the bench, both sides together; null where it was not asked for or nothing reaches the power.")]
    reads: Annotated[str, Doc("What is to be logged, in words.")]


@dataclass(frozen=True, slots=True, kw_only=True)
class Planned:
    """What a plan starts from: counts per power-up before, or a rate and scatter that are stated."""

    units: Units = ((), ())
    side: Side | None = None
    rate_per_h: float | None = None
    each_h: float | None = None
    cv: float | None = None
    scatter: float
    confidence: float
    cool_down_h: float


def gone_after(start: Planned) -> tuple[PlannedFall, ...]:
    """How many clean power-ups after the repair show the fault gone: one question, told at once."""
    found = _needs(start, 0.0, start.units, start.each_h, most_before=0)
    return (_fall(found, None, start, asked_both=False),)


def planned_falls(start: Planned) -> tuple[PlannedFall, ...]:
    """What shows the fault halved, down to a tenth and gone, and the least evening that does."""
    return tuple(_planned(start, ratio) for ratio in FALLS)


def _planned(start: Planned, ratio: float) -> PlannedFall:
    found = _needs(start, ratio, start.units, start.each_h)
    best = _evening(found, start)
    for share in SHORTER:
        each = share * found.length
        units = _early(start, each)
        if best is None or each < SHORTEST_H or units is None:
            continue
        most = int((best.bench_h + start.cool_down_h) / (each + start.cool_down_h) - 1e-9)
        if most >= 1:
            shorter = _evening(_needs(start, ratio, units, each, total=min(most, 2 * MOST)), start)
            best = shorter if shorter is not None and shorter.bench_h < best.bench_h else best
    return _fall(found, best, start)


def _needs(
    start: Planned, ratio: float, units: Units, each_h: float | None, total: int | None = None, most_before: int | None = None
) -> ComparisonNeeds:
    return comparison_needs(
        ratio, counts=units[0], exposures=units[1], rate=start.rate_per_h, length=each_h, cv=start.cv,
        scatter=start.scatter, power=POWER, confidence=start.confidence, total=total, most_before=most_before,
    )  # fmt: skip


def _early(start: Planned, each_h: float) -> Units | None:
    """Counts before within so many hours of switch-on; None where the logs do not show them, or no episode is left."""
    if start.side is None:
        return start.units if start.rate_per_h is not None else None
    if not all(cycle.known for cycle in start.side.cycles):
        return None
    parts = [(cycle, within(cycle.observed, 0.0, each_h * HOUR)) for cycle in start.side.cycles]
    counts = [int(np.count_nonzero(cycle.episode_s < each_h * HOUR)) for cycle, part in parts if total(part) > 0]
    return (counts, [total(part) / HOUR for _, part in parts if total(part) > 0]) if sum(counts) else None


def _evening(found: ComparisonNeeds, start: Planned) -> Evening | None:
    if found.after is None or found.more_before is None or found.power is None:
        return None
    bench_h = _bench_h(found.more_before + found.after, found.length, start)
    return Evening(found.more_before, found.after, found.length, bench_h, found.power)


def _bench_h(number: int, each_h: float, start: Planned) -> float:
    """Hours on the bench of so many power-ups, cooled between."""
    return number * each_h + (number - 1) * start.cool_down_h


def _fall(found: ComparisonNeeds, evening: Evening | None, start: Planned, asked_both: bool = True) -> PlannedFall:
    said = []
    if found.after_only is not None:
        whole = f" ({hours_text(found.after_only * found.length)} in all)" if found.after_only > 1 else ""
        said.append(f"{power_ups_text(found.after_only, found.length)} after the repair{whole}")
        if found.ratio == 0.0:
            said[-1] += ", all clean: that shows 'improved'; for 'cured' compare says how many more"
    if evening is not None and (found.after_only is None or evening.bench_h < _bench_h(found.after_only, found.length, start) - 1e-9):
        before = f"{evening.power_ups_before} more before and " if evening.power_ups_before else ""
        way = "least time: " if said else ""
        said.append(
            f"{way}{before}{evening.power_ups_after} after, of {hours_text(evening.each_h)} each "
            f"({hours_text(evening.bench_h)} on the bench with cooling)"
        )
    if not said and found.best is not None and asked_both:
        said.append(f"{MOST} power-ups on each side are not enough (they show it in {100 * found.best:.0f} of 100 such units)")
    elif not said:
        said.append(f"{MOST} power-ups after the repair are not enough: log more before it")
    return PlannedFall(
        true_ratio=found.ratio,
        fall=FALLS[found.ratio],
        hours_after=None if found.after_only is None else found.after_only * found.length,
        power_ups_after=found.after_only,
        reachable=found.after_only is not None,
        power=found.power_after_only,
        power_within_reach=found.best,
        evening=evening,
        reads=f"{'; '.join(said)}.",
    )


