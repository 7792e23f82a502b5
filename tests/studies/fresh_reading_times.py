"""Forms and orders of time for `fresh_reading`. All data are invented."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import UTC, date, datetime, timedelta, timezone
from typing import Any

import numpy as np
from fresh_reading import LEFT, RIGHT, ROWS, START, STEP_S, Sample, Truth, seconds, truth
from fresh_reading_texts import HEADER, STAMPS, TABLE, also, join

MOMENTS = [START + timedelta(seconds=k * STEP_S) for k in range(ROWS)]
VALUES = [r[1:] for r in TABLE]


def _stamped(cells: Sequence[Sequence[str]], header: Sequence[str] = ("Time",), sep: str = ";", start: datetime | None = START, t_s: Any = None, within_s: float = 0.0051, comma: bool = False, **more: Any) -> Sample:
    """Give a file with these cells of time in each row."""
    rows = [[*header, *HEADER[1:]], *([*c, *v] for c, v in zip(cells, VALUES, strict=True))]
    text = join(rows, sep)
    return Sample((text.replace(".", ",") if comma else text).encode(), (truth(t_s=t_s, start=start, within_s=within_s),), **more)


def _one(form: Callable[[datetime], str], header: str = "Time", **more: Any) -> Sample:
    return _stamped([[form(m)] for m in MOMENTS], (header,), **more)


def _elapsed(form: Callable[[float], str], header: str = "Time", step_s: float = STEP_S, first_s: float = 0.0, **more: Any) -> Sample:
    t = first_s + seconds(step_s=step_s)
    return _stamped([[form(float(x))] for x in t], (header,), start=None, t_s=t - t[0], **more)


def _hms(s: float) -> str:
    return f"{int(s // 3600):02d}:{int(s // 60) % 60:02d}:{int(s % 60):02d}"


def _meridiem(m: datetime, words: tuple[str, str]) -> str:
    return f"{m:%d/%m/%Y} {(m.hour - 1) % 12 + 1}:{m:%M:%S} {words[m.hour >= 12]}"


def _noon(words: tuple[str, str]) -> Sample:
    """Stamps of a twelve-hour clock across noon."""
    first = datetime(2031, 3, 14, 11, 58)
    return _stamped([[_meridiem(first + timedelta(seconds=k * STEP_S), words)] for k in range(ROWS)], start=first)


def _forms() -> dict[str, Sample]:
    """One moment written in many ways."""
    words = {
        "German month": lambda m: f"{m.day}. März {m:%Y %H:%M:%S}",
        "German month, short": lambda m: f"{m.day}. Mär. {m:%Y, %H:%M:%S}",
        "German month, Uhr": lambda m: f"{m.day}. März {m:%Y, %H:%M:%S} Uhr",
        "French month": lambda m: f"{m.day} mars {m:%Y %H:%M:%S}",
        "French month, h": lambda m: f"{m.day} mars {m:%Y, %H}h{m:%M}m{m:%S}s",
        "Spanish month": lambda m: f"{m.day} de marzo de {m:%Y, %H:%M:%S}",
        "Italian month": lambda m: f"{m.day} mar {m:%Y %H.%M.%S}",
        "Dutch month": lambda m: f"{m.day}-mrt-{m:%Y %H:%M:%S}",
        "English month": lambda m: f"{m:%d-%b-%y %H:%M:%S}",
        "English month first": lambda m: f"{m:%b %d, %Y %I:%M:%S %p}",
        "asctime": lambda m: f"{m:%a %b %d %H:%M:%S %Y}",
        "mail date": lambda m: f"{m:%a, %d %b %Y %H:%M:%S} +0000",
        "German weekday": lambda m: f"Fr. {m:%d.%m.%Y %H:%M:%S}",
        "week date": lambda m: "{}-W{:02d}-{}T".format(*m.isocalendar()) + f"{m:%H:%M:%S}",
        "ordinal date": lambda m: f"{m:%Y-%jT%H:%M:%S}",
        "ordinal, colons": lambda m: f"{m:%Y:%j:%H:%M:%S}",
        "slash and dash": lambda m: f"{m:%Y/%m/%d-%H:%M:%S}.000",
        "picture tags": lambda m: f"{m:%Y:%m:%d %H:%M:%S}",
        "compact": lambda m: f"{m:%Y%m%d%H%M%S}",
        "compact T": lambda m: f"{m:%Y%m%dT%H%M%S}Z",
        "underscore": lambda m: f"{m:%Y-%m-%d_%H-%M-%S}",
        "dots in the clock": lambda m: f"{m:%d.%m.%Y %H.%M.%S}",
        "two-digit year": lambda m: f"{m:%d.%m.%y %H:%M:%S}",
        "year last, T": lambda m: f"{m:%d/%m/%YT%H:%M:%S}",
        "offset": lambda m: f"{m:%Y-%m-%dT%H:%M:%S}+01:00",
        "offset short": lambda m: f"{m:%Y-%m-%d %H:%M:%S} +0100",
        "offset hours": lambda m: f"{m:%Y-%m-%d %H:%M:%S}+01",
        "zone name": lambda m: f"{m:%Y-%m-%d %H:%M:%S} CET",
        "zone in brackets": lambda m: f"{m:%Y-%m-%dT%H:%M:%S}+01:00[Europe/Berlin]",
        "comma fraction": lambda m: f"{m:%Y-%m-%d %H:%M:%S},000",
        "colon fraction": lambda m: f"{m:%Y-%m-%d %H:%M:%S}:000",
        "nanoseconds": lambda m: f"{m:%Y-%m-%dT%H:%M:%S}.000000000Z",
        "brackets": lambda m: f"[{m:%Y-%m-%d %H:%M:%S}]",
        "month first, sure": lambda m: f"{m:%m/%d/%Y %H:%M:%S}",
        "Chinese": lambda m: f"{m.year}年{m.month}月{m.day}日 {m:%H:%M:%S}",
    }
    utc = ("offset", "offset short", "offset hours", "zone name", "zone in brackets")
    found = {f"form {n}": _one(f, start=START - timedelta(hours=n in utc)) for n, f in words.items()}
    day_month = datetime(2031, 4, 3, 8)
    found["day or month"] = _stamped([[f"{day_month + timedelta(seconds=k * STEP_S):%d/%m/%Y %H:%M:%S}"] for k in range(ROWS)], start=day_month, knows={"day_first": True})
    pairs = {"English": ("AM", "PM"), "dots": ("a.m.", "p.m."), "Spanish": ("a. m.", "p. m."), "German": ("vorm.", "nachm."), "Greek": ("π.μ.", "μ.μ."), "Korean": ("오전", "오후"), "short": ("a", "p")}
    return found | {f"noon {n}": _noon(p) for n, p in pairs.items()}


def _counted() -> dict[str, Sample]:
    """Time as a number, or as parts in columns of their own."""
    epoch = [m.replace(tzinfo=UTC).timestamp() for m in MOMENTS]
    serial = [(m - datetime(1899, 12, 30)) / timedelta(days=1) for m in MOMENTS]
    julian = [x + 2415018.5 for x in serial]
    since_1904 = [(m - datetime(1904, 1, 1)).total_seconds() for m in MOMENTS]
    gps = [(m - datetime(1980, 1, 6)).total_seconds() for m in MOMENTS]
    parts = ("Year", "Month", "Day", "Hour", "Minute", "Second")
    return {
        "epoch s": _stamped([[f"{x:.0f}"] for x in epoch], ("Unix time",)),
        "epoch s, fraction": _stamped([[f"{x:.3f}"] for x in epoch], ("timestamp",)),
        "epoch ms": _stamped([[f"{x * 1000:.0f}"] for x in epoch], ("timestamp",)),
        "epoch us": _stamped([[f"{x * 1e6:.0f}"] for x in epoch], ("ts",)),
        "epoch ns": _stamped([[f"{x:.0f}000000000"] for x in epoch], ("time",)),
        "epoch exponent": _stamped([[f"{x:.9E}"] for x in epoch], ("time",)),
        "serial days": _stamped([[f"{x:.9f}"] for x in serial], ("Date",), may_refuse=True),
        "serial days, comma": _stamped([[f"{x:.9f}"] for x in serial], ("Zeitstempel",), comma=True, may_refuse=True),
        "serial days, five places": _stamped([[f"{x:.5f}"] for x in serial], ("Date",), within_s=0.9, may_refuse=True),
        "Julian days": _stamped([[f"{x:.7f}"] for x in julian], ("JD",), within_s=0.02, may_refuse=True),
        "modified Julian days": _stamped([[f"{x - 2400000.5:.7f}"] for x in julian], ("MJD",), within_s=0.02, may_refuse=True),
        "seconds since 1904": _stamped([[f"{x:.3f}"] for x in since_1904], ("Time [s since 1904-01-01]",), may_refuse=True),
        "seconds since 1904, not said": _stamped([[f"{x:.3f}"] for x in since_1904], ("Time",), may_refuse=True),
        "hundred nanoseconds since 1601": _stamped([[f"{(m - datetime(1601, 1, 1)).total_seconds():.0f}0000000"] for m in MOMENTS], ("FileTime",), may_refuse=True),
        "week and second": _stamped([[f"{g // 604800:.0f}", f"{g % 604800:.1f}"] for g in gps], ("Week", "Second of week [s]"), may_refuse=True, start=None),
        "parts in columns": _stamped([[f"{getattr(m, p.lower())}" for p in parts] for m in MOMENTS], parts),
        "day of year in columns": _stamped([[f"{m:%Y}", f"{m:%j}", f"{m:%H}", f"{m:%M}", f"{m:%S}"] for m in MOMENTS], ("Year", "DOY", "Hour", "Min", "Sec"), may_refuse=True),
        "milliseconds beside": _stamped([[f"{m:%Y-%m-%d %H:%M:%S}", f"{(k * 37) % 1000}"] for k, m in enumerate(MOMENTS)], ("Time", "ms"), t_s=seconds() + np.array([(k * 37) % 1000 for k in range(ROWS)]) / 1000),
        "date and time": _stamped([[f"{m:%d.%m.%Y}", f"{m:%H:%M:%S}"] for m in MOMENTS], ("Datum", "Uhrzeit")),
        "date and compact clock": _stamped([[f"{m:%Y%m%d}", f"{m:%H%M%S}"] for m in MOMENTS], ("Date", "Time")),
        "date only where it changes": _stamped([[f"{m:%d.%m.%Y}" if k == 0 else "", f"{m:%H:%M:%S}"] for k, m in enumerate(MOMENTS)], ("Datum", "Uhrzeit"), may_refuse=True),
        "day counter": _stamped([["1", f"{m:%H:%M:%S}"] for m in MOMENTS], ("Day", "Time"), start=None),
        "clock alone": _stamped([[f"{m:%H:%M:%S}"] for m in MOMENTS], start=None),
        "steps": _stamped([["10.0" if k else "0.0"] for k in range(ROWS)], ("dt [s]",), start=None, may_refuse=True, knows={"sample_interval_s": 10.0}),
        "numbered, clock runs": _stamped([[f"{k + 1}", f"{k * 10}"] for k in range(ROWS)], ("Nr.", "t [s]"), start=None),
        "seconds, no unit": _stamped([[f"{k * 10}"] for k in range(ROWS)], ("Time",), start=None, knows={"time_unit": "s"}, needs_ask=True),
        "device ms and stamp": _stamped([[f"{m:%Y-%m-%d %H:%M:%S}", f"{48213 + k * 10000}"] for k, m in enumerate(MOMENTS)], ("Time", "millis"), t_s=seconds()),
        "elapsed hms": _elapsed(_hms, "Elapsed"),
        "elapsed over a day": _elapsed(_hms, "Elapsed", first_s=86290.0),
        "elapsed over a day, no word": _elapsed(_hms, "Time", first_s=86290.0),
        "elapsed three digits": _elapsed(lambda s: _hms(s).zfill(9), "Elapsed", first_s=86400 * 4 + 3590.0),
        "elapsed days": _elapsed(lambda s: f"{int(s // 86400)}.{_hms(s % 86400)}", "Elapsed", first_s=86290.0),
        "elapsed days by word": _elapsed(lambda s: (f"{int(s // 86400)} day, " if s >= 86400 else "") + str(timedelta(seconds=s % 86400)), "Elapsed", first_s=86290.0),
        "elapsed days, d": _elapsed(lambda s: f"{int(s // 86400)}d {_hms(s % 86400)}", "Elapsed", first_s=86290.0),
        "elapsed minutes": _elapsed(lambda s: f"{int(s // 60):02d}:{s % 60:04.1f}", "Elapsed", step_s=2.5),
        "elapsed minutes, no word": _elapsed(lambda s: f"{int(s // 60):02d}:{s % 60:04.1f}", "Time", step_s=2.5),
        "elapsed mm:ss": _elapsed(lambda s: f"{int(s // 60):02d}:{int(s % 60):02d}", "Elapsed mm:ss", may_refuse=True),
        "elapsed mm:ss, no word": _elapsed(lambda s: f"{int(s // 60):02d}:{int(s % 60):02d}", "Time", may_refuse=True, knows={"sample_interval_s": 10.0}),
        "elapsed minutes, decimal": _elapsed(lambda s: f"{s / 60:.4f}", "Time (min)"),
        "elapsed hours, comma": _elapsed(lambda s: f"{s / 3600:.6f}", "Zeit [h]", comma=True),
        "elapsed letters": _elapsed(lambda s: f"{int(s // 3600)}h{int(s // 60) % 60:02d}m{int(s % 60):02d}s", "Elapsed"),
        "elapsed ISO": _elapsed(lambda s: f"PT{int(s // 60)}M{int(s % 60)}S", "Duration"),
        "elapsed s glued": _elapsed(lambda s: f"{s:.1f}s", "Time"),
        "elapsed ms": _elapsed(lambda s: f"{s * 1000:.0f}", "Time_ms"),
        "elapsed Sekunden": _elapsed(lambda s: f"{s:.0f}", "Zeit in Sekunden"),
        "elapsed secondes": _elapsed(lambda s: f"{s:.0f}", "Temps (secondes)"),
    }  # fmt: skip


def _orders() -> dict[str, Sample]:
    """Rows in another order, clocks that are set, wrapped or coarse."""

    def rows(order: Sequence[int], header: Sequence[str] = HEADER) -> bytes:
        return join([header, *(TABLE[k] for k in order)]).encode()

    def local(first: datetime, offset_h: Callable[[datetime], float], form: str = "%Y-%m-%d %H:%M:%S", zone: Callable[[float], str] = lambda _: "") -> list[list[str]]:
        found = []
        for k in range(ROWS):
            m = first + timedelta(seconds=k * STEP_S)
            found.append([format((m + timedelta(hours=offset_h(m))).replace(tzinfo=None), form) + zone(offset_h(m))])
        return found

    def kept_twice(k: int) -> Truth:
        """Both of two rows the same are kept, at one time."""
        return truth(*(np.insert(values, k, values[k]) for values in (LEFT, RIGHT, seconds())))

    back, step = list(range(ROWS))[::-1], seconds()
    spring, autumn = datetime(2031, 3, 30, 0, 58), datetime(2031, 10, 26, 0, 58)
    summer = lambda m: 2.0 if datetime(2031, 3, 30, 1) <= m < datetime(2031, 10, 26, 1) else 1.0  # noqa: E731
    leap = datetime(2016, 12, 31, 23, 58)
    leaps = ["2016-12-31T23:59:60Z" if k == 12 else f"{leap + timedelta(seconds=k * STEP_S - (k > 12)):%Y-%m-%dT%H:%M:%S}Z" for k in range(ROWS)]
    midnight = datetime(2031, 3, 14, 23, 58)
    hour24 = [m.replace(" 00:00:00", " 24:00:00").replace("03-15 24", "03-14 24") for m in (f"{midnight + timedelta(seconds=k * STEP_S):%Y-%m-%d %H:%M:%S}" for k in range(ROWS))]
    late = [0, 1, 2, 3, 5, 4, *range(6, ROWS)]
    burst = [f"{START + timedelta(seconds=(k // 8) * 80):%Y-%m-%d %H:%M:%S}" for k in range(ROWS)]
    back_rows = [[f"{k + 1}", *TABLE[k]] for k in back]
    longest = 2 * ROWS
    return {
        "newest first": Sample(rows(back), (truth(),), ),
        "newest first, numbered": Sample(join([["No.", *HEADER], *back_rows]).encode(), (truth(),)),
        "newest first, epoch": Sample(join([["timestamp", *HEADER[1:]], *([f"{MOMENTS[k].replace(tzinfo=UTC).timestamp():.0f}", *VALUES[k]] for k in back)]).encode(), (truth(),)),
        "newest first, elapsed": Sample(join([["Elapsed [s]", *HEADER[1:]], *([f"{k * 10}", *VALUES[k]] for k in back)]).encode(), (truth(start=None),)),
        "newest first, date and time": Sample(join([["Datum", "Uhrzeit", *HEADER[1:]], *([f"{MOMENTS[k]:%d.%m.%Y}", f"{MOMENTS[k]:%H:%M:%S}", *VALUES[k]] for k in back)]).encode(), (truth(),)),
        "newest first, clock alone": Sample(join([["Time", *HEADER[1:]], *([f"{MOMENTS[k]:%H:%M:%S}", *VALUES[k]] for k in back)]).encode(), (truth(start=None),)),
        "newest first, long form": Sample(join([["Time", "Channel", "Value [mV]"], *(x for k in back for x in ([STAMPS[k], "Right", VALUES[k][1]], [STAMPS[k], "Left", VALUES[k][0]]))]).encode(), (truth(), )),
        "newest first, minutes": Sample(join([HEADER, *([f"{START + timedelta(seconds=(k // 6) * 60):%Y-%m-%d %H:%M}", *VALUES[k]] for k in back)]).encode(), (truth(),), may_refuse=True),
        "newest first, one pause": Sample(join([HEADER, *([f"{MOMENTS[k] + timedelta(seconds=200 * (k > 15))}", *VALUES[k]] for k in back)]).encode(), (truth(t_s=step + 200 * (np.arange(ROWS) > 15)),)),
        "newest first, a row twice": also(Sample(rows([*back[:8], back[7], *back[8:]]), (truth(),)), kept_twice(16)),
        "two rows exchanged": also(Sample(rows(late), (truth(),), may_refuse=True), truth(LEFT[late], RIGHT[late], t_s=np.maximum.accumulate(step[late]))),
        "ring buffer": Sample(rows([*range(12, ROWS), *range(12)]), (truth(),), may_refuse=True),
        "every row twice": also(Sample(rows([k // 2 for k in range(longest)]), (truth(),)), truth(np.repeat(LEFT, 2), np.repeat(RIGHT, 2), np.arange(longest) * 5.0)),
        "buffer twice": Sample(rows([*range(16), *range(8, 16), *range(16, ROWS)]), (truth(),)),
        "one row twice": also(Sample(rows([*range(8), 7, *range(8, ROWS)]), (truth(),)), kept_twice(7)),
        "packets": _stamped([[b] for b in burst], may_refuse=True, knows={"sample_interval_s": 10.0}),
        "minutes only": _stamped([[f"{START + timedelta(seconds=(k // 6) * 60):%Y-%m-%d %H:%M}"] for k in range(ROWS)], may_refuse=True, knows={"sample_interval_s": 10.0}),
        "counter wraps": _stamped([[f"{(48213 + k * 10000) % 65536}"] for k in range(ROWS)], ("t [ms]",), start=None, may_refuse=True, knows={"sample_interval_s": 10.0}),
        "counter wraps, 32 bits": _stamped([[f"{(2**32 - 48213 + k * 10000) % 2**32}"] for k in range(ROWS)], ("millis [ms]",), start=None, may_refuse=True, knows={"sample_interval_s": 10.0}),
        "clock over midnight": _stamped([[f"{midnight + timedelta(seconds=k * STEP_S):%H:%M:%S}"] for k in range(ROWS)], start=None),
        "clock over noon, twelve hours": _stamped([[f"{datetime(2031, 3, 14, 12, 58) + timedelta(seconds=k * STEP_S):%I:%M:%S}"] for k in range(ROWS)], start=None, may_refuse=True),
        "dated clock, date late": _stamped([[f"{date(2031, 3, 14)}", f"{midnight + timedelta(seconds=k * STEP_S):%H:%M:%S}"] for k in range(ROWS)], ("Date", "Time"), start=midnight, may_refuse=True),
        "24:00": _stamped([[m] for m in hour24], start=midnight),
        "leap second": _stamped([[m] for m in leaps], start=leap, t_s=step - (np.arange(ROWS) > 12), may_refuse=True),
        "spring, no zone": _stamped(local(spring, summer), start=spring + timedelta(hours=1), may_refuse=True),
        "autumn, no zone": _stamped(local(autumn, summer), start=autumn + timedelta(hours=2), may_refuse=True),
        "autumn, offsets": _stamped(local(autumn, summer, zone=lambda h: f"+0{h:.0f}:00"), start=autumn),
        "spring, offsets": _stamped(local(spring, summer, zone=lambda h: f"+0{h:.0f}:00"), start=spring),
        "autumn, zone words": _stamped(local(autumn, summer, zone=lambda h: " CEST" if h > 1 else " CET"), start=autumn, may_refuse=True),
        "clock set once": _stamped([[f"{m + timedelta(seconds=3.0 * (k > 12))}"] for k, m in enumerate(MOMENTS)], t_s=step + 3.0 * (np.arange(ROWS) > 12)),
        "year 1970 until set": _stamped([[f"{datetime(1970, 1, 1) + timedelta(seconds=k * STEP_S)}" if k < 6 else STAMPS[k]] for k in range(ROWS)], may_refuse=True),
        "mixed forms": _stamped([[STAMPS[k] if k < 12 else f"{MOMENTS[k]:%d.%m.%Y %H:%M:%S}"] for k in range(ROWS)], may_refuse=True),
        "day and month change places": _stamped([[f"{datetime(2031, 3, 12, 23, 58) + timedelta(seconds=k * STEP_S):%d/%m/%Y %H:%M:%S}" if k < 12 else f"{datetime(2031, 3, 12, 23, 58) + timedelta(seconds=k * STEP_S):%m/%d/%Y %H:%M:%S}"] for k in range(ROWS)], start=datetime(2031, 3, 12, 23, 58), may_refuse=True),
        "offset differs from UTC": Sample(join([HEADER, *([m.replace(tzinfo=timezone(timedelta(hours=-5))).isoformat(), *v] for m, v in zip(MOMENTS, VALUES, strict=True))]).encode(), (truth(start=START + timedelta(hours=5)),)),
        "one stamp torn": _stamped([[s if k != 9 else s[:10]] for k, s in enumerate(STAMPS)], may_refuse=True),
        "two logs appended": Sample(join([HEADER, *TABLE[12:], HEADER, *TABLE[:12]]).encode(), (truth(),), may_refuse=True),
    }  # fmt: skip


def TIMES() -> dict[str, Sample]:
    """Give all files about time by name."""
    assert RIGHT.size == LEFT.size
    return _forms() | _counted() | _orders()
