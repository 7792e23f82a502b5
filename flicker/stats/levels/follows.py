"""Regression against 1/f noise: does one series follow another (a level the temperature), beyond what two slow movements share by chance?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from flicker.base import check
from flicker.base.arrays import Floats
from flicker.base.formats import p_said, share_text
from flicker.base.result import Result

EXPONENTS = (1.0, 2.0, 3.0)  # of the null's 1/f spectrum: flicker noise, a random walk, and one as smooth as a slow drift
DRAWS = 499
MOST = 120  # levels looked at; neighbours are averaged beyond
FEWEST = 12
SEED = 20_310_303


@dataclass(frozen=True, slots=True)
class Following(Result):
    """Which of the candidates a series follows best, and how sure that is.

    ``best`` is the place of the candidate, ``slope`` the series' change per unit of it, ``share`` the part of the
    movement about a straight line that it explains; ``p_value`` is the chance of such a share, or a larger one, where
    the series is 1/f noise of its own (the worst of the exponents). ``stepped`` tells that a step of the series had to
    be taken out first.
    """

    best: int
    slope: float
    share: float
    p_value: float
    method: str

    @property
    def reads(self) -> str:
        """The answer in words."""
        return f"candidate {self.best} explains {share_text(self.share)} of the movement ({p_said(self.p_value)})"


def following(values: ArrayLike, candidates: Sequence[ArrayLike], *, seed: int = SEED) -> Following:
    """Test whether a series follows one of several others.

    Parameters
    ----------
    values : array_like, shape (n,)
        Levels in time order.
    candidates : sequence of array_like, shape (n,)
        What it may follow: other series, or one at several lags.
    seed : int
        Of the draws under the null (499 for each exponent); the result is the same each time.

    Raises
    ------
    ValueError
        With fewer than 12 levels, no candidate, or one of another length.

    Notes
    -----
    A straight line is taken off both sides, so that two steady drifts do not excuse each other. The statistic is the
    largest squared correlation over the candidates; its null are Gaussian series with power ~ 1 / f ** exponent,
    treated alike (Monte Carlo, p = (1 + hits) / (1 + draws), the largest over the exponents 1, 2 and 3: a random walk
    and smoother series drift by themselves). A series that also steps once hides what it follows: the same is done with the largest step of
    what the best candidate leaves taken off, of the null's draws too, and the smaller p counts twice.
    """
    y = check.finite_array("values", values, least=FEWEST)
    if len(candidates) == 0:
        raise ValueError("candidates must hold one series or more, got none")
    rows = [check.paired("candidates", item, y.size, each="value of values") for item in candidates]
    if y.size > MOST:
        group = np.arange(y.size) * MOST // y.size
        count = np.bincount(group)
        y, *rows = (np.bincount(group, weights=row) / count for row in (y, *rows))
    line = np.column_stack((np.ones(y.size), np.linspace(-1.0, 1.0, y.size)))
    basis, _ = np.linalg.qr(line)
    x = np.array(rows) - (np.array(rows) @ basis) @ basis.T
    norm = np.sqrt((x * x).sum(axis=1))
    moves = norm > 1e-9 * np.maximum(np.abs(np.array(rows)).max(axis=1), 1e-300) * np.sqrt(y.size)
    method = "squared correlation about a straight line against 1/f noise of exponents 1 to 3, Monte Carlo"
    if not moves.any() or np.ptp(y) == 0.0:
        return Following(best=0, slope=0.0, share=0.0, p_value=1.0, method=method)
    unit = np.where(moves[:, None], x / np.where(norm, norm, 1.0)[:, None], 0.0)
    plain, stepped = _shares(y[None, :], unit, basis)
    hits = np.zeros((2, len(EXPONENTS)))
    rng = np.random.default_rng(seed)
    for place, exponent in enumerate(EXPONENTS):
        null = _coloured(rng, DRAWS, y.size, exponent)
        for row, (seen, drawn) in enumerate(zip((plain, stepped), _shares(null, unit, basis), strict=True)):
            hits[row, place] = np.count_nonzero(drawn[0] >= seen[0][0] - 1e-12)
    chances = ((1.0 + hits) / (1.0 + DRAWS)).max(axis=1)
    chosen = int(chances[1] < chances[0])
    share, best = (plain, stepped)[chosen]
    place = int(best[0])
    series = y if not chosen else y - _step(y[None, :], unit, basis)[0]
    slope = float((series - basis @ (basis.T @ series)) @ unit[place] / norm[place])
    return Following(
        best=place,
        slope=slope,
        share=float(share[0]),
        p_value=min(1.0, 2.0 * float(chances[chosen])),
        method=method,
    )


def _shares(
    y: Floats, unit: Floats, basis: Floats
) -> tuple[tuple[Floats, NDArray[np.intp]], tuple[Floats, NDArray[np.intp]]]:
    """Largest explained share and its candidate for each row, as it is and with its largest step taken off."""
    out = []
    for series in (y, y - _step(y, unit, basis)):
        rest = series - (series @ basis) @ basis.T
        share = (rest @ unit.T) ** 2 / np.maximum((rest * rest).sum(axis=1), 1e-300)[:, None]
        best = share.argmax(axis=1)
        out.append((share[np.arange(share.shape[0]), best], best))
    return out[0], out[1]


def _step(y: Floats, unit: Floats, basis: Floats) -> Floats:
    """The largest step of what line and best candidate leave, as a series per row."""
    rest = y - (y @ basis) @ basis.T
    part = rest @ unit.T
    best = (part**2).argmax(axis=1)
    left = rest - part[np.arange(y.shape[0]), best][:, None] * unit[best]
    n = y.shape[1]
    # A step at k about line and candidate: its own residual is what the fit cannot take up.
    at = np.arange(2, n - 1)
    heaviside = (np.arange(n)[None, :] >= at[:, None]).astype(np.float64)
    free = heaviside - (heaviside @ basis) @ basis.T
    energy = np.maximum((free * free).sum(axis=1), 1e-12)
    size = (left @ free.T) / energy[None, :]
    k = (size**2 * energy[None, :]).argmax(axis=1)
    return np.asarray(size[np.arange(y.shape[0]), k][:, None] * heaviside[k])


def _coloured(rng: np.random.Generator, rows: int, n: int, exponent: float) -> Floats:
    """Gaussian series with power ~ 1 / f ** exponent; twice as long and cut, so that the ends need not meet."""
    length = 2 * n
    frequency = np.fft.rfftfreq(length)
    frequency[0] = frequency[1]
    size = frequency ** (-0.5 * exponent)
    size[0] = 0.0
    phase = rng.standard_normal((rows, size.size)) + 1j * rng.standard_normal((rows, size.size))
    return np.asarray(np.fft.irfft(phase * size, length, axis=1)[:, :n])
