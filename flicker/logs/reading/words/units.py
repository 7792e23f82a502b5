"""Which unit? Words of headers in, volts per unit (or seconds per unit) out; or the evidence of the values."""

from __future__ import annotations

import re
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from flicker.base.arrays import Floats
from flicker.logs.reading.words import vocabulary

_VOLTS = {"nv": 1e-9, "uv": 1e-6, "mv": 1e-3, "v": 1.0, "kv": 1e3}
_WORDS = {
    "volt": "V", "volts": "V", "millivolt": "mV", "millivolts": "mV", "microvolt": "uV", "microvolts": "uV",
    "kilovolt": "kV", "kilovolts": "kV", "nanovolt": "nV", "nanovolts": "nV", "voltios": "V", "milivoltios": "mV",
    "milivolt": "mV", "milivolts": "mV", "mikrovolt": "uV", "microvoltios": "uV", "mvolt": "mV", "mvolts": "mV",
    "uvolt": "uV", "uvolts": "uV", "vdc": "V", "dcv": "V", "mvdc": "mV", "dcmv": "mV", "uvdc": "uV", "dcuv": "uV",
    "kvdc": "kV", "vd": "", "mvd": "",
}  # fmt: skip
_SECONDS = {
    "ns": 1e-9, "us": 1e-6, "ms": 1e-3, "msec": 1e-3, "msecs": 1e-3, "millis": 1e-3, "milliseconds": 1e-3,
    "millisecond": 1e-3, "millisekunden": 1e-3, "micros": 1e-6, "microseconds": 1e-6, "usec": 1e-6,
    "nanoseconds": 1e-9, "s": 1.0, "sec": 1.0, "secs": 1.0, "second": 1.0, "seconds": 1.0, "sekunden": 1.0,
    "sekunde": 1.0, "sek": 1.0, "secondes": 1.0, "seconde": 1.0, "segundos": 1.0, "secondi": 1.0, "seconden": 1.0,
    "min": 60.0, "mins": 60.0, "minute": 60.0, "minutes": 60.0, "minuten": 60.0, "minutos": 60.0, "minuti": 60.0,
    "h": 3600.0, "hr": 3600.0, "hrs": 3600.0, "hour": 3600.0, "hours": 3600.0, "stunden": 3600.0, "std": 3600.0,
    "heures": 3600.0, "horas": 3600.0, "ore": 3600.0, "uur": 3600.0, "d": 86400.0, "day": 86400.0, "days": 86400.0,
    "tage": 86400.0, "jours": 86400.0, "100ns": 1e-7, "ticks100ns": 1e-7,
}  # fmt: skip
_OTHER = {
    "a", "ma", "ua", "na", "ohm", "ohms", "kohm", "mohm", "ω", "kω", "mω", "hz", "khz", "mhz", "db", "dbv", "dbu",
    "dbm", "%", "c", "°c", "degc", "celsius", "f", "°f", "degf", "k", "kelvin", "w", "mw", "kw", "va", "pct",
    "percent", "rpm", "lux", "lx", "pa", "hpa", "kpa", "bar", "mbar", "g", "m", "mm", "cm", "%rh", "rh", "ppm",
    "uf", "nf", "pf", "counts", "count", "lsb", "bool", "-", "adc", "raw", "codes", "fahrenheit", "°", "#", "n", "1",
    "aac", "maac", "aacdc", "bit", "bits", "dec", "index", "sequence",
}  # fmt: skip
_AC = re.compile(r"(?i)^(?:[nuµμmk]?v(?:olts?)?[\s_]*(?:ac|rms|~|ac\+dc|acdc)|ac[\s_]*[nuµμmk]?v|[nuµμmk]?v~|ac)$")
_BRACKET = re.compile(r"\(([^()]*)\)|\[([^\[\]]*)\]|\{([^{}]*)\}|<([^<>]*)>")
_GLUED = re.compile(
    r"(?<=[a-z0-9\u00e0-\u00ff])(nV|uV|µV|μV|mV|kV)(?:dc|DC)?$|(?<=[a-zA-Z0-9]{2})(mv|uv|µv|μv)(?:dc)?$"
)
_GLUED_FIRST = re.compile(r"^(nV|uV|µV|μV|mV|kV)(?=[A-Z0-9]|l|r|c)")
_IN_FULL = re.compile(r"(?i)(nano|micro|mikro|milli|mili|kilo)?[\s_-]?(?:volts?|voltios)(?![a-z])")
_MICRO = re.compile(r"\u00c2\u00b5|\u00ce\u00bc|\u00b5|\u03bc|^u (?=[vV])")  # as written, or read twice in two codes
_SEPARATORS = re.compile(r"[\s_,.;:/|\\=-]+")


