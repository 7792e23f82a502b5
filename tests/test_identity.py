"""Copies of a run are found by a digest of their readings. All logs here are invented."""

import numpy as np

from flicker import Limits, Log
from flicker.evidence.record.identity import readings_digest, same_readings
from flicker.signals.trace import trace_log


def runs_of(*columns):
    """One run per column of readings, each a log of its own with two channels."""
    out = []
    for k, values in enumerate(columns):
        time_s = 0.5 * np.arange(values.size)
        log = Log.from_arrays(time_s, {"left": values, "right": -values[::-1]}, name=f"evening {k}")
        out += trace_log(log, Limits(), first_run=len(out))
    return out


def noise(seed, size=2400):
    return 0.004 + 0.0005 * np.random.default_rng(seed).standard_normal(size)


def test_a_copy_is_found_whatever_its_name_and_place():
    one, two, three = noise(1), noise(2), noise(3)
    assert same_readings(runs_of(one, two, one.copy(), three, two.copy())) == [(0, 2), (1, 4)]


def test_one_changed_reading_makes_another_run():
    changed = noise(1)
    changed[1234] += 1e-6
    assert same_readings(runs_of(noise(1), changed)) == []


def test_lost_readings_and_signed_zeros_do_not_hide_a_copy():
    with_gap = noise(4)
    with_gap[100:110] = np.nan
    zeros = np.where(np.arange(2400) % 7 == 0, 0.0, noise(5))
    runs = runs_of(with_gap, with_gap.copy(), zeros, np.where(zeros == 0.0, -0.0, zeros))
    assert same_readings(runs) == [(0, 1), (2, 3)]


def test_a_channel_that_never_moves_tells_nothing():
    (run,) = runs_of(np.full(2400, 0.004))
    assert readings_digest(run) is None
