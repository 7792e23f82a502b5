"""Rows of a comma-separated file with a cell too many: a thousands or decimal comma that nobody quoted. Cells in and out."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from flicker.logs.errors import LogError
from flicker.logs.reading.columns import Wishes

_LEAD = re.compile(r"\s*[+-]?\d{1,3}")
_GROUP = re.compile(r"\d{3}(?:\.\d*)?\s*")
_WHOLE = re.compile(r"\s*[+-]?\d+")
_DIGITS = re.compile(r"\d+\s*")


@dataclass(frozen=True, slots=True)
class Commas:
    """How rows with more cells than ``width`` are put together: thousands groups, or a decimal comma in every number."""

    width: int
    decimal: bool = False
    keep_apart: bool = False  # the caller says that there are no thousands separators

    def merge(self, cells: Sequence[str]) -> list[str] | None:
        """Return a row of ``width`` cells, None where it cannot be made in one way only."""
        ways = self.ways(cells)
        return ways[0] if len(ways) == 1 else None

    def ways(self, cells: Sequence[str]) -> list[list[str]]:
        """All rows of ``width`` cells that thousands groups (or decimal commas) make of the cells; two at most."""
        if self.decimal:
            return self._decimals(cells)
        if self.keep_apart or len(cells) > 3 * self.width:
            return []
        found: list[list[str]] = []

        def go(at: int, done: list[str]) -> None:
            if len(found) > 1 or len(done) > self.width:
                return
            if at == len(cells):
                if len(done) == self.width:
                    found.append(done)
                return
            go(at + 1, [*done, cells[at]])
            text, end = cells[at], at + 1
            while (
                end < len(cells) and (_LEAD.fullmatch(text) if end == at + 1 else True) and _GROUP.fullmatch(cells[end])
            ):
                text = text + cells[end]
                whole = "." not in cells[end]
                end += 1
                go(end, [*done, text])
                if not whole:
                    break

        go(0, [])
        return found

    def _decimals(self, cells: Sequence[str]) -> list[list[str]]:
        found: list[list[str]] = []

        def go(at: int, done: list[str]) -> None:
            if len(found) > 1 or len(done) > self.width or len(done) + (len(cells) - at) < self.width:
                return
            if at == len(cells):
                found.append(done)
                return
            if at + 1 < len(cells) and _WHOLE.fullmatch(cells[at]) and _DIGITS.fullmatch(cells[at + 1]):
                go(at + 2, [*done, f"{cells[at].strip()}.{cells[at + 1].strip()}"])
            go(at + 1, [*done, cells[at]])

        if len(cells) <= 2 * self.width:
            go(0, [])
        return found


def judge(rows: Sequence[Sequence[str]], width: int, wishes: Wishes, name: str) -> Commas | None:
    """Tell how rows with more cells than the header names are to be put together, from all rows looked at.

    Raises
    ------
    LogError
        If commas may be decimal signs or part thousands.
    """
    if wishes.thousands == "none":
        return Commas(width, keep_apart=True)
    long = [row for row in rows if len(row) > width]
    if not long:
        return None
    decimal, groups = Commas(width, decimal=True), Commas(width)
    enough = 0.98 * len(rows)

    def whole(how: Commas) -> int:
        return sum(len(row) == width or how.merge(row) is not None for row in rows)

    if len(long) >= 0.5 * len(rows) and wishes.decimal != "." and whole(decimal) >= enough:
        if wishes.decimal is None and whole(groups) >= enough:
            raise LogError(
                f"{name}: commas part the cells and stand in the numbers too (as in {','.join(long[0])[:40]}), as decimal signs"
                " or for thousands; say which with decimal=',' or decimal='.' (--decimal)."
            )
        return decimal
    if any(groups.ways(row) for row in long):
        return groups
    return None
