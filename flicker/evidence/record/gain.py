"""Does everything of a later log read as so many times what it was, rests and noise of every output alike?

A gain set anew, a probe at ten to one or another unit makes rests, noise and swings smaller alike. A repair changes one
output, and hardly its rest and its noise by the same factor. Records in, that factor out.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from flicker.evidence.record.channel_record import ChannelRecord

LEAST_GAIN = 1.5  # a smaller factor explains no change that is claimed (`worsening.SIZE_FACTOR`); common practice, no source
FEWEST_ALIKE = 3  # rests, noises and last digits that changed by one factor: two may agree by chance; a choice
OFF = 0.1  # of a power of ten, some 25 %: what a rest moves by itself, and what a coarse digit hides of the noise; a choice
SEEN_DIGITS = 3.0  # a rest nearer to zero than so many last digits has no factor to tell; a choice


class Typical(NamedTuple):
    """Settled level, noise floor and last digit of a record."""

    level_V: float
    sigma_V: float
    digit_V: float


def typical(record: ChannelRecord) -> Typical | None:
    """The middle level and noise of the power-ups of a record, and their coarsest digit; None where no level settled."""
    seen = [(level_V, trace) for trace in record.traces if (level_V := trace.level_V) is not None]
    if not seen:
        return None
    level_V = float(np.median([level_V for level_V, _ in seen]))
    sigma_V = float(np.median([trace.sigma_V for _, trace in seen]))
    return Typical(level_V, sigma_V, max(trace.resolution_V for _, trace in seen))


def gain_between(pairs: Sequence[tuple[ChannelRecord, ChannelRecord]]) -> float | None:
    """By how much all of the second records is larger than the first, channel by channel alike; None where it is not so."""
    rests, others = [], []
    for pair in pairs:
        one, two = (typical(record) for record in pair)
        if one is None or two is None or min(one.sigma_V, two.sigma_V) <= 0.0:
            return None
        others.append(two.sigma_V / one.sigma_V)
        if min(one.digit_V, two.digit_V) > 0 and one.digit_V != two.digit_V:
            others.append(two.digit_V / one.digit_V)
        if all(abs(side.level_V) > SEEN_DIGITS * side.digit_V for side in (one, two)):
            rests.append(two.level_V / one.level_V)
    if not rests or min(rests) <= 0.0 or len(rests) + len(others) < FEWEST_ALIKE:
        return None
    gain = float(np.median(rests))
    alike = all(abs(math.log10(factor / gain)) <= OFF for factor in (*rests, *others))
    return gain if alike and max(gain, 1.0 / gain) >= LEAST_GAIN else None


def gain_changes(visits: Sequence[Sequence[ChannelRecord]]) -> float | None:
    """The first such factor between neighbours of some visits; None where there is none."""
    for one, two in itertools.pairwise(visits):
        later = {record.channel: record for record in two}
        found = gain_between([(record, later[record.channel]) for record in one if record.channel in later])
        if found is not None:
            return found
    return None
