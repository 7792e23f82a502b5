"""The guard against the plain reference of its rule, on random logs: same reasons, same figures, however batched."""

from __future__ import annotations

import numpy as np
import plain_guard
import pytest

from flicker import assess
from flicker.base.limits import Limits
from flicker.evidence.guard import Reason, Session, clean_time, judge_guard
from flicker.logs.model import Log
from flicker.signals.blocks import reduce_log
from flicker.signals.guard.chunk import drawn_rows
from flicker.signals.guard.figures import BEGIN, SWITCHED_ON, WOKEN

KINDS = ("calm", "glitches", "drift", "telegraph", "volts", "blank", "over", "lost", "noise", "surge", "crackle")


def invented(rng: np.random.Generator, hours: float, step: float, kind: str) -> tuple[np.ndarray, np.ndarray]:
    """One channel of an invented log: a surge, a level, white noise, and one thing that is wrong with it."""
    t = np.arange(int(hours * 3600 / step)) * step
    v = (
        rng.uniform(-0.02, 0.02)
        + 0.08 * np.exp(-t / rng.uniform(2, 30))
        + rng.normal(0, rng.uniform(2e-4, 2e-3), t.size)
    )
    at = rng.uniform(0, t[-1], 6)
    if kind == "glitches":
        for s in at:
            v[(t >= s) & (t < s + rng.uniform(1, 20) * step)] += rng.uniform(0.012, 0.09)
    elif kind == "drift":
        v += rng.uniform(0.01, 0.05) * t / t[-1]
    elif kind == "telegraph":
        v += rng.uniform(0.008, 0.03) * (np.floor(t / rng.uniform(2, 900)) % 2)
    elif kind == "volts":
        v[(t >= at[0]) & (t < at[0] + 60)] += rng.uniform(0.05, 5)
    elif kind == "blank":
        v[rng.random(t.size) < rng.choice([1e-4, 1e-2])] = np.nan
        v[(t >= at[0]) & (t < at[0] + rng.uniform(1, 6) * step)] = np.nan
    elif kind == "over":
        v[(t >= at[0]) & (t < at[0] + 3 * step)] = np.inf
    elif kind == "lost":
        v[rng.random(t.size) < 0.01] = np.nan
    elif kind == "noise":
        v += rng.normal(0, 5e-3, t.size)
    elif kind == "surge":
        v[t < rng.uniform(3, 40)] += rng.uniform(0.05, 1.5)
    elif kind == "crackle":
        v += rng.normal(0, 0.01, t.size) * (rng.random(t.size) < 0.05)
    return t, v


def figures_of(runs: list[tuple[np.ndarray, dict[str, np.ndarray]]], starts: list[bool], batch: int) -> list[Session]:
    sessions = []
    for (t, columns), up in zip(runs, starts, strict=True):
        log = Log.from_arrays(t, columns)
        log.source.batch_rows = batch  # type: ignore[attr-defined]
        sessions += [
            Session(blocks.guard, blocks.run.sample_interval_s, up) for blocks in reduce_log(log) if blocks.guard
        ]
    return sessions


def without_signs_of_life(monkeypatch):
    """The reference knows nothing of a lead that is off, or was never on (tests/test_guard_awake.py)."""
    monkeypatch.setattr(clean_time, "not_awake", lambda cells, _others_V: np.zeros(cells.level_V.size, dtype=bool))
    monkeypatch.setattr(clean_time, "start_shown", lambda *_: True)
    monkeypatch.setattr(clean_time, "clicked", lambda *_: False)
    monkeypatch.setattr(clean_time, "fell_silent", lambda *_: False)
    monkeypatch.setattr(clean_time, "blind", lambda cells: np.zeros(cells.level_V.size, dtype=bool))


