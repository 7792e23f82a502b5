"""The makers of the danger study themselves: what they say is true of their arrays, and files hold the same volts.

The bounds are the study's own statements (docstrings of `danger_sound.py`, `danger_bench.py`, `more_faults.py`): common
practice, no source; all data are invented.
"""

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent / "studies"))
import danger_bench as bench
import more_faults

import flicker

KINDS = [*bench.SOUND, *bench.UNSCORED]


def settled(made, name):
    """Medians over 10 minutes of a channel, from 10 minutes after each switch-on."""
    out = []
    for up in made.power_ups:
        run = made.runs[up.run]
        t = run["time_s"][up.begin : up.end] - run["time_s"][up.begin]
        v = run["channels"][name][up.begin : up.end]
        out += [np.nanmedian(v[(t >= a) & (t < a + 600)]) for a in np.arange(600, t[-1] - 600, 600)]
    return np.array(out)


@pytest.mark.parametrize("kind", list(bench.SOUND))
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_sound_log_is_sound(kind, seed):
    made = bench.sound_log(kind, seed)
    assert made.truth.says == "sound" and made.truth.dangerous == () and made.scored
    for up in made.power_ups:
        t = made.runs[up.run]["time_s"][up.begin : up.end]
        assert t[-1] - t[0] >= 3.5 * 3600
        assert np.diff(t).min() > 0 and np.diff(t).max() <= 30.001
    for name in made.names:
        levels = settled(made, name)
        assert np.abs(levels).max() < 0.045  # rest within 35 mV, and what it moves by beside
        assert np.ptp(levels) < 0.020
        for up in made.power_ups:
            v = made.runs[up.run]["channels"][name][up.begin + (up.end - up.begin) // 3 : up.end]
            assert np.nanstd(np.diff(v)) / np.sqrt(2) < 0.0025
            assert np.nanmax(np.abs(v)) < 0.050


@pytest.mark.parametrize("kind", KINDS)
def test_files_hold_the_same_volts(kind, tmp_path):
    made = bench.sound_log(kind, 5)
    for run, path in zip(made.runs, made.to_files(tmp_path), strict=True):
        frame = flicker.read_log(path).to_frame()
        assert {str(c).split(" ")[0] for c in frame.columns} >= {name.split(" ")[0] for name in made.names}
        for column in frame.columns.drop(["run", "time_s"]):
            name = next(n for n in made.names if column.startswith(n))
            np.testing.assert_allclose(frame[column].to_numpy(), run["channels"][name], atol=1e-9, equal_nan=True)


def test_the_same_seed_draws_the_same_log():
    a, b, c = (bench.sound_log("room", seed) for seed in (4, 4, 5))
    assert np.array_equal(a.runs[0]["channels"]["left"], b.runs[0]["channels"]["left"])
    assert a.runs[0]["channels"]["left"].size != c.runs[0]["channels"]["left"].size


@pytest.mark.parametrize("form", list(bench.FORMS))
def test_a_danger_is_in_the_channels_it_names_and_nowhere_else(form):
    made = bench.FORMS[form]
    sound = bench.sound_log("ups_in_files" if made.several else "surge", 11)
    size = 3 * made.sure_V
    channels = "all" if made.together else "left"  # glitches of one reading are drawn too, and are not beyond doubt
    tries = (bench.add_danger(sound, form, size, made.places[0], channels, seed) for seed in range(7, 17))
    out = next(one for one in tries if one.truth.unambiguous)
    danger = out.truth.dangers[0]
    assert out.truth.says == "unsound" and out.truth.dangerous == danger.channels
    assert danger.touched >= made.least
    assert sound.truth.says == "sound"  # the sound log stays as it was
    most, lacking, spread = 0.0, 0, 0.0
    for before, after in zip(sound.runs, out.runs, strict=True):
        same = np.isin(before["time_s"], after["time_s"]) if after["time_s"].size < before["time_s"].size else slice(None)
        for name in out.names:
            a, b = before["channels"][name][same], after["channels"][name]
            if name not in danger.channels:
                assert np.array_equal(a, b[: a.size], equal_nan=True)
                continue
            lacking += int(np.sum(~np.isfinite(b)) - np.sum(~np.isfinite(a)))
            moved = np.abs(b - a)[np.isfinite(b - a)]
            most, spread = max(most, moved.max()), max(spread, moved.std())
    if form in ("blanks", "over_range"):
        assert lacking == pytest.approx(danger.touched, abs=0.3 * danger.touched)  # stretches may overlap
    elif form in ("white_too_loud", "one_over_f_too_loud"):
        assert 0.8 * size < spread * 1.66 < 1.2 * size  # std of |normal| is 0.603 of sigma (half-normal law)
    elif form == "noise_bursts":
        assert 2.5 * size < most < 6 * size
    elif form == "levels_by_power_up":
        assert most == pytest.approx(size / 2, rel=0.02)
    else:
        assert 0.6 * size < most < 1.6 * size


@pytest.mark.parametrize(
    ("form", "kind"), [("over_range", "dated"), ("blanks", "white"), ("gap_step", "ups_off"), ("step", "more_channels")]
)
def test_files_of_dangers_hold_the_same_volts(form, kind, tmp_path):
    made = bench.add_danger(bench.sound_log(kind, 2), form, 0.7, "whole", "one", 3)
    for run, path in zip(made.runs, made.to_files(tmp_path), strict=True):
        frame = flicker.read_log(path).to_frame()
        for column in frame.columns.drop(["run", "time_s"]):
            name = next(n for n in made.names if column.startswith(n))
            np.testing.assert_allclose(frame[column].to_numpy(), run["channels"][name], atol=1e-9, equal_nan=True)


def test_a_form_refuses_a_place_that_it_does_not_have():
    with pytest.raises(ValueError, match="several power-ups"):
        bench.add_danger(bench.sound_log("quiet", 1), "levels_by_power_up", 1.0, "whole", "one", 1)
    with pytest.raises(ValueError, match="stands at last"):
        bench.add_danger(bench.sound_log("quiet", 1), "dies", 1.0, "first", "one", 1)


def test_three_of_four_draws_are_large_enough_to_be_beyond_doubt():
    drawn = [bench.draw_danger(form, seed).truth for form in ("step", "ramp", "constant") for seed in range(12)]
    sure = sum(truth.unambiguous for truth in drawn)
    assert 19 <= sure <= 34  # 27 of 36 expected; outside with a chance below 1 % (binomial)
    assert all(truth.dangers[0].size_V < bench.FORMS[truth.dangers[0].form].sure_V for truth in drawn if not truth.unambiguous)


def complaints(made, name):
    """What a technician reads off the strip with a ruler: limits of common practice, nothing of the program's."""
    out, levels = set(), []
    for up in made.power_ups:
        run = made.runs[up.run]
        v = run["channels"][name][up.live : up.end]
        dt = np.median(np.diff(run["time_s"][up.live : up.end]))
        since = np.arange(v.size) * dt
        out |= {"blank or over range"} if np.sum(~np.isfinite(v)) >= 10 or np.isinf(v).sum() >= 3 else set()
        since, v = since[np.isfinite(v)], v[np.isfinite(v)]
        out |= {"volts"} if np.sum(np.abs(v) > 0.3) >= 2 or np.abs(v).max() > 1.9 else set()
        out |= {"away from rest"} if np.sum((np.abs(v - np.median(v)) > 0.06) & (since > 20)) >= 3 else set()
        late, width = v[since > 120], max(3, int(300 / dt))
        strips = late[: late.size // width * width].reshape(-1, width)
        middle = np.median(strips, axis=1)
        levels += list(middle)
        off = np.abs(strips - middle[:, None])
        out |= {"level"} if np.abs(middle).max() > 0.05 else set()
        out |= {"noise"} if np.max(1.4826 * np.median(off, axis=1)) > 0.003 else set()
        out |= {"swings"} if np.sum(np.diff((off > 0.04).ravel().astype(int)) > 0) >= 3 else set()
    return out | ({"movement"} if np.ptp(levels) > 0.03 else set())


@pytest.mark.parametrize("form", list(bench.FORMS))
def test_what_is_called_beyond_doubt_can_be_seen_with_a_ruler(form):
    drawn = [made for made in (bench.draw_danger(form, seed) for seed in range(4)) if made.truth.unambiguous]
    assert drawn
    for made in drawn:
        assert all(complaints(made, name) for name in made.truth.dangerous), made.truth


@pytest.mark.parametrize("kind", list(bench.SOUND))
def test_a_ruler_finds_nothing_in_a_sound_log(kind):
    made = bench.sound_log(kind, 6)
    assert not any(complaints(made, name) for name in made.names)


@pytest.mark.parametrize("kind", more_faults.KINDS)
@pytest.mark.parametrize("seed", [1, 2, 3, 4])
def test_truth_of_more_faults(kind, seed):
    t, channels, truth = more_faults.make(kind, seed)
    assert np.diff(t).min() > 0 and 3500 < t[-1] <= 7 * 86400 and np.median(np.diff(t)) <= 30.0
    assert all(np.isfinite(v).all() and v.size == t.size for v in channels.values())
    assert truth and all(name in channels and t[0] <= a < b <= t[-1] for name, a, b, _ in truth)
    assert {sort for *_, sort in truth} == ({"fault"} if kind in more_faults.FAULTS else {"dead"})
    twin = more_faults.make(kind, seed, healthy=True)[1]
    for name, v in channels.items():
        inside = np.zeros(t.size, bool)
        for other, a, b, _ in truth:
            inside |= (t >= a) & (t <= b) & (other == name)
        if kind != "timer":  # which brings a new thump after each stretch
            assert np.array_equal(v[~inside], twin[name][~inside])
        if inside.any():
            assert not np.array_equal(v[inside], twin[name][inside])
