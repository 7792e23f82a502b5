"""Which unit? Names of columns in, volts per unit (or seconds per unit) out; or the evidence of the values."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

_VOLTS = {"nv": 1e-9, "uv": 1e-6, "mv": 1e-3, "v": 1.0, "kv": 1e3}
_WORDS = {
    "volt": "V", "volts": "V", "millivolt": "mV", "millivolts": "mV", "microvolt": "uV", "microvolts": "uV",
    "kilovolt": "kV", "kilovolts": "kV",
}  # fmt: skip
_SECONDS = {
    "ns": 1e-9, "us": 1e-6, "ms": 1e-3, "msec": 1e-3, "millis": 1e-3, "milliseconds": 1e-3, "millisecond": 1e-3,
    "micros": 1e-6, "microseconds": 1e-6, "s": 1.0, "sec": 1.0, "secs": 1.0, "second": 1.0, "seconds": 1.0,
    "min": 60.0, "mins": 60.0, "minute": 60.0, "minutes": 60.0, "h": 3600.0, "hr": 3600.0, "hrs": 3600.0,
    "hour": 3600.0, "hours": 3600.0, "d": 86400.0, "day": 86400.0, "days": 86400.0,
}  # fmt: skip
_OTHER = {
    "a", "ma", "ua", "na", "ohm", "ohms", "kohm", "mohm", "ω", "kω", "hz", "khz", "mhz", "db", "dbv", "dbu",
    "dbm", "%", "c", "°c", "degc", "celsius", "f", "°f", "degf", "k", "kelvin", "w", "mw", "kw", "va", "pct",
    "percent", "rpm", "lux", "lx", "pa", "hpa", "kpa", "bar", "mbar", "g", "m", "mm", "cm", "%rh", "rh", "ppm",
    "uf", "nf", "pf", "vac", "vrms", "mvac", "mvrms", "ac", "counts", "lsb", "bool", "-",
}  # fmt: skip
_BRACKET = re.compile(
    r"^(?P<name>.*?)\s*(?:\((?P<a>[^()]*)\)|\[(?P<b>[^\[\]]*)\]|\{(?P<c>[^{}]*)\}|<(?P<d>[^<>]*)>)\s*$"
)
_TAIL = re.compile(r"^(?P<name>.+?)(?:[_\s./:-]|,\s*|\s+in\s+)(?P<unit>[^\W\d_]+)\s*$")


def tidy(title: str) -> str:
    """Make a column's title fit to be shown: one line, no control characters, at most 80 characters."""
    clean = "".join(ch if ch.isprintable() else " " for ch in title.strip().strip('"'))
    return clean if len(clean) <= 80 else clean[:79] + "…"


def volts_per(unit: str) -> float | None:
    """Return volts per unit of a DC voltage unit, None where the word is none."""
    word = unit.strip().replace("µ", "u").replace("μ", "u")
    word = re.sub(r"(?i)[\s_]*\(?dc\)?$", "", word)
    word = _WORDS.get(word.lower(), word)
    return _VOLTS.get(word.lower())


def unit_name(unit: str) -> str:
    """Return a voltage unit as it is usually written."""
    return {1e-9: "nV", 1e-6: "µV", 1e-3: "mV", 1.0: "V", 1e3: "kV"}[volts_per(unit) or 1.0]


def seconds_per(unit: str) -> float | None:
    """Return seconds per unit of time, None where the word is none."""
    return _SECONDS.get(unit.strip().replace("µ", "u").replace("μ", "u").lower())


@dataclass(frozen=True, slots=True)
class Label:
    """A column's name without its unit; ``kind`` of the unit is 'volts', 'time', 'other', 'unknown' or 'none'."""

    name: str
    unit: str
    kind: str


def label(header: str) -> Label:
    """Split a column's header into name and unit: ``left_mV``, ``Left (mV)``, ``CH1 [V]``, ``U/mV``, ``mV``."""
    text = " ".join(header.replace("\ufeff", "").strip().strip('"').split())
    text = re.sub(r"(?i)(?<=[unmkµμ _]v)[\s_]*dc$", "", text)
    found = _BRACKET.match(text)
    if found:
        unit = next(part for part in found.group("a", "b", "c", "d") if part is not None).strip()
        name = found["name"].strip(" _-:,") or text
        kind = _kind(unit)
        if kind == "none" and re.fullmatch(r"[^\W\d_]{1,8}(?:/[^\W\d_]{1,4})?", unit):
            return Label(name, unit, "unknown")
        return Label(name, unit, kind) if kind != "none" else Label(text, "", "none")
    found = _TAIL.match(text)
    if found and (kind := _kind(found["unit"])) != "none":
        single = len(found["unit"]) == 1 and found["unit"] not in "VvsC"  # 'amp_A' is a name, 'left_V' a unit
        if not single or kind == "time":
            return Label(found["name"].strip(" _-:,"), found["unit"], kind)
    if _kind(text) == "volts":
        return Label(text, text, "volts")
    return Label(text, "", "none")


def _kind(unit: str) -> str:
    if volts_per(unit) is not None:
        return "volts"
    if seconds_per(unit) is not None:
        return "time"
    return "other" if unit.lower() in _OTHER else "none"


@dataclass(frozen=True, slots=True)
class Evidence:
    """What the values themselves say about their unit; ``unit`` is empty where they do not say it."""

    unit: str
    reason: str


def evidence(values: list[NDArray[np.float64]], decimals: int) -> Evidence:
    """Judge the unit of voltages from their size and their digits.

    Rules of the bench (common practice, no source): outputs rest within millivolts of zero, no power amplifier reaches
    150 V, and no meter used for this resolves volts in steps of 0.1 V or coarser.
    """
    finite = [np.abs(column[np.isfinite(column)]) for column in values]
    finite = [column for column in finite if column.size]
    if not finite:
        return Evidence("", "there are no readings to tell it from")
    middle = max(float(np.median(column)) for column in finite)
    largest = max(float(column.max()) for column in finite)
    size = f"readings rest at {middle:.3g} and reach {largest:.3g}"
    if largest > 150 and middle >= 0.5:
        return Evidence("mV", f"{size}, beyond what an amplifier's output has in volts")
    if largest <= 150 and middle < 0.5 and decimals >= 3:
        return Evidence("V", f"{size}, with {decimals} or more digits after the point")
    if decimals <= 1 and largest >= 2:
        steps = "whole numbers" if decimals == 0 else "steps of 0.1"
        return Evidence("mV", f"{steps}, coarser than any meter shows small voltages in volts")
    return Evidence("", f"{size}, which could be volts or millivolts")


def decimals_of(values: NDArray[np.float64]) -> int:
    """Return how many digits after the point the values need, at most 9."""
    finite = values[np.isfinite(values) & (np.abs(values) < 1e30)]
    for digits in range(9):
        if np.all(np.abs(np.round(finite, digits) - finite) <= 2e-7 * np.abs(finite) + 1e-15):
            return digits
    return 9
