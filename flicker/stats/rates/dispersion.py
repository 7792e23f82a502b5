"""Dispersion (variance over mean, exact or by Monte Carlo): do events come singly? And a rate from runs that differ by more than chance."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from flicker.base import check
from flicker.base.arrays import Floats, Ints
from flicker.base.formats import digits_text, p_said, share_text
from flicker.base.result import Interval, Tested
from flicker.stats.laws import count_tails
from flicker.stats.laws import scatter as sc
from flicker.stats.power_ups import mean_rate

REPLICATES = 9_999
MANY_WINDOWS = 500  # beyond it fewer replicates keep the test under a second
FEWER_REPLICATES = 1_999
FIRST_LOOK = 999  # replicates after which a test that is far from significant stops
FAR_FROM = 0.25  # of the tail asked for (of the smaller one, two-sided), above which it stops
SEED = 20_260_101
LEAST_DISPERSION = 0.01  # perfectly even counts must not divide by 0; the Poisson interval rules there anyway
LEAST_DOF = 4  # below it the t reference of merged windows is too wide to be of use
GROWTH = 1.1  # chosen by size and power under bursts of mean 1 to 8 (results/ratio_bursts.md)
EXACT_STEPS = 40_000  # k n^2 / 2 that the exact distribution may cost (some 0.04 s)
AT_ONCE = 16  # counts placed so far that are taken together


def checked_windows(
    count_name: str, counts: ArrayLike, exposure_name: str, exposures: ArrayLike | None
) -> tuple[Ints, Floats]:
    """Return counts and positive exposures of one length (exposures of 1 where none are given)."""
    x = check.whole_array(count_name, counts)
    if exposures is None:
        return x, np.ones(x.size)
    return x, check.positive_array(exposure_name, check.paired(exposure_name, exposures, x.size, each="count"))


def pearson_dispersion(sides: Sequence[tuple[Ints, Floats]]) -> tuple[float, float]:
    """Pooled Pearson dispersion within sides, and its degrees of freedom (0 where nothing can be said).

    A side with no event or a single one has no say: its Pearson sum does not depend on bursts.
    """
    chi2, dof = 0.0, 0.0
    for counts, exposures in sides:
        n = int(counts.sum())
        if n < 2 or counts.size < 2:
            continue
        mean = n * exposures / exposures.sum()
        chi2 += float(np.sum((counts - mean) ** 2 / mean))
        dof += counts.size - 1
    return (max(chi2 / dof, LEAST_DISPERSION), dof) if dof else (1.0, 0.0)


def dispersion_levels(
    sides: Sequence[tuple[Ints, Floats]],
) -> list[tuple[float, float]]:
    """Dispersion and degrees of freedom over single windows, pairs of neighbours, and fours if pairs vary clearly more.

    A burst cut by the border of two windows hides a part of its dispersion; pairs and fours bring it back.
    """
    levels: list[tuple[float, float]] = []
    for width in (1, 2, 4):
        if width == 4 and max(1.0, levels[1][0]) <= GROWTH * max(1.0, levels[0][0]):
            break
        level = pearson_dispersion([(_merged(x, width), _merged(e, width)) for x, e in sides])
        if level[1] <= 0 or (width > 1 and level[1] < LEAST_DOF):
            break
        levels.append(level)
    return levels


def _merged(values: NDArray[Any], width: int) -> NDArray[Any]:
    return values if width == 1 else np.add.reduceat(values, np.arange(0, values.size, width))


def window_counts(times: Any, ends: Any, *, windows: int = 20) -> tuple[Ints, Floats]:
    """Count events in about ``windows`` equal windows that never cross the border of a run.

    Parameters
    ----------
    times : array, or list of arrays
        Event times of one run, or one array per run, each from 0 to its end, in observed time.
    ends : float, or list of floats
        Observed time of each run.
    windows : int
        Windows wanted over all runs; each run gets its share by length, at least one.

    Returns
    -------
    counts, exposures : array, shape (windows,)
    """
    windows = check.whole("windows", windows, least=1, what="a number of windows")
    single = np.ndim(ends) == 0
    run_times = [times] if single else list(times)
    run_ends = [check.positive("ends", end, what="observed time") for end in ([ends] if single else list(ends))]
    if len(run_times) != len(run_ends):
        raise ValueError(f"times must hold one array per run ({len(run_ends)}), got {len(run_times)}")
    total = math.fsum(run_ends)
    counts, exposures = [], []
    for run, end in zip(run_times, run_ends, strict=True):
        t = check.finite_array("times", run, least=0)
        check.inside("times", t, 0.0, end)
        bins = max(1, round(windows * end / total))
        counts.append(np.histogram(t, bins=bins, range=(0.0, end))[0])
        exposures.append(np.full(bins, end / bins))
    return np.concatenate(counts).astype(np.int64), np.concatenate(exposures)


@dataclass(frozen=True, slots=True)
class DispersionTest(Tested):
    """Variance over mean of counts, and whether it differs from that of independent events."""

    index: float
    chi2: float
    dof: int
    replicates: int
    seed: int | None

    @property
    def reads(self) -> str:
        """One sentence for the owner of the unit."""
        if math.isnan(self.index):
            return "nothing was counted, so nothing can be said about clustering"
        kind = "not shown to differ" if not self.shown else "clustered" if self.index > 1 else "even"
        return f"counts vary {digits_text(self.index, 3)} times as much as independent events would ({kind}; {p_said(self.p_value)})"


def dispersion_test(
    counts: Sequence[int] | ArrayLike,
    exposures: Sequence[float] | ArrayLike | None = None,
    *,
    alternative: Literal["greater", "less", "two-sided"] = "greater",
    method: Literal["auto", "exact", "monte-carlo", "chi-square"] = "auto",
    seed: int = SEED,
    confidence: float = 0.95,
) -> DispersionTest:
    """Do counts vary more than independent events at a constant rate would?

    Parameters
    ----------
    counts : array, shape (windows,)
        Events per window or run, two or more windows.
    exposures : array, shape (windows,), optional
        Observed time per window; equal if not given.
    alternative : {"greater", "less", "two-sided"}
        The default asks one-sidedly for clustering.
    method : {"auto", "exact", "monte-carlo", "chi-square"}
        ``auto`` takes the exact distribution where the exposures are equal and it is quick, Monte Carlo where any
        window expects fewer than 50 events, and chi-square beyond.
    seed : int
        Of the Monte Carlo method (9,999 replicates, 1,999 beyond 500 windows; 999 where those leave the tail asked
        for, two-sided the smaller one, above 0.25); fixed by default, so results repeat.
    confidence : float
        From which `reads` claims anything.

    Returns
    -------
    DispersionTest
        ``.index`` (variance over mean; Pearson's sum over its degrees of freedom with unequal exposures) and
        ``.p_value``. With no event at all the index is NaN and p is 1.

    Raises
    ------
    ValueError
        If fewer than two windows are given, or a count or exposure is out of range.

    Notes
    -----
    Fisher (1925), Statistical Methods for Research Workers, section 16. Given the total, counts are multinomial;
    exact and Monte Carlo p use that law, so they hold their size however small the counts. Stopping early where p is
    far from significant can only take rejections away (cf. Besag and Clifford 1991, Biometrika 78, 301-304).
    """
    x, e = checked_windows("counts", counts, "exposures", exposures)
    if x.size < 2:
        raise ValueError(f"counts must hold 2 or more windows, got {x.size}")
    check.one_of("alternative", alternative, ("greater", "less", "two-sided"))
    check.one_of("method", method, ("auto", "exact", "monte-carlo", "chi-square"))
    seed = check.whole("seed", seed, what="a seed")
    confidence = check.share("confidence", confidence)
    n, k = int(x.sum()), int(x.size)
    if n == 0:
        return DispersionTest(
            index=math.nan,
            chi2=math.nan,
            dof=k - 1,
            p_value=1.0,
            replicates=0,
            seed=None,
            method="nothing counted",
            confidence=confidence,
        )
    mean = n * e / e.sum()
    chi2 = float(np.sum((x - mean) ** 2 / mean))
    equal = bool(np.ptp(e) <= 1e-9 * e.max())
    affordable = equal and n <= 60 and k * n * n / 2 <= EXACT_STEPS
    if method == "exact" and not affordable:
        raise ValueError(f"method 'exact' needs equal exposures and few events, got {n} events in {k} windows")
    if method == "auto":
        method = "exact" if affordable else "chi-square" if mean.min() >= 50 else "monte-carlo"

    replicates, used_seed = 0, None
    if method == "exact":
        law = _pairs_law(n, k)
        pairs = int(np.sum(x * (x - 1))) // 2
        lower, upper = float(law[: pairs + 1].sum()), float(law[pairs:].sum())
    elif method == "monte-carlo":
        used_seed, rng = seed, np.random.default_rng(seed)
        replicates, at_most, at_least = 0, 0, 0
        for wanted in (FIRST_LOOK, REPLICATES if k <= MANY_WINDOWS else FEWER_REPLICATES):
            more = _simulated_tails(chi2, n, e / e.sum(), wanted - replicates, rng)
            replicates, at_most, at_least = wanted, at_most + more[0], at_least + more[1]
            lower, upper = (1 + at_most) / (replicates + 1), (1 + at_least) / (replicates + 1)
            if {"greater": upper, "less": lower, "two-sided": min(lower, upper)}[alternative] > FAR_FROM:
                break
    else:
        lower, upper = float(special.chdtr(k - 1, chi2)), float(special.chdtrc(k - 1, chi2))
    p_value = min(1.0, count_tails.p_value(lower, upper, alternative))
    return DispersionTest(
        index=chi2 / (k - 1), chi2=chi2, dof=k - 1, p_value=p_value, replicates=replicates, seed=used_seed, method=f"index of dispersion, {method}",
        confidence=confidence,
    )  # fmt: skip


def _pairs_law(n: int, k: int) -> Floats:
    """Chances of each number of pairs of events that share a cell, when n events fall into k equal cells.

    The sum of squares is n plus twice that number.
    """
    placed, taken = np.arange(n + 1)[:, None], np.arange(n + 1)[None, :]
    left = np.maximum(n - placed, taken)
    ways = special.gammaln(left + 1) - special.gammaln(taken + 1) - special.gammaln(left - taken + 1)
    pairs = [m * (m - 1) // 2 for m in range(n + 1)]
    chance = np.zeros((n + 1, pairs[n] + 1))
    chance[0, 0] = 1.0
    for cell in range(k, 0, -1):
        # given m events placed in the cells before, this cell takes c of the n - m left with chance 1 / (cells left)
        p = 1.0 / cell
        weight = np.exp(ways + special.xlogy(taken, p) + special.xlog1py(left - taken, -p))
        after = np.zeros_like(chance)
        for take in range(n + 1):
            for m in range(0, 1 if cell == k else n - take + 1, AT_ONCE):  # at first none is placed
                end = min(m + AT_ONCE, n - take + 1)
                width = pairs[end - 1] + 1
                here = slice(pairs[take], pairs[take] + width)
                after[m + take : end + take, here] += weight[m:end, take, None] * chance[m:end, :width]
        chance = after
    return np.asarray(chance[n])


def _simulated_tails(
    chi2: float, n: int, shares: Floats, replicates: int, rng: np.random.Generator
) -> tuple[int, int]:
    at_most = at_least = done = 0
    chunk = max(1, min(replicates, 2_000_000 // shares.size))
    mean = n * shares
    slack = 1e-9 * max(1.0, chi2)  # equal tables must count as equal in spite of rounding
    while done < replicates:
        size = min(chunk, replicates - done)
        drawn = rng.multinomial(n, shares, size=size)
        value = np.sum((drawn - mean) ** 2 / mean, axis=1)
        at_most += int(np.sum(value <= chi2 + slack))
        at_least += int(np.sum(value >= chi2 - slack))
        done += size
    return at_most, at_least


@dataclass(frozen=True, slots=True)
class OverdispersedRate(Interval):
    """A rate from runs that may differ more than Poisson, with an interval.

    ``dispersion`` is the variance of the counts over that of independent events (1 or more; 1 where too few were seen).
    """

    count: int
    exposure: float
    runs: int
    rate: float
    dispersion: float

    @property
    def reads(self) -> str:
        """One sentence for the owner of the unit."""
        return (
            f"{self.count} in {digits_text(self.exposure, 4)} observed over {self.runs} runs: "
            f"{digits_text(self.rate, 3)} per unit of observed time, "
            f"between {digits_text(self.low, 3)} and {digits_text(self.high, 3)} ({share_text(self.confidence)} confidence)"
        )


def overdispersed_rate(
    counts: Sequence[int] | ArrayLike,
    exposures: Sequence[float] | ArrayLike,
    *,
    confidence: float = 0.95,
    scatter: float = sc.SCATTER,
) -> OverdispersedRate:
    """Rate over runs that differ more than independent events would.

    Parameters
    ----------
    counts, exposures : array, shape (runs,)
        Events and observed time per run.
    confidence : float
        Between 0 and 1.
    scatter : float
        Scale of the prior of how runs differ by themselves.

    Returns
    -------
    OverdispersedRate

    Raises
    ------
    ValueError
        If a count, an exposure or an option is out of range.

    Notes
    -----
    Interval of `mean_rate` of `flicker.stats.power_ups`; one run has Garwood's exact limits. It allows for runs that
    differ by up to 110 %; where they differ by far more it covers less (71 to 88 % at 190 %, 68 % at 370 %). Coverage by
    runs, mean and dispersion: ``tests/studies/results/calibration_overdispersed.md``.
    """
    x, e = checked_windows("counts", counts, "exposures", exposures)
    found = mean_rate(x, e, scatter=scatter, confidence=confidence)
    dispersion, dof = pearson_dispersion([(x, e)])
    return OverdispersedRate(
        count=found.count,
        exposure=found.exposure,
        runs=int(x.size),
        rate=found.rate,
        low=found.low,
        high=found.high,
        dispersion=max(1.0, dispersion) if dof > 0 else 1.0,
        confidence=found.confidence,
        method=found.method,
    )
