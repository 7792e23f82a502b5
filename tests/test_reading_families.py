"""Small logs, one for each way in which loggers write units, times, numbers and columns. All data here are invented.

Truth is known because each file is written from it here; the families are those in which readers go wrong in silence.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pytest
from pyarrow import parquet

from flicker.logs.model import LogError
from flicker.logs.reading import open_source, read_log, wishes_of

N = 60
rng = np.random.default_rng(5)
L = np.round(12 + rng.normal(0, 0.5, N), 1)
R = np.round(-4 + rng.normal(0, 0.5, N), 1)  # mV
L[30] = 2500.0
T = [0.5 * k for k in range(N)]


def tab(header, cols, sep=",", before="", after="", end="\n"):
    rows = [sep.join(str(c) for c in r) for r in zip(*cols, strict=True)]
    return before + ((header + end) if header is not None else "") + end.join(rows) + end + after


def stamps(fmt, start=datetime(2026, 3, 5, 23, 59, 50), step=0.5):
    return [(start + timedelta(seconds=step * k)).strftime(fmt) for k in range(N)]


TS = stamps("%Y-%m-%d %H:%M:%S.%f")


@dataclass
class Case:
    """A file and its truth: volts of one channel or two, seconds, or the word that its refusal must hold."""

    text: str
    left: Any
    right: Any
    time: Any
    ask: str | None
    start: datetime | None
    names: tuple[str, ...] | None
    options: dict[str, Any] = field(default_factory=dict)


CASES: dict[str, Case] = {}


def add(name, text, left=L / 1e3, right=R / 1e3, time=None, ask=None, start=None, names=None, **options):
    assert name not in CASES, name
    CASES[name] = Case(text, left, right, np.array(T) if time is None else time, ask, start, names, options)


def mv(v):
    return f"{v:.1f}"


# family 1
add(
    "unit col",
    tab(
        "Time,Value,Unit",
        [TS, [mv(v) if v < 1000 else f"{v / 1e3:.3f}" for v in L], ["mV" if v < 1000 else "V" for v in L]],
    ),
    right=None,
)
add(
    "unit col 2",
    tab(
        "Time,Left,Unit,Right,Unit",
        [
            TS,
            [mv(v) if v < 1000 else f"{v / 1e3:.3f}" for v in L],
            ["mV" if v < 1000 else "V" for v in L],
            [mv(v) for v in R],
            ["mV"] * N,
        ],
    ),
)
add(
    "unit col DC",
    tab(
        "Time;Messwert;Einheit",
        [
            TS,
            [mv(v).replace(".", ",") if v < 1000 else f"{v / 1e3:.3f}".replace(".", ",") for v in L],
            ["mV DC" if v < 1000 else "V DC" for v in L],
        ],
        sep=";",
    ),
    right=None,
)
add(
    "unit col nohead",
    tab(None, [TS, [mv(v) if v < 1000 else f"{v / 1e3:.3f}" for v in L], ["mV" if v < 1000 else "V" for v in L]]),
    right=None,
)
add(
    "unit col + --unit",
    tab(
        "Time,Value,Unit",
        [TS, [mv(v) if v < 1000 else f"{v / 1e3:.3f}" for v in L], ["mV" if v < 1000 else "V" for v in L]],
    ),
    right=None,
    ask="leave out unit",
    unit="mV",
)
add("one unit col 2 ch", tab("Time,Left,Right,Unit", [TS, [mv(v) for v in L], [mv(v) for v in R], ["mV"] * N]))
# family 2
for h in [
    "mV left,mV right",
    "mV_left,mV_right",
    "leftmV,rightmV",
    "left [mV] avg,right [mV] avg",
    "left_mV_raw,right_mV_raw",
    "U1 [mV] eff,U2 [mV] eff",
    "LeftMillivolts,RightMillivolts",
    "Left (in mV),Right (in mV)",
    "left/mV,right/mV",
    "Left mVDC,Right mVDC",
]:
    add("hdr " + h, tab("time_s," + h, [T, L, R]))
for b in [
    "all values in mV\n",
    "# all values in mV\n",
    "Units: mV\n",
    "Unit,mV\n",
    "Readings in millivolts\n",
    "Einheit: mV\n",
    "Voltage unit = mV\n",
    "# units: s, mV, mV\n",
    "CH left unit: mV\nCH right unit: mV\n",
    "Data [mV]\n",
]:
    add("pre " + b.strip(), tab("time_s,left,right", [T, L, R], before=b))
add("units row", tab("time,left,right\ns,mV,mV", [T, L, R]))
add("units row br", tab("time,left,right\n[s],[mV],[mV]", [T, L, R]))
add("units row date", tab("Time,Left,Right\nyyyy-mm-dd hh:mm:ss,mV,mV", [TS, L, R]))
add("contradict", tab("time_s,left_mV,right_mV", [T, L, R], before="all values in V\n"), ask="unit='V' or unit='mV'")
add("contradict told", tab("time_s,left_mV,right_mV", [T, L, R], before="all values in V\n"), unit="mV")
# 3
add("none mV", tab("time_s,left,right", [T, L, R]), ask="unit='V'")
add("none V", tab("time_s,left,right", [T, [f"{v / 1e3:.5f}" for v in L], [f"{v / 1e3:.5f}" for v in R]]))
add("none rail", tab("time_s,left,right", [T, [48.3] * N, [0.1] * N]), ask="unit='V'")


# 4
def long(units=True, names=("left", "right"), sep=",", h="Time,Channel,Value,Unit"):
    rows = []
    for k in range(N):
        for n, v in zip(names, (L[k], R[k]), strict=True):
            if units and abs(v) >= 1000:
                rows.append((TS[k], n, f"{v / 1e3:.3f}", "V"))
            else:
                rows.append((TS[k], n, mv(v), "mV"))
    return h.rsplit(",", 0 if units else 1)[0] + "\n" + "\n".join(sep.join(r if units else r[:3]) for r in rows) + "\n"


add("long unit", long())
add("long header unit", long(False, h="Time,Channel,Value_mV,x"))
add("long ints", long(names=("1", "2")), names=("1", "2"))
add("long nohead", long(h="")[1:])
add(
    "long stacked",
    "Time,Channel,Value_mV\n"
    + "".join(f"{TS[k]},left,{L[k]}\n" for k in range(N))
    + "".join(f"{TS[k]},right,{R[k]}\n" for k in range(N)),
)
add(
    "long stagger",
    "Time_s,Channel,Value_mV\n"
    + "".join(f"{0.5 * k},left,{L[k]}\n{0.5 * k + 0.2:.1f},right,{R[k]}\n" for k in range(N)),
)
add(
    "long key units",
    "Time_s,Signal,Value\n" + "".join(f"{0.5 * k},left (mV),{L[k]}\n{0.5 * k},right (mV),{R[k]}\n" for k in range(N)),
)
add(
    "long temp",
    "Time_s,Channel,Value,Unit\n"
    + "".join(f"{0.5 * k},left,{L[k]},mV\n{0.5 * k},right,{R[k]},mV\n{0.5 * k},room,23.5,°C\n" for k in range(N)),
)
# 5
ROWS = list(range(N))
add("index iv", tab("Sample,left_mV,right_mV", [ROWS, L, R], before="Sample interval: 0.5 s\n"))
add("index iv2", tab("Sample,left_mV,right_mV", [ROWS, L, R], before="Interval,00:00:00.5\n"))
add("rate", tab("No.,left_mV,right_mV", [ROWS, L, R], before="Sampling rate: 2 Hz\n"))
add("rate2", tab("No.,left_mV,right_mV", [ROWS, L, R], before="# 2 samples per second\n"))
add("rate3", tab("left_mV,right_mV", [L, R], before="Abtastrate: 2/s\n"))
add("index none", tab("Sample,left_mV,right_mV", [ROWS, L, R]), ask="sample_interval_s")
add("blank head", tab(",left_mV,right_mV", [ROWS, L, R]), ask="sample_interval_s")
add("blank head told", tab(",left_mV,right_mV", [ROWS, L, R]), sample_interval_s=0.5)
add("bare time", tab("time,left_mV,right_mV", [T, L, R]), ask="time_unit")
add("ms counter", tab("millis,left_mV,right_mV", [[500 * k for k in ROWS], L, R]))
add("counter_ms", tab("counter_ms,left_mV,right_mV", [[500 * k for k in ROWS], L, R]))
add("minutes", tab("time [min],left_mV,right_mV", [[f"{0.5 * k / 60:.9f}" for k in ROWS], L, R]))
add(
    "excel days",
    tab("Date,left_mV,right_mV", [[f"{46086.5 + 0.5 * k / 86400:.9f}" for k in ROWS], L, R]),
    start=datetime(2026, 3, 5, 12),
)
add(
    "excel days2",
    tab("time,left_mV,right_mV", [[f"{46086.5 + 0.5 * k / 86400:.9f}" for k in ROWS], L, R]),
    start=datetime(2026, 3, 5, 12),
)
add("tod", tab("time,left_mV,right_mV", [[f"{0.5 + 0.5 * k / 86400:.10f}" for k in ROWS], L, R]))
add(
    "julian",
    tab("JD,left_mV,right_mV", [[f"{2461105.0 + 0.5 * k / 86400:.9f}" for k in ROWS], L, R]),
    start=datetime(2026, 3, 5, 12),
)
add("ticks", tab("timestamp,left_mV,right_mV", [[639000000000000000 + 5000000 * k for k in ROWS], L, R]))
add("filetime", tab("timestamp,left_mV,right_mV", [[134169120000000000 + 5000000 * k for k in ROWS], L, R]))
add("labview", tab("timestamp,left_mV,right_mV", [[3855600000 + 0.5 * k for k in ROWS], L, R]))
add("scope", tab("X,CH1,CH2\nSequence,mV,mV", [ROWS, L, R], before="Increment,0.5 s\n"))
add("ms iv", tab("time,left_mV,right_mV", [[500 * k for k in ROWS], L, R], before="Interval: 0.5 s\n"))
add("idx+time", tab("No.,time_s,left_mV,right_mV", [ROWS, T, L, R]))
add("cells s", tab("time,left_mV,right_mV", [[f"{t} s" for t in T], L, R]))
add("hdr unit pre", tab("time,left_mV,right_mV", [T, L, R], before="Time in s\n"))


# 6
def q(v):
    return f'"{v:,.1f}"' if abs(v) >= 1000 else mv(v)


add("quote th", tab("time_s,left_mV,right_mV", [T, [q(v) for v in L], R]))
add("unq th", tab("time_s,left_mV,right_mV", [T, [f"{v:,.1f}" for v in L], R]))
add("semi th", tab("time_s;left_mV;right_mV", [T, [f"{v:,.1f}" for v in L], R], sep=";"))


def de(v):
    return f"{v:,.1f}".translate(str.maketrans(",.", ".,"))


add("de th", tab("time_s;left_mV;right_mV", [[de(t) for t in T], [de(v) for v in L], [de(v) for v in R]], sep=";"))
W = np.round(L)
add(
    "2.500 whole",
    tab(
        "time_ms;left_mV;right_mV",
        [[500 * k for k in ROWS], [f"{int(v):,}".replace(",", ".") for v in W], [int(v) for v in np.round(R)]],
        sep=";",
    ),
    left=W / 1e3,
    right=np.round(R) / 1e3,
    ask="decimal",
)
add(
    "2,500 whole",
    tab(
        "time_ms;left_mV;right_mV",
        [[500 * k for k in ROWS], [f"{int(v):,}" for v in W], [int(v) for v in np.round(R)]],
        sep=";",
    ),
    ask="decimal",
)
add(
    "2,500 whole told",
    tab(
        "time_ms;left_mV;right_mV",
        [[500 * k for k in ROWS], [f"{int(v):,}" for v in W], [int(v) for v in np.round(R)]],
        sep=";",
    ),
    left=W / 1e3,
    right=np.round(R) / 1e3,
    decimal=".",
)
add(
    "2,500 unq whole",
    tab(
        "time_ms,left_mV,right_mV", [[500 * k for k in ROWS], [f"{int(v):,}" for v in W], [int(v) for v in np.round(R)]]
    ),
    left=W / 1e3,
    right=np.round(R) / 1e3,
)
add("apos", tab("time_s;left_mV;right_mV", [T, [f"{v:,.1f}".replace(",", "'") for v in L], R], sep=";"))
add("nbsp", tab("time_s;left_mV;right_mV", [T, [f"{v:,.1f}".replace(",", "\u202f") for v in L], R], sep=";"))
add(
    "comma comma",
    "time_s,left_mV,right_mV\n"
    + "\n".join(",".join(f"{x:.1f}".replace(".", ",") for x in r) for r in zip(T, L, R, strict=True))
    + "\n",
)
# 7
B = [3.7] * N
add("battery", tab("time_s,left_mV,right_mV,battery_V", [T, L, R, B]))
add("minmax", tab("time_s,left_mV,left_min_mV,left_max_mV,left_avg_mV,right_mV", [T, L, L - 1, L + 1, L, R]))
add("unit col minmax", tab("Time,Value,Min,Max,Avg,Unit", [TS, L, L - 1, L + 1, L, ["mV"] * N]), right=None)
add("sign", tab("time_s,sign,left_mV", [T, ["+" if v >= 0 else "-" for v in R], np.abs(R)]), left=R / 1e3, right=None)
add("range", tab("time_s,left_mV,right_mV,range", [T, L, R, ["400 mV"] * N]))
add("mode ac", tab("time_s,left_mV,mode", [T, L, ["AC"] * N]), right=None, ask="alternating")
add("mode dc", tab("time_s,left_mV,right_mV,Function", [T, L, R, ["DCV"] * N]))
add("chan C D", tab("time_s,Channel C,Channel D", [T, L, R], before="Unit: mV\n"), names=("Channel C", "Channel D"))
add("Reading", tab("time_s,Reading (mV)", [T, L]), right=None)
add("Messwert", tab("Zeit;Messwert [mV]", [TS, [mv(v).replace(".", ",") for v in L]], sep=";"), right=None)
add("Tempo", tab("Tempo (s);left_mV;right_mV", [T, L, R], sep=";"))
for h in ["room_C", "room (°C)", "T_room", "ambient", "temp"]:
    add("temp " + h, tab("time_s,left_mV,right_mV," + h, [T, L, R, [23.1] * N]))
    add("temp nu " + h, tab("time_s,left,right," + h, [T, L, R, [23.1] * N], before="values in mV\n"))
add("adc", tab("time_s,adc_left,adc_right", [T, [512] * N, [513] * N]), ask="volts_per_count")
# scales that are no whole part of 1: 5 V in 1,024 steps, any interval
for scale in (0.0048828125, 0.000152587890625, 0.3, 0.75, 0.01, 1.5):
    add(f"counts of {scale} V", tab("time_s,adc_left", [T, range(N)]), scale * np.arange(N), right=None, volts_per_count=scale)
for step in (0.4, 0.3, 0.7, 0.05, 1.3):
    add(f"a counter, {step} s by the heading", tab("Sample,left_mV,right_mV", [range(N), L, R], before=f"Sample interval: {step} s\n"), time=step * np.arange(N))
add("status", tab("time_s,left_mV,right_mV,status", [T, L, R, ["OK"] * N]))


# 8
def d(fmt, start, step):
    return [(start + timedelta(seconds=step * k)).strftime(fmt) for k in range(N)]


add(
    "26-03-04",
    tab("time,left_mV,right_mV", [stamps("%y-%m-%d %H:%M:%S.%f"), L, R]),
    start=datetime(2026, 3, 5, 23, 59, 50),
)
add(
    "26-03-04 ask",
    tab("time,left_mV,right_mV", [stamps("%y-%m-%d %H:%M:%S.%f", datetime(2026, 3, 5, 10)), L, R]),
    ask="date_order",
)
add(
    "26-03-04 told",
    tab("time,left_mV,right_mV", [stamps("%y-%m-%d %H:%M:%S.%f", datetime(2026, 3, 5, 10)), L, R]),
    start=datetime(2026, 3, 5, 10),
    date_order="ymd",
)
add(
    "mdy hdr",
    tab(
        "Date (mm/dd/yyyy),Time,left_mV,right_mV",
        [stamps("%m/%d/%Y", datetime(2026, 3, 5, 10)), stamps("%H:%M:%S.%f", datetime(2026, 3, 5, 10)), L, R],
    ),
    start=datetime(2026, 3, 5, 10),
)
add(
    "de months",
    tab("Zeit;left_mV;right_mV", [[s.replace("Mar", "Mär") for s in stamps("%d. %b %Y %H:%M:%S.%f")], L, R], sep=";"),
    start=datetime(2026, 3, 5, 23, 59, 50),
)
add(
    "14 digits",
    tab("Time,left_mV,right_mV", [stamps("%Y%m%d%H%M%S", step=1), L, R]),
    time=np.arange(N) * 1.0,
    start=datetime(2026, 3, 5, 23, 59, 50),
)
# 10
add("footer avg", tab("time_s,left_mV,right_mV", [T, L, R], after="Average,12.3,-4.0\nMax,2500.0,-3.0\n"))
add(
    "footer avg stamps",
    tab("Time,left_mV,right_mV", [stamps("%d.%m.%Y %H:%M:%S.%f"), L, R], after="Average,12.3,-4.0\n"),
)
add("footer iso", tab("Time,left_mV,right_mV", [TS, L, R], after="Average:,12.3,-4.0\n"))
add("footer odd", tab("time_s,left_mV,right_mV", [T, L, R], after="End of log\nSamples: 60\n"))
add(
    "header again units",
    tab("time,left,right\ns,mV,mV", [T, L, R]).replace("\n10.0,", "\ntime,left,right\ns,mV,mV\n10.0,"),
)
for word in ["OL.0"]:
    add(
        word,
        tab("time_s,left_mV,right_mV", [T, L, R]).replace(",2500.0,", f",{word},"),
        left=np.where(L == 2500, np.inf, L / 1e3),
    )
sg = {
    "- 4": lambda v: f"- {abs(v):.1f}",
    "(4)": lambda v: f"({abs(v):.1f})",
    "4-": lambda v: f"{abs(v):.1f}-",
    "en": lambda v: f"\u2013{abs(v):.1f}",
    "minus": lambda v: f"\u2212{abs(v):.1f}",
}
for n, f in sg.items():
    add("sign " + n, tab("time_s;left_mV;right_mV", [T, L, [f(v) if v < 0 else v for v in R]], sep=";"))
add(
    "cells mV",
    tab(
        "time,left,right",
        [[f"{t} s" for t in T], [f"{v} mV" if v < 1000 else f"{v / 1e3} V" for v in L], [f"{v} mV" for v in R]],
    ),
)
add("VDC sci", tab("time_s,left,right", [T, [f"{v / 1e3:+.4E}VDC" for v in L], [f"{v / 1e3:+.4E}VDC" for v in R]]))
add("text col", tab("t_s;left_mV;state", [T, L, ["OK"] * N], sep=";"), right=None)
add(
    "text col comma",
    tab(
        "t_s;left_mV;state",
        [[str(t).replace(".", ",") for t in T], [mv(v).replace(".", ",") for v in L], ["OK"] * N],
        sep=";",
    ),
    right=None,
)
add("text first", tab("state;t_s;left_mV", [["OK"] * N, T, L], sep=";"), right=None)

# a decimal sign that only rows behind the first 400 show, among whole numbers before it: asked, not taken for 2.5 mV
late = ["2.500" if k == 500 else "12" for k in range(700)]
add(
    "late 2.500",
    "time_ms;left_mV\n" + "".join(f"{500 * k};{v}\n" for k, v in enumerate(late)),
    ask="may hold a decimal sign",
)
# seconds since 1970, a second apart, under no header: no counter
add(
    "epoch bare",
    tab(None, [[1613254098 + k for k in range(N)], L, R], before="Unit: mV\n"),
    time=np.arange(N),
    start=datetime(2021, 2, 13, 22, 8, 18),
)
# the minus sign of typography before thousands that nobody quoted
big = [f"\u2212{1264.5 + k:,.1f}" if k == 40 else f"{v}" for k, v in enumerate(R)]
add("minus thousands", tab("time_s,left_mV,right_mV", [T, L, big]), right=np.where(np.arange(N) == 40, -1.3045, R / 1e3))
# where a word stands for a missing reading, an empty line is none
none = [("#N/A" if k == 20 else f"{v} mV") + ("\n" if k == 30 else "") for k, v in enumerate(L)]
add("blank lines", tab("left", [none]), left=np.where(np.arange(N) == 20, np.nan, L / 1e3), right=None, sample_interval_s=0.5)

# words with accents are the words that they are without
add(
    "m\u00e1x m\u00edn",
    tab("t_s;Izq. m\u00edn [mV];Izq. m\u00e1x [mV];Izq. media [mV]", [T, L - 1, L + 1, L], sep=";"),
    ask="what is short does not show in an average",
)
# a rule of dashes names no column
add("rule of dashes", tab("t_s | left_mV | right_mV\n--- | ---: | ---", [T, L, R], sep=" | "), names=("left", "right"))
# days in front of a time elapsed, as programs write spans of time
more = [timedelta(hours=23, minutes=59, seconds=40) + timedelta(seconds=k) for k in range(N)]
for name, form in {"1.02:03:04": "{d}.{clock}", "1 day, 2:03:04": "{d} days, {clock}", "1d 02:03:04": "{d}d {clock}"}.items():
    spans = [
        form.format(d=t.days, clock=f"{t.seconds // 3600:02d}:{t.seconds // 60 % 60:02d}:{t.seconds % 60:02d}") if t.days else
        f"{t.seconds // 3600:02d}:{t.seconds // 60 % 60:02d}:{t.seconds % 60:02d}"
        for t in more
    ]  # fmt: skip
    add("span " + name, tab("Elapsed;left_mV;right_mV", [spans, L, R], sep=";"), time=np.arange(N))
# zones by their letters; clocks are put back at 01:00 UTC, and no hour is read twice
summer = [f"2026-10-25 02:59:{40 + k} CEST" if k < 20 else f"2026-10-25 02:00:{k - 20:02d} CET" for k in range(N)]
add("zone", tab("time,left_mV,right_mV", [summer, L, R]), time=np.arange(N), start=datetime(2026, 10, 25, 0, 59, 40))

# a first row with a word that no logger of ours writes is a row, not a heading: asked about, not left out
for name, first in {"number": T, "stamp": TS}.items():
    add(f"first row {name}", tab("Zeit;left_mV;right_mV", [first, ["Messwert", *L[1:]], R], sep=";"), ask="line 2.*is not a number", time_unit="s")
add("first row OL", tab("left_mV", [["OL", *L[1:]]]), left=np.where(np.arange(N) == 0, np.inf, L / 1e3), right=None, sample_interval_s=0.5)
# a time without a name, each time twice, beside a column that names the channel
add("long, time bare", tab(None, [[500 * (k // 2) for k in range(2 * N)], ["left", "right"] * N, np.ravel([L, R], "F"), ["mV"] * 2 * N], sep=" "), time_unit="ms")

# one column of decimal commas with the unit behind: the comma parts no cells
noted = [f"{v} mV{';relay clicked' if k == 50 else ''}" for k, v in enumerate(L)]
add("one column, a note behind", tab("Main", [noted]), right=None, sample_interval_s=0.5)
add("one column, comma, unit", tab("Main", [[f"{v} mV".replace(".", ",") for v in L]]), right=None, sample_interval_s=0.5)

# a comma before a word parts two cells; a fraction of a second behind a decimal comma belongs to the time
add("whole numbers, a word behind", tab("left,Function", [[round(v) for v in L], ["DCV"] * N]), left=np.round(L) / 1e3, right=None, sample_interval_s=0.5, unit="mV")
commas = [[f"{v:.1f}".replace(".", ",") for v in side] for side in (L, R)]
add("time and readings with decimal commas", tab("Zeitpunkt,left_mV,right_mV", [[t[:-3].replace(".", ",") for t in TS], *commas]), start=datetime(2026, 3, 5, 23, 59, 50), decimal=",")
# decimal commas between commas: a counter's digits are of no steady number, fractions are; without a header it is asked
add("decimal commas and a counter", tab("Time,left (mV),Row", [[f"0:00:{k:02d}" for k in range(N)], commas[0], range(1, N + 1)]), right=None, time=np.arange(N))
epochs = [1590666513 + k for k in range(N)]
bare = tab(None, [epochs, ["NaN" if k == 7 else v for k, v in enumerate(commas[0])], commas[1]])
add("decimal commas without a header", bare, ask="commas part the cells", unit="mV")
add("decimal commas without a header, told", bare, left=np.where(np.arange(N) == 7, np.nan, L / 1e3), time=np.arange(N), unit="mV", decimal=",")

add("a sign seen late, the unit behind", tab("time_s;left_mV", [range(900), ["-1.244 mV" if k == 880 else "-11 mV" for k in range(900)]], sep=";"), ask="--decimal", time_unit="s")

# beside a reading with a unit, its count has none; beside known averages of it too (fresh_exports: statistics)
add("a count of readings", tab("time_s,Left [mV],Left (n),Right [mV],Right_Anzahl", [T, L, [20] * N, R, [20] * N]))
# names of outputs over those of quantities, said once or over each
for name, over in {"once": ";left;;;right;;", "each": ";left;left;left;right;right;right"}.items():
    six = [s + d for s in (L, R) for d in (0, -1, 1)]
    add(f"outputs over quantities, {name}", tab(f"{over}\ntime_s;value [mV];low [mV];high [mV];value [mV];low [mV];high [mV]", [T, *six], sep=";"),
        names=("left value", "right value"), channels=["left value", "right value"])  # fmt: skip
add("a date whose unit is a dash", tab("dt (s): 1\n\nDate;left;right\n-;mV;mV", [[f"{43790.5 + k / 86400:.8f}" for k in range(N)], L, R], sep=";"), time=np.arange(N), start=datetime(2019, 11, 21, 12))
# the moment or the date above, where the rows count or tell the time of day alone
began = datetime(2026, 3, 5, 23, 59, 50)
add("start above", tab("Scan;left_mV;right_mV", [range(N), L, R], sep=";", before="Beginn: 2026-03-05 23:59:50\nInterval: 0,5 s\n\n"), start=began)
add("date above", tab("Zeit;left_mV;right_mV", [stamps("%H:%M:%S.%f"), L, R], sep=";", before="Log date: 5 Mar 2026\n\n"), start=began)
add("date above in two ways", tab("Zeit;left_mV;right_mV", [stamps("%H:%M:%S.%f"), L, R], sep=";", before="Log date: 05/03/2026\n\n"))
add("date of export above", tab("Zeit;left_mV;right_mV", [stamps("%H:%M:%S.%f"), L, R], sep=";", before="Exported: 2026-03-06\n\n"))
add("compact date and time", tab("Datum;Zeit;left_mV;right_mV", [stamps("%Y%m%d", step=1.0), stamps("%H%M%S", step=1.0), L, R], sep=";"), time=np.arange(N), start=began)
add("time before the date", tab("when;left_mV;right_mV", [stamps("%H:%M:%S %d.%m.%Y", step=1.0), L, R], sep=";"), time=np.arange(N), start=began)
add("fixed width, blanks in names", "t [s]         Left [mV]      Right [mV]\n" + "".join(f"{t:<14}{a:<15}{b}\n" for t, a, b in zip(T, L, R, strict=True)))
again = [*range(40), *range(25, N)]  # a buffer written twice: rows 25 to 39
add("rows written twice", tab("time,left_mV,right_mV", [[TS[k] for k in again], L[again], R[again]]), start=began)


# a unit in each cell and in a column beside is one unit, not two
RANGED = [f"{v / 1e3:g} V" if v > 1000 else f"{v} mV" for v in L]
add("units in cells and beside", tab("time_s,left,right,unit", [T, [f"{v} mV" for v in L], [f"{v} mV" for v in R], ["mV"] * N]))
add("ranged units in cells and beside", tab("time_s,left,unit", [T, RANGED, [cell.split()[1] for cell in RANGED]]), right=None)


def comma(values, digits=3):
    return [f"{v:.{digits}f}".replace(".", ",") for v in values]


# one column has a decimal point and another a comma: 10.500 is ten and a half, or ten thousand and five hundred
P = np.round(L + 10, 2)
for name, (header, columns) in {
    "time with points": ("time (s);left (mV)", [[f"{t + 10:.3f}" for t in T], comma(P, 2)]),
    "time with points from nought": ("time (s);left (mV)", [[f"{t:.3f}" for t in T], comma(P)]),
    "time with commas": ("time (s);left (mV)", [comma(T), [f"{v:.2f}" for v in P]]),
    "readings with commas": ("time (s);left (mV);right (mV)", [range(N), comma(P), [f"{v:.2f}" for v in R]]),
}.items():
    add(f"two decimal signs, {name}", tab(header, columns, sep=";"), ask="one decimal sign")
add("two decimal signs, below one", tab("time (s);left (V);right (V)", [range(N), [f"{v / 1e3:.4f}" for v in L], comma(np.abs(R) / 1e3)], sep=";"), ask="decimal sign")
add("thousands beside whole numbers", tab("time (s);left (mV);t (°C)", [range(N), [f"{v:,.0f}".replace(",", ".") for v in 500 + 10 * L], comma(P, 2)], sep=";"),
    (500 + 10 * L) / 1e3, None, np.arange(N))  # fmt: skip
# lines above that tell when a recording began or how long it was, and an interval that may be one of thousands
for line in ("Logging started: 10:15:00", "Logging duration: 1 h", "Logging period: 24 h", "Sample interval: 1,000 ms", "Messintervall: 1.000 ms",
             "Period: 2026-03-04 10:15:00 to 2026-03-04 11:15:00", "Total sampling: 00:10:00"):  # fmt: skip
    add(f"above: {line}", tab("left_mV,right_mV", [L, R], before=f"{line}\n"), ask="no column tells the time")
for line in ("Sample interval: 1.000 s", "Logging: 1 s", "Sampling period: 1000 ms", "Rate: 1 Hz"):
    add(f"above: {line}", tab("left_mV,right_mV", [L, R], before=f"{line}\n"), time=np.arange(N))
# counts without a unit whose size alone looks like a date: seconds of the day, of days awake, microseconds
for name, (first, step) in {"of the day": (40000, 0.5), "of the day, whole": (40000, 1), "awake": (2430000, 1), "of micro": (10**9, 500000)}.items():
    add(f"seconds {name}", tab("time,left_mV", [[f"{first + k * step:.10g}" for k in range(N)], L]), ask="time_unit")
# columns of signs as numbers
SIGNED = [tab("time_s,left_mV,sign", [T, np.abs(L), [f"{one}" if v > 0 else f"-{one}" for v in L - 12]]) for one in ("1", "1.0")]
for name, text in zip(("1", "1.0"), SIGNED, strict=True):
    add(f"signs of {name}", text, L / 1e3 * np.where(L > 12, 1, -1), None)
add("a sign of nought", tab("time_s,left_mV,sign", [T, L, [0 if k == 50 else 1 for k in range(N)]]), ask="sign")
# two meters joined, each with its own time
add("joined meters", tab("time_s,left_mV,time_s,right_mV", [T, L, [7 + 2 * t for t in T], R]), ask="pace of their own")
add("joined meters, stamps", tab("time A,left_mV,time B,right_mV", [TS, L, stamps("%Y-%m-%d %H:%M:%S.%f", step=0.7), R]), ask="pace of their own")
add("joined meters, told", tab("time A,left_mV,time B,right_mV", [TS, L, stamps("%Y-%m-%d %H:%M:%S.%f", step=0.7), R]), start=began, roles={"time B": "ignore"})
add("two zones beside", tab("local,left_mV,UTC,right_mV", [TS, L, stamps("%Y-%m-%d %H:%M:%S.%f", datetime(2026, 3, 5, 22, 59, 50)), R]), start=began)

# one row for each reading: channels read at times of their own, and several readings of each at one time
OWN = [(t, "left", v) for t, v in zip(T, L, strict=True)] + [(round(t + 0.15 + 0.5 * (k > 30), 2), "right", v) for k, (t, v) in enumerate(zip(T, R, strict=True))]
OWN_S = sorted({t for t, _, _ in OWN})
add("long, times of their own", tab("time_s,channel,reading_mV", zip(*sorted(OWN), strict=True)), time=OWN_S,
    left=[dict((t, v / 1e3) for t, c, v in OWN if c == "left").get(t, np.nan) for t in OWN_S],
    right=[dict((t, v / 1e3) for t, c, v in OWN if c == "right").get(t, np.nan) for t in OWN_S])  # fmt: skip
TWICE = [(2 * (k // 2), name, v) for k, pair in enumerate(zip(L, R, strict=True)) for name, v in zip(("left", "right"), pair, strict=True)]
add("long, several at one time", tab("time_s,channel,reading_mV", zip(*TWICE, strict=True)), time=np.arange(float(N)))
# a meter that changes its range names the channel in another unit from then on
BY_UNIT = [(t, f"{name} ({'mV' if k < 30 else 'V'})", v if k < 30 else round(v / 1e3, 6)) for k, row in enumerate(zip(T, L, R, strict=True)) for t, name, v in ((row[0], "left", row[1]), (row[0], "right", row[2]))]
add("long, a channel named in two units", tab("time_s,channel,value", zip(*BY_UNIT, strict=True)), names=("left", "right"))
add("long, both units at one time", tab("time_s,channel,value", zip(*[(t, f"left ({unit})", v / per) for t, v in zip(T, L, strict=True) for unit, per in (("mV", 1), ("V", 1e3))], strict=True)), ask="two units at one time")
for header in ("left mV (AC)", "left_mV [AC]"):
    add(f"alternating by its header: {header}", tab(f"time_s,{header}", [T, L]), ask="alternating voltage")

# time is counted as the lines above say, and such lines stand among the readings again
HALF_OF = tab("left_mV,right_mV", [L[:30], R[:30]])
for first, again in {"Interval: 0.5 s": "Interval: 2 s", "# Interval: 0.5 s": "# Interval: 2 s", "# Start: 2026-03-05 10:00:00\n# Interval: 0.5 s": "# Start: 2026-03-05 12:00:00"}.items():
    add(f"counted, then {again}", f"{first}\n{HALF_OF}{again}\n{HALF_OF}", ask="split the file")
add("counted, told twice", f"# Interval: 0.5 s\n{HALF_OF}# Interval: 0.5 s\n{HALF_OF}", np.tile(L[:30], 2) / 1e3, np.tile(R[:30], 2) / 1e3)
# a factor beside the unit, in a row of units or above: the numbers may hold it, or not
for header in ("time_s,left (0.1 mV)", "time_s,left [100 µV]", "time,left\ns,0.1 mV"):
    add(f"a factor in {header!r}", tab(header, [T, L]), ask="names a factor")
for line in ("Scale: 0.1", "Scale factor;0,1", "Probe: 10:1", "Attenuation = x10"):
    add(f"a factor above: {line}", tab("time_s,left_mV", [T, L], before=f"{line}\n"), ask="names a factor")
    add(f"a factor above, told: {line}", tab("time_s,left_mV", [T, L], before=f"{line}\n"), right=None, unit={"left": "mV"})
for line in ("Scale: 1", "Full scale: 10 V", "Probe: 1:1", "Vertical scale: 2 V/div", "Scale: linear"):
    add(f"no factor above: {line}", tab("time_s,left_mV", [T, L], before=f"{line}\n"), right=None)


@pytest.mark.parametrize("name", CASES)
def test_family(name: str, tmp_path: Path):
    case = CASES[name]
    path = tmp_path / "bench.csv"
    path.write_text(case.text, encoding="utf-8")
    if case.ask is not None:
        with pytest.raises(LogError, match=case.ask):
            read_log(path, **case.options)
        return
    log = read_log(path, **case.options)
    frame = log.to_frame()
    wanted = [case.left] if case.right is None else [case.left, case.right]
    assert len(log.channels) == len(wanted), (log.channels, log.runs[0].notes)
    for channel, volts in zip(log.channels, wanted, strict=True):
        np.testing.assert_allclose(frame[channel], volts, rtol=1e-9, atol=1e-12)
    np.testing.assert_allclose(frame["time_s"], case.time, atol=2e-3)
    if case.start is not None:
        assert log.runs[0].start is not None
        assert log.runs[0].start.replace(tzinfo=None) == case.start
    if case.names is not None:
        assert log.channels == case.names


def test_cells_apart_by_spaces_with_decimal_commas_and_a_column_of_signs(tmp_path):
    """Cut at the commas 2.7 V would read as 4 mV: the names above fall into as many cells as the rows (invented file)."""
    rows = [(k * 0.5, -5.8e-3 - 1e-4 * (k % 7)) for k in range(200)]
    rows[120] = (60.0, 2.7164)
    lines = ["Tempo_[s]  Sign  L_mV"]
    for t, volts in rows:
        lines.append(f"{t:.1f}  {'+' if volts > 0 else '-'}  {abs(volts) * 1e3:.1f}".replace(".", ","))
    path = tmp_path / "log.txt"
    path.write_text("\n".join(lines) + "\n")
    log = read_log(path)
    values = np.concatenate([batch.values[0] for batch in log.sweep()])
    assert log.channels == ("L",)
    assert values.max() == pytest.approx(2.7164) and np.median(values) == pytest.approx(-6.1e-3, abs=2e-4)


def test_cells_apart_by_spaces_with_decimal_commas_and_words_beside(tmp_path):
    """Half of the cells are words; the names above still fall into as many cells as each row (invented file)."""
    lines = ["Sample rate: 2 Hz", "", "Sign  left  Unit  State"]
    lines += [f"-  {18 + 0.01 * (k % 9):.2f}  mV  OK".replace(".", ",") for k in range(200)]
    lines[100] = "+  2378,68  mV  OK"
    path = tmp_path / "log.txt"
    path.write_text("\n".join(lines) + "\n")
    values = np.concatenate([batch.values[0] for batch in read_log(path).sweep()])
    assert values.max() == pytest.approx(2.37868) and np.median(values) == pytest.approx(-0.01804, abs=1e-5)


def test_an_average_that_is_read_without_its_extremes_is_told(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text(tab("time_s,left_min_mV,left_max_mV,left_mean_mV", [T, L - 1, L + 1, L]))
    (told,) = [note for note in read_log(path, channels=["left_mean_mV"]).runs[0].notes if "extremes" in note]
    assert "left_min_mV" in told and "left_max_mV" in told
    (told,) = [note for note in read_log(path, channels=["left_max_mV"]).runs[0].notes if "extremes" in note]
    assert "left_min_mV" in told and "the other way" in told
    assert not [n for n in read_log(path, channels=["left_mean_mV", "left_min_mV", "left_max_mV"]).runs[0].notes if "extremes" in n]
    for named, partial in (
        (["left_mean_mV", "left_min_mV", "left_max_mV"], ("left_mean",)),
        (["left_min_mV", "left_max_mV"], ()),
        (["left_max_mV"], ("left_max",)),
    ):
        assert read_log(path, channels=named).runs[0].averaged == partial


@pytest.mark.parametrize("times", ["blank", "twice"])
def test_marks_keep_their_rows_where_rows_get_a_time_or_are_left_out(times: str, tmp_path: Path):
    """Rows without a time that get one count as rows, and rows that were written twice do not (invented)."""
    rows = [(f"2026-03-05 10:00:{k:02d}", v, "tap" if k in (40, 41) else "") for k, v in enumerate(L)]
    if times == "blank":
        rows[3:6] = [("", *row[1:]) for row in rows[3:6]]
    else:
        rows[10:10] = rows[5:10]
    path = tmp_path / "bench.csv"
    path.write_text(tab("time,left_mV,mark", zip(*rows, strict=True)))
    (entry,) = open_source(path, wishes_of()).entries
    assert (entry.first, entry.last, entry.first_s, entry.last_s) == (40, 41, 40.0, 41.0)


def test_an_empty_line_is_a_reading_that_is_missing_at_a_block_s_border_too(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """One line in nine is empty; the file is read in blocks of 64 bytes, so that some begin with an empty one (invented)."""
    monkeypatch.setattr("flicker.logs.reading.files.BLOCK_BYTES", 64)
    monkeypatch.setattr("flicker.logs.reading.files.SNIFF_BYTES", 1024)
    values = [f"{12 + k % 7}.5" if k % 9 else "" for k in range(1, 900)]
    path = tmp_path / "bench.csv"
    path.write_text("left (mV)\n" + "\n".join(values) + "\n")
    source = open_source(path, wishes_of(sample_interval_s=1.0))
    assert any(f"{values.count('')} empty lines" in note for note in source.notes)
    (read,) = zip(*(batch.values for batch in source.batches()), strict=True)
    np.testing.assert_allclose(np.concatenate(read), [float(v) / 1e3 if v else np.nan for v in values])


def test_two_meters_joined_in_a_table_are_asked_about(tmp_path: Path):
    """Two columns of moments at different paces in one Parquet file (invented)."""
    start = np.datetime64("2026-03-05T10:00:00", "us")
    own, other = (start + (1e6 * step * np.arange(N)).astype("timedelta64[us]") for step in (0.5, 0.7))
    for name, second, asked in (("apart", other, True), ("alike", own + np.timedelta64(1, "h"), False)):
        path = tmp_path / f"{name}.parquet"
        parquet.write_table(pa.table({"time A": own, "left_mV": L, "time B": second, "right_mV": R}), path)
        if asked:
            with pytest.raises(LogError, match="pace of their own"):
                read_log(path)
        else:
            assert read_log(path).channels == ("left", "right")