@pytest.mark.parametrize("seed", range(40))
def test_same_as_the_plain_reference(seed, monkeypatch):
    without_signs_of_life(monkeypatch)
    rng = np.random.default_rng([20261126, seed])
    step = float(rng.choice([0.1, 0.5, 1.0, 2.0, 10.0, 60.0]))
    count, hours = int(rng.integers(1, 4)), float(rng.choice([1.0, 2.0, 3.5]))
    names = ["left", "right", "third"][: int(rng.integers(1, 4))]
    runs = []
    for _ in range(count):
        columns = [invented(rng, hours, step, str(rng.choice(KINDS))) for _ in names]
        runs.append((columns[0][0], {name: v for name, (_, v) in zip(names, columns, strict=True)}))
    starts = [True, *rng.choice([True, False], count - 1).tolist()]
    sessions = figures_of(runs, starts, int(rng.choice([777, 10_000, 1 << 20])))
    for place, name in enumerate(names):
        mates = [[(t, c[other]) for t, c in runs] for other in names if other != name]
        plain = plain_guard.guard([(t, c[name]) for t, c in runs], mates, starts)
        for session in sessions:  # the reference knows nothing of crosstalk
            for channel in session.figures.channels:
                channel.swing_by[:] = 0
                channel.alone_V[:] = channel.high_V - channel.low_V
        ours = judge_guard(sessions, [place] * len(sessions), Limits())
        assert {str(item) for item in ours.reasons} - {"dead"} == set(plain["why"]) - {"dead"}
        found = ours.figures
        assert found.observed_h == pytest.approx(plain["hours"], rel=0.03)
        assert found.judged_h == pytest.approx(plain["judged_h"])
        assert found.peak_V == pytest.approx(plain["peak"])
        assert found.open_peak_V == pytest.approx(plain["open_peak"])
        assert found.largest_V == pytest.approx(plain["largest"], abs=1e-12)
        assert found.moved_V == pytest.approx(plain["range"], abs=1e-12)
        assert found.spread_V == pytest.approx(plain["spread"], abs=1e-12)
        assert found.beyond_s == pytest.approx(plain["beyond_s"], rel=0.03, abs=4 * step)
        assert (found.swings, found.large_swings) == (plain["swings"], plain["swings_40"])
        assert (found.over_range, found.blanks) == (plain["over"], plain["blank_long"])
        assert (found.short_blanks, found.others_short_blanks) == (plain["blank_short"], plain["blank_mates"])


def same(first: list[Session], second: list[Session]) -> bool:
    for one, two in zip(first, second, strict=True):
        for a, b in zip(one.figures.channels, two.figures.channels, strict=True):
            for (name, x), (_, y) in zip(a.arrays(), b.arrays(), strict=True):
                if not np.array_equal(x, y, equal_nan=x.dtype.kind == "f"):
                    raise AssertionError(f"{name}: {x} is not {y}")
    return True


@pytest.mark.parametrize("step", [1.0, 0.02, 0.0005])
def test_batches_do_not_show(step):
    rng = np.random.default_rng([20261126, 99, int(1 / step)])
    hours = 1.2 if step >= 1 else 0.4 if step > 0.001 else 0.2
    t, left = invented(rng, hours, step, "glitches")
    right = invented(rng, hours, step, "blank")[1]
    off = slice(int(0.3 * t.size), int(0.3 * t.size) + int(200 / step))
    left[off], right[off] = rng.normal(0, 2e-5, (2, off.stop - off.start))
    left[off.stop :] += 0.1 * np.exp(-(t[off.stop :] - t[off.stop]) / 9.0)
    runs = [(t, {"left": left, "right": right})]
    whole = figures_of(runs, [True], t.size)
    assert whole[0].figures.kind.tolist() == [BEGIN, SWITCHED_ON]
    for batch in (97, 4096, 100_003):
        if t.size / batch < 5000:
            assert same(whole, figures_of(runs, [True], batch))


