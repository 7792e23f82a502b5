"""What a log is: sources of samples, stretches without a long pause, gaps, and the way through them.

A `Log` never holds its samples as a table; it holds a `Source`, which hands them out in batches as often as asked.
A log in memory is a stream with one batch. `Log.sweep` walks through the pieces between gaps, in one pass, and on the
way finds the stretches. Values are volts; NaN is a missing reading, +/-inf a reading over range with its sign.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Annotated, Any

import numpy as np
from numpy.typing import ArrayLike

from flicker.base.arrays import Floats
from flicker.base.progress import tell
from flicker.base.result import Doc
from flicker.base.values import Unobserved
from flicker.logs.clock_repairs import Repairs
from flicker.logs.errors import LogError, too_few
from flicker.logs.moments import seconds_of
from flicker.logs.sampling import RUN_GAP_S, Timekeeper
from flicker.logs.source import ArraySource, Batch, Companion, Source

__all__ = ["ArraySource", "Batch", "Companion", "Floats", "Gap", "Log", "LogError", "Piece", "Run", "Source"]


@dataclass(frozen=True, slots=True)
class Gap:
    """A stretch that was not observed, seconds since the run's first sample, with the reason."""

    start_s: Annotated[float, Doc("Begin, seconds since the run's first sample.")]
    end_s: Annotated[float, Doc("End, seconds since the run's first sample.")]
    reason: Annotated[Unobserved, Doc("Why nothing was observed.")] = Unobserved.NO_SAMPLES
    channel: Annotated[str | None, Doc("Channel concerned; null for all.")] = None

    def to_dict(self) -> dict[str, Any]:
        """Return the gap as plain values."""
        return {"start_s": self.start_s, "end_s": self.end_s, "reason": str(self.reason), "channel": self.channel}


@dataclass(frozen=True, slots=True)
class Run:
    """A stretch of a log without a long pause: rows ``first`` to ``last`` (half open) of its source.

    ``offset_s`` is the time of its first sample on the source's (repaired) clock; ``start`` the absolute time of that
    sample where the file tells it. ``pace_changes`` holds from when on (on the clock of its stretch) which interval is the
    usual one; it is empty where that never changes. ``averaged`` names channels that are averages whose extremes the file
    holds, too, or one extreme read without the other. ``back_s`` is by how much the file's clock went back where its runs begin, up to this one:
    ``offset_s`` goes on as if it had not, ``start`` is the stamp in the file.
    """

    source: Annotated[str, Doc("Name of the file.")]
    start: Annotated[
        datetime | None, Doc("Absolute time of the first sample, ISO 8601; null where the file does not tell.")
    ]
    first: int
    last: int
    offset_s: float
    duration_s: Annotated[float, Doc("Seconds from first to last sample.", ge=0)]
    sample_interval_s: Annotated[float, Doc("Middle interval between samples, seconds.", ge=0)]
    gaps: Annotated[tuple[Gap, ...], Doc("Pauses in the samples.")]
    notes: Annotated[tuple[str, ...], Doc("What was assumed or repaired while reading.")]
    paces: tuple[float, ...] = ()
    pace_changes: tuple[tuple[float, float], ...] = ()
    averaged: tuple[str, ...] = ()
    back_s: float = 0.0

    @property
    def paces_s(self) -> tuple[float, float]:
        """Shortest and longest usual interval between samples; alike unless the cadence changes within the run."""
        return min(self.paces, default=self.sample_interval_s), max(self.paces, default=self.sample_interval_s)

    def pause_after(self, before: Run) -> float | None:
        """Seconds without a row since an earlier run of the same file; None where its clock went back between them."""
        return None if self.back_s != before.back_s else self.offset_s - before.offset_s - before.duration_s

    @property
    def samples(self) -> int:
        """Number of rows."""
        return self.last - self.first

    @property
    def observed_s(self) -> float:
        """Seconds covered by samples: the duration (each sample stands for one interval) less the gaps."""
        covered = self.duration_s + self.sample_interval_s - sum(gap.end_s - gap.start_s for gap in self.gaps)
        return max(covered, 0.0)

    def to_dict(self) -> dict[str, Any]:
        """Return the run as plain values."""
        return {
            "source": self.source,
            "start": self.start.isoformat() if self.start else None,
            "duration_s": self.duration_s,
            "observed_s": self.observed_s,
            "sample_interval_s": self.sample_interval_s,
            "gaps": [gap.to_dict() for gap in self.gaps],
            "notes": list(self.notes),
        }


