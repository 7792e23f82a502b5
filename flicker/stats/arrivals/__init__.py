"""Do episodes come more often, singly or in bursts? Arrival times in, tests out. Knows nothing of volts or files.

Give several runs as a list: they are pooled without mixing time since power-up and age. Where parts of a run were not
observed, give times and ends in observed time. Positive z means 'more often' unless a docstring says otherwise.
Within one run a verdict uses `rate_trend_test`; from run to run those of `flicker.stats.power_ups`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from flicker.base.late import late

if TYPE_CHECKING:
    from flicker.stats.arrivals.ageing import AgeForecast, AgeTrend, age_forecast, age_trend
    from flicker.stats.arrivals.clusters import (
        Clusters,
        ExtremalIndex,
        GapTest,
        decluster,
        exponential_gaps_test,
        extremal_index,
    )
    from flicker.stats.arrivals.trend_tests import (
        AndersonDarlingTrend,
        PowerLawTest,
        RenewalTrendTest,
        TrendTest,
        anderson_darling_trend_test,
        laplace_test,
        lewis_robinson_test,
        power_law_test,
    )
    from flicker.stats.arrivals.worsening import PowerLawFit, RateTrend, power_law_fit, rate_trend_test

__all__ = [
    "AgeForecast",
    "AgeTrend",
    "AndersonDarlingTrend",
    "Clusters",
    "ExtremalIndex",
    "GapTest",
    "PowerLawFit",
    "PowerLawTest",
    "RateTrend",
    "RenewalTrendTest",
    "TrendTest",
    "age_forecast",
    "age_trend",
    "anderson_darling_trend_test",
    "decluster",
    "exponential_gaps_test",
    "extremal_index",
    "laplace_test",
    "lewis_robinson_test",
    "power_law_fit",
    "power_law_test",
    "rate_trend_test",
]

__getattr__ = late(
    __name__,
    {
        "ageing": "AgeForecast AgeTrend age_forecast age_trend",
        "clusters": "Clusters ExtremalIndex GapTest decluster exponential_gaps_test extremal_index",
        "trend_tests": "AndersonDarlingTrend PowerLawTest RenewalTrendTest TrendTest anderson_darling_trend_test laplace_test lewis_robinson_test power_law_test",
        "worsening": "PowerLawFit RateTrend power_law_fit rate_trend_test",
    },
)
