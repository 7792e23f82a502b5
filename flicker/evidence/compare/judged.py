"""Every channel of a step by every aspect: what decided, and what other channels show too, told apart from the claims about one channel.

Two outputs that swing in the same second tell of mains, ground, supply, the room or the logger. That such swings are gone
shows no repair of either channel: a fridge that was unplugged looks the same. So does a noise floor that fell in all of them.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Annotated

import numpy as np

from flicker.base.formats import seen_text
from flicker.base.limits import Limits
from flicker.base.result import Doc, Result
from flicker.base.values import Aspect
from flicker.case.model import Case
from flicker.evidence.assessment import Assessment
from flicker.evidence.compare.aspects import UNTOUCHED, AspectChange, Row, aspects_of, stands, withdrawn
from flicker.evidence.compare.condition_change import Change, ending_at, level_change, noise_change, unlike_change
from flicker.evidence.compare.weighing import IMPROVED, NO_CHANGE, WORSE, Note, NoteKind, Weighed
from flicker.evidence.findings import YES
from flicker.evidence.record.channel_record import ChannelRecord
from flicker.signals.coincidence import BEYOND_CHANCE

UNEQUAL = 2.0  # how unequally mains, room and meter reach the outputs of one unit; a choice, tried in `study_aspects.py`
ALL_ALIKE = "every output changed alike, by what they share"
# what to do about swings that came at once, and about all else that every channel shows
SHARED_FELL = (
    "Look at what the channels share first, supply and ground as well as another machine on the same mains, a dimmer, the room, "
    "the meter: take that away or bring it back, and log again, before a repair is credited."
)
SHARED_ROSE = "Look at what the channels share (supply, ground, mains, room, the meter) before any channel."


@dataclass(frozen=True, slots=True)
class SharedChange(Result):
    """Swings that several outputs showed at once, after against before."""

    outcome: Annotated[str, Doc("Of what the outputs share.", values=("improved", "no change shown", "worse"))]
    channels: Annotated[tuple[str, ...], Doc("Outputs that swing together beyond chance.")]
    before_episodes: Annotated[int, Doc("Shared episodes before, of the channel that has most.", ge=0)]
    before_s: Annotated[float, Doc("Observed seconds before.", ge=0)]
    after_episodes: Annotated[int, Doc("Shared episodes after.", ge=0)]
    after_s: Annotated[float, Doc("Observed seconds after.", ge=0)]
    p_improved: Annotated[float, Doc("One-sided, corrected with the channels.", ge=0, le=1)]
    p_worse: Annotated[float, Doc("One-sided, corrected with the channels.", ge=0, le=1)]
    reads: Annotated[str, Doc("In words.")]


def sharing(judged: Sequence[Assessment]) -> frozenset[str]:
    """Outputs of which two swing together beyond chance in one of the assessments, with episodes that are shared."""
    out = set[str]()
    for one in judged:
        marked = {record.channel for record in one.records if record.episodes.shared.any()}
        for pair in one.coincidence.pairs if one.coincidence is not None else ():
            if pair.answer in BEYOND_CHANCE:
                out |= {pair.a, pair.b} & marked
    return frozenset(out)


def most_shared(sides: tuple[Assessment, Assessment], channels: frozenset[str]) -> tuple[ChannelRecord, ChannelRecord]:
    """Records of the channel with most shared episodes over both sides."""
    one, two = ({record.channel: record for record in side.records} for side in sides)
    names = [name for name in one if name in two and name in channels]
    best = max(names, key=lambda name: int(one[name].episodes.shared.sum() + two[name].episodes.shared.sum()))
    return one[best], two[best]


def with_shared(item: Weighed, records: Sequence[ChannelRecord]) -> Weighed:
    """Say of a channel how many of its swings are not weighed as its own; ``records`` are its before and after."""
    one, two = (int(np.count_nonzero(part.episodes.shared & ~part.episodes.common)) for part in records)
    told = [
        f"{shared} of {part.own_episodes} episodes {when}"
        for shared, part, when in zip((one, two), records, ("before", "after"), strict=True)
        if shared
    ]
    if not told:
        return item
    text = (
        f"{' and '.join(told)} came in other channels at once; they tell of what the channels share, and the outcome rests on "
        "the channel's own"
    )
    return replace(item, shared=(one, two), notes=(*item.notes, Note(NoteKind.SHARED, text)))


# what is said of swings that came at once, by what became of them
SHARED_SAID = {
    IMPROVED: f"they became rarer. {SHARED_FELL}",
    WORSE: f"they became more frequent. {SHARED_ROSE}",
    NO_CHANGE: "no change shown. They tell of what the channels share, and of no channel by itself.",
}


def shared_change(item: Weighed, channels: frozenset[str], names: tuple[str, str]) -> SharedChange:
    """Say what became of them."""
    before, after = item.before, item.after
    seen = [
        f"{seen_text(part.episodes, part.observed_s, 'never')} ({name})"
        for part, name in zip((before, after), names, strict=True)
    ]
    who = sorted(channels)
    return SharedChange(
        outcome=item.outcome,
        channels=tuple(who),
        before_episodes=before.episodes,
        before_s=before.observed_s,
        after_episodes=after.episodes,
        after_s=after.observed_s,
        p_improved=item.p_improved,
        p_worse=item.p_worse,
        reads=f"Swings that came in several channels at once ({', '.join(who)}): {seen[0]}, {seen[1]}: {SHARED_SAID[item.outcome]}",
    )


def common_part(changes: Sequence[float | None], mine: int, unequal: float = 1.0) -> float:
    """As much of a change as every other output may show as well; 0 where one of them shows none in its direction.

    What comes from outside reaches the outputs unequally: this one up to ``unequal`` times as much as the one that shows least.
    """
    own, others = changes[mine], [change for k, change in enumerate(changes) if k != mine]
    if own is None or not others or any(change is None or change * own <= 0 for change in others):
        return 0.0
    least = min(abs(change) for change in others if change is not None)
    return math.copysign(min(unequal * least, abs(own)), own)


def shared_by_all(
    found: Mapping[str, Sequence[AspectChange]], limits: Limits
) -> dict[str, frozenset[tuple[Aspect, str]]]:
    """Changes of noise, movement and level that are no channel's own: without what all outputs show they stay within the limit.

    Parameters
    ----------
    found : mapping of str to sequence of AspectChange
        Every aspect of each output that may have been repaired.
    limits : Limits
        Limits in use.

    Notes
    -----
    Noise of separate sources adds by its squares, movement and level by their volts.
    """
    out: dict[str, frozenset[tuple[Aspect, str]]] = {name: frozenset() for name in found}
    for aspect, limit, power in (
        (Aspect.NOISE_FLOOR, limits.noise_V, 2),
        (Aspect.MOVEMENT, limits.drift_V, 1),
        (Aspect.SETTLED_LEVEL, limits.settled_offset_V, 1),
    ):
        rows = [next((item for item in items if item.aspect == aspect), None) for items in found.values()]
        sizes = [None if row is None or row.before is None or row.after is None else (row.before**power, row.after**power) for row in rows]
        changes = [None if size is None else size[1] - size[0] for size in sizes]
        for k, (name, row) in enumerate(zip(found, rows, strict=True)):
            size, part = sizes[k], common_part(changes, k, UNEQUAL**power)
            if row is None or size is None or not part:
                continue
            own = size[0] + part if row.outcome == IMPROVED else size[1] - part
            if abs(own) <= limit**power:
                out[name] |= {(aspect, row.outcome)}
    return out


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


def judged_aspects(
    here: Sequence[tuple[Row, Weighed]], names: tuple[str, str], limits: Limits, case: Case | None, control: str | None
) -> dict[str, Judged]:
    """Compare every aspect of every channel; what the untouched one, or every other one, shows too is withdrawn."""
    out: dict[str, Judged] = {}
    for row, item in here:
        off_by, (before, after) = row.off_by(case), row.parts
        noise = noise_change(*row.records, limits, off_by, paced=item.paced)
        stood_V = [part.finding("settled offset").effect if stands(part) else None for part in row.parts]
        level = ending_at(level_change(*row.records, limits, off_by), *stood_V)
        if row.barred:
            noise, level = (unlike_change(found, row.barred) for found in (noise, level))
        led = (item.leads, item.outcome)
        # What the complaint was about is read from the side before alone, so that it cannot follow the answer.
        if before.finding("intermittent").answer != YES and item.before.episodes == 0 and item.outcome != WORSE:
            if before.finding("noise").answer == YES:
                led = (Aspect.NOISE_FLOOR, _answer(noise, item.family, limits))
            elif before.finding("settled offset").answer == YES:
                led = (Aspect.SETTLED_LEVEL, _answer(level, item.family, limits))
        if stands(after) and not stands(before):
            led = (Aspect.SETTLED_LEVEL, WORSE)
        if item.barred or (row.barred and led[0] == Aspect.SETTLED_LEVEL):
            led = (led[0], NO_CHANGE)
        found = aspects_of(row, item, (noise, level), led, limits, off_by, names)
        out[row.channel] = Judged(noise, level, led, found)
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
