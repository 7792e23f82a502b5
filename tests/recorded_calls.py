"""Calls of every function of the statistics whose whole results, and wrong ones whose sentences, are on record.

All numbers are invented and awkward on purpose: no symmetric values, no round means. `tests/tools/record_stats.py` writes
the record, `tests/test_stats_recorded.py` compares with it.
"""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
from test_wrong_arguments import FUNCTIONS, SOUND

from flicker.base import check
from flicker.base.result import plain
from flicker.stats.levels import follows

# one run that worsens, one that does not, three unequal runs, bursts, ties
WORSE = [3.7, 9.1, 14.2, 17.9, 20.3, 21.8, 23.9, 24.4, 26.1, 26.9, 27.2, 28.6]
EVEN = [0.9, 4.4, 5.1, 11.3, 13.7, 19.2, 20.6]
RUNS, ENDS = [[1.3, 2.9, 7.7], [0.4, 5.2, 6.1, 8.8, 9.3], [2.2]], [9.5, 11.0, 6.4]
MANY_RUNS = [
    [2.1],
    [],
    [0.7, 4.4],
    [3.3, 5.9, 6.6],
    [1.1, 2.4, 4.9, 7.3],
    [0.3, 1.9, 2.8, 5.5, 6.1],
    [0.9, 3.1, 3.9, 4.2, 6.8],
]
MANY_ENDS, AGES = [7.0, 6.2, 8.1, 7.7, 9.4, 6.9, 8.3], [0.0, 11.0, 19.5, 33.0, 47.5, 52.0, 71.0]
BURSTS = [2.0, 2.3, 2.9, 17.1, 17.4, 41.6, 41.9, 42.7, 43.0, 66.2, 90.8, 91.1]
SIZES = [0.021, 0.034, 0.019, 0.045, 0.052, 0.038, 0.061, 0.044, 0.083, 0.071, 0.095, 0.067]
PEAKS = [0.13, 0.17, 0.112, 0.26, 0.141, 0.395, 0.108, 0.222, 0.158, 0.121, 0.304, 0.117, 0.186, 0.133, 0.149, 0.61,
         0.127, 0.205, 0.103, 0.171, 0.236, 0.111, 0.144, 0.283]  # fmt: skip
SERIES = [round(0.4 * np.sin(i * 1.7) + 0.23 * np.cos(i * i * 0.61) + 0.004 * i, 4) for i in range(60)]
STEPPED = [round(v + (1.9 if 23 <= i < 41 else 0.0), 4) for i, v in enumerate(SERIES)]
WIDENED = [round(v * (4.2 if i >= 35 else 1.0), 4) for i, v in enumerate(SERIES)]
LONG = [round(0.31 * np.sin(i * 2.3) + 0.17 * np.cos(i * i * 0.37) + 0.09 * np.sin(i / 29.0), 5) for i in range(400)]
DIGITS = [round(v / 0.05) * 0.05 for v in LONG]
TIES = [3, 1, 3, 4, 4, 7, 5, 7, 8, 8, 11, 9, 12, 9]
UNEVEN = [0.0, 0.7, 1.9, 3.2, 3.9, 5.5, 6.1, 8.0, 9.6, 10.3, 12.8, 13.1, 15.0, 17.7]
COUNTS, EXPOSURES = [3, 0, 1, 7, 2, 0, 5], [1.3, 0.8, 2.1, 1.7, 0.9, 1.1, 2.4]
BASE_COUNTS, BASE_EXPOSURES = [4, 6, 1, 9, 3, 2, 8], [1.1, 1.4, 0.7, 2.2, 1.6, 0.5, 1.9]
SIDES = dict(counts=COUNTS, exposures=EXPOSURES, base_counts=BASE_COUNTS, base_exposures=BASE_EXPOSURES)
RATIO = dict(count=3, exposure=7.3, base_count=11, base_exposure=5.9)


def spread(n: int, reach: float, power: float = 1.0) -> list[float]:
    """So many times over a reach, without repeats and without a rule that a test could find by chance."""
    return sorted(round(reach * ((0.37 + i * 0.6180339887) % 1.0) ** power, 6) for i in range(n))


# where large numbers take another way: normal limits, drawn turns, slopes counted instead of listed
MANY = spread(1200, 611.0, 0.93)
WAVE = [round(0.31 * np.sin(i * 2.3) + 0.17 * np.cos(i * i * 0.37) + 0.0007 * i, 5) for i in range(2600)]
NINE_RUNS, NINE_ENDS = [*MANY_RUNS, [1.7, 6.2], [0.2, 2.2, 2.5, 4.8]], [*MANY_ENDS, 7.1, 5.3]
NINE_AGES = [*AGES, 64.0, 88.5]
MANY_PEAKS = [
    round(0.1 + 0.08 * (1.3 * i % 1.0) + 0.05 * -np.log((0.21 + i * 0.6180339887) % 1.0), 5) for i in range(72)
]

TRENDS = {
    "laplace_test": ("alternative",),
    "power_law_test": ("alternative",),
    "lewis_robinson_test": ("alternative",),
    "anderson_darling_trend_test": (),
    "power_law_fit": ("confidence",),
}


