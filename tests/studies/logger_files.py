"""Random but realistic logger files whose truth is known: `draw` makes a `Spec` from a seed, `make` a file and its truth.

A `Spec` is a set of independent dimensions. Each has a plain value, so that a file that is read wrongly can be shrunk by
setting one dimension after the other to plain. What loggers, meters and spreadsheets write in each dimension is common
practice, no source; device words are invented.

The truth says what a careful technician with nothing but the file would read, and what the file does not tell
(`Truth.lacks`): there, asking is right.
"""

from __future__ import annotations

import io
import random
import re
from dataclasses import dataclass, field, fields, replace
from datetime import datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

VOLTS = {"V": 1.0, "mV": 1e-3, "µV": 1e-6}
SEPARATORS = {"comma": ",", "semicolon": ";", "tab": "\t", "pipe": "|", "spaces": "  "}

# unit places that stand in the header of the column, by an example: left, in millivolts
IN_HEADER: dict[str, str] = {
    "left (mV)": "{n} ({u})",
    "left [mV]": "{n} [{u}]",
    "left_mV": "{n}_{u}",
    "mV left": "{u} {n}",
    "mV_left": "{u}_{n}",
    "leftmV": "{n}{u}",
    "left [mV] avg": "{n} [{u}] avg",
    "left_mV_raw": "{n}_{u}_raw",
    "left [mV] eff": "{n} [{u}] eff",
    "LeftMillivolts": "{c}{w}",
    "left millivolts": "{n} {l}",
    "left/mV": "{n}/{u}",
    "left, mV": "{n}, {u}",
    "left mV": "{n} {u}",
    "left in mV": "{n} in {u}",
    "left (mV DC)": "{n} ({u} DC)",
    "left mVDC": "{n} {u}DC",
    "LEFT (MV)": "{N} ({U})",
    "(mV) left": "({u}) {n}",
}
WORDS = {"V": "Volts", "mV": "Millivolts", "µV": "Microvolts"}

# dimension: values with weights, the plain one first. Weights are a choice: all forms occur, common ones more often.
DIMENSIONS: dict[str, dict[str, float]] = {
    "separator": {"comma": 8, "semicolon": 6, "tab": 3, "pipe": 1, "spaces": 1},
    "decimal": {"point": 12, "comma": 6},
    "grouping": {"none": 22, "mark": 4, "mark, unquoted": 1, "space": 1, "apostrophe": 1},
    "quotes": {"as needed": 12, "all": 2, "text": 2, "none": 0.3},
    "encoding": {"utf-8": 10, "utf-8 with mark": 3, "latin-1": 3, "utf-16": 1},
    "line_end": {"lf": 8, "crlf": 8, "cr": 0.4},
    "container": {"text": 40, "parquet": 1, "parquet, text cells": 1, "feather, text cells": 1, "gzip": 1},
    "preamble": {
        "none": 16, "device": 3, "device and range": 1, "key=value": 1, "# comments": 1.5, "date in words": 1.5,
        "date format": 0.7, "iso date": 1,
    },
    "interval_line": {"none": 12, "Interval: 500 ms": 2, "Sample rate: 2 Hz": 1, "Increment,0.5": 1, "dt (s)": 0.7},
    "header": {"named": 20, "none": 1},
    "unit": {"mV": 10, "V": 7, "µV": 1},
    "unit_place": {
        **dict.fromkeys(IN_HEADER, 0.8), "left (mV)": 10, "left_mV": 8, "units row": 5, "preamble: all values in mV": 2,
        "preamble: Unit": 1.5, "cells": 3, "cells, auto range": 2, "unit column": 2, "unit column, auto range": 3,
        "none": 3, "counts": 0.5, "two that contradict": 0.5,
    },
    "unit_mix": {"same": 12, "by column": 1},
    "names": {
        "left right": 8, "L R": 2, "CH1": 3, "Channel A": 3, "Kanal 1": 1.5, "Output 1": 1, "U1": 1.5, "out_l": 1,
        "Value": 2,
    },
    "channels": {"2": 8, "1": 6, "3": 1, "4": 1.5},
    "layout": {"wide": 30, "long": 1.5, "long with unit": 1},
    "time_form": {
        "seconds": 5, "iso": 4, "iso T": 3, "iso fraction": 3, "iso zone": 1.5, "iso Z": 1, "iso AM/PM": 0.7,
        "dotted": 4, "slashed day first": 3, "slashed month first": 3, "slashed month first AM/PM": 2,
        "dashed day first": 1, "two-digit year, slashed": 1.5, "two-digit year, dashed": 1.5, "month name": 1,
        "date and time columns": 3, "epoch s": 1.5, "epoch ms": 1.5, "epoch us": 0.7, "seconds, no unit": 2, "ms": 2,
        "ms, no unit": 1.5, "minutes": 1.5, "hours": 0.7, "index": 3, "no time": 1.5, "spreadsheet days": 2,
        "part of a day": 0.7, "julian days": 0.7, "100 ns ticks": 0.7, "time of day": 3, "time of day AM/PM": 1,
        "elapsed clock": 1.5, "seconds in cells": 1,
    },
    "number": {"fixed": 20, "whole": 3, "exponent": 1.5, "+1.2E-02VDC": 1},
    "sign": {
        "-345.6": 34, "- 345.6": 1, "(345.6)": 0.7, "345.6-": 0.7, "unicode minus": 1, "dash": 0.7, "plus too": 1.5,
        "sign column": 0.7,
    },
    "over": {"none": 26, "OL": 2, "OL.0": 0.7, "OVLD": 0.5, "9.9E37": 1, "-OL": 0.5},
    "missing": {"none": 24, "NaN": 1, "empty": 1.5, "---": 1, "#N/A": 0.5},
    "extra": {
        "none": 20, "battery": 1.5, "celsius": 3, "fahrenheit": 0.7, "kelvin": 0.5, "humidity": 0.7, "min and max": 0.8,
        "average": 0.7, "range": 1, "range in volts": 0.5, "mode DC": 1, "mode AC": 0.5, "function": 0.7, "status": 1.5,
        "status code": 0.7, "row counter": 2, "ADC counts": 1, "note": 1,
    },
    "extra_place": {"last": 8, "after time": 2, "first": 1.5},
    "footer": {"none": 26, "average": 1.5, "statistics": 1, "end": 1, "records": 0.7},
    "repeats": {"none": 30, "header": 1, "header and units": 0.7},
    "between": {"none": 24, "blank lines": 1.5, "comments": 1, "blank after header": 0.7},
    "ragged": {"none": 26, "trailing separator": 1.5, "short last row": 1, "extra note cell": 0.7},
}  # fmt: skip
PLAIN = {name: next(iter(values)) for name, values in DIMENSIONS.items()}

