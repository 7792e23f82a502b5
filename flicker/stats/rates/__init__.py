"""How often does it happen? Counts and observed time in, rates, ratios and tests out.

`intervals` (Garwood, mid-P, Jeffreys, Clopper-Pearson, Li and Ma), `ratio` (exact conditional test, and one that allows
for bursts), `dispersion`, `recurring`; `laws.count_tails` holds the laws beneath.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from flicker.base.late import late

if TYPE_CHECKING:
    from flicker.stats.rates.absent import AbsentTest, absent_test
    from flicker.stats.rates.dispersion import (
        DispersionTest,
        OverdispersedRate,
        dispersion_test,
        overdispersed_rate,
        window_counts,
    )
    from flicker.stats.rates.intervals import (
        OnOff,
        RateDifference,
        RateInterval,
        ShareInterval,
        on_off_significance,
        rate_difference,
        rate_interval,
        share_interval,
    )
    from flicker.stats.rates.ratio import DispersedRatio, RateRatio, rate_ratio, rate_ratio_dispersed
    from flicker.stats.rates.recurring import Recurrence, recurrence

__all__ = [
    "AbsentTest",
    "DispersedRatio",
    "DispersionTest",
    "OnOff",
    "OverdispersedRate",
    "RateDifference",
    "RateInterval",
    "RateRatio",
    "Recurrence",
    "ShareInterval",
    "absent_test",
    "dispersion_test",
    "on_off_significance",
    "overdispersed_rate",
    "rate_difference",
    "rate_interval",
    "rate_ratio",
    "rate_ratio_dispersed",
    "recurrence",
    "share_interval",
    "window_counts",
]

__getattr__ = late(
    __name__,
    {
        "absent": "AbsentTest absent_test",
        "dispersion": "DispersionTest OverdispersedRate dispersion_test overdispersed_rate window_counts",
        "intervals": "OnOff RateDifference RateInterval ShareInterval on_off_significance rate_difference rate_interval share_interval",
        "ratio": "DispersedRatio RateRatio rate_ratio rate_ratio_dispersed",
        "recurring": "Recurrence recurrence",
    },
)
