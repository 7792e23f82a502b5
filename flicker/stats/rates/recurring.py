"""Poisson tail of the rest given the first: seen once, or does it come back? Evidence that episodes recur, given that the first one was seen."""

from __future__ import annotations

import math
from dataclasses import dataclass

from flicker.base import check
from flicker.base.formats import digits_text, p_said
from flicker.base.result import Result
from flicker.stats.laws import count_tails


@dataclass(frozen=True, slots=True)
class Recurrence(Result):
    """Evidence that episodes recur beyond a nuisance rate."""

    count: int
    exposure: float
    expected_rest: float
    p_value: float
    likelihood_ratio: float
    recurs: bool
    confidence: float
    method: str

    @property
    def reads(self) -> str:
        """One sentence for the owner of the unit."""
        if self.count == 0:
            return "no episodes seen, so nothing can recur yet"
        if self.count == 1:
            return "seen once: recurrence is not shown, and it is not proved gone"
        verdict = "it recurs" if self.recurs else "recurrence is not shown"
        return (
            f"{verdict}: after the first, {self.count - 1} more episodes where a sound unit would show "
            f"{digits_text(self.expected_rest)} ({p_said(self.p_value)}; "
            f"{digits_text(self.likelihood_ratio, 3)} times as likely if it recurs)"
        )


def recurrence(
    count: int,
    exposure: float,
    *,
    nuisance_rate: float,
    rest_exposure: float | None = None,
    confidence: float = 0.95,
) -> Recurrence:
    """Evidence that episodes recur: given the first, the chance of the rest on a sound unit.

    Parameters
    ----------
    count : int
        Episodes (clusters, by a burst time fixed before looking), the first included.
    exposure : float
        Observed time.
    nuisance_rate : float
        Episodes per unit of observed time that a sound unit in a sound room may show.
    rest_exposure : float, optional
        Observed time after the first episode. The whole exposure if not given, which can only make p larger.
    confidence : float
        ``recurs`` is true where p is at most 1 - confidence and there are two episodes or more.

    Returns
    -------
    Recurrence
        ``.p_value`` (1 with fewer than two episodes), ``.likelihood_ratio`` (best-fitting higher rate over nuisance
        rate, a maximum, so read it as an upper limit of the evidence).

    Notes
    -----
    Poisson tail of the episodes after the first. One burst holds no information about recurrence: count clusters.
    """
    count = check.whole("count", count)
    exposure = check.positive("exposure", exposure, what="observed time")
    confidence = check.share("confidence", confidence)
    rest_time = exposure
    if rest_exposure is not None:
        rest_time = check.positive("rest_exposure", rest_exposure, what="observed time after the first", zero=True)
        if rest_time > exposure:
            raise ValueError(f"rest_exposure must be at most exposure ({exposure}), got {rest_time}")
        if rest_time == 0.0 and count > 1:
            raise ValueError(f"rest_exposure must be above 0 with {count} episodes, got 0")
    rest = max(0, count - 1)
    rate = check.positive("nuisance_rate", nuisance_rate, what="a rate")
    expected = rate * rest_time
    log_ratio = rest * math.log(rest / expected) - rest + expected if rest > expected else 0.0
    p_value = count_tails.poisson_at_least(rest, expected)
    return Recurrence(
        count=count,
        exposure=exposure,
        expected_rest=expected,
        p_value=p_value,
        likelihood_ratio=math.exp(min(700.0, log_ratio)),
        recurs=count >= 2 and p_value <= 1.0 - confidence,
        confidence=confidence,
        method="Poisson tail of the rest, given the first",
    )
