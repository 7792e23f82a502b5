"""Rows of a comma-separated file with a cell too many: a thousands or decimal comma that nobody quoted. Cells in and out."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

from flicker.logs.errors import LogError, Question
from flicker.logs.reading.planning.columns import Wishes

_LEAD = re.compile(r"\s*[(+\-\u2212\u2013]?\s?\d{1,3}")
_GROUP = re.compile(r"\d{3}(?:\.\d*)?\s?[)+-]?\s*[A-Za-zµμ]{0,12}\s*")  # the last group may carry the unit
_WHOLE = re.compile(r"\s*[(+\-\u2212\u2013]?\s?(?:0|[1-9]\d{0,2}(?:[. '\u00a0\u202f]\d{3})+|[1-9]\d*)")
_DIGITS = re.compile(r"\d+(?:[eE][+-]?\d+)?\s?[)+-]?\s*[A-Za-zµμ]{0,12}\s*")
MOST_WAYS = 64
MOST_STEPS = 4000  # looked at in one row; a row that needs more is not read
_GROUPS = re.compile(r"(?<=\d)[. '\u00a0\u202f](?=\d{3})")
_PADDED = re.compile(r"\s*0\d+\s*")
_CLOCK = re.compile(r".*\d:\d\d")  # a time that a fraction of a second may follow
_WITH_UNIT = re.compile(r"\s*\d+ ?[A-Za-zµμ]{1,3}\s*")


@dataclass(frozen=True, slots=True)
class Commas:
    """How rows with more cells than ``width`` are put together: thousands groups, or a decimal comma in every number."""

    width: int
    decimal: bool = False
    places: tuple[bool, ...] | None = None  # columns in which rows that can be read in one way have decimal commas
    sure_only: bool = False  # a row that can be made in more ways than one is not read
    fractions: bool = False  # of seconds stand behind a decimal comma too
    keep_apart: bool = False  # the caller says that there are no thousands separators

    def merge(self, cells: Sequence[str]) -> list[str] | None:
        """Return a row of ``width`` cells, None where it cannot be made in one way only."""
        ways = self.ways(cells)
        return ways[0] if len(ways) == 1 else None

    def ways(self, cells: Sequence[str]) -> list[list[str]]:
        """All rows of ``width`` cells that thousands groups (or decimal commas) make of the cells; of groups two at most."""
        if self.decimal:
            return self._decimals(cells)
        if self.keep_apart or len(cells) > 3 * self.width:
            return []
        return [row for row, _ in self._made(cells, _groups_from, most=1)]

    def _decimals(self, cells: Sequence[str]) -> list[list[str]]:
        """The rows that decimal commas make, by preference those with decimals where other rows have them."""
        found = self.decimals(cells)
        places = self.places
        if len(found) < 2 or places is None:
            return [row for row, _ in found]
        exact = [row for row, where in found if where == places]
        # a word for no reading has no decimals, nor has a column that has none elsewhere
        return exact or [
            row for row, where in found if not any(w and not p for w, p in zip(where, places, strict=True))
        ]

    def decimals(self, cells: Sequence[str]) -> list[tuple[list[str], tuple[bool, ...]]]:
        """All rows that decimal commas make of the cells, and which of their cells were put together."""
        if len(cells) > 2 * self.width:
            return []
        return self._made(cells, self._decimals_from, most=MOST_WAYS)

    def _made(
        self,
        cells: Sequence[str],
        choices: Callable[[Sequence[str], int], Iterator[tuple[int, str, bool]]],
        *,
        most: int,
    ) -> list[tuple[list[str], tuple[bool, ...]]]:
        """All rows of ``width`` cells (one more than ``most`` of them ends the search), and which cells were put together.

        ``choices`` tells what may become of the cell at a place: where the next one begins, the text, and whether it was put together.
        """
        found: list[tuple[list[str], tuple[bool, ...]]] = []
        steps = 0

        def go(at: int, done: list[str], where: tuple[bool, ...]) -> None:
            """Try all that may become of the cells from a place on."""
            nonlocal steps
            steps += 1
            if steps > MOST_STEPS or len(found) > most or not 0 <= self.width - len(done) <= len(cells) - at:
                return
            if at == len(cells):
                found.append((done, where))
                return
            for end, text, merged in choices(cells, at):
                go(end, [*done, text], (*where, merged))

        go(0, [], ())
        return found if steps <= MOST_STEPS else []

    def _decimals_from(self, cells: Sequence[str], at: int) -> Iterator[tuple[int, str, bool]]:
        """What may become of a cell where commas are decimal signs: it stands alone, or with the digits behind it."""
        here, behind = cells[at].strip(), cells[at + 1] if at + 1 < len(cells) else ""
        if _WHOLE.fullmatch(cells[at]) and _DIGITS.fullmatch(behind):
            yield at + 2, f"{_GROUPS.sub('', here)}.{behind.strip()}", True
        elif self.fractions and _CLOCK.fullmatch(here) and behind.strip().isdigit():
            yield at + 2, f"{here}.{behind.strip()}", True
        if not _PADDED.fullmatch(cells[at]):  # 0150 stands behind a decimal comma
            yield at + 1, cells[at], False


def _groups_from(cells: Sequence[str], at: int) -> Iterator[tuple[int, str, bool]]:
    """What may become of a cell where commas part thousands: it stands alone, or with groups of three digits behind it."""
    yield at + 1, cells[at], False
    text, end = cells[at], at + 1
    while end < len(cells) and (end > at + 1 or _LEAD.fullmatch(text)) and _GROUP.fullmatch(cells[end]):
        text = text + cells[end]
        end += 1
        yield end, text, True
        if not cells[end - 1].strip().isdigit():  # a point, a sign or a unit ends the number
            return


def cells_apart(rows: Sequence[Sequence[str]], wishes: Wishes, name: str) -> int:
    """How many cells of a row are the end of the number before, in a file that names no columns.

    They are digits behind whole numbers: with a unit (10,39 mV), or of one length in all rows, with noughts in front where
    that is more than one digit (10,07), as fractions have them and whole numbers have not.

    Raises
    ------
    LogError
        If there are such and no ``decimal`` says which it is.
    """
    if wishes.decimal == "." or not rows:
        return 0
    columns = list(zip(*rows, strict=True))
    ends = [k for k in range(2, len(columns)) if all(map(_WITH_UNIT.fullmatch, columns[k]))]
    if not ends:
        ends = [k for k in range(len(columns) - 1, 0, -2) if _fractions(columns[k])]
        ends = ends if len(ends) in ((len(columns) - 1) // 2, len(columns) // 2) else []
    if not ends or not all(all(map(_WHOLE.fullmatch, columns[k - 1])) for k in ends):
        return 0
    if wishes.decimal is None:
        raise Question(
            f"{name}: commas part the cells and may stand in the numbers too (as in "
            f"{','.join(rows[0][ends[0] - 1 : ends[0] + 1])[:40]}); say which with decimal=',' or decimal='.' (--decimal).",
            decimal=".",
        )
    return len(ends)


def _fractions(cells: Sequence[str]) -> bool:
    """Whether cells are digits as they stand behind a decimal sign: of one length, with noughts in front of longer ones."""
    bare = [cell.strip() for cell in cells]
    if len({len(cell) for cell in bare}) != 1 or not all(map(str.isdigit, bare)) or len(set(bare)) < 3:
        return False
    return len(bare[0]) == 1 or any(cell[0] == "0" for cell in bare)


def _steady(decimal: Commas, rows: Sequence[Sequence[str]]) -> tuple[bool, ...] | None:
    """Which columns have decimal commas, if one answer alone fits (nearly) all rows: else the one with fractions of one length."""
    made = [{where: cells for cells, where in decimal.decimals(row)} for row in rows]
    count = Counter(where for ways in made for where in ways)
    likely = [where for where, n in count.items() if n >= 0.98 * len(rows)]
    if len(likely) > 1:
        likely = [
            where
            for where in likely
            if all(
                len({len(ways[where][k].rpartition(".")[2]) for ways in made if where in ways}) == 1
                for k, merged in enumerate(where)
                if merged
            )
        ]
    return likely[0] if len(likely) == 1 else None


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
    if not long:  # such a row may come below those looked at
        return Commas(width, sure_only=True) if wishes.thousands == "sure" else None
    decimal, groups = Commas(width, decimal=True), Commas(width, sure_only=wishes.thousands == "sure")
    if not any(decimal.decimals(row) for row in long):
        decimal = replace(decimal, fractions=True)
    decimal = replace(decimal, places=_steady(decimal, long))
    enough = 0.98 * len(rows)

    def whole(how: Commas) -> int:
        return sum(len(row) == width or how.merge(row) is not None for row in rows)

    if len(long) >= 0.5 * len(rows) and wishes.decimal != "." and whole(decimal) >= enough:
        if wishes.decimal is None and whole(groups) >= enough:
            raise Question(
                f"{name}: commas part the cells and stand in the numbers too (as in {','.join(long[0])[:40]}), as decimal signs"
                " or for thousands; say which with decimal=',' or decimal='.' (--decimal).",
                decimal=".",
            )
        return decimal
    if (
        wishes.decimal != "."
        and sum(len(decimal.decimals(row)) > 1 for row in long) >= 0.5 * len(rows)
        and not any(map(groups.ways, long))
    ):
        raise LogError(
            f"{name}: commas part the cells and are decimal signs too, and rows such as {','.join(long[0])[:40]} can be put"
            f" together to {width} cells in more than one way; write the log with semicolons between the cells."
        )
    if any(groups.ways(row) for row in long):
        return groups
    return None
