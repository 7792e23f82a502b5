"""How many episodes at the next visit, if the growth goes on? Runs of known age in; an expected count with limits out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

import numpy as np
from numpy.typing import ArrayLike

from flicker.base import check
from flicker.base.arrays import Floats
from flicker.base.described import Doc
from flicker.base.formats import digits_text
from flicker.base.result import Result
from flicker.stats.laws import event_runs as er

POWER_UPS_DIFFER = 0.5  # scale on which ages differ by themselves: as in `flicker.stats.power_ups`


@dataclass(frozen=True, slots=True)
class AgeForecast(Result):
    """Episodes to expect in runs of given length at a given age.

    ``expected`` with ``expected_low`` and ``expected_high`` is the mean; ``low`` and ``high`` enclose the count itself.
    """

    age: Annotated[float, Doc("Age of the next visit: days since the first (numbers of visits without dates).")]
    exposure: Annotated[float, Doc("Its observed seconds, as at the last visit.", ge=0)]
    expected: Annotated[float, Doc("Expected episodes.", ge=0, open=True)]
    expected_low: Annotated[float, Doc("Lower limit of that.", ge=0, null=True)]
    expected_high: Annotated[float, Doc("Upper limit of that.", ge=0, open=True)]
    low: Annotated[float, Doc("Lower limit of the count itself.", ge=0, null=True)]
    high: Annotated[float, Doc("Upper limit of the count.", ge=0, open=True)]
    confidence: Annotated[float, Doc("Confidence of both, a share.")]
    seed: Annotated[int, Doc("Always 0: nothing is drawn.", ge=0)]
    method: Annotated[str, Doc("Method in words.")]

    @property
    def reads(self) -> str:
        """The forecast in words."""
        return f"{digits_text(self.expected, 3)} episodes expected, {self.low:.0f} to {self.high:.0f} likely."


def age_forecast(
    times: er.Times,
    ends: ArrayLike,
    ages: ArrayLike,
    *,
    at: float,
    planned_ends: ArrayLike,
    confidence: float = 0.95,
    scatter: float = POWER_UPS_DIFFER,
    seed: int = 0,
) -> AgeForecast:
    """Forecast the count of episodes in planned runs at another age, if the growth goes on.

    Parameters
    ----------
    times, ends, ages
        Runs, their observed lengths and their ages (days, or numbers of visits).
    at : float
        Age of the planned runs.
    planned_ends : array_like
        Their observed lengths; none longer than the longest run seen.
    confidence : float
        Of both intervals.
    scatter : float
        Scale of the prior of how ages (visits) differ by themselves.
    seed : int
        Kept for callers of old; nothing is drawn.

    Raises
    ------
    ValueError
        If fewer than two ages were observed, no episode was, or a planned run is longer than any seen, since nothing is
        known of such times.

    Notes
    -----
    Runs of one age are one unit: `power_ups.growth_forecast` on their counts, expected by risk sets. Coverage:
    ``tests/studies/results/power_ups.md``.
    """
    from flicker.stats.power_ups import expected_counts, growth_forecast

    confidence = check.share("confidence", confidence)
    at = float(check.finite_array("at", [at])[0])
    planned = check.finite_array("planned_ends", planned_ends)
    seed = check.whole("seed", seed, what="a seed")
    runs = er.pooled(er.split(times), ends, least=1, name_of_end="ends")
    age = check.finite_array("ages", ages, least=2)
    if age.size != runs.ends.size:
        raise ValueError(f"ages must hold one number per run ({runs.ends.size}), got {age.size}")
    if float(np.ptp(age)) == 0:
        raise ValueError(f"ages must differ between runs, got {age[0]} for all")
    if np.any(planned <= 0) or planned.max() > runs.ends.max() * (1 + 1e-9):
        raise ValueError(
            f"planned_ends must lie above 0 and up to the longest run seen ({runs.ends.max():g}), got {planned.tolist()}"
        )
    held = expected_counts(er.split(times), runs.ends)
    units, place = np.unique(age, return_inverse=True)
    counts = np.bincount(place, held.counts).astype(np.int64)
    if counts.sum() == 0:
        raise ValueError(
            "times must hold an episode at a time since power-up that runs of different age reached, got none"
        )
    told = growth_forecast(
        counts, np.bincount(place, held.expected), units, at=at, planned=_expected(runs, planned), scatter=scatter,
        confidence=confidence,
    )  # fmt: skip
    return AgeForecast(
        age=at,
        exposure=float(planned.sum()),
        expected=told.expected,
        expected_low=told.expected_low,
        expected_high=told.expected_high,
        low=float(told.low),
        high=float(told.high),
        confidence=confidence,
        seed=seed,
        method=told.method,
    )


def _expected(runs: er.Runs, planned: Floats) -> float:
    """Episodes to expect of planned runs were all ages alike: those seen between ends of runs, by the time at risk there."""
    edges = np.unique(runs.ends)
    begin = np.concatenate(([0.0], edges[:-1]))
    seen = np.bincount(np.minimum(np.searchsorted(edges, runs.times), edges.size - 1), minlength=edges.size)
    at_risk = (runs.ends[:, None] >= edges).sum(axis=0)
    cover = np.clip((planned[:, None] - begin) / (edges - begin), 0.0, 1.0).sum(axis=0)
    return float(np.sum(seen / at_risk * cover))
