"""Simulated benches against independent reckoning: is the truth in the samples, is the noise what it is called?

All benches are invented. Outside the project: numpy and scipy (periodogram, correlation), exact limits of Poisson
counts (Garwood 1936, as quantiles of chi-square from scipy.stats) and of shares (binomial, scipy.stats).
"""

from __future__ import annotations

import csv
import importlib.util
import json
import time
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest
from scipy import signal, stats

from flicker.cli import main
from flicker.simulate import FAMILIES, KINDS, SHAPES, simulate_log

PURE = {"hours": 0.5, "noise_V": 0.0, "resolution_V": 0.0, "settled_V": 0.0, "power_up": False}


def runs_of(mask):
    """First and last (half open) of each stretch of True, sample by sample: no shared code with the product."""
    out, begin = [], None
    for k, value in enumerate([*mask, False]):
        if value and begin is None:
            begin = k
        elif not value and begin is not None:
            out.append((begin, k))
            begin = None
    return out


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_equal_arguments_give_equal_benches_and_another_seed_another(kind):
    one, two, other = (simulate_log(kind, hours=0.2, seed=seed) for seed in (5, 5, 6))
    for run in range(len(one.logs)):
        for channel in one.channels:
            assert np.array_equal(one.values(channel, run), two.values(channel, run))
    assert one.truth.to_dict() == two.truth.to_dict()
    assert any(not np.array_equal(one.values(name), other.values(name)) for name in one.channels)


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_samples_are_level_and_glitches_within_noise_and_half_a_digit_where_the_output_is_seen(kind):
    bench = simulate_log(kind, hours=1.0, seed=3)
    for run, truth in enumerate(bench.truth.runs):
        for name in bench.channels:
            channel, shown = truth[name], bench.values(name, run)
            digit = np.zeros(shown.size)
            for part in channel.ranges:
                digit[(truth.time_s >= part.start_s - 1e-9) & (truth.time_s < part.end_s - 1e-9)] = part.resolution_V
            broad = {"noisy-heavy": 1.0, "noisy-floor": 0.006}.get(kind, 0.0) if channel.bad else 0.0
            allowed = 6.0 * (bench.truth.options["noise_V"] + broad) + 0.5 * digit
            good = channel.seen & np.isfinite(shown)
            off = np.abs(shown - channel.level_V - channel.glitch_V)
            assert good.sum() + (~channel.seen).sum() >= 0.99 * shown.size
            assert np.all(off[good] <= allowed[good])
            hidden = np.zeros(shown.size, dtype=bool)
            for part in channel.stretches:
                hidden |= (truth.time_s >= part.start_s) & (truth.time_s < part.end_s)
            assert np.array_equal(hidden, ~channel.seen)


@pytest.mark.parametrize("shape", SHAPES)
def test_glitches_found_again_by_hand_agree_with_the_truth(shape):
    bench = simulate_log("noisy", shape=shape, length_s=(2.0, 8.0), seed=4, rate_per_h=20.0, **PURE)
    truth, shown, at = bench.truth.runs[0]["left"], bench.values("left"), bench.time_s()
    assert len(truth.excursions) > 4
    for item in truth.excursions:
        inside = (at >= item.start_s - 1e-9) & (at < item.end_s - 1e-9)
        assert inside.sum() == item.samples > 0
        assert np.abs(shown[inside]).max() == pytest.approx(abs(item.peak_V), abs=1e-12)
        alone = all(
            other is item or other.end_s < item.start_s or other.start_s > item.end_s for other in truth.excursions
        )
        if alone:
            assert 0.75 * abs(item.asked_V) < abs(item.peak_V) <= abs(item.asked_V) * (1 + 1e-12)
    covered = np.zeros(at.size, dtype=bool)
    for item in truth.excursions:
        covered |= (at >= item.start_s - 1e-9) & (at < item.end_s - 1e-9)
    assert np.all(shown[~covered] == 0.0)
    assert np.all(bench.values("right") == 0.0)


