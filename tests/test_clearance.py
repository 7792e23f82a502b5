"""Rules for a clearance, each by a log of its own through `assess`. All logs are invented; the rules are the guard's page."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from flicker import Assessment, Log, assess
from flicker.base.values import TailKind
from flicker.case.case_file import read_case
from flicker.evidence.document.excursion_table import write_excursions
from flicker.evidence.guard import Reason

CLEARED = "within limits for the time observed"
BEGUN = datetime(2026, 3, 1, 16, 0)
HOUR = 3600.0


def sound(seed: int, hours: float, level_V: float, *, step_s: float = 1.0, surge_V: float = 0.06) -> np.ndarray:
    """One channel of a sound unit from switch-on."""
    t = np.arange(0.0, hours * HOUR, step_s)
    return level_V + surge_V * np.exp(-t / 6.0) + np.random.default_rng(seed).normal(0.0, 3e-4, t.size)


def log_of(columns: dict[str, np.ndarray], start: datetime | None = BEGUN, name: str = "log", step_s: float = 1.0) -> Log:
    t = np.arange(next(iter(columns.values())).size) * step_s
    return Log.from_arrays(t, columns, start=start, name=name)


def both(seed: int, hours: float = 4.0, level_V: float = 0.006) -> dict[str, np.ndarray]:
    return {"left": sound(seed, hours, level_V), "right": sound(seed + 1, hours, -0.004)}


# ------------------------------------------------------------- readings that are missing


@pytest.mark.parametrize("readings", [1, 3, 600])
def test_rows_that_were_written_without_a_reading_in_any_channel(readings):
    """Both channels over range leave both cells empty: the logger was there. Single lost readings are no such blank."""
    columns = both(1)
    for v in columns.values():
        v[7000 : 7000 + readings] = np.nan
    for item in assess(log_of(columns)).channels:
        assert (Reason.BLANK in item.guard.reasons) == (readings > 1)
        assert (item.fitness == CLEARED) == (readings == 1)
        assert item.guard.figures.shared_blanks == (readings > 1)


@pytest.mark.parametrize(("every", "in_turn"), [(2, True), (10, False)])
def test_cells_that_are_empty_by_plan_hide_nothing_and_an_overload_beside_them_does(every, in_turn):
    """A scanner reads one channel a row; a slow meter was joined to a fast one. Invented; a reading lost for 20 s is no plan."""
    columns = both(5, hours=4.5)
    rows = np.arange(columns["right"].size)
    columns["right"][rows % every != 0] = np.nan
    if in_turn:
        columns["left"][rows % every != 1] = np.nan
    step_s = log_of(columns).source.cadence_s
    for item in assess(log_of(columns)).channels:
        apart = every if in_turn or item.channel == "right" else 1
        assert item.fitness == CLEARED and item.guard.figures.seldom_s == pytest.approx(apart * step_s)
        assert item.rate.observed_s == pytest.approx(rows.size * step_s, rel=0.02)
    columns["right"][9000 : 9000 + round(20 / step_s)] = np.nan
    found = assess(log_of(columns))
    assert Reason.BLANK in found.channel("right").guard.reasons and found.channel("right").guard.figures.blanks == 1
    assert found.channel("left").fitness == CLEARED


def test_worst_case_of_blanks_is_always_told():
    """Hours that exclude one per hour with 0 and 3 hidden episodes: 3.0 and 7.8, Poisson (the guard's page)."""
    clean = assess(log_of(both(2))).channel("left")
    assert "3 hours without a swing exclude 1 per hour; " in clean.not_excluded
    columns = both(2)
    for at in (4000, 6000, 9000):
        columns["left"][at : at + 4] = np.nan
    blanked = assess(log_of(columns)).channel("left")
    assert blanked.guard.figures.worst_case_h == pytest.approx(7.754, abs=2e-3)
    assert "If each of 3 blanks hid a swing, it takes 7.8 hours" in blanked.not_excluded


def test_rows_that_are_missing_altogether_are_a_caution():
    columns = both(3)
    keep = np.ones(columns["left"].size, dtype=bool)
    keep[9000:9100] = False
    t = np.flatnonzero(keep) * 1.0
    result = assess(Log.from_arrays(t, {name: v[keep] for name, v in columns.items()}, start=BEGUN))
    assert [text for text in result.cautions if "no row was written for 2 minutes in all, once" in text]
    assert not [text for text in assess(log_of(both(3))).cautions if "no row was written" in text]


# ------------------------------------------------------------- what begins a power-up, and what begins anew


def written(path: Path, columns: dict[str, np.ndarray], start: datetime | None, *marks: str) -> Path:
    """A log as a file, with its marks beside it."""
    count = next(iter(columns.values())).size
    clock = [str(k) if start is None else (start + timedelta(seconds=k)).isoformat(sep=" ") for k in range(count)]
    rows = "\n".join(",".join((c, *(f"{x:.5f}" for x in row))) for c, row in zip(clock, zip(*columns.values(), strict=True), strict=True))
    head = ",".join(("time_s" if start is None else "time", *(f"{name}_V" for name in columns)))
    path.write_text(f"{head}\n{rows}\n")
    if marks:
        path.with_name(f"{path.stem}.marks.csv").write_text("\n".join(("time,kind", *marks)) + "\n")
    return path


def two_files(folder: Path, *marks: str, dated: bool = True, rises_V: float = 0.0) -> list[Path]:
    """Four hours, a pause of half an hour, four hours that begin without a surge."""
    first = written(folder / "one.csv", both(4), BEGUN if dated else None)
    second = {name: v[60:] + rises_V for name, v in both(6).items()}
    return [first, written(folder / "two.csv", second, BEGUN + timedelta(hours=4.5) if dated else None, *marks)]


def test_a_mark_tells_that_a_file_begins_with_a_power_up(tmp_path):
    """Half an hour's pause and no surge: the file continues the one before, unless a mark says else."""
    assert assess(two_files(tmp_path)).channel("left").guard.figures.power_ups == 1
    assert assess(two_files(tmp_path, "20,power")).channel("left").guard.figures.power_ups == 2


def test_so_does_the_case_and_a_file_without_a_date_is_then_known(tmp_path):
    paths = two_files(tmp_path, dated=False)
    assert Reason.UNDATED in assess(paths).channel("left").guard.reasons
    text = '[[logs]]\nfile = "one.csv"\n[[logs]]\nfile = "two.csv"\nconditions = { start = "cold" }\n'
    (tmp_path / "job.toml").write_text(text)
    case = read_case(tmp_path / "job.toml")
    found = assess(case.read_logs(), case=case).channel("left")
    assert found.guard.figures.power_ups == 2 and found.fitness == CLEARED


def test_another_stage_begins_anew_and_needs_its_own_hours(tmp_path):
    """30 mV apart: movement in one stage, a new setting in the next; the peak of the first stays told."""
    paths = two_files(tmp_path, rises_V=0.03)
    assert Reason.MOVE in assess(paths).channel("right").guard.reasons
    stages = ("as received", "part replaced")
    text = "".join(f'[[logs]]\nfile = "{p.name}"\nstage = "{s}"\n' for p, s in zip(paths, stages, strict=True))
    (tmp_path / "job.toml").write_text(text)
    case = read_case(tmp_path / "job.toml")
    found = assess(case.read_logs(), case=case).channel("right").guard
    assert Reason.MOVE not in found.reasons and found.figures.observed_h == pytest.approx(4.0, abs=0.05)
    loud = both(4)
    loud["right"][9000:9002] += 0.5
    written(paths[0], loud, BEGUN)
    assert Reason.PEAK in assess(case.read_logs(), case=case).channel("right").guard.reasons


@pytest.mark.parametrize("kind", ["adjusted", "part changed"])
def test_a_mark_in_the_pause_or_at_the_beginning_of_a_file_begins_anew(tmp_path, kind):
    paths = two_files(tmp_path, f"0,{kind}", rises_V=0.03)
    found = assess(paths).channel("right").guard
    assert Reason.MOVE not in found.reasons and found.figures.observed_h == pytest.approx(4.0, abs=0.05)
    columns, other = both(4), both(6)
    gap = {name: np.concatenate((v, other[name] + 0.03)) for name, v in columns.items()}
    t = np.arange(gap["left"].size) * 1.0
    t[columns["left"].size :] += 1800.0
    log = Log.from_arrays(t, gap, start=BEGUN)
    from flicker.logs.marks import Mark

    assert Reason.MOVE in assess(log).channel("right").guard.reasons
    paused = assess(log, marks=[Mark(columns["left"].size + 900.0, kind)]).channel("right").guard
    assert Reason.MOVE not in paused.reasons and paused.figures.observed_h == pytest.approx(4.0, abs=0.05)


# ------------------------------------------------------------- words


def test_settles_differently_only_where_each_power_up_keeps_its_level():
    ups = [log_of({"left": sound(k, 3.6, 0.012 * (-1) ** k)}, BEGUN + timedelta(days=k)) for k in range(3)]
    found = assess(ups).channel("left")
    assert found.tail_kind == TailKind.SETTLES_DIFFERENTLY and found.guard.figures.moved_within_V < 0.002
    t = np.arange(int(3.6 * HOUR)) * 1.0
    moving = [log_of({"left": sound(k, 3.6, 0.0) + 0.03 * t / t[-1]}, BEGUN + timedelta(days=k)) for k in range(3)]
    found = assess(moving).channel("left")
    assert Reason.MOVE in found.guard.reasons and found.tail_kind != TailKind.SETTLES_DIFFERENTLY
    assert found.guard.figures.moved_within_V == pytest.approx(0.026, abs=2e-3)


@pytest.mark.parametrize("most_V", [0.0007, 0.0018])
def test_a_channel_that_rests_at_zero_is_cleared_by_its_start_alone(most_V):
    """A lead may look at nothing where neither a level nor a start of a millivolt shows (the rule was: never beyond 2 mV)."""
    columns = both(8)
    t = np.arange(columns["left"].size)
    columns["left"] = (most_V + 2e-4) * np.exp(-t / 6.0) + np.clip(np.random.default_rng(1).normal(0.0, 2e-4, t.size), -1e-3, 1e-3)
    found = assess(log_of(columns)).channel("left")
    assert (Reason.DEAD in found.guard.reasons) == (most_V < 0.001)
    assert (found.fitness == CLEARED) == (most_V > 0.001)


@pytest.mark.parametrize(
    ("at_s", "size_V", "refused"),
    [
        (4.0, 0.9, False),  # within the first 8 s an open lead may read up to 1 V, its median no more than 0.3 V,
        (6.0, 1.1, True),
        (12.0, 0.15, False),  # the surge 0.2 V until 30 s
        (12.0, 0.25, True),
        (40.0, 0.08, False),  # and 0.1 V until 120 s
        (40.0, 0.12, True),
    ],
)
def test_first_seconds_by_their_volts(at_s, size_V, refused):
    columns = both(9)
    t = np.arange(columns["left"].size)
    columns["left"][(t >= at_s) & (t < at_s + 2)] = size_V
    guard = assess(log_of(columns)).channel("left").guard
    assert bool({Reason.OPEN, Reason.PEAK} & set(guard.reasons)) == refused


def test_a_unit_that_dies_is_one_event(tmp_path):
    """38 V that come and go for five minutes, then nothing; and 38 V that drain through a load: one row, one sentence."""
    columns = both(10)
    t = np.arange(columns["left"].size)
    since = t - 10_800
    died = {"left": columns["left"].copy(), "right": columns["right"]}
    died["left"][since >= 0] = np.random.default_rng(2).normal(0.0, 3e-5, int((since >= 0).sum()))
    died["left"][(since >= 0) & (since < 300) & (since % 7 < 2)] += 38.0
    found = assess(log_of(died)).channel("left")
    assert found.tail == "failed at 19:00: 38 V for 5 minutes, then nothing"
    assert (len(found.excursions), found.excursions_total) == (1, 1)
    whole = assess(log_of(died))
    assert [write_excursions(whole, tmp_path / name) for name in ("x.csv", "x.parquet")] == [1, 1]
    assert len((tmp_path / "x.csv").read_text().splitlines()) == 2 and len(whole.excursions_frame()) == 1
    assert found.excursions[0].start_s == 10_800 and found.excursions[0].duration_s == pytest.approx(296, abs=3)
    drained = {"left": columns["left"].copy(), "right": columns["right"]}
    drained["left"][since >= 0] = 38.0 * np.exp(-since[since >= 0] / 20.0)
    found = assess(log_of(drained)).channel("left")
    assert found.tail == "failed at 19:00: 38 V for 59 seconds, then nothing"  # 20 s times ln 19 until 2 V
    assert found.fitness == "do not connect"


def test_what_was_left_out_makes_no_word_of_behaviour(tmp_path):
    """A lead that falls off picks up swings: 'not yet shown' by their volts, never 'noisy'."""
    from flicker import simulate_log

    for seed in range(1, 5):
        found = assess(simulate_log("lead-off", seed=seed, hours=4.0).write(tmp_path / "off.csv")[0]).channel("left")
        assert found.verdict == "inconclusive" and found.fitness == "not yet shown"


def shared(added: np.ndarray, share: float = 0.9) -> Assessment:
    """Two channels of five hours that move alike, each with its own level and noise."""
    t = np.arange(added.size) * 1.0
    rng = np.random.default_rng(7)
    columns = {
        name: rest + 0.05 * np.exp(-t / 5.0) + rng.normal(0.0, 3e-4, t.size) + gain * added
        for name, rest, gain in (("left", 0.004, 1.0), ("right", -0.004, share))
    }
    return assess(Log.from_arrays(t, columns))


HOURS_5 = np.arange(18_000.0)


@pytest.mark.parametrize(
    "added",
    [
        0.1 * np.exp(-0.5 * ((HOURS_5 - 9000.0) / 400.0) ** 2),
        0.1 * ((HOURS_5 > 7000.0) & (HOURS_5 < 9000.0)),
        0.06 * np.exp(-0.5 * ((HOURS_5 - 9000.0) / 2400.0) ** 2),
    ],
)
def test_what_all_channels_do_and_undo_together_is_drifting_with_advice_for_what_they_share(added):
    for channel in shared(added).channels:
        assert channel.verdict == "drifting" and "together with another channel" in channel.tail
        assert channel.fitness == "not yet shown" and "look at what they share" in channel.next.reads


def test_two_humps_at_different_times_are_not_together():
    t = HOURS_5
    rng = np.random.default_rng(8)
    columns = {
        name: 0.05 * np.exp(-t / 5.0) + rng.normal(0.0, 3e-4, t.size) + 0.06 * np.exp(-0.5 * ((t - at) / 2400.0) ** 2)
        for name, at in (("left", 6000.0), ("right", 13_000.0))
    }
    for channel in assess(Log.from_arrays(t, columns)).channels:
        assert channel.verdict == "drifting" and "together" not in channel.tail


def test_a_thump_read_every_ten_seconds_is_no_level():
    """An output behind a capacitor, 0.4 V for half a second at switch-on (common practice, no source)."""
    t = np.arange(0.0, 5 * 3600.0, 10.0)
    rng = np.random.default_rng(9)
    volts = 0.0035 + 0.41 * np.exp(-t / 0.6) + rng.normal(0.0, 3e-4, t.size)
    (channel,) = assess(Log.from_arrays(t, {"left": volts})).channels
    assert channel.fitness == "within limits for the time observed"
    stands = np.where(t < 15.0, 0.41, 0.0035) + rng.normal(0.0, 3e-4, t.size)
    (channel,) = assess(Log.from_arrays(t, {"left": stands})).channels
    assert channel.fitness != "within limits for the time observed"


def test_a_logger_that_writes_every_thirty_seconds_is_late_now_and_then():
    """A scheduler's jitter (invented): the middle step is 30.2 s."""
    rng = np.random.default_rng(10)
    t = np.cumsum(30.0 + np.abs(rng.normal(0.2, 0.1, 600)))
    volts = 0.005 + 0.06 * np.exp(-(t - t[0]) / 20.0) + rng.normal(0.0, 3e-4, t.size)
    (channel,) = assess(Log.from_arrays(t, {"left": volts})).channels
    assert Reason.SELDOM not in channel.guard.reasons


@pytest.mark.parametrize("step_s, told", [(0.5, "0.5 s"), (2.0, "2 s"), (20.0, "20 s")])
def test_the_shortest_glitch_that_the_cadence_sees_is_printed(step_s, told, tmp_path, capsys, undrawn):
    """Clearance, section 5: the page prints it, of a cleared channel too."""
    from flicker.cli import main

    volts = sound(21, 4.0, 0.006, step_s=step_s)
    path = tmp_path / "log.csv"
    rows = "\n".join(f"{k * step_s:.1f},{v:.5f}" for k, v in enumerate(volts))
    path.write_text(f"time_s,left_V\n{rows}\n")
    (channel,) = assess(path).channels
    assert f"shorter than {told}" in channel.not_excluded
    assert main(["assess", str(path), "--report", str(tmp_path / "page.html")]) == 0
    assert f"shorter than {told}" in capsys.readouterr().out
    assert f"shorter than {told}" in (tmp_path / "page.html").read_text()


def test_the_last_of_several_files_may_hold_two_rows(tmp_path):
    volts = sound(22, 4.0, 0.006)
    paths = []
    for k, part in enumerate((volts[:7200], volts[7200:-2], volts[-2:])):
        begun = BEGUN + timedelta(seconds=[0, 7200, volts.size - 2][k])
        paths.append(tmp_path / f"{k}.csv")
        rows = "\n".join(f"{(begun + timedelta(seconds=n)).isoformat()},{v:.5f}" for n, v in enumerate(part))
        paths[-1].write_text(f"time,left_V\n{rows}\n")
    (channel,) = assess(paths).channels
    assert channel.fitness == CLEARED