@pytest.mark.parametrize("seed", range(12))
def test_switched_off_within_a_file_as_the_plain_reference_cuts(seed, monkeypatch):
    without_signs_of_life(monkeypatch)
    rng = np.random.default_rng([20261126, 7, seed])
    parts = []
    for _ in range(int(rng.integers(2, 4))):
        on = [invented(rng, float(rng.uniform(0.4, 1.4)), 1.0, str(rng.choice(KINDS)))[1] for _ in range(2)]
        size = min(x.size for x in on)
        on = [x[:size] for x in on]
        gone = rng.normal(0, 6e-5, (2, int(rng.choice([20, 59, 90, 3000]))))
        bump = 0.1 * np.exp(-np.arange(8) / 3.0) * float(rng.choice([0.0, 1.0, 6.0]))
        parts.append([np.concatenate((x, bump, g)) for x, g in zip(on, gone, strict=True)])
    parts[-1] = on  # the reference keeps a time off at the end, the guard drops it: a test of its own
    left, right = (np.concatenate([part[k] for part in parts]) for k in (0, 1))
    t = np.arange(left.size) * 1.0
    cut = plain_guard.cut([(t, {"left": left, "right": right})])
    sessions = figures_of([(t, {"left": left, "right": right})], [True], int(rng.choice([333, 5000, 1 << 20])))
    assert len(cut) == sessions[0].figures.kind.size
    for session in sessions:
        for channel in session.figures.channels:
            channel.swing_by[:] = 0
            channel.alone_V[:] = channel.high_V - channel.low_V
    for place, (name, other) in enumerate((("left", "right"), ("right", "left"))):
        plain = plain_guard.guard([(a, c[name]) for a, c in cut], [[(a, c[other]) for a, c in cut]], None)
        ours = judge_guard(sessions, [place], Limits())
        expected = set(plain["why"])
        assert {str(item) for item in ours.reasons} - {"blank", "over", "dead"} == expected - {"blank", "over", "dead"}
        assert ours.figures.moved_V == pytest.approx(plain["range"], abs=1e-12)
        assert ours.figures.largest_V == pytest.approx(plain["largest"], abs=1e-12)
        assert ours.figures.swings == plain["swings"]
        assert ours.figures.peak_V == pytest.approx(plain["peak"])


def at_zero(sigma_V: float, *later_V: tuple[float, float, float]) -> list[Session]:
    """Five hours of two channels that a servo holds at zero, after a surge; then swings: (begin, length, volts)."""
    rng = np.random.default_rng(17)
    t = np.arange(0, 5 * 3600.0, 1.0)
    left, right = rng.normal(0, sigma_V, (2, t.size)) + np.array([[0.06], [0.05]]) * np.exp(-t / 8.0)
    for begin, length, volts in later_V:
        left[(t >= begin) & (t < begin + length)] += volts
    return figures_of([(t, {"left": np.round(left, 4), "right": np.round(right, 4)})], [True], 5000)


@pytest.mark.parametrize("sigma_V", [5e-5, 1.2e-4])
def test_swings_of_a_unit_that_rests_at_zero_are_no_power_ups(sigma_V):
    """At zero, a jump, and back at zero: that is a swing, or each glitch of a servo amplifier would be a start."""
    sessions = at_zero(sigma_V, *((2000.0 + 1700.0 * k, 3.0, 0.1) for k in range(6)))
    found = judge_guard(sessions, [0], Limits())
    assert sessions[0].figures.kind.tolist() == [BEGIN]
    assert Reason.SWINGS in found.reasons and found.figures.large_swings == 6
    assert judge_guard(at_zero(sigma_V), [0], Limits()).silent


def test_zero_at_the_end_is_no_time_on_where_zero_was_off_before():
    """Off and on again were found: the same zero once more is off as well, and gives no clean hours."""
    steps = [(600.0, 900.0, 0.03), (3600.0, 900.0, 0.03)]
    sessions = at_zero(5e-5, *steps)
    assert sessions[0].figures.kind.tolist() == [BEGIN, SWITCHED_ON, SWITCHED_ON]
    found = judge_guard(sessions, [0], Limits())
    assert Reason.SHORT in found.reasons and found.figures.judged_h == 0.0


