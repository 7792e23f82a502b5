"""Do episodes come more often, singly or in bursts? Arrival times in, tests out. Knows nothing of volts or files.

Give several runs as a list: they are pooled without mixing time since power-up and age. Where parts of a run were not
observed, give times and ends in observed time. Positive z means 'more often' unless a docstring says otherwise.
For a verdict use `rate_trend_test`, `size_trend_test`, `age_trend` and `size_age_trend`; the textbook tests stand beside them.
"""

from __future__ import annotations

from flicker.stats.arrivals.age_forecast import AgeForecast, age_forecast
from flicker.stats.arrivals.age_regression import AgeRegression, age_regression
from flicker.stats.arrivals.ageing import AgeTrend, age_trend
from flicker.stats.arrivals.clusters import (
    Clusters,
    DensestWindow,
    ExtremalIndex,
    GapTest,
    decluster,
    densest_window,
    exponential_gaps_test,
    extremal_index,
)
from flicker.stats.arrivals.power_law import (
    FitTest,
    LogLinearFit,
    PowerLawCountsFit,
    PowerLawFit,
    cramer_von_mises_test,
    log_linear_fit,
    power_law_fit,
    power_law_fit_counts,
)
from flicker.stats.arrivals.reversals import ReverseArrangements, reverse_arrangements_test
from flicker.stats.arrivals.size_ageing import SizeAgeTrend, size_age_trend
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
from flicker.stats.arrivals.worsening import RateTrend, SizeTrend, rate_trend_test, size_trend_test

__all__ = [
    "AgeForecast",
    "AgeRegression",
    "AgeTrend",
    "AndersonDarlingTrend",
    "Clusters",
    "DensestWindow",
    "ExtremalIndex",
    "FitTest",
    "GapTest",
    "LogLinearFit",
    "PowerLawCountsFit",
    "PowerLawFit",
    "PowerLawTest",
    "RateTrend",
    "RenewalTrendTest",
    "ReverseArrangements",
    "SizeAgeTrend",
    "SizeTrend",
    "TrendTest",
    "age_forecast",
    "age_regression",
    "age_trend",
    "anderson_darling_trend_test",
    "cramer_von_mises_test",
    "decluster",
    "densest_window",
    "exponential_gaps_test",
    "extremal_index",
    "laplace_test",
    "lewis_robinson_test",
    "log_linear_fit",
    "power_law_fit",
    "power_law_fit_counts",
    "power_law_test",
    "rate_trend_test",
    "reverse_arrangements_test",
    "size_age_trend",
    "size_trend_test",
]
