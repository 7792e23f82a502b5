"""Which columns are the channels, and do two hold one output? Columns and their kinds in, those to read out; where the file leaves it open, it is asked.

No list of words can hold all that loggers reckon from a reading (scatter, filtered, p95, ...). So what a name shares with
another decides: a column that is called as an output is, with a word behind it that names no output, may be that output
once more; and beside columns with names of outputs a name that knows none of their words may be a supply or a limit.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np

from flicker.logs.errors import LogError, Question
from flicker.logs.reading.planning import sampled
from flicker.logs.reading.planning.columns import Column, Kind, Task, column_named, find_column, listed, not_numbers
from flicker.logs.reading.words import units, vocabulary

MAX_CHANNELS = 16
SHARED = 0.8  # fewer times than this share of the rows: several rows bear one; a choice


def key_among(task: Task, free: list[Column]) -> Column | None:
    """The column that names the channel of each row, if every reading has a row of its own."""
    if task.wishes.channel_column is not None:
        return column_named(free, task.wishes.channel_column, task.name, "channel_column")
    values = [
        c for c in free if c.kind == "number" and task.kinds.get(c.position) is None and not sampled.cycles(c)
    ]
    for column in free:
        named = task.kinds.get(column.position) is Kind.CHANNEL
        in_turn = (
            sampled.woven(column)
            if column.kind == "text"
            else (column.kind == "number" and column.label.kind == "none" and sampled.cycles(column))
        )
        known = task.kinds.get(column.position) not in (None, Kind.CHANNEL)
        if column in values or known or column.label.kind == "volts" or not (named or (in_turn and (column.unnamed or column.kind == "text"))):
            continue
        if column.kind == "text":
            names = {cell.strip().strip('"') for cell in column.cells if cell.strip()}
        else:
            names = {f"{value:g}" for value in column.known}
        if len(names) > 1:
            _one_value(task, column, values)
            task.notes.append(f'Column "{column.header}" names the channel of each row; one row was made of each time.')
            return column
    return None


def ask_sources(task: Task, free: list[Column], times: Column | None) -> None:
    """Ask where rows are of several devices, or of several quantities: a column names them, and their readings would be mixed.

    It is called so, or tells apart all rows that bear the same time (``times``).
    """
    told = {wanted for wanted, _ in task.wishes.roles} | {task.wishes.channel_column, task.wishes.marks_column}
    for column in free:
        cells = [cell.strip().strip('"') for cell in column.cells]
        kinds = Counter(cell for cell in cells if cell)
        words = column.kind == "text" or (column.kind == "number" and column.label.kind == "none" and sampled.few_names(column))
        plain = task.kinds.get(column.position) in (None, Kind.STATE, Kind.COUNTER) and column.header.strip() not in told
        if not plain or not words or not 2 <= len(kinds) <= MAX_CHANNELS or min(kinds.values()) < 2:
            continue
        stamps = [] if times is None or len(times.cells) != len(cells) else list(zip(times.cells, cells, strict=True))
        apart = bool(stamps) and len(set(stamps)) == len(stamps) and len({stamp for stamp, _ in stamps}) < SHARED * len(stamps)
        if apart or (column.words & vocabulary.DEVICE and not column.words & (vocabulary.STATE - vocabulary.DEVICE)):
            raise Question(
                f'{task.name}: column "{column.header}" tells rows of {listed(list(kinds)[:4])} apart, whose readings would be mixed;'
                " write one log for each, or if all are of the same outputs leave the column out with roles"
                f' (--role "{column.header}=ignore").',
                roles={column.header: "ignore"},
            )


def _one_value(task: Task, key: Column, values: list[Column]) -> None:
    """Leave one column of readings, beside one that names the channel of each row; else ask which it is."""
    if task.wishes.channels is not None or len(values) == 1:
        return
    likely = [c for c in values if c.label.kind == "volts" or c.cell_units] or [
        c for c in values if c.words & vocabulary.READING
    ]
    if len(likely) != 1:
        raise Question(
            f'{task.name}: column "{key.header}" names the channel of each row, and'
            f" {listed([c.header for c in values]) or 'no column'} may hold its readings; name one with channels"
            f' (--channels NAME), or leave the names out with roles (--role "{key.header}=ignore").',
            roles={key.header: "ignore"},
        )
    for column in values:
        if column is not likely[0]:
            task.kinds[column.position] = Kind.ELSE


def channels_among(task: Task, free: list[Column]) -> list[Column]:
    """Columns to read as channels; ``free`` are those without another purpose."""
    wishes, name = task.wishes, task.name
    if wishes.channels is not None:
        chosen = []
        for wanted in wishes.channels:
            column = column_named(free, wanted, name, "channels")
            if column.kind != "number":
                raise not_numbers(column, name)
            if column not in chosen:
                chosen.append(column)
        _tell_extremes(task, free, chosen)
        return chosen
    as_told = [wanted for wanted, role in wishes.roles if role == "output"]
    forced = [
        column_named(free, wanted, name, "roles") for wanted in as_told if not wishes.may_lack or find_column(free, wanted) is not None
    ]
    for column in forced:
        task.kinds.pop(column.position, None)
    open_ = [c for c in free if c.kind != "empty" and task.kinds.get(c.position) is None]
    numbers = [c for c in open_ if c.kind == "number"]
    for column in open_:
        if column.label.kind == "volts" and column.label.sure and column.kind != "number":
            raise not_numbers(column, name)
    labelled = [c for c in numbers if c.label.kind == "volts" or c.cell_units]
    plain = [c for c in numbers if c.label.kind not in ("time", "other") or c in forced]
    if labelled:
        called = vocabulary.OUTPUT | vocabulary.READING  # beside others that have a unit
        plain = [c for c in plain if c in labelled or c in forced or (not c.unnamed and c.words & called)]
    chosen = plain
    if not chosen:
        _only_statistics(task, free)
        chosen = _counts(task, free)
    if not chosen:
        _nothing(task, free)
    if len(chosen) > MAX_CHANNELS:
        raise Question(
            f"{name} holds {len(chosen)} columns of numbers, more than {MAX_CHANNELS} channels;"
            " name those to read with channels (--channels NAME,NAME).",
            channels=[c.header for c in chosen[:1]],
        )
    if not (wishes.may_lack and as_told):  # else a case names the columns that are used
        told = [c for c in chosen if c in forced or {c.header.strip(), c.label.name} & set(wishes.legs)]
        _ask_which_output(chosen, _statistics(task, free), told, name)
    _tell_extremes(task, free, forced)
    return chosen


def leave_counts(task: Task, free: list[Column]) -> None:
    """Leave out columns without a unit that are called as one with a unit is, and more: how many readings it holds."""
    numbers = [c for c in free if c.kind == "number"]
    labelled = [c for c in numbers if c.label.kind == "volts" and task.kinds.get(c.position) is None]
    told = {wanted for wanted, _ in task.wishes.roles} | {wanted for wanted, _ in task.wishes.units}
    for column in numbers:
        bare = task.kinds.get(column.position) is None and column.label.kind != "volts" and not column.cell_units
        if bare and column.header not in told and _told_of(column, [*labelled, *_statistics(task, free)]):
            task.kinds[column.position] = Kind.ELSE


def promote_averages(task: Task, free: list[Column]) -> None:
    """Take averages for the readings, where the file holds nothing else of its channels."""
    numbers = [c for c in free if c.kind == "number"]
    if any(task.kinds.get(c.position) is None for c in numbers if c.label.kind not in ("time", "other")):
        return
    found = [c for c in numbers if task.kinds.get(c.position) is Kind.STATISTIC]
    bases = {c.position: c.name_words - vocabulary.STATISTICS for c in found}
    averages = [c for c in found if c.name_words & vocabulary.AVERAGES]
    extremes = [bases[c.position] for c in found if c not in averages]
    named = [c for c in averages if bases[c.position]] or averages
    if not named or any(bases[c.position] in extremes for c in named):
        return
    task.notes.append(
        f"{listed([c.header for c in named])}: averages; what is shorter than the logger's interval does not show."
    )
    for column in named:
        task.kinds.pop(column.position)


def _statistics(task: Task, free: list[Column]) -> list[Column]:
    """Columns of averages, minima and maxima that are not read."""
    return [c for c in free if c.kind == "number" and task.kinds.get(c.position) is Kind.STATISTIC]


def _only_statistics(task: Task, free: list[Column]) -> None:
    """Ask where the file holds averages, minima and maxima and no readings."""
    found = _statistics(task, free)
    extremes = [c for c in found if c.name_words & vocabulary.EXTREMES]
    if found:
        hidden = " Name the extremes too: what is short does not show in an average." if extremes else ""
        raise Question(
            f"{task.name} holds averages, minima or maxima only ({listed([c.header for c in found[:8]])}); name those to"
            f" read with channels (--channels NAME,NAME).{hidden}",
            channels=[c.header for c in (extremes or found[:1])],
        )


def _tell_extremes(task: Task, free: list[Column], chosen: list[Column]) -> None:
    """Mark what does not show every swing: averages whose extremes the file holds, and one extreme alone; tell what is unread."""
    averages = [c for c in chosen if c.name_words & vocabulary.AVERAGES]
    extremes = [c for c in chosen if c.name_words & vocabulary.EXTREMES and not c.name_words & vocabulary.EITHER_WAY]
    beside = [c for c in _statistics(task, free) if c not in chosen and c.name_words & vocabulary.EXTREMES]
    of_unread = [_output_of(c) for c in beside]
    of_read = [_output_of(c) for c in extremes]
    task.averages = [
        *(c for c in averages if _output_of(c) in (*of_unread, *of_read)),
        *(c for c in extremes if of_read.count(_output_of(c)) == 1),
    ]
    told = [c for c in task.averages if _output_of(c) in of_unread]
    if told:
        of_told = [_output_of(c) for c in told]
        unread = [c.header for c, output in zip(beside, of_unread, strict=True) if output in of_told]
        what = "averages, in which what is short does not show" if told[0] in averages else "one extreme alone, in which a swing the other way does not show"
        task.notes.append(
            f"{listed([c.header for c in told])}: {what}; the file holds the extremes as well, name them too: {listed(unread)}."
        )


def _output_of(column: Column) -> frozenset[str]:
    """What a column of averages or extremes is called without these words."""
    return frozenset(column.name_words - vocabulary.STATISTICS)


def _counts(task: Task, free: list[Column]) -> list[Column]:
    """Columns of a converter's counts, where the caller tells the scale."""
    found = [c for c in free if c.kind == "number" and task.kinds.get(c.position) is Kind.COUNTS]
    if found and task.wishes.volts_per_count is None:
        raise Question(
            f'{task.name}: column "{found[0].header}" holds counts of a converter, not volts; give the scale with'
            " volts_per_count (--volts-per-count V), and zero_count (--zero-count N) where 0 V is not at count 0.",
            volts_per_count=1.0,
        )
    for column in found:
        task.kinds.pop(column.position, None)
    return found


