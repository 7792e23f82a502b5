"""Small files as loggers, spreadsheets and scripts make them, each with its truth: what is read right, asked, refused, wrong?

Written without having read the reader. All data are invented; the forms are general knowledge of open formats and habits
(common practice, no source). Each file is read in Python as a user would; where it is refused, the options that the sentence
names are tried with what a person at the bench knows (`knows`), until it is read or no way is left.

    python tests/studies/fresh_reading.py [NAME ...]        all, or those whose name contains one of the words
"""

from __future__ import annotations

import re
import sys
import tempfile
import traceback
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from pathlib import Path
from typing import Any

import numpy as np

from flicker import read_log

ROWS, STEP_S = 24, 10.0
START = datetime(2031, 3, 14, 8, 0, 0)
#: Readings in millivolts: the left output swings in rows 9 to 11.
LEFT = np.round(5.0 + 0.1 * np.array([(7 * k) % 5 - 2 for k in range(ROWS)]), 1)
LEFT[9:12] = 310.4
RIGHT = np.round(-3.2 + 0.1 * np.array([(3 * k) % 4 - 1 for k in range(ROWS)]), 1)


class Outcome(StrEnum):
    """What became of a file."""

    RIGHT = "right"
    ASKED = "asked, then right"
    REFUSED = "refused, rightly"
    DEAD_END = "refused, no way out"
    AFTER_ASKING = "WRONG after the answer asked for"
    WRONG = "WRONG in silence"
    TRACEBACK = "TRACEBACK"


@dataclass(frozen=True)
class Truth:
    """What stands in a file: seconds from its first row, volts by channel, and the date of the first row where it has one.

    Attributes
    ----------
    within_s : float
        How close times must come: half the last digit that the file writes.
    """

    volts: Mapping[str, Any]
    t_s: Any
    start: datetime | None = START
    within_s: float = 0.0051


@dataclass(frozen=True)
class Sample:
    """A file, all that may be read from it, and what a person at the bench knows.

    Attributes
    ----------
    truths : tuple of Truth
        Readings that are all right; empty where the file must be refused.
    may_refuse : bool
        Whether a refusal is right too (no person could tell either, or the file asks for a repair by hand).
    """

    data: bytes
    truths: tuple[Truth, ...]
    suffix: str = ".csv"
    knows: Mapping[str, Any] = field(default_factory=dict)
    may_refuse: bool = False
    needs_ask: bool = False


def seconds(rows: int = ROWS, step_s: float = STEP_S) -> Any:
    """Give the seconds of each row from the first."""
    return np.arange(rows) * step_s


def truth(
    left: Any = LEFT, right: Any = RIGHT, t_s: Any = None, start: datetime | None = START, names: tuple[str, str] = ("Left", "Right"),
    scale: float = 1e-3, within_s: float = 0.0051,
) -> Truth:  # fmt: skip
    """Give the usual truth of two outputs, from millivolts."""
    volts = {n: np.asarray(v, float) * scale for n, v in zip(names, (left, right), strict=True) if v is not None}
    return Truth(volts, seconds(np.size(left)) if t_s is None else np.asarray(t_s, float), start, within_s)


#: What a refusal may name, and the argument of `read_log` that it stands for.
OPTIONS = {
    "--unit": "unit", "--sample-interval": "sample_interval_s", "--time-column": "time_column", "--time-unit": "time_unit", "--day-first": "day_first",
    "--date-order": "date_order", "--decimal": "decimal", "--thousands": "thousands", "--separator": "separator", "--channel-column": "channel_column",
    "--volts-per-count": "volts_per_count", "--zero-count": "zero_count", "--missing-word": "missing_words", "--over-word": "over_words",
    "--channels": "channels", "--role": "roles", "--newest-first": "newest_first",
}  # fmt: skip


def difference(log: Any, truths: tuple[Truth, ...]) -> str:
    """Say how a log differs from all truths; nothing where it is one of them."""
    found = ""
    for one in truths:
        found = _difference(log, one)
        if not found:
            return ""
    return found or "read, though no reading of it is right"


