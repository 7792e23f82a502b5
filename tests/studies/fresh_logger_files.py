"""Text files as loggers, handhelds, data acquisition and spreadsheets write them, in several locales. All invented.

`logger_file(family, seed)` gives the bytes, what is truly in them (volts, seconds, start), and the facts that a user
could answer if asked. No maker's format is meant; the forms are what one meets: preambles, rows of units, footers,
repeated headers, time in parts, words for overload, separators and decimal signs of the country, marks of encoding.

    python tests/studies/fresh_logger_files.py --seed 1 --n 10
"""

from __future__ import annotations

import datetime as dt
import re
import sys
import tempfile
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from fresh_parts import Floats, runner, table

OVER_WORDS = {"en": ("OL", "OVER", "OVLD", "Overload"), "de": ("OL", "Überlauf", "ÜBERL."), "fr": ("OL", "dépassement", "DEP."), "es": ("OL", "desborde", "FUERA DE RANGO")}
LEFT_RIGHT = {"en": ("Left", "Right"), "de": ("Links", "Rechts"), "fr": ("Gauche", "Droite"), "es": ("Izquierda", "Derecha")}
TIME_WORDS = {"en": ("Date", "Time"), "de": ("Datum", "Uhrzeit"), "fr": ("Date", "Heure"), "es": ("Fecha", "Hora")}
ELAPSED = {"en": "Elapsed", "de": "Laufzeit", "fr": "Durée", "es": "Transcurrido"}


@dataclass
class LoggerFile:
    """The bytes of a file and the truth: volts by column (``nan`` no reading, ``inf`` over range), seconds, start."""

    family: str
    data: bytes
    time_s: Floats
    volts: dict[str, Floats]
    start: dt.datetime | None
    facts: dict[str, object]
    asks: bool = False
    allowed: tuple[str, ...] = ()
    words: str = ""


@dataclass
class Style:
    """How one file is written, and what is measured in it."""

    rng: np.random.Generator
    locale: str = "en"
    sep: str = ","
    decimal: str = "."
    end: str = "\n"
    coding: str = "utf-8"
    unit: str = "mV"
    names: tuple[str, ...] = ()
    start: dt.datetime = dt.datetime(2031, 3, 4)
    time_s: Floats = field(default_factory=lambda: np.empty(0))
    text: list[list[str]] = field(default_factory=list)
    volts: Floats = field(default_factory=lambda: np.empty((0, 0)))
    step: float = 1.0

    def number(self, x: float, digits: int) -> str:
        """Write a number with the decimal sign of the file."""
        return f"{x:.{digits}f}".replace(".", self.decimal)

    def finish(self, lines: list[str]) -> bytes:
        """Join the lines and encode them."""
        out = "".join(line + self.end for line in lines)
        if self.coding == "utf-16":
            return b"\xff\xfe" + out.encode("utf-16-le")
        return out.encode(self.coding, errors="replace")

    def moment(self, i: int) -> dt.datetime:
        """Give the moment of a row."""
        return self.start + dt.timedelta(seconds=float(self.time_s[i]))


SCALE = {"V": 1.0, "mV": 1e-3, "µV": 1e-6}


def _style(seed: int, family: str, *, rows: tuple[int, int] = (60, 300)) -> Style:
    rng = np.random.default_rng([seed, 6, sum(map(ord, family))])
    s = Style(rng)
    s.locale = str(rng.choice(list(LEFT_RIGHT)))
    s.decimal = "." if s.locale == "en" else ","
    s.sep = str(rng.choice([",", "\t", ";"])) if s.locale == "en" else str(rng.choice([";", ";", "\t"]))
    s.end = str(rng.choice(["\n", "\r\n"]))
    s.coding = str(rng.choice(["utf-8", "utf-8-sig", "cp1252"]))
    s.unit = str(rng.choice(["mV", "mV", "V"]))
    both = LEFT_RIGHT[s.locale]
    s.names = both if rng.random() < 0.7 else both[:1]
    n = int(rng.integers(*rows))
    s.step = float(rng.choice([0.5, 1.0, 2.0, 10.0, 60.0]))
    s.time_s = np.arange(n) * s.step
    s.start = dt.datetime(2027, 1, 1) + dt.timedelta(days=int(rng.integers(1500)), seconds=int(rng.integers(86400)))
    values = rng.normal(0, 8e-3, len(s.names)) + 4e-4 * rng.standard_normal((n, len(s.names)))
    for k in range(len(s.names)):
        for _ in range(int(rng.integers(1, 4))):
            at = int(rng.integers(5, n - 5))
            values[at : at + int(rng.integers(1, 5)), k] += rng.choice([-1, 1]) * np.exp(rng.uniform(np.log(0.1), np.log(40)))
    _write(s, values)
    return s