NAMES: dict[str, list[str]] = {
    "left right": ["left", "right", "centre", "rear"],
    "L R": ["L", "R", "C", "S"],
    "CH1": ["CH1", "CH2", "CH3", "CH4"],
    "Channel A": ["Channel A", "Channel B", "Channel C", "Channel D"],
    "Kanal 1": ["Kanal 1", "Kanal 2", "Kanal 3", "Kanal 4"],
    "Output 1": ["Output 1", "Output 2", "Output 3", "Output 4"],
    "U1": ["U1", "U2", "U3", "U4"],
    "out_l": ["out_l", "out_r", "out_c", "out_s"],
}
SOLE = ["Value", "Reading", "Messwert", "Voltage", "DC offset", "Offset", "Main"]


@dataclass(frozen=True)
class Spec:
    """What a file looks like; every field but the seed is a dimension of `DIMENSIONS`."""

    seed: int
    separator: str = PLAIN["separator"]
    decimal: str = PLAIN["decimal"]
    grouping: str = PLAIN["grouping"]
    quotes: str = PLAIN["quotes"]
    encoding: str = PLAIN["encoding"]
    line_end: str = PLAIN["line_end"]
    container: str = PLAIN["container"]
    preamble: str = PLAIN["preamble"]
    interval_line: str = PLAIN["interval_line"]
    header: str = PLAIN["header"]
    unit: str = PLAIN["unit"]
    unit_place: str = PLAIN["unit_place"]
    unit_mix: str = PLAIN["unit_mix"]
    names: str = PLAIN["names"]
    channels: str = PLAIN["channels"]
    layout: str = PLAIN["layout"]
    time_form: str = PLAIN["time_form"]
    number: str = PLAIN["number"]
    sign: str = PLAIN["sign"]
    over: str = PLAIN["over"]
    missing: str = PLAIN["missing"]
    extra: str = PLAIN["extra"]
    extra_place: str = PLAIN["extra_place"]
    footer: str = PLAIN["footer"]
    repeats: str = PLAIN["repeats"]
    between: str = PLAIN["between"]
    ragged: str = PLAIN["ragged"]

    def unusual(self) -> dict[str, str]:
        """Return the dimensions that are not plain."""
        return {f.name: getattr(self, f.name) for f in fields(self) if f.name in PLAIN
                and getattr(self, f.name) != PLAIN[f.name]}  # fmt: skip


@dataclass(frozen=True)
class Channel:
    """One true channel: its name, the header of its column, its unit in the file (None where it changes), volts."""

    name: str
    header: str
    unit: str | None
    values_V: NDArray[np.float64]


@dataclass(frozen=True)
class Truth:
    """What the file says, and what it does not say."""

    channels: tuple[Channel, ...]
    time_s: NDArray[np.float64]
    time_tolerance_s: float
    start: datetime | None  # local clock time of the first row, where the file tells it
    start_within_s: float  # a zone that the file does not name leaves a day
    lacks: tuple[str, ...]  # unit, which of two units, time scale, date order, decimal, scale of counts
    refuse_or_warn: str = ""  # a sentence why such a file is no log of offset voltages as it stands
    may_lack_rows: frozenset[int] = frozenset()
    options: dict[str, Any] = field(default_factory=dict)  # true values of reading options, by keyword

    @property
    def tells(self) -> bool:
        """Whether the file tells everything."""
        return not self.lacks and not self.refuse_or_warn


@dataclass
class Column:
    header: str
    unit: str
    cells: list[str]
    numbers: bool = True


def draw(seed: int) -> Spec:
    """Draw the spec of a seed."""
    rng = random.Random(seed)
    chosen = {name: rng.choices(list(values), list(values.values()))[0] for name, values in DIMENSIONS.items()}
    if rng.random() < 0.6:  # a decimal comma goes with semicolons more often than with commas
        chosen["separator"] = "semicolon" if chosen["decimal"] == "comma" else chosen["separator"]
    return settle(Spec(seed=seed, **chosen))


