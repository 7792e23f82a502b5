"""Where a function is zero: Brent (1973), as `scipy.optimize.brentq` has it, without loading the rest of that package."""

from __future__ import annotations

from collections.abc import Callable

from flicker.base.compiled import alone

RTOL = 8.881784197001252e-16  # four units in the last place, and
ROUNDS = 100  # as scipy's by default

_compiled = alone("scipy.optimize", "_zeros")


def root(function: Callable[[float], float], low: float, high: float, tolerance: float = 2e-12) -> float:
    """Where the function, of other sign at either end, is zero.

    Raises
    ------
    ValueError
        If the signs at the ends are the same, or a value is not a number.
    """

    def value(x: float) -> float:
        found = function(x)
        if found != found:
            raise ValueError(f"function must give numbers, got NaN at {x}")
        return found

    if _compiled is not None:
        return float(_compiled._brentq(value, low, high, tolerance, RTOL, ROUNDS, (), False, True))
    from scipy import optimize

    return float(optimize.brentq(value, low, high, xtol=tolerance, rtol=RTOL, maxiter=ROUNDS))
