"""Where a function is zero: Brent (1973), by `scipy.optimize.brentq`."""

from __future__ import annotations

from collections.abc import Callable


def root(function: Callable[[float], float], low: float, high: float, tolerance: float = 2e-12) -> float:
    """Where the function, of other sign at either end, is zero.

    Raises
    ------
    ValueError
        If the signs at the ends are the same, or a value is not a number.
    """
    from scipy import optimize  # late: most logs do without it

    return float(optimize.brentq(function, low, high, xtol=tolerance))
