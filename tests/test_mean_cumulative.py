"""Mean cumulative function: the valve seats of Nelson and Doganaksoy 1989 against R, the band against exact limits."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from flicker.stats.power_ups import count_by_age, mean_cumulative

DATA = Path(__file__).parent / "data"


def rows(name):
    lines = (DATA / name).read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


def engines():
    """Replacements of each of the 41 engines and the end of its observation, in days."""
    seen = {}
    for row in rows("valve_seat.csv"):
        events, end = seen.setdefault(row["id"], ([], []))
        (events if row["status"] == "1" else end).append(float(row["time"]))
    assert len(seen) == 41 and all(len(end) == 1 for _, end in seen.values())
    return [sorted(events) for events, _ in seen.values()], [end[0] for _, end in seen.values()]


def test_valve_seats_as_in_r():
    times, ends = engines()
    found = mean_cumulative(times, ends)
    inside = found.events > 0
    # tests/data/valve_seat_mcf.csv: R 4.2.2, package survival 3.5-3, to the ten digits printed there
    told = np.array([[float(row[key]) for key in ("days", "mean", "se")] for row in rows("valve_seat_mcf.csv")])
    assert found.time[inside] == pytest.approx(told[:, 0])
    assert found.mean[inside] == pytest.approx(told[:, 1], abs=2e-10)
    assert found.se[inside] == pytest.approx(told[:, 2], abs=2e-10)
    assert found.count == 48 and found.power_ups == 41  # 48 replacements: Nelson and Doganaksoy 1989, from memory
    assert (found.low[inside] < found.mean[inside]).all() and (found.high[inside] > found.mean[inside]).all()


def test_equal_lengths_are_the_mean_count_and_its_error():
    counts = [3, 1, 0, 4, 2]
    times = [sorted(np.linspace(0.5, 9.5, n).tolist()) for n in counts]
    found = mean_cumulative(times, 10.0)
    assert found.mean[-1] == pytest.approx(np.mean(counts))  # definition
    assert found.se[-1] ** 2 == pytest.approx(np.var(counts) / 5)  # squares about the mean over units squared
    assert found.at_risk[-1] == 5 and found.time[0] == 0.0 and found.time[-1] == 10.0


def test_band_never_lies_inside_exact_limits_and_of_nothing_is_that_of_clean_power_ups():
    times = [[1.0, 2.0], [3.0], [0.5, 4.0, 4.5]]
    found = mean_cumulative(times, 5.0)
    # Garwood 1936: exact limits of the mean of 6 counts are 2.202 and 13.06 (R: qchisq(.025, 12)/2, qchisq(.975, 14)/2)
    assert found.low[-1] <= 2.2018943 / 3 and found.high[-1] >= 13.059474 / 3
    clean = mean_cumulative([[], [], []], 5.0)
    assert clean.mean[-1] == 0 and clean.low[-1] == 0
    # three clean power-ups that differ by a half: negative binomial, (1 + m / 4)^-4 each, all clean in 2.5 %
    assert stats.nbinom.pmf(0, 4, 4 / (4 + clean.high[-1])) ** 3 == pytest.approx(0.025)
    one = mean_cumulative([[1.0, 2.0, 3.0]], 5.0)
    assert one.high[-1] == pytest.approx(stats.chi2.ppf(0.975, 8) / 2)  # Garwood, of this power-up alone


@pytest.mark.parametrize(("cv", "least"), [(0.0, 0.95), (0.5, 0.94)])
def test_band_holds_while_power_ups_differ(cv, least):
    rng = np.random.default_rng(11)
    hits = 0
    for _ in range(300):
        factor = rng.gamma(1 / cv**2, cv**2, 4) if cv else np.ones(4)
        times = [np.sort(rng.uniform(0, 1, n)) for n in rng.poisson(5 * factor)]
        found = mean_cumulative(times, 1.0)
        hits += found.low[-1] <= 5 <= found.high[-1]
    assert hits / 300 >= least - 0.02  # the study records the coverage; two standard errors of 300 draws


def test_count_by_age_bends_with_growth():
    even = count_by_age([5, 4, 6, 5, 5], [1.0] * 5)
    assert (even.count >= even.low).all() and (even.count <= even.high).all()
    assert even.expected == pytest.approx(25 * np.arange(6) / 5)
    growing = count_by_age([1, 3, 8, 20, 45], [1.0] * 5)
    assert (growing.count < growing.low).any() and "The first 2 of 5 brought 4 of 77; without ageing 31 would be expected" in growing.reads
    assert count_by_age([0, 0], [1.0, 1.0]).high[-1] == 0
