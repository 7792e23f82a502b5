"""Columns that tell unit, sign or kind of each reading: numbers and words of a batch in, volts out."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from typing import Any

import numpy as np

from flicker.base.arrays import Bools, Floats
from flicker.logs import arrow_types
from flicker.logs.errors import Question
from flicker.logs.reading.planning import sampled
from flicker.logs.reading.planning.columns import Channel
from flicker.logs.reading.words import odd_cells, units


class PerReading:
    """Turns readings into volts; counts those that are none of direct voltage, which become missing."""

    def __init__(self, name: str, titles: list[str]) -> None:
        self.name = name
        self.titles = titles
        self.other: Counter[str] = Counter()
        self.alternating = 0
        self.readings = 0
        self._units_at = 0  # position of the column of units

    def volts(self, raw: Floats, channel: Channel, column: Callable[[int], Any]) -> Floats:
        """Return a batch of a channel in volts; ``column`` hands out the words (or numbers) at a position."""
        if channel.zero:
            raw = raw - channel.zero
        if channel.unit_column is None:
            values = odd_cells.to_volts(raw, channel.volts)
        else:
            self._units_at = channel.unit_column
            values = self._in_own_units(raw, column(channel.unit_column))
        if channel.sign_column is not None:
            values = values * self._signs(column(channel.sign_column), channel.sign_column)
        if channel.mode_column is not None:
            ac = self._alternating(column(channel.mode_column))
            if ac.any():
                self.alternating += int(np.count_nonzero(ac & ~np.isnan(values)))
                values = np.where(ac, np.nan, values)
        return values

    def _in_own_units(self, raw: Floats, words: Any) -> Floats:
        kinds, codes = arrow_types.coded(arrow_types.bare_words(words))
        factors = [units.volts_in(kind) for kind in kinds]
        values = np.full(raw.size, np.nan)
        for k, (kind, factor) in enumerate(zip(kinds, factors, strict=True)):
            rows = codes == k
            if factor is None:
                readings = int(np.count_nonzero(np.isfinite(raw[rows])))
                values[rows & np.isinf(raw)] = raw[rows & np.isinf(raw)]
                if readings:
                    self.other[kind] += readings
            else:
                values[rows] = odd_cells.to_volts(raw[rows], factor)
        self.readings += values.size
        return values

    def _signs(self, words: Any, position: int) -> Floats:
        kinds, codes = arrow_types.coded(arrow_types.bare_words(words))
        signs = [sampled.sign_of(kind) for kind in kinds]
        if None in signs:
            kind, title = kinds[signs.index(None)], self.titles[position]
            raise Question(
                f'{self.name}: column "{title}" holds {kind[:20]!r} where a sign should stand; leave it out with roles'
                f' (--role "{title}=ignore").',
                roles={title: "ignore"},
            )
        return np.array(signs, dtype=np.float64)[codes]

    def _alternating(self, words: Any) -> Bools:
        kinds, codes = arrow_types.coded(arrow_types.bare_words(words))
        return np.asarray(np.array([sampled.mode_of(kind) == "ac" for kind in kinds])[codes])

    @property
    def unread(self) -> int:
        """Readings that were no direct voltage."""
        return self.alternating + sum(self.other.values())

    def notes(self) -> list[str]:
        """Say which readings were no direct voltage.

        Raises
        ------
        LogError
            If hardly any was.
        """
        out = []
        for kind, count in self.other.most_common():
            if count > 0.5 * self.readings:
                title = self.titles[self._units_at]
                raise Question(
                    f"{self.name}: {count} of {self.readings} readings are in {kind.strip() or 'no unit'!r}, which is no unit of"
                    f' direct voltage; leave out the column of units with roles (--role "{title}=ignore") and say the unit with unit'
                    " (--unit V|mV).",
                    roles={title: "ignore"},
                    unit="V",
                )
            out.append(f"Not read, and so not observed: {count} readings in {kind.strip() or 'no unit'!r}.")
        if self.alternating:
            out.append(f"Not read, and so not observed: {self.alternating} readings of alternating voltage.")
        return out
