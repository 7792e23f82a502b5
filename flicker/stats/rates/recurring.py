"""Seen once, or does it come back? Evidence that episodes recur, given that the first one was seen."""

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
    rest_exposure: float
    expected_rest: float
    p_value: float
    likelihood_ratio: float
    recurs: bool
    confidence: float
    nuisance: float
    control_count: int
    control_exposure: float
    kind: str
    method: str

    @property
    def reads(self) -> str:
        """One sentence for the owner of the unit."""
        what = "power-ups with it" if self.kind == "runs" else "episodes"
        if self.count == 0:
            return f"no {what} seen, so nothing can recur yet"
        if self.count == 1:
            return "seen once: recurrence is not shown, and it is not proved gone"
        verdict = "it recurs" if self.recurs else "recurrence is not shown"
        return (
            f"{verdict}: after the first, {self.count - 1} more {what} where a sound unit would show "
            f"{digits_text(self.expected_rest)} ({p_said(self.p_value)}; "
            f"{digits_text(self.likelihood_ratio, 3)} times as likely if it recurs)"
        )


def recurrence(
    count: int,
    exposure: float,
    *,
    nuisance_rate: float | None = None,
    control_count: int | None = None,
    control_exposure: float | None = None,
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
    nuisance_rate : float, optional
        Episodes per unit of observed time that a sound unit in a sound room may show. Give this or a control run.
    control_count, control_exposure : int and float, optional
        Episodes and observed time of a control run (leads shorted, or a known good unit).
    rest_exposure : float, optional
        Observed time after the first episode. The whole exposure if not given, which can only make p larger.
    confidence : float
        ``recurs`` is true where p is at most 1 - confidence and there are two episodes or more.

    Returns
    -------
    Recurrence
        ``.p_value`` (1 with fewer than two episodes), ``.likelihood_ratio`` (best-fitting higher rate over nuisance
        rate, a maximum, so read it as an upper limit of the evidence), and ``.one_more()``.

    Notes
    -----
    Poisson tail of the episodes after the first, or the conditional binomial against a control run. One burst holds no
    information about recurrence: count clusters.
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
    if (nuisance_rate is None) == (control_exposure is None) or (control_count is None) != (control_exposure is None):
        raise ValueError(
            "nuisance_rate or control_count and control_exposure must be given, one of the two, "
            f"got {nuisance_rate!r}, {control_count!r} and {control_exposure!r}"
        )
    if control_exposure is None:
        rate = check.positive("nuisance_rate", nuisance_rate, what="a rate")
        expected = rate * rest_time
        p_value = count_tails.poisson_at_least(rest, expected)
        log_ratio = rest * math.log(rest / expected) - rest + expected if rest > expected else 0.0
        kind, control, control_time, method = "time", 0, math.nan, "Poisson tail of the rest, given the first"
    else:
        control = check.whole("control_count", control_count)
        control_time = check.positive("control_exposure", control_exposure, what="observed time of the control run")
        rate = control / control_time
        share = rest_time / (rest_time + control_time)
        expected = rate * rest_time
        p_value = count_tails.binomial_at_least(rest, control, share)
        total = rest + control
        log_ratio = 0.0
        if rest and rest > share * total:
            log_ratio = rest * math.log(rest / (share * total))
            log_ratio += control * math.log(control / ((1.0 - share) * total)) if control else 0.0
        kind, method = "control", "conditional binomial of the rest against a control run, given the first"
    return Recurrence(
        count=count,
        exposure=exposure,
        rest_exposure=rest_time,
        expected_rest=expected,
        p_value=p_value,
        likelihood_ratio=math.exp(min(700.0, log_ratio)),
        recurs=count >= 2 and p_value <= 1.0 - confidence,
        confidence=confidence,
        nuisance=rate,
        control_count=control,
        control_exposure=control_time,
        kind=kind,
        method=method,
    )