@pytest.mark.parametrize("seed", range(4))
def test_beyond_gives_what_a_sample_by_sample_rule_with_two_thresholds_finds(seed):
    truth = simulate_log("noisy", seed=seed, rate_per_h=60.0, **PURE).truth.runs[0]["left"]
    found, begin = [], None
    for k, value in enumerate([*np.abs(truth.glitch_V).tolist(), 0.0]):
        if begin is None and value > 0.04:
            begin = k
        elif begin is not None and value <= 0.02:
            found.append((begin, k))
            begin = None
    first, last = truth.beyond(0.04, 0.02)
    assert found == list(zip(first.tolist(), last.tolist(), strict=True))
    assert len(found) > 10


def test_glitches_shorter_than_the_interval_are_caught_as_often_as_chance_says():
    # A glitch of 0.1 s at 2 samples per second falls on a sample with probability 0.2.
    bench = simulate_log("noisy", hours=10.0, episodes=1000, length_s=0.1, shape="rectangular", seed=2)
    caught = int((bench.truth.runs[0]["left"].samples > 0).sum())
    assert stats.binomtest(caught, 1000, 0.2).pvalue > 0.001
    one = simulate_log("noisy", hours=10.0, episodes=1000, length_s=0.5, shape="rectangular", seed=2)
    assert np.all(one.truth.runs[0]["left"].samples >= 1)


# --- noise ----------------------------------------------------------------------------------------------------------


def pure_noise(kind="steady", seed=1, n_hours=8.0, **more):
    bench = simulate_log(kind, hours=n_hours, resolution_V=0.0, settled_V=0.0, power_up=False, seed=seed, **more)
    return bench.values("left"), bench.values("right")


def test_ar1_noise_has_the_correlation_and_sigma_it_claims():
    r, sigma = [], []
    for seed in range(10):
        x, _ = pure_noise(noise="ar1", noise_V=0.001, seed=seed)
        r.append(np.corrcoef(x[:-1], x[1:])[0, 1])
        sigma.append(x.std())
    # standard error of r: sqrt((1 - r^2) / n) = 0.001 a log, of sigma about 1.2 % a log
    assert np.mean(r) == pytest.approx(0.97, abs=0.0015)
    assert np.mean(sigma) == pytest.approx(0.001, rel=0.02)


@pytest.mark.parametrize("noise", ["flicker", "flicker-relaxations"])
@pytest.mark.parametrize("exponent", [0.8, 1.0, 1.2])
def test_flicker_noise_has_its_spectral_slope_from_either_generator(noise, exponent):
    slopes, sigma = [], []
    for seed in range(8):
        x, _ = pure_noise(noise=noise, exponent=exponent, noise_V=0.001, seed=seed)
        f, p = signal.welch(x, fs=2.0, nperseg=8192, detrend="linear")
        bins = np.geomspace(1e-3, 0.2, 16)
        place = np.digitize(f, bins)
        level = [np.log(p[place == k].mean()) for k in range(1, bins.size)]
        middle = np.log(np.sqrt(bins[:-1] * bins[1:]))
        slopes.append(-np.polyfit(middle, level, 1)[0])
        sigma.append(x.std())
    assert np.mean(slopes) == pytest.approx(exponent, abs=0.05)
    assert np.mean(sigma) == pytest.approx(0.001, rel=0.15)


def test_white_noise_is_gaussian_and_the_two_channels_are_independent():
    left, right = pure_noise(noise_V=0.0004, n_hours=4.0)
    assert stats.kstest(left / 0.0004, "norm").pvalue > 0.001
    assert abs(np.corrcoef(left, right)[0, 1]) < 4.0 / np.sqrt(left.size)
    assert abs(np.corrcoef(left[1:], left[:-1])[0, 1]) < 4.0 / np.sqrt(left.size)


