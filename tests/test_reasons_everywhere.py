"""A log for each reason of the guard through every command: one fitness, the reason in volts, and what to do. All logs are invented."""

from __future__ import annotations

import html
import json
import re
import shutil
import sys
from datetime import date, datetime, timedelta
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from command import flicker

sys.path.insert(0, str(Path(__file__).parent / "studies"))
import study_danger

from flicker import assess, read_log
from flicker.evidence.guard import Reason
from flicker.evidence.guard.words import ADVICE, reasons_text

STEP_S = 10.0
NOT_YET = "not yet shown"


def sound(hours: float = 3.6, step_s: float = STEP_S, seed: int = 3) -> tuple[np.ndarray, np.ndarray]:
    """A start, 6 mV, and a noise of 0.3 mV."""
    t = np.arange(0.0, hours * 3600.0, step_s)
    return t, 0.006 + 0.06 * np.exp(-t / 6.0) + np.random.default_rng(seed).normal(0.0, 3e-4, t.size)


def added(volts_V: float, begin_s: float, end_s: float) -> tuple[np.ndarray, np.ndarray]:
    t, volts = sound()
    return t, volts + volts_V * ((t >= begin_s) & (t < end_s))


def changed(index: slice, value: float) -> tuple[np.ndarray, np.ndarray]:
    t, volts = sound()
    volts[index] = value
    return t, volts


def moving() -> tuple[np.ndarray, np.ndarray]:
    t, volts = sound()
    return t, volts + 0.030 * t / t[-1]


def swinging() -> tuple[np.ndarray, np.ndarray]:
    t, volts = added(0.020, 7200.0, 7201.0)
    volts[t == 9000.0] += 0.020
    return t, volts


def restless() -> tuple[np.ndarray, np.ndarray]:
    t, volts = sound(step_s=2.0)
    return t, volts + np.random.default_rng(5).normal(0.0, 0.006, t.size)


def with_a_gap() -> tuple[np.ndarray, np.ndarray]:
    """Thirty seconds of each minute are missing in the second half."""
    t, volts = sound(6.0)
    kept = (t < 10_800.0) | (t % 60.0 < 25.0)
    return t[kept], volts[kept]


def cut_off() -> tuple[np.ndarray, np.ndarray]:
    """Nothing for 12 seconds, five times: an output relay opens."""
    t, volts = sound(5.0)
    for at in range(4000, 16_000, 2400):
        volts[(t >= at) & (t < at + 12.0)] = 0.0
    return t, volts


def nothing() -> tuple[np.ndarray, np.ndarray]:
    t, volts = sound()
    return t, np.random.default_rng(4).normal(0.0, 1e-4, volts.size)


# Each reason: readings that give it, and what must be read of it: volts, hours or seconds as they were put in.
LOGS = {
    Reason.OPEN: (lambda: changed(slice(0, 1), 1.3), r"1\.30 V in the first 8 s"),
    Reason.PEAK: (lambda: added(0.25, 20.0, 30.0), r"readings up to 2[56]\d mV"),
    Reason.OVER: (lambda: changed(slice(700, 703), np.inf), "over range once"),
    Reason.REST: (lambda: added(0.054, 0.0, 1e9), r"rested at up to 60 mV"),
    Reason.BEYOND: (lambda: added(0.060, 7200.0, 7320.0), "beyond 50 mV for 2 minutes"),
    Reason.MOVE: (moving, r"moved 2\d mV"),
    Reason.SPREAD: (restless, r"restless by (2|3)\d mV within five minutes"),
    Reason.SWINGS: (swinging, "swung twice by 15 mV or more, the largest 2[01] mV"),
    Reason.RATE: (lambda: sound(2.5), "more than 1 swing per hour is not excluded yet"),
    Reason.BLANK: (lambda: changed(slice(700, 702), np.nan), "no reading for 2 s and more, once in this channel alone"),
    Reason.SHORT: (lambda: sound(1.0), r"4\d minutes judged after the first 20 minutes, where 1 hour is needed"),
    Reason.GAPS: (with_a_gap, r"1\.5 hours without a reading"),
    Reason.SELDOM: (lambda: sound(3.6, 60.0), r"one reading in 1 minute, where 30 s is needed"),
    Reason.DEAD: (nothing, r"no sign of life: within 0(\.\d+)? mV of zero for .+, as a dead input reads, and no start of an output in the log"),
    Reason.FALLS: (cut_off, "fell from its rest to zero and came back 5 times, for up to 1[01] s"),
}