@dataclass(frozen=True, slots=True)
class Piece:
    """Rows between two gaps (or part of them): ``time_s`` since the first sample of the run, volts per channel.

    ``offset_s`` is the time of the run's first sample on the log's clock, where the sweep tells it.
    """

    run: int
    first: int
    time_s: Floats
    values: tuple[Floats, ...]
    after_gap: bool
    offset_s: float = 0.0


class Log:
    """One log file, or arrays in memory.

    Attributes
    ----------
    source : Source
        Where the samples come from.
    channels : tuple of str
        Names of the channels, as read.
    path : Path or None
        The file it was read from.
    reader : str
        How it was asked to be read; logs of one file that differ here differ in content.
    companions : tuple of Companion
        Columns that are no outputs (rail, mains, temperature, shorted lead); they get no verdict.
    runs : tuple of Run
        Stretches without a pause longer than ``run_gap_s``; found during the first pass over the time column.
    """

    def __init__(
        self,
        source: Source,
        *,
        run_gap_s: float = RUN_GAP_S,
        path: Path | None = None,
        reader: str = "",
        companions: Sequence[Companion] = (),
    ) -> None:
        self.source = source
        self.companions = tuple(companions)
        self.path = path
        self.reader = reader
        self.channels = tuple(source.channels)
        self.run_gap_s = float(run_gap_s)
        self._runs: tuple[Run, ...] | None = None
        self._clock: Repairs | None = None

    def __repr__(self) -> str:
        return f"Log({self.source.name!r}, channels={list(self.channels)})"

    @property
    def runs(self) -> tuple[Run, ...]:
        """The stretches of the log; the first use walks over the time column once."""
        if self._runs is None:
            for _ in self.sweep(channels=()):
                pass
        assert self._runs is not None
        return self._runs

    @property
    def unread(self) -> int:
        """Rows of the file that could not be read; their time is not observed."""
        return int(getattr(self.source, "unread", None) or 0)

    @property
    def clock(self) -> Repairs:
        """What the first pass repaired of the clock."""
        assert self.runs is not None and self._clock is not None
        return self._clock

    def restore(self, runs: tuple[Run, ...], clock: Repairs) -> None:
        """Take over what an earlier first pass over the same file found."""
        self._runs, self._clock = runs, clock

    def sweep(self, channels: Sequence[int] | None = None) -> Iterator[Piece]:
        """Walk once through all samples in order, in pieces that never cross a gap or a run's border.

        After the last piece ``runs`` is known. How the pieces are cut inside a stretch depends on the batches of the
        source; whoever reduces them must not let it show.
        """
        keeper = Timekeeper(
            self.source.cadence_s,
            self.run_gap_s,
            reach_s=getattr(self.source, "reach_s", None),
            wall_s=getattr(self.source, "wall_s", None),
        )
        for batch in self.source.batches(channels=channels):
            assert batch.time_s is not None
            tell(batch.first + batch.time_s.size, self.source.rows)
            for cut in keeper.feed(batch.time_s, batch.run):
                yield Piece(
                    run=cut.run,
                    first=batch.first + cut.lo,
                    time_s=cut.time_s,
                    values=tuple(column[cut.lo : cut.hi] for column in batch.values),
                    after_gap=cut.after_gap,
                    offset_s=cut.offset_s,
                )
            if keeper.backward > 1000 and keeper.backward > 0.5 * keeper.rows:
                raise LogError(f"{self.source.name}: time goes backwards throughout; reverse the rows.")
        self._clock = keeper.clock
        self._runs = tuple(self._describe(keeper))

    def rows(self, run: int, first: int, last: int, channels: Sequence[int] | None = None) -> Iterator[Piece]:
        """Hand out rows ``first`` to ``last`` (half open, source numbering) of one run again, with repaired times."""
        clock = self.clock
        for batch in self.source.batches(first, last, channels=channels):
            assert batch.time_s is not None
            time_s = clock.repair(batch.time_s, batch.first)
            offset_s = self.runs[run].offset_s
            time_s = time_s - offset_s if offset_s else time_s
            yield Piece(run=run, first=batch.first, time_s=time_s, values=batch.values, after_gap=False)

    def _describe(self, keeper: Timekeeper) -> Iterator[Run]:
        """The stretches that the walk found, as runs."""
        for number, stretch in enumerate(keeper.stretches()):
            start = self.source.start
            if start is not None:
                start = start + timedelta(seconds=stretch.offset_s - stretch.back_s)
            yield Run(
                source=self.source.name,
                start=start,
                first=stretch.first,
                last=stretch.last,
                offset_s=stretch.offset_s,
                duration_s=stretch.duration_s,
                sample_interval_s=stretch.sample_interval_s,
                gaps=tuple(Gap(lo, hi) for lo, hi in stretch.gaps),
                notes=(*(self.source.notes if number == 0 else ()), *stretch.went_back(self.source.start), *stretch.notes),
                paces=tuple(stretch.paces_s),
                pace_changes=tuple(stretch.pace_changes),
                averaged=getattr(self.source, "averaged", ()),
                back_s=stretch.back_s,
            )

    def beside(self, companion: Companion) -> Log:
        """One of the columns that are no outputs as a log of its own."""
        return Log(companion.source, run_gap_s=self.run_gap_s)

    @classmethod
    def from_arrays(
        cls,
        time_s: ArrayLike,
        channels: Mapping[str, ArrayLike],
        *,
        start: datetime | None = None,
        name: str = "samples in memory",
        run_gap_s: float = RUN_GAP_S,
        roles: Mapping[str, str] | None = None,
        differences: Mapping[str, tuple[str, str]] | None = None,
    ) -> Log:
        """Make a log of arrays.

        Parameters
        ----------
        time_s : array_like, shape (n,)
            Seconds, of which the first need not be 0; or moments or durations (``datetime64``, ``timedelta64``, an index
            of pandas), which are converted by what they are.
        channels : mapping of str to array_like, shape (n,)
            Volts per channel; NaN is missing, +/-inf over range.
        start : datetime, optional
            Absolute time of the first sample; by default that of the first moment, where moments are given.
        roles, differences : mapping, optional
            As in `flicker.read_log`: which columns are no outputs, and which channels are the difference of two.

        Raises
        ------
        LogError
            If a role is none, if the lengths differ, if times cannot be seconds, or there are fewer than 10 samples.
        """
        if not isinstance(channels, Mapping):
            raise LogError(
                f"{name}: channels must be a mapping of names to arrays, got {type(channels).__name__}; a data frame or a"
                " series goes to flicker.read_log."
            )
        time, told_start = seconds_of(time_s, name)
        start = told_start if start is None else start
        values = {str(key): np.array(column, dtype=np.float64) for key, column in channels.items()}
        if time.ndim != 1 or any(column.shape != time.shape for column in values.values()):
            shapes = ", ".join(f"{key} {column.shape}" for key, column in values.items())
            raise LogError(f"{name}: time and channels must be arrays of one length, got time {time.shape}, {shapes}.")
        if time.size < 10:
            raise too_few(name, time.size)
        source = ArraySource(name, time, values, start)
        if not roles and not differences:
            return cls(source, run_gap_s=run_gap_s)
        from flicker.logs.mapped import split_by_roles
        from flicker.logs.roles import checked_roles

        told = dict(checked_roles(roles))
        missing = [column for column in told if column not in values]
        if missing:
            raise LogError(f"{name}: no column {missing[0]!r} (roles); it has {', '.join(values)}.")
        source.roles = tuple(told.get(column, "output") for column in values)
        outputs, companions = split_by_roles(source, differences)
        return cls(outputs, run_gap_s=run_gap_s, companions=companions)

    def to_frame(self, run: int | None = None) -> Any:
        """Return the samples as a pandas DataFrame (``run``, ``time_s``, one column per channel); for logs that fit."""
        import pandas as pd

        parts = []
        for piece in self.sweep():
            if run is None or piece.run == run:
                columns = {"run": piece.run, "time_s": piece.time_s}
                parts.append(pd.DataFrame(columns | dict(zip(self.channels, piece.values, strict=True))))
        return pd.concat(parts, ignore_index=True)
