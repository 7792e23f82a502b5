"""Arrival times of one run or of several, checked once and kept flat, so that every test pools runs in the same way."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from flicker.base import check
from flicker.base.arrays import Floats, Ints
from flicker.base.formats import p_said
from flicker.base.result import Tested
from flicker.stats.laws.count_tails import p_value

Alternative = Literal["two-sided", "increasing", "decreasing", "greater", "less"]
EndedBy = Literal["time", "event"]
Times = ArrayLike | Sequence[ArrayLike]
Ends = float | ArrayLike | None

ALTERNATIVES = ("two-sided", "increasing", "decreasing", "greater", "less")


class Runs(NamedTuple):
    """All events of all runs in one flat array; ``run`` says which run an event belongs to."""

    times: Floats
    run: Ints
    ends: Floats
    counts: Ints

    @property
    def end_of_event(self) -> Floats:
        """The end of the run each event belongs to."""
        return np.asarray(self.ends[self.run])

    def gaps(self) -> Floats:
        """Gap before each event: from the event before it in its run, or from the run's start."""
        gaps = np.diff(self.times, prepend=0.0)
        return np.where(self.place() == 0, self.times, gaps)

    def place(self) -> Ints:
        """Place of each event in its run: 0, 1, 2, ..."""
        starts = np.concatenate(([0], np.cumsum(self.counts)[:-1]))
        return np.asarray(np.arange(self.times.size) - starts[self.run])

    def telling(self, ended_by: str, *, least: int = 1) -> Runs:
        """The events whose times tell of a trend: all, or where a run ended by an event all but that last one.

        Raises
        ------
        ValueError
            If fewer than ``least`` are left.
        """
        if ended_by == "time":
            return self
        keep = self.place() < self.counts[self.run] - 1
        if np.count_nonzero(keep) < least:
            raise ValueError(f"times must hold {least} or more beside the last of each run when ended_by='event', got {np.count_nonzero(keep)}")
        return Runs(self.times[keep], self.run[keep], self.ends, np.maximum(self.counts - 1, 0))


@dataclass(frozen=True, slots=True, kw_only=True)
class OverRuns(Tested):
    """Base of the tests whether episodes come more often over one run or several."""

    count: int
    runs: int
    alternative: str


def split(times: Times) -> list[Any]:
    """Return ``times`` as a list of runs, one item per run."""
    if isinstance(times, np.ndarray):
        if times.ndim == 1 and times.dtype != object:
            return [times]
        return list(times)
    if isinstance(times, (str, bytes)) or not hasattr(times, "__len__"):
        raise ValueError(f"times must be an array of times or a list of such arrays (one per run), got {times!r}")
    items = list(times)  # type: ignore[arg-type]
    if not items:
        raise ValueError("times must hold at least one time, got an empty sequence")
    nested = [np.ndim(item) > 0 for item in items]
    if all(nested):
        return items
    if any(nested):
        raise ValueError("times must be either numbers (one run) or arrays (several runs), got a mixture of both")
    return [times]


def pooled(
    times: Times,
    end: Ends,
    *,
    ended_by: str = "time",
    least: int = 1,
    above_zero: bool = False,
    name_of_end: str = "end",
) -> Runs:
    """Check arrival times and run lengths and return them flat.

    Raises
    ------
    ValueError
        If times are unsorted, not finite, outside their run, or fewer than ``least`` in all; if ``end`` does not fit.
    """
    check.one_of("ended_by", ended_by, ("time", "event"))
    items = split(times)
    names = ["times"] if len(items) == 1 else [f"times[{i}]" for i in range(len(items))]
    arrays = [check.finite_array(name, item, least=0) for name, item in zip(names, items, strict=True)]
    ends = _ends(end, arrays, ended_by, name_of_end)
    for name, array, last in zip(names, arrays, ends, strict=True):
        check.rising(name, array)
        check.inside(name, array, 0.0, last)
        if above_zero and array.size and array[0] == 0:
            raise ValueError(f"{name} must lie above 0 here (the logarithm of time is used), got 0.0")
    counts = np.array([a.size for a in arrays], dtype=np.int64)
    if counts.sum() < least:
        raise ValueError(f"times must hold {least} or more times over all runs, got {int(counts.sum())}")
    return Runs(np.concatenate(arrays), np.repeat(np.arange(counts.size), counts), ends, counts)


def _ends(end: Ends, arrays: list[Floats], ended_by: str, name: str) -> Floats:
    """The end of each run, checked; that of a run ended by an event is its last event."""
    if ended_by == "event":
        if any(a.size == 0 for a in arrays):
            raise ValueError("times must hold an event in each run when ended_by='event', got a run without one")
        last = np.array([a[-1] for a in arrays])
        if end is None:
            end = last
        elif np.shape(end) in ((), (len(arrays),)) and not np.allclose(
            np.broadcast_to(np.asarray(end, dtype=float), last.shape), last, rtol=1e-9, atol=0
        ):
            raise ValueError(f"{name} must be the time of the last event when ended_by='event', got {end!r} (or None)")
    if end is None:
        raise ValueError(
            f"{name} must be given when ended_by='time': the observed length of each run, above 0, got None"
        )
    given = end if isinstance(end, str) else np.atleast_1d(np.asarray(end, dtype=object)).tolist()
    ends = check.positive_array(name, given, least=1)
    return check.paired(name, np.repeat(ends, len(arrays)) if ends.size == 1 else ends, len(arrays), each="run")


def side(alternative: str) -> str:
    """Map 'greater' and 'less' (positive and negative z) to 'increasing' and 'decreasing'."""
    check.one_of("alternative", alternative, ALTERNATIVES)
    return {"greater": "increasing", "less": "decreasing"}.get(alternative, alternative)


def simulated_p(observed: float, simulated: Floats, alternative: str) -> float:
    """Monte Carlo p-value with the observed value counted among the simulated ones; ties count against the claim."""
    slack = 1e-9 * max(1.0, abs(observed))  # equal sums of the same gaps in another order differ in the last bits
    m = simulated.size + 1
    upper = (1 + int(np.count_nonzero(simulated >= observed - slack))) / m
    lower = (1 + int(np.count_nonzero(simulated <= observed + slack))) / m
    return p_value(lower, upper, alternative)


def trend_words(increasing: bool, shown: bool, p: float, alternative: str) -> str:
    """One sentence on a trend for a customer."""
    if shown:
        return f"The episodes come {'more' if increasing else 'less'} often as time goes on ({p_said(p)})."
    asked = {"increasing": "more often", "decreasing": "less often"}.get(alternative, "more or less often")
    return f"It is not shown that the episodes come {asked} as time goes on ({p_said(p)})."