def settle(spec: Spec) -> Spec:
    """Take back what cannot stand together in one file."""
    s = spec
    if s.container in ("parquet", "parquet, text cells", "feather, text cells"):
        s = replace(s, **{k: PLAIN[k] for k in ("separator", "quotes", "encoding", "line_end", "preamble", "header",
                    "interval_line", "layout", "footer", "repeats", "between", "ragged")})  # fmt: skip
        if s.unit_place not in IN_HEADER and s.unit_place not in ("none", "cells"):
            s = replace(s, unit_place="left_mV")
        if s.container == "parquet":
            s = replace(s, **{k: PLAIN[k] for k in ("decimal", "grouping", "sign", "over", "number")})
            if s.unit_place == "cells":
                s = replace(s, unit_place="left_mV")
    if s.number == "+1.2E-02VDC":
        s = replace(s, unit_place="cells", unit_mix="same")
    if s.layout == "long with unit" and not s.unit_place.startswith("unit column"):
        s = replace(s, unit_place="unit column")
    if s.layout == "long" and s.unit_place.startswith("unit column"):
        s = replace(s, layout="long with unit")
    if s.layout != "wide":
        s = replace(s, unit_mix="same", sign=PLAIN["sign"] if s.sign == "sign column" else s.sign)
        if s.names == "Value":
            s = replace(s, names="left right")
        if s.channels == "1":
            s = replace(s, channels="2")
        if s.time_form in ("no time", "index"):
            s = replace(s, time_form="seconds")
        if s.header == "none":
            s = replace(s, header="named")
    if s.names == "Value" and (s.channels != "1" or s.unit_place == "leftmV"):
        s = replace(s, names="left right")
    if s.unit_place in ("leftmV", "LeftMillivolts") and s.names in ("L R", "U1", "Channel A"):
        s = replace(s, names="left right")
    if s.header == "none":
        if s.unit_place in IN_HEADER or s.unit_place in ("units row", "two that contradict", "counts"):
            s = replace(s, unit_place=random.Random(s.seed).choice(["none", "cells", "preamble: Unit"]))
        s = replace(s, repeats="none", unit_mix="same", extra="none")
        if s.sign == "sign column":
            s = replace(s, sign=PLAIN["sign"])
    if s.unit_place not in IN_HEADER and s.unit_place != "units row":
        s = replace(s, unit_mix="same")
    if s.channels == "1":
        s = replace(s, unit_mix="same")
    if s.unit_place == "counts":
        s = replace(s, number="whole", grouping="none", unit="mV")
    if s.number in ("exponent", "+1.2E-02VDC") or (s.unit == "V" and "auto" not in s.unit_place):
        s = replace(s, grouping="none", number="fixed" if s.number == "whole" else s.number)
    if "auto range" in s.unit_place and s.number in ("whole", "exponent"):
        s = replace(s, number="fixed")
    if s.grouping == "mark, unquoted" and (s.decimal == "comma" or s.separator != "comma"):
        s = replace(s, grouping="mark")
    if s.separator == "spaces":
        s = replace(s, sign=PLAIN["sign"] if s.sign == "- 345.6" else s.sign, ragged="none", quotes="as needed",
                    grouping="none" if s.grouping == "space" else s.grouping, footer=PLAIN["footer"],
                    missing="NaN" if s.missing in ("empty",) else s.missing, extra="none" if s.extra == "note" else s.extra,
                    time_form={"seconds in cells": "seconds", "iso": "iso T", "iso fraction": "date and time columns",
                               "time of day AM/PM": "time of day", "iso AM/PM": "iso T"}.get(s.time_form, s.time_form))  # fmt: skip
        if s.time_form.startswith(("dotted", "slashed", "dashed", "two-digit", "month name")):
            s = replace(s, time_form="date and time columns")
        if s.unit_place in IN_HEADER and " " in IN_HEADER[s.unit_place]:
            s = replace(s, unit_place="left_mV")
    if s.quotes == "none" and not (s.separator == "comma" and s.decimal == "comma"):
        s = replace(s, quotes="as needed")
    if s.repeats == "header and units" and s.unit_place != "units row":
        s = replace(s, repeats="header")
    if s.sign == "sign column" and s.channels != "1":
        s = replace(s, channels="1")
    if s.ragged == "extra note cell" and s.extra != "none":
        s = replace(s, ragged="none")
    if s.extra == "none":
        s = replace(s, extra_place="last")
    if s.unit == "V" and s.unit_place.endswith("auto range"):
        s = replace(s, unit="mV")
    if s.encoding == "latin-1" and s.sign in ("unicode minus", "dash"):
        s = replace(s, encoding="utf-8")
    return s


# ---------------------------------------------------------------- numbers


def decorate(text: str, spec: Spec, unit: str = "") -> str:
    """Write a plain number (-1234.5) as the spec has it."""
    negative, body = text.startswith("-"), text.lstrip("+-")
    whole, _, rest = body.partition(".")
    comma = spec.decimal == "comma"
    mark = {"mark": "." if comma else ",", "mark, unquoted": ",", "space": "\u00a0", "apostrophe": "'"}.get(spec.grouping)
    if mark and "E" not in body and len(whole) > 3:
        whole = re.sub(r"(?<=\d)(?=(\d{3})+$)", mark, whole)
    body = whole + (("," if comma else ".") + rest if rest else "")
    end = unit if not unit or spec.number == "+1.2E-02VDC" or spec.separator == "spaces" else " " + unit
    if not negative:
        plus = "+" if spec.sign == "plus too" or ("E" in body and spec.number == "+1.2E-02VDC") else ""
        return plus + body + end
    signs = {"- 345.6": "- ", "unicode minus": "−", "dash": "–"}
    if spec.sign == "(345.6)":
        return f"({body}){end}"
    if spec.sign == "345.6-":
        return f"{body}-{end}"
    if spec.sign == "sign column":
        return body + end
    return signs.get(spec.sign, "-") + body + end


def marks_known(cells: list[str]) -> bool:
    """Say whether the cells show beyond doubt which mark is the decimal sign (or have no mark in doubt)."""
    doubt = False
    for cell in cells:
        body = re.sub(r"[^0-9.,Ee]", "", cell)
        marks = [c for c in body if c in ".,"]
        if not marks:
            continue
        if len(marks) > 1 or "E" in body.upper():
            return True
        before, after = re.split(r"[.,]", body)
        if len(after) != 3 or not 1 <= len(before) <= 3 or before.startswith("0"):
            return True
        doubt = True
    return not doubt


def number_cells(values: NDArray[np.float64], unit: str, spec: Spec, rng: random.Random) -> tuple[list[str], Any]:
    """Write volts as plain numbers in a unit; return them and the volts that the text says."""
    if spec.number in ("exponent", "+1.2E-02VDC"):
        texts = [f"{v / VOLTS[unit]:.4E}" for v in values]
    else:
        digits = {"mV": rng.choice([1, 2]), "V": rng.choice([4, 5]), "µV": 0}[unit]
        digits = 0 if spec.number == "whole" and unit != "V" else digits
        texts = [f"{v / VOLTS[unit]:.{digits}f}" for v in values]
    texts = [re.sub(r"^-(?=[0.]+$)", "", t) for t in texts]
    true = np.array([float(Decimal(t) * Decimal(str(VOLTS[unit]))) for t in texts])
    return texts, true


# ---------------------------------------------------------------- what was measured


def offsets(rows: int, count: int, seed: int) -> list[NDArray[np.float64]]:
    """Return plausible volts: some mV at rest, a slow drift, and glitches of some 100 mV to volts."""
    rng = np.random.default_rng(seed + 7_000_000)
    out = []
    for k in range(count):
        rest = rng.uniform(2e-3, 20e-3) * rng.choice([-1, 1]) + k * 1.7e-3
        values = rest + rng.normal(0, 3e-4, rows) + np.linspace(0, rng.uniform(-3e-3, 3e-3), rows)
        for g in range(int(rng.integers(2, 7))):
            at, length = int(rng.integers(5, rows - 10)), int(rng.integers(1, 5))
            size = rng.uniform(1.1, 3.2) if g == 0 else rng.uniform(0.1, 1.6)
            values[at : at + length] += size * rng.choice([-1, 1]) * rng.uniform(0.8, 1.0, length)
        out.append(values)
    return out


