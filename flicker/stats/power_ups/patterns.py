"""Quasi-likelihood and case-crossover: two patterns over power-ups: mostly while warming up, and provoked by a stimulus."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from flicker.base import check
from flicker.base.arrays import Floats
from flicker.base.formats import digits_text, p_said, share_text
from flicker.base.result import Result
from flicker.stats.laws import event_runs as er

FEWEST = 3  # power-ups that make a pattern; with fewer it is 'in this power-up'
HALF = 4  # windows on each side of a stimulus; power with it: tests/studies/results/power_ups.md
LEAST_HALF = 2  # fewer neighbours tell too little of what comes by chance


@dataclass(frozen=True, slots=True)
class EarlyShare(Result):
    """Share of the episodes that came while warming up, against the share of the time; one-sided p for 'more'."""

    early: int
    count: int
    share: float
    expected_share: float
    dispersion: float
    p_value: float
    p_exact: float
    power_ups: int
    pattern: bool
    method: str

    @property
    def reads(self) -> str:
        """The finding in words."""
        seen = f"{self.early} of {self.count} came in the first {share_text(self.expected_share)} of the time"
        if not self.pattern:
            return f"{seen}: {self.power_ups} power-up{'s show' if self.power_ups != 1 else ' shows'} no pattern."
        return f"{seen} ({p_said(self.p_value)}, over {self.power_ups} power-ups)."


def early_share_test(
    early: Sequence[int] | ArrayLike, counts: Sequence[int] | ArrayLike, time_share: float, *, dispersion: float = 1.0
) -> EarlyShare:
    """Do episodes come mostly while warming up, over power-ups that may each have a burst of their own?

    Parameters
    ----------
    early, counts : array, shape (power-ups,)
        Episodes while warming up, and all episodes, of each power-up.
    time_share : float
        Share of the observed time that is warm-up, between 0 and 1.
    dispersion : float
        At least so much: 1 for episodes that come singly; above 1 where they come in bursts, which none in the warm-up cannot show.

    Returns
    -------
    EarlyShare
        ``p_value`` is never below the exact binomial one; with fewer than three power-ups, or episodes in one only, it
        is 1 and ``pattern`` is False.

    Raises
    ------
    ValueError
        If counts do not fit, or the share is out of range.

    Notes
    -----
    Quasi-likelihood (McCullagh and Nelder 1989, Generalized Linear Models, 2nd ed., section 4.5): the dispersion of the
    early shares between power-ups widens the binomial tail (incomplete beta function), and Student's t with one degree
    of freedom fewer than power-ups with episodes replaces the normal law.
    """
    first, n = check.whole_array("early", early), check.whole_array("counts", counts)
    p, phi = check.share("time_share", time_share), check.dispersion(dispersion)
    check.paired("counts", n, first.size, each="power-up")
    bad = np.flatnonzero(first > n)
    if bad.size:
        raise ValueError(f"early must not be above counts, got {first[bad[0]]} of {n[bad[0]]} at index {bad[0]}")
    held = n > 0
    s, total, runs = int(first.sum()), int(n.sum()), int(held.sum())
    method = "quasi-likelihood over power-ups, t"
    share = s / total if total else math.nan
    exact = float(special.betainc(s, total - s + 1.0, p)) if s else 1.0
    pattern = first.size >= FEWEST and runs >= 2
    value = 1.0
    if pattern:
        if 0 < s < total:
            phi = max(phi, float(np.sum((first - n * share) ** 2 / (np.maximum(n, 1) * share * (1 - share)))) / (runs - 1))
        tail = float(special.betainc(s / phi, (total - s) / phi + 1.0, p)) if s else 1.0
        z = -float(special.ndtri(min(max(tail, 1e-300), 1.0 - 1e-16)))
        value = max(exact, float(special.stdtr(runs - 1, -z)))
    return EarlyShare(
        early=s,
        count=total,
        share=share,
        expected_share=p,
        dispersion=phi,
        p_value=value,
        p_exact=exact,
        power_ups=int(first.size),
        pattern=pattern,
        method=method if pattern else f"{method}: too few",
    )


@dataclass(frozen=True, slots=True)
class ProvokedTest(Result):
    """Stimuli answered, against the windows on both sides of each; one-sided p for 'more'."""

    hits: int
    stimuli: int
    used: int
    expected: float
    p_value: float
    method: str

    @property
    def reads(self) -> str:
        """The finding in words."""
        if not self.used:
            return "No stimulus has enough observed time on both sides of it."
        return (
            f"{self.hits} of {self.used} stimuli answered, {digits_text(self.expected)} expected from the time on both sides of "
            f"each ({p_said(self.p_value)})."
        )


def provoked_test(
    event_times: er.Times,
    stimulus_times: er.Times,
    window: float,
    ends: er.Ends,
    *,
    early: float = 0.0,
    half: int = HALF,
) -> ProvokedTest:
    """Does a stimulus provoke episodes, whatever the rate does by itself?

    Parameters
    ----------
    event_times, stimulus_times : array_like, or list of array_like
        Of one run, or of each run, in observed time from 0.
    window : float
        Time after a stimulus within which an answer counts, above 0.
    ends : float or array_like
        Observed length of each run.
    early : float
        An answer may begin so much before its stimulus (marks are set by hand); the window is longer by that.
    half : int
        Windows looked at on each side of that of the stimulus, 2 or more; fewer where the next stimulus or an end of
        the run is near, never under 2 (such a stimulus takes no part).

    Returns
    -------
    ProvokedTest

    Raises
    ------
    ValueError
        If times lie outside their run, or an argument is out of range.

    Notes
    -----
    Bidirectional case-crossover (Maclure 1991, American Journal of Epidemiology 133, 144-153; Navidi 1998, Biometrics
    54, 596-605): of the m occupied windows among 2h + 1 about a stimulus each is as likely to be the middle one if the
    stimulus does nothing and the rate runs straight there; the hits are a sum of Bernoulli(m / (2h + 1)), whose upper
    tail is exact.
    """
    window = check.positive("window", window, what="a time")
    early = check.positive("early", early, what="a time", zero=True)
    half = check.whole("half", half, least=LEAST_HALF, what="a number of windows")
    events, stimuli = _runs("event_times", event_times), _runs("stimulus_times", stimulus_times)
    lengths = check.finite_array("ends", [ends] if np.ndim(ends) == 0 else ends)  # type: ignore[arg-type]
    if not len(events) == len(stimuli) == lengths.size:
        raise ValueError(
            f"event_times, stimulus_times and ends must be of as many runs (none given is one), got {len(events)}, {len(stimuli)} and "
            f"{lengths.size}"
        )
    width = window + early
    hits, chances, asked = 0, [], 0
    for event, at, end in zip(events, stimuli, lengths, strict=True):
        check.inside("event_times", event, 0.0, end)
        check.inside("stimulus_times", at, 0.0, end)
        asked += int(at.size)
        begin = at - early
        for i, first in enumerate(begin):
            # the windows end where a neighbour's own window begins, and with the run
            left = first if i == 0 else first - (begin[i - 1] + width)
            right = (end if i == at.size - 1 else begin[i + 1]) - (first + width)
            h = min(half, math.floor(left / width + 1e-9), math.floor(right / width + 1e-9))
            if h < LEAST_HALF:
                continue
            edges = first + width * np.arange(-h, h + 2)
            held = np.diff(np.searchsorted(event, edges, side="left")) > 0
            chances.append(float(held.sum()) / (2 * h + 1))
            hits += int(held[h])
    law = np.ones(1)
    for chance in chances:
        law = np.convolve(law, (1.0 - chance, chance))
    p = float(min(1.0, law[hits:].sum())) if hits else 1.0
    return ProvokedTest(
        hits=hits,
        stimuli=asked,
        used=len(chances),
        expected=float(sum(chances)),
        p_value=p,
        method="windows on both sides, exact (Poisson-binomial)",
    )


def _runs(name: str, times: er.Times) -> list[Floats]:
    """Times of each run, sorted."""
    if isinstance(times, str) or not isinstance(times, (Sequence, np.ndarray)):
        raise ValueError(f"{name} must be an array of times, or one array per run, got {times!r}")
    if len(times) == 0:  # no event, or no stimulus, in one run
        return [np.empty(0)]
    return [np.sort(check.finite_array(name, part, least=0)) for part in er.split(times)]
