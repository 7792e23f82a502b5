"""Chi-square test lengths, negative binomial and beta-binomial plans: how long must one watch, and what share of glitches can a sampling meter see? Starts nothing."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy import special

from flicker.base import check
from flicker.base.arrays import Floats
from flicker.base.formats import digits_text, share_text
from flicker.base.result import Result
from flicker.base.roots import fewest


@dataclass(frozen=True, slots=True)
class SeenShare(Result):
    """Share of glitches of a length that leave at least one reading beyond the threshold."""

    share: float
    glitch_length: float
    sample_interval: float
    method: str

    @property
    def reads(self) -> str:
        """One sentence for the owner of the unit."""
        return (
            f"a reading every {digits_text(self.sample_interval, 3)} s can show {share_text(self.share)} of glitches "
            f"{digits_text(self.glitch_length, 3)} s long"
        )


def detectable_share(
    glitch_length: float,
    sample_interval: float,
    integration_time: float = 0.0,
    *,
    needed_fraction: float = 0.5,
    lengths: Literal["fixed", "exponential"] = "fixed",
) -> SeenShare:
    """Share of glitches that a meter can see.

    Parameters
    ----------
    glitch_length : float
        Length of a glitch in seconds (the mean, with exponential lengths), above 0.
    sample_interval : float
        Seconds between readings, above 0.
    integration_time : float
        Seconds over which each reading averages (power-line cycles), 0 to ``sample_interval``; 0 is an instant reading.
    needed_fraction : float
        Threshold over glitch height, in (0, 1]: the share of the integration that the glitch must fill to be
        recognised.
    lengths : {"fixed", "exponential"}
        All alike, or exponentially distributed.

    Returns
    -------
    SeenShare
        ``.share`` in 0..1.

    Notes
    -----
    A rectangular glitch of length L at a random moment fills the fraction f of an integration A at L + A - 2 f A of the
    positions (none if L < f A), so the share is min(1, (L + A - 2 f A) / interval); with exponential lengths its
    mean. Checked by simulation in the tests. Common practice, no source, that a glitch may be taken as rectangular.
    """
    length = check.positive("glitch_length", glitch_length, what="a length in seconds")
    interval = check.positive("sample_interval", sample_interval, what="an interval in seconds")
    aperture = check.positive("integration_time", integration_time, what="a time in seconds", zero=True)
    if aperture > interval:
        raise ValueError(f"integration_time must be at most sample_interval ({interval}), got {aperture}")
    fraction = check.part("needed_fraction", needed_fraction)
    check.one_of("lengths", lengths, ("fixed", "exponential"))
    needed = fraction * aperture
    spare = aperture - needed
    if lengths == "fixed":
        share = 0.0 if length < needed else min(1.0, (length - needed + spare) / interval)
    else:
        # beyond the needed overlap the rest of an exponential length is exponential again
        full = interval - spare
        share = math.exp(-needed / length) * (spare - length * math.expm1(-full / length)) / interval
    return SeenShare(min(1.0, share), length, interval, method="overlap of a rectangular glitch")


__all__ = [
    "CatchPlan",
    "CleanPlan",
    "PowerUpPlan",
    "SeenShare",
    "clean_exposure",
    "detectable_share",
    "hours_to_catch",
    "power_ups_to_catch",
]

MOST_POWER_UPS = 10**15  # where the search ends; a choice


@dataclass(frozen=True, slots=True)
class CatchPlan(Result):
    """Exposure that catches at least one episode with a promised chance."""

    exposure: float
    exposure_if_rate_known: float
    rate: float
    count: float
    base_exposure: float
    confidence: float
    detectable_share: float
    method: str

    @property
    def reads(self) -> str:
        """One sentence for the owner of the unit."""
        if math.isnan(self.count):
            return f"watch for {digits_text(self.exposure, 3)} to see at least one with a chance of {share_text(self.confidence)}"
        return (
            f"watch for {digits_text(self.exposure, 3)} to see at least one with a chance of {share_text(self.confidence)}; "
            f"were the rate known for certain, not from {digits_text(self.count, 3)} episodes, "
            f"{digits_text(self.exposure_if_rate_known, 3)} would do"
        )

    def chance(self, exposure: float) -> float:
        """Chance of at least one episode within ``exposure``."""
        h = check.positive("exposure", exposure, what="observed time", zero=True) * self.detectable_share
        if math.isnan(self.count):
            return -math.expm1(-self.rate * h)
        return -math.expm1(self.count * math.log(self.base_exposure / (self.base_exposure + h)))


def hours_to_catch(
    *,
    rate: float | None = None,
    count: int | None = None,
    exposure: float | None = None,
    confidence: float = 0.95,
    detectable_share: float = 1.0,
    dispersion: float = 1.0,
) -> CatchPlan:
    """Exposure after which at least one episode is seen with the chance ``confidence``.

    Parameters
    ----------
    rate : float, optional
        Episodes per unit of exposure, taken as known. Give this, or ``count`` and ``exposure``.
    count, exposure : int and float, optional
        Episodes seen (1 or more) in how much observed time; their uncertainty is allowed for.
    confidence : float
        Between 0 and 1.
    detectable_share : float
        Share of those episodes that the soak will be able to see, in (0, 1] (see `detectable_share`). It stays 1
        where rate or count come from a meter that sees no more than the one of the soak.
    dispersion : float
        1, or more where episodes come in bursts: the count is divided by it, so that bursts are caught, not single
        episodes.

    Returns
    -------
    CatchPlan
        ``.exposure`` in the unit of the input, ``.exposure_if_rate_known``, ``.chance(exposure)``.

    Raises
    ------
    ValueError
        If neither or both ways are given, ``count`` is 0 (then only an upper limit is known: `clean_exposure`), or a
        value is out of range.

    Notes
    -----
    Rate known: exponential law, -log(1 - confidence) / rate. From a count: the predictive law (T / (T + h))^k = 1 -
    confidence (gamma-Poisson with prior 1 / rate; exact over repeated logs that end with their k-th episode). Over
    logs of fixed length it promises no more than it keeps once some two episodes are expected:
    ``tests/studies/results/soak.md``.
    """
    confidence = check.share("confidence", confidence)
    seen = check.part("detectable_share", detectable_share)
    phi = check.dispersion(dispersion)
    nothing = math.log1p(-confidence)
    if rate is not None:
        if count is not None or exposure is not None:
            raise ValueError("rate must be given alone, or count and exposure instead of it, got both")
        known, k, t = check.positive("rate", rate, what="a rate") / phi, math.nan, math.nan
        hours, method = -nothing / (known * seen), "exponential law, rate known"
    elif count is None or exposure is None:
        raise ValueError("rate, or count and exposure, must be given")
    else:
        k = check.whole("count", count, least=1, what="episodes seen") / phi
        t = check.positive("exposure", exposure, what="observed time")
        known, method = k / t, "predictive, rate from the episodes seen"
        hours = t * math.expm1(-nothing / k) / seen if -nothing / k < 700 else math.inf
    return CatchPlan(
        exposure=hours,
        exposure_if_rate_known=-nothing / (known * seen),
        rate=known,
        count=k,
        base_exposure=t,
        confidence=confidence,
        detectable_share=seen,
        method=method,
    )


@dataclass(frozen=True, slots=True)
class CleanPlan(Result):
    """Exposure that demonstrates a rate below a limit."""

    exposure: float
    max_rate: float
    allowed: int
    confidence: float
    detectable_share: float
    method: str

    @property
    def reads(self) -> str:
        """One sentence for the owner of the unit."""
        seen = "no episode" if self.allowed == 0 else f"at most {self.allowed} episode{'s' if self.allowed > 1 else ''}"
        return f"{digits_text(self.exposure, 4)} observed with {seen} exclude more than {digits_text(self.max_rate, 3)} ({share_text(self.confidence)})"


def clean_exposure(
    max_rate: float, *, confidence: float = 0.95, allowed: int = 0, detectable_share: float = 1.0
) -> CleanPlan:
    """Exposure with at most ``allowed`` episodes that excludes a rate above ``max_rate``.

    Parameters
    ----------
    max_rate : float
        Rate of concern, above 0, per unit of exposure.
    confidence : float
        One-sided, between 0 and 1.
    allowed : int
        Episodes that may be seen: 0, 1, 2, ... Fix it before the soak begins.
    detectable_share : float
        Share of episodes that the meter can see, in (0, 1].

    Returns
    -------
    CleanPlan
        ``.exposure`` in the unit of 1 / ``max_rate``.

    Notes
    -----
    Half the chi-square quantile with 2 * allowed + 2 degrees of freedom, over the rate: the test-length factors of the
    NIST/SEMATECH e-Handbook, 8.3.1.
    """
    rate = check.positive("max_rate", max_rate, what="a rate")
    confidence = check.share("confidence", confidence)
    allowed = check.whole("allowed", allowed)
    seen = check.part("detectable_share", detectable_share)
    factor = float(special.gammaincinv(allowed + 1.0, confidence))
    return CleanPlan(
        exposure=factor / (rate * seen),
        max_rate=rate,
        allowed=allowed,
        confidence=confidence,
        detectable_share=seen,
        method="chi-square, 2 * allowed + 2 degrees of freedom",
    )


@dataclass(frozen=True, slots=True)
class PowerUpPlan(Result):
    """Number of power-ups that catches the fault at least once with a promised chance."""

    power_ups: int
    power_ups_if_share_known: int
    share: float
    confidence: float
    detectable_share: float
    equal_exposure: float
    method: str

    @property
    def reads(self) -> str:
        """One sentence for the owner of the unit."""
        reads = f"{self.power_ups} power-ups show it at least once with a chance of {share_text(self.confidence)}"
        if math.isfinite(self.equal_exposure):
            each = self.equal_exposure / self.power_ups
            reads += f"; worth it where each takes less than {digits_text(each, 3)}, cooling included"
        return reads


def power_ups_to_catch(
    *,
    share: float | None = None,
    hits: int | None = None,
    trials: int | None = None,
    confidence: float = 0.95,
    detectable_share: float = 1.0,
    rate: float | None = None,
) -> PowerUpPlan:
    """Power-ups after which the fault has shown at least once with the chance ``confidence``.

    Parameters
    ----------
    share : float, optional
        Chance that one power-up shows it, in (0, 1], taken as known. Give this, or ``hits`` and ``trials``.
    hits, trials : int, optional
        Power-ups that showed it (1 or more), of how many; their uncertainty is allowed for.
    confidence : float
        Between 0 and 1.
    detectable_share : float
        Share of the shows that the meter can see, in (0, 1].
    rate : float, optional
        Episodes per unit of running time; given, ``equal_exposure`` is the running time that catches as surely, so that
        starts and hours can be weighed.

    Returns
    -------
    PowerUpPlan
        ``.power_ups``, ``.power_ups_if_share_known``, ``.equal_exposure`` (NaN without ``rate``).

    Notes
    -----
    Share known: log(1 - confidence) / log(1 - share), rounded up (the success-run rule). From hits: the predictive
    law under beta(hits, misses + 1), whose lower quantiles are the Clopper-Pearson limits. Assumes that power-ups are
    alike and independent (cooled down each time, where the fault needs the cold).
    """
    confidence = check.share("confidence", confidence)
    seen = check.part("detectable_share", detectable_share)
    nothing = math.log1p(-confidence)
    equal = math.nan if rate is None else -nothing / (check.positive("rate", rate, what="a rate") * seen)
    if share is not None:
        if hits is not None or trials is not None:
            raise ValueError("share must be given alone, or hits and trials instead of it, got both")
        p = check.part("share", share)
        needed, method = _success_run(p * seen, nothing), "success run, share known"
    elif hits is None or trials is None:
        raise ValueError("share, or hits and trials, must be given")
    else:
        k = check.whole("hits", hits, least=1, what="power-ups that showed it")
        m = check.whole("trials", trials, least=k, what="a number of power-ups, hits or more")
        p, method = k / m, "predictive, share from the power-ups seen"
        enough = nothing + 1e-10  # a number that meets the confidence exactly must not be lost to rounding
        needed = fewest(lambda number: _log_mean_miss(float(k), float(m - k + 1), seen, number) <= enough, most=MOST_POWER_UPS)
    return PowerUpPlan(
        power_ups=needed,
        power_ups_if_share_known=_success_run(p * seen, nothing),
        share=p,
        confidence=confidence,
        detectable_share=seen,
        equal_exposure=equal,
        method=method,
    )


def _log_mean_miss(a: float, b: float, seen: float, n: int) -> float:
    """Logarithm of the mean of (1 - seen p)^n under beta(a, b).

    The trapezoid rule in log-odds of p; the hypergeometric series loses all digits for large n.
    """
    if seen == 1.0:
        return float(special.betaln(a, b + n) - special.betaln(a, b))

    def log_density(x: Floats) -> Floats:
        p = special.expit(x)
        return np.asarray(
            a * special.log_expit(x) + b * special.log_expit(-x) + special.xlog1py(n, -seen * p) - special.betaln(a, b)
        )

    x = np.linspace(-80.0, 80.0, 8001)
    for _ in range(3):  # close in on the part that counts, however narrow
        y = log_density(x)
        part = np.flatnonzero(y > y.max() - 45.0)
        x = np.linspace(x[max(0, part[0] - 1)], x[min(x.size - 1, part[-1] + 1)], 8001)
    return float(special.logsumexp(log_density(x)) + math.log(x[1] - x[0]))


def _success_run(share: float, log_miss: float) -> int:
    return 1 if share >= 1.0 else max(1, math.ceil(log_miss / math.log1p(-share) - 1e-12))
