"""What the lines above a header tell of the time: the interval from sample to sample, and when the log began. Lines in."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import datetime

from flicker.logs.reading.words import clock, units, vocabulary
from flicker.logs.reading.words.numerals import doubtful

ASK_INTERVAL = "give the seconds between samples with sample_interval_s (--sample-interval S)"
_AMOUNT = re.compile(
    r"(?<![\d.,])(\d+(?:[.,]\d+)?(?:[eE][+-]?\d+)?)(?:\s*[,;\t]?\s*[\x22]?)([^\W\d_]+(?:/\s?[^\W\d_]+)?)?"
)
_EACH_SECOND = re.compile(
    r"(?i)(?<![\d.,])(\d+(?:[.,]\d+)?)\s*(?:samples?|readings?|values?|records?|scans?|messungen|messwerte|mesures|S)\s*"
    r"(?:/|per|pro|par|a|por|al)\s*(?:s|sec|second|sekunde|seconde|segundo|secondo)\b"
)
_CLOCKED = re.compile(r"(?<!\d)(\d{1,3}):(\d{2}):(\d{2})(?:[.,](\d+))?(?!\d)")
_FREQUENCY = {"frequency", "frequenz", "frequence", "frecuencia"}
_NO_INTERVAL = {  # of the file, of the meter, of what is done to a reading or with it; or of a whole recording: its beginning, its length
    "serial", "gain", "baud", "refresh", "display", "mains", "netz", "timeout", "start", "started", "begin", "began",
    "beginn", "stop", "stopped", "end", "ended", "ende", "duration", "dauer", "length", "total", "gesamt", "elapsed",
    "integration", "averaging", "average", "mean", "mittelung", "moyennage", "filter", "aperture", "gate", "window", "adc", "converter",
    "upload", "transmit", "report", "sync", "save", "autosave", "backup", "write", "flush", "screen", "backlight", "heartbeat",
}  # fmt: skip
_MAY_BE_LENGTH = {"logging", "period"}  # of a recording, where nothing else is said: asked from a minute on, a choice
_BEGINS = frozenset({
    "start", "started", "begin", "began", "beginn", "begonnen", "gestartet", "debut", "demarrage", "inicio", "inizio",
    "avvio", "aanvang", "gestart",
})  # fmt: skip
_DATES = frozenset({"date", "datum", "fecha", "data", "day", "tag"})
_WITH = _BEGINS | _DATES | frozenset({
    "log", "logging", "recording", "measurement", "test", "time", "zeit", "heure", "hora", "ora", "tijd", "of", "de",
    "del", "der", "and", "at", "am", "on", "und", "messung", "mesure", "aufzeichnung", "first", "sample",
})  # fmt: skip
_KEY = re.compile(r"^\W*(?P<key>[^:=;\t,\d]{2,60}?)\s*[:=;\t,][\s:=;,]*(?P<value>\d.*|[A-Za-z]{3,9}\.? \d.*)$")


def interval_in(heading: Sequence[str]) -> float | None:
    """Seconds from sample to sample that the lines above the header tell; None where they do not, or tell several."""
    told = {float(f"{found:.3g}"): found for line in heading if (found := interval_of(line)) is not None}
    return next(iter(told.values())) if len(told) == 1 else None


def interval_of(line: str) -> float | None:
    """Seconds from sample to sample that one line tells; None where it tells none."""
    line = re.sub(r"^([^:=;,\t\d]+)[;,\t]\s*", r"\1: ", line)  # a key and its value as cells
    if (each := _EACH_SECOND.search(line)) is not None and float(each[1].replace(",", ".")) > 0:
        return 1.0 / float(each[1].replace(",", "."))
    words = set(vocabulary.words_of(line))
    lead = words & vocabulary.INTERVAL
    if not lead or words & _NO_INTERVAL:
        return None
    if lead <= _FREQUENCY and not re.search(r"(?i)sampl|abtast|logg|acqui|muestr|campion|chantill", line):
        return None  # of the mains, or of a filter
    found = _seconds_in(line)
    return None if found is not None and found >= 60.0 and lead <= _MAY_BE_LENGTH else found


def _seconds_in(line: str) -> float | None:
    """The interval that a line tells, by a clock, an amount with its unit, or so many a second."""
    told = re.search(r"(?i)(?:1|one|a)\s+(?:sample|reading|record|value)s?\s+(?:every|per|each)\s+(.*)", line)
    tail = told[1] if told else line
    if (found := _CLOCKED.search(tail)) is not None:
        fraction = float(f"0.{found[4]}") if found[4] else 0.0
        total = int(found[1]) * 3600 + int(found[2]) * 60 + int(found[3]) + fraction
        return total or None
    beside = units.label(re.split(r"[:=;\t]", line)[0].strip())
    for found in _AMOUNT.finditer(tail):
        if doubtful(found[1]) and ("," in found[1] or (found[2] or "").lower() in ("ms", "us", "µs", "ns")):
            return None  # 1,000 ms may be one second; 1.000 s is no quarter of an hour
        amount = float(found[1].replace(",", "."))
        unit = (found[2] or (beside.unit if beside.kind in ("time", "other") else "")).lower().replace(" ", "")
        if amount <= 0:
            continue
        if unit in ("hz", "khz", "sps", "sa/s", "s/s", "samples/s", "samples/sec", "1/s", "readings/s", "/s"):
            return 1.0 / (amount * (1000.0 if unit == "khz" else 1.0))
        a_second = re.search(r"(?i)(?:per|pro|par)\s+(?:s|sec|second|sekunde|seconde)\b|/\s?s(?:ec)?\b", line)
        if a_second and (not unit or unit.startswith(("samp", "read", "value", "per", "mess"))):
            return 1.0 / amount
        seconds = units.seconds_per(unit) if unit else None
        if seconds is not None:
            return amount * seconds
    return None


def start_in(heading: Sequence[str], order: str | None) -> tuple[datetime | None, int | None]:
    """Moment of the first sample, and (where its date alone is told) microseconds of its midnight since 1970.

    ``order`` of day and month is what the caller told; a date that can be read in two ways tells nothing.
    """
    moments: set[datetime] = set()
    days: set[int] = set()
    for line in heading:
        found = _KEY.match(line.strip().strip('"'))
        words = set(vocabulary.words_of(found["key"])) if found else set()
        if found is None or not words or not words <= _WITH or not words & (_BEGINS | _DATES):
            continue
        value = found["value"].strip().strip('",; ')
        form = clock.form_of([value])
        if form is None or not form.has_date:
            continue
        orders = [order] if order is not None else ["dmy"] if clock.dotted_dates([value]) else ["dmy", "mdy"]
        forms = [clock.Form(form.name, form.zoned, each) for each in orders] if form.two_orders else [form]
        parsed = {clock.micros_of(value, each) for each in forms} - {None}
        micros = parsed.pop() if len(parsed) == 1 else None
        if micros is None:
            continue
        if not form.has_clock:
            days.add(micros)
        elif (moment := clock.moment(micros, zoned=form.zoned)) is not None:
            moments.add(moment)
    return (moments.pop() if len(moments) == 1 else None), (days.pop() if len(days) == 1 and not moments else None)