def _difference(log: Any, one: Truth) -> str:
    frame = log.to_frame()
    names = [c for c in frame.columns if c not in ("run", "time_s")]
    if sorted(names) != sorted(one.volts):
        return f"channels {names}, not {list(one.volts)}"
    starts = [r.start for r in log.runs]
    t = frame["time_s"].to_numpy(float)
    if all(s is not None for s in starts):
        base = starts[0]
        t = t + np.array([(s - base).total_seconds() for s in starts])[frame["run"].to_numpy()]
    if one.start is not None and starts[0] is None:
        return "the date is lost"
    if one.start is not None and abs((starts[0].replace(tzinfo=None) - one.start).total_seconds()) > one.within_s:
        return f"starts at {starts[0]}, not {one.start}"
    if one.start is None and starts[0] is not None:
        return f"a date from nowhere: {starts[0]}"
    if t.size != np.size(one.t_s):
        return f"{t.size} rows, not {np.size(one.t_s)}"
    if np.max(np.abs(t - t[0] - one.t_s)) > one.within_s:
        k = int(np.argmax(np.abs(t - t[0] - one.t_s)))
        return f"row {k} at {t[k] - t[0]:g} s, not {one.t_s[k]:g} s"
    for n in names:
        v = frame[n].to_numpy(float)
        bad = ~np.isclose(v, one.volts[n], rtol=0, atol=1e-9, equal_nan=True)
        if bad.any():
            k = int(np.argmax(bad))
            return f"{n} row {k}: {v[k]:g} V, not {one.volts[n][k]:g} V ({int(bad.sum())} rows)"
    return ""


def judge(sample: Sample, name: str = "sample", folder: Path | None = None) -> tuple[Outcome, str]:
    """Read a file and follow its advice; give the outcome and what was said or found."""
    path = (folder or Path(tempfile.mkdtemp())) / (name + sample.suffix)
    path.write_bytes(sample.data)
    given: dict[str, Any] = {}
    said: list[str] = []
    while True:
        try:
            log = read_log(path, **given)
        except (ValueError, OSError) as e:
            said.append(str(e))
            more = {
                v: sample.knows[v] for k, v in OPTIONS.items() if (k in str(e) or v in str(e)) and v in sample.knows and v not in given
            }
            if more:
                given |= more
                continue
            right = not sample.truths or sample.may_refuse
            return (Outcome.REFUSED if right else Outcome.DEAD_END), " >> ".join(said)
        except Exception:
            return Outcome.TRACEBACK, traceback.format_exc()
        wrong = difference(log, sample.truths)
        notes = " | ".join(dict.fromkeys(n for r in log.runs for n in r.notes))
        if wrong:
            return (Outcome.AFTER_ASKING if given else Outcome.WRONG), f"{wrong}; notes: {notes} {' >> '.join(said)}"
        if sample.needs_ask and not given:
            return Outcome.WRONG, "taken without asking what no one can tell; notes: " + notes
        return (Outcome.ASKED if given else Outcome.RIGHT), f"{' >> '.join(said)} notes: {notes}"


def samples() -> Iterator[tuple[str, Sample]]:
    """Give all files by name."""
    from fresh_reading_mixed import MIXED
    from fresh_reading_other import OTHER
    from fresh_reading_scales import SCALES
    from fresh_reading_texts import TEXTS
    from fresh_reading_times import TIMES

    for family in (TEXTS, TIMES, OTHER, SCALES, MIXED):
        yield from family().items()


def main(words: list[str]) -> None:
    """Judge all files, or some, and count the outcomes."""
    counts: Counter[str] = Counter()
    with tempfile.TemporaryDirectory() as folder:
        for name, sample in samples():
            if words and not any(re.search(w, name) for w in words):
                continue
            outcome, what = judge(sample, re.sub(r"\W", "_", name), Path(folder))
            counts[outcome] += 1
            print(f"{outcome.value:32} {name}: {what.replace(folder + '/', '')}")
    print(sum(counts.values()), "files:", ", ".join(f"{n} {k}" for k, n in counts.most_common()))


if __name__ == "__main__":
    main(sys.argv[1:])
