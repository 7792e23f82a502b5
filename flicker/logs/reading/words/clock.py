"""What time do these words mean? Columns of dates and clock times in, microseconds out, whole columns at a time.

Microseconds are kept as whole numbers (since 1970, or since midnight where no date is told), so that nothing is lost
however old the epoch. A zone, where written, is taken off (universal time).
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Sequence
from datetime import datetime, timedelta, timezone
from functools import cache
from typing import Any, NamedTuple

import numpy as np

from flicker.base.arrays import Bools, Ints
from flicker.logs.reading.words.numerals import PLAIN, unquoted

DAY_US = 86_400_000_000
_DATES = {
    "ymd": "(?P<y>\\d{4})[-/.:\u5e74](?P<mo>\\d{1,2})[-/.:\u6708](?P<d>\\d{1,2})[.\u65e5]?",
    "xxy": r"(?P<a>\d{1,2})[-/.](?P<b>\d{1,2})[-/.](?P<y>\d{4}|\d{2})",
    "dMy": r"(?P<d>\d{1,2})\.?[-/ .]?(?:de )?(?P<mon>[A-Za-zÀ-ÿ]{3,10})\.?[-/ ,]*(?:del? )?(?P<y>\d{4}|\d{2})",
    "Mdy": r"(?P<mon>[A-Za-zÀ-ÿ]{3,9})\.? (?P<d>\d{1,2}),? (?P<y>\d{4})",
    "yMd": r"(?P<y>\d{4})[-/ .](?P<mon>[A-Za-zÀ-ÿ]{3,9})\.?[-/ .](?P<d>\d{1,2})",
    "compact": r"(?P<y>(?:19|20)\d{2})(?P<mo>[01]\d)(?P<d>[0-3]\d)",
    "week": r"(?P<y>\d{4})-?W(?P<w>[0-5]\d)-?(?P<wd>[1-7])",  # ISO 8601, as the ordinal date
    "ordinal": r"(?P<y>\d{4})[-:./](?P<doy>[0-3]\d\d)",
}
_WITH_CLOCK = ("compact", "week", "ordinal")  # dates only where a clock follows: alone they are numbers
_GAP = "[ \u00a0\u202f]?"
_HALF = (  # of the day, in the words of six languages; the second half may begin with other letters than these
    f"(?:{_GAP}(?P<ap>(?i:[ap]\\.?(?:{_GAP}m\\.?)?|vorm\\.?|nachm\\.?|\u03c0\\.?\u03bc\\.?|\u03bc\\.?\u03bc\\.?|"
    "\uc624\uc804|\uc624\ud6c4|\u4e0a\u5348|\u4e0b\u5348)))?"
)
_MORNING = ("a", "v", "\u03c0", "\uc624\uc804", "\u4e0a")
_CLOCK = r"(?P<h>\d{1,5}):(?P<mi>[0-5]\d)(?::(?P<s>\d{2})(?:[.,:](?P<f>\d{1,12}))?)?" + _HALF
_DAYS = r"(?:(?P<dy>\d{1,4})(?:[. ]| ?d |, | days?,? ))?"  # 1.02:10:05, 1 day, 2:10:05: of time elapsed
_CLOCK_DATED = (
    r"(?P<h>\d{1,2})[:.h](?P<mi>[0-5]\d)(?:[:.m](?P<s>\d{2})(?:[.,:](?P<f>\d{1,12}))?s?)?(?: Uhr)?" + _HALF
)
_CLOCK_DASHED = r"(?P<h>\d{1,2})-(?P<mi>[0-5]\d)-(?P<s>[0-5]\d)"
_ELAPSED = {  # 1d 02h10m05s, and durations of ISO 8601
    "hms": r"(?:(?P<dy>\d{1,4}) ?d ?)?(?P<h>\d{1,5}) ?h ?(?P<mi>[0-5]?\d) ?m(?:in)?(?: ?(?P<s>[0-5]?\d)(?:[.,](?P<f>\d{1,12}))? ?s)?",
    "duration": r"P(?:(?P<dy>\d{1,4})D)?T(?:(?P<h>\d{1,5})H)?(?:(?P<mi>[0-5]?\d)M)?(?:(?P<s>[0-5]?\d)(?:[.,](?P<f>\d{1,12}))?S)?",
}
_CLOCK_COMPACT = r"(?P<h>[0-2]\d)(?P<mi>[0-5]\d)(?P<s>[0-5]\d)(?:[.,](?P<f>\d{1,12}))?"
_MINUTES = r"(?P<mi>\d{1,4}):(?P<s>[0-5]\d)[.,](?P<f>\d{1,12})"
# Seconds east of universal time: RFC 822 section 5.1 for North America, the tz database's abbreviations for Europe.
_ZONES_H = {
    "EST": -5, "EDT": -4, "CDT": -5, "MST": -7, "MDT": -6, "PST": -8, "PDT": -7,
    "WET": 0, "WEST": 1, "CET": 1, "CEST": 2, "MEZ": 1, "MESZ": 2, "EET": 2, "EEST": 3,
}  # fmt: skip
_ZONE = rf"(?:\s?(?P<z>Z|UTC|GMT|{'|'.join(_ZONES_H)}|[+-]\d{{2}}(?::?\d{{2}})?)(?:\[[\w/+-]+\])?)?"
_WEEKDAY = r"(?:[A-Za-zÀ-ÿ]{2,9}\.?,? )?"
_MONTHS = {  # English, German, French, Spanish, Italian and Dutch, by their first three letters
    "jan": 1, "feb": 2, "mar": 3, "apr": 4, "may": 5, "jun": 6, "jul": 7, "aug": 8, "sep": 9, "oct": 10, "nov": 11,
    "dec": 12, "j\u00e4n": 1, "gen": 1, "ene": 1, "f\u00e9v": 2, "fev": 2, "m\u00e4r": 3, "mrz": 3, "mrt": 3, "maa": 3,
    "avr": 4, "abr": 4, "mai": 5, "mei": 5, "mag": 5, "giu": 6, "lug": 7, "ao\u00fb": 8, "aou": 8, "ago": 8, "set": 9,
    "okt": 10, "ott": 10, "dez": 12, "d\u00e9c": 12, "dic": 12,
}  # fmt: skip
_EPOCH = datetime(1970, 1, 1)


def _forms() -> dict[str, str]:
    """Patterns of all ways to write a moment, the most telling first."""
    forms = {"mm:ss.f": _MINUTES, "clock": _DAYS + _CLOCK + _ZONE, **_ELAPSED}
    for name, date in _DATES.items():
        forms[f"{name} clock"] = rf"\[?{_WEEKDAY}{date}(?:[T_ :-]|,? +){_CLOCK_DATED}{_ZONE}\]?"
        if name not in _WITH_CLOCK:
            forms[name] = date
            forms[f"{name} behind clock"] = rf"{_CLOCK_DATED}[T_ ,-]+{date}"
    forms["ymd clock dashed"] = rf"{_DATES['ymd']}[T_ -]+{_CLOCK_DASHED}"
    forms["clock in date"] = rf"{_WEEKDAY}(?P<mon>[A-Za-zÀ-ÿ]{{3,9}})\.? +(?P<d>\d{{1,2}}),? {_CLOCK_DATED}{_ZONE} (?P<y>\d{{4}})"
    forms["compact compact"] = rf"{_DATES['compact']}[T_ -]?{_CLOCK_COMPACT}{_ZONE}"
    return forms


FORMS = _forms()
_RECOGNISED = tuple(FORMS)
FORMS |= {  # two columns of digits, known by each other: 20260304 and 101500
    "compact": _DATES["compact"],
    "hhmmss clock": r"(?P<h>[0-2]?\d)(?P<mi>[0-5]\d)(?P<s>[0-5]\d)(?:[.,](?P<f>\d{1,12}))?",
    "ms": r"(?P<ms>\d{1,3})",
    "year": r"(?P<y>\d{4})",  # and the other parts of a moment, in columns of their own
    **dict.fromkeys(("month", "day", "hour", "minute"), r"\d{1,2}"),
    "ordinal day": r"\d{1,3}",
    "second": r"\d{1,2}(?:[.,]\d{1,12})?",
}
_SHORTEST_PLAIN = 14  # digits of the only form without any sign between them, 20260304101500: by definition


@cache
def _pattern(name: str) -> re.Pattern[str]:
    """A form, compiled when a cell is first held against it: a log of seconds needs none."""
    return re.compile(FORMS[name])


class Form(NamedTuple):
    """How a column writes dates or clock times; ``order`` only matters for forms with short numbers ('dmy', 'mdy', 'ymd')."""

    name: str
    zoned: bool = False
    order: str = "dmy"
    unpadded: bool = False  # milliseconds behind the seconds, without noughts before them

    @property
    def has_date(self) -> bool:
        """Whether a date is written."""
        return self.name in FORMS and "(?P<y>" in FORMS[self.name]

    @property
    def has_clock(self) -> bool:
        """Whether a time of day is written, or perhaps minutes and seconds ('hh:mm?', which is asked about and never parsed)."""
        return self.name not in FORMS or "(?P<mi>" in FORMS[self.name]

    @property
    def two_orders(self) -> bool:
        """Whether day and month can be taken for each other."""
        return self.name.startswith("xxy")


def _may_tell(cell: str) -> bool:
    """Whether a cell can be written in a form at all: it holds digits, and more than a number."""
    return any(map(str.isdigit, cell)) and (len(cell) >= _SHORTEST_PLAIN or PLAIN.fullmatch(cell) is None)


def form_of(cells: Sequence[str]) -> Form | None:
    """Recognise how dates or clock times are written, from sample cells; None where they are neither."""
    filled = [cell.strip() for cell in cells if cell.strip()]
    if not filled:
        return None
    if sum(map(_may_tell, filled)) < 0.9 * len(filled):
        return None
    for name in _RECOGNISED:
        pattern = _pattern(name)
        found = [match for cell in filled if (match := pattern.fullmatch(cell))]
        if len(found) >= 0.9 * len(filled):
            if name == "clock" and not any(m["s"] or m["ap"] for m in found) and len(filled) > 1:
                return Form("hh:mm?")
            return Form(name, zoned=bool("z" in pattern.groupindex and found[0]["z"]))
    return None


class OrderEvidence:
    """Which order of day, month and year fits a whole column: all dates exist, and the clock goes on evenly past midnight.

    ``differ`` tells whether the order makes any difference to the dates seen.
    """

    def __init__(self, form: Form, *, short_year: bool) -> None:
        orders = ("dmy", "mdy", "ymd") if short_year else ("dmy", "mdy")
        self._forms = {order: Form(form.name, form.zoned, order) for order in orders}
        self._last: dict[str, int] = {}
        self._lost, self._back, self._even, self._odd = (Counter[str]() for _ in range(4))  # rows and days, by order
        self._usual: float | None = None
        self.differ = False
        self._seen = 0

    def take(self, cells: Any, times: Any = None, clock_form: Form | None = None) -> None:
        """Add the next cells, an Arrow column of strings; ``times`` are times of day that stand in a column of their own."""
        found = {order: parse(cells, form) for order, form in self._forms.items()}
        if times is not None and clock_form is not None and len(times) == len(cells):
            of_day, timed = parse(times, clock_form)
            found = {order: (micros + of_day, good & timed) for order, (micros, good) in found.items()}
        some = np.zeros(len(cells), dtype=bool)
        for _, good in found.values():
            some |= good
        self._seen += int(np.count_nonzero(some))
        times = list(found.values())
        self.differ |= any(not np.array_equal(times[0][0][some], micros[some]) for micros, _ in times[1:])
        for order, (micros, good) in found.items():
            self._lost[order] += int(np.count_nonzero(some & ~good))
            known = micros[good]
            if order in self._last:
                known = np.concatenate(([self._last[order]], known))
            if not known.size:
                continue
            self._last[order] = int(known[-1])
            steps = np.diff(known)
            days = np.diff(known // DAY_US)
            within = steps[(days == 0) & (steps > 0)]
            if self._usual is None and within.size:
                self._usual = float(np.median(within))
            turns = steps[days != 0]
            self._back[order] += int(np.count_nonzero(turns < 0))
            if self._usual is not None:
                even = int(np.count_nonzero((turns > 0) & (turns <= 3 * self._usual)))
                self._even[order] += even
                self._odd[order] += int(np.count_nonzero(turns > 0)) - even

    def order(self, *, whole: bool = True) -> str | None:
        """Return the order that the column shows, None where it does not; more may follow what was taken unless ``whole``."""
        if not self._seen:
            return None
        left = [order for order in self._forms if not self._lost[order]]
        if len(left) == 1 and self._back[left[0]]:
            return None  # day and month may have changed places within the column
        if len(left) == 1 or (whole and left and not self.differ):
            return left[0]
        forward = [order for order in left if not self._back[order]]
        even = [order for order in forward if self._even[order] and not self._odd[order]]
        if len(even) == 1 and all(self._odd[order] or self._back[order] for order in left if order not in even):
            return even[0]
        return None


def short_year(cells: Sequence[str], form: Form) -> bool:
    """Whether a form of short numbers writes the year, wherever it stands, with two digits."""
    pattern = _pattern(form.name)
    return any(len(m["y"]) == 2 for cell in cells[:50] if (m := pattern.fullmatch(cell.strip())))


def dotted_dates(cells: Sequence[str]) -> bool:
    """Whether dates are written 03.04.2026, as is done where the day comes first; common practice, no source."""
    filled = [cell for cell in cells if cell.strip()]
    return bool(filled) and all(re.match(r"\s*\d{1,2}\.\d{1,2}\.(?:\d{4}|\d{2})(?!\d)", cell) for cell in filled)


def sure_days(line: str) -> set[str]:
    """Dates in a line of words that can be read in one way only, as year-month-day."""
    found = {
        day_of(match.group(), Form(name))
        for name in ("ymd", "dMy", "Mdy", "yMd")
        for match in re.finditer(rf"(?<!\d)(?:{_DATES[name]})(?!\d)", line)
    }
    return found - {""}


def micros_of(word: str, form: Form) -> int | None:
    """Microseconds that a single word tells, None where it is not written in the form."""
    from flicker.logs import arrow_types  # late: with it pyarrow is loaded

    micros, good = parse(arrow_types.words([word]), form)
    return int(micros[0]) if good[0] else None


def day_of(word: str, form: Form) -> str:
    """The date that a single word tells, as year-month-day; empty where it tells none."""
    micros = micros_of(word, form)
    found = None if micros is None else moment(micros, zoned=False)
    return "" if found is None else found.date().isoformat()


def matches(cell: str, form: Form) -> bool:
    """Whether a cell is written in a form, its zone included."""
    if form.name not in FORMS:
        return False
    found = _pattern(form.name).fullmatch(unquoted(cell))
    return found is not None and (not form.zoned or bool(found["z"]))


def parse(cells: Any, form: Form) -> tuple[Ints, Bools]:
    """Parse an Arrow column of strings; returns microseconds, shape (rows,), and which rows were understood.

    Raises
    ------
    ValueError
        Never for the content of a cell; a cell not understood is False in the second array.
    """
    import pyarrow.compute as pc  # late: a log of seconds does without it

    from flicker.logs import arrow_types

    fields = arrow_types.single(pc.extract_regex(cells, rf"^{FORMS[form.name]}$"))
    good = arrow_types.valid(fields)
    columns = {field.name: arrow_types.texts(fields.field(field.name)) for field in fields.type}

    def number(name: str) -> Ints:
        if name not in columns:
            return np.zeros(good.size, dtype=np.int64)
        return arrow_types.whole(pc.utf8_lpad(columns[name], 1, "0"))

    def looked_up(name: str, value: Callable[[str], int]) -> Ints:
        kinds, codes = arrow_types.coded(columns[name])
        return np.array([value(kind) for kind in kinds], dtype=np.int64)[codes]

    micros = number("ms") * 1000
    if form.has_clock:
        hours, minutes, seconds = number("h"), number("mi"), number("s")
        if "ap" in columns:
            half = looked_up("ap", lambda word: 0 if not word else 1 if word.lower().startswith(_MORNING) else 2)
            good &= (half == 0) | ((hours >= 1) & (hours <= 12))
            hours = np.where(half > 0, hours % 12 + 12 * (half == 2), hours)
        if form.has_date:
            good &= (hours < 24) | ((hours == 24) & (minutes == 0) & (seconds == 0))
        good &= seconds <= 60  # 60 is a leap second
        micros += ((number("dy") * 24 + hours) * 3600 + minutes * 60 + seconds) * 1_000_000
        if form.unpadded:
            micros += number("f") * 1000
        elif "f" in columns:
            micros += arrow_types.whole(pc.utf8_slice_codeunits(pc.utf8_rpad(columns["f"], 6, "0"), 0, 6))
    if form.has_date:
        year, month, day = number("y"), number("mo"), number("d")
        short = arrow_types.whole(pc.utf8_length(columns["y"])) == 2
        if form.two_orders:
            first, second = number("a"), number("b")
            day, month = (first, second) if form.order == "dmy" else (second, first)
            if form.order == "ymd":
                year, month, day = first, second, year
                good &= short
        if "mon" in columns:
            month = looked_up("mon", _month)
        year = np.where((year < 100) & short, year + 2000, year)
        if "w" in columns or "doy" in columns:
            days, exists = _day_in_year(year, number("w") if "w" in columns else None, number("wd"), number("doy"))
            good &= exists
            micros += days * DAY_US
        else:
            months = ((year - 1970) * 12 + month - 1).astype("datetime64[M]")
            good &= (year >= 1) & (month >= 1) & (month <= 12)
            begins, ends = (part.astype("datetime64[D]").astype(np.int64) for part in (months, months + 1))
            good &= (day >= 1) & (day <= ends - begins)
            micros += (begins + day - 1) * DAY_US
    if "z" in columns:
        good &= looked_up("z", bool) == form.zoned
        micros -= looked_up("z", zone_seconds) * 1_000_000
    return micros, good


def _day_in_year(year: Ints, week: Ints | None, weekday: Ints, day: Ints) -> tuple[Ints, Bools]:
    """Days since 1970 of a day of a week of ISO 8601, or of a day of the year where no week is told; and whether there is such a day."""
    first, end = (part.astype("datetime64[Y]").astype("datetime64[D]").astype(np.int64) for part in (year - 1970, year - 1969))
    if week is None:
        return first + day - 1, (day >= 1) & (day <= end - first)
    monday = first + 3 - (first + 6) % 7 + 7 * (week - 1)  # the first week holds the fourth of January; 1970 began on a Thursday
    return monday + weekday - 1, (week >= 1) & (first <= monday + 3) & (monday + 3 < end)  # a week is of the year of its Thursday


def _month(word: str) -> int:
    """Number of a month by its name, 0 where it is none."""
    return _MONTHS.get(word.lower().replace("juin", "jun").replace("juil", "jul")[:3], 0)


def zone_of(cells: Sequence[str], form: Form) -> int:
    """Seconds east of universal time that the first cell tells, 0 where it tells none."""
    found = _pattern(form.name).fullmatch(next((cell.strip() for cell in cells if cell.strip()), "")) if form.zoned else None
    return zone_seconds(found["z"] or "") if found else 0


def zone_seconds(word: str) -> int:
    """Return seconds east of universal time: '+01:00' is 3600."""
    if not word or word[0] not in "+-":
        return 3600 * _ZONES_H.get(word, 0)
    digits = word[1:].replace(":", "")
    return (-1 if word[0] == "-" else 1) * (int(digits[:2]) * 3600 + int(digits[2:4] or 0) * 60)


def moment(micros: int, *, zoned: bool) -> datetime | None:
    """Return the date and time of microseconds since 1970, None where no calendar holds it."""
    try:
        found = _EPOCH + timedelta(microseconds=int(micros))
    except OverflowError:
        return None
    return found.replace(tzinfo=timezone.utc) if zoned else found  # noqa: UP017


class Midnight:
    """Adds the days that a clock without a date passes, block after block."""

    def __init__(self) -> None:
        self._last: int | None = None
        self._days = 0
        self.passed = 0

    def unwrap(self, micros: Ints, good: Bools) -> Ints:
        """Return times that go on past midnight; rows that are not ``good`` are left alone."""
        clock = micros[good]
        if not clock.size:
            return micros
        step = np.diff(clock, prepend=clock[0] if self._last is None else self._last)
        turns = (step < -DAY_US // 2).astype(np.int64) - (step > DAY_US - 60_000_000)
        turns[np.maximum(clock, clock - step) >= DAY_US] = 0  # time elapsed, which passes no midnight
        days = self._days + np.cumsum(turns)
        self._last, self._days = int(clock[-1]), int(days[-1])
        self.passed = max(self.passed, int(days.max()))
        out = micros.copy()
        out[good] = clock + days * DAY_US
        return out
