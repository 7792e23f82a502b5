"""Fast pick-up of an open lead: found with its borders; a unit's own hum, noise and swings are not. Data invented."""

import numpy as np
import pytest

from flicker import Log, assess

BEGIN, END = 1800.0, 2600.0  # s


def bench(kind: str, rate_hz: float, digit_V: float, seed: int) -> Log:
    """Two hours of a channel at 20 mV with 0.5 mV of noise, and what happens to it."""
    rng = np.random.default_rng([seed, int(10 * rate_hz)])
    time = np.arange(int(7200 * rate_hz)) / rate_hz
    volts = 0.020 + 0.0005 * rng.normal(size=time.size)
    there = (time >= BEGIN) & (time < END)
    # hum that folds to between a fifth and nine twentieths of the sampling rate: no middle of a second shows it
    hum = rng.uniform(0.02, 0.12) * np.sin(2 * np.pi * rng.uniform(0.2, 0.45) * rate_hz * time + rng.uniform(0, 6))
    if kind == "lead off":
        volts[there] = (rng.uniform(-0.005, 0.005) + hum + 0.001 * rng.normal(size=time.size))[there]
    elif kind == "hum on the output":
        volts[there] += 0.3 * hum[there]
    elif kind == "always hum":
        volts += 0.1 * hum
    elif kind == "noise":
        volts[there] += 0.02 * rng.normal(size=time.size)[there]
    elif kind == "swings":
        for at in rng.uniform(60.0, 7000.0, 40):
            volts[(time >= at) & (time < at + rng.uniform(0.5, 20.0))] += rng.choice([-0.3, 0.3])
    return Log.from_arrays(time, {"left": np.round(volts / digit_V) * digit_V, "right": -0.004 + 0.0005 * hum})


def floating(kind: str, rate_hz: float, digit_V: float, seed: int) -> list[tuple[float, float]]:
    gaps = assess(bench(kind, rate_hz, digit_V, seed)).channels[0].gaps
    return [(gap["start_s"], gap["end_s"]) for gap in gaps if "floating" in gap["reason"]]


@pytest.mark.parametrize("rate_hz", [2.0, 5.0, 10.0])
@pytest.mark.parametrize("digit_V", [0.001, 0.0001])
def test_a_lead_that_came_off_is_found_within_seconds(rate_hz, digit_V):
    for seed in range(4):
        (found,) = floating("lead off", rate_hz, digit_V, seed)
        assert abs(found[0] - BEGIN) <= 10.0 and abs(found[1] - END) <= 10.0


@pytest.mark.parametrize("rate_hz", [2.0, 10.0])
@pytest.mark.parametrize("kind", ["hum on the output", "always hum", "noise", "swings", "quiet"])
def test_what_is_the_units_own_stays(kind, rate_hz):
    assert [floating(kind, rate_hz, 0.0001, seed) for seed in range(3)] == [[]] * 3
