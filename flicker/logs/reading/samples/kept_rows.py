"""Rows of a file as samples: seconds and volts in a spool, single times mended, copies and rows without a time left out."""

from __future__ import annotations

from collections import Counter
from functools import partial
from typing import Any

import numpy as np

from flicker.base.arrays import Bools, Floats, Ints
from flicker.base.formats import times_text
from flicker.logs.reading.planning.plan import How
from flicker.logs.reading.samples import row_times, whole
from flicker.logs.reading.samples.converter import Converter, Rows
from flicker.logs.reading.samples.entries import Words
from flicker.logs.reading.samples.long_format import rows_of
from flicker.logs.reading.samples.spool import FileHead, Spool, SpoolSource

_FAR_S = 60.0  # a stamp is far off from here on
_SAID = {  # of so many rows, in this order
    "placed": "{n} {rows} without a time; set between the neighbours.",
    "timeless": "Not read, and so not observed: {n} {rows} without a time.",
    "copied": "Read once: {n} {rows} written twice, the same to the letter.",
    "far off": "Single time stamps far off from their neighbours: {n}; set between them.",
}


class KeptRows:
    """Holds what must be carried from batch to batch: `take` all rows, then make the `source`.

    Where the newest row comes first, time is counted down as the rows come, and they are turned round at the end; not in
    a log that still grows (``growing``).
    """

    def __init__(self, name: str, convert: Converter, spool: Spool, *, marks_told: bool = False, growing: bool = False) -> None:
        self.name = name
        self.convert = convert
        self.spool = spool
        self.mended: Counter[str] = Counter()  # rows, by what became of them; see `_SAID`
        self._before: list[Floats] = []  # the last rows, where the clock tells the date
        self._readings = np.zeros(len(convert.plan.channels), dtype=bool)  # channels that hold some
        self._last: float | None = None
        self._steps = np.zeros(3, dtype=np.int64)  # back, none, forward
        self._words = Words(name, told=marks_told)
        self._turned: bool | None = False if growing else None

    def take(self, rows: Rows) -> None:
        """Take the next rows of the file."""
        if not rows.rows:
            return
        convert, plan = self.convert, self.convert.plan
        values = [convert.volts(rows, k) for k in range(len(plan.channels))]
        time = convert.time(rows, self.spool.rows)
        if self._turned is None:
            self._turned = convert.seconds.dated and row_times.newest_first(time)
        if self._turned:
            time = -time
        parts = [time, *values]
        if not self._readings.all():
            self._readings |= [not np.isnan(column).all() for column in values]
        run = convert.run(rows)
        if run is not None:
            parts.append(run)
        steps, kept = self._steps_of(time), np.ones(time.size, dtype=bool)
        if self._last is None or not float(steps.min()) > 0 or not float(steps.max()) <= _FAR_S:
            parts, kept = self._with_good_times(parts, steps)
        else:
            self._steps[2] += steps.size
        if plan.marks is not None:
            self._words.take(rows.column(plan.marks), kept, self.spool.rows)
        if not parts[0].size:
            return
        self._last = float(parts[0][-1])
        if convert.seconds.dated:
            joined = zip(self._before, parts, strict=True) if self._before else ((part,) for part in parts)
            self._before = [np.concatenate([part[-row_times.REACH :] for part in pair])[-row_times.REACH :] for pair in joined]
        self.spool.append(parts)

    def _with_good_times(self, parts: list[Floats], steps: Floats) -> tuple[list[Floats], Bools]:
        """Leave out rows without a time, mend single stamps, and count which way the clock goes; also which rows are kept."""
        kept = np.isfinite(parts[0])
        if not kept.all():
            filled, between = row_times.between(parts[0], kept, self._last)
            self.mended.update(placed=int(between.sum()), timeless=int((~kept & ~between).sum()))
            kept |= between
            parts = [part[kept] for part in (filled, *parts[1:])]
            steps = self._steps_of(parts[0])
        if self.convert.seconds.dated and np.any(steps < 0):
            again = row_times.copies(self._before or [part[:0] for part in parts], parts)
            self.mended["copied"] += int(again.sum())
            kept[kept] = ~again
            parts = [part[~again] for part in parts]
            steps = self._steps_of(parts[0])
        parts[0], steps = self._with_single_stamps_mended(parts[0], steps)
        self._steps += _ways(steps)
        return parts, kept

    def _steps_of(self, time: Floats) -> Floats:
        """Step to each stamp from the one before it."""
        before = time[:1] if self._last is None else self._last
        with np.errstate(invalid="ignore"):  # between two stamps that are no numbers
            return np.diff(time, prepend=before)

    def _with_single_stamps_mended(self, time: Floats, steps: Floats) -> tuple[Floats, Floats]:
        """Put single stamps that are far off, between two that follow each other, where they belong."""
        if steps.size < 4 or self.convert.plan.time.kind == "none":
            return time, steps
        usual = float(np.median(np.abs(steps)))
        before = time - steps
        far = np.abs(steps[:-1]) > max(_FAR_S, 10 * usual)
        across = time[1:] - before[:-1]
        bad = np.flatnonzero(far & (across >= 0) & (across <= 10 * usual))
        bad = bad[np.diff(bad, prepend=-2) > 1]
        if not bad.size:
            return time, steps
        self.mended["far off"] += int(bad.size)
        time = time.copy()
        time[bad] = (before[bad] + time[bad + 1]) / 2
        return time, self._steps_of(time)

    def _in_order(self) -> list[str]:
        """Bring rows in the order of their dates where the file has another; what was done, in words."""
        seconds, spool, rows = self.convert.seconds, self.spool, self.spool.rows
        begin = rows - 1 if self._turned else row_times.ring(spool) if self._steps[0] == 1 else None
        if begin is not None:
            way = -1 if self._turned else 1
            seconds.begin_earlier(-way * row_times.time_at(spool, begin))
            self.spool = row_times.from_row(spool, self.name, begin, way)
            self._words.begin_at(begin, way, rows)
            self._steps[:] = _ways(np.diff(self.spool.read(0, 0, rows)))
            if self._turned:
                return ["The newest row comes first in the file; it was read from the end."]
            return [f"The oldest row is row {begin + 1} of the file, whose end leads on to its beginning; it was read from there."]
        assert seconds.start is not None
        if (leap := row_times.clock_set(spool, seconds.start)) is not None:
            row, by_s = leap
            seconds.begin_earlier(-by_s)
            for lo, hi in spool.starts(row, rows):
                spool.write(0, lo, spool.read(0, lo, hi) - by_s)
            return [f"The clock was set at row {row + 1}: the rows before it, dated otherwise, were put before it, one interval apart."]
        return []

    def source(self, file: Any, how: How, *, few: bool, before: list[str], left_out: list[str], unread: int = 0) -> SpoolSource:
        """Judge the whole, and make a source of it.

        Parameters
        ----------
        file : Watched
            What the rows were read from.
        how : How
            How they were read.
        few : bool
            Whether fewer than ten samples will do.
        before, left_out : list of str
            Notes on the layout, and on lines that were left out.
        unread : int
            Lines that could not be read.

        Raises
        ------
        LogError
            If this is no log.
        """
        plan, seconds, per_reading = self.convert.plan, self.convert.seconds, self.convert.per_reading
        left_out = [*left_out, *per_reading.notes()]
        channels = tuple(channel.name for channel in plan.channels)
        notes = self._in_order() if self.spool.rows and seconds.start is not None else []
        if plan.key is not None and self.spool.rows:
            made = rows_of(self.spool, list(self.convert.codes), self.name, plan.time.interval_s)
            self.spool, channels, told = made
            notes += told
            self._steps = _ways(np.diff(self.spool.read(0, 0, self.spool.rows)))
        name, rows, timed, timeless = self.name, self.spool.rows, plan.time.kind != "none", self.mended["timeless"]
        back, equal, forward = self._steps.tolist()
        if seconds.start is None and plan.start is not None:
            seconds.start = plan.start
            notes.append("The log begins when the file's heading says.")
        whole.check_rows(name, rows, few=few or timeless > whole.ODD_ROWS)  # of these it is said below
        if not self._readings.any():
            raise whole.no_reading(name)
        whole.check_times(name, rows, blank=timeless, back=back, forward=forward, timed=timed)
        silent = [f'"{c.name}"' for c, some in zip(plan.channels, self._readings, strict=True) if not some]
        if silent:
            notes.append(f"Without a single reading: {', '.join(silent)}.")
        notes += left_out
        for what, words in _SAID.items():
            if n := self.mended[what]:
                notes.append(words.format(n=n, rows="row" if n == 1 else "rows"))
        if seconds.midnight.passed:
            notes.append(f"The clock passes midnight {times_text(seconds.midnight.passed)}; days were added.")
        if equal > row_times.COARSE_SHARE * rows and timed:
            notes.append(row_times.spread(self.spool))
        notes += row_times.packets(self.spool.read(0, 0, row_times.HEAD_ROWS))
        entries = self._words.finish(partial(row_times.time_at, self.spool), notes)
        head = FileHead(
            start=seconds.start,
            wall_s=seconds.wall_s,
            notes=(*before, *plan.notes, *notes),
            entries=entries,
            unread=unread + timeless + per_reading.unread,
        )
        return SpoolSource(file, self.spool, channels, how, head)


def _ways(steps: Floats) -> Ints:
    """How many steps go back, how many stand still, and how many go forward."""
    return np.array([np.count_nonzero(steps < 0), np.count_nonzero(steps == 0), np.count_nonzero(steps > 0)])
