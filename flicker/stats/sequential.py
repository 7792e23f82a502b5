"""Wald's sequential ratio test, likelihood ratios with Ville's bound, and bounds valid at every moment (gamma mixture): when may one stop watching?

Counts and exposure so far in, a word or an interval out. Everything here is set before the watch begins.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from scipy import special

from flicker.base import check
from flicker.base.formats import digits_text, share_text
from flicker.base.result import Interval, Result

__all__ = [
    "RateBounds",
    "RateDecision",
    "likelihood_ratio_pair",
    "rate_bounds",
    "rate_decision",
]

Decision = Literal["recurs", "clean enough", "go on"]
MIXTURE_SHAPE = 0.5  # shape of the gamma mixture; chosen by width at 0.1 to 10 times the design rate


@dataclass(frozen=True, slots=True)
class RateDecision(Result):
    """Two straight boundaries for the count against exposure, fixed before looking.

    ``recurs`` is decided when the count reaches ``recurs_intercept + slope * exposure``; ``clean enough`` when the
    exposure reaches ``clean_exposure + exposure_per_event * count``.
    """

    good_rate: float
    bad_rate: float
    false_alarm: float
    miss: float
    log_upper: float
    log_lower: float
    slope: float
    recurs_intercept: float
    clean_exposure: float
    exposure_per_event: float
    least_count: int
    dispersion: float
    method: str

    @property
    def reads(self) -> str:
        """One sentence for the owner of the unit, to be printed before the start."""
        return (
            f"'clean enough' (below {digits_text(self.bad_rate, 3)}) after {digits_text(self.clean_exposure, 3)} without an event, "
            f"{digits_text(self.exposure_per_event, 3)} later for each event; 'recurs' (above {digits_text(self.good_rate, 3)}) from "
            f"{digits_text(self.recurs_intercept, 3)} + {digits_text(self.slope, 3)} x time events on, at least {self.least_count}"
        )

    def log_likelihood_ratio(self, count: int, exposure: float) -> float:
        """Logarithm of the likelihood ratio, bad over good rate, after ``count`` events in ``exposure``."""
        count = check.whole("count", count)
        exposure = check.positive("exposure", exposure, what="observed time", zero=True)
        step = math.log(self.bad_rate / self.good_rate)
        return (count * step - (self.bad_rate - self.good_rate) * exposure) / self.dispersion

    def decide(self, count: int, exposure: float) -> Decision:
        """Return 'recurs', 'clean enough' or 'go on' after ``count`` events in ``exposure``."""
        value = self.log_likelihood_ratio(count, exposure)
        # a boundary that is met exactly (zero events at the printed exposure) must not be lost to rounding
        slack = 1e-12 * (1.0 + abs(self.log_upper) + abs(self.log_lower))
        if value >= self.log_upper - slack and count >= self.least_count:
            return "recurs"
        return "clean enough" if value <= self.log_lower + slack else "go on"


def rate_decision(
    good_rate: float,
    bad_rate: float,
    *,
    false_alarm: float = 0.05,
    miss: float = 0.05,
    least_count: int = 1,
    dispersion: float = 1.0,
) -> RateDecision:
    """Wald's sequential test of a Poisson rate.

    Parameters
    ----------
    good_rate, bad_rate : float
        Rate that should pass and rate that should be caught; ``0 < good_rate < bad_rate``.
    false_alarm : float
        Chance of 'recurs' at the good rate.
    miss : float
        Chance of 'clean enough' at the bad rate; ``false_alarm + miss`` below 1.
    least_count : int
        Events that 'recurs' needs at the least (2 keeps a single early event from deciding).
    dispersion : float
        1 for events that come singly; above 1 (variance over mean of window counts) divides the evidence, since Poisson
        boundaries are wrong in about 15 % of watches where bursts of two or three are counted.

    Returns
    -------
    RateDecision
        Boundaries, and ``.decide(count, exposure)``.

    Raises
    ------
    ValueError
        If the rates are not positive and in order, or the error chances are out of range.

    Notes
    -----
    Wald (1945), Annals of Mathematical Statistics 16, 117-186: log((1 - miss) / false_alarm) and log(miss / (1 -
    false_alarm)). Wald's bounds hold the sum of the two errors, not each; `likelihood_ratio_pair` holds each.
    """
    good = check.positive("good_rate", good_rate, what="a rate")
    bad = check.positive("bad_rate", bad_rate, what="a rate")
    if bad <= good:
        raise ValueError(f"bad_rate must be above good_rate ({good}), got {bad}")
    a, b = check.share("false_alarm", false_alarm), check.share("miss", miss)
    if a + b >= 1.0:
        raise ValueError(f"false_alarm + miss must be below 1, got {a} + {b}")
    logs = math.log((1.0 - b) / a), math.log(b / (1.0 - a))
    return _decision((good, bad), (a, b), logs, least_count, dispersion, "Wald")


def _decision(
    rates: tuple[float, float],
    errors: tuple[float, float],
    logs: tuple[float, float],
    least_count: int,
    dispersion: float,
    method: str,
) -> RateDecision:
    """Boundaries for a good and a bad rate, chances of false alarm and miss, and logarithms of the upper and lower bound."""
    (good, bad), (false_alarm, miss), (log_upper, log_lower) = rates, errors, logs
    least_count = check.whole("least_count", least_count, least=1)
    phi = check.dispersion(dispersion)
    step, gap = math.log(bad / good), bad - good
    return RateDecision(
        good_rate=good,
        bad_rate=bad,
        false_alarm=false_alarm,
        miss=miss,
        log_upper=log_upper,
        log_lower=log_lower,
        slope=gap / step,
        recurs_intercept=phi * log_upper / step,
        clean_exposure=-phi * log_lower / gap,
        exposure_per_event=step / gap,
        least_count=least_count,
        dispersion=phi,
        method=method,
    )


def likelihood_ratio_pair(
    good_rate: float,
    bad_rate: float,
    *,
    false_alarm: float = 0.05,
    miss: float = 0.05,
    least_count: int = 2,
    dispersion: float = 1.0,
) -> RateDecision:
    """Return the rule of a watch: a pair of likelihood-ratio e-processes that hold each error at every moment.

    Parameters
    ----------
    good_rate, bad_rate, false_alarm, miss, least_count, dispersion
        As in `rate_decision`; ``least_count`` is 2 here, since one event is no recurrence.

    Returns
    -------
    RateDecision
        With the bounds log(1 / false_alarm) and -log(1 / miss).

    Notes
    -----
    Under any rate up to ``good_rate`` the ratio bad over good is a nonnegative supermartingale, under any rate from
    ``bad_rate`` on its inverse is; by Ville's inequality each passes 1 / error with at most that chance, ever (Ramdas,
    Gruenwald, Vovk and Shafer 2023, Statistical Science 38, 576-601). It costs 0 to 4 % more hours than Wald's test.
    """
    base = rate_decision(good_rate, bad_rate, false_alarm=false_alarm, miss=miss)
    return _decision(
        (base.good_rate, base.bad_rate),
        (base.false_alarm, base.miss),
        (-math.log(base.false_alarm), math.log(base.miss)),
        least_count,
        dispersion,
        "likelihood-ratio e-processes, Ville's bound",
    )


@dataclass(frozen=True, slots=True)
class RateBounds(Interval):
    """Bounds of a rate that hold at every moment at once."""

    count: int
    exposure: float
    rate: float

    @property
    def reads(self) -> str:
        """One sentence for the owner of the unit."""
        return (
            f"{self.count} in {digits_text(self.exposure, 4)} so far: between {digits_text(self.low, 3)} and {digits_text(self.high, 3)} "
            f"per unit of observed time ({share_text(self.confidence)}, however often one looks)"
        )


def rate_bounds(
    count: int, exposure: float, *, design_rate: float, confidence: float = 0.95, dispersion: float = 1.0
) -> RateBounds:
    """Bounds of a Poisson rate, valid at every moment however often one looks.

    Parameters
    ----------
    count : int
        Events so far.
    exposure : float
        Observed time so far, above 0.
    design_rate : float
        Rate near which the bounds are to be tightest, chosen before looking (the rate of concern). They are valid for
        every rate whatever is chosen; without a scale hours and seconds would give different answers.
    confidence : float
        Chance that the bounds hold the rate at all moments together.
    dispersion : float
        1, or more where events come in bursts: count and exposure are divided by it.

    Returns
    -------
    RateBounds
        ``.low .high`` per unit of exposure.

    Notes
    -----
    Gamma-Poisson mixture boundary (Howard, Ramdas, McAuliffe and Sekhon 2021, Annals of Statistics 49, 1055-1080,
    from memory; the mixture argument is Robbins 1970, Annals of Mathematical Statistics 41, 1397-1409). With N events
    in t, mixing over gamma(a, b), b = a / design rate, log M = a log b - log Gamma(a) + log Gamma(a + N) - (a + N)
    log(b + t) + rate t - N log rate; the bounds are the rates with log M < -log(1 - confidence), by Ville's
    inequality.
    """
    count = check.whole("count", count)
    exposure = check.positive("exposure", exposure, what="observed time")
    design = check.positive("design_rate", design_rate, what="a rate")
    confidence = check.share("confidence", confidence)
    phi = check.dispersion(dispersion)
    n, t, a = count / phi, exposure / phi, MIXTURE_SHAPE
    b = a / design
    # log M < level  <=>  rate t - n log rate < room
    room = -math.log1p(-confidence) - a * math.log(b / (b + t)) - float(special.gammaln(a + n) - special.gammaln(a))
    room += n * math.log(b + t)
    if n == 0:
        low, high = 0.0, room / t
    else:
        # with u = rate t / n:  u - log u < c, whose two roots enclose 1
        c = max(1.0, room / n + math.log(n / t))
        low, high = sorted(-special.wrightomega(complex(-c, turn)).real * n / t for turn in (math.pi, -math.pi))
    return RateBounds(
        count=count,
        exposure=exposure,
        rate=count / exposure,
        low=low,
        high=high,
        confidence=confidence,
        method="gamma-Poisson mixture, anytime valid",
    )
