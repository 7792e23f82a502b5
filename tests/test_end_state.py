"""How a log ends: volts that stand to its end are one event, told first. All data are invented; no outside source."""

import numpy as np
import pytest

from flicker import assess
from flicker.evidence.document.excursion_table import write_excursions
from flicker.logs.model import Log

T = np.arange(14_000.0)


def _log(after_V, since_s, *, sigma_V=2e-4, seed=4):
    rng = np.random.default_rng(seed)
    left = 3e-3 + rng.normal(0.0, 2e-4, T.size)
    late = since_s <= T
    left[late] = np.broadcast_to(after_V, T.shape)[late] + rng.normal(0.0, sigma_V, int(late.sum()))
    return Log.from_arrays(T, {"left": left})


@pytest.mark.parametrize(("volts", "said"), [(58.0, "58 V"), (1.2, "1.2"), (-24.0, "24 V")])
@pytest.mark.parametrize("sigma_V", [2e-4, 0.02])  # 20 mV, as a supply's ripple gives, must not become a hundred swings
def test_volts_that_stand_to_the_end_are_one_event(tmp_path, volts, said, sigma_V):
    found = assess(_log(volts, 9000, sigma_V=sigma_V))
    left = found.channel("left")
    assert left.fitness == "do not connect" and left.verdict == "drifting" and left.tail_kind == "stands"
    assert left.tail.startswith(f"stands at {said}")
    assert left.tail.endswith("V since 2 h 30 min 00 s of run 1, 1.4 hours to the end of the log")
    assert left.tail in left.reads and "Switch it off" in left.next.reads
    assert (left.rate.episodes, left.excursions_total) == (1, 1)
    assert left.excursions[0].start_s == 9000 and left.excursions[0].duration_s == pytest.approx(5000, abs=2)
    assert left.finding("settled offset").answer == "yes" and left.relay.forecast is None
    assert abs(left.finding("drift").effect or 0.0) <= abs(volts) + 0.2  # never more than it moved
    assert write_excursions(found, tmp_path / "x.csv") == 1


def test_a_level_that_climbs_stands_nowhere():
    """A ramp to 2 V: since when it is beyond the threshold, and where it is at last."""
    left = assess(_log(np.maximum(T - 9000, 0) / 2500 + 3e-3, 9000)).channel("left")
    assert left.tail.startswith("is far from zero since") and "1.99 V at last" in left.tail


def test_volts_that_come_back_do_not_stand():
    """40 V for a minute, then calm: a swing, and nothing stands."""
    left = assess(_log(np.where(T < 9060, 40.0, 3e-3), 9000)).channel("left")
    assert left.tail_kind != "stands" and left.fitness == "do not connect"
    assert left.rate.episodes == 1


def test_a_lead_that_may_have_seen_nothing_shows_nothing():
    """3.0 mV at every reading: no question is answered 'no', no rate is excluded, and more hours are not what is missing."""
    found = assess(Log.from_arrays(T, {"left": np.full(T.size, 3e-3)}))
    left = found.channel("left")
    assert left.tail_kind == "no sign of life" and left.fitness == "not yet shown"
    assert {item.answer for item in left.findings} == {"not shown"} and left.rate.steady_upper_per_h is None
    assert "begin a log with the unit off, and switch it on while logging" in left.next.reads
