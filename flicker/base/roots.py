"""Where a function is zero, and the fewest that are enough, by halving: `scipy.optimize` takes longer to load than all roots of a log to find."""

from __future__ import annotations

from collections.abc import Callable

CLOSE = 1e-12  # of the root, or of 1 if that is more: what rounding leaves of a likelihood; a choice


def root(function: Callable[[float], float], low: float, high: float) -> float:
    """Where the function, of other sign at either end, is zero: the interval that holds the change of sign is halved.

    Raises
    ------
    ValueError
        If the signs at the ends are the same, or a value is not a number.
    """
    at_low, at_high = function(low), function(high)
    if not at_low * at_high <= 0.0:
        raise ValueError(f"function must change its sign from {low} to {high}, got {at_low} and {at_high} there")
    if at_low == 0.0 or at_high == 0.0:
        return low if at_low == 0.0 else high
    while abs(high - low) > CLOSE * max(1.0, abs(low)):
        middle = 0.5 * (low + high)
        if (function(middle) > 0.0) == (at_high > 0.0):
            high = middle
        else:
            low = middle
    return 0.5 * (low + high)


def fewest(enough: Callable[[int], bool], *, most: int, start: int = 1) -> int:
    """Smallest whole number from 1 on that is enough, where all larger ones are; ``most`` where no smaller one is.

    Numbers are doubled from ``start`` on until one is enough, and halved between it and the last that was not.
    """
    low, high = 0, start
    while high < most and not enough(high):
        low, high = high, min(2 * high, most)
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if enough(middle) else (middle, high)
    return high
