"""How power-ups differ by themselves: the grid of that scatter, its prior, and the likelihood of counts given it.

The scatter c is the coefficient of variation of a gamma factor of mean 1 by which the rate of a power-up differs, so
that its count is negative binomial (Greenwood and Yule 1920, Journal of the Royal Statistical Society 83, 255-279;
Lawless 1987, Canadian Journal of Statistics 15, 209-225).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from flicker.base import check
from flicker.base.arrays import Floats, Ints
from flicker.base.roots import fewest
from flicker.stats.laws.count_tails import poisson_at_most

# Prior's scale where nothing else is said: power-ups of one unit often differ by up to a half. Common practice, no source.
PRIOR_DOF = 3  # what is taken for how units, or their sizes, differ is worth so many of them; common practice, no source
SCATTER = 0.5
WIDER = 1.4  # times the scale with three power-ups, or one on one side: measured in tests/studies/results/power_ups.md
ALONE = 1.5  # times the scale, taken as known, with one power-up a side: the same study
GRID = np.array([0.02, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.75, 0.9, 1.1, 1.35, 1.65, 2.0, 2.5])  # .02 stands for none
LARGEST_FOR_A_RATE = 1.1  # beyond, the upper limit of a rate from two power-ups has no end: the same study
MOST_AT_ONCE = 2_000_000  # elements of one array


@dataclass(frozen=True, slots=True)
class Scatter:
    """Values of the scatter and the logarithms of their weights (they sum to 1)."""

    values: Floats
    log_weights: Floats

    @property
    def squares(self) -> Floats:
        """The variance of the factor."""
        return self.values**2


def half_normal(scale: float) -> Scatter:
    """Half-normal weights on the grid (after Gelman 2006, Bayesian Analysis 1, 515-534)."""
    log_weights = np.log(np.gradient(GRID)) - 0.5 * (GRID / scale) ** 2
    return Scatter(GRID, log_weights - special.logsumexp(log_weights))


def known(value: float) -> Scatter:
    """One scatter, taken as known."""
    return Scatter(np.array([max(value, 1e-4)]), np.zeros(1))


def up_to(scatter: Scatter, most: float) -> Scatter:
    """Return the same without what is beyond ``most`` (the smallest value always stays)."""
    keep = scatter.values <= max(most, scatter.values[0])
    return Scatter(scatter.values[keep], scatter.log_weights[keep])


def counts_part(counts: Ints, squares: Floats) -> Floats:
    """Sum over power-ups of log prod_{i<n} (1 + i c^2), for each c^2; shape (scatters,)."""
    # gammaln loses digits where c^2 is small and n is not, so that the product is summed; long ones by the integral of
    # the logarithm would save nothing here.
    most = int(counts.max(initial=0))
    steps = np.arange(most, dtype=np.float64)[:, None]
    table = np.vstack((np.zeros((1, squares.size)), np.cumsum(np.log1p(steps * squares), axis=0)))
    return np.asarray(table[counts].sum(axis=0))


def integrated(counts: Ints, weights: Floats, squares: Floats) -> Floats:
    """Log likelihood of the counts with the level of the rate integrated out under a flat prior of its logarithm.

    Parameters
    ----------
    counts : array, shape (power-ups,)
        Episodes.
    weights : array, shape (rows, power-ups)
        Expected episodes at level 1, above 0, for each row (one row per growth).
    squares : array, shape (scatters,)
        Variance of the factor.

    Returns
    -------
    array, shape (rows, scatters)
        But for terms that depend on the counts alone.

    Notes
    -----
    Integrated likelihood: Berger, Liseo and Wolpert 1999, Statistical Science 14, 1-28. The log likelihood is concave
    in the log level; its mode is found by Newton's method, and the trapezoidal rule over six curvature widths on each
    side integrates.
    """
    rows_at_once = max(1, MOST_AT_ONCE // (squares.size * NODES.size * counts.size))
    parts = [weights[begin : begin + rows_at_once] for begin in range(0, weights.shape[0], rows_at_once)]
    return np.concatenate([_log_sum(at_levels(counts, part, squares)[1]) for part in parts])


def _log_sum(logs: Floats) -> Floats:
    """Logarithm of the sum over the last axis; scipy's `logsumexp` asks four times as long what kind of array it got."""
    top = logs.max(axis=-1)
    out: Floats = top + np.log(np.exp(logs - top[..., None]).sum(axis=-1))
    return out