def _nothing(task: Task, free: list[Column]) -> None:
    """Say why there is no channel."""
    name = task.name
    ac = [c for c in free if task.kinds.get(c.position) is Kind.AC]
    if ac:
        raise Question(
            f'{name}: column "{ac[0].header}" holds alternating voltage, in which DC offset does not show; log the DC'
            " range, or name the columns to read all the same with channels (--channels NAME).",
            channels=[ac[0].header],
        )
    words = [
        c for c in free if c.kind == "text" and task.kinds.get(c.position) is None and not c.words & vocabulary.STATE
    ]
    if words:
        raise not_numbers(words[0], name)
    empty = [c.header for c in free if c.kind == "empty"]
    if empty:
        raise LogError(
            f"{name}: {listed(empty)} without a single reading; name other columns with channels (--channels NAME)."
        )
    raise Question(
        f"{name} holds no column of voltages ({listed([c.header for c in task.columns[:8]]) or 'time only'}); name those"
        " to read with channels (--channels NAME).",
        channels=[c.header for c in task.columns[:1]],
    )


_OF_READINGS = vocabulary.STATISTICS | vocabulary.READING
_TOKEN = re.compile(r"[^\W_]+|[+-](?=[\s_)\](\[]|$)")
_VOLTAGE = re.compile(r"(?i)[+-]?\d+(?:[.,]\d+)?\s?[kmu\u00b5\u03bc]?v(?:dc)?\b")  # 5V and 230 V name supplies
RESTS_V = 1.0  # a column without a name of outputs that rests beyond this beside others below: a choice, 'asked' is cheap


def _tokens(column: Column) -> frozenset[str]:
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
    own, more = _tokens(column), _tokens(other)
    extra = more - own
    return None if not own <= more or any(map(_tells_apart, extra)) else extra


def _told_of(column: Column, others: Iterable[Column]) -> bool:
    """Whether a column without a unit is called as one that has one, and more: a count of readings, say."""
    bare = column.label.kind == "unknown"  # left (n) beside left [mV]
    return any((extra := _more(other, column)) is not None and (extra or bare) for other in others)


def _ask_which_output(chosen: Sequence[Column], statistics: Sequence[Column], told: Sequence[Column], name: str) -> None:
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
    named = _tokens(column)
    return not named - {"+", "-"} or any(_tells_apart(token) or token[-1:].isdigit() for token in named - {"+", "-"})


def _letter(column: Column) -> bool:
    """Whether a name is a single letter."""
    return [len(token) for token in _tokens(column)] == [1]


def _rest_V(column: Column) -> float:
    values = np.abs(column.known)
    return float(np.median(values)) * (units.volts_per(column.label.unit) or 1.0) if values.size else 0.0