@pytest.mark.parametrize("floor_V", [2e-5, 1e-4])
def test_off_with_the_noise_of_a_meter(floor_V):
    """An input of 0.1 mV noise passes 0.3 mV once in 370 readings; the unit is off all the same."""
    rng = np.random.default_rng(4)
    on, off = np.arange(0, 5400.0), np.arange(0, 5800.0)
    level = np.array([[0.004], [-0.002]])
    surge = np.array([[0.05], [0.03]]) * np.exp(-on / 9.0)
    parts = [level + surge + rng.normal(0, 3e-4, (2, on.size)), rng.normal(0, floor_V, (2, off.size))]
    parts.append(level + surge + rng.normal(0, 3e-4, (2, on.size)))
    left, right = np.round(np.concatenate(parts, axis=1), 5)
    for batch in (777, 1 << 20):
        sessions = figures_of([(np.arange(left.size) * 1.0, {"l": left, "r": right})], [True], batch)
        assert sessions[0].figures.kind.tolist() == [BEGIN, SWITCHED_ON]
        assert sessions[0].figures.begin_s[1] == on.size + off.size


def two_outputs(*gone: tuple[float, float, int], then: tuple[float, float, float] = (0.0, 0.0, 0.0), noise_V: float = 2e-5) -> np.ndarray:
    """Five hours of two live outputs, 1 s a reading; ``gone`` at zero (from, to, channels), each with a thump of 50 mV after it; ``then``
    a swing of the left one (begin, seconds, volts)."""
    rng = np.random.default_rng(23)
    t = np.arange(0, 5 * 3600.0, 1.0)
    volts = np.array([[0.005], [-0.004]]) + rng.normal(0, 3e-4, (2, t.size)) + 0.03 * np.exp(-t / 3.0)
    for begin, end, channels in gone:
        volts[:channels, t >= end] += 0.05 * np.exp(-(t[t >= end] - end) / 2.0)
        volts[:channels, (t >= begin) & (t < end)] = rng.normal(0, noise_V, (channels, np.count_nonzero((t >= begin) & (t < end))))
    begin, lasts, size = then
    volts[0, (t >= begin) & (t < begin + lasts)] += size
    return np.round(volts, 5)


def sessions_of_outputs(volts: np.ndarray, batch: int = 5000) -> list[Session]:
    return figures_of([(np.arange(volts.shape[1]) * 1.0, dict(zip(("left", "right"), volts, strict=False)))], [True], batch)


def test_seconds_at_zero_are_no_start():
    """All outputs away for seconds and back with a thump: the mains, or a protection relay that tripped between two readings."""
    for volts in (two_outputs((4000.0, 4005.0, 2)), two_outputs((4000.0, 4005.0, 1)), two_outputs((4000.0, 4005.0, 2))[:1]):
        sessions = sessions_of_outputs(volts)
        assert sessions[0].figures.kind.tolist() == [BEGIN]
        assert Reason.SWINGS in judge_guard(sessions, [0], Limits()).reasons


def test_seconds_at_zero_after_volts_that_stood_are_switched_off_and_on():
    """20 V stand for a minute, no relay opened, and somebody switches off for 20 s: the neighbour's thump is its start. Of volts
    for two seconds a relay may have opened, and the thump stays a swing. Invented."""
    for lasts, kinds in ((60, [BEGIN, SWITCHED_ON]), (2, [BEGIN])):
        volts = two_outputs((4000.0, 4020.0, 2))
        volts[0, 4000 - lasts : 4000] = 20.0
        for batch in (97, 5000):
            sessions = sessions_of_outputs(volts, batch)
            assert sessions[0].figures.kind.tolist() == kinds
            assert Reason.PEAK in judge_guard(sessions, [0], Limits()).reasons
            assert judge_guard(sessions, [1], Limits()).silent is (len(kinds) == 2)