def _write(s: Style, values: Floats, digits: int | None = None) -> None:
    """Write the values with the digits of the file and keep what was written as the truth."""
    d = digits if digits is not None else {"mV": 1, "V": 4, "µV": 0}[s.unit]
    scaled = np.round(values / SCALE[s.unit], d)
    s.text = [[s.number(x, d) for x in row] for row in scaled]
    s.volts = scaled * SCALE[s.unit]


def _holes(s: Style, words: tuple[str, ...], share: float, value: float) -> None:
    for i, k in np.argwhere(s.rng.random(s.volts.shape) < share):
        s.text[i][k], s.volts[i, k] = str(s.rng.choice(words)), value


def _done(s: Style, family: str, lines: list[str], labels: list[str] | None = None, **more: object) -> LoggerFile:
    facts: dict[str, object] = {"unit": s.unit, "day_first": True, "decimal": s.decimal, "sample_interval_s": s.step,
                                "separator": {"\t": "tab"}.get(s.sep, s.sep)}  # fmt: skip
    facts.update(more.pop("facts", {}))  # type: ignore[call-overload]
    labels = list(s.names) if labels is None else labels
    volts = {label: s.volts[:, k] for k, label in enumerate(labels)}
    what = {"start": s.start, **more}
    words = f"{s.locale}, separator {s.sep!r}, {s.unit}, {s.coding}"
    return LoggerFile(family, s.finish(lines), s.time_s, volts, facts=facts, words=words, **what)  # type: ignore[arg-type]


def _dmy(s: Style, i: int) -> str:
    m = s.moment(i)
    return m.strftime({"en": "%Y-%m-%d", "de": "%d.%m.%Y", "fr": "%d/%m/%Y", "es": "%d/%m/%Y"}[s.locale])


def _clock(s: Style, i: int) -> str:
    m = s.moment(i)
    return m.strftime("%H:%M:%S") + (s.decimal + f"{m.microsecond // 1000:03d}" if s.step < 1 else "")


def _unit_in(s: Style, name: str) -> str:
    return str(s.rng.choice([f"{name} [{s.unit}]", f"{name} ({s.unit})", f"{name}_{s.unit}", f"{name} {s.unit}", f"U {name}/{s.unit}"]))


def _ambiguous(s: Style) -> bool:
    """Tell whether day and month cannot be told apart by the file."""
    return s.locale in ("fr", "es") and s.moment(0).day <= 12 and s.moment(len(s.time_s) - 1).day <= 12


# ---------------------------------------------------------------- families


def handheld_unit_per_row(seed: int) -> LoggerFile:
    """Auto-ranging handheld: number, date, time, value, unit of the row, mode; overload as a word."""
    s = _style(seed, "handheld")
    s.names = s.names[:1]
    s.volts = s.volts[:, :1]
    over, lines = OVER_WORDS[s.locale], []
    d, t = TIME_WORDS[s.locale]
    head = {"en": "No.", "de": "Nr.", "fr": "N°", "es": "Núm."}[s.locale], d, t, {"en": "Value", "de": "Messwert", "fr": "Valeur", "es": "Valor"}[s.locale], {"en": "Unit", "de": "Einheit", "fr": "Unité", "es": "Unidad"}[s.locale], "Mode"
    lines.append(s.sep.join(head))
    for i, v in enumerate(s.volts[:, 0]):
        if abs(v) > 30 or s.rng.random() < 0.01:
            s.volts[i, 0], cell, unit = np.inf, str(s.rng.choice(over)), "V"
        elif abs(v) >= 0.4:
            s.volts[i, 0], cell, unit = round(v, 3), s.number(round(v, 3), 3), "V"
        else:
            s.volts[i, 0], cell, unit = round(v * 1e3, 1) * 1e-3, s.number(round(v * 1e3, 1), 1), "mV"
        lines.append(s.sep.join((str(i + 1), _dmy(s, i), _clock(s, i), cell, unit, "DC")))
    return _done(s, "handheld_unit_per_row", lines, [head[3]], asks=_ambiguous(s), facts={"over_words": over})


