"""Integrated likelihood of negative binomial counts: do later power-ups bring more, or those after a repair fewer? Counts and expectations in, a frozen answer out."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from flicker.base import check
from flicker.base.arrays import Floats, Ints
from flicker.base.formats import digits_text, scatter_text
from flicker.base.result import Interval, Result
from flicker.stats.laws import scatter as sc
from flicker.stats.power_ups.however_much import growth_however_much

Beside = Sequence[tuple[ArrayLike, ArrayLike, ArrayLike | None]]

REACH, POINTS = 7.0, 57  # log growth: grid of 1/4 from -7 to 7
MOST_POINTS = 457
# Times the scale of the prior (at least the default): 95 % of a half-normal law lie below 2, and at 3 next to no power is lost;
# fitted by the study behind 'One bad power-up' in tests/studies/results/power_ups.md.
WIDE = 3.0
# A claim stands without the power-up that has most at so many times the level, where so many of its side are left; fitted by
# the study behind 'Without the worst' in tests/studies/results/under_way.md.
AT_REST, FEWEST_LEFT = 4.0, 2
GROWTH_SD = 2.5  # prior of the log growth: twelvefold either way is one standard deviation; weak on purpose


@dataclass(frozen=True, slots=True)
class RateGrowth(Result):
    """Growth of the rate over power-ups: from the first to the last of their order.

    Attributes
    ----------
    p_up, p_down : float
        One-sided: how well no growth (no fall) goes with the counts; they sum to 1, but where power-ups differ by more
        than the prior expects (see `rate_growth`).
    factor, low, high : float
        Rate at the end of the order over that at its begin, with its interval.
    cv, cv_high : float
        By how much power-ups differ by themselves: middle and 95 % of what the counts and the prior leave.
    holds_up, holds_down : float or None
        Largest scatter up to which ``p_up`` (``p_down``) stays at or under ``level``; None where it never does.
    """

    p_up: float
    p_down: float
    factor: float
    low: float
    high: float
    cv: float
    cv_high: float
    holds_up: float | None
    holds_down: float | None
    count: int
    power_ups: int
    level: float
    method: str

    @property
    def differ(self) -> str:
        """How much power-ups differ by themselves, in words."""
        return f"They differ by themselves by some {scatter_text(self.cv)} (up to {scatter_text(self.cv_high)})"

    @property
    def reads(self) -> str:
        """The finding in words."""
        if self.p_up <= self.level:
            return (
                f"Later power-ups bring more, some {digits_text(self.factor)} times from first to last ({digits_text(self.low)} to "
                f"{digits_text(self.high)}). {self.differ}; growth is shown as long as they differ by no more than {scatter_text(self.holds_up or 0.0)}."
            )
        if self.p_down <= self.level:
            return (
                f"Later power-ups bring fewer, some {digits_text(self.factor)} times from first to last ({digits_text(self.low)} to "
                f"{digits_text(self.high)}). {self.differ}; the fall is shown as long as they differ by no more than "
                f"{scatter_text(self.holds_down or 0.0)}."
            )
        return f"It is not shown that later power-ups bring more or fewer. {self.differ}."


@dataclass(frozen=True, slots=True)
class RateComparison(Interval):
    """Rate after over rate before, over power-ups that may differ by themselves.

    ``p_down`` speaks for a fall, ``p_up`` for a rise, both one-sided. ``alone``: one power-up a side, judged at one
    stated scatter ``scale``, for nothing tells how they differ. The other attributes are those of `RateGrowth`.
    """

    p_up: float
    p_down: float
    ratio: float
    cv: float
    cv_high: float
    holds_up: float | None
    holds_down: float | None
    before: int
    after: int
    alone: bool
    level: float
    scale: float

    @property
    def reads(self) -> str:
        """The finding in words."""
        shown = self.p_down <= self.level or self.p_up <= self.level
        way = "fall" if self.p_down <= self.p_up else "rise"
        held = self.holds_down if way == "fall" else self.holds_up
        words = f"The rate after is {digits_text(self.ratio)} times that before ({digits_text(self.low)} to {digits_text(self.high)})."
        if self.alone:
            up_to = f" The {way} is shown if that is no more than {scatter_text(self.scale)}." if shown else ""
            return f"{words} One power-up on each side cannot tell how far power-ups differ: log a second.{up_to}"
        if shown:
            return (
                f"{words} The {way} is shown as long as power-ups differ by no more than {scatter_text(held or 0.0)}."
            )
        return f"{words} No change is shown: power-ups differ by some {scatter_text(self.cv)} by themselves."


def rate_growth(
    counts: Sequence[int] | ArrayLike,
    expected: Sequence[float] | ArrayLike,
    order: ArrayLike | None = None,
    *,
    scatter: float = sc.SCATTER,
    few: bool | None = None,
    level: float = 0.025,
    confidence: float = 0.95,
    beside: Beside = (),
) -> RateGrowth:
    """Does the rate grow from power-up to power-up, beyond what they differ by themselves?

    Parameters
    ----------
    counts : array, shape (power-ups,)
        Episodes, bursts merged.
    expected : array, shape (power-ups,)
        Episodes to expect were all alike: from `expected_counts`, or observed times where the rate does not run with
        the time since power-up. One without any takes no part.
    order : array, shape (power-ups,), optional
        Age in any unit, not all equal; the place in the list where not given.
    scatter : float
        Scale of the prior of how power-ups differ (half-normal), above 0.
    few : bool, optional
        Widen the scale 1.4 times. By default with three power-ups, which hardly tell how they differ.
    level : float
        One-sided, for ``holds_up`` and ``holds_down``.
    confidence : float
        Of the interval of the factor.
    beside : sequence of (counts, expected, order)
        Other channels of the same power-ups: they help to tell how power-ups differ, each with a growth of its own.

    Returns
    -------
    RateGrowth

    Raises
    ------
    ValueError
        If fewer than two power-ups were observed, or an argument is out of range.

    Notes
    -----
    Counts n_j are Poisson with mean theta_j exp(a + b x_j) E_j, theta_j gamma of mean 1 and coefficient of variation c.
    The level a is integrated out under a flat prior (`integrated likelihood`, Berger, Liseo and Wolpert 1999), b has a
    normal prior with standard deviation 2.5 on the whole range of the order, c a half-normal one. Measured error and
    power: ``tests/studies/results/power_ups.md``. At no scatter the counts given their total are multinomial, and
    ``p_up`` is close to the exact conditional test. Two power-ups never suffice for a claim of growth.

    A fault that shows in one power-up of several is no gamma factor: one bad power-up of eight is then found to be
    growth in 28 of 100. Where the counts leave open a scatter of three times the prior's scale, each p-value is at least
    that of the test that holds however much they differ (`growth_however_much`): 2 of 100 (`results/power_ups.md`).
    """
    scale, level, confidence = _options(scatter, level, confidence)
    n, e, x = observed_in_order(counts, expected, order)
    x = sc.scaled(x)
    few = n.size == 3 if few is None else few
    if few:
        scale *= sc.WIDER
    law = sc.half_normal(scale)
    b, like = log_likelihood(n, e, x, law)
    for item in beside:
        other_n, other_e, other_x = sc.in_order(*item, least=2)
        if other_n.sum() and float(np.ptp(other_x)) > 0:
            more = log_likelihood(other_n, other_e, sc.scaled(other_x), law)[1]
            like = like + (np.logaddexp.reduce(more, axis=0) - np.logaddexp.reduce(more, axis=None))
    got, method = _read_off(b, like, law, level, confidence, (n, e, x), WIDE * max(scale, sc.SCATTER))
    return RateGrowth(*got, int(n.sum()), int(n.size), level, method)


def rate_comparison(
    before: Sequence[int] | ArrayLike,
    expected_before: Sequence[float] | ArrayLike,
    after: Sequence[int] | ArrayLike,
    expected_after: Sequence[float] | ArrayLike,
    *,
    scatter: float = sc.SCATTER,
    level: float = 0.025,
    confidence: float = 0.95,
) -> RateComparison:
    """Is the rate lower (higher) after than before, beyond what power-ups differ by themselves?

    Parameters
    ----------
    before, after : array, shape (power-ups of that side,)
        Episodes, bursts merged.
    expected_before, expected_after : array
        Episodes to expect were all alike (`expected_counts` over both sides together), or observed times.
    scatter : float
        Scale of the prior of how power-ups differ. 1.4 times that is used with one power-up on one side; with one on
        both, 1.5 times that is taken as the scatter itself, for nothing tells it.
    level : float
        One-sided, for ``holds_up`` and ``holds_down``.
    confidence : float
        Of the interval of the ratio.

    Returns
    -------
    RateComparison
        ``low`` is 0 if nothing came after, ``high`` infinite if nothing came before.

    Raises
    ------
    ValueError
        If a side has no observed power-up, or an argument is out of range.

    Notes
    -----
    As `rate_growth` with 0 for before and 1 for after. What would be claimed must not hang on one bad power-up of three or
    more, which is no gamma factor: without the one that has most, of the side that has more, it must stand at four times the
    level. Then one bad day of six is taken for a change in 5 to 11 of 100 instead of 27 to 46, and of true changes at most
    1 of 100 more are not shown, 4 where power-ups differ by 100 % (`results/under_way.md`).
    """
    n0, e0 = sc.observed(before, expected_before, what="expected_before", counted="before")
    n1, e1 = sc.observed(after, expected_after, what="expected_after", counted="after")
    scale, level, confidence = _options(scatter, level, confidence)
    found = _compared((n0, e0), (n1, e1), scale, level, confidence)
    up = found.p_up < found.p_down
    many, expected = (n1, e1) if up else (n0, e0)
    if min(found.p_up, found.p_down) > level or many.size < FEWEST_LEFT + 1:
        return found
    rest = many.size * [True]
    rest[int(np.argmax(many / expected))] = False
    sides = ((n0, e0), (n1[rest], e1[rest])) if up else ((n0[rest], e0[rest]), (n1, e1))
    if not sum(int(counts.sum()) for counts, _ in sides):
        return found
    without = _compared(*sides, scale, level, confidence)
    p_value = (without.p_up if up else without.p_down) / AT_REST
    if p_value <= level:
        return found
    p_up, p_down = (max(p_value, found.p_up), found.p_down) if up else (found.p_up, max(p_value, found.p_down))
    return replace(
        found, p_up=p_up, p_down=p_down, low=min(found.low, without.low), high=max(found.high, without.high), holds_up=None, holds_down=None,
        method=f"{found.method}, and without the power-up that has most",
    )  # fmt: skip


def _compared(
    before: tuple[Ints, Floats], after: tuple[Ints, Floats], scale: float, level: float, confidence: float
) -> RateComparison:
    """Compare counts and expectations of two sides."""
    (n0, e0), (n1, e1) = before, after
    n, e = np.concatenate((n0, n1)), np.concatenate((e0, e1))
    x = np.repeat((0.0, 1.0), (n0.size, n1.size))
    alone = n0.size == n1.size == 1
    if alone:
        scale *= sc.ALONE
        law = sc.known(scale)
    else:
        if min(n0.size, n1.size) == 1:
            scale *= sc.WIDER
        law = sc.half_normal(scale)
    b, like = log_likelihood(n, e, x - x.mean(), law)
    got, method = _read_off(b, like, law, level, confidence, (n, e, x), math.inf if alone else WIDE * max(scale, sc.SCATTER))
    p_up, p_down, ratio, low, high, cv, cv_high, up, down = got
    if n1.sum() == 0:
        low = 0.0
    if n0.sum() == 0:
        high = math.inf
    if alone:
        method += f", power-ups taken to differ by {scatter_text(scale)}"
    return RateComparison(
        p_up=p_up, p_down=p_down, ratio=ratio, low=low, high=high, cv=cv, cv_high=cv_high, holds_up=up, holds_down=down, before=int(n0.sum()), after=int(n1.sum()),
        alone=alone, level=level, confidence=confidence, scale=scale, method=method,
    )  # fmt: skip


def _options(scatter: float, level: float, confidence: float) -> tuple[float, float, float]:
    return sc.checked_scale(scatter), check.share("level", level), check.share("confidence", confidence)


def observed_in_order(
    counts: Sequence[int] | ArrayLike, expected: Sequence[float] | ArrayLike, order: ArrayLike | None
) -> tuple[Ints, Floats, Floats]:
    """Counts, expectations and order of the units that were observed.

    Raises
    ------
    ValueError
        If fewer than two were observed, or all have one order.
    """
    n, e, x = sc.in_order(counts, expected, order, least=2)
    if n.size < 2:
        raise ValueError(f"expected must be above 0 for two power-ups or more, got {n.size}")
    check.differing("order", x, each="power-up")
    return n, e, x


def growth_grid(n: Ints, x: Floats, smallest: float) -> Floats:
    """Grid of the log growth: fine enough for the narrowest likelihood (at the smallest scatter)."""
    sd = math.sqrt((1.0 / max(float(n.sum()), 1.0) + smallest**2 / n.size) / max(float(np.var(x)), 1e-6))
    # the trapezoidal rule puts some 10 % too much on the smaller tail at steps of half a standard deviation, 30 % at .9
    step = 2.0 * REACH / (POINTS - 1)
    finer = 1 if step <= 0.9 * sd else math.ceil(step / (0.5 * sd))
    points = min(MOST_POINTS, (POINTS - 1) * finer + 1)
    return np.linspace(-REACH, REACH, points)


def log_likelihood(n: Ints, e: Floats, x: Floats, law: sc.Scatter) -> tuple[Floats, Floats]:
    """Log growth, shape (points,), and the log likelihood times its prior, shape (points, scatters)."""
    b = growth_grid(n, x, float(law.values[0]))
    like = sc.integrated(n, np.exp(b[:, None] * x) * e, law.squares)
    return b, like - 0.5 * (b / GROWTH_SD)[:, None] ** 2


def _read_off(
    b: Floats, like: Floats, law: sc.Scatter, level: float, confidence: float, counted: tuple[Ints, Floats, Floats], widest: float
) -> tuple[tuple[float, float, float, float, float, float, float, float | None, float | None], str]:
    """Figures of the fit and its method; beyond the scatter ``widest`` p-values must hold however much power-ups differ."""
    below = (b < 0) + 0.5 * (np.abs(b) < 1e-12)
    joint = sc.normalised(like + law.log_weights)
    of_b, of_c = joint.sum(axis=1), joint.sum(axis=0)
    chances = [float(of_b @ below), float(of_b @ (1.0 - below))]
    tail = 0.5 * (1.0 - confidence)
    factor, low, high = (math.exp(sc.quantile(b, of_b, q)) for q in (0.5, tail, 1.0 - tail))
    cv, cv_high = (sc.quantile(law.values, of_c, q) for q in (0.5, 0.95))
    method, least = "integrated likelihood over power-ups (negative binomial)", (0.0, 0.0)
    if cv_high > widest and counted[0].size > 2:
        free = growth_however_much(*counted)
        least, method = (free.p_up, free.p_down), f"{method}, and {free.method}"
    given = below @ sc.normalised(like, axis=0)
    held = []
    for q, p in zip((given, 1.0 - given), least, strict=True):
        # the largest scatter up to which it holds throughout
        good = np.flatnonzero(np.maximum.accumulate(q) <= level)
        held.append(float(law.values[good[-1]]) if good.size and p <= level else None)
    p_up, p_down = (max(pair) for pair in zip(chances, least, strict=True))
    return (p_up, p_down, factor, low, high, cv, cv_high, held[0], held[1]), method
