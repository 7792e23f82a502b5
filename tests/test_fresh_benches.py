"""The makers of the fresh benches: the same seed gives the same log, of the shape promised, and the truth holds."""

from __future__ import annotations

import sys
from functools import cache
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent / "studies"))

import fresh_asleep as asleep
import fresh_benches as benches
import fresh_dangers as dangers
import fresh_growth as growth
import fresh_logger_files as files
import fresh_states as states


def same(a: dangers.BenchLog, b: dangers.BenchLog) -> bool:
    return (
        np.array_equal(a.time_s, b.time_s)
        and a.truth == b.truth
        and a.readings_V.keys() == b.readings_V.keys()
        and all(np.array_equal(v, b.readings_V[k], equal_nan=True) for k, v in a.readings_V.items())
    )


def shaped(log: dangers.BenchLog) -> None:
    assert 1 <= len(log.readings_V) <= 3
    assert np.all(np.diff(log.time_s) > 0)
    assert all(v.shape == log.time_s.shape for v in log.readings_V.values())
    assert sum(len(f["time"]) for f in log.files()) == log.time_s.size  # type: ignore[arg-type]
    assert min(len(f["time"]) for f in log.files()) >= 10  # type: ignore[arg-type]


@pytest.mark.parametrize("kind", dangers.SOUND_KINDS)
def test_sound_logs_are_sound_by_the_technicians_rule(kind: str) -> None:
    log = dangers.sound_log(kind, 11)
    assert same(log, dangers.sound_log(kind, 11))
    assert not same(log, dangers.sound_log(kind, 12))
    shaped(log)
    assert log.truth.sound
    assert log.time_s[-1] > 3.5 * 3600
    assert np.median(np.diff(log.time_s)) <= 30.1
    for v in log.unclipped_V.values():
        assert not dangers.refuses(log.time_s, v, log.time_s)
        assert np.abs(v[log.time_s > 1200]).max() < 0.05


@pytest.mark.parametrize("form", dangers.DANGERS)
def test_dangers_reach_their_size_where_they_are_said_to_be(form: str) -> None:
    log = dangers.danger_log(form, 21, 12.0)
    assert same(log, dangers.danger_log(form, 21, 12.0))
    shaped(log)
    assert not log.truth.sound
    reached = max(float(np.abs(log.unclipped_V[n]).max()) for n in log.truth.channels)
    # Averaging meters, cadences of 30 s and exponentials cut short may hide most of a short one, never of a long one.
    short = {"short_train", "single_pulse", "mains_borne", "rail_fuse", "protection_cycling", "motorboating",
             "oscillation", "dies_dead"}  # fmt: skip
    assert reached <= 12.2
    if form not in short:
        assert reached > 2.0
        assert log.truth.beyond_doubt
    inside = (log.time_s >= log.truth.from_s - 35) & (log.time_s <= log.truth.to_s + 35)
    if form not in {"dies_dead"}:
        for n in log.truth.channels:
            assert np.abs(log.unclipped_V[n][~inside & (log.time_s > 10)]).max(initial=0.0) < 0.7


def test_a_restart_leaves_no_file_too_short_to_read() -> None:
    for seed in range(30):
        shaped(dangers.danger_log("restart_in_fault", seed))


def test_small_dangers_are_not_beyond_doubt_and_large_ones_are() -> None:
    assert not dangers.danger_log("single_pulse", 3, 0.03).truth.beyond_doubt
    assert not dangers.danger_log("stuck_level", 3, 0.03).truth.beyond_doubt
    assert all(dangers.danger_log("stuck_level", s, 0.5).truth.beyond_doubt for s in range(3))


def test_meters_tell_over_range_in_their_own_way() -> None:
    said = {m.over for m in dangers.METERS}
    assert said == {"over", "blank", "clip"}
    rng = np.random.default_rng(0)
    for meter in dangers.METERS:
        v = dangers.write_down(np.array([0.0, 1e-3, meter.ranges_V[-1] * 2]), meter, rng)
        assert abs(v[1] - 1e-3) < 0.01
        assert not np.isfinite(v[2]) or v[2] == meter.ranges_V[-1]


@pytest.mark.parametrize("kind", growth.KINDS)
def test_stories_are_repeatable_and_their_swings_lie_within_their_power_ups(kind: str) -> None:
    one, again, other = growth.story(kind, 5), growth.story(kind, 5), growth.story(kind, 6)
    assert [u.at_s.tolist() for u in one.ups] == [u.at_s.tolist() for u in again.ups]
    assert [u.at_s.tolist() for u in one.ups] != [u.at_s.tolist() for u in other.ups]
    assert len(one.visit) == len(one.ups)
    ends = [u.start_s + u.length_s for u in one.ups]
    assert all(u.start_s > end + 600 for u, end in zip(one.ups[1:], ends, strict=False))
    for u in one.ups:
        assert np.all(np.diff(u.at_s) >= 0)
        assert np.all((u.at_s >= 0) & (u.at_s < u.length_s))
    if one.task == "compare":
        assert set(one.visit) == {0, 1}
    (first, *_), (same_first, *_) = growth.files(one, 5), growth.files(one, 5)
    assert np.array_equal(first["left_V"], same_first["left_V"])


