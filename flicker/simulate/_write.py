"""CSV files of a bench. The layout is our own: a time column, one column of millivolts per channel (degrees of a temperature)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from pathlib import Path
from typing import NamedTuple

import numpy as np

from flicker.base.arrays import Floats
from flicker.base.progress import tell
from flicker.logs.writing import write_together
from flicker.simulate._truth import BenchTruth, RunTruth


class Columns(NamedTuple):
    """Readings of each run by channel, their last digit, and the role of each channel."""

    values: Sequence[Mapping[str, Floats]]
    resolution_V: float
    roles: Mapping[str, str]


def write(path: Path, truth: BenchTruth, columns: Columns, time: str, *, split: bool, marks: bool) -> tuple[Path, ...]:
    """Write the files of a bench, all or none, and return their names."""
    values, resolution_V, roles = columns
    decimals = 4 if resolution_V <= 0 else max(0, int(np.ceil(-np.log10(resolution_V * 1e3) - 1e-9)))
    numbers = range(len(truth.runs))
    several = len(truth.runs) > 1
    texts: dict[Path, str] = {}
    if split and several:
        for run in numbers:
            name = path.with_name(f"{path.stem}-{run + 1}{path.suffix}")
            texts[name] = _table(truth.runs, values, [run], decimals, time, roles, with_run=False)
    else:
        texts[path] = _table(truth.runs, values, list(numbers), decimals, time, roles, with_run=several)
    if marks and truth.marks:
        texts[path.with_name(f"{path.stem}.marks.csv")] = _marks(truth, time)
    write_together(texts, what="simulated log")
    return tuple(texts)


def _table(
    runs: Sequence[RunTruth],
    values: Sequence[Mapping[str, Floats]],
    which: Sequence[int],
    decimals: int,
    time: str,
    roles: Mapping[str, str],
    *,
    with_run: bool,
) -> str:
    """The text of one file."""
    names = list(values[which[0]])
    head = ["time_s" if time == "seconds" else "time", *(_header(name, roles) for name in names)]
    lines = [",".join(["run", *head] if with_run else head)]
    first = runs[which[0]].start
    for run in which:
        if time == "seconds":
            away = (runs[run].start - first).total_seconds()
            seconds = runs[run].time_s + away
            places = next(k for k in range(4) if k == 3 or not np.any(np.abs(np.round(seconds, k) - seconds) > 1e-6))
            clock = [f"{second:.{places}f}" for second in seconds.tolist()]
        else:
            clock = [_stamp(runs[run].start, second) for second in runs[run].time_s.tolist()]
        columns = [clock]
        for place, name in enumerate(names):  # degrees stand as they are, to a hundredth
            tell(run * len(names) + place, len(runs) * len(names))
            warm = roles.get(name) == "temperature"
            columns.append(_cells(values[run][name] * (1e-3 if warm else 1.0), 2 if warm else decimals))
        if with_run:
            columns.insert(0, [str(run + 1)] * len(clock))
        lines.extend(map(",".join, zip(*columns, strict=True)))
    return "\n".join(lines) + "\n"


def _header(name: str, roles: Mapping[str, str]) -> str:
    return f"{name} temperature (C)" if roles.get(name) == "temperature" else f"{name}_mV"


def _cells(volts: Floats, decimals: int) -> list[str]:
    """Volts as cells in millivolts; empty where there is none, OL over range."""
    millivolts = np.round(volts * 1e3, decimals) + 0.0  # no negative zero
    cells = [f"{value:.{decimals}f}" for value in millivolts.tolist()]
    for place in np.flatnonzero(~np.isfinite(millivolts)).tolist():
        cells[place] = "" if np.isnan(millivolts[place]) else "OL" if millivolts[place] > 0 else "-OL"
    return cells


def _stamp(start: datetime, second: float) -> str:
    return (start + timedelta(seconds=second)).isoformat(timespec="milliseconds")


def _marks(truth: BenchTruth, time: str) -> str:
    """Marks in the form of time that the log has."""
    lines = ["time,kind,channel,until,text"]
    for mark in truth.marks:
        start = truth.runs[mark.run].start
        away = (start - truth.runs[0].start).total_seconds()
        moments = [
            "" if at is None else _stamp(start, at) if time == "iso" else f"{at + away:.3f}"
            for at in (mark.time_s, mark.until_s)
        ]
        text = '"' + mark.text.replace('"', '""') + '"'
        lines.append(",".join([moments[0], mark.kind, mark.channel or "", moments[1], text]))
    return "\n".join(lines) + "\n"
