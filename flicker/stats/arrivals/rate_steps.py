"""How often has the rate changed, and when? Best places by exact search (ruptures), each change tested between its neighbours (stepwise); event times or counts in, steps out."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from flicker.base import check
from flicker.base.arrays import Floats
from flicker.base.result import Result
from flicker.stats.arrivals.rate_since import FEWEST_EVENTS, FEWEST_UNITS, RateSince, rate_since, rate_since_unit
from flicker.stats.laws import count_tails as ct
from flicker.stats.laws import scatter as sc
from flicker.stats.levels.change_search import best_cuts

MOST = 4  # changes; more of them are a rhythm, which no list of moments describes: a choice
PER_CELL, CELLS, SHORTEST = 2, (8, 96), 2  # events per cell of a run, fewest and most cells, cells or units of a stretch: as `rate_since`
LOOKED = 0.05  # two-sided p above which no claim is made, so that a search for more need not go on: by definition of the claims
METHOD = "best places by least squares of the roots of counts (exact search, ruptures), each tested between its neighbours"


@dataclass(frozen=True, slots=True)
class RateSteps(Result):
    """Changes of rate, for one change, two, ... the best places of so many that may be claimed.

    ``tried`` holds them by number; only one change stands there whether it is shown or not.
    """

    tried: tuple[tuple[RateSince, ...], ...]
    confidence: float
    method: str

    @property
    def p_values(self) -> tuple[float, ...]:
        """Of each number of changes, both ways together: of the least sure one, times their number (Bonferroni)."""
        return tuple(min(1.0, float(len(part) * max(one.p_value for one in part))) for part in self.tried)

    @property
    def p_value(self) -> float:
        """The smallest of them: of any change at all."""
        return min(self.p_values)

    def shown(self, level: float) -> tuple[RateSince, ...]:
        """The most changes of which each is shown at ``level``, both ways together, given the others."""
        return max((part for part, p in zip(self.tried, self.p_values, strict=True) if p <= level), key=len, default=())

    @property
    def reads(self) -> str:
        """The changes in words, at half of 1 - confidence."""
        found = self.shown(0.5 * (1.0 - self.confidence))
        return "; ".join(one.reads for one in found or self.tried[0])


def rate_steps(
    times: ArrayLike,
    end: float,
    *,
    start: float = 0.0,
    falls_from: float | None = None,
    dead_time: float = 0.0,
    shortest: float = 0.0,
    confidence: float = 0.95,
    seed: int = 0,
) -> RateSteps:
    """Did the rate change within one run, how often, and when?

    Parameters
    ----------
    times, end, start, falls_from, dead_time, confidence, seed
        As in `rate_since`.
    shortest : float
        Shortest stretch between two changes (a day, where the hours of the day are to be no change).

    Raises
    ------
    ValueError
        As `rate_since`.

    Notes
    -----
    One change is tested in the whole run. For two, three and four the best places are found by exact search (dynamic
    programming, ruptures) on the roots of counts of equal cells of some two events; then each is tested by `rate_since`
    in the stretch between its neighbours, and all must be shown: each is shown given the others. A p-value is that of
    the least sure change, times their number, for so many stretches could have been cut. The search ends where two
    numbers in a row are not shown, and does not begin where cells scatter no more than Poisson counts do. What is
    wrongly claimed: ``tests/studies/results/rate_since.md``.
    """
    between = check.positive("shortest", shortest, what="a time", zero=True)
    one = rate_since(times, end, start=start, falls_from=falls_from, dead_time=dead_time, confidence=confidence, seed=seed)
    events = np.asarray(times, dtype=np.float64)
    events = events[events >= start]
    cells = int(np.clip(events.size // PER_CELL, *CELLS))
    edges = np.linspace(start, end, cells + 1)
    counts = np.histogram(events, bins=edges)[0].astype(np.float64)
    if one.count < 2 * FEWEST_EVENTS or not _uneven(counts, np.ones(cells)):
        return RateSteps(((one,),), confidence, METHOD)

    def test(a: int, b: int) -> RateSince:
        inside = events[(events >= edges[a]) & (events <= edges[b])]
        return rate_since(
            inside, edges[b], start=edges[a], falls_from=falls_from, dead_time=dead_time, confidence=confidence, seed=seed
        )  # fmt: skip

    inner = int(between / (edges[1] - edges[0]))
    return RateSteps(_tried(one, 2.0 * np.sqrt(counts + 0.25), SHORTEST, inner, test), confidence, METHOD)


def rate_steps_unit(
    counts: Sequence[int] | ArrayLike,
    expected: Sequence[float] | ArrayLike,
    *,
    scatter: float = sc.SCATTER,
    confidence: float = 0.95,
) -> RateSteps:
    """With which power-ups (or visits) did the rate become another, beyond what they differ by themselves?

    Parameters and errors as in `rate_since_unit`, which tests each change between its neighbours; places and number as in
    `rate_steps`, units in place of cells.
    """
    one = rate_since_unit(counts, expected, scatter=scatter, confidence=confidence)
    n, e = np.asarray(counts, dtype=np.float64), np.asarray(expected, dtype=np.float64)
    if not _uneven(n, e):
        return RateSteps(((one,),), confidence, METHOD)

    def test(a: int, b: int) -> RateSince | None:
        if b - a < FEWEST_UNITS:
            return None
        got = rate_since_unit(n[a:b].astype(np.int64), e[a:b], scatter=scatter, confidence=confidence)
        return replace(got, at=got.at + a, low=got.low + a, high=got.high + a)

    return RateSteps(_tried(one, 2.0 * np.sqrt((n + 0.25) * e.mean() / e), SHORTEST, 1, test), confidence, METHOD)


def _uneven(counts: Floats, expected: Floats) -> bool:
    """Whether counts scatter beyond Poisson at all (chi-square, Fisher 1950): without that no two changes are shown."""
    mean = counts.sum() * expected / expected.sum()
    chi = float(((counts - mean) ** 2 / np.maximum(mean, 1e-12)).sum())
    return float(special.chdtrc(counts.size - 1.0, chi)) <= LOOKED


def _tried(
    one: RateSince, roots: Floats, least: int, inner: int, test: Callable[[int, int], RateSince | None]
) -> tuple[tuple[RateSince, ...], ...]:
    """Of each number of changes the best places, where each change may be shown between its neighbours."""
    out: list[tuple[RateSince, ...]] = [(one,)]
    shown = int(one.p_value <= LOOKED)
    for borders in best_cuts(roots, MOST, least)[1:]:
        if min(np.diff(borders)) < inner:
            continue
        edges, found = (0, *borders, roots.size), list[RateSince]()
        for a, b in zip(edges, edges[2:], strict=False):
            got = test(a, b)
            if got is None or len(borders) * got.p_value > LOOKED or (found and got.at <= found[-1].at):
                break
            found.append(got)
        if len(found) == len(borders):
            out.append(tuple(found))
            shown = len(found)
        elif len(borders) > shown + 1:
            break
    return tuple(out)


def dispersed_limits(count: int, exposure: float, dispersion: float, confidence: float) -> tuple[float, float]:
    """Two-sided limits of a rate: Garwood's (1936, Biometrika 28, 437-442) of count and exposure over the dispersion.

    Parameters
    ----------
    count : int
        Events.
    exposure : float
        Time in which they were counted.
    dispersion : float
        Variance of counts over their mean, 1 or more.
    confidence : float
        Of the limits.

    Raises
    ------
    ValueError
        If an argument is out of range.
    """
    count, exposure = check.whole("count", count), check.positive("exposure", exposure, what="a time")
    confidence, dispersion = check.share("confidence", confidence), check.dispersion(dispersion)
    tail, scale = 0.5 * (1.0 - confidence), dispersion / exposure
    return ct.poisson_low(count / dispersion, tail) * scale, ct.poisson_high(count / dispersion, tail) * scale
