"""Files for `fresh_reading` in which two things are mixed, or a line above says something else than it seems. All data are invented."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime, timedelta
from typing import Any

import numpy as np
from fresh_reading import LEFT, RIGHT, ROWS, START, STEP_S, Sample, Truth, seconds, truth
from fresh_reading_texts import HEADER, STAMPS, TABLE, also, join

VALUES = [r[1:] for r in TABLE]


def _file(rows: Sequence[Sequence[str]], *truths: Truth, sep: str = ";", **more: Any) -> Sample:
    return Sample(join(rows, sep).encode(), truths, **more)


def _mixtures() -> dict[str, Sample]:
    """Rows of several kinds, devices or units under one another: each kind is a channel of its own, or it is asked."""
    low, high = ([[f"{float(c) + by:.1f}" for c in v] for v in VALUES] for by in (-0.4, 0.5))
    kinds = [row for k, s in enumerate(STAMPS) for row in ([s, "MIN", *low[k]], [s, "MAX", *high[k]], [s, "AVG", *VALUES[k]])]
    other = [[f"{float(a) + 400:.1f}", f"{float(b) - 200:.1f}"] for a, b in VALUES]
    two = [row for k, s in enumerate(STAMPS) for row in ([s, "A45", *VALUES[k]], [s, "M22", *other[k]])]
    odd = [[s, name, *cells] for k, s in enumerate(STAMPS) for name, cells in ((("A45", VALUES[k]), ("M22", other[k])) if k % 3 else (("M22", other[k]),))]
    halves = [*([s, "A45", *v] for s, v in zip(STAMPS, VALUES, strict=True)), *([s.replace(" 08", " 09"), "M22", *v] for s, v in zip(STAMPS, other, strict=True))]
    numbered = [[r[0], {"A45": "1", "M22": "2"}[r[1]], *r[2:]] for r in two]
    raw = [row for k, s in enumerate(STAMPS) for row in ([s, "raw", VALUES[k][0]], [s, "filtered", f"{5.0 + 0.01 * k:.1f}"])]
    quantity = [row for k, s in enumerate(STAMPS) for row in ([s, "DC", VALUES[k][0], "mV"], [s, "AC", "812.4", "mV"], [s, "Frequency", "50.01", "Hz"])]
    ac_rows = [row for k, s in enumerate(STAMPS) for row in ([s, VALUES[k][0], "DC"], [s[:-1] + "5", "812.4", "AC"])]
    asked: dict[str, Any] = {"may_refuse": True}
    none = truth(np.full(ROWS, np.nan))  # no reading of it is right: it must be asked, or parted by names
    return {
        "rows of MIN, MAX, AVG": _file([["Time", "Stat", *HEADER[1:]], *kinds], none, **asked),
        "two devices in turn": _file([["Time", "Device", *HEADER[1:]], *two], none, **asked),
        "two devices, odd order": _file([["Time", "Device", *HEADER[1:]], *odd], none, **asked),
        "two units one after the other": _file([["Time", "Unit", *HEADER[1:]], *halves], none, **asked),
        "two devices by number": _file([["Time", "Device", *HEADER[1:]], *numbered], none, **asked),
        "two devices, address": _file([["Time", "Address", "Left [mV]"], *(r[:3] for r in numbered)], none, truth(LEFT, LEFT + 400, names=("1", "2")), **asked),
        "raw and filtered rows": _file([["Time", "Type", "Left [mV]"], *raw], none, truth(LEFT, np.round(5 + 0.01 * np.arange(ROWS), 1), names=("raw", "filtered")), **asked),
        "rows of quantities": _file([["Time", "Quantity", "Value", "Unit"], *quantity], none, truth(LEFT, None, names=("DC", "")), **asked),
        "rows of AC and DC": _file([["Time", "Left [mV]", "Function"], *ac_rows], none, truth(np.where(np.arange(2 * ROWS) % 2, np.nan, np.repeat(LEFT, 2)), None, t_s=np.arange(2 * ROWS) * 5.0), **asked),
        "means between rows": _file([HEADER, *(row for k, r in enumerate(TABLE) for row in ([r, ["Mean", "43.1", "-3.1"]] if k % 6 == 5 else [r]))], truth()),
        "subtotals dated": _file([HEADER, *(row for k, r in enumerate(TABLE) for row in ([r, [r[0], "mean 43.1", "mean -3.1"]] if k % 6 == 5 else [r]))], truth(), **asked),
        "the same in two units": _file([["Time", "Left [mV]", "Left [V]"], *([s, a, f"{float(a) / 1000:.4f}"] for s, (a, _) in zip(STAMPS, VALUES, strict=True))], truth(LEFT, None), **asked),
        "setpoint rows": _file([["Time", "Step", *HEADER[1:]], *([s, f"warm-up {k // 12 + 1}", *v] for k, (s, v) in enumerate(zip(STAMPS, VALUES, strict=True)))], truth()),
        "range word in readings": _file([HEADER, *([s, a + (" *" if k == 9 else ""), b] for k, (s, (a, b)) in enumerate(zip(STAMPS, VALUES, strict=True)))], truth(), **asked),
    }  # fmt: skip


def _headings() -> dict[str, Sample]:
    """Lines above numbered rows that name an interval, a start or a unit of something else."""
    numbered = [["Scan", *HEADER[1:]], *([str(k + 1), *v] for k, v in enumerate(VALUES))]
    knows = {"sample_interval_s": 10.0}

    def above(*lines: str, start: datetime | None = None, ask: bool = False, more: bool = False) -> Sample:
        return Sample(("".join(line + "\r\n" for line in lines) + join(numbered)).encode(), (truth(start=start),), knows=knows, needs_ask=ask, may_refuse=more)

    units = [["Time", "Left", "Right"], *TABLE]
    return {
        "integration, then interval": above("Integration interval: 0.1 s", "Sample interval: 10 s"),
        "interval, then averaging": above("Sample interval: 10 s", "Averaging period: 2 s"),
        "integration only": above("Integration interval: 0.1 s", ask=True),
        "upload interval only": above("Upload interval: 3600 s", ask=True),
        "display rate only": above("Display update rate: 2 Hz", ask=True),
        "two intervals": above("Interval: 10 s", "Logging interval: 60 s", ask=True),
        "filter period only": above("Filter period: 1 s", ask=True),
        "interval in minutes": above("Log interval: 0:00:10"),
        "interval as text": above("Log interval: every 10 seconds"),
        "samples per minute": above("Rate: 6 samples/min"),
        "samples per minute, words": above("6 readings per minute", more=True),
        "interval in ms": above("dt = 10000 ms"),
        "speed in Hz and reading": above("ADC rate: 860 Hz", "Log rate: 0.1 Hz"),
        "export date above": above("Exported: 2031-05-01 10:00:00", "Sample interval: 10 s"),
        "calibration date above": above("Calibration date: 2030-01-01", "Interval: 10 s"),
        "start and stop": above("Start: 2031-03-14 08:00:00", "Stop: 2031-03-14 08:03:50", "Interval: 10 s", start=START),
        "trigger time": above("Trigger time: 2031-03-14 08:00:00", "Interval: 10 s", more=True),
        "unit of another column": _file([["Supply unit: V"], *units], truth(), knows={"unit": "mV"}, may_refuse=True),
        "resolution above": _file([["Resolution: 0.1 mV"], *units], truth(), knows={"unit": "mV"}, needs_ask=True),
        "range above": _file([["Range: 2 V"], *units], truth(), knows={"unit": "mV"}, needs_ask=True),
        "threshold above": _file([["Threshold: 50 mV"], *units], truth(), knows={"unit": "mV"}, needs_ask=True),
        "title with a unit": _file([["Offset in mV, night of the 14th"], *units], truth(), knows={"unit": "mV"}),
        "title with volts": _file([["Voltage log"], *units], truth(), knows={"unit": "mV"}, needs_ask=True),
        "axis labels": _file([["X: Time", "Y: mV"], *units], truth(), knows={"unit": "mV"}),
    }  # fmt: skip


def _times() -> dict[str, Sample]:
    """Times that are easily taken for others."""

    def stamped(form: Callable[[int], str], t_s: Any = None, start: datetime | None = START, header: str = "Time", **more: Any) -> Sample:
        return _file([[header, *HEADER[1:]], *([form(k), *v] for k, v in enumerate(VALUES))], truth(t_s=t_s, start=start), **more)

    def at(s: float, first: datetime = START) -> datetime:
        return first + timedelta(seconds=s)

    quick = np.arange(ROWS) * 0.05
    hour = datetime(2031, 3, 14, 8, 58)
    many = 400
    left = np.tile(LEFT, 17)[:many]
    hidden = [["Time", "Left [mV]"], *([f"{at(k * STEP_S, hour):%M:%S},0".replace(",", "."), f"{x:.1f}"] for k, x in enumerate(left))]
    return {
        "milliseconds without noughts": stamped(lambda k: f"{at(quick[k]):%Y-%m-%d %H:%M:%S}.{round(quick[k] * 1000) % 1000}", quick, may_refuse=True),
        "milliseconds behind a colon": stamped(lambda k: f"{at(quick[k]):%Y-%m-%d %H:%M:%S}:{round(quick[k] * 1000) % 1000}", quick, may_refuse=True),
        "trailing noughts left away": stamped(lambda k: f"{at(quick[k]):%Y-%m-%d %H:%M:%S}.{f'{quick[k] % 1:.3f}'[2:].rstrip('0') or '0'}", quick),
        "hours hidden": Sample(join(hidden).encode(), (truth(left, None, t_s=seconds(many), start=None),), may_refuse=True),
        "before the trigger": stamped(lambda k: f"{k * 10 - 50}", None, None, "Time [s]"),
        "elapsed days": stamped(lambda k: f"{k * 10 / 86400:.8f}", None, None, "Elapsed [d]"),
        "elapsed days, word": stamped(lambda k: f"{k * 10 / 86400:.8f}", None, None, "Elapsed days"),
        "year behind": stamped(lambda k: f"{at(k * 10):%d-%m-%Y %H:%M:%S}"),
        "two-digit year first": stamped(lambda k: f"{at(k * 10):%y-%m-%d %H:%M:%S}", knows={"date_order": "ymd"}),
        "two-digit year first, dots": also(stamped(lambda k: f"{at(k * 10):%y.%m.%d %H:%M:%S}"), truth(start=datetime(2014, 3, 31, 8))),
        "short compact": stamped(lambda k: f"{at(k * 10):%y%m%d%H%M%S}", may_refuse=True),
        "short compact, parted": stamped(lambda k: f"{at(k * 10):%y%m%d %H%M%S}", may_refuse=True),
        "zone in some rows": stamped(lambda k: f"{at(k * 10):%Y-%m-%dT%H:%M:%S}{'Z' if k % 2 else ''}", may_refuse=True),
        "fraction in some rows": stamped(lambda k: f"{at(k * 10):%Y-%m-%d %H:%M:%S}{'.500' if k == 5 else ''}", seconds() + 0.5 * (np.arange(ROWS) == 5)),
        "narrow space before PM": stamped(lambda k: f"{at(k * 10):%m/%d/%Y, %I:%M:%S}\u202f{at(k * 10):%p}"),
        "no seconds at the full minute": stamped(lambda k: f"{at(k * 10):%Y-%m-%d %H:%M}" + (f"{at(k * 10):.%S}"[:0] if at(k * 10).second == 0 else f":{at(k * 10):%S}"), may_refuse=True),
        "hours with one digit": stamped(lambda k: f"{at(k * 10):%Y-%m-%d} {at(k * 10).hour}:{at(k * 10):%M:%S}"),
        "all parts with one digit": stamped(lambda k: "{0.year}-{0.month}-{0.day} {0.hour}:{0.minute}:{0.second}".format(at(k * 10)), may_refuse=True),
        "ISO without signs, T": stamped(lambda k: f"{at(k * 10):%Y%m%dT%H%M%S}"),
        "minus in the clock": stamped(lambda k: f"{at(k * 10):%Y-%m-%d-%H-%M-%S}", may_refuse=True),
        "seconds of the day": stamped(lambda k: f"{28800 + k * 10}", None, None, "Second of day [s]"),
        "ticks of a timer": stamped(lambda k: f"{k * 10_000_000}", None, None, "Time [us]"),
        "sampling jitter": stamped(lambda k: f"{k * 10 + (k % 3 - 1) * 0.4 + 0.4:.1f}", seconds() + (np.arange(ROWS) % 3 - 1) * 0.4 + 0.4, None, "Time [s]"),
        "a pause": stamped(lambda k: f"{at(k * 10 + 3600 * (k > 11)):%Y-%m-%d %H:%M:%S}", seconds() + 3600 * (np.arange(ROWS) > 11)),
        "faster from the middle": stamped(lambda k: f"{k * 10 if k < 12 else 110 + k - 11}", np.where(np.arange(ROWS) < 12, seconds(), 99.0 + np.arange(ROWS)), None, "Time [s]"),
    }  # fmt: skip


def MIXED() -> dict[str, Sample]:
    """Give all such files by name."""
    assert RIGHT.size == LEFT.size
    return _mixtures() | _headings() | _times()
