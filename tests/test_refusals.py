"""Every sentence with which `flicker.logs` refuses has a case here or in `test_reading_advice`: made, its advice followed.

A case brings the refusal about, and then does what the sentence says, in Python and on the command line; what is read then is compared with the truth. The
last test walks all modules for refusals and names each that no case has made. All data here are invented.
"""

from __future__ import annotations

import ast
import contextlib
import gzip
import importlib.util
import inspect
import io
import json
import os
import struct
import sys
import zipfile
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as parquet
import pytest
from pyarrow import csv
from test_reading_advice import CASES as BY_OPTIONS
from test_reading_advice import HALF, LEFT, RIGHT, N, argv, table

import flicker.logs
from flicker import Log, LogError, read_log
from flicker.cli import main
from flicker.logs.growing import GrowingLog
from flicker.logs.marks import append_mark, marks_path, read_marks, seconds_ago
from flicker.logs.marks_column import marks_in_column
from flicker.logs.reading import files, open_source, wishes_of, workbook
from flicker.logs.reading.look import look
from flicker.logs.reading.samples import long_format, spool
from flicker.logs.reading.samples.spool import BATCH_ROWS
from flicker.logs.writing import write_whole

LOGS = Path(next(iter(flicker.logs.__path__)))
VOLTS = LEFT / 1e3
TIME_S = 0.5 * np.arange(N)
GOOD = table("time_s,left_mV", HALF, LEFT)
STAMPS = [f"2026-03-05 10:00:{k:02d}" for k in range(N)]
DATED = table("time,left_mV", STAMPS, LEFT)
SLOW = 20 * N  # samples of logs that must be longer


@dataclass
class Case:
    """What brings a refusal about, a part of its sentence, and what it advises; both get a folder of their own."""

    wrong: Callable[[Path], Any]
    said: str
    right: Callable[[Path], Any]


def right(log: Any) -> None:
    """The left channel is as it was written."""
    frame = log.to_frame()
    np.testing.assert_allclose(frame[log.channels[0]], VOLTS, rtol=1e-9)
    np.testing.assert_allclose(np.diff(frame["time_s"]), 0.5, rtol=1e-6)


def put(folder: Path, content: Any, name: str = "bench.csv") -> Path:
    path = folder / name
    if isinstance(content, pa.Table):
        parquet.write_table(content, path)
    elif isinstance(content, bytes):
        path.write_bytes(content)
    else:
        path.write_text(content, encoding="utf-8")
    return path


def of_files(wrong: Any, said: str, mended: Any = GOOD, *, name: str = "bench.csv", first: Any = None, **then: Any) -> Case:
    """A file that is refused, and the same after what the sentence advises: another file, or options."""


    def good(folder: Path) -> None:
        path = put(folder, mended, name)
        right(read_log(path, **then))
        out = io.StringIO()
        with contextlib.redirect_stdout(out):
            assert main(["look", str(path), "--json", *argv(then)]) == 0
        assert json.loads(out.getvalue())["missing"] is None

    return Case(lambda folder: read_log(put(folder, wrong, name), **(first or {})), said, good)


def parquet_of(**columns: Any) -> pa.Table:
    return pa.table({"time_s": TIME_S, "left_mV": LEFT} | columns)


def zipped(**members: bytes | str) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, content in members.items():
            archive.writestr(name.replace("__", "/"), content)
    return out.getvalue()


