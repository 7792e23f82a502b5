"""How long each row of a cell stands for, where a logger writes faster or slower once something happens.

A middle or a share of rows would then weigh the event, or the calm, by its rows and not by its time.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from flicker.signals.guard.figures import BEYOND_V

Floats = NDArray[np.float64]

# Kish's factor of unequal weights (Survey Sampling, 1965, 11.2): 1 and the squared coefficient of variation. A choice: steps that
# scatter by half of their mean; those of a clock that jitters by half a step either way reach 1.08.
UNEQUAL = 1.25
MOST_S = 30.0  # no row stands for more, but in slower logs: readings farther apart clear nothing (rule of clearance, 'seldom')
TAIL = 0.01  # of the time, beyond the 1 and 99 % of a cell


def unequal(weights: Floats) -> NDArray[np.bool_]:
    """Which rows of a table hold weights that are far from equal."""
    unlike: NDArray[np.bool_] = weights.shape[1] * (weights**2).sum(axis=1) > UNEQUAL * weights.sum(axis=1) ** 2
    return unlike


def stands_s(time_s: Floats, most_s: float) -> Floats:
    """Seconds that each row stands for: the shorter of the steps beside it, for what lies in a gap was not seen."""
    step_s = np.diff(time_s)
    out: Floats = np.minimum(np.minimum(np.append(step_s, np.inf), np.append(np.inf, step_s)), most_s)
    return out


def weigh(cell: Any, time_s: Floats, value_V: Floats, most_s: float) -> None:
    """Set the figures of a cell, whose readings are given, by time where its rows are not equally far apart.

    The 1 to 99 % range becomes no narrower than that by number.
    """
    if time_s.size < 2:
        return
    weight_s = stands_s(time_s, most_s)
    if not unequal(weight_s[None, :])[0]:
        return
    order = np.argsort(value_V)
    ranked, weight = value_V[order], weight_s[order]
    up, down = np.cumsum(weight), np.cumsum(weight[::-1])  # counted from either end: turned leads change no figure
    whole_s = float(weight_s.sum())
    centre = 0.5 * float(ranked[up.searchsorted(0.5 * whole_s)] + ranked[::-1][down.searchsorted(0.5 * whole_s)])
    cell["median_V"] = centre
    cell["low_V"] = min(cell["low_V"], ranked[up.searchsorted(TAIL * whole_s)])
    cell["high_V"] = max(cell["high_V"], ranked[::-1][down.searchsorted(TAIL * whole_s)])
    cell["alone_V"] = cell["high_V"] - cell["low_V"]
    cell["far_V"] = max(ranked[-1] - centre, centre - ranked[0])
    cell["uneven_s"] = whole_s
    cell["beyond_s"] = weight_s[np.abs(value_V) > BEYOND_V].sum()
