"""Every channel of a step by every aspect: what decided by rate, noise or level, and what other channels show too."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from flicker.base.limits import Limits
from flicker.base.values import Aspect
from flicker.case.model import Case
from flicker.evidence.assessment import Assessment
from flicker.evidence.compare.aspects import UNTOUCHED, AspectChange, aspects_of, stands, withdrawn
from flicker.evidence.compare.condition_change import (
    Change,
    OffBy,
    ending_at,
    level_change,
    noise_change,
    unlike_change,
)
from flicker.evidence.compare.shared import ALL_ALIKE, SHARED_FELL, SHARED_ROSE, shared_by_all
from flicker.evidence.compare.weighing import IMPROVED, NO_CHANGE, WORSE, Weighed
from flicker.evidence.findings import YES
from flicker.evidence.record.accuracy import off_by_V
from flicker.evidence.record.channel_record import ChannelRecord


@dataclass(frozen=True, slots=True)
class Judged:
    """Noise and level of a channel compared, what decides by rate, noise or level, and every aspect.

    ``shared`` are the aspects in which it changed as every other output did, with what was withdrawn for it.
    """

    noise: Change
    level: Change
    led: tuple[Aspect, str]
    aspects: tuple[AspectChange, ...]
    shared: tuple[tuple[Aspect, str], ...] = ()


def off_by_both(one: ChannelRecord, two: ChannelRecord, case: Case | None) -> OffBy:
    """How far a reading of either side may be off, both together."""

    def both(before_V: float, after_V: float) -> float:
        return off_by_V(one, before_V, case) + off_by_V(two, after_V, case)

    return both


def judged_aspects(
    here: Sequence[tuple[tuple[int, str, ChannelRecord, ChannelRecord], Weighed]],
    sides: tuple[Assessment, Assessment],
    names: tuple[str, str],
    limits: Limits,
    unlike: Mapping[str, Sequence[str]],
    case: Case | None,
    control: str | None,
) -> dict[str, Judged]:
    """Compare every aspect of every channel; what the untouched one, or every other one, shows too is withdrawn."""
    out: dict[str, Judged] = {}
    for (_, name, one, two), item in here:
        off_by, unalike = off_by_both(one, two, case), unlike[name]
        before, after = (side.channel(name) for side in sides)
        noise, level = noise_change(one, two, limits, off_by), level_change(one, two, limits, off_by)
        stood_V = [part.finding("settled offset").effect if stands(part) else None for part in (before, after)]
        level = ending_at(level, *stood_V)
        if unalike:
            noise, level = (unlike_change(found, unalike) for found in (noise, level))
        led = (item.leads, item.outcome)
        # What the complaint was about is read from the side before alone, so that it cannot follow the answer.
        if before.finding("intermittent").answer != YES and item.before.episodes == 0 and item.outcome != WORSE:
            if before.finding("noise").answer == YES:
                led = (Aspect.NOISE_FLOOR, _answer(noise, item.family, limits))
            elif before.finding("settled offset").answer == YES:
                led = (Aspect.SETTLED_LEVEL, _answer(level, item.family, limits))
        if stands(after) and not stands(before):
            led = (Aspect.SETTLED_LEVEL, WORSE)
        if item.barred or (unalike and led[0] == Aspect.SETTLED_LEVEL):
            led = (led[0], NO_CHANGE)
        barred = unalike[0] if unalike else "not comparable" if item.barred else ""
        found = aspects_of((before, after), item, (noise, level), led, limits, off_by, names, barred)
        out[name] = Judged(noise, level, led, found)
    same = _told(out[control].aspects) if control is not None else frozenset()
    alike = shared_by_all({name: judged.aspects for name, judged in out.items() if name != control}, limits)
    for name, judged in out.items():
        if name == control:
            continue
        mine = _told(judged.aspects) & alike.get(name, frozenset())
        better = {what for what in mine if what[1] == IMPROVED}  # what got worse is told of the channel as well: in doubt no cure
        led = (judged.led[0], NO_CHANGE) if judged.led in better else judged.led
        aspects = withdrawn(withdrawn(judged.aspects, same, UNTOUCHED), better, ALL_ALIKE)
        out[name] = replace(judged, led=led, aspects=aspects, shared=tuple(sorted(mine)))
    return out


def _told(found: Sequence[AspectChange]) -> frozenset[tuple[Aspect, str]]:
    return frozenset((item.aspect, item.outcome) for item in found if item.outcome != NO_CHANGE)


def _answer(change: Change, family: int, limits: Limits) -> str:
    shown = change.p_value is None or change.p_value * family <= 1.0 - limits.confidence
    return {"less": IMPROVED, "more": WORSE}.get(change.answer, NO_CHANGE) if shown else NO_CHANGE


def told_of_all(judged: Mapping[str, Judged]) -> list[str]:
    """Say what all outputs showed alike, an aspect a sentence."""
    found: dict[tuple[Aspect, str], list[str]] = {}
    for name, item in judged.items():
        for what in item.shared:
            found.setdefault(what, []).append(name)
    return [
        f"The {aspect} {'fell' if outcome == IMPROVED else 'rose'} in every channel alike: for {', '.join(names)} it shows no change by "
        f"itself. {SHARED_FELL if outcome == IMPROVED else SHARED_ROSE}"
        for (aspect, outcome), names in found.items()
    ]
