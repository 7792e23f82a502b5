"""Which column is what? Names and sample cells in; the time column, the channels, their units and the rest out."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from flicker.logs.errors import LogError
from flicker.logs.reading.planning import extra_columns, unit_evidence
from flicker.logs.reading.planning.aids import Aids
from flicker.logs.reading.planning.beside import companions_among, marks_among, roles_among
from flicker.logs.reading.planning.columns import (
    Channel,
    Column,
    Found,
    Heading,
    Wishes,
    column_named,
    listed,
    not_a_number,
)
from flicker.logs.reading.planning.extra_columns import Kind
from flicker.logs.reading.planning.time_columns import Scan, TimeColumns, find_time
from flicker.logs.reading.words import units, vocabulary

MAX_CHANNELS = 16


@dataclass(frozen=True, slots=True)
class Plan:
    """What to take from a file.

    ``key`` is the position of the column that names the channel of each row, where every reading has a row of its own;
    ``kinds`` says what the columns are that are neither time nor channel, by position.
    """

    time: TimeColumns
    channels: tuple[Channel, ...]
    run: int | None
    notes: tuple[str, ...]
    marks: int | None = None
    key: int | None = None
    kinds: tuple[tuple[int, str], ...] = ()
    missing_words: tuple[str, ...] = ()
    over_words: tuple[str, ...] = ()

    @property
    def roles(self) -> tuple[str, ...]:
        """Role of each channel."""
        return tuple(channel.role for channel in self.channels)

    @property
    def beside(self) -> tuple[int, ...]:
        """Positions of the columns that tell unit, sign or kind of each reading."""
        return tuple(dict.fromkeys(place for channel in self.channels for place in channel.beside))


@dataclass(frozen=True, slots=True)
class How:
    """How a file was read: its form, what parts cells, the decimal sign, its columns and the plan."""

    form: str
    separator: str
    decimal: str
    header: bool
    columns: tuple[Column, ...]
    plan: Plan


def make_plan(columns: list[Column], wishes: Wishes, name: str, heading: Heading, scan: Scan | None = None) -> Plan:
    """Decide what each column is.

    Parameters
    ----------
    columns : list of Column
        As found in the parts looked at.
    wishes : Wishes
        What the caller said.
    name : str
        Of the file, for sentences.
    heading : Heading
        The lines above the header.
    scan : callable, optional
        Hands out all cells of a column, where the parts looked at do not settle a question.

    Raises
    ------
    LogError
        If there is no time, no channel, or a unit that neither the file nor the caller tells.
    """
    return _Planner(columns, wishes, name, heading, scan).plan()


class _Planner:
    def __init__(self, columns: list[Column], wishes: Wishes, name: str, heading: Heading, scan: Scan | None) -> None:
        self.columns = columns
        self.wishes = wishes
        self.name = name
        self.heading = heading
        self.scan = scan
        self.notes: list[str] = []
        self.kinds: dict[int, Kind] = {}
        self.aids = Aids(name, self.notes)

    def plan(self) -> Plan:
        columns, wishes, name, notes = self.columns, self.wishes, self.name, self.notes
        run = next(
            (c.position for c in columns if c.header.strip().lower() in ("run", "run_id", "run no", "run_no")), None
        )
        if run is not None and wishes.channels and columns[run].header in wishes.channels:
            run = None
        time = find_time(columns, wishes, name, self.heading, notes, run, self.scan)
        taken = {*time.positions, *(() if run is None else (run,))}
        rest = [column for column in columns if column.position not in taken]
        marks = marks_among(rest, wishes, name, notes)
        free = [c for c in rest if c is not marks]
        self.kinds = {c.position: kind for c in free if (kind := extra_columns.kind_of(c)) is not None}
        self.promote_averages(free)
        roles = roles_among(free, self.kinds, wishes, name, notes)
        free = [c for c in free if c.position not in roles]
        key = self.key(free)
        if key is not None:
            free = [c for c in free if c is not key]
        aids = {
            kind: [c for c in free if self.kinds.get(c.position) is kind] for kind in (Kind.UNIT, Kind.SIGN, Kind.MODE)
        }
        chosen = self.choose(free, aids[Kind.UNIT])
        if key is not None and len(chosen) != 1:
            raise LogError(
                f'{name}: column "{key.header}" names the channel of each row, and {listed([c.header for c in chosen])} may'
                " hold its readings; name one with channels (--channels NAME)."
            )
        channels = self.give_units(chosen, aids[Kind.UNIT], key)
        channels = self.aids.give_signs(channels, chosen, aids[Kind.SIGN])
        channels = self.aids.give_modes(channels, chosen, aids[Kind.MODE])
        self.tell(free, chosen, channels)
        beside = [c for c in rest if roles.get(c.position, "ignore") != "ignore"]
        companions = companions_among(beside, roles, channels, wishes, name, notes)
        return Plan(
            time,
            (*channels, *companions),
            run,
            tuple(notes),
            None if marks is None else marks.position,
            None if key is None else key.position,
            tuple((place, str(kind)) for place, kind in self.kinds.items()),
            wishes.missing_words,
            wishes.over_words,
        )

    # ------------------------------------------------------------ a row for each reading

    def key(self, free: list[Column]) -> Column | None:
        """The column that names the channel of each row, if every reading has a row of its own."""
        if self.wishes.channel_column is not None:
            return column_named(free, self.wishes.channel_column, self.name, "channel_column")
        values = [
            c for c in free if c.kind == "number" and self.kinds.get(c.position) is None and not extra_columns.cycles(c)
        ]
        for column in free:
            named = self.kinds.get(column.position) is Kind.CHANNEL
            in_turn = (
                extra_columns.woven(column)
                if column.kind == "text"
                else (column.kind == "number" and column.label.kind == "none" and extra_columns.cycles(column))
            )
            known = self.kinds.get(column.position) not in (None, Kind.CHANNEL)
            if column in values or known or not (named or (in_turn and (column.unnamed or column.kind == "text"))):
                continue
            if column.kind == "text":
                names = {cell.strip().strip('"') for cell in column.cells if cell.strip()}
            else:
                names = {f"{value:g}" for value in column.values[np.isfinite(column.values)]}
            if len(names) > 1:
                self.one_value(column, values)
                self.notes.append(
                    f'Column "{column.header}" names the channel of each row; one row was made of each time.'
                )
                return column
        return None

    def one_value(self, key: Column, values: list[Column]) -> None:
        """Leave one column of readings, beside one that names the channel of each row; else ask which it is."""
        if self.wishes.channels is not None or len(values) == 1:
            return
        likely = [c for c in values if c.label.kind == "volts" or c.cell_units] or [
            c for c in values if c.words & vocabulary.READING
        ]
        if len(likely) != 1:
            raise LogError(
                f'{self.name}: column "{key.header}" names the channel of each row, and'
                f" {listed([c.header for c in values]) or 'no column'} may hold its readings; name one with channels"
                f' (--channels NAME), or leave the names out with roles (--role "{key.header}=ignore").'
            )
        for column in values:
            if column is not likely[0]:
                self.kinds[column.position] = Kind.ELSE

    # ------------------------------------------------------------ which

    def choose(self, free: list[Column], unit_columns: list[Column]) -> list[Column]:
        wishes, name = self.wishes, self.name
        if wishes.channels is not None:
            chosen = []
            for wanted in wishes.channels:
                column = column_named(free, wanted, name, "channels")
                if column.kind != "number":
                    raise LogError(not_a_number(column, name))
                if column not in chosen:
                    chosen.append(column)
            return chosen
        as_told = [wanted for wanted, role in wishes.roles if role == "output"]
        forced = [
            column_named(free, wanted, name, "roles") for wanted in as_told if not wishes.may_lack or _has(free, wanted)
        ]
        for column in forced:
            self.kinds.pop(column.position, None)
        open_ = [c for c in free if c.kind != "empty" and self.kinds.get(c.position) is None]
        numbers = [c for c in open_ if c.kind == "number"]
        for column in open_:
            if column.label.kind == "volts" and column.label.sure and column.kind != "number":
                raise LogError(not_a_number(column, name))
        labelled = [c for c in numbers if c.label.kind == "volts" or c.cell_units]
        plain = [c for c in numbers if c.label.kind not in ("time", "other") or c in forced]
        if labelled:
            kin = [c for c in plain if c not in labelled and (c in forced or self.like_output(c, labelled))]
            chosen = [c for c in plain if c in labelled or c in kin]
        else:
            chosen = plain
        if not chosen:
            self.only_statistics(free)
            chosen = self.counts(free)
        if not chosen:
            self.nothing(free)
        if len(chosen) > MAX_CHANNELS:
            raise LogError(
                f"{name} holds {len(chosen)} columns of numbers, more than {MAX_CHANNELS} channels;"
                " name those to read with channels (--channels NAME,NAME)."
            )
        return chosen

    def like_output(self, column: Column, labelled: Sequence[Column]) -> bool:
        """Whether a column without a unit is called as outputs are, beside others that have one."""
        if column.unnamed:
            return False
        words = column.words & (vocabulary.OUTPUT | vocabulary.READING)
        return bool(words) and self.kinds.get(column.position) is None

    def promote_averages(self, free: list[Column]) -> None:
        """Take averages for the readings, where the file holds nothing else of its channels."""
        numbers = [c for c in free if c.kind == "number"]
        if any(self.kinds.get(c.position) is None for c in numbers if c.label.kind not in ("time", "other")):
            return
        found = [c for c in numbers if self.kinds.get(c.position) is Kind.STATISTIC]
        bases = {c.position: c.name_words - vocabulary.STATISTICS for c in found}
        averages = [c for c in found if c.name_words & vocabulary.AVERAGES]
        extremes = [bases[c.position] for c in found if c not in averages]
        named = [c for c in averages if bases[c.position]] or averages
        if not named or any(bases[c.position] in extremes for c in named):
            return
        self.notes.append(
            f"{listed([c.header for c in named])}: averages; what is shorter than the logger's interval does not show."
        )
        for column in named:
            self.kinds.pop(column.position)

    def only_statistics(self, free: list[Column]) -> None:
        """Ask where the file holds averages, minima and maxima and no readings."""
        found = [c for c in free if c.kind == "number" and self.kinds.get(c.position) is Kind.STATISTIC]
        if found:
            raise LogError(
                f"{self.name} holds averages, minima or maxima only ({listed([c.header for c in found[:8]])}); name those to"
                " read with channels (--channels NAME,NAME)."
            )

    def counts(self, free: list[Column]) -> list[Column]:
        """Columns of a converter's counts, where the caller tells the scale."""
        found = [c for c in free if c.kind == "number" and self.kinds.get(c.position) is Kind.COUNTS]
        if found and self.wishes.volts_per_count is None:
            raise LogError(
                f'{self.name}: column "{found[0].header}" holds counts of a converter, not volts; give the scale with'
                " volts_per_count (--volts-per-count V), and zero_count (--zero-count N) where 0 V is not at count 0."
            )
        for column in found:
            self.kinds.pop(column.position, None)
        return found

    def nothing(self, free: list[Column]) -> None:
        """Say why there is no channel."""
        name = self.name
        ac = [c for c in free if self.kinds.get(c.position) is Kind.AC]
        if ac:
            raise LogError(
                f'{name}: column "{ac[0].header}" holds alternating voltage, in which DC offset does not show; log the DC'
                " range, or name the columns to read all the same with channels (--channels NAME)."
            )
        words = [
            c
            for c in free
            if c.kind == "text" and self.kinds.get(c.position) is None and not c.words & vocabulary.STATE
        ]
        if words:
            raise LogError(not_a_number(words[0], name))
        empty = [c.header for c in free if c.kind == "empty"]
        if empty:
            raise LogError(f"{name}: {listed(empty)} without a single reading.")
        raise LogError(
            f"{name} holds no column of voltages ({listed([c.header for c in self.columns[:8]]) or 'time only'}); name those"
            " to read with channels (--channels NAME)."
        )

    def tell(self, free: list[Column], chosen: list[Column], channels: tuple[Channel, ...]) -> None:
        """Name the columns that were not taken, and what they are."""
        used = {place for channel in channels for place in channel.beside}
        out = [c for c in free if c not in chosen and c.kind != "empty" and c.position not in used]
        if out:
            said = []
            for column in out[:8]:
                kind = self.kinds.get(column.position)
                said.append(f'"{column.header[:60]}"' + (f" ({kind})" if kind is not None else ""))
            self.notes.append(f"Not taken as {'a channel' if len(out) == 1 else 'channels'}: {', '.join(said)}.")
        empty = [c.header for c in free if c.kind == "empty"]
        if empty and self.wishes.channels is None:
            self.notes.append(f"Without a single reading in the parts looked at: {listed(empty[:8])}.")

    # ------------------------------------------------------------ units

    def give_units(self, chosen: list[Column], unit_columns: list[Column], key: Column | None) -> tuple[Channel, ...]:
        wishes, name, notes = self.wishes, self.name, self.notes
        told = unit_evidence.parsed(wishes.unit, name) if wishes.unit is not None else None
        single = self.told_units(chosen)
        stated = unit_evidence.stated_in(self.heading, self.columns)
        sources = unit_evidence.UnitsOf(name, wishes, stated, notes)
        if stated.against and told is None and not single:
            raise LogError(
                f"{name}: the lines above the header give readings in {stated.all} and in {stated.against};"
                f" {unit_evidence.ASK}."
            )
        pairs = self.aids.paired(unit_columns, chosen, "units") if unit_columns else {}
        found: dict[int, unit_evidence.Unit] = {}
        overruled: list[Column] = []
        for column in chosen:
            at = column.position
            if wishes.volts_per_count is not None and column.label.kind != "volts" and not column.cell_units:
                found[at] = unit_evidence.Unit(wishes.volts_per_count, Found.OPTION)
                continue
            if at in single:
                found[at] = single[at]
                continue
            unit_column = pairs.get(at)
            try:
                own = sources.own(column, unit_column)
            except LogError:
                if told is None:
                    raise
                own = None
            if own is not None:
                found[at] = own
                if told is not None and own.found in (Found.CELLS, Found.UNIT_COLUMN):
                    self.refuse_against(column, unit_column, told)
                elif told is not None and own.volts != told:
                    overruled.append(column)
            elif key is not None and any(units.label(cell.strip('" ')).kind == "volts" for cell in key.cells):
                found[at] = unit_evidence.Unit(1.0, Found.CELLS, key.position)
            elif told is not None:
                found[at] = unit_evidence.Unit(told, Found.OPTION)
        if (
            told is not None
            and overruled
            and len(overruled) == len([c for c in chosen if found[c.position].found is not Found.OPTION])
            and not any(found[c.position].found is Found.OPTION for c in chosen)
        ):
            for column in overruled:
                notes.append(f'Column "{column.header}" was read in {units.name_of(told)}, as told.')
                found[column.position] = unit_evidence.Unit(told, Found.OPTION)
        elif overruled:
            notes.append(
                f"The unit given holds where the file tells none; {listed([c.header for c in overruled])} kept its own."
            )
        unclear = [c for c in chosen if c.position not in found]
        if unclear:
            self.infer(unclear, chosen, found)
        if any(unit.found is Found.HEADING for unit in found.values()):
            where = next(unit for unit in found.values() if unit.found is Found.HEADING)
            notes.append(f"The unit is {units.name_of(where.volts)}, as the file's heading says.")
        channels = []
        for column in chosen:
            unit = found[column.position]
            zero = wishes.zero_count if unit.found is Found.OPTION and wishes.volts_per_count is not None else 0.0
            channels.append(
                Channel(
                    column.position,
                    column.label.name,
                    unit.volts,
                    zero=zero,
                    unit=units.name_of(unit.volts),
                    found=unit.found,
                    unit_column=unit.column,
                )
            )
        return _distinct(channels, chosen)

    def told_units(self, chosen: list[Column]) -> dict[int, unit_evidence.Unit]:
        """Units of single columns as the caller told them; a unit may be the name of a column of units."""
        out: dict[int, unit_evidence.Unit] = {}
        for wanted, word in self.wishes.units:
            column = column_named(self.columns, wanted, self.name, "unit")
            if units.volts_per(word) is not None:
                out[column.position] = unit_evidence.Unit(unit_evidence.parsed(word, self.name), Found.OPTION)
            else:
                at = column_named(self.columns, word, self.name, "unit").position
                out[column.position] = unit_evidence.Unit(1.0, Found.UNIT_COLUMN, at)
            if column.cell_units:
                raise LogError(
                    f'{self.name}: the cells of column "{column.header}" carry their own unit; leave out unit (--unit).'
                )
        return out

    def refuse_against(self, column: Column, unit_column: Column | None, told: float) -> None:
        cells = [c.strip('" ') for c in (unit_column or column).cells]
        said = [re.sub(r"^[^A-Za-zµμ]*", "", c) for c in cells]
        other = next((u for u in said if (volts := units.volts_per(u)) is not None and volts != told), None)
        if other is not None:
            where = f'column "{unit_column.header}" says' if unit_column is not None else "the cells say"
            raise LogError(
                f'{self.name}: the unit given for column "{column.header}" is {units.name_of(told)}, and {where} {other}; each'
                " reading has its own unit, so leave out unit (--unit)."
            )

    def infer(self, unclear: list[Column], chosen: list[Column], found: dict[int, unit_evidence.Unit]) -> None:
        name, notes = self.name, self.notes
        for column in unclear:
            if column.label.kind == "unknown" and self.wishes.unit is None:
                raise LogError(
                    f'{name}, column "{column.header}": the unit "{column.label.unit}" is not understood;'
                    " V, mV, µV and kV are. Say what it is with unit='mV' (--unit V|mV|uV), or name the channels with"
                    " channels (--channels NAME)."
                )
        if self.wishes.plain_volts:
            for column in unclear:
                found[column.position] = unit_evidence.Unit(1.0, Found.DEFAULT)
            return
        told = units.evidence([c.values for c in unclear], max(c.decimals for c in unclear))
        if not told.unit:
            ask = unit_evidence.ASK
            if len(unclear) < len(chosen):
                title = unclear[0].label.name
                ask = f"say which with unit={{'{title}': 'mV'}} (--unit \"{title}=mV\")"
            counts = all(c.decimals == 0 for c in unclear) and len(unclear) == len(chosen)
            scale = (
                ", or the scale of a converter's counts with volts_per_count (--volts-per-count V)" if counts else ""
            )
            raise LogError(
                f'{name}: the unit of column "{unclear[0].header}" is not told, and {told.reason}; {ask}{scale}.'
            )
        notes.append(f"Unit not stated; taken as {told.unit}: {told.reason}.")
        for column in unclear:
            found[column.position] = unit_evidence.Unit(units.volts_per(told.unit) or 1.0, Found.INFERRED)


def _has(columns: list[Column], wanted: str) -> bool:
    try:
        column_named(columns, wanted, "", "")
    except LogError:
        return False
    return True


def _distinct(channels: list[Channel], columns: list[Column]) -> tuple[Channel, ...]:
    """Give channels that would share a name their whole header, then a number."""
    seen: dict[str, int] = {}
    for channel in channels:
        seen[channel.name] = seen.get(channel.name, 0) + 1
    out: list[Channel] = []
    used: set[str] = set()
    for number, (channel, column) in enumerate(zip(channels, columns, strict=True), start=1):
        title = channel.name or f"ch{number}"
        if re.fullmatch(r"column \d+", title) or units.volts_per(title) is not None:
            title = f"ch{number}"
        elif seen[channel.name] > 1:
            title = column.header.strip()
        base, again = title, 2
        while title in used:
            title, again = f"{base} {again}", again + 1
        used.add(title)
        out.append(replace(channel, name=title))
    return tuple(out)
