"""Claims over power-ups, which differ by themselves: one engine behind growth, before and after, rates and soak plans.

Two power-ups of one unit never look the same. So the unit of variation is the power-up (over visits: the visit), and
how much power-ups differ enters every claim: it is learnt from the counts, from a stated prior where they tell little.
Counts, expectations (`expected_counts`) and sizes of power-ups in; frozen results with one-sided p-values out.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from flicker.base.late import late

if TYPE_CHECKING:
    from flicker.stats.power_ups.forecast import GrowthForecast, ReachForecast, growth_forecast, growth_reaches
    from flicker.stats.power_ups.growth import RateComparison, RateGrowth, rate_comparison, rate_growth
    from flicker.stats.power_ups.however_much import FreeScatterTest, growth_however_much
    from flicker.stats.power_ups.mean_counts import (
        CountByAge,
        ExpectedCounts,
        MeanCumulative,
        count_by_age,
        expected_counts,
        mean_cumulative,
    )
    from flicker.stats.power_ups.patterns import EarlyShare, ProvokedTest, early_share_test, provoked_test
    from flicker.stats.power_ups.planned_comparison import ComparisonNeeds, comparison_needs, comparison_power
    from flicker.stats.power_ups.rate import (
        MeanRate,
        PowerUpSoak,
        clean_chance,
        clean_power_ups,
        mean_rate,
        power_ups_to_see,
    )
    from flicker.stats.power_ups.sizes import SizeGrowth, SizesAhead, size_growth, size_growth_within, sizes_ahead
    from flicker.stats.power_ups.under_way import FallUnderWay, fall_under_way

__all__ = [
    "ComparisonNeeds",
    "CountByAge",
    "EarlyShare",
    "ExpectedCounts",
    "FallUnderWay",
    "FreeScatterTest",
    "GrowthForecast",
    "MeanCumulative",
    "MeanRate",
    "PowerUpSoak",
    "ProvokedTest",
    "RateComparison",
    "RateGrowth",
    "ReachForecast",
    "SizeGrowth",
    "SizesAhead",
    "clean_chance",
    "clean_power_ups",
    "comparison_needs",
    "comparison_power",
    "count_by_age",
    "early_share_test",
    "expected_counts",
    "fall_under_way",
    "growth_forecast",
    "growth_however_much",
    "growth_reaches",
    "mean_cumulative",
    "mean_rate",
    "power_ups_to_see",
    "provoked_test",
    "rate_comparison",
    "rate_growth",
    "size_growth",
    "size_growth_within",
    "sizes_ahead",
]

__getattr__ = late(
    __name__,
    {
        "forecast": "GrowthForecast ReachForecast growth_forecast growth_reaches",
        "growth": "RateComparison RateGrowth rate_comparison rate_growth",
        "however_much": "FreeScatterTest growth_however_much",
        "mean_counts": "CountByAge ExpectedCounts MeanCumulative count_by_age expected_counts mean_cumulative",
        "patterns": "EarlyShare ProvokedTest early_share_test provoked_test",
        "planned_comparison": "ComparisonNeeds comparison_needs comparison_power",
        "rate": "MeanRate PowerUpSoak clean_chance clean_power_ups mean_rate power_ups_to_see",
        "sizes": "SizeGrowth SizesAhead size_growth size_growth_within sizes_ahead",
        "under_way": "FallUnderWay fall_under_way",
    },
)
