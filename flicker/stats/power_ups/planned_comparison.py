"""How many power-ups before and after a repair will show a fall of the rate? The comparison itself, tried on drawn counts."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from flicker.base import check
from flicker.base.arrays import Floats, Ints
from flicker.base.formats import digits_text, share_text
from flicker.base.progress import tell
from flicker.base.result import Result
from flicker.base.roots import fewest
from flicker.stats.laws import scatter as sc
from flicker.stats.power_ups.growth import rate_comparison
from flicker.stats.power_ups.rate import drawn_rates

DRAWS = 200  # a power of 80 % is then known to within 3 points; a choice of speed
MOST = 8  # power-ups of a side: more are no evening; a choice


@dataclass(frozen=True, slots=True)
class ComparisonNeeds(Result):
    """Power-ups that show a fall with the chance asked for; None where so many as are allowed do not.

    ``after_only`` are those after the repair with what was logged before as it is. ``more_before`` and ``after`` are the
    fewest together, ``power`` and ``power_after_only`` the chances that they show it, ``best`` the chance with the most on
    both sides where that is too small.
    """

    ratio: float
    length: float
    after_only: int | None
    power_after_only: float | None
    more_before: int | None
    after: int | None
    power: float | None
    best: float | None
    wanted: float
    seed: int
    method: str

    @property
    def reads(self) -> str:
        """The plan in words."""
        fall = "none at all" if self.ratio == 0 else f"{digits_text(self.ratio, 3)} times the rate"
        if self.after is None or self.more_before is None:
            return f"{MOST} power-ups on each side do not show {fall} with a chance of {share_text(self.wanted)}."
        before = f"{self.more_before} more before and " if self.more_before else ""
        return f"{before}{self.after} after, of {digits_text(self.length, 3)} each, show {fall} in {share_text(self.power or 0.0)} of such units."


@dataclass(slots=True)
class _Trials:
    """Ints drawn once, so that plans are compared on the same units; which of them the comparison shows."""

    counts: Ints
    exposures: Floats
    length: float
    more: Ints  # (draws, most)
    after: Ints
    scale: float
    level: float
    known: dict[tuple[tuple[int, ...], tuple[int, ...]], bool] = field(default_factory=dict)

    def shown(self, draw: int, more: int, after: int) -> bool:
        """Whether the comparison shows the fall in that unit."""
        key = tuple(sorted(self.more[draw, :more].tolist())), tuple(sorted(self.after[draw, :after].tolist()))
        if key not in self.known:
            before = np.concatenate((self.counts, key[0])).astype(np.int64)
            at = np.concatenate((self.exposures, np.full(more, self.length)))
            fewer = before.sum() * after * self.length > sum(key[1]) * at.sum()
            self.known[key] = bool(fewer) and (
                rate_comparison(
                    before, at, key[1], np.full(after, self.length), scatter=self.scale, level=self.level
                ).p_down
                <= self.level
            )
        return self.known[key]

    def power(self, more: int, after: int) -> float:
        """Share of the units in which it is shown."""
        if self.counts.size + more == 0:
            return 0.0
        hits = [self.shown(draw, more, after) for draw in range(self.more.shape[0])]
        return float(np.mean(hits))

    def enough(self, more: int, after: int, wanted: float) -> bool:
        """Whether the power is reached; stops as soon as that is settled."""
        draws, good = self.more.shape[0], 0
        if self.counts.size + more == 0 or after == 0:
            return False
        for draw in range(draws):
            good += self.shown(draw, more, after)
            if good >= wanted * draws or draw + 1 - good > (1.0 - wanted) * draws:
                break
        return bool(good >= wanted * draws)


def comparison_power(
    more_before: int,
    after: int,
    ratio: float,
    *,
    counts: Sequence[int] | ArrayLike = (),
    exposures: Sequence[float] | ArrayLike = (),
    rate: float | None = None,
    length: float | None = None,
    cv: float | None = None,
    scatter: float = sc.SCATTER,
    confidence: float = 0.95,
    draws: int = DRAWS,
    seed: int = 0,
) -> float:
    """Chance that so many power-ups show a fall to that ratio.

    Parameters
    ----------
    more_before, after : int
        Power-ups still to be logged before the repair, 0 or more, and after it, 1 or more.
    ratio : float
        True rate after over that before, from 0 to below 1.
    counts, exposures : array, shape (power-ups,)
        Logged before, bursts merged, and the observed time of each; rate and scatter are drawn from their law given these.
    rate : float, optional
        Mean rate taken as known, in place of what the counts tell.
    length : float, optional
        Observed time of each further power-up; the mean of those logged where not given.
    cv : float, optional
        Scatter taken as known; needed with ``rate``.
    scatter : float
        Scale of the prior with which the comparison judges.
    confidence : float
        Of the comparison; a fall is claimed at half of one minus it.
    draws, seed : int
        Units drawn.

    Raises
    ------
    ValueError
        If neither counts with an episode nor a rate with a scatter is given, or an argument is out of range.

    Notes
    -----
    `rate_comparison` itself is asked about each drawn unit. Held against run tables of an independent program in
    ``tests/test_planned_comparison.py``.
    """
    more, k = (
        check.whole("more_before", more_before, what="power-ups"),
        check.whole("after", after, least=1, what="power-ups"),
    )
    known = _Known(counts, exposures, rate, length, cv)
    trials = _trials(ratio, known, scatter=scatter, confidence=confidence, draws=draws, seed=seed, most=max(more, k))
    return trials.power(more, k)


def comparison_needs(
    ratio: float,
    *,
    counts: Sequence[int] | ArrayLike = (),
    exposures: Sequence[float] | ArrayLike = (),
    rate: float | None = None,
    length: float | None = None,
    cv: float | None = None,
    scatter: float = sc.SCATTER,
    power: float = 0.8,
    confidence: float = 0.95,
    most: int = MOST,
    most_before: int | None = None,
    total: int | None = None,
    draws: int = DRAWS,
    seed: int = 0,
) -> ComparisonNeeds:
    """Fewest power-ups that show a fall of the rate, after the repair alone and on both sides together.

    Parameters
    ----------
    ratio, counts, exposures, rate, length, cv, scatter, confidence, draws, seed
        As in `comparison_power`.
    power : float
        Chance of showing the fall.
    most : int
        Most power-ups on each side that are looked at.
    most_before : int, optional
        Most further power-ups before the repair; 0 where it is done already.
    total : int, optional
        Most on both sides together; then what is needed after alone is not searched.

    Returns
    -------
    ComparisonNeeds

    Raises
    ------
    ValueError
        As in `comparison_power`.

    Notes
    -----
    Power grows with either number, so that bisection finds the fewest. Both sides together: the numbers nearest to equal,
    those logged included, and their neighbours; ties go to fewer before.
    """
    wanted, most = check.share("power", power), check.whole("most", most, least=1, what="power-ups")
    known = _Known(counts, exposures, rate, length, cv)
    trials = _trials(ratio, known, scatter=scatter, confidence=confidence, draws=draws, seed=seed, most=most)
    seen = trials.counts.size
    steps = itertools.count(1)

    def enough(more: int, after: int) -> bool:
        tell(1.0 - 0.85 ** next(steps), 1.0)
        return trials.enough(more, after, wanted)

    room = most if most_before is None else min(most, check.whole("most_before", most_before, what="power-ups"))

    def split(k: int) -> tuple[int, int]:
        more = min(room, max(0, (k - seen) // 2, k - most))
        return more, k - more

    alone = None
    if total is None and seen and enough(0, most):
        alone = fewest(lambda k: enough(0, k), most=most, start=most)
    top = min(room + most if alone is None else alone, room + most if total is None else total)
    best = (0, top) if alone == top else split(top) if top > 0 and enough(*split(top)) else None
    if best is not None:
        k = fewest(lambda number: enough(*split(number)), most=top, start=top)
        best = split(k) if k < top else best
        for near in (-1, 1):  # one fewer, a little off equal
            more, after = split(k - 1)
            more, after = more + near, after - near
            if 0 <= more <= room and 0 < after <= most and enough(more, after):
                best = more, after
                break
    tell(1.0, 1.0)
    return ComparisonNeeds(
        ratio=float(ratio), length=trials.length, after_only=alone,
        power_after_only=None if alone is None else trials.power(0, alone),
        more_before=None if best is None else best[0], after=None if best is None else best[1],
        power=None if best is None else trials.power(*best),
        best=trials.power(room, most) if best is None and total is None else None,
        wanted=wanted, seed=seed,
        method="the comparison over power-ups, tried on units drawn from the law of rate and scatter",
    )  # fmt: skip


class _Known(NamedTuple):
    """What is known before: counts logged, each with its observed time, or a rate; how long power-ups are and how they differ."""

    counts: Sequence[int] | ArrayLike
    exposures: Sequence[float] | ArrayLike
    rate: float | None
    length: float | None
    cv: float | None


def _trials(
    ratio: float, given: _Known, *, scatter: float, confidence: float, draws: int, seed: int, most: int
) -> _Trials:
    rate, length = given.rate, given.length
    ratio = check.positive("ratio", ratio, what="a rate after over the rate before", zero=True)
    if ratio >= 1.0:
        raise ValueError(f"ratio must be below 1, a fall, got {ratio:g}")
    n, e = sc.checked(given.counts, given.exposures, least=0)
    n, e = n[e > 0], e[e > 0]
    scale, confidence = sc.checked_scale(scatter), check.share("confidence", confidence)
    draws, seed = check.whole("draws", draws, least=1, what="drawn units"), check.whole("seed", seed, what="a seed")
    known = None if given.cv is None else check.positive("cv", given.cv, what="how power-ups differ", zero=True)
    if length is None and not n.size:
        raise ValueError("length must be given where nothing was logged before, got None")
    each = float(e.mean()) if length is None else check.positive("length", length, what="the time of each power-up")
    rng = np.random.default_rng(seed)
    if rate is not None:
        if known is None:
            raise ValueError("cv must be given with a known rate, got None")
        mu = np.full(draws, check.positive("rate", rate, what="a rate"))
        c = np.full(draws, known)
    elif n.sum() == 0:
        raise ValueError("counts must hold one episode or more to plan from, got none; or give a rate with a scatter")
    else:
        mu, c = drawn_rates(n, e, draws, rng, scale=scale, cv=known)
    shape = 1.0 / np.maximum(c, 1e-4)[:, None] ** 2
    factor = rng.gamma(np.broadcast_to(shape, (draws, 2 * most))) / shape
    mean = mu[:, None] * each * factor
    mean[:, most:] *= ratio
    drawn = rng.poisson(mean)
    return _Trials(
        counts=n, exposures=e, length=each, more=drawn[:, :most], after=drawn[:, most:], scale=scale, level=0.5 * (1.0 - confidence)
    )  # fmt: skip
