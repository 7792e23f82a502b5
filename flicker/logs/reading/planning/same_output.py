"""Do two columns hold one output, and is a column an output at all? Names in; where they do not tell, it is asked.

No list of words can hold all that loggers reckon from a reading (scatter, filtered, p95, ...). So what a name shares with
another decides: a column that is called as an output is, with a word behind it that names no output, may be that output
once more; and beside columns with names of outputs a name that knows none of their words may be a supply or a limit.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np

from flicker.logs.errors import Question
from flicker.logs.reading.planning.columns import Column
from flicker.logs.reading.words import units, vocabulary

_OF_READINGS = vocabulary.STATISTICS | vocabulary.READING
_TOKEN = re.compile(r"[^\W_]+|[+-](?=[\s_)\](\[]|$)")
_VOLTAGE = re.compile(r"(?i)[+-]?\d+(?:[.,]\d+)?\s?[kmu\u00b5\u03bc]?v(?:dc)?\b")  # 5V and 230 V name supplies
RESTS_V = (
    1.0  # a column without a name of outputs that rests beyond this beside others below: a choice, 'asked' is cheap
)


def tokens(column: Column) -> frozenset[str]:
    """What a name says of its output: words, numbers and signs, without those of readings and of averages."""
    apart = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", vocabulary.plain(column.label.name))
    signs = {token for token in _TOKEN.findall(column.header) if token in "+-"}
    return frozenset({word.lower() for word in _TOKEN.findall(apart)} - _OF_READINGS - {"+", "-"} | signs)


def _tells_apart(token: str) -> bool:
    """Whether a word, number or sign names one output among others."""
    letters = token.rstrip("0123456789")
    return not letters or letters in vocabulary.OUTPUT or token in "+-"


def _more(column: Column, other: Column) -> frozenset[str] | None:
    """What the name of ``other`` says beyond that of ``column``; None where it names another output."""
    own, more = tokens(column), tokens(other)
    extra = more - own
    return None if not own <= more or any(map(_tells_apart, extra)) else extra


def told_of(column: Column, others: Iterable[Column]) -> bool:
    """Whether a column without a unit is called as one that has one, and more: a count of readings, say."""
    bare = column.label.kind == "unknown"  # left (n) beside left [mV]
    return any((extra := _more(other, column)) is not None and (extra or bare) for other in others)


def check(chosen: Sequence[Column], statistics: Sequence[Column], told: Sequence[Column], name: str) -> None:
    """Ask where a column may hold an output that another holds, or none.

    Parameters
    ----------
    chosen : sequence of Column
        Those to be read as outputs.
    statistics : sequence of Column
        Averages, minima and maxima that are left out.
    told : sequence of Column
        Those of which the caller said that they are outputs.
    name : str
        Of the file.

    Raises
    ------
    Question
        With both names, and the option that settles it.
    """
    open_ = [c for c in chosen if not c.unnamed and c not in told]
    for other in open_:
        for column in (*open_, *statistics):
            extra = None if column is other else _more(column, other)
            if extra is None or column.header.strip() == other.header.strip() or (not extra and column in statistics):
                continue
            if not extra and chosen.index(column) > chosen.index(other):
                continue  # the later one of two is the one to doubt
            of_averages = column in statistics
            kept = column if of_averages and column.name_words & vocabulary.AVERAGES else other
            options: dict[str, Any] = (
                {"channels": [kept.header]} if of_averages else {"roles": {other.header: "ignore"}}
            )
            raise Question(
                f'{name}: columns "{column.header}" and "{other.header}" may hold the same output; name those to'
                " read with channels (--channels NAME,NAME), or leave one out with roles"
                f' (--role "{other.header}=ignore").',
                **options,
            )
    unknown = [c for c in open_ if not _known(c)]
    if any(_letter(c) for c in open_ if c not in unknown):  # L, R, C, S
        unknown = [c for c in unknown if not _letter(c)]
    known = [c for c in chosen if c not in unknown]
    resting = [c for c in unknown if _rest_V(c) >= RESTS_V] if len(unknown) > 1 else []
    doubtful = unknown if known else resting if len(resting) < len(unknown) else []
    if doubtful:
        beside = (known or [c for c in unknown if c not in resting])[0]
        raise Question(
            f'{name}: column "{doubtful[0].header}" is not called as an output is, as "{beside.header}" beside it; say what it'
            f' is with roles (--role "{doubtful[0].header}=ignore", or =output, =rail, =mains), or name the outputs with'
            " channels (--channels NAME,NAME).",
            roles={doubtful[0].header: "ignore"},
        )


def _known(column: Column) -> bool:
    """Whether a name holds a word or a number of outputs, or none but words of readings."""
    if _VOLTAGE.fullmatch(column.header.strip()) or _VOLTAGE.match(column.label.name):
        return False
    named = tokens(column)
    return not named - {"+", "-"} or any(_tells_apart(token) or token[-1:].isdigit() for token in named - {"+", "-"})


def _letter(column: Column) -> bool:
    """Whether a name is a single letter."""
    return [len(token) for token in tokens(column)] == [1]


def _rest_V(column: Column) -> float:
    values = np.abs(column.known)
    return float(np.median(values)) * (units.volts_per(column.label.unit) or 1.0) if values.size else 0.0
