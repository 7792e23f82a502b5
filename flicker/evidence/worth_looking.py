"""What is worth looking at: clues that the findings give, never a verdict. Common practice, no source, the whole table.

Values of findings decide, one row of `PLACES` a clue; each line names the finding it rests on.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import TYPE_CHECKING, Annotated, NamedTuple

import numpy as np

from flicker.base.formats import volts_text
from flicker.base.result import Doc, Result
from flicker.evidence.findings import YES, Finding
from flicker.evidence.record.channel_record import ChannelRecord
from flicker.logs.spans import elapsed, holds
from flicker.stats import power_ups

if TYPE_CHECKING:
    from flicker.evidence.located.power_up_history import PowerUpHistory
    from flicker.evidence.located.warmup import WarmupRate
    from flicker.evidence.questions.stimulus import StimulusReport

SOURCE = "common practice, no source"
INSIDE = (
    "The next step is inside the unit: mains voltage and charged capacitors can kill; unplug it, let the capacitors "
    "discharge and measure that they have, covers off only for those trained for it."
)
AGED = {"worse with age": "more often", "larger with age": "larger"}  # what grows from power-up to power-up
FEWEST_NOTES = 3  # hits below which a note before an episode is no pattern; common practice, no source
FEWEST_OPENINGS = 2  # zero at the speaker side: one may have been a hand on the lead; a choice


class Clue(StrEnum):
    """What was found that points somewhere."""

    TWO_LEVELS = "two levels"
    TEMPERATURE = "follows the temperature"
    WARMING = "while warming up"
    HOT = "the longer it is on"
    PROVOKED = "answers a stimulus"
    TOGETHER = "in all channels at once"
    ZERO = "zero at the speaker side"
    WITH_POWER_UPS = "grows with each power-up"
    NOTES = "follows notes"


class Place(NamedTuple):
    """Where a clue points, and whether that is inside the unit."""

    look: str
    inside: bool


PLACES: Mapping[Clue, Place] = {
    Clue.TWO_LEVELS: Place("the input pair (popcorn noise) and the trimmer of its offset (a worn track)", True),
    Clue.TEMPERATURE: Place("how well the input pair is matched and coupled in heat, and the bias", True),
    Clue.WARMING: Place(
        "a joint or contact that opens with heat: solder joints near hot parts, sockets, trimmers", True
    ),
    Clue.HOT: Place(
        "parts that fail hot: solder joints near hot parts, electrolytic capacitors, the output stage", True
    ),
    Clue.PROVOKED: Place("the joint, connector, relay or switch that was tapped, flexed, heated or cooled", True),
    Clue.TOGETHER: Place("what the channels share: supply, ground, mains, and the meter with its leads", False),
    Clue.ZERO: Place("the contacts of the output relay and the lead with its clips", False),
    Clue.WITH_POWER_UPS: Place("leakage that grows and capacitors that dry out", True),
    Clue.NOTES: Place("what the notes say was done: was it a tap? Mark it as a stimulus, and do it again", False),
}


@dataclass(frozen=True, slots=True)
class WorthLooking(Result):
    """A place worth looking at, and the finding that points there."""

    clue: Annotated[Clue, Doc("What kind of thing was found.")]
    found: Annotated[str, Doc("What was found, in words.")]
    rests_on: Annotated[str, Doc("The finding, or the key of the channel, that it rests on.")]
    look: Annotated[str, Doc("Where to look.")]
    inside: Annotated[bool, Doc("Whether that is inside the unit, where mains and capacitors can kill.")]
    source: Annotated[str, Doc("Where the advice comes from.", values=(SOURCE,))]

    @property
    def reads(self) -> str:
        """What was found, and where to look."""
        return f"{self.found}: {self.look}."


class Hints(NamedTuple):
    """What else was found of a channel, beside its findings.

    ``at_once``: its episodes came mostly in all channels at once. ``follows_temperature`` is told in words, empty where
    nothing does. ``speaker_side``: the leads sit behind the output relay.
    """

    at_once: bool
    follows_temperature: str
    warm_up: WarmupRate | None
    tried: StimulusReport | None
    history: PowerUpHistory | None
    speaker_side: bool


def worth_looking(
    record: ChannelRecord, findings: Sequence[Finding], seen: Hints, confidence: float
) -> tuple[WorthLooking, ...]:
    """Clues of one channel, in the order of the table; empty where nothing was found."""
    tried, history = seen.tried, seen.history
    yes = {item.question: item for item in findings if item.answer == YES}
    jumped, best = yes.get("jumps"), None
    if tried is not None and "provoked" in yes:
        best = next(item for item in tried.kinds if item.kind == tried.best)
    warms = "" if seen.warm_up is None else seen.warm_up.answer
    many, common = record.episodes.count, int(np.count_nonzero(record.episodes.common))
    openings = sum(int(trace.disconnected.shape[0]) for trace in record.traces)
    settling = [] if history is None else [item for item in (history.level, history.settling) if item.answer == YES]
    aged = [name for name in AGED if name in yes]
    hits, episodes = noted_before(record, 0.5 * (1.0 - confidence))
    # each clue, what it rests on, and what was found; nothing where it was not
    found = (
        (Clue.TWO_LEVELS, "jumps", jumped and f"jumps of about {volts_text(jumped.effect or 0.0)}"),
        (Clue.TEMPERATURE, "drift", seen.follows_temperature),
        (Clue.WARMING, "warm_up", warms == "fades" and "mostly soon after power-up"),
        (Clue.HOT, "warm_up", warms == "grows" and "more often the longer it is on"),
        (Clue.PROVOKED, "provoked", best and f"{best.answered} of {best.trials} answered ({best.kind})"),
        (Clue.TOGETHER, "coincidence", seen.at_once and f"{common or many} of {many} in all channels at once"),
        (
            Clue.ZERO,
            "gaps",
            seen.speaker_side and openings >= FEWEST_OPENINGS and f"zero {openings} times where it rests elsewhere",
        ),
        *((Clue.WITH_POWER_UPS, name, f"{AGED[name]} with each power-up") for name in aged[:1]),
        *((Clue.WITH_POWER_UPS, "power_up_history", item.reads.rstrip(".")) for item in settling[:1] if not aged),
        (Clue.NOTES, "excursions", hits and f"{hits} of {episodes} follow a note"),
    )
    return tuple(
        WorthLooking(
            clue=clue, found=str(said), rests_on=rests_on, look=PLACES[clue].look, inside=PLACES[clue].inside, source=SOURCE
        )
        for clue, rests_on, said in found
        if said
    )


def noted_before(record: ChannelRecord, level: float) -> tuple[int, int]:
    """Episodes that begin right after a note, and all; (0, 0) unless chance answers notes so often no more than ``level``.

    Each note is set against the windows on both sides of it (`flicker.stats.power_ups.provoked_test`).
    """
    if not any(trace.hands.notes_s for trace in record.traces):
        return 0, 0
    from flicker.evidence.questions.stimulus import window_for  # late: most logs come without a note

    window = window_for("note")
    events, notes, ends = [], [], []
    hits = episodes = 0
    for place, trace in enumerate(record.traces):
        mine = record.episodes.start_s[record.episodes.run == place]
        times = np.array([t for t in trace.hands.notes_s if holds(trace.observed, np.array([t]))[0]])
        episodes += mine.size
        if trace.observed_s <= 0:
            continue
        if times.size:
            before = np.searchsorted(times, mine, "right") - 1
            hits += int(np.count_nonzero((before >= 0) & (mine - times[np.maximum(before, 0)] <= window)))
        events.append(np.minimum(np.sort(elapsed(trace.observed, mine)), trace.observed_s))
        notes.append(np.minimum(np.unique(elapsed(trace.observed, times)), trace.observed_s))
        ends.append(trace.observed_s)
    if hits < FEWEST_NOTES:
        return 0, 0
    shown = power_ups.provoked_test(events, notes, window, ends).p_value <= level
    return (hits, episodes) if shown else (0, 0)


def looking_lines(rows: Sequence[WorthLooking]) -> list[str]:
    """Sentences of a page, the safety words last where a place lies inside; empty where there is nothing to say."""
    if not rows:
        return []
    return [*(row.reads for row in rows), *([INSIDE] if any(row.inside for row in rows) else [])]


def in_every_channel(rows: Sequence[tuple[WorthLooking, ...]]) -> list[tuple[WorthLooking, ...]]:
    """Jumps between levels in every one of several channels point to what they share, not to each one's input pair."""
    if len(rows) < 2 or not all(any(row.clue == Clue.TWO_LEVELS for row in mine) for mine in rows):
        return list(rows)
    place = PLACES[Clue.TOGETHER]
    return [
        tuple(
            replace(
                row, clue=Clue.TOGETHER, found=f"{row.found}, in every channel", look=place.look, inside=place.inside
            )
            if row.clue == Clue.TWO_LEVELS
            else row
            for row in mine
        )
        for mine in rows
    ]
