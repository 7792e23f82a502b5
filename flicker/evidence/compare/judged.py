"""Every channel of a step by every aspect: what decided by rate, noise or level, and what the untouched channel shows too."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from flicker.base.limits import Limits
from flicker.base.values import Aspect
from flicker.case.model import Case
from flicker.evidence.assessment import Assessment
from flicker.evidence.compare.aspects import AspectChange, aspects_of, not_by_itself
from flicker.evidence.compare.condition_change import Change, OffBy, level_change, noise_change, unlike_change
from flicker.evidence.compare.weighing import IMPROVED, NO_CHANGE, WORSE, Weighed
from flicker.evidence.findings import YES
from flicker.evidence.record.accuracy import off_by_V
from flicker.evidence.record.channel_record import ChannelRecord


@dataclass(frozen=True, slots=True)
class Judged:
    """Noise and level of a channel compared, what decides by rate, noise or level, and every aspect."""

    noise: Change
    level: Change
    led: tuple[Aspect, str]
    aspects: tuple[AspectChange, ...]


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
    unalike: Sequence[str],
    case: Case | None,
    control: str | None,
) -> dict[str, Judged]:
    """Compare every aspect of every channel; what the untouched one shows too is withdrawn from the others."""
    out = {}
    for (_, name, one, two), item in here:
        off_by = off_by_both(one, two, case)
        noise, level = noise_change(one, two, limits, off_by), level_change(one, two, limits, off_by)
        if unalike:
            noise, level = (unlike_change(found, unalike) for found in (noise, level))
        before, after = (side.channel(name) for side in sides)
        led = (item.leads, item.outcome)
        # What the complaint was about is read from the side before alone, so that it cannot follow the answer.
        if before.finding("intermittent").answer != YES and item.before.episodes == 0 and item.outcome != WORSE:
            if before.finding("noise").answer == YES:
                led = (Aspect.NOISE_FLOOR, _answer(noise, item.family, limits))
            elif before.finding("settled offset").answer == YES:
                led = (Aspect.SETTLED_LEVEL, _answer(level, item.family, limits))
        if item.barred:
            led = (led[0], NO_CHANGE)
        barred = unalike[0] if unalike else "not comparable" if item.barred else ""
        found = aspects_of((before, after), item, (noise, level), led, limits, off_by, names, barred)
        out[name] = Judged(noise, level, led, found)
    if control is not None:
        same = out[control].aspects
        out = {
            name: item if name == control else replace(item, aspects=not_by_itself(item.aspects, same))
            for name, item in out.items()
        }
    return out


def _answer(change: Change, family: int, limits: Limits) -> str:
    shown = change.p_value is None or change.p_value * family <= 1.0 - limits.confidence
    return {"less": IMPROVED, "more": WORSE}.get(change.answer, NO_CHANGE) if shown else NO_CHANGE