def test_heavy_floor_has_its_robust_sigma_and_heavy_tails():
    x, quiet = pure_noise("noisy-heavy", floor_V=0.008)
    assert stats.median_abs_deviation(x, scale="normal") == pytest.approx(0.008, rel=0.03)
    # Share of Student-t with 3 degrees of freedom beyond 40 mV, scaled to the same quartiles.
    scale = 0.008 * stats.norm.ppf(0.75) / stats.t.ppf(0.75, 3)
    share = 2.0 * stats.t.sf(0.040 / scale, 3)
    assert np.mean(np.abs(x) > 0.040) == pytest.approx(share, rel=0.15)
    assert np.abs(quiet).max() < 0.003


def test_popcorn_dwells_as_long_as_asked():
    bench = simulate_log(
        "noisy-popcorn",
        hours=24.0,
        jump_V=0.02,
        dwell_low_s=30.0,
        dwell_high_s=90.0,
        seed=1,
        **{key: value for key, value in PURE.items() if key != "hours"},
    )
    high = bench.values("left") > 0.01
    stretches = runs_of(high.tolist())
    lengths = np.array([last - first for first, last in stretches[1:-1]]) * 0.5
    # Mean of k exponential dwell times: relative standard error 1 / sqrt(k); short dwells between samples are missed.
    assert lengths.mean() == pytest.approx(90.0, rel=4.0 / np.sqrt(lengths.size))
    assert high.mean() == pytest.approx(0.75, abs=0.06)


# --- arrivals -------------------------------------------------------------------------------------------------------


def test_poisson_glitches_have_the_mean_and_variance_of_a_poisson_count():
    counts = np.array(
        [len(simulate_log("noisy", hours=1.0, rate_per_h=6.0, seed=k).truth.excursions("left")) for k in range(400)]
    )
    exposure = 400 * (3600.0 - 90.0 - 2.0) / 3600.0
    low, high = stats.chi2.ppf([0.0005, 0.9995], [2 * counts.sum(), 2 * counts.sum() + 2]) / 2.0 / exposure
    assert low < 6.0 < high
    chi2 = (counts.size - 1) * counts.var(ddof=1) / counts.mean()
    assert 0.001 < stats.chi2.sf(chi2, counts.size - 1) < 0.999


@pytest.mark.parametrize(
    ("kind", "law"),
    [
        ("noisy", lambda u: u),
        ("degrading", lambda u: u**3),
        ("degrading-size", lambda u: u),
        ("heat", lambda u: u**2),
    ],
)
def test_arrivals_follow_the_law_of_their_kind(kind, law):
    places = []
    for seed in range(40):
        bench = simulate_log(kind, hours=2.0, runs=1, seed=seed)
        places.append((bench.truth.runs[0]["left"].start_s - 90.0) / (7200.0 - 92.0))
    assert stats.kstest(law(np.concatenate(places)), "uniform").pvalue > 0.001
    if kind.startswith("degrading"):
        sizes = [place.size for place in places]
        assert min(sizes) >= 18 and max(sizes) <= 40


def test_sizes_grow_ninefold_and_bursts_cluster():
    grown = simulate_log("degrading-size", seed=2, size_V=0.06, shape="rectangular", episodes=40).truth.runs[0]["left"]
    fit = np.polyfit((grown.start_s - 90.0) / (14400.0 - 92.0), np.log(np.abs(grown.asked_V)), 1)
    assert np.exp(fit[0]) == pytest.approx(9.0, rel=1e-6)
    counts = []
    for seed in range(40):
        start = (
            simulate_log("noisy-bursts", hours=4.0, seed=seed, burst_size=3.0, gap_s=5.0).truth.runs[0]["left"].start_s
        )
        counts.append(np.histogram(start, np.arange(90.0, 14400.0, 300.0))[0])
    counts = np.concatenate(counts)
    # Counts of a cluster process with geometric sizes of mean m: variance over mean 2 m - 1 = 5 where windows are long.
    assert 3.0 < counts.var() / counts.mean() < 6.0


