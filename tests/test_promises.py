"""What is promised of hands, power, volts and the room, on a few seeded benches; the study has 200 of each.

All benches are invented. The limits of 40 V, 0.9 V, 6 V, 30 mV, 15 mV and 25 mV are common practice, no source.
"""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from flicker import Log, assess, simulate_log
from flicker.base.limits import Limits

sys.path.insert(0, str(Path(__file__).parent / "studies"))
import study_promises as study

LONG = {part for part, (_, _, _, rates, _, _) in study.PARTS.items() if rates is study.SLOW}


@pytest.mark.parametrize("part", sorted(set(study.PARTS) - LONG))
def test_what_is_promised_holds(part):
    judge = study.PARTS[part][4]
    for _, bench, found in study.benches(part, 2, first_seed=77):
        assert judge(bench, found), bench.truth.seed


@pytest.mark.parametrize("part", sorted(LONG))
def test_what_is_promised_of_long_logs_holds(part):
    kind, options, _, _, judge, _ = study.PARTS[part]
    bench = simulate_log(kind, seed=78, rate_hz=0.5, **options)
    assert judge(bench, assess(bench.logs[0]))


def test_the_judges_can_say_no():
    sound = simulate_log("steady", seed=5, hours=1.0)
    found = assess(sound.logs[0])
    for judge in (study.taps_are_provoked, study.stop, study.left_drifts, study.by_temperature, study.supply_named):
        if judge is not study.taps_are_provoked:
            assert not judge(sound, found)
    with pytest.raises(KeyError):
        study.taps_are_provoked(sound, found)
    trimmed = simulate_log("trimmed", seed=5, hours=2.0)
    assert not study.trimmed_is_no_drift(trimmed, assess(trimmed.logs[0]))
    noisy = simulate_log("noisy", seed=5, hours=1.0, rate_per_h=20.0)
    assert not study.no_excursions(noisy, assess(noisy.logs[0]))


@pytest.mark.parametrize(("limit", "kinds"), [(3600.0, {"warm"}), (600.0, {"cold"})])
def test_the_limit_of_a_cold_start(limit, kinds):
    bench = simulate_log("timer-nights", seed=4, hours=3.0, rate_hz=1.0, on_h=0.5, off_h=0.5)
    found = assess(bench.logs[0], Limits(cold_after_s=limit))
    later = [item for item in found.channels[0].power_up if item.off_before_s is not None]
    assert len(later) >= 2
    assert {item.start for item in later} == kinds
    assert all(1500 < item.off_before_s < 2000 for item in later)


def test_marks_go_with_one_log_only():
    bench = simulate_log("taps", seed=3, hours=0.5)
    with pytest.raises(ValueError, match="marks belong to one log"):
        assess([bench.logs[0], bench.logs[0]], marks=bench.marks())


def test_a_bridge_of_arrays_is_a_difference():
    legs = simulate_log("bridged", seed=2, hours=0.5)
    columns = {name: legs.values(name) for name in legs.channels}
    found = assess(Log.from_arrays(legs.time_s(), columns, differences={"bridge": ("left", "right")}))
    assert [item.channel for item in found.channels] == ["bridge"]
    assert abs(found.channels[0].baseline.level_V) < 0.03
    assert any("neither may be connected to ground" in text for text in found.cautions)
