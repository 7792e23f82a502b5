"""Which columns are the channels? Columns and their kinds in, those to read out; where the file leaves it open, it is asked."""

from __future__ import annotations

from flicker.logs.errors import LogError, Question
from flicker.logs.reading.planning import extra_columns, same_output
from flicker.logs.reading.planning.columns import Column, Kind, Task, column_named, find_column, listed, not_numbers
from flicker.logs.reading.words import vocabulary

MAX_CHANNELS = 16


def key_among(task: Task, free: list[Column]) -> Column | None:
    """The column that names the channel of each row, if every reading has a row of its own."""
    if task.wishes.channel_column is not None:
        return column_named(free, task.wishes.channel_column, task.name, "channel_column")
    values = [
        c for c in free if c.kind == "number" and task.kinds.get(c.position) is None and not extra_columns.cycles(c)
    ]
    for column in free:
        named = task.kinds.get(column.position) is Kind.CHANNEL
        in_turn = (
            extra_columns.woven(column)
            if column.kind == "text"
            else (column.kind == "number" and column.label.kind == "none" and extra_columns.cycles(column))
        )
        known = task.kinds.get(column.position) not in (None, Kind.CHANNEL)
        if column in values or known or not (named or (in_turn and (column.unnamed or column.kind == "text"))):
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
        same_output.check(chosen, _statistics(task, free), told, name)
    return chosen


def leave_counts(task: Task, free: list[Column]) -> None:
    """Leave out columns without a unit that are called as one with a unit is, and more: how many readings it holds."""
    numbers = [c for c in free if c.kind == "number"]
    labelled = [c for c in numbers if c.label.kind == "volts" and task.kinds.get(c.position) is None]
    told = {wanted for wanted, _ in task.wishes.roles} | {wanted for wanted, _ in task.wishes.units}
    for column in numbers:
        bare = task.kinds.get(column.position) is None and column.label.kind != "volts" and not column.cell_units
        if bare and column.header not in told and same_output.told_of(column, [*labelled, *_statistics(task, free)]):
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
    """Say where averages are read whose minima and maxima stand beside them unread."""
    averages = [c for c in chosen if c.name_words & vocabulary.AVERAGES]
    bases = [c.name_words - vocabulary.STATISTICS for c in averages]
    beside = [c for c in _statistics(task, free) if c not in chosen and c.name_words & vocabulary.EXTREMES]
    beside = [c for c in beside if c.name_words - vocabulary.STATISTICS in bases]
    if beside:
        extremes = [c.name_words - vocabulary.STATISTICS for c in beside]
        task.averages = [c for c, base in zip(averages, bases, strict=True) if base in extremes]
        task.notes.append(
            f"{listed([c.header for c in averages])}: averages, in which what is short does not show; the file holds"
            f" the extremes as well, name them too: {listed([c.header for c in beside])}."
        )


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
