"""Decimal signs (the German decimal comma) and thousands separators: which a file uses, on evidence from all cells looked at. Cells in, rules out."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from flicker.logs.errors import LogError, Question

LONGEST = 100  # characters of a number
PLAIN = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?")
COMMA = re.compile(r"[+-]?(?:\d+,?\d*|,\d+)(?:[eE][+-]?\d+)?")
_SPACES = " '\u2019\u00a0\u202f\u2009"
GROUPED_POINT = re.compile(rf"[+-]?\d{{1,3}}(?:,\d{{3}})+(?:\.\d*)?|[+-]?\d{{1,3}}(?:[{_SPACES}]\d{{3}})+(?:\.\d*)?")
GROUPED_COMMA = re.compile(rf"[+-]?\d{{1,3}}(?:\.\d{{3}})+(?:,\d*)?|[+-]?\d{{1,3}}(?:[{_SPACES}]\d{{3}})+(?:,\d*)?")
_UNCLEAR = re.compile(r"[+-]?[1-9]\d{0,2}[.,]\d{3}")
_MINUS = str.maketrans({"\u2212": "-", "\u2013": "-", "\u2014": "-", "\ufe63": "-", "\uff0d": "-"})
_ODD_SIGN = re.compile(r"(?P<lead>[+-])\s+(?P<a>[\d.,].*)|(?P<b>[\d.,].*?)\s?(?P<tail>[+-])|\(\s*(?P<c>[\d.,].*?)\s*\)")
_GROUP_SIGNS = re.compile(rf"(?<=\d)[{_SPACES}](?=\d)")
ASK = "say which with decimal=',' or decimal='.' (--decimal)"


@dataclass(frozen=True, slots=True)
class Numerals:
    """How a file writes numbers. ``sure`` is False where no cell looked at shows the decimal sign."""

    decimal: str = "."
    sure: bool = True

    def number(self, text: str) -> float | None:
        """Return the number that a cell holds, None where it holds none (or where `unclear`)."""
        bare = bare_number(text)
        if bare is None:
            return None
        if not self.sure:
            if _UNCLEAR.fullmatch(bare):
                return None
            return _point(bare) if _point(bare) is not None else _comma(bare)
        return _comma(bare) if self.decimal == "," else _point(bare)

    def unclear(self, text: str) -> bool:
        """Whether a cell such as 2.500 may hold a decimal sign or a thousands separator."""
        return not self.sure and doubtful(text)


def bare_number(text: str) -> str | None:
    """Return a cell without quotes, its sign in front; None where it is too long to be a number."""
    bare = text.strip().strip('"').strip()
    if len(bare) > LONGEST:
        return None
    if not bare.isascii():
        bare = bare.translate(_MINUS)
    if bare[-1:] in "+-)" or bare[1:2].isspace():
        found = _ODD_SIGN.fullmatch(bare)
        if found:
            if found["a"]:
                return found["lead"] + found["a"].strip()
            if found["b"]:
                return found["tail"] + found["b"].strip()
            return "-" + found["c"]
    return bare


def _point(bare: str) -> float | None:
    if PLAIN.fullmatch(bare):
        return float(bare)
    if GROUPED_POINT.fullmatch(bare):
        return float(re.sub(rf"[,{_SPACES}]", "", bare))
    return None


def _comma(bare: str) -> float | None:
    if COMMA.fullmatch(bare):
        return float(bare.replace(",", "."))
    if GROUPED_COMMA.fullmatch(bare):
        return float(re.sub(rf"[.{_SPACES}]", "", bare).replace(",", "."))
    return None


def doubtful(text: str) -> bool:
    """Whether a cell is a number with either decimal sign, and another number with each."""
    bare = bare_number(text)
    return bare is not None and _UNCLEAR.fullmatch(bare) is not None


def only_with(text: str) -> str:
    """The one decimal sign with which a cell is a number (-1.178.570 with a comma); empty where both or none do."""
    bare = bare_number(text)
    if bare is None or (_point(bare) is None) == (_comma(bare) is None):
        return ""
    return "," if _point(bare) is None else "."


def told(decimal: str) -> Numerals:
    """Take the caller's word.

    Raises
    ------
    LogError
        If it is no decimal sign.
    """
    if decimal not in (".", ","):
        raise LogError(f"decimal must be '.' or ',', got {decimal!r} (--decimal).")
    return Numerals(decimal)


def judge(columns: Sequence[Iterable[str]], name: str, *, points_likely: bool = False) -> Numerals:
    """Tell the decimal sign from the cells of all columns.

    ``points_likely`` says that commas part the cells, so that points in all numbers are decimal signs.

    Raises
    ------
    LogError
        If cells such as 1,234 or 2.500 can be read in two ways.
    """
    points = commas = weak = 0
    unclear_comma = unclear_point = fixed = ""
    for cells in columns:
        found = _Tally()
        for cell in cells:
            found.take(cell)
        points += found.points
        commas += found.commas
        if found.unclear_comma:
            unclear_comma = unclear_comma or found.unclear_comma
        if found.unclear_point:
            if found.short and not found.long:  # 2.500 among 480 and 12
                unclear_point = unclear_point or found.unclear_point
            else:
                weak += 1  # all cells have three digits after the point
                fixed = fixed or found.unclear_point
    if commas and (not points or commas > points):
        return Numerals(",")
    if points:
        return Numerals(".")
    if weak and points_likely and not unclear_comma and not unclear_point:
        return Numerals(".")
    for cell in (unclear_comma, unclear_point, fixed):
        if cell:
            raise Question(
                f"{name}: numbers such as {cell} may hold a decimal sign or a thousands separator; {ASK}.", decimal="."
            )
    return Numerals(".", sure=False)


class _Tally:
    """What the cells of one column show."""

    def __init__(self) -> None:
        self.points = self.commas = self.short = self.long = 0
        self.unclear_comma = self.unclear_point = ""

    def take(self, cell: str) -> None:
        bare = bare_number(cell)
        if not bare or ":" in bare:
            return
        if bare[-1:].isalpha() or "%" in bare[-1:]:
            found = re.match(r"([+-]?[\d.,'\u00a0\u202f ]*\d(?:[eE][+-]?\d+)?)\s*[A-Za-zµμ]{1,12}(?: ?DC)?$", bare)
            if not found:
                return
            bare = found[1].strip()
        if bare.isdigit() or bare[1:].isdigit():
            size = len(bare.lstrip("+-"))
            self.short += size <= 3
            self.long += size > 3
            return
        has_point, has_comma = "." in bare, "," in bare
        if _GROUP_SIGNS.search(bare):
            bare = _GROUP_SIGNS.sub("", bare)
        if has_point and has_comma:
            if bare.rfind(".") > bare.rfind(",") and GROUPED_POINT.fullmatch(bare):
                self.points += 1
            elif bare.rfind(",") > bare.rfind(".") and GROUPED_COMMA.fullmatch(bare):
                self.commas += 1
        elif has_comma:
            if bare.count(",") > 1:
                self.points += GROUPED_POINT.fullmatch(bare) is not None
            elif _UNCLEAR.fullmatch(bare):
                self.unclear_comma = self.unclear_comma or bare
            elif COMMA.fullmatch(bare):
                self.commas += 1
        elif has_point:
            if bare.count(".") > 1:
                self.commas += GROUPED_COMMA.fullmatch(bare) is not None
            elif _UNCLEAR.fullmatch(bare):
                self.unclear_point = self.unclear_point or bare
            elif PLAIN.fullmatch(bare):
                self.points += 1
