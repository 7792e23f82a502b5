"""Does the reading jump between levels? Counts of the whole log in, a finding out."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from flicker.base.formats import times_text, volts_text
from flicker.evidence.findings import NO, NOT_SHOWN, YES, Finding
from flicker.evidence.guard import Guard, Session
from flicker.evidence.questions.registry import question
from flicker.signals.guard.figures import ChannelFigures
from flicker.stats.jumps import LEAST_JUMPS, SCALES

JUMP_V = 0.010  # from here on jumps between levels are no steadiness (choice)


class JumpCount(NamedTuple):
    """Jumps at the scale that tells most: how often up and down, and their middle size."""

    pairs: int = 0
    size_V: float = 0.0
    scale: int = 1

    @property
    def shown(self) -> bool:
        """Whether it went up twice and down twice at least."""
        return 2 * self.pairs >= LEAST_JUMPS


def jump_count(sessions: Sequence[Session], channel: Sequence[int], slept: int = 0) -> JumpCount:
    """Add up the jumps of a channel over all stretches; ``channel`` is its place in each.

    To fall asleep and to wake is a jump down and up, and tells nothing of the output: so often, ``slept``, it is taken off.
    """
    mine: list[ChannelFigures] = [item.figures.channels[k] for item, k in zip(sessions, channel, strict=True)]
    if not mine:
        return JumpCount()
    counts = np.sum([item.jumps for item in mine], axis=0)
    place = int(np.argmax(counts.min(axis=1)))
    most = max(mine, key=lambda item: int(item.jumps[place].sum()))
    return JumpCount(max(int(counts[place].min()) - slept, 0), float(most.jump_V[place]), SCALES[place])


@question(
    "jumps",
    asks="Does it jump between levels?",
    place=85,
    meaning="Does the reading jump up and down between levels 10 mV apart or more?",
)
def level_jumps(found: JumpCount, episodes: int, guard: Guard) -> Finding:
    """Does the reading jump between levels by enough to matter? Where there are episodes, each is an up and a down."""
    method = f"means of {found.scale} neighbouring readings against 7 sigma of their lower quarter"
    if episodes:
        answer, text = NOT_SHOWN, "Swings are seen; jumps between levels cannot be told from them."
    elif found.shown and found.size_V >= JUMP_V:
        answer = YES
        text = f"Jumps of about {volts_text(found.size_V)}, {times_text(found.pairs)} up and down."
    else:
        seen = guard.figures.observed_h > 0
        answer = NO if seen and found.pairs == 0 and guard.figures.spread_V <= guard.limits.spread_V else NOT_SHOWN
        text = "No jumps between levels are shown."
        if found.shown:
            text = f"Jumps of about {volts_text(found.size_V)}, {times_text(found.pairs)} up and down: small."
    return Finding(
        "jumps",
        answer,
        method,
        text,
        statistic=float(found.pairs),
        effect=found.size_V if found.pairs else None,
        unit="V" if found.pairs else None,
        limit=JUMP_V,
        holds=answer == YES,
    )