# ---------------------------------------------------------------- time

NO_FRACTION = (
    "iso", "iso T", "iso zone", "iso Z", "iso AM/PM", "dotted", "slashed", "dashed", "two-digit", "month name",
    "time of day AM/PM", "epoch s",
)  # fmt: skip
DATES = {
    "dotted": "%d.%m.%Y", "slashed day first": "%d/%m/%Y", "slashed month first": "%m/%d/%Y",
    "slashed month first AM/PM": "%m/%d/%Y", "dashed day first": "%d-%m-%Y",
}  # fmt: skip
SHORT = {"slashed": ["%d/%m/%y", "%m/%d/%y"], "dashed": ["%y-%m-%d", "%d-%m-%y", "%m-%d-%y"]}


def readings_of_dates(cells: list[str], layout: str) -> int:
    """Count the date orders under which the whole column makes sense (first and last row less than a day apart)."""
    sign = next(c for c in layout if c in "./-")
    if "%Y" in layout:
        orders = ["%d.%m.%Y"] if sign == "." else [f"%d{sign}%m{sign}%Y", f"%m{sign}%d{sign}%Y"]
        orders = ["%Y-%m-%d"] if layout.startswith("%Y") else orders
    else:
        orders = [f"%d{sign}%m{sign}%y", f"%m{sign}%d{sign}%y"] + ([f"%y{sign}%m{sign}%d"] if sign == "-" else [])
    found = set()
    for order in orders:
        try:
            first, last = datetime.strptime(cells[0], order), datetime.strptime(cells[-1], order)
        except ValueError:
            continue
        if timedelta(0) <= last - first <= timedelta(days=1):
            found.add(first)
    return len(found)


@dataclass
class Clock:
    """The columns that tell the time, and what they tell."""

    columns: list[Column]
    tells_scale: bool = True
    dates: tuple[list[str], str] | None = None  # date cells and their layout, where the order may be in doubt
    start: bool = False
    within_s: float = 1.0
    tolerance_s: float = 1e-3
    unit: str | None = None


