"""Likelihood ratio of one change of rate (Raftery-Akman places): does the rate of events change at some moment? Event times in; changes with p-values and places out."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from flicker.base import check
from flicker.base.arrays import Floats, Ints
from flicker.base.formats import digits_text
from flicker.base.result import Result

_TRIM = 0.02  # a change within this share of either end is not looked for: the likelihood has no bound there
_SIMULATED = 2000  # above this many events the null distribution no longer changes


@dataclass(frozen=True, slots=True)
class RateChange(Result):
    """One change of rate."""

    at: float
    low: float
    high: float
    rate_before: float
    rate_after: float
    ratio: float
    likelihood_ratio: float
    p_value: float


@dataclass(frozen=True, slots=True)
class RateChanges(Result):
    """Stretches of constant event rate."""

    changes: tuple[RateChange, ...]
    counts: Ints
    rates: Floats
    p_value: float
    likelihood_ratio: float
    confidence: float
    method: str

    @property
    def reads(self) -> str:
        """One sentence for the owner."""
        if not self.changes:
            return f"no change of rate is shown ({int(self.counts.sum())} events)"
        first = max(self.changes, key=lambda c: c.likelihood_ratio)
        way = "more" if first.rate_after > first.rate_before else "less"
        rates = f"{digits_text(first.rate_after, 3)} per unit of time after {digits_text(first.rate_before, 3)}"
        return f"events come {way} often from {digits_text(first.at, 6)} on: {rates}"


def rate_changes(
    times: ArrayLike,
    end: float,
    *,
    start: float = 0.0,
    confidence: float = 0.95,
    dispersion: float = 1.0,
    max_changes: int = 10,
    simulations: int = 1999,
    seed: int = 20240513,
) -> RateChanges:
    """Find moments at which a Poisson rate changes.

    Parameters
    ----------
    times : array_like, shape (n,)
        Event times in rising order, within ``start`` and ``end``. May be empty.
    end, start : float
        Limits of observation.
    confidence : float
        1 - confidence is the chance of any false change; also the confidence of the intervals of places.
    dispersion : float
        Variance over mean of the counts, 1 or more; the likelihood ratio is divided by it. Count clusters, not
        members of a burst, and estimate it where you can: bursts look like changes of rate.
    max_changes : int
        Stop after this many.
    simulations, seed : int
        Of the null distribution.

    Raises
    ------
    ValueError
        If times are unsorted, outside the observation or not finite, or an argument is out of range.

    Notes
    -----
    Likelihood ratio of one change against none, its largest value over the log but for 2 % at either end. Given the
    number of events, times are uniform when nothing changes, so the p-value is exact by Monte Carlo; beyond the last
    simulated percentile the tail of Miller and Siegmund (1982), Biometrics 38, 1011-1016, joined there. Several
    changes by splitting, with the error shared among the parts. Place: posterior under a flat prior of the place and
    gamma priors of shape 1/2 for the rates (Raftery and Akman 1986, Biometrika 73, 85-89), cut to the equal-tailed
    interval.
    """
    events = check.finite_array("times", times, least=0)
    begin, stop = check.stretch(start, end)
    check.rising("times", events)
    check.inside("times", events, begin, stop)
    confidence = check.share("confidence", confidence)
    dispersion = check.dispersion(dispersion)
    most = check.whole("max_changes", max_changes, what="a number of changes")
    simulations = check.whole("simulations", simulations, least=99, what="a number of simulations")
    seed = check.whole("seed", seed, what="a seed")
    alpha = 1 - confidence
    edges: list[float] = [begin, stop]
    found: dict[float, tuple[float, float]] = {}
    whole_lr, _ = _largest_ratio(events, begin, stop)
    whole_p = _chance(whole_lr / dispersion, events.size, simulations, seed)
    waiting = [(begin, stop, alpha)]
    while waiting and len(found) < most:
        a, b, share = waiting.pop(0)
        inside = events[
            np.searchsorted(events, a, "right" if a > begin else "left") : np.searchsorted(events, b, "right")
        ]
        ratio, at = _largest_ratio(inside, a, b)
        p = _chance(ratio / dispersion, inside.size, simulations, seed)
        if p <= share:
            found[at] = (ratio, p)
            edges = sorted([*edges, at])
            waiting += [(a, at, share / 8), (at, b, share / 8)]  # places chosen by the data leave odd gaps at the ends
    changes = []
    for j, at in enumerate(edges[1:-1], start=1):
        a, b = edges[j - 1], edges[j + 1]
        inside = events[(events > a) & (events <= b)] if a > begin else events[events <= b]
        low, high = _place(inside, a, b, confidence, dispersion)
        n1 = int((inside <= at).sum())
        before, after = n1 / (at - a), (inside.size - n1) / (b - at)
        ratio = after / before if before > 0 else float("inf")
        lr, p = found[at]
        changes.append(
            RateChange(
                at=at, low=min(low, at), high=max(high, at), rate_before=before, rate_after=after, ratio=ratio,
                likelihood_ratio=lr, p_value=p,
            )
        )  # fmt: skip
    borders = np.array(edges)
    counts = np.diff(np.concatenate([[0], np.searchsorted(events, borders[1:], "right")])).astype(np.int64)
    return RateChanges(
        changes=tuple(changes),
        counts=counts,
        rates=counts / np.diff(borders),
        p_value=whole_p,
        likelihood_ratio=whole_lr,
        confidence=confidence,
        method="largest likelihood ratio of one change, p by simulation of uniform times",
    )


def gain_of_split(n1: Ints | Floats, n: int, logs: tuple[Floats, Floats]) -> Floats:
    """Twice the log likelihood ratio for n1 of n events within a share of the time; ``logs`` of that share and of the rest."""
    n2 = n - n1
    return np.asarray(2 * (special.xlogy(n1, n1 / n) - n1 * logs[0] + special.xlogy(n2, n2 / n) - n2 * logs[1]))


def logs_of(share: Floats) -> tuple[Floats, Floats]:
    """Logarithms of a share and of the rest."""
    return np.log(share), np.log1p(-share)


def _largest_ratio(events: Floats, a: float, b: float) -> tuple[float, float]:
    """Largest likelihood ratio of one change between two moments, and its place."""
    n = events.size
    if n < 2:
        return 0.0, a
    share = (events - a) / (b - a)
    count = np.arange(1, n + 1)
    best, place = 0.0, a
    keep = (share >= _TRIM) & (share <= 1 - _TRIM)
    if not keep.any():
        return best, place
    logs = logs_of(share[keep])
    for n1 in (count, count - 1):  # just at an event, or just before it
        gain = gain_of_split(n1[keep], n, logs)
        top = int(np.argmax(gain))
        if gain[top] > best:
            best, place = float(gain[top]), float(events[keep][top])
            if n1 is not count:  # the event opens the new stretch
                place = float(np.nextafter(place, a))
    return best, place


@lru_cache(maxsize=128)
def _null(n: int, simulations: int, seed: int) -> Floats:
    """Law of that ratio for times that are uniform, simulated and sorted."""
    rng = np.random.default_rng((seed, n))
    out = np.empty(simulations)
    batch = max(1, 500_000 // n)
    count = np.arange(1, n + 1)
    for first in range(0, simulations, batch):
        share = np.sort(rng.random((min(batch, simulations - first), n)), axis=1)
        outside = (share < _TRIM) | (share > 1 - _TRIM)
        top = np.zeros(share.shape[0])
        logs = logs_of(np.clip(share, 1e-12, 1 - 1e-12))
        for n1 in (count, count - 1):
            gain = gain_of_split(n1[None, :], n, logs)
            gain[outside] = 0.0
            top = np.maximum(top, gain.max(axis=1))
        out[first : first + share.shape[0]] = top
    return np.sort(out)


def _tail(ratio: float) -> float:
    c = np.sqrt(ratio)
    width = 2 * np.log((1 - _TRIM) / _TRIM)
    return float(np.exp(-ratio / 2) / np.sqrt(2 * np.pi) * ((c - 1 / c) * width + 4 / c))


def _chance(ratio: float, n: int, simulations: int, seed: int) -> float:
    """Chance of a ratio as large where nothing changes."""
    if n < 2:
        return 1.0
    null = _null(min(n, _SIMULATED), simulations, seed)
    join = float(null[int(0.99 * simulations)])
    if ratio > join > 4:
        return float(min(0.01, 0.01 * _tail(ratio) / _tail(join)))
    return float((1 + simulations - np.searchsorted(null, ratio, "left")) / (simulations + 1))


def place_of_change(
    events: Floats, end: float, *, confidence: float = 0.95, dispersion: float = 1.0
) -> tuple[float, float, float]:
    """Most likely place of one change of rate on (0, end) and its interval, whether or not one is shown."""
    _, at = _largest_ratio(events, 0.0, end)
    low, high = _place(events, 0.0, end, confidence, dispersion)
    return at, min(low, at), max(high, at)


def _place(events: Floats, a: float, b: float, confidence: float, dispersion: float) -> tuple[float, float]:
    """Interval of the place of a change, from its posterior."""
    grid = np.linspace(a, b, 4002)[1:-1]
    n1 = np.searchsorted(events, grid, "right")
    n2 = events.size - n1
    log = (
        special.gammaln(n1 + 0.5)
        + special.gammaln(n2 + 0.5)
        - (n1 + 0.5) * np.log(grid - a)
        - (n2 + 0.5) * np.log(b - grid)
    )
    mass = np.cumsum(np.exp((log - log.max()) / dispersion))
    mass /= mass[-1]
    outer = (1 - confidence) / 2
    low, high = np.searchsorted(mass, [outer, 1 - outer])
    return float(grid[low]), float(grid[min(high, grid.size - 1)])