def test_ageing_compares_runs_and_heat_repeats_in_each():
    visits = [simulate_log("degrading-visits", seed=seed).truth for seed in range(10)]
    per_run = np.array([[len(run["left"].start_s) for run in truth.runs] for truth in visits]).sum(axis=0)
    growth = np.exp(np.polyfit(np.arange(5), np.log(per_run), 1)[0])
    assert growth == pytest.approx(1.8, rel=0.15)
    hot = [simulate_log("heat", seed=seed).truth for seed in range(10)]
    same = np.array([[len(run["left"].start_s) for run in truth.runs] for truth in hot]).sum(axis=0)
    assert stats.chisquare(same).pvalue > 0.001


def test_ageing_is_from_visit_to_visit_and_not_within_one():
    # What was put in: 2.2 times more at each of three visits, alike in both power-ups of each, even within them.
    benches = [simulate_log("ageing", seed=seed, rate_hz=0.5, level_V=0.004) for seed in range(12)]
    counts = np.array([[len(run["left"].start_s) for run in bench.truth.runs] for bench in benches]).sum(axis=0)
    expected = np.repeat(4.0 * 2.2 ** np.arange(3), 2) * 12 * (3600.0 - 92.0) / 3600.0
    assert stats.chi2.sf(np.sum((counts - expected) ** 2 / expected), 6) > 0.001
    places = np.concatenate([run["left"].start_s for bench in benches for run in bench.truth.runs])
    assert stats.kstest((places - 90.0) / 3508.0, "uniform").pvalue > 0.001
    visits = benches[0].visits()
    assert [date.isoformat() for date, _ in visits] == ["2031-03-03", "2031-06-09", "2031-09-15"]
    assert [len(part.logs) for _, part in visits] == [2, 2, 2]
    assert all(part.truth.runs[1].start - part.truth.runs[0].start < timedelta(days=1) for _, part in visits)
    settled = [np.mean([run["left"].settled_V for run in part.truth.runs]) for _, part in visits]
    assert np.diff(settled) == pytest.approx([0.004, 0.004], abs=0.001)
    assert not any(len(run["right"].start_s) for run in benches[0].truth.runs)
    assert [len(part.logs) for _, part in simulate_log("noisy", runs=3, hours=0.1).visits()] == [3]


