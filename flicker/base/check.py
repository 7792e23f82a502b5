"""Checks of arguments. An error names the argument, its value and what is allowed."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from flicker.base.arrays import Floats, Ints


def _number(value: Any) -> float:
    """Turn a value into a float, NaN where it is none."""
    try:
        return float(value)
    except (TypeError, ValueError):
        return math.nan


def whole(name: str, value: Any, *, least: int = 0, what: str = "a count") -> int:
    """Return ``value`` as an int, or raise if it is not a whole number of at least ``least``."""
    number = _number(value)
    if not math.isfinite(number) or number != math.floor(number) or number < least or isinstance(value, bool):
        raise ValueError(f"{name} must be {what}, a whole number of {least} or more, got {value!r}")
    return int(value)


def positive(name: str, value: Any, *, what: str = "a number", zero: bool = False) -> float:
    """Return ``value`` as a finite float above 0 (or from 0 on, with ``zero``)."""
    number = _number(value)
    if not math.isfinite(number) or number < 0 or (number == 0 and not zero):
        allowed = "0 or more" if zero else "above 0"
        raise ValueError(f"{name} must be {what}, finite and {allowed}, got {value!r}")
    return number


def finite(name: str, value: Any) -> float:
    """Return ``value`` as a finite float."""
    number = _number(value)
    if not math.isfinite(number):
        raise ValueError(f"{name} must be a finite number, got {value!r}")
    return number


def share(name: str, value: Any) -> float:
    """Return ``value`` as a float strictly between 0 and 1."""
    number = _number(value)
    if not 0.0 < number < 1.0:
        raise ValueError(f"{name} must lie between 0 and 1 (both excluded), got {value!r}")
    return number


def part(name: str, value: Any) -> float:
    """Return ``value`` as a float above 0, and at most 1."""
    number = positive(name, value, what="a share")
    if number > 1.0:
        raise ValueError(f"{name} must be above 0 and at most 1, got {number}")
    return number


def dispersion(value: Any) -> float:
    """Return a variance over mean of counts as a float of 1 or more."""
    number = positive("dispersion", value, what="a dispersion")
    if number < 1.0:
        raise ValueError(f"dispersion must be 1 or more, got {number}")
    return number


def one_of(name: str, value: Any, allowed: Sequence[str]) -> str:
    """Return ``value`` if it is one of ``allowed``."""
    if value not in allowed:
        raise ValueError(f"{name} must be one of {', '.join(map(repr, allowed))}, got {value!r}")
    return str(value)


def hint(word: str, known: Sequence[str], *, listed: str = "known are") -> str:
    """End of a sentence about an unknown word: the nearest known one, or all of them."""
    from difflib import get_close_matches  # late: only a wrong word needs it

    near = get_close_matches(word, known, n=1)
    return f"did you mean {near[0]!r}?" if near else f"{listed} {', '.join(known)}."


def number_array(name: str, values: ArrayLike) -> Floats:
    """Return ``values`` as a one-dimensional float array, in which NaN may stand for what is missing."""
    try:
        array = np.asarray(values, dtype=np.float64)
    except (TypeError, ValueError):
        raise ValueError(f"{name} must be numbers, got {values!r}") from None
    if array.ndim != 1:
        raise ValueError(f"{name} must be one-dimensional, got shape {array.shape}")
    return array


def finite_array(name: str, values: ArrayLike, *, least: int = 1) -> Floats:
    """Return ``values`` as a one-dimensional float array of at least ``least`` finite numbers."""
    array = number_array(name, values)
    if array.size < least:
        raise ValueError(f"{name} must hold {least} or more numbers, got {array.size}")
    bad = np.flatnonzero(~np.isfinite(array))
    if bad.size:
        raise ValueError(f"{name} must be finite numbers, got {array[bad[0]]} at index {bad[0]}")
    return array


def whole_array(name: str, values: ArrayLike, *, least: int = 1) -> Ints:
    """Return ``values`` as a one-dimensional array of at least ``least`` whole numbers of 0 or more."""
    array = finite_array(name, values, least=least)
    bad = np.flatnonzero((array < 0) | (array != np.floor(array)))
    if bad.size:
        raise ValueError(f"{name} must be counts, whole numbers of 0 or more, got {array[bad[0]]} at index {bad[0]}")
    return array.astype(np.int64)


def positive_array(name: str, values: ArrayLike, *, least: int = 0) -> Floats:
    """Return ``values`` as a one-dimensional float array of at least ``least`` finite numbers above 0."""
    array = finite_array(name, values, least=least)
    if array.size and array.min() <= 0:
        raise ValueError(f"{name} must be above 0, got {array.min()}")
    return array


def paired(name: str, values: ArrayLike | None, size: int, *, each: str) -> Floats:
    """Return one finite number for each of so many things (``each`` names one); 0, 1, 2, ... where none are given."""
    if values is None:
        return np.arange(size, dtype=np.float64)
    array = finite_array(name, values, least=0)
    if array.size != size:
        raise ValueError(f"{name} must hold one number per {each} ({size}), got {array.size}")
    return array


def rising(name: str, array: Floats, *, strictly: bool = False) -> None:
    """Raise if the numbers are not in rising order; equal ones may follow each other, unless ``strictly``."""
    step = np.diff(array)
    wrong = np.flatnonzero(step <= 0 if strictly else step < 0)
    if wrong.size:
        raise ValueError(f"{name} must be in rising order, got {array[wrong[0] + 1]:g} after {array[wrong[0]]:g}")


def differing(name: str, array: Floats, *, each: str) -> None:
    """Raise if all numbers are the same."""
    if float(np.ptp(array)) == 0:
        raise ValueError(f"{name} must differ between {each}s, got {array[0]:g} for all")


def inside(name: str, array: Floats, low: float, high: float) -> None:
    """Raise if a number lies outside of two bounds."""
    wrong = array[(array < low) | (array > high)]
    if wrong.size:
        raise ValueError(f"{name} must lie between {low:g} and {high:g}, got {wrong[0]:g}")


def stretch(start: float, end: float) -> tuple[float, float]:
    """Return begin and end of a stretch of time."""
    begin, stop = finite("start", start), finite("end", end)
    if stop <= begin:
        raise ValueError(f"end must be later than start ({begin:g}), got {end!r}")
    return begin, stop


def series(y: ArrayLike, x: ArrayLike | None, *, least: int = 1) -> tuple[Floats, Floats]:
    """Check values and their times; without times they are numbered."""
    values = finite_array("y", y, least=least)
    return values, paired("x", x, values.size, each="value of y")