@pytest.mark.parametrize("name", growth.PROCESSES)
def test_stationary_processes_keep_their_rate_and_have_no_trend(name: str) -> None:
    rng = np.random.default_rng(8)
    halves = np.zeros(2)
    for _ in range(400):
        at = growth.PROCESSES[name](rng, 4 * 3600.0, 10.0)
        halves += [np.count_nonzero(at < 7200), np.count_nonzero(at >= 7200)]
    # 16,000 expected; the widest process (Pareto gaps) has a standard error of a few per cent.
    assert 13_000 < halves.sum() < 19_000
    assert abs(halves[0] / halves[1] - 1) < 0.15


@pytest.mark.parametrize("law", ["gamma", "lognormal"])
@pytest.mark.parametrize("cv", [0.0, 0.5, 1.0])
def test_power_ups_differ_as_said(law: str, cv: float) -> None:
    x = growth.scatter(np.random.default_rng(1), law, cv, 40_000)
    assert abs(x.mean() - 1) < 0.03
    assert abs(x.std() - cv) < 0.06


def test_what_grows_grows_by_its_factor() -> None:
    rng = np.random.default_rng(2)
    at = np.concatenate([growth.growing(20.0)(rng, 3600.0, 100.0) for _ in range(200)])
    tenth = [np.count_nonzero(at < 360), np.count_nonzero(at >= 3240)]
    assert abs(at.size / 20_000 - 1) < 0.05
    assert abs(tenth[1] / tenth[0] / 20**0.9 - 1) < 0.2
    by_age = [sum(growth.story("grows age 2", s).ups[i].at_s.size for s in range(60)) for i in range(4)]
    assert 1.6 < (by_age[3] / by_age[0]) ** (1 / 3) < 2.5
    assert all(u.at_s.size == 0 for s in range(5) for u, side in zip(growth.story("pair cured", s).ups, growth.story("pair cured", s).visit, strict=True) if side)
    sizes = [[], []]
    for s in range(20):
        made = growth.story("grows size age 1.4", s)
        sizes[0].extend(np.log(made.ups[0].size_V))
        sizes[1].extend(np.log(made.ups[3].size_V))
    assert 1.2 < np.exp((np.mean(sizes[1]) - np.mean(sizes[0])) / 3) < 1.6


drawn_once = cache(states.state_log)


@pytest.mark.parametrize("kind", [*states.DEAD, *states.LIVE])
def test_what_the_lead_saw_stands_where_it_is_said_to(kind: str) -> None:
    drawn = {seed: drawn_once(kind, seed) for seed in (3, 4)}
    again = states.state_log(kind, 3)
    assert same(drawn[3].log, again.log)
    assert drawn[3].stretches == again.stretches
    for made in drawn.values():
        assert np.all(np.diff(made.log.time_s) > 0)
        t = made.log.time_s
        assert 1000 < t[-1] < 3.01 * 86400
        for name, v in made.log.readings_V.items():
            live = made.live(name)
            assert live.shape == v.shape
            assert np.isfinite(v[live]).all()
            for s in made.stretches[name]:
                assert s.to_s > s.from_s
                assert s.live == (kind in states.LIVE)
            if name not in made.log.truth.channels or kind == "only_sound":
                assert live.all()
                assert not made.stretches[name]
            elif kind in states.DEAD and kind != "auto_off_rows_stop" and np.median(np.diff(t)) < 2:
                assert not live.all()
    assert not same(drawn[3].log, drawn[4].log)


def inside(kind: str, seed: int) -> list[np.ndarray]:
    made = drawn_once(kind, seed)
    t = made.log.time_s
    return [
        made.log.readings_V[n][(t >= s.from_s) & (t < s.to_s)]
        for n in made.log.truth.channels
        for s in made.stretches[n]
        if np.any((t >= s.from_s) & (t < s.to_s))
    ]


