"""Negative binomial likelihood: the mean rate over power-ups that differ by themselves, and what further power-ups will bring."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from flicker.base import check
from flicker.base.arrays import Floats, Ints
from flicker.base.formats import digits_text, share_text
from flicker.base.result import Interval, Result
from flicker.base.roots import fewest
from flicker.stats.laws import count_tails
from flicker.stats.laws import scatter as sc

REACH, POINTS, MOST_POINTS = 6.0, 241, 4801  # log rate about the pooled one
MOST_POWER_UPS = 10_000  # of a plan


@dataclass(frozen=True, slots=True)
class MeanRate(Interval):
    """Mean rate over power-ups. ``low`` is 0 without an episode; with one power-up the limits are those of it alone."""

    rate: float
    count: int
    exposure: float
    power_ups: int
    scale: float

    @property
    def reads(self) -> str:
        """The rate in words."""
        of = "of this power-up" if self.power_ups == 1 else f"over {self.power_ups} power-ups"
        return (
            f"{self.count} in {digits_text(self.exposure, 4)} observed: {digits_text(self.rate, 3)} per unit of time, between {digits_text(self.low, 3)} "
            f"and {digits_text(self.high, 3)} ({share_text(self.confidence)} confidence, {of})."
        )


def mean_rate(
    counts: Sequence[int] | ArrayLike,
    exposures: Sequence[float] | ArrayLike,
    *,
    scatter: float = sc.SCATTER,
    confidence: float = 0.95,
) -> MeanRate:
    """Mean rate over power-ups, with an interval that allows for how they differ.

    Parameters
    ----------
    counts, exposures : array, shape (power-ups,)
        Episodes, bursts merged, and observed time of each power-up; one without any takes no part.
    scatter : float
        Scale of the prior of how power-ups differ (half-normal).
    confidence : float
        Of the interval.

    Returns
    -------
    MeanRate
        With one power-up Garwood's exact Poisson limits: nothing tells there how power-ups differ.

    Raises
    ------
    ValueError
        If no time was observed, or an argument is out of range.

    Notes
    -----
    The lower limit takes the prior 1/rate, the upper one a flat prior, so that at no scatter both are the exact limits
    of Garwood (1936, Biometrika 28, 437-442). Scatter up to 1.1 is allowed for. Coverage measured in
    ``tests/studies/results/power_ups.md``.
    """
    n, e = sc.observed(counts, exposures)
    scale, confidence = sc.checked_scale(scatter), check.share("confidence", confidence)
    total, time, tail = int(n.sum()), float(e.sum()), 0.5 * (1.0 - confidence)
    low, high = count_tails.poisson_low(total, tail) / time, count_tails.poisson_high(total, tail) / time
    method = "exact Poisson limits (Garwood)"
    if n.size > 1:
        method = "integrated likelihood over power-ups (negative binomial)"
        law = _law(n, e, scale)
        if total > 0:  # never narrower than one power-up of the whole time, by which a single episode goes past it (0.1 %)
            low = min(low, math.exp(sc.quantile(law.log_rate, law.weights(0.0).sum(axis=0), tail)))
        high = max(high, math.exp(sc.quantile(law.log_rate, law.weights(1.0).sum(axis=0), 1.0 - tail)))
    return MeanRate(
        rate=total / time, low=low, high=high, count=total, exposure=time, power_ups=int(n.size), confidence=confidence, scale=scale,
        method=method,
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Law:
    """Log likelihood on the grid of log rate and scatter; ``weights`` adds the prior of the rate."""

    log_rate: Floats
    like: Floats
    scatter: sc.Scatter

    def weights(self, tilt: float) -> Floats:
        """Weights, shape (scatters, rates); ``tilt`` 0 for the prior 1/rate, 1 for a flat one."""
        return sc.normalised(self.like + tilt * self.log_rate)


def _law(n: Ints, e: Floats, scale: float) -> _Law:
    """Likelihood of rate and scatter given the counts, on a grid wide and fine enough."""
    scatter = sc.up_to(sc.half_normal(scale), sc.LARGEST_FOR_A_RATE)
    total = float(n.sum())
    narrowest = math.sqrt(1.0 / max(total, 1.0) + float(scatter.values[0]) ** 2 / n.size)
    low = REACH + (8.0 / total if 0 < total < 5 else 0.0)  # the law falls off as rate^count to the left
    points = int(min(MOST_POINTS, max(POINTS, 2 * math.ceil(2.0 * REACH / (0.8 * narrowest)) + 1)))
    points += math.ceil((low - REACH) / (2.0 * REACH) * (points - 1))
    log_rate = math.log((total + 0.5) / float(e.sum())) + np.linspace(-low, REACH, points)
    return _Law(log_rate, _likelihood(n, e, log_rate, scatter), scatter)


def _likelihood(n: Ints, e: Floats, log_rate: Floats, scatter: sc.Scatter) -> Floats:
    """Log likelihood with the weights of the scatters, shape (scatters, rates)."""
    c2 = scatter.squares
    like = np.empty((c2.size, log_rate.size))
    mean = np.exp(log_rate)[:, None] * e
    for i, square in enumerate(c2):
        like[i] = n.sum() * log_rate - ((n + 1.0 / square) * np.log1p(square * mean)).sum(axis=1)
    like += (sc.counts_part(n, c2) + scatter.log_weights)[:, None]
    return like


def clean_chance(
    counts: Sequence[int] | ArrayLike,
    exposures: Sequence[float] | ArrayLike,
    power_ups: int,
    length: float,
    *,
    scatter: float = sc.SCATTER,
) -> float:
    """Chance that so many further power-ups of that length stay clean, were nothing repaired.

    Parameters
    ----------
    counts, exposures : array, shape (power-ups,)
        As in `mean_rate`; one episode at least.
    power_ups : int
        Further power-ups, 1 or more.
    length : float
        Observed time of each, above 0, in the unit of the exposures.
    scatter : float
        Scale of the prior of how power-ups differ.

    Returns
    -------
    float

    Raises
    ------
    ValueError
        If no episode was seen (then any rate however small fits), or an argument is out of range.

    Notes
    -----
    Mean of (1 + c^2 mu T)^(-k/c^2) over the law of rate and scatter, prior 1/rate, scatter up to 1.1.
    """
    n, e = sc.observed(counts, exposures)
    if n.sum() == 0:
        raise ValueError("counts must hold one episode or more to predict from, got none")
    k = check.whole("power_ups", power_ups, least=1, what="further power-ups")
    length = check.positive("length", length, what="the observed time of each power-up")
    return _clean(_law(n, e, sc.checked_scale(scatter)), k, length)


def _clean(law: _Law, k: int, length: float) -> float:
    c2 = law.scatter.squares[:, None]
    return float((law.weights(0.0) * np.exp(-k / c2 * np.log1p(c2 * np.exp(law.log_rate) * length))).sum())


@dataclass(frozen=True, slots=True)
class PowerUpSoak(Result):
    """Power-ups of a stated length that will show the fault again; ``miss`` is the chance that they do not."""

    power_ups: int
    length: float
    exposure: float
    miss: float
    confidence: float
    seen_power_ups: int
    scale: float
    method: str

    @property
    def reads(self) -> str:
        """The plan in words."""
        many = f"{self.power_ups} power-up{'s' if self.power_ups > 1 else ''} of {digits_text(self.length, 3)}"
        rest = "; one long run is no substitute" if self.power_ups > 1 else ""
        return f"{many} show the fault again with a chance of {share_text(self.confidence)}{rest}."


def power_ups_to_see(
    counts: Sequence[int] | ArrayLike,
    exposures: Sequence[float] | ArrayLike,
    *,
    length: float | None = None,
    scatter: float = sc.SCATTER,
    confidence: float = 0.95,
) -> PowerUpSoak:
    """How many further power-ups will show the fault again, were nothing repaired?

    Parameters
    ----------
    counts, exposures : array, shape (power-ups,)
        As in `mean_rate`; one episode at least.
    length : float, optional
        Observed time of each further power-up; the mean of those seen where not given.
    scatter : float
        Scale of the prior of how power-ups differ.
    confidence : float
        Chance that at least one episode comes.

    Returns
    -------
    PowerUpSoak

    Raises
    ------
    ValueError
        If no episode was seen, an argument is out of range, or more than 10,000 power-ups would be needed.

    Notes
    -----
    Smallest number of power-ups whose predictive chance of staying clean (`clean_chance`) is at most
    ``1 - confidence``. One long run is no substitute: it is one draw of the factor by which power-ups differ.
    """
    n, e = sc.observed(counts, exposures)
    if n.sum() == 0:
        raise ValueError("counts must hold one episode or more to plan from, got none")
    scale, confidence = sc.checked_scale(scatter), check.share("confidence", confidence)
    each = float(e.mean()) if length is None else check.positive("length", length, what="the time of each power-up")
    law = _law(n, e, scale)
    needed = fewest(lambda number: _clean(law, number, each) <= 1.0 - confidence, most=MOST_POWER_UPS + 1)
    if needed > MOST_POWER_UPS:
        raise ValueError(f"length must be so long that {MOST_POWER_UPS} power-ups are enough, got {each:g}")
    return PowerUpSoak(
        power_ups=needed, length=each, exposure=needed * each, miss=_clean(law, needed, each), confidence=confidence, seen_power_ups=int(n.size), scale=scale,
        method="predictive law over power-ups (negative binomial), rate and scatter from those seen",
    )  # fmt: skip


def clean_power_ups(
    per_power_up: float,
    *,
    scatter: float = sc.SCATTER,
    confidence: float = 0.95,
    clean: Sequence[float] | ArrayLike = (),
) -> int:
    """How many (further) clean power-ups exclude a mean of so many episodes per power-up, at a stated scatter.

    Parameters
    ----------
    per_power_up : float
        Mean number of episodes per power-up to exclude, above 0.
    scatter : float
        Coefficient of variation of their rates, 0 or more.
    confidence : float
        One-sided.
    clean : array, shape (power-ups,)
        Episodes that each power-up found clean so far would have brought on average at that rate. With them the answer
        is how many more are needed, perhaps 0.

    Raises
    ------
    ValueError
        If an argument is out of range.

    Notes
    -----
    k = c^2 ln(1/alpha) / ln(1 + c^2 m), rounded up; ln(1/alpha) / m at no scatter. A clean power-up of another mean m_j
    takes ln(1 + c^2 m_j) off c^2 ln(1/alpha).
    """
    m = check.positive("per_power_up", per_power_up, what="episodes per power-up")
    c2 = check.positive("scatter", scatter, what="how power-ups differ", zero=True) ** 2
    alpha = 1.0 - check.share("confidence", confidence)
    seen = check.finite_array("clean", clean, least=0)
    if seen.size and seen.min() < 0:
        raise ValueError(f"clean must be 0 or more, got {seen.min()}")
    told = float(seen.sum() if c2 == 0 else np.log1p(c2 * seen).sum() / c2)
    needed = (-math.log(alpha) - told) / (m if c2 == 0 else math.log1p(c2 * m) / c2)
    return max(0 if seen.size else 1, math.ceil(needed - 1e-9))


def drawn_rates(
    counts: Ints, exposures: Floats, draws: int, rng: np.random.Generator, *, scale: float, cv: float | None = None
) -> tuple[Floats, Floats]:
    """Mean rates and scatters drawn from their law given the counts of power-ups, shape (draws,) each.

    The law of `clean_chance`, prior 1/rate; at a stated scatter where ``cv`` is given.
    """
    law = _law(counts, exposures, scale)
    if cv is not None:
        scatter = sc.known(cv)
        law = _Law(law.log_rate, _likelihood(counts, exposures, law.log_rate, scatter), scatter)
    weights = law.weights(0.0)
    place = rng.choice(weights.size, draws, p=weights.ravel())
    row, column = np.unravel_index(place, weights.shape)
    return np.exp(law.log_rate[column]), law.scatter.values[row]