def _trend_calls() -> list[tuple[str, dict[str, Any]]]:
    out: list[tuple[str, dict[str, Any]]] = []
    for name, options in TRENDS.items():
        f = f"arrivals.{name}"
        out += [
            (f, dict(times=WORSE, end=30.7)),
            (f, dict(times=WORSE, ended_by="event")),
            (f, dict(times=EVEN, end=23.1)),
            (f, dict(times=RUNS, end=ENDS)),
            (f, dict(times=RUNS[:2], ended_by="event")),
        ]
        if "alternative" in options:
            out += [
                (f, dict(times=WORSE, end=30.7, alternative="increasing")),
                (f, dict(times=EVEN, end=23.1, alternative="decreasing")),
                (f, dict(times=WORSE, ended_by="event", alternative="greater")),
            ]
        if "confidence" in options:
            out += [(f, dict(times=EVEN, end=23.1, confidence=0.8))]
    return out


CALLS: list[tuple[str, dict[str, Any]]] = [
    *_trend_calls(),
    ("arrivals.rate_trend_test", dict(times=WORSE, end=30.7)),
    ("arrivals.rate_trend_test", dict(times=BURSTS, end=97.3, dead_time=1.5)),
    ("arrivals.rate_trend_test", dict(times=RUNS, end=ENDS, alternative="two-sided")),
    ("arrivals.rate_trend_test", dict(times=MANY_RUNS, end=MANY_ENDS, alternative="decreasing", seed=5)),
    ("arrivals.rate_trend_test", dict(times=[4.2, 9.9], end=17.0)),
    ("arrivals.age_trend", dict(times=MANY_RUNS, ends=MANY_ENDS)),
    ("arrivals.age_trend", dict(times=MANY_RUNS, ends=MANY_ENDS, order=AGES, alternative="increasing")),
    ("arrivals.age_trend", dict(times=RUNS, ends=ENDS, alternative="decreasing")),
    ("arrivals.age_trend", dict(times=RUNS, ends=ENDS, order=[2.0, 0.0, 7.7])),
    ("arrivals.age_trend", dict(times=[[], [3.1]], ends=[5.0, 6.0])),
    ("arrivals.age_forecast", dict(times=MANY_RUNS, ends=MANY_ENDS, ages=AGES, at=90.0, planned_ends=[5.0, 6.6])),
    (
        "arrivals.age_forecast",
        dict(times=RUNS, ends=ENDS, ages=[1.0, 4.5, 13.0], at=8.0, planned_ends=[6.0], confidence=0.8),
    ),
    ("arrivals.decluster", dict(times=BURSTS, dead_time=1.5)),
    ("arrivals.decluster", dict(times=RUNS, dead_time=2.0)),
    ("arrivals.decluster", dict(times=[[1.1, 1.2, 8.8], [], [2.9, 3.4]], dead_time=0.0)),
    ("arrivals.exponential_gaps_test", dict(gaps=[0.9, 3.5, 0.7, 6.2, 2.4, 5.5, 1.4])),
    ("arrivals.exponential_gaps_test", dict(gaps=[0.9, 3.5, 0.7, 6.2, 2.4, 5.5, 1.4, 9.9, 0.6], dead_time=0.5)),
    ("arrivals.extremal_index", dict(values_or_times=BURSTS)),
    ("arrivals.extremal_index", dict(values_or_times=BURSTS, step=0.1)),
    ("arrivals.extremal_index", dict(values_or_times=LONG, threshold=0.3)),
    ("association.coincidence", dict(times_a=EVEN, times_b=[1.0, 4.6, 9.9, 13.2, 20.1], lag=0.6, span=23.0)),
    ("association.coincidence", dict(times_a=[], times_b=[2.6, 7.4], lag=0.3, span=23.0)),
    ("association.stimulus_test", dict(event_times=[], stimulus_times=[2.0, 7.1], window=1.1, span=23.0)),
    ("association.holm", dict(p_values=[0.031, 0.4, 0.002, 0.031, 0.9])),
    ("changepoints.level_changes", dict(y=STEPPED)),
    (
        "changepoints.level_changes",
        dict(y=[v * 40.0 for v in STEPPED], x=[0.7 * i + 3.1 for i in range(60)], confidence=0.8),
    ),
    ("changepoints.level_changes", dict(y=[round(v + 5.0 * (i >= 150), 5) for i, v in enumerate(LONG)])),
    (
        "changepoints.level_changes",
        dict(y=[round(v + 3.0 * (120 <= i < 290), 5) for i, v in enumerate(LONG)], resolution=0.01),
    ),
    ("changepoints.level_changes", dict(y=SERIES[:20])),
    ("changepoints.variance_changes", dict(y=WIDENED)),
    (
        "changepoints.variance_changes",
        dict(y=[v * (5.0 if i > 210 else 1.0) for i, v in enumerate(LONG)], confidence=0.9),
    ),
    ("changepoints.variance_changes", dict(y=LONG, x=[0.3 * i for i in range(400)], resolution=0.001)),
    ("changepoints.rate_changes", dict(times=WORSE, end=30.7, simulations=499)),
    (
        "changepoints.rate_changes",
        dict(times=[0.5 * i + 0.01 * i * i for i in range(12)] + [29.0, 30.1, 47.7], end=60.0, simulations=499, seed=3),
    ),
    (
        "changepoints.rate_changes",
        dict(times=BURSTS, start=-4.0, end=97.3, dispersion=2.3, confidence=0.8, max_changes=1, simulations=199),
    ),
    ("changepoints.rate_changes", dict(times=[], end=8.0, simulations=99)),
    ("extremes.fit_tail", dict(peaks=PEAKS, threshold=0.1)),
    ("extremes.fit_tail", dict(peaks=PEAKS, threshold=0.1, exposure=17.5, confidence=0.9)),
    ("extremes.fit_tail", dict(peaks=PEAKS[:12], threshold=0.1, exposure=9.1, shape_range=(-0.4, 0.7), seed=6)),
    ("noise.allan_deviation", dict(y=LONG, step_s=0.5)),
    ("noise.allan_deviation", dict(y=LONG, step_s=0.5, spans=[0.5, 2.0, 3.5, 20.0], overlapping=False)),
    ("noise.noise_colour", dict(y=LONG)),
    ("noise.noise_colour", dict(y=np.cumsum(LONG).tolist(), step_s=0.25, confidence=0.8)),
    ("noise.noise_sigma", dict(y=LONG)),
    ("noise.noise_sigma", dict(y=DIGITS)),
    ("noise.noise_sigma", dict(y=[0.05, 0.05, 0.05, 0.1, 0.05, 0.05, 0.05, 0.05], resolution=0.05)),
    ("noise.resolution_of", dict(values=DIGITS)),
    ("noise.resolution_of", dict(values=[1.25, 1.75, 3.0, 1.25, 4.5])),
    ("noise.resolution_of", dict(values=LONG)),
    ("rates.dispersion_test", dict(counts=COUNTS)),
    ("rates.dispersion_test", dict(counts=COUNTS, exposures=EXPOSURES, alternative="two-sided")),
    ("rates.dispersion_test", dict(counts=COUNTS, method="chi-square", alternative="less")),
    ("rates.dispersion_test", dict(counts=COUNTS, method="monte-carlo", seed=5)),
    ("rates.dispersion_test", dict(counts=[3, 1, 4, 1, 5], method="exact", alternative="two-sided")),
    ("rates.dispersion_test", dict(counts=[61, 75, 58, 90])),
    ("rates.dispersion_test", dict(counts=[0, 0, 0])),
    ("rates.on_off_significance", dict(on_count=9, on_time=2.1, off_count=5, off_time=7.7)),
    ("rates.on_off_significance", dict(on_count=0, on_time=2.1, off_count=5, off_time=7.7, alternative="less")),
    ("rates.on_off_significance", dict(on_count=3, on_time=2.1, off_count=0, off_time=7.7, alternative="greater")),
    *(
        ("rates.overdispersed_rate", dict(counts=k, exposures=EXPOSURES[: len(k)], confidence=confidence))
        for k in (COUNTS, [0, 0, 0], [4], [2, 3, 3, 2])
        for confidence in (0.95, 0.9)
    ),
    ("rates.overdispersed_rate", dict(counts=[4, 9, 2], exposures=[2.3, 3.1, 1.9], scatter=0.8)),
    ("rates.rate_difference", RATIO),
    ("rates.rate_difference", RATIO | dict(count=0, confidence=0.8)),
    ("rates.rate_difference", RATIO | dict(count=0, base_count=0)),
    *(
        ("rates.rate_interval", dict(count=k, exposure=7.3, method=method, sided=sided, confidence=0.9))
        for k in (0, 4)
        for method in ("exact", "mid-p", "jeffreys")
        for sided in ("two-sided", "lower", "upper")
    ),
    ("rates.rate_interval", dict(count=4, exposure=7.3, ended_by="event")),
    ("rates.rate_interval", dict(count=3, exposure=7.3, ended_by="event", sided="upper", confidence=0.8)),
    *(
        ("rates.rate_ratio", RATIO | dict(method=method, alternative=alternative, null_ratio=null))
        for method in ("exact", "mid-p")
        for alternative, null in (("two-sided", 1.0), ("less", 0.8), ("greater", 1.3))
    ),
    ("rates.rate_ratio", RATIO | dict(count=0, confidence=0.9)),
    ("rates.rate_ratio", RATIO | dict(base_count=0, method="mid-p")),
    ("rates.rate_ratio", RATIO | dict(count=0, base_count=0)),
    ("rates.rate_ratio_dispersed", SIDES),
    ("rates.rate_ratio_dispersed", SIDES | dict(alternative="less", null_ratio=0.9, confidence=0.8)),
    ("rates.rate_ratio_dispersed", SIDES | dict(counts=[0] * 7, alternative="greater")),
    ("rates.rate_ratio_dispersed", dict(counts=[4], exposures=[2.2], base_counts=[9], base_exposures=[3.1])),
    ("rates.recurrence", dict(count=4, exposure=6.6, nuisance_rate=0.013)),
    ("rates.recurrence", dict(count=4, exposure=6.6, nuisance_rate=0.013, rest_exposure=5.2, confidence=0.9)),
    ("rates.recurrence", dict(count=1, exposure=6.6, nuisance_rate=0.013)),
    ("rates.recurrence", dict(count=0, exposure=6.6, nuisance_rate=0.013)),
    *(
        ("rates.share_interval", dict(hits=k, trials=11, sided=sided, confidence=confidence))
        for k in (0, 4, 11)
        for sided, confidence in (("two-sided", 0.95), ("lower", 0.9), ("upper", 0.8))
    ),
    ("rates.window_counts", dict(times=WORSE, ends=30.7)),
    ("rates.window_counts", dict(times=RUNS, ends=ENDS, windows=9)),
    ("sequential.likelihood_ratio_pair", dict(good_rate=0.07, bad_rate=0.9)),
    (
        "sequential.likelihood_ratio_pair",
        dict(good_rate=0.07, bad_rate=0.9, false_alarm=0.01, miss=0.1, least_count=1, dispersion=1.8),
    ),
    ("sequential.rate_decision", dict(good_rate=0.07, bad_rate=0.9)),
    (
        "sequential.rate_decision",
        dict(good_rate=0.2, bad_rate=1.1, false_alarm=0.1, miss=0.02, least_count=3, dispersion=1.4),
    ),
    ("sequential.rate_bounds", dict(count=0, exposure=3.1, design_rate=0.8)),
    ("sequential.rate_bounds", dict(count=6, exposure=3.1, design_rate=0.8, confidence=0.9, dispersion=1.6)),
    ("soak.clean_exposure", dict(max_rate=0.37)),
    ("soak.clean_exposure", dict(max_rate=0.37, confidence=0.8, allowed=2, detectable_share=0.7)),
    ("soak.detectable_share", dict(glitch_length=0.13, sample_interval=0.5)),
    ("soak.detectable_share", dict(glitch_length=0.13, sample_interval=0.5, integration_time=0.2, needed_fraction=0.4)),
    ("soak.detectable_share", dict(glitch_length=0.05, sample_interval=0.5, integration_time=0.2)),
    (
        "soak.detectable_share",
        dict(glitch_length=0.13, sample_interval=0.5, integration_time=0.2, lengths="exponential"),
    ),
    ("soak.hours_to_catch", dict(rate=0.31)),
    ("soak.hours_to_catch", dict(rate=0.31, confidence=0.8, detectable_share=0.6)),
    ("soak.hours_to_catch", dict(count=5, exposure=8.7)),
    ("soak.hours_to_catch", dict(count=5, exposure=8.7, dispersion=2.1, confidence=0.9, detectable_share=0.6)),
    ("soak.hours_to_catch", dict(count=1, exposure=8.7)),
    ("soak.power_ups_to_catch", dict(share=0.21)),
    ("soak.power_ups_to_catch", dict(share=0.21, confidence=0.8, detectable_share=0.7)),
    ("soak.power_ups_to_catch", dict(hits=3, trials=11, confidence=0.9)),
    ("soak.power_ups_to_catch", dict(hits=1, trials=11, detectable_share=0.7)),
    ("soak.power_ups_to_catch", dict(share=1.0)),
    *(
        ("trends.mann_kendall", dict(y=y, autocorrelation=how, alternative=alternative, method=method))
        for y in (TIES, SERIES)
        for how, alternative, method in (
            ("none", "two-sided", "auto"),
            ("hamed-rao", "greater", "auto"),
            ("none", "less", "normal"),
        )
    ),
    ("trends.mann_kendall", dict(y=TIES, x=UNEVEN)),
    ("trends.mann_kendall", dict(y=[1.7, 0.9, 2.8, 2.6, 4.1], alternative="greater")),
    ("trends.movement_kind", dict(levels=STEPPED)),
    (
        "trends.movement_kind",
        dict(levels=[0.1 * i + v for i, v in enumerate(SERIES)], times=[300.0 * i for i in range(60)]),
    ),
    ("trends.movement_kind", dict(levels=[3.0 * np.exp(-i / 7.0) + 0.02 * v for i, v in enumerate(SERIES)])),
    ("trends.movement_kind", dict(levels=SERIES[:3])),
    ("trends.movement_test", dict(levels=SERIES)),
    ("trends.movement_test", dict(levels=STEPPED, limit=0.5, sigma=0.11, samples_per_cell=40, confidence=0.95)),
    (
        "trends.movement_test",
        dict(
            levels=[float("nan") if i == 5 else v for i, v in enumerate(STEPPED)],
            times=[4.0 * i for i in range(60)],
            resolution=0.01,
        ),
    ),
    ("trends.movement_test", dict(levels=SERIES[:3], sigma=0.2)),
    ("trends.robust_slope", dict(y=SERIES)),
    ("trends.robust_slope", dict(y=TIES, x=UNEVEN, confidence=0.8)),
    ("trends.robust_slope", dict(y=[0.05 * i + v for i, v in enumerate(LONG)])),
    ("trends.theil_sen", dict(y=TIES, x=UNEVEN)),
    ("trends.theil_sen", dict(y=SERIES, confidence=0.8)),
]

