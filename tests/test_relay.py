"""The relay: sequences with the answer worked out by hand, and an independent machine that steps reading by reading.

All sequences are invented. Defaults of the relay (0.75 V, 4 s) are common practice, no source.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from plain_relay import relay_sequence

from flicker.base.limits import Limits
from flicker.logs.model import ArraySource, Log
from flicker.signals.blocks import reduce_log
from flicker.signals.relay import Relay, RelayRecord, add_up, scan_relays

HALF = Relay(trip_V=0.75, trip_delay_s=0.1, release_V=0.75, reconnect_s=4.0)


def volts(*parts: tuple[float, int]) -> np.ndarray:
    """Readings from (value, how many) pairs."""
    return np.concatenate([np.full(count, value) for value, count in parts])


# name, relay, readings at 0.5 s, trips at, reconnects at, seconds above, longest exposure, disconnected
TABLE = [
    ("quiet", HALF, volts((0.01, 40)), [], [], 0.0, 0.0, 0.0),
    ("at the threshold is not above it", HALF, volts((0.75, 40)), [], [], 0.0, 0.0, 0.0),
    # one reading above at 5.0 s: opens 0.1 s later; calm from 5.5 s, closes 4 s after
    ("one reading", HALF, volts((0, 10), (2, 1), (0, 20)), [5.1], [9.5], 0.5, 0.1, 4.4),
    ("negative", HALF, volts((0, 10), (-2, 1), (0, 20)), [5.1], [9.5], 0.5, 0.1, 4.4),
    ("delay longer than the swing", Relay(trip_delay_s=1.0), volts((0, 10), (2, 1), (0, 20)), [], [], 0.5, 0.5, 0.0),
    (
        "delay as long as the swing",
        Relay(trip_delay_s=1.0),
        volts((0, 10), (2, 2), (0, 20)),
        [6.0],
        [10.0],
        1.0,
        1.0,
        4.0,
    ),
    ("no delay at all", Relay(trip_delay_s=0.0), volts((0, 10), (2, 1), (0, 20)), [5.0], [9.5], 0.5, 0.0, 4.5),
    # the timer restarts at each new crossing: swings at 5.0 and 8.0 s, calm for 4 s only from 8.5 s on
    ("second crossing", HALF, volts((0, 10), (2, 1), (0, 5), (2, 1), (0, 20)), [5.1], [12.5], 1.0, 0.1, 7.4),
    # chatter: every other reading above for 10 s, then calm from 14.5 s on: one click, not ten
    (
        "chatter",
        HALF,
        np.concatenate((np.zeros(10), np.tile([1.0, 0.0], 10), np.zeros(20))),
        [5.1],
        [18.5],
        5.0,
        0.1,
        13.4,
    ),
    ("chatter shorter than the delay", Relay(trip_delay_s=0.6), np.tile([1.0, 0.0], 20), [], [], 10.0, 0.5, 0.0),
    # hysteresis: 0.5 V is below the trip but above the release threshold of 0.3 V, so the timer waits for 8.0 s
    ("between", Relay(release_V=0.3), volts((0, 10), (2, 1), (0.5, 5), (0, 20)), [5.1], [12.0], 0.5, 0.1, 6.9),
    ("between alone does nothing", Relay(release_V=0.3), volts((0.5, 40)), [], [], 0.0, 0.0, 0.0),
    (
        "a sign change is no pause",
        Relay(trip_delay_s=1.5),
        volts((0, 4), (2, 2), (-2, 2), (0, 20)),
        [3.5],
        [8.0],
        2.0,
        1.5,
        4.5,
    ),
    ("stuck", HALF, volts((0, 10), (40, 30)), [5.1], [], 15.0, 0.1, 14.9),
    # two separate trips: clicks on and off as a bad unit does
    ("two clicks", HALF, volts((2, 1), (0, 9), (2, 1), (0, 9)), [0.1, 5.1], [4.5, 9.5], 1.0, 0.1, 8.8),
    ("exactly the reconnect delay", HALF, volts((2, 1), (0, 8), (2, 1), (0, 1)), [0.1, 4.6], [4.5], 1.0, 0.1, 5.3),
    (
        "a missing reading changes nothing",
        HALF,
        volts((0, 10), (2, 1), (np.nan, 1), (2, 1), (0, 20)),
        [5.1],
        [10.5],
        1.5,
        0.1,
        5.4,
    ),
    ("over range is above", HALF, volts((0, 10), (-np.inf, 1), (0, 20)), [5.1], [9.5], 0.5, 0.1, 4.4),
]


@pytest.mark.parametrize(("name", "relay", "values", "trips", "closes", "above", "longest", "away"), TABLE)
def test_hand_made_sequences(name, relay, values, trips, closes, above, longest, away):
    found = relay_sequence(0.5 * np.arange(values.size), values, relay, sample_interval_s=0.5)
    assert found.trip_s == pytest.approx(trips, abs=1e-9)
    assert found.reconnect_s == pytest.approx(closes, abs=1e-9)
    assert found.trips == len(trips)
    assert found.seconds_above_threshold == pytest.approx(above, abs=1e-9)
    assert found.longest_exposure_s == pytest.approx(longest, abs=1e-9)
    assert found.disconnected_s == pytest.approx(away, abs=1e-9)


def test_a_gap_keeps_the_state_and_starts_the_timers_anew():
    time = np.concatenate((0.5 * np.arange(5), 60 + 0.5 * np.arange(20)))
    found = relay_sequence(time, volts((0, 2), (2, 1), (0, 22)), HALF, sample_interval_s=0.5)
    assert found.trip_s == pytest.approx([1.1])
    assert found.reconnect_s == pytest.approx([64.0])
    # 1.1 to 2.5 s before the gap, 60 to 64 s after it: the gap itself counts as neither
    assert found.disconnected_s == pytest.approx(1.4 + 4.0)
    assert found.connected.tolist() == [[0.0, 1.1], [64.0, 70.0]]


def test_what_reaches_the_loudspeaker_in_closed_form():
    # a ramp of 1 V per reading, 0.25 s each, delay 0.6 s: 2 V x 0.25 + 3 V x 0.25 + 4 V x 0.1, squares over 8 ohm
    found = relay_sequence(
        0.25 * np.arange(9), [0, 1, -2, -3, -4, -5, 0, 0, 0], Relay(trip_V=1, release_V=1, trip_delay_s=0.6)
    )
    assert found.exposed_volt_s == pytest.approx(0.5 + 0.75 + 0.4)
    assert found.exposed_energy_J == pytest.approx((4 * 0.25 + 9 * 0.25 + 16 * 0.1) / 8)
    assert (found.exposed_peak_V, found.peak_V) == (-4.0, -5.0)
    # 6 V for as long as the relay lets it: 36 / 8 = 4.5 W
    assert relay_sequence(np.arange(9.0), volts((6, 9))).exposed_energy_J == pytest.approx(4.5 * 0.1)


def step_by_step(time, values, relay, step):
    """The same relay as a plain loop with two timers; shares nothing with the module."""
    connected, high_since, calm_since = True, None, None
    trips, closes, above, exposure = [], [], 0.0, [0.0]
    for k, (t, v) in enumerate(zip(time, values, strict=True)):
        end = time[k + 1] if k + 1 < len(time) else t + step
        size = abs(v)
        if size > relay.trip_V:
            above += end - t
            if high_since is None:
                high_since = t
                exposure.append(0.0)
            if connected:
                if end >= high_since + relay.trip_delay_s - 1e-9:
                    exposure[-1] += max(high_since + relay.trip_delay_s - t, 0.0)
                    connected = False
                    trips.append(high_since + relay.trip_delay_s)
                else:
                    exposure[-1] += end - t
        else:
            high_since = None
        if size <= relay.release_V:
            calm_since = t if calm_since is None else calm_since
            if not connected and end >= calm_since + relay.reconnect_s - 1e-9:
                connected = True
                closes.append(calm_since + relay.reconnect_s)
        else:
            calm_since = None
    return trips, closes, above, max(exposure)


def bursts(rng, size):
    """Noise with swings and chatter around the threshold."""
    level = np.repeat(rng.choice([0.0, 0.3, 0.74, 1.0, 3.0], p=[0.7, 0.1, 0.1, 0.05, 0.05], size=size // 20 + 1), 20)[
        :size
    ]
    return level * rng.choice([-1, 1]) + 0.1 * rng.standard_normal(size)


@pytest.mark.parametrize("seed", range(12))
def test_agrees_with_a_machine_that_steps_reading_by_reading(seed):
    rng = np.random.default_rng(seed)
    step = float(rng.choice([0.05, 0.2, 1.0]))
    relay = Relay(
        release_V=float(rng.choice([0.75, 0.5])),
        trip_delay_s=float(rng.choice([0.0, 0.1, 0.33, 1.0])),
        reconnect_s=float(rng.choice([0.5, 4.0])),
    )
    values = bursts(rng, 4000)
    time = step * np.arange(values.size)
    trips, closes, above, longest = step_by_step(time.tolist(), values.tolist(), relay, step)
    found = relay_sequence(time, values, relay, sample_interval_s=step)
    assert len(trips) > 3
    assert found.trip_s == pytest.approx(trips, abs=1e-6)
    assert found.reconnect_s == pytest.approx(closes, abs=1e-6)
    assert found.seconds_above_threshold == pytest.approx(above)
    assert found.longest_exposure_s == pytest.approx(longest, abs=1e-6)


def same(one: RelayRecord, two: RelayRecord) -> None:
    for name in (
        "trip_s",
        "reconnect_s",
        "disconnected",
        "connected",
        "disconnected_s",
        "seconds_above_threshold",
        "longest_exposure_s",
        "exposed_s",
        "exposed_volt_s",
        "exposed_energy_J",
        "exposed_peak_V",
        "peak_V",
    ):
        assert getattr(one, name) == pytest.approx(getattr(two, name), abs=1e-9, nan_ok=True), name


@pytest.mark.parametrize("batch_rows", [7, 1000, 1 << 20])
@pytest.mark.parametrize("seed", range(3))
def test_scanning_blocks_equals_the_whole_array(seed, batch_rows):
    rng = np.random.default_rng(100 + seed)
    size, step = 6000, 0.1
    time = step * np.arange(size) + np.where(np.arange(size) >= 2500, 40.0, 0.0)  # one gap, the relay open or not
    quiet = 0.02 * rng.standard_normal(size)
    left = np.where((np.arange(size) // 500) % 3 == 1, bursts(rng, size), quiet)
    left[2400:2500] = 2.0
    right = quiet.copy()
    right[[1234, 4321]] = [3.0, np.inf]
    log = Log(ArraySource("invented", time, {"left": left, "right": right}, batch_rows=batch_rows))
    (blocks,) = reduce_log(log)
    relays = [Relay(release_V=0.5), Relay(trip_V=0.4, release_V=0.4, trip_delay_s=0.25)]
    found = scan_relays(log, blocks, relays)
    for relay, row in zip(relays, found, strict=True):
        for values, record in zip((left, right), row, strict=True):
            same(record, relay_sequence(time, values, relay, sample_interval_s=step))
    assert found[0][0].trips > 1
    assert found[0][1].at_least
    assert not found[0][0].at_least


def test_only_blocks_that_reach_a_threshold_are_read_again(monkeypatch):
    values = 0.01 * np.random.default_rng(1).standard_normal(100_000)
    values[50_000:50_020] = 2.0
    log = Log.from_arrays(0.1 * np.arange(values.size), {"left": values})
    (blocks,) = reduce_log(log)
    seen = []
    rows = log.rows
    monkeypatch.setattr(log, "rows", lambda *a, **k: seen.append(a[2] - a[1]) or rows(*a, **k))
    assert scan_relays(log, blocks, [Relay()])[0][0].trips == 1
    assert sum(seen) < 200


def test_another_threshold_trips_on_other_swings():
    values = np.zeros(4000)
    values[500:505], values[1500:1505], values[2500:2505] = 0.5, 1.0, 3.0
    log = Log.from_arrays(0.1 * np.arange(4000), {"left": values, "right": np.zeros(4000)})
    (blocks,) = reduce_log(log)
    relay = Relay.from_limits(Limits())
    found = scan_relays(log, blocks, [relay.at(trip) for trip in (0.3, 0.75, 2.0, 5.0)])
    assert [row[0].trips for row in found] == [3, 2, 1, 0]
    assert found[0][1].reads.startswith("Never above 0.3 V")


def test_runs_add_up_and_the_json_is_finite():
    one = relay_sequence(np.arange(20.0), volts((0, 5), (2, 1), (0, 14)))
    two = relay_sequence(np.arange(20.0), volts((0, 5), (-3, 2), (0, 13)))
    both = add_up([one, two])
    assert (both.trips, both.peak_V, both.seconds_above_threshold) == (2, -3.0, 3.0)
    assert both.disconnected_s == pytest.approx(one.disconnected_s + two.disconnected_s)
    assert "opened twice" in both.reads
    blank = relay_sequence(np.arange(5.0), np.full(5, np.nan))
    assert math.isnan(blank.peak_V)
    assert blank.to_dict()["peak_V"] is None
    both.to_json()


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"release_V": 1.0}, "release_V must be at most trip_V"),
        ({"trip_V": -1}, "trip_V"),
        ({"reconnect_s": -1}, "reconnect_s"),
    ],
)
def test_an_impossible_relay_is_refused(change, message):
    with pytest.raises(ValueError, match=message):
        Relay(**change)


def test_time_that_does_not_rise_is_refused():
    with pytest.raises(ValueError, match="time_s must rise"):
        relay_sequence([0.0, 1.0, 1.0], [0, 0, 0])
