"""Families of invented exports: forms of time, marks, encodings, repeated and foreign lines. See `fresh_exports`."""

from __future__ import annotations

import datetime as dt

import numpy as np
from fresh_export_forms import ranged
from fresh_export_parts import CLOCK, SCALE, SIDES, Bench, Export

# ---------------------------------------------------------------- times


def iso_zone(b: Bench) -> Export:
    """ISO 8601 with a zone, or none, with T or a space, with fractions of many digits."""
    zone, mark = b.pick("", "Z", "+02:00", "-0530", "+01", " UTC"), b.pick("T", " ")
    part = b.pick("", ".000000", ".000000000") if b.step >= 1 else ""
    off = {"+02:00": 2.0, "-0530": -5.5, "+01": 1.0}.get(zone, 0.0)
    start = b.start - dt.timedelta(hours=off)
    lines = [b.headed(lead=(b.pick("time", "datetime", "index", ""),)), *b.rows(lambda i: [b.iso(i, mark) + part + zone])]
    return b.done(lines, start=start.replace(tzinfo=dt.UTC) if zone else start, asks="may" if zone == "+01" else "no")


def local_stamps(b: Bench) -> Export:
    """Day first with points, strokes or dashes, milliseconds behind a comma or point, or in two columns; month names."""
    b.sep = b.pick(";", "\t")
    form = b.pick("%d.%m.%Y %H:%M:%S", "%d/%m/%Y %H:%M:%S", "%d-%m-%Y %H:%M:%S", "%d.%m.%y %H:%M:%S", "%d-%b-%Y %H:%M:%S", "%d %b %Y %H:%M:%S", "%H:%M:%S %d.%m.%Y")
    part = lambda i: f"{b.dec}{b.at(i).microsecond // 1000:03d}" if b.step < 1 and form[1] == "d" else ""  # noqa: E731
    if form[1] == "H":
        b.pace(1.0, 5.0)
    stamps = [b.at(i).strftime(form) + part(i) for i in range(len(b.t))]
    if two := (b.rng.random() < 0.5 and " %b " not in form and form[1] == "d"):
        return b.done([b.headed(lead=CLOCK[b.locale]), *b.rows(lambda i: stamps[i].split(" "))], facts={"day_first": True})
    return b.done([b.headed(), *b.rows(lambda i: [stamps[i]])], facts={"day_first": True}, asks="may" if two or form[1] == "H" else "no")


def month_first(b: Bench) -> Export:
    """MM/DD/YY hh:mm AM/PM, to the minute or second; the order of the date cannot be told in some."""
    b.locale, b.dec, b.sep = "en", ".", ","
    b.names = list(SIDES["en"][: len(b.names)])
    b.write(b.unit)
    b.pace(60.0, 120.0)
    b.start = b.start.replace(second=0, day=b.start.day if (told := b.rng.random() < 0.6) else int(b.rng.integers(1, 12)))
    form = b.pick("%m/%d/%y %I:%M %p", "%m/%d/%Y %I:%M:%S %p", "%m/%d/%y %I:%M:%S%p")
    return b.done([b.headed(), *b.rows(lambda i: [b.at(i).strftime(form)])], asks="no" if told else "may" if b.start.day == b.start.month else "yes", facts={"day_first": False, "date_order": "mdy"})


def epoch(b: Bench) -> Export:
    """Seconds, milliseconds or microseconds since 1970, called so or only 'timestamp'; a spreadsheet's days."""
    kind = b.pick("s", "ms", "us", "d")
    begin = dt.datetime(1899, 12, 30) if kind == "d" else dt.datetime(1970, 1, 1)
    head = b.pick("timestamp", "ts", "epoch", "unixtime", f"time ({kind})") if kind != "d" else b.pick("Date", "Datum", "Zeitpunkt")
    per = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "d": 86400.0}[kind]

    def stamp(i: int) -> str:
        x = (b.at(i) - begin) / dt.timedelta(microseconds=1) * 1e-6 / per
        return b.num(x, {"s": 3 if b.step < 1 else 0, "ms": 0, "us": 0, "d": 9}[kind])

    return b.done([b.headed(lead=(head,)), *b.rows(lambda i: [stamp(i)])], asks="may", facts={"time_unit": kind}, start=b.start if kind == "d" else b.start.replace(tzinfo=dt.UTC))


