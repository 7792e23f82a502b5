"""A unit switched off and on while it is watched: its surge is a start and no swing, as in the judgement of a whole log."""

from __future__ import annotations

from collections.abc import Sequence

from flicker.base.arrays import Floats
from flicker.evidence.guard.model import EARLY_PEAKS_V
from flicker.evidence.watch.minute import Minute
from flicker.signals.excursions import near_s
from flicker.signals.guard.figures import STARTS_S
from flicker.signals.guard.off import OffWatch
from flicker.signals.live import LiveEpisode


class Restarts:
    """Follows all channels of a run: which swings may be the surge of a start, and which are.

    That a unit was off, and no protection relay open, is told three minutes after it came back: so long what comes first
    is held.
    """

    def __init__(self, cadence_s: float) -> None:
        self._near_s = near_s(cadence_s)
        self._off = OffWatch()
        self._fresh = Minute()
        self._starts_s: list[float] = []

    def feed(self, time_s: Floats, columns: Sequence[Floats]) -> None:
        """Take readings of all channels."""
        if self._fresh.add(time_s, columns):
            self._follow()

    def _follow(self) -> None:
        time_s, columns = self._fresh.take()
        if not time_s.size:
            return
        # After volts that stood a shorter time off will do; a watch has told of the volts, and counts what follows.
        self._starts_s.extend(item.end_s for item in self._off.feed(time_s, columns, quiet=True) if not item.short)

    def may_be(self, episode: LiveEpisode) -> bool:
        """Whether a swing may yet turn out to be the surge of a start."""
        self._follow()
        return self._begins(episode, self._off.still_s[1])

    def is_one(self, episode: LiveEpisode) -> bool:
        """Whether a swing is the surge of a start, no larger than a sound one may be."""
        self._follow()
        return any(self._begins(episode, start_s) for start_s in self._starts_s)

    def _begins(self, episode: LiveEpisode, start_s: float) -> bool:
        at_s = episode.start_s - start_s
        if episode.long or episode.over_range or at_s < -self._near_s:
            return False
        return any(
            at_s <= until_s and abs(episode.peak_V) <= most_V
            for until_s, most_V in zip(STARTS_S, EARLY_PEAKS_V, strict=True)
        )
