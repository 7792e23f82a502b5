"""When did the log begin, by the lines above its header? Lines in, a moment or a date out, where they tell one and one only."""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import datetime

from flicker.base.arrays import Bools
from flicker.logs import arrow_types
from flicker.logs.reading.planning.columns import Heading
from flicker.logs.reading.words import clock, vocabulary

_BEGINS = frozenset({
    "start", "started", "begin", "began", "beginn", "begonnen", "gestartet", "debut", "demarrage", "inicio", "inizio",
    "avvio", "aanvang", "gestart",
})  # fmt: skip
_DATES = frozenset({"date", "datum", "fecha", "data", "day", "tag"})
_WITH = _BEGINS | _DATES | frozenset({
    "log", "logging", "recording", "measurement", "test", "time", "zeit", "heure", "hora", "ora", "tijd", "of", "de",
    "del", "der", "and", "at", "am", "on", "und", "messung", "mesure", "aufzeichnung", "first", "sample",
})  # fmt: skip
_KEY = re.compile(r"^\W*(?P<key>[^:=;\t,\d]{2,60}?)\s*[:=;\t,]\s*(?P<value>\d.*|[A-Za-z]{3,9}\.? \d.*)$")


def start_in(heading: Heading, order: str | None) -> tuple[datetime | None, int | None]:
    """Moment of the first sample, and (where its date alone is told) microseconds of its midnight since 1970.

    ``order`` of day and month is what the caller told; a date that can be read in two ways tells nothing.
    """
    moments: set[datetime] = set()
    days: set[int] = set()
    for line in heading.lines:
        found = _KEY.match(line.strip().strip('"'))
        words = set(vocabulary.words_of(found["key"])) if found else set()
        if found is None or not words or not words <= _WITH or not words & (_BEGINS | _DATES):
            continue
        value = found["value"].strip().strip('",; ')
        form = clock.form_of([value])
        if form is None or not form.has_date:
            continue
        parsed = {(int(micros[0]), bool(form.zoned)) for micros, good in _read(value, form, order) if good[0]}
        if len(parsed) != 1:
            continue
        micros, zoned = parsed.pop()
        if not form.has_clock:
            days.add(micros)
        elif (moment := clock.moment(micros, zoned=zoned)) is not None:
            moments.add(moment)
    return (moments.pop() if len(moments) == 1 else None), (days.pop() if len(days) == 1 and not moments else None)


def _read(value: str, form: clock.Form, order: str | None) -> Iterable[tuple[clock.Micros, Bools]]:
    cell = arrow_types.words([value])
    if not form.two_orders:
        return [clock.parse(cell, form)]
    orders = [order] if order is not None else ["dmy"] if clock.dotted_dates([value]) else ["dmy", "mdy"]
    return [clock.parse(cell, clock.Form(form.name, form.zoned, each)) for each in orders]
