"""A difference that the meters may have made is no finding: below both accuracies, or the sign just reversed."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flicker.evidence.record.channel_record import ChannelRecord

if TYPE_CHECKING:
    from flicker.case.model import Case

SAME_SIZE = 0.8  # a level whose sign just turned at this share of its size or more: swapped leads; chosen, not measured
REVERSED = "not shown: meter or leads; the sign is just reversed at the same size"
BELOW = "not shown: meter or leads; less than the accuracy of both readings"


def off_by_V(record: ChannelRecord, level_V: float, case: Case | None) -> float:
    """How far a level of a record may be off, by the worst of the meters used; 0 where no accuracy is recorded."""
    if case is None:
        return 0.0
    found = [case.off_by_V(record.channel, level_V, source) for source in {run.source for run in record.runs}]
    return max((value for value in found if value is not None), default=0.0)


def meter_or_leads(before_V: float, after_V: float, off_V: float) -> str:
    """Why a difference of two levels is none of the unit's; empty where it may be.

    Parameters
    ----------
    before_V, after_V : float
        The two readings.
    off_V : float
        How far both may be off together: the sum of the two accuracies.

    Notes
    -----
    Two errors may point away from each other, so a true level without any change can show a difference of their sum.
    Leads the wrong way round turn the sign and keep the size, but for that sum; a repair that leaves the level within a
    fifth of its size on the other side of zero is far rarer (common practice, no source).
    """
    if before_V * after_V < 0:
        small, large = sorted((abs(before_V), abs(after_V)))
        if small >= SAME_SIZE * large or large - small <= off_V < small:
            return REVERSED
    return BELOW if abs(after_V - before_V) <= off_V else ""