def tidy(title: str) -> str:
    """Make a column's title fit to be shown: one line, no control characters, at most 80 characters."""
    clean = "".join(ch if ch.isprintable() else " " for ch in title.strip().strip('"'))
    return clean if len(clean) <= 80 else clean[:79] + "…"


@lru_cache(maxsize=4096)
def volts_per(unit: str) -> float | None:
    """Return volts per unit of a DC voltage unit, None where the word is none."""
    word = _MICRO.sub("u", unit.strip().strip("[](){}").strip())
    word = re.sub(r"(?i)[\s_]*\(?(?<![a-z]{2})dc\)?$", "", word)
    word = re.sub(r"(?i)^dc[\s_]+|^in\s+|\s*=+$|[⎓]", "", word)
    word = re.sub(r"(?i)(?<=v)dc$|(?<=volts)\s*dc$", "", word)
    word = _WORDS.get(word.lower(), word)
    return _VOLTS.get(word.lower())


def is_ac(unit: str) -> bool:
    """Whether a unit is one of alternating voltage, or of a value that holds it (rms)."""
    return _AC.match(unit.strip()) is not None


def name_of(volts: float) -> str:
    """Return the name of a unit of so many volts."""
    return {1e-9: "nV", 1e-6: "µV", 1e-3: "mV", 1.0: "V", 1e3: "kV"}.get(volts, f"{volts:g} V")


def seconds_per(unit: str) -> float | None:
    """Return seconds per unit of time, None where the word is none."""
    word = unit.strip().strip("[](){}").strip().replace("µ", "u").replace("μ", "u").lower()
    return _SECONDS.get(re.sub(r"^in\s+|\.$|(?<=^100)\s(?=ns$)", "", word))


class Label(NamedTuple):
    """A column's name without its unit; ``kind`` of the unit is 'volts', 'time', 'other', 'unknown' or 'none'.

    ``sure`` is False where the letter V may be the name of the quantity; ``against`` is a second unit of voltage that
    contradicts the first.
    """

    name: str
    unit: str
    kind: str
    sure: bool = True
    against: str = ""


@lru_cache(maxsize=4096)  # asked again and again of few headers
def label(header: str) -> Label:
    """Split a column's header into name and unit, wherever the unit stands.

    ``left_mV``, ``Left (mV)``, ``U/mV``, ``mV``; ``mV left``, ``leftmV``, ``left [mV] avg``, ``left_mV_raw``,
    ``LeftMillivolts``. A letter that may be a name (``Channel C``, ``left_min``) is no unit.
    """
    text = " ".join(header.replace("\ufeff", "").strip().strip('"').split())
    if is_ac(text):
        return Label(text, text, "other")
    parts = [
        (m.start(), m.end(), next(g for g in m.groups() if g is not None).strip()) for m in _BRACKET.finditer(text)
    ]
    inside = [(lo, hi, unit) for lo, hi, unit in parts if kind_of(unit) == "volts"]
    bare = _BRACKET.sub(" ", text).strip() if parts else text
    outside = _outside(bare)
    if inside:
        unit = inside[0][2]
        name = _tidied(text[: inside[0][0]] + " " + text[inside[0][1] :]) or text
        quantity = outside is not None and volts_per(outside[0]) == 1.0 and not outside[1]  # as in DCV [mV]
        others = [u for _, _, u in inside[1:]] + ([outside[0]] if outside and outside[2] and not quantity else [])
        against = next((u for u in others if volts_per(u) != volts_per(unit)), "")
        return Label(name, unit, "volts", True, against)
    for lo, hi, unit in parts:
        if is_ac(unit):
            return Label(_tidied(text[:lo] + " " + text[hi:]) or text, unit, "other")
    if outside:
        unit, name, sure, against = outside[0], outside[1], outside[2], outside[3]
        if re.search(r"(?i)(?:^|[\s_])(?:ac|rms)(?:$|[\s_(])", text):
            return Label(text, f"{unit} AC", "other")
        tail = "" if not parts else " " + " ".join(text[lo:hi] for lo, hi, _ in parts)
        return Label(_tidied(name + tail) or text if sure else text, unit, "volts", sure, against)
    return _other(text, parts)


