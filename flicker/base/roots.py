"""Where a function is zero: Brent's steps (1973, chapter 4), in the order of `scipy.optimize.brentq`.

Ours, for loading `scipy.optimize` costs half as much processor time as judging a day at ten readings a second.
"""

from __future__ import annotations

import math
from collections.abc import Callable

RELATIVE = 4.0 * 2.0**-52  # of the root: by definition, the least that rounding allows
MOST_STEPS = 100  # common practice: that of scipy


def root(function: Callable[[float], float], low: float, high: float, tolerance: float = 2e-12) -> float:
    """Where the function, of other sign at either end, is zero.

    Raises
    ------
    ValueError
        If the signs at the ends are the same, or a value is not a number.
    """

    def value(place: float) -> float:
        found = float(function(place))
        if math.isnan(found):
            raise ValueError(f"the function is no number at {place!r}")
        return found

    before, here = float(low), float(high)
    f_before, f_here = value(before), value(here)
    if f_before == 0.0 or f_here == 0.0:
        return before if f_before == 0.0 else here
    if (f_before < 0.0) == (f_here < 0.0):
        raise ValueError(f"the function has one sign at both ends, {low!r} and {high!r}")
    other, f_other, last_step, step = before, f_before, here - before, here - before
    for _ in range(MOST_STEPS):
        if f_before != 0.0 and f_here != 0.0 and (f_before < 0.0) != (f_here < 0.0):
            other, f_other = before, f_before
            last_step = step = here - before
        if abs(f_other) < abs(f_here):
            before, here, other = here, other, here
            f_before, f_here, f_other = f_here, f_other, f_here
        least = 0.5 * (tolerance + RELATIVE * abs(here))
        half = 0.5 * (other - here)
        if f_here == 0.0 or abs(half) < least:
            return here
        tried = math.inf
        if abs(last_step) > least and abs(f_here) < abs(f_before):
            if before == other:  # a straight line through two places
                tried = -f_here * (here - before) / (f_here - f_before)
            else:  # a parabola on its side, through three
                a, b = (f_before - f_here) / (before - here), (f_other - f_here) / (other - here)
                tried = -f_here * (f_other * b - f_before * a) / (b * a * (f_other - f_before))
        short = 2.0 * abs(tried) < min(abs(last_step), 3.0 * abs(half) - least)
        last_step, step = (step, tried) if short else (half, half)
        before, f_before = here, f_here
        here += step if abs(step) > least else math.copysign(least, half)
        f_here = value(here)
    raise ValueError(f"no zero found between {low!r} and {high!r} in {MOST_STEPS} steps")