def wrapping_counter(b: Bench) -> Export:
    """A serial print with a counter of milliseconds or microseconds that wraps at 2^32."""
    kind = b.pick("ms", "us")
    b.pace(0.5, 1.0, 2.0)
    per = {"ms": 1000, "us": 1_000_000}[kind]
    first = 2**32 - int(b.rng.integers(10, 40)) * int(b.step * per) - 7
    stamp = lambda i: [str((first + round(float(b.t[i]) * per)) % 2**32)]  # noqa: E731
    return b.done([b.headed(lead=(f"{b.pick('time', 'millis', 'uptime')} ({kind})",)), *b.rows(stamp)], start=None, asks="may", facts={"time_unit": kind})


def elapsed(b: Bench) -> Export:
    """Elapsed time: h:mm:ss, hh:mm:ss.fff, mm:ss beyond 60 minutes, past 24 hours, or seconds with a comma."""
    form = b.pick("h", "f", "m", "day", "s")
    b.pace(*((0.5, 0.25) if form == "f" else (30.0, 60.0, 120.0)))
    from_s = 86_400 - 1800 if form == "day" else 0.0

    def stamp(i: int) -> str:
        x = from_s + float(b.t[i])
        if form == "s":
            return b.num(x, 1)
        if form == "m":
            return f"{int(x // 60):02d}:{int(x % 60):02d}"
        return f"{int(x // 3600)}:{int(x // 60 % 60):02d}:" + (f"{x % 60:06.3f}".replace(".", b.dec) if form == "f" else f"{int(x % 60):02d}")

    head = {"de": "Laufzeit", "fr": "Durée", "es": "Transcurrido", "it": "Trascorso", "nl": "Verstreken"}.get(b.locale, "Elapsed") + (" (s)" if form == "s" else " (mm:ss)" if form == "m" else "")
    return b.done([b.headed(lead=(head,)), *b.rows(lambda i: [stamp(i)])], start=None, asks="may" if form == "m" else "no", facts={"time_column": head})


def block_heads(b: Bench) -> Export:
    """The time stands only at the head of each block of rows: as a comment, or in the first cell of the block."""
    every = int(b.rng.integers(10, 25))
    if b.rng.random() < 0.5:
        lines = [b.headed(lead=())]
        for i, r in enumerate(b.rows(lambda i: ())):
            lines += [f"# {b.iso(i)} interval {b.num(b.step, 1)} s"] * (i % every == 0) + [r]
    else:
        lines = [b.headed(), *b.rows(lambda i: [b.iso(i) if i % every == 0 else ""])]
    return b.done(lines, asks="may", start=None)


def winter_time(b: Bench) -> Export:
    """Local time goes back one hour in the night in October."""
    b.pace(60.0, 120.0, 300.0)
    b.start = dt.datetime(2031, 10, 26, 2, 25)
    back = int(np.searchsorted(b.t, 35 * 60))
    stamp = lambda i: (b.at(i) - dt.timedelta(hours=i >= back)).strftime("%Y-%m-%d %H:%M:%S")  # noqa: E731
    return b.done([b.headed(), *b.rows(lambda i: [stamp(i)])], breaks=(back,), asks="may")


def restarts(b: Bench) -> Export:
    """Seconds that begin again after every restart; the header again too, with or without an empty line."""
    every = int(b.rng.integers(20, 35))
    head = b.headed(lead=("t (s)",))
    rows = b.rows(lambda i: [b.num(b.t[i % every], 1)])
    gap = [""] * int(b.rng.integers(2))
    lines = [x for i, r in enumerate(rows) for x in (*([*gap[: i], head] if i % every == 0 else []), r)]
    return b.done(lines, start=None, breaks=tuple(range(every, len(rows), every)))


