"""Are two rates the same, where events come in bursts or runs differ? A ratio that widens by what the windows show."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from numpy.typing import ArrayLike
from scipy import special

from flicker.base.result import Interval
from flicker.stats.laws import count_tails
from flicker.stats.rates.dispersion import checked_windows, dispersion_levels
from flicker.stats.rates.ratio import Alternative, error_tail, p_value_of, rate_ratio, ratio_reads, tails_at


@dataclass(frozen=True, slots=True)
class DispersedRatio(Interval):
    """One rate over another, its interval widened by how much the windows of a side differ."""

    count: int
    exposure: float
    base_count: int
    base_exposure: float
    ratio: float
    p_value: float
    dispersion: float
    dof: float
    poisson_p_value: float
    null_ratio: float
    alternative: str
    cautions: tuple[str, ...]

    @property
    def reads(self) -> str:
        """One sentence for the owner of the unit."""
        reads = ratio_reads(self.ratio, self.low, self.high, self.p_value, self.confidence)
        return "; ".join((reads, *self.cautions))


def rate_ratio_dispersed(
    counts: Sequence[int] | ArrayLike,
    exposures: Sequence[float] | ArrayLike,
    base_counts: Sequence[int] | ArrayLike,
    base_exposures: Sequence[float] | ArrayLike,
    *,
    null_ratio: float = 1.0,
    confidence: float = 0.95,
    alternative: Alternative = "two-sided",
) -> DispersedRatio:
    """Ratio of two rates that keeps its error when events come in bursts or runs differ.

    Parameters
    ----------
    counts, exposures : array, shape (windows,)
        Events and observed time per window of one side: some 20 equal windows within its runs (see `window_counts`).
    base_counts, base_exposures : array, shape (base windows,)
        The other side.
    null_ratio, confidence, alternative
        As in `rate_ratio`.

    Returns
    -------
    DispersedRatio
        ``.ratio .low .high .p_value``, with the ``dispersion`` used (1 = as a Poisson process) and ``cautions`` where
        it could not be estimated; never narrower than the exact Poisson interval.

    Notes
    -----
    Quasi-Poisson: variance = dispersion x mean, estimated within the sides (Pearson; McCullagh and Nelder 1989, chapter
    9) over the windows and over pairs of neighbours, over fours too where pairs vary clearly more; the widest counts.
    The exact conditional limits are taken at counts divided by the dispersion; the error of its estimate is met by a t
    reference: a tail chance p becomes T(normal quantile of p). So it works with no event on a side, and equals
    `rate_ratio` where nothing shows more spread than Poisson. Sizes:
    ``tests/studies/results/ratio_bursts.md``.
    """
    x, ex = checked_windows("counts", counts, "exposures", exposures)
    y, ey = checked_windows("base_counts", base_counts, "base_exposures", base_exposures)
    n, t, base_n, base_t = int(x.sum()), float(ex.sum()), int(y.sum()), float(ey.sum())
    exact = rate_ratio(n, t, base_n, base_t, null_ratio=null_ratio, confidence=confidence, alternative=alternative)

    levels = dispersion_levels([(x, ex), (y, ey)])
    cautions: list[str] = []
    low, high, p_value = exact.low, exact.high, exact.p_value
    if not levels:
        cautions.append("too few events to tell whether they come in bursts; taken as independent")
    if len(levels) > 2:
        cautions.append("neighbouring windows go together, so bursts may last longer than the windows allow for")
    if levels and min(n, base_n) == 0 and n + base_n < 10:
        cautions.append("fewer than 10 events, all on one side: bursts may hide in so few")
    for dispersion, dof in levels:
        tail = float(special.ndtr(special.stdtrit(dof, error_tail(confidence, alternative))))
        scale = base_t / t
        a, b = n / dispersion, base_n / dispersion
        lower, upper = (float(special.stdtr(dof, float(special.ndtri(p)))) for p in tails_at(a, b, null_ratio / scale))
        if alternative != "less":
            low = min(low, scale * count_tails.odds_low(a, b, tail))
        if alternative != "greater":
            high = max(high, scale * count_tails.odds_high(a, b, tail))
        p_value = max(p_value, p_value_of(lower, upper, alternative))
    return DispersedRatio(
        count=n,
        exposure=t,
        base_count=base_n,
        base_exposure=base_t,
        ratio=exact.ratio,
        low=low,
        high=high,
        p_value=p_value,
        dispersion=max([1.0, *(level[0] for level in levels)]),
        dof=levels[0][1] if levels else 0.0,
        poisson_p_value=exact.p_value,
        null_ratio=exact.null_ratio,
        confidence=confidence,
        alternative=alternative,
        cautions=tuple(cautions),
        method="conditional binomial at counts over dispersion, t reference",
    )
