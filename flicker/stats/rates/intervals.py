"""Limits of a rate (exact of Garwood, mid-P, Jeffreys), Li and Ma's on/off significance, difference of rates (Zou and Donner), share (Clopper-Pearson). Knows nothing of volts or files.

Exposure is observed time in any one unit (or a number of power-ups); rates come back per that unit.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from scipy import special

from flicker.base import check
from flicker.base.formats import digits_text, p_said, share_text
from flicker.base.result import Interval, Result
from flicker.stats.laws import count_tails

Sided = Literal["two-sided", "lower", "upper"]
_SIDED = ("two-sided", "lower", "upper")
_LIMITS: dict[str, tuple[Callable[[int, float], float], Callable[[int, float], float]]] = {
    "exact": (count_tails.poisson_low, count_tails.poisson_high),
    "mid-p": (count_tails.poisson_mid_low, count_tails.poisson_mid_high),
    "jeffreys": (
        lambda count, tail: float(special.gammaincinv(count + 0.5, tail)) if count else 0.0,
        lambda count, tail: float(special.gammainccinv(count + 0.5, tail)),
    ),
}


@dataclass(frozen=True, slots=True)
class RateInterval(Interval):
    """Events per unit of exposure, with an interval."""

    count: int
    exposure: float
    rate: float
    sided: str

    @property
    def reads(self) -> str:
        """One sentence for the owner of the unit."""
        seen = f"{self.count} in {digits_text(self.exposure, 4)} observed"
        if self.sided == "upper" or (self.sided == "two-sided" and self.count == 0):
            return f"{seen}: at most {digits_text(self.high, 3)} per unit of observed time ({share_text(self.confidence)} confidence)"
        if self.sided == "lower":
            return f"{seen}: at least {digits_text(self.low, 3)} per unit of observed time ({share_text(self.confidence)} confidence)"
        return (
            f"{seen}: {digits_text(self.rate, 3)} per unit of observed time, between {digits_text(self.low, 3)} and {digits_text(self.high, 3)} "
            f"({share_text(self.confidence)} confidence)"
        )


def rate_interval(
    count: int,
    exposure: float,
    *,
    confidence: float = 0.95,
    method: Literal["exact", "mid-p", "jeffreys"] = "exact",
    sided: Sided = "two-sided",
    ended_by: Literal["time", "event"] = "time",
) -> RateInterval:
    """Interval of a Poisson rate from a count.

    Parameters
    ----------
    count : int
        Events seen, 0 or more (1e7 and beyond work).
    exposure : float
        Observed time (or power-ups), above 0, in the unit in which the rate is wanted.
    confidence : float
        Between 0 and 1.
    method : {"exact", "mid-p", "jeffreys"}
        Exact limits never cover less than ``confidence``. The two others are shorter and keep it only on average over
        rates: over means 0.3 to 100 they average 95 %, with single means as low as 91.7 % (mid-p) and 90.5 %
        (Jeffreys).
    sided : {"two-sided", "lower", "upper"}
        ``upper`` puts the whole error above (``low`` is 0), ``lower`` below (``high`` is infinite).
    ended_by : {"time", "event"}
        ``event`` where watching stopped at the last event counted (exact only, 1 event or more); its upper limit has 2n
        degrees of freedom instead of 2n + 2.

    Returns
    -------
    RateInterval
        ``.rate .low .high``, per unit of exposure.

    Raises
    ------
    ValueError
        If ``count`` is negative or not whole, ``exposure`` is not positive, or ``confidence`` is outside (0, 1).

    Notes
    -----
    Exact limits after Garwood (1936), Biometrika 28, 437-442: chi-square quantiles with 2n and 2n + 2 degrees of
    freedom. mid-p after Lancaster (1961), JASA 56, 223-234. Jeffreys: quantiles of gamma(n + 1/2), the lower one set
    to 0 at n = 0. Assumes events that come singly and independently; `dispersion_test` checks it,
    `overdispersed_rate` does without.
    """
    count = check.whole("count", count)
    exposure = check.positive("exposure", exposure, what="observed time")
    confidence = check.share("confidence", confidence)
    check.one_of("method", method, tuple(_LIMITS))
    check.one_of("sided", sided, _SIDED)
    check.one_of("ended_by", ended_by, ("time", "event"))
    if ended_by == "event" and (count == 0 or method != "exact"):
        raise ValueError(f"ended_by 'event' needs 1 event or more and method 'exact', got {count} and {method!r}")
    tail = 0.5 * (1.0 - confidence) if sided == "two-sided" else 1.0 - confidence
    low_of, high_of = _LIMITS[method]
    low = 0.0 if sided == "upper" else low_of(count, tail)
    high = math.inf if sided == "lower" else high_of(count - (ended_by == "event"), tail)
    return RateInterval(
        count=count,
        exposure=exposure,
        rate=count / exposure,
        low=low / exposure,
        high=high / exposure,
        confidence=confidence,
        sided=sided,
        method=f"Poisson, {method}, ended by {ended_by}",
    )


@dataclass(frozen=True, slots=True)
class ShareInterval(Interval):
    """A share of trials, with an interval."""

    hits: int
    trials: int
    share: float

    @property
    def reads(self) -> str:
        """One sentence for the owner of the unit."""
        return (
            f"{self.hits} of {self.trials}: between {share_text(self.low)} and {share_text(self.high)} of all "
            f"({share_text(self.confidence)} confidence)"
        )


def share_interval(hits: int, trials: int, *, confidence: float = 0.95, sided: Sided = "two-sided") -> ShareInterval:
    """Exact interval of a share, for example of the power-ups that showed the fault.

    Parameters
    ----------
    hits, trials : int
        ``0 <= hits <= trials``, ``trials`` at least 1.
    confidence : float
        Between 0 and 1.
    sided : {"two-sided", "lower", "upper"}
        As in `rate_interval`.

    Raises
    ------
    ValueError
        If ``hits`` exceeds ``trials``, a count is not whole, or ``confidence`` is outside (0, 1).

    Notes
    -----
    Clopper and Pearson (1934), Biometrika 26, 404-413: quantiles of the beta distribution. Assumes independent trials.
    """
    hits = check.whole("hits", hits)
    trials = check.whole("trials", trials, least=1, what="a number of trials")
    if hits > trials:
        raise ValueError(f"hits must be at most trials ({trials}), got {hits}")
    confidence = check.share("confidence", confidence)
    check.one_of("sided", sided, _SIDED)
    tail = 0.5 * (1.0 - confidence) if sided == "two-sided" else 1.0 - confidence
    misses = trials - hits
    low = float(special.betaincinv(hits, misses + 1, tail)) if hits and sided != "upper" else 0.0
    high = float(special.betainccinv(hits + 1, misses, tail)) if misses and sided != "lower" else 1.0
    return ShareInterval(
        hits=hits,
        trials=trials,
        share=hits / trials,
        low=low,
        high=high,
        confidence=confidence,
        method="binomial, exact (Clopper-Pearson)",
    )


@dataclass(frozen=True, slots=True)
class OnOff(Result):
    """Counts with something on against counts with it off (or against a known background)."""

    on_count: int
    expected: float
    z: float
    p_value: float
    method: str

    @property
    def reads(self) -> str:
        """One sentence for the owner of the unit."""
        return (
            f"{self.on_count} seen where the background would give {digits_text(self.expected, 3)} "
            f"(z = {self.z:.2f}, exact {p_said(self.p_value)})"
        )


def on_off_significance(
    on_count: int,
    on_time: float,
    off_count: int,
    off_time: float,
    *,
    alternative: Literal["two-sided", "less", "greater"] = "two-sided",
) -> OnOff:
    """Is the rate with the unit on the leads above that of a control run?

    Parameters
    ----------
    on_count, off_count : int
        Events in each, 0 or more.
    on_time, off_time : float
        Observed time of each, above 0, in one unit.
    alternative : {"two-sided", "less", "greater"}
        Applies to ``p_value``; ``greater`` asks whether 'on' is above 'off'.

    Returns
    -------
    OnOff
        ``.z`` is Li and Ma's equation 17 with the sign of the difference, for comparison with other programs;
        ``.p_value`` is exact and does not come from z (one-sided, z rejects 9.6 % for 5 % at a mean count of 2).

    Notes
    -----
    Li and Ma (1983), Astrophysical Journal 272, 317-324, eq. 17. p from the conditional binomial, as in `rate_ratio`.
    """
    on_count, off_count = check.whole("on_count", on_count), check.whole("off_count", off_count)
    on_time = check.positive("on_time", on_time, what="observed time")
    off_time = check.positive("off_time", off_time, what="observed time")
    from flicker.stats.rates.ratio import rate_ratio  # late: limits of one rate compare nothing

    test = rate_ratio(on_count, on_time, off_count, off_time, alternative=alternative)
    alpha = on_time / off_time
    total = max(on_count + off_count, 1)
    half = special.xlogy(on_count, (1.0 + alpha) / alpha * on_count / total)
    half += special.xlogy(off_count, (1.0 + alpha) * off_count / total)
    z = math.copysign(math.sqrt(max(0.0, 2.0 * half)), on_count - alpha * off_count)
    method = "z by Li and Ma eq. 17; p by the exact conditional binomial"
    return OnOff(
        on_count=on_count,
        expected=alpha * off_count,
        z=z,
        p_value=test.p_value,
        method=method,
    )


@dataclass(frozen=True, slots=True)
class RateDifference(Interval):
    """Rate above a background, with an interval."""

    rate: float
    base_rate: float
    difference: float

    @property
    def reads(self) -> str:
        """One sentence for the owner of the unit."""
        return (
            f"{digits_text(self.difference, 3)} per unit of observed time above the background, between {digits_text(self.low, 3)} and "
            f"{digits_text(self.high, 3)} ({share_text(self.confidence)} confidence)"
        )


def rate_difference(
    count: int, exposure: float, base_count: int, base_exposure: float, *, confidence: float = 0.95
) -> RateDifference:
    """Rate less a background rate, with an interval (negative values are kept, not clipped).

    Notes
    -----
    Limits recovered from the two exact intervals (Zou and Donner 2008, Statistics in Medicine 27, 1693-1702; Li, Tang
    and Wong 2014 for Poisson rates, both from memory). Not exact: the coverage is in
    ``tests/studies/results/rates.md``.
    """
    one = rate_interval(count, exposure, confidence=confidence)
    base_count = check.whole("base_count", base_count)
    base_exposure = check.positive("base_exposure", base_exposure, what="observed time")
    two = rate_interval(base_count, base_exposure, confidence=confidence)
    difference = one.rate - two.rate
    low = difference - math.hypot(one.rate - one.low, two.high - two.rate)
    high = difference + math.hypot(one.high - one.rate, two.rate - two.low)
    return RateDifference(
        rate=one.rate,
        base_rate=two.rate,
        difference=difference,
        low=low,
        high=high,
        confidence=one.confidence,
        method="limits recovered from exact intervals",
    )
