"""Decimal signs (the German decimal comma) and thousands separators: which a file uses, on evidence from all cells looked at. Cells in, rules out."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import NamedTuple

from flicker.logs.errors import LogError, Question

LONGEST = 100  # characters of a number
PLAIN = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?")
COMMA = re.compile(r"[+-]?(?:\d+,?\d*|,\d+)(?:[eE][+-]?\d+)?")
_SPACES = " '\u2019\u00a0\u202f\u2009"
_LEAD = r"[+-]?[1-9]\d{0,2}"  # no group of thousands begins with a nought: 0,500 holds a decimal sign
GROUPED_POINT = re.compile(rf"(?:{_LEAD}(?:(?:,\d{{3}})+|(?:[{_SPACES}]\d{{3}})+)|[+-]?[1-9]\d?(?:,\d\d)+,\d{{3}})(?:\.\d*)?")
GROUPED_COMMA = re.compile(rf"{_LEAD}(?:(?:\.\d{{3}})+|(?:[{_SPACES}]\d{{3}})+)(?:,\d*)?")
MINUS = str.maketrans({"\u2212": "-", "\u2013": "-", "\u2014": "-", "\ufe63": "-", "\uff0d": "-"})
_ODD_SIGN = re.compile(r"(?P<lead>[+-])\s+(?P<a>[\d.,].*)|(?P<b>[\d.,].*?)\s?(?P<tail>[+-])|\(\s*(?P<c>[\d.,].*?)\s*\)")
_USUAL = frozenset("0123456789+-.,eE")
_OTHER_WAYS = (  # to write a number, and how it is written here
    (re.compile(r"^=\"?|^'(?=[+-]?[\d.,])"), ""),  # a spreadsheet's formula, or its mark of words
    (re.compile(r"(?<=\d)[dD](?=[+-]?\d+$)"), "e"),  # exponents of Fortran
    (re.compile(r"(?<=\d)\s?[x\u00d7*\u00b7]\s?10(?:\^|\*\*)(?=[+-]?\d+$)"), "e"),
    (re.compile(r"(?<=\d)_(?=\d{3})"), ""),
    (re.compile(r"(?i)^(?=\d)(.*\d)\s*neg(?:ative|\.)?$"), r"-\1"),
    (re.compile(r"(?i)(?<=\d)\s*pos(?:itive|\.)?$"), ""),
)
_UNIT_BEHIND = re.compile(rf"([+-]?[\d.,{_SPACES}]*\d(?:[eE][+-]?\d+)?)\s*[A-Za-zµμ]{{1,12}}(?: ?DC)?")
ASK = "say which with decimal=',' or decimal='.' (--decimal)"


class Numerals(NamedTuple):
    """How a file writes numbers. ``sure`` is False where no cell looked at shows the decimal sign."""

    decimal: str = "."
    sure: bool = True

    def number(self, text: str) -> float | None:
        """Return the number that a cell holds, None where it holds none (or where `unclear`)."""
        bare = bare_number(text)
        if bare is None:
            return None
        if self.sure:
            return _as(bare, self.decimal)
        found = set(_readings(bare).values())
        return found.pop() if len(found) == 1 else None

    def unclear(self, text: str) -> bool:
        """Whether a cell such as 2.500 may hold a decimal sign or a thousands separator."""
        return not self.sure and doubtful(text)


def unquoted(cell: str) -> str:
    """A cell without blanks and quotation marks around it."""
    return cell.strip().strip('"').strip()


@lru_cache(maxsize=1 << 13)  # a choice for speed: cells looked at to plan a log, each several times
def bare_number(text: str) -> str | None:
    """Return a cell without quotes, its sign in front; None where it is too long to be a number."""
    bare = unquoted(text)
    if len(bare) > LONGEST:
        return None
    if not bare.isascii():
        bare = bare.translate(MINUS)
    if bare[-1:] in "+-)" or bare[1:2].isspace():
        found = _ODD_SIGN.fullmatch(bare)
        if found:
            if found["a"]:
                return found["lead"] + found["a"].strip()
            if found["b"]:
                return found["tail"] + found["b"].strip()
            return "-" + found["c"]
    if not _USUAL.issuperset(bare):
        for way, usual in _OTHER_WAYS:
            bare = way.sub(usual, bare)
    return bare


def _as(bare: str, decimal: str) -> float | None:
    """The number that a cell is with a decimal sign, None where it is none with it."""
    if decimal == ",":
        if COMMA.fullmatch(bare):
            return float(bare.replace(",", "."))
        return float(re.sub(rf"[.{_SPACES}]", "", bare).replace(",", ".")) if GROUPED_COMMA.fullmatch(bare) else None
    if PLAIN.fullmatch(bare):
        return float(bare)
    return float(re.sub(rf"[,{_SPACES}]", "", bare)) if GROUPED_POINT.fullmatch(bare) else None


def _readings(bare: str) -> dict[str, float]:
    """The numbers that a cell is, by decimal sign."""
    return {decimal: number for decimal in ".," if (number := _as(bare, decimal)) is not None}


def doubtful(text: str) -> bool:
    """Whether a cell such as 2.500 is a number with either decimal sign, and another number with each."""
    bare = bare_number(text)
    return bare is not None and len(set(_readings(bare).values())) > 1


def only_with(text: str) -> str:
    """The one decimal sign with which a cell is a number (-1.178.570 with a comma); empty where both or none do."""
    bare = bare_number(text)
    found = {} if bare is None else _readings(bare)
    return next(iter(found)) if len(found) == 1 else ""


def judge(
    columns: Sequence[Iterable[str]], name: str, told: str | None = None, *, points_likely: bool = False
) -> Numerals:
    """Tell the decimal sign from the cells of all columns, or take the caller's word (``told``).

    ``points_likely`` says that commas part the cells, so that points in all numbers are decimal signs.

    Raises
    ------
    LogError
        If cells such as 1,234 or 2.500 can be read in two ways, or the caller's word is no decimal sign.
    """
    if told is not None:
        if told not in (".", ","):
            raise LogError(f"decimal must be '.' or ',', got {told!r} (--decimal).")
        return Numerals(told)
    shown = [_shown(cells) for cells in columns]
    points, commas = (sum(column.sure[sign] for column in shown) for sign in ".,")
    if points or commas:
        sign, other = (",", ".") if commas > points else (".", ",")
        doubt = next((c.unclear[other] for c in shown if c.unclear[other] and not c.sure[sign] and not c.grouped), "")
        if doubt and not (points_likely and sign == "."):
            raise Question(
                f"{name}: numbers such as {doubt} may hold a decimal sign or a thousands separator, and other columns have"
                f" '{sign}' for decimal sign; if they part thousands give decimal='{sign}' (--decimal), else write the log with"
                " one decimal sign.",
                decimal=sign,
            )
        return Numerals(sign)
    commas_open = [c.unclear[","] for c in shown if c.unclear[","]]
    thousands = [c.unclear["."] for c in shown if c.unclear["."] and c.grouped]
    fixed = [c.unclear["."] for c in shown if c.unclear["."] and not c.grouped]  # three digits after the point in all
    if fixed and points_likely and not commas_open and not thousands:
        return Numerals(".")
    for cell in (*commas_open, *thousands, *fixed):
        raise Question(
            f"{name}: numbers such as {cell} may hold a decimal sign or a thousands separator; {ASK}.", decimal="."
        )
    return Numerals(".", sure=False)


@dataclass(slots=True)
class _Shown:
    """What the cells of a column show: how many tell each decimal sign, and the first that may hold it or part thousands."""

    sure: dict[str, int] = field(default_factory=lambda: {".": 0, ",": 0})
    unclear: dict[str, str] = field(default_factory=lambda: {".": "", ",": ""})
    short: bool = False  # whole numbers of up to three digits,
    long: bool = False  # and of more

    @property
    def grouped(self) -> bool:
        """Whether whole numbers are such as stand beside thousands in groups: 480 and 12 beside 2.500."""
        return self.short and not self.long


def _shown(cells: Iterable[str]) -> _Shown:
    """Look through the cells of one column."""
    out = _Shown()
    for cell, times in Counter(cells).items():
        bare = bare_number(cell)
        if not bare or ":" in bare:
            continue
        if bare[-1:].isalpha() or bare[-1:] == "%":
            found = _UNIT_BEHIND.fullmatch(bare)
            if not found:
                continue
            bare = found[1].strip()
        if bare.isdigit() or bare[1:].isdigit():
            short = len(bare.lstrip("+-")) <= 3
            out.short |= short
            out.long |= not short
        elif "." in bare or "," in bare:
            found_with = _readings(bare)
            if len(found_with) == 2:
                sign = "." if "." in bare else ","
                out.unclear[sign] = out.unclear[sign] or bare
            elif found_with:
                out.sure[next(iter(found_with))] += times
    return out