@pytest.mark.parametrize(("at_zero_V", "kinds"), [(2e-5, [BEGIN, WOKEN, WOKEN]), (8e-5, [BEGIN])])
def test_a_unit_that_comes_back_without_a_surge_is_told_by_its_noise(at_zero_V, kinds):
    """Off for 15 minutes, and on again at 4 mV: what was as noisy at zero is an output that went there. Invented."""
    rng = np.random.default_rng(31)
    t = np.arange(0, 3 * 3600.0, 1.0)
    away = (t % 3600 >= 2700) & (t < 2 * 3600)
    volts = np.where(away, rng.normal(0, at_zero_V, (2, t.size)), np.array([[0.004], [-0.003]]) + rng.normal(0, 1e-4, (2, t.size)))
    volts[0, 3100:3110] += 0.1  # while it is off: never taken away with it
    for batch in (97, 5000):
        sessions = sessions_of_outputs(np.round(volts, 5), batch)
        assert sessions[0].figures.kind.tolist() == kinds
        found = judge_guard(sessions, [0], Limits())
        assert Reason.SWINGS in found.reasons and found.figures.power_ups == len(kinds)


def test_a_channel_switched_on_after_the_others_starts_then():
    """The second unit on one logger: at zero since the first reading, with the meter's noise, and then a start of its own."""
    late = (0.0, 4000.0, 1)
    sessions = sessions_of_outputs(two_outputs(late))
    own = sessions[0].figures.channels
    assert own[0].started[0].tolist() == pytest.approx([4000.0, 0.055, 0.0061, 0.006], abs=5e-4) and own[1].started.size == 0
    found = judge_guard(sessions, [0], Limits())
    assert found.silent and found.figures.judged_h == pytest.approx(5.0 - (4000.0 + 1200.0) / 3600.0, abs=0.2)
    for batch in (97, 1 << 20):
        assert same(sessions, sessions_of_outputs(two_outputs(late), batch))
    for then, reason in (
        ((4015.0, 5.0, 0.25), Reason.PEAK),
        ((4060.0, 5.0, 0.12), Reason.PEAK),
        ((4200.0, 5.0, 0.06), Reason.SWINGS),
    ):
        assert reason in judge_guard(sessions_of_outputs(two_outputs(late, then=then)), [0], Limits()).reasons


def test_what_was_live_before_is_no_start():
    """One output that vanishes and comes back with a thump; one that rested at zero, as noisy as later, and jumps."""
    back = two_outputs((600.0, 4000.0, 1))
    jumps = two_outputs()
    t = np.arange(jumps.shape[1])
    later = np.maximum(t - 4000.0, 0.0)
    jumps[0] = np.random.default_rng(8).normal(0, 7e-5, t.size) + np.where(t < 4000, 0.0, 0.005 + 0.05 * np.exp(-later / 2.0))
    for volts in (back, jumps):
        assert Reason.SWINGS in judge_guard(sessions_of_outputs(volts), [0], Limits()).reasons


