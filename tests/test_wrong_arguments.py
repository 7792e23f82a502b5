"""Every public function of the statistics refuses wrong arguments by name, with the value and what is allowed.

The functions are found by looking, so one that is added without an entry here, or without checks, fails.
"""

from __future__ import annotations

import importlib
import inspect
import math
import re

import numpy as np
import pytest

from flicker import stats

T = [1.0, 2.5, 4.0, 7.0, 11.0, 12.0, 16.0]
Y = [3.0, 1.0, 4.0, 1.5, 5.0, 9.0, 2.0, 6.0, 5.5, 3.5, 7.0, 8.0]
JUMPY = [0.001 * (k % 3) + 0.02 * (k // 9 % 2) for k in range(90)]  # steps of 20 mV every nine readings
RUNS, ENDS = [T, [2.0, 6.0], [3.0, 9.0, 12.0]], [20.0, 20.0, 20.0]
RATIO = dict(count=3, exposure=10.0, base_count=5, base_exposure=12.0)
SIDES = dict(counts=[3, 1, 0, 4], exposures=[1.0] * 4, base_counts=[1, 2, 2, 6], base_exposures=[2.0] * 4)

# one sound call of each function; arguments with a good default that depend on others are left out
SOUND = {
    "arrivals.age_forecast": dict(times=RUNS, ends=ENDS, ages=[0.0, 1.0, 2.0], at=3.0, planned_ends=[10.0, 12.0]),
    "arrivals.age_trend": dict(times=RUNS, ends=ENDS, order=[0.0, 1.0, 2.0]),
    "arrivals.anderson_darling_trend_test": dict(times=T, end=20.0),
    "arrivals.decluster": dict(times=T, dead_time=2.0),
    "arrivals.exponential_gaps_test": dict(gaps=T, dead_time=0.5),
    "arrivals.extremal_index": dict(values_or_times=T, step=1.0),
    "arrivals.laplace_test": dict(times=T, end=20.0),
    "arrivals.lewis_robinson_test": dict(times=T, end=20.0),
    "arrivals.power_law_fit": dict(times=T, end=20.0),
    "arrivals.power_law_test": dict(times=T, end=20.0),
    "arrivals.rate_trend_test": dict(times=T, end=20.0),
    "association.coincidence": dict(times_a=T, times_b=[2.0, 8.0], lag=0.5, span=20.0),
    "association.holm": dict(p_values=[0.1, 0.02]),
    "association.stimulus_test": dict(event_times=T, stimulus_times=[2.0, 8.0], window=1.0, span=20.0),
    "changepoints.level_changes": dict(y=Y, x=list(range(12))),
    "changepoints.level_segments": dict(levels=Y * 4, times=list(range(48)), smallest_step=1.0),
    "changepoints.rate_changes": dict(times=T, end=20.0),
    "changepoints.rate_since": dict(times=[*T, 17.0, 18.0, 19.0], end=20.0, at=9.0),
    "changepoints.rate_since_unit": dict(counts=[3, 1, 4, 9], expected=[1.0] * 4),
    "changepoints.rate_steps": dict(times=[*T, 17.0, 18.0, 19.0], end=20.0),
    "changepoints.rate_steps_unit": dict(counts=[3, 1, 4, 9], expected=[1.0] * 4),
    "changepoints.dispersed_limits": dict(count=3, exposure=2.0, dispersion=1.5, confidence=0.9),
    "changepoints.variance_changes": dict(y=Y, x=list(range(12))),
    "extremes.fit_tail": dict(peaks=Y, threshold=0.5, exposure=3.0),
    "jumps.reading_sigma": dict(values=JUMPY),
    "moving.moved_in_noise": dict(levels=JUMPY, limit=0.02),
    "noise.allan_deviation": dict(y=Y, step_s=1.0, spans=[1.0, 2.0]),
    "noise.noise_colour": dict(y=Y * 8, step_s=1.0),
    "noise.noise_sigma": dict(y=Y),
    "noise.resolution_of": dict(values=Y),
    "power_ups.clean_chance": dict(counts=[3, 1, 4], exposures=[1.0] * 3, power_ups=2, length=1.0),
    "power_ups.clean_power_ups": dict(per_power_up=0.5),
    "power_ups.comparison_needs": dict(ratio=0.0, counts=[3, 1, 4], exposures=[1.0] * 3, draws=2),
    "power_ups.comparison_power": dict(more_before=1, after=2, ratio=0.0, counts=[3, 1, 4], exposures=[1.0] * 3, draws=2),
    "power_ups.count_by_age": dict(counts=[3, 1, 4], expected=[1.0] * 3),
    "power_ups.early_share_test": dict(early=[1, 2, 0], counts=[2, 3, 1], time_share=0.2),
    "power_ups.expected_counts": dict(times=RUNS, ends=ENDS),
    "power_ups.fall_under_way": dict(
        before=[9, 5], expected_before=[1.0, 1.0], after=[3, 1], expected_after=[1.0, 1.0]
    ),
    "power_ups.growth_forecast": dict(counts=[3, 1, 4], expected=[1.0] * 3, order=[0.0, 1.0, 2.0], at=3.0, planned=1.0),
    "power_ups.growth_reaches": dict(counts=[3, 1, 4], expected=[1.0] * 3, order=[0.0, 1.0, 2.0], mean=9.0, planned=1.0),
    "power_ups.growth_however_much": dict(counts=[3, 1, 4], expected=[1.0] * 3, order=[0.0, 1.0, 2.0]),
    "power_ups.mean_cumulative": dict(times=RUNS, ends=ENDS),
    "power_ups.mean_rate": dict(counts=[3, 1, 4], exposures=[1.0] * 3),
    "power_ups.power_ups_to_see": dict(counts=[3, 1, 4], exposures=[1.0] * 3),
    "power_ups.provoked_test": dict(event_times=RUNS, stimulus_times=[[4.0, 12.0], [9.0], []], window=1.0, ends=ENDS),
    "power_ups.rate_comparison": dict(
        before=[3, 5], expected_before=[1.0, 1.0], after=[1, 0], expected_after=[1.0, 1.0]
    ),
    "power_ups.rate_growth": dict(counts=[3, 1, 4], expected=[1.0] * 3, order=[0.0, 1.0, 2.0]),
    "power_ups.size_growth": dict(sizes=[[0.1, 0.2], [0.3], [0.2, 0.4]], order=[0.0, 1.0, 2.0]),
    "power_ups.size_growth_within": dict(sizes=[Y], times=[list(range(0, 1200, 100))], dead_time=10.0),
    "power_ups.sizes_ahead": dict(sizes=Y, times=list(range(1, 13)), end=13.0, threshold=20.0),
    "rates.absent_test": dict(none_of=3, some=2, of=4),
    "rates.dispersion_test": dict(counts=[3, 1, 0, 4], exposures=[1.0] * 4),
    "rates.on_off_significance": dict(on_count=3, on_time=1.0, off_count=2, off_time=4.0),
    "rates.overdispersed_rate": dict(counts=[3, 1, 0, 4], exposures=[1.0] * 4),
    "rates.rate_difference": RATIO,
    "rates.rate_interval": dict(count=3, exposure=10.0),
    "rates.rate_ratio": RATIO,
    "rates.rate_ratio_dispersed": SIDES,
    "rates.recurrence": dict(count=3, exposure=4.0, nuisance_rate=0.01, rest_exposure=3.0),
    "rates.share_interval": dict(hits=2, trials=5),
    "rates.window_counts": dict(times=T, ends=20.0),
    "sequential.likelihood_ratio_pair": dict(good_rate=0.1, bad_rate=1.0),
    "sequential.rate_bounds": dict(count=3, exposure=4.0, design_rate=1.0),
    "sequential.rate_decision": dict(good_rate=0.1, bad_rate=1.0),
    "soak.clean_exposure": dict(max_rate=0.5),
    "soak.detectable_share": dict(glitch_length=1.0, sample_interval=0.5),
    "soak.hours_to_catch": dict(count=3, exposure=4.0),
    "soak.hours_to_catch (rate)": dict(rate=0.5),
    "soak.power_ups_to_catch": dict(hits=2, trials=5),
    "soak.power_ups_to_catch (share)": dict(share=0.3),
    "trends.mann_kendall": dict(y=Y, x=list(range(12))),
    "trends.movement_kind": dict(levels=Y, times=list(range(12))),
    "trends.movement_test": dict(levels=Y, times=list(range(12))),
    "trends.robust_slope": dict(y=Y, x=list(range(12))),
    "trends.theil_sen": dict(y=Y, x=list(range(12))),
}
CHOICES = {"alternative", "method", "sided", "ended_by", "autocorrelation", "lengths"}
SHARES = {"confidence", "false_alarm", "miss", "power", "error", "share", "nuisance_share"}
ARRAYS = {
    "times", "ends", "ages", "order", "gaps", "values_or_times", "counts", "sizes", "times_a", "times_b", "p_values",
    "event_times", "stimulus_times", "exposures", "y", "x", "maxima", "peaks", "spans", "values", "base_counts",
    "base_exposures", "edges", "rates", "levels", "planned_ends", "others", "expected", "early", "before", "after",
    "expected_before", "expected_after",
}  # fmt: skip
WHOLE = {
    "seed", "count", "base_count", "on_count", "off_count", "runs_with", "runs", "hits", "trials", "windows", "allowed",
    "power_ups", "half", "max_changes", "simulations", "least_count", "samples_per_cell", "blocks",
}  # fmt: skip
# what is no mistake there: gaps in levels and readings, no events at all, any name of a stimulus
ALLOWED = {
    ("jumps.jumps", "values", "empty"),  # with few readings or none nothing is said, and that is the answer
    ("moving.moved_in_noise", "levels", "empty"),
    *((f"trends.{name}", "levels", "nan") for name in ("movement_test", "movement_kind")),
    *(("changepoints.level_segments", "levels", kind) for kind in ("nan", "infinite")),  # nothing was seen there
    *((f"noise.{name}", y, "nan") for name, y in (("noise_sigma", "y"), ("resolution_of", "values"))),
    *(("noise.resolution_of", "values", kind) for kind in ("infinite", "empty")),
    *((name, "times", "empty") for name in ("changepoints.rate_changes", "changepoints.rate_since", "changepoints.rate_steps", "rates.window_counts")),
    *(("association.coincidence", name, "empty") for name in ("times_a", "times_b")),
    ("association.stimulus_test", "event_times", "empty"),
    ("association.holm", "p_values", "empty"),
}


def functions():
    for room in stats.__all__:
        module = importlib.import_module(f"flicker.stats.{room}")
        for name in module.__all__:
            if inspect.isfunction(getattr(module, name)):
                yield f"{room}.{name}", getattr(module, name)


FUNCTIONS = dict(functions())


def spoilt(value, at, bad):
    """A copy of an array (or of the first run) with one number replaced."""
    if np.ndim(value[0]) > 0:
        return [spoilt(value[0], at, bad), *value[1:]]
    return [bad if i == at else v for i, v in enumerate(value)]


def wrong(name, parameter, arguments):
    """Wrong values of one parameter: (kind, value, text the message must hold)."""
    value = arguments.get(parameter)
    if value is None and parameter not in OPTIONAL:  # given by other arguments in this call, or labels of any kind
        return
    if parameter in CHOICES:
        yield "other", "no such", "'no such'"
    elif parameter in SHARES:
        yield from (
            ("share", bad, str(bad))
            for bad in (0.0, 1.0, 1.5, math.nan, -0.1)
            if (name, parameter, bad) not in WHOLE_SHARE
        )
        yield "word", "many", "many"
    elif parameter in ARRAYS and isinstance(value, list):
        yield "nan", spoilt(value, 1, math.nan), "nan"
        yield "infinite", spoilt(value, 0, math.inf), "inf"
        yield "words", "words", "words"
        yield "empty", [], r"0|empty|none|\[\]"
        if "count" in parameter:
            yield "negative", spoilt(value, 0, -1), "-1"
            yield "half", spoilt(value, 0, 1.5), "1.5"
        if parameter in ("exposures", "base_exposures"):
            yield "negative", spoilt(value, 0, -2.0), "-2"
    elif parameter in WHOLE:
        yield from (("whole", bad, str(bad)) for bad in (-1, 1.5, math.nan, "many"))
    elif isinstance(value, bool):
        return
    elif isinstance(value, (int, float)) or value is None:
        yield from (("number", bad, str(bad)) for bad in (math.nan, math.inf, "many"))
        if parameter not in ANY_SIGN:
            yield "number", -2.5, "-2.5"


WHOLE_SHARE = {("soak.power_ups_to_catch (share)", "share", 1.0)}  # a share of one is a share too
OPTIONAL = {"resolution", "dead_time", "sigma", "samples_per_cell", "run_length", "step"}
ANY_SIGN = {"at", "level", "threshold", "start", "end"}  # ages, volts and clock times may lie below 0


def _cases(name):
    """Wrong arguments of a function: the parameter, what is given for it, and the words that the refusal must hold."""
    arguments = dict(SOUND[name])
    for parameter, item in inspect.signature(FUNCTIONS[name.split()[0]]).parameters.items():
        if parameter not in arguments and item.default not in (inspect.Parameter.empty, None):
            arguments[parameter] = item.default
        for kind, value, words in wrong(name, parameter, arguments):
            if (name, parameter, kind) not in ALLOWED:
                yield parameter, value, words


def test_every_function_has_a_sound_call():
    assert {name.split()[0] for name in SOUND} == set(FUNCTIONS)
    for name, arguments in SOUND.items():
        FUNCTIONS[name.split()[0]](**arguments)


@pytest.mark.parametrize("name", SOUND)
def test_a_wrong_argument_is_named_with_its_value_and_what_is_allowed(name):
    missed, asked = [], 0
    for parameter, value, words in _cases(name):
        asked += 1
        try:
            FUNCTIONS[name.split()[0]](**(SOUND[name] | {parameter: value}))
            message = "taken without a word"
        except ValueError as caught:
            message = str(caught)
        if parameter not in message or not re.search(words, message) or not re.search(r"must|needs", message):
            missed.append(f"{parameter}={value!r:.40}: {message}")
    assert missed == []
    assert asked
