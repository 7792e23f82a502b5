"""Text files for `fresh_reading`: shapes of tables, forms of numbers, words for no reading. All data are invented."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import timedelta

import numpy as np
from fresh_reading import LEFT, RIGHT, ROWS, START, STEP_S, Sample, Truth, seconds, truth

STAMPS = [(START + timedelta(seconds=k * STEP_S)).isoformat(" ") for k in range(ROWS)]
TABLE = [[s, f"{a:.1f}", f"{b:.1f}"] for s, a, b in zip(STAMPS, LEFT, RIGHT, strict=True)]
HEADER = ["Time", "Left [mV]", "Right [mV]"]


def join(rows: Sequence[Sequence[str]], sep: str = ";", end: str = "\r\n") -> str:
    """Join cells to a text."""
    return end.join(sep.join(r) for r in rows) + end


def plain(rows: Sequence[Sequence[str]], sep: str = ";", **more: object) -> Sample:
    """Give a table of cells whose truth is the usual one."""
    return Sample(join(rows, sep).encode(), (truth(),), **more)  # type: ignore[arg-type]


def also(sample: Sample, *more: Truth) -> Sample:
    """Give a sample that may be read in other ways too, as a note says then."""
    return replace(sample, truths=(*sample.truths, *more))


def with_left(k: int, value: float) -> Truth:
    """Give the usual truth with another reading in one row of the left output."""
    left = LEFT.copy()
    left[k] = value
    return truth(left)


def _numbers() -> dict[str, Sample]:
    """Forms of one number: how a cell is written, and between which separators."""

    def made(cell: Callable[[float], str], sep: str = ";", unit: str = "mV", left: object = LEFT, **more: object) -> Sample:
        rows = [["Time", f"Left [{unit}]", f"Right [{unit}]"]]
        rows += [[s, cell(a), cell(b)] for s, a, b in zip(STAMPS, np.asarray(left), RIGHT, strict=True)]
        return Sample(join(rows, sep).encode(), (truth(left),), **more)  # type: ignore[arg-type]

    def comma(x: float) -> str:
        return f"{x:.1f}".replace(".", ",")

    def grouped(mark: str, point: str) -> Callable[[float], str]:
        return lambda x: f"{x * 1000:,.1f}".replace(",", "_").replace(".", point).replace("_", mark)

    def indian(x: float) -> str:
        body = f"{abs(round(x * 1000)):d}"
        head, tail = body[:-3], body[-3:]
        pairs = [head[max(i - 2, 0) : i] for i in range(len(head), 0, -2)][::-1]
        return '"' + ("-" if x < 0 else "") + ",".join([*pairs, tail]) + '.5"'

    large = LEFT + 200.0
    return {
        "comma, tab": made(comma, "\t"),
        "comma, semicolon": made(comma),
        "comma, bar": made(comma, "|"),
        "comma in quotes, comma": made(lambda x: f'"{comma(x)}"', ","),
        "comma, comma, no quotes": made(comma, ",", may_refuse=True),
        "comma, spaces": Sample(
            join([["t/s", "Left/mV", "Right/mV"], *([f"{k * 10}", comma(a), comma(b)] for k, (a, b) in enumerate(zip(LEFT, RIGHT, strict=True)))], "   ").encode(),
            (truth(start=None),), ".txt"),
        "apostrophe groups": made(grouped("'", "."), unit="µV"),
        "typographic apostrophe groups": made(grouped("\u2019", "."), unit="µV"),
        "thin space groups": made(grouped("\u202f", ","), unit="µV"),
        "no-break space groups": made(grouped("\u00a0", ","), unit="µV"),
        "plain space groups": made(grouped(" ", ","), unit="µV"),
        "point groups": made(grouped(".", ","), unit="µV"),
        "underscore groups": made(grouped("_", "."), unit="µV"),
        "Indian groups": Sample(
            join([["Time", "Left [uV]", "Right [uV]"], *([s, indian(a), indian(b)] for s, a, b in zip(STAMPS, large, RIGHT, strict=True))], ",").encode(),
            (truth(np.round(large * 1000) / 1000 + 0.0005, -(np.abs(np.round(RIGHT * 1000)) / 1000 + 0.0005)),)),
        "exponent with comma": made(lambda x: f"{x / 1000:.3E}".replace(".", ","), unit="V"),
        "Fortran D": made(lambda x: f"{x / 1000:.4E}".replace("E", "D"), unit="V"),
        "times ten to": made(lambda x: f"{x:.1f}×10^-3", unit="V"),
        "star ten to": made(lambda x: f"{x:.1f}*10^-3", unit="V"),
        "unicode minus": made(lambda x: f"{x:.1f}".replace("-", "\u2212")),
        "en dash minus": made(lambda x: f"{x:.1f}".replace("-", "\u2013")),
        "trailing minus": made(lambda x: f"{abs(x):.1f}" + ("-" if x < 0 else "")),
        "parentheses": made(lambda x: f"({-x:.1f})" if x < 0 else f"{x:.1f}"),
        "minus and space": made(lambda x: f"- {-x:.1f}" if x < 0 else f"+ {x:.1f}"),
        "neg after": made(lambda x: f"{abs(x):.1f} " + ("NEG" if x < 0 else "POS")),
        "plus and zeros": made(lambda x: f"{x:+08.2f}"),
        "no leading zero": made(lambda x: f"{x / 1000:.4f}".replace("0.", ".", 1), unit="V"),
        "unit in cells": made(lambda x: f"{x:.1f} mV DC", unit="mV"),
        "unit mixed in cells": Sample(
            join([["Time", "Left", "Right"], *([s, f"{a:.1f} mV" if a < 100 else f"{a / 1000:.4f} V", f"{b * 1000:.0f} µV"] for s, a, b in zip(STAMPS, LEFT, RIGHT, strict=True))]).encode(),
            (truth(),)),
        "prefix glued": Sample(
            join([["Time", "Left [V]", "Right [V]"], *([s, f"{a:.1f}m", f"{b * 1000:.0f}u"] for s, a, b in zip(STAMPS, LEFT, RIGHT, strict=True))]).encode(),
            (truth(),)),
        "percent": made(lambda x: f"{x:.1f}%", unit="of 100 mV", may_refuse=True),
        "hexadecimal counts": Sample(
            join([["# 1 count = 0.1 mV"], ["Time", "Left", "Right"], *([s, f"0x{round(a * 10) & 0xFFFF:04X}", f"0x{round(b * 10) & 0xFFFF:04X}"] for s, a, b in zip(STAMPS, LEFT, RIGHT, strict=True))]).encode(),
            (truth(),), may_refuse=True),
        "Arabic digits": made(lambda x: f"{x:.1f}".translate(str.maketrans("0123456789.", "٠١٢٣٤٥٦٧٨٩٫")), may_refuse=True),
        "full-width digits": made(lambda x: f"{x:.1f}".translate(str.maketrans("0123456789.-", "０１２３４５６７８９．－")), may_refuse=True),
        "formula text": made(lambda x: f'="{x:.1f}"'),
        "text apostrophe": made(lambda x: f"'{x:.1f}"),
        "polarity column": Sample(
            join([["Time", "Left [mV]", "Left pol", "Right [mV]", "Right pol"], *([s, f"{abs(a):.1f}", "-" if a < 0 else "+", f"{abs(b):.1f}", "-" if b < 0 else "+"] for s, a, b in zip(STAMPS, LEFT, RIGHT, strict=True))]).encode(),
            (truth(),), may_refuse=True),
        "polarity words": Sample(
            join([["Time", "Left [mV]", "Polarity"], *([s, f"{abs(b):.1f}", "pos" if b > 0 else "neg"] for s, b in zip(STAMPS, np.where(np.arange(ROWS) % 5 == 0, -RIGHT, RIGHT), strict=True))]).encode(),
            (truth(np.where(np.arange(ROWS) % 5 == 0, -RIGHT, RIGHT), None),), may_refuse=True),
    }  # fmt: skip


#: Words in one cell of the left output and what they mean there: over range, or no reading.
OVER = ("OL", "O.L", "0L", "OVLD", "+OVER", "Overflow", "OVERRANGE", "1E+38", "9.9E37", "+9.90000000E+37", "Inf", "∞", ">2000", "-OL", "< -2000", "Überlauf", "1.#INF")
MISSING = (
    "", " ", "----", "-", "--.--", "NaN", "nan", "#N/A", "#NV", "#DIV/0!", "#VALUE!", "null", "None", "NULL", "n/a", "N.A.", "ERR", "***", "-1.#IND",
    "?", "NoData", "\\N", "1.#QNAN", "open", "#####",
)  # fmt: skip


def _words() -> dict[str, Sample]:
    """One word in row 7 of the left output."""
    found = {}
    for words, values in ((OVER, (np.inf, -np.inf)), (MISSING, (np.nan,))):
        for word in words:
            rows = [HEADER, *TABLE[:7], [TABLE[7][0], word, TABLE[7][2]], *TABLE[8:]]
            truths = tuple(with_left(7, v) for v in (*values, np.nan))
            knows = {"over_words": [word]} if np.isinf(values[0]) else {"missing_words": [word]}
            found[f"word {word!r}"] = Sample(join(rows).encode(), truths, knows=knows)
    for code in ("-999.9", "9999", "99999"):
        rows = [HEADER, *([r[0], code if k % 8 == 7 else r[1], r[2]] for k, r in enumerate(TABLE))]
        left = np.where(np.arange(ROWS) % 8 == 7, float(code), LEFT)
        found[f"code {code}"] = Sample(join(rows).encode(), (truth(left), truth(np.where(left == float(code), np.nan, left))))
    return found


def _around() -> dict[str, Sample]:
    """Lines above, between and below the table."""
    above = [["Logger", "bench 3"], ["Serial", "X-0417"], ["Operator", "Nadine"], ["Channels", "2"], ["Range", "2 V"], []]
    units = [["Time", "Left", "Right"], ["[s]", "[mV]", "[mV]"], *([f"{k * 10}", *r[1:]] for k, r in enumerate(TABLE))]
    later = [["2031-03-14 09" + r[0][13:], *r[1:]] for r in TABLE]
    both = np.concatenate([seconds(), 3600 + seconds()])
    twice = truth(np.tile(LEFT, 2), np.tile(RIGHT, 2), both)
    volts = [[r[0], f"{float(r[1]) / 1000:.4f}", f"{float(r[2]) / 1000:.4f}"] for r in later]
    numbered = [[str(k + 1), *r[1:]] for k, r in enumerate(TABLE)]
    first = ["Scan", "Left [mV]", "Right [mV]"]
    return {
        "preamble": plain([*above, HEADER, *TABLE]),
        "title line": plain([["Night soak, cover on; unit on the bench"], HEADER, *TABLE]),
        "percent comments": plain([["% made by a script"], ["% rate 0.1 Hz"], HEADER, *TABLE]),
        "slash comments": plain([["// made by a script"], HEADER, *TABLE[:5], ["// paused"], *TABLE[5:]]),
        "hash header": plain([["# Time", "Left [mV]", "Right [mV]"], *TABLE]),
        "comment in the middle": plain([HEADER, *TABLE[:12], ["# tapped the relay"], *TABLE[12:]]),
        "settings table first": plain([["Channel", "Range", "Unit"], ["Left", "2", "mV"], ["Right", "2", "mV"], [], HEADER, *TABLE]),
        "footer statistics": plain([HEADER, *TABLE, [], ["Average", "43.3", "-3.1"], ["Minimum", "4.8", "-3.3"], ["Maximum", "310.4", "-3.0"]]),
        "footer without blank": plain([HEADER, *TABLE, ["Mean", "43.3", "-3.1"], ["Std", "101.1", "0.1"]]),
        "end of file": plain([HEADER, *TABLE, ["End of file"]]),
        "total samples": plain([HEADER, *TABLE, ["Total samples: 24"], ["Stopped: 2031-03-14 08:04:00"]]),
        "footer with a stamp": Sample(join([HEADER, *TABLE, ["2031-03-14 08:04:00", "stopped by user", ""]]).encode(), (truth(), truth(np.append(LEFT, np.nan), np.append(RIGHT, np.nan))), knows={"missing_words": ["stopped by user"]}),
        "summary table after": plain([HEADER, *TABLE, [], ["Channel", "Min [mV]", "Max [mV]"], ["Left", "4.8", "310.4"], ["Right", "-3.3", "-3.0"]]),
        "second run below": Sample(join([["Run 1"], HEADER, *TABLE, [], ["Run 2"], HEADER, *later]).encode(), (twice,)),
        "repeated header": plain([HEADER, *TABLE[:8], HEADER, *TABLE[8:16], HEADER, *TABLE[16:]]),
        "unit changes": Sample(join([HEADER, *TABLE, ["Time", "Left [V]", "Right [V]"], *volts]).encode(), (twice,), may_refuse=True),
        "unit changes, row of units": Sample(join([HEADER, *TABLE, ["Time", "Left", "Right"], ["", "V", "V"], *volts]).encode(), (twice,), may_refuse=True),
        "columns swap": Sample(join([HEADER, *TABLE, ["Time", "Right [mV]", "Left [mV]"], *([r[0], r[2], r[1]] for r in later)]).encode(), (twice,), may_refuse=True),
        "units in second line": Sample(join(units).encode(), (truth(start=None),)),
        "units of stamps": plain([["Time", "Left", "Right"], ["yyyy-mm-dd hh:mm:ss", "mV", "mV"], *TABLE]),
        "units in line above": plain([["", "mV", "mV"], ["Time", "Left", "Right"], *TABLE]),
        "numbers, names, units": plain([["Channel", "1", "2"], ["Name", "Left", "Right"], ["Unit", "mV", "mV"], *TABLE]),
        "interval told, seconds": Sample(join([["Interval [s]", "10"], ["Start", "2031-03-14 08:00:00"], [], first, *numbered]).encode(), (truth(),)),
        "interval told, clock": Sample(join([["Sample interval:", "00:00:10"], ["Start time:", "2031-03-14 08:00:00"], [], first, *numbered]).encode(), (truth(),)),
        "rate told": Sample(join([["# sampling rate: 0.1 Hz"], first, *numbered]).encode(), (truth(start=None),), knows={"sample_interval_s": 10.0}),
        "interval not told": Sample(join([first, *numbered]).encode(), (truth(start=None),), knows={"sample_interval_s": 10.0}, needs_ask=True),
        "start told, elapsed": Sample(join([["Started: 2031-03-14 08:00:00"], ["Elapsed [s]", "Left [mV]", "Right [mV]"], *([f"{k * 10}", *r[1:]] for k, r in enumerate(TABLE))]).encode(), (truth(),)),
        "legend of channels": Sample(join([["CH1 = Left"], ["CH2 = Right"], ["Time", "CH1 [mV]", "CH2 [mV]"], *TABLE]).encode(), (truth(), truth(names=("CH1", "CH2")))),
        "legend with unit": Sample(join([["CH1: Left, mV"], ["CH2: Right, mV"], ["Time", "CH1", "CH2"], *TABLE]).encode(), (truth(), truth(names=("CH1", "CH2"))), knows={"unit": "mV"}),
        "unit in preamble": plain([["Unit: mV"], ["Time", "Left", "Right"], *TABLE]),
        "no unit": plain([["Time", "Left", "Right"], *TABLE], knows={"unit": "mV"}, may_refuse=True),
        "no header": Sample(join([[r[0], r[1] + " mV", r[2] + " mV"] for r in TABLE]).encode(), (truth(names=("ch1", "ch2")),)),
        "sep line": plain([["sep=;"], HEADER, *TABLE]),
        "quotes everywhere": Sample(join([[f'"{c}"' for c in r] for r in [HEADER, *TABLE]], ",").encode(), (truth(),)),
        "trailing separators": plain([[*HEADER, ""], *([*r, ""] for r in TABLE)]),
        "trailing in rows only": plain([HEADER, *([*r, ""] for r in TABLE)]),
        "trailing in header only": plain([[*HEADER, ""], *TABLE]),
        "many empty columns": plain([[*HEADER, "", "", ""], *([*r, "", "", ""] for r in TABLE), *[[""] * 6] * 5]),
        "leading empty column": plain([["", *HEADER], *(["", *r] for r in TABLE)]),
        "index of a frame": plain([["", *HEADER], *([str(k), *r] for k, r in enumerate(TABLE))], ","),
        "blank lines between": plain([row for r in [HEADER, *TABLE] for row in (r, [])]),
        "fixed width": Sample("".join(f"{a:<22}{b:>12}{c:>12}\n" for a, b, c in [HEADER, *TABLE]).replace("Left [mV]", "Left_[mV]").replace("Right [mV]", "Right_[mV]").encode(), (truth(), truth(names=("Left_", "Right_"))), ".txt"),
        "time last": plain([[*HEADER[1:], "Time"], *([*r[1:], r[0]] for r in TABLE)]),
        "markdown table": Sample(("| Time | Left [mV] | Right [mV] |\n|---|---|---|\n" + "".join(f"| {' | '.join(r)} |\n" for r in TABLE)).encode(), (truth(),), ".md", may_refuse=True),
        "transposed": Sample(join([["Time", *STAMPS], ["Left [mV]", *(r[1] for r in TABLE)], ["Right [mV]", *(r[2] for r in TABLE)]]).encode(), (truth(),), may_refuse=True),
    }  # fmt: skip


def _beside() -> dict[str, Sample]:
    """Columns beside the readings, and readings one below the other."""

    def add(*columns: tuple[str, Callable[[int], str]], at: int = 3, **more: object) -> Sample:
        rows = [[*HEADER[:at], *(c for c, _ in columns), *HEADER[at:]]]
        rows += [[*r[:at], *(f(k) for _, f in columns), *r[at:]] for k, r in enumerate(TABLE)]
        return Sample(join(rows).encode(), (truth(),), **more)  # type: ignore[arg-type]

    long = [x for s, a, b in TABLE for x in ([s, "Left", a], [s, "Right", b])]
    blocks = [*([s, "Left", a] for s, a, _ in TABLE), *([s, "Right", b] for s, _, b in TABLE)]
    mixed = [x for s, a, b in TABLE for x in ([s, "Left", f"{float(a) / 1000:.4f}", "V"], [s, "Right", b, "mV"])]
    pairs = [["Time", "Left", "Unit", "Right", "Unit"], *([s, a, "mV", f"{float(b) * 1000:.0f}", "uV"] for s, a, b in TABLE)]
    apart = [x for k, (s, a, b) in enumerate(TABLE) for x in ([s, a, ""], [s[:-1] + "5", "", b])]
    spread = np.full(2 * ROWS, np.nan), np.full(2 * ROWS, np.nan)
    spread[0][::2], spread[1][1::2] = LEFT, RIGHT
    return {
        "status columns": plain([["Time", "Left [mV]", "Status", "Right [mV]", "Status"], *([s, a, "OK", b, "OK"] for s, a, b in TABLE)]),
        "status says bad": add(("Left status", lambda k: "FAULT" if k == 7 else "OK"), ("Right status", lambda k: "OK")),
        "quality numbers": add(("Quality", lambda k: "192" if k != 7 else "0")),
        "min max mean": Sample(join([["Time", "Left min [mV]", "Left max [mV]", "Left mean [mV]"], *([s, f"{float(a) - 0.3:.1f}", f"{float(a) + 0.4:.1f}", a] for s, a, _ in TABLE)]).encode(), (truth(LEFT, None, names=("Left mean", "")),), may_refuse=True, knows={"channels": ["Left mean"]}),
        "AC beside DC": Sample(join([["Time", "Left DC [mV]", "Left AC [mV]", "Right DC [mV]", "Right AC [mV]"], *([s, a, "812.4", b, "799.1"] for s, a, b in TABLE)]).encode(), (truth(names=("Left DC", "Right DC")), truth())),
        "rms beside": add(("Left RMS [mV]", lambda k: f"{800 + k}.1"), ("Right RMS [mV]", lambda k: f"{790 + k}.1")),
        "temperature and mains": add(("Temp [°C]", lambda k: f"{21 + k * 0.1:.1f}"), ("Mains [V]", lambda k: f"{229 + k % 3}.4")),
        "bare temperature": add(("T1", lambda k: f"{21 + k * 0.1:.1f}"), may_refuse=True),
        "battery": add(("Batt [V]", lambda k: "3.71")),
        "battery percent": add(("Battery %", lambda k: str(98 - k // 8))),
        "comments": add(("Remark", lambda k: "tapped, twice" if k == 9 else "")),
        "events": add(("Event", lambda k: "stimulus: tap" if k == 9 else "")),
        "relay state": add(("Relay", lambda k: "1"), ("Alarm", lambda k: "0")),
        "limit column": add(("Upper limit [mV]", lambda k: "50.0"), ("Lower limit [mV]", lambda k: "-50.0")),
        "row numbers": plain([["#", *HEADER], *([str(k + 1), *r] for k, r in enumerate(TABLE))]),
        "difference column": also(add(("L-R [mV]", lambda k: f"{LEFT[k] - RIGHT[k]:.1f}")), Truth({"Left": LEFT / 1e3, "Right": RIGHT / 1e3, "L-R": np.round(LEFT - RIGHT, 1) / 1e3}, seconds())),
        "humidity and pressure": add(("rH [%]", lambda k: "41"), ("p [hPa]", lambda k: "1013.2")),
        "current": add(("Idle current [mA]", lambda k: "35.1"), ("Supply [V]", lambda k: "42.1")),
        "device of each row": add(("Device", lambda k: "M-22"), ("Serial", lambda k: "4711"), at=1),
        "range beside": add(("Left range", lambda k: "2 V" if 9 <= k < 12 else "200 mV"), ("Right range", lambda k: "200 mV")),
        "empty channels": add(("CH3 [mV]", lambda k: ""), ("CH4 [mV]", lambda k: "")),
        "long form": plain([["Time", "Channel", "Value [mV]"], *long]),
        "long form, blocks": plain([["Time", "Channel", "Value [mV]"], *blocks]),
        "long form, unit in rows": plain([["Time", "Channel", "Value", "Unit"], *mixed]),
        "long form, sensor": plain([["when", "sensor_id", "reading_mV"], *long], ","),
        "long form, number": Sample(join([["Time", "CH", "mV"], *([s, "12"[n == "Right"], v] for s, n, v in long)]).encode(), (truth(names=("1", "2")), truth(names=("CH1", "CH2")), truth(names=("CH 1", "CH 2"))), knows={"channel_column": "CH"}),
        "long form, rows with temperature": plain([["Time", "Channel", "Value", "Unit"], *(x for s, a, b in TABLE for x in ([s, "Left", a, "mV"], [s, "Right", b, "mV"], [s, "Heat sink", "31.4", "°C"]))]),
        "unit columns": plain(pairs),
        "units beside in one": plain([["Time", "Left", "Right", "Unit"], *([*r, "mV"] for r in TABLE)]),
        "one row for each reading": Sample(join([HEADER, *apart]).encode(), (truth(*spread, t_s=np.arange(2 * ROWS) * 5.0),), may_refuse=True),
        "a stamp for each channel": Sample(join([["Time L", "Left [mV]", "Time R", "Right [mV]"], *([s, a, s[:-1] + "1", b] for s, a, b in TABLE)]).encode(), (truth(),), may_refuse=True, knows={"time_column": "Time L"}),
        "two stamps": plain([["Logger time", "PC time", *HEADER[1:]], *([s, s.replace(" 08", " 10"), a, b] for s, a, b in TABLE)], knows={"time_column": "Logger time"}),
        "start and end of window": plain([["Start", "End", *HEADER[1:]], *([s, STAMPS[k + 1] if k + 1 < ROWS else "2031-03-14 08:04:00", a, b] for k, (s, a, b) in enumerate(TABLE))], knows={"time_column": "Start"}),
        "same name twice": Sample(join([["Time", "Offset [mV]", "Offset [mV]"], *TABLE]).encode(), (truth(names=("Offset [mV]", "Offset [mV] 2")),), may_refuse=True),
    }  # fmt: skip


def TEXTS() -> dict[str, Sample]:
    """Give all text files by name."""
    return _numbers() | _words() | _around() | _beside()