def preamble_and_units_row(seed: int) -> LoggerFile:
    """Data logger: ten lines about the device, a header, a row of units, data, a footer of two lines."""
    s = _style(seed, "preamble")
    _holes(s, OVER_WORDS[s.locale], 0.01, np.inf)
    d, t = TIME_WORDS[s.locale]
    lines = ["Ottlin bench recorder 4", f"Serial{s.sep}O4-00{s.rng.integers(100, 999)}", f"Firmware{s.sep}2{s.decimal}14",
             f"Interval{s.sep}{s.number(s.step, 1)} s", f"Channels{s.sep}{len(s.names)}", f"Operator{s.sep}ana", ""]  # fmt: skip
    lines += [s.sep.join((d, t, *s.names)), s.sep.join(("", "", *[s.unit] * len(s.names)))]
    lines += [s.sep.join((_dmy(s, i), _clock(s, i), *row)) for i, row in enumerate(s.text)]
    lines += ["", f"Samples{s.sep}{len(s.text)}", "End of file"]
    return _done(s, "preamble_and_units_row", lines, asks=_ambiguous(s), facts={"over_words": OVER_WORDS[s.locale]})


def elapsed_and_footer(seed: int) -> LoggerFile:
    """Acquisition program: seconds from the start; below the data minimum, maximum and mean of each column."""
    s = _style(seed, "elapsed_footer")
    lines = [s.sep.join((f"{ELAPSED[s.locale]} (s)", *[_unit_in(s, n) for n in s.names]))]
    lines += [s.sep.join((s.number(x, 3), *row)) for x, row in zip(s.time_s, s.text, strict=True)]
    for what in ("Min", "Max", "Mean"):
        lines.append(s.sep.join((what, *[s.number(float(s.volts[:, k].max()) / SCALE[s.unit], 1) for k in range(len(s.names))])))
    return _done(s, "elapsed_and_footer", lines, start=None)


def spreadsheet_thousands(seed: int) -> LoggerFile:
    """Saved from a spreadsheet in the country's format: thousands grouped where there are any, an empty column."""
    s = _style(seed, "thousands")
    s.unit = "mV"
    _write(s, s.volts)
    if s.locale == "en":
        s.sep = str(s.rng.choice([",", "\t"]))
    group = {"en": ",", "de": ".", "fr": "\u202f", "es": "."}[s.locale]
    if group == "\u202f":
        s.coding = "utf-8"
        group = str(s.rng.choice(["\u202f", "\xa0", " "]))

    def grouped(cell: str) -> str:
        whole, _, part = cell.partition(s.decimal)
        sign, digits = ("-", whole[1:]) if whole.startswith("-") else ("", whole)
        out = sign + (digits[:-3] + group + digits[-3:] if len(digits) > 3 else digits) + s.decimal + part
        return f'"{out}"' if s.sep in out else out

    d, _ = TIME_WORDS[s.locale]
    lines = [s.sep.join((d, "", *[f"{n} [mV]" for n in s.names], ""))]
    lines += [s.sep.join((f"{_dmy(s, i)} {_clock(s, i)}", "", *[grouped(c) for c in row], "")) for i, row in enumerate(s.text)]
    return _done(s, "spreadsheet_thousands", lines, asks=_ambiguous(s))


def twelve_hours(seed: int) -> LoggerFile:
    """American clock: month first, twelve hours, AM and PM; undecided where no day is above twelve."""
    s = _style(seed, "twelve")
    s.locale, s.decimal, s.sep = "en", ".", ","
    _write(s, s.volts)
    s.names = LEFT_RIGHT["en"][: len(s.names)]
    s.step = max(s.step, 1.0)
    s.time_s = np.arange(len(s.text)) * s.step
    upper = s.rng.random() < 0.6

    def stamp(i: int) -> str:
        m = s.moment(i)
        half = ("AM", "PM")[m.hour >= 12] if upper else ("a.m.", "p.m.")[m.hour >= 12]
        return f"{m.month}/{m.day}/{m.year} {(m.hour - 1) % 12 + 1}:{m.minute:02d}:{m.second:02d} {half}"

    lines = [s.sep.join(("Timestamp", *[_unit_in(s, n) for n in s.names]))]
    lines += [s.sep.join((stamp(i), *row)) for i, row in enumerate(s.text)]
    asks = s.moment(0).day <= 12 and s.moment(len(s.text) - 1).day <= 12
    return _done(s, "twelve_hours", lines, asks=asks, facts={"day_first": False, "date_order": "mdy"})