def clock(spec: Spec, t: NDArray[np.float64], t0: datetime, step: float, rng: random.Random) -> Clock:
    """Write the time columns of a spec."""
    form, named = spec.time_form, spec.header == "named"
    n = len(t)
    units_row = spec.unit_place == "units row"
    moments = [t0 + timedelta(seconds=round(float(x), 6)) for x in t]
    iso_name = rng.choice(["time", "Timestamp", "Date/Time", "date", "Zeitpunkt", "Datum", "Time", "recorded at"])

    def numbers(values: Any, digits: int) -> list[str]:
        mark = "," if spec.decimal == "comma" else "."
        return [f"{v:.{digits}f}".replace(".", mark) for v in values]

    def elapsed(values: Any, digits: int, unit: str, headers: list[str], kept: str) -> Clock:
        head = rng.choice(["Time", "t", "Elapsed"]) if units_row else rng.choice(headers)
        sure = named and (units_row or spec.unit_place != "units row")
        size = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "min": 60.0, "h": 3600.0}[kept]
        return Clock([Column(head, unit, numbers(values, digits))], tells_scale=sure, unit=kept,
                     tolerance_s=max(1e-3, size * 10.0**-digits))  # fmt: skip

    def whole(layout: str, **more: Any) -> Clock:
        return Clock([Column(iso_name, "", [m.strftime(layout) for m in moments], False)], start=True, **more)

    match form:
        case "seconds":
            heads = ["time_s", "Time (s)", "t/s", "t [s]", "Elapsed (s)", "Seconds", "Zeit (s)", "Tempo [s]", "Time, s"]
            return elapsed(t, 1 if step < 1 or rng.random() < 0.5 else 3, "s", heads, "s")
        case "ms":
            heads = ["t_ms", "Time (ms)", "millis", "time [ms]", "ms", "Zeit/ms"]
            return elapsed(t * 1000 + rng.choice([0, 0, 5120]), 0, "ms", heads, "ms")
        case "minutes":
            return elapsed(t / 60, 5, "min", ["Time (min)", "minutes", "t [min]", "Minuten", "elapsed_min"], "min")
        case "hours":
            return elapsed(t / 3600, 7, "h", ["Time (h)", "hours", "t [h]", "Elapsed (hours)"], "h")
        case "seconds, no unit":
            c = Clock([Column(rng.choice(["time", "t", "Time", "Elapsed", "Zeit", "", "x"]), "", numbers(t, 1))], unit="s")
            c.tells_scale = spec.interval_line != "none"
            return c
        case "ms, no unit":
            c = Clock([Column(rng.choice(["time", "t", "Time", "Timestamp", ""]), "", numbers(t * 1000, 0))], unit="ms")
            c.tells_scale = spec.interval_line != "none"
            return c
        case "seconds in cells":
            return Clock([Column(rng.choice(["Time", "t"]), "", [c + " s" for c in numbers(t, 1)])], unit="s")
        case "index":
            first = rng.choice([0, 1, 1, 1])
            cells = [str(i + first) for i in range(n)]
            hash_sign = "No." if "comments" in spec.preamble + spec.between else "#"
            head = rng.choice(["Sample", hash_sign, "Index", "No.", "n", "Record", "", "Sample number", "Point"])
            return Clock([Column(head, "", cells)], tells_scale=spec.interval_line != "none", unit=None)
        case "no time":
            return Clock([], tells_scale=spec.interval_line != "none")
        case "epoch s":
            zero = (t0 - datetime(1970, 1, 1)).total_seconds()
            heads = ["timestamp", "epoch", "Unix time", "time", "unix_s"]
            return Clock([Column(rng.choice(heads), "", numbers(zero + t, 0))], start=True, within_s=86400, unit="s")
        case "epoch ms" | "epoch us":
            size = 1_000 if form == "epoch ms" else 1_000_000
            zero = (t0 - datetime(1970, 1, 1)).total_seconds()
            cells = [str(round((zero + x) * size)) for x in t.tolist()]
            heads = ["timestamp", "epoch", "time", "unix_ms" if size == 1000 else "unix_us", "Time"]
            return Clock([Column(rng.choice(heads), "", cells)], start=True, within_s=86400, unit=form[6:])
        case "spreadsheet days" | "julian days":
            zero = datetime(1899, 12, 30) if form.startswith("sp") else datetime(2000, 1, 1, 12)
            days = (t0 - zero).total_seconds() / 86400 + t / 86400 + (0 if form.startswith("sp") else 2451545)
            heads = ["Date", "Date/Time", "Datum", "Timestamp"] if form.startswith("sp") else ["JD", "Julian date"]
            c = Clock([Column(rng.choice(heads), "", numbers(days, 9))], start=True, tolerance_s=2e-3)
            c.tells_scale = named
            return c
        case "part of a day":
            zero = (t0 - t0.replace(hour=0, minute=0, second=0)).total_seconds()
            cells = numbers((zero + t) % 86400 / 86400, 9)
            return Clock([Column("Time", "", cells)], tells_scale=spec.interval_line != "none", tolerance_s=2e-3)
        case "100 ns ticks":
            sure = named and rng.random() < 0.7
            since = 0 if rng.random() < 0.5 else int((t0 - datetime(1, 1, 1)).total_seconds()) * 10_000_000
            cells = [str(since + round(x * 1e7)) for x in t.tolist()]
            head = "Ticks (100 ns)" if sure else "Ticks"
            return Clock([Column(head, "", cells)], tells_scale=sure or spec.interval_line != "none")
        case "time of day" | "time of day AM/PM":
            layout = "%I:%M:%S %p" if form.endswith("PM") else "%H:%M:%S"
            cells = [m.strftime(layout) for m in moments]
            if step < 1:
                cells = [f"{c}.{m.microsecond // 100_000}" for c, m in zip(cells, moments, strict=True)]
            return Clock([Column(rng.choice(["Time", "time", "Uhrzeit", "Clock"]), "", cells, False)])
        case "elapsed clock":
            digits = 1 if step < 1 else 0
            cells = [f"{int(x // 3600)}:{int(x // 60) % 60:02d}:{x % 60:0{3 + digits if digits else 2}.{digits}f}" for x in t]
            return Clock([Column(rng.choice(["Elapsed", "Elapsed time", "Time", "hh:mm:ss"]), "", cells, False)])
        case "iso" | "iso T" | "iso Z":
            return whole({"iso": "%Y-%m-%d %H:%M:%S", "iso T": "%Y-%m-%dT%H:%M:%S"}.get(form, "%Y-%m-%dT%H:%M:%SZ"))
        case "iso zone":
            return whole("%Y-%m-%dT%H:%M:%S+02:00", within_s=7201.0)
        case "iso AM/PM":
            return whole("%Y-%m-%d %I:%M:%S %p")
        case "iso fraction":
            cells = [m.strftime("%Y-%m-%d %H:%M:%S.") + f"{m.microsecond // 1000:03d}" for m in moments]
            if spec.decimal == "comma" and rng.random() < 0.4:
                cells = [c.replace(".", ",") for c in cells]
            return Clock([Column(iso_name, "", cells, False)], start=True)
        case "month name":
            return whole("%d-%b-%Y %H:%M:%S")
        case "date and time columns":
            layout = rng.choice(["%Y-%m-%d", "%d.%m.%Y", "%d/%m/%Y", "%m/%d/%Y"])
            dates = [m.strftime(layout) for m in moments]
            times = [m.strftime("%H:%M:%S") + (f".{m.microsecond // 100_000}" if step < 1 else "") for m in moments]
            heads = rng.choice([("Date", "Time"), ("Datum", "Uhrzeit"), ("date", "time"), ("Datum", "Zeit")])
            return Clock([Column(heads[0], "", dates, False), Column(heads[1], "", times, False)],
                         dates=(dates, layout), start=True)  # fmt: skip
    if form.startswith("two-digit"):
        layout = rng.choice(SHORT["slashed" if "slashed" in form else "dashed"])
    else:
        layout = DATES[form]
    dates = [m.strftime(layout) for m in moments]
    after = "%I:%M:%S %p" if form.endswith("AM/PM") else "%H:%M:%S"
    cells = [f"{d} {m.strftime(after)}" for d, m in zip(dates, moments, strict=True)]
    return Clock([Column(iso_name, "", cells, False)], dates=(dates, layout), start=True)


# ---------------------------------------------------------------- columns beside the outputs


