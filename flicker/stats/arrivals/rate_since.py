"""Since when has the rate been another? One change, tested once against bursts, uneven gaps and units that differ: split of block counts (maximal moderated t), permuted gaps, and splits alike on every scale (random cascade); event times or counts in, the change and its place out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from flicker.base import check
from flicker.base.arrays import Floats
from flicker.base.formats import digits_text
from flicker.base.result import Result
from flicker.stats.arrivals.clusters import decluster
from flicker.stats.arrivals.rate_changes import gain_of_split, logs_of, place_of_change
from flicker.stats.laws import scatter as sc
from flicker.stats.laws.scatter import PRIOR_DOF

PER_BLOCK, BLOCKS = 2, (8, 24)  # events per block of a run, fewest and most blocks: tests/studies/results/rate_since.md
LEAST_BLOCKS = 2  # a single odd block, power-up or visit is no change of rate: one bad of eight is as well the last
FEWEST_EVENTS, FEWEST_UNITS = 10, 2 * LEAST_BLOCKS
FEW_UNITS = 4  # up to here the prior is 1.4 times as wide (`scatter.WIDER`): the same study
DRAWS = 20_000  # of the null law of the split
AT_ONCE = 250  # of them; bounds memory: a choice
# Clusters of clusters: each side is halved three times, and pieces of four events or more tell how unevenly halves share.
HALVINGS, LEAST_IN_PIECE = 3, 4
# The place was searched, the law of the split takes it as given: Bonferroni over so many places, fitted by
# study_rate_since.py on random cascades and on one day of a daily rhythm.
PLACES = 3
ORDERS, MOST_GAPS = 999, 300  # orders of the gaps; neighbouring gaps are put together above so many: speed


@dataclass(frozen=True, slots=True)
class RateSince(Result):
    """One change of rate: its place with an interval, the rates on both sides, and one-sided p-values.

    Over units ``at`` is the index of the first unit of the new rate, ``low`` and ``high`` the first and last that may
    be. ``p_up`` speaks for a rise, ``p_down`` for a fall; ``dispersion`` is what counts scatter beyond Poisson once the
    change is taken out (1 or more). Without enough events both p-values are 1.
    """

    at: float
    low: float
    high: float
    rate_before: float
    rate_after: float
    ratio: float
    ratio_low: float
    ratio_high: float
    p_up: float
    p_down: float
    dispersion: float
    count: int
    given: bool
    confidence: float
    method: str

    @property
    def p_value(self) -> float:
        """Twice the smaller one-sided p-value."""
        return min(1.0, 2.0 * min(self.p_up, self.p_down))

    @property
    def reads(self) -> str:
        """The change in words, at half of 1 - confidence."""
        if self.p_value > 0.5 * (1.0 - self.confidence):
            return f"no change of rate is shown ({self.count} events)"
        way = "more" if self.p_up < self.p_down else "less"
        when = (
            f"from {digits_text(self.at, 6)} on"
            if self.given
            else f"since {digits_text(self.at, 6)} (between {digits_text(self.low, 6)} and {digits_text(self.high, 6)})"
        )
        much = f"{digits_text(self.ratio)} times the rate before ({digits_text(self.ratio_low)} to {digits_text(self.ratio_high)})"
        return f"events come {way} often {when}: {much}"


def rate_since(
    times: ArrayLike,
    end: float,
    *,
    start: float = 0.0,
    falls_from: float | None = None,
    dead_time: float = 0.0,
    at: float | None = None,
    confidence: float = 0.95,
    seed: int = 0,
) -> RateSince:
    """Did the rate change once within one run, and since when? For several changes: `rate_steps`.

    Parameters
    ----------
    times : array_like
        Sorted event times of one run, in observed time.
    end, start : float
        Where looking ends and begins; events before ``start`` take no part.
    falls_from : float, optional
        A fall is looked for from here on only (heat: a rate that falls after switch-on is no change), a rise everywhere.
    dead_time : float
        Longest gap inside one burst, fixed before looking; closer events are merged.
    at : float, optional
        A moment given beforehand (a repair, an adjustment): tested as given, and nothing is searched.
    confidence : float
        Of the intervals.
    seed : int
        Of the permutations.

    Returns
    -------
    RateSince
        Each p-value is the largest of three, all demanded.

    Raises
    ------
    ValueError
        If times are unsorted, or an argument is out of range.

    Notes
    -----
    The run is cut into equal blocks of some two events; the roots of their counts are split at every border into two
    levels, and the largest t over the borders is held against its law for independent normal values, simulated: bursts
    widen it, for they scatter the blocks. Its variance is never taken below that of Poisson counts. The second test is
    the largest signed likelihood ratio of a change (`rate_changes`) among permutations of the gaps (of several together
    where there are more than 300), which holds for any law of independent gaps. A rate that wanders, follows the hours of
    one day, or bunches on every scale looks like a change to both. So the third takes for null a random cascade
    (Mandelbrot 1974, Journal of Fluid Mechanics 62, 331-358): the events of any piece are shared out over its two parts
    by a beta law whose scatter is the same on every scale. It is learnt from the halves, quarters and eighths of both
    sides, under the prior of power-ups, and the split of the whole is held against it (beta-binomial). Few events tell
    little of that scatter, so a change is then not shown. Figures: ``tests/studies/results/rate_since.md``. Place: posterior
    of `rate_changes`, the likelihood divided by the dispersion.
    """
    events = check.finite_array("times", times, least=0)
    begin, stop = check.stretch(start, end)
    check.rising("times", events)
    if events.size and events[-1] > stop:
        raise ValueError(f"times must be at most end ({stop:g}), got {events[-1]:g}")
    dead = check.positive("dead_time", dead_time, what="a time", zero=True)
    confidence = check.share("confidence", confidence)
    seed = check.whole("seed", seed, what="a seed")
    where = None if at is None else check.finite("at", at)
    if where is not None and not begin < where < stop:
        raise ValueError(f"at must lie between start ({begin:g}) and end ({stop:g}), got {at!r}")
    late = begin if falls_from is None else check.finite("falls_from", falls_from)
    got = _within(events, begin, stop, dead, where, confidence, seed)
    if late <= begin:
        return got
    if late >= stop or (where is not None and where <= late):
        return replace(got, p_down=1.0)
    settled = _within(events, late, stop, dead, where, confidence, seed)
    return replace(settled if settled.p_down < got.p_up else got, p_up=got.p_up, p_down=settled.p_down)


def _within(
    events: Floats, begin: float, stop: float, dead: float, at: float | None, confidence: float, seed: int
) -> RateSince:
    """One change between two moments."""
    span, where = stop - begin, None if at is None else at - begin
    inside = events[(events >= begin) & (events <= stop)] - begin
    t = decluster(inside, dead_time=dead).starts if inside.size else inside
    method = "split of block counts, permuted gaps and random cascade, all demanded" + ("" if at is None else "; moment given")
    if t.size < FEWEST_EVENTS:
        return RateSince(
            at=begin,
            low=begin,
            high=stop,
            rate_before=0.0,
            rate_after=0.0,
            ratio=1.0,
            ratio_low=0.0,
            ratio_high=np.inf,
            p_up=1.0,
            p_down=1.0,
            dispersion=1.0,
            count=t.size,
            given=at is not None,
            confidence=confidence,
            method=method,
        )
    blocks = int(np.clip(t.size // PER_BLOCK, *BLOCKS))
    counts = np.histogram(t, bins=blocks, range=(0.0, span))[0].astype(np.float64)
    roots = 2.0 * np.sqrt(counts + 0.25)  # variance 1 where counts are Poisson
    border = None if where is None else int(np.clip(round(where / span * blocks), LEAST_BLOCKS, blocks - LEAST_BLOCKS))
    up, down, scale = _split(roots[None], np.ones((1, blocks)), LEAST_BLOCKS, 0.0, border)
    p_blocks = _chances(float(up[0]), float(down[0]), blocks, LEAST_BLOCKS, 0.0, border)
    dispersion = max(1.0, float(scale[0]))
    if where is None:
        place, low, high = place_of_change(t, span, confidence=confidence, dispersion=dispersion)
        least = 0.5 * span / (t.size + 1)  # a change at the very begin or end has no rate on one side
        place = min(max(place, least), span - least)
    else:
        place = low = high = where
    n0 = int(np.count_nonzero(t <= place))
    p_alike = _by_splits(t / span, place / span, 1 if where is not None else PLACES)
    p_up, p_down = max(p_blocks[0], p_alike[0]), max(p_blocks[1], p_alike[1])
    if min(p_up, p_down) < 1.0:
        p_gaps = _by_gaps(t, span, where, seed)
        p_up, p_down = max(p_up, p_gaps[0]), max(p_down, p_gaps[1])
    return RateSince(
        at=begin + place, low=begin + low, high=begin + high,
        **_rates((n0, t.size - n0), (place, span - place), dispersion, blocks - 2.0, confidence),
        p_up=p_up, p_down=p_down, dispersion=dispersion, count=int(t.size), given=at is not None, confidence=confidence, method=method,
    )  # fmt: skip


def rate_since_unit(
    counts: Sequence[int] | ArrayLike,
    expected: Sequence[float] | ArrayLike,
    *,
    scatter: float = sc.SCATTER,
    confidence: float = 0.95,
) -> RateSince:
    """Since which power-up (or visit) has the rate been another, beyond what they differ by themselves?

    Parameters
    ----------
    counts, expected : array, shape (units,)
        Episodes of each unit in order of age, bursts merged, and what to expect of it were all alike (`expected_counts`
        or observed time), above 0.
    scatter : float
        Coefficient of variation that is taken for how units differ, worth three of them (1.4 times that up to four).
    confidence : float
        Of the intervals.

    Raises
    ------
    ValueError
        If fewer than four units were given, or an argument is out of range.

    Notes
    -----
    The largest t over the borders between units, of the roots of the counts, weighted by what each tells, with a variance
    moderated as in Smyth 2004 (Statistical Applications in Genetics and Molecular Biology 3, 3); its law for independent
    normal values is simulated. ``low`` and ``high`` hold the border with the stated posterior probability under a flat
    prior. A border given beforehand needs no search: `power_ups.rate_comparison`. Errors and power: ``tests/studies/results/rate_since.md``.
    """
    n, e = sc.checked(counts, expected, least=FEWEST_UNITS, what="expected")
    if e.min() <= 0:
        raise ValueError(f"expected must be above 0, got {e.min()}")
    confidence = check.share("confidence", confidence)
    units = n.size
    wide = sc.checked_scale(scatter) * (sc.WIDER if units <= FEW_UNITS else 1.0)
    mean = float(n.mean())
    roots = 2.0 * np.sqrt((n + 0.25) * e.mean() / e)
    weights = 1.0 / (e.mean() / e + wide**2 * mean)
    up, down, scale = _split(roots[None], weights[None], LEAST_BLOCKS, PRIOR_DOF, None)
    p_up, p_down = _chances(float(up[0]), float(down[0]), units, LEAST_BLOCKS, PRIOR_DOF, None)
    post = _posterior(roots, weights)
    border = int(np.argmax(post)) + 1
    low, high = _around(post, border - 1, confidence)
    dispersion = max(1.0, float(scale[0]) * (1.0 + wide**2 * mean))
    dof = units - 2.0 + PRIOR_DOF
    n_sides, e_sides = (int(n[:border].sum()), int(n[border:].sum())), (float(e[:border].sum()), float(e[border:].sum()))
    return RateSince(
        at=border, low=low, high=high, **_rates(n_sides, e_sides, dispersion, dof, confidence), p_up=p_up, p_down=p_down,
        dispersion=dispersion, count=int(n.sum()), given=False, confidence=confidence,
        method="maximal moderated t of the roots of counts over the borders between units",
    )  # fmt: skip


def _split(y: Floats, w: Floats, least: int, prior: float, border: int | None) -> tuple[Floats, Floats, Floats]:
    """Largest t for a rise and for a fall over the borders, and the variance about the better split, in rows.

    ``prior`` degrees of freedom at variance 1; without a prior the variance is never taken below 1 (Poisson).
    """
    size = y.shape[1]
    weight, total = np.cumsum(w, axis=1), np.cumsum(w * y, axis=1)
    square = (w * y * y).sum(axis=1)
    up, down = np.full(y.shape[0], -np.inf), np.full(y.shape[0], -np.inf)
    best, scale = np.full(y.shape[0], -np.inf), np.ones(y.shape[0])
    for k in range(least, size - least + 1) if border is None else (border,):
        before, after = weight[:, k - 1], weight[:, -1] - weight[:, k - 1]
        low, high = total[:, k - 1] / before, (total[:, -1] - total[:, k - 1]) / after
        rest = np.maximum(square - before * low**2 - after * high**2, 0.0)
        variance = (prior + rest) / (size - 2 + prior)
        t = (high - low) / np.sqrt(np.maximum(variance, 0.0 if prior else 1.0) * (1.0 / before + 1.0 / after))
        up, down = np.maximum(up, t), np.maximum(down, -t)
        better = np.abs(t) > best
        best, scale = np.where(better, np.abs(t), best), np.where(better, variance, scale)
    return up, down, scale


@lru_cache(maxsize=64)
def _null(size: int, least: int, prior: float) -> Floats:
    """Law of the largest t over the borders for independent normal values, sorted."""
    rng = np.random.default_rng([size, least])
    k = np.arange(least, size - least + 1)
    out = np.empty(DRAWS)
    for first in range(0, DRAWS, AT_ONCE):
        z = rng.standard_normal((min(AT_ONCE, DRAWS - first), size))
        total = np.cumsum(z, axis=1)
        before, square = total[:, least - 1 : size - least], (z * z).sum(axis=1)
        low, high = before / k, (total[:, -1:] - before) / (size - k)
        rest = np.maximum(square[:, None] - k * low**2 - (size - k) * high**2, 1e-12)
        t = (high - low) / np.sqrt((prior + rest) / (size - 2 + prior) * (1.0 / k + 1.0 / (size - k)))
        out[first : first + AT_ONCE] = t.max(axis=1)
    return np.sort(out)


def _chances(up: float, down: float, size: int, least: int, prior: float, border: int | None) -> tuple[float, float]:
    """One-sided p-values of the largest t for a rise and for a fall."""
    if border is not None:
        dof = size - 2 + prior
        return float(special.stdtr(dof, -up)), float(special.stdtr(dof, -down))
    null = _null(size, least, prior)
    p_up, p_down = ((1 + DRAWS - int(np.searchsorted(null, t, "left"))) / (DRAWS + 1) for t in (up, down))
    return p_up, p_down


def _by_gaps(t: Floats, span: float, where: float | None, seed: int) -> tuple[float, float]:
    """One-sided p-values of the largest signed likelihood ratio when the gaps, the rest after the last too, change places."""
    t = t[:: -(-t.size // MOST_GAPS)]
    gaps = np.diff(np.concatenate(([0.0], t, [span])))
    rng = np.random.default_rng([seed, t.size])
    drawn = np.cumsum(rng.permuted(np.broadcast_to(gaps, (ORDERS, gaps.size)), axis=1), axis=1)[:, :-1]
    up, down = _signed(np.vstack((t[None], drawn)) / span, None if where is None else where / span)
    return tuple(float(np.count_nonzero(x >= x[0] - 1e-9)) / (ORDERS + 1) for x in (up, down))  # type: ignore[return-value]


def _by_splits(share: Floats, place: float, places: int) -> tuple[float, float]:
    """One-sided p-values of the split at ``place``, were events shared out alike on every scale; ``share`` in (0, 1)."""
    law = sc.up_to(sc.half_normal(sc.SCATTER), 0.9)  # at 1 one part holds all
    weight = 1.0 / law.squares - 1.0  # a part's share is beta with the sum of its parameters, c its scatter in halves
    log = law.log_weights.copy()
    for low, high in ((0.0, place), (place, 1.0)):
        for deep in range(1, HALVINGS + 1):
            pieces = np.histogram(share, bins=np.linspace(low, high, 2**deep + 1))[0].reshape(-1, 2)
            for one, other in pieces[pieces.sum(axis=1) >= LEAST_IN_PIECE]:
                log += special.betaln(one + weight / 2, other + weight / 2) - special.betaln(weight / 2, weight / 2)
    size, n0 = share.size, int(np.count_nonzero(share <= place))
    k = np.arange(size + 1)
    chances = -np.log(size + 1.0) - special.betaln(size - k + 1.0, k + 1.0)  # of k events before, without the law of shares
    fewer = more = 0.0
    for w, c in zip(sc.normalised(log), weight, strict=True):
        a, b = c * place, c * (1.0 - place)
        of_k = np.exp(chances + special.betaln(k + a, size - k + b) - special.betaln(a, b))
        fewer, more = fewer + w * float(of_k[: n0 + 1].sum()), more + w * float(of_k[n0:].sum())
    return min(1.0, places * fewer), min(1.0, places * more)


def _signed(share: Floats, where: float | None) -> tuple[Floats, Floats]:
    """Largest gain in likelihood of a rise and of a fall, over the events, in rows of places between 0 and 1."""
    size = share.shape[1]
    if where is not None:
        before = (share <= where).sum(axis=1).astype(np.float64)
        return (size - before) - before * (1.0 - where) / where, before - (size - before) * where / (1.0 - where)
    count = np.arange(1, size + 1, dtype=np.float64)
    keep = (share > 0.02) & (share < 0.98)  # as in `rate_changes`: the likelihood has no bound at the ends
    p = np.clip(share, 1e-12, 1.0 - 1e-12)
    logs = logs_of(p)
    out = []
    for held, rising in ((count - 1.0, True), (count, False)):  # the event opens the new rate, or closes the old
        way = held / size < p if rising else held / size > p
        out.append(np.where(keep & way, gain_of_split(held, size, logs), 0.0).max(axis=1))
    return out[0], out[1]


def _posterior(y: Floats, w: Floats) -> Floats:
    """Probability of each border under a flat prior on those looked at, the variance integrated out."""
    size = y.size
    log = np.full(size - 1, -np.inf)
    for k in range(LEAST_BLOCKS, size - LEAST_BLOCKS + 1):
        rest = sum(float((w[part] * (y[part] - np.average(y[part], weights=w[part])) ** 2).sum())
                   for part in (slice(None, k), slice(k, None)))  # fmt: skip
        shape = -0.5 * (PRIOR_DOF + size - 2.0) * np.log(PRIOR_DOF + rest)
        log[k - 1] = shape - 0.5 * np.log(w[:k].sum()) - 0.5 * np.log(w[k:].sum())
    mass = np.exp(log - log.max())
    return np.asarray(mass / mass.sum())


def _around(mass: Floats, top: int, confidence: float) -> tuple[int, int]:
    """Smallest stretch of borders about the likeliest, the likelier neighbour first, that holds the stated probability."""
    low = high = top
    while mass[low : high + 1].sum() < confidence:
        left, right = mass[low - 1] if low else -1.0, mass[high + 1] if high + 1 < mass.size else -1.0
        low, high = (low - 1, high) if left >= right else (low, high + 1)
    return low + 1, high + 1


def _rates(
    counts: tuple[int, int], exposures: tuple[float, float], dispersion: float, dof: float, confidence: float
) -> dict[str, float]:
    """Rates before and after, their ratio and its interval on the logarithm, half an event added where one side has none."""
    (n0, n1), (e0, e1) = counts, exposures
    ratio = (n1 / e1) / (n0 / e0) if n0 else np.inf
    half = special.stdtrit(dof, 0.5 + 0.5 * confidence) * np.sqrt(dispersion * (1.0 / (n0 + 0.5) + 1.0 / (n1 + 0.5)))
    middle = ((n1 + 0.5) / e1) / ((n0 + 0.5) / e0)
    return {
        "rate_before": n0 / e0,
        "rate_after": n1 / e1,
        "ratio": float(ratio),
        "ratio_low": float(middle / np.exp(half)) if n1 else 0.0,
        "ratio_high": float(middle * np.exp(half)) if n0 else np.inf,
    }
