"""Sentences that said less than the readings, by stories that fresh eyes found (`studies/fresh_late_*`, by kind and seed)."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

import flicker

sys.path.insert(0, str(Path(__file__).parent / "studies"))

import fresh_benches as benches

EIGHT_S = np.timedelta64(8, "s")


def judged(kind: str, seed: int) -> flicker.Assessment:
    step = benches.story(kind, seed).steps[0]
    return flicker.assess([flicker.read_log(log) for log in step.logs])


@pytest.mark.parametrize("seed", [106001, 107002])
def test_a_surge_that_was_forgiven_is_told_in_volts_and_never_called_normal(seed: int) -> None:
    """Finding G17: 0.45 to 0.95 V in the first 8 s of each start, where the page's own limit is 200 mV (clearance, section 6)."""
    logs = benches.story("thump of three seconds", seed).steps[0].logs
    size_V = max(float(np.abs(log["left_V"][: np.searchsorted(log["time"], log["time"][0] + EIGHT_S)]).max()) for log in logs)
    left, *others = judged("thump of three seconds", seed).channels
    found = next(item for item in left.findings if item.question == "power-up")
    told = f"Up to {round(size_V * 1e3)} mV in the first 8 s of "
    assert size_V > 2 * found.limit
    assert told in found.reads
    assert "open lead" in found.reads
    assert "normal" not in found.reads
    assert found.effect is None or abs(found.effect) <= found.limit
    assert told in left.not_excluded
    for item in others:
        assert "open lead" not in item.not_excluded
