"""What the verdict's rules need of a channel beside its findings and the guard."""

from __future__ import annotations

from dataclasses import dataclass

from flicker.evidence.questions.level_jumps import JUMP_V
from flicker.stats.jumps import LEAST_JUMPS


@dataclass(frozen=True, slots=True)
class Facts:
    """What the rules need beside the findings."""

    observed_s: float
    episodes: int
    common_episodes: int
    episode_s: float
    steady_upper_per_h: float | None
    power_ups: int
    trips: int
    dangerous_V: float | None
    two_levels_V: float  # how far two levels lie apart between which it changes; 0 where it does not
    filled: bool
    life_shown: bool
    excursions: int = 0
    in_excursion_s: float = 0.0
    phase: str = ""
    together: bool = False
    complaint_h: float = 0.0  # clean hours still missing for the complaint's rate
    complaint_starts: float | None = None
    reading_every_s: float = 0.0
    enter_V: float = 0.0
    moves_together: bool = False  # another channel moves in the same measure
    jump_pairs: int = 0  # jumps between levels, up and down,
    jump_V: float = 0.0  # and their middle size
    left_out: bool = False  # minutes in which the lead may have been off: their volts make no word of behaviour
    failed: str = ""  # the event in which the unit died
    stands: str = ""  # the volts at which it stands to the end of the log
    shared_swings: bool = False  # the guard's swings came in all channels at once
    counts: tuple[int, ...] = ()  # episodes of each power-up with observed time,
    hours_each: tuple[float, ...] = ()  # and that time

    @property
    def complaint_open(self) -> bool:
        """Whether the complaint's own rate has not been excluded yet."""
        return self.complaint_h > 0.0 and (self.complaint_starts is None or self.complaint_starts > 0.0)

    @property
    def jumps(self) -> bool:
        """Whether the level jumps between levels by enough to matter."""
        return self.jump_V >= JUMP_V and 2 * self.jump_pairs >= LEAST_JUMPS
