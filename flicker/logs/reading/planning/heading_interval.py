"""The interval from sample to sample that the lines above a header tell. Lines in, seconds out."""

from __future__ import annotations

import re

from flicker.logs.reading.planning.columns import Heading
from flicker.logs.reading.words import units, vocabulary
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
_NO_INTERVAL = {  # of the file, of the meter; or of a whole recording: its beginning, its length
    "serial", "gain", "baud", "refresh", "display", "mains", "netz", "timeout", "start", "started", "begin", "began",
    "beginn", "stop", "stopped", "end", "ended", "ende", "duration", "dauer", "length", "total", "gesamt", "elapsed",
}  # fmt: skip
_MAY_BE_LENGTH = {"logging", "period"}  # of a recording, where nothing else is said: asked from a minute on, a choice


def interval_in(heading: Heading) -> float | None:
    """Seconds from sample to sample that the lines above the header tell; None where they do not."""
    for line in heading.lines:
        found = interval_of(line)
        if found is not None:
            return found
    for key, text in heading.entries.items():
        found = interval_of(f"{key}: {text}")
        if found is not None:
            return found
    return None


def interval_of(line: str) -> float | None:
    """Seconds from sample to sample that one line tells; None where it tells none."""
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