def write(path: Path, t: np.ndarray, columns: dict[str, np.ndarray], day: int = 8) -> Path:
    """Dated rows; OL where the meter is over range."""
    begun = datetime(2026, 3, day, 9, 0)
    moments = [(begun + timedelta(seconds=float(a))).isoformat(sep=" ", timespec="milliseconds") for a in t]
    rows = zip(moments, *(["" if np.isnan(b) else "OL" if np.isinf(b) else f"{b:.5f}" for b in v] for v in columns.values()), strict=True)
    path.parent.mkdir(exist_ok=True)
    path.write_text("\n".join(",".join(row) for row in [("time", *(f"{name}_V" for name in columns)), *rows]) + "\n")
    return path


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    made = tmp_path_factory.mktemp("reasons")
    for k, (reason, (make, _)) in enumerate(LOGS.items()):
        t, volts = make()
        volts = volts + np.random.default_rng(k).normal(0.0, 5e-5, t.size)  # equal readings are one observation
        write(made / "logs" / f"{reason}.csv", t, {"left": volts})
    write(made / "sound.csv", *(lambda t, v: (t, {"left": v}))(*sound()), day=1)
    return made


def document(*words: object) -> dict:
    done = flicker(*words)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout.strip().splitlines()[-1] if words[0] == "watch" else done.stdout)


def page(path: Path) -> str:
    """The words of a page."""
    return html.unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]*>", " ", path.read_text())))


def said(channel: dict, reason: Reason, words: str) -> None:
    """The reason stands in the document, in volts, and NEXT says what to do about the weightiest."""
    assert channel["fitness"] != "within limits for the time observed" and channel["verdict"] != "steady"
    assert reason in channel["guard"]["reasons"]
    assert any(re.search(words, text) for text in channel["against"]), channel["against"]
    advice = next((ADVICE[item] for item in ADVICE if item in channel["guard"]["reasons"] and ADVICE[item]), "Log ")
    if not (channel["rate"]["episodes"] or "switch off" in channel["next"]["reads"] or "of direct voltage" in channel["reads"]):
        assert advice in channel["next"]["reads"], channel["next"]["reads"]


@pytest.mark.parametrize("reason", LOGS)
def test_a_reason_is_told_by_every_command(reason, folder, tmp_path, undrawn):
    words, log = LOGS[reason][1], folder / "logs" / f"{reason}.csv"
    assessed = document("assess", log, "--json", "--report", tmp_path / "a.html")
    (channel,) = assessed["channels"]
    said(channel, reason, words)
    fitness = channel["fitness"]
    told = page(tmp_path / "a.html")
    assert f"Loudspeaker: {fitness}" in told and re.search(words, told)
    (last,) = document("watch", log, "--until", "stopped", "--idle", "0.01", "--json")["offline"]
    assert (last["fitness"], last["reads"]) == (fitness, channel["reads"])
    compared = document("compare", "--before", folder / "sound.csv", "--after", log, "--json", "--report", tmp_path / "c.html")
    after = compared["channels"][0]["after"]
    assert (after["fitness"], after["against"]) == (fitness, channel["against"])
    assert f"Loudspeaker: {fitness}" in page(tmp_path / "c.html") and re.search(words, page(tmp_path / "c.html"))
    if reason is Reason.DEAD:
        assert "without a sign of life" in flicker("soak", "--from", log).stderr
        return
    plan = document("soak", "--from", log, "--json")
    if ADVICE[reason] is not None and not channel["rate"]["episodes"]:
        assert any(re.search(words, text, re.IGNORECASE) and ADVICE[reason] in text for text in plan["cautions"])
    assert fitness == NOT_YET or any("do not connect" in text for text in plan["cautions"])


def test_a_table_visits_and_a_case_tell_the_same(folder, tmp_path, undrawn, judged_here):
    logs = {reason: folder / "logs" / f"{reason}.csv" for reason in LOGS}
    alone = {reason: document("assess", log, "--json")["channels"][0] for reason, log in logs.items()}
    assert flicker("survey", folder / "logs", "--out", tmp_path / "table.csv", "--workers", "1").returncode == 0
    table = (tmp_path / "table.csv").read_text()
    assert all(channel["reads"] in table.replace('""', '"') for channel in alone.values())
    days = [date(2026, 3, 1) + timedelta(days=k) for k in range(len(LOGS))]
    wanted = [word for day, log in zip(days, logs.values(), strict=True) for word in ("--visit", day.isoformat(), log)]
    visits = document("visits", *wanted, "--json")["channels"][0]["visits"]
    assert [(row["fitness"], row["against"]) for row in visits] == [(c["fitness"], c["against"]) for c in alone.values()]
    here = tmp_path / "job"
    here.mkdir()
    chosen = (Reason.REST, Reason.MOVE, Reason.SELDOM)
    stages = {f"{k} {reason}": [Path(shutil.copy(logs[reason], here / logs[reason].name))] for k, reason in enumerate(chosen)}
    case = study_danger.case_file(here, stages, ("left",))
    found = document("report", tmp_path / "case.html", "--case", case, "--json")["stages"]
    assert [stage["assessment"]["channels"][0]["against"] for stage in found] == [alone[reason]["against"] for reason in chosen]
    assert re.search(LOGS[chosen[-1]][1], page(tmp_path / "case.html"))