def beside(spec: Spec, n: int, first: Channel, seed: int) -> list[Column]:
    """Write columns that are no outputs."""
    rng = random.Random(seed + 31)
    walk = np.cumsum(np.random.default_rng(seed + 11).normal(0, 0.01, n))

    def numbers(values: Any, digits: int) -> list[str]:
        mark = "," if spec.decimal == "comma" else "."
        return [f"{v:.{digits}f}".replace(".", mark) for v in values]

    unit = first.unit or "V"
    scale = VOLTS[unit]
    values = np.nan_to_num(first.values_V, posinf=0, neginf=0)
    shown = f" ({unit})" if spec.unit_place in IN_HEADER else ""
    digits = 5 if unit == "V" else 1
    word = spec.extra
    match word:
        case "battery":
            return [Column(rng.choice(["Battery (V)", "Batt_V", "Vbat", "Battery"]), "V", numbers(12.6 + walk / 10, 2))]
        case "celsius":
            heads = ["room_C", "room (°C)", "T_room", "Temperature (°C)", "temp_C", "Tempo [°C]", "Heatsink °C", "Temp"]
            return [Column(rng.choice(heads), "°C", numbers(23 + walk, 1))]
        case "fahrenheit":
            return [Column(rng.choice(["room_F", "Temp (°F)", "Temperature [F]"]), "°F", numbers(74 + walk, 1))]
        case "kelvin":
            return [Column(rng.choice(["T (K)", "Temp_K", "Temperature [K]"]), "K", numbers(296 + walk, 1))]
        case "humidity":
            return [Column(rng.choice(["Humidity (%)", "RH %", "rel_humidity"]), "%", numbers(45 + walk, 1))]
        case "min and max":
            name = rng.choice(["", first.name + " "])
            return [Column(f"{name}Min{shown}", unit, numbers((values - 3e-4) / scale, digits)),
                    Column(f"{name}Max{shown}", unit, numbers((values + 3e-4) / scale, digits))]  # fmt: skip
        case "average":
            head = rng.choice(["Average", first.name + " average", "Mean"])
            return [Column(head + shown, unit, numbers(np.full(n, np.median(values)) / scale, digits))]
        case "range":
            return [Column("Range", "", ["200mV" if abs(v) < 0.2 else "20V" for v in values], False)]
        case "range in volts":
            return [Column("Range (V)", "V", numbers(np.where(np.abs(values) < 0.2, 0.2, 20), 1))]
        case "mode DC" | "mode AC":
            return [Column(rng.choice(["Mode", "AC/DC", "Coupling"]), "", [word[5:]] * n, False)]
        case "function":
            return [Column("Function", "", [rng.choice(["DCV", "VDC"])] * n, False)]
        case "status":
            return [Column(rng.choice(["Status", "State", "Flag"]), "", ["OK"] * n, False)]
        case "status code":
            return [Column(rng.choice(["Status", "Error code"]), "", ["0"] * n)]
        case "row counter":
            hash_sign = "No." if "comments" in spec.preamble + spec.between else "#"
            return [Column(rng.choice(["No.", hash_sign, "Row", "Scan", "Index"]), "", [str(i + 1) for i in range(n)])]
        case "ADC counts":
            head = rng.choice(["adc_left", "ADC counts", "raw counts"])
            return [Column(head, "", [str(2048 + round(v / 2.5e-3)) for v in values.tolist()])]
        case "note":
            return [Column("Comment", "", ["tapped the board" if i == n // 2 else "" for i in range(n)], False)]
    return []


# ---------------------------------------------------------------- the file


def make(spec: Spec) -> tuple[bytes, str, Truth]:
    """Make the file of a spec: its bytes, the ending of its name, and the truth."""
    rng = random.Random(spec.seed + 1_000_003)
    coarse = spec.time_form.startswith(NO_FRACTION) and spec.time_form != "iso fraction"
    step = rng.choice([1.0, 2.0, 5.0] if coarse else [0.5, 0.5, 1.0, 2.0])
    rows = int(rng.uniform(600, max(700.0, min(3600, 900 * step))) / step)
    t = np.arange(rows) * step
    month, day = rng.randint(1, 12), rng.randint(1, 28)
    t0 = datetime(rng.randint(2019, 2031), month, day, rng.randint(0, 22), rng.randint(0, 59), rng.randint(0, 59))
    if rng.random() < (0.5 if spec.time_form.startswith("time of day") else 0.1):
        t0 = t0.replace(hour=23, minute=rng.randint(52, 58))
    if spec.time_form.endswith("zone"):
        t0 = t0.replace(microsecond=0)
    count = int(spec.channels)
    names = [rng.choice(SOLE)] if spec.names == "Value" else NAMES[spec.names][:count]
    volts = offsets(rows, count, spec.seed)
    lacks: list[str] = []
    time = clock(spec, t, t0, step, rng)
    if not time.tells_scale and spec.interval_line == "none":
        lacks.append("time scale")
    told_date = spec.preamble in ("date in words", "date format", "iso date")
    if time.dates and not told_date and readings_of_dates(*time.dates) != 1:
        lacks.append("date order")
    place = spec.unit_place
    if place == "none":
        lacks.append("unit")
    if place == "counts":
        lacks.append("scale of counts")
    if place == "two that contradict":
        lacks.append("which of two units")

    channels: list[Channel] = []
    groups: list[list[Column]] = []
    for k, (name, values) in enumerate(zip(names, volts, strict=True)):
        unit = ("V" if spec.unit == "mV" else "mV") if spec.unit_mix == "by column" and k == 1 else spec.unit
        head = name
        if place in IN_HEADER:
            camel = re.sub(r"(?:^|[ _])(\w)", lambda m: m[1].upper(), name)
            head = IN_HEADER[place].format(n=name, u=unit, c=camel, w=WORDS[unit], l=WORDS[unit].lower(),
                                           N=name.upper(), U=unit.upper().replace("Μ", "µ"))  # fmt: skip
        elif place == "two that contradict":
            head = f"{name} (mV)"
        elif place == "counts":
            head = f"{name} {rng.choice(['adc', 'counts', 'raw'])}"
        if spec.separator == "spaces":
            head = head.replace(" ", "_")
        if place == "counts":
            texts = [str(round(v / 2.5e-4)) for v in values.tolist()]
            true = np.array([int(x) * 2.5e-4 for x in texts])
            units = [""] * rows
        elif place.endswith("auto range"):
            units = [spec.unit if abs(v) < 0.9999 else "V" for v in values.tolist()]
            low, a = number_cells(values, spec.unit, spec, rng)
            high, b = number_cells(values, "V", spec, rng)
            texts = [x if u == spec.unit else y for x, y, u in zip(low, high, units, strict=True)]
            true = np.where([u == spec.unit for u in units], a, b)
        else:
            texts, true = number_cells(values, unit, spec, rng)
            units = [unit] * rows
        inside = [f"{u}DC" if spec.number == "+1.2E-02VDC" else u for u in units] if place.startswith("cells") else [""] * rows
        cells = [decorate(x, spec, u) for x, u in zip(texts, inside, strict=True)]
        signs = ["-" if v < 0 else "+" for v in true]
        where = random.Random(spec.seed + 77 + k)
        if spec.over != "none" and k == 0:
            at = int(np.argmax(np.abs(true)))
            text = spec.over.replace(".", ",") if spec.over == "9.9E37" and spec.decimal == "comma" else spec.over
            cells[at] = text
            true[at] = -np.inf if spec.over == "-OL" else np.inf
        if spec.missing != "none":
            for at in where.sample(range(2, rows - 2), 4):
                if np.isfinite(true[at]):
                    cells[at], true[at] = {"empty": ""}.get(spec.missing, spec.missing), np.nan
        mixed = place.endswith("auto range")
        channels.append(Channel(name, head, None if mixed else unit, true))
        group = [Column(head, unit, cells)]
        if place.startswith("unit column") and spec.layout == "wide":
            group.append(Column("Unit" if count == 1 else f"{name} unit", "", units, False))
        elif place.startswith("unit column"):
            group.append(Column("Unit", "", units, False))
        if spec.sign == "sign column":
            group.insert(0, Column("Sign", "", signs, False))
        groups.append(group)

    number_texts = [c for g in groups for col in g if col.numbers for c in col.cells]
    time_numbers = [c for col in time.columns if col.numbers for c in col.cells]
    if not marks_known([*time_numbers, *number_texts]):
        lacks.append("decimal")
    if spec.quotes == "none" or spec.grouping == "mark, unquoted":
        lacks.append("decimal")

    others = beside(spec, rows, channels[0], spec.seed)
    if spec.container == "parquet":
        return (*_parquet(spec, time, groups, others, channels, t0, t), _truth(spec, channels, time, t, t0, step, lacks, others, rows))
    if spec.layout == "wide":
        body = [col for g in groups for col in g]
        table = {
            "last": [*time.columns, *body, *others],
            "after time": [*time.columns, *others, *body],
            "first": [*others, *time.columns, *body],
        }[spec.extra_place]
        truth = _truth(spec, channels, time, t, t0, step, lacks, others, rows)
    else:
        table, truth = _long(spec, channels, groups, time, others, t, t0, step, lacks, rng)
    if spec.container in ("parquet, text cells", "feather, text cells"):
        return (*_text_frame(spec, table), truth)
    text = _text(spec, table, time, step, t0, rng)
    data = text.encode({"utf-8 with mark": "utf-8-sig"}.get(spec.encoding, spec.encoding), errors="replace")
    if spec.container == "gzip":
        import gzip

        return gzip.compress(data, mtime=0), ".csv.gz", truth
    return data, ".csv" if spec.separator != "tab" else ".tsv", truth


def _truth(spec: Spec, channels: list[Channel], time: Clock, t: Any, t0: datetime, step: float, lacks: list[str],
           others: list[Column], rows: int) -> Truth:  # fmt: skip
    options: dict[str, Any] = {"sample_interval_s": step, "decimal": "," if spec.decimal == "comma" else "."}
    named = spec.header == "named"
    if named:
        options["channels"] = [c.header for c in channels]
    units = {c.unit for c in channels}
    if len(units) == 1 and None not in units and spec.unit_place != "counts":
        options["unit"] = channels[0].unit
    if time.columns and named:
        options["time_column"] = time.columns[0].header
    if time.unit:
        options["time_unit"] = time.unit
    if time.dates:
        options["day_first"] = time.dates[1].startswith("%d")
        options["date_order"] = "".join({"d": "d", "m": "m", "y": "y", "Y": "y"}[c] for c in time.dates[1] if c in "dmyY")
    if others and named:
        options["roles"] = {o.header: "ignore" for o in others}
    if spec.grouping == "mark, unquoted":
        options["thousands"] = "sure"  # rows that can be read in two ways are then left out, and told
    options["separator"] = SEPARATORS[spec.separator]
    why = ""
    if spec.extra == "mode AC":
        why = "AC mode"
    elif spec.sign == "sign column":
        why = "sign column"
    short = frozenset({rows - 1}) if spec.ragged == "short last row" else frozenset()
    known = time.start and "date order" not in lacks
    return Truth(tuple(channels), t, time.tolerance_s, t0 if time.start else None,
                 time.within_s if known or time.start else 0.0, tuple(dict.fromkeys(lacks)), why, short, options)  # fmt: skip


def _long(spec: Spec, channels: list[Channel], groups: list[list[Column]], time: Clock, others: list[Column], t: Any,
          t0: datetime, step: float, lacks: list[str], rng: random.Random) -> tuple[list[Column], Truth]:  # fmt: skip
    """Weave the channels into one value column."""
    rows, count = len(t), len(channels)
    ways = [(c.header, form) for c in channels for form in (c.name, c.name.replace(" ", "_"))]
    head = {h.replace(n, "Value").replace(n.upper(), "VALUE") for h, n in ways if n in h or n.upper() in h}
    value = Column(head.pop() if len(head) == 1 else "Value", channels[0].unit or "", [], True)
    if spec.unit_place == "LeftMillivolts":
        value.header = "Value" + WORDS[spec.unit]
    label = Column(rng.choice(["Channel", "Ch", "Sensor", "Kanal", "Input"]), "", [], False)
    unit = Column("Unit", "", [], False)
    times = [Column(c.header, c.unit, [], c.numbers) for c in time.columns]
    more = [Column(c.header, c.unit, [], c.numbers) for c in others]
    for i in range(rows):
        for k in range(count):
            for to, of in zip(times, time.columns, strict=True):
                to.cells.append(of.cells[i])
            for to, of in zip(more, others, strict=True):
                to.cells.append(of.cells[i])
            label.cells.append(channels[k].name)
            value.cells.append(groups[k][0].cells[i])
            if len(groups[k]) > 1:
                unit.cells.append(groups[k][1].cells[i])
    table = [*times, label, value, *([unit] if unit.cells else []), *more]
    truth = _truth(spec, channels, time, t, t0, step, lacks, others, rows)
    return table, replace(truth, options={**truth.options, "channels": [c.name for c in channels]})


def _text_frame(spec: Spec, table: list[Column]) -> tuple[bytes, str]:
    import pyarrow as pa
    import pyarrow.feather as feather
    import pyarrow.parquet as pq

    names = [c.header or f"column {i}" for i, c in enumerate(table)]
    frame = pa.table({name: pa.array(c.cells) for name, c in zip(names, table, strict=True)})
    sink = io.BytesIO()
    if spec.container.startswith("parquet"):
        pq.write_table(frame, sink)
        return sink.getvalue(), ".parquet"
    feather.write_feather(frame, sink)
    return sink.getvalue(), ".feather"


def _parquet(spec: Spec, time: Clock, groups: list[list[Column]], others: list[Column], channels: list[Channel],
             t0: datetime, t: Any) -> tuple[bytes, str]:  # fmt: skip
    import pyarrow as pa
    import pyarrow.parquet as pq

    columns: dict[str, Any] = {}
    for col in time.columns:
        if col.numbers and spec.time_form != "seconds in cells":
            columns[col.header or "index"] = pa.array([float(c) if "." in c else int(c) for c in col.cells])
        elif time.start and len(time.columns) == 1:
            moments = [t0 + timedelta(seconds=float(x)) for x in t]
            columns[col.header] = pa.array(moments, type=pa.timestamp("ms"))
        else:
            columns[col.header] = pa.array(col.cells)
    for channel, group in zip(channels, groups, strict=True):
        size = VOLTS[channel.unit or "V"] if spec.unit_place != "counts" else 2.5e-4
        columns[group[-1].header] = pa.array(channel.values_V / size, from_pandas=True)
    for col in others:
        columns[col.header] = pa.array([float(c) for c in col.cells] if col.numbers else col.cells)
    sink = io.BytesIO()
    pq.write_table(pa.table(columns), sink)
    return sink.getvalue(), ".parquet"


def _text(spec: Spec, table: list[Column], time: Clock, step: float, t0: datetime, rng: random.Random) -> str:
    mark = SEPARATORS[spec.separator]
    comma = spec.decimal == "comma"

    def quote(cell: str, number: bool) -> str:
        loose = spec.quotes == "none" or (number and spec.grouping == "mark, unquoted")
        need = not loose and (mark in cell or '"' in cell)
        if spec.quotes == "all" or (spec.quotes == "text" and not number and cell) or need:
            return '"' + cell.replace('"', '""') + '"'
        return cell

    def line(cells: list[str], number: list[bool]) -> str:
        made = [quote(c.replace(" ", "_") if spec.separator == "spaces" and not c.startswith("# ") else c, n)
                for c, n in zip(cells, number, strict=True)]  # fmt: skip
        return mark.join(made) + (mark if spec.ragged == "trailing separator" else "")

    texts = [False] * len(table)
    kinds = [c.numbers for c in table]
    before: list[str] = []
    unit = spec.unit
    if spec.preamble.startswith("device"):
        before += ["Tallowmere DL-4 data logger", "Serial no. 20417", "Firmware 2.10"]
    if spec.preamble == "device and range":
        before += ["Range: 20 V", "Input impedance 10 MOhm"]
    if spec.preamble == "key=value":
        before += ["device=Pennick 12", "operator=", "location=bench 2"]
    if spec.preamble == "# comments":
        before += ["# logged with the bench recorder", "# outputs into 8 ohm dummy loads"]
    if spec.preamble == "date in words":
        before += [f"Started: {t0.day} {t0.strftime('%B %Y, %H:%M:%S')}"]
    if spec.preamble == "iso date":
        before += [f"Start: {t0.isoformat(sep=' ')}"]
    if spec.preamble == "date format":
        words = {"d": "DD", "m": "MM", "Y": "YYYY", "y": "YY", "%": ""}
        layout = time.dates[1] if time.dates else "%Y-%m-%d"
        before += ["Date format: " + "".join(words.get(c, c) for c in layout)]
    if spec.unit_place == "preamble: all values in mV":
        before += [f"all values in {unit}"]
    if spec.unit_place == "preamble: Unit":
        before += [rng.choice([f"Unit: {unit}", f"Unit{mark}{unit}", f"Units: {unit}"])]
    number = (f"{step:g}").replace(".", "," if comma else ".")
    rate = (f"{1 / step:g}").replace(".", "," if comma else ".")
    before += {
        "Interval: 500 ms": [f"Interval: {step * 1000:.0f} ms"],
        "Sample rate: 2 Hz": [f"Sample rate: {rate} Hz"],
        "Increment,0.5": [f"Increment{mark}{quote(number, True)}{mark}s"],
        "dt (s)": [f"dt (s): {number}"],
    }.get(spec.interval_line, [])
    if spec.preamble == "# comments":
        before = [b if b.startswith("#") else "# " + b for b in before]
    if before and spec.preamble != "# comments" and rng.random() < 0.5:
        before.append("")
    lines = list(before)
    heads = [line([c.header for c in table], texts)] if spec.header == "named" else []
    if spec.unit_place in ("units row", "two that contradict"):
        form = rng.choice(["{}", "({})", "[{}]"])
        units = ["V" if c.unit and spec.unit_place != "units row" and c.numbers and "(mV)" in c.header else c.unit for c in table]
        row = line([form.format(u) if u else "" for u in units], texts)
        if spec.separator == "spaces":
            row = line([form.format(u) if u else "-" for u in units], texts)
        heads.append(row)
    lines += heads
    if spec.between == "blank after header":
        lines.append("")
    length = len(table[0].cells)
    middle = length // 2
    for i in range(length):
        cells = [c.cells[i] for c in table]
        if i == length - 1 and spec.ragged == "short last row":
            whole = line(cells, kinds)
            lines.append(whole[: max(3, int(len(whole) * 0.4))])
            continue
        row = line(cells, kinds)
        if spec.ragged == "extra note cell" and i in (middle, middle + 5):
            row += mark + "relay clicked"
        lines.append(row)
        if i == middle:
            if spec.repeats == "header":
                lines += heads[:1]
            elif spec.repeats == "header and units":
                lines += heads
            if spec.between == "comments":
                lines.append("# tapped the relay")
            elif spec.between == "blank lines":
                lines += ["", ""]
    lines += _footer(spec, table, line)
    end = {"lf": "\n", "crlf": "\r\n", "cr": "\r"}[spec.line_end]
    return end.join(lines) + ("" if spec.ragged == "short last row" and spec.footer == "none" else end)


def _footer(spec: Spec, table: list[Column], line: Any) -> list[str]:
    def row(label: str, size: float) -> list[str]:
        mark = "," if spec.decimal == "comma" else "."
        cells = [f"{size + k:.2f}".replace(".", mark) if c.numbers else "" for k, c in enumerate(table)]
        return [line([label, *cells[1:]], [False] + [c.numbers for c in table[1:]])]

    match spec.footer:
        case "average":
            return row("Average", 4.2)
        case "statistics":
            return ["", *row("Min", -830.1), *row("Max", 2215.3), *row("Mean", 4.1)]
        case "end":
            return ["*** end of recording ***"]
        case "records":
            return ["", f"{len(table[0].cells)} records"]
    return []


def write(spec: Spec, folder: Path) -> tuple[Path, Truth]:
    """Write the file of a spec into a folder; return its path and the truth."""
    data, ending, truth = make(spec)
    path = folder / f"log_{spec.seed}{ending}"
    path.write_bytes(data)
    return path, truth
