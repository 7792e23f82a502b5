"""What would have reached the speaker, and will it? Peaks in; chance of a trip (extrapolated tail), other thresholds, out.

Peaks are absolute volts as measured, one per episode: a relay does not know the baseline. The relay's values are
assumed, not measured on the unit.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Annotated

import numpy as np
from numpy.typing import ArrayLike

from flicker.base.formats import count_text, hours_text, share_text
from flicker.base.result import Doc, Result
from flicker.signals.relay import RelayRecord, RelayTotal, add_up
from flicker.stats.rates import rate_interval

LEAST_PEAKS = 5  # for a tail to be fitted at all; a choice
FEW_PEAKS = 20  # below, no interval of a tail covers as it says (recorded study of `extremes.fit_tail`)
TELLS = 0.9  # a range of a chance wider than this says nothing; a choice
RARE = 0.05  # a chance that one may live with: the sentence says what it takes to show it (choice)
ALL_BUT_CERTAIN = 0.98  # lower limit of a chance from which the sentence says so; a choice
ASSUMED = "The relay's threshold and delays are assumed, not measured on this unit."
BEYOND = "Assumes that the unit goes on as in the log: worsening, heat and handling are not in it."
SHORT = "Swings shorter than the relay's delay count as trips here: the chance errs on the side of caution."


@dataclass(frozen=True, slots=True)
class TripForecast(Result):
    """Chance that the next hours contain a trip.

    Attributes
    ----------
    chance
        Best estimate; NaN below 20 peaks, where none is honest.
    low, high
        Interval at ``confidence``; below 20 peaks ``low`` comes from counted trips alone, and ``high`` is a one-sided
        bound (``bound`` is 'upper').
    counted_high
        Upper bound from counted trips alone, whatever the tail; ``high`` is never below it.
    rate_low, rate_high
        Trips per hour: bounds from the count alone.
    tail_high
        Upper bound that the fitted tail gives (NaN below 5 peaks).
    trips_seen, peaks
        Peaks above ``trip_V``, and peaks above ``threshold_V``, in ``observed_h``.
    """

    trip_V: Annotated[float, Doc("Threshold, volts.", gt=0)]
    hours: Annotated[float, Doc("Hours ahead.", ge=0)]
    chance: Annotated[float, Doc("Best estimate; null below 20 peaks, where none is honest.", ge=0, le=1, null=True)]
    low: Annotated[float, Doc("Lower limit.", ge=0, le=1, null=True)]
    high: Annotated[float, Doc("Upper limit.", ge=0, le=1, null=True)]
    bound: Annotated[str, Doc("'two-sided', or 'upper' where high is a one-sided bound.")]
    counted_high: Annotated[float, Doc("Upper bound from counted trips alone.", ge=0, le=1, null=True)]
    tail_high: Annotated[float, Doc("Upper bound of the fitted tail; null below 5 peaks.", ge=0, le=1, null=True)]
    peaks: Annotated[int, Doc("Peaks above threshold_V.", ge=0)]
    trips_seen: Annotated[int, Doc("Peaks above trip_V.", ge=0)]
    largest_V: Annotated[float, Doc("Largest peak, volts without sign.", ge=0, open=True)]
    threshold_V: Annotated[float, Doc("Threshold of the peaks, volts.", ge=0)]
    observed_h: Annotated[float, Doc("Observed hours.", ge=0)]
    confidence: Annotated[float, Doc("Confidence of the intervals, a share between 0 and 1.", gt=0)]
    cautions: Annotated[tuple[str, ...], Doc("What it rests on.")]
    seed: Annotated[int, Doc("Seed of the bootstrap.")]
    method: Annotated[str, Doc("The method by which the figures were found.")]
    rate_low: Annotated[float, Doc("Trips per hour at least, from the count alone.", ge=0)] = 0.0
    rate_high: Annotated[float, Doc("Trips per hour at most, from the count alone.", ge=0, open=True)] = math.inf

    @property
    def reads(self) -> str:
        """The count first; what the fitted tail says only as what holds if all swings are of one kind."""
        seen, ahead = hours_text(self.observed_h), f"{self.hours:g} h"
        low, high = (share_text(_chance(rate, 1.0)) for rate in (self.rate_low, self.rate_high))
        sure, none = _chance(self.rate_low, self.hours) > ALL_BUT_CERTAIN, self.trips_seen == 0
        open_ = not sure and self.counted_high > TELLS
        clean_h = self.rate_high * self.observed_h * self.hours / -math.log1p(-RARE)
        told = (
            (none, f"No trip in {seen}: at most {high} in the next hour"),
            (not none, f"{count_text(self.trips_seen, 'trip')} in {seen}: between {low} and {high} in the next hour"),
            (sure, f"; in {ahead} one is all but certain."),
            (open_, f"; for {ahead} it cannot be told."),
            (not (sure or open_), f"; at most {share_text(self.counted_high)} in the next {ahead}."),
            (
                none and self.counted_high > RARE,
                f" After {hours_text(clean_h)} without a trip it would be under {share_text(RARE)} for {ahead}.",
            ),
            (
                math.isfinite(self.chance) and not sure,
                f" If all swings are of one kind: about {share_text(self.chance)} in the next {ahead}.",
            ),
        )
        return "".join(text for holds, text in told if holds)


def trip_forecast(
    peaks_V: ArrayLike,
    observed_h: float,
    *,
    trip_V: float,
    threshold_V: float,
    hours: float,
    confidence: float = 0.95,
    seed: int = 0,
) -> TripForecast:
    """Chance that the next ``hours`` contain a peak above the trip threshold.

    Parameters
    ----------
    peaks_V : array_like, shape (episodes,)
        Absolute reading farthest from zero of each episode; bursts joined, one peak each.
    observed_h : float
        Observed hours behind them.
    trip_V : float
        Trip threshold.
    threshold_V : float
        At or below ``trip_V``, fixed before looking (for example the entering threshold); only peaks above it count.
    hours : float
        How far ahead.
    confidence : float
        Of the interval or bound.
    seed : int
        Of the simulations that calibrate intervals from 20 to 99 peaks.

    Notes
    -----
    The count leads: where one swing in a hundred is large, a tail fitted to all covered in 15 to 64 % of benches, the count
    in 99 %. From 20 peaks on also: `extremes.fit_tail` (generalised Pareto, profile likelihood, calibrated below 60). Below 20 only
    a bound: the exact Poisson limit of counted trips, which assumes nothing of the tail. The tail's own bound rests on
    its range of shapes and stands beside it. Chance of any in h hours at a rate r: 1 - exp(-r h).
    """
    peaks = np.abs(np.asarray(peaks_V, dtype=np.float64))
    above = peaks[peaks > threshold_V]
    trips = int(np.count_nonzero(above > trip_V))
    counted = rate_interval(trips, observed_h, confidence=confidence)
    bound = rate_interval(trips, observed_h, confidence=confidence, sided="upper")
    counted_high = _chance(bound.high, hours)
    tail_high, tail = math.nan, None
    if above.size >= LEAST_PEAKS and np.ptp(above) > 1e-9 * above.max():
        from flicker.stats.extremes import fit_tail  # late: most logs have fewer peaks, or none

        fitted = fit_tail(above, threshold_V, exposure=observed_h, confidence=confidence, seed=seed)
        tail = fitted.chance_above(trip_V, hours)
        tail_high = tail.high
    cautions = [ASSUMED, BEYOND, SHORT]
    if tail is not None and above.size >= FEW_PEAKS:
        # A tail fitted to many small swings misses the few large ones of another kind: the count bounds it.
        chance, low, high, kind = tail.chance, tail.low, max(tail.high, counted_high), "two-sided"
        method = tail.method
        if tail.caution:
            cautions.append(tail.caution)
    else:
        chance, low, high, kind = math.nan, _chance(counted.low, hours), counted_high, "upper"
        method = "exact Poisson limit of counted trips"
        cautions.append(f"Fewer than {FEW_PEAKS} peaks: a bound, not an estimate.")
    return TripForecast(
        trip_V=trip_V,
        hours=hours,
        chance=chance,
        low=low,
        high=high,
        bound=kind,
        counted_high=counted_high,
        tail_high=tail_high,
        peaks=int(above.size),
        trips_seen=trips,
        largest_V=float(peaks.max()) if peaks.size else math.nan,
        threshold_V=threshold_V,
        observed_h=observed_h,
        confidence=confidence,
        cautions=tuple(cautions),
        seed=seed,
        method=method,
        rate_low=counted.low,
        rate_high=bound.high,
    )


def _chance(rate: float, hours: float) -> float:
    return -math.expm1(-rate * hours)


def by_threshold(records: Iterable[Sequence[RelayRecord]]) -> tuple[RelayTotal, ...]:
    """What the relay would have done at several thresholds, over all runs of one channel; rising thresholds.

    Parameters
    ----------
    records : iterable (thresholds) of sequence (runs) of RelayRecord
        Of one channel, as `signals.relay.scan_relays` gives them for each run.
    """
    return tuple(sorted((add_up(runs) for runs in records), key=lambda row: row.relay.trip_V))


def outcomes_text(rows: Sequence[RelayTotal]) -> str:
    """Trips at each threshold."""
    words = ", ".join(f"{row.relay.trip_V:g} V: {count_text(row.trips, 'trip')}" for row in rows)
    silent = [row.relay.trip_V for row in rows if row.trips == 0]
    if silent and len(silent) < len(rows):
        words += f"; from {min(silent):g} V on the relay would have stayed closed"
    return words
