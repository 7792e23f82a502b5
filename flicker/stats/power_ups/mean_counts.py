"""Mean cumulative function (Nelson; robust variance of Lawless and Nadeau): how many episodes a power-up has shown by each time since switch-on, the count from one power-up to the next beside that of no ageing, and what to expect of each were all alike (risk sets, so that heat never counts as age)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from flicker.base import check
from flicker.base.arrays import Floats, Ints
from flicker.base.formats import digits_text, share_text
from flicker.base.result import Result
from flicker.stats.laws import count_tails
from flicker.stats.laws import event_runs as er
from flicker.stats.laws import scatter as sc
from flicker.stats.laws.scatter import PRIOR_DOF


@dataclass(frozen=True, slots=True)
class ExpectedCounts(Result):
    """Episodes counted and expected in each power-up, over the times since power-up that two or more reached."""

    counts: Ints
    expected: Floats
    left_out: int

    @property
    def reads(self) -> str:
        """How much can be compared."""
        total = int(self.counts.sum())
        rest = f"; {self.left_out} came so late that no other power-up lasted as long" if self.left_out else ""
        return f"{total} episodes in {self.counts.size} power-ups can be compared{rest}."


def expected_counts(
    times: er.Times, ends: ArrayLike, *, both: ArrayLike | None = None
) -> ExpectedCounts:
    """Episodes counted, and expected were all power-ups alike, whatever the rate does with the time since power-up.

    Parameters
    ----------
    times : list of array_like
        Sorted begins of episodes of each power-up, on its observed clock.
    ends : array_like
        Its observed length, above 0.
    both : array_like of bool, optional
        Side of each power-up: only times that both sides reached are used.

    Returns
    -------
    ExpectedCounts
        Shape (power-ups,) each; the two have the same sum.

    Raises
    ------
    ValueError
        If times are unsorted or outside their power-up, or ``both`` does not fit.

    Notes
    -----
    Between two neighbouring ends of power-ups the same ones are at risk; the episodes there are shared out over them
    (risk sets, Andersen and Gill 1982, Annals of Statistics 10, 1100-1120). Levels with fewer than two at risk tell
    nothing and are left out.
    """
    runs = er.pooled(times, ends, least=0, name_of_end="ends")
    m = runs.ends.size
    side = None
    if both is not None:
        side = np.asarray(both, dtype=bool)
        if side.shape != (m,):
            raise ValueError(f"both must hold one side per power-up ({m}), got shape {side.shape}")
    edges = np.unique(runs.ends)
    level = np.minimum(np.searchsorted(edges, runs.times, side="left"), edges.size - 1)
    held = np.zeros((edges.size, m), dtype=np.int64)
    np.add.at(held, (level, runs.run), 1)
    risk = runs.ends >= edges[:, None]
    keep = risk.sum(axis=1) >= 2
    if side is not None:
        keep &= (risk & side).any(axis=1) & (risk & ~side).any(axis=1)
    held, risk = held[keep], risk[keep]
    counts = held.sum(axis=0)
    expected = (held.sum(axis=1) / risk.sum(axis=1)) @ risk
    return ExpectedCounts(counts, expected, int(runs.times.size - counts.sum()))


# A prior worth three degrees of freedom on how power-ups differ, as for sizes (`flicker.stats.power_ups.sizes`). Common
# practice, no source; coverage with it: tests/studies/results/mean_cumulative.md.
NEIGHBOURS = 2.0 / 3.0  # degrees of freedom that a difference of neighbours is worth: von Neumann 1941, for many of them


@dataclass(frozen=True, slots=True)
class MeanCumulative(Result):
    """Mean number of episodes of a power-up up to each time since switch-on, as steps.

    Arrays of shape (times,): the first time is 0, the last the end of the longest power-up, those between are the
    times of episodes. ``se`` is the robust standard error as published; ``low`` and ``high`` are pointwise limits for
    the mean over power-ups that differ by themselves (with one power-up: of that power-up alone).
    """

    time: Floats
    events: Ints
    at_risk: Ints
    mean: Floats
    se: Floats
    low: Floats
    high: Floats
    count: int
    power_ups: int
    scatter: float
    confidence: float
    method: str

    @property
    def reads(self) -> str:
        """The end of the curve in words."""
        of = "of this power-up" if self.power_ups == 1 else f"over {self.power_ups} power-ups"
        return (
            f"{digits_text(self.mean[-1], 3)} episodes per power-up by {digits_text(self.time[-1], 4)} since switch-on, between {digits_text(self.low[-1], 3)} "
            f"and {digits_text(self.high[-1], 3)} ({share_text(self.confidence)} confidence, {of})."
        )


def mean_cumulative(
    times: er.Times, ends: ArrayLike, *, scatter: float = sc.SCATTER, confidence: float = 0.95
) -> MeanCumulative:
    """Mean cumulative function of recurrent events, with a robust standard error and a band that holds for few units.

    Parameters
    ----------
    times : list of array_like
        Sorted begins of episodes of each power-up (or of any unit), since its switch-on.
    ends : array_like
        Observed length of each, above 0; a unit is at risk up to its end, the end included.
    scatter : float
        Coefficient of variation that is taken for how power-ups differ, worth three of them.
    confidence : float
        Of the pointwise band.

    Returns
    -------
    MeanCumulative

    Raises
    ------
    ValueError
        If times are unsorted or outside their unit, or an argument is out of range.

    Notes
    -----
    Mean and meaning: Nelson 1995, Journal of Quality Technology 27, 147-157. ``se``: the robust variance of Lawless and
    Nadeau 1995, Technometrics 37, 158-168: squares of each unit's influence, summed; no model of the events is needed.
    With few units it is too small, so the band takes no less than the variance of Poisson counts, adds a prior of
    ``scatter`` worth three degrees of freedom, takes the quantile of t, multiplies (the logarithm), and never lies inside
    the exact Poisson limits. Coverage: ``tests/studies/results/mean_cumulative.md``.
    """
    runs = er.pooled(times, ends, least=0, name_of_end="ends")
    scatter, confidence = sc.checked_scale(scatter), check.share("confidence", confidence)
    units, last = runs.ends.size, float(runs.ends.max())
    moments = np.unique(np.concatenate(([0.0, last], runs.times)))
    place = np.searchsorted(moments, runs.times)
    events = np.bincount(place, minlength=moments.size)
    order = np.sort(runs.ends)
    at_risk = units - np.searchsorted(order, moments, "left")
    step = events / at_risk
    mean = np.cumsum(step)
    robust, shares, square = np.zeros(moments.size), np.zeros(moments.size), np.zeros(moments.size)
    for unit in range(units):
        here = runs.ends[unit] >= moments
        own = np.bincount(place[runs.run == unit], minlength=moments.size)
        robust += np.cumsum(here / at_risk * (own - step)) ** 2
        part = np.cumsum(here / at_risk * step)  # what of the mean hangs on this unit
        shares += part
        square += part**2
    poisson = np.cumsum(step / at_risk)
    some = mean > 0
    alike = np.where(some, shares**2 / np.where(some, square, 1.0), at_risk)  # so many units of equal weight
    low, high = _band(mean, (robust, poisson, square), alike, np.cumsum(events), scatter, confidence)
    if units == 1:
        tail = 0.5 * (1.0 - confidence)
        seen = np.cumsum(events)
        low = np.array([count_tails.poisson_low(int(n), tail) for n in seen])
        high = np.array([count_tails.poisson_high(int(n), tail) for n in seen])
    return MeanCumulative(
        time=moments, events=events.astype(np.int64), at_risk=at_risk.astype(np.int64), mean=mean, se=np.sqrt(robust), low=low, high=high,
        count=int(runs.times.size), power_ups=units, scatter=scatter, confidence=confidence,
        method="mean cumulative function (Nelson 1995), robust variance (Lawless and Nadeau 1995), moderated t of its logarithm"
        if units > 1 else "count of one power-up, exact Poisson limits",
    )  # fmt: skip


def _band(
    mean: Floats, variances: tuple[Floats, Floats, Floats], alike: Floats, seen: Ints, scatter: float, confidence: float
) -> tuple[Floats, Floats]:
    """Pointwise limits from the robust variance, that of Poisson counts, and squares of shares; see the notes of `mean_cumulative`."""
    robust, poisson, square = variances
    tail = 0.5 * (1.0 - confidence)
    dof = PRIOR_DOF + alike - 1.0
    variance = (PRIOR_DOF * (poisson + scatter**2 * square) + alike * robust) / dof
    none = seen == 0
    safe = np.where(none, 1.0, mean)
    wide = np.exp(special.stdtrit(dof, 1.0 - tail) * np.sqrt(np.maximum(variance, poisson)) / safe)
    known = {int(n): (count_tails.poisson_low(int(n), tail), count_tails.poisson_high(int(n), tail)) for n in set(seen)}
    ends = np.array([known[int(n)] for n in seen]) / np.where(none, 1, seen)[:, None] * safe[:, None]
    low = np.where(none, 0.0, np.minimum(mean / wide, ends[:, 0]))
    square_scatter = scatter**2
    clean = (tail ** (-square_scatter / alike) - 1.0) / square_scatter  # so many clean power-ups: `clean_limit`
    high = np.where(none, clean, np.maximum(mean * wide, ends[:, 1]))
    return low, np.maximum.accumulate(high)


@dataclass(frozen=True, slots=True)
class CountByAge(Result):
    """Episodes so far from one power-up (or visit) to the next, beside as many were nothing ageing.

    Arrays of shape (units + 1,), the first 0: ``count`` what was seen, ``expected`` the same total shared out evenly over
    what each could show, ``low`` and ``high`` where the count of power-ups that differ but do not age lies.
    """

    count: Ints
    expected: Floats
    low: Floats
    high: Floats
    dispersion: float
    scatter: float
    confidence: float
    method: str

    @property
    def reads(self) -> str:
        """How many had come by the middle, beside how many were nothing ageing: a description, no test."""
        half = (self.count.size - 1) // 2
        return (
            f"The first {half} of {self.count.size - 1} brought {self.count[half]} of {self.count[-1]}; without ageing "
            f"{digits_text(self.expected[half])} would be expected ({digits_text(self.low[half])} to {digits_text(self.high[half])})."
        )


def count_by_age(
    counts: Sequence[int] | ArrayLike,
    expected: Sequence[float] | ArrayLike,
    *,
    scatter: float = sc.SCATTER,
    confidence: float = 0.95,
) -> CountByAge:
    """Episodes so far over power-ups in their order, with the band of power-ups that do not age: a picture, no test.

    Parameters
    ----------
    counts, expected : array, shape (power-ups,)
        Episodes of each in order of age, and what to expect of it were all alike (`expected_counts`, or observed time).
    scatter : float
        Coefficient of variation that is taken for how power-ups differ, worth three of them.
    confidence : float
        Of the pointwise band.

    Raises
    ------
    ValueError
        If counts and expectations do not fit, or an argument is out of range.

    Notes
    -----
    Given the total N, the count up to the share u of what is expected has the variance d N u (1 - u) (a bridge), where d
    is the dispersion of the counts from neighbour to neighbour, which growth raises little (roots of the counts; mean
    square of successive differences, von Neumann 1941, Annals of Mathematical Statistics 12, 367-395, worth two thirds of
    its number), drawn towards 1 + scatter^2 N / K by a prior worth three degrees of freedom and never below 1; quantile
    of t.
    """
    n, e = sc.checked(counts, expected, what="expected")
    scatter, confidence = sc.checked_scale(scatter), check.share("confidence", confidence)
    total, span = int(n.sum()), float(e.sum())
    share = np.concatenate(([0.0], np.cumsum(e) / span)) if span > 0 else np.linspace(0.0, 1.0, n.size + 1)
    used = e > 0
    alike = int(np.count_nonzero(used))
    apart = np.diff(2.0 * np.sqrt((n[used] + 0.25) * e[used].mean() / e[used])) if alike > 1 else np.zeros(0)
    worth = NEIGHBOURS * apart.size
    prior = 1.0 + scatter**2 * total / max(alike, 1)
    dof = PRIOR_DOF + worth
    dispersion = max(1.0, (PRIOR_DOF * prior + NEIGHBOURS * 0.5 * float((apart**2).sum())) / dof)
    reach = float(special.stdtrit(dof, 0.5 + 0.5 * confidence))
    share = np.minimum(share, 1.0)  # a sum of shares may end a rounding above one
    half = reach * np.sqrt(dispersion * total * share * (1.0 - share))
    middle = total * share
    return CountByAge(
        count=np.concatenate(([0], np.cumsum(n))).astype(np.int64), expected=middle, low=np.maximum(middle - half, 0.0),
        high=np.minimum(middle + half, total), dispersion=dispersion, scatter=scatter, confidence=confidence,
        method="bridge of the counts, widened by their moderated dispersion",
    )  # fmt: skip
