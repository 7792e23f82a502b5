"""Seen once, or does it come back? Evidence that episodes recur, given that the first one was seen."""

from __future__ import annotations

import math
from dataclasses import dataclass

from flicker.base import check, special
from flicker.base.formats import digits_text, p_said, share_text
from flicker.base.result import Result
from flicker.stats.laws import count_tails


@dataclass(frozen=True, slots=True)
class OneMore(Result):
    """What a little more observation would add to the evidence of recurrence."""

    exposure: float
    chance_of_another: float
    p_if_another: float
    p_if_clean: float

    @property
    def reads(self) -> str:
        """One sentence for the owner of the unit."""
        return (
            f"{digits_text(self.exposure, 4)} more would bring another with a chance of {share_text(self.chance_of_another)}: "
            f"{p_said(self.p_if_another)} with it, {p_said(self.p_if_clean)} without"
        )


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

    def one_more(self, exposure: float = 1.0) -> OneMore:
        """What ``exposure`` more (hours, or power-ups) would add.

        Parameters
        ----------
        exposure : float
            More observed time in the unit of the result, or more power-ups (a whole number).

        Returns
        -------
        OneMore
            ``chance_of_another`` is predictive from the episodes seen (0 with none), 1 - (T / (T + h))^k for hours.
        """
        if self.kind == "runs":
            extra = float(check.whole("exposure", exposure, least=1, what="a number of power-ups"))
            runs = self.exposure + extra
            misses = self.exposure - self.count
            chance = 0.0
            if self.count:
                chance = -math.expm1(
                    special.betaln(self.count, misses + 1.0 + extra) - special.betaln(self.count, misses + 1.0)
                )
            again = recurrence_over_runs(
                self.count + 1, int(runs), nuisance_share=self.nuisance, confidence=self.confidence
            )
            clean = recurrence_over_runs(
                self.count, int(runs), nuisance_share=self.nuisance, confidence=self.confidence
            )
        else:
            extra = check.positive("exposure", exposure, what="observed time")
            chance = -math.expm1(self.count * math.log(self.exposure / (self.exposure + extra)))
            against_control = self.kind == "control"
            again, clean = (
                recurrence(
                    count,
                    self.exposure + extra,
                    rest_exposure=None if count > self.count == 0 else self.rest_exposure + extra,
                    confidence=self.confidence,
                    nuisance_rate=None if against_control else self.nuisance,
                    control_count=self.control_count if against_control else None,
                    control_exposure=self.control_exposure if against_control else None,
                )
                for count in (self.count + 1, self.count)
            )
        return OneMore(extra, chance, again.p_value, clean.p_value)


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


def recurrence_over_runs(
    runs_with: int,
    runs: int,
    *,
    nuisance_share: float | None = None,
    nuisance_rate: float | None = None,
    run_exposure: float | None = None,
    confidence: float = 0.95,
) -> Recurrence:
    """Evidence that an episode recurs over power-ups: k of m runs showed it; given the first, the chance of the rest.

    Parameters
    ----------
    runs_with, runs : int
        Power-ups that showed an episode, and all power-ups.
    nuisance_share : float, optional
        Chance that one power-up of a sound unit shows an episode.
    nuisance_rate, run_exposure : float, optional
        Instead of the share: nuisance rate and observed time per power-up.
    confidence : float
        As in `recurrence`.

    Notes
    -----
    Binomial tail of the other ``runs - 1`` power-ups. The interval of the share itself is `share_interval`.
    """
    runs_with = check.whole("runs_with", runs_with)
    runs = check.whole("runs", runs, least=1, what="a number of power-ups")
    if runs_with > runs:
        raise ValueError(f"runs_with must be at most runs ({runs}), got {runs_with}")
    confidence = check.share("confidence", confidence)
    if (nuisance_share is None) == (nuisance_rate is None) or (nuisance_rate is None) != (run_exposure is None):
        raise ValueError(
            "nuisance_share or nuisance_rate with run_exposure must be given, one of the two, "
            f"got {nuisance_share!r}, {nuisance_rate!r} and {run_exposure!r}"
        )
    if nuisance_share is None:
        rate = check.positive("nuisance_rate", nuisance_rate, what="a rate")
        time = check.positive("run_exposure", run_exposure, what="observed time per power-up")
        share = -math.expm1(-rate * time)
    else:
        share = check.share("nuisance_share", nuisance_share)
    rest, others = max(0, runs_with - 1), runs - 1
    p_value = count_tails.binomial_at_least(rest, others - rest, share)
    log_ratio = 0.0
    if others and rest > share * others:
        log_ratio = rest * math.log(rest / (share * others))
        if rest < others:
            log_ratio += (others - rest) * math.log((others - rest) / ((1.0 - share) * others))
    return Recurrence(
        count=runs_with,
        exposure=float(runs),
        rest_exposure=float(others),
        expected_rest=share * others,
        p_value=p_value,
        likelihood_ratio=math.exp(min(700.0, log_ratio)),
        recurs=runs_with >= 2 and p_value <= 1.0 - confidence,
        confidence=confidence,
        nuisance=share,
        control_count=0,
        control_exposure=math.nan,
        kind="runs",
        method="binomial tail of the other power-ups, given the first",
    )
