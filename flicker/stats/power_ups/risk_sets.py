"""What to expect of each power-up were all alike: by risk sets, so that heat never counts as age."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from flicker.base.arrays import Floats, Ints
from flicker.base.result import Result
from flicker.stats.laws import event_runs as er


@dataclass(frozen=True, slots=True)
class ExpectedCounts(Result):
    """Episodes counted and expected in each power-up, over the times since power-up that two or more reached."""

    counts: Ints
    expected: Floats
    left_out: int

    @property
    def reads(self) -> str:
        """How much can be compared."""
        total = int(self.counts.sum())
        rest = f"; {self.left_out} came so late that no other power-up lasted as long" if self.left_out else ""
        return f"{total} episodes in {self.counts.size} power-ups can be compared{rest}."


def expected_counts(
    times: er.Times, ends: ArrayLike, *, both: ArrayLike | None = None
) -> ExpectedCounts:
    """Episodes counted, and expected were all power-ups alike, whatever the rate does with the time since power-up.

    Parameters
    ----------
    times : list of array_like
        Sorted begins of episodes of each power-up, on its observed clock.
    ends : array_like
        Its observed length, above 0.
    both : array_like of bool, optional
        Side of each power-up: only times that both sides reached are used.

    Returns
    -------
    ExpectedCounts
        Shape (power-ups,) each; the two have the same sum.

    Raises
    ------
    ValueError
        If times are unsorted or outside their power-up, or ``both`` does not fit.

    Notes
    -----
    Between two neighbouring ends of power-ups the same ones are at risk; the episodes there are shared out over them
    (risk sets, Andersen and Gill 1982, Annals of Statistics 10, 1100-1120). Levels with fewer than two at risk tell
    nothing and are left out.
    """
    runs = er.pooled(times, ends, least=0, name_of_end="ends")
    m = runs.ends.size
    side = None
    if both is not None:
        side = np.asarray(both, dtype=bool)
        if side.shape != (m,):
            raise ValueError(f"both must hold one side per power-up ({m}), got shape {side.shape}")
    edges = np.unique(runs.ends)
    level = np.minimum(np.searchsorted(edges, runs.times, side="left"), edges.size - 1)
    held = np.zeros((edges.size, m), dtype=np.int64)
    np.add.at(held, (level, runs.run), 1)
    risk = runs.ends >= edges[:, None]
    keep = risk.sum(axis=1) >= 2
    if side is not None:
        keep &= (risk & side).any(axis=1) & (risk & ~side).any(axis=1)
    held, risk = held[keep], risk[keep]
    counts = held.sum(axis=0)
    expected = (held.sum(axis=1) / risk.sum(axis=1)) @ risk
    return ExpectedCounts(counts, expected, int(runs.times.size - counts.sum()))
