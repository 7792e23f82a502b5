"""Since when is the rate another: coal-mining explosions, a moderated t by hand, and logs with a change put in (invented)."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

import flicker
from flicker import assess
from flicker.base.limits import Limits
from flicker.cli import main
from flicker.evidence.located.rate_changed import Over, Way, corrected, since_text
from flicker.evidence.located.rate_since import since_visits
from flicker.present.report.visits import change_word
from flicker.stats.changepoints import dispersed_limits, rate_since, rate_since_unit, rate_steps
from flicker.stats.power_ups import rate_comparison

COAL = np.loadtxt(Path(__file__).parent / "data" / "coal.csv", skiprows=2)


def test_coal_explosions_became_rarer_about_1890():
    found = rate_since(COAL, 1963.0, start=1851.0)
    assert found.at == pytest.approx(1890.189596, abs=1e-6)  # CH-5 of the catalogue: supremum at event 125
    assert found.p_down <= 0.005 and found.p_up > 0.5  # held against a rate that bunches on every scale as well
    # Raftery and Akman 1986 (from memory): 95 % from about 1887 to 1895; the counts scatter a little more than Poisson
    assert 1885.0 < found.low < 1888.0 and 1895.0 < found.high < 1898.0
    # CH-5: rates 3.1896 and 0.90646; two explosions of one day are one burst here
    assert (found.rate_before, found.rate_after) == pytest.approx((3.1896, 0.90646), rel=0.02)
    assert found.ratio_low < 0.90646 / 3.1896 < found.ratio_high
    given = rate_since(COAL, 1963.0, start=1851.0, at=1890.0)
    assert given.given and given.p_down <= 0.001 and given.low == given.high == 1890.0


def test_bunching_on_every_scale_is_no_change():
    # a binary cascade (Mandelbrot 1974), by hand: every piece gives its later half three quarters of its events
    shares = np.ones(1)
    for _ in range(6):
        shares = np.stack((shares * 0.25, shares * 0.75), axis=1).ravel()
    counts = np.rint(400 * shares).astype(int)
    times = np.concatenate([k + (np.arange(n) + 0.5) / n for k, n in enumerate(counts) if n])
    found = rate_since(times, 64.0)
    assert found.p_up > 0.00625  # no claim at the level of the evidence
    even = np.concatenate((np.linspace(0.2, 31.9, 100), np.linspace(32.05, 63.9, 300)))
    assert rate_since(even, 64.0).p_up <= 0.00625  # the same halves, each even: a change


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
    assert since.daily and since.reads.endswith("Within less than two days that cannot be told from the hours of the day.")
    assert found.channel("right").since is None and since_text(None) == ""
    changed = found.chart.cumulative("left").to_dict()
    assert "More often since about" in changed["description"]
    strip = found.chart.strip("left").to_dict()
    assert "another rate from here" in str(strip) and "more often from here" in str(strip)
    assert "another rate" not in str(found.chart.strip("right").to_dict()["description"])


def test_visits_say_since_which():
    rng = np.random.default_rng(2)
    times = [np.sort(rng.uniform(0, 7200, n)) for n in (1, 2, 1, 12, 15, 13)]
    names = [f"the visit of 2026-0{k}-01" for k in range(1, 7)]
    (found,) = corrected([since_visits(times, [7200.0] * 6, range(6), names, Limits())], Limits())
    assert found.answer == Way.MORE and found.unit == 3 and "since the visit of 2026-04-01" in found.reads
    (even,) = corrected([since_visits([times[0]] * 6, [7200.0] * 6, range(6), names, Limits())], Limits())
    assert even.answer == Way.NOT_SHOWN and since_text(even) == ""


def evenings(counts, hours=2.0, seed=3):
    """One log a day from 2 March 2026 on, 20:00, one reading per second, with so many swings each."""
    rng = np.random.default_rng(seed)
    out = []
    for day, count in enumerate(counts):
        n = int(hours * 3600)
        left = 0.002 + 3e-4 * rng.standard_normal(n)
        for at in rng.uniform(120, n - 60, count):
            left[int(at) : int(at) + 3] += 0.2
        clock = pd.Timestamp("2026-03-02 20:00") + pd.Timedelta(days=day) + pd.to_timedelta(np.arange(n), unit="s")
        out.append(pd.DataFrame({"time": clock, "left": left, "right": 0.001 + 3e-4 * rng.standard_normal(n)}))
    return [flicker.read_log(frame) for frame in out]


def test_a_date_given_is_compared_by_the_engine():
    logs = evenings([2, 1, 3, 14, 11, 16])
    since = assess(logs, since=dt.datetime(2026, 3, 5)).channel("left").since
    assert since.given and since.answer == Way.MORE and since.over == Over.POWER_UPS and since.unit == 3
    assert "since 2026-03-05, the moment given" in since.reads
    # all logs are alike in length: expectations are the same for each power-up
    plain = rate_comparison([2, 1, 3], [1.0] * 3, [14, 11, 16], [1.0] * 3)
    assert since.p_value == pytest.approx(2 * plain.p_up, rel=0.5) and since.ratio == pytest.approx(plain.ratio, rel=0.1)
    elsewhere = assess(logs, since=dt.datetime(2026, 3, 3)).channel("left").since
    assert elsewhere.given and elsewhere.unit == 1 and elsewhere.p_value > since.p_value
    even = assess(evenings([8, 11, 7, 9]), since=dt.datetime(2026, 3, 4)).channel("left").since
    assert even.answer == Way.NOT_SHOWN and "No change of rate is shown since 2026-03-04, the moment given" in since_text(even)


def test_a_date_within_one_log_is_tested_there():
    since = assess(recording(26.0), since=dt.datetime(2026, 3, 3, 10)).channel("left").since
    assert since.given and since.over == Over.RUN and since.answer == Way.MORE and since.at_s == pytest.approx(26 * 3600, abs=60)
    assert "since 2026-03-03 10:00, the moment given" in since.reads


@pytest.mark.parametrize(
    ("moment", "words"),
    [
        (dt.datetime(2026, 4, 1), "all that was logged lies before the moment given"),
        (dt.datetime(2026, 2, 1), "all that was logged lies after the moment given"),
        (dt.datetime(2026, 3, 3, tzinfo=dt.UTC), "without a zone"),
    ],
)
def test_a_date_that_parts_nothing_is_refused(moment, words):
    with pytest.raises(ValueError, match=words):
        assess(evenings([3, 4]), since=moment)


def test_a_date_needs_logs_with_dates(tmp_path, capsys):
    path = tmp_path / "log.csv"
    path.write_text("time_s,left_V\n" + "\n".join(f"{k},{0.001 * (k % 3)}" for k in range(400)), encoding="utf-8")
    assert main(["assess", str(path), "--since", "2026-03-03"]) == 2
    assert "tells none" in capsys.readouterr().err
    assert main(["assess", str(path), "--since", "Tuesday"]) == 2
    assert "--since takes a date such as" in capsys.readouterr().err


def test_visits_are_set_against_each_other_at_a_date_given():
    rng = np.random.default_rng(2)
    times = [np.sort(rng.uniform(0, 7200, n)) for n in (12, 15, 1, 2)]
    names = [f"the visit of 2026-0{k}-01" for k in range(1, 5)]
    (found,) = corrected([since_visits(times, [7200.0] * 4, range(4), names, Limits(), given=2)], Limits())
    plain = rate_comparison([12, 15], [7.5, 7.5], [1, 2], [7.5, 7.5])
    assert found.given and found.answer == Way.LESS and found.unit == 2
    assert found.p_value == pytest.approx(2 * plain.p_down, rel=1e-6)
    assert "since the visit of 2026-03-01, the first after the date given" in found.reads


def test_no_claim_beside_an_interval_that_holds_the_same_rate():
    # none at all after a change: the interval comes from the comparison of before and after, not from half an event
    rng = np.random.default_rng(4)
    times = [np.sort(rng.uniform(0, 7200, n)) for n in (9, 12, 8, 0, 0, 0)]
    names = [f"the visit of 2026-0{k}-01" for k in range(1, 7)]
    (found,) = corrected([since_visits(times, [7200.0] * 6, range(6), names, Limits())], Limits())
    plain = rate_comparison([9, 12, 8], [1.0] * 3, [0, 0, 0], [1.0] * 3)
    assert found.answer == Way.LESS and found.ratio_high == pytest.approx(plain.high, rel=1e-6) and found.ratio_high < 1
    assert f"at most {plain.high:.2g} times as often" in found.reads
    rows = (found.stretches[0], replace(found.stretches[1], ratio_high=1.2))
    (weak,) = corrected([[replace(found, stretches=rows)]], Limits())
    assert weak.answer == Way.NOT_SHOWN


def test_a_change_at_the_very_begin_has_a_rate_before_it():
    """Ten episodes in five minutes, none in five hours: no time was left before the change (an invented log crashed)."""
    times = np.array([15.5, 46.0, 61.5, 75.5, 96.5, 145.0, 168.0, 218.5, 249.5, 280.5])
    found = rate_since(times, 17_880.5)
    assert 0.0 < found.at < 17_880.5 and np.isfinite(found.rate_before)


def test_a_rate_that_went_up_and_back_is_placed_twice():
    # even gaps (invented): 1 per hour for 60 h, 8 per hour for 30 h, 1 per hour for 60 h
    rng = np.random.default_rng(7)
    t = np.sort(np.concatenate([rng.uniform(0, 60, 60), rng.uniform(60, 90, 240), rng.uniform(90, 150, 60)]))
    found = rate_steps(t, 150.0)
    assert found.tried[0][0].p_value > 0.05  # one change does not tell it
    up, down = found.shown(0.0125)
    assert up.low <= 60.0 <= up.high and down.low <= 90.0 <= down.high
    assert up.ratio_low <= 8.0 <= up.ratio_high and down.ratio_low <= 1 / 8 <= down.ratio_high
    # independent: the most likely two places over all pairs of events, by the Poisson likelihood (brute force)
    places = np.concatenate([[0.0], t, [150.0]])
    before = np.arange(places.size) - 1
    before[0], before[-1] = 0, t.size

    def gain(i, j):
        n, span = before[j] - before[i], places[j] - places[i]
        return np.where(n > 0, n * np.log(np.maximum(n, 1) / np.maximum(span, 1e-9)), 0.0)

    index = np.arange(5, places.size - 5)
    i, j = np.meshgrid(index, index, indexing="ij")
    total = np.where(j > i + 5, gain(0, i) + gain(i, np.maximum(j, i + 1)) + gain(j, places.size - 1), -np.inf)
    a, b = np.unravel_index(np.argmax(total), total.shape)
    assert up.at == pytest.approx(places[index[a]], abs=0.5) and down.at == pytest.approx(places[index[b]], abs=0.5)


def test_the_coal_explosions_changed_once():
    found = rate_steps(COAL, 1963.0, start=1851.0)
    (once,) = found.shown(0.0125)
    assert once == rate_since(COAL, 1963.0, start=1851.0)


def test_limits_of_a_rate_are_garwoods_where_counts_scatter_as_poisson():
    # Garwood 1936, count 10, 95 %: 4.795 to 18.39
    assert dispersed_limits(10, 1.0, 1.0, 0.95) == pytest.approx((4.795, 18.39), abs=0.005)
    assert dispersed_limits(10, 1.0, 2.0, 0.95) == pytest.approx((2 * 1.623, 2 * 11.668), abs=0.005)  # Garwood, count 5, twice


def test_a_log_says_from_when_to_when():
    hours, rng = 60, np.random.default_rng(4)
    n = hours * 360
    left = 0.002 + 3e-4 * rng.standard_normal(n)
    for at in np.concatenate([rng.uniform(0.1, 16, 16), rng.uniform(16, 41, 200), rng.uniform(41, 60, 19)]) * 360.0:
        left[int(at)] += 0.2
    clock = pd.Timestamp("2026-03-02 08:00") + pd.to_timedelta(10 * np.arange(n), unit="s")
    item = assess(pd.DataFrame({"time": clock, "left": left})).channel("left")
    first, up, down = item.since.stretches
    assert (up.answer, down.answer, item.since.answer) == (Way.MORE, Way.LESS, Way.LESS)
    assert up.low_s <= 16 * 3600 <= up.high_s and down.low_s <= 41 * 3600 <= down.high_s
    assert item.since.reads.startswith("More often from about 3 March 0") and " until about 4 March 0" in item.since.reads
    assert first.low_per_hour < 1.0 < first.high_per_hour and up.low_per_hour < 8.0 < up.high_per_hour
    assert sum(row.episodes for row in item.since.stretches) == item.since.count == item.rate.episodes
    chart = assess(pd.DataFrame({"time": clock, "left": left})).chart.rates("left").to_dict()
    assert "More often from" in chart["description"]


def test_visits_that_went_up_and_back():
    rng = np.random.default_rng(2)
    counts = (2, 1, 3, 14, 11, 16, 2, 1, 2)
    times = [np.sort(rng.uniform(0, 7200, n)) for n in counts]
    names = [f"visit {k + 1}" for k in range(len(counts))]
    (found,) = corrected([since_visits(times, [7200.0] * 9, range(9), names, Limits())], Limits())
    assert [row.unit for row in found.stretches] == [None, 3, 6] and found.answer == Way.LESS
    assert found.reads.startswith("More often from visit 4") and " until visit 7" in found.reads
    assert found.stretches[1].per_hour == pytest.approx(sum(counts[3:6]) / 6.0)
    # The page of visits heads the channel with a word: what went and came back got neither worse nor better.
    silent = SimpleNamespace(answer="not shown")
    words = [
        change_word(SimpleNamespace(rate=silent, size=silent, levels=(), since=replace(found, stretches=rows, answer=rows[-1].answer)))
        for rows in (found.stretches, found.stretches[:2])
    ]
    assert words == ["worse, then better again", "worse"]


def test_a_daily_rhythm_of_four_days_is_no_change():
    # invented: eight hours of each day bring nine tenths; between two changes lies a whole day
    rng = np.random.default_rng(1)
    t = np.sort(np.concatenate([24 * day + rng.uniform(8, 16, 60) for day in range(4)] + [rng.uniform(0, 96, 24)]))
    assert rate_steps(3600 * t, 96 * 3600.0, falls_from=7200.0, shortest=86400.0).shown(0.0125) == ()


def test_readings_at_another_pace_feign_no_change():
    # invented: a constant 40 per hour of swings of 1.5 s; one reading in 10 s in the first half, one a second in the second
    rng = np.random.default_rng(5)
    when = np.concatenate((np.arange(0.0, 14_400.0, 10.0), np.arange(14_400.0, 28_800.0)))
    left = 0.004 + 3e-4 * rng.standard_normal(when.size)
    for at in rng.uniform(60, 28_700, 320):
        left[(when >= at) & (when < at + 1.5)] += 0.2
    item = assess(flicker.Log.from_arrays(when, {"left": left}, name="two paces")).channel("left")
    assert item.since is None and item.verdict == "noisy"
    assert {item.finding(name).answer for name in ("more often", "larger")} == {"not shown"}
    assert "at more than one pace" in item.finding("more often").reads
    early = np.count_nonzero([row.start_s < 14_400 for row in item.excursions])
    assert early < 0.4 * len(item.excursions)  # the slow half did miss most of them
