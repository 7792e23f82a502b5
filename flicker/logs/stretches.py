"""A run as the time column shows it: rows, times, gaps, and what was repaired in it, in words."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import NamedTuple

from flicker.base.arrays import Floats
from flicker.base.formats import digits_text, share_text

_NOTES_EACH = 3  # changes of clock and pace told in full; a choice


class Cut(NamedTuple):
    """Rows ``lo`` to ``hi`` (half open) of the batch just fed: one run, no gap inside; times since the run's start."""

    run: int
    lo: int
    hi: int
    time_s: Floats
    after_gap: bool
    offset_s: float = 0.0  # of the run on the source's clock


@dataclass(slots=True)
class Stretch:
    """A run as the time column shows it; ``gaps`` in seconds since its first sample, ``back_s`` as in `Run`."""

    first: int
    last: int
    offset_s: float
    back_s: float = 0.0
    back_from_s: float | None = None  # the stamp before its first, where that is earlier
    duration_s: float = 0.0
    sample_interval_s: float = 1.0
    gaps: list[tuple[float, float]] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    told: list[str] = field(default_factory=list)
    equal: int = 0
    early: int = 0
    early_by_s: float = 0.0
    uneven: int = 0
    gap_rows: list[int] = field(default_factory=list)
    paces: dict[float, int] = field(default_factory=dict)
    paces_s: list[float] = field(default_factory=list)
    pace_changes: list[tuple[float, float]] = field(default_factory=list)  # from when on, and the new usual step

    def went_back(self, start: datetime | None) -> list[str]:
        """How the file's clock went back here, by its stamps; ``start`` is the moment of the log's second 0."""
        if self.back_from_s is None:
            return []
        stamps_s = (self.back_from_s, self.offset_s - self.back_s)
        if start is None:
            before, after = (f"{digits_text(stamp_s, 6)} s" for stamp_s in stamps_s)
        else:
            before, after = (f"{start + timedelta(seconds=stamp_s):%Y-%m-%d %H:%M:%S}" for stamp_s in stamps_s)
        return [f"Time goes back from {before} to {after} here, so a new run begins; how long the pause was is not known."]

    def in_words(self, untimed: int) -> list[str]:
        """What was assumed or repaired; ``untimed`` samples have no time of their own."""
        notes = self.told[:_NOTES_EACH]
        if len(self.told) > _NOTES_EACH:
            notes.append(f"The clock or the pace changes {len(self.told) - _NOTES_EACH} times more.")
        samples = self.last - self.first
        if self.equal:
            equal = _count(self.equal, "time stamp equals", "time stamps equal")
            notes.append(f"{equal} the one before; all samples were kept.")
        if self.early:
            notes.append(
                f"{_count(self.early, 'time stamp is', 'time stamps are')} earlier than the one before, by up to"
                f" {digits_text(self.early_by_s, 3)} s; times were levelled."
            )
        if untimed:
            notes.append(
                f"{_count(untimed, 'sample has', 'samples have')} no time; the time of the one before was taken."
            )
        if self.uneven > 0.01 * samples:
            notes.append(
                f"Intervals are uneven: {share_text(self.uneven / samples)} of them differ by more than half from"
                f" {digits_text(self.sample_interval_s, 4)} s."
            )
        return notes


def _count(number: int, one: str, many: str) -> str:
    return f"{number} {one if number == 1 else many}"