CALLS += [
    *((f"arrivals.{name}", dict(times=MANY, end=612.0)) for name in (*TRENDS, "rate_trend_test")),
    *((f"arrivals.{name}", dict(times=[MANY[:700], MANY[:650]], end=[400.0, 390.0]))
      for name in ("lewis_robinson_test", "anderson_darling_trend_test", "rate_trend_test")),
    ("arrivals.laplace_test", dict(times=[[], [3.3, 4.7]], end=[5.5, 6.1])),
    ("arrivals.age_trend", dict(times=NINE_RUNS, ends=NINE_ENDS, order=NINE_AGES)),
    ("arrivals.age_trend", dict(times=[[], [], [4.4]], ends=[3.0, 3.0, 5.0])),
    ("changepoints.level_changes", dict(y=[0.2] * 30 + [0.9] * 25)),
    ("arrivals.age_trend", dict(times=NINE_RUNS, ends=NINE_ENDS, order=NINE_AGES, alternative="decreasing", seed=4)),
    ("arrivals.age_forecast", dict(times=NINE_RUNS, ends=NINE_ENDS, ages=NINE_AGES, at=120.0, planned_ends=[4.4], seed=3)),
    ("arrivals.exponential_gaps_test", dict(gaps=np.diff(MANY[:400]).tolist())),
    ("arrivals.extremal_index", dict(values_or_times=WAVE, threshold=1.9, step=None)),
    ("association.coincidence", dict(times_a=MANY, times_b=spread(1700, 610.0), lag=0.05, span=612.0)),
    ("association.coincidence", dict(times_a=[0.0, 5.0, 23.0], times_b=[0.1, 22.9], lag=0.4, span=23.0)),
    ("association.stimulus_test", dict(event_times=[0.0, 5.0, 23.0], stimulus_times=[0.0, 22.5], window=1.4, span=23.0)),
    ("changepoints.level_changes", dict(y=[v + 2.2 * (i > 900) - 1.1 * (i > 2000) for i, v in enumerate(WAVE)])),
    ("changepoints.variance_changes", dict(y=[v * (1.0 + 2.0 * (700 < i < 1900)) for i, v in enumerate(WAVE)])),
    ("changepoints.rate_changes", dict(times=MANY[:200] + [round(v + 130.0, 6) for v in MANY[:90]], end=190.0, simulations=199)),
    ("extremes.fit_tail", dict(peaks=MANY_PEAKS, threshold=0.1, exposure=31.0)),
    ("extremes.fit_tail", dict(peaks=MANY_PEAKS, threshold=0.1, exposure=31.0, shape_range=(0.0, 0.3), confidence=0.8)),
    ("noise.noise_colour", dict(y=WAVE, step_s=0.1)),
    ("noise.noise_sigma", dict(y=[0.05 * round(3 * v) for v in WAVE])),
    ("noise.noise_sigma", dict(y=[0.15] * 50)),
    ("rates.dispersion_test", dict(counts=[i * 7 % 5 for i in range(620)], exposures=[1.0 + i % 3 for i in range(620)])),
    ("rates.dispersion_test", dict(counts=[1, 0, 2, 1], method="exact", alternative="less")),
    ("rates.overdispersed_rate", dict(counts=[0, 41, 3, 77], exposures=[1.0, 2.1, 1.4, 0.9], scatter=1.1)),
    ("rates.overdispersed_rate", dict(counts=[0, 41, 3, 77], exposures=[1.0, 2.1, 1.4, 0.9])),
    ("rates.rate_ratio", dict(count=310, exposure=77.0, base_count=260, base_exposure=51.0, method="mid-p")),
    ("rates.rate_ratio", dict(count=31, exposure=77.0, base_count=0, base_exposure=51.0, alternative="greater")),
    ("rates.rate_ratio_dispersed", SIDES | dict(base_counts=[0] * 7)),
    ("sequential.rate_bounds", dict(count=4, exposure=310.0, design_rate=0.8)),
    ("soak.clean_exposure", dict(max_rate=0.02, allowed=7)),
    ("trends.mann_kendall", dict(y=WAVE[:300], autocorrelation="hamed-rao")),
    ("trends.mann_kendall", dict(y=TIES, x=[0, 0, 1, 1, 2, 3, 3, 4, 4, 5, 6, 6, 7, 7])),
    ("trends.mann_kendall", dict(y=TIES * 4, x=[i // 2 for i in range(56)], seed=5)),
    ("trends.mann_kendall", dict(y=[2.0] * 9)),
    ("trends.movement_kind", dict(levels=WAVE[:200], times=[60.0 * i + (i > 90) * 1234.0 for i in range(200)])),
    ("trends.movement_test", dict(levels=WAVE[:200], limit=0.1, sigma=0.2, samples_per_cell=600)),
    ("trends.movement_test", dict(levels=[0.2] * 9)),
    ("trends.robust_slope", dict(y=WAVE, x=[0.1 * i + 0.01 * (i % 3) for i in range(2600)])),
    ("trends.robust_slope", dict(y=[0.3] * 20)),
    ("trends.theil_sen", dict(y=WAVE)),
    ("trends.theil_sen", dict(y=[round(v, 1) for v in WAVE[:2200]], x=[float(i // 2) for i in range(2200)], confidence=0.8)),
]  # fmt: skip

# what the layers above use of private modules
INNER: dict[str, Any] = {
    "following": lambda: follows.following(SERIES, [UNEVEN * 4 + TIES[:4], np.cumsum(SERIES).tolist()]),
    "following, stepped": lambda: follows.following(STEPPED, [SERIES, SERIES[5:] + SERIES[:5]], seed=4),
}
INNER_WRONG: dict[str, Any] = {
    "following, short": lambda: follows.following([1.0, 2.0], [[1.0, 2.0]]),
    "following, none": lambda: follows.following(SERIES, []),
    "following, sizes": lambda: follows.following(SERIES, [SERIES, SERIES[1:]]),
    "whole, word": lambda: check.whole("visits", "two", least=3, what="a number of visits"),
    "whole, true": lambda: check.whole("visits", True),
    "whole, infinite": lambda: check.whole("visits", float("inf")),
    "whole, below": lambda: check.whole("visits", 2, least=3, what="a number of visits"),
    "positive, word": lambda: check.positive("span", "long", what="a span"),
    "positive, none": lambda: check.positive("span", None, zero=True),
    "positive, 0": lambda: check.positive("span", 0.0),
    "positive, below": lambda: check.positive("span", -1e-9, what="a span", zero=True),
    "share, word": lambda: check.share("part", "half"),
    "share, 1": lambda: check.share("part", 1.0),
    "one of": lambda: check.one_of("mode", "slow", ("fast", "exact")),
    "numbers, word": lambda: check.number_array("levels", ["a"]),
    "numbers, table": lambda: check.number_array("levels", [[1.0, 2.0]]),
    "finite, few": lambda: check.finite_array("levels", [], least=2),
    "finite, one": lambda: check.finite_array("levels", []),
    "finite, second": lambda: check.finite_array("levels", [1.0, float("inf"), float("nan")]),
    "counts, few": lambda: check.whole_array("counts", [3], least=2),
    "counts, none": lambda: check.whole_array("counts", []),
}

# what a result can be asked afterwards: name of the call and its place in CALLS by name, method, arguments
AFTERWARDS: list[tuple[str, int, str, dict[str, Any]]] = [
    ("extremes.fit_tail", 0, "share_beyond", dict(level=0.3)),
    ("extremes.fit_tail", 1, "share_beyond", dict(level=1.4)),
    ("extremes.fit_tail", 2, "share_beyond", dict(level=0.3)),
    ("extremes.fit_tail", 1, "chance_above", dict(level=0.7, exposure=5.0)),
    ("extremes.fit_tail", 2, "chance_above", dict(level=0.7, exposure=5.0)),
    ("sequential.rate_decision", 0, "log_likelihood_ratio", dict(count=2, exposure=1.9)),
    ("sequential.rate_decision", 0, "decide", dict(count=0, exposure=1.0)),
    ("sequential.rate_decision", 0, "decide", dict(count=0, exposure=9.0)),
    ("sequential.rate_decision", 1, "decide", dict(count=7, exposure=2.0)),
    ("soak.hours_to_catch", 0, "chance", dict(exposure=4.4)),
    ("soak.hours_to_catch", 3, "chance", dict(exposure=4.4)),
]


# wrong in a way that one argument alone does not show: name of a sound call, what is changed in it
WRONG: list[tuple[str, dict[str, Any]]] = [
    ("arrivals.age_forecast", dict(planned_ends=[21.0])),
    ("arrivals.age_forecast", dict(planned_ends=[-1.0])),
    ("arrivals.age_trend", dict(times=[[1.0]], ends=[2.0])),
    ("arrivals.age_trend", dict(order=[1.0, 2.0])),
    ("arrivals.age_trend", dict(order=[2.5, 2.5, 2.5])),
    ("arrivals.laplace_test", dict(times=7.0)),
    ("arrivals.laplace_test", dict(times=[1.0, [2.0]])),
    ("arrivals.laplace_test", dict(times=[2.0, 1.0])),
    ("arrivals.laplace_test", dict(times=[[1.0], [2.0, 1.0]], end=[4.0, 4.0])),
    ("arrivals.laplace_test", dict(end=11.5)),
    ("arrivals.laplace_test", dict(times=[-1.0, 1.0])),
    ("arrivals.laplace_test", dict(end=None)),
    ("arrivals.laplace_test", dict(end=[4.0, 5.0])),
    ("arrivals.laplace_test", dict(end=-4.0)),
    ("arrivals.laplace_test", dict(end=18.0, ended_by="event")),
    ("arrivals.laplace_test", dict(times=[[1.0], []], end=None, ended_by="event")),
    ("arrivals.laplace_test", dict(times=[[1.0], [2.0]], end=None, ended_by="event")),
    ("arrivals.power_law_test", dict(times=[0.0, 1.0])),
    ("arrivals.power_law_test", dict(times=[[1.0], [2.0]], end=None, ended_by="event")),
    ("arrivals.power_law_fit", dict(times=[4.0])),
    ("arrivals.power_law_fit", dict(times=[20.0, 20.0])),
    ("arrivals.anderson_darling_trend_test", dict(times=[[4.0], [2.0]], end=[9.0, 9.0])),
    ("arrivals.lewis_robinson_test", dict(times=[[4.0], [2.0]], end=[9.0, 9.0])),
    ("arrivals.exponential_gaps_test", dict(dead_time=1.5)),
    ("arrivals.exponential_gaps_test", dict(gaps=[0.5, 0.5, 0.5])),
    ("arrivals.extremal_index", dict(values_or_times=[2.0, 1.0, 4.0])),
    ("arrivals.extremal_index", dict(threshold=11.5, step=None)),
    ("arrivals.decluster", dict(times=[1.0, 2.0], dead_time=None)),
    ("association.coincidence", dict(lag=(2.0, 1.0))),
    ("association.coincidence", dict(span=(2.0, 1.0))),
    ("association.coincidence", dict(span=9.0)),
    ("association.coincidence", dict(times_b=[21.0])),
    ("association.stimulus_test", dict(span=9.0)),
    ("association.stimulus_test", dict(stimulus_times=[-1.0])),
    ("association.holm", dict(p_values=[0.2, 1.2])),
    ("association.holm", dict(p_values=[0.2, -0.1])),
    ("changepoints.level_changes", dict(x=[1.0, 2.0])),
    ("changepoints.level_changes", dict(x=[3.0, 2.0, *range(4, 14)])),
    ("changepoints.variance_changes", dict(x=[1.0, 2.0])),
    ("changepoints.rate_changes", dict(end=-1.0)),
    ("changepoints.rate_changes", dict(start=2.0)),
    ("changepoints.rate_changes", dict(times=[4.0, 3.0])),
    ("changepoints.rate_changes", dict(dispersion=0.5)),
    ("changepoints.rate_changes", dict(simulations=98)),
    ("extremes.fit_tail", dict(peaks=[0.6, 0.7, 0.8])),
    ("extremes.fit_tail", dict(peaks=[0.7] * 12)),
    ("extremes.fit_tail", dict(shape_range=(0.5, -0.5))),
    ("extremes.fit_tail", dict(shape_range=(-1.5, 0.5))),
    ("noise.allan_deviation", dict(spans=[0.3])),
    ("noise.allan_deviation", dict(spans=[40.0])),
    ("noise.noise_colour", dict(y=[0.1, 0.4, 0.2])),
    ("rates.dispersion_test", dict(counts=[3], exposures=[1.0])),
    ("rates.dispersion_test", dict(exposures=[1.0, 2.0])),
    ("rates.dispersion_test", dict(exposures=[1.0, 2.0, 1.0, 1.0], method="exact")),
    ("rates.overdispersed_rate", dict(scatter=5.0)),
    ("rates.overdispersed_rate", dict(exposures=[1.0, 2.0])),
    ("rates.rate_interval", dict(count=0, ended_by="event")),
    ("rates.rate_interval", dict(method="mid-p", ended_by="event")),
    ("rates.rate_ratio_dispersed", dict(exposures=[1.0, 2.0])),
    ("rates.recurrence", dict(rest_exposure=4.5)),
    ("rates.recurrence", dict(rest_exposure=0.0)),
    ("rates.recurrence", dict(nuisance_rate=None)),
    ("rates.share_interval", dict(hits=6)),
    ("rates.share_interval", dict(trials=0)),
    ("rates.window_counts", dict(times=[[1.0], [2.0]])),
    ("rates.window_counts", dict(ends=15.0)),
    ("sequential.likelihood_ratio_pair", dict(good_rate=1.5)),
    ("sequential.likelihood_ratio_pair", dict(dispersion=0.5)),
    ("sequential.rate_decision", dict(good_rate=1.5)),
    ("sequential.rate_decision", dict(false_alarm=0.6, miss=0.6)),
    ("sequential.rate_decision", dict(least_count=0)),
    ("sequential.rate_bounds", dict(dispersion=0.5)),
    ("soak.clean_exposure", dict(detectable_share=1.5)),
    ("soak.detectable_share", dict(integration_time=0.6)),
    ("soak.detectable_share", dict(needed_fraction=1.5)),
    ("soak.hours_to_catch", dict(count=0)),
    ("soak.hours_to_catch", dict(rate=0.5)),
    ("soak.hours_to_catch", dict(count=None)),
    ("soak.hours_to_catch", dict(dispersion=0.5)),
    ("soak.hours_to_catch (rate)", dict(detectable_share=1.5)),
    ("soak.power_ups_to_catch", dict(hits=6)),
    ("soak.power_ups_to_catch", dict(hits=0)),
    ("soak.power_ups_to_catch", dict(hits=None)),
    ("soak.power_ups_to_catch (share)", dict(share=1.5)),
    ("trends.mann_kendall", dict(x=[1.0, 2.0])),
    ("trends.mann_kendall", dict(y=[1.0])),
    ("trends.movement_kind", dict(times=[1.0, 2.0])),
    ("trends.movement_kind", dict(times=[1.0, 0.5, *range(2, 12)])),
    ("trends.movement_test", dict(levels=[float("nan")] * 4, times=None)),
    ("trends.movement_test", dict(levels=[float("inf"), 1.0], times=None)),
    ("trends.movement_test", dict(confidence=0.99999)),
    ("trends.robust_slope", dict(x=[1.0, 2.0])),
    ("trends.robust_slope", dict(x=[2.5] * 12)),
    ("trends.theil_sen", dict(x=[2.5] * 12)),
    ("arrivals.extremal_index", dict(values_or_times=[1.0, 2.0])),
    ("arrivals.laplace_test", dict(end=0.0)),
    ("arrivals.laplace_test", dict(times=[[1.0], [7.0]], end=5.0)),
    ("association.stimulus_test", dict(span=(5.0, 2.0))),
    ("association.stimulus_test", dict(window=0.0)),
    ("association.stimulus_test", dict(stimulus_times=[0.0], window=20.0)),
    ("changepoints.level_segments", dict(smallest_step=0.0)),
    ("changepoints.level_segments", dict(times=[1.0, 0.5, *range(2, 48)])),
    ("extremes.fit_tail", dict(exposure=0.0)),
    ("noise.allan_deviation", dict(step_s=0.0)),
    ("noise.noise_sigma", dict(y=[float("nan")])),
    ("noise.resolution_of", dict(values=[[1.0]])),
    ("power_ups.clean_chance", dict(counts=[0, 0, 0])),
    ("power_ups.clean_power_ups", dict(clean=[-1.0])),
    ("power_ups.early_share_test", dict(early=[3, 2, 0])),
    ("power_ups.mean_rate", dict(counts=[0, 0, 0], exposures=[0.0] * 3)),
    ("power_ups.power_ups_to_see", dict(exposures=[100.0] * 3, length=1e-6)),
    ("power_ups.provoked_test", dict(stimulus_times=[[4.0, 21.0], [9.0], []])),
    ("power_ups.rate_comparison", dict(expected_after=[0.0, 0.0], after=[0, 0])),
    ("power_ups.rate_growth", dict(expected=[1.0, 1.0])),
    ("power_ups.rate_growth", dict(expected=[1.0, 0.0, 1.0])),
    ("power_ups.rate_growth", dict(counts=[3, 0, 0], expected=[1.0, 0.0, 0.0])),
    ("power_ups.rate_growth", dict(order=[3.0, 3.0, 3.0])),
    ("power_ups.rate_growth", dict(scatter=0.0)),
    ("power_ups.size_growth", dict(sizes=[[0.0], [0.3], [0.2]])),
    ("power_ups.size_growth_within", dict(times=[[1100.0, *range(0, 1100, 100)]])),
    ("rates.dispersion_test", dict(exposures=[1.0, 0.0, 1.0, 1.0])),
    ("rates.rate_interval", dict(exposure=0.0)),
    ("rates.rate_ratio", dict(base_exposure=0.0)),
    ("rates.rate_ratio", dict(null_ratio=0.0)),
    ("rates.recurrence", dict(nuisance_rate=0.0)),
    ("sequential.rate_bounds", dict(exposure=0.0)),
    ("sequential.rate_decision", dict(bad_rate=0.1)),
    ("sequential.rate_decision", dict(good_rate=0.0)),
    ("soak.hours_to_catch (rate)", dict(rate=0.0)),
    ("trends.mann_kendall", dict(y=list(range(61)), x=None, method="exact")),
    ("trends.movement_kind", dict(levels=[[1.0, 2.0]], times=None)),
    ("trends.robust_slope", dict(x=[1.0, 3.0, 2.0, *range(4, 13)])),
    ("trends.robust_slope", dict(confidence=0.99999)),
]


def _room(name: str) -> str:
    return name.split()[0]


def _place(calls: list[tuple[str, dict[str, Any]]], name: str, nth: int) -> dict[str, Any]:
    return [arguments for other, arguments in calls if other == name][nth]


SENTENCES = {"reads", "method", "caution", "cautions", "note"}  # made for people; no figure hangs on them
DIGITS_HELD = 10


def _held(value: Any) -> Any:
    """A result as JSON holds it, with what `to_dict` leaves out of it, without its sentences."""
    out = plain(value)
    if dataclasses.is_dataclass(value):
        for field in dataclasses.fields(value):
            out.setdefault(field.name, plain(getattr(value, field.name)))
    return _figures(out)


def _figures(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _figures(item) for key, item in value.items() if key not in SENTENCES}
    if isinstance(value, list):
        return [_figures(item) for item in value]
    return float(f"{value:.{DIGITS_HELD}g}") if isinstance(value, float) else value


def results(name: str) -> dict[str, Any]:
    """Every recorded call of one function and what it returns."""
    function = FUNCTIONS[name]
    mine = [arguments for other, arguments in CALLS if other == name] or [SOUND[name]]
    out = {f"{name} #{i}": _held(function(**arguments)) for i, arguments in enumerate(mine)}
    for other, nth, method, arguments in AFTERWARDS:
        if other == name:
            text = ", ".join(f"{key}={value}" for key, value in arguments.items())
            out[f"{name} #{nth}.{method}({text})"] = _figures(plain(getattr(function(**mine[nth]), method)(**arguments)))
    return out


def inner() -> dict[str, Any]:
    """Recorded calls within private modules and what they return."""
    return {name: _held(call()) for name, call in INNER.items()}


def mistakes(name: str) -> list[tuple[dict[str, Any], dict[str, Any]]]:
    """Mistakes in calling one function that take two arguments, or a value that only this function refuses."""
    return [(SOUND[other], change) for other, change in WRONG if _room(other) == name]