def at_levels(counts: Ints, weights: Floats, squares: Floats) -> tuple[Floats, Floats]:
    """Nodes of the log level and the log likelihood there, with the logarithm of their width.

    Arguments as in `integrated`; both of shape (rows, scatters, nodes).
    """
    n = counts.astype(np.float64)
    total = max(float(n.sum()), 0.5)
    # from the pooled level, which is left of no mode by more than the spread of the log weights
    level = np.repeat(np.log(total / weights.sum(axis=1))[:, None], squares.size, axis=1)
    # Power-ups of which the same is expected enter by their sums; power-ups come first, so that sums over them are of whole arrays.
    kinds, kind = np.unique(weights.T, axis=0, return_inverse=True)
    kind = kind.reshape(-1)  # numpy 2.0 gives a column
    scaled = kinds[:, :, None] * squares
    shape = (np.bincount(kind, n)[:, None] + np.bincount(kind)[:, None] / squares)[:, None]
    bend = np.ones_like(level)
    for _ in range(60):
        share = scaled * np.exp(level)
        share /= 1.0 + share
        part = shape * share
        slope = total - part.sum(axis=0)
        bend = (part * (1.0 - share)).sum(axis=0)
        move = np.clip(slope / np.maximum(bend, 1e-12), -1.0, 1.0)
        level += move
        if float(np.abs(move).max()) < 1e-6:
            break
    width = 1.0 / np.sqrt(np.maximum(bend, 1e-12))
    nodes = level[..., None] + width[..., None] * NODES
    like = n.sum() * nodes
    height = np.exp(nodes)
    for of_scatter, times in zip(shape, scaled, strict=True):
        like -= of_scatter[..., None] * np.log1p(height * times[..., None])
    fixed = (np.log(weights) @ n)[:, None] + counts_part(counts, squares)
    return nodes, like + (np.log(width) + fixed)[..., None]


NODES = np.linspace(-6.0, 6.0, 25)


def quantile(x: Floats, weights: Floats, share: float) -> float:
    """Quantile of a law on a grid, between the middles of its cells."""
    below = np.cumsum(weights) - 0.5 * weights
    return float(np.interp(share, below / weights.sum(), x))


def normalised(log_weights: Floats, axis: int | None = None) -> Floats:
    """Weights that sum to 1 over ``axis`` (over all where None)."""
    top = log_weights.max(axis=axis, keepdims=axis is not None)
    weights = np.exp(log_weights - top)
    return np.asarray(weights / weights.sum(axis=axis, keepdims=axis is not None))


def checked(
    counts: object, exposures: object, *, least: int = 1, what: str = "exposures", counted: str = "counts"
) -> tuple[Ints, Floats]:
    """Check counts and exposures (or expectations) of power-ups.

    Raises
    ------
    ValueError
        If they do not fit together, an exposure is below 0, or a power-up without exposure holds an episode.
    """
    n = check.whole_array(counted, counts, least=least)  # type: ignore[arg-type]
    e = check.paired(what, exposures, n.size, each=f"power-up in {counted}")  # type: ignore[arg-type]
    if e.size and e.min() < 0:
        raise ValueError(f"{what} must be 0 or more, got {e.min()}")
    bad = np.flatnonzero((e == 0) & (n > 0))
    if bad.size:
        raise ValueError(f"{what} must be above 0 where episodes were counted, got 0 at index {bad[0]}")
    return n, e


def observed(
    counts: object, exposures: object, *, what: str = "exposures", counted: str = "counts"
) -> tuple[Ints, Floats]:
    """Return counts and exposures of the power-ups that were observed, one at least, checked."""
    n, e = checked(counts, exposures, what=what, counted=counted)
    if not e.any():
        raise ValueError(f"{what} must be above 0 for one power-up or more, got none")
    return n[e > 0], e[e > 0]


def in_order(
    counts: object, expected: object, order: ArrayLike | None, *, least: int = 1
) -> tuple[Ints, Floats, Floats]:
    """Return counts, expectations and places in the order of the power-ups that were observed, checked."""
    n, e = checked(counts, expected, least=least, what="expected")
    x = check.paired("order", order, n.size, each="power-up")
    keep = e > 0
    return n[keep], e[keep], x[keep]


def scaled(places: Floats) -> Floats:
    """Places in an order about their middle, on a range of 1."""
    return np.asarray((places - places.mean()) / float(np.ptp(places)))


def checked_scale(scatter: float) -> float:
    """Check the prior's scale."""
    scale = check.positive("scatter", scatter, what="the scale on which power-ups differ")
    if scale > float(GRID[-1]):
        raise ValueError(f"scatter must be at most {GRID[-1]:g}, got {scale:g}")
    return scale


def first_count(below: Callable[[float], float], share: float) -> int:
    """Smallest count that is reached or fallen short of with that chance; ``below(k)`` is the chance of at most k."""
    return fewest(lambda count: below(count - 1) >= share, most=2**40) - 1


def count_range(mean: Floats, cv: float, confidence: float) -> tuple[Floats, Floats]:
    """Range that holds the count of a power-up with that mean, were power-ups to differ by ``cv`` (negative binomial).

    Each end is the quantile of the discrete law that leaves at most half of the rest beyond it; arrays of the shape of
    ``mean``. At no scatter the law is Poisson's.
    """
    tail = 0.5 * (1.0 - confidence)
    shape = 1.0 / cv**2 if cv >= 1e-3 else math.inf

    def below(count: int, mu: float) -> float:
        if math.isinf(shape):
            return poisson_at_most(count, mu)
        return float(special.betainc(shape, count + 1.0, shape / (shape + mu)))

    means = np.maximum(np.asarray(mean, dtype=np.float64), 1e-12)
    least, most = (
        np.array([first_count(partial(below, mu=mu), share) for mu in means.ravel()], dtype=np.float64).reshape(means.shape)
        for share in (tail, 1.0 - tail)
    )
    return least, most
