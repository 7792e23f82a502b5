"""Does the settled level move, by slope, step or wander alike? Levels of equal cells in; range, chance and kind out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from flicker.base import check
from flicker.base.arrays import Floats, Ints
from flicker.base.formats import digits_text
from flicker.base.result import Interval, Result
from flicker.stats.levels.digits import resolution_of
from flicker.stats.levels.table_tails import TAILS, tail_chance, tail_value
from flicker.stats.levels.trend_tables import RANGE_BY_SIGMA_8, RANGE_BY_SIGMA_128, RANGE_BY_STEPS

_FEWEST = 4  # cells; with fewer no noise model can be fitted


@dataclass(frozen=True, slots=True)
class Movement(Interval):
    """Range of the level and what noise alone would explain of it."""

    range: float
    p_value: float
    critical_range: float
    limit: float

    @property
    def reads(self) -> str:
        """One sentence for the owner."""
        if not np.isfinite(self.critical_range):
            return f"the level covers {digits_text(self.range, 3)}, but there is too little of it to tell movement from noise"
        beyond = f"more than {digits_text(self.limit, 3)} " if self.limit else ""
        shown = "is shown" if self.p_value <= 1 - self.confidence else "is not shown"
        return (
            f"the level covers {digits_text(self.range, 3)}; noise alone explains up to {digits_text(self.critical_range, 3)}, "
            f"so a movement of {beyond or 'its own '}{shown}"
        )


def movement_test(
    levels: ArrayLike,
    times: ArrayLike | None = None,
    *,
    limit: float = 0.0,
    sigma: float | None = None,
    samples_per_cell: int | None = None,
    resolution: float | None = None,
    confidence: float = 0.99,
) -> Movement:
    """Test whether the level moved by more than ``limit``, whatever the shape of the movement.

    Parameters
    ----------
    levels : array_like, shape (k,)
        Robust level of each cell of equal length (five minutes is the use in mind), in time order; NaN where nothing
        was observed.
    times : array_like, shape (k,), optional
        Start of each cell, rising; 0, 1, 2 ... when left out. Cells may be missing.
    limit : float
        Movement that does not matter, in the unit of ``levels``.
    sigma : float, optional
        Robust sigma of the samples about their own cell's level. With it a slow wander is told from noise far better.
        The cell must be long against the memory of the noise (six times and more), else leave it out.
    samples_per_cell : int, optional
        With ``sigma``: samples in a full cell (128 or more when left out).
    resolution : float, optional
        Step of the meter's last digit (0 for none); sought in ``levels`` when left out.
    confidence : float
        Of the critical range and the interval; at most 0.999. The default is the 99 % point, stricter than elsewhere.

    Returns
    -------
    Movement
        ``range`` as seen; ``low`` and ``high`` bound the movement under the noise; ``p_value`` is the chance that noise
        explains what lies beyond ``limit``; ``critical_range`` is what noise alone passes with chance 1 - confidence.
        With fewer than four cells p is 1 and the critical range infinite.

    Raises
    ------
    ValueError
        If no level is finite, times do not rise, or an argument is out of range.

    Notes
    -----
    The noise model is Gaussian with power ~ 1 / f ** 1.1, the worst of white, AR(1) and 1/f noise, tabulated by
    simulation (tests/studies/make_trend_tables.py). Its size comes from the steps between neighbouring cells, less
    their median (so a slope does not raise it) and without the largest quarter (nor does a step); with ``sigma``,
    from the samples too, and the smaller p-value counts twice. One last digit of the range is never counted as
    movement. Measured (study_trends): nominal 1 % holds up to exponent 1.0; at 1.2 it is 2 to 5 %, with ``sigma`` 3 to
    9 %, growing with the number of cells, so keep ``limit`` well above 0. Without ``sigma`` a slow wander is missed.
    """
    values, places = _cells(levels, times)
    limit = check.positive("limit", limit, what="a movement that does not matter", zero=True)
    confidence = check.share("confidence", confidence)
    if 1 - confidence < TAILS[-1] * (1 - 1e-9):
        raise ValueError(f"confidence must be at most {1 - TAILS[-1]:g} (the table ends there), got {confidence}")
    step = resolution_of(values) if resolution is None else check.positive("resolution", resolution, zero=True)
    if sigma is not None:
        sigma = check.positive("sigma", sigma, what="a robust sigma", zero=True)
    per_cell = 128 if samples_per_cell is None else check.whole("samples_per_cell", samples_per_cell, least=1)
    seen = float(np.ptp(values))
    span = int(places[-1] - places[0]) + 1
    if values.size < _FEWEST:
        return Movement(
            range=seen,
            low=0.0,
            high=float("inf"),
            p_value=1.0,
            critical_range=float("inf"),
            limit=limit,
            confidence=confidence,
            method="too few cells for a noise model",
        )
    rounding = step / np.sqrt(12.0)
    scales = [(float(np.hypot(_step_scale(values, places), rounding)), _at(RANGE_BY_STEPS, span))]
    method = "range of levels against 1/f noise sized from cell to cell"
    if sigma is not None:
        weight = float(np.clip(np.log(per_cell / 8) / np.log(16), 0, 1))
        few, many = _at(RANGE_BY_SIGMA_8, span), _at(RANGE_BY_SIGMA_128, span)
        scales.append(
            (
                float(np.hypot(sigma, rounding)),
                tuple((1 - weight) * a + weight * b for a, b in zip(few, many, strict=True)),
            )
        )
        method += " and from the samples"
    looks = len(scales)
    excess = max(seen - limit - step, 0.0)
    chances = [tail_chance(q, excess / s, 6.0) if s > 0 else float(excess == 0) for s, q in scales]
    allowed = [s * tail_value(q, max((1 - confidence) / looks, TAILS[-1])) for s, q in scales]
    best = int(np.argmin(allowed))
    critical = allowed[best] + step
    return Movement(
        range=seen,
        low=max(0.0, seen - critical),
        high=seen + critical,
        p_value=min(1.0, looks * min(chances)),
        critical_range=critical,
        limit=limit,
        confidence=confidence,
        method=method,
    )


@dataclass(frozen=True, slots=True)
class MovementKind(Result):
    """What shape a movement has: the simplest of slope, step and wander that explains it."""

    kind: str
    slope: float
    step: float
    step_at: float
    net: float
    returns: bool
    method: str = "shares of the range explained by a line and by one step"

    @property
    def reads(self) -> str:
        """One sentence for the owner."""
        if self.kind == "none":
            return "the level does not move"
        if self.kind == "slope":
            return f"the level moves steadily, by {digits_text(self.net, 3)} from start to end"
        if self.kind == "step":
            return f"the level jumps by {digits_text(self.step, 3)} at {digits_text(self.step_at, 4)} and stays there"
        return "the level wanders" + (
            " and comes back" if self.returns else f" and ends {digits_text(self.net, 3)} away from its start"
        )


def movement_kind(levels: ArrayLike, times: ArrayLike | None = None) -> MovementKind:
    """Name the shape of a movement that `movement_test` has shown.

    Parameters
    ----------
    levels : array_like, shape (k,)
        As in `movement_test`; NaN where nothing was observed.
    times : array_like, shape (k,), optional
        Start of each cell, rising.

    Returns
    -------
    MovementKind
        ``kind`` is 'slope', 'step', 'wander' or 'none' (all levels equal, or fewer than four). ``slope`` is per unit of
        time; ``step_at`` the first cell on the new level; ``net`` the last level less the first (medians of the outer
        eighths, three cells at least); ``returns`` where the net change is under half the range.

    Raises
    ------
    ValueError
        If no level is finite or times do not rise.

    Notes
    -----
    A line or one step is accepted where it takes away 85 % of the sum of squares about the mean; a line is preferred
    to a step only if it takes away more. Otherwise the level wanders. Describes; decides nothing.
    """
    values, places = _cells(levels, times)
    when = places.astype(np.float64) if times is None else np.asarray(times, dtype=np.float64)
    if times is not None:
        when = when[np.isfinite(np.asarray(levels, dtype=np.float64))]
    k = values.size
    centred = values - values.mean()
    total = float(centred @ centred)
    if k < _FEWEST or total == 0.0:
        return MovementKind(
            kind="none",
            slope=0.0,
            step=0.0,
            step_at=float("nan"),
            net=0.0,
            returns=False,
        )
    run = when - when.mean()
    slope = float(run @ centred / (run @ run))
    left = np.arange(1, k)
    running = np.cumsum(centred)[:-1]
    gain = running**2 * (1 / left + 1 / (k - left))
    cut = int(np.argmax(gain)) + 1
    step = float(np.median(values[cut:]) - np.median(values[:cut]))
    share_slope, share_step = slope * slope * float(run @ run) / total, float(gain[cut - 1]) / total
    outer = min(max(3, k // 8), k // 2)
    net = float(np.median(values[-outer:]) - np.median(values[:outer]))
    returns = abs(net) < 0.5 * float(np.ptp(values))
    kind = "wander"
    if max(share_slope, share_step) >= 0.85:
        kind = "slope" if share_slope > share_step else "step"
    return MovementKind(
        kind=kind,
        slope=slope,
        step=step,
        step_at=float(when[cut]),
        net=net,
        returns=returns,
    )


def _cells(levels: ArrayLike, times: ArrayLike | None) -> tuple[Floats, Ints]:
    """Levels that are there, and the number of the cell of each."""
    values = check.number_array("levels", levels)
    if np.isinf(values).any():
        raise ValueError("levels must be finite or NaN, got inf")
    keep = np.isfinite(values)
    if not keep.any():
        raise ValueError("levels must hold at least one finite value, got none")
    when = check.paired("times", times, values.size, each="value of levels")
    check.rising("times", when, strictly=True)
    cell = float(np.diff(when).min(initial=np.inf))
    places = np.round((when - when[0]) / cell).astype(np.int64)
    return values[keep], places[keep]


def _step_scale(values: Floats, places: Ints) -> float:
    """Size of the noise from cell to cell, without slope and steps."""
    steps = np.diff(values)
    neighbours = np.diff(places) == 1
    if neighbours.sum() >= 3:
        steps = steps[neighbours]
    off = np.sort(np.abs(steps - np.median(steps)))
    keep = max(1, int(0.75 * steps.size))
    return float(np.sqrt(np.mean(off[:keep] ** 2)))


def _at(table: Mapping[int, tuple[float, ...]], cells: int) -> tuple[float, ...]:
    """The row of a table for so many cells, between its rows."""
    keys = np.array(list(table), dtype=np.float64)
    rows = np.array(list(table.values()))
    place = np.log(np.clip(cells, keys[0], keys[-1]))
    return tuple(float(np.exp(np.interp(place, np.log(keys), np.log(rows[:, j])))) for j in range(rows.shape[1]))