def test_states_look_like_what_they_are() -> None:
    for seed in range(4):
        assert all(np.ptp(v) == 0 for v in inside("auto_off_repeats", seed))
        assert all(np.isnan(v).all() for v in inside("auto_off_blank", seed))
        assert not inside("auto_off_rows_stop", seed)
        assert all(v.min() >= 0 for v in inside("ac_range", seed))
        assert all(np.abs(np.median(v)) < 2e-3 for v in inside("clip_on_chassis", seed))
        # Faults pass through zero, or lie on one side of it, as their names say, and are larger than a sound rest.
        assert all(v.min() < 0 < v.max() and np.std(v) > 1e-3 for v in inside("slow_bounce", seed))
        assert all(v.min() < 0 < v.max() and np.std(v) > 2e-3 for v in inside("hunting", seed))
        assert all(np.std(v) > 1.5e-3 for v in inside("noise_spells", seed) if v.size > 20)
        assert all(abs(np.mean(v)) > 1e-3 for v in inside("one_sided_wander", seed))


@pytest.mark.parametrize("family", files.FAMILIES)
def test_logger_files_hold_their_truth(family: str) -> None:
    for seed in range(6):
        one, again = files.logger_file(family, seed), files.logger_file(family, seed)
        assert one.data == again.data
        assert 60 <= one.time_s.size <= 300
        assert np.all(np.diff(one.time_s) > 0)
        coding = "utf-16" if one.data[:2] == b"\xff\xfe" else "utf-8-sig" if one.data[:3] == b"\xef\xbb\xbf" else "cp1252" if "cp1252" in one.words else "utf-8"
        text = one.data.decode(coding)
        assert len(text.splitlines()) >= one.time_s.size
        for v in one.volts.values():
            assert v.shape == one.time_s.shape
            finite = v[np.isfinite(v)]
            # At least one swing above 0.1 V, and a rest of some millivolts: the truth is in volts.
            assert np.abs(finite).max() > 0.06
            assert np.abs(np.median(finite)) < 0.05
    assert files.logger_file(family, 1).data != files.logger_file(family, 2).data


def test_the_judge_of_files_notices_what_is_read_wrongly() -> None:
    """A file read right has no difference; the same reading against a changed truth has."""
    import dataclasses
    import io

    import pandas as pd

    file = files.fixed_width(3)

    class Read:

        def __init__(self, f: files.LoggerFile) -> None:
            text = f.data.decode().splitlines()
            frame = pd.read_csv(io.StringIO("\n".join(text[2:])), sep=r"\s+", header=None)
            frame.columns = ["time_s", *f.volts]
            frame.insert(0, "run", 0)
            for n in f.volts:
                frame[n] *= files.SCALE[str(f.facts["unit"])]
            self.frame = frame
            self.runs = [type("R", (), {"start": None})()]

        def to_frame(self) -> pd.DataFrame:
            return self.frame

    read = Read(file)
    assert files.differs(file, read) == ""
    name = next(iter(file.volts))
    for wrong in (
        {**file.volts, name: file.volts[name] * 1000},
        {**file.volts, name: -file.volts[name]},
        {**file.volts, name: np.where(np.arange(file.time_s.size) == 7, np.nan, file.volts[name])},
        {"other": file.volts[name]} if len(file.volts) > 1 else {**file.volts, "other": file.volts[name]},
    ):
        assert files.differs(dataclasses.replace(file, volts=wrong), read) != ""
    assert "stretched" in files.differs(dataclasses.replace(file, time_s=file.time_s * 60), read)


@pytest.mark.parametrize("kind", ["sticks to rail", "on change stuck", "ends at 2", "counter wraps", "latched at start", "ten minutes", "fuse blows", "standby volts", "across two files", "sixty readings of volts"])
def test_a_plain_danger_of_the_repair_bench_is_told_and_the_same_seed_gives_the_same_story(kind: str) -> None:
    a, b = benches.story(kind, 3), benches.story(kind, 3)
    assert np.array_equal(a.steps[0].logs[0]["left_V"], b.steps[0].logs[0]["left_V"])
    assert not np.array_equal(a.steps[0].logs[0]["left_V"][:500], benches.story(kind, 4).steps[0].logs[0]["left_V"][:500])
    assert np.abs(a.steps[0].logs[0]["left_V"]).max() > 0.8
    assert not benches.tell(kind, 3).harms


@pytest.mark.parametrize(("kind", "why"), [
    ("pair warmer room", "room was at 9 degrees before and at 24 degrees after"),
    ("pair gain of the logger", "are 0.2 times as large after as before"),
    ("pair fading by itself", "became rarer from power-up to power-up before already"),
    ("pair hiss gone", "Noise floor: "),
    ("now it thumps", "Protection: would not have tripped before, would have tripped 3 times after: worse"),
    ("pair warm after", "whether each begins at a switch-on is not seen"),
])  # fmt: skip
def test_what_the_repair_did_not_make_is_not_put_down_to_it(kind: str, why: str) -> None:
    """The truth is that of the story, by its author; nothing of the left output may be called better."""
    from flicker import compare, read_log

    made = benches.story(kind, 420000 + (kind == "pair warm after"))
    (step,) = made.steps
    reading = dict(step.options).get("reading", {})
    left = compare(*([read_log(log, **reading) for log in side] for side in step.logs)).channel("left")
    assert left.outcome != "improved" and left.cured != "shown"
    assert why.lower() in left.reads.lower()


