"""What does one cell say? A number, a word of a meter, a unit behind a number, or something else."""

from __future__ import annotations

import math
import re
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from flicker.base.arrays import Floats
from flicker.logs.reading.words import units as unit_names
from flicker.logs.reading.words.numerals import LONGEST, MINUS, Numerals, unquoted

Numbers = TypeVar("Numbers", float, Floats)

INFINITE = 9.0e37  # SCPI-99: 9.9E37 stands for infinity,
NOT_A_NUMBER = 9.91e37  # and 9.91E37 for not-a-number

MISSING = frozenset({
    "", "nan", "-nan", "+nan", "na", "n/a", "n.a.", "#n/a", "#nv", "null", "(null)", "none", "nil", "\\n", "nodata", "no data", "-",
    "--", "---", "----", "?", "*", "**", "***", "****", "#####", "######", "--.--", "-.--", "--.-", "---.-",
    "#num!", "#div/0!", "#value!", "#ref!", "1.#qnan", "-1.#ind", "1.#ind",
})  # fmt: skip
OVER = frozenset({
    "ol", "o.l", "o.l.", ".ol", "0l", "0.l", ".0l", "ovld", "ovl", "ovrld", "over", "overload", "overrange",
    "over range", "overflow", "over load", "ovf", "inf", "infinity", "∞", "1.#inf", "überlauf", "ueberlauf", "überlast",
})  # fmt: skip
WITH_UNIT = re.compile(r"(?P<n>[^A-Za-zµμ]*?[\d.](?:[eE][+-]?\d+)?\s?[)+-]?)\s*(?P<u>[A-Za-zµμ]{1,12}(?: ?DC)?)")


def word_value(text: str) -> float | None:
    """Return NaN or a signed infinity for a meter's words, None where the text is neither."""
    word = unquoted(text).lower().translate(MINUS)
    if word in MISSING:
        return math.nan
    sign = 1.0
    if word[:1] in "+-±" and len(word) > 1:
        sign = -1.0 if word[0] == "-" else 1.0
        word = word[1:].strip()
    if word.endswith(("ol", "ovld", "overload")) and " " in word:  # 'OL' beside a range or a unit
        word = word.split()[-1]
    word = re.sub(r"^[.0]*(ol|o\.l)[.0]*(?=$|\s)", "ol", word)  # OL.0, 0.OL, .OL
    first = word.split()[0] if word.split() else ""
    if word in OVER or (first in OVER and unit_names.volts_per(word[len(first) :]) is not None):
        return sign * math.inf
    return None


def value(text: str, numerals: Numerals, *, units_too: bool) -> float | None:
    """Return a cell's value: volts where ``units_too`` says that cells carry units, else the bare number, or None."""
    bare = numerals.number(text)
    if bare is not None:
        return scpi(bare)
    if units_too and len(text) <= LONGEST:
        found = WITH_UNIT.fullmatch(text.strip().strip('"').translate(MINUS))
        if found:
            bare, volts = numerals.number(found["n"]), unit_names.volts_per(found["u"])
            if bare is not None and volts is not None:
                return scpi(bare) if abs(bare) >= INFINITE else scaled(bare, volts)
    return word_value(text)


def seconds(text: str, numerals: Numerals) -> float | None:
    """Return the seconds that a cell such as 0.5 s or 500 ms holds, None where it holds none."""
    found = WITH_UNIT.fullmatch(text.strip().strip('"')) if len(text) <= LONGEST else None
    if not found:
        return None
    bare, factor = numerals.number(found["n"]), unit_names.seconds_per(found["u"])
    return None if bare is None or factor is None else scaled(bare, factor)


def scpi(bare: float) -> float:
    """Turn SCPI's stand-ins into infinity and NaN."""
    if abs(bare) < INFINITE:
        return bare
    return math.nan if abs(bare) == NOT_A_NUMBER else math.copysign(math.inf, bare)


def all_there(values: NDArray[Any]) -> bool:
    """Whether every value is a number, and no stand-in of SCPI's for another; NaN is neither smaller nor larger.

    No product of vectors, though it takes one walk where this takes two: libraries of linear algebra share it among
    threads, which costs five times the processor time, and on a busy machine ten times the time.
    """
    if values.dtype.kind != "f":
        return True
    with np.errstate(invalid="ignore"):
        least, most = (float(of.reduce(values, initial=0.0)) for of in (np.minimum, np.maximum))
    return least > -INFINITE and most < INFINITE


def to_volts(values: Floats, volts: float) -> Floats:
    """Scale to volts and turn SCPI's stand-ins into infinity and NaN."""
    out = scaled(values, volts)
    if all_there(values):
        return out
    big = np.flatnonzero(np.abs(values) >= INFINITE)
    if big.size:
        huge = values[big]
        out = out.copy()
        out[big] = np.where(np.abs(huge) == NOT_A_NUMBER, np.nan, np.copysign(np.inf, huge))
    return out


def scaled(values: Numbers, factor: float) -> Numbers:
    """Multiply; where the factor is a whole part of 1, as 0.001 is, divide, so that 12.3 mV becomes the double nearest to 0.0123."""
    parts = float(round(1 / factor))
    with np.errstate(over="ignore"):
        if parts and 1 / parts == factor:
            return values if parts == 1 else values / parts
        return values * factor