def test_visits_are_written_one_file_each(tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert main(["simulate", "ageing", "unit.csv", "--hours", "0.1", "--rate", "1"]) == 0
    said = capsys.readouterr().out.splitlines()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["unit-1.csv", "unit-2.csv", "unit-3.csv"]
    words = said[-1].removeprefix("Judge it with: flicker ").split()
    assert main([*words, "--json"]) == 0
    assert [visit["date"] for visit in json.loads(capsys.readouterr().out)["visits"]] == words[2::3]


# --- what the kinds promise -----------------------------------------------------------------------------------------


def settled(bench, channel="left", run=0):
    at, shown = bench.time_s(run), bench.values(channel, run)
    return shown[at > 300.0]


@pytest.mark.parametrize("seed", range(5))
def test_drifts_move_as_far_as_they_say(seed):
    quiet = {"noise_V": 0.00002, "seed": seed}
    line = settled(simulate_log("drifting", **quiet))
    assert abs(np.mean(line[-1000:]) - np.mean(line[:1000])) == pytest.approx(0.030, rel=0.10)
    bench = simulate_log("drifting-step", **quiet)
    change = bench.truth.runs[0]["left"].changes[0]
    after = settled(bench)[bench.time_s()[bench.time_s() > 300.0] >= change.time_s]
    assert abs(np.median(after) - settled(bench)[0]) == pytest.approx(0.025, rel=0.02)
    assert np.ptp(simulate_log("drifting-walk", power_up=False, **quiet).values("left")) == pytest.approx(
        0.060, rel=0.02
    )
    assert np.ptp(settled(simulate_log("drifting-walk", **quiet), "right")) < 0.001


def test_the_classic_log_reads_as_told():
    # Facts of the trade (common practice, no source): surge near 80 mV falling to 13 mV within a minute, then swings.
    bench = simulate_log("classic", seed=3)
    at, shown = bench.time_s(), bench.values("left") * 1e3
    assert at[-1] == pytest.approx(120.0, abs=0.5)
    assert shown[0] == pytest.approx(80.0, abs=3.0)
    assert np.median(shown[(at > 50) & (at < 60)]) == pytest.approx(13.0, abs=1.5)
    extremes = [(60, 72, -85, None), (76, 86, 130, -50), (90, 101, -150, 100), (105, 115, 95, -60)]
    for low, high, first, second in extremes:
        part = shown[(at > low) & (at < high)]
        assert (part.min() if first < 0 else part.max()) == pytest.approx(first, abs=3.0)
        if second is not None:
            assert (part.max() if first < 0 else part.min()) == pytest.approx(second, abs=3.0)
    assert np.ptp(bench.values("right")[at > 60.0]) < 0.005


def test_relay_opens_at_three_quarters_of_a_volt_and_closes_four_seconds_after():
    bench = simulate_log("relay", seed=2, noise_V=0.0)
    run = bench.truth.runs[0]
    shown = bench.values("left")
    assert np.abs(shown[run.time_s > 60.0][run.time_s[run.time_s > 60.0] < 240.0]).max() < 0.040
    beyond = runs_of((np.abs(shown) >= 0.75).tolist())
    expected = []
    for first, last in beyond:
        if expected and run.time_s[first] <= expected[-1][1]:
            expected[-1][1] = run.time_s[last] + 4.0
        else:
            expected.append([run.time_s[first] + 0.1, run.time_s[last] + 4.0])
    assert np.allclose(run.relay_open_s, expected, atol=1e-6)
    assert len(run.relay_open_s) == 3
    for peak in (-0.9, 3.0, -2.0, 5.0, 6.0):
        assert np.abs(shown - peak).min() < 0.04 * abs(peak) + 0.02


def test_behind_an_open_relay_nothing_of_the_fault_is_seen():
    bench = simulate_log("relay-speaker-side", seed=2)
    run = bench.truth.runs[0]
    for name in bench.channels:
        shown = bench.values(name)
        for start, end in run.relay_open_s:
            inside = (run.time_s >= start) & (run.time_s < end)
            assert inside.any() and np.abs(shown[inside]).max() < 0.025
            assert not run[name].seen[inside].any()
    large = [item for item in run["left"].excursions if abs(item.asked_V) > 0.8]
    assert large and all(item.cut for item in large)
    closed = simulate_log("relay-never-closes", seed=2)
    assert not closed.truth.runs[0]["left"].seen.any()


def test_lost_leads_and_sleeping_meters_stop_living_where_the_truth_says():
    shorted = simulate_log("lead-shorted", seed=1, away_s=1200.0)
    start, end = (getattr(shorted.truth.runs[0]["left"].stretches[0], name) for name in ("start_s", "end_s"))
    at, shown = shorted.time_s(), shorted.values("left")
    assert end - start == pytest.approx(1200.0)
    assert np.abs(shown[(at >= start) & (at < end)]).max() <= 0.0001
    asleep = simulate_log("meter-repeats", seed=1)
    part = asleep.truth.runs[0]["left"].stretches[0]
    shown = asleep.values("left")[asleep.time_s() >= part.start_s]
    assert shown.size > 1000 and np.all(shown == shown[0])
    assert np.unique(asleep.values("left")[asleep.time_s() < part.start_s]).size > 10
    floating = simulate_log("lead-off", seed=1, pick_up_V=0.020)
    part = floating.truth.runs[0]["left"].stretches[0]
    assert np.std(floating.values("left")[floating.time_s() >= part.start_s]) > 5 * 0.0004


def test_timer_nights_switch_every_channel_and_tell_cold_from_warm():
    bench = simulate_log("timer-nights", seed=1)
    for name in bench.channels:
        channel = bench.truth.runs[0][name]
        off = [part for part in channel.stretches if part.state == "off"]
        assert len(channel.power_ups) == len(off) == 4
        assert [up.time_s for up in channel.power_ups[1:]] == pytest.approx([part.end_s for part in off[:3]])
        at, shown = bench.time_s(), bench.values(name)
        for part in off:
            assert np.abs(shown[(at > part.start_s + 120.0) & (at < part.end_s)]).max() <= 0.0002
            assert np.abs(shown[(at >= part.start_s) & (at < part.start_s + 2.0)]).max() > 0.02
        for up in channel.power_ups:
            early = shown[np.searchsorted(at, up.time_s)]
            assert early - up.settled_V == pytest.approx(
                up.surge_V * np.exp((up.time_s - at[np.searchsorted(at, up.time_s)]) / up.tau_s), abs=0.003
            )
    noisy = simulate_log("timer-nights-noisy", seed=1).truth.runs[0]["left"]
    assert len(noisy.excursions) > 8
    assert all(item.samples > 0 and not item.cut for item in noisy.excursions)


def test_marks_stand_where_the_hands_were():
    trimmed, silent = (simulate_log(kind, seed=4) for kind in ("trimmed", "trimmed-unmarked"))
    changes = trimmed.truth.runs[0]["left"].changes
    assert abs(sum(change.step_V for change in changes)) == pytest.approx(0.030)
    (mark,) = trimmed.truth.marks
    assert mark.kind == "adjusted" and mark.until_s is not None
    assert all(mark.time_s < change.time_s < mark.until_s for change in changes)
    assert silent.truth.marks == () and np.array_equal(silent.values("left"), trimmed.values("left"))
    taps = simulate_log("taps", seed=4)
    start = taps.truth.runs[0]["left"].start_s
    assert len(taps.truth.marks) == 10 and start.size == 9
    for mark in taps.truth.marks:
        near = ((start > mark.time_s) & (start < mark.time_s + 1.0)).any()
        assert near == mark.answered


def test_ranges_show_their_last_digit():
    bench = simulate_log("range-change", seed=2)
    fine, coarse = bench.truth.runs[0]["left"].ranges
    at, shown = bench.time_s(), bench.values("left") * 1e3
    before, after = shown[at < fine.end_s - 0.25], shown[at >= coarse.start_s]
    assert np.allclose(after, np.round(after), atol=1e-9) and np.unique(after).size < 8
    assert np.unique(before).size > 100 and np.allclose(before, np.round(before, 2), atol=1e-9)


def test_common_events_hit_all_channels_at_once_and_volts_decide_fitness():
    common = simulate_log("mains-common", seed=3, channels=("left", "right", "centre")).truth.runs[0]
    starts = [common[name].start_s for name in ("left", "right", "centre")]
    assert starts[0].size > 2 and all(np.array_equal(starts[0], other) for other in starts)
    worst = {
        kind: simulate_log(kind, seed=3).truth.runs[0] for kind in ("stuck-high", "stuck-low", "single-swing", "steady")
    }
    assert worst["stuck-high"]["left"].fitness_V == pytest.approx(40.0, abs=0.1)
    assert worst["stuck-low"]["left"].fitness_V == pytest.approx(0.9, abs=0.01)
    assert worst["single-swing"]["left"].fitness_V > 4.0
    for run in worst.values():
        assert run["right"].fitness_V < 0.03


def test_only_bad_channels_are_bad_and_a_fault_leaves_their_noise_alone():
    names = ("one", "two", "three")
    bench = simulate_log("noisy", channels=names, bad=("two",), seed=9)
    sound = simulate_log("steady", channels=names, bad=("two",), seed=9)
    counts = [len(bench.truth.excursions(name)) for name in names]
    assert counts[1] > 5 and counts[0] == counts[2] == 0
    for name in names:
        quiet = bench.truth.runs[0][name].glitch_V == 0.0
        assert np.array_equal(bench.values(name)[quiet], sound.values(name)[quiet])


def test_jitter_and_gaps_are_in_the_time_axis():
    step = np.diff(simulate_log("steady-jitter", seed=2).time_s())
    assert step.min() > 0.05 and step.max() < 0.95 and step.std() > 0.1
    bench = simulate_log("steady-gappy", seed=2)
    run = bench.truth.runs[0]
    assert 8 <= len(run.gaps_s) <= 12
    missing = sum(high - low for low, high in run.gaps_s)
    assert run.time_s.size + missing * 2.0 == pytest.approx(4 * 3600 * 2, abs=2)


def test_a_long_pause_of_the_logger_is_two_runs_with_one_power_up():
    bench = simulate_log("logger-pause", seed=2)
    (gap,) = bench.truth.runs[0].gaps_s
    assert gap[1] - gap[0] == pytest.approx(1200.0, abs=1.0)
    assert len(bench.logs[0].runs) == 2  # a pause beyond the 600 s of the command line's contract
    after = bench.values("left")[bench.time_s() >= gap[1]]
    assert np.abs(after[:100] - np.median(after)).max() < 6 * 0.0004 and len(bench.truth.runs[0]["left"].power_ups) == 1


def test_legs_of_a_bridged_output_cancel_and_heavy_tailed_bursts_have_heavy_tails():
    bench = simulate_log("bridged", seed=2)
    quiet = (bench.truth.runs[0]["left"].glitch_V == 0.0) & (bench.time_s() > 300.0)
    legs = bench.values("left")[quiet], bench.values("right")[quiet]
    assert (
        np.ptp(legs[0]) > 0.09 and np.ptp(legs[0] - legs[1]) < 0.006 and legs[0].mean() == pytest.approx(12.0, abs=0.05)
    )
    most = [
        max(np.histogram(simulate_log("noisy-bursts", seed=k, gap_s=2.0, **more).truth.runs[0]["left"].start_s, 48)[0])
        for more in ({"burst_size": 2.0}, {"tail": 1.2})
        for k in range(20)
    ]
    assert max(most[20:]) > 3 * max(most[:20])


# --- files ----------------------------------------------------------------------------------------------------------


def table(path):
    with open(path, newline="", encoding="utf-8") as file:
        rows = list(csv.reader(file))
    return rows[0], rows[1:]


def test_written_file_holds_the_samples(tmp_path):
    bench = simulate_log("auto-range", hours=0.5, seed=5, rate_per_h=60.0)
    (path,) = bench.write(tmp_path / "bench.csv")
    head, rows = table(path)
    assert head == ["time_s", "left_mV", "right_mV"]
    assert np.array_equal([float(row[0]) for row in rows], bench.time_s())
    over = {"OL": np.inf, "-OL": -np.inf}
    left = np.array([over[row[1]] if row[1] in over else float(row[1]) * 1e-3 for row in rows])
    assert np.isinf(left).any()
    assert np.array_equal(np.isinf(left), np.isinf(bench.values("left")))
    good = np.isfinite(left)
    assert np.allclose(left[good], bench.values("left")[good], rtol=0, atol=1e-12)


def test_several_runs_go_to_one_file_or_to_one_each(tmp_path):
    bench = simulate_log("warm-up", hours=0.2, runs=3, seed=1)
    (path,) = bench.write(tmp_path / "all.csv", time="iso")
    head, rows = table(path)
    assert head == ["run", "time", "left_mV", "right_mV"]
    assert [row[0] for row in rows] == [str(k + 1) for k in range(3) for _ in range(1440)]
    assert rows[0][1] == "2031-03-03T18:30:00.000" and rows[1440][1] == "2031-03-04T14:42:00.000"
    parts = bench.write(tmp_path / "each.csv", split=True)
    assert [part.name for part in parts] == ["each-1.csv", "each-2.csv", "each-3.csv"]
    assert all(table(part)[1][0][0] == "0.0" for part in parts)
    taps = simulate_log("taps", hours=0.5, seed=1)
    _, marks = taps.write(tmp_path / "taps.csv")
    head, rows = table(marks)
    assert head == ["time", "kind", "channel", "until", "text"] and len(rows) == 10
    assert [float(row[0]) for row in rows] == [mark.time_s for mark in taps.truth.marks]


def test_a_failed_write_leaves_nothing_behind(tmp_path, monkeypatch):
    import errno
    import os

    bench = simulate_log("warm-up", hours=0.1, runs=2, seed=1)
    (tmp_path / "b-1.csv").write_text("older")
    calls = []

    def broken(handle):
        calls.append(handle)
        if len(calls) == 2:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        real(handle)

    real = os.fsync
    monkeypatch.setattr(os, "fsync", broken)
    with pytest.raises(ValueError, match=r"b-2\.csv: the simulated log cannot be written \(No space left"):
        bench.write(tmp_path / "b.csv", split=True)
    assert [path.name for path in tmp_path.iterdir()] == ["b-1.csv"]
    assert (tmp_path / "b-1.csv").read_text() == "older"


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ({"kind": "wobbly"}, "kind must be one of 'steady'"),
        (
            {"kind": "noisy", "drift_V": 0.1},
            "drift_V is no option of the kind 'noisy'; its options: rate_per_h, episodes",
        ),
        ({"kind": "noisy", "rate_per_h": -1.0}, "rate_per_h must be a number, finite and 0 or more, got -1.0"),
        ({"bad": ["centre"]}, "bad must be one of 'left', 'right', got 'centre'"),
        ({"hours": 0.0}, "hours must be hours, finite and above 0"),
        ({"hours": 0.001}, "hours must be 30 seconds or more"),
        ({"hours": 1e6}, "under 2e\\+08 samples"),
        ({"rate_hz": float("nan")}, "rate_hz must be"),
        ({"jitter": 1.0}, "jitter must be a share"),
        ({"size_V": (0.2, 0.1)}, "size_V must be a number or \\(low, high\\)"),
        ({"channels": ["a", "a"]}, "channels must be one or more different names"),
        ({"seed": -1}, "seed must be"),
    ],
)
def test_a_wrong_argument_is_named_with_what_is_allowed(arguments, words):
    with pytest.raises(ValueError, match=words):
        simulate_log(**arguments)


