"""Tails of the Poisson and binomial laws (Garwood, Clopper-Pearson, mid-P), and the limits that invert them.

Counts may be real numbers: a count divided by its dispersion is the 'effective' count of a quasi-Poisson model, and the
incomplete gamma and beta functions carry the exact limits over to it. At whole counts everything here is exact.
"""

from __future__ import annotations

import math
from collections.abc import Callable

from scipy import special

from flicker.base.roots import root


def poisson_at_most(count: float, mean: float) -> float:
    """Chance of ``count`` or fewer."""
    return 0.0 if count < 0 else float(special.gammaincc(count + 1.0, mean))


def poisson_at_least(count: float, mean: float) -> float:
    """Chance of ``count`` or more."""
    return 1.0 if count <= 0 else float(special.gammainc(count, mean))


def poisson_low(count: float, tail: float) -> float:
    """Mean under which ``count`` or more has the chance ``tail``."""
    return 0.0 if count <= 0 else float(special.gammaincinv(count, tail))


def poisson_high(count: float, tail: float) -> float:
    """Mean under which ``count`` or fewer has the chance ``tail``."""
    return float(special.gammainccinv(count + 1.0, tail))


def poisson_mid_low(count: int, tail: float) -> float:
    """Mean under which the mid-p upper tail of ``count`` is ``tail``."""
    if count == 0:
        return 0.0
    return solve(
        lambda mean: 0.5 * (poisson_at_least(count, mean) + poisson_at_least(count + 1, mean)) - tail,
        poisson_low(count, tail),
        poisson_low(count + 1, tail),
    )


def poisson_mid_high(count: int, tail: float) -> float:
    """Mean under which the mid-p lower tail of ``count`` is ``tail``."""
    if count == 0:
        return max(0.0, -math.log(2.0 * tail))
    return solve(
        lambda mean: 0.5 * (poisson_at_most(count, mean) + poisson_at_most(count - 1, mean)) - tail,
        poisson_high(count - 1, tail),
        poisson_high(count, tail),
    )


def binomial_at_least(hits: float, misses: float, p: float) -> float:
    """Chance of ``hits`` or more in ``hits + misses`` trials."""
    if hits <= 0:
        return 1.0
    return 0.0 if misses < 0 else float(special.betainc(hits, misses + 1.0, p))


def odds_low(hits: float, misses: float, tail: float) -> float:
    """Odds under which ``hits`` or more has the chance ``tail`` (0 if there are no hits)."""
    if hits <= 0:
        return 0.0
    p = float(special.betaincinv(hits, misses + 1.0, tail))
    q = float(special.betainccinv(misses + 1.0, hits, tail))
    return p / q if q > 0 else math.inf


def odds_high(hits: float, misses: float, tail: float) -> float:
    """Odds under which ``hits`` or fewer has the chance ``tail`` (infinite if there are no misses)."""
    inverse = odds_low(misses, hits, tail)
    return 1.0 / inverse if inverse > 0 else math.inf


def odds_mid_low(hits: int, misses: int, tail: float) -> float:
    """Odds under which the mid-p upper tail of ``hits`` is ``tail``."""
    if hits == 0:
        return 0.0
    if misses == 0:
        share = min(1.0, (2.0 * tail) ** (1.0 / hits))
        return share / (1.0 - share) if share < 1.0 else math.inf
    return solve(
        lambda odds: 0.5 * (_at_least(hits, misses, odds) + _at_least(hits + 1, misses - 1, odds)) - tail,
        odds_low(hits, misses, tail),
        odds_low(hits + 1, misses - 1, tail),
    )


def odds_mid_high(hits: int, misses: int, tail: float) -> float:
    """Odds under which the mid-p lower tail of ``hits`` is ``tail``."""
    inverse = odds_mid_low(misses, hits, tail)
    return 1.0 / inverse if inverse > 0 else math.inf


def _at_least(hits: float, misses: float, odds: float) -> float:
    return binomial_at_least(hits, misses, odds / (1.0 + odds))


def p_value(lower: float, upper: float, alternative: str) -> float:
    """p-value from both tails: the upper of 'greater' and 'increasing', the lower of 'less' and 'decreasing'.

    Two-sided it is twice the smaller tail, at most 1, which agrees with an equal-tailed interval.
    """
    if alternative == "two-sided":
        return min(1.0, 2.0 * min(lower, upper))
    return upper if alternative in ("greater", "increasing") else lower


def normal_p(z: float, alternative: str) -> float:
    """p-value of a standard normal z, whose positive side is the greater or the increasing one."""
    return p_value(float(special.ndtr(z)), float(special.ndtr(-z)), alternative)


def solve(function: Callable[[float], float], low: float, high: float) -> float:
    """Return the root between two positive brackets, halved in log scale; the nearer bracket where there is none."""
    at_low, at_high = function(low), function(high)
    if at_low * at_high >= 0.0:
        return low if abs(at_low) <= abs(at_high) else high
    return math.exp(root(lambda log: function(math.exp(log)), math.log(low), math.log(high)))
