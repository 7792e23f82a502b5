"""Mann-Kendall (Hamed-Rao), Theil-Sen and a slope valid under strong autocorrelation: does a level trend or move?

Knows nothing of files, channels or limits. The noise of a bench is correlated and often 1/f: `mann_kendall` and
`theil_sen` assume independent values unless told otherwise, `robust_slope` and `movement_test` (in `_movement`) do
not.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from flicker.base import check
from flicker.base.arrays import Floats, Ints
from flicker.base.formats import digits_text, p_said, share_text
from flicker.base.result import Interval, Tested
from flicker.stats.laws import count_tails
from flicker.stats.levels.kendall_law import MOST_VALUES, discordant_pairs, exact_tails, permuted_tails, slopes_at_ranks
from flicker.stats.levels.movement import Movement, MovementKind, movement_kind, movement_test
from flicker.stats.levels.table_tails import TAILS, tail_chance, tail_value
from flicker.stats.levels.trend_tables import SLOPE_T

__all__ = [
    "MannKendall",
    "Movement",
    "MovementKind",
    "RobustSlope",
    "TheilSen",
    "mann_kendall",
    "movement_kind",
    "movement_test",
    "robust_slope",
    "theil_sen",
]


_BLOCKS = 12


@dataclass(frozen=True, slots=True)
class MannKendall(Tested):
    """Monotone trend: how far later values outrank earlier ones."""

    s: int
    var_s: float
    z: float
    p_normal: float
    tau: float
    tau_b: float
    n: int

    @property
    def reads(self) -> str:
        """One sentence for the owner."""
        if self.s == 0:
            return "later values are neither higher nor lower than earlier ones"
        if not self.shown:
            return f"it is not shown that the values tend to rise or fall ({p_said(self.p_value)})"
        way = "rise" if self.s > 0 else "fall"
        return f"the values tend to {way} ({p_said(self.p_value)})"


def mann_kendall(
    y: ArrayLike,
    x: ArrayLike | None = None,
    *,
    autocorrelation: str = "none",
    alternative: str = "two-sided",
    method: str = "auto",
    seed: int = 0,
    confidence: float = 0.95,
) -> MannKendall:
    """Test for a monotone trend.

    Parameters
    ----------
    y : array_like, shape (n,)
        Values, n at least 3. Round away float noise first: it destroys ties.
    x : array_like, shape (n,), optional
        Times, in any order, repeats allowed; the order of ``y`` when left out.
    autocorrelation : {'none', 'hamed-rao'}
        Correction of the variance for serial correlation. It helps for mild correlation of short memory; under 1/f
        noise use `robust_slope`.
    alternative : {'two-sided', 'greater', 'less'}
        'greater' is a rise.
    method : {'auto', 'exact', 'normal'}
        Of ``p_value``. 'auto' counts all orders of the values up to 60 values (draws 4,999 where many are tied on both
        sides) and takes the normal form beyond, or with a correction for autocorrelation.
    seed : int
        Of the orders drawn.
    confidence : float
        From which `reads` claims anything.

    Returns
    -------
    MannKendall
        ``s``, its variance with ties, ``z`` (one step towards zero; nan where all values are equal, then p is 1),
        ``p_value``, ``p_normal`` from z, ``tau`` (s over all pairs) and ``tau_b``.

    Raises
    ------
    ValueError
        If the arrays are too short, differ in length or are not finite, an option is unknown, or 'exact' is asked where
        it would take too long or with a correction.

    Notes
    -----
    Null of the exact form: independent values in random order, with the ties seen (Kendall 1938, Biometrika 30, 81-93;
    with ties the orders of a multiset). Normal form: Kendall (1975), Rank Correlation Methods, with tie terms on both sides; Hamed and Rao (1998), Journal of Hydrology
    204, 182-196 (ranks of the detrended values, lags beyond 1.96 / sqrt(n)). Where their correction gives a variance
    of zero or less it cannot be used; the uncorrected one stands then, and ``method`` says so. Takes n log n steps.
    """
    values, times = check.series(y, x, least=3)
    confidence = check.share("confidence", confidence)
    autocorrelation = check.one_of("autocorrelation", autocorrelation, ("none", "hamed-rao"))
    alternative = check.one_of("alternative", alternative, ("two-sided", "greater", "less"))
    method = check.one_of("method", method, ("auto", "exact", "normal"))
    seed = check.whole("seed", seed, what="a seed")
    n = values.size
    order = np.lexsort((values, times))
    values, times = values[order], times[order]
    pairs = n * (n - 1) // 2
    tied_y, tied_x = _tie_counts(values), _tie_counts(times)
    both = np.unique(np.column_stack([times, values]), axis=0, return_counts=True)[1] if tied_x.size else tied_x
    in_y, in_x, in_both = (int((t * (t - 1) // 2).sum()) for t in (tied_y, tied_x, both))
    s = pairs - in_y - in_x + in_both - 2 * discordant_pairs(values)
    variance = _kendall_variance(n, tied_y, tied_x)
    how = "normal approximation with ties"
    if autocorrelation == "hamed-rao" and variance > 0:
        factor = _hamed_rao_factor(values, times)
        if factor > 0:
            variance *= factor
            how = f"variance times {digits_text(factor, 4)} (Hamed and Rao)"
        else:
            how = "Hamed-Rao factor not positive, variance uncorrected"
    z = float("nan") if variance <= 0 else (s - np.sign(s)) / float(np.sqrt(variance))
    denominator = float(np.sqrt(float(pairs - in_y) * float(pairs - in_x)))
    tau_b = s / denominator if denominator > 0 else 0.0
    p_value = p_normal = 1.0 if np.isnan(z) else count_tails.normal_p(float(z), alternative)
    tails, few = None, method != "normal" and autocorrelation == "none" and n <= MOST_VALUES
    if few:
        tails = exact_tails(int(s), *(np.unique(side, return_counts=True)[1] for side in (values, times)))
        how = "all orders of the values, exact"
    if tails is None and method == "exact":
        raise ValueError(
            f"method 'exact' needs autocorrelation 'none' and up to {MOST_VALUES} values, few of them tied on both sides; "
            f"got {autocorrelation!r} and {n} values"
        )
    if tails is None and few:
        tails = permuted_tails(int(s), values, times, seed)
        how = "random orders of the values"
    if tails is not None:
        p_value = count_tails.p_value(*tails, alternative)
    return MannKendall(
        s=int(s),
        var_s=float(variance),
        z=float(z),
        p_value=p_value,
        p_normal=p_normal,
        tau=s / pairs,
        tau_b=tau_b,
        n=n,
        method=f"Mann-Kendall test, {how}",
        confidence=confidence,
    )


def _tie_counts(values: Floats) -> Ints:
    counts = np.unique(values, return_counts=True)[1].astype(np.int64)
    return counts[counts > 1]


def _kendall_variance(n: int, tied_y: Ints, tied_x: Ints) -> float:
    """Variance of S with ties on both sides: Kendall 1975."""
    t, u, m = tied_y.astype(np.float64), tied_x.astype(np.float64), float(n)
    first = m * (m - 1) * (2 * m + 5) - (t * (t - 1) * (2 * t + 5)).sum() - (u * (u - 1) * (2 * u + 5)).sum()
    second = (t * (t - 1) * (t - 2)).sum() * (u * (u - 1) * (u - 2)).sum() / (9 * m * (m - 1) * (m - 2))
    third = (t * (t - 1)).sum() * (u * (u - 1)).sum() / (2 * m * (m - 1))
    return float(first / 18 + second + third)


def _hamed_rao_factor(values: Floats, times: Floats) -> float:
    """By how much serial correlation widens that variance: Hamed and Rao 1998."""
    n = values.size
    rest = values - slopes_at_ranks(values, times, (None,))[0] * times
    ranks = _ranks(rest)
    ranks -= ranks.mean()
    size = 1 << int(np.ceil(np.log2(2 * n)))
    spectrum = np.fft.rfft(ranks, size)
    acf = np.fft.irfft(spectrum * spectrum.conj(), size)[:n]
    if acf[0] <= 0:
        return 1.0
    acf /= acf[0]
    lag = np.arange(1, n, dtype=np.float64)
    r = np.where(np.abs(acf[1:]) > 1.959963984540054 / np.sqrt(n), acf[1:], 0.0)
    return float(1 + 2 / (n * (n - 1.0) * (n - 2.0)) * np.sum((n - lag) * (n - lag - 1) * (n - lag - 2) * r))


def _ranks(values: Floats) -> Floats:
    inverse, counts = np.unique(values, return_inverse=True, return_counts=True)[1:]
    last = np.cumsum(counts)
    return np.asarray((last - (counts - 1) / 2.0)[inverse], dtype=np.float64)


@dataclass(frozen=True, slots=True)
class TheilSen(Interval):
    """Median of the slopes between all pairs of points."""

    slope: float
    intercept: float
    pairs: int

    @property
    def reads(self) -> str:
        """One sentence for the owner."""
        ends = f"between {digits_text(self.low, 3)} and {digits_text(self.high, 3)}"
        return f"changes by {digits_text(self.slope, 3)} per unit of time, {ends} ({share_text(self.confidence)})"


def theil_sen(y: ArrayLike, x: ArrayLike | None = None, *, confidence: float = 0.95) -> TheilSen:
    """Fit a line by the median of all pairwise slopes.

    Parameters
    ----------
    y : array_like, shape (n,)
        Values, n at least 3.
    x : array_like, shape (n,), optional
        Times; 0, 1, 2 ... when left out. Pairs at equal times are passed over.
    confidence : float
        Of the interval, which assumes independent values: under correlated noise use `robust_slope` for inference.

    Raises
    ------
    ValueError
        If all times are equal, the arrays are too short, differ in length or are not finite.

    Notes
    -----
    Sen (1968), Journal of the American Statistical Association 63, 1379-1389, with Kendall's variance for ties;
    intercept is the median of y less slope times the median of x. Up to 2,000 points all slopes are listed; beyond,
    the slope of a given rank is searched by counting order changes in n log n steps, so memory stays proportional to
    n.
    """
    values, times = check.series(y, x, least=3)
    confidence = check.share("confidence", confidence)
    check.differing("x", times, each="value")
    n = values.size
    tied_y, tied_x = _tie_counts(values), _tie_counts(times)
    pairs = n * (n - 1) // 2 - int((tied_x * (tied_x - 1) // 2).sum())
    sigma = np.sqrt(max(_kendall_variance(n, tied_y, tied_x), 0.0))
    z = special.ndtri(0.5 + confidence / 2)
    below = max(int(np.round((pairs - z * sigma) / 2)) - 1, 0)
    above = min(int(np.round((pairs + z * sigma) / 2)), pairs - 1)
    slope, low, high = slopes_at_ranks(values, times, (None, below, above))
    intercept = float(np.median(values) - slope * np.median(times))
    return TheilSen(
        slope=slope,
        low=low,
        high=high,
        intercept=intercept,
        pairs=pairs,
        confidence=confidence,
        method="Sen's interval, independent values assumed",
    )


@dataclass(frozen=True, slots=True)
class RobustSlope(Interval):
    """Slope with an inference that holds under strong autocorrelation."""

    slope: float
    p_value: float
    t: float
    critical_t: float
    blocks: int

    @property
    def reads(self) -> str:
        """One sentence for the owner."""
        return (
            f"the level changes by {digits_text(self.slope, 3)} per unit of time, between {digits_text(self.low, 3)} and {digits_text(self.high, 3)} "
            f"({share_text(self.confidence)}, allowing for slow noise)"
        )


def robust_slope(y: ArrayLike, x: ArrayLike | None = None, *, confidence: float = 0.95) -> RobustSlope:
    """Estimate a slope whose interval and p-value hold under white, AR(1) and 1/f noise alike.

    Parameters
    ----------
    y : array_like, shape (n,)
        Values in time order, n at least 3.
    x : array_like, shape (n,), optional
        Times, never falling; gaps and uneven spacing are fine. 0, 1, 2 ... when left out.
    confidence : float
        Of the interval, at most 0.999.

    Raises
    ------
    ValueError
        If times fall or are all equal, the arrays are too short, differ in length or are not finite.

    Notes
    -----
    Least squares of 12 block means (as many as there are values below 12) against their mean times. |t| is compared
    with its distribution under noise with power ~ 1 / f ** 1.1, simulated and tabulated by the number of blocks
    (tests/studies/make_trend_tables.py); the value does not depend on the noise's size nor on n. Below a nominal 5 %
    this rejects at most 7 % under exponents up to 1.2 and less under white and AR(1) noise; only noise whose memory
    is longer than a block, such as AR(1) .98 in fewer than some 600 values, gets past it. It cannot see a step: see
    `movement_test`. Batch means and small-q inference after Ibragimov and Mueller (2010), Journal of Business and
    Economic Statistics 28, 453-468, whose group t-statistics were compared and have far less power here.
    """
    values, times = check.series(y, x, least=3)
    check.rising("x", times)
    confidence = check.share("confidence", confidence)
    if 1 - confidence < TAILS[-1] * (1 - 1e-9):
        raise ValueError(f"confidence must be at most {1 - TAILS[-1]:g} (the table ends there), got {confidence}")
    check.differing("x", times, each="value")
    q = min(_BLOCKS, values.size)
    starts = (np.arange(q) * values.size) // q
    sizes = np.diff(np.append(starts, values.size))
    level = np.add.reduceat(values - values[0], starts) / sizes
    when = np.add.reduceat(times - times[0], starts) / sizes
    when -= when.mean()
    level = level - level.mean()
    sxx = float(when @ when)
    if sxx == 0:
        raise ValueError("x must spread over more than one block: nearly all times are equal")
    slope = float(when @ level) / sxx
    rest = level - slope * when
    spread = float(rest @ rest)
    if spread <= 1e-24 * float(level @ level):  # an exact line, or a constant: rounding is all that is left
        spread = 0.0
    error = float(np.sqrt(spread / (q - 2) / sxx))
    critical = tail_value(SLOPE_T[q], 1 - confidence)
    t = slope / error if error > 0 else (0.0 if slope == 0 else float(np.copysign(np.inf, slope)))
    method = f"{q} block means, critical values for 1/f noise"
    half = critical * error
    return RobustSlope(
        slope=slope,
        low=slope - half,
        high=slope + half,
        p_value=tail_chance(SLOPE_T[q], abs(t), float(q - 2)),
        t=t,
        critical_t=critical,
        blocks=q,
        confidence=confidence,
        method=method,
    )