def wav(*, tag: int = 1, channels: int = 1, rate: int = 2, bits: int = 16, values: Any = None, form: bool = True,
        size: int | None = None) -> bytes:  # fmt: skip
    values = np.round(VOLTS / 10 * 32768) if values is None else values
    data = np.asarray(values, dtype="<i2").tobytes()
    fmt = struct.pack("<4sIHHIIHH", b"fmt ", 16, tag, channels, rate, rate * channels * bits // 8, channels * bits // 8, bits)
    body = b"WAVE" + (fmt if form else b"") + struct.pack("<4sI", b"data", len(data) if size is None else size) + data
    return b"RIFF" + struct.pack("<I", len(body)) + body


def loud(folder: Path, **options: Any) -> None:
    """The recording reads as it was written, to its last digit."""
    log = read_log(put(folder, wav(), "a.wav"), full_scale_V=10.0, **options)
    np.testing.assert_allclose(log.to_frame()[log.channels[0]], VOLTS, atol=10 / 65536)


FILES = {
    "empty file": of_files("", "is empty"),
    "blank lines only": of_files("\n\n \n", "no lines of readings"),
    "a unit in some cells": of_files(table("time_s,left_mV", HALF, [f"{v} mV" if k > 40 else v for k, v in enumerate(LEFT)]), "unlike other cells"),
    "two decimal signs": of_files(
        table("time_s;left_mV", [f"{t + 10:.3f}" for t in TIME_S], [f"{v:.2f}".replace(".", ",") for v in LEFT], sep=";"), "one decimal sign"
    ),
    "two meters joined": of_files(table("time_s,left_mV,time_s,right_mV", HALF, LEFT, TIME_S * 2 + 7, LEFT), "a pace of their own"),
    "a letter": of_files("Dear bench,\nall is well.\n" * 9, "no line of readings"),
    "one column of words": of_files("night\n" * 30, "no log"),
    "scraps": of_files('10:00pear\n\nmV,x2026-01-0112.5"1\n 110:00', "no line of readings"),
    "numbers in a way of their own": of_files(table("time_s,left_mV", HALF, [f"{v}m" for v in LEFT]), "are not read as numbers"),
    "header alone": of_files("time_s,left_mV\n", "a header and no readings"),
    "too few": of_files(table("time_s,left_mV", HALF[:9], LEFT[:9]), "too few"),
    "too few in a table": of_files(parquet_of().slice(0, 5), "too few", parquet_of()),
    "no rows in a table": of_files(parquet_of().slice(0, 0), "no readings", parquet_of()),
    "newest first": of_files(table("time_s,left_mV", HALF[::-1], LEFT), "reverse the rows"),
    "newest first in a table": of_files(pa.table({"time_s": TIME_S[::-1], "left_mV": LEFT}), "reverse the rows", parquet_of()),
    "blank channels": of_files(
        table("time_s,left_mV,Ohm", HALF, ["pear"] * N, LEFT), "name other columns", table("time_s,left_mV,Ohm", HALF, ["pear"] * N, LEFT),
        first={"missing_words": ["pear"]}, channels=["Ohm"], unit="mV",
    ),
    "blank column alone": of_files(
        table("time_s,left_mV,Ohm", HALF, [""] * N, LEFT), "without a single reading",
        table("time_s,left_mV,Ohm", HALF, [""] * N, LEFT), channels=["Ohm"], unit="mV",
    ),
    "blank channels of a table": of_files(
        pa.table({"time_s": TIME_S, "left_mV": np.full(N, np.nan), "Ohm": LEFT}), "name other columns",
        pa.table({"time_s": TIME_S, "left_mV": np.full(N, np.nan), "Ohm": LEFT}), channels=["Ohm"], unit="mV",
    ),
    "times missing": of_files(
        table("time_s,left_mV", ["" if k > 20 else t for k, t in enumerate(HALF)], LEFT), "have no time",
        table("time_s,left_mV", ["" if k > 20 else t for k, t in enumerate(HALF)], LEFT), sample_interval_s=0.5,
    ),
    "a time in words": of_files(table("time,left_mV", [*STAMPS[:30], "at noon", *STAMPS[31:]], LEFT), "Correct the cell", table("time,left_mV", [f"2026-03-05 10:00:{k / 2:04.1f}" for k in range(N)], LEFT)),
    "a time in words in a table": of_files(
        pa.table({"time": [*STAMPS[:30], "at noon", *STAMPS[31:]], "left_mV": LEFT}), "Correct the cell",
        pa.table({"time": [f"2026-03-05 10:00:{k / 2:04.1f}" for k in range(N)], "left_mV": LEFT}),
    ),
    "a word in a table": of_files(
        pa.table({"time_s": TIME_S, "left_mV": [*(f"{v}" for v in LEFT[:40]), "pear", *(f"{v}" for v in LEFT[41:])]}), "Say what it means",
        pa.table({"time_s": TIME_S, "left_mV": [f"{v}" for v in LEFT]}),
    ),
    "equal stamps in a table": of_files(
        pa.table({"time_s": np.zeros(N), "left_mV": LEFT}), "all time stamps are equal",
        pa.table({"time_s": np.zeros(N), "left_mV": LEFT}), sample_interval_s=0.5,
    ),
    "time that is words": of_files(
        table("when,left_mV", ["pear"] * N, LEFT), "does not tell the time", table("when,left_mV", ["pear"] * N, LEFT),
        first={"time_column": "when"}, sample_interval_s=0.5,
    ),
    "dates told as the time": of_files(
        table("day,left_mV", ["2026-03-05"] * N, LEFT), "dates without a time of day", table("day,left_mV", ["2026-03-05"] * N, LEFT),
        first={"time_column": "day"}, sample_interval_s=0.5,
    ),
    "late sign of decimals": of_files(
        table("time_ms;left_mV", [500 * k for k in range(SLOW)], ["2.500" if k == SLOW - 9 else "12" for k in range(SLOW)], sep=";"),
        "may hold a decimal sign",
    ),
    "header too short": of_files(table("time_s;left_mV", HALF, LEFT, RIGHT, sep=";"), "name every column", table("time_s;left_mV;right_mV", HALF, LEFT, RIGHT, sep=";")),
    "decimal commas and nothing to tell": of_files(
        table("time,left_uV,room_C", [f"2026-03-05 10:00:{k // 2:02d},{500 * (k % 2):03d}" for k in range(N)], [f"8.{300 + k}" for k in range(N)], [f"2{k % 3},{k % 7}" for k in range(N)]),
        "write the log with semicolons", table("time_s;left_mV", *([f"{v}".replace(".", ",") for v in side] for side in (HALF, LEFT)), sep=";"), first={"decimal": ","},
    ),
    "objects in braces": of_files("[" + ",\n".join(f'{{"time": {t}, "left_mV": {v}}}' for t, v in zip(HALF, LEFT, strict=True)) + "]", "time and readings in columns"),
    "header too long": of_files(table("time_s;left_mV;b;c;d", HALF, LEFT, sep=";"), "name as many columns", table("time_s;left_mV", HALF, LEFT, sep=";")),
    "columns change": of_files(GOOD + "".join(f"{30 + k},1,2,3,4,5\n" for k in range(40)), "split the file there"),
    "another heading below": of_files(GOOD + "when,what\n" * 2 + GOOD.replace("time_s,left_mV", "u,v"), "split the file there"),
    "quotation mark open": of_files(GOOD.replace("\n5.0,", '\n5"0,"'), "mend it"),
    "NUL bytes": of_files(table("time_s,left_mV", [0.5 * k for k in range(4000)], [5.5] * 4000) + "1,\0\0\0\0\0\0\0\0,2\n" * 500, "copy it again"),
    "a thousand columns": of_files(",".join(f"c{k}" for k in range(1100)) + "\n" + (",".join(["1"] * 1100) + "\n") * 12, "at most 1024"),
    "a line of many cells": of_files("time_s,left_mV\n" + "1," * 200_000 + "\n" + "0,1\n" * 20, "at most 1024"),
    "a line without end": of_files("7" * (3 << 20), "in lines"),
    "a long line later": of_files(GOOD * 500 + "7" * (9 << 20) + "\n", "in lines"),
    "a picture": of_files(b"\x89PNG\r\n\x1a\n" + bytes(99), "export the readings as CSV"),
    "HDF5": of_files(b"\x89HDF\r\n\x1a\n" + bytes(99), "export time and channels as CSV or Parquet"),
    "TDMS": of_files(b"TDSm" + bytes(99), "export time and channels as CSV or Parquet"),
    "MATLAB": of_files(b"MATLAB 5.0 MAT-file" + bytes(99), "export time and channels as CSV or Parquet"),
    "unknown bytes": of_files(bytes(range(1, 9)) * 99, "export the readings as one of these"),
    "two files packed": of_files(zipped(a="x", b="y"), "one log only", zipped(a=GOOD)),
    "a pack that is none": of_files(b"PK\3\4" + bytes(60), "copy it again", zipped(a=GOOD)),
    "an empty file packed": of_files(gzip.compress(b""), "pack the log again", gzip.compress(GOOD.encode())),
    "packed twice": of_files(gzip.compress(gzip.compress(GOOD.encode())), "decompress it first", gzip.compress(GOOD.encode())),
    "a pack cut off": of_files(gzip.compress(GOOD.encode())[:-20], "copy it again", gzip.compress(GOOD.encode())),
    "a pack with a wrong byte": of_files(gzip.compress(GOOD.encode())[:40] + b"\xff\xff\xff" + gzip.compress(GOOD.encode())[43:], "copy it again", gzip.compress(GOOD.encode())),
    "a damaged table": of_files(b"PAR1" + bytes(40), "copy it again", parquet_of()),
    "two columns of a name": of_files(pa.table([TIME_S, LEFT, LEFT], names=["time_s", "left_mV", "left_mV"]), "rename one", parquet_of()),
    "a table of nothing": of_files(pa.table({"a": pa.array([[1]] * N)}), "no column of numbers", parquet_of()),
    "a wide table": of_files(pa.table({f"c{k}": [1.0] * 12 for k in range(1100)}), "at most 1024", parquet_of()),
    "long, without voltages": of_files(
        table("time_s,Channel,Value_mV", np.repeat(HALF, 2), ["battery", "humidity"] * N, np.repeat(LEFT, 2)), "name the column of channels",
        table("time_s,Channel,Place,Value_mV", np.repeat(HALF, 2), ["battery", "humidity"] * N, ["left", "right"] * N, np.repeat(LEFT, 2)),
        channel_column="Place", roles={"Channel": "ignore"},
    ),
    "long, many channels": of_files(
        table("time_s,Channel,Value_mV", np.repeat(HALF, 20), [f"o{k}" for k in range(20)] * N, np.repeat(LEFT, 20)), "split the file by channel",
        table("time_s,Channel,Value_mV", np.repeat(HALF, 2), ["o1", "o2"] * N, np.repeat(LEFT, 2)),
    ),
    "long, uneven": of_files(
        table("time_s,Channel,Value_mV", np.sort([*np.repeat(np.arange(50), 3), *(np.arange(50) + 0.5)]), ["a", "a", "a", "b"] * 50, [1.5] * 200),
        "one column for each channel",
    ),
    "long, two values": of_files(
        table("time_s,Channel,p,q", np.repeat(HALF, 2), ["left", "right"] * N, np.repeat(LEFT, 2), np.repeat(RIGHT, 2)), "name one with",
        table("time_s,Channel,p,q", np.repeat(HALF, 2), ["left", "right"] * N, np.repeat(LEFT, 2), np.repeat(RIGHT, 2)),
        channels=["p"], unit="mV",
    ),
    "a sign that is a word, later": of_files(
        table("time_s,sign,left_mV", [0.5 * k for k in range(SLOW)], ["pear" if k == SLOW - 9 else "+" for k in range(SLOW)], [5.5] * SLOW), "where a sign should stand",
        table("time_s,sign,left_mV", HALF, ["pear" if k == 40 else "+" for k in range(N)], LEFT), roles={"sign": "ignore"},
    ),
    "decimal that is none": of_files(GOOD, "decimal must be", first={"decimal": ";"}, decimal="."),
    "run gap of nothing": of_files(GOOD, "run_gap_s must be positive", first={"run_gap_s": 0.0}, run_gap_s=60.0),
    "no channels": of_files(GOOD, "one column or more", first={"channels": []}, channels=["left"]),
    "order of dates": of_files(DATED, "date_order must be", first={"date_order": "ydm"}, date_order="ymd"),
    "thousands": of_files(GOOD, "thousands must be", first={"thousands": ","}, thousands="none"),
    "interval below zero": of_files(GOOD, "must be positive", first={"sample_interval_s": -1.0}, sample_interval_s=0.5),
    "a role that is none": of_files(table("time_s,left_mV,plus_V", HALF, LEFT, LEFT), "did you mean 'rail'", table("time_s,left_mV,plus_V", HALF, LEFT, LEFT), first={"roles": {"plus_V": "rails"}}, roles={"plus_V": "rail"}),
    "roles leave nothing": of_files(GOOD, "no column", first={"roles": {"left_mV": "rail"}}, roles={"left_mV": "output"}),
    "difference with itself": of_files(table("time_s,a_mV,b_mV", HALF, LEFT, LEFT * 0), "two different columns", table("time_s,a_mV,b_mV", HALF, LEFT, LEFT * 0), first={"differences": {"d": ("a", "a")}}, differences={"d": ("a", "b")}),
    "difference with nobody": of_files(table("time_s,a_mV,b_mV", HALF, LEFT, LEFT * 0), "it has a, b", table("time_s,a_mV,b_mV", HALF, LEFT, LEFT * 0), first={"differences": {"d": ("a", "z")}}, differences={"d": ("a", "b")}),
    "difference of a name": of_files(table("time_s,a_mV,b_mV,c_mV", HALF, LEFT, LEFT * 0, LEFT), "a name of its own", table("time_s,a_mV,b_mV", HALF, LEFT, LEFT * 0), first={"differences": {"c": ("a", "b")}}, differences={"d": ("a", "b")}),
}  # fmt: skip


def raised(folder: Path, action: Callable[[], Any], *patches: tuple[Any, str, Any]) -> None:
    """Run with something of the machine changed: a full disk, a file that changes under the reader's hands."""
    with pytest.MonkeyPatch.context() as patch:
        for owner, name, value in patches:
            patch.setattr(owner, name, value)
        action()


def without_openpyxl(action: Callable[[], Any]) -> None:
    with pytest.MonkeyPatch.context() as patch:
        patch.setitem(sys.modules, "openpyxl", None)
        action()


def no_room(*_: Any, **__: Any) -> Any:
    raise OSError(28, "No space left on device")


class Full(io.BytesIO):
    """A file on a disk without room."""

    write = no_room


def long_log(folder: Path) -> Path:
    return put(folder, table("time_s,left_mV", HALF, LEFT), "long.csv")


def changed(folder: Path) -> None:
    path = put(folder, parquet_of())
    log = read_log(path)
    put(folder, parquet_of(right_mV=RIGHT))
    list(log.sweep())


def shorter(folder: Path) -> None:
    path = put(folder, wav(values=np.zeros(2 * BATCH_ROWS)), "a.wav")
    batches = read_log(path, full_scale_V=10.0).source.batches()
    next(batches)
    os.truncate(path, 60)
    next(batches)


def marked(folder: Path, text: str, log: str = DATED) -> Any:
    put(folder, log)
    return read_marks(put(folder, text, "bench.marks.csv"), read_log(folder / "bench.csv"))


def marks_of(wrong: str, said: str, mended: str, log: str = DATED) -> Case:
    """Marks beside a log: a wrong line, and the line that the sentence asks for."""

    def good(folder: Path) -> None:
        assert marked(folder, mended, log)[0].time_s == pytest.approx(5.0)

    return Case(lambda folder: marked(folder, wrong, log), said, good)


def in_column(folder: Path, words: list[str]) -> Any:
    log = read_log(put(folder, table("time_s,left_mV,note", HALF, LEFT, words)))
    return marks_in_column(log)


def watched(folder: Path, content: Any, name: str = "bench.csv") -> GrowingLog:
    growing = GrowingLog(put(folder, content, name))
    growing.poll()
    return growing


def followed(folder: Path) -> None:
    fresh = GrowingLog(put(folder, GOOD)).poll()
    np.testing.assert_allclose(np.concatenate([column for piece in fresh for column in piece.values]), VOLTS)  # noqa: PD011  no data frame


def replaced(folder: Path) -> None:
    growing = watched(folder, GOOD)
    os.replace(put(folder, GOOD.replace("left", "rear"), "new.csv"), folder / "bench.csv")
    for _ in range(3):
        growing.poll()


def grown(folder: Path, more: str) -> None:
    """A log that is read, and then what is written below it."""
    growing = watched(folder, GOOD)
    with (folder / "bench.csv").open("a") as file:
        file.write(more)
    for _ in range(3):
        growing.poll()


def arrays(**changes: Any) -> Log:
    given: dict[str, Any] = {"time_s": TIME_S, "channels": {"left": VOLTS}} | changes
    return Log.from_arrays(given.pop("time_s"), given.pop("channels"), **given)


def in_memory(wrong: Any, said: str, mended: Any = None, **options: Any) -> Case:
    good = {"time_s": TIME_S, "left_mV": LEFT} if mended is None else mended
    return Case(lambda _: read_log(wrong, **options), said, lambda _: right(read_log(good)))


def used(folder: Path, *uses: Any) -> None:
    from flicker.logs.mapped import ColumnUse
    from flicker.logs.used_columns import with_columns

    right(with_columns(read_log(put(folder, GOOD)), [ColumnUse("out", name) for name in uses]))


def appended(folder: Path, *, log: str = GOOD, beside: str | bytes = "", **options: Any) -> Any:
    path = put(folder, log)
    marks_path(path).unlink(missing_ok=True)
    if beside:
        put(folder, beside, marks_path(path).name)
    return append_mark(path, read_log(path), "tapped", **options)


class Odd:
    """An object that speaks Arrow and breaks off."""

    columns = ()

    def __arrow_c_stream__(self, *_: Any) -> Any:
        raise ValueError("broken off")


AFTER_NOON = [datetime(2026, 3, 5, tzinfo=UTC) + timedelta(seconds=k) for k in range(N)]
BOTH_WAYS = pa.table({"time_s": np.concatenate([np.arange(5000.0), np.arange(40000.0)[::-1]]), "left_mV": np.full(45000, 5.5)})
LONG = table("time_s,Channel,Value_mV", np.repeat(HALF, 2), ["left", "right"] * N, np.repeat(LEFT, 2))


def spooled(folder: Path, *, free: int | None = None, scratch: Any = None) -> Log:
    """A log whose samples do not fit into the memory that it may take."""
    path = put(folder, GOOD)
    with pytest.MonkeyPatch.context() as patch:
        if free is not None:
            patch.setattr(spool.shutil, "disk_usage", lambda _: type("Usage", (), {"free": free - 1})())
        if scratch is not None:
            patch.setattr(spool.files, "scratch", scratch)
        return Log(open_source(path, wishes_of(), in_memory=1))


def not_cut(*_: Any, **__: Any) -> Any:
    raise pa.ArrowInvalid("CSV parse error: out of step")


def damaged(folder: Path) -> bytes:
    """A table with a wrong page behind a sound footer."""
    whole = bytearray(put(folder, parquet_of()).read_bytes())
    whole[4:400] = bytes(396)
    return bytes(whole)


def sheets(folder: Path, *rows: list[Any], more: int = 0) -> bytes:
    """A workbook as a spreadsheet saves it."""
    book = importlib.import_module("openpyxl").Workbook()
    for row in rows:
        book.active.append(row)
    for _ in range(more):
        book.create_sheet().append(["x"])
    book.save(folder / "made.xlsx")
    return (folder / "made.xlsx").read_bytes()


def of_workbooks(wrong: Callable[[Path], bytes], said: str, *patches: tuple[Any, str, Any]) -> Case:
    rows = [["time_s", "left_mV"], *([0.5 * k, float(v)] for k, v in enumerate(LEFT))]
    return Case(
        lambda f: raised(f, lambda: read_log(put(f, wrong(f), "a.xlsx")), *patches),
        said,
        lambda f: right(read_log(put(f, sheets(f, *rows), "a.xlsx"))),
    )


WORKBOOKS = {
    "two sheets": of_workbooks(lambda f: sheets(f, ["time_s", "left_mV"], more=1), "leave the one with the log"),
    "a number that is text": of_workbooks(lambda f: sheets(f, ["time_s", "left_mV"], [0.5, "0,012"]), "turn it into a number"),
    "a damaged workbook": of_workbooks(lambda f: zipped(xl__workbook="x", b="y"), "save it again"),
    "a large workbook": of_workbooks(lambda f: sheets(f, ["a"]), "export the sheet as CSV", (workbook, "MOST_BYTES", 9)),
}
READS_WORKBOOKS = importlib.util.find_spec("openpyxl") is not None  # the extra 'xlsx'
OTHERS = {
    "a spreadsheet": Case(
        lambda f: without_openpyxl(lambda: read_log(put(f, zipped(xl__workbook="x", b="y"), "a.xlsx"))), "export the sheet as CSV", lambda f: right(read_log(put(f, GOOD)))
    ),
    "no such file": Case(lambda f: read_log(f / "a.csv"), "there is no such file", lambda f: right(read_log(put(f, GOOD, "a.csv")))),
    "a folder": Case(lambda f: read_log(f), "name the log file in it", lambda f: right(read_log(put(f, GOOD)))),
    "a device": Case(lambda f: read_log("/dev/null"), "write the log to a file first", lambda f: right(read_log(put(f, GOOD)))),
    "a name too long": Case(lambda f: read_log(f / ("a" * 999)), "cannot be opened", lambda f: right(read_log(put(f, GOOD)))),
    "a file that may not be read": Case(
        lambda f: raised(f, lambda: read_log(put(f, GOOD)), (os, "open", no_room)), "cannot be read", lambda f: right(read_log(put(f, GOOD)))
    ),
    "changed while it was read": Case(changed, "read it again", lambda f: right(read_log(put(f, parquet_of())))),
    "a pack that grows and grows": Case(
        lambda f: raised(f, lambda: read_log(put(f, gzip.compress(GOOD.encode() * 9999))), (files, "FREE_EXPANSION", 99)),
        "decompress it first",
        lambda f: right(read_log(put(f, GOOD))),
    ),
    "no room for a pack": Case(
        lambda f: raised(f, lambda: read_log(put(f, gzip.compress(put(f, parquet_of()).read_bytes()))), (files, "scratch", Full)),
        "make room",
        lambda f: right(read_log(put(f, gzip.compress(put(f, parquet_of()).read_bytes())))),
    ),
    "no room for samples": Case(lambda f: spooled(f, free=0), "point TMPDIR", lambda f: right(spooled(f))),
    "no room left for samples": Case(lambda f: spooled(f, scratch=Full), "no room for its samples", lambda f: right(spooled(f))),
    "rows that cannot be cut": Case(
        lambda f: raised(f, lambda: read_log(put(f, GOOD)), (csv, "read_csv", not_cut)), "mend that line", lambda f: right(read_log(put(f, GOOD)))
    ),
    "rows of a damaged table": Case(lambda f: read_log(put(f, damaged(f))), "its rows cannot be read", lambda f: right(read_log(put(f, parquet_of())))),
    "most rows backwards in a table": of_files(BOTH_WAYS, "reverse the rows", parquet_of()),
    "most rows backwards in arrays": Case(
        lambda f: list(Log.from_arrays(BOTH_WAYS["time_s"], {"left": BOTH_WAYS["left_mV"]}).sweep()),
        "reverse the rows",
        lambda f: right(Log.from_arrays(TIME_S, {"left": VOLTS})),
    ),
    "one channel in two units at one time": Case(
        lambda f: read_log(put(f, table("time_s,channel,value", np.repeat(HALF, 2), ["left (mV)", "left (V)"] * N, np.repeat(LEFT, 2)))),
        "leave the rows of one of the units out",
        lambda f: right(read_log(put(f, table("time_s,channel,value", HALF, ["left (mV)"] * (N - 1) + ["left (V)"], [*LEFT[:-1], LEFT[-1] / 1e3])))),
    ),
    "long beyond memory": Case(
        lambda f: raised(f, lambda: read_log(put(f, LONG)), (long_format, "MOST_ROWS", 99)),
        "one column for each channel",
        lambda f: right(read_log(put(f, GOOD))),
    ),
    "looked at a picture": Case(lambda f: look(put(f, "It was dark.\n" * 20)), "no log", lambda f: right(read_log(put(f, GOOD)))),
    "marks that are none": Case(
        lambda f: read_log(put(f, pa.table({"time_s": np.arange(50_000.0), "left_mV": np.full(50_000, 5.5), "w": [f"{k % 2}x" for k in range(50_000)]})), marks_column="w"),
        "name another",
        lambda f: right(read_log(put(f, parquet_of()))),
    ),
    # recordings
    "recording without scale": Case(lambda f: read_log(put(f, wav(), "a.wav")), "full_scale_V", loud),
    "recording without form": Case(lambda f: read_log(put(f, wav(form=False), "a.wav")), "copy it again", loud),
    "recording that is none": Case(lambda f: read_log(put(f, b"RIFF" + bytes(99), "a.wav")), "export the readings", loud),
    "recording of 12 bits": Case(lambda f: read_log(put(f, wav(bits=12), "a.wav"), full_scale_V=10.0), "write it as one of these", loud),
    "recording of many": Case(lambda f: read_log(put(f, wav(channels=40), "a.wav"), full_scale_V=10.0), "write the channels that matter", loud),
    "recording without rate": Case(lambda f: read_log(put(f, wav(rate=0), "a.wav"), full_scale_V=10.0), "write it again with its rate", loud),
    "recording too short": Case(lambda f: read_log(put(f, wav(values=[1, 2, 3]), "a.wav"), full_scale_V=10.0), "too few", loud),
    "recording cut off": Case(lambda f: read_log(put(f, wav(values=[1, 2, 3], size=999), "a.wav"), full_scale_V=10.0), "too few", loud),
    "recording of another channel": Case(lambda f: loud(f, channels=["ch7"]), "name one of them", lambda f: loud(f, channels=["ch1"])),
    "recording without outputs": Case(lambda f: loud(f, roles={"ch1": "rail"}), "give one the role output", lambda f: loud(f, roles={"ch1": "output"})),
    "recording that shrinks": Case(shorter, "read it again", loud),
    # in memory
    "a number": in_memory(7, "read_log takes"),
    "no rows": in_memory({"time_s": [], "left_mV": []}, "no readings"),
    "lengths": in_memory({"time_s": TIME_S, "left_mV": LEFT[:9]}, "of one length"),
    "two dimensions": in_memory({"time_s": TIME_S, "left_mV": np.zeros((N, 2))}, "one dimension"),
    "objects": in_memory({"time_s": TIME_S, "left_mV": np.array([object()] * N)}, "cannot be read as readings"),
    "two names": in_memory(pd.DataFrame(np.zeros((N, 2)), columns=["left_mV", "left_mV"]), "rename one"),
    "a frame of objects": in_memory(pd.DataFrame({"time_s": TIME_S, "left_mV": [object()] * N}), "neither numbers, times nor words"),
    "a stream that breaks": in_memory(Odd(), "cannot be taken over"),
    "arrays that are a list": Case(lambda _: arrays(channels=[VOLTS]), "flicker.read_log", lambda _: right(read_log(pd.DataFrame({"time_s": TIME_S, "left": VOLTS})))),
    "arrays of two lengths": Case(lambda _: arrays(channels={"left": VOLTS[:20]}), "of one length", lambda _: right(arrays())),
    "few samples": Case(lambda _: arrays(time_s=TIME_S[:5], channels={"left": VOLTS[:5]}), "too few", lambda _: right(arrays())),
    "roles of nobody": Case(lambda _: arrays(roles={"rear": "rail"}), "it has left", lambda _: right(arrays(roles={"left": "output"}))),
    "nanoseconds": Case(lambda _: arrays(time_s=TIME_S * 1e9), "divide nanoseconds by 1e9", lambda _: right(arrays(time_s=TIME_S * 1e9 / 1e9))),
    "zones": Case(
        lambda _: arrays(time_s=[t.replace(tzinfo=None) if k == 3 else t for k, t in enumerate(AFTER_NOON)]),
        "give all of them one",
        lambda _: right(arrays(time_s=[t - (t - AFTER_NOON[0]) / 2 for t in AFTER_NOON])),
    ),
    "a column that the case names": Case(lambda f: used(f, "rear"), "the columns are 'left'", lambda f: used(f, "left")),
    "a case without outputs": Case(used, "role 'output'", lambda f: used(f, "left")),
    # marks
    "kind of mark": marks_of("time,kind\n5,tuched\n", "did you mean 'touched'", "time,kind\n5,touched\n"),
    "a stimulus as a kind": marks_of("time,kind\n5,tapped\n", "write 'stimulus: tapped'", "time,kind\n5,stimulus: tapped\n"),
    "marks without time": marks_of("when,kind\n5,touched\n", "must read time,kind", "time,kind\n5,touched\n"),
    "marks with a column too many": marks_of("time,kind,colour\n5,touched,red\n", "not a column of marks", "time,kind,text\n5,touched,red\n"),
    "marks with a cell too many": marks_of("time,kind,text\n5,touched,a,b\n", "put the text in double quotes", 'time,kind,text\n5,touched,"a,b"\n'),
    "mark without time": marks_of("time,kind\n,touched\n", "time is empty", "time,kind\n5,touched\n"),
    "mark outside": marks_of("time,kind\n5000,touched\n", "lies outside the log", "time,kind\n5,touched\n"),
    "mark at noon": marks_of("time,kind\nnoon,touched\n", "a time like 2026-03-05 10:00:00", "time,kind\n2026-03-05 10:00:05,touched\n"),
    "mark of a day unknown": marks_of("time,kind\n10:00:05,touched\n", "give seconds", "time,kind\n5,touched\n", GOOD),
    "mark that ends before": marks_of("time,kind,until\n5,stimulus,4\n", "is before time", "time,kind,until\n5,stimulus,6\n"),
    "marks that overlap": marks_of("time,kind,until\n5,stimulus,9\n7,stimulus,12\n", "end the first before", "time,kind,until\n5,stimulus,7\n7,stimulus,12\n"),
    "mark of nobody": marks_of("time,kind,channel\n5,touched,rear\n", "leave empty for all", "time,kind,channel\n5,touched,\n"),
    "no marks there": Case(lambda f: read_marks(f / "x.csv", read_log(put(f, GOOD))), "cannot be read", lambda f: marked(f, "time,kind\n5,touched\n")),
    "marks that are no text": Case(
        lambda f: (put(f, GOOD), read_marks(put(f, b"time,kind,text\n5,touched,\xff\n", "m.csv"), read_log(f / "bench.csv"))), "save them as CSV in UTF-8", lambda f: marked(f, "time,kind\n5,touched\n")
    ),
    "a mark in a column": Case(lambda f: in_column(f, ["tuched" if k == 10 else "" for k in range(N)]), "did you mean", lambda f: in_column(f, ["touched" if k == 10 else "" for k in range(N)])),
    "when": Case(lambda _: seconds_ago("soon"), "like 20s, 2min or 1h", lambda _: seconds_ago("20s") == 20.0),
    "in future": Case(lambda f: appended(f, ago_s=-5.0), "0 or more", lambda f: appended(f, ago_s=5.0)),
    "before the log": Case(lambda f: appended(f, ago_s=5000.0), "before the log's first sample", lambda f: appended(f, ago_s=5.0)),
    "beside bad marks": Case(lambda f: appended(f, beside=b"\xff\xfe\xff"), "cannot be read", lambda f: appended(f, beside="time,kind,channel,until,text\n")),
    "marks lack a column": Case(lambda f: appended(f, beside="time,kind\n"), "add it to their first line", lambda f: appended(f, beside="time,kind,text\n")),
    "another unit further down": Case(lambda f: read_log(put(f, GOOD + "# Unit: V\n" + GOOD.split("\n", 1)[1])), "split the file there", lambda f: right(read_log(put(f, GOOD)))),
    # logs that grow
    "watch nothing": Case(lambda f: GrowingLog(f / "a.csv").poll(), "there is no such file", followed),
    "watch a device": Case(lambda f: GrowingLog("/dev/null").poll(), "write the log to a file first", followed),
    "watch a folder": Case(lambda f: GrowingLog(f).poll(), "cannot be read", followed),
    "watch a line without end": Case(lambda f: watched(f, "7" * (5 << 20)), "write the readings in lines", followed),
    "watch lines that end in CR": Case(lambda f: watched(f, GOOD.replace("\n", "\r")), "set the logger to that", followed),
    "watch UTF-16": Case(lambda f: watched(f, GOOD.encode("utf-16")), "UTF-8 or ASCII", followed),
    "watch a table": Case(lambda f: watched(f, b"PAR1" + b"\n" * 99), "logs that grow by lines", followed),
    "watch channels by turns": Case(lambda f: watched(f, LONG), "one column for each channel", followed),
    "watch another log": Case(replaced, "Watch it by itself", followed),
    "watch rows of another shape": Case(lambda f: grown(f, "0.5,1,2,3\n" * 20), "From there on nothing can be judged", followed),
    "watch below a heading without time": Case(lambda f: grown(f, "note,left_mV\n" + "ok,1.5\n" * 20), "on nothing can be judged", followed),
    # files that are written
    "write to a folder": Case(lambda f: write_whole(f, "x", what="table"), "give the name of a file", lambda f: write_whole(f / "a.csv", "x", what="table")),
    "write over another file": Case(
        lambda f: write_whole(put(f, GOOD, "log.csv"), "<!doctype html>", what="page"), "choose another name", lambda f: write_whole(f / "page.html", "<!doctype html>", what="page")
    ),
    "write to no folder": Case(lambda f: write_whole(f / "no" / "a.csv", "x", what="table"), "there is no folder no", lambda f: ((f / "no").mkdir(), write_whole(f / "no" / "a.csv", "x", what="table"))),
}  # fmt: skip


CASES = FILES | OTHERS | (WORKBOOKS if READS_WORKBOOKS else {})


@pytest.mark.parametrize("name", CASES)
def test_the_advice_is_followed_to_a_right_log(name: str, tmp_path: Path):
    case = CASES[name]
    with pytest.raises(LogError) as refused:
        case.wrong(tmp_path)
    assert case.said in str(refused.value)
    case.right(tmp_path)


def test_the_advice_that_options_answer_names_them_all(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    """A second question after the first is told with it; one line of options settles both, and `look` shows it."""
    late = ["2.500" if k == SLOW - 9 else "12" for k in range(SLOW)]
    path = put(tmp_path, table("left;right_mV;day", [7] * SLOW, late, ["pear"] * SLOW, sep=";"))
    with pytest.raises(LogError) as refused:
        read_log(path)
    settle = "--sample-interval S --unit \"left=V|mV\" --decimal .|,"
    plan = look(path)
    assert set(plan.settle.split()) == set(settle.split())
    assert str(refused.value).endswith(f"All in one go: {plan.settle}.")
    assert plan.missing in str(refused.value)




def sites() -> dict[tuple[str, int, int], str]:
    """Every place in `flicker.logs` that makes a refusal: file, first and last line; its source."""
    out = {}
    for path in sorted(LOGS.rglob("*.py")):
        source = path.read_text(encoding="utf-8")
        for node in ast.walk(ast.parse(source)):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") in ("LogError", "Question"):
                out[str(path), node.lineno, node.end_lineno or 0] = ast.unparse(node)[:160]
    return out


def test_every_refusal_has_a_case(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    made: set[tuple[str, int]] = set()

    def noted(self: LogError, *_: Any) -> None:
        frame = inspect.currentframe().f_back
        frame = frame.f_back if "sentence" in frame.f_locals and frame.f_code.co_name == "__init__" else frame  # type: ignore[assignment]
        made.add((frame.f_code.co_filename, frame.f_lineno))

    monkeypatch.setattr(LogError, "__init__", noted)
    for number, case in enumerate(BY_OPTIONS.values()):
        path = put(tmp_path, case.text, f"{number}.csv")
        with pytest.raises(LogError):
            read_log(path, **case.first)
    for number, other in enumerate(CASES.values()):
        folder = tmp_path / f"case {number}"
        folder.mkdir()
        with pytest.raises(LogError):
            other.wrong(folder)
    without = {
        f"{Path(file).relative_to(LOGS)}: {source}"
        for (file, first, last), source in sites().items()
        if not any(name == file and first <= line <= last for name, line in made)
        and (READS_WORKBOOKS or not file.endswith("workbook.py"))
    }
    assert not without, "\n".join(sorted(without))
