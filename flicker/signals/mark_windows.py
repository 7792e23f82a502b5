"""What the hands did, as the signal stage needs it: stretches not to observe, places where a new baseline begins."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from flicker.base.arrays import Floats
from flicker.logs.spans import spans

NEAR_S = 60.0  # a mark is made by hand: so near the beginning of a run it tells of that (choice)


def _none() -> Floats:
    return np.empty((0, 2))


@dataclass(frozen=True, slots=True)
class Hands:
    """Marks of one channel, in seconds since the log's first sample (or a run's, after `on_clock`).

    ``touched`` is not observed; ``windows`` follow a stimulus and do not count as spontaneous; at ``breaks_s`` a new
    baseline begins and no claim reaches across; ``stimuli`` holds the times of each kind of stimulus,
    ``notes_s`` those of notes in free words, which change nothing; at ``power_s`` the unit was switched on.
    """

    touched: Floats = field(default_factory=_none)
    windows: Floats = field(default_factory=_none)
    breaks_s: tuple[float, ...] = ()
    stimuli: tuple[tuple[str, tuple[float, ...]], ...] = ()
    notes_s: tuple[float, ...] = ()
    power_s: tuple[float, ...] = ()

    def on_clock(self, begin_s: float, duration_s: float) -> Hands:
        """The part within a run that begins at ``begin_s`` of the log's clock, on the run's own clock."""
        inside = tuple(
            (kind, tuple(t - begin_s for t in times if 0.0 <= t - begin_s <= duration_s))
            for kind, times in self.stimuli
        )
        return Hands(
            touched=spans(np.clip(self.touched - begin_s, 0.0, duration_s).tolist()),
            windows=spans(np.clip(self.windows - begin_s, 0.0, duration_s).tolist()),
            breaks_s=tuple(t - begin_s for t in self.breaks_s if 0.0 < t - begin_s < duration_s),
            stimuli=tuple((kind, times) for kind, times in inside if times),
            notes_s=tuple(t - begin_s for t in self.notes_s if 0.0 <= t - begin_s <= duration_s),
            power_s=tuple(t - begin_s for t in self.power_s if -NEAR_S <= t - begin_s <= duration_s),
        )

    def switched_on_near(self, begin_s: float) -> bool:
        """Whether a mark tells that the unit was switched on as a run began."""
        return any(abs(t - begin_s) <= NEAR_S for t in self.power_s)


NOTHING = Hands()