def test_hum_is_not_aliased_where_readings_are_drawn():
    """A fixed stride over 50 Hz hum at 1 kHz saw 40 mV as 1.4 (measured for the rule); one drawn per stretch does not."""
    t = np.arange(0, 700, 1e-3)
    hum = 0.02 * np.sin(2 * np.pi * 50.0 * t)
    session = figures_of([(t, {"left": hum})], [True], 1 << 18)[0]
    assert session.figures.channels[0].high_V[2] - session.figures.channels[0].low_V[2] == pytest.approx(0.04, rel=0.02)
    rows = drawn_rows(0, 300_000, 30)
    assert rows.size == 10_000
    assert np.array_equal(rows // 30, np.arange(10_000))
    assert np.array_equal(rows, np.concatenate((drawn_rows(0, 1234, 30), drawn_rows(1234, 300_000, 30))))


def test_crosstalk_of_a_neighbour_that_clicks():
    """Own swings of at most 40 mV and a third of a neighbour's beside it are its crosstalk, unless it swings all the time."""
    rng = np.random.default_rng(5)
    t = np.arange(0, 4 * 3600.0, 1.0)
    left, right = 0.008 + rng.normal(0, 3e-4, (2, t.size))
    for s in range(900, t.size, 700):
        left[s : s + 3] += 0.12
        right[s : s + 3] += 0.025
    clicking, beside = (
        judge_guard(figures_of([(t, {"l": left, "r": right})], [True], 5000), [k], Limits()) for k in (0, 1)
    )
    assert Reason.SWINGS in clicking.reasons
    assert beside.silent
    right[9000:9003] += 0.025  # one alone: a swing of its own is allowed, two are not
    right[11000:11003] += 0.025
    assert judge_guard(figures_of([(t, {"l": left, "r": right})], [True], 5000), [1], Limits()).figures.swings == 2
    for s in range(900, t.size, 40):
        left[s : s + 3] += 0.12
    restless = judge_guard(figures_of([(t, {"l": left, "r": right})], [True], 5000), [1], Limits())
    assert Reason.SWINGS in restless.reasons


def test_limits_may_tighten_but_never_loosen():
    t = np.arange(0, 4 * 3600.0, 1.0)
    v = 0.03 + np.random.default_rng(3).normal(0, 3e-4, t.size)
    sessions = figures_of([(t, {"l": v})], [True], 1 << 20)
    assert judge_guard(sessions, [0], Limits()).silent
    assert judge_guard(sessions, [0], Limits(settled_offset_V=0.02)).reasons == (Reason.REST,)
    sessions = figures_of([(t, {"l": v + 0.04})], [True], 1 << 20)
    assert Reason.REST in judge_guard(sessions, [0], Limits(settled_offset_V=0.5)).reasons


def test_a_cache_keeps_the_figures(tmp_path):
    from flicker.logs.reading import read_log
    from flicker.signals.cache import BlockCache
    from flicker.signals.mark_windows import Hands
    from flicker.signals.spill_buffer import Stash

    rng = np.random.default_rng(11)
    t, left = invented(rng, 0.6, 1.0, "glitches")
    table = "\n".join(f"{a:.1f},{b:.5f}" for a, b in zip(t, left, strict=True))
    (tmp_path / "log.csv").write_text(f"time_s,left\n{table}\n")
    cache, stash = BlockCache(tmp_path / "kept"), Stash(0.02, 0.5, 5.0)
    log = read_log(tmp_path / "log.csv")
    first = reduce_log(log, stash)
    cache.save(log, first, stash)
    again = cache.load(read_log(tmp_path / "log.csv"), stash)
    assert again is not None
    assert same([Session(b.guard, 1.0, True) for b in first], [Session(b.guard, 1.0, True) for b in again])
    assert cache.load(read_log(tmp_path / "log.csv"), stash, {"left": Hands(breaks_s=(600.0,))}) is None


def test_a_mark_that_begins_a_new_setting_starts_anew():
    """After 'adjusted' only what follows is judged, and needs its own hours; what was touched is not looked at."""
    from flicker.signals.mark_windows import Hands

    rng = np.random.default_rng(2)
    t = np.arange(0, 9 * 3600.0, 2.0)
    v = 0.004 + rng.normal(0, 3e-4, t.size) + 0.03 * (t >= 4.5 * 3600)
    v[(t >= 16_190) & (t < 16_200)] += 0.5  # the hand on the trimmer
    log = Log.from_arrays(t, {"left": v})
    hands = Hands(touched=np.array([[16_180.0, 16_200.0]]), breaks_s=(16_200.0,))

    def judged(marks: dict[str, Hands] | None, log: Log):
        return judge_guard(
            [Session(b.guard, 2.0, True) for b in reduce_log(log, None, marks) if b.guard], [0], Limits()
        )

    assert {Reason.MOVE, Reason.PEAK, Reason.SWINGS} <= set(judged(None, log).reasons)
    marked = judged({"left": hands}, log)
    assert marked.silent and marked.figures.observed_h == pytest.approx(4.5, abs=0.01)
    short = Log.from_arrays(t[t < 6 * 3600], {"left": v[t < 6 * 3600]})
    assert Reason.RATE in judged({"left": hands}, short).reasons


def test_more_channels_than_an_integer_has_bits():
    """Invented: 66 outputs of 20 minutes; the masks of neighbours hold 60."""
    t = np.arange(1200.0)
    rng = np.random.default_rng(9)
    volts = {f"ch{k}": 0.004 + 3e-4 * rng.standard_normal(t.size) for k in range(66)}
    volts["ch65"][700:703] += 0.3
    found = assess(Log.from_arrays(t, volts))
    assert found.channel("ch65").guard.figures.large_swings == 1 and found.channel("ch0").guard.figures.large_swings == 0


@pytest.mark.parametrize(("calm_s", "event_s"), [(10.0, 0.5), (0.5, 10.0), (1.0, 25.0)])
def test_rows_are_weighed_by_the_time_they_stand_for(calm_s, event_s):
    """A logger that writes faster, or slower, in an event; against the same evening at even rows of half a second, held."""
    rng, time_s = np.random.default_rng(51), [0.0]
    begin_s = 600.0 * np.arange(2, 18) + 30.0
    while time_s[-1] < 10800.0:
        inside = np.any((time_s[-1] >= begin_s) & (time_s[-1] < begin_s + 200.0))
        time_s.append(time_s[-1] + (event_s if inside else calm_s))
    at_s = np.array(time_s)
    away = np.any((at_s[:, None] >= begin_s) & (at_s[:, None] < begin_s + 180.0), axis=1)
    volts = 0.003 + 0.0004 * rng.standard_normal(at_s.size) + np.where(away, 0.06, 0.0)
    even_s = np.arange(0.0, 10800.0, 0.5)
    held = volts[at_s.searchsorted(even_s, side="right") - 1]
    found, told = (
        assess(Log.from_arrays(clock_s, {"left": values}, name="event")).channels[0].guard
        for clock_s, values in ((at_s, volts), (even_s, held))
    )
    assert found.figures.beyond_s == pytest.approx(told.figures.beyond_s, rel=0.15)  # a row at each border stands for less
    for name in ("largest_V", "moved_V", "spread_V"):
        assert getattr(found.figures, name) == pytest.approx(getattr(told.figures, name), abs=0.003)
    assert found.figures.observed_h == pytest.approx(told.figures.observed_h, rel=0.05)
    assert {Reason.REST, Reason.BEYOND, Reason.MOVE, Reason.SPREAD} <= set(found.reasons)


def test_the_sentence_says_from_when_it_counts():
    """458 mV for 18 s in the second minute are a peak, and no time beyond 50 mV, which is counted from two minutes on."""
    rng, time_s = np.random.default_rng(52), np.arange(0.0, 7200.0, 1.0)
    volts = 0.004 + 0.0004 * rng.standard_normal(time_s.size) + 0.1 * np.exp(-time_s / 3.0)
    volts[(time_s >= 70.0) & (time_s < 88.0)] = 0.458
    guard = assess(Log.from_arrays(time_s, {"left": volts}, name="hill")).channels[0].guard
    assert guard.figures.peak_V == pytest.approx(0.458, abs=0.001) and guard.figures.beyond_s == 0.0
    assert "after the first two minutes no swing of 15 mV or more, never beyond 50 mV" in guard.reads


@pytest.mark.parametrize(("volts", "large"), [(0.03, 0), (0.06, 4)])
def test_a_cell_of_few_rows_far_from_all_levels_is_a_swing(volts, large):
    """A row each second while calm, one in 200 s while volts stand for four minutes: the row that saw them is its cell."""
    rng, calm_s = np.random.default_rng(53), np.arange(0.0, 14400.0, 1.0)
    begin_s = 300.0 * np.array([12, 20, 28, 36])
    kept = np.all((calm_s[:, None] < begin_s) | (calm_s[:, None] >= begin_s + 300.0), axis=1)
    time_s = np.sort(np.concatenate((calm_s[kept], begin_s + 150.0)))
    values = 0.004 + 0.0004 * rng.standard_normal(time_s.size) + np.where(np.isin(time_s, begin_s + 150.0), volts, 0.0)
    guard = assess(Log.from_arrays(time_s, {"left": values}, name="few")).channels[0].guard
    assert (guard.figures.swings, guard.figures.large_swings) == (4, large) and Reason.SWINGS in guard.reasons
