"""Simulated benches against independent reckoning: the truth must be in the samples, the noise must be what it is called.

All benches are invented. Checks outside the project: numpy and scipy (periodogram, autocorrelation), exact Poisson and
binomial limits from scipy.stats.
"""

from __future__ import annotations

import numpy as np
import pytest

from flicker.simulate import KINDS, simulate_log


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_equal_arguments_give_equal_benches(kind):
    one, two = (simulate_log(kind, hours=0.2, seed=5) for _ in range(2))
    other = simulate_log(kind, hours=0.2, seed=6)
    for run in range(len(one.logs)):
        for channel in one.channels:
            assert np.array_equal(one.values(channel, run), two.values(channel, run))
    assert one.truth.to_dict() == two.truth.to_dict()
    assert not np.array_equal(one.values("left"), other.values("left"))