def volts_in(cell: str) -> float | None:
    """Return volts per unit of a cell that is a unit of voltage, or a channel's name with one; None where it is neither."""
    found = label(cell)
    return volts_per(cell) or (volts_per(found.unit) if found.kind == "volts" else None)


def _outside(text: str) -> tuple[str, str, bool, str] | None:
    """Unit of voltage outside brackets: the unit, the name without it, whether it is sure, and what contradicts it."""
    found: list[tuple[str, bool, tuple[int, int]]] = []
    tokens = [(m.start(), m.end(), m.group()) for m in re.finditer(r"[^\s_,.;:/|\\=-]+", text)]
    names = [token for _, _, token in tokens if token.lower() not in ("dc", "in")]
    for place, (lo, hi, token) in enumerate(tokens):
        if volts_per(token) is not None:
            quantity = token.lower().removesuffix("dc").removeprefix("dc") == "v"
            lead = quantity and place == 0 and len(names) > 1
            found.append((token, not lead, (lo, hi)))
            continue
        glued = _GLUED.search(token) or _GLUED_FIRST.search(token)
        if glued and volts_per(glued.group()) is not None:
            found.append((glued.group(), True, (lo + glued.start(), lo + glued.end())))
    if not found:
        spaced = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", text)
        full = _IN_FULL.search(spaced)
        if full is None:
            return None
        unit = (full.group(1) or "") + "volt"
        return unit, _tidied(spaced[: full.start()] + " " + spaced[full.end() :]), True, ""
    found.sort(key=lambda item: (not item[1], -item[2][0]))
    unit, sure, (lo, hi) = found[0]
    against = next((u for u, s, _ in found[1:] if s and volts_per(u) != volts_per(unit)), "")
    name = text[:lo] + " " + text[hi:]
    return unit, _tidied(re.sub(r"(?i)(?:^|(?<=[\s_]))(?:dc|in)\s*$", "", name)), sure, against


def _tidied(name: str) -> str:
    """A name without what is left over when its unit was cut out."""
    clean = re.sub(r"(?i)[\s_/,:;-]+(?:in|dc)?\s*$", "", " ".join(name.split())).strip(" _-:,;/=.")
    if re.fullmatch(r"\([^()]*\)|\[[^\[\]]*\]", clean):
        clean = clean[1:-1].strip()
    clean = re.sub(r"_\s+_?|\s+_", "_" if "_" in clean else " ", clean)
    return clean if _SEPARATORS.sub("", clean) else ""


