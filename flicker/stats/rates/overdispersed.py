"""A rate from runs that differ by more than chance: the engine over power-ups under the name it had before."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from numpy.typing import ArrayLike

from flicker.base.result import Interval
from flicker.stats.laws import scatter as sc
from flicker.stats.power_ups import mean_rate
from flicker.stats.rates.dispersion import checked_windows, pearson_dispersion


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
    scale: float

    @property
    def reads(self) -> str:
        """One sentence for the owner of the unit."""
        return (
            f"{self.count} in {self.exposure:.4g} observed over {self.runs} runs: "
            f"{self.rate:.3g} per unit of observed time, "
            f"between {self.low:.3g} and {self.high:.3g} ({self.confidence:.0%} confidence)"
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
        scale=found.scale,
        confidence=found.confidence,
        method=found.method,
    )
