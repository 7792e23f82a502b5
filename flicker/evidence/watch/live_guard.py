"""The guard beside a watch: 'clean enough' is not said of a channel against which raw volts speak."""

from __future__ import annotations

import copy
from collections.abc import Sequence
from dataclasses import replace

from flicker.base.arrays import Floats
from flicker.base.limits import Limits
from flicker.evidence.guard import Guard, Reason, Session, judge_guard
from flicker.logs.model import Piece
from flicker.signals.guard.gather import Gatherer, Left
from flicker.signals.reduction import reduce_blocks

# Reasons that more of the same watch takes away, or that a watch cannot have.
CELLS = 12  # an hour of cells, after which what can no longer be cleared is settled; a choice
NOT_ASKED = frozenset({Reason.RATE, Reason.SHORT, Reason.UNDATED, Reason.GAPS, Reason.SELDOM})
LASTING = frozenset({Reason.PEAK, Reason.OVER, Reason.REST, Reason.MOVE, Reason.SPREAD, Reason.SWINGS, Reason.OPEN})


class LiveGuard:
    """Gathers the guard's figures of every run of a watch; `judge` may be asked at any time."""

    def __init__(self, channels: int, cadence_s: float, limits: Limits) -> None:
        self.channels, self.cadence_s, self.limits = channels, cadence_s, limits
        self._runs: list[Gatherer] = []
        self._rows = 0
        self._settled: dict[int, Guard] = {}  # channels that nothing later can clear: memory stays flat
        self._asked = 0

    def begin(self) -> None:
        """A run begins: where nothing shows a power-up it goes on with the one before."""
        self._asked = 0
        if len(self._settled) == self.channels:
            return
        self._runs.append(Gatherer(self.channels, self.cadence_s, [Left()] * self.channels, count_jumps=False))
        self._rows = 0

    def feed(self, time_s: Floats, columns: Sequence[Floats]) -> None:
        """Take the next readings of the run."""
        if len(self._settled) == self.channels:
            return
        if not self._runs:
            self.begin()
        piece = Piece(len(self._runs) - 1, self._rows, time_s, tuple(columns), False)
        self._rows += int(time_s.size)
        self._runs[-1].feed(piece, 1, [reduce_blocks(column.reshape(-1, 1)) for column in columns])
        if self._runs[-1].cells >= self._asked + CELLS:
            self._asked = self._runs[-1].cells
            for channel in range(self.channels):
                found = self._settled.get(channel) or self.judge(channel)
                if set(found.reasons) & LASTING:
                    self._settled[channel] = found
            if len(self._settled) == self.channels:
                self._runs.clear()

    def judge(self, channel: int) -> Guard:
        """The guard's answer on a channel so far."""
        figures = [copy.deepcopy(item).finish() for item in self._runs]
        sessions = [Session(item, self.cadence_s, k == 0) for k, item in enumerate(figures) if item.begin_s.size]
        return judge_guard(sessions, [channel] * len(sessions), self.limits)

    def against(self, channel: int) -> Guard | None:
        """The guard where it speaks against 'clean enough', with the reasons that a watch can have; else None."""
        found = self._settled.get(channel) or self.judge(channel)
        reasons = tuple(item for item in found.reasons if item not in NOT_ASKED)
        return replace(found, reasons=reasons) if reasons else None