# ---------------------------------------------------------------- rows, marks, encodings


def over_marks(b: Bench) -> Export:
    """Marks of over range and of no reading, in many spellings."""
    over = b.pick("OL", "+OVER", "-OL", "9.9E37", "9.90000E+37", "OVERLOAD", ">40", "+INF").replace(".", b.dec)
    none = b.pick("", "NaN", "#N/A", "----", "n/a", "#DIV/0!", "None")
    for i, k in np.argwhere(b.rng.random(b.volts.shape) < 0.03):
        b.text[i][k], b.volts[i, k] = (over, np.inf) if b.rng.random() < 0.5 else (none, np.nan)
    return b.done([b.headed(), *b.rows()], asks="may", dashes=none == "----", facts={"over_words": (over,), "missing_words": (none,)})


def quoted_numbers(b: Bench) -> Export:
    """Numbers in quotes with decimal commas between commas; or all cells in quotes; trailing separators."""
    b.sep, b.dec = b.pick(",", ";"), ","
    b.write(b.unit, form=lambda c: f'"{c}"')
    tail = b.sep if b.rng.random() < 0.4 else ""
    lines = [b.headed() + tail, *[r + tail for r in b.rows(lambda i: [f'"{b.iso(i)}"'])]]
    return b.done(lines)


def comments_within(b: Bench) -> Export:
    """Lines of comment or of an error between the rows."""
    said = b.pick("# relay tapped, twice", "; restart of the logger", "// cable moved", "% pause", "* checked by ana *", "*** buffer full ***", "ERROR: timeout")
    lines = [b.headed(), *b.rows()]
    for at in sorted(b.rng.integers(5, len(lines) - 3, 3))[::-1]:
        lines.insert(int(at), said)
    return b.done(lines, asks="may" if said[0] in "*E" else "no")


def encodings(b: Bench) -> Export:
    """Byte order marks, UTF-16 of both orders, Latin-1 with µ and °, line ends of three kinds or mixed."""
    b.coding, b.end = b.pick("utf-8-sig", "utf-16-le", "utf-16-be", "latin-1", "cp1252"), b.pick("\n", "\r\n", "\r")
    b.write(b.pick("mV", "µV"))
    lines = [b.headed(), *b.rows()]
    if b.end == "\n" and b.rng.random() < 0.6:
        lines = [x + "\r" * (i % 3 == 0) for i, x in enumerate(lines)]
    return b.done(lines)


def start_above(b: Bench) -> Export:
    """Lines above tell when it began and the time from row to row; the rows hold readings alone, or a scan number."""
    head, every = b.pick("Start", "Started", "Beginn", "Start time", "Début"), b.pick("Interval", "Sample interval", "Intervall", "Intervalle")
    lines = [f"{head}: {b.iso(0)}", f"{every}: {b.num(b.step, 1)} s", "", b.headed(lead=("Scan",))]
    return b.done([*lines, *b.rows(lambda i: [str(i + 1)])], asks="may")


def long_rows(b: Bench) -> Export:
    """Every reading has a row: time, name, value and unit, auto-ranged; the names are those of many benches."""
    names = b.pick("L|R", "A|B", "CH1|CH2", "Zone 1|Zone 2", "out_left|out_right").split("|")
    b.names = names
    b.volts = np.hstack([b.volts, -0.5 * b.volts[::-1]])[:, :2]
    cells = ranged(b, "uV")
    lines = [b.row(("timestamp", b.pick("channel", "sensor", "name"), "value", "unit"))]
    lines += [b.row((b.iso(i), n, *c)) for i, r in enumerate(cells) for n, c in zip(names, r, strict=True)]
    return b.done(lines, asks="may", facts={"channel_column": lines[0].split(b.sep)[1]})


