"""Since when is the rate another: coal-mining explosions, a moderated t by hand, and logs with a change put in (invented)."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from flicker import assess
from flicker.base.limits import Limits
from flicker.evidence.located.rate_since import Over, Way, corrected, since_text, since_visits
from flicker.stats.changepoints import rate_since, rate_since_unit

COAL = np.loadtxt(Path(__file__).parent / "data" / "coal.csv", skiprows=2)


def test_coal_explosions_became_rarer_about_1890():
    found = rate_since(COAL, 1963.0, start=1851.0)
    assert found.at == pytest.approx(1890.189596, abs=1e-6)  # CH-5 of the catalogue: supremum at event 125
    assert found.p_down <= 0.001 and found.p_up > 0.5  # the least that 999 orders of the gaps can give
    # Raftery and Akman 1986 (from memory): 95 % from about 1887 to 1895; the counts scatter a little more than Poisson
    assert 1885.0 < found.low < 1888.0 and 1895.0 < found.high < 1898.0
    # CH-5: rates 3.1896 and 0.90646; two explosions of one day are one burst here
    assert (found.rate_before, found.rate_after) == pytest.approx((3.1896, 0.90646), rel=0.02)
    assert found.ratio_low < 0.90646 / 3.1896 < found.ratio_high
    given = rate_since(COAL, 1963.0, start=1851.0, at=1890.0)
    assert given.given and given.p_down <= 0.001 and given.low == given.high == 1890.0


def test_a_given_border_is_a_moderated_t():
    # Smyth 2004: variance (d0 s0^2 + d s^2) / (d0 + d), t with d0 + d degrees of freedom; equal expectations, d0 = 3
    counts = np.array([2, 3, 2, 9, 11, 8])
    y = 2 * np.sqrt(counts + 0.25) / np.sqrt(1 + 0.5**2 * counts.mean())
    rest = ((y[:3] - y[:3].mean()) ** 2).sum() + ((y[3:] - y[3:].mean()) ** 2).sum()
    t = (y[3:].mean() - y[:3].mean()) / np.sqrt((3 + rest) / 7 * (2 / 3))
    found = rate_since_unit(counts, np.ones(6), at=3)
    assert found.p_up == pytest.approx(stats.t.sf(t, 7), rel=1e-9)
    searched = rate_since_unit(counts, np.ones(6))
    assert searched.at == 3 and searched.p_up > found.p_up  # a searched border costs


def test_the_law_of_the_largest_t_is_that_of_normal_values():
    rng = np.random.default_rng(5)
    # large counts of one mean are normal roots: each way 1.25 % at most, and two standard errors of 1,000 draws
    p = [rate_since_unit(rng.poisson(400 * rng.gamma(4, 0.25, 6)), np.ones(6)).p_up for _ in range(1000)]
    assert 0.002 <= np.mean(np.array(p) <= 0.0125) <= 0.02


def recording(changed_h, hours=40, before=0.4, after=3.5, seed=4):
    """A log of one reading per second whose swings come more often from a moment on; right channel sound."""
    rng = np.random.default_rng(seed)
    n = hours * 3600
    times = np.concatenate(
        (rng.uniform(0, changed_h, rng.poisson(before * changed_h)), rng.uniform(changed_h, hours, rng.poisson(after * (hours - changed_h))))
    )
    left = 0.002 + 3e-4 * rng.standard_normal(n)
    for at in times * 3600.0:
        left[int(at) : int(at) + 3] += 0.2
    clock = pd.Timestamp("2026-03-02 08:00") + pd.to_timedelta(np.arange(n), unit="s")
    return pd.DataFrame({"time": clock, "left": left, "right": 0.001 + 3e-4 * rng.standard_normal(n)})


def test_a_log_says_since_when():
    found = assess(recording(26.0))
    since = found.channel("left").since
    assert since.answer == Way.MORE and since.over == Over.RUN and not since.given
    assert since.low_s <= 26 * 3600 <= since.high_s
    assert since.ratio_low <= 3.5 / 0.4 <= since.ratio_high
    assert "since about 3 March" in since.reads
    assert found.channel("right").since is None and since_text(None) == ""
    changed = found.chart.cumulative("left").to_dict()
    assert "More often since about" in changed["description"]


def test_visits_say_since_which():
    rng = np.random.default_rng(2)
    times = [np.sort(rng.uniform(0, 7200, n)) for n in (1, 2, 1, 12, 15, 13)]
    names = [f"the visit of 2026-0{k}-01" for k in range(1, 7)]
    (found,) = corrected([since_visits(times, [7200.0] * 6, range(6), names, Limits())], Limits())
    assert found.answer == Way.MORE and found.unit == 3 and "since the visit of 2026-04-01" in found.reads
    (even,) = corrected([since_visits([times[0]] * 6, [7200.0] * 6, range(6), names, Limits())], Limits())
    assert even.answer == Way.NOT_SHOWN and since_text(even) == ""
