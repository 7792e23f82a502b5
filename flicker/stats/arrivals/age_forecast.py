"""How many episodes at the next visit, if the growth goes on? Runs of known age in; an expected count with limits out."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Annotated

import numpy as np
from numpy.typing import ArrayLike

from flicker.base import check
from flicker.base.described import Doc
from flicker.base.result import Result
from flicker.stats.arrivals import arrival_runs as ar
from flicker.stats.arrivals.age_regression import Fit, fit_growth

DRAWS = 20_000


@dataclass(frozen=True, slots=True)
class AgeForecast(Result):
    """Episodes to expect in runs of given length at a given age.

    ``expected`` with ``expected_low`` and ``expected_high`` is the mean; ``low`` and ``high`` enclose the count itself.
    """

    age: Annotated[float, Doc("Age of the next visit: days since the first (numbers of visits without dates).")]
    exposure: Annotated[float, Doc("Its observed seconds, as at the last visit.", ge=0)]
    expected: Annotated[float, Doc("Expected episodes.", ge=0, open=True)]
    expected_low: Annotated[float, Doc("Lower limit of that.", ge=0, null=True)]
    expected_high: Annotated[float, Doc("Upper limit of that.", ge=0, open=True)]
    low: Annotated[float, Doc("Lower limit of the count itself.", ge=0, null=True)]
    high: Annotated[float, Doc("Upper limit of the count.", ge=0, open=True)]
    confidence: Annotated[float, Doc("Confidence of both, a share.")]
    seed: Annotated[int, Doc("Seed of the draws.", ge=0)]
    method: Annotated[str, Doc("Method in words.")]

    @property
    def reads(self) -> str:
        """The forecast in words."""
        return f"{self.expected:.3g} episodes expected, {self.low:.0f} to {self.high:.0f} likely."


def age_forecast(
    times: ar.Times,
    ends: ArrayLike,
    ages: ArrayLike,
    *,
    at: float,
    planned_ends: ArrayLike,
    confidence: float = 0.95,
    seed: int = 0,
) -> AgeForecast:
    """Forecast the count of episodes in planned runs at another age, if the growth goes on.

    Parameters
    ----------
    times, ends, ages
        As in `age_regression`.
    at : float
        Age of the planned runs.
    planned_ends : array_like
        Their observed lengths; none longer than the longest run seen.
    confidence : float
        Of both intervals.
    seed : int
        Of the 20,000 draws.

    Raises
    ------
    ValueError
        As `age_regression`; and if a planned run is longer than any seen, since nothing is known of such times.

    Notes
    -----
    The growth is drawn from its confidence distribution, the level from a gamma with the episodes counted (over their
    dispersion), the count from a Poisson law widened for bursts and, from five runs on, for runs that differ.
    """
    confidence = check.share("confidence", confidence)
    at = float(check.finite_array("at", [at])[0])
    planned = check.finite_array("planned_ends", planned_ends)
    fit, runs = fit_growth(times, ends, ages)
    if np.any(planned <= 0) or planned.max() > runs.ends.max() * (1 + 1e-9):
        raise ValueError(
            f"planned_ends must lie above 0 and up to the longest run seen ({runs.ends.max():g}), got {planned.tolist()}"
        )
    tail = 0.5 * (1.0 - confidence)
    rng = np.random.default_rng(check.whole("seed", seed, what="a seed"))
    growth = np.clip(fit.quantiles(rng.uniform(1e-4, 1.0 - 1e-4, DRAWS)), -fit.reach, fit.reach)
    chi2, dof, each = fit.between
    bursts, dispersion = fit.bursts, fit.dispersion
    n = float(runs.counts.sum())
    middle = _mean(fit, planned, at, np.array([min(max(fit.best, -fit.reach), fit.reach)]))[0]
    mean = _mean(fit, planned, at, growth) * rng.gamma((n + 0.5) / dispersion, dispersion / n, DRAWS)
    lowest, highest = (float(q) for q in np.quantile(mean, (tail, 1.0 - tail)))
    drawn = np.minimum(mean, 1e15)
    if dof > 0:
        # Runs that differ do so by a factor: its variance, with the error of its estimate.
        factor = np.maximum(chi2 / rng.chisquare(dof, DRAWS) - bursts, 0.0) / each / planned.size
        wide = factor > 1e-9
        drawn[wide] *= rng.gamma(1.0 / factor[wide], factor[wide])
    if bursts > 1.0 + 1e-9:
        drawn = rng.gamma(np.maximum(drawn, 1e-12) / (bursts - 1.0), bursts - 1.0)
    count = rng.poisson(np.minimum(drawn, 1e15))
    low, high = (float(q) for q in np.quantile(count, (tail, 1.0 - tail), method="inverted_cdf"))
    # A growth without an upper end has no forecast either.
    open_end = (at > fit.partial.age.max() and math.isinf(fit.interval(confidence)[1])) or highest > 1e12
    return AgeForecast(
        age=at,
        exposure=float(planned.sum()),
        expected=math.inf if math.isinf(fit.best) and middle > 1e6 else float(middle),
        expected_low=lowest,
        expected_high=math.inf if open_end else highest,
        low=low,
        high=math.inf if open_end else high,
        confidence=confidence,
        seed=seed,
        method="growth and level drawn from their confidence distributions, counts widened by the dispersion",
    )


def _mean(fit: Fit, planned: ar.Floats, at: float, growth: ar.Floats) -> ar.Floats:
    """Expected episodes in the planned runs for each growth, shape (growths,)."""
    partial = fit.partial
    out = np.zeros(growth.size)
    begin = np.concatenate(([0.0], partial.edges[:-1]))
    for k, edge in enumerate(partial.edges):
        seen = float(partial.all_counts[k].sum())
        if seen == 0:
            continue
        # How much of this stretch of time since power-up the planned runs cover, in whole runs.
        cover = float(np.sum(np.clip((planned - begin[k]) / (edge - begin[k]), 0.0, 1.0)))
        at_risk = partial.age[partial.all_risk[k] > 0]
        weight = np.exp(np.clip(growth[:, None] * (at_risk - at), -700.0, 700.0)).sum(axis=1)
        out += seen * cover / weight
    return out
