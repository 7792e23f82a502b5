"""Slow loggers, a reading every 1 to 10 minutes over weeks to months, are judged like others. All logs are invented."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from flicker import assess
from flicker.base.values import Fitness
from flicker.evidence.guard import Reason

sys.path.insert(0, str(Path(__file__).parent / "studies"))
from slow_logs import KINDS, slow_log


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("seed", [1])
def test_a_slow_log_gets_the_word_that_it_should(kind, seed):
    log, every_min, _ = slow_log(kind, seed)
    found = assess(log)
    left, right = found.channel("left"), found.channel("right")
    assert left.verdict == KINDS[kind]
    # no clearance from readings over 30 s apart: clearance.md, section 12, 7
    assert every_min * 60 > 30 and Reason.SELDOM in right.guard.reasons
    assert right.verdict == "inconclusive" and right.fitness == Fitness.NOT_YET_SHOWN
    if kind == "two falls":
        assert len(left.moves) == 2 and all(row["step_V"] < -0.03 for row in left.moves)
    if kind == "swings":
        assert "long stretches" not in left.tail and left.rate.episodes >= 5