def test_sizes_are_not_called_smaller_where_the_probe_was_set_to_ten() -> None:
    assert not benches.tell("visits probe at ten", 420002).harms and not benches.tell("visits hiss grows", 420004).harms


@pytest.mark.parametrize("kind", ["class a", "late relay", "leads reversed", "battery sags", "neighbours plug", "supply pumped", "chopper spikes", "zero key", "rectifier tube warms", "lamp limiter", "own warmth", "range flips", "sun on terminals", "servo of twenty minutes"])
def test_sound_outputs_of_a_repairers_year_stay_where_their_page_says(kind: str) -> None:
    """Within 20 mV from minute 20 on and 15 mV of the middle of five minutes (clearance, section 1), whatever the seed."""
    for seed in (3, 4):
        log = benches.story(kind, seed).steps[0].logs[0]
        t = (log["time"] - log["time"][0]) / np.timedelta64(1, "s")
        for v in (np.asarray(x) for n, x in log.items() if n.endswith("_V")):
            cells = [v[(t >= a) & (t < a + 300) & np.isfinite(v)] for a in np.arange(1200, t[-1] - 300, 300)]
            assert np.ptp([np.median(c) for c in cells]) < 0.02
            # Where leads are reversed or a neighbour is switched, a cell holds both levels: 14 mV apart, and noise.
            assert max(np.abs(c - np.median(c)).max() for c in cells) < 0.0165


@pytest.mark.parametrize("kind", ["far rail on the output", "far volt and a bit", "far unit in the cells fault", "far bridge read to chassis"])
def test_a_plain_danger_of_a_far_bench_is_told(kind: str) -> None:
    assert not benches.tell(kind, 3).harms


@pytest.mark.parametrize("kind", ["shorted all along", "click and never on", "input shorted midway", "adjusted and never back", "restart into sleep", "trimmed then lead off"])
def test_a_dead_input_earns_no_clean_hours_whatever_came_before_it(kind: str) -> None:
    a, b = benches.story(kind, 5), benches.story(kind, 5)
    assert np.array_equal(a.steps[0].logs[0]["left_V"], b.steps[0].logs[0]["left_V"])
    for seed in (5, 6):
        assert not benches.tell(kind, seed).harms["cleared"]


@pytest.mark.parametrize("kind", asleep.KINDS)
def test_small_rests_stay_small_and_what_is_dead_is_silent(kind: str) -> None:
    """Within 45 mV of zero after two minutes; a story asks that its channels are cleared, or forbids it."""
    made = benches.story(kind, 7)
    (step,) = made.steps
    for log in step.logs:
        t = (log["time"] - log["time"][0]) / np.timedelta64(1, "s")
        for name in made.names:
            assert np.abs(log[f"{name}_V"][t > 120]).max() < 0.045
    assert ("left within*" in step.must) is not ("left within*" in step.never)


@pytest.mark.parametrize(("kind", "seed"), [
    ("far extremes beside means", 7000), ("far a logger for each", 5004), ("far hot only and short", 5000),
    ("far means after", 5001), ("far leads swapped sound", 5004), ("far old rows thinned", 5002),
])  # fmt: skip
def test_what_far_benches_found_stays_mended(kind: str, seed: int) -> None:
    """Means are not cleared beside their extremes; a logger for each channel; a log that cannot show the fault seen before clears nothing;
    no clusters where the pace of reading changes."""
    assert not benches.tell(kind, seed).harms


def test_a_line_through_a_step_is_not_more_movement_than_was_read() -> None:
    """Least squares by hand: a line through a step of s in mid-log rises by 1.5 s, here 21 mV, where the readings moved 14."""
    from flicker.evidence.questions.movement import raw_movement

    time_s = np.arange(1200.0, 20_000.0, 60.0)
    noise = 1e-4 * np.random.default_rng(1).standard_normal(time_s.size)
    step = noise + 0.014 * (time_s > time_s.mean())
    assert abs(np.polyfit(time_s, step, 1)[0]) * np.ptp(time_s) == pytest.approx(0.021, rel=0.05)
    found = raw_movement([(time_s, step)], 0.020).largest
    assert found is not None and not found.beyond
    line = raw_movement([(time_s, noise + 0.021 * (time_s - time_s[0]) / np.ptp(time_s))], 0.020).largest
    assert line is not None and line.beyond
