"""Extrapolated trip by swings that grow: when does the first reach the relay's threshold? Only where growth is shown."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

import numpy as np

from flicker.base.arrays import Floats
from flicker.base.formats import hours_text, volts_text
from flicker.base.limits import Limits
from flicker.base.result import Doc, Result
from flicker.base.units import HOUR
from flicker.evidence.findings import YES, Finding
from flicker.evidence.record.channel_record import ChannelRecord
from flicker.stats import power_ups

if TYPE_CHECKING:
    from flicker.stats.power_ups import SizesAhead

SOON_SHARE = 0.02  # of the hours watched: an earliest moment under that is none; a choice


@dataclass(frozen=True, slots=True)
class SwingsAhead(Result):
    """Observed hours, from the end of the log, until the first swing at or beyond the relay's threshold."""

    earliest_h: Annotated[float | None, Doc("Not before; null where not within the hours watched.", ge=0)]
    middle_h: Annotated[float | None, Doc("As likely passed as not, if the growth goes on; null where beyond the hours watched.", ge=0)]
    watched_h: Annotated[float, Doc("Hours watched, beyond which nothing is said.", gt=0)]
    size_V: Annotated[float, Doc("Typical swing at the end of the log, volts.", gt=0)]
    threshold_V: Annotated[float, Doc("Assumed threshold of the relay, volts.", gt=0)]
    bursts: Annotated[int, Doc("Bursts used.", ge=0)]
    rests_on: Annotated[str, Doc("The finding that shows the growth.", values=("larger", "larger with age"))]
    method: Annotated[str, Doc("Method in words.")]
    reads: Annotated[str, Doc("In words.")]


@dataclass(frozen=True, slots=True)
class GrowingSwings:
    """Largest swing of each burst that the forecast rests on, its time in observed hours, and the hours watched."""

    size_V: Floats
    at_h: Floats
    watched_h: float
    rests_on: str
    ahead: SizesAhead | None


def growing_swings(record: ChannelRecord, findings: Sequence[Finding], limits: Limits) -> GrowingSwings | None:
    """Swings of a channel that are shown to grow, with the line through them; None for others, or where one has reached the threshold."""
    yes = {item.question for item in findings if item.answer == YES}
    if "larger with age" in yes:
        rests_on, places = "larger with age", list(range(len(record.traces)))
    elif "larger" in yes and record.cycles < 3:  # alike in three power-ups and more it is heat, and starts anew
        rests_on = "larger"
        places = max(record.power_ups, key=lambda runs: sum(record.traces[place].observed_s for place in runs))
    else:
        return None
    size, when, clock = record.own_sizes(places)
    if size.size == 0 or clock <= 0 or float(size.max()) >= limits.protection_V:
        return None
    from flicker.stats.power_ups.sizes import APART_S  # bursts as they are where the growth was shown

    order = np.argsort(when, kind="stable")
    size, when = size[order], np.minimum(when[order], clock)
    begins = np.flatnonzero(np.concatenate(([True], np.diff(when) > max(record.dead_time_s, APART_S))))
    largest, at_h = np.maximum.reduceat(size, begins), when[begins] / HOUR
    found = power_ups.sizes_ahead(largest, at_h, clock / HOUR, limits.protection_V, confidence=limits.confidence)
    return GrowingSwings(size_V=largest, at_h=at_h, watched_h=clock / HOUR, rests_on=rests_on, ahead=found)


def swings_ahead(record: ChannelRecord, findings: Sequence[Finding], limits: Limits) -> SwingsAhead | None:
    """Forecast of a channel whose swings are shown to grow; None for others, or where one has reached the threshold."""
    swings = growing_swings(record, findings, limits)
    if swings is None or swings.ahead is None:
        return None
    found = swings.ahead
    volts, seen = volts_text(limits.protection_V), hours_text(found.horizon)
    likely = f", as likely as not within {hours_text(found.middle)} if it goes on like that" if math.isfinite(found.middle) else ""
    if not math.isfinite(found.earliest):
        text = f"No swing of {volts} within the next {seen} at this pace; a log of {seen} cannot tell farther ahead."
    elif found.earliest < SOON_SHARE * found.horizon:
        text = f"A swing of {volts} may come at any moment{likely}."
    else:
        text = f"A swing of {volts}: not before {hours_text(found.earliest)} more{likely or ', at this pace'}."
    return SwingsAhead(
        earliest_h=found.earliest if math.isfinite(found.earliest) else None,
        middle_h=found.middle if math.isfinite(found.middle) else None,
        watched_h=found.horizon, size_V=found.size_now, threshold_V=limits.protection_V, bursts=found.count,
        rests_on=swings.rests_on, method=found.method, reads=text,
    )  # fmt: skip