def test_every_kind_has_a_line_and_a_family():
    assert set(KINDS) == set(FAMILIES)
    assert all(10 < len(text) < 110 and "\n" not in text for text in KINDS.values())


def test_calibration_logs_are_cheap():
    # 4 h at 2 samples per second, two channels: 20 ms of processor time asked, the least of ten turns.
    for kind in ("steady", "steady-flicker", "degrading", "noisy-bursts"):
        least = np.inf
        for seed in range(10):
            begin = time.process_time()
            simulate_log(kind, seed=seed)
            least = min(least, time.process_time() - begin)
            if least < 0.020:
                break
        assert least < 0.020


# --- demo data ------------------------------------------------------------------------------------------------------


def demo_maker():
    script = Path(__file__).parent / "studies" / "make_demo_data.py"
    spec = importlib.util.spec_from_file_location("make_demo_data", script)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module, script.parents[2] / "demo_data"


@pytest.mark.parametrize(
    "name", ["two_minutes.csv", "relay.csv", "a45_2_reseated_1.csv", "m22_taps.csv", "m22_taps.marks.csv"]
)
def test_demo_data_are_made_again_byte_for_byte(name, tmp_path):
    maker, folder = demo_maker()
    maker.make(name.replace(".marks", ""), tmp_path)
    assert (tmp_path / name).read_bytes() == (folder / name).read_bytes()


def test_demo_data_tell_their_story_and_stay_small():
    maker, folder = demo_maker()
    assert {path.name for path in folder.glob("*.csv")} >= set(maker.FILES)
    assert sum((folder / name).stat().st_size for name in maker.FILES) < 4_100_000
    readme = (folder / "README.md").read_text(encoding="utf-8")
    for name in maker.STARTS:
        bench = maker.bench(name)
        counts = [len(bench.truth.excursions(channel)) for channel in ("left", "right")]
        assert counts[1] == 0 and (counts[0] == 0) == ("replaced" in name)
        (row,) = [line for line in readme.splitlines() if f"| {name} |" in line]
        assert row.endswith(f"| {counts[0]} | {counts[1]} |")
