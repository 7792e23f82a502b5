"""Textbook tests of a change, for independent values only: Pettitt, breaks by BIC, and one split of Poisson counts.

They never decide a verdict: under the correlated noise of a bench they find changes that are not there.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from flicker.base import check
from flicker.base.formats import p_said
from flicker.base.result import Result
from flicker.stats.levels.best_cuts import best_cuts
from flicker.stats.rates.dispersion import checked_windows

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
MOST_VALUES = 2000  # of least_squares_breaks: memory goes with the square
SIMULATIONS = 1999
SIMULATED_AT_MOST = 2_000_000


@dataclass(frozen=True, slots=True)
class PettittTest(Result):
    """Largest rank difference between values before and after a place; ``index`` is the first value after it."""

    statistic: int
    index: int
    p_value: float
    n: int
    method: str

    @property
    def reads(self) -> str:
        """One sentence for the owner."""
        if self.p_value >= 0.05:
            return f"no shift of the values is shown ({p_said(self.p_value)}, independent values assumed)"
        return f"the values shift at number {self.index} ({p_said(self.p_value)}, independent values assumed)"


def pettitt_test(y: ArrayLike) -> PettittTest:
    """Pettitt's test for one shift of independent values.

    Not for a bench log: it assumes independent values, and under AR(1) .9 or 1/f noise calls a shift in most steady
    logs. Use `level_changes` there; this serves run-by-run values that are independent, and comparison.

    Parameters
    ----------
    y : array_like, shape (n,)
        Values in time order, 3 or more.

    Returns
    -------
    PettittTest
        ``statistic`` is K, ``index`` the first value of the new stretch, ``p_value`` the published approximation.

    Raises
    ------
    ValueError
        For fewer than 3 values or values that are not finite.

    Notes
    -----
    Null: values in random order. Pettitt (1979), Applied Statistics 28, 126-135, with p = 2 exp(-6 K^2 / (n^3 + n^2)),
    at most 1. Measured at a nominal 5 % (2,000 logs, ``tests/studies/results/calibration_changes.md``): rejects
    0 to 1.8 % at 5 to 20 independent values, 2.5 to 4.5 % at 50 to 500; 59 to 99 % under AR(1) .9 and 31 to 100 %
    under 1/f noise from 20 values on.
    """
    values = check.finite_array("y", y, least=3)
    n = values.size
    inverse, counts = np.unique(values, return_inverse=True, return_counts=True)[1:]
    ranks = (2 * np.cumsum(counts) - counts + 1)[inverse]  # twice the mid-rank, so that all stays whole
    u = np.cumsum(ranks)[:-1] - np.arange(1, n) * (n + 1)
    at = int(np.argmax(np.abs(u)))
    k = int(abs(u[at]))
    p = min(1.0, 2.0 * math.exp(-6.0 * k**2 / (float(n) ** 3 + float(n) ** 2)))
    return PettittTest(k, at + 1, p, int(n), "Pettitt test, published approximation, independent values assumed")


@dataclass(frozen=True, slots=True)
class LeastSquaresBreaks(Result):
    """Breaks of level by least squares; ``bic`` and ``rss`` are those of 0, 1, 2, ... breaks."""

    breaks: tuple[int, ...]
    levels: Floats
    bic: Floats
    rss: Floats
    n: int
    method: str

    @property
    def reads(self) -> str:
        """One sentence for the owner."""
        many = f"{len(self.breaks)} break{'' if len(self.breaks) == 1 else 's'}"
        return f"{many} of level would fit best if the values were independent; that proves no change"


def least_squares_breaks(y: ArrayLike, *, max_breaks: int = 5, shortest_share: float = 0.15) -> LeastSquaresBreaks:
    """Place breaks of level by least squares and choose their number by BIC.

    It describes and never decides: in steady white noise BIC finds a false break in a few of a hundred logs, in
    autocorrelated or 1/f noise in nearly all. For evidence use `level_changes`.

    Parameters
    ----------
    y : array_like, shape (n,)
        Values in time order, 4 to 2,000.
    max_breaks : int
        Most breaks tried.
    shortest_share : float
        Least share of the values in a stretch (at least 2 values).

    Returns
    -------
    LeastSquaresBreaks
        ``breaks`` are the first values of the new stretches.

    Raises
    ------
    ValueError
        For too few or too many values, values that are not finite or all equal, or an argument out of range.

    Notes
    -----
    Assumes independent normal values of one variance. Bai and Perron (2003), Journal of Applied Econometrics 18, 1-22,
    by dynamic programming; BIC counts a mean and a place for each stretch, as the R package strucchange does (two
    parameters per stretch). Measured (2,000 logs, ``tests/studies/results/calibration_changes.md``), any break where there is
    none: 35 % at 5 to 10 independent values, 19 % at 20, 7 % at 50, 4 % at 100; 64 to 100 % under AR(1) .9, 45 to
    100 % under 1/f noise.
    """
    values = check.finite_array("y", y, least=4)
    most = check.whole("max_breaks", max_breaks, what="a number of breaks")
    share = check.share("shortest_share", shortest_share)
    n = values.size
    if n > MOST_VALUES:
        raise ValueError(f"y must hold at most {MOST_VALUES} numbers (take block means of more), got {n}")
    if float(np.ptp(values)) == 0.0:
        raise ValueError(f"y must hold differing numbers, got {n} times {values[0]:g}")
    cuts = [(), *best_cuts(values, most, max(2, math.floor(share * n + 1e-9)))]
    parts = [np.split(values, list(cut)) for cut in cuts]
    rss = np.array([sum(float(np.sum((part - part.mean()) ** 2)) for part in split) for split in parts])
    stretches = np.arange(1, rss.size + 1)
    with np.errstate(divide="ignore"):
        bic = n * (np.log(rss / n) + 1.0 + math.log(2.0 * math.pi)) + 2.0 * stretches * math.log(n)
    best = int(np.argmin(bic))
    levels = np.array([float(part.mean()) for part in parts[best]])
    return LeastSquaresBreaks(
        tuple(cuts[best]),
        levels,
        bic,
        rss,
        int(n),
        "least squares, number of breaks by BIC, independent values assumed",
    )


@dataclass(frozen=True, slots=True)
class CountChange(Result):
    """The likeliest single change of a Poisson rate in counts; ``index`` is the first window of the new rate."""

    index: int
    rate_before: float
    rate_after: float
    likelihood_ratio: float
    p_value: float
    count: int
    windows: int
    seed: int
    method: str

    @property
    def reads(self) -> str:
        """One sentence for the owner."""
        if self.p_value >= 0.05:
            return f"no change of the rate from window to window is shown ({p_said(self.p_value)})"
        return (
            f"the rate changes with window {self.index + 1}: {self.rate_after:.3g} per unit of observed time after "
            f"{self.rate_before:.3g} ({p_said(self.p_value)})"
        )


def count_change_test(
    counts: Sequence[int] | ArrayLike, exposures: Sequence[float] | ArrayLike | None = None, *, seed: int = 20240513
) -> CountChange:
    """Test for one change of rate in counts per window or per run (`rate_changes` takes the times themselves).

    Parameters
    ----------
    counts : array_like, shape (windows,)
        Events per window or run in time order, two windows or more. Count clusters, not members of a burst.
    exposures : array_like, shape (windows,), optional
        Observed time of each; equal if not given.
    seed : int
        Of the 1,999 simulations.

    Returns
    -------
    CountChange
        Rates per unit of exposure, twice the gain in log-likelihood, and its Monte Carlo p-value over all places.

    Raises
    ------
    ValueError
        For fewer than two windows, more than a million, or a count or exposure out of range.

    Notes
    -----
    Null: one Poisson rate. Given the total the counts are multinomial, so the Monte Carlo p-value holds its level at
    any count; under bursts it does not. Hinkley (1970), Biometrika 57, 1-17, for the likelihood ratio over all places.
    """
    x, e = checked_windows("counts", counts, "exposures", exposures)
    seed = check.whole("seed", seed, what="a seed")
    if not 2 <= x.size <= SIMULATED_AT_MOST // 2:
        raise ValueError(f"counts must hold 2 to {SIMULATED_AT_MOST // 2} windows, got {x.size}")
    n, part = int(x.sum()), np.cumsum(e)[:-1] / e.sum()
    gains = _split_gain(np.cumsum(x)[None, :-1].astype(np.float64), n, part)[0]
    at = int(np.argmax(gains))
    rng, above, done = np.random.default_rng(seed), 0, 0
    rows = max(1, SIMULATED_AT_MOST // x.size)
    slack = 1e-9 * max(1.0, float(gains[at]))
    while done < SIMULATIONS:
        size = min(rows, SIMULATIONS - done)
        drawn = np.cumsum(rng.multinomial(n, e / e.sum(), size=size), axis=1)[:, :-1].astype(np.float64)
        above += int(np.count_nonzero(_split_gain(drawn, n, part).max(axis=1) >= gains[at] - slack))
        done += size
    before = float(x[: at + 1].sum())
    return CountChange(
        at + 1, before / float(e[: at + 1].sum()), (n - before) / float(e[at + 1 :].sum()), float(gains[at]),
        (1 + above) / (SIMULATIONS + 1), n, int(x.size), seed, "Poisson likelihood ratio over all places, Monte Carlo",
    )  # fmt: skip


def _split_gain(before: Floats, n: int, part: Floats) -> Floats:
    """Twice the log-likelihood gained by a rate of its own before each place; ``part`` is the share of exposure."""
    after = n - before
    out: Floats = 2.0 * (
        special.xlogy(before, before / max(n, 1)) - before * np.log(part)
        + special.xlogy(after, after / max(n, 1)) - after * np.log1p(-part)
    )  # fmt: skip
    return np.maximum(out, 0.0)