def test_reasons_of_several_columns_or_logs(folder, tmp_path, undrawn):
    t, volts = sound()
    same = write(tmp_path / "a" / "same.csv", t, {"left": volts, "right": volts})
    for channel in document("assess", same, "--json")["channels"]:
        said(channel, Reason.SAME, "repeats the readings of another channel, to the last digit or a fixed part of each")
    many = write(tmp_path / "b" / "averages.csv", t, {"left mean": volts, "left min": volts - 1e-3, "left max": volts + 1e-3})
    (channel,) = document("assess", many, "--channels", "left mean_V", "--json")["channels"]
    said(channel, Reason.AVERAGED, "averages were read")
    # From the fourth hour on the logger writes volts where it wrote millivolts, and the output stands at 11 V.
    t, volts = sound(6.0)
    volts = np.where(t < 16_000.0, volts, volts + 11.0)
    lines = [f"{a:.0f},{b * 1e3 if a < 12_000.0 else b:.4f}\n" for a, b in zip(t, volts, strict=True)]
    (tmp_path / "unit.csv").write_text("time_s,left_mV\n" + "".join(lines))
    (channel,) = document("assess", tmp_path / "unit.csv", "--json")["channels"]
    said(channel, Reason.UNIT, "level and noise became a thousandth")
    # A converter without volts below zero: five swings of -0.3 V read 0.00000.
    t, volts = cut_off()
    for beside, refused in (({}, True), ({"right": volts + 1e-5 * (volts > 0)}, False)):  # zeros of all channels are the logger's
        path = write(tmp_path / f"zero_{refused}.csv", t, {"left": volts, **beside})
        found = document("assess", path, "--json")["channels"][0]
        assert (Reason.SIGN in found["guard"]["reasons"]) is refused
        if refused:
            said(found, Reason.SIGN, "exactly zero again and again, and never reads below")
    # An overload is filled with the reading before it, five times for 90 s; what all channels do is the logger's.
    t, volts = sound(5.0)
    held = volts.copy()
    for at in range(4000, 16_000, 2400):
        filled = (t >= at) & (t < at + 90.0)
        held[filled] = held[filled.argmax() - 1]
    for beside, refused in ((volts, True), (held + 1e-3, False)):
        path = write(tmp_path / f"held_{refused}.csv", t, {"left": held, "right": beside + 2e-3})
        found = document("assess", path, "--json")["channels"][0]
        assert (Reason.HELD in found["guard"]["reasons"]) is refused
        if refused:
            said(found, Reason.HELD, r"repeats one reading to the last digit 5 times, for up to (9\d s|1.5 minutes)")
    parts = [tmp_path / f"{k}.csv" for k in range(2)]
    for k, path in enumerate(parts):
        rows = zip(t, volts if k == 0 else volts[20] + 0.0 * volts + np.random.default_rng(8).normal(0.0, 3e-4, t.size), strict=True)
        path.write_text("time_s,left_V\n" + "".join(f"{a:.0f},{b:.5f}\n" for a, b in rows))
    (channel,) = document("assess", *parts, "--json")["channels"]
    said(channel, Reason.UNDATED, "a log without a date that does not show its start")


def test_every_reason_has_a_log():
    assert {*LOGS, Reason.SAME, Reason.UNIT, Reason.SIGN, Reason.HELD, Reason.AVERAGED, Reason.UNDATED} == set(Reason) == set(ADVICE)


@pytest.mark.parametrize("left_V", [0.0, 4e-4, -1e-3])
def test_a_relay_that_opens_leaves_the_zero_of_the_meter(left_V):
    """The output falls from 6 mV to what a meter reads of nothing, six times for 15 s; beside it noise as large goes on. Invented."""
    rng = np.random.default_rng(11)
    t = np.arange(0.0, 4.5 * 3600.0)
    beside = 6e-3 + 3e-4 * rng.standard_normal(t.size)
    opens = ((t - 2000.0) % 2400.0 < 15.0) & (t > 1999.0)
    left = np.where(opens, left_V + 3e-5 * rng.standard_normal(t.size), 6e-3 + 3e-4 * rng.standard_normal(t.size))
    found = assess(pd.DataFrame({"time_s": t, "left_V": left.round(5), "right_V": beside.round(5)})).channels
    assert [channel.guard.figures.falls for channel in found] == [6, 0]
    assert Reason.FALLS in found[0].guard.reasons and Reason.FALLS not in found[1].guard.reasons


def test_of_a_log_that_ends_before_minute_20_no_movement_is_told() -> None:
    guard = assess(read_log({"time_s": sound(0.25)[0], "left_V": sound(0.25)[1]})).channels[0].guard
    assert guard.figures.judged_h == 0 and "nothing after minute 20 could be judged" in guard.reads and "moved" not in guard.reads
    assert "nothing judged after the first 20 minutes, where 1 hour is needed" in reasons_text(guard)