def milliseconds_apart(seed: int) -> LoggerFile:
    """Date, time to the second, and the milliseconds in a column of their own."""
    s = _style(seed, "ms_apart")
    s.step = float(s.rng.choice([0.1, 0.25, 0.5]))
    s.time_s = np.arange(len(s.text)) * s.step
    d, t = TIME_WORDS[s.locale]
    lines = [s.sep.join((d, t, str(s.rng.choice(["ms", "msec", "Millisec"])), *[_unit_in(s, n) for n in s.names]))]
    for i, row in enumerate(s.text):
        m = s.moment(i)
        lines.append(s.sep.join((_dmy(s, i), m.strftime("%H:%M:%S"), str(m.microsecond // 1000), *row)))
    return _done(s, "milliseconds_apart", lines, asks=_ambiguous(s))


def elapsed_over_a_day(seed: int) -> LoggerFile:
    """Elapsed hours, minutes, seconds that go on beyond 24 h, or days in front of them."""
    s = _style(seed, "over_a_day")
    s.step = float(s.rng.choice([300.0, 600.0]))
    s.time_s = 80_000 + np.arange(len(s.text)) * s.step
    days = s.rng.random() < 0.4

    def stamp(x: float) -> str:
        h, m, sec = int(x // 3600), int(x // 60) % 60, int(x) % 60
        return f"{h // 24}.{h % 24:02d}:{m:02d}:{sec:02d}" if days else f"{h}:{m:02d}:{sec:02d}"

    lines = [s.sep.join((f"{ELAPSED[s.locale]}", *[_unit_in(s, n) for n in s.names]))]
    lines += [s.sep.join((stamp(x), *row)) for x, row in zip(s.time_s, s.text, strict=True)]
    return _done(s, "elapsed_over_a_day", lines, start=None, facts={"time_column": ELAPSED[s.locale]})


def bilingual(seed: int) -> LoggerFile:
    """Headers in two languages, parted by a stroke; the decimal sign of the second."""
    s = _style(seed, "bilingual")
    en, here = LEFT_RIGHT["en"], LEFT_RIGHT[s.locale]
    labels = [f"{here[k]} / {en[k]}" for k in range(len(s.names))]
    d, t = TIME_WORDS[s.locale]
    lines = [s.sep.join((f"{d} / Date", f"{t} / Time", *[f"{x} [{s.unit}]" for x in labels]))]
    lines += [s.sep.join((_dmy(s, i), _clock(s, i), *row)) for i, row in enumerate(s.text)]
    return _done(s, "bilingual", lines, labels, asks=_ambiguous(s))


def engineering(seed: int) -> LoggerFile:
    """Engineering notation: an exponent of three with the unit in the header, or a letter of magnitude in each cell."""
    s = _style(seed, "engineering")
    letters = s.rng.random() < 0.5
    s.unit = "V"
    values = s.volts.copy()

    def cell(i: int, k: int) -> str:
        v = values[i, k]
        power = 0 if abs(v) >= 1 else -3 if abs(v) >= 1e-3 else -6
        mant = round(v / 10.0**power, 3)
        s.volts[i, k] = mant * 10.0**power
        tail = {0: "", -3: "m", -6: "u"}[power] if letters else f"E{power:+03d}" if power else "E+00"
        return s.number(mant, 3) + (f" {tail}V" if letters else tail)

    lines = [s.sep.join((f"t [s]{''}", *([*s.names] if letters else [f"{n} [V]" for n in s.names])))]
    for i in range(len(values)):
        lines.append(s.sep.join((s.number(s.time_s[i], 1), *[cell(i, k) for k in range(len(s.names))])))
    return _done(s, "engineering", lines, start=None)


def least_largest_mean(seed: int) -> LoggerFile:
    """A logger of intervals: mean, least and largest of each channel, every 10 s or minute."""
    s = _style(seed, "minmax")
    s.step = float(s.rng.choice([10.0, 60.0]))
    s.time_s = np.arange(len(s.text)) * s.step
    word = {"en": ("avg", "min", "max"), "de": ("Mittel", "Min", "Max"), "fr": ("moy", "min", "max"), "es": ("media", "mín", "máx")}[s.locale]
    d, t = TIME_WORDS[s.locale]
    lines = [s.sep.join((f"{d} {t}", *[f"{n} {w} [{s.unit}]" for n in s.names for w in word]))]
    digits = {"mV": 1, "V": 4}[s.unit]
    for i, row in enumerate(s.text):
        cells = [_dmy(s, i) + " " + _clock(s, i)]
        for k, c in enumerate(row):
            x = s.volts[i, k] / SCALE[s.unit]
            spread = 3e-4 / SCALE[s.unit] * abs(s.rng.standard_normal()) + 10.0**-digits
            cells += [c, s.number(x - spread, digits), s.number(x + spread, digits)]
        lines.append(s.sep.join(cells))
    labels = [f"{n} {word[0]}" for n in s.names]
    others = tuple(f"{n} {w}" for n in s.names for w in word[1:])
    return _done(s, "least_largest_mean", lines, labels, asks=True, allowed=others, facts={"channels": labels})


def fixed_width(seed: int) -> LoggerFile:
    """Columns of fixed width, set right with spaces, units below the names."""
    s = _style(seed, "fixed")
    s.sep = " "
    s.locale, s.decimal, s.coding = "en", ".", "utf-8"
    s.names = LEFT_RIGHT["en"][: len(s.names)]
    _write(s, s.volts)
    lines = ["#" + "Time".rjust(11) + "".join(n.rjust(12) for n in s.names), "#" + "[s]".rjust(11) + "".join(f"[{s.unit}]".rjust(12) for _ in s.names)]
    lines += [f"{x:12.2f}" + "".join(c.rjust(12) for c in row) for x, row in zip(s.time_s, s.text, strict=True)]
    return _done(s, "fixed_width", lines, start=None, facts={"separator": "space"})


def pipe_table(seed: int) -> LoggerFile:
    """Bars between the cells and at both ends, a rule of dashes below the header, as terminals print it."""
    s = _style(seed, "pipe")
    s.sep = "|"
    lines = ["| " + " | ".join((*TIME_WORDS[s.locale], *[f"{n} [{s.unit}]" for n in s.names])) + " |", "|" + "---|" * (2 + len(s.names))]
    lines += ["| " + " | ".join((_dmy(s, i), _clock(s, i), *row)) + " |" for i, row in enumerate(s.text)]
    return _done(s, "pipe_table", lines, asks=_ambiguous(s))


def utf16_with_zone(seed: int) -> LoggerFile:
    """Tabs in UTF-16 with a mark; ISO time with a zone behind it."""
    s = _style(seed, "utf16")
    s.sep, s.coding, s.end = "\t", "utf-16", "\r\n"
    zone = str(s.rng.choice(["Z", "+02:00", "+0100", " +01:00", " CET", " UTC"]))

    def stamp(i: int) -> str:
        m = s.moment(i)
        return m.strftime(str("%Y-%m-%d %H:%M:%S" if zone[0] == " " else "%Y-%m-%dT%H:%M:%S")) + f".{m.microsecond // 1000:03d}{zone}"

    lines = [s.sep.join(("Timestamp", *[_unit_in(s, n) for n in s.names]))]
    lines += [s.sep.join((stamp(i), *row)) for i, row in enumerate(s.text)]
    out = _done(s, "utf16_with_zone", lines, start=None, facts={"time_column": "Timestamp"})
    out.words += f", zone {zone!r}"
    return out


def repeated_header(seed: int) -> LoggerFile:
    """The header comes again after every 40 to 90 rows, with or without its row of units; ends of line of two kinds."""
    s = _style(seed, "repeated")
    again, units = int(s.rng.integers(40, 90)), s.rng.random() < 0.5
    head = [s.sep.join((*TIME_WORDS[s.locale], *([*s.names] if units else [f"{n} [{s.unit}]" for n in s.names])))]
    if units:
        head.append(s.sep.join(("", "", *[s.unit] * len(s.names))))
    lines: list[str] = []
    s.end = "\n"
    for i, row in enumerate(s.text):
        if i % again == 0:
            lines += ["", *head] if i else head
        lines.append(s.sep.join((_dmy(s, i), _clock(s, i), *row)) + ("\r" if s.rng.random() < 0.5 else ""))
    return _done(s, "repeated_header", lines, asks=_ambiguous(s))


def two_times(seed: int) -> LoggerFile:
    """The computer's time and the device's seconds beside it; the computer's is late by some hundredths."""
    s = _style(seed, "two_times")
    s.step = max(s.step, 1.0)
    s.time_s = np.arange(len(s.text)) * s.step
    lines = [s.sep.join(("PC time", "Device time (s)", *[f"{n} [{s.unit}]" for n in s.names]))]
    for i, row in enumerate(s.text):
        m = s.moment(i) + dt.timedelta(milliseconds=int(s.rng.integers(0, 90)))
        lines.append(s.sep.join((m.isoformat(sep=" ", timespec="milliseconds"), s.number(500 + s.time_s[i], 2), *row)))
    return _done(s, "two_times", lines, start=None, facts={"time_column": "PC time"})


def same_names(seed: int) -> LoggerFile:
    """Two columns of the same name: both are channels."""
    s = _style(seed, "same_names")
    s.names = LEFT_RIGHT[s.locale]
    if s.volts.shape[1] == 1:
        s.volts = np.hstack([s.volts, -s.volts[::-1] + 1e-3])
        _write(s, s.volts)
    word = {"en": "Voltage", "de": "Spannung", "fr": "Tension", "es": "Tensión"}[s.locale]
    lines = [s.sep.join((*TIME_WORDS[s.locale], f"{word} ({s.unit})", f"{word} ({s.unit})"))]
    lines += [s.sep.join((_dmy(s, i), _clock(s, i), *row)) for i, row in enumerate(s.text)]
    return _done(s, "same_names", lines, [word, f"{word} "], asks=_ambiguous(s))


def long_form(seed: int) -> LoggerFile:
    """One row for each reading: time, channel, value, unit."""
    s = _style(seed, "long")
    chan = {"en": "Channel", "de": "Kanal", "fr": "Voie", "es": "Canal"}[s.locale]
    lines = [s.sep.join(("Timestamp", chan, "Value", "Unit"))]
    for i, row in enumerate(s.text):
        stamp = s.moment(i).isoformat(sep=" ", timespec="milliseconds")
        lines += [s.sep.join((stamp, n, c, s.unit)) for n, c in zip(s.names, row, strict=True)]
    return _done(s, "long_form", lines, None if len(s.names) > 1 else ["Value"], asks=len(s.names) == 1, facts={"channel_column": chan})


def all_quoted(seed: int) -> LoggerFile:
    """Everything in quotes, a first line that tells the separator, a mark of UTF-8, separators at the ends."""
    s = _style(seed, "quoted")
    s.coding = "utf-8-sig"
    q = lambda cells: s.sep.join(f'"{c}"' for c in cells) + (s.sep if trail else "")  # noqa: E731
    trail = s.rng.random() < 0.5
    lines = [f"sep={s.sep}"] if s.rng.random() < 0.6 else []
    lines += [q((" ".join(TIME_WORDS[s.locale]), *[f"{n} [{s.unit}]" for n in s.names]))]
    lines += [q((_dmy(s, i) + " " + _clock(s, i), *row)) for i, row in enumerate(s.text)]
    return _done(s, "all_quoted", lines, asks=_ambiguous(s))


def with_status(seed: int) -> LoggerFile:
    """A word of status beside each reading; over range is 9.9E+37 with a word, the battery stands at the end."""
    s = _style(seed, "status")
    status = [["OK"] * len(s.names) for _ in s.text]
    for i, k in np.argwhere(s.rng.random(s.volts.shape) < 0.01):
        s.text[i][k], s.volts[i, k], status[i][k] = f"9{s.decimal}9E+37", np.inf, "OVER"
    head = [c for n in s.names for c in (f"{n} [{s.unit}]", f"{n} Status")]
    lines = [s.sep.join((" ".join(TIME_WORDS[s.locale]), *head, "Battery [V]"))]
    for i, row in enumerate(s.text):
        cells = [c for k in range(len(row)) for c in (row[k], status[i][k])]
        lines.append(s.sep.join((_dmy(s, i) + " " + _clock(s, i), *cells, s.number(6.2 - i * 1e-4, 2))))
    return _done(s, "with_status", lines, asks=_ambiguous(s))


def missing_cells(seed: int) -> LoggerFile:
    """Cells without a reading: empty, dashes, or a word of the country."""
    s = _style(seed, "missing")
    word = {"en": "n/a", "de": "k.A.", "fr": "n.d.", "es": "s/d"}[s.locale]
    words = tuple(str(x) for x in s.rng.choice(["", "--", "---", "NaN", word], 2, replace=False))
    _holes(s, words, 0.03, np.nan)
    lines = [s.sep.join((*TIME_WORDS[s.locale], *[_unit_in(s, n) for n in s.names]))]
    lines += [s.sep.join((_dmy(s, i), _clock(s, i), *row)) for i, row in enumerate(s.text)]
    return _done(s, "missing_cells", lines, asks=_ambiguous(s), facts={"missing_words": tuple(w for w in words if w)})


def no_unit(seed: int) -> LoggerFile:
    """No word of a unit anywhere: to be asked, or volts where nothing else is possible."""
    s = _style(seed, "no_unit")
    labels = ["CH1", "CH2"][: len(s.names)]
    lines = [s.sep.join((" ".join(TIME_WORDS[s.locale]), *labels))]
    lines += [s.sep.join((_dmy(s, i) + " " + _clock(s, i), *row)) for i, row in enumerate(s.text)]
    return _done(s, "no_unit", lines, labels, asks=True)


def epoch_and_serial(seed: int) -> LoggerFile:
    """Time as milliseconds since 1970, or as a spreadsheet's days since 1900 with eight decimals."""
    s = _style(seed, "epoch")
    serial = s.rng.random() < 0.5

    def stamp(i: int) -> str:
        if serial:
            return s.number((s.moment(i) - dt.datetime(1899, 12, 30)) / dt.timedelta(days=1), 9)
        return str(round((s.moment(i) - dt.datetime(1970, 1, 1)) / dt.timedelta(milliseconds=1)))

    lines = [s.sep.join(("Date" if serial else str(s.rng.choice(["epoch_ms", "timestamp (ms)", "unix ms"])), *[f"{n} [{s.unit}]" for n in s.names]))]
    lines += [s.sep.join((stamp(i), *row)) for i, row in enumerate(s.text)]
    return _done(s, "epoch_and_serial", lines, asks=serial, facts={"time_unit": "d" if serial else "ms"}, start=None)


def counter_with_interval(seed: int) -> LoggerFile:
    """Only a counter beside the readings; the interval stands in the lines above it."""
    s = _style(seed, "counter")
    lines = [f"Sample interval: {s.number(s.step, 1)} s", f"Range: 40 V{s.sep}", ""]
    lines += [s.sep.join(("Scan", *[f"{n} ({s.unit})" for n in s.names]))]
    lines += [s.sep.join((str(i + 1), *row)) for i, row in enumerate(s.text)]
    return _done(s, "counter_with_interval", lines, start=None)


FAMILIES = {
    f.__name__: f
    for f in (
        handheld_unit_per_row, preamble_and_units_row, elapsed_and_footer, spreadsheet_thousands, twelve_hours,
        milliseconds_apart, elapsed_over_a_day, bilingual, engineering, least_largest_mean, fixed_width, pipe_table,
        utf16_with_zone, repeated_header, two_times, same_names, long_form, all_quoted, with_status, missing_cells,
        no_unit, epoch_and_serial, counter_with_interval,
    )
}  # fmt: skip


def logger_file(family: str, seed: int) -> LoggerFile:
    """Make a file of a family of `FAMILIES`. Invented."""
    return FAMILIES[family](seed)


MISNAMED = "the channel is called"


def differs(file: LoggerFile, log: object) -> str:
    """Compare what was read with the truth; empty where it agrees."""
    frame = log.to_frame()  # type: ignore[attr-defined]
    runs = log.runs  # type: ignore[attr-defined]
    begin = [np.datetime64(str(r.start)[:23].removesuffix("Z").split("+")[0]) if r.start else np.datetime64("2000-01-01") for r in runs]
    t = np.asarray(frame["time_s"]) + np.array([(b - begin[0]) / np.timedelta64(1, "s") for b in begin])[np.asarray(frame["run"])]
    truth_t = file.time_s - file.time_s[0]
    if t.size == 0:
        return "nothing read"
    at = np.maximum(np.searchsorted(t - t[0] - 0.3 * truth_t[1], truth_t, side="right") - 1, 0)
    hit = np.abs((t - t[0])[at] - truth_t) < 0.3 * truth_t[1]
    some = np.any([np.isfinite(v) | np.isinf(v) for v in file.volts.values()], axis=0)
    if (lost := int((some & ~hit).sum())) > 0:
        span = (t[-1] - t[0]) / truth_t[-1]
        return f"time stretched by {span:.4g}" if abs(span - 1) > 0.01 else f"{lost} rows lost"
    if t.size > truth_t.size:
        return f"{t.size - truth_t.size} rows too many"
    if file.start is not None and abs(begin[0] - np.datetime64(file.start)) > np.timedelta64(1500, "ms"):
        return f"starts {begin[0]} instead of {file.start}"
    names = [c for c in frame.columns if c not in ("run", "time_s")]
    read = ", ".join(names)
    allowed = [c for c in names if any(a.lower().replace(" ", "") in c.lower().replace("_", "").replace(" ", "") for a in file.allowed)]
    names = [c for c in names if c not in allowed]
    if len(names) != len(file.volts):
        return f"channels {read} instead of {', '.join(file.volts)}"
    for name, v in zip(names, file.volts.values(), strict=True):
        got = np.asarray(frame[name], dtype=float)[at]
        if np.any(np.isfinite(got) & ~np.isfinite(v) & hit):
            return f"{name}: a number where there is none"
        both = np.isfinite(v) & hit
        if np.any(~np.isfinite(got[both])):
            return f"{name}: {int(np.sum(~np.isfinite(got[both])))} readings lost"
        if np.any(np.isinf(v) & ~np.isinf(got) & hit):
            return f"{name}: over range read as no reading"
        if np.any(np.abs(got[both] - v[both]) > 1e-9 + 1e-6 * np.abs(v[both])):
            return f"{name}: reads {np.nanmax(np.abs(got[both])):.4g} V at most instead of {np.nanmax(np.abs(v[both])):.4g} V"
    for name, label in zip(names, file.volts, strict=True):
        if label.split()[0].lower() not in name.lower():
            return f"{MISNAMED} {name} instead of {label}"
    return ""


def judge(file: LoggerFile, folder: Path) -> tuple[str, str]:
    """Read the file; where something is asked, answer what is named in the sentence, up to four times."""
    from flicker import read_log

    path = folder / f"{file.family}.csv"
    path.write_bytes(file.data)
    given: dict[str, object] = {}
    asked: list[str] = []
    for _ in range(5):
        try:
            wrong = differs(file, read_log(path, **given))
        except ValueError as error:
            asked.append(str(error))
            named = [n for n in re.findall(r"(\w+)(?:=| \(--)", str(error)) if n in file.facts and n not in given]
            named.sort(key=lambda n: n != "time_column")
            if not named and given.pop("time_column", None) and "sample_interval_s" in asked[-2]:
                named = ["sample_interval_s"]  # the other way out of the sentence before
            if not named:
                return ("asked, answer fails" if len(asked) > 1 else "refused, no way out"), " // ".join(asked)
            given[named[0]] = file.facts[named[0]]
            continue
        if wrong.startswith(MISNAMED):
            return "misnamed", " // ".join([wrong, *asked])
        if wrong:
            return ("wrong after an answer" if asked else "SILENTLY WRONG"), " // ".join([wrong, *asked])
        if asked:
            needed = file.asks or set(given) <= {"over_words", "missing_words"}  # words of a language may be asked about
            return ("asked, right" if needed else "asked needlessly, right"), " // ".join(asked)
        return "right unasked", ""
    return "asked, answer fails", " // ".join(asked)


def main() -> None:
    """Print, family by family, how files were read."""
    args = runner(__doc__ or "")
    words = ("right unasked", "asked, right", "asked needlessly, right", "misnamed", "refused, no way out", "asked, answer fails", "wrong after an answer", "SILENTLY WRONG")
    rows, notes = [], []
    with tempfile.TemporaryDirectory() as folder:
        for family in FAMILIES:
            if args.only not in family:
                continue
            said: Counter[str] = Counter()
            for i in range(args.n):
                file = logger_file(family, args.seed * 1000 + i)
                what, why = judge(file, Path(folder))
                said[what] += 1
                if what not in words[:2]:
                    notes.append(f"{family} seed {args.seed * 1000 + i} ({file.words}): {what}: {why[:330]}")
            rows.append((family, *[said[w] or "" for w in words]))
            print(*rows[-1], sep=" | ", file=sys.stderr, flush=True)
    print(table(("family", *words), rows))
    print("\n".join(notes))


if __name__ == "__main__":
    main()