def repeated_rows(b: Bench) -> Export:
    """A buffer written twice: the last rows come again, the same to the letter."""
    at, many = int(b.rng.integers(20, 40)), int(b.rng.integers(1, 9))
    rows = b.rows()
    return b.done([b.headed(), *rows[:at], *rows[at - many : at], *rows[at:]], asks="may")


def footers(b: Bench) -> Export:
    """A last line of averages, or a table of them after an empty line, under the columns of the data."""
    word = b.pick("Average", "Mean", "Durchschnitt", "Mittelwert", "Moyenne", "Media", "Gemiddelde", "Total", "")
    mean = [b.num(float(np.mean(b.volts[:, k])) / SCALE[b.unit], 2) for k in range(len(b.names))]
    lines = [b.headed(), *b.rows(), *[""] * int(b.rng.integers(0, 2)), b.row((word, *mean))]
    if b.rng.random() < 0.5:
        lines += [b.row(("Max", *mean)), b.row(("n", *[str(len(b.text))] * len(b.names)))]
    return b.done(lines, asks="may")


def date_above(b: Bench) -> Export:
    """The date stands above; the rows hold the time of day, which may pass midnight."""
    b.pace(30.0, 60.0, 120.0)
    b.start = b.start.replace(hour=int(b.rng.integers(21, 24)), minute=int(b.rng.integers(30)), second=0)
    lines = [f"{b.pick('Date', 'Datum', 'Log date', 'Start date')}: {b.start:%Y-%m-%d}", "", b.headed(lead=(CLOCK[b.locale][1],))]
    return b.done([*lines, *b.rows(lambda i: [b.at(i).strftime("%H:%M:%S")])], asks="may")


def compact_stamps(b: Bench) -> Export:
    """Stamps without marks between their parts, in one column or two; decimal hours or minutes from the start."""
    b.pace(1.0, 5.0, 30.0)
    form = b.pick("%Y%m%dT%H%M%S", "%Y%m%d%H%M%S", "%Y%m%d %H%M%S", "two", "h", "min")
    if form in ("h", "min"):
        b.pace(36.0, 360.0)
        per = {"h": 3600.0, "min": 60.0}[form]
        return b.done([b.headed(lead=(f"{b.pick('Time', 'Elapsed')} ({form})",)), *b.rows(lambda i: [b.num(b.t[i] / per, 2)])], start=None)
    if form == "two":
        return b.done([b.headed(lead=CLOCK[b.locale]), *b.rows(lambda i: [b.at(i).strftime("%Y%m%d"), b.at(i).strftime("%H%M%S")])], asks="may", facts={"time_unit": ""})
    return b.done([b.headed(), *b.rows(lambda i: [b.at(i).strftime(form)])], asks="may")


def time_last(b: Bench) -> Export:
    """The time stands behind the readings, or between them."""
    head, rows = b.headed().split(b.sep), [[b.iso(i), *r] for i, r in enumerate(b.text)]
    turn = int(b.rng.integers(1, len(b.names) + 1))
    return b.done([b.row([*x[1 : turn + 1], x[0], *x[turn + 1 :]]) for x in (head, *rows)])


def changed_header(b: Bench) -> Export:
    """After a restart the header comes again with the outputs in the other order, or with another unit."""
    b.names = list(SIDES[b.locale])
    b.volts = np.hstack([b.volts, -0.5 * b.volts[::-1]])[:, :2]
    b.write("mV")
    at = int(b.rng.integers(20, 35))
    lines, rows = [b.headed()], b.rows()
    turned = b.rng.random() < 0.5
    if turned:
        again = b.row(("Timestamp", *[f"{n} [mV]" for n in b.names[::-1]]))
        after = [b.row((b.iso(i), *b.text[i][::-1])) for i in range(at, len(rows))]
    else:
        again = b.headed(form="{n} [V]")
        after = [b.row((b.iso(i), *[b.num(v, 4) for v in b.volts[i]])) for i in range(at, len(rows))]
    return b.done([*lines, *rows[:at], again, *after], asks="may", facts={"split": True})