def _other(text: str, parts: list[tuple[int, int, str]]) -> Label:
    """A header without a unit of voltage: time, another unit, a unit that is not understood, or none."""
    for lo, hi, unit in parts:
        kind = kind_of(unit)
        name = _tidied(text[:lo] + " " + text[hi:]) or text
        words = set(vocabulary.words_of(name))
        if kind == "time":
            ambiguous = unit.lower() in ("min", "d", "std", "h")
            if not ambiguous or not words or words & vocabulary.TIME:
                return Label(name, unit, "time")
            continue
        if kind == "other":
            if (
                unit.lower() in ("c", "f", "k", "a", "g", "m", "n", "w")
                and words & vocabulary.OUTPUT
                and not (words & vocabulary.WARM)
            ):
                continue  # Channel (A) is a name
            return Label(name, unit, "other")
    if parts and (
        found := [(lo, hi, u) for lo, hi, u in parts if re.fullmatch(r"[?\ufffd]?[^\W\d_]{1,8}(?:/[^\W\d_]{1,4})?", u)]
    ):
        lo, hi, unit = found[-1]
        known = vocabulary.STATISTICS | vocabulary.OUTPUT | vocabulary.TIME | vocabulary.STATE | vocabulary.READING
        if unit.lower() not in known and hi == len(text):
            return Label(_tidied(text[:lo] + " " + text[hi:]) or text, unit, "unknown")
    if kind_of(text) == "time" and text.lower() not in ("min", "d", "h", "std") and text != "S":
        return Label(text, text, "time")
    if len(text) > 1 and text.lower() in _OTHER - {"index", "sequence"}:
        return Label(text, text, "other")
    tail = re.match(r"^(?P<name>.+?)(?:[_\s./:-]+|,\s*|\s+in\s+)(?P<unit>[^\W\d_]+|°[CF]|%)\s*$", text)
    if tail:
        name, unit, words = tail["name"].strip(" _-:,"), tail["unit"], set(vocabulary.words_of(tail["name"]))
        kind = kind_of(unit)
        sure = unit.lower() in ("ms", "us", "ns") or len(unit) > 3  # where no output is named
        if kind == "time" and (words & vocabulary.TIME or (sure and not words & vocabulary.OUTPUT)):
            return Label(name, unit, "time")
        if kind == "other" and (words & vocabulary.WARM or not (len(unit) == 1 and unit.isalpha())):
            return Label(name, unit, "other")
    return Label(text, "", "none")


def kind_of(unit: str) -> str:
    """Return 'volts', 'time', 'other' or 'none' for a word that stands where a unit is expected."""
    if volts_per(unit) is not None:
        return "volts"
    if seconds_per(unit) is not None:
        return "time"
    return "other" if unit.lower().strip() in _OTHER or is_ac(unit) else "none"


FINE_DIGITS = 4  # readings of 0.0001 mV are finer than the microvolt that bench meters resolve; common practice, no source
AT_REST_V = 0.5  # an output that rests beyond this in volts is no evidence for volts; common practice, no source
RAILS_V = 150.0  # no power amplifier's output reaches it; common practice, no source


def evidence(values: list[Floats], decimals: int) -> tuple[str, str]:
    """Judge the unit of voltages from their size and their digits: the unit (empty where they do not tell it), and why.

    Volts hide nothing; millivolts are never taken without a word of the file (48.3 is a rail on the output, or 48 mV).
    """
    finite = [np.abs(column[np.isfinite(column)]) for column in values]
    finite = [column for column in finite if column.size]
    if not finite:
        return ("", "there are no readings to tell it from")
    middle = max(float(np.median(column)) for column in finite)
    largest = max(float(column.max()) for column in finite)
    size = f"readings rest at {middle:.3g} and reach {largest:.3g}"
    if largest <= RAILS_V and middle < AT_REST_V and decimals >= FINE_DIGITS:
        return ("V", f"{size}, with {decimals} or more digits after the point")
    return ("", f"{size}, which could be volts or millivolts")


def decimals_of(values: Floats) -> int:
    """Return how many digits after the point the values need, at most 9."""
    finite = values[np.isfinite(values) & (np.abs(values) < 1e30)]
    for digits in range(9):
        if np.all(np.abs(np.round(finite, digits) - finite) <= 2e-7 * np.abs(finite) + 1e-15):
            return digits
    return 9
